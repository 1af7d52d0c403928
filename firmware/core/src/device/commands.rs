//! What the host asks for.
//!
//! Nothing here depends on which host greets: any number may ask, one after the other. Deliberately
//! not here: framing ([`crate::link`]), storing a plan ([`super::keep`]).

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{ChoosePin, FromHost, Phase, StartSurvey};
use pinhold_protocol::units::DeviceTime;

use super::Lever;
use crate::log::RecordLog;
use crate::plan::SLIP_MICRORADIANS;

impl<L: RecordLog> Lever<L> {
    /// Bytes came.
    pub(super) fn receive(&mut self, now: DeviceTime, bytes: &[u8]) {
        if bytes.is_empty() {
            return;
        }
        self.wake(now);
        self.heard = Some(now);
        for byte in bytes {
            if let Some((sequence, command)) = self.link.receive(*byte) {
                self.obey(now, sequence, command);
            }
        }
    }

    fn obey(&mut self, now: DeviceTime, sequence: u16, command: FromHost) {
        let result = match command {
            FromHost::Greet(_) => return self.say_hello(now),
            FromHost::AskStatus(()) => return self.say_status(),
            FromHost::AskHealth(()) => return self.say_health(),
            FromHost::AskPlan(()) => return self.say_plan(),
            FromHost::Zero(()) => match self.start_zero(sequence) {
                Some(refusal) => refusal,
                None => return,
            },
            FromHost::StartSurvey(start) => self.start_survey(start),
            FromHost::StopSurvey(()) => self.stop_survey(),
            FromHost::ChoosePin(choice) => self.choose_pin(now, choice),
            FromHost::Pull(pull) => self.send_again(pull),
            FromHost::PlanPart(part) => self.take_plan_part(&part),
            FromHost::StoreCalibration(calibration) => self.take_calibration(&calibration),
            FromHost::Commit(commit) => {
                self.make_room();
                let result = self.log.commit(commit);
                self.told_full &= result != CommandResult::Done;
                result
            }
        };
        self.reply(sequence, result);
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
        // The host takes over from the buttons.
        self.stop_alone();
        self.told_full = false;
        if self.survey != start.survey {
            self.session = None;
            self.phase = Phase::Idle;
        }
        self.make_room();
        self.survey = start.survey;
        self.stream_samples = start.stream_samples;
        self.slip_asked_rad = start.slip.radians_f32();
        CommandResult::Done
    }

    fn stop_survey(&mut self) -> CommandResult {
        if self.is_moving() {
            return CommandResult::PinMoving;
        }
        self.send_block();
        self.stop_alone();
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
        if let Err(refusal) = self.check_fit() {
            return refusal;
        }
        // Nothing moves and what was in hand is given up. Mostly there is room already.
        self.log.make_room();
        if !self.log.has_room() {
            return CommandResult::LogFull;
        }
        let needs_lift = self.last_pin.is_some_and(|last| last != choice.pin);
        match self.begin_pin(now, choice.pin, choice.unstrung, needs_lift) {
            Ok(()) => CommandResult::Done,
            Err(refusal) => refusal,
        }
    }
}
