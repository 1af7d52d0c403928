//! A conversation with a lever, sans-IO: bytes and milliseconds in, bytes and events out.
//!
//! There are five errands: take a survey ([`Session::new`]), fetch what the lever holds
//! ([`Session::fetch`]), store a plan on it ([`Session::load`]), ask how it is
//! ([`Session::status`]), read its samples on the bench ([`Session::bench`]).
//!
//! The host pulls: it knows the first record number it does not have, asks again for what is
//! missing, and commits a floor only after [`Session::kept`] has been called for everything below
//! it. Every command may be lost and is repeated; all commands may be repeated without harm.
//!
//! `commands` says what is sent when, `arrivals` what each message brings about, `replies` what
//! each answer does, `records` knows where both logs stand, `held` what the caller's store holds,
//! `progress` which pins are read, `errand` how far a plan is stored, `bench` what is asked of a
//! lever on the bench, `events` holds what the caller has yet to fetch.
//! Deliberately not here: ports, disks, clocks and what a reading means.
//!
//! Invariants: no pin is chosen while a record is known to be on its way; the survey is only
//! ended when the lever knows of every record that it is kept; memory is bounded by constants and
//! by what the caller's own store holds, whatever the other side sends.

mod arrivals;
mod bench;
mod commands;
mod errand;
mod events;
mod held;
mod progress;
mod records;
mod replies;
#[cfg(test)]
mod tests;
mod types;

use pinhold_protocol::error::LinkCounters;
use pinhold_protocol::frame::{FrameReader, SequenceWatch};
use pinhold_protocol::message::{FromHost, FromLever};

pub use bench::BENCH_SURVEY;
use bench::Bench;
use errand::Load;
pub use errand::{LeverPlan, LeverPlanError};
use events::Events;
pub use held::HeldRecord;
use progress::Progress;
use records::{Records, Scope};
pub use types::{ArrivedRecord, ArrivedSamples, Choice, Event, Plan, Request};

/// Time before a command without an answer is sent again, milliseconds.
pub const RETRY_MS: u64 = 400;
/// Time before a zero without an answer is asked for again at least …
const ZERO_RETRY_MS_MIN: u64 = 4 * RETRY_MS;
/// … and at most; asked again the lever begins anew.
const ZERO_RETRY_MS_MAX: u64 = 10_000;
/// Samples a zero is taken over.
const ZERO_SAMPLE_COUNT: u64 = 500;
/// Time for which a refused choice of pin or zero is left alone before the next try.
pub const REFUSED_RETRY_MS: u64 = 500;
/// Silence after which the lever is reported as not answering, milliseconds.
pub const SILENT_MS: u64 = 5_000;
/// Events held at most; beyond it those for show are discarded first, and counted.
pub const EVENT_COUNT_MAX: usize = 4_096;
/// Bytes held for sending at most; a command that finds no room is repeated in time.
pub const OUTGOING_BYTES_MAX: usize = 4_096;
/// Sequence numbers remembered of one command: an answer to an older try than that is no answer.
const SEQUENCE_COUNT_MAX: usize = 16;
/// Times a question is sent before the lever is taken not to know it. [`SILENT_MS`] without any
/// answer lead to a new greeting first, so a lever that only hears badly is not misjudged.
const QUESTION_COUNT_MAX: u32 = 20;
/// Frames that may go missing in a row; more, or a number that went back, is another lever or one
/// that was switched off and on.
const FRAME_GAP_MAX: u16 = 256;
/// Commits answered with a mismatch, one behind the other, before the logs are taken to differ.
/// Weak bits of the lever's last record may read another way each time.
const MISMATCH_COUNT_MAX: u32 = 60;

