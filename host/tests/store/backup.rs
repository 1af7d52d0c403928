//! Copies of a store, and stores of a copy.

use std::fs;
use std::path::Path;

use pinhold::store::{Store, StoreError, restore, verify};
use rusqlite::Connection;
use tempfile::TempDir;

use crate::everything::{dump, fill};

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

fn dump_of(path: &Path) -> Vec<String> {
    dump(&Connection::open(path).unwrap()).unwrap()
}

/// Flips a byte of a reading's own, so that nothing but its seal and checksum can tell.
fn rot(path: &Path) {
    let mut bytes = fs::read(path).unwrap();
    let at = bytes.windows(10).position(|window| window == b"strings.cs").unwrap();
    bytes[at] ^= 1;
    fs::write(path, bytes).unwrap();
}

#[test]
fn a_backup_holds_everything_and_takes_the_place_of_an_older_one() {
    let (folder, out) = (TempDir::new().unwrap(), TempDir::new().unwrap());
    let mut store = Store::open(folder.path()).unwrap();
    fill(&mut store, "one", 7, 1);
    let target = out.path().join("b.db");
    assert_eq!(store.backup(&target).unwrap().counts[0], 1);
    assert_eq!(dump_of(&target), dump_of(store.path()));
    fill(&mut store, "two", 17, 2);
    let checked = store.backup(&target).unwrap();
    assert_eq!((checked.path.as_path(), checked.counts[0]), (target.as_path(), 2));
    assert_eq!(dump_of(&target), dump_of(store.path()));
    assert_eq!(names(out.path()), ["b.db"]);
    assert!(matches!(
        store.backup(&folder.path().join("pinhold.db")),
        Err(StoreError::OwnFile { .. })
    ));
    let nowhere = store.backup(&out.path().join("no/such/b.db")).unwrap_err();
    assert!(nowhere.to_string().starts_with("the store could not be copied"), "{nowhere}");
}

#[test]
fn a_damaged_store_takes_no_good_backups_place() {
    let (folder, out) = (TempDir::new().unwrap(), TempDir::new().unwrap());
    let mut store = Store::open(folder.path()).unwrap();
    fill(&mut store, "one", 7, 1);
    let target = out.path().join("b.db");
    store.backup(&target).unwrap();
    drop(store);
    let good = fs::read(&target).unwrap();
    rot(&folder.path().join("pinhold.db"));
    let store = Store::open(folder.path()).unwrap();
    let refused = store.backup(&target).unwrap_err().to_string();
    assert!(refused.contains("1 fault found, the first: the string scale of"), "{refused}");
    assert_eq!(fs::read(&target).unwrap(), good);
    assert_eq!(names(out.path()), ["b.db"]);
}

#[test]
fn a_restore_keeps_what_it_replaces() {
    let (folder, out) = (TempDir::new().unwrap(), TempDir::new().unwrap());
    let mut store = Store::open(folder.path()).unwrap();
    fill(&mut store, "one", 7, 1);
    let backup = out.path().join("b.db");
    store.backup(&backup).unwrap();
    fill(&mut store, "two", 17, 2);
    let (old, new) = (dump_of(&backup), dump_of(store.path()));
    assert!(matches!(restore(folder.path(), &backup, "r"), Err(StoreError::InUse { .. })));
    let path = store.path().to_path_buf();
    drop(store);
    assert!(matches!(restore(folder.path(), &path, "r"), Err(StoreError::OwnFile { .. })));
    let restored = restore(folder.path(), &backup, "replaced-then").unwrap();
    let aside = restored.aside.unwrap();
    assert_eq!(names(folder.path()), ["pinhold.db", "pinhold.db.replaced-then"]);
    assert_eq!((dump_of(&path), dump_of(&aside)), (old.clone(), new));
    let empty = TempDir::new().unwrap();
    let restored = restore(&empty.path().join("deep"), &backup, "r").unwrap();
    assert_eq!((restored.aside, dump_of(&restored.checked.path)), (None, old));
}

#[test]
fn a_damaged_backup_is_refused_and_a_damaged_store_replaced() {
    let (folder, out) = (TempDir::new().unwrap(), TempDir::new().unwrap());
    let mut store = Store::open(folder.path()).unwrap();
    fill(&mut store, "one", 7, 1);
    let (good, bad) = (out.path().join("good.db"), out.path().join("bad.db"));
    store.backup(&good).unwrap();
    drop(store);
    fs::copy(&good, &bad).unwrap();
    rot(&bad);
    let path = folder.path().join("pinhold.db");
    let before = fs::read(&path).unwrap();
    assert!(matches!(restore(folder.path(), &bad, "r"), Err(StoreError::Damaged { .. })));
    assert_eq!(fs::read(&path).unwrap(), before);
    for broken in [b"no database at all".to_vec(), before[..before.len() / 2].to_vec()] {
        fs::write(&path, &broken).unwrap();
        // A log that belongs to the damaged file must not be taken for one of the new.
        fs::write(folder.path().join("pinhold.db-wal"), b"a log").unwrap();
        let aside = restore(folder.path(), &good, "r").unwrap().aside.unwrap();
        assert_eq!(fs::read(aside).unwrap(), broken);
        assert!(verify(&path).unwrap().is_clean());
        assert_eq!(dump_of(&path), dump_of(&good));
    }
}

#[test]
fn a_newer_store_is_neither_restored_nor_replaced() {
    let (folder, out) = (TempDir::new().unwrap(), TempDir::new().unwrap());
    let mut store = Store::open(folder.path()).unwrap();
    let backup = out.path().join("b.db");
    store.backup(&backup).unwrap();
    fill(&mut store, "one", 7, 1);
    let path = store.path().to_path_buf();
    drop(store);
    Connection::open(&path).unwrap().pragma_update(None, "user_version", 999).unwrap();
    let newer = fs::read(&path).unwrap();
    assert!(matches!(restore(folder.path(), &backup, "r"), Err(StoreError::NewerSchema { .. })));
    assert_eq!(fs::read(&path).unwrap(), newer);
    assert_eq!(names(folder.path()), ["pinhold.db"]);
    let elsewhere = out.path().join("deep");
    assert!(matches!(restore(&elsewhere, &path, "r"), Err(StoreError::NewerSchema { .. })));
}
