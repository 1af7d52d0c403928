//! How a lever stands by its calibration and checks, told before it measures and when asked.

use pinhold_protocol::message::Hello;
use serde_json::{Value, json};

use super::history::check_line;
use crate::calibration::check::CheckRecord;
use crate::calibration::mark::LeverMark;
use crate::calibration::record::CalibrationRecord;
use crate::cli::context::day_of_ms;
use crate::cli::exit::CliError;
use crate::lever_reads::Levers;
use crate::report::marks;
use crate::store::Store;
use crate::units::TorqueUnit;

/// What a mark means for a lever about to measure, and what to do about it.
pub(in crate::cli) fn doubt(mark: LeverMark) -> (String, &'static str) {
    const CALIBRATE: &str = "calibrate it first: pinhold lever calibrate";
    match mark {
        LeverMark::Uncalibrated => (
            "the lever is not calibrated: it runs on the values of its design, good to about 5 %"
                .to_owned(),
            CALIBRATE,
        ),
        LeverMark::CalibrationUnknown { number } => (
            format!("the lever's calibration {number} is not in this store"),
            "use the store it was calibrated with (--data), or calibrate it here: pinhold lever \
             calibrate",
        ),
        LeverMark::Overdue => ("the lever's calibration is overdue".to_owned(), CALIBRATE),
        LeverMark::OutOfTemperature => (
            "the lever is colder or warmer than its calibration allows".to_owned(),
            "let it come to the temperature it was calibrated at",
        ),
        LeverMark::CheckFailed => (
            "the lever failed its last check".to_owned(),
            "calibrate it first (pinhold lever calibrate), or check it again: pinhold lever check",
        ),
        LeverMark::OutOfRange => (
            "the torque is beyond the loads of the lever's calibration".to_owned(),
            "calibrate it with heavier weights",
        ),
    }
}

/// What is known of a lever that has said who it is.
pub(super) struct Standing {
    calibration: Option<CalibrationRecord>,
    last_check: Option<CheckRecord>,
    marks: Vec<LeverMark>,
}

impl Standing {
    /// # Errors
    /// When the store fails, or holds what is no calibration or check.
    pub(super) fn of(store: &Store, hello: &Hello, now_ms: i64) -> Result<Standing, CliError> {
        let (device, number) = (hello.device, hello.calibration);
        let calibration = match number {
            0 => None,
            number => store.calibration(device, number)?,
        };
        let mut checks = store.checks_of(device)?;
        checks.retain(|check| check.calibration == number);
        let levers = Levers::of(store, [device])?;
        let marks = levers.marks_now(device, number, now_ms);
        Ok(Standing { calibration, last_check: checks.pop(), marks })
    }

    /// Lines of `pinhold lever status`.
    pub(super) fn text(&self, unit: TorqueUnit) -> String {
        let mut text = String::new();
        if let Some(record) = &self.calibration {
            text.push_str(&format!(
                "  calibrated {}, next due {} (in-house record, not an accredited certificate)\n",
                day(record.made_ms),
                day(record.due_ms)
            ));
            text.push_str(&match &self.last_check {
                Some(check) => format!("  last check: {}\n", check_line(check, unit)),
                None => "  not checked since: pinhold lever check\n".to_owned(),
            });
        }
        for mark in &self.marks {
            let (what, deed) = doubt(*mark);
            text.push_str(&format!("  ! {what}; {deed}\n"));
        }
        text
    }

    /// Fields of its document.
    pub(super) fn fields(&self) -> [(&'static str, Value); 3] {
        let calibration = self.calibration.as_ref().map(|record| {
            json!({ "number": record.number, "made": day(record.made_ms), "due": day(record.due_ms) })
        });
        let check = self.last_check.as_ref().map(
            |check| json!({ "made": day(check.made_ms), "answer": check.result.answer.word() }),
        );
        [
            ("calibration_record", json!(calibration)),
            ("last_check", json!(check)),
            ("lever_marks", marks::words(&self.marks)),
        ]
    }
}

/// A day for a line.
pub(super) fn day(ms: i64) -> String {
    day_of_ms(ms).unwrap_or_else(|| "unknown".to_owned())
}
