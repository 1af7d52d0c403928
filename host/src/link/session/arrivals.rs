//! What each message of the lever brings about.

use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::block;
use pinhold_protocol::content::{Content, decode_content};
use pinhold_protocol::frame::SequenceWatch;
use pinhold_protocol::message::{FromLever, Hello, Live, Record, Samples};
use pinhold_protocol::record::record_checksum;

use super::records::Taken;
use super::{
    ArrivedRecord, ArrivedSamples, Event, FRAME_GAP_MAX, RETRY_MS, Session, Stage,
    ZERO_RETRY_MS_MAX, ZERO_RETRY_MS_MIN, ZERO_SAMPLE_COUNT,
};

impl Session {
    /// Counts a message; whether it is to be taken.
    pub(super) fn note_arrival(
        &mut self,
        now_ms: u64,
        sequence: u16,
        message: &FromLever<'_>,
    ) -> bool {
        // A lever that has just started begins its own count.
        if matches!(message, FromLever::Hello(_)) {
            self.watch = SequenceWatch::default();
        }
        let skipped_count = self.watch.skipped_before(sequence);
        if skipped_count != 0 {
            self.counters.sequence_count = self.counters.sequence_count.saturating_add(1);
        }
        self.counters.accepted_count = self.counters.accepted_count.saturating_add(1);
        self.heard_ms = now_ms;
        self.silent_reported = false;
        if skipped_count <= FRAME_GAP_MAX || matches!(self.stage, Stage::Greeting | Stage::Done) {
            return true;
        }
        // A cable put into another lever, or a lever in a new life: who is it?
        self.records.suspend();
        self.enter(Stage::Greeting);
        false
    }

    pub(super) fn take(&mut self, now_ms: u64, message: FromLever<'_>, wire_byte_count: usize) {
        match message {
            FromLever::Hello(hello) => self.take_hello(hello),
            FromLever::Samples(samples) => self.take_samples(&samples, wire_byte_count),
            FromLever::Live(live) => self.take_live(now_ms, live),
            FromLever::Record(record) => self.take_record(now_ms, &record),
            FromLever::Reply(reply) => self.take_reply(now_ms, reply),
            FromLever::Status(status) => {
                self.tell(Event::Status(status));
                self.told(Stage::AskingCounters);
            }
            FromLever::Health(health) => {
                self.tell(Event::Health(health));
                self.told(Stage::AskingHealth);
            }
            FromLever::PlanState(plan) => self.take_plan_state(now_ms, plan),
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
        let log = (hello.device, hello.epoch);
        let changed = self.records.log().is_some_and(|known| known != log);
        let event = if changed { Event::LeverChanged(hello) } else { Event::Greeted(hello) };
        // The caller has to answer it: where there is no room for it, the lever is greeted again.
        if !self.events.push(event) {
            return;
        }
        let same = self.records.greeted(&hello);
        self.lever_zeroed = hello.zeroed;
        self.zero_taken &= same;
        let zero_ms = ZERO_SAMPLE_COUNT * u64::from(hello.sample_period_ns) / 1_000_000;
        self.zero_retry_ms = (RETRY_MS + 2 * zero_ms).clamp(ZERO_RETRY_MS_MIN, ZERO_RETRY_MS_MAX);
        if let Some(load) = self.load.as_mut() {
            load.begin_again();
        }
        self.enter(self.first_stage);
        self.greeted_at_bench(&hello, changed);
    }

    fn take_samples(&mut self, samples: &Samples<'_>, wire_byte_count: usize) {
        if self.bench.is_some() && !self.is_at_bench() {
            return;
        }
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
                acceleration_milli_g: samples.acceleration_milli_g,
                temperature_centi_celsius: samples.temperature_centi_celsius,
            })),
            Err(error) => self.counters.count_error(error),
        }
    }

    fn take_live(&mut self, now_ms: u64, live: Live) {
        self.tell(Event::Live(live));
        if self.records.log().is_none() || self.stage == Stage::Greeting {
            return;
        }
        if !self.records.heard(live.next_record, live.committed_floor) {
            self.start_over(now_ms);
            return;
        }
        self.settle(now_ms);
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
        let content = decode_content(record.bytes).ok();
        if self.records.take(record, content.as_ref()) != Taken::ForCaller {
            self.settle(now_ms);
            return;
        }
        let own = self.plan.as_ref().map(|plan| plan.survey);
        let pin = match &content {
            Some(Content::Reading(reading)) if Some(reading.survey) == own => Some(reading.pin),
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
}
