//! Records kept until a host has committed them.
//!
//! Numbers rise by one and are never reused within an epoch. A record stays readable after its
//! commit until its room is needed. This version keeps them in RAM: a power cut loses what was
//! not committed, and the board's documentation says so.
//!
//! Invariant: a commit only counts when it names this epoch and quotes the chain value the lever
//! itself has at that floor.

use heapless::{Deque, Vec};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::{
    RECORD_BYTES_MAX, Reading, chain_next, chain_start, encode_record, record_checksum,
};

/// Records held.
pub const RECORD_COUNT_MAX: usize = 8;

/// One stored record.
#[derive(Clone, Debug)]
pub struct Stored {
    /// Its number.
    pub number: u32,
    /// Its checksum.
    pub checksum: u32,
    /// Its bytes.
    pub bytes: Vec<u8, RECORD_BYTES_MAX>,
    /// Chain value behind it.
    chain: u32,
}

/// The log.
#[derive(Clone, Debug)]
pub struct Log {
    epoch: u32,
    records: Deque<Stored, RECORD_COUNT_MAX>,
    next_number: u32,
    committed_floor: u32,
    committed_chain: u32,
    last_chain: u32,
}

impl Log {
    /// An empty log of `device` in `epoch`.
    pub fn new(device: u64, epoch: u32) -> Log {
        let chain = chain_start(device, epoch);
        Log {
            epoch,
            records: Deque::new(),
            next_number: 0,
            committed_floor: 0,
            committed_chain: chain,
            last_chain: chain,
        }
    }

    /// Epoch.
    pub fn epoch(&self) -> u32 {
        self.epoch
    }

    /// Oldest readable number; equal to the next number when empty.
    pub fn oldest_number(&self) -> u32 {
        self.records.front().map_or(self.next_number, |stored| stored.number)
    }

    /// Number the next record gets.
    pub fn next_number(&self) -> u32 {
        self.next_number
    }

    /// First number not committed, and the chain value below it.
    pub fn committed(&self) -> (u32, u32) {
        (self.committed_floor, self.committed_chain)
    }

    /// Whether another record has room: every slot may hold an uncommitted one.
    pub fn has_room(&self) -> bool {
        !self.records.is_full() || self.oldest_number() < self.committed_floor
    }

    /// Stores a reading and returns its record; `None` when there is no room, in which case
    /// nothing is stored and no number is used up.
    pub fn push(&mut self, reading: &Reading) -> Option<&Stored> {
        if !self.has_room() {
            return None;
        }
        let mut bytes: Vec<u8, RECORD_BYTES_MAX> = Vec::new();
        bytes.resize_default(RECORD_BYTES_MAX).ok()?;
        let len = encode_record(reading, &mut bytes).ok()?;
        bytes.truncate(len);
        let number = self.next_number;
        let checksum = record_checksum(self.epoch, number, &bytes);
        let chain = chain_next(self.last_chain, checksum);
        if self.records.is_full() {
            self.records.pop_front();
        }
        self.records.push_back(Stored { number, checksum, bytes, chain }).ok()?;
        self.next_number += 1;
        self.last_chain = chain;
        self.records.back()
    }

    /// The record with this number, while it is readable.
    pub fn get(&self, number: u32) -> Option<&Stored> {
        self.records.iter().find(|stored| stored.number == number)
    }

    /// Takes a host's word that it has everything below `commit.floor` on its disk.
    pub fn commit(&mut self, commit: Commit) -> CommandResult {
        if commit.epoch != self.epoch {
            return CommandResult::CommitMismatch;
        }
        if commit.floor == self.committed_floor {
            return if commit.chain == self.committed_chain {
                CommandResult::Done
            } else {
                CommandResult::CommitMismatch
            };
        }
        let Some(last) = commit.floor.checked_sub(1).and_then(|number| self.get(number)) else {
            return CommandResult::NoSuchRecord;
        };
        if last.chain != commit.chain {
            return CommandResult::CommitMismatch;
        }
        // An old commit that arrives late says nothing new and takes nothing back.
        if commit.floor > self.committed_floor {
            self.committed_chain = last.chain;
            self.committed_floor = commit.floor;
        }
        CommandResult::Done
    }
}
