//! Rows to strings: every cell checked, every fault named.

use pinhold_protocol::record::StringPosition;

use super::super::error::{RowFault, quoted};
use super::super::hand::parse_decimal;
use super::StringsError;
use super::columns::{Quantity, Table};
use super::quantity::length_m;
use crate::import::columns::Line;
use crate::instrument::note::{note_name, parse_note};
use crate::instrument::scale::tension::implausible;
use crate::instrument::scale::{StringRow, Winding, WindingMetal};

/// Longest cell read, characters.
const CELL_LENGTH_MAX: usize = 60;
/// Longest remark passed over, characters.
const REMARK_LENGTH_MAX: usize = 500;

/// Lengths believed, m, well beyond what pianos have on both sides.
const SPEAKING_LENGTH_M: (f64, f64) = (0.02, 3.0);
const TOTAL_LENGTH_M: (f64, f64) = (0.05, 4.0);
const WIRE_M: (f64, f64) = (0.000_5, 0.002_5);
const OUTER_M: (f64, f64) = (0.000_8, 0.012);
const WRAP_M: (f64, f64) = (0.000_1, 0.004);
const PIN_M: (f64, f64) = (0.005, 0.009);
const LENGTH_U_M: (f64, f64) = (0.0, 0.05);
const WIRE_U_M: (f64, f64) = (0.0, 0.000_3);
/// Mass per length believed, g/m.
const MASS_G_PER_M: (f64, f64) = (3.0, 500.0);

/// A pin's size as a row gives it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ScaleSize {
    /// The note.
    pub note: u8,
    /// The string; `None` for all of the note.
    pub string: Option<StringPosition>,
    /// Diameter, micrometres.
    pub diameter_um: u32,
}

/// One row of a file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScaleRow {
    /// Line of the file, from 1.
    pub line: u32,
    /// The string or strings.
    pub row: StringRow,
    /// Diameter of the pins, micrometres, when given.
    pub pin_um: Option<u32>,
}

impl ScaleRow {
    /// The size it gives its pins.
    pub fn size(&self) -> Option<ScaleSize> {
        let (note, string) = (self.row.note, self.row.string);
        self.pin_um.map(|diameter_um| ScaleSize { note, string, diameter_um })
    }
}

/// Reads every row; refuses all when one is faulty.
pub(super) fn read(table: &Table, a4_hz: f64) -> Result<Vec<ScaleRow>, StringsError> {
    let mut rows: Vec<ScaleRow> = Vec::with_capacity(table.lines.len());
    let mut faults = Vec::new();
    for line in &table.lines {
        let mut reader = RowReader { table, line, faults: Vec::new() };
        let row = reader.read(a4_hz);
        faults.append(&mut reader.faults);
        let Some(row) = row else { continue };
        let same = |other: &&ScaleRow| {
            (other.row.note, other.row.string) == (row.row.note, row.row.string)
        };
        if let Some(first) = rows.iter().find(same) {
            let name = note_name(row.row.note).unwrap_or_default();
            let reason = format!("{name} stands on line {} already", first.line);
            faults.push(RowFault { line: line.number, column: "note".to_string(), reason });
        }
        rows.push(row);
    }
    if !faults.is_empty() {
        return Err(StringsError::Rows { faults });
    }
    rows.sort_by_key(|row| (row.row.note, row.row.string));
    Ok(rows)
}

/// Reads one row, noting faults as it goes.
struct RowReader<'a> {
    table: &'a Table,
    line: &'a Line,
    faults: Vec<RowFault>,
}

