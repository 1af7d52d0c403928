//! What the calibration says: constants, curve, uncertainty and what it is made of.

use super::{COVERAGE_FACTOR, Sheet, figures, larger, parts, sentence};
use crate::calibration::terms::LeverTerms;
use crate::report::document::{Align, Block, Table};
use crate::report::numbers::{decimals_of, fixed, scientific, signed, with_u};

/// Symbols of the curve's coefficients and their units.
const COEFFICIENTS: [(&str, &str); 3] =
    [("c₀", "counts"), ("c₁", "counts/(N·m)"), ("c₂", "counts/(N·m)²")];

/// What the reader wants first: expanded uncertainty over the range.
pub(super) fn first(sheet: Sheet<'_>) -> Vec<Block> {
    vec![
        summary(sheet),
        Block::Heading("Expanded uncertainty over the range".to_owned()),
        Block::Figure(figures::expanded(sheet)),
        Block::Table(expanded(sheet)),
    ]
}

/// Constants, curve, and what the uncertainty is made of.
pub(super) fn blocks(sheet: Sheet<'_>) -> Vec<Block> {
    vec![
        Block::Heading("Constants and curve".to_owned()),
        Block::Beside(
            vec![Block::Table(constants(sheet))],
            vec![Block::Table(coefficients(sheet))],
        ),
        Block::Paragraph(curve_words(sheet)),
        Block::Heading("What the uncertainty is made of".to_owned()),
        Block::Table(parts::table(sheet)),
        Block::Beside(
            vec![Block::Table(positions(sheet)), Block::Note(POSITIONS_NOTE.to_owned())],
            vec![Block::Table(hysteresis(sheet))],
        ),
        Block::Table(beyond(sheet)),
        Block::Note(zero_words(sheet)),
    ]
}

fn summary(sheet: Sheet<'_>) -> Block {
    let terms = &sheet.record.result.terms;
    let (low, high) = sheet.range_nm();
    let expanded = |load_nm: f64| larger(terms, load_nm, LeverTerms::expanded_u_nm);
    let unit = sheet.unit;
    let share = |load_nm: f64| fixed(100.0 * expanded(load_nm) / load_nm, 2);
    Block::Result {
        line: format!(
            "Expanded uncertainty (k\u{a0}=\u{a0}2): {} at {} {unit}, {} ({} %) at {} {unit}",
            sheet.load(expanded(low)),
            sheet.rough(low),
            sheet.load(expanded(high)),
            share(high),
            sheet.rough(high),
        ),
        under: vec![
            "About 95 times in 100 the torque shown lies this close to the true one, sharp or \
             flat, once the program has taken off the error the constants leave."
                .to_owned(),
        ],
    }
}

fn expanded(sheet: Sheet<'_>) -> Table {
    let unit = sheet.unit;
    let load = format!("Load ({unit})");
    let error = format!("Error left by the constants, flat / sharp ({unit})");
    let standard = format!("Standard uncertainty ({unit})");
    let expanded = format!("Expanded, k = 2 ({unit})");
    let mut table = Table::new(
        "",
        &[
            (&load, Align::Right, 1.0),
            (&error, Align::Right, 2.2),
            (&standard, Align::Right, 1.5),
            (&expanded, Align::Right, 1.3),
            ("Expanded, of the load", Align::Right, 1.3),
        ],
    );
    let [e0, e1, e2] = sheet.record.result.terms.error_curve;
    let error_nm = |torque: f64| e0 + e1 * torque + e2 * torque * torque;
    let decimals = sheet.decimals() + 1;
    for one in &sheet.record.result.characteristics.expanded {
        table.push([
            sheet.load(one.load_nm),
            format!(
                "{} / {}",
                signed(sheet.show(error_nm(-one.load_nm)), decimals),
                signed(sheet.show(error_nm(one.load_nm)), decimals)
            ),
            sheet.fine(one.expanded_nm / COVERAGE_FACTOR),
            sheet.fine(one.expanded_nm),
            format!("{} %", fixed(100.0 * one.expanded_nm / one.load_nm, 2)),
        ]);
    }
    table
}

fn constants(sheet: Sheet<'_>) -> Table {
    let result = &sheet.record.result;
    let mut table = Table::new(
        "Stored on the lever",
        &[("Constant", Align::Left, 1.0), ("Value", Align::Right, 1.5)],
    );
    let constants = result.constants;
    table.push(["Zero".to_owned(), format!("{} counts", fixed(constants.zero_code, 1))]);
    table.push([
        "Span".to_owned(),
        format!("{} N·m per count", scientific(constants.span_nm_per_count, 6)),
    ]);
    let weight = with_u(constants.weight_moment_nm, result.characteristics.weight_moment_u_nm);
    table.push(["Own weight".to_owned(), format!("{weight} N·m (k = 1)")]);
    table
}

fn coefficients(sheet: Sheet<'_>) -> Table {
    let curve = &sheet.record.result.curve;
    let mut table = Table::new(
        "Code = c₀ + c₁·load + c₂·load²",
        &[
            ("", Align::Left, 0.5),
            ("Value", Align::Right, 1.5),
            ("Standard error", Align::Right, 1.2),
            ("Unit", Align::Left, 1.3),
        ],
    );
    for ((symbol, unit), (index, value)) in
        COEFFICIENTS.iter().zip(curve.coefficients.iter().enumerate())
    {
        let error = covariance(sheet, index, index).max(0.0).sqrt();
        let decimals = decimals_of(error);
        table.push([
            (*symbol).to_owned(),
            fixed(*value, decimals),
            fixed(error, decimals),
            (*unit).to_owned(),
        ]);
    }
    if curve.coefficients.len() < 3 {
        table.caption = "Code = c₀ + c₁·load".to_owned();
    }
    table
}

