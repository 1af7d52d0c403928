//! Stores of every schema that is out there, from SQL text that is never edited.

use pinhold::analysis::input::{StringState, TorqueKind, TuneStability};
use pinhold::import::hand::LimitSide;
use pinhold::instrument::PlateFace;
use pinhold::instrument::scale::{Winding, WindingMetal};
use pinhold::store::{RecordName, RepairKind, SCHEMA_VERSION, Store, SurveySource, TrialSource};
use pinhold::units::NM_PER_INLBF;
use pinhold_protocol::record::{Direction, Knee, Outcome, SampleCoverage};
use rusqlite::Connection;
use tempfile::TempDir;

use crate::sample::{climate, repair, trial};
use crate::sample_lever::{calibration, check};

/// Each schema's fixture, in order from 1.
pub(crate) const FIXTURES: [&str; 8] = [
    include_str!("../fixtures/schema/1.sql"),
    include_str!("../fixtures/schema/2.sql"),
    include_str!("../fixtures/schema/3.sql"),
    include_str!("../fixtures/schema/4.sql"),
    include_str!("../fixtures/schema/5.sql"),
    include_str!("../fixtures/schema/6.sql"),
    include_str!("../fixtures/schema/7.sql"),
    include_str!("../fixtures/schema/8.sql"),
];

fn built(sql: &str) -> TempDir {
    let folder = TempDir::new().unwrap();
    let connection = Connection::open(folder.path().join("pinhold.db")).unwrap();
    connection.execute_batch(sql).unwrap();
    folder
}

/// Every object of a schema, its text without regard to blanks.
fn schema(folder: &TempDir) -> Vec<String> {
    let connection = Connection::open(folder.path().join("pinhold.db")).unwrap();
    let mut statement = connection
        .prepare("SELECT sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY type, name")
        .unwrap();
    let texts = statement.query_map([], |row| row.get::<_, String>(0)).unwrap();
    texts.map(|text| text.unwrap().split_whitespace().collect::<Vec<_>>().join(" ")).collect()
}

#[test]
fn there_is_a_fixture_of_every_schema() {
    assert_eq!(FIXTURES.len() as i64, SCHEMA_VERSION);
}

#[test]
fn a_new_store_and_every_migrated_one_have_the_same_schema() {
    let fresh = TempDir::new().unwrap();
    Store::open(fresh.path()).unwrap();
    let fresh = schema(&fresh);
    assert!(fresh.len() > 10);
    for fixture in FIXTURES {
        let folder = built(fixture);
        Store::open(folder.path()).unwrap();
        assert_eq!(schema(&folder), fresh);
    }
}

#[test]
fn what_schema_1_held_is_read() {
    for fixture in FIXTURES {
        let folder = built(fixture);
        check_schema_1_facts(&Store::open(folder.path()).unwrap());
    }
}

