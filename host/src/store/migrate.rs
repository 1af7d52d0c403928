//! Schema steps from an empty file to the newest.
//!
//! Invariants: a step, once released, never changes; all missing steps run in one transaction;
//! a file of a newer schema or of another program is left as it is.

use std::path::Path;
use std::time::Duration;

use rusqlite::{Connection, TransactionBehavior};

use super::error::{Doing, StoreError};
use super::seal::{self, SEALED};

/// `application_id` of a pinhold store: "PINH".
pub const APPLICATION_ID: i64 = 0x5049_4E48;

/// What brings a store from schema n to n + 1.
struct Step {
    /// Its SQL.
    sql: &'static str,
    /// Whether rows there are before must be sealed anew: by a step that changes the columns of a
    /// sealed table.
    seals: bool,
}

const fn step(sql: &'static str) -> Step {
    Step { sql, seals: false }
}

/// The steps, in order from schema 0.
const STEPS: [Step; 8] = [
    step(include_str!("schema/1.sql")),
    step(include_str!("schema/2.sql")),
    step(include_str!("schema/3.sql")),
    step(include_str!("schema/4.sql")),
    step(include_str!("schema/5.sql")),
    step(include_str!("schema/6.sql")),
    Step { sql: include_str!("schema/7.sql"), seals: true },
    step(include_str!("schema/8.sql")),
];

/// Newest schema this library reads and writes.
pub const SCHEMA_VERSION: i64 = STEPS.len() as i64;

/// How long a process waits for another one's transaction.
pub(super) const BUSY_TIMEOUT: Duration = Duration::from_secs(15);
/// Tries to switch to the write-ahead log while another process does the same.
const JOURNAL_TRIES_MAX: u32 = 100;
/// Pause between them.
const JOURNAL_PAUSE: Duration = Duration::from_millis(50);

/// Checks that a database is ours and not newer, sets durability, and runs the missing steps.
pub(super) fn prepare(connection: &mut Connection, path: &Path) -> Result<(), StoreError> {
    connection.busy_timeout(BUSY_TIMEOUT).doing("set its waiting time")?;
    // One snapshot: another process may be making the store between two of the questions.
    let snapshot = connection.transaction().doing("be read")?;
    let found = check(&snapshot, path)?;
    drop(snapshot);
    set_write_ahead_log(connection)?;
    connection
        .execute_batch("PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON;")
        .doing("be made durable")?;
    seal::register(connection)?;
    if found < SCHEMA_VERSION {
        migrate(connection, path)?;
    }
    seal::keep_sealed(connection)
}

/// The schema found; refuses what is not ours.
fn check(connection: &Connection, path: &Path) -> Result<i64, StoreError> {
    let not_a_store = || StoreError::NotAStore { path: path.to_path_buf() };
    let application = match pragma(connection, "application_id") {
        Ok(value) => value,
        Err(rusqlite::Error::SqliteFailure(failure, _))
            if failure.code == rusqlite::ErrorCode::NotADatabase =>
        {
            return Err(not_a_store());
        }
        other => other.doing("be opened")?,
    };
    let found = pragma(connection, "user_version").doing("tell its schema")?;
    let table_count: i64 = connection
        .query_row("SELECT count(*) FROM sqlite_master", [], |row| row.get(0))
        .doing("list its tables")?;
    let empty = application == 0 && found == 0 && table_count == 0;
    if application != APPLICATION_ID && !empty {
        return Err(not_a_store());
    }
    if found > SCHEMA_VERSION {
        let path = path.to_path_buf();
        return Err(StoreError::NewerSchema { path, found, known: SCHEMA_VERSION });
    }
    Ok(found)
}

/// Switches to the write-ahead log. Needs the file alone for a moment, and SQLite does not wait
/// for that by itself.
fn set_write_ahead_log(connection: &Connection) -> Result<(), StoreError> {
    let mut tries = 0;
    loop {
        let switched =
            connection.query_row("PRAGMA journal_mode = WAL", [], |row| row.get::<_, String>(0));
        match switched {
            Err(rusqlite::Error::SqliteFailure(failure, _))
                if failure.code == rusqlite::ErrorCode::DatabaseBusy
                    && tries < JOURNAL_TRIES_MAX =>
            {
                tries += 1;
                std::thread::sleep(JOURNAL_PAUSE);
            }
            other => return other.map(|_| ()).doing("switch to its write-ahead log"),
        }
    }
}

/// Runs the missing steps in one transaction, so that a crash leaves the old schema whole.
fn migrate(connection: &mut Connection, path: &Path) -> Result<(), StoreError> {
    let doing = "be brought to the newest schema";
    let transaction =
        connection.transaction_with_behavior(TransactionBehavior::Immediate).doing(doing)?;
    // Another process may have run them while this one waited.
    let found = check(&transaction, path)?;
    let done = usize::try_from(found).unwrap_or(0);
    run(&transaction, done)?;
    transaction.pragma_update(None, "application_id", APPLICATION_ID).doing(doing)?;
    transaction.pragma_update(None, "user_version", SCHEMA_VERSION).doing(doing)?;
    transaction.commit().doing(doing)
}

/// Runs the steps from the schema `done` on, and seals what they ask for.
fn run(connection: &Connection, done: usize) -> Result<(), StoreError> {
    for step in &STEPS[done..] {
        connection.execute_batch(step.sql).doing("be brought to the newest schema")?;
    }
    if STEPS[done..].iter().any(|step| step.seals) {
        SEALED.iter().try_for_each(|table| seal::seal_all(connection, table))?;
    }
    Ok(())
}

/// An empty store of a schema, in memory.
pub(super) fn in_memory_of(version: i64) -> Result<Connection, StoreError> {
    let doing = "be made in memory";
    let connection = Connection::open_in_memory().doing(doing)?;
    seal::register(&connection)?;
    let count = usize::try_from(version).unwrap_or(0).min(STEPS.len());
    STEPS[..count].iter().try_for_each(|step| connection.execute_batch(step.sql)).doing(doing)?;
    Ok(connection)
}

/// An empty store of the newest schema, in memory.
#[cfg(test)]
pub(super) fn in_memory() -> Result<Connection, StoreError> {
    in_memory_of(SCHEMA_VERSION)
}

pub(super) fn pragma(connection: &Connection, name: &str) -> Result<i64, rusqlite::Error> {
    connection.pragma_query_value(None, name, |row| row.get(0))
}
