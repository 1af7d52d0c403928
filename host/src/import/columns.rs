//! The table's shape: separator, header, cells with their line numbers.

use super::error::ImportError;
use super::rows::ROW_COUNT_MAX;
use crate::exchange::csv::unguarded;
use crate::text::nearest;
use crate::units::TorqueUnit;

/// Most columns a header may have; every name at most once.
pub(super) const COLUMN_COUNT_MAX: usize = 32;

/// Which torque a column gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Torque {
    Sharp,
    Flat,
    Friction,
    /// As a wrench reads, which way nobody wrote down.
    EitherWay,
}

/// What a column gives.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Column {
    Note,
    String,
    Torque(Torque, TorqueUnit),
    /// A torque whose every cell carries its unit.
    TorqueWithUnit(Torque),
    Kind,
    State,
    Cents,
    Uncertainty,
    /// An uncertainty whose every cell carries its unit.
    UncertaintyWithUnit,
    PinSize,
    Section,
    Row,
    X,
    Y,
    Remark,
}

/// Every column by name.
const COLUMNS: [(&str, Column); 29] = [
    ("note", Column::Note),
    ("string", Column::String),
    ("sharp_nm", Column::Torque(Torque::Sharp, TorqueUnit::NewtonMetre)),
    ("sharp_inlb", Column::Torque(Torque::Sharp, TorqueUnit::InchPoundForce)),
    ("sharp_kgfcm", Column::Torque(Torque::Sharp, TorqueUnit::KilogramForceCentimetre)),
    ("flat_nm", Column::Torque(Torque::Flat, TorqueUnit::NewtonMetre)),
    ("flat_inlb", Column::Torque(Torque::Flat, TorqueUnit::InchPoundForce)),
    ("flat_kgfcm", Column::Torque(Torque::Flat, TorqueUnit::KilogramForceCentimetre)),
    ("friction_nm", Column::Torque(Torque::Friction, TorqueUnit::NewtonMetre)),
    ("friction_inlb", Column::Torque(Torque::Friction, TorqueUnit::InchPoundForce)),
    ("friction_kgfcm", Column::Torque(Torque::Friction, TorqueUnit::KilogramForceCentimetre)),
    ("torque_nm", Column::Torque(Torque::EitherWay, TorqueUnit::NewtonMetre)),
    ("torque_inlb", Column::Torque(Torque::EitherWay, TorqueUnit::InchPoundForce)),
    ("torque_kgfcm", Column::Torque(Torque::EitherWay, TorqueUnit::KilogramForceCentimetre)),
    ("kind", Column::Kind),
    ("state", Column::State),
    ("cents", Column::Cents),
    ("u_nm", Column::Uncertainty),
    ("pin_um", Column::PinSize),
    ("section", Column::Section),
    ("row", Column::Row),
    ("x_mm", Column::X),
    ("y_mm", Column::Y),
    ("remark", Column::Remark),
    ("sharp", Column::TorqueWithUnit(Torque::Sharp)),
    ("flat", Column::TorqueWithUnit(Torque::Flat)),
    ("friction", Column::TorqueWithUnit(Torque::Friction)),
    ("torque", Column::TorqueWithUnit(Torque::EitherWay)),
    ("u", Column::UncertaintyWithUnit),
];

impl Column {
    /// The torque it gives and its unit, if the column has one.
    pub(super) const fn torque(self) -> Option<(Torque, Option<TorqueUnit>)> {
        match self {
            Column::Torque(torque, unit) => Some((torque, Some(unit))),
            Column::TorqueWithUnit(torque) => Some((torque, None)),
            _ => None,
        }
    }
}

/// One line of the table.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Line {
    /// Line of the file, from 1.
    pub(crate) number: u32,
    /// Its first cells, blanks around them removed; at most [`COLUMN_COUNT_MAX`].
    pub(crate) cells: Vec<String>,
    /// How many cells it has.
    pub(crate) cell_count: usize,
    /// Cells up to the last that is not blank.
    pub(crate) filled_count: usize,
}

