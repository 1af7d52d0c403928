//! A calibration as text and as a document.

use serde_json::json;

use crate::calibration::record::CalibrationRecord;
use crate::calibration::terms::LeverTerms;
use crate::cli::context::Context;
use crate::cli::exit::CliError;
use crate::cli::lever::standing::day;
use crate::text::printable;
use crate::units::TorqueUnit;

/// Prints it.
pub(super) fn tell(
    context: &Context,
    record: &CalibrationRecord,
    dry_run: bool,
) -> Result<(), CliError> {
    if context.json {
        let mut document = serde_json::to_value(record).unwrap_or_default();
        document["format"] = json!("pinhold.lever.calibrate");
        document["version"] = json!(1);
        document["lever"] = json!(format!("{:016x}", record.lever));
        document["kept"] = json!(!dry_run);
        return context.print_document(&document);
    }
    context.print(&text(record, context.unit, dry_run))
}

/// A torque with three more digits than a hand reading has.
fn fine(torque_nm: f64, unit: TorqueUnit) -> String {
    format!("{:.*} {unit}", unit.decimals() + 2, unit.from_newton_metres(torque_nm))
}

fn percent(share: f64) -> String {
    format!("{:.2} %", 100.0 * share)
}

fn text(record: &CalibrationRecord, unit: TorqueUnit, dry_run: bool) -> String {
    let result = &record.result;
    let constants = &result.constants;
    let mut text = String::new();
    let mut line = |shown: String| {
        text.push_str(&shown);
        text.push('\n');
    };
    line(if dry_run {
        "calibration, only shown: nothing was kept".to_owned()
    } else {
        format!("calibration {} of lever {:016x}", record.number, record.lever)
    });
    if record.simulated {
        line("  SIMULATED: nothing here is real".to_owned());
    }
    line("  in-house, not an accredited certificate".to_owned());
    line(format!(
        "  made {}, next due {}{}",
        day(record.made_ms),
        day(record.due_ms),
        if record.people.is_empty() {
            String::new()
        } else {
            format!(", by {}", printable(&record.people.join(", ")))
        }
    ));
    line("constants".to_owned());
    line(format!("  span           {:.6e} N·m per count", constants.span_nm_per_count));
    line(format!("  zero           {:.1} counts", constants.zero_code));
    line(format!(
        "  weight moment  {} ± {}",
        fine(constants.weight_moment_nm, unit),
        fine(2.0 * result.characteristics.weight_moment_u_nm, unit)
    ));
    line(format!("  curve          {}", result.curve.degree_reason));
    line("expanded uncertainty of the lever, k = 2, zero just taken".to_owned());
    for one in &result.characteristics.expanded {
        line(format!(
            "  at {:>9}   ± {}   {}",
            crate::report::torque(one.load_nm, unit),
            fine(one.expanded_nm, unit),
            percent(one.expanded_nm / one.load_nm)
        ));
    }
    text.push_str(&terms_text(record, unit));
    if !result.remarks.is_empty() {
        text.push_str("remarks\n");
        for remark in &result.remarks {
            text.push_str(&format!("  {}\n", printable(remark)));
        }
    }
    if result.characteristics.seating.is_none() {
        text.push_str(&seatings_hint(record.simulated));
    }
    if !dry_run {
        text.push_str("Take the lever's zero anew before measuring. Next: pinhold lever check\n");
    }
    text
}

/// How to measure what is the class's where no pins were seated anew.
fn seatings_hint(simulated: bool) -> String {
    let practice = if simulated { " --simulated" } else { "" };
    format!(
        "What seating anew and another person do was taken from the class of lever. To measure \
         it,\nwith two people and ten pins: pinhold lever seatings FILE.csv --people \
         'NAME, NAME'{practice}\nand give FILE.csv to the next calibration with --seatings.\n"
    )
}

/// Every term, standard uncertainties and half widths.
fn terms_text(record: &CalibrationRecord, unit: TorqueUnit) -> String {
    let result = &record.result;
    let terms: &LeverTerms = &result.terms;
    let seen = &result.characteristics;
    let mut rows: Vec<(&str, String)> = Vec::new();
    let parts: Vec<String> = seen
        .scale_parts
        .iter()
        .map(|part| format!("{} {:.3} %", part.name, 100.0 * part.relative_u))
        .collect();
    rows.push(("scale, u", format!("{} ({})", percent(terms.scale_relative_u), parts.join(", "))));
    rows.push(("curve's slope, u", percent(terms.error_covariance[1][1].max(0.0).sqrt())));
    rows.push(("hysteresis, half width", fine(terms.hysteresis_half_width_nm, unit)));
    rows.push((
        "repeatability, u",
        format!(
            "{} on {} degrees of freedom",
            fine(terms.repeatability_u_nm, unit),
            seen.scatter_degrees_of_freedom
        ),
    ));
    let largest = seen.zero_returns_nm.iter().fold(0.0, |most: f64, nm| most.max(nm.abs()));
    rows.push(("zero return, largest", fine(largest, unit)));
    rows.push(("zero between zeros, u", fine(terms.zero_u_nm, unit)));
    let arms: f64 = seen.positions.iter().map(|position| position.relative_u.powi(2)).sum();
    rows.push((
        "place of the hand, half width",
        format!(
            "{} (arms explain {} at k = 2)",
            percent(terms.cross_load_relative_half_width),
            percent(arms.sqrt())
        ),
    ));
    let seating = seen.seating.map_or("of the class".to_owned(), |seating| {
        format!("{} readings, {} pins", seating.reading_count, seating.pin_count)
    });
    rows.push(("seating anew, u", format!("{} ({seating})", percent(terms.seating_relative_u))));
    let people = match seen.seating {
        Some(seating) if seating.person_count > 1 => format!("{} people", seating.person_count),
        _ => "of the class".to_owned(),
    };
    rows.push(("between people, u", format!("{} ({people})", percent(terms.person_relative_u))));
    if let Some((low, high)) = terms.temperature_c {
        rows.push(("temperature", format!("{low:.1} to {high:.1} °C")));
    }
    if let Some((low, high)) = terms.range_nm {
        rows.push(("loads", format!("{} to {}", fine(low, unit), fine(high, unit))));
    }
    let mut text = String::from("terms\n");
    for (name, value) in rows {
        text.push_str(&format!("  {name:<30} {value}\n"));
    }
    text
}
