//! Tells a conversation with a lever, a line at a time, on standard error.
//!
//! Deliberately not here: results; those go to standard output.

use pinhold_protocol::content::Content;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{Hello, Live, Phase};
use pinhold_protocol::record::{Outcome, Pin, Reading, reading_flags};
use pinhold_protocol::units::Torque;

use super::context::say;
use super::lever::standing::doubt;
use crate::instrument::pin_name;
use crate::lever_reads::Levers;
use crate::link::session::{ArrivedRecord, Request};
use crate::report;
use crate::store::Committed;
use crate::survey::Observer;
use crate::units::TorqueUnit;

/// Torque from which the lever marks a reading as hard, N·m.
const HARD_TORQUE_NM: f64 = 20.0;

/// Tells what happens.
pub(super) struct Teller {
    unit: TorqueUnit,
    silent: bool,
    asked: Option<Phase>,
    /// Pins done before this run, of how many.
    done: (usize, usize),
    /// What the lever refused last: told once, not twice a second.
    refused: Option<CommandResult>,
    fetched_count: u32,
    /// What is known of the levers, and when, ms since 1970-01-01 UTC; `None` where it is not
    /// told.
    levers: Option<(Levers, i64)>,
    /// The lever it was told of last.
    doubted: Option<u64>,
}

impl Teller {
    /// One that says nothing when `silent`.
    pub(super) fn new(unit: TorqueUnit, silent: bool) -> Teller {
        Teller {
            unit,
            silent,
            asked: None,
            done: (0, 0),
            refused: None,
            fetched_count: 0,
            levers: None,
            doubted: None,
        }
    }

    /// Tells at the greeting what is to be doubted of the lever.
    pub(super) fn doubting(self, levers: Levers, now_ms: i64) -> Teller {
        Teller { levers: Some((levers, now_ms)), ..self }
    }

    /// Counts on from pins done before, of how many in the whole plan.
    pub(super) fn going_on(self, done_count: usize, pin_count: usize) -> Teller {
        Teller { done: (done_count, pin_count), ..self }
    }

    fn tell(&self, text: &str) {
        if !self.silent {
            say(text);
        }
    }

    fn tell_refused(&mut self, result: CommandResult) {
        if self.refused.replace(result) == Some(result) {
            return;
        }
        if let Some(sentence) = refusal(result) {
            self.tell(&format!("  {sentence}"));
        }
    }
}

/// What a lever that refuses a command waits for; `None` where waiting is all.
pub(super) fn refusal(result: CommandResult) -> Option<&'static str> {
    match result {
        CommandResult::PinMoving => Some("the lever has a pin in hand; take it off and hold still"),
        CommandResult::LogFull => {
            Some("the lever's log is full; waiting until it has room (what is stored is committed)")
        }
        CommandResult::BatteryLow => {
            Some("the lever's battery is too low to begin a pin; plug it in, it goes on by itself")
        }
        CommandResult::NotFit => Some("the lever's self-test has not passed; waiting"),
        CommandResult::NotAtRest => Some("the lever is not still"),
        CommandResult::OutOfRange => Some("the lever does not take that setting"),
        CommandResult::NoSurvey
        | CommandResult::NoSuchPin
        | CommandResult::NoSuchRecord
        | CommandResult::CommitMismatch
        | CommandResult::Done => None,
    }
}

impl Observer for Teller {
    fn greeted(&mut self, hello: &Hello) {
        let [major, minor, patch] = hello.firmware;
        self.tell(&format!("lever {:016x}, firmware {major}.{minor}.{patch}", hello.device));
        // Once for a lever, however often it is greeted.
        if self.doubted.replace(hello.device) == Some(hello.device) {
            return;
        }
        let Some((levers, now_ms)) = &self.levers else { return };
        for mark in levers.marks_now(hello.device, hello.calibration, *now_ms) {
            let (what, deed) = doubt(mark);
            self.tell(&format!("  ! {what}; its readings will be marked. Better: {deed}"));
        }
    }

    fn lever_changed(&mut self, hello: &Hello) {
        self.tell(&format!(
            "another lever answers now ({:016x}), or this one has begun a new log; going on with \
             it. What the one before still holds stays there: fetch it with 'pinhold lever fetch'",
            hello.device
        ));
    }

    fn taking_zero(&mut self, again: bool) {
        self.tell(if again {
            "it moved; once more: hold the lever still, OFF the pin"
        } else {
            "zero: hold the lever still, OFF the pin"
        });
    }

    fn pin_chosen(&mut self, pin: Pin) {
        self.asked = None;
        self.refused = None;
        self.tell(&format!(
            "{}: seat the lever, hold still; then flat by a little, sharp back, a small flat set",
            pin_name(pin)
        ));
    }

    fn pin_refused(&mut self, _pin: Pin, result: CommandResult) {
        self.tell_refused(result);
    }

    fn refused(&mut self, _request: Request, result: CommandResult) {
        self.tell_refused(result);
    }

    fn reading_kept(&mut self, reading: &Reading, position: usize, count: usize) {
        let (done, all) = self.done;
        // A survey may grow while it is taken.
        let (position, count) = (position + done, (count + done).max(all));
        self.tell(&format!("  {position}/{count}  {}", reading_line(reading, self.unit)));
    }

