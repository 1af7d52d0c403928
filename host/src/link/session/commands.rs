//! What is said to the lever, and when.

use pinhold_protocol::PROTOCOL_VERSION;
use pinhold_protocol::frame::WIRE_BYTES_MAX;
use pinhold_protocol::message::{FromHost, Greet, StartSurvey};

use super::errand::Load;
use super::{OUTGOING_BYTES_MAX, QUESTION_COUNT_MAX, Request, Session, Stage};

impl Session {
    /// Counts a question; one that is never answered is passed over.
    pub(super) fn may_ask(&mut self) -> bool {
        let Some(request) = self.question() else { return true };
        self.question_count += 1;
        if self.question_count <= QUESTION_COUNT_MAX {
            return true;
        }
        self.not_understood(request);
        self.stage != Stage::Done
    }

    /// The question in hand that firmware of before does not know.
    pub(super) fn question(&self) -> Option<Request> {
        match self.stage {
            Stage::Loading => Some(Request::Load),
            Stage::AskingHealth => Some(Request::Health),
            Stage::AskingPlan => Some(Request::Plan),
            Stage::AskingCounters => Some(Request::Counters),
            Stage::Storing => Some(Request::StoreCalibration),
            _ => None,
        }
    }

    /// The command this stage calls for.
    pub(super) fn command(&self) -> Option<FromHost> {
        if let Some(bench) = self.bench.as_ref().filter(|_| self.stage != Stage::Greeting) {
            return bench.command(self.stage);
        }
        match self.stage {
            Stage::Greeting => Some(FromHost::Greet(Greet {
                protocol_min: PROTOCOL_VERSION,
                protocol_max: PROTOCOL_VERSION,
                calendar_ms: self.calendar_ms,
            })),
            Stage::Starting => self.plan.as_ref().map(|plan| {
                FromHost::StartSurvey(StartSurvey {
                    survey: plan.survey,
                    slip: plan.slip,
                    stream_samples: plan.stream_samples,
                })
            }),
            Stage::Zeroing => Some(FromHost::Zero(())),
            // A record on its way may be this very pin's.
            Stage::Choosing if !self.records.is_caught_up() => None,
            Stage::Choosing => self.progress.wanted().map(FromHost::ChoosePin),
            Stage::Stopping if !self.records.is_settled() => None,
            Stage::Stopping => Some(FromHost::StopSurvey(())),
            Stage::Loading => self.load.as_ref().map(Load::command),
            Stage::AskingHealth => Some(FromHost::AskHealth(())),
            Stage::AskingPlan => Some(FromHost::AskPlan(())),
            Stage::AskingCounters => Some(FromHost::AskStatus(())),
            Stage::Reading | Stage::Fetching | Stage::Done => None,
            // Of the bench, above.
            Stage::Benching | Stage::Storing => None,
        }
    }

    /// Pulls what is missing and commits what is kept, when due.
    pub(super) fn tend_records(&mut self, now_ms: u64) {
        if let Some(commit) = self.records.due_commit(now_ms) {
            let sequence = self.send(&FromHost::Commit(commit));
            self.records.committed(now_ms, sequence, commit);
        }
        if let Some(pull) = self.records.due_pull(now_ms) {
            let sequence = self.send(&FromHost::Pull(pull));
            self.records.pulled(now_ms, sequence, pull);
        }
    }

    /// Queues a command's frame and returns its sequence number.
    pub(super) fn send(&mut self, command: &FromHost) -> u16 {
        let sequence = self.next_sequence;
        self.next_sequence = sequence.wrapping_add(1);
        let mut frame = [0u8; WIRE_BYTES_MAX];
        let has_room = self.outgoing.len() + 1 + WIRE_BYTES_MAX <= OUTGOING_BYTES_MAX;
        if let Ok(len) = command.encode(sequence, &mut frame)
            && has_room
        {
            // A delimiter first: whatever stood half-sent on the line ends there.
            self.outgoing.push(0);
            self.outgoing.extend_from_slice(&frame[..len]);
        }
        sequence
    }
}