const _: () = assert!(SILENT_MS < QUESTION_COUNT_MAX as u64 * RETRY_MS);

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    Greeting,
    Starting,
    Zeroing,
    Choosing,
    Reading,
    Stopping,
    Fetching,
    Loading,
    AskingHealth,
    AskingPlan,
    AskingCounters,
    Benching,
    Storing,
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
    calendar_ms: u64,
    /// What is to be surveyed.
    plan: Option<Plan>,
    /// What is to be stored on the lever.
    load: Option<Load>,
    /// What is asked of a lever on the bench.
    bench: Option<Bench>,
    /// The stage behind the greeting.
    first_stage: Stage,
    progress: Progress,
    stage: Stage,
    /// Times the question in hand was sent, over all greetings.
    question_count: u32,
    /// The lever has a zero it can measure with.
    lever_zeroed: bool,
    /// The zero was taken in this conversation.
    zero_taken: bool,
    /// A lever that samples slowly takes its time over a zero.
    zero_retry_ms: u64,
    records: Records,
    pending: Option<Pending>,
    heard_ms: u64,
    silent_reported: bool,
    started_over_ms: Option<u64>,
    reader: FrameReader,
    frame_byte_count: usize,
    watch: SequenceWatch,
    counters: LinkCounters,
    next_sequence: u16,
    outgoing: Vec<u8>,
    events: Events,
}

impl Session {
    /// A survey that has not begun, at time `now_ms` of any clock that does not go back.
    pub fn new(plan: Plan, now_ms: u64) -> Session {
        Session {
            progress: Progress::new(plan.pins.clone()),
            records: Records::new(Scope::Survey(plan.survey)),
            plan: Some(plan.clone()),
            ..Session::blank(Stage::Starting, plan.calendar_ms, now_ms)
        }
    }

    /// Fetches every record that the lever holds and the caller's store does not.
    pub fn fetch(calendar_ms: u64, now_ms: u64) -> Session {
        Session {
            records: Records::new(Scope::All),
            ..Session::blank(Stage::Fetching, calendar_ms, now_ms)
        }
    }

    /// Stores a plan on the lever, for a survey without a host.
    pub fn load(plan: LeverPlan, calendar_ms: u64, now_ms: u64) -> Session {
        Session {
            load: Some(Load::new(plan)),
            ..Session::blank(Stage::Loading, calendar_ms, now_ms)
        }
    }

    /// Asks how the lever is, where its plan stands and what it has counted.
    pub fn status(calendar_ms: u64, now_ms: u64) -> Session {
        Session::blank(Stage::AskingHealth, calendar_ms, now_ms)
    }

    fn blank(first_stage: Stage, calendar_ms: u64, now_ms: u64) -> Session {
        Session {
            calendar_ms,
            plan: None,
            load: None,
            bench: None,
            first_stage,
            progress: Progress::new(Vec::new()),
            question_count: 0,
            stage: Stage::Greeting,
            lever_zeroed: false,
            zero_taken: false,
            zero_retry_ms: ZERO_RETRY_MS_MIN,
            records: Records::new(Scope::Nothing),
            pending: None,
            heard_ms: now_ms,
            silent_reported: false,
            started_over_ms: None,
            reader: FrameReader::new(),
            frame_byte_count: 0,
            watch: SequenceWatch::default(),
            counters: LinkCounters::default(),
            next_sequence: 0,
            outgoing: Vec::new(),
            events: Events::default(),
        }
    }

    /// What arrived damaged on this side.
    pub fn counters(&self) -> LinkCounters {
        self.counters
    }

    /// Events thrown away because the caller did not fetch them.
    pub fn discarded_event_count(&self) -> u32 {
        self.events.discarded_count()
    }

    /// Pins read and kept so far.
    pub fn position(&self) -> usize {
        self.progress.read_count()
    }

    /// Whether a survey's pins are all read and nothing else is on its way: the moment to
    /// [`Session::append`] more, before the lever is told that it is over.
    pub fn is_at_end_of_pins(&self) -> bool {
        self.stage == Stage::Stopping && self.pending.is_none()
    }

    /// Adds pins to a survey that is still under way, behind those there are.
    pub fn append(&mut self, pins: &[Choice]) {
        if self.stage == Stage::Done || self.plan.is_none() {
            return;
        }
        self.progress.append(pins);
        if let Some(plan) = self.plan.as_mut() {
            plan.pins.extend_from_slice(pins);
        }
        if self.stage == Stage::Stopping && self.progress.wanted().is_some() {
            self.enter(Stage::Choosing);
        }
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
        self.records.suspend();
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
        self.events.pop()
    }