/// A table split into cells, its header understood.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Table {
    /// What each column gives.
    pub(super) columns: Vec<Column>,
    /// The lines below the header that are not blank.
    pub(super) lines: Vec<Line>,
    /// Cells are separated by something other than a comma, so numbers may hold one.
    pub(super) decimal_comma: bool,
}

impl Table {
    /// Splits text into cells and understands its first line.
    pub(super) fn split(text: &str) -> Result<Table, ImportError> {
        let separator = separator_of(text);
        let mut lines = split_lines(text, separator, ROW_COUNT_MAX);
        if lines.is_empty() {
            return Err(ImportError::Empty);
        }
        let columns = columns_of(&lines.remove(0))?;
        if lines.is_empty() {
            return Err(ImportError::HeaderOnly);
        }
        if lines.len() > ROW_COUNT_MAX {
            return Err(ImportError::TooManyRows { limit: ROW_COUNT_MAX });
        }
        Ok(Table { columns, lines, decimal_comma: separator != b',' })
    }
}

/// The name of a column.
pub(super) fn name_of(column: Column) -> &'static str {
    COLUMNS.iter().find(|(_, known)| *known == column).map_or("", |(name, _)| name)
}

/// Comma, semicolon or tab: whichever the first line that is not blank has most of.
pub(crate) fn separator_of(text: &str) -> u8 {
    let header = text.lines().find(|line| !line.trim().is_empty()).unwrap_or("");
    let count = |separator: u8| header.bytes().filter(|byte| *byte == separator).count();
    let (comma, semicolon, tab) = (count(b','), count(b';'), count(b'\t'));
    if semicolon > comma && semicolon >= tab {
        b';'
    } else if tab > comma {
        b'\t'
    } else {
        b','
    }
}

/// Lines that are not blank, split into cells; of more than a header and `row_count_max` rows only
/// as many as tell that.
pub(crate) fn split_lines(text: &str, separator: u8, row_count_max: usize) -> Vec<Line> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut counter = LineCounter { text, offset: 0, line: 1 };
    // The text is UTF-8 and line lengths may differ, so no record is an error.
    let lines = reader.records().flatten().filter_map(|record| {
        let offset = record.position().map_or(0, csv::Position::byte);
        let number = counter.line_at(offset);
        let mut filled_count = 0;
        for (index, cell) in record.iter().enumerate() {
            filled_count = if cell.is_empty() { filled_count } else { index + 1 };
        }
        // What a spreadsheet would run comes with a mark before it.
        let cells =
            record.iter().take(COLUMN_COUNT_MAX).map(|cell| unguarded(cell).to_string()).collect();
        let line = Line { number, cells, cell_count: record.len(), filled_count };
        (filled_count > 0).then_some(line)
    });
    // The header and one row too many.
    lines.take(row_count_max.saturating_add(2)).collect()
}

/// Counts lines up to a byte, going forward only.
struct LineCounter<'a> {
    text: &'a str,
    offset: usize,
    line: u32,
}

impl LineCounter<'_> {
    /// Line of the first byte at or after `offset` that is no line end.
    fn line_at(&mut self, offset: u64) -> u32 {
        let bytes = self.text.as_bytes();
        let wanted = usize::try_from(offset).unwrap_or(usize::MAX);
        // A record's position may point at blank lines before it.
        while self.offset < bytes.len() && (self.offset < wanted || bytes[self.offset] == b'\n') {
            self.line += u32::from(bytes[self.offset] == b'\n');
            self.offset += 1;
        }
        self.line
    }
}

/// What each header cell names; refuses unknown, repeated and missing ones.
fn columns_of(header: &Line) -> Result<Vec<Column>, ImportError> {
    // A separator at the end of the header, as spreadsheets write, names nothing.
    let count = header.filled_count;
    if count > COLUMN_COUNT_MAX {
        return Err(ImportError::TooManyColumns { count, limit: COLUMN_COUNT_MAX });
    }
    let mut columns = Vec::with_capacity(count);
    for cell in &header.cells[..count] {
        let column = column_named(cell)?;
        refuse_repeated(&columns, column)?;
        columns.push(column);
    }
    for (required, name) in [(Column::Note, "note"), (Column::String, "string")] {
        if !columns.contains(&required) {
            return Err(ImportError::MissingColumn { name });
        }
    }
    if !columns.iter().any(|column| column.torque().is_some()) {
        return Err(ImportError::NoTorqueColumn);
    }
    Ok(columns)
}

