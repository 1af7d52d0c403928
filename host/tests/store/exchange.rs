//! Instruments out of one store and into another: the same bytes, nothing twice, nothing believed.
//!
//! `PINHOLD_FLIPS` makes the flipped bytes more: a factor.

use std::io::Cursor;

use pinhold::analysis::random::Random;
use pinhold::exchange::{ExchangeError, bundle, csv, json};
use pinhold::store::moving::{Received, Record, kind_names};
use pinhold::store::{Store, StoreError};
use serde_json::Value;
use tempfile::TempDir;

use crate::everything::{OWNER, cause, fill, small_survey};
use crate::flips::factor;

/// Judging seed.
const SEED: u64 = 910_002;
/// Flips in the short form.
const FLIP_COUNT: usize = 150;

fn empty() -> (TempDir, Store) {
    let folder = TempDir::new().unwrap();
    let store = Store::open(folder.path()).unwrap();
    (folder, store)
}

fn filled() -> (TempDir, Store) {
    let (folder, mut store) = empty();
    fill(&mut store, "one", 7, 1);
    (folder, store)
}

fn bundle_of(store: &Store, name: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let id = store.find_instrument(name).unwrap().id;
    bundle::write(store, id, false, &mut bytes).unwrap();
    bytes
}

fn json_of(store: &Store, name: &str) -> Vec<u8> {
    let mut bytes = Vec::new();
    let id = store.find_instrument(name).unwrap().id;
    json::write(store, id, false, &mut bytes).unwrap();
    bytes
}

fn take_bundle(store: &mut Store, bytes: &[u8]) -> Result<Received, ExchangeError> {
    let mut receiver = store.receive()?;
    bundle::read(&mut Cursor::new(bytes), &mut |line, record| {
        receiver.take(record).map_err(|source| ExchangeError::Refused { line, source })
    })?
    .sound()?;
    Ok(receiver.finish()?)
}

fn take_json(store: &mut Store, bytes: &[u8]) -> Result<Received, ExchangeError> {
    let mut receiver = store.receive()?;
    json::read(&mut Cursor::new(bytes), &mut |record| Ok(receiver.take(record)?))?;
    Ok(receiver.finish()?)
}

#[test]
fn exported_imported_and_exported_again_it_is_the_same_bytes() {
    let (_folder, store) = filled();
    let (as_bundle, as_json) = (bundle_of(&store, "one"), json_of(&store, "one"));
    for turn in 0..2 {
        let (_other_folder, mut other) = empty();
        // Keys of its own, so that none can have come along by chance.
        fill(&mut other, "before", 107, 9);
        let received = match turn {
            0 => take_bundle(&mut other, &as_bundle).unwrap(),
            _ => take_json(&mut other, &as_json).unwrap(),
        };
        assert_eq!(
            (received.instruments.as_slice(), received.conflict_count),
            (&["one".to_owned()][..], 0)
        );
        // The lever and its calibration were there from the other instrument.
        assert_eq!((received.stored["reading"], received.known_count), (13, 3));
        assert_eq!(json_of(&other, "one"), as_json);
        let again = take_bundle(&mut other, &as_bundle).unwrap();
        assert_eq!((again.stored.len(), again.conflict_count), (0, 0), "{:?}", again.conflicts);
        assert!(other.verify().unwrap().is_clean());
    }
    let (_fresh_folder, mut fresh) = empty();
    take_bundle(&mut fresh, &as_bundle).unwrap();
    assert_eq!(bundle_of(&fresh, "one"), as_bundle);
    assert_eq!(fresh.verify().unwrap().findings, []);
    for kind in kind_names() {
        let text = String::from_utf8_lossy(&as_bundle);
        assert!(text.contains(&format!("\"kind\":\"{kind}\"")), "{kind} is not in the bundle");
    }
}

