//! What a hand feels: whether the pin gives.
//!
//! A hand notices that torque stops rising while the lever goes on turning. It feels this over
//! some tens of milliseconds, and it does not mistake the tip's play (turning without torque) for
//! a pin that gives, unless the turning goes on.
//!
//! Deliberately not here: decisions.

use crate::friction::Turn;

/// What the lever tells the hand in one sample.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Felt {
    /// Angle of the lever, degrees, sharp positive.
    pub head_deg: f64,
    /// Torque in the grip beyond carrying the lever's weight, which the hand knows from holding it
    /// in the air, N·m, sharp positive.
    pub torque_nm: f64,
}

/// Memory of the sense of touch, s.
const MEMORY_S: f64 = 0.05;
/// Stiffness below which a pin is felt to give, N·m/deg. The softest a good pin gets before its
/// foot moves is G·J over its whole length, about 6.5 N·m/deg (DER); its string adds about 0.5.
const GIVING_NM_PER_DEG: f64 = 2.5;
/// Motion within the memory that is noticed at all, degrees.
const NOTICED_DEG: f64 = 0.03;
/// Torque below which the lever feels loose on the pin, N·m.
const LOOSE_NM: f64 = 0.4;
/// Turning without torque that cannot be play any more, degrees.
const BEYOND_PLAY_DEG: f64 = 0.3;

/// The sense of touch.
#[derive(Clone, Copy, Debug, Default)]
pub struct Touch {
    last: Option<Felt>,
    turned_deg: f64,
    torqued_nm: f64,
    loose_travel_deg: f64,
}

impl Touch {
    /// Attention anew: nothing felt yet.
    pub fn refresh(&mut self) {
        *self = Touch::default();
    }

    /// Takes what is felt now.
    pub fn feel(&mut self, felt: Felt, period_s: f64) {
        let Some(last) = self.last.replace(felt) else { return };
        let keep = 1.0 - period_s / MEMORY_S;
        let step_deg = felt.head_deg - last.head_deg;
        if felt.torque_nm.abs() < LOOSE_NM {
            self.loose_travel_deg += step_deg;
            if self.loose_travel_deg.abs() < BEYOND_PLAY_DEG {
                self.turned_deg = 0.0;
                self.torqued_nm = 0.0;
                return;
            }
        }
        self.turned_deg = self.turned_deg * keep + step_deg;
        self.torqued_nm = self.torqued_nm * keep + felt.torque_nm - last.torque_nm;
    }

    /// Whether the pin gives, turning this way.
    pub fn gives(&self, turn: Turn) -> bool {
        let turned_deg = turn.sign() * self.turned_deg;
        let torqued_nm = turn.sign() * self.torqued_nm;
        turned_deg > NOTICED_DEG && torqued_nm < GIVING_NM_PER_DEG * turned_deg
    }
}
