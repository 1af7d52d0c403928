//! The one entry: inputs and time in, signals and bytes out.
//!
//! Order within a step: the input is taken, strokes and readings follow from it, then what is to
//! be said is queued. A survey is run by a host or, without one, by the buttons ([`alone`]).
//! Deliberately not here: measurement ([`crate::stroke`], [`crate::reading`]), framing
//! ([`crate::link`]), keeping ([`crate::log`]).
//!
//! Invariants: the time never goes back; a beep is only begun while no pin turns or is loaded.

mod alone;
mod commands;
mod fitness;
mod keep;
mod pin;
mod records;
mod say;
mod show;
mod zero;

use heapless::Vec;
use pinhold_protocol::block::{self, BLOCK_BYTES_MAX, BLOCK_SAMPLE_COUNT_MAX, RawSample};
use pinhold_protocol::message::{FromLever, Phase, Samples};
use pinhold_protocol::record::Pin;
use pinhold_protocol::units::DeviceTime;

use self::alone::Alone;
use self::keep::SettingsState;
use self::zero::Zeroing;
use crate::beeper::Beeper;
use crate::buttons::ButtonWatch;
use crate::calibration::Calibration;
use crate::course::Course;
use crate::link::Link;
use crate::log::{RamLog, RecordLog};
use crate::plan::{Incoming, Plan, Progress};
use crate::reading::Session;
use crate::sample::{MOTION_SAMPLE_COUNT, Pipeline, rounded};
use crate::selftest::SelfTest;
use crate::stroke::{Finder, RAD_PER_DEG};
use crate::supply::Supply;
use crate::{Board, Identity, Input, Lamp, Signals};

/// Samples between two live messages: twenty a second at 1 kHz.
const LIVE_SAMPLE_COUNT: u32 = 50;
/// Slip asked of a stroke where nobody asks for another, radians.
const SLIP_DEFAULT_RAD: f32 = 0.5 * RAD_PER_DEG;
/// Time after a byte from a host for which one is taken to listen, milliseconds.
const HEARD_MS: u32 = 10_000;

const _: () = assert!(MOTION_SAMPLE_COUNT as usize == BLOCK_SAMPLE_COUNT_MAX);

/// The lever's whole state.
#[derive(Clone, Debug)]
pub struct Lever<L = RamLog> {
    identity: Identity,
    board: Board,
    pipeline: Pipeline,
    finder: Finder,
    session: Option<Session>,
    /// Pin the lever was last at rest on.
    last_pin: Option<Pin>,
    /// Survey, pin and number of the last reading kept.
    last_read: Option<(u64, Pin, u32)>,
    log: L,
    link: Link,
    survey: u64,
    stream_samples: bool,
    slip_asked_rad: f32,
    zeroing: Option<Zeroing>,
    zeroed: bool,
    /// The buttons begin with a zero.
    needs_zero: bool,
    phase: Phase,
    /// The last try at this pin was not fit to report.
    repeat_asked: bool,
    last_torque_nm: f32,
    block: Vec<RawSample, BLOCK_SAMPLE_COUNT_MAX>,
    block_first_index: u32,
    dropped_block_count: u32,
    missed_sample_count: u32,
    /// A record was kept since the log last had the chance to erase.
    room_wanted: bool,
    /// Dropped blocks plus missed samples when the pin in hand was chosen.
    lost_at_choice: (u32, u32),
    rest_rate_sum: i64,
    rest_bin_count: u32,
    /// Latest time seen.
    now: DeviceTime,
    beeper: Beeper,
    buttons: ButtonWatch,
    supply: Supply,
    test: SelfTest,
    /// Calibration that zeros are judged by: the one kept, or the board's.
    reference: Calibration,
    /// Torque off the pin at the last zero, by that calibration, N·m.
    zero_shown_nm: f32,
    settings: SettingsState,
    plan: Plan,
    incoming: Incoming,
    progress: Progress,
    /// The survey run by the buttons.
    alone: Option<Alone>,
    course: Course,
    /// A pin was refused because the log is full; until something else is asked for.
    told_full: bool,
    /// The fault to show, looked up some times a second.
    fault_shown: Option<Lamp>,
    accepted: Option<DeviceTime>,
    /// Last time a button, a host or a pin did something.
    active: DeviceTime,
    /// Last time bytes came from a host.
    heard: Option<DeviceTime>,
    asleep: bool,
    /// What the last step but those between bins showed.
    shown: Signals,
    /// What is kept in the log was looked up; left to the first step, so that a board can build
    /// the lever in its place.
    recalled: bool,
}

