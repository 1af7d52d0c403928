//! Records into a store: what is new is stored, what is there already is not stored twice, and
//! where both differ the store's own stays and the difference is named.
//!
//! Invariants: all of it in one transaction, committed by [`Receiver::finish`] alone; nothing is
//! believed: what the schema's own checks do not refuse is read back as every command reads it
//! before it is committed.

use std::collections::{BTreeMap, BTreeSet};

use pinhold_protocol::record::{RECORD_BYTES_MAX, encode_record, record_checksum};
use rusqlite::types::Value as SqlValue;
use rusqlite::{Connection, OptionalExtension, params};
use serde_json::Value;

use super::super::error::{Doing, StoreError};
use super::super::instruments::InstrumentId;
use super::super::place_names::place_name;
use super::super::{Store, lever};
use super::columns::{Columns, refused};
use super::source::each_of;
use super::{KINDS, Kind, Part, Record, Row};

/// Conflicts named; more are only counted.
const CONFLICT_COUNT_NAMED: usize = 100;
/// Names tried for an instrument whose own is another one's.
const NAME_TRIES_MAX: u32 = 1000;
/// Longest name, as the command line takes it, characters.
const NAME_LENGTH_MAX: usize = 80;

/// What became of the records handed over.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Received {
    /// Names of the instruments they belong to, as they are called here.
    pub instruments: Vec<String>,
    /// Records stored, by kind.
    pub stored: BTreeMap<&'static str, u64>,
    /// Records that were here already.
    pub known_count: u64,
    /// What differs here from what was handed over; the store's own stays. The first of it.
    pub conflicts: Vec<String>,
    /// How many in all.
    pub conflict_count: u64,
    /// Instruments that got another name: what they were called, and what they are called here.
    pub renamed: Vec<(String, String)>,
}

/// A store that takes records.
#[derive(Debug)]
pub struct Receiver<'a> {
    store: &'a mut Store,
    is_open: bool,
    instrument: Option<i64>,
    /// Key here of each correction, by its place among those handed over.
    batches: BTreeMap<i64, i64>,
    touched: Vec<i64>,
    received: Received,
}

impl Store {
    /// Begins to take records. Nothing is stored before [`Receiver::finish`].
    ///
    /// # Errors
    /// When the database fails.
    pub fn receive(&mut self) -> Result<Receiver<'_>, StoreError> {
        self.connection.execute_batch("BEGIN IMMEDIATE").doing("take records")?;
        Ok(Receiver {
            store: self,
            is_open: true,
            instrument: None,
            batches: BTreeMap::new(),
            touched: Vec::new(),
            received: Received::default(),
        })
    }

    /// Takes everything another store has, in one transaction.
    ///
    /// # Errors
    /// When either store fails, or the other holds what cannot be true; nothing is stored then.
    pub fn merge(&mut self, other: &Store) -> Result<Received, StoreError> {
        let mut receiver = self.receive()?;
        for record in other.list_instruments()? {
            other.each_record(record.id, &mut |record| receiver.take(record))?;
        }
        other.each_lever_record(&mut |record| receiver.take(record))?;
        receiver.finish()
    }
}

impl Drop for Receiver<'_> {
    fn drop(&mut self) {
        if self.is_open {
            // Closing the store would do it as well.
            let _ = self.store.connection.execute_batch("ROLLBACK");
        }
    }
}

