//! Checks a whole store, or one that was put aside: the file's structure, its schema, what points
//! to what, every row's seal, every record's own checksum.
//!
//! Nothing is changed, and nothing is brought to a newer schema. A store of an older schema has no
//! seals yet; the rest of it is checked all the same. Deliberately not here: what a seal is
//! (`seal`), what a row is called (`place_names`).
//!
//! Invariants: what can still be read is still checked, whatever was found before; findings are
//! counted to the end and named up to [`FINDING_COUNT_NAMED`].

use std::path::{Path, PathBuf};

use pinhold_protocol::record::{RECORD_BYTES_MAX, encode_record, record_checksum};
use rusqlite::{Connection, OpenFlags, OptionalExtension};

use super::error::{Doing, StoreError};
use super::migrate::{self, APPLICATION_ID, SCHEMA_VERSION};
use super::place_names::place_name;
use super::seal::{self, SEALED, Sealed};
use super::surveys::SurveyId;
use super::{Store, lever, wal};
use crate::text::printable_short;

/// Findings named; more are only counted.
pub const FINDING_COUNT_NAMED: usize = 100;
/// Longest piece of another program's message shown, characters.
const MESSAGE_LENGTH_MAX: usize = 200;
/// First bytes of every SQLite database.
pub const SQLITE_MAGIC: &[u8; 16] = b"SQLite format 3\0";

/// What is wrong, and where.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Instrument, survey, pin; else table or part of the file. Printable.
    pub place: String,
    /// What is wrong with it, as it stands after the place. Printable.
    pub fault: String,
}

/// What a check found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Checked {
    /// The file.
    pub path: PathBuf,
    /// Its schema; 0 where it could not be told.
    pub schema: i64,
    /// Instruments, surveys, readings of levers, readings by hand, other records.
    pub counts: [u64; 5],
    /// Rows held against a seal.
    pub sealed_count: u64,
    /// Records held against the checksum the lever made.
    pub record_count: u64,
    /// What is wrong, the first of it.
    pub findings: Vec<Finding>,
    /// How much is wrong in all.
    pub finding_count: u64,
}

impl Checked {
    /// Whether nothing is wrong.
    pub fn is_clean(&self) -> bool {
        self.finding_count == 0
    }

    /// Whether its rows carry seals at all: those of older schemas do not.
    pub fn has_seals(&self) -> bool {
        self.schema >= SCHEMA_OF_SEALS
    }

    fn find(&mut self, place: impl Into<String>, fault: impl Into<String>) {
        self.finding_count += 1;
        if self.findings.len() < FINDING_COUNT_NAMED {
            self.findings.push(Finding { place: place.into(), fault: fault.into() });
        }
    }

    /// Something more about a row, which may have been found already.
    fn find_of_row(&mut self, place: String, fault: &str) {
        match self.findings.iter_mut().find(|known| known.place == place) {
            Some(known) => known.fault.push_str(&format!("; it {fault}")),
            None => self.find(place, fault),
        }
    }

    /// A step of the check that could not be done to its end.
    fn broken_off(&mut self, place: &str, error: &StoreError) {
        let why = printable_short(&error.to_string(), MESSAGE_LENGTH_MAX);
        self.find(place, format!("cannot be read to its end: {why}"));
    }
}

/// The schema that brought seals.
const SCHEMA_OF_SEALS: i64 = 7;
/// Tables counted, in the order of [`Checked::counts`].
const COUNTED: [&str; 5] = ["instrument", "survey", "reading", "hand_reading", "lever_record"];

