//! Readings taken by hand with any torque wrench, from a CSV file.
//!
//! `file` reads with a limit, `decode` makes text of bytes, `columns` understands the header,
//! `rows` the readings, `field` fits them to an instrument. Only `file` touches the disk.
//! Deliberately not here: storing (the store) and judging (the analysis).
//!
//! Invariants: every length is bounded before it is used; a file is taken whole or refused whole,
//! with every fault named by line and column; nothing is guessed from a bad row.

pub mod climate;
mod columns;
mod decode;
mod error;
pub mod field;
mod file;
pub mod hand;
pub mod places;
mod rows;
pub mod strings;

use crate::units::TorqueUnit;

pub(crate) use columns::{Line, separator_of, split_lines};
pub(crate) use decode::decode;
pub use error::{FAULT_COUNT_SHOWN, ImportError, RowFault};
pub use file::{FILE_BYTES_MAX, read_file};
pub use rows::{HandRow, Place, REMARK_LENGTH_MAX, ROW_COUNT_MAX};

/// Reads all rows of a file's bytes.
///
/// # Errors
/// When the file is no table of readings, or any row is refused: all faults are named.
///
/// ```
/// let rows = pinhold::import::parse(b"note,string,sharp_nm,flat_nm\nA4,L,9.3,4.1\n").unwrap();
/// assert_eq!(rows.len(), 1);
/// assert_eq!(rows[0].reading.pin.note, 49);
/// ```
pub fn parse(bytes: &[u8]) -> Result<Vec<HandRow>, ImportError> {
    parse_shown_in(bytes, TorqueUnit::NewtonMetre)
}

/// The same, faults telling torques in the user's unit. What a number means never depends on it.
///
/// # Errors
/// As [`parse`].
pub fn parse_shown_in(bytes: &[u8], unit: TorqueUnit) -> Result<Vec<HandRow>, ImportError> {
    let text = decode::decode(bytes)?;
    let table = columns::Table::split(&text)?;
    rows::read(&table, unit)
}
