//! One cell of a row: as text, as a number within bounds, as a torque with its unit.

use super::RowReader;
use crate::import::columns::{Column, name_of};
use crate::import::error::{RowFault, quoted};
use crate::import::hand::parse_decimal;
use crate::units::{QuantityError, TorqueUnit, Typed, parse_typed};

impl RowReader<'_> {
    /// A torque's number, a plain decimal with a point, and its unit: the column's or the cell's.
    pub(super) fn with_unit(
        &mut self,
        column: Column,
        column_unit: Option<TorqueUnit>,
        cell: &str,
    ) -> Option<(String, TorqueUnit)> {
        let plain = self.pointed(cell);
        let typed = if parse_decimal(&plain).is_some() {
            // Also numbers with an exponent, as spreadsheets write.
            Typed { number: 0.0, number_text: plain, unit: None }
        } else {
            match parse_typed::<TorqueUnit>(&plain) {
                Ok(typed) => typed,
                Err(error @ QuantityError::UnknownUnit { .. }) => {
                    self.fault(column, error.to_string());
                    return None;
                }
                Err(_) => {
                    self.not_a_number(column, cell);
                    return None;
                }
            }
        };
        let name = name_of(column);
        match (column_unit, typed.unit) {
            (Some(unit), None) | (None, Some(unit)) => Some((typed.number_text, unit)),
            (Some(unit), Some(cells)) if unit == cells => Some((typed.number_text, unit)),
            (Some(unit), Some(_)) => {
                let bare = name.split('_').next().unwrap_or(name);
                let reason = format!(
                    "{} is not in {unit}, as the column's name says; name it {bare} and write the \
                     unit in every cell",
                    quoted(cell)
                );
                self.fault(column, reason);
                None
            }
            (None, None) => {
                let reason = format!(
                    "{} has no unit; write it behind the number, or name the column {name}_nm",
                    quoted(cell)
                );
                self.fault(column, reason);
                None
            }
        }
    }

    /// A torque in a sentence, a digit finer than usual.
    pub(super) fn shown(&self, torque_nm: f64) -> String {
        let unit = self.shown_in;
        format!("{:.*} {unit}", unit.decimals() + 1, unit.from_newton_metres(torque_nm))
    }

    /// A number within bounds; `None` when the cell is empty or at fault.
    pub(super) fn number(&mut self, column: Column, least: f64, most: f64) -> Option<f64> {
        let cell = self.cell(column)?.to_string();
        let value = parse_decimal(&self.decimal(column, &cell)?)?;
        if (least..=most).contains(&value) {
            return Some(value);
        }
        self.fault(column, format!("{} is not within {least} to {most}", quoted(&cell)));
        None
    }

    /// A whole number within bounds; `None` when the cell is empty or at fault.
    pub(super) fn whole(&mut self, column: Column, least: u32, most: u32) -> Option<u32> {
        let cell = self.cell(column)?.to_string();
        let value = cell.parse().ok().filter(|value| (least..=most).contains(value));
        if value.is_none() {
            let reason = format!("{} is not a whole number {least} to {most}", quoted(&cell));
            self.fault(column, reason);
        }
        value
    }

    /// The cell as a plain decimal with a point; `None`, with a fault, when it is no number.
    pub(super) fn decimal(&mut self, column: Column, cell: &str) -> Option<String> {
        let text = self.pointed(cell);
        if parse_decimal(&text).is_some() {
            return Some(text);
        }
        self.not_a_number(column, cell);
        None
    }

    /// The cell with a hyphen for a minus sign and a point for a decimal comma.
    pub(super) fn pointed(&self, cell: &str) -> String {
        // U+2212 is the minus sign that word processors put in the hyphen's place.
        let text = cell.replace('\u{2212}', "-");
        let number_end = text.find(char::is_alphabetic).unwrap_or(text.len());
        if self.table.decimal_comma && !text[..number_end].contains('.') {
            text.replacen(',', ".", 1)
        } else {
            text
        }
    }

    pub(super) fn not_a_number(&mut self, column: Column, cell: &str) {
        let hint = if cell.contains(',') { "; write a decimal point" } else { "" };
        self.fault(column, format!("{} is not a number{hint}", quoted(cell)));
    }

    /// The torque columns the file has.
    pub(super) fn torque_columns(&self) -> impl Iterator<Item = Column> + use<'_> {
        self.table.columns.iter().copied().filter(|column| column.torque().is_some())
    }

    /// The row's cell of a column; `None` when the column or the content is missing.
    pub(super) fn cell(&self, column: Column) -> Option<&str> {
        let index = self.table.columns.iter().position(|known| *known == column)?;
        self.line.cells.get(index).map(String::as_str).filter(|cell| !cell.is_empty())
    }

    pub(super) fn fault(&mut self, column: Column, reason: String) {
        self.fault_at(name_of(column), reason);
    }

    pub(super) fn fault_at(&mut self, column: &str, reason: String) {
        self.faults.push(RowFault { line: self.line.number, column: column.to_string(), reason });
    }
}
