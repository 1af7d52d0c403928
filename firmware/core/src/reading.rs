//! One pin's strokes combined into a reading.
//!
//! The micro-stroke is flat by a little, sharp back to the start, a small flat set. Flat and sharp
//! running torques are brought to one coil angle, the one the pin was found at, along the slope
//! the string's short segment gives; there
//!
//! F = (sharp + flat) / 2 and M = (sharp − flat) / 2.
//!
//! Deliberately not here: M₀, holding factor, bands and uncertainty (the host's).

use heapless::Vec;
use pinhold_protocol::message::ChoosePin;
use pinhold_protocol::record::{
    Direction, Outcome, Pin, Reading, STROKE_COUNT_MAX, SampleCoverage, reading_flags, stroke_flags,
};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use crate::RawMotion;
use crate::stroke::{Found, RAD_PER_DEG, TORQUE_WARN_NM};

/// Rest after the last stroke before a pin without the full micro-stroke is accepted, bins.
pub const SETTLE_BIN_COUNT: u32 = 150;
/// Rest after the closing set before the reading is accepted, bins.
pub const CLOSE_BIN_COUNT: u32 = 5;
/// String stiffness expected of the short segment, N·m/rad: 0.55 N·m per degree, the middle of
/// 0.3–0.8 (DER), …
const SEGMENT_STIFFNESS_NM_PER_RAD: f32 = 0.55 / RAD_PER_DEG;
/// … and its spread as a standard deviation.
const SEGMENT_STIFFNESS_SD: f32 = 0.2 / RAD_PER_DEG;
/// Floor of a measured slope's standard deviation: neighbouring bins are not independent.
const SLOPE_SD_MIN: f32 = 0.15 / RAD_PER_DEG;
/// Measured string moment below which a string is slack, N·m: a quarter of the tenor's 2.2 (DER).
const SLACK_MOMENT_NM: f32 = 0.55;
/// Torque missing to the break where the foot began to creep, share of friction, above which a
/// pin is spongy. A dry pin's foot stands until within a hundredth of the break (DER, binning and
/// tremor); a hundredth and a half is left as room.
const SPONGY_SHARE: f32 = 0.025;
/// Flat torque below this, N·m, means that the string drives the pin.
const DRIVEN_NM: f32 = -0.1;
/// Break over running friction above which the first break is notably high (DER).
const HIGH_BREAK_RATIO: f32 = 1.3;
/// Range of torque of a nudge that is no stroke, N·m.
const BUMP_TORQUE_NM_MAX: f32 = 2.5;
/// Rotation left by such a nudge that means the pin itself turned, radians: more than a tip's play.
const BUMP_TURN_RAD: f32 = 0.3 * RAD_PER_DEG;
/// Net coil rotation beyond which more than the touch-up every measured pin wants is needed,
/// radians: the closing set and the twist it locks in leave about half a degree (DER).
const RETUNE_RAD: f32 = 0.8 * RAD_PER_DEG;

/// What becomes of a pin after a stroke or a stretch of rest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// More strokes are expected.
    Open,
    /// The reading is complete.
    Complete,
    /// Nothing fit to report: repeat please.
    Repeat,
}

/// The strokes of the pin in hand.
#[derive(Clone, Debug)]
pub struct Session {
    /// The pin.
    pub pin: Pin,
    unstrung: bool,
    started: DeviceTime,
    strokes: Vec<Found, STROKE_COUNT_MAX>,
    broke_flat: bool,
    broke_sharp: bool,
    moved_on_seating: bool,
    coil_found_rad: Option<f32>,
    coil_min_rad: f32,
    coil_max_rad: f32,
    coil_last_rad: f32,
}

/// What the reading takes from the lever's state.
#[derive(Clone, Copy, Debug)]
pub struct Surroundings {
    /// Survey in progress.
    pub survey: u64,
    /// Now.
    pub now: DeviceTime,
    /// Attitude and temperature in force.
    pub motion: RawMotion,
    /// Calibration number.
    pub calibration: u32,
    /// Whether the zero was taken since power-up.
    pub zeroed: bool,
    /// Whether all samples of this pin were sent.
    pub samples: SampleCoverage,
}

impl Session {
    /// A pin just chosen.
    pub fn new(pin: Pin, unstrung: bool, now: DeviceTime) -> Session {
        Session {
            pin,
            unstrung,
            started: now,
            strokes: Vec::new(),
            broke_flat: false,
            broke_sharp: false,
            moved_on_seating: false,
            coil_found_rad: None,
            coil_min_rad: 0.0,
            coil_max_rad: 0.0,
            coil_last_rad: 0.0,
        }
    }

    /// Whether this is what `choice` asks for.
    pub(crate) fn is_for(&self, choice: ChoosePin) -> bool {
        (self.pin, self.unstrung) == (choice.pin, choice.unstrung)
    }

    /// The lever came to rest on the pin for the first time.
    pub fn seated(&mut self, now: DeviceTime) {
        self.started = now;
    }

    /// The pin turned while the lever was being seated.
    pub fn note_moved_on_seating(&mut self) {
        self.moved_on_seating = true;
    }

