//! Rows to readings: every cell checked, every fault named.

use std::collections::HashMap;

use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_protocol::units::Torque;

use super::columns::{self, Column, Line, Table, name_of};
use super::error::{ImportError, RowFault, quoted};
use super::hand::{
    HandReading, HandTorque, LimitSide, kind_from_word, parse_decimal, state_from_word,
};
use crate::analysis::input::{StringState, TorqueKind};
use crate::instrument::note::parse_note;
use crate::instrument::pin_name;
use crate::units::TorqueUnit;

/// Most rows read; no instrument has more than 352 pins.
pub const ROW_COUNT_MAX: usize = 10_000;
/// Longest remark kept, characters.
pub const REMARK_LENGTH_MAX: usize = 500;
/// Longest cell of any other column, characters.
const CELL_LENGTH_MAX: usize = 40;
/// Largest torque believed, N·m: pins twist off at half of it (DER).
const TORQUE_NM_MAX: f64 = 60.0;
/// Largest stated uncertainty believed, N·m.
const UNCERTAINTY_NM_MAX: f64 = 20.0;
/// Farthest pitch from target believed, cents: an octave.
const CENTS_MAX: f64 = 1200.0;
/// Pin diameters believed, µm: well beyond catalogue sizes on both sides.
const PIN_UM: std::ops::RangeInclusive<u32> = 5000..=9000;
/// Sections and rows believed.
const PLACE_MAX: u8 = 15;
/// Positions believed, mm from the bass end or the flange side.
const POSITION_MM_MAX: f64 = 3000.0;
/// Two statements about one pin may differ by this and are still one, N·m or share of friction.
const AGREEMENT_NM: f64 = 0.3;
/// See [`AGREEMENT_NM`].
const AGREEMENT_RELATIVE: f64 = 0.05;

/// Where a file says a pin sits; `None` where it does not say.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Place {
    /// Section between struts, 0 in the bass.
    pub section: Option<u8>,
    /// Row, 0 nearest the plate flange.
    pub row: Option<u8>,
    /// Metres from the bass end towards the treble.
    pub x_m: Option<f64>,
    /// Metres away from the flange.
    pub y_m: Option<f64>,
}

/// One row of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct HandRow {
    /// What was read.
    pub reading: HandReading,
    /// Where the pin sits.
    pub place: Place,
}

/// Reads every row; refuses all when one is faulty.
pub(super) fn read(table: &Table) -> Result<Vec<HandRow>, ImportError> {
    let mut rows: Vec<HandRow> = Vec::with_capacity(table.lines.len());
    let mut line_of_pin: HashMap<Pin, u32> = HashMap::new();
    let mut faults = Vec::new();
    for line in &table.lines {
        let mut reader = RowReader { table, line, faults: Vec::new() };
        let row = reader.read();
        faults.append(&mut reader.faults);
        let Some(row) = row else { continue };
        let pin = row.reading.pin;
        if let Some(first) = line_of_pin.insert(pin, line.number) {
            let reason = format!("pin {} stands on line {first} already", pin_name(pin));
            faults.push(RowFault { line: line.number, column: "string".to_string(), reason });
        }
        rows.push(row);
    }
    if faults.is_empty() { Ok(rows) } else { Err(ImportError::Rows { faults }) }
}

/// Reads one row, noting faults as it goes.
struct RowReader<'a> {
    table: &'a Table,
    line: &'a Line,
    faults: Vec<RowFault>,
}