#[test]
fn a_table_imported_and_written_again_is_the_same_bytes() {
    let (_folder, store) = filled();
    for uid in [7, 8] {
        let survey = store.find_survey(uid).unwrap().unwrap();
        let mut first = Vec::new();
        let written = csv::write(&store.readings_of(survey.id).unwrap(), &mut first).unwrap();
        let rows = pinhold::import::parse(&first)
            .unwrap_or_else(|error| panic!("{error}\n{}", String::from_utf8_lossy(&first)));
        assert_eq!(rows.len(), written.row_count);
        assert!(rows.len() >= 4, "{written:?}");
        let readings: Vec<_> = rows.into_iter().map(|row| row.reading).collect();
        let (_other_folder, mut other) = filled();
        let record = other.find_instrument("one").unwrap();
        let new = small_survey(99, pinhold::store::SurveySource::Import);
        let id =
            other.import_readings(record.id, &new, &record.instrument.pins, &readings).unwrap();
        let mut second = Vec::new();
        csv::write(&other.readings_of(id).unwrap(), &mut second).unwrap();
        assert_eq!(String::from_utf8_lossy(&second), String::from_utf8_lossy(&first));
    }
}

#[test]
fn a_formula_in_a_table_is_harmless_and_comes_back() {
    let (_folder, store) = filled();
    let survey = store.find_survey(8).unwrap().unwrap();
    let mut bytes = Vec::new();
    csv::write(&store.readings_of(survey.id).unwrap(), &mut bytes).unwrap();
    let mut rows = ::csv::Reader::from_reader(&bytes[..]);
    for row in rows.records() {
        for cell in &row.unwrap() {
            let runs = cell.starts_with(['=', '+', '-', '@']) && cell.parse::<f64>().is_err();
            assert!(!runs, "{cell}");
        }
    }
    let read = pinhold::import::parse(&bytes).unwrap();
    assert_eq!(read[2].reading.remark, "=1+1, \"x\"");
}

#[test]
fn two_stores_merged_hold_everything_once() {
    let (_one_folder, mut one) = filled();
    let (_other_folder, mut other) = empty();
    take_bundle(&mut other, &bundle_of(&one, "one")).unwrap();
    // Each goes on by itself.
    fill(&mut one, "two", 17, 2);
    fill(&mut other, "three", 27, 3);
    let survey = other.find_survey(7).unwrap().unwrap();
    other.undo_correction(survey.id, cause("it counts")).unwrap();
    let received = one.merge(&other).unwrap();
    assert_eq!((received.conflicts.as_slice(), received.conflict_count), (&[][..], 0));
    assert_eq!(received.instruments, ["one", "three"]);
    assert_eq!((received.stored["reading"], received.stored["correction_batch"]), (13, 5));
    let again = one.merge(&other).unwrap();
    assert_eq!((again.stored.len(), again.conflict_count), (0, 0), "{:?}", again.conflicts);
    other.merge(&one).unwrap();
    for name in ["one", "two", "three"] {
        assert_eq!(bundle_of(&one, name), bundle_of(&other, name), "{name}");
    }
    assert_eq!(one.inbox().unwrap().len(), 3);
    let ours = one.find_survey(7).unwrap().unwrap();
    assert_eq!(one.corrections_of(ours.id).unwrap().len(), 5);
    assert!(one.verify().unwrap().is_clean());
}

