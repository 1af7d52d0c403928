//! One pin at the workplace: its physics, and the log of what its foot really did.
//!
//! Deliberately not here: the lever and the hand.

use crate::friction::Turn;
use crate::piano::PianoPin;
use crate::pin::Pin;
use crate::wire::Wire;
use crate::{SAMPLE_PERIOD_S, SAMPLE_RATE_HZ};

/// One slip of a pin's foot, as it really was. Torques are those on the pin's head, positive in
/// the slip's own direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StrokeTruth {
    /// Which way the foot turned.
    pub turn: Turn,
    /// Torque when the foot let go, N·m.
    pub breakaway_nm: f64,
    /// Mean torque while it slipped, from 0.1 s after it let go, N·m; 0 for shorter slips.
    pub running_nm: f64,
    /// Foot rotation, degrees, positive.
    pub slip_deg: f64,
    /// Time from first to last movement of the foot, s.
    pub slip_s: f64,
    /// It happened while the lever was being seated.
    pub on_seating: bool,
}

/// A pin's physical state and its log.
pub struct Station {
    /// The pin.
    pub pin: Pin,
    /// Its string.
    pub wire: Wire,
    /// Every slip of the foot so far.
    pub strokes: Vec<StrokeTruth>,
    open: Option<OpenStroke>,
    foot_start_rad: f64,
    sharpest_rad: f64,
    /// Sample at which the lever last left it.
    pub left_at_sample: u64,
}

struct OpenStroke {
    turn: Turn,
    breakaway_nm: f64,
    foot_from_rad: f64,
    sum_nm: f64,
    count: u32,
    sample_count: u32,
    still_count: u32,
    on_seating: bool,
}

/// The foot at rest for this long ends a slip, samples.
const STILL_SAMPLES: u32 = 60;
/// Part of a slip left out of its mean torque, samples.
const BREAK_SAMPLES: u32 = 100;
/// Slips shorter than this are not logged, degrees.
const LOGGED_DEG_MIN: f64 = 0.01;

impl Station {
    /// A pin as found, for a lever tip with this play.
    pub fn new(piano_pin: &PianoPin, play_rad: f64) -> Station {
        let wire = Wire::found(piano_pin.wire());
        let pin = Pin::as_tuned(piano_pin.parameters(), play_rad, wire.pin_moment_nm());
        let foot_start_rad = pin.foot_rad();
        Station {
            pin,
            wire,
            strokes: Vec::new(),
            open: None,
            foot_start_rad,
            sharpest_rad: 0.0,
            left_at_sample: 0,
        }
    }

    /// One sample with the lever's tip at `tip_rad`: the torque on the pin's head, N·m.
    pub fn turn(&mut self, tip_rad: f64, on_seating: bool) -> f64 {
        let foot_before_rad = self.pin.foot_rad();
        let torque_nm = self.pin.turn(tip_rad, self.wire.pin_moment_nm(), SAMPLE_PERIOD_S);
        self.wire.turn_to(self.pin.coil_rad());
        let foot_rad = self.pin.foot_rad();
        let foot_from_start_rad = foot_rad - self.foot_start_rad;
        self.sharpest_rad = self.sharpest_rad.max(foot_from_start_rad);
        self.log(foot_before_rad, foot_rad, torque_nm, on_seating);
        torque_nm
    }

    fn log(&mut self, before_rad: f64, foot_rad: f64, torque_nm: f64, on_seating: bool) {
        let moved_rad = foot_rad - before_rad;
        let turn = Turn::of(moved_rad);
        if moved_rad != 0.0 && self.open.as_ref().is_none_or(|open| open.turn != turn) {
            self.close(before_rad);
            self.open = Some(OpenStroke {
                turn,
                breakaway_nm: turn.sign() * torque_nm,
                foot_from_rad: before_rad,
                sum_nm: 0.0,
                count: 0,
                sample_count: 0,
                still_count: 0,
                on_seating,
            });
        }
        let Some(open) = &mut self.open else { return };
        open.sample_count += 1;
        if moved_rad == 0.0 {
            open.still_count += 1;
        } else {
            open.still_count = 0;
            if open.sample_count > BREAK_SAMPLES {
                open.sum_nm += open.turn.sign() * torque_nm;
                open.count += 1;
            }
        }
        if open.still_count >= STILL_SAMPLES {
            self.close(foot_rad);
        }
    }

    fn close(&mut self, foot_rad: f64) {
        let Some(open) = self.open.take() else { return };
        let slip_deg = (open.turn.sign() * (foot_rad - open.foot_from_rad)).to_degrees();
        if slip_deg < LOGGED_DEG_MIN {
            return;
        }
        let moving = open.sample_count.saturating_sub(open.still_count);
        let running_nm = if open.count > 0 { open.sum_nm / f64::from(open.count) } else { 0.0 };
        self.strokes.push(StrokeTruth {
            turn: open.turn,
            breakaway_nm: open.breakaway_nm,
            running_nm,
            slip_deg,
            slip_s: f64::from(moving) * SAMPLE_PERIOD_S,
            on_seating: open.on_seating,
        });
    }

    /// Foot rotation from where it was found, rad.
    pub fn foot_rad(&self) -> f64 {
        self.pin.foot_rad() - self.foot_start_rad
    }

    /// Farthest the foot went sharp of where it was found, rad.
    pub fn sharpest_rad(&self) -> f64 {
        self.sharpest_rad
    }

    /// The lever leaves: the pin untwists, and runs flat if it does not hold.
    pub fn release(&mut self, sample: u64) {
        for _ in 0..3 * SAMPLE_RATE_HZ {
            let before_rad = self.pin.coil_rad();
            self.pin.leave(self.wire.pin_moment_nm(), SAMPLE_PERIOD_S);
            self.wire.turn_to(self.pin.coil_rad());
            if self.pin.coil_rad() == before_rad {
                break;
            }
        }
        let foot_rad = self.pin.foot_rad();
        self.close(foot_rad);
        self.left_at_sample = sample;
    }
}