    /// Whether any stroke was kept.
    pub fn has_strokes(&self) -> bool {
        !self.strokes.is_empty()
    }

    /// Takes a stroke.
    pub fn add(&mut self, mut found: Found) -> Progress {
        if self.is_bump(&found) {
            let net_rad = found.coil_after_rad - found.coil_before_rad;
            self.moved_on_seating |= net_rad.abs() > BUMP_TURN_RAD;
            return Progress::Open;
        }
        if self.is_easing_off(&found) {
            self.coil_last_rad = found.coil_after_rad;
            return Progress::Open;
        }
        if self.coil_found_rad.is_none() {
            self.coil_found_rad = Some(found.coil_before_rad);
            self.coil_min_rad = found.coil_before_rad;
            self.coil_max_rad = found.coil_before_rad;
        }
        let from_found_rad = found.running_coil_rad - self.coil_found_rad.unwrap_or(0.0);
        if found.running_nm.is_some() {
            found.stroke.running_angle = angle(from_found_rad);
        }
        self.coil_min_rad = self.coil_min_rad.min(found.coil_min_rad);
        self.coil_max_rad = self.coil_max_rad.max(found.coil_max_rad);
        self.coil_last_rad = found.coil_after_rad;
        let broke = match found.stroke.direction {
            Direction::Flat => &mut self.broke_flat,
            Direction::Sharp => &mut self.broke_sharp,
        };
        if found.breakaway_nm.is_some() && !core::mem::replace(broke, true) {
            found.stroke.flags |= stroke_flags::FIRST_BREAK;
        }
        let spoilers =
            stroke_flags::SAMPLES_SPOILED | stroke_flags::LEVER_SLIPPED | stroke_flags::JERK;
        let spoiled = found.stroke.flags & spoilers != 0;
        // More strokes than a record holds: the oldest without running torque is the least of
        // use, then the latest.
        if self.strokes.is_full() {
            let least = self.strokes.iter().position(|kept| kept.running_nm.is_none());
            self.strokes.remove(least.unwrap_or(STROKE_COUNT_MAX - 1));
        }
        // Room was just made.
        let _ = self.strokes.push(found);
        if spoiled {
            self.strokes.clear();
            return Progress::Repeat;
        }
        Progress::Open
    }

    /// Whether the pin is done after `rest_bin_count` bins of rest behind the last stroke.
    pub fn progress(&self, rest_bin_count: u32) -> Progress {
        let Some(last) = self.strokes.last() else { return Progress::Open };
        let both =
            self.running(Direction::Flat).is_some() && self.running(Direction::Sharp).is_some();
        let set = last.stroke.direction == Direction::Flat && self.strokes.len() >= 3;
        if both && set && rest_bin_count >= CLOSE_BIN_COUNT {
            return Progress::Complete;
        }
        if rest_bin_count < SETTLE_BIN_COUNT {
            return Progress::Open;
        }
        if self.outcome() == Outcome::Spoiled { Progress::Repeat } else { Progress::Complete }
    }

    /// A nudge of the lever as it settles on the pin, before the first stroke: little torque, and
    /// what looks like slip is the tip's play in the head.
    fn is_bump(&self, found: &Found) -> bool {
        self.strokes.is_empty()
            && found.running_nm.is_none()
            && found.torque_range_nm < BUMP_TORQUE_NM_MAX
    }

    /// The hand letting go after it had paused under torque: the foot stands, nothing new.
    fn is_easing_off(&self, found: &Found) -> bool {
        let hard = found.stroke.peak.newton_metres().abs() > f64::from(TORQUE_WARN_NM);
        !self.strokes.is_empty() && found.breakaway_nm.is_none() && !hard
    }

    /// Forgets the strokes after "repeat please"; that the pin has broken loose stays known.
    pub fn clear(&mut self) {
        self.strokes.clear();
    }

    /// The lever was taken off and seated anew: angles start over, and so do the strokes.
    pub fn reseated(&mut self) {
        self.strokes.clear();
        self.coil_found_rad = None;
    }

    /// The first stroke in `direction` that has a running torque.
    fn running(&self, direction: Direction) -> Option<(&Found, f32)> {
        self.strokes
            .iter()
            .filter(|found| found.stroke.direction == direction)
            .find_map(|found| found.running_nm.map(|running_nm| (found, running_nm)))
    }

    fn outcome(&self) -> Outcome {
        let flat = self.running(Direction::Flat).is_some();
        let sharp = self.running(Direction::Sharp).is_some();
        let largest_nm = self
            .strokes
            .iter()
            .fold(0.0, |peak: f64, found| peak.max(found.stroke.peak.newton_metres().abs()));
        // A slip far too short to be one asked for is a half stroke, not a breakaway reading.
        let broke = self.strokes.iter().any(|found| {
            found.breakaway_nm.is_some()
                && found.stroke.slip.radians() > f64::from(0.1 * RAD_PER_DEG)
        });
        match (flat, sharp) {
            (true, true) => Outcome::Measured,
            (true, false) => Outcome::FlatOnly,
            (false, true) => Outcome::SharpOnly,
            (false, false) if broke => Outcome::BreakawayOnly,
            (false, false) if largest_nm > f64::from(TORQUE_WARN_NM) => Outcome::AboveLimit,
            (false, false) if self.moved_on_seating => Outcome::MovedOnSeating,
            (false, false) => Outcome::Spoiled,
        }
    }