#[test]
fn what_two_stores_disagree_about_is_named_and_stays_as_it_is_here() {
    let (_one_folder, mut one) = filled();
    let (_other_folder, mut other) = empty();
    take_bundle(&mut other, &bundle_of(&one, "one")).unwrap();
    let mut record = other.find_instrument("one").unwrap();
    record.facts.place = "moved".to_owned();
    record.instrument.name = "their name".to_owned();
    other.edit_instrument(&record).unwrap();
    let survey = other.find_survey(7).unwrap().unwrap();
    other.undo_correction(survey.id, cause("theirs")).unwrap();
    let ours = one.find_survey(7).unwrap().unwrap();
    one.undo_correction(ours.id, cause("ours")).unwrap();
    let before = bundle_of(&one, "one");
    let received = one.merge(&other).unwrap();
    assert_eq!(
        received.conflicts,
        [
            "instrument 'one' or one of its pins: differs in place",
            "correction 'theirs' of 2026-02-03T04:05:06.789Z: its readings were corrected here as \
             well",
        ]
    );
    assert_eq!((received.conflict_count, received.stored.len()), (2, 0));
    assert_eq!(bundle_of(&one, "one"), before);
    // Another instrument of the same name is no conflict.
    let (_third_folder, mut third) = empty();
    let mut new = crate::everything::small_instrument("one");
    new.created = "2020-01-01T00:00:00Z".to_owned();
    third.create_instrument(&new).unwrap();
    let received = one.merge(&third).unwrap();
    assert_eq!(received.renamed, [("one".to_owned(), "one (2)".to_owned())]);
    assert_eq!(one.merge(&third).unwrap().conflict_count, 0);
    assert_eq!(one.list_instruments().unwrap().len(), 2);
}

#[test]
fn every_flipped_byte_of_a_bundle_is_found_and_the_rest_is_read() {
    let (_folder, store) = filled();
    let bytes = bundle_of(&store, "one");
    let count = |found: &bundle::Report| (found.record_count, found.finding_count);
    let read = |bytes: &[u8]| bundle::read(&mut Cursor::new(bytes), &mut |_, _| Ok(()));
    let (whole, none) = count(&read(&bytes).unwrap());
    assert_eq!(none, 0);
    let mut random = Random::new(SEED);
    for _ in 0..FLIP_COUNT * factor() {
        let at = (random.next_u64() % bytes.len() as u64) as usize;
        let mut flipped = bytes.clone();
        flipped[at] ^= 1 + (random.next_u64() % 255) as u8;
        let found = read(&flipped).unwrap_or_else(|error| panic!("byte {at}: {error}"));
        assert!(found.finding_count > 0, "byte {at} went unseen");
        assert!(found.record_count + 2 >= whole, "byte {at} cost {}", found.record_count);
        let line = 1 + bytes[..at].iter().filter(|byte| **byte == b'\n').count();
        let named = &found.findings[0].place;
        assert!(named.starts_with(&format!("line {line}")) || named == "the bundle", "{named}");
        let (_other_folder, mut other) = empty();
        assert!(take_bundle(&mut other, &flipped).is_err());
        assert_eq!(other.list_instruments().unwrap(), []);
    }
    // Lines lost, doubled, moved; the end cut off.
    let lines: Vec<&[u8]> = bytes.split_inclusive(|byte| *byte == b'\n').collect();
    let without = [&lines[..3], &lines[4..]].concat().concat();
    let doubled = [&lines[..4], &lines[3..]].concat().concat();
    let mut moved = lines.clone();
    moved.swap(3, 4);
    let cut = lines[..lines.len() - 1].concat();
    for broken in [without, doubled, moved.concat(), cut] {
        assert!(read(&broken).unwrap().finding_count > 0);
    }
}

