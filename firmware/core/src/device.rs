//! The one entry: inputs and time in, signals and bytes out.
//!
//! Order within a step: the input is taken, strokes and readings follow from it, then what is to
//! be said is queued. Deliberately not here: measurement ([`crate::stroke`], [`crate::reading`]),
//! framing ([`crate::link`]), keeping ([`crate::log`]).

mod records;

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
use crate::sample::{BIN_SAMPLE_COUNT, FinishedBin, MOTION_SAMPLE_COUNT, Pipeline, rounded};
use crate::stroke::finder::LIFTED_RAD;
use crate::stroke::{Event, Finder, RAD_PER_DEG, State, TORQUE_STOP_NM, TORQUE_WARN_NM};
use crate::{Identity, Input, Lamp, Signals};

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
    // Inlined, so that `MaybeUninit::write` builds it in place: a copy is 10 KiB of stack.
    #[inline(always)]
    pub fn with_log(identity: Identity, log: L) -> Lever<L> {
        let pipeline = Pipeline::new(identity.sample_period_ns);
        let finder = Finder::new(pipeline.bin_ms() / 1000.0);
        Lever {
            identity,
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
            Input::Tick => {}
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
        Signals { lamp, beep: self.beep, pin: self.session.as_ref().map(|session| session.pin) }
    }

    fn is_too_far(&self) -> bool {
        self.session.is_some()
            && self.finder.state() == State::Active
            && self.finder.coil_movement_rad().abs() > 2.0 * self.slip_asked_rad
    }

    fn take_sample(&mut self, now: DeviceTime, sample: RawSample) {
        // What is measured with is what is sent, so a replay of the one gives the other.
        let sample = rounded(sample);
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

    fn take_bin(&mut self, now: DeviceTime, finished: &FinishedBin) {
        let event = self.finder.push(finished);
        self.correct_bias(finished);
        let Some(session) = self.session.as_mut() else { return };
        match event {
            Some(Event::Seated { moved }) => {
                session.seated(now);
                self.last_pin = Some(session.pin);
                if moved {
                    session.note_moved_on_seating();
                }
                self.beep = true;
            }
            Some(Event::Settled { turned_rad }) if turned_rad.abs() >= LIFTED_RAD => {
                session.reseated();
            }
            Some(Event::Settled { .. }) | None => {}
            Some(Event::Stroke(found)) => {
                if session.add(found) == Progress::Repeat {
                    self.ask_repeat();
                    return;
                }
            }
        }
        self.follow(now);
    }

    /// Sets the phase from the finder and closes the reading when it is complete.
    fn follow(&mut self, now: DeviceTime) {
        let Some(session) = self.session.as_ref() else { return };
        match self.finder.state() {
            State::Unsettled => self.phase = Phase::Seating,
            State::Active => {
                let slipping = self.finder.coil_movement_rad().abs() > 0.1 * RAD_PER_DEG;
                self.phase = if slipping { Phase::Slip } else { Phase::Loading };
            }
            State::Rest => match session.progress(self.finder.state_bin_count()) {
                Progress::Open if self.repeat_asked && !session.has_strokes() => {
                    self.phase = Phase::Repeat;
                }
                Progress::Open => self.phase = Phase::Rest,
                Progress::Complete => self.accept(now),
                Progress::Repeat => self.ask_repeat(),
            },
        }
    }

    fn ask_repeat(&mut self) {
        if let Some(session) = self.session.as_mut() {
            session.clear();
        }
        self.repeat_asked = true;
        self.phase = Phase::Repeat;
        self.beep = self.finder.state() == State::Rest;
    }

    /// While at rest, lets the gyro bias follow what the gyro shows.
    fn correct_bias(&mut self, finished: &FinishedBin) {
        if self.finder.state() != State::Rest {
            self.rest_rate_sum = 0;
            self.rest_bin_count = 0;
            return;
        }
        self.rest_rate_sum += finished.rate_sum;
        self.rest_bin_count += 1;
        if self.rest_bin_count < BIAS_BIN_COUNT {
            return;
        }
        let sample_count = self.rest_bin_count * BIN_SAMPLE_COUNT;
        let rate = self.pipeline.rate_radians_per_second(self.rest_rate_sum, sample_count);
        if rate.abs() < BIAS_RATE_MAX {
            self.pipeline.nudge_bias(self.rest_rate_sum, sample_count);
        }
        self.rest_rate_sum = 0;
        self.rest_bin_count = 0;
    }

    /// Forms the reading, keeps it, and only then says so.
    fn accept(&mut self, now: DeviceTime) {
        self.send_block();
        let Some(session) = self.session.as_ref() else { return };
        let around = Surroundings {
            survey: self.survey,
            now,
            motion: self.pipeline.motion,
            calibration: self.pipeline.calibration.number,
            zeroed: self.zeroed,
            samples: self.coverage(),
        };
        let mut record: RecordBuffer = [0; RECORD_BYTES_MAX];
        let encoded = encode_record(&session.reading(&around), &mut record);
        let bytes = encoded.ok().and_then(|byte_count| record.get(..byte_count)).unwrap_or(&[]);
        let kept = if bytes.is_empty() { None } else { self.log.push(bytes) };
        let Some(stored) = kept else {
            // Choosing a pin made sure of room, and nothing else uses it up; if it is gone all
            // the same the operator is asked again rather than told "accepted".
            self.ask_repeat();
            return;
        };
        let (epoch, number, checksum) = (self.log.epoch(), stored.number, stored.checksum);
        // Where there is no room now the host pulls it, told by the next live message.
        let _ = self.link.send(&FromLever::Record(Record { epoch, number, checksum, bytes }));
        self.last_read = Some((self.survey, session.pin, number));
        self.session = None;
        self.room_wanted = true;
        self.phase = Phase::Accepted;
        self.beep = true;
    }

    fn coverage(&self) -> SampleCoverage {
        if !self.stream_samples {
            SampleCoverage::None
        } else if self.lost_at_choice == (self.dropped_block_count, self.missed_sample_count) {
            SampleCoverage::Complete
        } else {
            SampleCoverage::WithGaps
        }
    }

    fn take_zero_bin(&mut self, finished: &FinishedBin) {
        let Some(zeroing) = self.zeroing.as_mut() else { return };
        zeroing.bin_count += 1;
        zeroing.code_sum += finished.code_sum;
        zeroing.rate_sum += finished.rate_sum;
        zeroing.torque_low_nm = zeroing.torque_low_nm.min(finished.bin.torque_nm);
        zeroing.torque_high_nm = zeroing.torque_high_nm.max(finished.bin.torque_nm);
        if zeroing.bin_count < ZERO_BIN_COUNT {
            return;
        }
        let done = *zeroing;
        self.zeroing = None;
        self.phase = Phase::Idle;
        let sample_count = done.bin_count * BIN_SAMPLE_COUNT;
        let bias_before = self.pipeline.rate_radians_per_second(done.rate_sum, sample_count);
        let still = done.torque_high_nm - done.torque_low_nm < ZERO_TORQUE_RANGE_NM
            && bias_before.abs() < ZERO_RATE_MAX;
        if still {
            let across = self.pipeline.motion.acceleration_milli_g[1];
            self.pipeline.calibration.take_zero(done.code_sum, sample_count, across);
            self.pipeline.set_bias(done.rate_sum, sample_count);
            self.zeroed = true;
        }
        let result = if still { CommandResult::Done } else { CommandResult::NotAtRest };
        self.reply(done.command_sequence, result);
    }

    fn obey(&mut self, now: DeviceTime, sequence: u16, command: FromHost) {
        let result = match command {
            FromHost::Greet(_) => {
                self.say_hello(now);
                return;
            }
            FromHost::AskStatus(()) => {
                let _ = self.link.send(&FromLever::Status(Status {
                    link: self.link.counters(),
                    dropped_block_count: self.dropped_block_count,
                    missed_sample_count: self.missed_sample_count,
                    saturated_sample_count: self.pipeline.saturated_sample_count,
                }));
                return;
            }
            FromHost::Zero(()) => match self.start_zero(sequence) {
                Some(refusal) => refusal,
                None => return,
            },
            FromHost::StartSurvey(start) => self.start_survey(start),
            FromHost::StopSurvey(()) => self.stop_survey(),
            FromHost::ChoosePin(choice) => self.choose_pin(now, choice),
            FromHost::Pull(pull) => self.send_again(pull),
            FromHost::PlanPart(_) | FromHost::AskHealth(()) | FromHost::AskPlan(()) => {
                CommandResult::OutOfRange
            }
            FromHost::Commit(commit) => {
                self.make_room();
                self.log.commit(commit)
            }
        };
        self.reply(sequence, result);
    }

    /// Queues a reply; where there is no room the host asks again.
    fn reply(&mut self, to: u16, result: CommandResult) {
        let _ = self.link.send(&FromLever::Reply(Reply { to, result }));
    }

    fn say_hello(&mut self, now: DeviceTime) {
        let (committed_floor, committed_chain) = self.log.committed();
        let _ = self.link.send(&FromLever::Hello(Hello {
            protocol_min: PROTOCOL_VERSION,
            protocol_max: PROTOCOL_VERSION,
            device: self.identity.device,
            epoch: self.log.epoch(),
            firmware: FIRMWARE_VERSION,
            record_version: RECORD_VERSION,
            now,
            oldest_record: self.log.oldest_number(),
            next_record: self.log.next_number(),
            committed_floor,
            committed_chain,
            sample_period_ns: self.identity.sample_period_ns,
            calibration: self.pipeline.calibration.number,
            zeroed: self.zeroed,
            survey: self.survey,
        }));
    }

    fn say_live(&mut self) {
        let angle_rad = self.finder.coil_movement_rad();
        let live = Live {
            pin: self.session.as_ref().map(|session| session.pin),
            phase: self.phase,
            torque: Torque::from_newton_metres(f64::from(self.last_torque_nm)).unwrap_or_default(),
            angle: Angle::from_radians(f64::from(angle_rad)).unwrap_or_default(),
            next_record: self.log.next_number(),
            committed_floor: self.log.committed().0,
            dropped_block_count: self.dropped_block_count,
            missed_sample_count: self.missed_sample_count,
        };
        let _ = self.link.send_droppable(&FromLever::Live(live));
    }

    fn start_zero(&mut self, command_sequence: u16) -> Option<CommandResult> {
        // Never on a pin: a reading in hand would lose its zero under it.
        if self.session.is_some() {
            return Some(CommandResult::PinMoving);
        }
        self.zeroing = Some(Zeroing {
            command_sequence,
            bin_count: 0,
            code_sum: 0,
            rate_sum: 0,
            torque_low_nm: f32::INFINITY,
            torque_high_nm: f32::NEG_INFINITY,
        });
        self.phase = Phase::Zeroing;
        None
    }

    fn start_survey(&mut self, start: StartSurvey) -> CommandResult {
        if start.survey == 0 || !SLIP_MICRORADIANS.contains(&start.slip.microradians()) {
            return CommandResult::OutOfRange;
        }
        if self.is_moving() {
            return CommandResult::PinMoving;
        }
        // A block begun under the old settings ends with them.
        self.send_block();
        if self.survey != start.survey {
            self.session = None;
            self.phase = Phase::Idle;
        }
        self.make_room();
        self.survey = start.survey;
        self.stream_samples = start.stream_samples;
        self.slip_asked_rad = start.slip.radians() as f32;
        CommandResult::Done
    }

    fn stop_survey(&mut self) -> CommandResult {
        if self.is_moving() {
            return CommandResult::PinMoving;
        }
        self.send_block();
        self.survey = 0;
        self.session = None;
        self.phase = Phase::Idle;
        CommandResult::Done
    }

    fn choose_pin(&mut self, now: DeviceTime, choice: ChoosePin) -> CommandResult {
        if self.survey == 0 {
            return CommandResult::NoSurvey;
        }
        if !choice.pin.is_known() {
            return CommandResult::NoSuchPin;
        }
        // Asked again, because the reply was lost or the host came back: strokes made stay.
        if self.session.as_ref().is_some_and(|session| session.is_for(choice)) {
            return CommandResult::Done;
        }
        if self.is_moving() {
            return CommandResult::PinMoving;
        }
        if self.awaits_commit(choice.pin) {
            return CommandResult::LogFull;
        }
        // Nothing moves and what was in hand is given up. Mostly there is room already.
        self.log.make_room();
        if !self.log.has_room() {
            return CommandResult::LogFull;
        }
        self.session = Some(Session::new(choice.pin, choice.unstrung, now));
        let needs_lift = self.last_pin.is_some_and(|last| last != choice.pin);
        self.finder.restart(self.slip_asked_rad, needs_lift);
        self.pipeline.reset_angle();
        self.phase = Phase::Seating;
        self.repeat_asked = false;
        self.lost_at_choice = (self.dropped_block_count, self.missed_sample_count);
        CommandResult::Done
    }

    /// Whether a stroke is under way on the pin in hand.
    fn is_moving(&self) -> bool {
        self.session.is_some() && self.finder.state() == State::Active
    }
}
