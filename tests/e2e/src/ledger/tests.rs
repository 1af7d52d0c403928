//! The ledger itself: it finds each kind of fault, and nothing where nothing is wrong.

use embedded_storage::nor_flash::NorFlash;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::lost::chain_behind;
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::{Outcome, SampleCoverage, StringPosition};
use pinhold_protocol::units::{Angle, DeviceTime};

use super::*;

const DEVICE: u64 = 77;
const EPOCH: u32 = 5;
const SURVEY: u64 = 9;

fn pin(note: u8) -> Pin {
    Pin { note, string: StringPosition::Left }
}

fn reading(note: u8) -> Reading {
    Reading {
        survey: SURVEY,
        pin: pin(note),
        started: DeviceTime::default(),
        duration_ms: 1,
        outcome: Outcome::Spoiled,
        flags: 0,
        friction: None,
        string_moment: None,
        sharp: None,
        flat: None,
        net_rotation: Angle::default(),
        excursion_flat: Angle::default(),
        excursion_sharp: Angle::default(),
        temperature_centi_celsius: 2000,
        attitude_milli_g: [0, 0, 1000],
        calibration: 0,
        samples: SampleCoverage::None,
        strokes: Default::default(),
    }
}

/// A flash with readings of these notes, what was accepted and what a store has.
fn sound(notes: &[u8]) -> (Ledger, Vec<Pin>, Vec<StoredRecord>) {
    let mut log = Log::mount(FileFlash::new(FlashImage::new()), DEVICE, EPOCH);
    let mut stored = Vec::new();
    for note in notes {
        let mut bytes = [0; RECORD_BYTES_MAX];
        let len = encode_record(&reading(*note), &mut bytes).unwrap();
        log.make_room();
        let kept = log.push(&bytes[..len]).unwrap();
        let place = (EPOCH, kept.number);
        let encoded = StoredRecord::encoded(SURVEY, place, kept.checksum, &reading(*note));
        stored.push(encoded.unwrap());
    }
    let mut ledger = Ledger::new(DEVICE, EPOCH);
    ledger.absorb(image_of(log)).unwrap();
    (ledger, notes.iter().map(|note| pin(*note)).collect(), stored)
}

fn image_of(log: Log<FlashImage>) -> FlashImage {
    log.into_flash().into_file()
}

#[test]
fn nothing_is_complained_of_where_nothing_is_wrong() {
    let (ledger, accepted, stored) = sound(&[40, 41, 42, 41]);
    assert_eq!(ledger.judge(&accepted, 0, std::slice::from_ref(&stored)), Complaints::default());
    // The word of one was swallowed when the lever went down.
    assert_eq!(ledger.judge(&accepted[..3], 1, &[stored]), Complaints::default());
    assert_eq!(ledger.reading_count(), 4);
    assert_eq!(ledger.next_and_floor(), (4, 0));
}

/// A life of the lever: keeps a reading, and a host takes over all there is.
fn live(image: FlashImage, note: u8) -> FlashImage {
    let mut log = Log::mount(FileFlash::new(image), DEVICE, EPOCH);
    let mut bytes = [0; RECORD_BYTES_MAX];
    let len = encode_record(&reading(note), &mut bytes).unwrap();
    log.make_room();
    log.push(&bytes[..len]).unwrap();
    let (floor, mut chain) = log.committed();
    let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
    for number in floor..log.next_number() {
        let stored = log.get(number, &mut buffer).unwrap();
        chain = chain_behind(chain, stored.checksum, &buffer[..stored.byte_count]);
    }
    let commit = Commit { epoch: EPOCH, floor: log.next_number(), chain };
    assert_eq!(log.commit(commit), CommandResult::Done);
    image_of(log)
}

/// What stands in flash when a write is cut off after so many of its words.
fn torn(before: &FlashImage, after: &FlashImage, word_count: usize) -> FlashImage {
    let mut image = before.clone();
    let words = before.0.chunks(4).zip(after.0.chunks(4)).enumerate();
    let written = words.filter(|(_, (old, new))| old != new).map(|(at, (_, new))| (at, new));
    for (at, new) in written.take(word_count) {
        image.0[4 * at..4 * at + 4].copy_from_slice(new);
    }
    image
}

