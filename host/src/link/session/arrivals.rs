//! What each message of the lever brings about.

use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::block;
use pinhold_protocol::content::{Content, decode_content};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::frame::SequenceWatch;
use pinhold_protocol::message::{FromLever, Hello, Live, Record, Reply, Samples};
use pinhold_protocol::record::record_checksum;

use super::records::Answer;
use super::{ArrivedRecord, ArrivedSamples, Event, REFUSED_RETRY_MS, Session, Stage};

impl Session {
    pub(super) fn note_arrival(&mut self, now_ms: u64, sequence: u16, message: &FromLever<'_>) {
        // A lever that has just started begins its own count.
        if matches!(message, FromLever::Hello(_)) {
            self.watch = SequenceWatch::default();
        }
        if self.watch.skipped_before(sequence) != 0 {
            self.counters.sequence_count = self.counters.sequence_count.saturating_add(1);
        }
        self.counters.accepted_count = self.counters.accepted_count.saturating_add(1);
        self.heard_ms = now_ms;
        self.silent_reported = false;
    }

    pub(super) fn take(&mut self, now_ms: u64, message: FromLever<'_>, wire_byte_count: usize) {
        match message {
            FromLever::Hello(hello) => self.take_hello(hello),
            FromLever::Samples(samples) => self.take_samples(&samples, wire_byte_count),
            FromLever::Live(live) => self.take_live(now_ms, live),
            FromLever::Record(record) => self.take_record(now_ms, &record),
            FromLever::Reply(reply) => self.take_reply(now_ms, reply),
            FromLever::Status(status) => self.tell(Event::Status(status)),
            FromLever::Health(health) => self.tell(Event::Health(health)),
            FromLever::PlanState(plan) => self.tell(Event::PlanState(plan)),
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
        let first = self.records.log().is_none();
        let same = self.records.greeted(&hello);
        let (from, to) = (self.records.wanted(), hello.oldest_record);
        if to > from {
            self.tell(Event::RecordsMissing { from, to });
        }
        self.lever_zeroed = hello.zeroed;
        self.zero_taken &= same;
        let changed = !first && !same;
        self.tell(if changed { Event::LeverChanged(hello) } else { Event::Greeted(hello) });
        self.enter(Stage::Starting);
    }

    fn take_samples(&mut self, samples: &Samples<'_>, wire_byte_count: usize) {
        let count = usize::from(samples.count);
        if count == 0 || count > block::BLOCK_SAMPLE_COUNT_MAX {
            self.counters.content_count = self.counters.content_count.saturating_add(1);
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
        if self.records.log().is_none() || self.stage == Stage::Greeting {
            return;
        }
        self.records.heard(live.next_record, live.committed_floor);
        self.tend_records(now_ms);
        // The lever was told to stop by somebody else, or has read another pin than the one asked
        // for: it no longer waits for this one.
        let wanted = self.progress.wanted().map(|choice| choice.pin);
        let lost = self.stage == Stage::Reading && live.pin != wanted;
        if lost && self.records.is_caught_up() {
            self.enter(Stage::Choosing);
        }
    }

    fn take_record(&mut self, now_ms: u64, record: &Record<'_>) {
        let Some((device, epoch)) = self.records.log() else { return };
        if record.epoch != epoch {
            // A greeting overtaken by a power-cut: this is not the log it spoke of.
            self.start_over(now_ms);
            return;
        }
        if record_checksum(record.epoch, record.number, record.bytes) != record.checksum {
            self.counters.checksum_count = self.counters.checksum_count.saturating_add(1);
            return;
        }
        if !self.records.wants(record.number) {
            self.tend_records(now_ms);
            return;
        }
        let content = decode_content(record.bytes).ok();
        let pin = match &content {
            Some(Content::Reading(reading)) if reading.survey == self.plan.survey => {
                Some(reading.pin)
            }
            _ => None,
        };
        let told = self.events.push(Event::Record(Box::new(ArrivedRecord {
            device,
            epoch,
            number: record.number,
            checksum: record.checksum,
            bytes: record.bytes.to_vec(),
            content,
        })));
        // One that found no room is pulled again.
        if told {
            self.records.hand_out(record, pin);
        }
    }

    /// The two sides do not agree about the log: greet anew, but not more often than a refused
    /// command is repeated.
    fn start_over(&mut self, now_ms: u64) {
        let recently =
            self.started_over_ms.is_some_and(|then| now_ms.saturating_sub(then) < REFUSED_RETRY_MS);
        if !recently && self.stage != Stage::Done {
            self.started_over_ms = Some(now_ms);
            self.records.start_over();
            self.enter(Stage::Greeting);
        }
    }

    fn take_reply(&mut self, now_ms: u64, reply: Reply) {
        match self.records.answered(reply.to, reply.result == CommandResult::Done) {
            Answer::Fine => return,
            Answer::Disagreement => {
                self.start_over(now_ms);
                return;
            }
            Answer::NotMine => {}
        }
        let Some(pending) = self.pending.as_mut() else { return };
        if !pending.sequences.contains(&reply.to) {
            return;
        }
        let wanted = self.progress.wanted().map(|choice| choice.pin);
        match (self.stage, reply.result) {
            (Stage::Starting, CommandResult::Done) => self.begin_pins(),
            (Stage::Zeroing, CommandResult::Done) => {
                self.lever_zeroed = true;
                self.zero_taken = true;
                self.enter(Stage::Choosing);
            }
            (Stage::Zeroing, CommandResult::NotAtRest) => {
                self.pending = None;
                self.tell(Event::ZeroNotStill);
            }
            // It has a pin in hand from before a reconnect, and a zero from before that.
            (Stage::Zeroing, CommandResult::PinMoving) if self.lever_zeroed => {
                self.enter(Stage::Choosing);
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

    /// The survey runs: the zero first where one is needed, then the pins.
    fn begin_pins(&mut self) {
        let zero = !self.lever_zeroed || (self.plan.zero_first && !self.zero_taken);
        if zero && self.progress.wanted().is_some() {
            self.enter(Stage::Zeroing);
            self.tell(Event::TakingZero);
        } else {
            self.enter(Stage::Choosing);
        }
    }
}
