//! A two-column table of loads and readings, from a CSV file, and the curve through it.
//!
//! Any such table, in any unit: the way for a metrologist to hold the arithmetic against certified
//! data. Deliberately not here: what a lever's calibration adds to a fit.
//!
//! Invariants: lengths are bounded before they are used; a file is taken whole or refused whole.

use thiserror::Error;

use crate::import::hand::parse_decimal;
use crate::import::{ImportError, Line, decode, separator_of, split_lines};
use crate::metrology::least_squares::{FitError, Observations};
use crate::metrology::polynomial::{PolynomialFit, Powers, fit_polynomial};
use crate::text::printable_short;

/// Most rows read.
pub const LOAD_ROW_COUNT_MAX: usize = 1_000_000;

/// Characters of a bad cell shown.
const CELL_LENGTH_SHOWN: usize = 40;

/// Loads and what was read at each, row by row.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LoadTable {
    /// Loads, in the table's own unit.
    pub loads: Vec<f64>,
    /// Readings, in the table's own unit.
    pub readings: Vec<f64>,
    /// Lines of the file they stand on, from 1.
    pub lines: Vec<u32>,
}

/// Why a table was refused.
#[derive(Debug, Error)]
pub enum LoadTableError {
    /// Too large, not text, or not UTF-8.
    #[error(transparent)]
    File(#[from] ImportError),
    /// Nothing in it.
    #[error("it is empty; its first line is load,reading and each further line is one point")]
    Empty,
    /// A first line that does not name the two columns.
    #[error(
        "line {line}: {found} is not the header; the first line is load,reading and each further \
         line is one point"
    )]
    Header {
        /// Line of the file, from 1.
        line: u32,
        /// What stands there, printable.
        found: String,
    },
    /// More rows than [`LOAD_ROW_COUNT_MAX`].
    #[error("it has more than {LOAD_ROW_COUNT_MAX} rows; split it, or check that it is right")]
    TooManyRows,
    /// A faulty row.
    #[error("line {line}{}: {reason}{}", column_words(column), more_words(*more_count))]
    Row {
        /// Line of the file, from 1.
        line: u32,
        /// Column; empty when the row as a whole is at fault.
        column: &'static str,
        /// What is wrong and what to do, printable.
        reason: String,
        /// Further rows at fault.
        more_count: usize,
    },
    /// Rows too few for the curve.
    #[error(
        "it has {}, and {} needs at least {needed}: one more than it has coefficients, so that \
         scatter shows; add points{}",
        points(*count), curve_word(*degree), or_a_line(*degree, *count >= 3)
    )]
    TooFew {
        /// Rows found.
        count: usize,
        /// Rows needed.
        needed: usize,
        /// Degree wanted.
        degree: usize,
    },
    /// Loads that are the same.
    #[error(
        "{}, and {} needs at least {needed}; add points at other loads{}",
        loads_found(loads), curve_word(*degree), or_a_line(*degree, *distinct >= 2)
    )]
    FewLoads {
        /// Different loads found.
        distinct: usize,
        /// The loads found, a few of them.
        loads: Vec<f64>,
        /// Different loads needed.
        needed: usize,
        /// Degree wanted.
        degree: usize,
    },
    /// Anything else that cannot be fitted.
    #[error("it cannot be fitted: {0}; choose other units, or check the values")]
    Fit(FitError),
}

fn column_words(column: &str) -> String {
    if column.is_empty() { String::new() } else { format!(", column {column}") }
}

fn more_words(count: usize) -> String {
    match count {
        0 => String::new(),
        1 => " (and 1 more line is at fault)".to_string(),
        _ => format!(" (and {count} more lines are at fault)"),
    }
}

fn points(count: usize) -> String {
    match count {
        0 => "a header and no points".to_string(),
        1 => "1 point".to_string(),
        _ => format!("{count} points"),
    }
}

fn curve_word(degree: usize) -> &'static str {
    if degree == 1 { "a straight line" } else { "a quadratic" }
}

fn or_a_line(degree: usize, line_possible: bool) -> &'static str {
    if degree > 1 && line_possible { ", or fit a straight line with --degree 1" } else { "" }
}

fn loads_found(loads: &[f64]) -> String {
    let shown: Vec<String> = loads.iter().map(|load| shown_load(*load)).collect();
    match shown.as_slice() {
        [load] => format!("all its loads are equal ({load})"),
        loads => format!("it has only {} different loads ({})", loads.len(), loads.join(" and ")),
    }
}

fn shown_load(load: f64) -> String {
    let plain = load == 0.0 || (1e-6..1e12).contains(&load.abs());
    if plain { load.to_string() } else { format!("{load:e}") }
}

/// Reads a table from a file's bytes.
///
/// # Errors
/// When the file is no such table, or any row of it is at fault.
///
/// ```
/// let table = pinhold::calibration::load_table::parse(b"load,reading\n0,0.1\n5,10.2\n").unwrap();
/// assert_eq!((table.loads, table.readings), (vec![0.0, 5.0], vec![0.1, 10.2]));
/// ```
pub fn parse(bytes: &[u8]) -> Result<LoadTable, LoadTableError> {
    let text = match decode(bytes) {
        Err(ImportError::Empty) => return Err(LoadTableError::Empty),
        other => other?,
    };
    let separator = separator_of(&text);
    let lines = split_lines(&text, separator, LOAD_ROW_COUNT_MAX);
    let Some((header, rows)) = lines.split_first() else {
        return Err(LoadTableError::Empty);
    };
    let load_column = load_column_of(header)?;
    if rows.len() > LOAD_ROW_COUNT_MAX {
        return Err(LoadTableError::TooManyRows);
    }
    let mut table = LoadTable::default();
    let mut fault: Option<Fault> = None;
    let mut more_count = 0;
    for row in rows {
        match read_row(row, load_column, separator != b',') {
            Ok([load, reading]) => {
                table.loads.push(load);
                table.readings.push(reading);
                table.lines.push(row.number);
            }
            Err(_) if fault.is_some() => more_count += 1,
            Err(found) => fault = Some(found),
        }
    }
    match fault {
        Some(Fault { line, column, reason }) => {
            Err(LoadTableError::Row { line, column, reason, more_count })
        }
        None => Ok(table),
    }
}

