//! The one entry: inputs and time in, signals and bytes out.
//!
//! Order within a step: the input is taken, strokes and readings follow from it, then what is to
//! be said is queued. Deliberately not here: measurement ([`crate::stroke`], [`crate::reading`]),
//! framing ([`crate::link`]), keeping ([`crate::log`]).

mod commands;
mod pin;
mod records;
mod say;
mod zero;

use heapless::Vec;
use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::block::{self, BLOCK_BYTES_MAX, BLOCK_SAMPLE_COUNT_MAX, RawSample};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{
    ChoosePin, FromHost, FromLever, Hello, Live, Phase, Record, Reply, Samples, StartSurvey, Status,
};
use pinhold_protocol::record::{
    Pin, RECORD_BYTES_MAX, RECORD_VERSION, SampleCoverage, encode_record,
};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use crate::calibration::Calibration;
use crate::link::Link;
use crate::log::{RamLog, RecordBuffer, RecordLog};
use crate::reading::{Progress, Session, Surroundings};
use crate::sample::{BIN_SAMPLE_COUNT, FinishedBin, MOTION_SAMPLE_COUNT, Pipeline};
use crate::stroke::finder::LIFTED_RAD;
use crate::stroke::{Event, Finder, RAD_PER_DEG, State, TORQUE_STOP_NM, TORQUE_WARN_NM};
use crate::{Board, Identity, Input, Lamp, Signals};

/// Samples between two live messages: twenty a second at 1 kHz.
const LIVE_SAMPLE_COUNT: u32 = 50;
/// Bins averaged for a zero: half a second.
const ZERO_BIN_COUNT: u32 = 50;
/// Bins of rest between two corrections of the gyro bias.
const BIAS_BIN_COUNT: u32 = 10;
/// Largest rate a bias correction believes, radians per second.
const BIAS_RATE_MAX: f32 = 0.3 * RAD_PER_DEG;
/// Largest rate that can be a gyro's bias when the zero is taken, radians per second.
const ZERO_RATE_MAX: f32 = 3.0 * RAD_PER_DEG;
/// Largest spread of bin torques while the zero is taken, N·m.
const ZERO_TORQUE_RANGE_NM: f32 = 0.1;
/// Slip that may be asked for, microradians: 0.2 to 1.5 degrees.
const SLIP_MICRORADIANS: core::ops::RangeInclusive<i32> = 3_490..=26_180;
/// Firmware version: major, minor, patch.
const FIRMWARE_VERSION: [u8; 3] = [0, 1, 0];

const _: () = assert!(MOTION_SAMPLE_COUNT as usize == BLOCK_SAMPLE_COUNT_MAX);

/// A zero being taken.
#[derive(Clone, Copy, Debug)]
struct Zeroing {
    command_sequence: u16,
    bin_count: u32,
    code_sum: i64,
    rate_sum: i64,
    torque_low_nm: f32,
    torque_high_nm: f32,
}

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
    beep: bool,
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
            slip_asked_rad: 0.5 * RAD_PER_DEG,
            zeroing: None,
            zeroed: false,
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
            beep: false,
        }
    }

    /// With a calibration other than the nominal one: a board whose converter has another range
    /// says so here.
    #[must_use]
    pub fn with_calibration(mut self, calibration: Calibration) -> Self {
        self.pipeline.calibration = calibration;
        self
    }

    /// With what the board knows of itself.
    #[must_use]
    pub fn with_board(mut self, board: Board) -> Self {
        self.board = board;
        self
    }

    /// Takes one input at time `now` (never earlier than the last) and says what to show.
    pub fn step(&mut self, now: DeviceTime, input: Input<'_>) -> Signals {
        self.beep = false;
        match input {
            Input::Sample(sample) => self.take_sample(now, sample),
            Input::Motion(motion) => self.pipeline.set_motion(motion),
            Input::Missed(count) => {
                self.missed_sample_count = self.missed_sample_count.saturating_add(count);
                self.finder.spoil();
            }
            Input::Received(bytes) => {
                for byte in bytes {
                    if let Some((sequence, command)) = self.link.receive(*byte) {
                        self.obey(now, sequence, command);
                    }
                }
            }
            Input::MotionReady(_)
            | Input::Buttons(_)
            | Input::Power(_)
            | Input::Bridge { .. }
            | Input::Tick => {}
        }
        self.signals()
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

    fn signals(&self) -> Signals {
        let torque_nm = self.last_torque_nm.abs();
        let lamp = if torque_nm > TORQUE_STOP_NM {
            Lamp::Stop
        } else if torque_nm > TORQUE_WARN_NM {
            Lamp::Hard
        } else if self.is_too_far() {
            Lamp::TooFar
        } else {
            match self.phase {
                Phase::Idle | Phase::Zeroing => Lamp::Idle,
                Phase::Seating => Lamp::Seat,
                Phase::Rest => Lamp::Ready,
                Phase::Loading | Phase::Slip | Phase::Unloading => Lamp::Moving,
                Phase::Accepted => Lamp::Accepted,
                Phase::Repeat => Lamp::Repeat,
            }
        };
        let pin = self.session.as_ref().map(|session| session.pin);
        Signals { lamp, beep: self.beep, pin, asleep: false }
    }

    fn is_too_far(&self) -> bool {
        self.session.is_some()
            && self.finder.state() == State::Active
            && self.finder.coil_movement_rad().abs() > 2.0 * self.slip_asked_rad
    }

    fn take_sample(&mut self, now: DeviceTime, sample: RawSample) {
        if self.room_wanted {
            // Now rather than when the next pin is chosen: samples missed here harm no reading.
            self.make_room();
        }
        let finished = self.pipeline.push(sample);
        self.collect(sample);
        if let Some(finished) = finished {
            self.last_torque_nm = finished.bin.torque_nm;
            if self.zeroing.is_some() {
                self.take_zero_bin(&finished);
            } else if self.session.is_some() {
                self.take_bin(now, &finished);
            }
        }
        let talking = self.survey != 0 || self.zeroing.is_some();
        if talking && self.pipeline.sample_index().is_multiple_of(LIVE_SAMPLE_COUNT) {
            self.say_live();
        }
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
