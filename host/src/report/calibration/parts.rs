//! What the lever's own uncertainty is made of, line by line.

use super::{COVERAGE_FACTOR, Sheet, larger};
use crate::calibration::terms::LeverTerms;
use crate::report::document::{Align, Table};
use crate::report::numbers::fixed;

/// A part of the lever's own uncertainty: what, from what, and its standard uncertainty at both
/// ends of the range.
struct Part {
    name: String,
    basis: String,
    standard_nm: [f64; 2],
}

/// The parts whose squares add up to [`LeverTerms::standard_u_nm`], at the ends of the range.
fn part_list(sheet: Sheet<'_>) -> Vec<Part> {
    let result = &sheet.record.result;
    let terms = &result.terms;
    let (low, high) = sheet.range_nm();
    let torques = [low, high].map(|load| {
        let flat = terms.standard_u_nm(-load) > terms.standard_u_nm(load);
        if flat { -load } else { load }
    });
    let relative = |share: f64| torques.map(|torque| share * torque.abs());
    let percent = |share: f64| format!("{} %", fixed(100.0 * share, 3));
    let root3 = 3.0_f64.sqrt();
    let mut parts: Vec<Part> = result
        .characteristics
        .scale_parts
        .iter()
        .map(|part| Part {
            name: format!("Scale: {}", super::name(&part.name)),
            basis: percent(part.relative_u),
            standard_nm: relative(part.relative_u),
        })
        .collect();
    let [_, [_, slope, mixed], [_, _, bend]] = terms.error_covariance;
    let fit = |torque: f64| {
        let square = torque * torque;
        (square * (slope + 2.0 * mixed * torque + bend * square)).max(0.0).sqrt()
    };
    let degrees = terms.freedom.curve.unwrap_or(result.curve.degrees_of_freedom);
    let cross = terms.cross_load_relative_half_width;
    let torque = |nm: f64| format!("{} {}", sheet.fine(nm), sheet.unit);
    parts.push(Part {
        name: "Curve".to_owned(),
        basis: format!("fit, {degrees} degrees of freedom"),
        standard_nm: torques.map(fit),
    });
    parts.push(Part {
        name: "Hysteresis".to_owned(),
        basis: format!("± {}, rectangle", torque(terms.hysteresis_half_width_nm)),
        standard_nm: [terms.hysteresis_half_width_nm / root3; 2],
    });
    parts.push(Part {
        name: "Repeatability of one loading".to_owned(),
        basis: format!(
            "standard deviation, {} degrees of freedom",
            result.characteristics.scatter_degrees_of_freedom
        ),
        standard_nm: [terms.repeatability_u_nm; 2],
    });
    parts.push(Part {
        name: "Place of the hand".to_owned(),
        basis: format!("± {}, rectangle", percent(cross)),
        standard_nm: relative(cross / root3),
    });
    parts.push(Part {
        name: "Resolution".to_owned(),
        basis: format!("{} steps", torque(terms.resolution_nm)),
        standard_nm: [terms.resolution_nm / 12.0_f64.sqrt(); 2],
    });
    parts
}

/// The table of parts, with what they come to.
pub(super) fn table(sheet: Sheet<'_>) -> Table {
    let (low, high) = sheet.range_nm();
    let unit = sheet.unit;
    let columns = [low, high].map(|load| format!("u at {} {unit} ({unit})", sheet.rough(load)));
    let mut table = Table::new(
        "",
        &[
            ("Source", Align::Left, 1.5),
            ("Taken from", Align::Left, 1.8),
            (&columns[0], Align::Right, 1.0),
            (&columns[1], Align::Right, 1.0),
        ],
    );
    for part in part_list(sheet) {
        let [at_low, at_high] = part.standard_nm.map(|u_nm| sheet.fine(u_nm));
        table.push([part.name, part.basis, at_low, at_high]);
    }
    let terms = &sheet.record.result.terms;
    let standard = [low, high].map(|load| larger(terms, load, LeverTerms::standard_u_nm));
    let [at_low, at_high] = standard.map(|u_nm| sheet.fine(u_nm));
    table.push(["Combined".to_owned(), "root of the sum of squares".to_owned(), at_low, at_high]);
    let [at_low, at_high] = standard.map(|u_nm| sheet.fine(COVERAGE_FACTOR * u_nm));
    table.push(["Expanded".to_owned(), "combined × 2".to_owned(), at_low, at_high]);
    table.sum_row_count = 2;
    table
}

/// The root of the sum of the parts' squares.
#[cfg(test)]
pub(super) fn combined_nm(sheet: Sheet<'_>) -> [f64; 2] {
    [0, 1].map(|at| {
        let squares = part_list(sheet).into_iter().map(|part| part.standard_nm[at].powi(2));
        squares.sum::<f64>().sqrt()
    })
}
