//! Measured positions of pins from a CSV file, for all of them or a few.
//!
//! Deliberately not here: what a correction of one pin does ([`crate::instrument::places`]).
//!
//! Invariants: a file is taken whole or refused whole, with every fault named by line and column;
//! a pin the file does not name stays where it is.

mod error;

use pinhold_protocol::record::{Pin, StringPosition};

use super::columns::{COLUMN_COUNT_MAX, Line, separator_of, split_lines};
use super::decode::{decode, without_comments};
use super::error::{RowFault, quoted};
use super::hand::parse_decimal;
use crate::instrument::note::parse_note;
use crate::instrument::places::{self, Correction, DIAMETER_UM, PlaceError};
use crate::instrument::{FieldPin, Instrument, pin_name};
use crate::text::nearest;

pub use error::PlacesError;

/// Most rows read: four strings of each of 88 notes.
pub const ROW_COUNT_MAX: usize = 352;
/// Longest cell read, characters.
const CELL_LENGTH_MAX: usize = 40;

/// The columns, in the order they are written.
const COLUMNS: [&str; 9] =
    ["note", "string", "section", "row", "x_mm", "y_mm", "flange_mm", "pin_um", "pin_mm"];
/// Columns of which at least one says something.
const SAYING: &[&str] = &["section", "row", "x_mm", "y_mm", "flange_mm", "pin_um", "pin_mm"];

/// One row of a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlaceRow {
    /// Line of the file, from 1.
    pub line: u32,
    /// The pin.
    pub pin: Pin,
    /// What the row says of it; empty cells leave things as they are.
    pub correction: Correction,
}

/// What a file did to an instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The instrument, the pins named corrected.
    pub instrument: Instrument,
    /// Pins that were not there before.
    pub added: Vec<Pin>,
    /// Pins that are not as they were.
    pub changed: Vec<Pin>,
    /// Pins given another row of their unison because of where they stand.
    pub rows_changed: Vec<Pin>,
}

/// Reads all rows of a file's bytes.
///
/// # Errors
/// When the file is no table of positions, or any row is refused: all faults are named.
///
/// ```
/// let rows = pinhold::import::places::parse(b"note,string,x_mm,y_mm\nA4,L,612.5,21\n").unwrap();
/// assert_eq!((rows[0].pin.note, rows[0].correction.x_m), (49, Some(0.6125)));
/// ```
pub fn parse(bytes: &[u8]) -> Result<Vec<PlaceRow>, PlacesError> {
    let text = without_comments(&decode(bytes)?);
    let separator = separator_of(&text);
    let mut lines = split_lines(&text, separator, ROW_COUNT_MAX);
    if lines.is_empty() {
        return Err(PlacesError::Empty);
    }
    let columns = columns_of(&lines.remove(0))?;
    if lines.is_empty() {
        return Err(PlacesError::HeaderOnly);
    }
    if lines.len() > ROW_COUNT_MAX {
        return Err(PlacesError::TooManyRows { limit: ROW_COUNT_MAX });
    }
    let (mut rows, mut faults): (Vec<PlaceRow>, Vec<RowFault>) = (Vec::new(), Vec::new());
    for line in &lines {
        let decimal_comma = separator != b',';
        let mut reader = RowReader { columns: &columns, line, decimal_comma, faults: Vec::new() };
        let row = reader.read();
        faults.append(&mut reader.faults);
        let Some(row) = row else { continue };
        if let Some(first) = rows.iter().find(|other| other.pin == row.pin) {
            let reason = format!("pin {} stands on line {} already", pin_name(row.pin), first.line);
            faults.push(RowFault { line: row.line, column: "string".to_owned(), reason });
        }
        rows.push(row);
    }
    if faults.is_empty() { Ok(rows) } else { Err(PlacesError::Rows { faults }) }
}