/// Checks the store in a file. What is wrong with its content is no error but a finding.
///
/// # Errors
/// When there is no such file or it cannot be read at all, when it is another program's, and when
/// a newer pinhold wrote it.
pub fn verify(path: &Path) -> Result<Checked, StoreError> {
    let mut checked = Checked { path: path.to_path_buf(), ..Checked::default() };
    // Before the file is opened: SQLite forgets what stands behind a break.
    let log = log_of(path);
    if let Some(frame) = wal::broken_at(&log) {
        checked.find(
            format!("the store's log, {}", printable_short(&log.to_string_lossy(), 400)),
            format!(
                "is damaged at frame {frame}: what stands behind cannot be read. Keep a copy of it \
                 before any other command opens the store"
            ),
        );
    }
    let connection = match open_to_check(path) {
        Ok(connection) => connection,
        Err(StoreError::NotAStore { .. }) if has_our_name(path) => {
            checked.find("the file's first page", "is damaged: it is no SQLite database any more");
            return Ok(checked);
        }
        Err(error) => return Err(error),
    };
    if let Err(error) = check_all(&connection, path, &mut checked) {
        match error {
            StoreError::NewerSchema { .. } => return Err(error),
            StoreError::NotAStore { .. } if checked.is_clean() => return Err(error),
            _ => {}
        }
        checked.broken_off("the file", &error);
    }
    Ok(checked)
}

impl Store {
    /// Checks everything in the store; see [`verify`].
    ///
    /// # Errors
    /// As [`verify`].
    pub fn verify(&self) -> Result<Checked, StoreError> {
        verify(&self.path)
    }

    /// What does not match its seal among all that a survey's analysis rests on: its instrument,
    /// itself, its readings.
    ///
    /// # Errors
    /// When the database fails.
    pub fn damage_of(&self, survey: SurveyId) -> Result<Vec<Finding>, StoreError> {
        let of_instrument = "(SELECT instrument_id FROM survey WHERE id = ?1)";
        let wheres = [
            ("instrument", format!("instrument.id = {of_instrument}")),
            ("survey", "survey.id = ?1".to_owned()),
            ("reading", OF_SURVEY.to_owned()),
            ("hand_reading", "hand_reading.survey_id = ?1".to_owned()),
            ("string_scale", format!("string_scale.instrument_id = {of_instrument}")),
            ("trial_pin", format!("trial_pin.instrument_id = {of_instrument}")),
            ("correction", "correction.survey_id = ?1".to_owned()),
        ];
        let mut checked = Checked::default();
        for (name, condition) in wheres {
            for table in SEALED.iter().filter(|table| table.name == name) {
                broken_rows(&self.connection, table, Some((&condition, survey.0)), &mut |key| {
                    checked.find(place_name(&self.connection, name, key), NO_MATCH);
                })?;
            }
        }
        Ok(checked.findings)
    }
}

/// Condition on readings that stand in a survey.
const OF_SURVEY: &str = "reading.id IN (SELECT reading_id FROM reading_place WHERE survey_id = ?1)";
/// What is said of a row whose seal does not fit.
const NO_MATCH: &str = "is not as it was stored: it does not match its seal";

/// Holds single rows of a table against their seals.
#[derive(Debug)]
pub(super) struct SealCheck(String);

impl SealCheck {
    /// For a table that is sealed.
    ///
    /// # Errors
    /// When the database fails.
    pub(super) fn of(connection: &Connection, table: &str) -> Result<SealCheck, StoreError> {
        let sealed = SEALED.iter().find(|sealed| sealed.name == table);
        let condition = format!("{table}.id = ?1");
        let sql = sealed.map(|sealed| rows_sql(connection, sealed, &condition)).transpose()?;
        Ok(SealCheck(sql.unwrap_or_default()))
    }

    /// Whether a row does not match its seal or has none.
    ///
    /// # Errors
    /// When the database fails.
    pub(super) fn is_broken(&self, connection: &Connection, key: i64) -> Result<bool, StoreError> {
        let doing = "hold a row against its seal";
        let mut statement = connection.prepare_cached(&self.0).doing(doing)?;
        let matches = statement.query_row([key], |row| row.get::<_, bool>(1)).optional();
        Ok(matches.doing(doing)? != Some(true))
    }
}

/// The write-ahead log of a store.
fn log_of(path: &Path) -> PathBuf {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    PathBuf::from(log)
}

