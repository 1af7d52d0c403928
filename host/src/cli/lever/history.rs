//! `pinhold lever history`: a lever's calibrations and checks in the order of time.

use clap::Args;
use serde_json::{Value, json};

use super::check_words::signed;
use super::standing::day;
use crate::calibration::check::{Answer, CheckRecord};
use crate::calibration::record::CalibrationRecord;
use crate::cli::context::Context;
use crate::cli::exit::{CliError, Exit};
use crate::report;
use crate::store::Store;
use crate::text::printable;
use crate::units::TorqueUnit;

/// Coverage factor of what is shown.
const COVERAGE_FACTOR: f64 = 2.0;

/// Arguments of `pinhold lever history`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Shows how the span changed from one calibration to the next, with its expanded uncertainty (k = 2).
The same weights and arms used both times leave part of that uncertainty out of the change; it is
shown whole.

Examples:
  pinhold lever history
  pinhold lever history 00000000000002a7")]
pub(super) struct HistoryArguments {
    /// The lever's identity, as 'pinhold lever status' shows it [default: every calibrated one]
    #[arg(value_name = "LEVER", value_parser = lever_parser)]
    pub lever: Option<u64>,
}

/// A lever's identity: sixteen hexadecimal digits, or fewer.
pub(super) fn lever_parser(text: &str) -> Result<u64, String> {
    let digits = text.trim();
    let is_plain = !digits.is_empty() && digits.chars().all(|c| c.is_ascii_hexdigit());
    Some(digits)
        .filter(|_| is_plain)
        .and_then(|digits| u64::from_str_radix(digits, 16).ok())
        .ok_or_else(|| "use the lever's identity, such as 00000000000002a7".to_owned())
}

/// One lever's calibrations and checks.
struct History {
    device: u64,
    calibrations: Vec<CalibrationRecord>,
    checks: Vec<CheckRecord>,
}

/// How much the span changed, relative, with its expanded uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
struct SpanChange {
    relative: f64,
    expanded_relative: f64,
}

/// The change from one calibration to the next. Each span carries the uncertainty of its scale and
/// of its fit's slope; both are taken as independent, which can only overstate that of the change.
fn span_change(before: &CalibrationRecord, after: &CalibrationRecord) -> Option<SpanChange> {
    let span = |record: &CalibrationRecord| record.result.constants.span_nm_per_count;
    let variance = |record: &CalibrationRecord| {
        let terms = &record.result.terms;
        terms.scale_relative_u * terms.scale_relative_u + terms.error_covariance[1][1].max(0.0)
    };
    let relative = span(after) / span(before) - 1.0;
    let u = (variance(before) + variance(after)).sqrt();
    relative.is_finite().then_some(SpanChange { relative, expanded_relative: COVERAGE_FACTOR * u })
}

/// Runs the command.
///
/// # Errors
/// When there is no calibration, or the store fails.
pub(super) fn run(context: &Context, arguments: &HistoryArguments) -> Result<(), CliError> {
    let store = context.open_store()?;
    let devices = match arguments.lever {
        Some(device) => vec![device],
        None => store.calibrated_levers()?,
    };
    let mut histories = Vec::new();
    for device in devices {
        histories.push(history(&store, device)?);
    }
    if histories.iter().all(|history| history.calibrations.is_empty()) {
        let which = match arguments.lever {
            Some(device) => format!("lever {device:016x} has no calibration in this store"),
            None => "no lever was calibrated with this store yet".to_owned(),
        };
        let sentence = format!("{which}; calibrate one with 'pinhold lever calibrate'");
        return Err(CliError::new(Exit::NotThere, sentence));
    }
    if context.json {
        let levers: Vec<Value> = histories.iter().map(value).collect();
        return context.print_document(&json!({
            "format": "pinhold.lever.history",
            "version": 1,
            "levers": levers,
        }));
    }
    let told: Vec<String> = histories.iter().map(|history| text(history, context.unit)).collect();
    context.print(&told.join("\n"))
}

fn history(store: &Store, device: u64) -> Result<History, CliError> {
    let calibrations = store.calibrations_of(device)?;
    Ok(History { device, calibrations, checks: store.checks_of(device)? })
}

fn text(history: &History, unit: TorqueUnit) -> String {
    let mut lines: Vec<(i64, String)> = Vec::new();
    let mut before: Option<&CalibrationRecord> = None;
    for record in &history.calibrations {
        lines.push((record.made_ms, calibration_line(record, before)));
        before = Some(record);
    }
    for check in &history.checks {
        let line =
            format!("  check of calibration {}: {}", check.calibration, check_line(check, unit));
        lines.push((check.made_ms, line));
    }
    lines.sort_by_key(|(made_ms, _)| *made_ms);
    let mut text = format!("lever {:016x}\n", history.device);
    for (_, line) in lines {
        text.push_str(&line);
        text.push('\n');
    }
    text
}

