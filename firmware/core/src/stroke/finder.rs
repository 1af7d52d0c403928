//! Cuts strokes out of the stream of bins: unsettled → rest → active → rest.
//!
//! Rest means steady torque and no rotation for a tenth of a second, never torque zero: a hand may
//! rest on the lever, and a weak pin may have to be held. Deliberately not here: what a stroke
//! says ([`super::analysis`]).

use heapless::Deque;
use pinhold_protocol::record::stroke_flags;

use super::analysis::{self, Context, Found};
use super::trace::Trace;
use super::{NOMINAL_STIFFNESS_NM_PER_RAD, RAD_PER_DEG};
use crate::sample::{Bin, FinishedBin};

/// Bins looked at to tell rest: 100 ms.
pub const REST_BIN_COUNT: usize = 10;
/// Largest range of torque over those bins at rest, N·m: room for a hand's tremor.
const REST_TORQUE_RANGE_NM: f32 = 0.35;
/// Largest change of torque from the older to the newer half of them, N·m: a hand letting go
/// slowly is not at rest.
const REST_TORQUE_DRIFT_NM: f32 = 0.1;
/// Largest rotation over those bins at rest, radians (0.2 degrees per second): as slow as slip is
/// still counted, or the slow end of one would pass for rest.
const REST_ROTATION_RAD: f32 = 0.02 * RAD_PER_DEG;
/// Torque change that counts as the start of a stroke, N·m.
const STROKE_TORQUE_NM_MIN: f32 = 0.4;
/// Coil movement that is a twitch of the hand and no movement of the pin, radians.
const TWITCH_RAD_MAX: f32 = 0.06 * RAD_PER_DEG;
/// Coil movement that counts as slip where a stroke is cut at a reversal, radians.
const STROKE_MOVEMENT_RAD_MIN: f32 = 0.12 * RAD_PER_DEG;
/// Head rate of a lever moved through the air, radians per second, …
const FREE_RATE: f32 = 6.0 * RAD_PER_DEG;
/// … with less torque on it than this, N·m, …
const FREE_TORQUE_NM: f32 = 0.5;
/// … and in the mean less than this, N·m, …
const FREE_MEAN_NM: f32 = 0.1;
/// … for this many bins.
const FREE_BIN_COUNT_MIN: u32 = 5;
/// A lever not seen to move for this many bins after a new pin was chosen is taken to sit on it.
const LIFT_BIN_COUNT_MAX: u32 = 400;
/// Least head rotation of a stroke that took no torque worth the name, radians.
const WEAK_TURN_RAD_MIN: f32 = 0.25 * RAD_PER_DEG;
/// Head rotation without torque that means the lever was taken off the pin, radians.
pub const LIFTED_RAD: f32 = 2.0 * RAD_PER_DEG;
/// Torque above which rotation before the first rest counts as turning the pin, N·m.
const SEATING_TORQUE_NM_MIN: f32 = 0.8;
/// Rotation under such torque that counts as a pin moved on seating, radians.
const SEATING_TURN_RAD_MIN: f32 = 0.15 * RAD_PER_DEG;
/// Steady torque above this share of the peak is a hand holding on, not rest, …
const HOLDING_SHARE: f32 = 0.3;
/// … unless it is small, N·m, …
const HOLDING_TORQUE_NM_MIN: f32 = 1.0;
/// … or lasts this many bins.
const HOLDING_BIN_COUNT_MAX: u32 = 150;

/// Where the finder is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum State {
    /// Moving, and no rest seen yet since the pin was chosen.
    Unsettled,
    /// At rest.
    Rest,
    /// A stroke is under way: loading, slip or unloading.
    Active,
}

/// What a bin brought about.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// Came to rest without a stroke worth the name, this much farther round (radians).
    Settled {
        /// Head rotation since the last rest, sharp positive.
        turned_rad: f32,
    },
    /// Came to rest on the pin for the first time.
    Seated {
        /// The pin turned under torque while the lever was being seated.
        moved: bool,
    },
    /// A stroke ended.
    Stroke(Found),
}

/// The state machine.
#[derive(Clone, Debug)]
pub struct Finder {
    state: State,
    window: Deque<Bin, REST_BIN_COUNT>,
    trace: Trace,
    /// Bins since the present state began.
    state_bin_count: u32,
    /// Bins since rest conditions hold, while active.
    steady_bin_count: u32,
    /// Mean of the oldest half of the last window seen at rest.
    rest: Bin,
    rest_bin_count_before: u32,
    peak_nm: f32,
    spoiled: bool,
    bin_s: f32,
    slip_asked_rad: f32,
    /// Head rotation under torque before the first rest, radians.
    seating_turn_rad: f32,
    seating_angle_rad: Option<f32>,
    /// The lever must be seen to leave the last pin before a rest counts.
    needs_lift: bool,
    /// Bins of free motion since the present state began.
    free_bin_count: u32,
    /// Sum of the torques in them.
    free_torque_sum_nm: f32,
    last_angle_rad: f32,
}

