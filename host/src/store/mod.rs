//! The store: instruments, surveys and readings in one SQLite file, `pinhold.db`.
//!
//! The only place with SQL. Deliberately not here: what a reading means (the analysis), where
//! time and identities come from (the caller hands both in).
//!
//! Invariants: what a call reports as stored is on the disk (write-ahead log, synchronous FULL);
//! a call stores all of what it was given or nothing; readings, records, calibrations, checks,
//! trial pins, climate readings and repairs are never changed or deleted, a correction or
//! withdrawal stands beside them;
//! numbers are whole, with the unit in the column's name.

mod backup;
mod calibrations;
mod checks;
mod climate;
mod codes;
pub mod condition;
mod corrections;
mod error;
mod hand;
mod instruments;
mod lever;
mod logs;
mod migrate;
pub mod moving;
mod place_names;
mod plans;
mod records;
mod repairs;
pub(crate) mod seal;
mod strings;
mod surveys;
mod trials;
mod verdicts;
mod verify;
mod wal;
mod withdrawn;

use std::path::{Path, PathBuf};

use rusqlite::Connection;

pub use backup::{Restored, restore};
pub use climate::{NewClimate, StoredClimate};
pub use corrections::{Batch, BatchId, BatchKind, Cause, Move, Moved};
pub use error::StoreError;
pub use instruments::{InstrumentFacts, InstrumentId, InstrumentRecord, NewInstrument};
pub use lever::{LeverReading, ReadingId};
pub use logs::{Contact, KnownLog};
pub use migrate::{APPLICATION_ID, SCHEMA_VERSION};
pub use plans::StoredPlan;
pub use records::{Committed, Held, InboxReading, Named, NewRecord, RecordName};
pub use repairs::{NewRepair, RepairKind, StoredRepair};
pub use strings::StoredScale;
pub use surveys::{NewSurvey, Survey, SurveyId, SurveyReadings, SurveySource};
pub use trials::{NewTrial, StoredTrial, TrialId, TrialSource};
pub use verdicts::StoredVerdict;
pub use verify::{Checked, FINDING_COUNT_NAMED, Finding, SQLITE_MAGIC, verify};

/// Name of the database file within the data folder.
pub const FILE_NAME: &str = "pinhold.db";

/// An open store.
///
/// Several processes may hold the same one; each waits for the others' transactions.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    path: PathBuf,
}

impl Store {
    /// Opens the store in a folder, making folder and file where they are missing and bringing
    /// an older schema to the newest.
    ///
    /// # Errors
    /// When the folder cannot be made or the file is another program's, newer, or unreadable; a
    /// refused file is left as it was.
    pub fn open(folder: &Path) -> Result<Store, StoreError> {
        std::fs::create_dir_all(folder)
            .map_err(|source| StoreError::Folder { path: folder.to_path_buf(), source })?;
        let path = folder.join(FILE_NAME);
        let mut connection = Connection::open(&path)
            .map_err(|source| StoreError::Database { doing: "be opened", source })?;
        migrate::prepare(&mut connection, &path)?;
        Ok(Store { connection, path })
    }

    /// The database file.
    pub fn path(&self) -> &Path {
        &self.path
    }
}
