//! What can go wrong with the store, one sentence each.

use std::path::PathBuf;

use thiserror::Error;

/// Why the store did not do what it was asked.
#[derive(Debug, Error)]
pub enum StoreError {
    /// The data folder could not be made.
    #[error("the data folder {} could not be made: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// A file could not be read or written.
    #[error("{} cannot be used: {source}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// A file that was to be relied upon is damaged.
    #[error(
        "{} is damaged, nothing was changed: {count} {} found, the first: {first}; `pinhold \
         verify` names them all",
        path.display(), if *count == 1 { "fault" } else { "faults" }
    )]
    Damaged {
        /// The file.
        path: PathBuf,
        /// Faults found.
        count: u64,
        /// The first of them.
        first: String,
    },
    /// The store's own file was named where another one is wanted.
    #[error("{} is the store itself; name another file", path.display())]
    OwnFile {
        /// The file.
        path: PathBuf,
    },
    /// Another process has the store open.
    #[error(
        "{} is in use by another program; nothing was changed: end that first, then try again",
        path.display()
    )]
    InUse {
        /// The file.
        path: PathBuf,
    },
    /// Written by a newer pinhold; nothing was touched.
    #[error(
        "{} was written by a newer pinhold (schema {found}, this one knows up to {known}); \
         nothing was changed: update pinhold, or choose another folder with --data",
        path.display()
    )]
    NewerSchema {
        /// The database file.
        path: PathBuf,
        /// Its schema.
        found: i64,
        /// The newest schema known here.
        known: i64,
    },
    /// A file of that name that is something else.
    #[error(
        "{} is not a pinhold store; nothing was changed: move it away, or choose another folder \
         with --data",
        path.display()
    )]
    NotAStore {
        /// The file.
        path: PathBuf,
    },
    /// The database refused or failed.
    #[error("the store could not {doing}: {source}")]
    Database {
        /// What was being done.
        doing: &'static str,
        /// The database's reason.
        source: rusqlite::Error,
    },
    /// A stored value that no version of pinhold writes.
    #[error("the store holds a value it never wrote: {what} is {value}")]
    Corrupt {
        /// The column.
        what: &'static str,
        /// What it held.
        value: String,
    },
    /// A record from elsewhere that cannot be one.
    #[error("a record of kind '{kind}' was refused: {why}")]
    NotTaken {
        /// Its kind.
        kind: String,
        /// What is wrong with it.
        why: String,
    },
    /// An instrument of that name exists.
    #[error("an instrument named '{name}' exists already")]
    InstrumentExists {
        /// The name.
        name: String,
    },
    /// No instrument of that name.
    #[error("there is no instrument named '{name}'{}", suggestion(nearest))]
    NoSuchInstrument {
        /// The name asked for.
        name: String,
        /// Names that look like it, nearest first.
        nearest: Vec<String>,
    },
    /// A survey of that identity exists.
    #[error("a survey with identity {uid:#018x} exists already")]
    SurveyExists {
        /// The identity.
        uid: u64,
    },
    /// Two different records under one number: one of them is not what the lever measured.
    #[error(
        "record {number} of lever {device:016x}, epoch {epoch}, is stored already with other \
         content (checksum {stored:08x}, now {offered:08x}): another lever carries its identity, \
         or its log was set back; the new one was not stored and stays on the lever. Fetch it into \
         another folder with --data and compare"
    )]
    RecordConflict {
        /// Device identity.
        device: u64,
        /// Log epoch.
        epoch: u32,
        /// Record number.
        number: u32,
        /// Checksum in the store.
        stored: u32,
        /// Checksum offered.
        offered: u32,
    },
    /// A calibration under a number that is taken by another one.
    #[error(
        "calibration {number} of lever {device:016x} is stored already with other content; nothing \
         was stored: calibrate again, which gives it the next number"
    )]
    CalibrationExists {
        /// Device identity.
        device: u64,
        /// Its number.
        number: u32,
    },
    /// A calibration, check or trial pin that would not come back from the store as it is.
    #[error("{what} was not stored, for it cannot be one: {why} is impossible")]
    NotStorable {
        /// What it is.
        what: &'static str,
        /// What about it.
        why: &'static str,
    },
    /// A batch of corrections that cannot be undone: there is none, or it is undone.
    #[error("there is no correction of this survey left to undo")]
    NothingToUndo,
    /// A trial pin that is not there, or was withdrawn before.
    #[error(
        "the instrument has no trial pin {number} that counts; 'pinhold trial list' lists those \
         there are"
    )]
    NoSuchTrial {
        /// Its number.
        number: i64,
    },
    /// A climate reading or repair that is not there, or was withdrawn before.
    #[error("the instrument has no {what} {number} that counts; list those there are")]
    NoSuchEntry {
        /// What it would be.
        what: &'static str,
        /// Its number.
        number: i64,
    },
    /// A reading given to a survey that has gone elsewhere in the meantime.
    #[error(
        "record {number} of lever {device:016x} is not in the inbox (any more); 'pinhold \
         assign' without a name lists what is"
    )]
    NotInInbox {
        /// Device identity.
        device: u64,
        /// Record number.
        number: u32,
    },
}

/// `; did you mean 'a' or 'b'?`, or nothing.
fn suggestion(nearest: &[String]) -> String {
    if nearest.is_empty() {
        return String::new();
    }
    let quoted: Vec<String> = nearest.iter().map(|name| format!("'{name}'")).collect();
    format!("; did you mean {}?", quoted.join(" or "))
}

/// Adds what was being done to a database error.
pub(super) trait Doing<T> {
    /// Names the deed, as it stands after "the store could not".
    fn doing(self, doing: &'static str) -> Result<T, StoreError>;
}

impl<T> Doing<T> for Result<T, rusqlite::Error> {
    fn doing(self, doing: &'static str) -> Result<T, StoreError> {
        self.map_err(|source| StoreError::Database { doing, source })
    }
}