#[test]
fn numbers_torn_before_the_first_record_are_no_loss() {
    let mut log = Log::mount(FileFlash::new(FlashImage::new()), DEVICE, EPOCH);
    log.make_room();
    let before = image_of(log.clone());
    let mut bytes = [0; RECORD_BYTES_MAX];
    let len = encode_record(&reading(40), &mut bytes).unwrap();
    log.push(&bytes[..len]).unwrap();
    let after = image_of(log);
    let pairs = before.0.chunks(4).zip(after.0.chunks(4));
    let word_count = pairs.filter(|(old, new)| old != new).count();
    let mut unseen_counts = BTreeSet::new();
    // The last word makes it a record.
    for written in 0..word_count - 1 {
        let image = torn(&before, &after, written);
        let mut ledger = Ledger::new(DEVICE, EPOCH);
        ledger.absorb(image.clone()).unwrap();
        ledger.absorb([41, 42].into_iter().fold(image, live)).unwrap();
        let stored = |(number, (_, record)): (&u32, &(Pin, Record))| StoredRecord {
            filed_under: SURVEY,
            survey: SURVEY,
            epoch: EPOCH,
            number: *number,
            record: record.clone(),
        };
        let stored: Vec<StoredRecord> = ledger.readings.iter().map(stored).collect();
        let judged = |life_end_count| {
            ledger.judge(&[pin(41), pin(42)], life_end_count, std::slice::from_ref(&stored))
        };
        assert_eq!(judged(1), Complaints::default(), "{written} of {word_count}");
        unseen_counts.insert(judged(0).lost_count);
    }
    // No number used up, or the record's own, according to where the cut fell.
    assert_eq!(unseen_counts, BTreeSet::from([0, 1]));
}

#[test]
fn a_number_nobody_knows_behind_a_record_is_a_loss() {
    let (mut ledger, accepted, stored) = sound(&[40, 41]);
    ledger.next_number += 1;
    let lost = |life_end_count| {
        ledger.judge(&accepted, life_end_count, std::slice::from_ref(&stored)).lost_count
    };
    assert_eq!((lost(0), lost(1)), (1, 1));
}

#[test]
fn every_kind_of_fault_is_counted() {
    let (ledger, accepted, stored) = sound(&[40, 41, 42]);
    let complaints = |accepted: &[Pin], stored: Vec<StoredRecord>| {
        let complaints = ledger.judge(accepted, 0, &[stored]);
        [
            complaints.lost_count,
            complaints.doubled_count,
            complaints.reordered_count,
            complaints.changed_count,
            complaints.invented_count,
        ]
    };
    let [first, second, third] = <[StoredRecord; 3]>::try_from(stored).unwrap();
    let all = || vec![first.clone(), second.clone(), third.clone()];
    assert_eq!(complaints(&accepted, vec![first.clone(), third.clone()]), [1, 0, 0, 0, 0]);
    let twice = vec![first.clone(), second.clone(), second.clone(), third.clone()];
    assert_eq!(complaints(&accepted, twice), [0, 1, 0, 0, 0]);
    let swapped = vec![first.clone(), third.clone(), second.clone()];
    assert_eq!(complaints(&accepted, swapped), [0, 0, 1, 0, 0]);
    let mut changed = all();
    changed[1].record.bytes[5] ^= 1;
    assert_eq!(complaints(&accepted, changed), [0, 0, 0, 1, 0]);
    let mut misfiled = all();
    misfiled[1].filed_under += 1;
    assert_eq!(complaints(&accepted, misfiled), [0, 0, 0, 1, 0]);
    let mut invented = all();
    invented.push(StoredRecord { number: 3, ..third.clone() });
    assert_eq!(complaints(&accepted, invented), [0, 0, 0, 0, 1]);
    // Accepted, and in no flash; accepted in another order; kept, and never accepted.
    assert_eq!(complaints(&[pin(40), pin(41), pin(42), pin(43)], all()), [1, 0, 0, 0, 0]);
    assert_eq!(complaints(&[pin(41), pin(40), pin(42)], all()), [2, 0, 0, 0, 0]);
    assert_eq!(complaints(&accepted[1..], all()), [0, 0, 0, 0, 1]);
}

#[test]
fn a_record_that_changes_or_goes_before_its_commit_is_noticed() {
    let (mut ledger, accepted, stored) = sound(&[40, 41]);
    let (other, ..) = sound(&[40, 50]);
    let (pin, record) = other.readings[&1].clone();
    ledger.note(1, record);
    assert_eq!(ledger.readings[&1].0, pin);
    assert!(ledger.judge(&accepted, 0, &[stored]).changed_count > 0);

    let (mut ledger, ..) = sound(&[40, 41]);
    let mut image = FileFlash::new(FlashImage::new());
    image.erase(0, 4096).unwrap();
    ledger.absorb(image.into_file()).unwrap();
    assert_eq!(ledger.judge(&accepted, 0, &[Vec::new()]).changed_count, 1);
}
