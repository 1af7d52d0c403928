//! Readings as a table for spreadsheets, in the columns that `pinhold import` reads back.
//!
//! A cell that a spreadsheet would run as a formula gets an apostrophe before it; the import takes
//! it off again. Numbers are never touched. Deliberately not here: reading the table
//! ([`crate::import`]); what a table cannot hold goes into a bundle.
//!
//! Invariant: a table imported and written again is the same bytes.

use std::collections::BTreeMap;
use std::io::Write;

use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Torque;

use super::ExchangeError;
use crate::import::hand::{
    HandReading, HandTorque, LimitSide, kind_word, parse_decimal, state_word, unit_word,
};
use crate::store::{LeverReading, SurveyReadings};

/// The columns, in order.
pub const COLUMNS: [&str; 12] = [
    "note", "string", "sharp", "flat", "friction", "torque", "u_nm", "kind", "state", "cents",
    "pin_um", "remark",
];

/// First characters that make a spreadsheet run a cell, and the mark itself.
const DANGEROUS: [char; 7] = ['=', '+', '-', '@', '\t', '\r', '\''];

/// A cell made harmless; [`unguarded`] takes it back.
pub fn guarded(cell: &str) -> String {
    let runs = cell.starts_with(DANGEROUS) && parse_decimal(cell).is_none();
    if runs { format!("'{cell}") } else { cell.to_owned() }
}

/// A cell as it was before [`guarded`].
pub fn unguarded(cell: &str) -> &str {
    match cell.strip_prefix('\'') {
        Some(rest) if rest.starts_with(DANGEROUS) => rest,
        _ => cell,
    }
}

/// How much of a survey went into a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Written {
    /// Rows: pins.
    pub row_count: usize,
    /// Readings left out: without a torque, without a pin, or read again later.
    pub left_out_count: usize,
}

/// Writes a survey's readings: those by hand as they were typed, those of a lever in N·m, of each
/// pin the one taken last.
///
/// # Errors
/// When the file cannot be written.
pub fn write(readings: &SurveyReadings, to: &mut dyn Write) -> Result<Written, ExchangeError> {
    let mut table = ::csv::Writer::from_writer(to);
    let failed = |error: ::csv::Error| ExchangeError::File(std::io::Error::other(error));
    table.write_record(COLUMNS).map_err(failed)?;
    let mut row_count = 0;
    for reading in &readings.hand {
        table.write_record(hand_row(reading).map(|cell| guarded(&cell))).map_err(failed)?;
        row_count += 1;
    }
    let by_hand = |pin: Pin| readings.hand.iter().any(|reading| reading.pin == pin);
    let mut last: BTreeMap<Pin, &LeverReading> = BTreeMap::new();
    for reading in &readings.lever {
        let said = reading.reading.sharp.is_some() || reading.reading.flat.is_some();
        if let (Some(pin), true) = (reading.pin, said) {
            last.insert(pin, reading);
        }
    }
    last.retain(|pin, _| !by_hand(*pin));
    let mut lever_count = 0;
    for (pin, reading) in &last {
        let row = lever_row(*pin, reading).map(|cell| guarded(&cell));
        // What no hand could have read, such as a sharp torque below zero, is no row of a table.
        if crate::import::parse(format!("{}\n{}\n", COLUMNS.join(","), quoted(&row)).as_bytes())
            .is_ok()
        {
            table.write_record(&row).map_err(failed)?;
            lever_count += 1;
        }
    }
    row_count += lever_count;
    table.flush()?;
    Ok(Written { row_count, left_out_count: readings.lever.len() - lever_count })
}

/// A row as one line, every cell in quotes.
fn quoted(row: &[String]) -> String {
    let cells: Vec<String> =
        row.iter().map(|cell| format!("\"{}\"", cell.replace('"', "\"\""))).collect();
    cells.join(",")
}

fn hand_row(reading: &HandReading) -> [String; 12] {
    let side = match reading.limit_side {
        Some(LimitSide::Lower) => ">",
        Some(LimitSide::Upper) => "<",
        None => "",
    };
    let torque = |torque: &Option<HandTorque>| {
        let typed = torque.as_ref();
        typed.map(|typed| format!("{side}{} {}", typed.text, unit_word(typed.unit)))
    };
    [
        reading.pin.note.to_string(),
        reading.pin.string.letter().to_string(),
        torque(&reading.sharp).unwrap_or_default(),
        torque(&reading.flat).unwrap_or_default(),
        torque(&reading.friction).unwrap_or_default(),
        torque(&reading.torque).unwrap_or_default(),
        reading.u.map(newton_metres).unwrap_or_default(),
        kind_word(reading.kind).to_owned(),
        state_word(reading.state).to_owned(),
        reading.cents_milli.map(|milli| decimal(milli.into(), 3)).unwrap_or_default(),
        reading.pin_um.map(|um| um.to_string()).unwrap_or_default(),
        reading.remark.clone(),
    ]
}

fn lever_row(pin: Pin, reading: &LeverReading) -> [String; 12] {
    let torque = |torque: Option<Torque>| torque.map(|torque| newton_metres(torque) + " nm");
    let mut row = [const { String::new() }; 12];
    row[0] = pin.note.to_string();
    row[1] = pin.string.letter().to_string();
    row[2] = torque(reading.reading.sharp).unwrap_or_default();
    row[3] = torque(reading.reading.flat).unwrap_or_default();
    row[7] = "running".to_owned();
    row[8] = "pitch".to_owned();
    row[11] = format!(
        "lever {:016x}, epoch {}, record {}",
        reading.device, reading.epoch, reading.number
    );
    row
}

fn newton_metres(torque: Torque) -> String {
    decimal(torque.micronewton_metres().into(), 6)
}

/// A whole number of `places` decimals as a decimal, no zeros at its end.
fn decimal(value: i64, places: usize) -> String {
    let digits = format!("{:0width$}", value.unsigned_abs(), width = places + 1);
    let (whole, rest) = digits.split_at(digits.len() - places);
    let sign = if value < 0 { "-" } else { "" };
    match rest.trim_end_matches('0') {
        "" => format!("{sign}{whole}"),
        rest => format!("{sign}{whole}.{rest}"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_run_is_guarded_and_comes_back() {
        for cell in ["=1+1", "+cmd", "-x", "@sum", "\tx", "'=1", "''", "'", "-3.5 nm", "+A1"] {
            let safe = guarded(cell);
            assert!(safe.starts_with('\''), "{cell}");
            assert_eq!(unguarded(&safe), cell);
        }
        for cell in ["", "oily", "-3.5", "+2e1", "82 inlb", ">9 nm", "näh", "it's"] {
            assert_eq!((guarded(cell).as_str(), unguarded(cell)), (cell, cell));
        }
    }

    #[test]
    fn decimals_are_exact_and_short() {
        for (value, text) in [(0, "0"), (-3500, "-3.5"), (7, "0.007"), (12_000, "12")] {
            assert_eq!(decimal(value, 3), text);
        }
        assert_eq!(decimal(i64::from(i32::MIN), 6), "-2147.483648");
    }
}
