//! One pin's strokes combined into a reading.
//!
//! The micro-stroke is flat by a little, sharp back to the start, a small flat set. Flat and sharp
//! running torques are brought to one coil angle, the one the pin was found at, along the slope
//! the string's short segment gives; there
//!
//! F = (sharp + flat) / 2 and M = (sharp − flat) / 2.
//!
//! Deliberately not here: M₀, holding factor, bands and uncertainty (the host's).

mod words;

use heapless::Vec;
use pinhold_protocol::message::ChoosePin;
use pinhold_protocol::record::{
    Direction, Outcome, Pin, Reading, STROKE_COUNT_MAX, SampleCoverage, stroke_flags,
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
/// Range of torque of a nudge that is no stroke, N·m.
const BUMP_TORQUE_NM_MAX: f32 = 2.5;
/// A stroke that begins sooner than this after the first rest is still part of seating: nobody
/// answers a lamp faster, milliseconds.
const ANSWER_MS_MIN: u32 = 250;
/// Rest after which a stroke behind a spoiled one is a new try, milliseconds.
const ANEW_MS_MIN: u32 = 1000;
/// Longest time of such a nudge, milliseconds, with the rest on either side that belongs to it.
const BUMP_MS_MAX: u32 = 400;
/// Rotation left by such a nudge that means the pin itself turned, radians: more than a tip's play.
const BUMP_TURN_RAD: f32 = 0.3 * RAD_PER_DEG;
/// Slip in it that means so, …
const BUMP_SLIP_RAD: f32 = 0.25 * RAD_PER_DEG;
/// … and the torque either takes, N·m: what turns for nothing is the lever and not the pin.
const BUMP_TORQUE_NM_MIN: f32 = 0.8;
/// Most that a pin is believed to creep between two strokes, radians.
const CREEP_RAD_MAX: f32 = 0.5 * RAD_PER_DEG;

/// What makes a stroke unfit to report.
const SPOILERS: u16 =
    stroke_flags::SAMPLES_SPOILED | stroke_flags::LEVER_SLIPPED | stroke_flags::JERK;

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
    /// Coil angle before the first of the strokes kept: the same, unless earlier ones were given
    /// up. F and M are formed there, because the string is now as it is, and not as it was.
    coil_matched_rad: f32,
    coil_min_rad: f32,
    coil_max_rad: f32,
    coil_last_rad: f32,
    /// A stroke was spoiled, and the gesture it belonged to may still be going on.
    spoiled: bool,
    /// Something like a stroke was taken for part of seating.
    unanswered: bool,
    /// The strokes kept came in one go with a spoiled one.
    follows_spoiled: bool,
    /// See [`Session::note_way`].
    went_too_far: bool,
    /// Direction of the last stroke, and how far strokes went that way since the last turn.
    gone: Option<(Direction, f32)>,
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
            coil_matched_rad: 0.0,
            coil_min_rad: 0.0,
            coil_max_rad: 0.0,
            coil_last_rad: 0.0,
            spoiled: false,
            follows_spoiled: false,
            unanswered: false,
            went_too_far: false,
            gone: None,
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
            self.moved_on_seating |= turned_the_pin(&found);
            // It may have been a stroke begun too soon; whoever made it waits for an answer.
            let spoiled = found.stroke.flags & SPOILERS != 0;
            self.unanswered |= spoiled || found.torque_range_nm > BUMP_TORQUE_NM_MAX;
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
        self.note_way(&found);
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
        let spoiled = found.stroke.flags & SPOILERS != 0;
        if self.strokes.is_full() {
            let least = self.least_useful();
            let mut place = 0..;
            self.strokes.retain(|_| place.next() != Some(least));
        }
        if self.strokes.is_empty() {
            let at_once = found.stroke.rest_before_ms < ANEW_MS_MIN;
            self.follows_spoiled = self.spoiled && at_once;
            self.spoiled = false;
            self.coil_matched_rad = found.coil_before_rad;
        }
        if spoiled {
            if found.has(stroke_flags::LEVER_SLIPPED) {
                // On another flank of the tip the angles start over.
                self.coil_found_rad = None;
            }
            self.clear();
            self.spoiled = true;
            return Progress::Repeat;
        }
        // Room was just made.
        let _ = self.strokes.push(found);
        Progress::Open
    }

    /// Place of the stroke to give up where there are more than a record holds: the oldest that is
    /// neither a first break nor has running torque, else the latest that only repeats its
    /// direction.
    fn least_useful(&self) -> usize {
        let says_nothing =
            |kept: &Found| kept.running_nm.is_none() && !kept.has(stroke_flags::FIRST_BREAK);
        let repeats = |(place, kept): (usize, &Found)| {
            self.strokes.iter().take(place).any(|earlier| {
                earlier.running_nm.is_some() && earlier.stroke.direction == kept.stroke.direction
            })
        };
        let latest = STROKE_COUNT_MAX - 1;
        self.strokes
            .iter()
            .position(says_nothing)
            .or_else(|| self.strokes.iter().enumerate().rposition(repeats))
            .unwrap_or(latest)
    }

    /// Whether the pin is done after `rest_bin_count` bins of rest behind the last stroke.
    pub fn progress(&self, rest_bin_count: u32) -> Progress {
        let Some(last) = self.strokes.last() else {
            let answer = self.unanswered && rest_bin_count >= SETTLE_BIN_COUNT;
            return if answer { Progress::Repeat } else { Progress::Open };
        };
        let both =
            self.running(Direction::Flat).is_some() && self.running(Direction::Sharp).is_some();
        let set = last.stroke.direction == Direction::Flat && self.strokes.len() >= 3;
        if both && set && rest_bin_count >= CLOSE_BIN_COUNT {
            return if self.follows_spoiled { Progress::Repeat } else { Progress::Complete };
        }
        if rest_bin_count < SETTLE_BIN_COUNT {
            return Progress::Open;
        }
        // What a hand did after a spoiled stroke without a pause belongs to the spoiled gesture.
        if self.outcome() == Outcome::Spoiled || self.follows_spoiled {
            Progress::Repeat
        } else {
            Progress::Complete
        }
    }

    /// Keeps count of how far strokes went one way. A weak pin is let down in stretches, and creeps
    /// between them: together they can go too far where none does alone.
    fn note_way(&mut self, found: &Found) {
        let direction = found.stroke.direction;
        if let Some((before, rad)) = &mut self.gone {
            let sign = if *before == Direction::Sharp { 1.0 } else { -1.0 };
            let crept_rad = sign * (found.coil_before_rad - self.coil_last_rad);
            *rad += crept_rad.clamp(0.0, CREEP_RAD_MAX);
            self.went_too_far |= *rad > found.too_far_rad;
            if *before != direction {
                self.gone = None;
            }
        }
        let slip_rad = found.stroke.slip.radians_f32();
        let gone_rad = self.gone.map_or(0.0, |(_, rad)| rad) + slip_rad;
        self.gone = Some((direction, gone_rad));
        self.went_too_far |= gone_rad > found.too_far_rad;
    }

    /// A nudge of the lever as it settles on the pin, before the first stroke: little torque, and
    /// what looks like slip is the tip's play in the head, or over in no time.
    fn is_bump(&self, found: &Found) -> bool {
        let turned_rad = (found.coil_after_rad - found.coil_before_rad).abs();
        self.strokes.is_empty()
            && found.running_nm.is_none()
            && (found.stroke.rest_before_ms < ANSWER_MS_MIN
                || found.torque_range_nm < BUMP_TORQUE_NM_MAX
                    && (turned_rad < BUMP_TURN_RAD || found.stroke.duration_ms < BUMP_MS_MAX))
    }

    /// The hand letting go after it had paused under torque: the foot stands, nothing new.
    fn is_easing_off(&self, found: &Found) -> bool {
        let hard = found.stroke.peak.newton_metres_f32().abs() > TORQUE_WARN_NM;
        let spoiled = found.stroke.flags & SPOILERS != 0;
        !self.strokes.is_empty() && found.breakaway_nm.is_none() && !hard && !spoiled
    }

    /// Forgets the strokes after "repeat please"; that the pin has broken loose stays known.
    pub fn clear(&mut self) {
        self.strokes.clear();
        self.gone = None;
        self.went_too_far = false;
        self.unanswered = false;
    }

    /// The lever was taken off and seated anew: angles start over, and so do the strokes.
    pub fn reseated(&mut self) {
        // What is still to come of a gesture that was under way is no new one.
        self.spoiled |= self.has_strokes();
        self.clear();
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
            .fold(0.0, |peak: f32, found| peak.max(found.stroke.peak.newton_metres_f32().abs()));
        // A slip far too short to be one asked for is a half stroke, not a breakaway reading.
        let broke = self.strokes.iter().any(|found| {
            found.breakaway_nm.is_some() && found.stroke.slip.radians_f32() > 0.1 * RAD_PER_DEG
        });
        match (flat, sharp) {
            (true, true) => Outcome::Measured,
            (true, false) => Outcome::FlatOnly,
            (false, true) => Outcome::SharpOnly,
            (false, false) if broke => Outcome::BreakawayOnly,
            (false, false) if largest_nm > TORQUE_WARN_NM => Outcome::AboveLimit,
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

    /// Running torque in `direction` at the coil angle the pin was found at before these strokes.
    fn running_as_found(&self, direction: Direction, stiffness: f32) -> Option<f32> {
        let (found, running_nm) = self.running(direction)?;
        let back_rad = self.coil_matched_rad - found.running_coil_rad;
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
}

/// Whether a nudge of the lever turned the pin.
fn turned_the_pin(found: &Found) -> bool {
    let net_rad = (found.coil_after_rad - found.coil_before_rad).abs();
    let slip_rad = found.stroke.slip.radians_f32();
    let slipped = slip_rad > BUMP_SLIP_RAD
        && found.breakaway_nm.is_some_and(|nm| nm.abs() > BUMP_TORQUE_NM_MIN);
    slipped || net_rad > BUMP_TURN_RAD && found.torque_range_nm > BUMP_TORQUE_NM_MIN
}

fn torque(value_nm: f32) -> Option<Torque> {
    Torque::from_newton_metres_f32(value_nm)
}

fn angle(value_rad: f32) -> Angle {
    Angle::from_radians_f32(value_rad).unwrap_or_default()
}