impl Receiver<'_> {
    /// Takes a record; what it points at must have come before or be in the store.
    ///
    /// # Errors
    /// [`StoreError::NotTaken`] for one that cannot be one; nothing of it is left, and others may
    /// still be taken.
    pub fn take(&mut self, record: Record) -> Result<(), StoreError> {
        let doing = "take a record";
        self.store.connection.execute_batch("SAVEPOINT record").doing(doing)?;
        let taken = self.take_whole(record);
        let end = match taken {
            Ok(()) => "RELEASE record",
            Err(_) => "ROLLBACK TO record; RELEASE record",
        };
        self.store.connection.execute_batch(end).doing(doing)?;
        taken
    }

    fn take_whole(&mut self, record: Record) -> Result<(), StoreError> {
        let Some(kind) = KINDS.iter().find(|kind| kind.table == record.kind) else {
            return Err(refused(&record.kind, "there is no such kind of record"));
        };
        let mut row = record.row.clone();
        if kind.table == "instrument" {
            self.batches.clear();
            self.free_name(&mut row);
        } else if !kind.of_levers && self.instrument.is_none() {
            return Err(refused(kind.table, "no instrument came before it"));
        }
        let place = if kind.table == "correction_batch" { self.unplace(&mut row)? } else { None };
        let parts = parts_of(kind, &mut row)?;
        let values = self.columns().values(kind.table, kind.id, row)?;
        if let Some(known) = self.known(kind, &values, &record)? {
            return self.beside(kind, known, &record, place, &parts);
        }
        if kind.table == "correction_batch" && self.corrected_here(&parts)? {
            self.conflict(format!(
                "correction '{}' of {}: its readings were corrected here as well",
                text_of(&record.row, "reason"),
                text_of(&record.row, "made")
            ));
            return Ok(());
        }
        let key = self.insert(kind, &values)?;
        for (part, rows) in &parts {
            for row in rows {
                self.insert_part(kind.table, part, key, row.clone())?;
            }
        }
        self.check(kind, key)?;
        *self.received.stored.entry(kind.table).or_default() += 1;
        self.placed(kind, key, place);
        Ok(())
    }

    /// Commits what was taken.
    ///
    /// # Errors
    /// [`StoreError::NotTaken`] when it cannot be read as every command reads it; nothing is
    /// stored then.
    pub fn finish(mut self) -> Result<Received, StoreError> {
        for id in std::mem::take(&mut self.touched) {
            let name = self.read_back(InstrumentId(id)).map_err(|error| match error {
                error @ StoreError::Database { .. } => error,
                other => refused("instrument", &other.to_string()),
            })?;
            self.received.instruments.push(name);
        }
        self.store.connection.execute_batch("COMMIT").doing("take records")?;
        self.is_open = false;
        Ok(std::mem::take(&mut self.received))
    }

    /// Reads an instrument and all that belongs to it as commands do; its name.
    fn read_back(&self, id: InstrumentId) -> Result<String, StoreError> {
        let store = &*self.store;
        let record = store.instrument(id)?;
        store.trials_of(id)?;
        for survey in store.surveys_of(id)? {
            let readings = store.readings_of(survey.id)?;
            store.condition_record(survey.id)?;
            store.plan_of(survey.id)?;
            store.corrections_of(survey.id)?;
            store.latest_verdict(survey.id)?;
            let devices: BTreeSet<u64> = readings.lever.iter().map(|read| read.device).collect();
            for device in devices {
                store.calibrations_of(device)?;
                store.checks_of(device)?;
            }
        }
        Ok(record.instrument.name)
    }

    fn columns(&self) -> Columns<'_> {
        Columns { connection: &self.store.connection, instrument: self.instrument }
    }

    /// Key of the row here that is the same one, by what both stores know it by.
    fn known(
        &self,
        kind: &Kind,
        values: &[(String, SqlValue)],
        record: &Record,
    ) -> Result<Option<i64>, StoreError> {
        let doing = "look for a record";
        let mut conditions = Vec::new();
        let mut arguments = Vec::new();
        for key in kind.key {
            let value = values.iter().find(|(column, _)| column == key);
            conditions.push(format!("{key} IS ?"));
            arguments.push(value.map_or(SqlValue::Null, |(_, value)| value.clone()));
        }
        let sql = format!(
            "SELECT {} FROM {} WHERE {} ORDER BY {}",
            kind.id,
            kind.table,
            conditions.join(" AND "),
            kind.id
        );
        let mut statement = self.store.connection.prepare_cached(&sql).doing(doing)?;
        let keys: Vec<i64> = statement
            .query_map(rusqlite::params_from_iter(arguments), |row| row.get(0))
            .doing(doing)?
            .collect::<Result<_, _>>()
            .doing(doing)?;
        if kind.table != "correction_batch" {
            return Ok(keys.first().copied());
        }
        // Two of the same moment and reason are told apart by what they moved.
        for key in keys {
            if self.batches.values().all(|taken| *taken != key)
                && self.as_record(kind, key)?.get("entries") == record.row.get("entries")
            {
                return Ok(Some(key));
            }
        }
        Ok(None)
    }

    /// The record a row of this store makes.
    fn as_record(&self, kind: &Kind, key: i64) -> Result<Row, StoreError> {
        let condition = format!("{}.{} = ?1", kind.table, kind.id);
        let mut found = Row::new();
        each_of(&self.store.connection, kind, &condition, key, &mut |record| {
            found = record.row;
            Ok::<(), StoreError>(())
        })?;
        Ok(found)
    }

    /// A record that is here already: the same, or a conflict.
    fn beside(
        &mut self,
        kind: &Kind,
        key: i64,
        record: &Record,
        place: Option<i64>,
        parts: &[(Part, Vec<Row>)],
    ) -> Result<(), StoreError> {
        self.placed(kind, key, place);
        if kind.table == "lever" {
            return self.logs(key, parts);
        }
        let mut here = self.as_record(kind, key)?;
        let mut there = record.row.clone();
        if kind.table == "instrument" {
            // Each store may call it as it likes.
            here.remove("name");
            there.remove("name");
        }
        if kind.table == "correction_batch" {
            // Found by what it moved.
            ["place", "undoes"].iter().for_each(|name| {
                here.remove(*name);
                there.remove(*name);
            });
        }
        if here == there {
            self.received.known_count += 1;
            return Ok(());
        }
        let differing: Vec<&str> = here
            .keys()
            .chain(there.keys().filter(|name| !here.contains_key(*name)))
            .filter(|name| here.get(*name) != there.get(*name))
            .map(String::as_str)
            .collect();
        let name = place_name(&self.store.connection, kind.table, key);
        self.conflict(format!("{name}: differs in {}", differing.join(", ")));
        Ok(())
    }

    /// How a lever was when it was last seen: the later one counts.
    fn logs(&mut self, lever: i64, parts: &[(Part, Vec<Row>)]) -> Result<(), StoreError> {
        let doing = "take a lever's log";
        for (part, rows) in parts {
            for row in rows {
                let epoch = row.get("epoch").and_then(Value::as_i64);
                let seen = text_of(row, "last_seen");
                let here: Option<String> = self
                    .store
                    .connection
                    .query_row(
                        "SELECT last_seen FROM lever_log WHERE lever_id = ?1 AND epoch IS ?2",
                        params![lever, epoch],
                        |row| row.get(0),
                    )
                    .optional()
                    .doing(doing)?;
                if here.as_ref().is_some_and(|here| *here < seen) {
                    self.store
                        .connection
                        .execute(
                            "DELETE FROM lever_log WHERE lever_id = ?1 AND epoch IS ?2",
                            params![lever, epoch],
                        )
                        .doing(doing)?;
                }
                if here.is_none_or(|here| here < seen) {
                    self.insert_part("lever", part, lever, row.clone())?;
                }
            }
        }
        self.received.known_count += 1;
        Ok(())
    }

    fn insert(&self, kind: &Kind, values: &[(String, SqlValue)]) -> Result<i64, StoreError> {
        self.insert_row(kind.table, kind.table, values)?;
        match (kind.id, values.iter().find(|(column, _)| column == kind.id)) {
            ("id", _) | (_, None) => Ok(self.store.connection.last_insert_rowid()),
            (_, Some((_, SqlValue::Integer(key)))) => Ok(*key),
            _ => Err(refused(kind.table, "what it belongs to is not said")),
        }
    }

    fn insert_part(&self, of: &str, part: &Part, parent: i64, row: Row) -> Result<(), StoreError> {
        let mut values = self.columns().values(part.table, part.parent, row)?;
        values.push((part.parent.to_owned(), SqlValue::Integer(parent)));
        self.insert_row(of, part.table, &values)
    }

    fn insert_row(
        &self,
        of: &str,
        table: &str,
        values: &[(String, SqlValue)],
    ) -> Result<(), StoreError> {
        let doing = "store a record";
        let columns: Vec<&str> = values.iter().map(|(column, _)| column.as_str()).collect();
        let marks = vec!["?"; values.len()].join(", ");
        let sql = format!("INSERT INTO {table} ({}) VALUES ({marks})", columns.join(", "));
        let mut statement = self.store.connection.prepare_cached(&sql).doing(doing)?;
        let arguments = values.iter().map(|(_, value)| value);
        match statement.execute(rusqlite::params_from_iter(arguments)) {
            Ok(_) => Ok(()),
            Err(rusqlite::Error::SqliteFailure(failure, message))
                if failure.code == rusqlite::ErrorCode::ConstraintViolation =>
            {
                let message = message.unwrap_or_default();
                Err(refused(of, &format!("the schema refuses it ({message})")))
            }
            other => other.map(|_| ()).doing(doing),
        }
    }

    /// What the schema cannot check.
    fn check(&self, kind: &Kind, key: i64) -> Result<(), StoreError> {
        let is_true = match kind.table {
            "reading" => {
                let stored = lever::reading_at(&self.store.connection, key)
                    .map_err(|error| refused(kind.table, &error.to_string()))?;
                let mut bytes = [0; RECORD_BYTES_MAX];
                encode_record(&stored.reading, &mut bytes).ok().is_some_and(|length| {
                    record_checksum(stored.epoch, stored.number, &bytes[..length]) == stored.crc32
                })
            }
            "lever_record" => self
                .store
                .connection
                .query_row(
                    "SELECT epoch, number, crc32, bytes FROM lever_record WHERE id = ?1",
                    [key],
                    |row| {
                        let bytes: Vec<u8> = row.get(3)?;
                        let crc32: u32 = row.get(2)?;
                        Ok(record_checksum(row.get(0)?, row.get(1)?, &bytes) == crc32)
                    },
                )
                .unwrap_or(false),
            _ => true,
        };
        if is_true {
            return Ok(());
        }
        Err(refused(kind.table, "it is not what the lever sent: its own checksum does not match"))
    }

    /// Remembers where a record stands here, for those that follow.
    fn placed(&mut self, kind: &Kind, key: i64, place: Option<i64>) {
        if kind.table == "instrument" {
            self.instrument = Some(key);
            self.touched.push(key);
        }
        if let Some(place) = place {
            self.batches.insert(place, key);
        }
    }

    /// Takes the place of a correction off its row, and says there what it undoes by its key here.
    fn unplace(&self, row: &mut Row) -> Result<Option<i64>, StoreError> {
        let place = row.remove("place").as_ref().and_then(Value::as_i64);
        if let Some(undone) = row.get("undoes").and_then(Value::as_i64) {
            let key = self.batches.get(&undone).ok_or_else(|| {
                refused("correction_batch", "what it undoes did not come before it")
            })?;
            row.insert("undoes".to_owned(), Value::from(*key));
        }
        Ok(place)
    }

    /// Whether a reading of a new correction was last corrected by one that is only here.
    fn corrected_here(&self, parts: &[(Part, Vec<Row>)]) -> Result<bool, StoreError> {
        for row in parts.iter().flat_map(|(_, rows)| rows) {
            let reading =
                self.columns().reading_key(&text_of(row, "reading")).doing("take records")?;
            let last: Option<i64> = self
                .store
                .connection
                .query_row(
                    "SELECT batch_id FROM correction WHERE reading_id IS ?1
                     ORDER BY id DESC LIMIT 1",
                    [reading],
                    |row| row.get(0),
                )
                .optional()
                .doing("take records")?;
            if last.is_some_and(|last| self.batches.values().all(|key| *key != last)) {
                return Ok(true);
            }
        }
        Ok(false)
    }

    /// Gives an instrument another name where its own is another one's here.
    fn free_name(&mut self, row: &mut Row) {
        let identity = u64::from_str_radix(&text_of(row, "uid"), 16).unwrap_or(0).cast_signed();
        let taken = |connection: &Connection, name: &str| -> bool {
            let sql = "SELECT EXISTS (SELECT 1 FROM instrument WHERE name = ?1 AND uid <> ?2)
                 AND NOT EXISTS (SELECT 1 FROM instrument WHERE uid = ?2)";
            connection.query_row(sql, params![name, identity], |row| row.get(0)).unwrap_or(false)
        };
        let name = text_of(row, "name");
        if !taken(&self.store.connection, &name) {
            return;
        }
        let short: String = name.chars().take(NAME_LENGTH_MAX - 8).collect();
        let free = (2..NAME_TRIES_MAX)
            .map(|count| format!("{short} ({count})"))
            .find(|name| !taken(&self.store.connection, name));
        if let Some(free) = free {
            row.insert("name".to_owned(), Value::from(free.clone()));
            self.received.renamed.push((name, free));
        }
    }

    fn conflict(&mut self, conflict: String) {
        self.received.conflict_count += 1;
        if self.received.conflicts.len() < CONFLICT_COUNT_NAMED {
            self.received.conflicts.push(conflict);
        }
    }
}

/// The rows that are part of a record, taken off it.
fn parts_of(kind: &Kind, row: &mut Row) -> Result<Vec<(Part, Vec<Row>)>, StoreError> {
    let mut parts = Vec::new();
    for part in kind.parts {
        let rows = match row.remove(part.name) {
            None => Vec::new(),
            Some(Value::Array(rows)) => rows,
            Some(_) => return Err(refused(kind.table, &format!("{} is no list", part.name))),
        };
        let rows: Option<Vec<Row>> = rows
            .into_iter()
            .map(|row| match row {
                Value::Object(row) => Some(row),
                _ => None,
            })
            .collect();
        let what = || refused(kind.table, &format!("{} is no list of rows", part.name));
        parts.push((*part, rows.ok_or_else(what)?));
    }
    Ok(parts)
}

fn text_of(row: &Row, name: &str) -> String {
    row.get(name).and_then(Value::as_str).unwrap_or_default().to_owned()
}
