//! What a check says, line by line, and what is to be done after it.

use super::standing::day;
use crate::calibration::check::{Answer, CheckRecord, Comparison};
use crate::text::printable;
use crate::units::TorqueUnit;

/// The check in lines.
pub(super) fn text(record: &CheckRecord, unit: TorqueUnit) -> String {
    let result = &record.result;
    let digits = unit.decimals() + 2;
    let show = |torque_nm: f64| format!("{:.digits$}", unit.from_newton_metres(torque_nm));
    let mut text = format!(
        "lever {:016x} against its calibration {}; ± is expanded uncertainty, k = 2\n",
        record.lever, record.calibration
    );
    let hung: Vec<String> = record
        .bench
        .masses
        .iter()
        .zip(&record.bench.positions)
        .map(|(mass, arm)| format!("{} at {}", printable(&mass.name), printable(&arm.name)))
        .collect();
    text.push_str(&format!(
        "  hung: {}, {} ± {} {unit}; read {} ± {}\n",
        hung.join(", "),
        show(result.load_nm.value),
        show(not_nothing(2.0 * result.load_nm.u, digits, unit)),
        show(result.read_nm.value),
        show(not_nothing(2.0 * result.read_nm.u, digits, unit)),
    ));
    for (name, comparison) in [
        ("weight", &result.weight),
        ("zero after the weight", &result.zero_return),
        ("zero since the calibration", &result.zero),
    ] {
        text.push_str(&comparison_line(name, comparison, unit));
    }
    if result.same_weight {
        text.push_str(
            "  mass and arm are those of the calibration: a mistake in either is in both and is \
             not seen here\n",
        );
    }
    if result.answer == Answer::Pass {
        text.push_str("passed: the lever reads as it was calibrated\n");
    }
    text
}

/// A number with its sign; what rounds to nothing has none.
pub(super) fn signed(value: f64, digits: usize) -> String {
    let shown = format!("{value:+.digits$}");
    if shown.bytes().any(|byte| byte.is_ascii_digit() && byte != b'0') {
        shown
    } else {
        shown.trim_start_matches(['+', '-']).to_owned()
    }
}

/// An uncertainty that would read as none, rounded up to the last digit shown, N·m.
fn not_nothing(u_nm: f64, digits: usize, unit: TorqueUnit) -> f64 {
    let least = libm::pow(10.0, -(digits as f64));
    let shown = unit.from_newton_metres(u_nm);
    if shown > 0.0 && shown < least { least * unit.newton_metres() } else { u_nm }
}

fn comparison_line(name: &str, comparison: &Comparison, unit: TorqueUnit) -> String {
    let digits = unit.decimals() + 2;
    let show = |torque_nm: f64| unit.from_newton_metres(torque_nm);
    let answer = match comparison.answer {
        Answer::Pass => "fine",
        Answer::CannotTell => "cannot tell",
        Answer::Fail => "NOT fine",
    };
    format!(
        "  {name}: {} ± {:.digits$} {unit} off, allowed ± {:.digits$}: {answer}\n",
        signed(show(comparison.difference_nm.value), digits),
        show(not_nothing(comparison.expanded_u_nm(), digits, unit)),
        show(comparison.limit_nm),
    )
}

/// What to do after a check that did not pass; `None` after one that did.
pub(super) fn after(record: &CheckRecord, last_pass_ms: Option<i64>) -> Option<String> {
    let result = &record.result;
    let since = last_pass_ms.map_or(String::new(), |ms| format!(" ({})", day(ms)));
    match result.answer {
        Answer::Pass => None,
        Answer::Fail => {
            let cause = if result.zero.answer == Answer::Fail {
                "; its zero has moved as after an overload: look at the cell before you calibrate"
            } else if result.zero_return.answer == Answer::Fail {
                "; the zero did not come back: see that nothing slips, then check again"
            } else {
                ""
            };
            Some(format!(
                "the lever failed its check{cause}. Every reading since it last passed{since} is \
                 marked in maps, reports and lists; do not measure before it is calibrated anew: \
                 pinhold lever calibrate"
            ))
        }
        Answer::CannotTell => Some(format!(
            "the check cannot tell, so the lever has not passed: {}. Then check again",
            what_would_tell(record)
        )),
    }
}

/// Which doubt is the largest, and how to lessen it.
fn what_would_tell(record: &CheckRecord) -> &'static str {
    let result = &record.result;
    if result.weight.answer != Answer::CannotTell {
        return "the zero is unsure; let lever and room come to one temperature";
    }
    let load_u = result.load_nm.u;
    if load_u > result.read_nm.u && 2.0 * load_u > result.weight.limit_nm / 2.0 {
        "the weight is not known well enough; weigh it and measure its arm better (--mass, --arm \
         with their ±)"
    } else if result.weight.expanded_u_nm() > result.weight.limit_nm / 2.0 {
        "the weight is too small to tell; hang a heavier one"
    } else {
        "the lever reads near the edge of what is allowed; seat it anew, level the handle, and if \
         it stays, calibrate it"
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_has_no_sign_and_no_uncertainty_reads_as_none() {
        assert_eq!(signed(-0.0004, 3), "0.000");
        assert_eq!((signed(-0.0006, 3), signed(0.012, 3)), ("-0.001".into(), "+0.012".into()));
        let unit = TorqueUnit::InchPoundForce;
        let least_nm = not_nothing(1e-6, 2, unit);
        assert!((unit.from_newton_metres(least_nm) - 0.01).abs() < 1e-12);
        assert_eq!((not_nothing(0.0, 2, unit), not_nothing(0.5, 2, unit)), (0.0, 0.5));
    }
}
