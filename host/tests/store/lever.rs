//! Lever records: field for field, once each, through crashes.

use std::path::Path;

use pinhold::store::{Committed, Held, Store, StoreError, SurveySource};
use tempfile::TempDir;

use crate::sample::{begin, instrument, keep, reading, survey};

const DEVICE: u64 = 0xF123_4567_89AB_CDEF;

#[test]
fn every_field_comes_back() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    for number in 0..200 {
        let committed =
            keep(&mut store, survey, (DEVICE, 3, number), !number, &reading(number)).unwrap();
        assert_eq!(committed, Committed::New);
    }
    let stored = store.readings_of(survey).unwrap();
    assert_eq!((stored.lever.len(), stored.hand.len()), (200, 0));
    for (number, stored) in (0..).zip(stored.lever) {
        assert_eq!((stored.device, stored.epoch, stored.number), (DEVICE, 3, number));
        assert_eq!(stored.crc32, !number);
        assert_eq!(stored.reading, reading(number), "record {number}");
    }
}

#[test]
fn a_record_sent_again_changes_nothing() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    keep(&mut store, survey, (DEVICE, 1, 7), 99, &reading(7)).unwrap();
    for _ in 0..3 {
        let again = keep(&mut store, survey, (DEVICE, 1, 7), 99, &reading(7)).unwrap();
        assert_eq!(again, Committed::AlreadyHave);
    }
    assert_eq!(store.readings_of(survey).unwrap().lever.len(), 1);
    // The same number of another device or epoch is another record.
    for (device, epoch) in [(DEVICE - 1, 1), (DEVICE, 2)] {
        let other = keep(&mut store, survey, (device, epoch, 7), 99, &reading(7)).unwrap();
        assert_eq!(other, Committed::New);
    }
}

#[test]
fn other_content_under_a_stored_number_is_refused() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    keep(&mut store, survey, (DEVICE, 1, 7), 99, &reading(7)).unwrap();
    let conflict = keep(&mut store, survey, (DEVICE, 1, 7), 98, &reading(8)).unwrap_err();
    assert!(matches!(
        conflict,
        StoreError::RecordConflict { number: 7, stored: 99, offered: 98, .. }
    ));
    assert_eq!(store.readings_of(survey).unwrap().lever[0].reading, reading(7));
}

#[test]
fn the_floor_is_the_first_number_missing() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    assert_eq!(store.committed_floor(DEVICE, 1).unwrap(), 0);
    for number in [1, 0, 2, 5, 6, u32::MAX] {
        keep(&mut store, survey, (DEVICE, 1, number), number, &reading(number)).unwrap();
    }
    assert_eq!(store.committed_floor(DEVICE, 1).unwrap(), 3);
    assert_eq!(store.committed_floor_from(DEVICE, 1, 5).unwrap(), 7);
    assert_eq!(store.committed_floor_from(DEVICE, 1, 4).unwrap(), 4);
    assert_eq!(store.committed_floor_from(DEVICE, 1, u32::MAX).unwrap(), u32::MAX);
    assert_eq!(store.committed_floor(DEVICE, 2).unwrap(), 0);
    let held = |number| Held { number, checksum: number, lost_chain: None };
    assert_eq!(store.held_records(DEVICE, 1, 2).unwrap()[..2], [held(2), held(5)]);
}

#[test]
fn a_record_of_an_unknown_survey_is_refused_whole() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let other = TempDir::new().unwrap();
    let foreign = begin(&mut Store::open(other.path()).unwrap());
    let refused = keep(&mut store, foreign, (DEVICE, 1, 0), 0, &reading(4));
    assert!(matches!(refused, Err(StoreError::Database { .. })));
    assert_eq!(store.committed_floor(DEVICE, 1).unwrap(), 0);
}

#[test]
fn a_survey_identity_is_taken_once() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let uid = u64::MAX;
    let survey_id = store.begin_survey(id, &survey(uid, SurveySource::Simulated)).unwrap();
    let again = store.begin_survey(id, &survey(uid, SurveySource::Lever));
    assert!(matches!(again, Err(StoreError::SurveyExists { uid: u64::MAX })));
    let found = store.find_survey(uid).unwrap().unwrap();
    assert_eq!((found.id, found.uid, found.source), (survey_id, uid, SurveySource::Simulated));
    assert_eq!(store.instrument_of(survey_id).unwrap().id, id);
}

/// Copies database and write-ahead log as a crash would leave them, the log cut at `log_length`.
fn crash_copy(from: &Path, to: &Path, log_length: usize) {
    std::fs::copy(from.join("pinhold.db"), to.join("pinhold.db")).unwrap();
    let log = std::fs::read(from.join("pinhold.db-wal")).unwrap();
    std::fs::write(to.join("pinhold.db-wal"), &log[..log_length.min(log.len())]).unwrap();
}

#[test]
fn a_crash_at_any_byte_of_the_log_keeps_whole_records_in_order() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    let log_bytes = || std::fs::metadata(folder.path().join("pinhold.db-wal")).unwrap().len();
    let mut ends = vec![log_bytes()];
    for number in 0..12 {
        keep(&mut store, survey, (DEVICE, 1, number), number, &reading(number)).unwrap();
        ends.push(log_bytes());
    }
    let (first, last) = (ends[0], ends[12]);
    assert!(ends.is_sorted() && last > first, "the log only grew: {ends:?}");
    for cut in (first..=last).step_by(977).chain(ends.iter().copied()) {
        let copy = TempDir::new().unwrap();
        crash_copy(folder.path(), copy.path(), usize::try_from(cut).unwrap());
        let reopened = Store::open(copy.path()).unwrap();
        // Every record whose commit was in the log before the cut, and none in part.
        let whole = ends[1..].iter().filter(|end| **end <= cut).count();
        let stored = reopened.readings_of(survey).unwrap().lever;
        assert_eq!(stored.len(), whole, "cut at {cut}");
        for (number, stored) in (0..).zip(stored) {
            assert_eq!(stored.reading, reading(number));
        }
        assert_eq!(reopened.committed_floor(DEVICE, 1).unwrap() as usize, whole);
    }
}
