//! What was accepted, what the flash holds and what the store has, held against each other.
//!
//! The lever's own log code reads the flash's file natively. Deliberately not here: how it all came
//! about ([`crate::campaign`]).
//!
//! Invariant: a complaint is counted, never forgiven.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::Path;

use pinhold::store::LeverReading;
use pinhold_board_qemu::flash::{FLASH_BYTES, FileBytes, FileFlash, Log};
use pinhold_lever::log::{RecordBuffer, RecordLog};
use pinhold_protocol::lost::decode_lost;
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX, Reading, decode_record, encode_record};

use crate::Result;

/// A flash's content in memory.
#[derive(Clone, Debug)]
pub struct FlashImage(Vec<u8>);

impl FlashImage {
    /// Fresh from the maker.
    pub fn new() -> FlashImage {
        FlashImage(vec![0xff; FLASH_BYTES])
    }

    /// As it stands in a file.
    ///
    /// # Errors
    /// When the file cannot be read or is of another length.
    pub fn read(path: &Path) -> Result<FlashImage> {
        let bytes = std::fs::read(path)?;
        if bytes.len() == FLASH_BYTES {
            Ok(FlashImage(bytes))
        } else {
            Err(format!("the flash's file is {} bytes long", bytes.len()).into())
        }
    }
}

impl Default for FlashImage {
    fn default() -> Self {
        FlashImage::new()
    }
}

impl FileBytes for FlashImage {
    fn read_at(&mut self, offset: u32, bytes: &mut [u8]) -> bool {
        let from = offset as usize;
        let found = self.0.get(from..from + bytes.len());
        found.map(|found| bytes.copy_from_slice(found)).is_some()
    }

    fn write_at(&mut self, offset: u32, bytes: &[u8]) -> bool {
        let from = offset as usize;
        let found = self.0.get_mut(from..from + bytes.len());
        found.map(|found| found.copy_from_slice(bytes)).is_some()
    }
}

/// One record of a lever.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Record {
    /// Its checksum.
    pub checksum: u32,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

/// One record as the store gives it back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredRecord {
    /// Survey it is filed under.
    pub filed_under: u64,
    /// Survey it says it belongs to.
    pub survey: u64,
    /// Epoch of the log.
    pub epoch: u32,
    /// Its number.
    pub number: u32,
    /// What it says.
    pub record: Record,
}

impl StoredRecord {
    /// A stored reading, encoded again.
    ///
    /// # Errors
    /// When it does not fit a record.
    pub fn of(filed_under: u64, stored: &LeverReading) -> Result<StoredRecord> {
        let LeverReading { epoch, number, crc32, reading, .. } = stored;
        StoredRecord::encoded(filed_under, (*epoch, *number), *crc32, reading)
    }

    /// As [`StoredRecord::of`], from its parts.
    fn encoded(
        filed_under: u64,
        (epoch, number): (u32, u32),
        checksum: u32,
        reading: &Reading,
    ) -> Result<StoredRecord> {
        let mut bytes = [0; RECORD_BYTES_MAX];
        let len = encode_record(reading, &mut bytes);
        let len = len.map_err(|error| format!("a stored reading does not encode: {error:?}"))?;
        let record = Record { checksum, bytes: bytes[..len].to_vec() };
        Ok(StoredRecord { filed_under, survey: reading.survey, epoch, number, record })
    }
}

/// Complaints, each counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Complaints {
    /// Accepted and in no flash, or in the flash and not in the store.
    pub lost_count: usize,
    /// In the store more than once.
    pub doubled_count: usize,
    /// In the store behind one with a higher number.
    pub reordered_count: usize,
    /// Not byte for byte what the lever kept, or filed under another survey.
    pub changed_count: usize,
    /// In the flash or the store, and nobody can say where from.
    pub invented_count: usize,
}

impl fmt::Display for Complaints {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Complaints {
            lost_count,
            doubled_count,
            reordered_count,
            changed_count,
            invented_count,
        } = self;
        write!(
            f,
            "{lost_count} lost, {doubled_count} doubled, {reordered_count} reordered, \
             {changed_count} changed, {invented_count} invented"
        )
    }
}

/// Every record the flash has held.
#[derive(Clone, Debug)]
pub struct Ledger {
    device: u64,
    epoch: u32,
    readings: BTreeMap<u32, (Pin, Record)>,
    /// Numbers with something else: a loss, or what is no reading.
    others: BTreeSet<u32>,
    /// Of which those the log answers for as lost.
    lost: BTreeSet<u32>,
    next_number: u32,
    floor: u32,
    changed_count: usize,
}

impl Ledger {
    /// An empty ledger of one log.
    pub fn new(device: u64, epoch: u32) -> Ledger {
        Ledger {
            device,
            epoch,
            readings: BTreeMap::new(),
            others: BTreeSet::new(),
            lost: BTreeSet::new(),
            next_number: 0,
            floor: 0,
            changed_count: 0,
        }
    }

    /// Readings seen in the flash.
    pub fn reading_count(&self) -> usize {
        self.readings.len()
    }

