//! A string scale from a CSV file: one row for a note, or for one of its strings.
//!
//! `columns` understands the header, `quantity` numbers with units, `rows` the strings. Lines that
//! begin with `#` are comments. Deliberately not here: what follows for tension and moment
//! ([`crate::instrument::scale`]).
//!
//! Invariants: a file is taken whole or refused whole, with every fault named by line and column;
//! what is taken is a piano string by its tension.

mod columns;
mod error;
mod quantity;
mod rows;
#[cfg(test)]
mod tests;

use super::decode::{decode, without_comments};
use super::error::RowFault;
use crate::instrument::note::note_name;
use crate::instrument::{Instrument, pin_name};
use pinhold_protocol::record::Pin;

pub use error::StringsError;
pub use rows::{ScaleRow, ScaleSize};

/// Most rows read: four strings and the whole unison, of each of 88 notes.
pub const ROW_COUNT_MAX: usize = 440;

/// Reads all rows of a file's bytes, in order of note, then string; `a4_hz` is the pitch the
/// tensions are checked at.
///
/// # Errors
/// When the file is no table of strings, or any row is refused: all faults are named.
///
/// ```
/// let file = b"note,speaking_length_mm,wire_gauge\nA4,398,16\n";
/// let rows = pinhold::import::strings::parse(file, 440.0).unwrap();
/// assert_eq!(rows[0].row.wire_m, 0.000_939_8);
/// ```
pub fn parse(bytes: &[u8], a4_hz: f64) -> Result<Vec<ScaleRow>, StringsError> {
    let text = without_comments(&decode(bytes)?);
    let table = columns::Table::split(&text)?;
    rows::read(&table, a4_hz)
}

/// Rows whose note or string the instrument does not have.
pub fn foreign_rows(instrument: &Instrument, rows: &[ScaleRow]) -> Vec<RowFault> {
    let name = |note: u8| note_name(note).unwrap_or_default();
    let fault = |row: &ScaleRow| {
        let (note, string) = (row.row.note, row.row.string);
        let (column, reason) = if instrument.string_count(note) == 0 {
            let (first, last) = (instrument.first_note, instrument.last_note);
            let reason = format!(
                "the instrument has no note {}; it goes from {} to {}",
                name(note),
                name(first),
                name(last)
            );
            ("note", reason)
        } else {
            let pin = Pin { note, string: string? };
            if instrument.find_pin(pin).is_some() {
                return None;
            }
            ("string", format!("the instrument has no pin {}", pin_name(pin)))
        };
        Some(RowFault { line: row.line, column: column.to_string(), reason })
    };
    rows.iter().filter_map(fault).collect()
}
