//! A store with one of everything, its records true to their checksums; invented.

use pinhold::analysis::input::Condition;
use pinhold::condition::ConditionRecord;
use pinhold::instrument::scale::{StringRow, StringScale};
use pinhold::instrument::{FieldPin, Instrument, InstrumentKind};
use pinhold::store::{
    Cause, Contact, InstrumentFacts, Move, NewInstrument, NewRecord, NewRepair, NewSurvey,
    RecordName, Store, StoredPlan, StoredScale, StoredVerdict, SurveyId, SurveySource,
};
use pinhold_protocol::content::{UNASSIGNED, decode_content};
use pinhold_protocol::lost::encode_lost;
use pinhold_protocol::record::{
    Pin, RECORD_BYTES_MAX, Reading, StringPosition, encode_record, record_checksum,
};
use pinhold_protocol::units::{Angle, Torque};
use rusqlite::Connection;

use crate::sample::{climate, hello, instrument, reading, repair, trial};
use crate::sample_lever::{calibration, check};

/// The lever of the store.
pub(crate) const DEVICE: u64 = 0xF123_4567_89AB_CDEF;
/// When everything happened, ISO 8601.
pub(crate) const WHEN: &str = "2026-02-03T04:05:06.789Z";
/// A text that is found wherever it is kept; the owner's name.
pub(crate) const OWNER: &str = "Mx Invented Owner";

/// An instrument of a few pins, so that a store of it is small.
pub(crate) fn small_instrument(name: &str) -> NewInstrument {
    let whole = instrument(name);
    let pins: Vec<FieldPin> = whole
        .instrument
        .pins
        .iter()
        .filter(|field| field.pin.note >= 40)
        .take(12)
        .cloned()
        .collect();
    NewInstrument {
        instrument: Instrument { kind: InstrumentKind::Grand, pins, ..whole.instrument },
        facts: InstrumentFacts {
            serial: "S-1".to_owned(),
            maker_text: "=HYPERLINK(\"x\")".to_owned(),
            owner_reference: OWNER.to_owned(),
            place: "Place of the invented owner".to_owned(),
        },
        created: WHEN.to_owned(),
    }
}

/// A survey's facts.
pub(crate) fn small_survey(uid: u64, source: SurveySource) -> NewSurvey {
    NewSurvey {
        uid,
        started: WHEN.to_owned(),
        source,
        temperature_centi_celsius: Some(2150),
        humidity_permille: Some(413),
        notes: "näh \u{1b}, \"quoted\"".to_owned(),
        condition: Condition { bushed_plate: Some(true), ..Condition::default() },
    }
}

/// Keeps a reading as the host does, under its true checksum.
pub(crate) fn keep_true(
    store: &mut Store,
    survey: Option<SurveyId>,
    name: RecordName,
    reading: &Reading,
) {
    let mut buffer = [0; RECORD_BYTES_MAX];
    let length = encode_record(reading, &mut buffer).unwrap();
    keep_bytes(store, survey, name, &buffer[..length]);
}

fn keep_bytes(store: &mut Store, survey: Option<SurveyId>, name: RecordName, bytes: &[u8]) {
    let RecordName { device, epoch, number } = name;
    let content = decode_content(bytes).ok();
    let record = NewRecord {
        device,
        epoch,
        number,
        checksum: record_checksum(epoch, number, bytes),
        bytes,
        content: content.as_ref(),
        received: WHEN,
    };
    store.keep_record(survey, &record).unwrap();
}

/// Fills a store: an instrument `name`, its surveys `uid` (lever) and `uid + 1` (by hand), and
/// records of `epoch` on the lever.
pub(crate) fn fill(store: &mut Store, name: &str, uid: u64, epoch: u32) -> SurveyId {
    let new = small_instrument(name);
    let id = store.create_laid_out(&new, "format = \"invented\"\n").unwrap();
    let pins: Vec<Pin> = new.instrument.pins.iter().map(|field| field.pin).collect();
    let plan = StoredPlan { slip: Angle::from_microradians(8727), pins: pins.clone() };
    let survey =
        store.begin_planned_survey(id, &small_survey(uid, SurveySource::Lever), &plan).unwrap();
    store.append_to_plan(survey, &pins[..1]).unwrap();
    let named = |number: u32| RecordName { device: DEVICE, epoch, number };
    for (number, pin) in (0..).zip(&pins) {
        let torque = |nm: i32| Torque::from_micronewton_metres(nm + number as i32 * 1000);
        let taken = Reading {
            survey: uid,
            pin: *pin,
            sharp: Some(torque(9_300_000)),
            flat: Some(torque(-800_000)),
            friction: Some(torque(4_250_000)),
            string_moment: Some(torque(5_050_000)),
            ..reading(number + 8)
        };
        keep_true(store, Some(survey), named(number), &taken);
    }
    let count = pins.len() as u32;
    keep_bytes(store, None, named(count), &encode_lost(0x1234_5678));
    for number in [count + 1, count + 2] {
        let taken = Reading { survey: 0, pin: UNASSIGNED, ..reading(number) };
        keep_true(store, None, named(number), &taken);
    }
    store.assign(survey, &[(named(count + 1), Some(pins[1]))], cause("found late")).unwrap();
    let stored = store.readings_of(survey).unwrap().lever;
    let moves = [Move { reading: stored[0].id, pin: None }];
    store.correct(survey, &moves, cause("slipped")).unwrap();
    store.undo_correction(survey, cause("did not")).unwrap();
    store.correct(survey, &moves, cause("slipped after all")).unwrap();
    store
        .note_lever(&Contact {
            hello: &hello(DEVICE, 3),
            seen: WHEN,
            calendar_ms: 1_770_000_000_000,
        })
        .unwrap();
    let verdict = StoredVerdict {
        created: WHEN.to_owned(),
        version: "0.1.0".to_owned(),
        inputs: serde_json::json!({ "weak_nm": 7.0 }),
        document: serde_json::json!({ "remedy": "leave" }),
    };
    store.store_verdict(survey, &verdict).unwrap();
    let record = ConditionRecord::of_condition(&store.condition(survey).unwrap());
    store.set_condition_record(survey, &record).unwrap();
    by_hand(store, name, uid + 1);
    around(store, name);
    survey
}

