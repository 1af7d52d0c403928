//! What the log promises: numbers rise by one, nothing uncommitted is let go, and a commit counts
//! only when it knows what it speaks of.

use pinhold_lever::log::{RECORD_COUNT_MAX, RamLog, RecordBuffer, RecordLog, Stored};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::{
    RECORD_BYTES_MAX, chain_next, chain_start, decode_record, encode_record, record_checksum,
};

use crate::synthetic::reading;

const DEVICE: u64 = 3;
const EPOCH: u32 = 9;

/// Keeps a reading of this note.
fn push(log: &mut RamLog, note: u8) -> Option<Stored> {
    let mut bytes: RecordBuffer = [0; RECORD_BYTES_MAX];
    let byte_count = encode_record(&reading(note), &mut bytes).expect("fits");
    log.push(&bytes[..byte_count])
}

/// A log, and the chain values it should have behind each record.
fn log_with(count: usize) -> (RamLog, Vec<u32>) {
    let mut log = RamLog::new(DEVICE, EPOCH);
    let mut chains = vec![chain_start(DEVICE, EPOCH)];
    for note in 0..count {
        let stored = push(&mut log, note as u8 + 1).expect("room");
        chains.push(chain_next(chains[note], stored.checksum));
    }
    (log, chains)
}

fn commit(chains: &[u32], floor: u32) -> Commit {
    Commit { epoch: EPOCH, floor, chain: chains[floor as usize] }
}

#[test]
fn records_are_numbered_checked_and_kept_as_they_were() {
    let (mut log, _) = log_with(3);
    let mut bytes: RecordBuffer = [0; RECORD_BYTES_MAX];
    assert_eq!((log.oldest_number(), log.next_number()), (0, 3));
    for number in 0..3 {
        let stored = log.get(number, &mut bytes).unwrap();
        let record = &bytes[..stored.byte_count];
        assert_eq!(stored.number, number);
        assert_eq!(stored.checksum, record_checksum(EPOCH, number, record));
        assert_eq!(decode_record(record), Ok(reading(number as u8 + 1)));
    }
    assert!(log.get(3, &mut bytes).is_none());
}

#[test]
fn a_full_log_refuses_until_something_is_committed() {
    let (mut log, mut chains) = log_with(RECORD_COUNT_MAX);
    assert!(!log.has_room());
    assert!(push(&mut log, 80).is_none());
    assert_eq!(log.next_number(), RECORD_COUNT_MAX as u32, "no number is used up");
    assert_eq!(log.commit(commit(&chains, 1)), CommandResult::Done);
    assert!(log.has_room());
    let stored = push(&mut log, 80).unwrap();
    chains.push(chain_next(*chains.last().unwrap(), stored.checksum));
    let gone = log.get(0, &mut [0; RECORD_BYTES_MAX]).is_none();
    assert_eq!((log.oldest_number(), gone), (1, true));
    assert!(!log.has_room(), "only what was committed makes room");
    assert_eq!(log.commit(commit(&chains, 9)), CommandResult::Done);
    assert_eq!(log.committed(), (9, chains[9]));
}

#[test]
fn a_commit_must_name_epoch_chain_and_a_record_that_is_there() {
    let (mut log, chains) = log_with(4);
    let right = commit(&chains, 2);
    for (wrong, result) in [
        (Commit { epoch: EPOCH + 1, ..right }, CommandResult::CommitMismatch),
        (Commit { chain: right.chain ^ 1, ..right }, CommandResult::CommitMismatch),
        (Commit { floor: 5, ..right }, CommandResult::NoSuchRecord),
        (Commit { floor: u32::MAX, ..right }, CommandResult::NoSuchRecord),
        (Commit { floor: 0, ..right }, CommandResult::CommitMismatch),
    ] {
        assert_eq!(log.commit(wrong), result, "{wrong:?}");
        assert_eq!(log.committed(), (0, chains[0]), "{wrong:?}");
    }
    assert_eq!(log.commit(right), CommandResult::Done);
    assert_eq!(log.committed(), (2, chains[2]));
}

#[test]
fn commits_may_come_twice_and_late() {
    let (mut log, chains) = log_with(4);
    assert_eq!(log.commit(commit(&chains, 0)), CommandResult::Done);
    for floor in [3, 3, 1, 2, 3, 4, 2] {
        assert_eq!(log.commit(commit(&chains, floor)), CommandResult::Done, "{floor}");
    }
    assert_eq!(log.committed(), (4, chains[4]), "a late one takes nothing back");
}
