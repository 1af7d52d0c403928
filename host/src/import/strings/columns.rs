//! The header of a string scale: what each column gives, and in which unit.

use super::super::columns::{COLUMN_COUNT_MAX, Line, separator_of, split_lines};
use super::quantity::{LengthUnit, SUFFIXES};
use super::{ROW_COUNT_MAX, StringsError};
use crate::text::nearest;

/// What a column gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantity {
    Note,
    String,
    SpeakingLength,
    Wire,
    TotalLength,
    Outer,
    Wrap,
    Metal,
    WoundMass,
    Packing,
    Pin,
    LengthUncertainty,
    WireUncertainty,
    MassUncertainty,
    PackingUncertainty,
    Remark,
}

/// A column: what, and the unit its name says, if any.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Column {
    pub(super) quantity: Quantity,
    pub(super) unit: Option<LengthUnit>,
    /// As the file writes it.
    pub(super) name: String,
}

/// Columns that hold lengths, by the name their unit is put behind.
const LENGTHS: [(&str, Quantity); 8] = [
    ("speaking_length", Quantity::SpeakingLength),
    ("wire", Quantity::Wire),
    ("total_length", Quantity::TotalLength),
    ("outer", Quantity::Outer),
    ("wrap", Quantity::Wrap),
    ("pin", Quantity::Pin),
    ("u_length", Quantity::LengthUncertainty),
    ("u_wire", Quantity::WireUncertainty),
];

/// Columns that hold something else.
const OTHERS: [(&str, Quantity); 9] = [
    ("note", Quantity::Note),
    ("string", Quantity::String),
    ("wound_mass_g_per_m", Quantity::WoundMass),
    ("wound_mass_per_length", Quantity::WoundMass),
    ("winding", Quantity::Metal),
    ("packing", Quantity::Packing),
    ("u_mass_percent", Quantity::MassUncertainty),
    ("u_packing", Quantity::PackingUncertainty),
    ("remark", Quantity::Remark),
];

/// A table split into cells, its header understood.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Table {
    pub(super) columns: Vec<Column>,
    pub(super) lines: Vec<Line>,
    /// Numbers may hold a comma.
    pub(super) decimal_comma: bool,
}

impl Table {
    /// Splits text into cells and understands its first line.
    pub(super) fn split(text: &str) -> Result<Table, StringsError> {
        let separator = separator_of(text);
        let mut lines = split_lines(text, separator);
        if lines.is_empty() {
            return Err(StringsError::Empty);
        }
        let columns = columns_of(&lines.remove(0))?;
        if lines.is_empty() {
            return Err(StringsError::HeaderOnly);
        }
        if lines.len() > ROW_COUNT_MAX {
            return Err(StringsError::TooManyRows { limit: ROW_COUNT_MAX });
        }
        Ok(Table { columns, lines, decimal_comma: separator != b',' })
    }

    /// The column of a quantity, with its place.
    pub(super) fn find(&self, quantity: Quantity) -> Option<(usize, &Column)> {
        self.columns.iter().enumerate().find(|(_, column)| column.quantity == quantity)
    }
}

/// What each header cell names; refuses unknown, repeated and missing ones.
fn columns_of(header: &Line) -> Result<Vec<Column>, StringsError> {
    let (line, count) = (header.number, header.filled_count);
    if count > COLUMN_COUNT_MAX {
        return Err(StringsError::TooManyColumns { count, limit: COLUMN_COUNT_MAX });
    }
    let mut columns: Vec<Column> = Vec::with_capacity(count);
    for cell in &header.cells[..count] {
        let column = column_named(cell, line)?;
        if let Some(before) = columns.iter().find(|before| before.quantity == column.quantity) {
            let (first, second) = (before.name.clone(), column.name);
            return Err(StringsError::Twice { line, first, second });
        }
        columns.push(column);
    }
    for (quantity, name) in [
        (Quantity::Note, "note"),
        (Quantity::SpeakingLength, "speaking_length"),
        (Quantity::Wire, "wire"),
    ] {
        if !columns.iter().any(|column| column.quantity == quantity) {
            return Err(StringsError::MissingColumn { line, name });
        }
    }
    Ok(columns)
}

fn column_named(cell: &str, line: u32) -> Result<Column, StringsError> {
    let name = cell.to_ascii_lowercase();
    let known = |quantity, unit| Column { quantity, unit, name: name.clone() };
    if let Some((_, quantity)) = OTHERS.iter().find(|(other, _)| *other == name) {
        return Ok(known(*quantity, None));
    }
    for (base, quantity) in LENGTHS {
        let Some(suffix) = name.strip_prefix(base) else { continue };
        if suffix.is_empty() {
            // A bare number under `wire` is a gauge; any other length says its unit in the cell.
            let unit = (quantity == Quantity::Wire).then_some(LengthUnit::Gauge);
            return Ok(known(quantity, unit));
        }
        let unit = SUFFIXES.iter().find(|(text, _)| *text == suffix).map(|(_, unit)| *unit);
        let fits = |unit: &LengthUnit| *unit != LengthUnit::Gauge || quantity == Quantity::Wire;
        if let Some(unit) = unit.filter(fits) {
            return Ok(known(quantity, Some(unit)));
        }
    }
    Err(StringsError::UnknownColumn {
        line,
        name: cell.to_string(),
        nearest: nearest(cell, &names(), 1).pop(),
    })
}

/// The names to offer.
fn names() -> Vec<String> {
    let lengths = LENGTHS.iter().flat_map(|(base, _)| [format!("{base}_mm"), format!("{base}_in")]);
    let others = OTHERS.iter().map(|(name, _)| (*name).to_string());
    lengths.chain(["wire_gauge".to_string()]).chain(others).collect()
}
