//! Corrections: they compose, they are undone, and what was read stays.

use pinhold::store::{
    BatchKind, Cause, Move, RecordName, Store, StoreError, StoredPlan, SurveyId, SurveySource,
};
use pinhold_protocol::content::{Content, UNASSIGNED};
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX, Reading, StringPosition, encode_record};
use pinhold_protocol::units::Angle;
use proptest::prelude::*;
use tempfile::TempDir;

use crate::sample::{begin, instrument, keep, keep_content, reading, survey};

const DEVICE: u64 = 5;

fn cause(reason: &str) -> Cause<'_> {
    Cause { made: "2025-01-02T00:00:00Z", reason }
}

fn pin(note: u8) -> Pin {
    Pin { note, string: StringPosition::Centre }
}

/// Pins the readings of a survey stand under, in order of number.
fn pins(store: &Store, survey: SurveyId) -> Vec<Option<Pin>> {
    store.readings_of(survey).unwrap().lever.iter().map(|reading| reading.pin).collect()
}

fn name(number: u32) -> RecordName {
    RecordName { device: DEVICE, epoch: 1, number }
}

/// A reading of no plan, kept in the inbox as record `number`.
fn unassigned(store: &mut Store, number: u32) {
    let reading = Reading { survey: 0, pin: UNASSIGNED, ..reading(number) };
    let mut buffer = [0; RECORD_BYTES_MAX];
    let length = encode_record(&reading, &mut buffer).unwrap();
    let bytes = buffer[..length].to_vec();
    let content = Content::Reading(reading);
    keep_content(store, None, (DEVICE, 1, number), number, &bytes, &content).unwrap();
}

#[test]
fn a_correction_moves_a_reading_and_an_undo_moves_it_back() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let survey = begin(&mut store);
    for number in 0..3 {
        let reading = Reading { survey: 1, pin: pin(40 + number as u8), ..reading(number) };
        keep(&mut store, survey, (DEVICE, 1, number), number, &reading).unwrap();
    }
    let ids: Vec<_> = store.readings_of(survey).unwrap().lever.iter().map(|r| r.id).collect();
    assert_eq!(store.corrected_count(survey).unwrap(), 0);
    let moves: Vec<Move> = (0..3)
        .map(|index| Move { reading: ids[index], pin: Some(pin(41 + index as u8)) })
        .collect();
    store.correct(survey, &moves, cause("started one pin late")).unwrap();
    let aside = [Move { reading: ids[2], pin: None }];
    store.correct(survey, &aside, cause("slipped")).unwrap();
    assert_eq!(pins(&store, survey), [Some(pin(41)), Some(pin(42)), None]);
    assert_eq!(store.corrected_count(survey).unwrap(), 3);
    let first = &store.readings_of(survey).unwrap().lever[0];
    assert_eq!((first.reading.pin, first.is_corrected), (pin(40), true));

    store.undo_correction(survey, cause("")).unwrap();
    assert_eq!(pins(&store, survey), [Some(pin(41)), Some(pin(42)), Some(pin(43))]);
    store.undo_correction(survey, cause("")).unwrap();
    assert_eq!(pins(&store, survey), [Some(pin(40)), Some(pin(41)), Some(pin(42))]);
    assert_eq!(store.corrected_count(survey).unwrap(), 0);
    let none = store.undo_correction(survey, cause(""));
    assert!(matches!(none, Err(StoreError::NothingToUndo)));
    let batches = store.corrections_of(survey).unwrap();
    assert_eq!(batches.len(), 4);
    assert_eq!(batches[0].undone_by, Some(batches[3].id));
    assert_eq!(batches[2].kind, BatchKind::Undo(batches[1].id));
    assert_eq!(batches[0].reason, "started one pin late");
    let entry = &batches[1].entries[0];
    assert_eq!((entry.taken_as, entry.before, entry.after), (Some(pin(42)), Some(pin(43)), None));
}

