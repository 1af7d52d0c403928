//! What is wrong in a store is found and named, and the rest is read as before.

use pinhold::store::{Finding, Store, StoreError, verify};
use rusqlite::Connection;
use tempfile::TempDir;

use crate::everything::{DEVICE, fill};
use crate::fixture::FIXTURES;

fn filled() -> (TempDir, Store) {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    fill(&mut store, "old friend", 7, 1);
    (folder, store)
}

/// Changes the file as rot would: with none of our triggers.
fn damage(store: &Store, sql: &str) {
    let connection = Connection::open(store.path()).unwrap();
    let triggers: Vec<String> = connection
        .prepare("SELECT name FROM sqlite_master WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    let texts: Vec<String> = connection
        .prepare("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
        .unwrap()
        .query_map([], |row| row.get(0))
        .unwrap()
        .map(Result::unwrap)
        .collect();
    for name in triggers {
        connection.execute_batch(&format!("DROP TRIGGER {name}")).unwrap();
    }
    let changed = connection.execute(sql, []).unwrap();
    assert!(changed > 0, "{sql}");
    for text in texts {
        connection.execute_batch(&text).unwrap();
    }
}

fn places(findings: &[Finding]) -> Vec<&str> {
    findings.iter().map(|finding| finding.place.as_str()).collect()
}

#[test]
fn everything_stored_is_sealed_and_true() {
    let (_folder, store) = filled();
    let checked = store.verify().unwrap();
    assert_eq!(checked.findings, []);
    assert_eq!(checked.counts, [1, 2, 13, 4, 3]);
    assert_eq!(checked.record_count, 16);
    assert_eq!(checked.sealed_count, 43);
    // What may change is sealed anew.
    let mut record = store.find_instrument("old friend").unwrap();
    record.facts.place = "elsewhere".to_owned();
    record.instrument.pins.pop();
    let mut store = store;
    store.edit_instrument(&record).unwrap();
    store.lay_out_anew(&record, "other").unwrap();
    assert_eq!(store.verify().unwrap().findings, []);
}

#[test]
fn a_changed_value_in_any_table_is_found_and_named() {
    let lever = format!("{DEVICE:016x}");
    let pin = "pin 40L in the survey of 2026-02-03T04:05:06.789Z of instrument 'old friend'";
    let instrument = "instrument 'old friend' or one of its pins";
    for (sql, place) in [
        ("UPDATE instrument SET serial = 'S-2'", instrument.to_owned()),
        ("UPDATE pin SET diameter_um = 7001 WHERE note = 40", instrument.to_owned()),
        ("UPDATE lever_log SET calibration = 9", format!("lever {lever} or its log")),
        ("UPDATE survey SET notes = '' WHERE uid = 7", "the survey of".to_owned()),
        ("UPDATE reading SET friction_unm = 1 WHERE number = 0", format!("the reading of {pin}")),
        ("UPDATE reading SET survey_id = 2 WHERE number = 0", "the reading of pin 40L".to_owned()),
        ("UPDATE stroke SET flags = flags + 1", "the reading of pin 40L".to_owned()),
        ("UPDATE hand_reading SET remark = 'dry' WHERE id = 1", format!("by hand of {pin}")),
        ("UPDATE hand_torque SET torque_unm = 1", "by hand of pin 40R".to_owned()),
        ("UPDATE verdict SET document = '{}'", "the verdict of".to_owned()),
        ("UPDATE lever_record SET bytes = X'00' WHERE number = 12", format!("of lever {lever}")),
        ("UPDATE lever_record SET received = ''", "record 12 of lever".to_owned()),
        ("UPDATE plan SET slip_urad = 1", "the plan of the survey of".to_owned()),
        ("UPDATE plan_pin SET note = 41 WHERE position = 0", "the plan of".to_owned()),
        ("UPDATE correction_batch SET reason = 'x' WHERE id = 1", "correction 1 of".to_owned()),
        ("UPDATE correction SET note = 41 WHERE id = 1", "the entry of correction 1".to_owned()),
        ("UPDATE calibration SET due_ms = 0", format!("calibration 3 of lever {lever}")),
        ("UPDATE lever_check SET passed = 0", format!("a check of lever {lever}")),
        ("UPDATE string_scale SET a4_mhz = 441000", "the string scale of".to_owned()),
        ("UPDATE string_row SET wire_nm = 1", "the string scale of".to_owned()),
        ("UPDATE trial_pin SET reamed = 0", "trial pin 1 (40L) of instrument".to_owned()),
        ("UPDATE trial_pin_withdrawn SET reason = ''", "trial pin 1 (40L)".to_owned()),
        (
            "UPDATE climate_reading SET humidity_permille = 1 WHERE id = 1",
            "climate reading 1".to_owned(),
        ),
        ("UPDATE climate_withdrawn SET reason = ''", "climate reading 1 of".to_owned()),
        ("UPDATE repair SET what = 'other' WHERE id = 1", "repair 1 of instrument".to_owned()),
        ("UPDATE repair_pin SET note = 1 WHERE string = 'L'", "repair 1 of".to_owned()),
        ("UPDATE repair_withdrawn SET reason = ''", "repair 1 of".to_owned()),
        ("UPDATE seal SET crc64 = crc64 + 1 WHERE kind = 1", instrument.to_owned()),
        ("DELETE FROM seal WHERE kind = 3 AND row = 1", "the survey of".to_owned()),
        ("INSERT INTO seal VALUES (99, 1, 1)", "table seal".to_owned()),
        ("DELETE FROM verdict", "row 1 of table verdict".to_owned()),
        ("INSERT INTO lever VALUES (9, 9)", "lever 0000000000000009 or its log".to_owned()),
    ] {
        let (_folder, store) = filled();
        damage(&store, sql);
        let checked = store.verify().unwrap();
        let named = places(&checked.findings);
        let distinct: std::collections::BTreeSet<&str> = named.iter().copied().collect();
        assert_eq!(checked.finding_count, distinct.len() as u64, "{sql}: {named:?}");
        assert!(named.first().is_some_and(|first| first.contains(&place)), "{sql}: {named:?}");
    }
}

#[test]
fn a_changed_schema_is_found() {
    for (sql, place) in [
        ("DROP TRIGGER reading_stays", "trigger reading_stays on reading"),
        ("DROP INDEX reading_of_survey", "index reading_of_survey on reading"),
        ("CREATE TABLE extra (a)", "table extra on extra"),
    ] {
        let (_folder, store) = filled();
        Connection::open(store.path()).unwrap().execute_batch(sql).unwrap();
        let checked = store.verify().unwrap();
        assert_eq!(places(&checked.findings), [format!("the schema's {place}")], "{sql}");
    }
}

#[test]
fn a_damaged_reading_is_left_out_and_the_rest_is_read() {
    let (_folder, store) = filled();
    let survey = store.find_survey(7).unwrap().unwrap();
    let by_hand = store.find_survey(8).unwrap().unwrap();
    let before = store.readings_of(survey.id).unwrap().lever;
    assert_eq!(store.damage_of(survey.id).unwrap(), []);
    // One value no lever writes, one that could be true.
    damage(&store, "UPDATE reading SET outcome = 99 WHERE number = 2");
    damage(&store, "UPDATE reading SET friction_unm = 5000000 WHERE number = 4");
    damage(&store, "UPDATE hand_reading SET sharp_unm = 1 WHERE id = 1");
    let after = store.readings_of(survey.id).unwrap().lever;
    let kept: Vec<_> =
        before.into_iter().filter(|reading| ![2, 4].contains(&reading.number)).collect();
    assert_eq!(after, kept);
    assert_eq!(store.readings_of(by_hand.id).unwrap().hand.len(), 3);
    let named = store.damage_of(survey.id).unwrap();
    assert_eq!(named.len(), 2);
    assert!(named[0].place.starts_with("the reading of pin 40R in the survey"), "{named:?}");
    assert_eq!(store.damage_of(by_hand.id).unwrap().len(), 1);
}

#[test]
fn stores_of_older_schemas_are_checked_and_left_as_they_are() {
    for (number, fixture) in (1..).zip(FIXTURES) {
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("pinhold.db");
        Connection::open(&path).unwrap().execute_batch(fixture).unwrap();
        let before = std::fs::read(&path).unwrap();
        let checked = verify(&path).unwrap();
        assert_eq!((checked.schema, checked.has_seals()), (number, number >= 7));
        assert_eq!(std::fs::read(&path).unwrap(), before);
        // The fixtures' records carry invented checksums; their rows and seals, the latter made
        // by a program of its own, are as they should be.
        let foreign = |finding: &&Finding| !finding.fault.contains("its own checksum");
        let found: Vec<_> = checked.findings.iter().filter(foreign).collect();
        assert_eq!(found, Vec::<&Finding>::new());
        assert!(!checked.is_clean());
    }
}

#[test]
fn files_that_are_no_store_are_told_apart() {
    let folder = TempDir::new().unwrap();
    let path = folder.path().join("x.db");
    assert!(matches!(verify(&path), Err(StoreError::File { .. })));
    std::fs::write(&path, b"").unwrap();
    assert!(matches!(verify(&path), Err(StoreError::NotAStore { .. })));
    std::fs::write(&path, b"a table of contents").unwrap();
    assert!(matches!(verify(&path), Err(StoreError::NotAStore { .. })));
    std::fs::remove_file(&path).unwrap();
    Connection::open(&path).unwrap().execute_batch("CREATE TABLE accounts (sum)").unwrap();
    assert!(matches!(verify(&path), Err(StoreError::NotAStore { .. })));
    assert!(matches!(verify(folder.path()), Err(StoreError::NotAStore { .. })));
}

#[test]
fn a_log_that_rotted_in_the_middle_is_told_from_one_that_was_cut_off() {
    let (folder, store) = filled();
    // Open, so that the log is not folded in.
    let log = folder.path().join("pinhold.db-wal");
    let (bytes, database) = (std::fs::read(&log).unwrap(), std::fs::read(store.path()).unwrap());
    let found = |change: &dyn Fn(&mut Vec<u8>)| {
        let elsewhere = TempDir::new().unwrap();
        let path = elsewhere.path().join("pinhold.db");
        let mut changed = bytes.clone();
        change(&mut changed);
        std::fs::write(&path, &database).unwrap();
        std::fs::write(elsewhere.path().join("pinhold.db-wal"), &changed).unwrap();
        let checked = verify(&path);
        let kept = std::fs::read(elsewhere.path().join("pinhold.db-wal")).unwrap();
        assert_eq!(kept, changed, "the log stays as it was found");
        checked.map(|checked| checked.findings.first().map(|first| first.place.clone()))
    };
    assert_eq!(found(&|_| {}).unwrap(), None);
    let cut = found(&|log| log.truncate(log.len() - 5000)).unwrap();
    assert_eq!(cut, None, "the last transaction was on its way");
    for at in [9, 40, 5000, bytes.len() / 2] {
        let place = found(&|log| log[at] ^= 4).unwrap();
        assert!(place.is_some_and(|place| place.contains("pinhold.db-wal")), "{at}");
    }
}
