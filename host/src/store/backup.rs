//! A store into one file and back: copied at one moment, checked, and only then put in its place.
//!
//! Deliberately not here: what is checked (`verify`), and moving single instruments
//! ([`crate::exchange`]).
//!
//! Invariants: under the name asked for stands the old file or the new one, whole, at every moment;
//! a store that is replaced is kept beside; nothing damaged takes the place of anything.

use std::fs::{self, File};
use std::io::{Error, ErrorKind};
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, OpenFlags};

use super::error::{Doing, StoreError};
use super::migrate::{self, APPLICATION_ID, SCHEMA_VERSION};
use super::verify::{Checked, verify};
use super::{FILE_NAME, Store};

/// How long a restore waits for whoever else has the store open.
const IN_USE_TIMEOUT: Duration = Duration::from_secs(3);
/// Names tried for a file beside.
const NAME_TRIES_MAX: u32 = 1000;

/// What a restore did.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Restored {
    /// The check of what was restored.
    pub checked: Checked,
    /// Where the store is that was there before; `None` when there was none.
    pub aside: Option<PathBuf>,
}

impl Store {
    /// Copies the store as it is at this moment into a file, checks the copy, and only then gives
    /// it the name, over an earlier backup of that name.
    ///
    /// # Errors
    /// [`StoreError::Damaged`] when the copy does not check; [`StoreError::OwnFile`] for the
    /// store's own file; when the file cannot be written or the database fails. What stood under
    /// the name stays.
    pub fn backup(&self, target: &Path) -> Result<Checked, StoreError> {
        if same_file(&self.path, target) {
            return Err(StoreError::OwnFile { path: target.to_path_buf() });
        }
        let (part, mut checked) = copy_beside(&self.connection, target)?;
        put_in_place(&part, target)?;
        checked.path = target.to_path_buf();
        Ok(checked)
    }
}

/// Puts a backup in the place of the store in a folder, or where none is yet. `stamp` goes into
/// the name the replaced store is kept under.
///
/// # Errors
/// [`StoreError::Damaged`] for a backup that does not check, [`StoreError::InUse`] when another
/// process has the store open, [`StoreError::NewerSchema`] and [`StoreError::NotAStore`] for
/// either file, and when a file cannot be written. The store is then as it was.
pub fn restore(folder: &Path, from: &Path, stamp: &str) -> Result<Restored, StoreError> {
    let target = folder.join(FILE_NAME);
    if same_file(&target, from) {
        return Err(StoreError::OwnFile { path: from.to_path_buf() });
    }
    sound(verify(from)?)?;
    fs::create_dir_all(folder)
        .map_err(|source| StoreError::Folder { path: folder.to_path_buf(), source })?;
    let source = open(from)?;
    // A log beside it stays as it is.
    source.set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true).doing("be opened")?;
    let (part, mut checked) = copy_beside(&source, &target)?;
    drop(source);
    let replaced = replace(&part, &target, stamp).inspect_err(|_| drop(fs::remove_file(&part)))?;
    checked.path = target;
    Ok(Restored { checked, aside: replaced })
}

/// Puts `part` in the place of the store, which is kept under another name.
fn replace(part: &Path, target: &Path, stamp: &str) -> Result<Option<PathBuf>, StoreError> {
    let failed = |source| StoreError::File { path: target.to_path_buf(), source };
    if !target.try_exists().map_err(failed)? {
        put_in_place(part, target)?;
        return Ok(None);
    }
    // Held until the new file has the name, so that nobody writes into the old one meanwhile.
    let held = hold_alone(target)?;
    let aside = free_name(target, stamp)?;
    if held.is_none() {
        // Nobody can read it any more: what SQLite keeps beside goes with it, for it would be
        // taken for a part of the new one.
        for ending in ["-wal", "-shm", "-journal"] {
            let beside = with_ending(target, ending);
            if beside.exists() {
                fs::rename(&beside, with_ending(&aside, ending)).map_err(failed)?;
            }
        }
    }
    // A second name first: at no moment is there no store. Where a disk knows no second names, a
    // copy does the same.
    if fs::hard_link(target, &aside).is_err() {
        fs::copy(target, &aside).and_then(|_| File::open(&aside)?.sync_all()).map_err(failed)?;
    }
    put_in_place(part, target).inspect_err(|_| drop(fs::remove_file(&aside)))?;
    drop(held);
    Ok(Some(aside))
}

