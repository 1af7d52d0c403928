//! Records of every kind: losses beside true records, traces, skipped pins, what nobody reads yet.

use std::collections::BTreeMap;

use pinhold::store::{Committed, Contact, Held, RecordName, Store, StoreError};
use pinhold_protocol::content::{
    Content, Skip, Trace, TracePoint, UNASSIGNED, decode_content, encode_skip, encode_trace,
};
use pinhold_protocol::lost::encode_lost;
use pinhold_protocol::message::Hello;
use pinhold_protocol::record::{
    Pin, RECORD_BYTES_MAX, Reading, StringPosition, encode_record, record_checksum,
};
use pinhold_protocol::units::DeviceTime;
use proptest::prelude::*;
use tempfile::TempDir;

use crate::sample::{begin, keep_content, reading};

const DEVICE: u64 = 0xF123_4567_89AB_CDEF;
const EPOCH: u32 = 4;

fn bytes_of(reading: &Reading) -> Vec<u8> {
    let mut buffer = [0; RECORD_BYTES_MAX];
    let length = encode_record(reading, &mut buffer).unwrap();
    buffer[..length].to_vec()
}

/// The true bytes of record `number`: readings of the survey begun, of none, of a foreign one,
/// traces, skips, and a kind nobody knows.
fn true_bytes(number: u32) -> Vec<u8> {
    let mut buffer = [0; RECORD_BYTES_MAX];
    let pin = Pin { note: 40, string: StringPosition::Left };
    match number % 6 {
        0 => bytes_of(&Reading { survey: 1, ..reading(number) }),
        1 => {
            let point = TracePoint { torque: -3, angle: 7 };
            let mut trace = Trace {
                reading: number - 1,
                interval_ms: 20,
                torque_step: Default::default(),
                angle_step: Default::default(),
                points: Default::default(),
            };
            trace.points.push(point).unwrap();
            let length = encode_trace(&trace, &mut buffer).unwrap();
            buffer[..length].to_vec()
        }
        2 => bytes_of(&Reading { survey: 0, pin: UNASSIGNED, ..reading(number) }),
        3 => bytes_of(&Reading { survey: 99, ..reading(number) }),
        4 => {
            let skip = Skip { survey: 1, pin, at: DeviceTime::from_microseconds(5) };
            let length = encode_skip(&skip, &mut buffer).unwrap();
            buffer[..length].to_vec()
        }
        _ => vec![200, number as u8],
    }
}

/// Keeps bytes as the host does: under the survey they name, where there is one.
fn arrive(store: &mut Store, number: u32, bytes: &[u8]) -> Result<Committed, StoreError> {
    let content = decode_content(bytes).ok();
    let survey = match &content {
        Some(Content::Reading(reading)) => store.find_survey(reading.survey)?.map(|s| s.id),
        _ => None,
    };
    let checksum = record_checksum(EPOCH, number, bytes);
    match &content {
        Some(content) => {
            keep_content(store, survey, (DEVICE, EPOCH, number), checksum, bytes, content)
        }
        None => store.keep_record(
            None,
            &pinhold::store::NewRecord {
                device: DEVICE,
                epoch: EPOCH,
                number,
                checksum,
                bytes,
                content: None,
                received: "2025-01-01T00:00:00Z",
            },
        ),
    }
}

#[test]
fn every_kind_is_found_where_it_belongs() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    for number in 0..12 {
        assert_eq!(arrive(&mut store, number, &true_bytes(number)).unwrap(), Committed::New);
    }
    let name = |number| RecordName { device: DEVICE, epoch: EPOCH, number };
    let readings = store.readings_of(survey).unwrap().lever;
    assert_eq!(readings.iter().map(|r| r.number).collect::<Vec<_>>(), [0, 6]);
    assert_eq!(readings[0].pin, Some(readings[0].reading.pin));
    let inbox = store.inbox().unwrap();
    assert_eq!(inbox.iter().map(|r| r.name.number).collect::<Vec<_>>(), [2, 3, 8, 9]);
    assert!(inbox[0].reading.pin.is_unassigned());
    assert_eq!(inbox[1].reading.survey, 99);
    assert_eq!(store.trace_of(name(6)).unwrap().unwrap().reading, 6);
    assert_eq!(store.trace_of(name(2)).unwrap(), None);
    let skips = store.skips_of(1).unwrap();
    assert_eq!(skips.iter().map(|s| s.name.number).collect::<Vec<_>>(), [4, 10]);
    assert_eq!(store.skips_of(99).unwrap(), []);
    assert_eq!(store.committed_floor(DEVICE, EPOCH).unwrap(), 12);
    assert_eq!(store.losses_of(DEVICE, EPOCH).unwrap(), [] as [u32; 0]);
}

#[test]
fn a_loss_and_the_true_record_are_both_kept_and_the_true_one_counts() {
    for number in [0, 2] {
        let folder = TempDir::new().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let survey = begin(&mut store);
        let truth = true_bytes(number);
        let (loss, checksum) = (encode_lost(77), record_checksum(EPOCH, number, &truth));
        assert_eq!(arrive(&mut store, number, &loss).unwrap(), Committed::New);
        assert_eq!(store.losses_of(DEVICE, EPOCH).unwrap(), [number]);
        let held = store.held_records(DEVICE, EPOCH, 0).unwrap();
        let loss_checksum = record_checksum(EPOCH, number, &loss);
        assert_eq!(held, [Held { number, checksum: loss_checksum, lost_chain: Some(77) }]);
        for _ in 0..2 {
            // The lever's chain goes on from what it said last.
            arrive(&mut store, number, &truth).unwrap();
            let held = store.held_records(DEVICE, EPOCH, 0).unwrap();
            assert_eq!(held, [Held { number, checksum, lost_chain: None }]);
            let kept = arrive(&mut store, number, &loss).unwrap();
            assert_eq!(kept, Committed::TrueKept);
            let held = store.held_records(DEVICE, EPOCH, 0).unwrap();
            assert_eq!(held, [Held { number, checksum, lost_chain: Some(77) }]);
        }
        assert_eq!(store.losses_of(DEVICE, EPOCH).unwrap(), [] as [u32; 0]);
        let counted = store.readings_of(survey).unwrap().lever.len();
        assert_eq!(
            (counted, store.inbox().unwrap().len()),
            if number == 0 { (1, 0) } else { (0, 1) }
        );
        let other = bytes_of(&Reading { flags: 1, ..reading(number) });
        let refused = arrive(&mut store, number, &other).unwrap_err();
        assert!(matches!(refused, StoreError::RecordConflict { stored, .. } if stored == checksum));
    }
}

