//! Calibrations and checks: bit for bit, once each, never replaced; what the file holds is not trusted.

use pinhold::calibration::check::CheckRecord;
use pinhold::store::{Contact, Store, StoreError};
use rusqlite::Connection;
use tempfile::TempDir;

use crate::sample::{begin, hello, keep, reading};
use crate::sample_lever::{calibration, check};

const DEVICE: u64 = 0xF123_4567_89AB_CDEF;

#[test]
fn a_calibration_comes_back_bit_for_bit() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    for number in [2, 1, 500] {
        store.keep_calibration(&calibration(DEVICE, number)).unwrap();
    }
    store.keep_calibration(&calibration(DEVICE - 1, 1)).unwrap();
    drop(store);
    let store = Store::open(folder.path()).unwrap();
    assert_eq!(store.calibration(DEVICE, 500).unwrap(), Some(calibration(DEVICE, 500)));
    assert_eq!(store.calibration(DEVICE, 3).unwrap(), None);
    let numbers: Vec<u32> =
        store.calibrations_of(DEVICE).unwrap().iter().map(|record| record.number).collect();
    assert_eq!(numbers, [1, 2, 500]);
    assert_eq!(store.latest_calibration(DEVICE).unwrap().unwrap().number, 500);
    assert_eq!(store.latest_calibration(7).unwrap(), None);
    assert_eq!(store.calibrated_levers().unwrap(), [DEVICE, DEVICE - 1]);
}

#[test]
fn a_calibration_is_kept_once_and_never_replaced() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let first = calibration(DEVICE, 1);
    store.keep_calibration(&first).unwrap();
    store.keep_calibration(&first).unwrap();
    let mut other = first.clone();
    other.result.constants.span_nm_per_count *= 1.000_001;
    let refused = store.keep_calibration(&other).unwrap_err();
    assert!(
        matches!(refused, StoreError::CalibrationExists { device: DEVICE, number: 1 }),
        "{refused}"
    );
    assert_eq!(store.calibrations_of(DEVICE).unwrap(), [first]);
}

#[test]
fn what_would_not_come_back_is_refused() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let mut nameless = calibration(DEVICE, 1);
    nameless.number = 0;
    let mut endless = calibration(DEVICE, 1);
    endless.result.constants.zero_code = f64::INFINITY;
    let mut none = calibration(DEVICE, 1);
    none.bench.points[0].mean_code = f64::NAN;
    for record in [nameless, endless, none] {
        let refused = store.keep_calibration(&record);
        assert!(matches!(refused, Err(StoreError::NotStorable { .. })), "{refused:?}");
    }
    assert_eq!(store.calibrations_of(DEVICE).unwrap(), []);
}

#[test]
fn the_next_number_is_above_every_one_known() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    assert_eq!(store.next_calibration_number(DEVICE).unwrap(), 1);
    store.keep_calibration(&calibration(DEVICE, 4)).unwrap();
    store.keep_calibration(&calibration(DEVICE - 1, 90)).unwrap();
    assert_eq!(store.next_calibration_number(DEVICE).unwrap(), 5);
    // Calibrated at another computer: it says so when met, and so do its readings.
    let contact = Contact { hello: &hello(DEVICE, 7), seen: "now", calendar_ms: 1 };
    store.note_lever(&contact).unwrap();
    assert_eq!(store.next_calibration_number(DEVICE).unwrap(), 8);
    let survey = begin(&mut store);
    let mut of_another = reading(3);
    of_another.calibration = 11;
    keep(&mut store, survey, (DEVICE, 1, 0), 0, &of_another).unwrap();
    assert_eq!(store.next_calibration_number(DEVICE).unwrap(), 12);
    of_another.calibration = u32::MAX;
    keep(&mut store, survey, (DEVICE, 1, 1), 0, &of_another).unwrap();
    let used_up = store.next_calibration_number(DEVICE);
    assert!(matches!(used_up, Err(StoreError::Corrupt { .. })), "{used_up:?}");
}

