//! Records out of a store, one at a time.

use rusqlite::types::ValueRef;
use rusqlite::{Connection, Row as SqlRow};
use serde_json::Value;

use super::super::Store;
use super::super::error::{Doing, StoreError};
use super::super::instruments::InstrumentId;
use super::super::seal::columns_of;
use super::{KINDS, Kind, Link, Record, Row, link_of, written_name};

/// Where a record goes.
pub(crate) type Take<'a, E> = &'a mut dyn FnMut(Record) -> Result<(), E>;

impl Store {
    /// Hands over every record of an instrument, in the order they must come.
    ///
    /// # Errors
    /// When the database fails, and what `take` says.
    pub fn each_record<E: From<StoreError>>(
        &self,
        instrument: InstrumentId,
        take: Take<'_, E>,
    ) -> Result<(), E> {
        // One moment of the store, whatever others write meanwhile.
        let moment = self.connection.unchecked_transaction().doing("be read")?;
        KINDS
            .iter()
            .try_for_each(|kind| each_of(&moment, kind, kind.of_instrument, instrument.0, take))
    }

    /// Hands over every record that belongs to levers, whichever instruments they read.
    ///
    /// # Errors
    /// As [`Store::each_record`].
    pub(super) fn each_lever_record<E: From<StoreError>>(
        &self,
        take: Take<'_, E>,
    ) -> Result<(), E> {
        let mut kinds = KINDS.iter().filter(|kind| kind.of_levers);
        kinds.try_for_each(|kind| each_of(&self.connection, kind, "?1 = 0", 0, take))
    }
}

/// Hands over the records of a kind whose row meets a condition.
pub(super) fn each_of<E: From<StoreError>>(
    connection: &Connection,
    kind: &Kind,
    condition: &str,
    argument: i64,
    take: Take<'_, E>,
) -> Result<(), E> {
    let doing = "read what is to be moved";
    let Kind { table, id, .. } = *kind;
    let (names, sql) = selection(connection, table, &[id, "instrument_id"])?;
    let sql = format!("SELECT {id}{sql} FROM {table} WHERE {condition} ORDER BY {id}");
    let mut statement = connection.prepare_cached(&sql).doing(doing)?;
    let mut rows = statement.query([argument]).doing(doing)?;
    // Corrections name the one they undo by its place among those of the instrument.
    let mut places: Vec<i64> = Vec::new();
    while let Some(found) = rows.next().doing(doing)? {
        let key: i64 = found.get(0).doing(doing)?;
        let mut row = row_from(found, &names)?;
        for part in kind.parts {
            let (names, sql) = selection(connection, part.table, &[part.parent, "id"])?;
            let sql = format!(
                "SELECT {}{sql} FROM {} WHERE {} = ?1 ORDER BY {}",
                part.parent, part.table, part.parent, part.order
            );
            let mut statement = connection.prepare_cached(&sql).doing(doing)?;
            let mut rows = statement.query([key]).doing(doing)?;
            let mut parts = Vec::new();
            while let Some(found) = rows.next().doing(doing)? {
                parts.push(Value::Object(row_from(found, &names)?));
            }
            if !parts.is_empty() {
                row.insert(part.name.to_owned(), Value::Array(parts));
            }
        }
        if table == "correction_batch" {
            places.push(key);
            row.insert("place".to_owned(), Value::from(places.len()));
            if let Some(undone) = row.get("undoes").and_then(Value::as_i64) {
                let place = places.iter().position(|key| *key == undone).map_or(0, |at| at + 1);
                row.insert("undoes".to_owned(), Value::from(place));
            }
        }
        take(Record { kind: table.to_owned(), row })?;
    }
    Ok(())
}

/// What the columns of a table are called in a record, and the SQL that selects them so; without
/// those that are keys of this store.
fn selection(
    connection: &Connection,
    table: &str,
    without: &[&str],
) -> Result<(Vec<String>, String), StoreError> {
    let (mut names, mut sql) = (Vec::new(), String::new());
    for column in columns_of(connection, table)? {
        if without.contains(&column.as_str()) && !(table == "plan" && column == "survey_id") {
            continue;
        }
        let expression = match link_of(&column) {
            None | Some(Link::Instrument) => format!("{table}.{column}"),
            Some(Link::Identity) => format!("printf('%016x', {table}.{column})"),
            Some(Link::Bytes) => format!("lower(hex({table}.{column}))"),
            Some(Link::Survey) => format!(
                "(SELECT printf('%016x', named.uid) FROM survey AS named
                     WHERE named.id = {table}.{column})"
            ),
            Some(Link::Lever) => format!(
                "(SELECT printf('%016x', named.device) FROM lever AS named
                     WHERE named.id = {table}.{column})"
            ),
            Some(Link::Reading) => format!(
                "(SELECT printf('%016x.%d.%d', by.device, named.epoch, named.number)
                     FROM reading AS named JOIN lever AS by ON by.id = named.lever_id
                     WHERE named.id = {table}.{column})"
            ),
        };
        sql.push_str(", ");
        sql.push_str(&expression);
        names.push(written_name(&column).to_owned());
    }
    Ok((names, sql))
}

fn row_from(found: &SqlRow<'_>, names: &[String]) -> Result<Row, StoreError> {
    let doing = "read what is to be moved";
    let mut row = Row::new();
    for (name, place) in names.iter().zip(1..) {
        let value = match found.get_ref(place).doing(doing)? {
            ValueRef::Null => continue,
            ValueRef::Integer(whole) => Value::from(whole),
            ValueRef::Text(_) => Value::from(found.get::<_, String>(place).doing(doing)?),
            ValueRef::Real(_) | ValueRef::Blob(_) => {
                let value = "a number with a point, or bytes".to_owned();
                return Err(StoreError::Corrupt { what: "a column of whole numbers", value });
            }
        };
        row.insert(name.clone(), value);
    }
    Ok(row)
}
