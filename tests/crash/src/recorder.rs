//! SQLite's own file system, with every write, truncation, synchronisation and deletion noted.
//!
//! Everything is passed on unchanged. Registered as the default, so that the code under test opens
//! its files as ever. Shared memory is passed on and not noted: it is not on the disk.

use std::ffi::{CStr, c_char, c_int, c_void};
use std::mem::size_of;
use std::ptr::{null_mut, with_exposed_provenance_mut};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};

use rusqlite::ffi;

/// Something the store had the system do, or the test noted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// Bytes at an offset of a file.
    Write {
        /// The file's name without its folder.
        file: String,
        /// Where.
        offset: usize,
        /// What.
        bytes: Vec<u8>,
    },
    /// A file cut to a length.
    Truncate {
        /// The file's name without its folder.
        file: String,
        /// The length left.
        length: usize,
    },
    /// Everything written to a file before is on the disk.
    Sync {
        /// The file's name without its folder.
        file: String,
    },
    /// A file deleted.
    Delete {
        /// The file's name without its folder.
        file: String,
    },
    /// The test was told that so much is stored.
    Acknowledged(u32),
}

/// The log; `None` while nothing is recorded.
static LOG: Mutex<Option<Vec<Event>>> = Mutex::new(None);
/// SQLite's own file system, by address; 0 before [`install`].
static REAL: AtomicUsize = AtomicUsize::new(0);

fn log() -> MutexGuard<'static, Option<Vec<Event>>> {
    // A test that panicked while it held the log leaves whole events.
    LOG.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Notes an event while recording.
fn note(event: Event) {
    if let Some(events) = log().as_mut() {
        events.push(event);
    }
}

/// Notes that so much was reported as stored.
pub fn acknowledge(count: u32) {
    note(Event::Acknowledged(count));
}

/// Records what `work` has written.
pub fn record(work: impl FnOnce()) -> Vec<Event> {
    install();
    *log() = Some(Vec::new());
    work();
    log().take().unwrap_or_default()
}

/// An open file: SQLite's head, the name noted, and behind it the real file.
#[repr(C)]
struct Recorded {
    head: ffi::sqlite3_file,
    /// A leaked name, null for files without one.
    name: *const c_char,
}

/// Makes the recorder the default file system, once.
fn install() {
    static INSTALLED: Mutex<bool> = Mutex::new(false);
    let mut installed = INSTALLED.lock().unwrap_or_else(PoisonError::into_inner);
    if *installed {
        return;
    }
    // SAFETY: SQLite's default file system lives as long as the process; a copy of its table with
    // two functions exchanged is registered and never freed. The functions kept take their own
    // table's argument for nothing but its name length limit, which is copied.
    unsafe {
        let real = ffi::sqlite3_vfs_find(std::ptr::null());
        assert!(!real.is_null(), "SQLite has no file system");
        REAL.store(real.expose_provenance(), Ordering::SeqCst);
        let mut table = std::ptr::read(real);
        table.zName = c"recorder".as_ptr();
        table.pNext = null_mut();
        table.szOsFile += size_of::<Recorded>() as c_int;
        table.xOpen = Some(open);
        table.xDelete = Some(delete);
        let done = ffi::sqlite3_vfs_register(Box::leak(Box::new(table)), 1);
        assert_eq!(done, ffi::SQLITE_OK, "the recorder was not registered");
    }
    *installed = true;
}

fn real_system() -> *mut ffi::sqlite3_vfs {
    with_exposed_provenance_mut(REAL.load(Ordering::SeqCst))
}

/// The file's name without its folder.
///
/// # Safety
/// `name` is null or a C string.
unsafe fn short_name(name: *const c_char) -> Option<String> {
    if name.is_null() {
        return None;
    }
    // SAFETY: as the caller promises.
    let name = unsafe { CStr::from_ptr(name) }.to_string_lossy();
    Some(name.rsplit('/').next().unwrap_or_default().to_owned())
}

/// The real file behind a recorded one.
///
/// # Safety
/// `file` was made by [`open`].
unsafe fn behind(file: *mut ffi::sqlite3_file) -> *mut ffi::sqlite3_file {
    // SAFETY: SQLite gives `szOsFile` bytes, ours and behind them those of the real file.
    unsafe { file.cast::<u8>().add(size_of::<Recorded>()).cast() }
}

/// The name of a recorded file.
///
/// # Safety
/// As [`behind`].
unsafe fn name_of(file: *mut ffi::sqlite3_file) -> Option<String> {
    // SAFETY: as the caller promises.
    unsafe { short_name((*file.cast::<Recorded>()).name) }
}

unsafe extern "C" fn open(
    _: *mut ffi::sqlite3_vfs,
    name: ffi::sqlite3_filename,
    file: *mut ffi::sqlite3_file,
    flags: c_int,
    out_flags: *mut c_int,
) -> c_int {
    // SAFETY: SQLite hands a name or null and room for a file of our size.
    unsafe {
        let real = real_system();
        let Some(real_open) = (*real).xOpen else { return ffi::SQLITE_ERROR };
        let inner = behind(file);
        let done = real_open(real, name, inner, flags, out_flags);
        let recorded = file.cast::<Recorded>();
        (*recorded).name = if name.is_null() {
            std::ptr::null()
        } else {
            CStr::from_ptr(name).to_owned().into_raw()
        };
        // Without methods SQLite does not close it: so it is for the real one too.
        (*recorded).head.pMethods =
            if (*inner).pMethods.is_null() { std::ptr::null() } else { &METHODS.0 };
        done
    }
}