fn covariance(sheet: Sheet<'_>, row: usize, column: usize) -> f64 {
    let rows = &sheet.record.result.curve.covariance;
    rows.get(row).and_then(|row| row.get(column)).copied().unwrap_or(f64::NAN)
}

fn curve_words(sheet: Sheet<'_>) -> String {
    let result = &sheet.record.result;
    let curve = &result.curve;
    let pairs = [(0, 1), (0, 2), (1, 2)];
    let covariances: Vec<String> = pairs
        .into_iter()
        .filter(|(_, column)| *column < curve.coefficients.len())
        .map(|(row, column)| {
            let value = scientific(covariance(sheet, row, column), 3);
            format!("cov({}, {}) = {value}", COEFFICIENTS[row].0, COEFFICIENTS[column].0)
        })
        .collect();
    let bend = result.terms.error_curve[2];
    let left = if bend == 0.0 {
        String::new()
    } else {
        format!(
            " The constants leave an error of {} · τ² N·m (τ in N·m), which the program takes off.",
            scientific(bend, 3)
        )
    };
    format!(
        "{} Residual standard deviation {} counts on {} degrees of freedom ({} {}); R² = {}; {} \
         (load in N·m).{left}",
        sentence(&curve.degree_reason),
        fixed(curve.residual_sd, 1),
        curve.degrees_of_freedom,
        sheet.fine(curve.residual_sd * result.constants.span_nm_per_count.abs()),
        sheet.unit,
        fixed(curve.r_squared, 9),
        covariances.join(", "),
    )
}

fn positions(sheet: Sheet<'_>) -> Table {
    let mut table = Table::new(
        "Hand positions against the common line",
        &[("Hand at", Align::Left, 1.4), ("Shows", Align::Right, 1.0), ("u", Align::Right, 0.9)],
    );
    for one in &sheet.record.result.characteristics.positions {
        table.push([
            sheet.position(one.position),
            format!("{} %", signed(100.0 * one.relative_difference, 3)),
            format!("{} %", fixed(100.0 * one.relative_u, 3)),
        ]);
    }
    table
}

const POSITIONS_NOTE: &str = "\
Cross-load: torque shown there more (+) or less (−) than by the line through all positions. Its \
uncertainty u is from arm and scatter.";

fn hysteresis(sheet: Sheet<'_>) -> Table {
    let unit = sheet.unit;
    let (load, width) = (format!("Load ({unit})"), format!("Down less up ({unit})"));
    let mut table = Table::new(
        "Hysteresis",
        &[
            ("Weights", Align::Left, 1.6),
            (&load, Align::Right, 1.0),
            (&width, Align::Right, 1.3),
            ("Pairs", Align::Right, 0.6),
        ],
    );
    for one in &sheet.record.result.characteristics.hysteresis {
        table.push([
            sheet.masses(&one.masses),
            sheet.load(one.load_nm),
            signed(sheet.show(one.width_nm), sheet.decimals() + 1),
            one.pair_count.to_string(),
        ]);
    }
    table
}

/// What a reading's budget adds from here, beside the lever's own uncertainty.
fn beyond(sheet: Sheet<'_>) -> Table {
    let result = &sheet.record.result;
    let terms = &result.terms;
    let mut table = Table::new(
        "Not in the above: what the budget of a pin's reading adds",
        &[
            ("Source", Align::Left, 1.5),
            ("Taken from", Align::Left, 1.8),
            ("Standard uncertainty", Align::Right, 1.0),
        ],
    );
    let percent = |share: f64| format!("{} %", fixed(100.0 * share, 2));
    table.push([
        "Zero, from one zero to the next".to_owned(),
        "zeros on this bench, with the own weight's uncertainty".to_owned(),
        format!("{} {}", sheet.fine(terms.zero_u_nm), sheet.unit),
    ]);
    let class = || "class: not measured".to_owned();
    let (seating, person) = match result.characteristics.seating {
        None => (class(), class()),
        Some(one) => {
            let seating = format!(
                "{} readings of {} pins, {} degrees of freedom",
                one.reading_count, one.pin_count, one.within_degrees_of_freedom
            );
            let person = if one.person_count > 1 {
                format!(
                    "{} people, {} degrees of freedom",
                    one.person_count, one.between_degrees_of_freedom
                )
            } else {
                class()
            };
            (seating, person)
        }
    };
    table.push(["Seating the lever anew".to_owned(), seating, percent(terms.seating_relative_u)]);
    table.push(["Another person".to_owned(), person, percent(terms.person_relative_u)]);
    table.push([
        "Temperature, for each kelvin outside the above".to_owned(),
        "class: rectangle".to_owned(),
        format!("{} %", fixed(100.0 * terms.temperature_relative_per_k / 3.0_f64.sqrt(), 3)),
    ]);
    table
}

fn zero_words(sheet: Sheet<'_>) -> String {
    let returns = &sheet.record.result.characteristics.zero_returns_nm;
    if returns.is_empty() {
        return "Zero return: no series began and ended without load.".to_owned();
    }
    let largest = returns
        .iter()
        .copied()
        .fold(0.0, |most: f64, one| if one.abs() > most.abs() { one } else { most });
    let shown: Vec<String> =
        returns.iter().map(|one| signed(sheet.show(*one), sheet.decimals() + 1)).collect();
    format!(
        "Zero return, end less beginning of each series ({}): {}; largest {}.",
        sheet.unit,
        shown.join(", "),
        signed(sheet.show(largest), sheet.decimals() + 1)
    )
}
