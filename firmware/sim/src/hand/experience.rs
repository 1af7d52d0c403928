//! What a hand expects of the next stroke, from the pins it has turned before.
//!
//! Deliberately not here: any truth about the pin; everything was felt.

use super::Manner;
use crate::friction::Turn;

/// Twist of a pin that a technician expects per torque while loading, deg per N·m.
const EXPECTED_PIN_DEG_PER_NM: f64 = 1.0 / 9.0;
/// How fast the hand picks up speed while loading, deg/s².
const LOADING_DEG_S2: f64 = 20.0;
/// Largest creeping speed when nothing gives, deg/s.
const CREEP_MAX_DEG_S: f64 = 2.5;
/// Loading speed close to the expected break, deg/s.
pub const CREEP_DEG_S: f64 = 1.3;

/// The same where the slip is to be small.
const SET_CREEP_DEG_S: f64 = 0.9;

/// Torque felt on earlier pins and on this one.
#[derive(Clone, Copy, Debug)]
pub struct Experience {
    flat_nm: f64,
    /// How much more sharp takes than flat.
    difference_nm: f64,
    flat_on_this_pin_nm: Option<f64>,
}

impl Default for Experience {
    fn default() -> Experience {
        Experience { flat_nm: 5.0, difference_nm: 6.0, flat_on_this_pin_nm: None }
    }
}

impl Experience {
    /// The lever goes to another pin.
    pub fn forget_pin(&mut self) {
        self.flat_on_this_pin_nm = None;
    }

    /// Torque expected to move the pin this way, N·m.
    pub fn expected_nm(&self, turn: Turn) -> f64 {
        let flat_nm = self.flat_on_this_pin_nm.unwrap_or(self.flat_nm);
        match turn {
            Turn::Flat => flat_nm.max(1.0),
            // The string's part differs from register to register: rather too little.
            Turn::Sharp => (flat_nm + 0.7 * self.difference_nm).max(2.0),
        }
    }

    /// Speed at which to go on loading, deg/s: quick at first, slow near the expected break, a
    /// little quicker again when nothing gives. `hand_deg_per_nm` is the hand's own compliance.
    pub fn loading_deg_s(
        &self,
        turn: Turn,
        manner: Manner,
        along_nm: f64,
        elapsed_s: f64,
        hand_deg_per_nm: f64,
    ) -> f64 {
        let expected_nm = self.expected_nm(turn);
        let series = hand_deg_per_nm + EXPECTED_PIN_DEG_PER_NM;
        // Unknown pins are approached more slowly, and sooner, than one just felt.
        let (fastest, slow_from) = match self.flat_on_this_pin_nm {
            Some(_) => (6.0, 0.70),
            None => (4.5, 0.55),
        };
        let fast = (expected_nm * series / 0.35).clamp(CREEP_DEG_S, fastest);
        let creep = match manner {
            Manner::Set | Manner::Brief => SET_CREEP_DEG_S,
            _ => (CREEP_DEG_S + (elapsed_s - 0.8).max(0.0)).min(CREEP_MAX_DEG_S),
        };
        let nearness = ((along_nm / expected_nm - slow_from) / 0.25).clamp(0.0, 1.0);
        let speed = fast + (creep - fast) * nearness;
        speed.min(LOADING_DEG_S2 * elapsed_s)
    }

    /// A slip that took `running_nm` (sharp positive) in the grip.
    pub fn learn(&mut self, turn: Turn, running_nm: f64) {
        match (turn, self.flat_on_this_pin_nm) {
            (Turn::Flat, _) => {
                let flat_nm = -running_nm;
                self.flat_on_this_pin_nm = Some(flat_nm);
                self.flat_nm += 0.3 * (flat_nm.clamp(1.0, 20.0) - self.flat_nm);
            }
            (Turn::Sharp, Some(flat_nm)) => {
                let difference_nm = (running_nm - flat_nm).clamp(0.0, 14.0);
                self.difference_nm += 0.5 * (difference_nm - self.difference_nm);
            }
            (Turn::Sharp, None) => {}
        }
    }
}
