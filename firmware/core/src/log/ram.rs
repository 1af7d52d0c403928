//! The log of a board without flash: a power cut loses what was not committed, and the board's
//! documentation says so.
//!
//! Deliberately not here: anything that outlives a power cut ([`super::FlashLog`]).

use heapless::{Deque, Vec};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::{RECORD_BYTES_MAX, chain_next, chain_start, record_checksum};

use super::{Health, RecordBuffer, RecordLog, SETTINGS_BYTES_MAX, Stored, judge_commit};

/// Records a log in RAM holds.
pub const RECORD_COUNT_MAX: usize = 8;

/// One record.
#[derive(Clone, Debug)]
struct Held {
    number: u32,
    checksum: u32,
    bytes: Vec<u8, RECORD_BYTES_MAX>,
    /// Chain value behind it.
    chain: u32,
}

/// Records in RAM.
#[derive(Clone, Debug)]
pub struct RamLog {
    epoch: u32,
    records: Deque<Held, RECORD_COUNT_MAX>,
    next_number: u32,
    committed_floor: u32,
    committed_chain: u32,
    last_chain: u32,
    settings: Vec<u8, SETTINGS_BYTES_MAX>,
}

impl RamLog {
    /// An empty log of `device` in `epoch`.
    pub fn new(device: u64, epoch: u32) -> RamLog {
        let chain = chain_start(device, epoch);
        RamLog {
            epoch,
            records: Deque::new(),
            next_number: 0,
            committed_floor: 0,
            committed_chain: chain,
            last_chain: chain,
            settings: Vec::new(),
        }
    }

    fn find(&self, number: u32) -> Option<&Held> {
        self.records.iter().find(|held| held.number == number)
    }
}

impl RecordLog for RamLog {
    fn epoch(&self) -> u32 {
        self.epoch
    }

    fn oldest_number(&self) -> u32 {
        self.records.front().map_or(self.next_number, |held| held.number)
    }

    fn next_number(&self) -> u32 {
        self.next_number
    }

    fn committed(&self) -> (u32, u32) {
        (self.committed_floor, self.committed_chain)
    }

    fn has_room(&self) -> bool {
        !self.records.is_full() || self.oldest_number() < self.committed_floor
    }

    fn has_room_for_pin(&self) -> bool {
        self.room_count() > 0
    }

    fn room_count(&self) -> u32 {
        let held = self.next_number.saturating_sub(self.committed_floor);
        (RECORD_COUNT_MAX as u32).saturating_sub(held) / 2
    }

    fn make_room(&mut self) {}

    fn push(&mut self, bytes: &[u8]) -> Option<Stored> {
        if !self.has_room() {
            return None;
        }
        let bytes: Vec<u8, RECORD_BYTES_MAX> = Vec::from_slice(bytes).ok()?;
        let (number, byte_count) = (self.next_number, bytes.len());
        let checksum = record_checksum(self.epoch, number, &bytes);
        let chain = chain_next(self.last_chain, checksum);
        if self.records.is_full() {
            self.records.pop_front();
        }
        self.records.push_back(Held { number, checksum, bytes, chain }).ok()?;
        self.next_number += 1;
        self.last_chain = chain;
        Some(Stored { number, checksum, byte_count })
    }

    fn get(&mut self, number: u32, buffer: &mut RecordBuffer) -> Option<Stored> {
        let held = self.find(number)?;
        let byte_count = held.bytes.len();
        // Byte by byte: copying a slice panics where lengths differ, which here they cannot.
        buffer.iter_mut().zip(&held.bytes).for_each(|(to, from)| *to = *from);
        Some(Stored { number, checksum: held.checksum, byte_count })
    }

    fn commit(&mut self, commit: Commit) -> CommandResult {
        let last = commit.floor.checked_sub(1).and_then(|number| self.find(number));
        let chain_at = last.map(|held| held.chain);
        if let Err(answer) = judge_commit(self, commit, chain_at) {
            return answer;
        }
        self.committed_chain = commit.chain;
        self.committed_floor = commit.floor;
        CommandResult::Done
    }

    fn health(&self) -> Health {
        Health { failed_count: 0, newer_format: false, large_enough: true }
    }

    fn settings(&mut self, buffer: &mut [u8]) -> Option<usize> {
        let byte_count = self.settings.len();
        let room = buffer.get_mut(..byte_count)?;
        room.iter_mut().zip(&self.settings).for_each(|(to, from)| *to = *from);
        (byte_count > 0).then_some(byte_count)
    }

    fn store_settings(&mut self, bytes: &[u8]) -> bool {
        let Ok(settings) = Vec::from_slice(bytes) else { return false };
        self.settings = settings;
        true
    }

    fn set_power_failing(&mut self, _failing: bool) {}
}