/// The instrument with the rows' pins corrected, and pins it does not have added where `add` says
/// so; every place named is checked against every other.
///
/// # Errors
/// With every fault by its line: a pin the instrument does not have, two pins that would overlap,
/// a pin far from all others, a distance from a flange that is not there.
pub fn apply(instrument: &Instrument, rows: &[PlaceRow], add: bool) -> Result<Placed, PlacesError> {
    let mut made = instrument.clone();
    let (mut added, mut faults) = (Vec::new(), Vec::new());
    let mut fault = |line: u32, column: &str, error: &PlaceError, hint: &str| {
        let reason = format!("{error}{hint}");
        faults.push(RowFault { line, column: column.to_owned(), reason });
    };
    for row in rows {
        let there = instrument.find_pin(row.pin).is_some();
        let outcome = if there || !add {
            places::correct(&mut made, row.pin, &row.correction)
        } else {
            added.push(row.pin);
            places::add(&mut made, row.pin, &row.correction)
        };
        if let Err(error) = outcome {
            let (column, hint) = match error {
                PlaceError::Absent { .. } => ("string", "; --add adds pins it does not have"),
                PlaceError::NoFlange { .. } => ("flange_mm", ""),
                PlaceError::NoPlace { .. } => ("x_mm", ""),
                _ => ("note", ""),
            };
            fault(row.line, column, &error, hint);
        }
    }
    let moved = rows.iter().filter(|row| row.correction.moves());
    let placed: Vec<Pin> = moved.map(|row| row.pin).collect();
    let line_of = |pin: &Pin| rows.iter().find(|row| row.pin == *pin).map_or(0, |row| row.line);
    for error in places::faults(&made, &placed, None) {
        if let PlaceError::Near { pin, .. } | PlaceError::Alone { pin, .. } = &error {
            fault(line_of(pin), "x_mm", &error, "");
        }
    }
    faults.sort_by_key(|fault| fault.line);
    if !faults.is_empty() {
        return Err(PlacesError::Rows { faults });
    }
    let with_y = rows.iter().filter(|row| row.correction.y_m.is_some()).map(|row| row.pin);
    let row_given: Vec<Pin> =
        rows.iter().filter(|row| row.correction.row.is_some()).map(|row| row.pin).collect();
    let rows_changed = places::rows_by_position(&mut made, &with_y.collect::<Vec<_>>(), &row_given);
    let differs = |field: &&FieldPin| instrument.find_pin(field.pin) != Some(*field);
    let changed = made.pins.iter().filter(differs).map(|field| field.pin).collect();
    Ok(Placed { instrument: made, added, changed, rows_changed })
}

/// Places of pins as a file that [`parse`] reads.
pub fn table(pins: &[FieldPin]) -> String {
    let mut text = COLUMNS[..8].join(",");
    text.push('\n');
    let mm = |metres: f64| (metres * 1e6).round() / 1e3;
    for field in pins {
        let flange = field.flange_distance_m.map(|metres| mm(metres).to_string());
        let size = field.diameter_um.map(|um| um.to_string());
        text.push_str(&format!(
            "{},{},{},{},{},{},{},{}\n",
            field.pin.note,
            field.pin.string.letter(),
            field.section,
            field.row,
            mm(field.x_m),
            mm(field.y_m),
            flange.unwrap_or_default(),
            size.unwrap_or_default(),
        ));
    }
    text
}

/// What each header cell names; refuses unknown, repeated and missing ones.
fn columns_of(header: &Line) -> Result<Vec<&'static str>, PlacesError> {
    let refused = |reason: String| PlacesError::Header { line: header.number, reason };
    let count = header.filled_count;
    if count > COLUMN_COUNT_MAX {
        return Err(refused(format!("{count} columns where at most {} are", COLUMNS.len())));
    }
    let mut columns: Vec<&'static str> = Vec::new();
    for cell in &header.cells[..count] {
        let found = COLUMNS.iter().find(|name| name.eq_ignore_ascii_case(cell));
        let Some(name) = found else {
            let names = COLUMNS.map(str::to_owned);
            let offer = match nearest(cell, &names, 1).pop() {
                Some(name) => format!("did you mean {name}?"),
                None => format!("the columns are {}", COLUMNS.join(", ")),
            };
            return Err(refused(format!("unknown column {}; {offer}", quoted(cell))));
        };
        if columns.contains(name) {
            return Err(refused(format!("column {name} stands there twice; remove one")));
        }
        columns.push(name);
    }
    if columns.contains(&"pin_um") && columns.contains(&"pin_mm") {
        return Err(refused("pin_um and pin_mm give the same size twice; keep one".to_owned()));
    }
    for required in ["note", "string"] {
        if !columns.contains(&required) {
            let reason =
                format!("there is no column {required}; columns note and string are required");
            return Err(refused(reason));
        }
    }
    if !SAYING.iter().any(|name| columns.contains(name)) {
        return Err(refused(format!("no column says anything; add {}", SAYING.join(" or "))));
    }
    Ok(columns)
}

/// Reads one row, noting faults as it goes.
struct RowReader<'a> {
    columns: &'a [&'static str],
    line: &'a Line,
    decimal_comma: bool,
    faults: Vec<RowFault>,
}