    /// Pins of the readings seen in the flash, in the order of their numbers.
    pub fn pins(&self) -> impl Iterator<Item = Pin> {
        self.readings.values().map(|(pin, _)| *pin)
    }

    /// Numbers that torn writes used up, and nobody was told "accepted" of.
    pub fn lost_number_count(&self) -> usize {
        self.lost.len()
    }

    /// First number the flash has no record for, and first not committed.
    pub fn next_and_floor(&self) -> (u32, u32) {
        (self.next_number, self.floor)
    }

    /// Records that a flash holds and no host has committed.
    pub fn uncommitted_count(&self, image: FlashImage) -> u32 {
        let log = Log::mount(FileFlash::new(image), self.device, self.epoch);
        log.next_number().saturating_sub(log.committed().0)
    }

    /// Takes down what a flash holds. Records only ever come on: one that says something else
    /// than before, or is gone before its commit, is a complaint.
    ///
    /// # Errors
    /// When the flash holds another log.
    pub fn absorb(&mut self, image: FlashImage) -> Result<()> {
        let mut log = Log::mount(FileFlash::new(image), self.device, self.epoch);
        if log.epoch() != self.epoch {
            return Err(format!("the log has epoch {} now", log.epoch()).into());
        }
        let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
        for number in log.oldest_number()..log.next_number() {
            let Some(stored) = log.get(number, &mut buffer) else {
                return Err(format!("no answer for record {number}").into());
            };
            let bytes = buffer[..stored.byte_count].to_vec();
            self.note(number, Record { checksum: stored.checksum, bytes });
        }
        if log.next_number() < self.next_number || log.committed().0 < self.floor {
            self.changed_count += 1;
        }
        self.next_number = log.next_number();
        self.floor = log.committed().0;
        Ok(())
    }

    fn note(&mut self, number: u32, record: Record) {
        match decode_record(&record.bytes) {
            Ok(reading) => {
                let new = (reading.pin, record);
                let known = self.readings.get(&number).is_none_or(|before| *before == new);
                self.changed_count += usize::from(!known || self.others.contains(&number));
                self.readings.insert(number, new);
            }
            Err(_) => {
                self.changed_count += usize::from(self.readings.contains_key(&number));
                self.others.insert(number);
                if decode_lost(&record.bytes).is_ok() {
                    self.lost.insert(number);
                }
            }
        }
    }

    /// Holds what was accepted and what is stored against the flash. `accepted` are the pins in
    /// the order the lever accepted them, as far as it could be heard; each of its
    /// `life_end_count` sudden ends can have swallowed one such word, or torn the write of a record
    /// nobody was told of. `surveys` are the stored readings, each survey's in the order they were
    /// stored.
    pub fn judge(
        &self,
        accepted: &[Pin],
        life_end_count: usize,
        surveys: &[Vec<StoredRecord>],
    ) -> Complaints {
        let mut complaints =
            Complaints { changed_count: self.changed_count, ..Complaints::default() };
        let unheard = self.judge_accepted(accepted, &mut complaints);
        complaints.invented_count += unheard.saturating_sub(life_end_count);
        let mut seen = BTreeSet::new();
        for survey in surveys {
            let mut highest = None;
            for stored in survey {
                complaints.doubled_count += usize::from(!seen.insert(stored.number));
                complaints.reordered_count += usize::from(highest > Some(stored.number));
                highest = highest.max(Some(stored.number));
                let misfiled = stored.epoch != self.epoch || stored.filed_under != stored.survey;
                match self.readings.get(&stored.number) {
                    Some((_, kept)) if *kept == stored.record && !misfiled => {}
                    Some(_) => complaints.changed_count += 1,
                    None => complaints.invented_count += 1,
                }
            }
        }
        let in_no_store = self.readings.keys().filter(|number| !seen.contains(number)).count();
        complaints.lost_count += in_no_store + self.unknown_count(life_end_count);
        complaints
    }

    /// Numbers that nobody can answer for.
    ///
    /// A record torn before anything was kept leaves a page that holds nothing: the log then begins
    /// behind the number it used up and does not answer for it, and nobody was told of it. A life
    /// ends in one write at most.
    fn unknown_count(&self, life_end_count: usize) -> usize {
        let known =
            |number: &u32| self.readings.contains_key(number) || self.others.contains(number);
        let unknown = |number: &u32| !known(number);
        let leading = (0..self.next_number).take_while(unknown).count();
        let all = (0..self.next_number).filter(unknown).count();
        all - leading.min(life_end_count)
    }

    /// Finds the accepted pins, in order, among the records; gives the records nobody heard of.
    fn judge_accepted(&self, accepted: &[Pin], complaints: &mut Complaints) -> usize {
        let mut kept = self.readings.values().map(|(pin, _)| *pin);
        for pin in accepted {
            if !kept.any(|kept| kept == *pin) {
                complaints.lost_count += 1;
            }
        }
        self.readings.len().saturating_sub(accepted.len())
    }
}

#[cfg(test)]
mod tests;
