//! Opening a store: new, again, by two at once, newer, foreign.

use std::sync::Barrier;

use pinhold::analysis::input::{Condition, PlankSight};
use pinhold::condition::ConditionRecord;
use pinhold::instrument::PlateFace;
use pinhold::instrument::scale::StringScale;
use pinhold::store::{
    Cause, Move, SCHEMA_VERSION, Store, StoreError, StoredScale, StoredVerdict, SurveySource,
};
use pinhold_protocol::content::Content;
use rusqlite::Connection;
use tempfile::TempDir;

use crate::sample::{
    begin, climate, instrument, keep, keep_content, reading, repair, survey, trial,
};
use crate::sample_lever::{calibration, check};

#[test]
fn what_was_stored_is_there_after_reopening() {
    let folder = TempDir::new().unwrap();
    let nested = folder.path().join("a/b");
    let mut store = Store::open(&nested).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let first = store.begin_survey(id, &survey(1, SurveySource::Lever)).unwrap();
    let condition = Condition {
        plank: Some(PlankSight::SeenSound),
        bushed_plate: Some(true),
        ..Condition::default()
    };
    let record = ConditionRecord::of_condition(&condition);
    store.set_condition_record(first, &record).unwrap();
    assert_eq!(store.condition_record(first).unwrap(), record);
    let verdict = StoredVerdict {
        created: "2025-01-01T00:00:00Z".to_string(),
        version: "0.1.0".to_string(),
        inputs: serde_json::json!({ "weak_nm": 7.0 }),
        document: serde_json::json!({ "remedy": "leave" }),
    };
    store.store_verdict(first, &verdict).unwrap();
    drop(store);
    let store = Store::open(&nested).unwrap();
    let record = store.find_instrument("x").unwrap();
    assert_eq!(record.instrument, instrument("x").instrument);
    assert_eq!(record.survey_count, 1);
    assert_eq!(store.latest_survey(id).unwrap().unwrap().id, first);
    assert_eq!(store.condition(first).unwrap(), condition);
    assert_eq!(store.latest_verdict(first).unwrap(), Some(verdict));
}

#[test]
fn a_layout_is_kept_beside_its_pins() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let mut new = instrument("x");
    new.instrument.face = PlateFace::Open;
    let id = store.create_laid_out(&new, "first").unwrap();
    assert!(matches!(
        store.create_laid_out(&new, "second"),
        Err(StoreError::InstrumentExists { .. })
    ));
    let mut record = store.instrument(id).unwrap();
    assert_eq!(record.instrument, new.instrument);
    record.instrument.pins.pop();
    record.instrument.face = PlateFace::ThreeQuarter;
    store.edit_instrument(&record).unwrap();
    assert_eq!(store.layout_of(id).unwrap(), "first", "an edit leaves the description alone");
    assert_eq!(store.instrument(id).unwrap(), record);
    record.instrument.pins.pop();
    store.lay_out_anew(&record, "third").unwrap();
    assert_eq!(store.layout_of(id).unwrap(), "third");
    assert_eq!(store.instrument(id).unwrap(), record);
    let other = store.create_instrument(&instrument("y")).unwrap();
    assert_eq!(store.layout_of(other).unwrap(), "");
}

#[test]
fn durability_is_set_as_promised() {
    let folder = TempDir::new().unwrap();
    let store = Store::open(folder.path()).unwrap();
    let connection = Connection::open(store.path()).unwrap();
    let text: String =
        connection.pragma_query_value(None, "journal_mode", |row| row.get(0)).unwrap();
    let number = |name: &str| -> i64 {
        connection.pragma_query_value(None, name, |row| row.get(0)).unwrap()
    };
    assert_eq!(text, "wal");
    assert_eq!(number("user_version"), SCHEMA_VERSION);
    assert_eq!(number("application_id"), pinhold::store::APPLICATION_ID);
}