/// What every fixture holds, since later ones went on from the first.
fn check_schema_1_facts(store: &Store) {
    let record = store.find_instrument("Old friend").unwrap();
    assert_eq!((record.instrument.pins.len(), record.survey_count), (4, 2));
    assert_eq!((record.facts.serial.as_str(), record.facts.place.as_str()), ("12", "hall"));
    assert_eq!(record.instrument.pins[0].diameter_um, Some(7163));

    let surveys = store.surveys_of(record.id).unwrap();
    assert_eq!(surveys[0].source, SurveySource::Import);
    assert_eq!((surveys[0].started.as_str(), surveys[0].notes.as_str()), ("2024-11-03", "first"));
    assert_eq!(surveys[0].temperature_centi_celsius, Some(2050));
    let condition = store.condition(surveys[0].id).unwrap();
    assert_eq!(condition.tune, Some(TuneStability::Stable));
    assert_eq!(condition.relative_humidity, Some(0.4));
    let verdict = store.latest_verdict(surveys[0].id).unwrap().unwrap();
    assert_eq!(verdict.document["remedy"], "leave");

    let hand = store.readings_of(surveys[0].id).unwrap().hand;
    assert_eq!(hand.len(), 3);
    assert_eq!(hand[0].sharp.as_ref().unwrap().newton_metres(), 10.2);
    assert_eq!((hand[0].cents_milli, hand[0].remark.as_str()), (Some(-3500), "oily"));
    let flat_nm = hand[1].flat.as_ref().unwrap().newton_metres();
    assert_eq!((hand[1].kind, flat_nm), (TorqueKind::Peak, 30.0 * pinhold::units::NM_PER_INLBF));
    assert_eq!((hand[2].state, hand[2].limit_side), (StringState::Slack, Some(LimitSide::Lower)));

    let lever = store.readings_of(surveys[1].id).unwrap().lever;
    assert_eq!(lever.len(), 1);
    assert_eq!((lever[0].device, lever[0].epoch, lever[0].number), (0xfedc_ba98_7654_3210, 7, 0));
    assert_eq!((lever[0].crc32, surveys[1].uid), (0xdead_beef, 0x8000_0000_0000_0001));
    let reading = &lever[0].reading;
    assert_eq!((reading.outcome, reading.samples), (Outcome::Measured, SampleCoverage::Complete));
    assert_eq!(reading.friction.unwrap().micronewton_metres(), 8_000_000);
    let [flat, sharp] = reading.strokes[..] else { panic!("two strokes") };
    assert_eq!((flat.direction, flat.knee), (Direction::Flat, Knee::Rounded));
    assert_eq!((sharp.direction, sharp.breakaway), (Direction::Sharp, None));
    assert!(store.committed_floor(0xfedc_ba98_7654_3210, 7).unwrap() > 0);
}

#[test]
fn what_schema_2_held_is_read() {
    for fixture in &FIXTURES[1..] {
        let folder = built(fixture);
        check_schema_2_facts(&Store::open(folder.path()).unwrap());
    }
}

/// What every fixture from the second on holds.
fn check_schema_2_facts(store: &Store) {
    let (device, epoch) = (0xfedc_ba98_7654_3210, 7);
    assert_eq!(store.committed_floor(device, epoch).unwrap(), 6);
    assert_eq!(store.losses_of(device, epoch).unwrap(), [4]);
    let held = store.held_records(device, epoch, 4).unwrap();
    assert_eq!((held[0].lost_chain, held[1].lost_chain), (Some(0x1234_5678), None));
    let reading = RecordName { device, epoch, number: 0 };
    assert_eq!(store.trace_of(reading).unwrap().unwrap().points.len(), 3);
    let inbox = store.inbox().unwrap();
    assert_eq!((inbox.len(), inbox[0].name.number), (1, 2));
    let survey = store.find_survey(0x8000_0000_0000_0001).unwrap().unwrap();
    assert_eq!(store.skips_of(survey.uid).unwrap().len(), 1);
    assert_eq!(store.plan_of(survey.id).unwrap().unwrap().pins.len(), 2);
    let batches = store.corrections_of(survey.id).unwrap();
    assert_eq!((batches.len(), batches[0].undone_by), (2, Some(batches[1].id)));
    assert_eq!(batches[0].reason, "started one pin late");
    let stored = store.readings_of(survey.id).unwrap().lever;
    assert_eq!((stored[0].pin, stored[0].is_corrected), (Some(stored[0].reading.pin), true));
    let known = store.known_logs().unwrap();
    assert_eq!((known[0].device, known[0].calendar_ms), (device, 1_795_000_000_000));
}