/// Opens a file without making or migrating anything.
pub(super) fn open_to_check(path: &Path) -> Result<Connection, StoreError> {
    let unreadable = |source| StoreError::File { path: path.to_path_buf(), source };
    let not_a_store = || StoreError::NotAStore { path: path.to_path_buf() };
    let metadata = std::fs::metadata(path).map_err(unreadable)?;
    let mut magic = [0; SQLITE_MAGIC.len()];
    let mut file = std::fs::File::open(path).map_err(unreadable)?;
    if !metadata.is_file() || std::io::Read::read_exact(&mut file, &mut magic).is_err() {
        return Err(not_a_store());
    }
    if magic != *SQLITE_MAGIC {
        return Err(not_a_store());
    }
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let opened = Connection::open_with_flags(path, flags).doing("be opened")?;
    opened.busy_timeout(migrate::BUSY_TIMEOUT).doing("set its waiting time")?;
    if std::fs::metadata(log_of(path)).is_ok_and(|log| log.len() > 0) {
        // What a log holds stays there: it may be all that is left to look into.
        let keep_log = rusqlite::config::DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE;
        opened.set_db_config(keep_log, true).doing("be opened for reading")?;
    }
    opened
        .execute_batch("PRAGMA query_only = ON; PRAGMA cell_size_check = ON;")
        .doing("be opened for reading")?;
    seal::register(&opened)?;
    Ok(opened)
}

/// Whether a file that is no database looks as if it had been our store.
fn has_our_name(path: &Path) -> bool {
    let length = std::fs::metadata(path).map_or(0, |metadata| metadata.len());
    // A database is whole pages of at least 512 bytes.
    let whole_pages = length > 0 && length.is_multiple_of(512);
    whole_pages && path.extension().is_some_and(|extension| extension == "db")
}

/// Every step; an error where not even the beginning of the file can be read.
fn check_all(
    connection: &Connection,
    path: &Path,
    checked: &mut Checked,
) -> Result<(), StoreError> {
    // One moment of the store, whatever others write meanwhile.
    connection.execute_batch("BEGIN").doing("be read")?;
    let application = migrate::pragma(connection, "application_id").doing("be read")?;
    let version = migrate::pragma(connection, "user_version").doing("tell its schema")?;
    let has_readings = has_table(connection, "hand_reading")?;
    if application != APPLICATION_ID && !has_readings {
        return Err(StoreError::NotAStore { path: path.to_path_buf() });
    }
    if application != APPLICATION_ID {
        checked.find("the file's header", "is damaged: it does not call itself a pinhold store");
    } else if version > SCHEMA_VERSION {
        let path = path.to_path_buf();
        return Err(StoreError::NewerSchema { path, found: version, known: SCHEMA_VERSION });
    }
    checked.schema = version;
    structure(connection, checked);
    if let Err(error) = schema(connection, version, checked) {
        checked.broken_off("the schema", &error);
    }
    for (place, name) in COUNTED.into_iter().enumerate() {
        checked.counts[place] = count(connection, name);
    }
    if has_table(connection, "seal")? {
        for table in SEALED.iter().filter(|table| table.since <= version) {
            if let Err(error) = seals(connection, table, checked) {
                checked.broken_off(&format!("table {}", table.name), &error);
            }
        }
        if let Err(error) = foreign_seals(connection, checked) {
            checked.broken_off("table seal", &error);
        }
    }
    if let Err(error) = readings(connection, checked) {
        checked.broken_off("table reading", &error);
    }
    if let Err(error) = records(connection, checked) {
        checked.broken_off("table lever_record", &error);
    }
    Ok(())
}

fn has_table(connection: &Connection, name: &str) -> Result<bool, StoreError> {
    connection
        .query_row(
            "SELECT EXISTS (SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = ?1)",
            [name],
            |row| row.get(0),
        )
        .doing("list its tables")
}

/// Rows of a table; 0 where it cannot be counted, which the other steps tell.
fn count(connection: &Connection, table: &str) -> u64 {
    let sql = format!("SELECT count(*) FROM {table} NOT INDEXED");
    let counted: Result<i64, _> = connection.query_row(&sql, [], |row| row.get(0));
    counted.ok().and_then(|count| u64::try_from(count).ok()).unwrap_or(0)
}