impl Lever {
    /// A lever just powered up, whose records are in RAM.
    pub fn new(identity: Identity) -> Lever {
        Lever::with_log(identity, RamLog::new(identity.device, identity.epoch))
    }
}

impl<L: RecordLog> Lever<L> {
    /// A lever just powered up that keeps its records in `log`, whose epoch counts rather than
    /// the identity's.
    // Inlined, so that `MaybeUninit::write` builds it in place: a copy is 10 KiB of stack.
    #[inline(always)]
    pub fn with_log(identity: Identity, log: L) -> Lever<L> {
        let pipeline = Pipeline::new(identity.sample_period_ns);
        let finder = Finder::new(pipeline.bin_ms() / 1000.0);
        Lever {
            identity,
            board: Board::default(),
            pipeline,
            finder,
            session: None,
            last_pin: None,
            last_read: None,
            log,
            link: Link::new(),
            survey: 0,
            stream_samples: false,
            slip_asked_rad: SLIP_DEFAULT_RAD,
            zeroing: None,
            zeroed: false,
            needs_zero: true,
            phase: Phase::Idle,
            repeat_asked: false,
            last_torque_nm: 0.0,
            block: Vec::new(),
            block_first_index: 0,
            dropped_block_count: 0,
            missed_sample_count: 0,
            room_wanted: false,
            lost_at_choice: (0, 0),
            rest_rate_sum: 0,
            rest_bin_count: 0,
            now: DeviceTime::default(),
            beeper: Beeper::default(),
            buttons: ButtonWatch::default(),
            supply: Supply::default(),
            test: SelfTest::new(),
            reference: Calibration::NOMINAL,
            zero_shown_nm: 0.0,
            settings: SettingsState::Fine { has_calibration: false },
            plan: Plan::NONE,
            incoming: Incoming::NOTHING,
            progress: Progress::default(),
            alone: None,
            course: Course::default(),
            told_full: false,
            fault_shown: None,
            accepted: None,
            active: DeviceTime::default(),
            heard: None,
            asleep: false,
            shown: Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false },
            recalled: false,
        }
    }

    /// With a calibration other than the nominal one: a board whose converter has another range
    /// says so here. One that is kept in the log goes before it.
    #[must_use]
    pub fn with_calibration(mut self, calibration: Calibration) -> Self {
        self.set_calibration(calibration);
        self
    }

    /// As [`Lever::with_calibration`], for a lever that is in its place: it is large.
    pub fn set_calibration(&mut self, calibration: Calibration) {
        if self.settings != (SettingsState::Fine { has_calibration: true }) {
            self.pipeline.calibration = calibration;
            self.reference = calibration;
        }
    }

    /// With what the board knows of itself.
    #[must_use]
    pub fn with_board(mut self, board: Board) -> Self {
        self.set_board(board);
        self
    }

    /// As [`Lever::with_board`], for a lever that is in its place.
    pub fn set_board(&mut self, board: Board) {
        self.board = board;
        self.test.set_board(board);
    }

    /// Takes one input at time `now` (an earlier one than the last counts as the last) and says
    /// what to show.
    pub fn step(&mut self, now: DeviceTime, input: Input<'_>) -> Signals {
        let now = now.max(self.now);
        self.now = now;
        if !self.recalled {
            // A clock that goes on over power cuts is no sign that nobody came for that long.
            self.active = now;
            self.recall();
        }
        match input {
            // Between bins nothing is new but the sample: what was shown stays.
            Input::Sample(sample) if !self.take_sample(now, sample) => {
                return Signals { beep: false, ..self.shown };
            }
            Input::Sample(_) => {}
            Input::Motion(motion) => {
                self.test.note_attitude();
                self.pipeline.set_motion(motion);
            }
            Input::Missed(count) => {
                self.missed_sample_count = self.missed_sample_count.saturating_add(count);
                self.test.note_missed(now, count);
                self.finder.spoil();
            }
            Input::MotionReady(count) => self.test.note_motion(now, count),
            Input::Buttons(levels) if self.test.is_fresh() => {
                self.buttons.set_at_power_up(now, levels);
            }
            Input::Buttons(levels) => self.buttons.set(now, levels),
            Input::Power(power) => {
                self.supply.set(power);
                self.look_around(now);
            }
            Input::Bridge { connected } => self.test.note_bridge(connected),
            Input::Received(bytes) => self.receive(now, bytes),
            Input::Tick => self.look_around(now),
        }
        if !self.buttons.is_idle()
            && let Some(press) = self.buttons.press(now)
        {
            self.press(now, press);
        }
        self.shown = self.signals(now);
        self.shown
    }

    /// Bytes waiting to be sent to the host, oldest first; may be a part of them.
    pub fn pending(&self) -> &[u8] {
        self.link.pending()
    }

    /// The board sent this many of the pending bytes.
    pub fn sent(&mut self, byte_count: usize) {
        self.link.sent(byte_count);
    }

    /// The log, for a board that has something to say to it (power about to fail).
    pub fn log_mut(&mut self) -> &mut L {
        &mut self.log
    }

    /// Takes a sample; whether it ended a bin.
    fn take_sample(&mut self, now: DeviceTime, sample: RawSample) -> bool {
        // What is measured with is what is sent, so a replay of the one gives the other.
        let sample = rounded(sample);
        if self.room_wanted {
            // Now rather than when the next pin is chosen: samples missed here harm no reading.
            self.between_pins(now);
        }
        let finished = self.pipeline.push(sample);
        let ends_bin = finished.is_some();
        self.collect(sample);
        if let Some(finished) = finished {
            self.last_torque_nm = finished.bin.torque_nm;
            self.test.take_bin(now, &finished, &self.pipeline.motion);
            self.look_around(now);
            if self.zeroing.is_some() {
                self.take_zero_bin(now, &finished);
            } else if self.session.is_some() {
                self.take_bin(now, &finished);
            }
        }
        let is_time = self.pipeline.sample_index().is_multiple_of(LIVE_SAMPLE_COUNT);
        if is_time && (self.survey != 0 || (self.is_busy() && self.is_heard(now))) {
            self.say_live();
        }
        ends_bin
    }

    /// Gathers samples into blocks that end where a new attitude may take force.
    fn collect(&mut self, sample: RawSample) {
        if self.survey == 0 || !self.stream_samples {
            return;
        }
        let index = self.pipeline.sample_index();
        if self.block.is_empty() {
            self.block_first_index = index.wrapping_sub(1);
        }
        let code = sample.bridge_code.clamp(block::BRIDGE_CODE_MIN, block::BRIDGE_CODE_MAX);
        // Never full here: a full block is sent below.
        let _ = self.block.push(RawSample { bridge_code: code, ..sample });
        if self.block.is_full() || index.is_multiple_of(MOTION_SAMPLE_COUNT) {
            self.send_block();
        }
    }

    fn send_block(&mut self) {
        if self.block.is_empty() {
            return;
        }
        let mut data = [0u8; BLOCK_BYTES_MAX];
        let sent = match block::encode(&self.block, &mut data) {
            Ok((coding, len)) => self.link.send_droppable(&FromLever::Samples(Samples {
                first_index: self.block_first_index,
                count: self.block.len() as u8,
                dropped_block_count: self.dropped_block_count,
                acceleration_milli_g: self.pipeline.motion.acceleration_milli_g,
                temperature_centi_celsius: self.pipeline.motion.temperature_centi_celsius,
                coding,
                data: data.get(..len).unwrap_or(&[]),
            })),
            Err(_) => false,
        };
        if !sent {
            self.dropped_block_count = self.dropped_block_count.saturating_add(1);
        }
        self.block.clear();
    }
}