#[test]
fn readings_records_and_corrections_cannot_be_changed_or_deleted() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    keep(&mut store, survey, (1, 1, 0), 0, &reading(9)).unwrap();
    keep_content(&mut store, None, (1, 1, 1), 1, &[0, 1, 2, 3, 4], &Content::Lost { chain: 5 })
        .unwrap();
    let stored = store.readings_of(survey).unwrap().lever;
    let aside = [Move { reading: stored[0].id, pin: None }];
    store.correct(survey, &aside, Cause { made: "now", reason: "test" }).unwrap();
    store.keep_calibration(&calibration(1, 1)).unwrap();
    store.keep_check(&check(1, 1, 5, false)).unwrap();
    let id = store.find_instrument("x").unwrap().id;
    let kept = store.keep_trial(id, &trial(instrument("x").instrument.pins[0].pin)).unwrap();
    store.withdraw_trial(id, kept, "now", "test").unwrap();
    store.keep_climate(id, "now", &[climate(1), climate(2)]).unwrap();
    store.withdraw_climate(id, 1, "now", "test").unwrap();
    let pins = vec![instrument("x").instrument.pins[0].pin];
    let number = store.keep_repair(id, "now", &repair(pins)).unwrap();
    store.withdraw_repair(id, number, "now", "test").unwrap();
    let connection = Connection::open(store.path()).unwrap();
    for sql in [
        "UPDATE climate_reading SET humidity_permille = 1",
        "DELETE FROM climate_reading",
        "UPDATE climate_withdrawn SET reason = ''",
        "DELETE FROM climate_withdrawn",
        "UPDATE repair SET remark = ''",
        "DELETE FROM repair",
        "UPDATE repair_pin SET note = 1",
        "DELETE FROM repair_pin",
        "UPDATE repair_withdrawn SET reason = ''",
        "DELETE FROM repair_withdrawn",
        "UPDATE reading SET friction_unm = 1",
        "DELETE FROM reading",
        "UPDATE stroke SET running_unm = 1",
        "DELETE FROM stroke",
        "UPDATE lever_record SET number = 7",
        "DELETE FROM lever_record",
        "UPDATE correction SET note = 7",
        "DELETE FROM correction",
        "UPDATE correction_batch SET reason = 'x'",
        "DELETE FROM correction_batch",
        "UPDATE calibration SET due_ms = 0",
        "DELETE FROM calibration",
        "UPDATE lever_check SET passed = 1",
        "DELETE FROM lever_check",
        "UPDATE trial_pin SET after_unm = 1",
        "DELETE FROM trial_pin",
        "UPDATE trial_pin_withdrawn SET reason = ''",
        "DELETE FROM trial_pin_withdrawn",
    ] {
        let refused = connection.execute(sql, []).unwrap_err().to_string();
        assert!(refused.contains("never"), "{sql}: {refused}");
    }
    assert_eq!(store.readings_of(survey).unwrap().lever[0].reading, reading(9));
}

#[test]
fn a_newer_store_is_left_untouched() {
    let folder = TempDir::new().unwrap();
    let path = Store::open(folder.path()).unwrap().path().to_path_buf();
    let newer = SCHEMA_VERSION + 1;
    let connection = Connection::open(&path).unwrap();
    connection.pragma_update(None, "user_version", newer).unwrap();
    // Out of the write-ahead log, so that any write would be seen in the file's bytes.
    connection.pragma_update(None, "journal_mode", "DELETE").unwrap();
    drop(connection);
    let before = std::fs::read(&path).unwrap();
    let refused = Store::open(folder.path()).unwrap_err();
    assert_eq!(
        refused.to_string(),
        format!(
            "{} was written by a newer pinhold (schema {newer}, this one knows up to \
             {SCHEMA_VERSION}); nothing was changed: update pinhold, or choose another folder \
             with --data",
            path.display()
        )
    );
    assert_eq!(std::fs::read(&path).unwrap(), before);
}

#[test]
fn other_programs_databases_are_left_untouched() {
    for sql in
        ["CREATE TABLE accounts (sum)", "PRAGMA application_id = 17", "PRAGMA user_version = 1"]
    {
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("pinhold.db");
        Connection::open(&path).unwrap().execute_batch(sql).unwrap();
        let before = std::fs::read(&path).unwrap();
        let refused = Store::open(folder.path());
        assert!(matches!(refused, Err(StoreError::NotAStore { .. })), "{sql}: {refused:?}");
        assert_eq!(std::fs::read(&path).unwrap(), before, "{sql}");
    }
}