    /// The string segment's stiffness: what the strokes say, held by what is usual.
    fn segment_stiffness(&self) -> f32 {
        let mut weight = 1.0 / (SEGMENT_STIFFNESS_SD * SEGMENT_STIFFNESS_SD);
        let mut sum = weight * SEGMENT_STIFFNESS_NM_PER_RAD;
        for direction in [Direction::Flat, Direction::Sharp] {
            if let Some((found, _)) = self.running(direction) {
                // Going sharp the string's moment grows; going flat it falls and the flat torque
                // F − M grows: in a stroke's own terms both slopes are the segment's stiffness.
                let sd = found.slope_sd_nm_per_rad.max(SLOPE_SD_MIN);
                weight += 1.0 / (sd * sd);
                sum += found.slope_nm_per_rad / (sd * sd);
            }
        }
        (sum / weight).clamp(0.0, 1.2 / RAD_PER_DEG)
    }

    /// Running torque in `direction` at the coil angle the pin was found at.
    fn running_as_found(&self, direction: Direction, stiffness: f32) -> Option<f32> {
        let (found, running_nm) = self.running(direction)?;
        let back_rad = self.coil_found_rad.unwrap_or(0.0) - found.running_coil_rad;
        let sign = if direction == Direction::Sharp { 1.0 } else { -1.0 };
        Some(running_nm + sign * stiffness * back_rad)
    }

    /// The finished reading.
    pub fn reading(&self, around: &Surroundings) -> Reading {
        let stiffness = if self.unstrung { 0.0 } else { self.segment_stiffness() };
        let sharp = self.running_as_found(Direction::Sharp, stiffness);
        let flat = self.running_as_found(Direction::Flat, stiffness);
        let both = sharp.zip(flat);
        let friction_nm = both.map(|(sharp, flat)| (sharp + flat) / 2.0);
        let moment_nm = both.map(|(sharp, flat)| (sharp - flat) / 2.0);
        let found_rad = self.coil_found_rad.unwrap_or(0.0);
        let net_rad = if self.has_strokes() { self.coil_last_rad - found_rad } else { 0.0 };
        let mut strokes = Vec::new();
        for found in &self.strokes {
            // Same capacity on both sides.
            let _ = strokes.push(found.stroke);
        }
        Reading {
            survey: around.survey,
            pin: self.pin,
            started: self.started,
            duration_ms: around.now.milliseconds_since(self.started),
            outcome: self.outcome(),
            flags: self.flags(around, flat, friction_nm.zip(moment_nm), net_rad),
            friction: friction_nm.and_then(torque),
            string_moment: moment_nm.and_then(torque),
            sharp: sharp.and_then(torque),
            flat: flat.and_then(torque),
            net_rotation: angle(net_rad),
            excursion_flat: angle((self.coil_min_rad - found_rad).min(0.0)),
            excursion_sharp: angle((self.coil_max_rad - found_rad).max(0.0)),
            temperature_centi_celsius: around.motion.temperature_centi_celsius,
            attitude_milli_g: around.motion.acceleration_milli_g,
            calibration: around.calibration,
            samples: around.samples,
            strokes,
        }
    }

    fn flags(
        &self,
        around: &Surroundings,
        flat_nm: Option<f32>,
        measured: Option<(f32, f32)>,
        net_rad: f32,
    ) -> u16 {
        let driven = flat_nm.is_some_and(|flat_nm| flat_nm < DRIVEN_NM);
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
            (reading_flags::JUMPY, any(stroke_flags::JUMPY)),
            (
                reading_flags::HIGH_FIRST_BREAK,
                measured.is_some_and(|(f, m)| self.first_break_high(f, m)),
            ),
            (
                reading_flags::SLACK,
                !self.unstrung && measured.is_some_and(|(_, m)| m < SLACK_MOMENT_NM),
            ),
            (reading_flags::UNSTRUNG, self.unstrung),
            (reading_flags::MOVED_ON_SEATING, self.moved_on_seating),
            (reading_flags::SPONGY, spongy),
            (reading_flags::HARD, any(stroke_flags::HARD)),
            (reading_flags::TOO_FAR, any(stroke_flags::TOO_FAR)),
            (reading_flags::RETUNE, net_rad.abs() > RETUNE_RAD || any(stroke_flags::TOO_FAR)),
            (reading_flags::NOT_ZEROED, !around.zeroed),
        ]
        .iter()
        .fold(0, |flags, (bit, set)| if *set { flags | bit } else { flags })
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

fn torque(value_nm: f32) -> Option<Torque> {
    Torque::from_newton_metres(f64::from(value_nm))
}

fn angle(value_rad: f32) -> Angle {
    Angle::from_radians(f64::from(value_rad)).unwrap_or_default()
}