#[test]
fn records_that_cannot_be_true_are_refused_and_nothing_is_stored() {
    let (_folder, store) = filled();
    let document: Value = serde_json::from_slice(&json_of(&store, "one")).unwrap();
    let records = document["records"].as_array().unwrap();
    let index = |kind: &str| records.iter().position(|r| r["kind"] == kind).unwrap();
    let reading = index("reading");
    type Change = fn(&mut Value);
    let cases: [(usize, Change, &str); 12] = [
        (reading, |r| r["row"]["friction_unm"] = 1.into(), "its own checksum does not match"),
        (reading, |r| r["row"]["outcome"] = 99.into(), "a reading's outcome is 99"),
        (reading, |r| r["row"]["number"] = Value::from(1.5), "number is no whole number"),
        (reading, |r| r["row"]["survey"] = "0".into(), "is no 16 hexadecimal digits"),
        (reading, |r| r["row"]["survey"] = "00000000000000ff".into(), "did not come before it"),
        (reading, |r| r["row"]["extra"] = 1.into(), "it has no column 'extra'"),
        (reading, |r| r["row"]["id"] = 1.into(), "it has no column 'id'"),
        (reading, |r| r["row"]["strokes"] = 1.into(), "strokes is no list"),
        (reading, |r| r["kind"] = "sqlite_master".into(), "there is no such kind of record"),
        (0, |r| r["row"]["kind"] = "organ".into(), "the schema refuses it"),
        (index("survey"), |r| r["row"]["condition"] = "{".into(), "a survey's condition is"),
        (index("calibration"), |r| r["row"]["document"] = "{}".into(), "calibration"),
    ];
    for (at, change, why) in cases {
        let mut changed = document.clone();
        change(&mut changed["records"][at]);
        let (_other_folder, mut other) = empty();
        let refused = take_json(&mut other, changed.to_string().as_bytes()).unwrap_err();
        assert!(refused.to_string().contains(why), "{refused}");
        assert_eq!(other.list_instruments().unwrap(), [], "{why}");
        assert!(other.verify().unwrap().is_clean());
    }
    let (_other_folder, mut other) = empty();
    let orphan = Record { kind: "survey".to_owned(), row: Default::default() };
    let refused = other.receive().unwrap().take(orphan);
    assert!(matches!(refused, Err(StoreError::NotTaken { .. })));
}

#[test]
fn documents_that_are_none_are_refused() {
    for (text, why) in [
        ("", "EOF"),
        ("[]", "invalid type"),
        ("{\"format\":\"x\"}", "no exported instrument"),
        ("{\"format\":\"pinhold.instrument.export\",\"version\":2}", "newer pinhold"),
        ("{\"format\":\"pinhold.instrument.export\",\"records\":[]}", "format or version missing"),
        ("{\"format\":\"pinhold.instrument.export\",\"version\":1}x", "trailing"),
        ("{\"format\":\"pinhold.instrument.export\",\"version\":1,\"records\":[{}]}", "missing"),
    ] {
        let (_folder, mut store) = empty();
        let refused = take_json(&mut store, text.as_bytes()).unwrap_err().to_string();
        assert!(refused.contains(why), "{text}: {refused}");
    }
    let long = format!(
        "{{\"format\":\"pinhold.instrument.export\",\"version\":1,\"records\":[{{\"kind\":\"{}",
        "x".repeat(5_000_000)
    );
    let (_folder, mut store) = empty();
    assert!(matches!(take_json(&mut store, long.as_bytes()), Err(ExchangeError::TooLong { .. })));
    let line = "0123456789abcdef {".to_owned() + &"x".repeat(5_000_000);
    assert!(matches!(
        take_bundle(&mut store, line.as_bytes()),
        Err(ExchangeError::TooLong { line: 1 })
    ));
    assert!(matches!(take_bundle(&mut store, b"note"), Err(ExchangeError::Foreign { .. })));
}

