//! One survey's conversation with a lever, sans-IO: bytes and milliseconds in, bytes and events
//! out.
//!
//! The host pulls: it knows the first record number it does not have, asks again for what is
//! missing, and commits a floor only after [`Session::kept`] has been called for everything below
//! it. Every command may be lost and is repeated; all commands may be repeated without harm.
//!
//! Deliberately not here: ports, disks, clocks and what a reading means.

use std::collections::VecDeque;

use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::block;
use pinhold_protocol::error::{CommandResult, LinkCounters};
use pinhold_protocol::frame::{FrameReader, SequenceWatch, WIRE_BYTES_MAX};
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, FromLever, Greet, Hello, Live, Phase, Pull, Record, Reply,
    Samples, StartSurvey, Status,
};
use pinhold_protocol::record::{Pin, Reading, chain_next, decode_record, record_checksum};
use pinhold_protocol::units::Angle;

/// Time before a command without an answer is sent again, milliseconds.
pub const RETRY_MS: u64 = 400;
/// Time for which a refused choice of pin or zero is left alone before the next try.
pub const REFUSED_RETRY_MS: u64 = 500;
/// Silence after which the lever is reported as not answering, milliseconds.
pub const SILENT_MS: u64 = 5_000;
/// Events held at most; beyond it samples are discarded first, and counted.
pub const EVENT_COUNT_MAX: usize = 4_096;

/// A pin to be read.
pub type Choice = ChoosePin;

/// What the survey is to do.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// The survey's identity, not 0.
    pub survey: u64,
    /// Pins in order.
    pub pins: Vec<Choice>,
    /// Slip asked of each stroke.
    pub slip: Angle,
    /// Calendar time, milliseconds since 1970-01-01 UTC.
    pub calendar_ms: u64,
    /// Ask for the sample stream.
    pub stream_samples: bool,
    /// Take the zero first even if the lever has one.
    pub zero_first: bool,
}

/// A record as it came, checked against its checksum and decoded.
#[derive(Clone, Debug, PartialEq)]
pub struct ArrivedRecord {
    /// Device identity.
    pub device: u64,
    /// Log epoch.
    pub epoch: u32,
    /// Record number.
    pub number: u32,
    /// Checksum over epoch, number and bytes.
    pub checksum: u32,
    /// The bytes as stored on the lever.
    pub bytes: Vec<u8>,
    /// What they say.
    pub reading: Reading,
}

/// A block of samples as it came.
#[derive(Clone, Debug, PartialEq)]
pub struct ArrivedSamples {
    /// Samples since power-up before the block's first.
    pub first_index: u32,
    /// The samples.
    pub samples: Vec<block::RawSample>,
    /// Bytes the block took on the wire, frame included.
    pub wire_byte_count: usize,
}

/// What happened, in order.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// A lever answered.
    Greeted(Hello),
    /// It answered, and is another one than before, or has started a new log.
    LeverChanged(Hello),
    /// It speaks no protocol version this host knows.
    VersionUnknown(Hello),
    /// The zero is being taken: hold the lever still, off the pin.
    TakingZero,
    /// It was not held still; another try follows.
    ZeroNotStill,
    /// The lever waits for this pin.
    PinChosen(Pin),
    /// The lever cannot take the pin yet.
    PinRefused(Pin, CommandResult),
    /// Present state.
    Live(Live),
    /// Samples.
    Samples(ArrivedSamples),
    /// A record the host does not have yet. The caller keeps it and calls [`Session::kept`].
    Record(Box<ArrivedRecord>),
    /// A record that does not decode although its checksum is right: from newer firmware. It is
    /// never committed, so it stays on the lever.
    RecordUnreadable {
        /// Its number.
        number: u32,
    },
    /// Records that the lever no longer has and this host never saw.
    RecordsMissing {
        /// First missing number.
        from: u32,
        /// First number that is there again.
        to: u32,
    },
    /// Answer to a status question.
    Status(Status),
    /// Nothing was heard for [`SILENT_MS`].
    Silent,
    /// All pins are read, kept and committed.
    Finished,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Greeting,
    Starting,
    Zeroing,
    Choosing,
    Reading,
    Stopping,
    Done,
}

/// A command under way.
#[derive(Clone, Debug)]
struct Pending {
    /// Sequence numbers it was sent under; an answer to any of them counts.
    sequences: Vec<u16>,
    sent_ms: u64,
    retry_ms: u64,
}

