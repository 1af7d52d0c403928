//! What the host asks for.
//!
//! Deliberately not here: framing ([`crate::link`]).

use super::*;

impl<L: RecordLog> Lever<L> {
    pub(super) fn obey(&mut self, now: DeviceTime, sequence: u16, command: FromHost) {
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

    pub(super) fn start_survey(&mut self, start: StartSurvey) -> CommandResult {
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

    pub(super) fn stop_survey(&mut self) -> CommandResult {
        if self.is_moving() {
            return CommandResult::PinMoving;
        }
        self.send_block();
        self.survey = 0;
        self.session = None;
        self.phase = Phase::Idle;
        CommandResult::Done
    }

    pub(super) fn choose_pin(&mut self, now: DeviceTime, choice: ChoosePin) -> CommandResult {
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
}