impl RowReader<'_> {
    /// The row; `None` when anything in it is at fault.
    fn read(&mut self) -> Option<PlaceRow> {
        if self.line.filled_count > self.columns.len() {
            let reason = format!(
                "{} cells where the header has {}; write 9.5 rather than 9,5",
                self.line.cell_count,
                self.columns.len()
            );
            self.fault(self.columns.last().unwrap_or(&"note"), reason);
            return None;
        }
        let long = |cell: &&String| cell.chars().count() > CELL_LENGTH_MAX;
        if let Some(cell) = self.line.cells.iter().find(long) {
            self.fault("note", format!("{} is too long; a quote may be open", quoted(cell)));
            return None;
        }
        let pin = self.pin();
        let most_mm = places::POSITION_M_MAX * 1e3;
        let number_max = f64::from(places::PLACE_NUMBER_MAX);
        let um = self.number("pin_um", 0.0, 1e6);
        let um = um.or(self.number("pin_mm", 0.0, 1e3).map(|mm| mm * 1e3));
        let correction = Correction {
            x_m: self.metres("x_mm", -most_mm, most_mm),
            y_m: self.metres("y_mm", -most_mm, most_mm),
            row: self.whole("row", number_max),
            section: self.whole("section", number_max),
            flange_distance_m: self.metres("flange_mm", 0.0, places::FLANGE_M_MAX * 1e3),
            diameter_um: um.and_then(|um| self.diameter(um)),
        };
        if self.faults.is_empty() && correction.is_empty() {
            self.fault("note", "the row says nothing of its pin; fill it or remove it".to_owned());
        }
        let pin = pin.filter(|_| self.faults.is_empty())?;
        Some(PlaceRow { line: self.line.number, pin, correction })
    }

    fn pin(&mut self) -> Option<Pin> {
        let note_cell = self.cell("note").unwrap_or_default().to_owned();
        let note = parse_note(&note_cell);
        if note.is_none() {
            let reason =
                format!("{} is no note: a number 1 to 88 or a name such as A4", quoted(&note_cell));
            self.fault("note", reason);
        }
        let cell = self.cell("string").unwrap_or_default().to_owned();
        let mut letters = cell.chars();
        let string = letters.next().and_then(StringPosition::from_letter);
        let string = string.filter(|_| letters.next().is_none());
        if string.is_none() {
            let reason =
                format!("{} is no string: L, C or R, or D for a fourth string", quoted(&cell));
            self.fault("string", reason);
        }
        Some(Pin { note: note?, string: string? })
    }

    fn metres(&mut self, column: &'static str, least_mm: f64, most_mm: f64) -> Option<f64> {
        self.number(column, least_mm, most_mm).map(|mm| (mm * 1e3).round() / 1e6)
    }

    fn whole(&mut self, column: &'static str, most: f64) -> Option<u8> {
        let number = self.number(column, 0.0, most)?;
        if number.fract() == 0.0 {
            // Within bounds, so the cast fits.
            return Some(number as u8);
        }
        self.fault(column, format!("{number} is not a whole number"));
        None
    }

    fn diameter(&mut self, um: f64) -> Option<u32> {
        // Within a million, so the cast fits.
        let whole = um.round() as u32;
        if DIAMETER_UM.contains(&whole) {
            return Some(whole);
        }
        let column = if self.columns.contains(&"pin_mm") { "pin_mm" } else { "pin_um" };
        self.fault(column, "a pin has 5 to 9 mm (5000 to 9000 µm)".to_owned());
        None
    }

    /// A number within bounds; `None` when the cell is empty or at fault.
    fn number(&mut self, column: &'static str, least: f64, most: f64) -> Option<f64> {
        let cell = self.cell(column)?.to_owned();
        // U+2212 is the minus sign that word processors put in the hyphen's place.
        let mut plain = cell.replace('\u{2212}', "-");
        if self.decimal_comma && !plain.contains('.') {
            plain = plain.replacen(',', ".", 1);
        }
        let reason = match parse_decimal(&plain) {
            Some(number) if (least..=most).contains(&number) => return Some(number),
            Some(_) => format!("{} is not within {least} to {most}", quoted(&cell)),
            None => format!("{} is not a number", quoted(&cell)),
        };
        self.fault(column, reason);
        None
    }

    /// The row's cell of a column; `None` when the column or the content is missing.
    fn cell(&self, column: &str) -> Option<&str> {
        let index = self.columns.iter().position(|known| *known == column)?;
        self.line.cells.get(index).map(String::as_str).filter(|cell| !cell.is_empty())
    }

    fn fault(&mut self, column: &str, reason: String) {
        self.faults.push(RowFault { line: self.line.number, column: column.to_owned(), reason });
    }
}

#[cfg(test)]
mod tests;