impl RowReader<'_> {
    /// The row; `None` when anything in it is at fault.
    fn read(&mut self) -> Option<HandRow> {
        self.check_shape()?;
        let note = self.note();
        let string = self.string();
        let kind = self.word(Column::Kind, "running, peak or limit", kind_from_word);
        let kind = kind.unwrap_or(TorqueKind::Running);
        let state = self.word(Column::State, "pitch, slack or unstrung", state_from_word);
        let limit_side = (kind == TorqueKind::Limit).then(|| self.limit_side());
        let [sharp, flat, friction, torque] = [
            columns::Torque::Sharp,
            columns::Torque::Flat,
            columns::Torque::Friction,
            columns::Torque::EitherWay,
        ]
        .map(|which| self.torque(which, kind));
        let reading = HandReading {
            pin: Pin { note: note.unwrap_or(1), string: string.unwrap_or(StringPosition::Centre) },
            source_line: self.line.number,
            kind,
            limit_side,
            state: state.unwrap_or(StringState::AtPitch),
            sharp,
            flat,
            friction,
            torque,
            u: self.uncertainty(),
            cents_milli: self.number(Column::Cents, -CENTS_MAX, CENTS_MAX).map(|cents| {
                // Within ±1200 cents, so the cast fits.
                (cents * 1000.0).round() as i32
            }),
            pin_um: self.whole(Column::PinSize, *PIN_UM.start(), *PIN_UM.end()),
            remark: self.cell(Column::Remark).unwrap_or_default().to_string(),
        };
        let place = Place {
            section: self.whole(Column::Section, 0, u32::from(PLACE_MAX)).map(|n| n as u8),
            row: self.whole(Column::Row, 0, u32::from(PLACE_MAX)).map(|n| n as u8),
            x_m: self.number(Column::X, -POSITION_MM_MAX, POSITION_MM_MAX).map(|mm| mm / 1000.0),
            y_m: self.number(Column::Y, -POSITION_MM_MAX, POSITION_MM_MAX).map(|mm| mm / 1000.0),
        };
        self.check_torques(&reading);
        // Where a cell was at fault, a stand-in above keeps the other checks going.
        self.faults.is_empty().then_some(HandRow { reading, place })
    }

    /// Refuses a row with more cells than the header, and cells too long to be meant.
    fn check_shape(&mut self) -> Option<()> {
        let (count, named) = (self.line.cell_count, self.table.columns.len());
        if self.line.filled_count > named {
            let hint = if self.table.decimal_comma {
                "remove the extra ones"
            } else {
                "write 9.5 rather than 9,5, and put a remark with commas in quotes"
            };
            let last = self.table.columns.last().map_or("", |column| name_of(*column));
            let reason = format!("{count} cells where the header has {named}; {hint}");
            self.fault_at(last, reason);
        }
        for (column, cell) in self.table.columns.iter().zip(&self.line.cells) {
            let is_remark = *column == Column::Remark;
            let limit = if is_remark { REMARK_LENGTH_MAX } else { CELL_LENGTH_MAX };
            let length = cell.chars().count();
            if length > limit {
                let reason = format!(
                    "{length} characters where at most {limit} are possible; a quote may be open"
                );
                self.fault_at(name_of(*column), reason);
            }
        }
        self.faults.is_empty().then_some(())
    }

    fn note(&mut self) -> Option<u8> {
        let cell = self.cell(Column::Note).unwrap_or_default().to_string();
        let note = parse_note(&cell);
        if note.is_none() {
            let reason = if cell.is_empty() {
                "no note is given".to_string()
            } else if cell.parse::<i64>().is_ok() || cell.chars().all(|c| c.is_ascii_digit()) {
                format!("{} is outside 1 (A0) to 88 (C8)", quoted(&cell))
            } else {
                format!("{} is no note: a number 1 to 88 or a name such as A4", quoted(&cell))
            };
            self.fault(Column::Note, reason);
        }
        note
    }

    fn string(&mut self) -> Option<StringPosition> {
        let cell = self.cell(Column::String).unwrap_or_default().to_string();
        let mut letters = cell.chars();
        let string = letters.next().and_then(StringPosition::from_letter);
        let string = string.filter(|_| letters.next().is_none());
        if string.is_none() {
            let meaning = "L, C or R, or D for a fourth string";
            let reason = if cell.is_empty() {
                format!("no string is given: {meaning}")
            } else {
                format!("{} is no string: {meaning}", quoted(&cell))
            };
            self.fault(Column::String, reason);
        }
        string
    }

    /// A cell of fixed words; `None` when it is empty or at fault.
    fn word<T>(&mut self, column: Column, words: &str, from: fn(&str) -> Option<T>) -> Option<T> {
        let cell = self.cell(column)?.to_ascii_lowercase();
        let meant = from(&cell);
        if meant.is_none() {
            self.fault(column, format!("{} is not one of {words}", quoted(&cell)));
        }
        meant
    }

    /// The side all marked limits of the row are on; bare numbers are torques the pin withstood.
    fn limit_side(&mut self) -> LimitSide {
        let cells: Vec<String> = self
            .torque_columns()
            .filter_map(|(_, column)| self.cell(column))
            .map(str::to_string)
            .collect();
        let upper = cells.iter().filter(|cell| cell.starts_with('<')).count();
        if upper > 0 && upper < cells.len() {
            self.fault(Column::Kind, "one row holds limits of both sides; split it".to_string());
        }
        if upper > 0 { LimitSide::Upper } else { LimitSide::Lower }
    }

    /// The row's torque of one direction, in whichever unit its column has.
    fn torque(&mut self, which: columns::Torque, kind: TorqueKind) -> Option<HandTorque> {
        let (unit, column) = self.torque_columns().find_map(|(unit, column)| match column {
            Column::Torque(found, _) if found == which => Some((unit, column)),
            _ => None,
        })?;
        let mut cell = self.cell(column)?.to_string();
        if let Some(bare) = cell.strip_prefix(['<', '>']) {
            if kind != TorqueKind::Limit {
                let reason = format!("{} is a limit; set its kind to limit", quoted(&cell));
                self.fault(column, reason);
                return None;
            }
            cell = bare.trim().to_string();
        }
        let text = self.decimal(column, &cell)?;
        let Some(torque) = HandTorque::parse(&text, unit) else {
            self.fault(column, format!("{} is not a torque", quoted(&cell)));
            return None;
        };
        let torque_nm = torque.newton_metres();
        if torque_nm.abs() > TORQUE_NM_MAX {
            let reason = format!(
                "{} is {torque_nm:.1} N·m, more than any pin takes; check the unit",
                quoted(&cell)
            );
            self.fault(column, reason);
            return None;
        }
        if torque_nm < 0.0 && which != columns::Torque::Flat {
            let reason = format!("{} is negative; only a flat torque may be", quoted(&cell));
            self.fault(column, reason);
            return None;
        }
        Some(torque)
    }

    /// Refuses a row without torque, and torques that contradict each other.
    fn check_torques(&mut self, reading: &HandReading) {
        let nm = |torque: &Option<HandTorque>| torque.as_ref().map(HandTorque::newton_metres);
        let (sharp, flat) = (nm(&reading.sharp), nm(&reading.flat));
        let friction = nm(&reading.friction);
        let torque_columns: Vec<Column> = self.torque_columns().map(|(_, column)| column).collect();
        let first = torque_columns[0];
        if torque_columns.iter().all(|column| self.cell(*column).is_none()) {
            let names: Vec<&str> = torque_columns.iter().map(|column| name_of(*column)).collect();
            let reason = format!("no torque is given; fill {}", names.join(" or "));
            self.fault(first, reason);
            return;
        }
        if reading.state == StringState::Unstrung && flat.is_some_and(|flat| flat < 0.0) {
            let reason = "flat is negative, but no string is there to drive the pin".to_string();
            self.fault(Column::State, reason);
        }
        if reading.torque.is_some() && (sharp.or(flat).or(friction)).is_some() {
            let reason = "a torque without direction stands beside one with; leave it out";
            let column = torque_columns
                .iter()
                .find(|column| matches!(column, Column::Torque(columns::Torque::EitherWay, _)));
            self.fault(*column.unwrap_or(&first), reason.to_string());
        }
        if let (Some(sharp), Some(flat)) = (sharp, flat) {
            let half_sum = (sharp + flat) / 2.0;
            if half_sum < -AGREEMENT_NM {
                let reason = format!(
                    "sharp and flat give a friction of {half_sum:.2} N·m, and none is below zero"
                );
                self.fault(first, reason);
            }
            if let Some(friction) = friction
                && (friction - half_sum).abs() > agreement_nm(friction)
            {
                let reason = format!(
                    "friction is {friction:.2} N·m, but sharp and flat give {half_sum:.2} N·m; \
                     correct one or leave friction out"
                );
                self.fault(first, reason);
            }
        } else if let Some(friction) = friction {
            // The string pulls flat: sharp takes more than friction, flat less.
            let below = sharp.is_some_and(|sharp| sharp < friction - agreement_nm(friction));
            let above = flat.is_some_and(|flat| flat > friction + agreement_nm(friction));
            if below || above {
                let which = if below { "sharp is below" } else { "flat is above" };
                let reason = format!("{which} the friction given; correct one or leave one out");
                self.fault(first, reason);
            }
        }
    }

    fn uncertainty(&mut self) -> Option<Torque> {
        let u_nm = self.number(Column::Uncertainty, 0.0, UNCERTAINTY_NM_MAX)?;
        let u = Torque::from_newton_metres(u_nm).filter(|u| *u > Torque::ZERO);
        if u.is_none() {
            let reason = "an uncertainty is above zero; leave it empty when unknown".to_string();
            self.fault(Column::Uncertainty, reason);
        }
        u
    }

    /// A number within bounds; `None` when the cell is empty or at fault.
    fn number(&mut self, column: Column, least: f64, most: f64) -> Option<f64> {
        let cell = self.cell(column)?.to_string();
        let value = parse_decimal(&self.decimal(column, &cell)?)?;
        if (least..=most).contains(&value) {
            return Some(value);
        }
        self.fault(column, format!("{} is not within {least} to {most}", quoted(&cell)));
        None
    }

    /// A whole number within bounds; `None` when the cell is empty or at fault.
    fn whole(&mut self, column: Column, least: u32, most: u32) -> Option<u32> {
        let cell = self.cell(column)?.to_string();
        let value = cell.parse().ok().filter(|value| (least..=most).contains(value));
        if value.is_none() {
            let reason = format!("{} is not a whole number {least} to {most}", quoted(&cell));
            self.fault(column, reason);
        }
        value
    }

    /// The cell as a plain decimal with a point; `None`, with a fault, when it is no number.
    fn decimal(&mut self, column: Column, cell: &str) -> Option<String> {
        // U+2212 is the minus sign that word processors put in the hyphen's place.
        let mut text = cell.replace('\u{2212}', "-");
        if self.table.decimal_comma && !text.contains('.') {
            text = text.replacen(',', ".", 1);
        }
        if parse_decimal(&text).is_some() {
            return Some(text);
        }
        let hint = if cell.contains(',') { "; write a decimal point" } else { "" };
        self.fault(column, format!("{} is not a number{hint}", quoted(cell)));
        None
    }

    /// The torque columns the file has, with their units.
    fn torque_columns(&self) -> impl Iterator<Item = (TorqueUnit, Column)> + use<'_> {
        self.table.columns.iter().filter_map(|column| match *column {
            Column::Torque(_, unit) => Some((unit, *column)),
            _ => None,
        })
    }

    /// The row's cell of a column; `None` when the column or the content is missing.
    fn cell(&self, column: Column) -> Option<&str> {
        let index = self.table.columns.iter().position(|known| *known == column)?;
        self.line.cells.get(index).map(String::as_str).filter(|cell| !cell.is_empty())
    }

    fn fault(&mut self, column: Column, reason: String) {
        self.fault_at(name_of(column), reason);
    }

    fn fault_at(&mut self, column: &str, reason: String) {
        self.faults.push(RowFault { line: self.line.number, column: column.to_string(), reason });
    }
}

/// By how much two statements about a friction may differ, N·m.
fn agreement_nm(friction_nm: f64) -> f64 {
    AGREEMENT_NM.max(AGREEMENT_RELATIVE * friction_nm)
}