#[test]
fn what_schema_3_held_is_read() {
    for fixture in &FIXTURES[2..] {
        let folder = built(fixture);
        let store = Store::open(folder.path()).unwrap();
        let device = 0xfedc_ba98_7654_3210;
        assert_eq!(store.calibrations_of(device).unwrap(), [calibration(device, 3)]);
        assert_eq!(store.checks_of(device).unwrap(), [check(device, 3, 1_751_000_000_000, true)]);
        let record = store.find_instrument("Old friend").unwrap();
        let survey = store.surveys_of(record.id).unwrap()[0].id;
        let hand = store.readings_of(survey).unwrap().hand;
        let either_way_nm = hand[2].torque.as_ref().unwrap().newton_metres();
        assert_eq!((hand[0].torque.is_none(), either_way_nm), (true, 250.0 * NM_PER_INLBF));
    }
}

#[test]
fn what_schema_4_held_is_read() {
    for fixture in &FIXTURES[3..] {
        let folder = built(fixture);
        check_schema_4_facts(&Store::open(folder.path()).unwrap());
    }
}

/// What every fixture from the fourth on holds.
fn check_schema_4_facts(store: &Store) {
    let record = store.find_instrument("Old friend").unwrap();
    let stored = store.string_scale(record.id).unwrap().unwrap();
    assert_eq!((stored.origin.as_str(), stored.scale.a4_hz), ("second.csv", 435.0));
    assert_eq!(record.instrument.strings, stored.scale);
    let [single, second, last] = stored.scale.rows[..] else { panic!("three rows") };
    let weighed = Winding::Mass { mass_kg_per_m: 0.16, u_relative: Some(0.01) };
    assert_eq!((single.winding, single.u_wire_m), (Some(weighed), Some(0.000_005)));
    let covered = Winding::Cover {
        outer_m: 0.0053,
        metal: WindingMetal::Copper,
        packing: Some(0.8),
        u_packing: Some(0.02),
    };
    assert_eq!((second.string, second.winding), (None, Some(covered)));
    assert_eq!((last.wire_m, last.total_length_m), (0.001_003_3, Some(0.98)));
}

#[test]
fn what_older_schemas_held_has_no_string_scale() {
    for fixture in &FIXTURES[..3] {
        let folder = built(fixture);
        let store = Store::open(folder.path()).unwrap();
        let record = store.find_instrument("Old friend").unwrap();
        assert_eq!(store.string_scale(record.id).unwrap(), None);
        assert!(record.instrument.strings.is_empty());
    }
}

#[test]
fn what_older_schemas_held_has_no_calibration() {
    for fixture in &FIXTURES[..2] {
        let folder = built(fixture);
        let mut store = Store::open(folder.path()).unwrap();
        let device = 0xfedc_ba98_7654_3210;
        assert_eq!(store.calibrations_of(device).unwrap(), []);
        let number = store.next_calibration_number(device).unwrap();
        store.keep_calibration(&calibration(device, number)).unwrap();
        assert_eq!(store.latest_calibration(device).unwrap(), Some(calibration(device, number)));
    }
}

#[test]
fn what_schema_1_held_has_no_corrections() {
    let folder = built(FIXTURES[0]);
    let store = Store::open(folder.path()).unwrap();
    let survey = store.find_survey(0x8000_0000_0000_0001).unwrap().unwrap();
    assert_eq!(store.corrections_of(survey.id).unwrap(), []);
    assert_eq!(store.plan_of(survey.id).unwrap(), None);
    assert!(!store.readings_of(survey.id).unwrap().lever[0].is_corrected);
}

#[test]
fn what_schema_5_held_is_read() {
    for fixture in &FIXTURES[4..] {
        let folder = built(fixture);
        let store = Store::open(folder.path()).unwrap();
        let record = store.find_instrument("Old friend").unwrap();
        assert_eq!(record.instrument.face, PlateFace::ThreeQuarter);
        assert!(store.layout_of(record.id).unwrap().starts_with("format = \"pinhold.layout\"\n"));
    }
}

#[test]
fn what_schema_6_held_is_read() {
    for fixture in &FIXTURES[5..] {
        let folder = built(fixture);
        check_schema_6_facts(&Store::open(folder.path()).unwrap());
    }
}

