//! The words of a reading: flags for odd pins and strokes, told from the strokes kept.
//!
//! Deliberately not here: the numbers, and which strokes are kept.

use pinhold_protocol::record::{Direction, reading_flags, stroke_flags};

use super::{Session, Surroundings};
use crate::stroke::{Found, RAD_PER_DEG};

/// Measured string moment below which a string is slack, N·m: a quarter of the tenor's 2.2 (DER).
const SLACK_MOMENT_NM: f32 = 0.55;
/// Torque missing to the break where the foot began to creep, share of friction, above which a
/// pin is spongy. A dry pin's foot stands until within a hundredth of the break (DER, binning and
/// tremor); a hundredth and a half is left as room.
const SPONGY_SHARE: f32 = 0.025;
/// Flat torque below this, N·m, means that the string drives the pin.
const DRIVEN_NM: f32 = -0.1;
/// Least and largest moment of a string at any pitch worth playing, N·m: register moments run from
/// 2.2 to 5.0 (DER), with room for pitch.
const STRING_MOMENT_NM_MIN: f32 = 1.5;
/// See [`STRING_MOMENT_NM_MIN`].
const STRING_MOMENT_NM_MAX: f32 = 6.0;
/// Break over running friction above which the first break is notably high (DER).
const HIGH_BREAK_RATIO: f32 = 1.3;
/// Torque given up in one jump, share of friction, above which a pin is jumpy. A break of 1.3 (DER)
/// gives up a quarter and more at a stroke, though bins see only a part of it run on by itself; an
/// ordinary repeat gives up less than a tenth, and that under a guided hand.
const JUMP_SHARE: f32 = 0.1;
/// The same where all breaks were first ones.
const FIRST_JUMP_SHARE: f32 = 0.2;
/// Net coil rotation beyond which more than the touch-up every measured pin wants is needed,
/// radians: the closing set and the twist it locks in leave about half a degree (DER).
const RETUNE_RAD: f32 = 0.8 * RAD_PER_DEG;

impl Session {
    pub(super) fn flags(
        &self,
        around: &Surroundings,
        flat_nm: Option<f32>,
        measured: Option<(f32, f32)>,
        net_rad: f32,
    ) -> u16 {
        let driven = flat_nm.is_some_and(|flat_nm| flat_nm < DRIVEN_NM);
        let too_far = self.went_too_far;
        let any = |flag: u16| self.strokes.iter().any(|found| found.has(flag));
        // Both ways, so that a tip crossing its play in one stroke is not taken for creep.
        let crept = |direction: Direction, f: f32| {
            self.running(direction)
                .is_some_and(|(found, _)| found.knee_deficit_nm > SPONGY_SHARE * f)
        };
        let spongy =
            measured.is_some_and(|(f, _)| crept(Direction::Flat, f) && crept(Direction::Sharp, f));
        [
            (reading_flags::NOT_HOLDING, driven || any(stroke_flags::DRIVEN_BY_STRING)),
            (reading_flags::JUMPY, any(stroke_flags::JUMPY) || self.jumps(measured)),
            (
                reading_flags::HIGH_FIRST_BREAK,
                measured
                    .or_else(|| self.friction_bound())
                    .is_some_and(|(f, m)| self.first_break_high(f, m)),
            ),
            (
                reading_flags::SLACK,
                !self.unstrung && measured.is_some_and(|(_, m)| m < SLACK_MOMENT_NM),
            ),
            (reading_flags::UNSTRUNG, self.unstrung),
            (reading_flags::MOVED_ON_SEATING, self.moved_on_seating),
            (reading_flags::SPONGY, spongy),
            (reading_flags::HARD, any(stroke_flags::HARD)),
            (reading_flags::TOO_FAR, too_far),
            (reading_flags::RETUNE, net_rad.abs() > RETUNE_RAD || too_far),
            (reading_flags::NOT_ZEROED, !around.zeroed),
        ]
        .iter()
        .fold(0, |flags, (bit, set)| if *set { flags | bit } else { flags })
    }

    /// Whether the pin jumps: not merely when it first broke loose, as an aged or glued one does,
    /// but in the strokes behind it as well.
    fn jumps(&self, measured: Option<(f32, f32)>) -> bool {
        let broke = || self.strokes.iter().filter(|found| found.breakaway_nm.is_some());
        let largest_nm = |direction: Direction| {
            broke()
                .filter(|found| found.stroke.direction == direction)
                .filter_map(|found| found.breakaway_nm)
                .reduce(f32::max)
        };
        // Without F its breakaway, and without that the break there is.
        let friction_nm =
            match (measured, largest_nm(Direction::Flat), largest_nm(Direction::Sharp)) {
                (Some((friction_nm, _)), _, _) => friction_nm,
                (None, Some(flat_nm), Some(sharp_nm)) => (flat_nm + sharp_nm) / 2.0,
                (None, flat_nm, sharp_nm) => flat_nm.or(sharp_nm).unwrap_or(0.0),
            };
        let jumped = |found: &Found, share: f32| found.jump_nm > share * friction_nm.max(1.0);
        let mut later = broke().filter(|found| !found.has(stroke_flags::FIRST_BREAK)).peekable();
        if later.peek().is_some() {
            later.any(|found| jumped(found, JUMP_SHARE))
        } else {
            broke().any(|found| jumped(found, FIRST_JUMP_SHARE))
        }
    }

    /// Friction and string's moment as far as they can be told without running torque both ways,
    /// so that a first break looks least high: a later break stands in for running torque, and
    /// without that what strings can have.
    fn friction_bound(&self) -> Option<(f32, f32)> {
        let least_nm = |direction: Direction| {
            let later = self.strokes.iter().filter(|found| {
                found.stroke.direction == direction && !found.has(stroke_flags::FIRST_BREAK)
            });
            let broke = later.filter_map(|found| found.breakaway_nm).reduce(f32::min);
            self.running(direction).map(|(_, running_nm)| running_nm).or(broke)
        };
        match (least_nm(Direction::Flat), least_nm(Direction::Sharp)) {
            (Some(flat_nm), Some(sharp_nm)) => {
                Some(((sharp_nm + flat_nm) / 2.0, (sharp_nm - flat_nm) / 2.0))
            }
            (Some(flat_nm), None) => Some((flat_nm + STRING_MOMENT_NM_MAX, STRING_MOMENT_NM_MAX)),
            (None, Some(sharp_nm)) => {
                let moment_nm = if self.unstrung { 0.0 } else { STRING_MOMENT_NM_MIN };
                Some((sharp_nm - moment_nm, moment_nm))
            }
            (None, None) => None,
        }
    }

    /// Breakaway friction of the very first break, string's moment taken off, over running.
    fn first_break_high(&self, friction_nm: f32, moment_nm: f32) -> bool {
        let first = self
            .strokes
            .iter()
            .find(|found| found.has(stroke_flags::FIRST_BREAK))
            .and_then(|found| found.breakaway_nm.map(|nm| (found.stroke.direction, nm)));
        first.is_some_and(|(direction, breakaway_nm)| {
            let break_friction = match direction {
                Direction::Flat => breakaway_nm + moment_nm,
                Direction::Sharp => breakaway_nm - moment_nm,
            };
            friction_nm > 0.5 && break_friction > HIGH_BREAK_RATIO * friction_nm
        })
    }
}
