//! What a record says, as a row of this store: names to columns, identities to keys.
//!
//! Invariants: every name is a column's; what a record names must be in the store.

use rusqlite::types::Value as SqlValue;
use rusqlite::{Connection, OptionalExtension, params};
use serde_json::Value;

use super::super::error::{Doing, StoreError};
use super::super::seal::columns_of;
use super::{Link, Row, link_of, written_name};
use crate::text::printable_short;

/// A store as records are understood in it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Columns<'a> {
    pub(super) connection: &'a Connection,
    /// Key of the instrument on its way.
    pub(super) instrument: Option<i64>,
}

impl Columns<'_> {
    /// What a row says as this store's columns; refuses what is no column.
    pub(super) fn values(
        &self,
        table: &str,
        own: &str,
        mut row: Row,
    ) -> Result<Vec<(String, SqlValue)>, StoreError> {
        let mut values = Vec::new();
        for column in columns_of(self.connection, table)? {
            let is_link = link_of(&column) == Some(Link::Instrument);
            if (column == own && table != "plan") || column == "id" {
                continue;
            }
            if is_link {
                if table != "pin" {
                    let id = self.instrument.ok_or_else(|| refused(table, "no instrument"))?;
                    values.push((column, SqlValue::Integer(id)));
                }
                continue;
            }
            let value = row.remove(written_name(&column)).unwrap_or(Value::Null);
            let value = self.value(table, &column, value)?;
            values.push((column, value));
        }
        match row.keys().next() {
            Some(unknown) => {
                let unknown = printable_short(unknown, 40);
                Err(refused(table, &format!("it has no column '{unknown}'")))
            }
            None => Ok(values),
        }
    }

    /// One value as this store has it.
    fn value(&self, table: &str, column: &str, value: Value) -> Result<SqlValue, StoreError> {
        let wrong = |why: &str| refused(table, &format!("{} {why}", written_name(column)));
        let link = link_of(column);
        let text = match value {
            Value::Null => return Ok(SqlValue::Null),
            Value::Number(number) if link.is_none() => {
                let whole = number.as_i64().ok_or_else(|| wrong("is no whole number"))?;
                return Ok(SqlValue::Integer(whole));
            }
            Value::String(text) => text,
            _ => return Err(wrong("is neither a whole number nor a text")),
        };
        let missing = || wrong(&format!("'{}' did not come before it", printable_short(&text, 60)));
        let key_of = |sql: &str, identity: i64| {
            let key = self.connection.query_row(sql, [identity], |row| row.get::<_, i64>(0));
            key.optional().doing("take records")
        };
        let identity = |text: &str| {
            let digits = text.len() == 16 && text.bytes().all(|b| b.is_ascii_hexdigit());
            let bits = digits.then(|| u64::from_str_radix(text, 16).ok()).flatten();
            bits.map(u64::cast_signed).ok_or_else(|| wrong("is no 16 hexadecimal digits"))
        };
        let key = match link {
            None | Some(Link::Instrument) => return Ok(SqlValue::Text(text)),
            Some(Link::Identity) => return Ok(SqlValue::Integer(identity(&text)?)),
            Some(Link::Bytes) => {
                let bytes = bytes_of(&text).ok_or_else(|| wrong("is no hexadecimal digits"))?;
                return Ok(SqlValue::Blob(bytes));
            }
            Some(Link::Survey) => key_of("SELECT id FROM survey WHERE uid = ?1", identity(&text)?)?,
            Some(Link::Lever) => {
                key_of("SELECT id FROM lever WHERE device = ?1", identity(&text)?)?
            }
            Some(Link::Reading) => self.reading_key(&text).doing("take records")?,
        };
        key.map(SqlValue::Integer).ok_or_else(missing)
    }

    /// Key here of the reading named `device.epoch.number`.
    pub(super) fn reading_key(&self, name: &str) -> Result<Option<i64>, rusqlite::Error> {
        let mut pieces = name.split('.');
        let device = pieces.next().and_then(|text| u64::from_str_radix(text, 16).ok());
        let mut number = || pieces.next().and_then(|text| text.parse::<u32>().ok());
        let (Some(device), Some(epoch), Some(number)) = (device, number(), number()) else {
            return Ok(None);
        };
        self.connection
            .query_row(
                "SELECT reading.id FROM reading JOIN lever ON lever.id = lever_id
                 WHERE device = ?1 AND epoch = ?2 AND number = ?3",
                params![device.cast_signed(), epoch, number],
                |row| row.get(0),
            )
            .optional()
    }
}

fn bytes_of(digits: &str) -> Option<Vec<u8>> {
    if !digits.len().is_multiple_of(2) || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    (0..digits.len())
        .step_by(2)
        .map(|at| u8::from_str_radix(&digits[at..at + 2], 16).ok())
        .collect()
}

/// A record of a kind that cannot be one.
pub(super) fn refused(kind: &str, why: &str) -> StoreError {
    StoreError::NotTaken { kind: printable_short(kind, 40), why: printable_short(why, 300) }
}
