//! What each answer of the lever to a command brings about.

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{PlanState, Reply};

use super::errand::Step;
use super::records::Answer;
use super::{Event, REFUSED_RETRY_MS, Request, Session, Stage};

impl Session {
    /// The two sides do not agree about the log: greet anew, but not more often than a refused
    /// command is repeated.
    pub(super) fn start_over(&mut self, now_ms: u64) {
        let recently =
            self.started_over_ms.is_some_and(|then| now_ms.saturating_sub(then) < REFUSED_RETRY_MS);
        if !recently && self.stage != Stage::Done {
            self.started_over_ms = Some(now_ms);
            self.records.suspend();
            self.enter(Stage::Greeting);
        }
    }

    pub(super) fn take_reply(&mut self, now_ms: u64, reply: Reply) {
        match self.records.answered(reply.to, reply.result) {
            Answer::Fine => {
                self.settle(now_ms);
                return;
            }
            Answer::Disagreement => {
                self.start_over(now_ms);
                return;
            }
            Answer::NotMine => {}
        }
        let Some(pending) = self.pending.as_ref() else { return };
        if !pending.sequences.contains(&reply.to) {
            return;
        }
        if self.bench.is_some() {
            return self.take_bench_reply(now_ms, reply.result);
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
            // Full though it knows that everything is kept? Then it is not the lever it was.
            (Stage::Choosing, CommandResult::LogFull) if self.records.is_settled() => {
                if let Some(pin) = wanted {
                    self.tell(Event::PinRefused(pin, CommandResult::LogFull));
                }
                self.leave_alone(now_ms);
                self.start_over(now_ms);
            }
            (Stage::Stopping, CommandResult::Done) => self.finish(),
            (Stage::Loading, result) => {
                if result != CommandResult::Done {
                    self.tell(Event::Refused(Request::Load, result));
                }
                let step = self.load.as_mut().map_or(Step::Done, |load| load.answered(result));
                self.go_on(now_ms, step);
            }
            // Firmware that knows the number but not the question.
            (Stage::AskingHealth | Stage::AskingPlan | Stage::AskingCounters, _) => {
                if let Some(request) = self.question() {
                    self.not_understood(request);
                }
            }
            (stage, refusal) => {
                self.leave_alone(now_ms);
                match (stage, wanted) {
                    (Stage::Choosing, Some(pin)) => self.tell(Event::PinRefused(pin, refusal)),
                    (Stage::Starting, _) => self.tell(Event::Refused(Request::Start, refusal)),
                    (Stage::Zeroing, _) => self.tell(Event::Refused(Request::Zero, refusal)),
                    (Stage::Stopping, _) => self.tell(Event::Refused(Request::Stop, refusal)),
                    _ => {}
                }
            }
        }
    }

    /// A command was refused: it is left alone for a while, then tried again.
    pub(super) fn leave_alone(&mut self, now_ms: u64) {
        if let Some(pending) = self.pending.as_mut() {
            pending.sequences.clear();
            pending.sent_ms = now_ms;
            pending.retry_ms = REFUSED_RETRY_MS;
        }
    }

    /// A question got its answer.
    pub(super) fn told(&mut self, asked_in: Stage) {
        if self.stage == asked_in {
            self.ask_next();
        }
    }

    fn ask_next(&mut self) {
        self.question_count = 0;
        match self.stage {
            Stage::AskingHealth => self.enter(Stage::AskingPlan),
            Stage::AskingPlan => self.enter(Stage::AskingCounters),
            _ => self.finish(),
        }
        // A new greeting goes on from here.
        if self.stage != Stage::Done {
            self.first_stage = self.stage;
        }
    }

    /// The lever never answers this.
    pub(super) fn not_understood(&mut self, request: Request) {
        self.tell(Event::NotUnderstood(request));
        match self.stage {
            Stage::Loading => self.give_up(request),
            Stage::Storing => self.calibration_not_understood(),
            _ => self.ask_next(),
        }
    }

    fn give_up(&mut self, request: Request) {
        self.enter(Stage::Done);
        self.tell(Event::GivenUp(request));
    }

    pub(super) fn take_plan_state(&mut self, now_ms: u64, state: PlanState) {
        self.tell(Event::PlanState(state));
        self.told(Stage::AskingPlan);
        let Some(load) = self.load.as_mut().filter(|_| self.stage == Stage::Loading) else {
            return;
        };
        let Some(step) = load.check(&state) else { return };
        if step == Step::Done {
            self.tell(Event::PlanLoaded(state));
        }
        self.go_on(now_ms, step);
    }

    /// Goes on storing a plan.
    fn go_on(&mut self, now_ms: u64, step: Step) {
        // Whatever it says, it understands.
        self.question_count = 0;
        match step {
            Step::Next => self.enter(Stage::Loading),
            Step::Later => self.leave_alone(now_ms),
            Step::Done => self.finish(),
            Step::GiveUp => self.give_up(Request::Load),
        }
    }

    /// The survey runs: the zero first where one is needed, then the pins.
    fn begin_pins(&mut self) {
        let zero_first = self.plan.as_ref().is_some_and(|plan| plan.zero_first);
        let zero = !self.lever_zeroed || (zero_first && !self.zero_taken);
        if zero && self.progress.wanted().is_some() {
            self.enter(Stage::Zeroing);
            self.tell(Event::TakingZero);
        } else {
            self.enter(Stage::Choosing);
        }
    }
}