#[test]
fn many_may_open_a_new_store_at_once() {
    let folder = TempDir::new().unwrap();
    let together = Barrier::new(8);
    std::thread::scope(|scope| {
        for number in 0..8 {
            let (folder, together) = (folder.path(), &together);
            scope.spawn(move || {
                together.wait();
                let mut store = Store::open(folder).unwrap();
                store.create_instrument(&instrument(&format!("x{number}"))).unwrap();
            });
        }
    });
    assert_eq!(Store::open(folder.path()).unwrap().list_instruments().unwrap().len(), 8);
}

#[test]
fn a_failed_import_leaves_nothing() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let rows = pinhold::import::parse(b"note,string,sharp_nm\n40,L,9\n40,C,9\n").unwrap();
    let mut readings: Vec<_> = rows.into_iter().map(|row| row.reading).collect();
    // The same pin twice breaks the last insert of the transaction.
    readings.push(readings[0].clone());
    let refused =
        store.import_new_instrument(&instrument("x"), &survey(1, SurveySource::Import), &readings);
    assert!(matches!(refused, Err(StoreError::Database { .. })));
    assert!(matches!(store.find_instrument("x"), Err(StoreError::NoSuchInstrument { .. })));
    assert_eq!(store.find_survey(1).unwrap(), None);
}

#[test]
fn string_scales_come_back_as_read_and_the_last_counts() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let text = "note,string,speaking_length_in,wire,wrap_in,winding,packing,u_packing,\
                wound_mass_g_per_m,u_mass_percent,total_length_mm,u_length_mm,u_wire_mm\n\
                40,,26 3/8,17.5,,,,,,,1001.3,0.7,0.004\n\
                41,L,63.3 cm,1.016 mm,,,,,,,,,\n\
                10,,45.1,20,.041,copper,0.85,0.03,,,,,\n14,R,52.9,21,,,,,31.07,0.5,,,\n";
    let rows = pinhold::import::strings::parse(text.as_bytes(), 442.0).unwrap();
    let rows = rows.iter().map(|row| row.row).collect();
    let first = StoredScale {
        entered: "2025-01-01T00:00:00Z".to_string(),
        origin: "a.csv".to_string(),
        scale: StringScale { a4_hz: 442.0, rows },
    };
    let mut pins = instrument("x").instrument.pins;
    pins[0].diameter_um = Some(7300);
    store.keep_string_scale(id, &first, &pins).unwrap();
    assert_eq!(store.string_scale(id).unwrap(), Some(first.clone()));
    let record = store.find_instrument("x").unwrap();
    assert_eq!((&record.instrument.strings, &record.instrument.pins), (&first.scale, &pins));
    let forgotten = StoredScale { scale: StringScale::default(), ..first };
    store.keep_string_scale(id, &forgotten, &pins).unwrap();
    assert!(store.find_instrument("x").unwrap().instrument.strings.is_empty());
    let connection = Connection::open(store.path()).unwrap();
    for sql in ["UPDATE string_row SET wire_nm = 1", "DELETE FROM string_scale"] {
        let refused = connection.execute(sql, []).unwrap_err().to_string();
        assert!(refused.contains("never"), "{sql}: {refused}");
    }
}

#[test]
fn hand_readings_come_back_as_typed() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let text = "note;string;sharp_inlb;flat_nm;friction_kgfcm;kind;state;cents;u_nm;pin_um;remark\n\
        40;L;73,5;;;running;slack;-3,25;0,4;7163;näh\n41;C;;-0.5;;peak;;;;;\n\
        42;R;<50;;;limit;;;;;\n43;D;;;81;;unstrung;;;;\n";
    let rows = pinhold::import::parse(text.as_bytes()).unwrap();
    let readings: Vec<_> = rows.into_iter().map(|row| row.reading).collect();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let pins = instrument("x").instrument.pins;
    let new = survey(1, SurveySource::Import);
    let survey = store.import_readings(id, &new, &pins, &readings).unwrap();
    assert_eq!(store.readings_of(survey).unwrap().hand, readings);
}