    fn record_kept(&mut self, record: &ArrivedRecord, committed: Committed) {
        self.fetched_count += 1;
        let number = record.number;
        match &record.content {
            Some(Content::Lost { .. }) if committed == Committed::New => self.tell(&format!(
                "  record {number} is lost on the lever, or was never accepted: read that pin again"
            )),
            Some(Content::Skip(skip)) => {
                self.tell(&format!("  {}: passed over", pin_name(skip.pin)));
            }
            Some(Content::Reading(reading)) if !reading.pin.is_unassigned() => {
                self.tell(&format!("  record {number}  {}", reading_line(reading, self.unit)));
            }
            Some(Content::Reading(_)) => self.tell(&format!("  record {number}  of no plan")),
            None => self.tell(&format!(
                "  record {number} is of a kind this version does not know; kept as it came"
            )),
            Some(Content::Trace(_) | Content::Lost { .. }) => {}
        }
    }

    fn missing(&mut self, from: u32, last: u32) {
        self.tell(&format!(
            "  records {from} to {last} were fetched by another computer and are no longer on the \
             lever; they are in that one's store"
        ));
    }

    fn live(&mut self, live: &Live) {
        if live.phase == Phase::Repeat && self.asked != Some(Phase::Repeat) {
            self.tell("  not fit to report; once more, please");
        }
        self.asked = Some(live.phase);
    }

    fn silent(&mut self) {
        self.tell("nothing heard from the lever; waiting");
    }

    fn port_lost(&mut self) {
        self.tell("the port went away; plug the lever in again, nothing is lost");
    }

    fn port_back(&mut self) {
        self.tell("the port is back");
    }
}

/// A reading in a line, in the user's unit.
pub(super) fn reading_line(reading: &Reading, unit: TorqueUnit) -> String {
    let torque = |value: Option<Torque>| {
        value.map_or("—".to_owned(), |torque| report::torque(torque.newton_metres(), unit))
    };
    let outcome = match reading.outcome {
        Outcome::Measured => format!(
            "friction {}, string moment {}",
            torque(reading.friction),
            torque(reading.string_moment)
        ),
        Outcome::FlatOnly => format!("flat only, {}", torque(reading.flat)),
        Outcome::SharpOnly => format!("sharp only, {}", torque(reading.sharp)),
        Outcome::BreakawayOnly => "breakaway only: the slip was too short".to_owned(),
        Outcome::AboveLimit => "did not move at the largest torque applied".to_owned(),
        Outcome::MovedOnSeating => "moved on seating the lever".to_owned(),
        Outcome::Spoiled => "spoiled".to_owned(),
    };
    let hard = format!("above {} on the lever", report::torque(HARD_TORQUE_NM, unit));
    let words = [
        (reading_flags::NOT_HOLDING, "the string drives it: not holding"),
        (reading_flags::JUMPY, "jumpy"),
        (reading_flags::HIGH_FIRST_BREAK, "high first break"),
        (reading_flags::SLACK, "string slack"),
        (reading_flags::UNSTRUNG, "unstrung"),
        (reading_flags::MOVED_ON_SEATING, "moved on seating"),
        (reading_flags::SPONGY, "spongy, no clear knee"),
        (reading_flags::HARD, hard.as_str()),
        (reading_flags::TOO_FAR, "moved too far"),
        (reading_flags::RETUNE, "retune this string"),
        (reading_flags::NOT_ZEROED, "no zero was taken"),
    ];
    let mut line = format!("{}: {outcome}", pin_name(reading.pin));
    for (bit, word) in words {
        if reading.flags & bit != 0 {
            line.push_str("; ");
            line.push_str(word);
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use pinhold_protocol::record::{SampleCoverage, StringPosition};
    use pinhold_protocol::units::{Angle, DeviceTime};

    use super::*;

    #[test]
    fn a_reading_is_told_in_the_users_unit() {
        let reading = Reading {
            survey: 1,
            pin: Pin { note: 49, string: StringPosition::Left },
            started: DeviceTime::from_microseconds(1),
            duration_ms: 5000,
            outcome: Outcome::Measured,
            flags: reading_flags::HARD,
            friction: Some(Torque::from_micronewton_metres(22_000_000)),
            string_moment: Some(Torque::from_micronewton_metres(2_900_000)),
            sharp: None,
            flat: None,
            net_rotation: Angle::ZERO,
            excursion_flat: Angle::ZERO,
            excursion_sharp: Angle::ZERO,
            temperature_centi_celsius: 2100,
            attitude_milli_g: [0, 0, 1000],
            calibration: 0,
            samples: SampleCoverage::None,
            strokes: Default::default(),
        };
        let told = |unit| reading_line(&reading, unit);
        assert_eq!(
            told(TorqueUnit::InchPoundForce),
            "A4 L: friction 195 in·lbf, string moment 26 in·lbf; above 177 in·lbf on the lever"
        );
        assert!(told(TorqueUnit::NewtonMetre).ends_with("above 20.0 N·m on the lever"));
    }
}