/// The store, opened so that nobody else has it, all of it in its one file; `None` where it is too
/// damaged to be opened.
fn hold_alone(target: &Path) -> Result<Option<Connection>, StoreError> {
    let path = || target.to_path_buf();
    let connection = open(target)?;
    connection.busy_timeout(IN_USE_TIMEOUT).doing("set its waiting time")?;
    let questions = migrate::pragma(&connection, "application_id")
        .and_then(|id| Ok((id, migrate::pragma(&connection, "user_version")?)));
    match questions {
        Ok((APPLICATION_ID, found)) if found > SCHEMA_VERSION => {
            return Err(StoreError::NewerSchema { path: path(), found, known: SCHEMA_VERSION });
        }
        Ok(_) => {}
        Err(error) if is_busy(&error) => return Err(StoreError::InUse { path: path() }),
        Err(_) => return Ok(None),
    }
    let alone = connection
        .query_row("PRAGMA journal_mode = DELETE", [], |row| row.get::<_, String>(0))
        .and_then(|_| connection.execute_batch("PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE"));
    match alone {
        Ok(()) => Ok(Some(connection)),
        Err(error) if is_busy(&error) => Err(StoreError::InUse { path: path() }),
        Err(_) => Ok(None),
    }
}

fn is_busy(error: &rusqlite::Error) -> bool {
    use rusqlite::ErrorCode::{DatabaseBusy, DatabaseLocked};
    matches!(error.sqlite_error_code(), Some(DatabaseBusy | DatabaseLocked))
}

/// Opens a file that is there; makes none.
fn open(path: &Path) -> Result<Connection, StoreError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    Connection::open_with_flags(path, flags).doing("be opened")
}

/// Copies a database into a new file in the folder of `target`, on the disk and checked.
fn copy_beside(connection: &Connection, target: &Path) -> Result<(PathBuf, Checked), StoreError> {
    let name = target.file_name().unwrap_or_default().to_string_lossy();
    let part = free_name(&target.with_file_name(format!(".{name}")), "part")?;
    let made = || -> Result<Checked, StoreError> {
        let text = part.to_str().ok_or_else(|| StoreError::File {
            path: target.to_path_buf(),
            source: Error::new(ErrorKind::InvalidFilename, "its name is no Unicode text"),
        })?;
        connection.execute("VACUUM INTO ?1", [text]).doing("be copied")?;
        let failed = |source| StoreError::File { path: target.to_path_buf(), source };
        File::open(&part).and_then(|file| file.sync_all()).map_err(failed)?;
        sound(verify(&part)?)
    };
    match made() {
        Ok(checked) => Ok((part, checked)),
        Err(error) => {
            // The first failure is the one to tell.
            let _ = fs::remove_file(&part);
            Err(error)
        }
    }
}

/// What was checked, when nothing was wrong with it.
fn sound(checked: Checked) -> Result<Checked, StoreError> {
    match checked.findings.first() {
        None => Ok(checked),
        Some(first) => Err(StoreError::Damaged {
            path: checked.path.clone(),
            count: checked.finding_count,
            first: format!("{} {}", first.place, first.fault),
        }),
    }
}

/// Gives a file that is on the disk its name, on the disk as well.
fn put_in_place(part: &Path, target: &Path) -> Result<(), StoreError> {
    let failed = |source| StoreError::File { path: target.to_path_buf(), source };
    fs::rename(part, target).map_err(failed)?;
    sync_folder(target).map_err(failed)
}

/// Has the system write the folder of a file: a new name in it is not on the disk before.
fn sync_folder(path: &Path) -> Result<(), Error> {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    match File::open(folder).and_then(|folder| folder.sync_all()) {
        // Systems that cannot open a folder keep names by themselves.
        Err(error) if cfg!(unix) => Err(error),
        _ => Ok(()),
    }
}

/// A name in the folder of `path` that nothing has.
fn free_name(path: &Path, what: &str) -> Result<PathBuf, StoreError> {
    let process = std::process::id();
    for count in 0..NAME_TRIES_MAX {
        let name = match count {
            0 => with_ending(path, &format!(".{what}")),
            _ => with_ending(path, &format!(".{what}-{process}-{count}")),
        };
        if !name.exists() {
            return Ok(name);
        }
    }
    let source = Error::new(ErrorKind::AlreadyExists, "too many files of its kind beside it");
    Err(StoreError::File { path: path.to_path_buf(), source })
}

fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

fn same_file(one: &Path, other: &Path) -> bool {
    match (fs::canonicalize(one), fs::canonicalize(other)) {
        (Ok(one), Ok(other)) => one == other,
        _ => false,
    }
}