/// Which of the two columns, 0 or 1, holds the loads.
fn load_column_of(header: &Line) -> Result<usize, LoadTableError> {
    let names: Vec<String> =
        header.cells.iter().take(header.filled_count).map(|cell| cell.to_lowercase()).collect();
    match names.iter().map(String::as_str).collect::<Vec<&str>>().as_slice() {
        ["load", "reading"] => Ok(0),
        ["reading", "load"] => Ok(1),
        _ => {
            let found =
                quoted(&header.cells[..header.filled_count.min(header.cells.len())].join(","));
            Err(LoadTableError::Header { line: header.number, found })
        }
    }
}

struct Fault {
    line: u32,
    column: &'static str,
    reason: String,
}

fn quoted(cell: &str) -> String {
    format!("'{}'", printable_short(cell, CELL_LENGTH_SHOWN))
}

/// Load and reading of a row.
fn read_row(row: &Line, load_column: usize, decimal_comma: bool) -> Result<[f64; 2], Fault> {
    let fault = |column, reason| Fault { line: row.number, column, reason };
    if row.filled_count > 2 {
        let hint =
            if decimal_comma { "remove the extra ones" } else { "write 9.5 rather than 9,5" };
        let reason = format!("{} cells where the header has 2; {hint}", row.filled_count);
        return Err(fault("", reason));
    }
    let number = |column: &'static str, index: usize| {
        let cell = row.cells.get(index).map_or("", String::as_str);
        if cell.is_empty() {
            let reason = "nothing is given; fill it in, or remove the line".to_string();
            return Err(fault(column, reason));
        }
        // U+2212 is the minus sign that word processors put in the hyphen's place.
        let mut text = cell.replace('\u{2212}', "-");
        if decimal_comma && !text.contains('.') {
            text = text.replacen(',', ".", 1);
        }
        parse_decimal(&text).ok_or_else(|| {
            let reason = format!("{} is not a number; write digits alone, as in 9.5", quoted(cell));
            fault(column, reason)
        })
    };
    Ok([number("load", load_column)?, number("reading", 1 - load_column)?])
}

/// Reading regressed on load, straight line (degree 1) or quadratic (degree 2).
///
/// # Errors
/// When there are too few rows or different loads, or the values are beyond reckoning.
pub fn fit(table: &LoadTable, degree: usize) -> Result<PolynomialFit, LoadTableError> {
    let observations = Observations::equal(&table.readings);
    fit_polynomial(&table.loads, observations, Powers::UpTo(degree)).map_err(|error| match error {
        FitError::TooFew { count, needed } => LoadTableError::TooFew { count, needed, degree },
        FitError::FewDistinct { distinct, needed } => {
            let mut loads = table.loads.clone();
            loads.sort_by(f64::total_cmp);
            loads.dedup_by(|one, other| one == other);
            LoadTableError::FewLoads { distinct, loads, needed, degree }
        }
        other => LoadTableError::Fit(other),
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]

        /// Whatever the bytes, the answer is a whole table or a printable sentence.
        #[test]
        fn any_bytes_are_read_or_refused(
            start in prop::sample::select(vec!["load,reading\n", "Reading;Load\r", "", "load\t"]),
            body in prop::collection::vec(
                prop_oneof![
                    "[0-9]{1,3}([.,][0-9]{1,2})?[,;\t][-+]?[0-9]{1,3}\n"
                        .prop_map(String::into_bytes),
                    prop::collection::vec(any::<u8>(), 0..12),
                ],
                0..12,
            ),
        ) {
            let bytes = [start.as_bytes(), &body.concat()].concat();
            match parse(&bytes) {
                Ok(table) => {
                    prop_assert_eq!(table.loads.len(), table.readings.len());
                    prop_assert_eq!(table.loads.len(), table.lines.len());
                    prop_assert!(table.lines.is_sorted_by(|one, next| one < next));
                    let numbers = table.loads.iter().chain(&table.readings);
                    prop_assert!(numbers.into_iter().all(|number| number.is_finite()));
                    if let Ok(curve) = fit(&table, 2) {
                        prop_assert!(curve.fit.coefficients.iter().all(|b| b.is_finite()));
                    }
                }
                Err(error) => {
                    prop_assert!(!error.to_string().chars().any(char::is_control));
                }
            }
        }

        /// A table written is the table read, to the last bit.
        #[test]
        fn a_table_comes_back(
            points in prop::collection::vec((-1e300..1e300_f64, -1.0..1.0_f64), 0..20),
        ) {
            let rows = points.iter().map(|(load, reading)| format!("{reading:e} , {load:e}\n"));
            let text = format!(" Reading,LOAD \n\n{}", rows.collect::<String>());
            let table = parse(text.as_bytes()).unwrap();
            let back: Vec<(f64, f64)> =
                table.loads.into_iter().zip(table.readings).collect();
            prop_assert_eq!(back, points);
        }
    }
}