/// SQLite's own check of pages, trees and indexes, and of what points to what.
fn structure(connection: &Connection, checked: &mut Checked) {
    let messages = |sql: &str, found: &mut Vec<String>| -> Result<(), StoreError> {
        let doing = "be checked";
        let mut statement = connection.prepare(sql).doing(doing)?;
        let rows = statement.query_map([], |row| row.get::<_, String>(0)).doing(doing)?;
        for row in rows {
            found.push(row.doing(doing)?);
        }
        Ok(())
    };
    let mut found = Vec::new();
    let sql = format!("PRAGMA integrity_check({FINDING_COUNT_NAMED})");
    if let Err(error) = messages(&sql, &mut found) {
        checked.broken_off("the file's structure", &error);
    }
    for message in found.iter().filter(|message| *message != "ok") {
        let message = printable_short(message, MESSAGE_LENGTH_MAX);
        checked.find("the file's structure", format!("is damaged: {message}"));
    }
    let mut found = Vec::new();
    let sql = "SELECT 'row ' || coalesce(rowid, '?') || ' of table ' || \"table\" || '|' || parent
         FROM pragma_foreign_key_check";
    if let Err(error) = messages(sql, &mut found) {
        checked.broken_off("what points to what", &error);
    }
    for message in found {
        let (place, parent) = message.split_once('|').unwrap_or((&message, "?"));
        let fault = format!("belongs to a row of table {parent} that is not there");
        checked.find(printable_short(place, MESSAGE_LENGTH_MAX), fault);
    }
}

/// The schema's text beside the one a store of its version is made with.
fn schema(connection: &Connection, version: i64, checked: &mut Checked) -> Result<(), StoreError> {
    let expected = objects(&migrate::in_memory_of(version)?)?;
    let found = objects(connection)?;
    for (name, text) in &expected {
        match found.iter().find(|(other, _)| other == name) {
            None => checked.find(format!("the schema's {name}"), "is missing"),
            Some((_, other)) if other != text => {
                checked.find(format!("the schema's {name}"), "is not as it was made");
            }
            Some(_) => {}
        }
    }
    for (name, _) in &found {
        if !expected.iter().any(|(other, _)| other == name) {
            let name = printable_short(name, MESSAGE_LENGTH_MAX);
            checked.find(format!("the schema's {name}"), "is nothing pinhold made");
        }
    }
    Ok(())
}

/// Every object of the schema: what it is called, and its text without regard to blanks.
fn objects(connection: &Connection) -> Result<Vec<(String, String)>, StoreError> {
    let doing = "read its schema";
    let mut statement = connection
        .prepare(
            "SELECT type || ' ' || name || ' on ' || tbl_name, coalesce(sql, '')
             FROM sqlite_master WHERE name NOT LIKE 'sqlite_stat%' ORDER BY 1",
        )
        .doing(doing)?;
    let rows = statement
        .query_map([], |row| {
            let text: String = row.get(1)?;
            let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
            Ok((row.get(0)?, text))
        })
        .doing(doing)?;
    rows.collect::<Result<_, _>>().doing(doing)
}

/// Every row of a table beside its seal, and every seal beside its row.
fn seals(connection: &Connection, table: &Sealed, checked: &mut Checked) -> Result<(), StoreError> {
    let mut broken = Vec::new();
    let seen = broken_rows(connection, table, None, &mut |key| broken.push(key));
    for key in broken {
        checked.find(place_name(connection, table.name, key), NO_MATCH);
    }
    checked.sealed_count += seen?;
    let doing = "read its seals";
    let Sealed { kind, name, key, .. } = table;
    let sql = format!(
        "SELECT row FROM seal WHERE kind = ?1
             AND NOT EXISTS (SELECT 1 FROM {name} WHERE {name}.{key} = seal.row)"
    );
    let mut statement = connection.prepare(&sql).doing(doing)?;
    let rows = statement.query_map([kind], |row| row.get::<_, i64>(0)).doing(doing)?;
    for row in rows {
        let row = row.doing(doing)?;
        checked.find(format!("row {row} of table {name}"), "is gone, its seal is still there");
    }
    Ok(())
}