/// The conversation.
#[derive(Debug)]
pub struct Session {
    plan: Plan,
    position: usize,
    stage: Stage,
    lever: Option<Hello>,
    wanted_record: u32,
    chain: u32,
    /// Numbers handed to the caller and not yet reported as kept.
    handed_out: Option<(u32, u32)>,
    pending: Option<Pending>,
    commit_sent_ms: u64,
    pull_sent_ms: u64,
    heard_ms: u64,
    silent_reported: bool,
    pin_read: bool,
    reader: FrameReader,
    frame_byte_count: usize,
    watch: SequenceWatch,
    counters: LinkCounters,
    discarded_event_count: u32,
    next_sequence: u16,
    outgoing: Vec<u8>,
    events: VecDeque<Event>,
}

impl Session {
    /// A conversation that has not begun, at time `now_ms` of any clock that does not go back.
    pub fn new(plan: Plan, now_ms: u64) -> Session {
        Session {
            plan,
            position: 0,
            stage: Stage::Greeting,
            lever: None,
            wanted_record: 0,
            chain: 0,
            handed_out: None,
            pending: None,
            commit_sent_ms: 0,
            pull_sent_ms: 0,
            heard_ms: now_ms,
            silent_reported: false,
            pin_read: false,
            reader: FrameReader::new(),
            frame_byte_count: 0,
            watch: SequenceWatch::default(),
            counters: LinkCounters::default(),
            discarded_event_count: 0,
            next_sequence: 0,
            outgoing: Vec::new(),
            events: VecDeque::new(),
        }
    }

    /// What arrived damaged on this side.
    pub fn counters(&self) -> LinkCounters {
        self.counters
    }

    /// Events thrown away because the caller did not fetch them.
    pub fn discarded_event_count(&self) -> u32 {
        self.discarded_event_count
    }

    /// Pins read and committed so far.
    pub fn position(&self) -> usize {
        self.position
    }

    /// Whether everything is done.
    pub fn is_finished(&self) -> bool {
        self.stage == Stage::Done
    }

    /// The port was opened again: greet anew and go on where things stood.
    pub fn reconnected(&mut self, now_ms: u64) {
        if self.stage != Stage::Done {
            self.stage = Stage::Greeting;
        }
        self.pending = None;
        self.reader.clear();
        self.frame_byte_count = 0;
        self.watch = SequenceWatch::default();
        self.outgoing.clear();
        self.heard_ms = now_ms;
        self.silent_reported = false;
    }