unsafe extern "C" fn delete(
    _: *mut ffi::sqlite3_vfs,
    name: *const c_char,
    sync_folder: c_int,
) -> c_int {
    // SAFETY: SQLite hands a name.
    unsafe {
        let real = real_system();
        let Some(real_delete) = (*real).xDelete else { return ffi::SQLITE_ERROR };
        let done = real_delete(real, name, sync_folder);
        if let (ffi::SQLITE_OK, Some(file)) = (done, short_name(name)) {
            note(Event::Delete { file });
        }
        done
    }
}

/// A method that only passes on.
macro_rules! passed_on {
    ($name:ident, $method:ident $(, $argument:ident: $type:ty)*) => {
        unsafe extern "C" fn $name(file: *mut ffi::sqlite3_file $(, $argument: $type)*) -> c_int {
            // SAFETY: the arguments are SQLite's, for a file opened by `open`.
            unsafe {
                let real = behind(file);
                match (*(*real).pMethods).$method {
                    Some(method) => method(real $(, $argument)*),
                    None => ffi::SQLITE_ERROR,
                }
            }
        }
    };
}

passed_on!(close, xClose);
passed_on!(read, xRead, to: *mut c_void, amount: c_int, offset: ffi::sqlite3_int64);
passed_on!(real_write, xWrite, from: *const c_void, amount: c_int, offset: ffi::sqlite3_int64);
passed_on!(real_truncate, xTruncate, length: ffi::sqlite3_int64);
passed_on!(real_sync, xSync, flags: c_int);
passed_on!(file_size, xFileSize, length: *mut ffi::sqlite3_int64);
passed_on!(lock, xLock, kind: c_int);
passed_on!(unlock, xUnlock, kind: c_int);
passed_on!(check_reserved, xCheckReservedLock, is_locked: *mut c_int);
passed_on!(control, xFileControl, what: c_int, argument: *mut c_void);
passed_on!(sector_size, xSectorSize);
passed_on!(characteristics, xDeviceCharacteristics);
passed_on!(shm_map, xShmMap, page: c_int, size: c_int, extend: c_int, at: *mut *mut c_void);
passed_on!(shm_lock, xShmLock, offset: c_int, count: c_int, flags: c_int);
passed_on!(shm_unmap, xShmUnmap, delete: c_int);

unsafe extern "C" fn shm_barrier(file: *mut ffi::sqlite3_file) {
    // SAFETY: as for the methods passed on.
    unsafe {
        let real = behind(file);
        if let Some(method) = (*(*real).pMethods).xShmBarrier {
            method(real);
        }
    }
}

unsafe extern "C" fn write(
    file: *mut ffi::sqlite3_file,
    from: *const c_void,
    amount: c_int,
    offset: ffi::sqlite3_int64,
) -> c_int {
    // SAFETY: SQLite hands `amount` bytes.
    unsafe {
        let done = real_write(file, from, amount, offset);
        if let (ffi::SQLITE_OK, Some(name)) = (done, name_of(file)) {
            let bytes = std::slice::from_raw_parts(from.cast::<u8>(), amount as usize).to_vec();
            note(Event::Write { file: name, offset: offset as usize, bytes });
        }
        done
    }
}

unsafe extern "C" fn truncate(file: *mut ffi::sqlite3_file, length: ffi::sqlite3_int64) -> c_int {
    // SAFETY: as for the methods passed on.
    unsafe {
        let done = real_truncate(file, length);
        if let (ffi::SQLITE_OK, Some(file)) = (done, name_of(file)) {
            note(Event::Truncate { file, length: length as usize });
        }
        done
    }
}

unsafe extern "C" fn sync(file: *mut ffi::sqlite3_file, flags: c_int) -> c_int {
    // SAFETY: as for the methods passed on.
    unsafe {
        let done = real_sync(file, flags);
        if let (ffi::SQLITE_OK, Some(file)) = (done, name_of(file)) {
            note(Event::Sync { file });
        }
        done
    }
}

/// Version 2: with shared memory, without memory maps, so that every write comes by.
struct Methods(ffi::sqlite3_io_methods);
// SAFETY: a table of functions that is never written.
unsafe impl Sync for Methods {}

static METHODS: Methods = Methods(ffi::sqlite3_io_methods {
    iVersion: 2,
    xClose: Some(close),
    xRead: Some(read),
    xWrite: Some(write),
    xTruncate: Some(truncate),
    xSync: Some(sync),
    xFileSize: Some(file_size),
    xLock: Some(lock),
    xUnlock: Some(unlock),
    xCheckReservedLock: Some(check_reserved),
    xFileControl: Some(control),
    xSectorSize: Some(sector_size),
    xDeviceCharacteristics: Some(characteristics),
    xShmMap: Some(shm_map),
    xShmLock: Some(shm_lock),
    xShmBarrier: Some(shm_barrier),
    xShmUnmap: Some(shm_unmap),
    xFetch: None,
    xUnfetch: None,
});