#[test]
fn an_owner_is_erased_from_every_file_and_the_pins_stay() {
    let (folder, mut store) = filled();
    let id = store.find_instrument("one").unwrap().id;
    let holds = |what: &str| {
        std::fs::read_dir(folder.path()).unwrap().any(|entry| {
            let bytes = std::fs::read(entry.unwrap().path()).unwrap();
            bytes.windows(what.len()).any(|window| window == what.as_bytes())
        })
    };
    let (pins, survey) = (store.instrument(id).unwrap().instrument, store.find_survey(7).unwrap());
    let readings = store.readings_of(survey.as_ref().unwrap().id).unwrap();
    assert!(holds(OWNER) && holds("Place of the invented owner") && holds("\"quoted\""));
    store.erase_owner(id, false).unwrap();
    assert!(!holds(OWNER) && !holds("Place of the invented owner"));
    assert!(holds("\"quoted\""), "notes stay unless they are asked for");
    store.erase_owner(id, true).unwrap();
    assert!(!holds("\"quoted\""));
    assert_eq!(store.instrument(id).unwrap().instrument, pins);
    assert_eq!(store.readings_of(survey.unwrap().id).unwrap(), readings);
    assert!(store.verify().unwrap().is_clean());
    let mut bytes = Vec::new();
    let (_other_folder, other) = filled();
    let id = other.find_instrument("one").unwrap().id;
    bundle::write(&other, id, true, &mut bytes).unwrap();
    assert!(!String::from_utf8_lossy(&bytes).contains(OWNER));
}

/// The published schema says of every record what it is; checked is what the schema uses of JSON
/// Schema (draft 2020-12): type, required, properties, additionalProperties, items, pattern of hex.
#[test]
fn what_is_exported_is_what_the_published_schema_says() {
    let schema: Value = serde_json::from_str(json::SCHEMA).unwrap();
    let (_folder, store) = filled();
    let document: Value = serde_json::from_slice(&json_of(&store, "one")).unwrap();
    assert_eq!(document["format"], schema["properties"]["format"]["const"]);
    assert_eq!(document["version"], schema["properties"]["version"]["const"]);
    for record in document["records"].as_array().unwrap() {
        let kind = record["kind"].as_str().unwrap();
        conforms(&schema["$defs"][kind], &record["row"], kind);
    }
    let described: Vec<&String> = schema["$defs"].as_object().unwrap().keys().collect();
    let mut kinds: Vec<&str> = kind_names().collect();
    kinds.sort_unstable();
    assert_eq!(described, kinds);
    let mut foreign = document["records"][0]["row"].clone();
    foreign["extra"] = 1.into();
    let refused =
        std::panic::catch_unwind(|| conforms(&schema["$defs"]["instrument"], &foreign, "x"));
    assert!(refused.is_err(), "the check itself has teeth");
}

fn conforms(schema: &Value, value: &Value, place: &str) {
    match schema["type"].as_str().unwrap_or_else(|| panic!("{place} is not described")) {
        "object" => {
            let properties = schema["properties"].as_object().unwrap();
            let object = value.as_object().unwrap_or_else(|| panic!("{place}"));
            for name in schema["required"].as_array().unwrap() {
                assert!(object.contains_key(name.as_str().unwrap()), "{place} lacks {name}");
            }
            assert_eq!(schema["additionalProperties"], false, "{place}");
            for (name, value) in object {
                let place = format!("{place}.{name}");
                let property = properties.get(name);
                conforms(property.unwrap_or_else(|| panic!("{place} is unknown")), value, &place);
            }
        }
        "array" => {
            let items = value.as_array().unwrap_or_else(|| panic!("{place}"));
            items.iter().for_each(|item| conforms(&schema["items"], item, place));
        }
        "integer" => assert!(value.is_i64(), "{place}: {value}"),
        "string" => {
            let text = value.as_str().unwrap_or_else(|| panic!("{place}: {value}"));
            let hex = text.bytes().all(|byte| byte.is_ascii_hexdigit());
            match schema["pattern"].as_str() {
                None => {}
                Some("^[0-9a-f]{16}$") => assert!(hex && text.len() == 16, "{place}: {text}"),
                Some("^([0-9a-f]{2})*$") => assert!(hex && text.len().is_multiple_of(2), "{place}"),
                Some("^[0-9a-f]{16}\\.[0-9]+\\.[0-9]+$") => {
                    assert_eq!(text.split('.').count(), 3, "{place}: {text}");
                }
                Some(other) => panic!("{place}: a pattern that this test does not know: {other}"),
            }
        }
        other => panic!("{place}: a type that this test does not know: {other}"),
    }
}