impl Finder {
    /// A finder for bins of `bin_s` seconds.
    #[inline(always)]
    pub fn new(bin_s: f32) -> Finder {
        Finder {
            state: State::Unsettled,
            window: Deque::new(),
            trace: Trace::default(),
            state_bin_count: 0,
            steady_bin_count: 0,
            rest: Bin::default(),
            rest_bin_count_before: 0,
            peak_nm: 0.0,
            spoiled: false,
            bin_s,
            slip_asked_rad: 0.5 * RAD_PER_DEG,
            seating_turn_rad: 0.0,
            seating_angle_rad: None,
            needs_lift: false,
            free_bin_count: 0,
            free_torque_sum_nm: 0.0,
            last_angle_rad: 0.0,
        }
    }

    /// Starts over for a new pin; `needs_lift` when the lever still sits on another one.
    pub fn restart(&mut self, slip_asked_rad: f32, needs_lift: bool) {
        self.needs_lift = needs_lift;
        self.last_angle_rad = 0.0;
        self.slip_asked_rad = slip_asked_rad;
        self.window.clear();
        self.trace.clear();
        self.enter(State::Unsettled);
        self.seating_turn_rad = 0.0;
        self.seating_angle_rad = None;
        self.spoiled = false;
        self.peak_nm = 0.0;
    }

    /// Present state.
    pub fn state(&self) -> State {
        self.state
    }

    /// Bins since the present state began.
    pub fn state_bin_count(&self) -> u32 {
        self.state_bin_count
    }

    /// Coil angle now against the rest the stroke started from, radians, sharp positive.
    pub fn coil_movement_rad(&self) -> f32 {
        self.window.back().map_or(0.0, |bin| nominal_coil(bin) - nominal_coil(&self.rest))
    }

    /// Samples were missed or saturated: the stroke under way is spoiled.
    pub fn spoil(&mut self) {
        self.spoiled = true;
    }

    fn enter(&mut self, state: State) {
        self.state = state;
        self.state_bin_count = 0;
        self.steady_bin_count = 0;
        self.free_bin_count = 0;
        self.free_torque_sum_nm = 0.0;
    }

    /// Takes a bin.
    pub fn push(&mut self, finished: &FinishedBin) -> Option<Event> {
        if self.window.is_full() {
            self.window.pop_front();
        }
        // Room was just made.
        let _ = self.window.push_back(finished.bin);
        self.state_bin_count = self.state_bin_count.saturating_add(1);
        let turned = (finished.bin.angle_rad - self.last_angle_rad).abs();
        self.last_angle_rad = finished.bin.angle_rad;
        if turned > FREE_RATE * self.bin_s && finished.bin.torque_nm.abs() < FREE_TORQUE_NM {
            self.free_bin_count += 1;
            self.free_torque_sum_nm += finished.bin.torque_nm;
        }
        if self.state == State::Active {
            self.trace.push(finished.bin);
            self.peak_nm = self.peak_nm.max(finished.bin.torque_nm.abs());
            self.spoiled |= finished.saturated;
        }
        let steady = self.is_steady();
        match self.state {
            State::Unsettled => self.unsettled(steady, finished),
            State::Rest => {
                self.at_rest(steady);
                None
            }
            State::Active => self.active(steady, finished.bin),
        }
    }

    /// Before the first rest on a pin; a movement under torque here means that the pin turned
    /// while the lever was being seated.
    fn unsettled(&mut self, steady: bool, finished: &FinishedBin) -> Option<Event> {
        let bin = finished.bin;
        if bin.torque_nm.abs() > SEATING_TORQUE_NM_MIN {
            // From one passage of the threshold to the next the elastic twist cancels.
            let before_rad = self.seating_angle_rad.unwrap_or(bin.angle_rad);
            self.seating_turn_rad += bin.angle_rad - before_rad;
            self.seating_angle_rad = Some(bin.angle_rad);
        } else {
            self.seating_angle_rad = None;
        }
        let still_there = self.needs_lift
            && self.free_bin_count < FREE_BIN_COUNT_MIN
            && self.state_bin_count < LIFT_BIN_COUNT_MAX;
        if !steady || still_there || bin.torque_nm.abs() > HOLDING_TORQUE_NM_MIN {
            return None;
        }
        self.rest = self.window_mean();
        self.spoiled = finished.saturated;
        self.enter(State::Rest);
        Some(Event::Seated { moved: self.seating_turn_rad.abs() > SEATING_TURN_RAD_MIN })
    }

    fn at_rest(&mut self, steady: bool) {
        if steady {
            self.rest = self.window_mean();
            return;
        }
        self.rest_bin_count_before = self.state_bin_count;
        self.peak_nm = 0.0;
        self.spoiled = false;
        self.trace.clear();
        for bin in self.window.iter() {
            self.trace.push(*bin);
        }
        self.enter(State::Active);
    }