#[test]
fn a_document_anything_may_have_written_is_not_trusted() {
    let good = serde_json::to_string(&calibration(5, 1)).unwrap();
    for (document, number) in [
        ("", 1),
        ("{}", 1),
        ("[1,2]", 1),
        (&good[..good.len() / 2], 1),
        (&good.replace("\"span_nm_per_count\":", "\"span_nm_per_count\":1e999, \"x\":"), 1),
        (&good.replace("\"number\":1,", "\"number\":-1,"), 1),
        // Another calibration's.
        (&good, 2),
    ] {
        let folder = TempDir::new().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        store.keep_calibration(&calibration(5, 9)).unwrap();
        let connection = Connection::open(store.path()).unwrap();
        connection
            .execute(
                "INSERT INTO calibration SELECT 77, lever_id, ?1, made_ms, due_ms, NULL, NULL, 1,
                     ?2 FROM calibration",
                rusqlite::params![number, document],
            )
            .unwrap();
        let refused = store.calibration(5, number);
        let told = refused.unwrap_err();
        assert!(matches!(told, StoreError::Corrupt { .. }), "{document:.40}: {told}");
        assert!(store.calibrations_of(5).is_err());
        assert!(store.calibration(5, 9).unwrap().is_some(), "the others are still read");
    }
}

#[test]
fn checks_come_back_in_the_order_of_their_time() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    store.keep_calibration(&calibration(DEVICE, 1)).unwrap();
    let made = [(30, true), (10, false), (20, true), (20, false)];
    for (made_ms, passed) in made {
        store.keep_check(&check(DEVICE, 1, made_ms, passed)).unwrap();
    }
    drop(store);
    let store = Store::open(folder.path()).unwrap();
    let checks = store.checks_of(DEVICE).unwrap();
    assert_eq!(checks, [1, 2, 3, 0].map(|at: usize| check(DEVICE, 1, made[at].0, made[at].1)));
    let passed: Vec<bool> = checks.iter().map(CheckRecord::passed).collect();
    assert_eq!(passed, [false, true, false, true]);
    assert_eq!(store.checks_of(DEVICE - 1).unwrap(), []);
}

#[test]
fn a_check_needs_its_calibration_and_numbers_that_are_some() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    store.keep_calibration(&calibration(DEVICE, 1)).unwrap();
    let orphan = store.keep_check(&check(DEVICE, 2, 5, true));
    assert!(matches!(orphan, Err(StoreError::Database { .. })), "{orphan:?}");
    let mut endless = check(DEVICE, 1, 5, true);
    endless.result.read_nm.u = f64::NAN;
    let mut empty = check(DEVICE, 1, 5, true);
    empty.bench.points.clear();
    for record in [endless, empty] {
        let refused = store.keep_check(&record);
        assert!(matches!(refused, Err(StoreError::NotStorable { .. })), "{refused:?}");
    }
    assert_eq!(store.checks_of(DEVICE).unwrap(), []);
}

#[test]
fn a_check_whose_document_says_otherwise_is_not_trusted() {
    let good = serde_json::to_string(&check(5, 1, 9, true)).unwrap();
    for document in [
        "null",
        &good.replace("\"lever\":5", "\"lever\":6"),
        &good.replace("\"calibration\":1", "\"calibration\":2"),
        &good.replace("\"pass\"", "\"fail\""),
    ] {
        let folder = TempDir::new().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        store.keep_calibration(&calibration(5, 1)).unwrap();
        store.keep_check(&check(5, 1, 9, true)).unwrap();
        assert_eq!(store.checks_of(5).unwrap().len(), 1);
        let connection = Connection::open(store.path()).unwrap();
        connection
            .execute(
                "INSERT INTO lever_check SELECT 77, lever_id, 1, 10, 0, 0, 0, 0, 0, 1, 1, ?1
                 FROM lever_check",
                [document],
            )
            .unwrap();
        let refused = store.checks_of(5);
        assert!(matches!(refused, Err(StoreError::Corrupt { .. })), "{document:.40}");
    }
}