pub(crate) fn cause(reason: &str) -> Cause<'_> {
    Cause { made: WHEN, reason }
}

/// Readings by hand of some pins, in every form.
fn by_hand(store: &mut Store, name: &str, uid: u64) {
    let record = store.find_instrument(name).unwrap();
    let text = "note,string,sharp,flat,friction,torque,kind,state,cents,u_nm,pin_um,remark\n\
                40,L,82 inlb,-3.5 nm,,,,,-3.5,0.4,7160,oily\n\
                40,C,,,70 kgfcm,,peak,slack,,,,\n\
                40,R,,,,52 in-lb,,,,,,\"=1+1, \"\"x\"\"\"\n\
                41,L,>9 nm,,,,limit,,,,,\n";
    let rows = pinhold::import::parse(text.as_bytes()).unwrap();
    let readings: Vec<_> = rows.into_iter().map(|row| row.reading).collect();
    let survey = small_survey(uid, SurveySource::Import);
    store.import_readings(record.id, &survey, &record.instrument.pins, &readings).unwrap();
}

/// What belongs to the instrument and the lever.
fn around(store: &mut Store, name: &str) {
    let record = store.find_instrument(name).unwrap();
    let row = StringRow {
        note: 40,
        string: Some(StringPosition::Left),
        speaking_length_m: 0.8,
        u_speaking_length_m: Some(0.001),
        wire_m: 0.001,
        u_wire_m: None,
        total_length_m: None,
        winding: None,
    };
    let scale = StoredScale {
        entered: WHEN.to_owned(),
        origin: "strings.csv".to_owned(),
        scale: StringScale { a4_hz: 440.0, rows: vec![row] },
    };
    store.keep_string_scale(record.id, &scale, &record.instrument.pins).unwrap();
    let first = store.keep_trial(record.id, &trial(record.instrument.pins[0].pin)).unwrap();
    store.keep_trial(record.id, &trial(record.instrument.pins[1].pin)).unwrap();
    store.withdraw_trial(record.id, first, WHEN, "wrong pin").unwrap();
    store.keep_climate(record.id, WHEN, &[climate(20_485), climate(20_486)]).unwrap();
    let log = store.climate_of(record.id).unwrap();
    store.withdraw_climate(record.id, log[0].number, WHEN, "typing error").unwrap();
    let pins = vec![record.instrument.pins[0].pin, record.instrument.pins[1].pin];
    let first = store.keep_repair(record.id, WHEN, &repair(pins)).unwrap();
    store.keep_repair(record.id, WHEN, &NewRepair { done_ms: 1, ..repair(Vec::new()) }).unwrap();
    store.withdraw_repair(record.id, first, WHEN, "another instrument").unwrap();
    if store.calibrations_of(DEVICE).unwrap().is_empty() {
        store.keep_calibration(&calibration(DEVICE, 3)).unwrap();
        store.keep_check(&check(DEVICE, 3, 1_770_000_000_000, true)).unwrap();
    }
}

/// Every row of every table, and the schema, as text: what any reader of the file can get at.
pub(crate) fn dump(connection: &Connection) -> Result<Vec<String>, rusqlite::Error> {
    let mut lines = Vec::new();
    let mut statement =
        connection.prepare("SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY 1, 2")?;
    let mut names: Vec<String> = Vec::new();
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let (kind, name): (String, String) = (row.get(0)?, row.get(1)?);
        let on: String = row.get(2)?;
        lines.push(format!("{kind} {name} {on} {:?}", row.get::<_, Option<String>>(3)?));
        if kind == "table" {
            names.push(name);
        }
    }
    for pragma in ["user_version", "application_id", "encoding"] {
        let value: rusqlite::types::Value =
            connection.pragma_query_value(None, pragma, |row| row.get(0))?;
        lines.push(format!("{pragma} {value:?}"));
    }
    for name in names {
        let mut statement = connection.prepare(&format!("SELECT * FROM {name} NOT INDEXED"))?;
        let count = statement.column_count();
        let mut rows = statement.query([])?;
        while let Some(row) = rows.next()? {
            let values: Result<Vec<String>, _> =
                (0..count).map(|at| row.get_ref(at).map(|value| format!("{value:?}"))).collect();
            lines.push(format!("{name} {}", values?.join(" ")));
        }
    }
    Ok(lines)
}