impl RowReader<'_> {
    /// The row; `None` when anything in it is at fault.
    fn read(&mut self, a4_hz: f64) -> Option<ScaleRow> {
        self.check_shape()?;
        let note = self.required(Quantity::Note, "a note").and_then(|cell| {
            let note = parse_note(&cell);
            self.none_is_fault(note, Quantity::Note, &cell, "is no note; use 1 to 88 or A0 to C8")
        });
        let string = self.string();
        let speaking_length = self.required_length(Quantity::SpeakingLength, SPEAKING_LENGTH_M);
        let wire = self.required_length(Quantity::Wire, WIRE_M);
        let total = self.length(Quantity::TotalLength, TOTAL_LENGTH_M);
        let pin = self.length(Quantity::Pin, PIN_M);
        let u_length = self.length(Quantity::LengthUncertainty, LENGTH_U_M);
        let u_wire = self.length(Quantity::WireUncertainty, WIRE_U_M);
        let winding = self.winding(wire.unwrap_or(WIRE_M.0));
        if !self.faults.is_empty() {
            return None;
        }
        let row = StringRow {
            note: note?,
            string,
            speaking_length_m: speaking_length?,
            u_speaking_length_m: u_length,
            wire_m: wire?,
            u_wire_m: u_wire,
            winding,
            total_length_m: total,
        };
        self.check_whole(&row, a4_hz)?;
        // Within 9 mm, so it fits.
        let pin_um = pin.map(|pin_m| (pin_m * 1e6).round() as u32);
        Some(ScaleRow { line: self.line.number, row, pin_um })
    }

    /// Refuses rows with more cells than the header, and cells of absurd length.
    fn check_shape(&mut self) -> Option<()> {
        let count = self.table.columns.len();
        if self.line.filled_count > count {
            let reason = format!(
                "there are {} cells but {count} columns{}",
                self.line.filled_count,
                if self.table.decimal_comma { "" } else { "; write a decimal point, not a comma" }
            );
            self.fault_at(&format!("{}", count + 1), reason);
            return None;
        }
        for (cell, column) in self.line.cells.iter().zip(&self.table.columns) {
            let limit = match column.quantity {
                Quantity::Remark => REMARK_LENGTH_MAX,
                _ => CELL_LENGTH_MAX,
            };
            if cell.chars().count() > limit {
                self.fault_at(&column.name.clone(), format!("longer than {limit} characters"));
                return None;
            }
        }
        Some(())
    }

    fn string(&mut self) -> Option<StringPosition> {
        let cell = self.cell(Quantity::String)?.to_string();
        let mut letters = cell.chars();
        let letter = letters.next().map(|letter| letter.to_ascii_uppercase());
        let string =
            letter.and_then(StringPosition::from_letter).filter(|_| letters.next().is_none());
        self.none_is_fault(
            string,
            Quantity::String,
            &cell,
            "is no string: L, C, R or D, or empty for all strings of the note",
        )
    }

    /// What the row says of a winding; faults where it says it twice or by halves.
    fn winding(&mut self, wire_m: f64) -> Option<Winding> {
        let mass = self.number(Quantity::WoundMass, MASS_G_PER_M, "g/m");
        let u_percent = self.number(Quantity::MassUncertainty, (0.0, 20.0), "%");
        let packing = self.number(Quantity::Packing, (0.5, 1.0), "");
        let u_packing = self.number(Quantity::PackingUncertainty, (0.0, 0.3), "");
        let outer = self.length(Quantity::Outer, OUTER_M);
        let wrap = self.length(Quantity::Wrap, WRAP_M);
        let metal = self.metal();
        let outer_m = outer.or(wrap.map(|wrap_m| whole_nm(wire_m + 2.0 * wrap_m)));
        if outer.is_some() && wrap.is_some() {
            let reason = "outer and wrap give the same winding twice; keep one";
            self.fault(Quantity::Wrap, reason.to_string());
        }
        match (mass, outer_m, metal) {
            (Some(_), Some(_), _) => {
                let reason = "the winding is given by mass and by diameter; keep one";
                self.fault(Quantity::WoundMass, reason.to_string());
                None
            }
            (Some(grams), None, _) => Some(Winding::Mass {
                mass_kg_per_m: (grams * 1e6).round() / 1e9,
                u_relative: u_percent.map(|percent| (percent * 1e4).round() / 1e6),
            }),
            (None, Some(outer_m), Some(metal)) => {
                if outer_m <= wire_m {
                    let reason = "the winding is not thicker than its core".to_string();
                    self.fault(Quantity::Outer, reason);
                }
                let millionths = |share: f64| (share * 1e6).round() / 1e6;
                let (packing, u_packing) = (packing.map(millionths), u_packing.map(millionths));
                Some(Winding::Cover { outer_m, metal, packing, u_packing })
            }
            (None, Some(_), None) => {
                self.fault(Quantity::Metal, "say copper or iron".to_string());
                None
            }
            (None, None, Some(_)) => {
                let reason = "how heavy is the winding? give wound_mass_g_per_m, outer or wrap";
                self.fault(Quantity::Metal, reason.to_string());
                None
            }
            (None, None, None) => None,
        }
    }

    fn metal(&mut self) -> Option<WindingMetal> {
        let cell = self.cell(Quantity::Metal)?.to_ascii_lowercase();
        if matches!(cell.as_str(), "none" | "plain" | "-") {
            return None;
        }
        let metal = WindingMetal::from_word(&cell);
        self.none_is_fault(metal, Quantity::Metal, &cell, "is no winding: copper, iron or none")
    }

    /// Refuses a row whose numbers do not go together.
    fn check_whole(&mut self, row: &StringRow, a4_hz: f64) -> Option<()> {
        if row.total_length_m.is_some_and(|total_m| total_m <= row.speaking_length_m) {
            let reason = "the whole wire is longer than its speaking length".to_string();
            self.fault(Quantity::TotalLength, reason);
        }
        let core = StringRow { winding: None, ..*row }.mass_kg_per_m();
        if row.winding.is_some() && row.mass_kg_per_m() <= core {
            let reason = format!("its core alone has {:.1} g/m", core * 1e3);
            self.fault(Quantity::WoundMass, reason);
        }
        if let Some(reason) = implausible(row, a4_hz) {
            self.fault(Quantity::SpeakingLength, reason);
        }
        self.faults.is_empty().then_some(())
    }

    fn required(&mut self, quantity: Quantity, what: &str) -> Option<String> {
        let cell = self.cell(quantity).map(str::to_string);
        if cell.is_none() {
            self.fault(quantity, format!("{what} is missing"));
        }
        cell
    }

    fn required_length(&mut self, quantity: Quantity, bounds: (f64, f64)) -> Option<f64> {
        self.required(quantity, "it")?;
        self.length(quantity, bounds)
    }

    /// A length within bounds, m; `None` when the cell is empty or at fault.
    fn length(&mut self, quantity: Quantity, (least, most): (f64, f64)) -> Option<f64> {
        let (_, column) = self.table.find(quantity)?;
        let cell = self.cell(quantity)?.to_string();
        match length_m(&self.with_point(&cell), column.unit) {
            Ok(length) if (least..=most).contains(&length) => Some(length),
            Ok(length) => {
                let reason = format!(
                    "{} is {} mm; {} to {} mm are possible",
                    quoted(&cell),
                    short(length * 1e3),
                    short(least * 1e3),
                    short(most * 1e3)
                );
                self.fault(quantity, reason);
                None
            }
            Err(reason) => {
                self.fault(quantity, format!("{} {reason}", quoted(&cell)));
                None
            }
        }
    }

    /// A number within bounds; its unit may stand behind it.
    fn number(&mut self, quantity: Quantity, bounds: (f64, f64), unit: &str) -> Option<f64> {
        let cell = self.cell(quantity)?.to_string();
        let text = self.with_point(&cell);
        let bare = text.strip_suffix(unit).unwrap_or(&text).trim_end();
        let value = parse_decimal(bare).filter(|value| (bounds.0..=bounds.1).contains(value));
        let reason = format!("is not a number from {} to {} {unit}", bounds.0, bounds.1);
        self.none_is_fault(value, quantity, &cell, reason.trim_end())
    }

    fn none_is_fault<T>(
        &mut self,
        value: Option<T>,
        quantity: Quantity,
        cell: &str,
        reason: &str,
    ) -> Option<T> {
        if value.is_none() {
            self.fault(quantity, format!("{} {reason}", quoted(cell)));
        }
        value
    }

    /// A decimal comma made a point where the table allows it.
    fn with_point(&self, cell: &str) -> String {
        match self.table.decimal_comma && !cell.contains('.') {
            true => cell.replacen(',', ".", 1),
            false => cell.to_string(),
        }
    }

    /// The row's cell of a quantity; `None` when column or content is missing.
    fn cell(&self, quantity: Quantity) -> Option<&str> {
        let (index, _) = self.table.find(quantity)?;
        self.line.cells.get(index).map(String::as_str).filter(|cell| !cell.is_empty())
    }

    fn fault(&mut self, quantity: Quantity, reason: String) {
        let name = self.table.find(quantity).map(|(_, column)| column.name.clone());
        self.fault_at(&name.unwrap_or_else(|| "winding".to_string()), reason);
    }

    fn fault_at(&mut self, column: &str, reason: String) {
        self.faults.push(RowFault { line: self.line.number, column: column.to_string(), reason });
    }
}

fn whole_nm(length_m: f64) -> f64 {
    (length_m * 1e9).round() / 1e9
}

/// A number with at most three digits behind the point, none of them idle.
fn short(value: f64) -> f64 {
    (value * 1e3).round() / 1e3
}