#[test]
fn inbox_readings_are_assigned_taken_back_and_assigned_elsewhere() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let first = begin(&mut store);
    let other = store.create_instrument(&instrument("other")).unwrap();
    let other = store.begin_survey(other, &survey(2, SurveySource::Lever)).unwrap();
    for number in 0..3 {
        unassigned(&mut store, number);
    }
    let given = [(name(0), Some(pin(40))), (name(2), Some(pin(41)))];
    store.assign(first, &given, cause("")).unwrap();
    assert_eq!(pins(&store, first), [Some(pin(40)), Some(pin(41))]);
    assert_eq!(store.inbox().unwrap().len(), 1);
    // What is assigned is gone from the inbox; the whole batch is refused.
    let again = store.assign(other, &[(name(1), Some(pin(1))), (name(2), None)], cause(""));
    assert!(matches!(again, Err(StoreError::NotInInbox { number: 2, .. })));
    assert_eq!(store.inbox().unwrap().len(), 1);

    store.undo_correction(first, cause("wrong piano")).unwrap();
    assert_eq!(store.inbox().unwrap().len(), 3);
    assert_eq!(pins(&store, first), [None, None]);
    store.assign(other, &given, cause("")).unwrap();
    assert_eq!(pins(&store, first), []);
    assert_eq!(pins(&store, other), [Some(pin(40)), Some(pin(41))]);
    assert_eq!(store.corrected_count(other).unwrap(), 2);
    let stored = store.readings_of(other).unwrap().lever;
    assert!(stored.iter().all(|reading| reading.reading.pin.is_unassigned()));
    store.undo_correction(other, cause("")).unwrap();
    assert_eq!(store.inbox().unwrap().len(), 3);
}

#[test]
fn a_plan_comes_back_in_its_order() {
    let folder = TempDir::new().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let id = store.create_instrument(&instrument("x")).unwrap();
    let plan = StoredPlan {
        slip: Angle::from_microradians(8727),
        pins: vec![pin(40), Pin { note: 12, string: StringPosition::Left }, pin(1)],
    };
    let planned = store.begin_planned_survey(id, &survey(7, SurveySource::Lever), &plan).unwrap();
    assert_eq!(store.plan_of(planned).unwrap(), Some(plan.clone()));
    let again = store.begin_planned_survey(id, &survey(7, SurveySource::Lever), &plan);
    assert!(matches!(again, Err(StoreError::SurveyExists { uid: 7 })));
    let bare = store.begin_survey(id, &survey(8, SurveySource::Lever)).unwrap();
    assert_eq!(store.plan_of(bare).unwrap(), None);
    // It grows behind what there is; a pin may stand in it again; what has no plan takes none.
    store.append_to_plan(planned, &[pin(40), pin(2)]).unwrap();
    store.append_to_plan(planned, &[]).unwrap();
    let grown = store.plan_of(planned).unwrap().unwrap();
    assert_eq!(grown.pins, [&plan.pins[..], &[pin(40), pin(2)]].concat());
    assert!(store.append_to_plan(bare, &[pin(3)]).is_err());
    assert_eq!(store.plan_of(bare).unwrap(), None);
}

/// A change to a survey of [`READINGS`] readings.
#[derive(Clone, Debug)]
enum Change {
    Correct(Vec<(usize, Option<u8>)>),
    Undo,
}

const READINGS: usize = 5;

fn change() -> impl Strategy<Value = Change> {
    let moves = prop::collection::btree_map(0..READINGS, prop::option::of(1u8..9), 1..READINGS);
    prop_oneof![
        2 => moves.prop_map(|moves| Change::Correct(moves.into_iter().collect())),
        1 => Just(Change::Undo),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// Against a stack of states: a correction pushes, an undo pops.
    #[test]
    fn corrections_compose_and_undo(changes in prop::collection::vec(change(), 0..25)) {
        let folder = TempDir::new().unwrap();
        let mut store = Store::open(folder.path()).unwrap();
        let survey = begin(&mut store);
        for number in 0..READINGS as u32 {
            let reading = Reading { survey: 1, pin: pin(20 + number as u8), ..reading(number) };
            keep(&mut store, survey, (DEVICE, 1, number), number, &reading).unwrap();
        }
        let ids: Vec<_> = store.readings_of(survey).unwrap().lever.iter().map(|r| r.id).collect();
        let mut states = vec![pins(&store, survey)];
        for change in changes {
            match change {
                Change::Correct(moves) => {
                    let mut state = states[states.len() - 1].clone();
                    let mut entries = Vec::new();
                    for (index, note) in moves {
                        state[index] = note.map(pin);
                        entries.push(Move { reading: ids[index], pin: note.map(pin) });
                    }
                    store.correct(survey, &entries, cause("x")).unwrap();
                    states.push(state);
                }
                Change::Undo if states.len() > 1 => {
                    store.undo_correction(survey, cause("")).unwrap();
                    states.pop();
                }
                Change::Undo => prop_assert!(store.undo_correction(survey, cause("")).is_err()),
            }
            prop_assert_eq!(&pins(&store, survey), &states[states.len() - 1]);
        }
        for (number, stored) in (0u32..).zip(store.readings_of(survey).unwrap().lever) {
            prop_assert_eq!(stored.reading.pin, pin(20 + number as u8));
        }
    }
}