    /// Bytes to be sent, handed over.
    pub fn take_outgoing(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.outgoing)
    }

    /// Next event, oldest first.
    pub fn next_event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// The record with this number is durably on disk; tells the lever.
    pub fn kept(&mut self, now_ms: u64, number: u32) {
        if let Some((handed, checksum)) = self.handed_out
            && handed == number
        {
            self.handed_out = None;
            self.chain = chain_next(self.chain, checksum);
            self.wanted_record = number + 1;
            self.send_commit(now_ms);
            if self.pin_read && self.stage == Stage::Reading {
                self.position += 1;
                self.enter(Stage::Choosing);
            }
        }
    }

    fn enter(&mut self, stage: Stage) {
        self.stage = stage;
        self.pending = None;
        if stage == Stage::Choosing {
            self.pin_read = false;
            if self.position >= self.plan.pins.len() {
                self.stage = Stage::Stopping;
            }
        }
    }

    fn tell(&mut self, event: Event) {
        if self.events.len() >= EVENT_COUNT_MAX {
            let droppable = |event: &Event| matches!(event, Event::Samples(_) | Event::Live(_));
            match self.events.iter().position(droppable) {
                Some(index) => drop(self.events.remove(index)),
                None if droppable(&event) => {
                    self.discarded_event_count = self.discarded_event_count.saturating_add(1);
                    return;
                }
                None => {}
            }
            self.discarded_event_count = self.discarded_event_count.saturating_add(1);
        }
        self.events.push_back(event);
    }

    /// Takes received bytes.
    pub fn receive(&mut self, now_ms: u64, bytes: &[u8]) {
        for byte in bytes {
            self.frame_byte_count += 1;
            let mut reader = std::mem::take(&mut self.reader);
            if let Some(outcome) = reader.push(*byte) {
                let wire_byte_count = std::mem::take(&mut self.frame_byte_count);
                let message = outcome.and_then(|frame| {
                    let sequence = frame.sequence;
                    FromLever::try_from(frame).map(|message| (sequence, message))
                });
                match message {
                    Ok((sequence, message)) => {
                        if self.watch.skipped_before(sequence) != 0 {
                            self.counters.sequence_count += 1;
                        }
                        self.counters.accepted_count =
                            self.counters.accepted_count.saturating_add(1);
                        self.heard_ms = now_ms;
                        self.silent_reported = false;
                        self.take(now_ms, message, wire_byte_count);
                    }
                    Err(error) => self.counters.count_error(error),
                }
            }
            self.reader = reader;
        }
    }

    fn take(&mut self, now_ms: u64, message: FromLever<'_>, wire_byte_count: usize) {
        match message {
            FromLever::Hello(hello) => self.take_hello(hello),
            FromLever::Samples(samples) => self.take_samples(&samples, wire_byte_count),
            FromLever::Live(live) => self.take_live(now_ms, live),
            FromLever::Record(record) => self.take_record(now_ms, &record),
            FromLever::Reply(reply) => self.take_reply(now_ms, reply),
            FromLever::Status(status) => self.tell(Event::Status(status)),
        }
    }

    fn take_hello(&mut self, hello: Hello) {
        if self.stage != Stage::Greeting {
            return;
        }
        if !(hello.protocol_min..=hello.protocol_max).contains(&PROTOCOL_VERSION) {
            self.tell(Event::VersionUnknown(hello));
            return;
        }
        let same = self
            .lever
            .is_some_and(|known| (known.device, known.epoch) == (hello.device, hello.epoch));
        let first = self.lever.is_none();
        // After a reconnect to the same log this side knows where it stands, unless another host
        // has committed more in between; a new log is taken from where its last host left it.
        if !same || hello.committed_floor > self.wanted_record {
            self.wanted_record = hello.committed_floor;
            self.chain = hello.committed_chain;
            self.handed_out = None;
        }
        if hello.oldest_record > self.wanted_record {
            self.tell(Event::RecordsMissing { from: self.wanted_record, to: hello.oldest_record });
        }
        self.lever = Some(hello);
        let changed = !first && !same;
        self.tell(if changed { Event::LeverChanged(hello) } else { Event::Greeted(hello) });
        self.enter(Stage::Starting);
    }

    fn take_samples(&mut self, samples: &Samples<'_>, wire_byte_count: usize) {
        let count = usize::from(samples.count);
        if count == 0 || count > block::BLOCK_SAMPLE_COUNT_MAX {
            self.counters.content_count += 1;
            return;
        }
        let mut unpacked = vec![block::RawSample::default(); count];
        match block::decode(samples.coding, samples.data, &mut unpacked) {
            Ok(()) => self.tell(Event::Samples(ArrivedSamples {
                first_index: samples.first_index,
                samples: unpacked,
                wire_byte_count,
            })),
            Err(error) => self.counters.count_error(error),
        }
    }

    fn take_live(&mut self, now_ms: u64, live: Live) {
        self.tell(Event::Live(live));
        if self.lever.is_none() || self.stage == Stage::Greeting {
            return;
        }
        let missing = live.next_record > self.wanted_record && self.handed_out.is_none();
        if missing && now_ms.saturating_sub(self.pull_sent_ms) >= RETRY_MS {
            self.pull(now_ms);
        }
        let behind = live.committed_floor < self.wanted_record;
        if behind && now_ms.saturating_sub(self.commit_sent_ms) >= RETRY_MS {
            self.send_commit(now_ms);
        }
        // The lever was power-cycled or told to stop by somebody else: it no longer knows the pin.
        let lost = self.stage == Stage::Reading
            && !self.pin_read
            && live.pin.is_none()
            && matches!(live.phase, Phase::Idle)
            && live.next_record <= self.wanted_record;
        if lost {
            self.enter(Stage::Choosing);
        }
    }

    fn take_record(&mut self, now_ms: u64, record: &Record<'_>) {
        let Some(lever) = self.lever else { return };
        if record.epoch != lever.epoch {
            return;
        }
        if record_checksum(record.epoch, record.number, record.bytes) != record.checksum {
            self.counters.checksum_count = self.counters.checksum_count.saturating_add(1);
            return;
        }
        if record.number < self.wanted_record || self.handed_out.is_some() {
            return;
        }
        if record.number > self.wanted_record {
            self.pull(now_ms);
            return;
        }
        match decode_record(record.bytes) {
            Ok(reading) => {
                let wanted = self.plan.pins.get(self.position).map(|choice| choice.pin);
                self.pin_read |= self.stage == Stage::Reading
                    && reading.survey == self.plan.survey
                    && Some(reading.pin) == wanted;
                self.handed_out = Some((record.number, record.checksum));
                self.tell(Event::Record(Box::new(ArrivedRecord {
                    device: lever.device,
                    epoch: record.epoch,
                    number: record.number,
                    checksum: record.checksum,
                    bytes: record.bytes.to_vec(),
                    reading,
                })));
            }
            Err(_) => self.tell(Event::RecordUnreadable { number: record.number }),
        }
    }

    fn take_reply(&mut self, now_ms: u64, reply: Reply) {
        let Some(pending) = self.pending.as_mut() else { return };
        if !pending.sequences.contains(&reply.to) {
            return;
        }
        let wanted = self.plan.pins.get(self.position).map(|choice| choice.pin);
        match (self.stage, reply.result) {
            (Stage::Starting, CommandResult::Done) => {
                let zeroed = self.lever.is_some_and(|lever| lever.zeroed);
                let zero = !zeroed || (self.plan.zero_first && self.position == 0);
                self.enter(if zero { Stage::Zeroing } else { Stage::Choosing });
                if zero {
                    self.tell(Event::TakingZero);
                }
            }
            (Stage::Zeroing, CommandResult::Done) => {
                if let Some(lever) = self.lever.as_mut() {
                    lever.zeroed = true;
                }
                self.enter(Stage::Choosing);
            }
            (Stage::Zeroing, CommandResult::NotAtRest) => {
                self.pending = None;
                self.tell(Event::ZeroNotStill);
            }
            (Stage::Choosing, CommandResult::Done) => {
                self.enter(Stage::Reading);
                if let Some(pin) = wanted {
                    self.tell(Event::PinChosen(pin));
                }
            }
            (Stage::Choosing, CommandResult::NoSurvey) => self.enter(Stage::Greeting),
            (Stage::Stopping, CommandResult::Done) => {
                self.enter(Stage::Done);
                self.tell(Event::Finished);
            }
            (stage, refusal) => {
                // Leave it alone for a while, then try again.
                pending.sequences.clear();
                pending.sent_ms = now_ms;
                pending.retry_ms = REFUSED_RETRY_MS;
                if let (Stage::Choosing, Some(pin)) = (stage, wanted) {
                    self.tell(Event::PinRefused(pin, refusal));
                }
            }
        }
    }

    /// Lets time-outs run and sends what is due.
    pub fn tick(&mut self, now_ms: u64) {
        let due = self
            .pending
            .as_ref()
            .is_none_or(|pending| now_ms.saturating_sub(pending.sent_ms) >= pending.retry_ms);
        if due && let Some(command) = self.command() {
            let sequence = self.send(&command);
            // A zero takes half a second of its own before it is answered.
            let retry_ms =
                if matches!(command, FromHost::Zero(())) { 4 * RETRY_MS } else { RETRY_MS };
            let pending = self.pending.get_or_insert(Pending {
                sequences: Vec::new(),
                sent_ms: now_ms,
                retry_ms,
            });
            pending.sent_ms = now_ms;
            pending.retry_ms = retry_ms;
            if pending.sequences.len() >= 16 {
                pending.sequences.remove(0);
            }
            pending.sequences.push(sequence);
        }
        let quiet = now_ms.saturating_sub(self.heard_ms) >= SILENT_MS;
        if quiet && !self.silent_reported && self.stage != Stage::Done {
            self.silent_reported = true;
            self.tell(Event::Silent);
        }
        // A lever that speaks no more while a pin is in hand may have been power-cycled.
        if quiet && self.stage != Stage::Done && self.stage != Stage::Greeting {
            self.heard_ms = now_ms;
            self.enter(Stage::Greeting);
        }
    }

    /// The command this stage calls for.
    fn command(&self) -> Option<FromHost> {
        match self.stage {
            Stage::Greeting => Some(FromHost::Greet(Greet {
                protocol_min: PROTOCOL_VERSION,
                protocol_max: PROTOCOL_VERSION,
                calendar_ms: self.plan.calendar_ms,
            })),
            Stage::Starting => Some(FromHost::StartSurvey(StartSurvey {
                survey: self.plan.survey,
                slip: self.plan.slip,
                stream_samples: self.plan.stream_samples,
            })),
            Stage::Zeroing => Some(FromHost::Zero(())),
            Stage::Choosing => {
                self.plan.pins.get(self.position).map(|choice| FromHost::ChoosePin(*choice))
            }
            Stage::Stopping => Some(FromHost::StopSurvey(())),
            Stage::Reading | Stage::Done => None,
        }
    }

    fn pull(&mut self, now_ms: u64) {
        self.pull_sent_ms = now_ms;
        self.send(&FromHost::Pull(Pull { from: self.wanted_record, count_max: 8 }));
    }

    fn send_commit(&mut self, now_ms: u64) {
        let Some(lever) = self.lever else { return };
        self.commit_sent_ms = now_ms;
        self.send(&FromHost::Commit(Commit {
            epoch: lever.epoch,
            floor: self.wanted_record,
            chain: self.chain,
        }));
    }

    /// Queues a command's frame and returns its sequence number.
    fn send(&mut self, command: &FromHost) -> u16 {
        let sequence = self.next_sequence;
        self.next_sequence = sequence.wrapping_add(1);
        let mut frame = [0u8; WIRE_BYTES_MAX];
        if let Ok(len) = command.encode(sequence, &mut frame) {
            // A delimiter first: whatever stood half-sent on the line ends there.
            self.outgoing.push(0);
            self.outgoing.extend_from_slice(&frame[..len]);
        }
        sequence
    }
}