    fn active(&mut self, steady: bool, bin: Bin) -> Option<Event> {
        if let Some(event) = self.reversal(bin) {
            return Some(event);
        }
        self.steady_bin_count = if steady { self.steady_bin_count + 1 } else { 0 };
        let holding = bin.torque_nm.abs() > HOLDING_SHARE * self.peak_nm
            && bin.torque_nm.abs() > HOLDING_TORQUE_NM_MIN
            && self.steady_bin_count < HOLDING_BIN_COUNT_MAX;
        if !steady || holding {
            return None;
        }
        let event = self.finish();
        let moved_rad = match &event {
            Event::Settled { turned_rad } => turned_rad.abs(),
            _ => f32::INFINITY,
        };
        // A twitch of the hand that moved nothing does not end a rest.
        let rested = self.rest_bin_count_before.saturating_add(self.state_bin_count);
        self.rest = self.window_mean();
        self.enter(State::Rest);
        if moved_rad < TWITCH_RAD_MAX {
            self.state_bin_count = rested;
        }
        Some(event)
    }

    /// A stroke followed by the opposite one without a rest between is cut where the torque
    /// changes sign.
    fn reversal(&mut self, bin: Bin) -> Option<Event> {
        let movement = self.coil_movement_rad();
        let against = if movement > 0.0 { -bin.torque_nm } else { bin.torque_nm };
        let slipped = movement.abs() > STROKE_MOVEMENT_RAD_MIN;
        // A string-driven pin is held back by the opposite torque from the start: no reversal.
        let was_pushed = analysis::largest_towards(self.trace.bins(), movement) > 2.0;
        if !(slipped && was_pushed && against > STROKE_TORQUE_NM_MIN) {
            return None;
        }
        let event = self.finish();
        self.rest = *self.window.front()?;
        self.rest_bin_count_before = 0;
        self.peak_nm = 0.0;
        self.spoiled = false;
        self.trace.clear();
        for bin in self.window.iter() {
            self.trace.push(*bin);
        }
        self.enter(State::Active);
        Some(event)
    }

    fn finish(&mut self) -> Event {
        let context = Context {
            rest: self.rest,
            bin_s: self.bin_s * self.trace.merge() as f32,
            rest_before_ms: (self.rest_bin_count_before as f32 * self.bin_s * 1000.0) as u32,
            slip_asked_rad: self.slip_asked_rad,
            spoiled: self.spoiled,
        };
        // Movement without torque is a weak pin that turns for nothing, up to a degree or two;
        // beyond that it is a lever in the air.
        let loaded = analysis::torque_range(self.trace.bins()) > STROKE_TORQUE_NM_MIN;
        let turned = (WEAK_TURN_RAD_MIN..LIFTED_RAD).contains(&self.coil_movement_rad().abs());
        // A weak pin jerked round takes some torque all the way; the air takes none on the whole.
        let free_mean_nm = self.free_torque_sum_nm / self.free_bin_count.max(1) as f32;
        let lifted = self.free_bin_count >= FREE_BIN_COUNT_MIN && free_mean_nm.abs() < FREE_MEAN_NM;
        match analysis::read(self.trace.bins(), &context) {
            Some(found) if found.has(stroke_flags::LEVER_SLIPPED) => Event::Stroke(found),
            _ if lifted => Event::Settled { turned_rad: LIFTED_RAD },
            Some(found) if loaded || turned || found.has(stroke_flags::JERK) => {
                Event::Stroke(found)
            }
            _ => Event::Settled { turned_rad: self.coil_movement_rad() },
        }
    }

    fn is_steady(&self) -> bool {
        if !self.window.is_full() {
            return false;
        }
        let (mut low, mut high) = (f32::INFINITY, f32::NEG_INFINITY);
        let (mut older_sum, mut newer_sum) = (0.0f32, 0.0f32);
        // By slices: a ring's own iterator looks for its end at every step.
        let (front, back) = self.window.as_slices();
        for (index, bin) in front.iter().chain(back).enumerate() {
            // Compared here: `min` and `max` are calls of thirty instructions on the target.
            low = if bin.torque_nm < low { bin.torque_nm } else { low };
            high = if bin.torque_nm > high { bin.torque_nm } else { high };
            let half = if index < REST_BIN_COUNT / 2 { &mut older_sum } else { &mut newer_sum };
            *half += bin.torque_nm;
        }
        let drift_nm = (newer_sum - older_sum).abs() / (REST_BIN_COUNT / 2) as f32;
        let rotation = match (self.window.front(), self.window.back()) {
            (Some(first), Some(last)) => (last.angle_rad - first.angle_rad).abs(),
            _ => f32::INFINITY,
        };
        high - low < REST_TORQUE_RANGE_NM
            && drift_nm < REST_TORQUE_DRIFT_NM
            && rotation < REST_ROTATION_RAD
    }

    /// Mean over the whole window.
    fn window_mean(&self) -> Bin {
        let count = self.window.len().max(1) as f32;
        let mut sum = Bin::default();
        for bin in self.window.iter() {
            sum.torque_nm += bin.torque_nm;
            sum.angle_rad += bin.angle_rad;
        }
        Bin { torque_nm: sum.torque_nm / count, angle_rad: sum.angle_rad / count }
    }
}

fn nominal_coil(bin: &Bin) -> f32 {
    bin.angle_rad - bin.torque_nm / NOMINAL_STIFFNESS_NM_PER_RAD
}