fn calibration_line(record: &CalibrationRecord, before: Option<&CalibrationRecord>) -> String {
    let terms = &record.result.terms;
    let mut line = format!(
        "  calibration {}: {}, due {}; scale ± {:.2} % (k = 2)",
        record.number,
        day(record.made_ms),
        day(record.due_ms),
        100.0 * COVERAGE_FACTOR * terms.scale_relative_u,
    );
    if let Some((coldest, warmest)) = terms.temperature_c {
        line.push_str(&format!(", {coldest:.1} to {warmest:.1} °C"));
    }
    if let Some(change) = before.and_then(|before| span_change(before, record)) {
        let beyond = change.relative.abs() > change.expanded_relative;
        line.push_str(&format!(
            "; span {:+.2} ± {:.2} % from the one before{}",
            100.0 * change.relative,
            100.0 * change.expanded_relative,
            if beyond { ": more than its uncertainty explains" } else { "" },
        ));
    }
    if !record.people.is_empty() {
        line.push_str(&format!("; by {}", printable(&record.people.join(", "))));
    }
    if record.simulated {
        line.push_str("; simulated");
    }
    line
}

/// A check in a line: day, answer, what was off.
pub(super) fn check_line(check: &CheckRecord, unit: TorqueUnit) -> String {
    let result = &check.result;
    let answer = match result.answer {
        Answer::Pass => "passed",
        Answer::CannotTell => "not passed, cannot tell",
        Answer::Fail => "FAILED",
    };
    let digits = unit.decimals() + 2;
    let show = |torque_nm: f64| unit.from_newton_metres(torque_nm);
    format!(
        "{} {answer}; {} ± {:.digits$} {unit} off at {}, allowed ± {:.digits$}",
        day(check.made_ms),
        signed(show(result.weight.difference_nm.value), digits),
        show(result.weight.expanded_u_nm()),
        report::torque(result.load_nm.value, unit),
        show(result.weight.limit_nm),
    )
}

fn value(history: &History) -> Value {
    let mut before: Option<&CalibrationRecord> = None;
    let calibrations: Vec<Value> = history
        .calibrations
        .iter()
        .map(|record| {
            let change = before.and_then(|before| span_change(before, record));
            before = Some(record);
            json!({
                "number": record.number,
                "made": day(record.made_ms),
                "due": day(record.due_ms),
                "people": record.people,
                "place": record.place,
                "simulated": record.simulated,
                "span_nm_per_count": record.result.constants.span_nm_per_count,
                "scale_relative_u": record.result.terms.scale_relative_u,
                "temperature_c": record.result.terms.temperature_c,
                "range_nm": record.result.terms.range_nm,
                "span_change": change.map(|change| json!({
                    "relative": change.relative,
                    "expanded_relative": change.expanded_relative,
                })),
            })
        })
        .collect();
    let checks: Vec<Value> = history.checks.iter().map(check_value).collect();
    json!({
        "lever": format!("{:016x}", history.device),
        "calibrations": calibrations,
        "checks": checks,
    })
}

/// A check for documents.
pub(super) fn check_value(check: &CheckRecord) -> Value {
    let result = &check.result;
    let comparison = |comparison: &crate::calibration::check::Comparison| {
        json!({
            "difference_nm": comparison.difference_nm.value,
            "u_difference_nm": comparison.difference_nm.u,
            "limit_nm": comparison.limit_nm,
            "answer": comparison.answer.word(),
        })
    };
    json!({
        "calibration": check.calibration,
        "made": day(check.made_ms),
        "simulated": check.simulated,
        "answer": result.answer.word(),
        "passed": check.passed(),
        "load_nm": result.load_nm.value,
        "u_load_nm": result.load_nm.u,
        "read_nm": result.read_nm.value,
        "u_read_nm": result.read_nm.u,
        "temperature_c": check.temperature_c(),
        "same_weight_as_calibration": result.same_weight,
        "weight": comparison(&result.weight),
        "zero_return": comparison(&result.zero_return),
        "zero": comparison(&result.zero),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_lever_is_named_by_hexadecimal_digits() {
        assert_eq!(lever_parser("00000000000002a7"), Ok(0x2a7));
        assert_eq!(lever_parser("FFFFFFFFFFFFFFFF"), Ok(u64::MAX));
        for wrong in ["", "+1", "0x12", "12345678901234567", "zz"] {
            assert!(lever_parser(wrong).is_err(), "{wrong}");
        }
    }
}