    /// What the caller's store holds of the log just greeted, in any order; the answer to
    /// [`Event::Greeted`] and [`Event::LeverChanged`]. A record that is being written may stand in
    /// it or not.
    pub fn held(&mut self, now_ms: u64, records: &[HeldRecord]) {
        if let Some((from, to)) = self.records.take_held(records) {
            self.tell(Event::RecordsMissing { from, to });
        }
        self.settle(now_ms);
    }

    /// The record with this number is durably on disk; tells the lever.
    pub fn kept(&mut self, now_ms: u64, number: u32) {
        let Some(pin) = self.records.kept(number) else { return };
        if let Some(pin) = pin {
            let before = self.progress.wanted();
            self.progress.settle(pin);
            let at_pins = matches!(self.stage, Stage::Choosing | Stage::Reading);
            if at_pins && self.progress.wanted() != before {
                self.enter(Stage::Choosing);
            }
        }
        self.settle(now_ms);
    }

    /// Does what follows when the records have moved.
    fn settle(&mut self, now_ms: u64) {
        if self.stage == Stage::Done {
            return;
        }
        if let Some(number) = self.records.disagrees_at() {
            self.enter(Stage::Done);
            self.tell(Event::LogDisagrees { number });
        } else if self.stage == Stage::Fetching && self.records.is_settled() {
            self.finish();
        } else if self.stage != Stage::Greeting {
            self.tend_records(now_ms);
        }
    }

    fn finish(&mut self) {
        self.enter(Stage::Done);
        self.tell(Event::Finished);
    }

    fn enter(&mut self, stage: Stage) {
        self.stage = stage;
        self.pending = None;
        if stage == Stage::Choosing && self.progress.wanted().is_none() {
            self.stage = Stage::Stopping;
        }
    }

    fn tell(&mut self, event: Event) {
        // What finds no room is counted there; a record is told through `take_record` only.
        let _ = self.events.push(event);
    }

    /// Takes received bytes.
    pub fn receive(&mut self, now_ms: u64, bytes: &[u8]) {
        for byte in bytes {
            self.frame_byte_count = self.frame_byte_count.saturating_add(1);
            let mut reader = std::mem::take(&mut self.reader);
            if let Some(outcome) = reader.push(*byte) {
                let wire_byte_count = std::mem::take(&mut self.frame_byte_count);
                let message = outcome.and_then(|frame| {
                    let sequence = frame.sequence;
                    FromLever::try_from(frame).map(|message| (sequence, message))
                });
                match message {
                    Ok((sequence, message)) => {
                        if self.note_arrival(now_ms, sequence, &message) {
                            self.take(now_ms, message, wire_byte_count);
                        }
                    }
                    Err(error) => self.counters.count_error(error),
                }
            }
            self.reader = reader;
        }
    }

    /// Lets time-outs run and sends what is due.
    pub fn tick(&mut self, now_ms: u64) {
        let due = self
            .pending
            .as_ref()
            .is_none_or(|pending| now_ms.saturating_sub(pending.sent_ms) >= pending.retry_ms);
        if due
            && self.may_ask()
            && let Some(command) = self.command()
        {
            let sequence = self.send(&command);
            let is_zero = matches!(command, FromHost::Zero(()));
            let retry_ms = if is_zero { self.zero_retry_ms } else { RETRY_MS };
            let pending = self.pending.get_or_insert(Pending {
                sequences: Vec::new(),
                sent_ms: now_ms,
                retry_ms,
            });
            pending.sent_ms = now_ms;
            pending.retry_ms = retry_ms;
            if pending.sequences.len() >= SEQUENCE_COUNT_MAX {
                pending.sequences.remove(0);
            }
            pending.sequences.push(sequence);
        }
        self.keep_awake(now_ms);
        self.settle(now_ms);
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
}