/// What every fixture from the sixth on holds.
fn check_schema_6_facts(store: &Store) {
    let record = store.find_instrument("Old friend").unwrap();
    let [counts, withdrawn] = &store.trials_of(record.id).unwrap()[..] else { panic!("two") };
    let typed = |text: &str| TrialSource::Typed(text.to_string());
    assert_eq!((counts.id.number(), &counts.withdrawn), (1, &None));
    assert_eq!((counts.new.label.as_str(), counts.new.fitted.as_str()), ("3/0", "2026-02-27"));
    assert_eq!(
        (&counts.new.before, &counts.new.after),
        (&typed("70/10 in·lbf"), &typed("9.1/7.4 N·m"))
    );
    let trial = counts.new.trial;
    assert_eq!((trial.from_um, trial.to_um, trial.reamed), (7163, 7280, false));
    assert_eq!((trial.before_nm.value, trial.before_nm.u), (4.1, 0.3));
    assert_eq!((trial.after_nm.value, trial.after_nm.u), (8.25, 0.31));
    let survey = store.surveys_of(record.id).unwrap()[0].id;
    assert_eq!(withdrawn.new.before, TrialSource::Survey(survey));
    assert!(withdrawn.new.trial.reamed);
    assert_eq!(withdrawn.withdrawn.as_ref().unwrap().1, "wrong pin");
    assert_eq!(store.counting_trials(record.id).unwrap(), [trial]);
}

#[test]
fn what_schema_8_held_is_read() {
    let folder = built(FIXTURES[7]);
    let store = Store::open(folder.path()).unwrap();
    let id = store.find_instrument("Old friend").unwrap().id;
    let [first, second] = &store.climate_of(id).unwrap()[..] else { panic!("two count") };
    assert_eq!((first.number, first.new.humidity_permille), (1, 415));
    assert_eq!(first.new.temperature_centi_celsius, Some(2050));
    assert_eq!(first.new.source, "logger 3");
    assert_eq!(
        (second.new.taken_ms, second.new.temperature_centi_celsius),
        (1_769_990_400_000, None)
    );
    let [repair] = &store.repairs_of(id).unwrap()[..] else { panic!("one counts") };
    assert_eq!((repair.number, repair.new.what), (1, RepairKind::LargerPins));
    assert_eq!(repair.new.pins.len(), 2);
    assert!(repair.new.is_of(repair.new.pins[0]));
}

#[test]
fn instruments_from_before_schema_8_have_no_climate_and_no_repairs() {
    for fixture in &FIXTURES[..7] {
        let folder = built(fixture);
        let mut store = Store::open(folder.path()).unwrap();
        let id = store.find_instrument("Old friend").unwrap().id;
        assert!(
            store.climate_of(id).unwrap().is_empty() && store.repairs_of(id).unwrap().is_empty()
        );
        assert_eq!(store.keep_climate(id, "now", &[climate(5)]).unwrap(), 1);
        assert_eq!(store.keep_repair(id, "now", &repair(Vec::new())).unwrap(), 1);
    }
}

#[test]
fn instruments_from_before_schema_6_have_no_trial_pins() {
    for fixture in &FIXTURES[..5] {
        let folder = built(fixture);
        let mut store = Store::open(folder.path()).unwrap();
        let record = store.find_instrument("Old friend").unwrap();
        assert_eq!(store.trials_of(record.id).unwrap(), []);
        let pin = record.instrument.pins[0].pin;
        let kept = store.keep_trial(record.id, &trial(pin)).unwrap();
        assert_eq!(store.trials_of(record.id).unwrap()[0].id, kept);
    }
}

#[test]
fn instruments_from_before_schema_5_have_a_full_plate_and_no_layout() {
    for fixture in &FIXTURES[..4] {
        let folder = built(fixture);
        let store = Store::open(folder.path()).unwrap();
        let record = store.find_instrument("Old friend").unwrap();
        assert_eq!(record.instrument.face, PlateFace::Full);
        assert_eq!(store.layout_of(record.id).unwrap(), "");
    }
}