#[test]
fn a_record_that_comes_late_stands_in_its_number_s_place() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    for number in [6, 0, 12] {
        arrive(&mut store, number, &true_bytes(number)).unwrap();
    }
    let numbers: Vec<u32> =
        store.readings_of(survey).unwrap().lever.iter().map(|r| r.number).collect();
    assert_eq!(numbers, [0, 6, 12]);
}

#[test]
fn a_lever_met_is_known_by_its_last_greeting() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let hello = |now_us, epoch| Hello {
        protocol_min: 1,
        protocol_max: 1,
        device: DEVICE,
        epoch,
        firmware: [0, 2, 1],
        record_version: 1,
        now: DeviceTime::from_microseconds(now_us),
        oldest_record: 0,
        next_record: 9,
        committed_floor: 3,
        committed_chain: 17,
        sample_period_ns: 1_000_000,
        calibration: 7,
        zeroed: false,
        survey: 0,
    };
    for (seen, calendar_ms, now_us, epoch) in
        [("a", 1_000_000, 5_000_000, 1), ("b", 3_000_000, 7_000_000, 2), ("c", 9_000_000, 0, 1)]
    {
        let hello = hello(now_us, epoch);
        store.note_lever(&Contact { hello: &hello, seen, calendar_ms }).unwrap();
    }
    let known = store.known_logs().unwrap();
    assert_eq!(known.iter().map(|log| log.epoch).collect::<Vec<_>>(), [2, 1]);
    assert_eq!((known[1].first_seen.as_str(), known[1].last_seen.as_str()), ("a", "c"));
    assert_eq!((known[0].firmware.as_str(), known[0].calibration), ("0.2.1", 7));
    // Two seconds before the second contact, by the lever's clock.
    assert_eq!(known[0].calendar_of(5_000_000), 2_998_000);
}

/// What a host may do with a lever's records.
#[derive(Clone, Copy, Debug)]
enum Step {
    Truth(u32),
    Loss(u32, u32),
    Reopen,
}

fn step() -> impl Strategy<Value = Step> {
    prop_oneof![
        6 => (0u32..18).prop_map(Step::Truth),
        3 => (0u32..18, 0u32..3).prop_map(|(number, chain)| Step::Loss(number, chain)),
        1 => Just(Step::Reopen),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Against a model: whatever comes in whatever order, each true record stands once, and what
    /// came last is known.
    #[test]
    fn any_order_of_records_losses_and_reopenings(steps in prop::collection::vec(step(), 0..60)) {
        let folder = TempDir::new().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let survey = begin(&mut store);
        let mut truths: BTreeMap<u32, ()> = BTreeMap::new();
        let mut last: BTreeMap<u32, Option<u32>> = BTreeMap::new();
        for step in steps {
            match step {
                Step::Truth(number) => {
                    let kept = arrive(&mut store, number, &true_bytes(number)).unwrap();
                    let is_new = truths.insert(number, ()).is_none();
                    prop_assert_eq!(kept == Committed::New, is_new);
                    last.insert(number, None);
                }
                Step::Loss(number, chain) => {
                    arrive(&mut store, number, &encode_lost(chain)).unwrap();
                    last.insert(number, Some(chain));
                }
                Step::Reopen => {
                    drop(store);
                    store = Store::open(folder.path()).unwrap();
                }
            }
        }
        let held = store.held_records(DEVICE, EPOCH, 0).unwrap();
        let expected: Vec<Held> = last
            .iter()
            .map(|(number, lost_chain)| {
                let bytes = match (truths.contains_key(number), lost_chain) {
                    (false, Some(chain)) => encode_lost(*chain).to_vec(),
                    _ => true_bytes(*number),
                };
                let checksum = record_checksum(EPOCH, *number, &bytes);
                Held { number: *number, checksum, lost_chain: *lost_chain }
            })
            .collect();
        prop_assert_eq!(held, expected);
        let of_kind = |kinds: &[u32]| -> Vec<u32> {
            truths.keys().copied().filter(|number| kinds.contains(&(number % 6))).collect()
        };
        let readings: Vec<u32> =
            store.readings_of(survey).unwrap().lever.iter().map(|r| r.number).collect();
        prop_assert_eq!(readings, of_kind(&[0]));
        let inbox: Vec<u32> = store.inbox().unwrap().iter().map(|r| r.name.number).collect();
        prop_assert_eq!(inbox, of_kind(&[2, 3]));
        let skips: Vec<u32> = store.skips_of(1).unwrap().iter().map(|s| s.name.number).collect();
        prop_assert_eq!(skips, of_kind(&[4]));
        let lost: Vec<u32> =
            last.keys().copied().filter(|number| !truths.contains_key(number)).collect();
        prop_assert_eq!(store.losses_of(DEVICE, EPOCH).unwrap(), lost);
    }
}
