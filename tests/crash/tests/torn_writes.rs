//! The power fails at any write of the store: with its settings nothing that was reported as stored
//! is lost, and with weaker ones something is.
//!
//! `PINHOLD_STORE_CUTS` makes it longer: a factor.

use std::path::Path;

use pinhold::store::{NewRecord, Store, verify};
use pinhold_crashtest::recorder::{Event, acknowledge, record};
use pinhold_crashtest::replay::{Cut, Random};
use pinhold_protocol::record::record_checksum;
use rusqlite::Connection;
use tempfile::TempDir;

/// Judging seed.
const SEED: u64 = 910_300;
/// Cuts of the store in the short form.
const CUT_COUNT: usize = 250;
/// Records stored.
const RECORD_COUNT: u32 = 260;
const DEVICE: u64 = 0xF1;
const EPOCH: u32 = 1;

fn factor() -> usize {
    std::env::var("PINHOLD_STORE_CUTS").map_or(1, |text| text.parse().expect("a whole number"))
}

/// Stores a record as the host does, and says so.
fn keep(store: &mut Store, number: u32) {
    let mut bytes = vec![200; 150];
    bytes[1..5].copy_from_slice(&number.to_le_bytes());
    let record = NewRecord {
        device: DEVICE,
        epoch: EPOCH,
        number,
        checksum: record_checksum(EPOCH, number, &bytes),
        bytes: &bytes,
        content: None,
        received: "2026-01-01T00:00:00Z",
    };
    store.keep_record(None, &record).unwrap();
    acknowledge(number + 1);
}

/// A store that is made, filled beyond the length its log is folded in at, closed, and filled on.
fn filled(folder: &Path) {
    let mut store = Store::open(folder).unwrap();
    (0..RECORD_COUNT - 20).for_each(|number| keep(&mut store, number));
    drop(store);
    let mut store = Store::open(folder).unwrap();
    (RECORD_COUNT - 20..RECORD_COUNT).for_each(|number| keep(&mut store, number));
}

/// Rows put into a database with other settings, each reported as stored.
fn filled_with(synchronous: &str, folder: &Path) {
    let connection = Connection::open(folder.join("x.db")).unwrap();
    connection
        .execute_batch(&format!(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = {synchronous};
             PRAGMA wal_autocheckpoint = 40; CREATE TABLE kept (number INTEGER PRIMARY KEY, b BLOB)"
        ))
        .unwrap();
    for number in 0..120 {
        connection.execute("INSERT INTO kept VALUES (?1, zeroblob(300))", [number]).unwrap();
        acknowledge(number + 1);
    }
}

/// Rows held of those reported as stored; `None` where the database is broken.
fn held(folder: &Path) -> Option<u32> {
    let connection = Connection::open(folder.join("x.db")).ok()?;
    let sound: String =
        connection.query_row("PRAGMA integrity_check", [], |row| row.get(0)).ok()?;
    let is_there: bool = connection
        .query_row("SELECT count(*) > 0 FROM sqlite_master", [], |row| row.get(0))
        .ok()?;
    if sound != "ok" || !is_there {
        return (sound == "ok").then_some(0);
    }
    connection.query_row("SELECT count(*) FROM kept", [], |row| row.get(0)).ok()
}

/// Cuts of a recorded work, and how many of them lose something reported as stored.
fn losses(events: &[Event], cut_count: usize, seed: u64) -> usize {
    let mut random = Random::new(seed);
    let mut lost = 0;
    for _ in 0..cut_count {
        let count = random.below(events.len() + 1);
        let cut = Cut::after(events, count, &mut random);
        let folder = TempDir::new().unwrap();
        cut.write(folder.path()).unwrap();
        lost += usize::from(held(folder.path()).is_none_or(|held| held < cut.acknowledged));
    }
    lost
}

/// One test, since there is one recorder.
#[test]
fn cuts_lose_nothing_with_our_settings_and_something_with_weaker_ones() {
    let folder = TempDir::new().unwrap();
    let events = record(|| filled(folder.path()));
    let writes = events.iter().filter(|event| matches!(event, Event::Write { .. })).count();
    let syncs = events.iter().filter(|event| matches!(event, Event::Sync { .. })).count();
    let folded = |event: &Event| matches!(event, Event::Sync { file } if file == "pinhold.db");
    assert!(events.iter().filter(|event| folded(event)).count() > 2, "the log was folded in");
    let mut random = Random::new(SEED);
    for _ in 0..CUT_COUNT * factor() {
        let count = random.below(events.len() + 1);
        let cut = Cut::after(&events, count, &mut random);
        let found = TempDir::new().unwrap();
        cut.write(found.path()).unwrap();
        let store = Store::open(found.path())
            .unwrap_or_else(|error| panic!("after {count} events: {error}"));
        let floor = store.committed_floor(DEVICE, EPOCH).unwrap();
        assert!(floor >= cut.acknowledged, "after {count} events {floor} of {}", cut.acknowledged);
        let path = store.path().to_path_buf();
        drop(store);
        assert_eq!(verify(&path).unwrap().findings, [], "after {count} events");
    }
    println!(
        "{} cuts in {writes} writes and {syncs} synchronisations: 0 losses; seed {SEED}",
        CUT_COUNT * factor()
    );
    for (synchronous, may_lose) in [("FULL", false), ("NORMAL", true), ("OFF", true)] {
        let folder = TempDir::new().unwrap();
        let events = record(|| filled_with(synchronous, folder.path()));
        let lost = losses(&events, 120 * factor(), SEED + 1);
        println!("synchronous {synchronous}: {lost} of {} cuts lose something", 120 * factor());
        assert_eq!(lost > 0, may_lose, "synchronous {synchronous}: {lost}");
    }
}