fn column_named(cell: &str) -> Result<Column, ImportError> {
    if let Some((_, column)) = COLUMNS.iter().find(|(name, _)| name.eq_ignore_ascii_case(cell)) {
        return Ok(*column);
    }
    let names = COLUMNS.map(|(name, _)| name.to_string());
    let nearest = nearest(cell, &names, 1).pop();
    Err(ImportError::UnknownColumn { name: cell.to_string(), nearest })
}

fn refuse_repeated(columns: &[Column], column: Column) -> Result<(), ImportError> {
    for before in columns {
        if *before == column {
            return Err(ImportError::DuplicateColumn { name: name_of(column).to_string() });
        }
        let pair = (*before, column);
        let same = match (before.torque(), column.torque()) {
            (Some((one, _)), Some((other, _))) => one == other,
            _ => {
                matches!(pair, (Column::Uncertainty, Column::UncertaintyWithUnit))
                    || matches!(pair, (Column::UncertaintyWithUnit, Column::Uncertainty))
            }
        };
        if same {
            return Err(ImportError::TwoUnits {
                first: name_of(*before).to_string(),
                second: name_of(column).to_string(),
            });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn header(text: &str) -> Result<Vec<Column>, ImportError> {
        columns_of(&split_lines(text, b',', ROW_COUNT_MAX)[0])
    }

    #[test]
    fn line_numbers_survive_blank_lines_and_line_ends_in_cells() {
        let text = "\nnote,string,sharp_nm,remark\n\n\n1,C,9,\"two\nlines\"\n,,,\n2,C,9,x\n";
        let table = Table::split(text).unwrap();
        let numbers: Vec<u32> = table.lines.iter().map(|line| line.number).collect();
        assert_eq!(numbers, [5, 8]);
        assert_eq!(table.lines[0].cells[3], "two\nlines");
    }

    #[test]
    fn separators_are_told_by_the_header() {
        for (text, decimal_comma) in [
            ("note,string,sharp_nm\n1,C,9.5", false),
            ("note;string;sharp_nm\n1;C;9,5", true),
            ("note\tstring\tsharp_nm\n1\tC\t9,5", true),
        ] {
            let table = Table::split(text).unwrap();
            assert_eq!((table.decimal_comma, table.lines[0].cells.len()), (decimal_comma, 3));
        }
    }

    #[test]
    fn faulty_headers_are_refused_by_name() {
        assert!(matches!(
            header("note,string,sharp_mn"),
            Err(ImportError::UnknownColumn { nearest: Some(name), .. }) if name == "sharp_nm"
        ));
        assert!(matches!(
            header("note,string,weather"),
            Err(ImportError::UnknownColumn { nearest: None, .. })
        ));
        assert!(matches!(header("note,string,note"), Err(ImportError::DuplicateColumn { .. })));
        assert!(matches!(
            header("note,string,flat_nm,flat_inlb"),
            Err(ImportError::TwoUnits { .. })
        ));
        for twice in ["note,string,flat_nm,flat", "note,string,flat,u,u_nm"] {
            assert!(matches!(header(twice), Err(ImportError::TwoUnits { .. })), "{twice}");
        }
        assert!(matches!(
            header("note,sharp_nm"),
            Err(ImportError::MissingColumn { name: "string" })
        ));
        assert!(matches!(header("note,string,cents"), Err(ImportError::NoTorqueColumn)));
        let many = format!("note{}", ",x".repeat(40));
        assert!(matches!(header(&many), Err(ImportError::TooManyColumns { count: 41, .. })));
        assert_eq!(header("Note,STRING,sharp_nm,,").unwrap().len(), 3);
    }

    #[test]
    fn every_column_has_a_name_of_its_own() {
        for (name, column) in COLUMNS {
            assert_eq!(name_of(column), name);
        }
    }
}