/// Seals of no table there is.
fn foreign_seals(connection: &Connection, checked: &mut Checked) -> Result<(), StoreError> {
    let sql = "SELECT count(*) FROM seal WHERE kind NOT BETWEEN 1 AND ?1";
    let foreign: i64 = connection
        .query_row(sql, [SEALED.len() as i64], |row| row.get(0))
        .doing("read its seals")?;
    if foreign > 0 {
        checked.find("table seal", format!("holds {foreign} seals of no table there is"));
    }
    Ok(())
}

/// Calls `broken` with the key of each row that does not match its seal or has none; rows seen.
fn broken_rows(
    connection: &Connection,
    table: &Sealed,
    condition: Option<(&str, i64)>,
    broken: &mut dyn FnMut(i64),
) -> Result<u64, StoreError> {
    let doing = "hold its rows against their seals";
    let (condition, argument) = condition.unwrap_or(("?1 = 0", 0));
    let sql = rows_sql(connection, table, condition)?;
    let mut statement = connection.prepare_cached(&sql).doing(doing)?;
    let mut rows = statement.query([argument]).doing(doing)?;
    let mut seen = 0;
    while let Some(row) = rows.next().doing(doing)? {
        seen += 1;
        if !row.get::<_, bool>(1).doing(doing)? {
            broken(row.get(0).doing(doing)?);
        }
    }
    Ok(seen)
}

/// SQL for the keys of a table's rows, and whether each matches its seal.
fn rows_sql(
    connection: &Connection,
    table: &Sealed,
    condition: &str,
) -> Result<String, StoreError> {
    let Sealed { kind, name, key, .. } = table;
    let value = seal::seal_sql(connection, table)?;
    Ok(format!(
        "SELECT {name}.{key}, {value} IS seal.crc64 FROM {name}
             LEFT JOIN seal ON seal.kind = {kind} AND seal.row = {name}.{key}
         WHERE {condition}"
    ))
}

/// Every reading back to the bytes the lever sent, beside its own checksum.
fn readings(connection: &Connection, checked: &mut Checked) -> Result<(), StoreError> {
    let mut wrong: Vec<(i64, &str)> = Vec::new();
    let done = lever::each_reading(connection, &mut |id, reading| {
        checked.record_count += 1;
        match reading {
            Ok(stored) => {
                let mut bytes = [0; RECORD_BYTES_MAX];
                let again = encode_record(&stored.reading, &mut bytes)
                    .map(|length| record_checksum(stored.epoch, stored.number, &bytes[..length]));
                if again.ok() != Some(stored.crc32) {
                    wrong.push((id, "is not what the lever sent: its own checksum does not match"));
                }
            }
            Err(_) => wrong.push((id, "holds a value that no lever writes")),
        }
    });
    for (id, fault) in wrong {
        checked.find_of_row(place_name(connection, "reading", id), fault);
    }
    done
}

/// Every other record's bytes beside its own checksum.
fn records(connection: &Connection, checked: &mut Checked) -> Result<(), StoreError> {
    let doing = "read a lever's records";
    if !has_table(connection, "lever_record")? {
        return Ok(());
    }
    let mut statement = connection
        .prepare("SELECT id, epoch, number, crc32, bytes FROM lever_record NOT INDEXED")
        .doing(doing)?;
    let mut rows = statement.query([]).doing(doing)?;
    while let Some(row) = rows.next().doing(doing)? {
        checked.record_count += 1;
        let id: i64 = row.get(0).doing(doing)?;
        let fits = || -> Result<bool, rusqlite::Error> {
            let bytes: Vec<u8> = row.get(4)?;
            Ok(record_checksum(row.get(1)?, row.get(2)?, &bytes) == row.get::<_, u32>(3)?)
        };
        if !fits().unwrap_or(false) {
            let fault = "is not what the lever sent: its own checksum does not match";
            checked.find_of_row(place_name(connection, "lever_record", id), fault);
        }
    }
    Ok(())
}
