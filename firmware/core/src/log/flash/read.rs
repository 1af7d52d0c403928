//! Finding and reading records, and what is said of those that cannot be read.
//!
//! Invariant: bytes are handed out only when their checksum is right for their epoch and number.

use embedded_storage::nor_flash::NorFlash;
use pinhold_protocol::CRC32;
use pinhold_protocol::lost::{chain_over_unknown, encode_lost};
use pinhold_protocol::record::{chain_next, chain_start, record_checksum};

use super::care::Care;
use super::format::{Entry, GRANULE_BYTES, NoEntry, RecordHead, body_granules};
use super::medium::Medium;
use super::{FIRST_RECORD_GRANULE, FlashLog};
use crate::log::{RecordBuffer, Stored};

/// Goes through the records of a page.
#[derive(Clone, Copy, Debug)]
pub(super) struct Walk {
    pub(super) page: u16,
    pub(super) epoch: u32,
    /// Sequence of the page; 0 takes the first one seen.
    pub(super) sequence: u32,
    /// Least number the next record can have.
    pub(super) number_min: u32,
    pub(super) granule: u16,
    /// Written granules without a record since the last one.
    pub(super) debris_count: u16,
}

/// One copy of a record.
#[derive(Clone, Copy, Debug)]
pub(super) struct Copy {
    pub(super) page: u16,
    pub(super) granule: u16,
    pub(super) head: RecordHead,
}

impl Walk {
    /// From the first record of a page on.
    pub(super) fn new(page: u16, epoch: u32, sequence: u32, number_min: u32) -> Walk {
        let granule = FIRST_RECORD_GRANULE;
        Walk { page, epoch, sequence, number_min, granule, debris_count: 0 }
    }

    /// The next record's head and its granule; `None` at the page's end.
    pub(super) fn next<F: NorFlash, C: Care>(
        &mut self,
        medium: &mut Medium<F, C>,
    ) -> Option<(u16, RecordHead)> {
        while self.granule < Medium::<F, C>::PAGE_GRANULES {
            let granule = self.granule;
            self.granule += 1;
            match medium.entry(self.page, granule) {
                Ok(Entry::Record(head)) if self.takes(&head) => {
                    self.granule = self.granule.saturating_add(body_granules(head.byte_count));
                    self.sequence = head.page_sequence;
                    self.number_min = head.number.saturating_add(1);
                    self.debris_count = 0;
                    return Some((granule, head));
                }
                Err(NoEntry::Blank) => {}
                _ => self.debris_count += 1,
            }
        }
        None
    }

    fn takes(&self, head: &RecordHead) -> bool {
        let of_page =
            head.page_sequence == self.sequence || (self.sequence == 0 && head.page_sequence != 0);
        head.epoch == self.epoch && of_page && head.number >= self.number_min
    }
}

impl<F: NorFlash, const PAGES: usize, C: Care> FlashLog<F, PAGES, C> {
    /// A record's head in the page its number belongs to, of the pages older than `sequence_end`:
    /// the newest that begins with it or before it.
    pub(super) fn find_copy(&mut self, number: u32, sequence_end: u32) -> Option<Copy> {
        let mut placed = self.table.before(sequence_end);
        // One round for each page at most: sequences fall.
        while let Some((place, page)) = placed {
            if page.first_number <= number {
                let mut walk = Walk::new(place, self.epoch, page.sequence, page.first_number);
                while let Some((granule, head)) = walk.next(&mut self.medium) {
                    if head.number == number {
                        return Some(Copy { page: place, granule, head });
                    }
                }
                if !self.is_rewritten(number, sequence_end) {
                    return None;
                }
            }
            placed = self.table.before(page.sequence);
        }
        None
    }

    /// Whether older copies of a record count, too: only those of the one that is being written
    /// again. Of any other, an older one is a write that was given up.
    fn is_rewritten(&self, number: u32, sequence_end: u32) -> bool {
        sequence_end != u32::MAX || self.rewrite_number == Some(number)
    }

    /// Whether a record reads as its head says.
    pub(super) fn is_sound(&mut self, copy: &Copy) -> bool {
        let Copy { page, granule, ref head } = *copy;
        let mut digest = CRC32.digest();
        digest.update(&head.epoch.to_le_bytes());
        digest.update(&head.number.to_le_bytes());
        let mut left = head.byte_count as usize;
        let mut at = granule.saturating_add(1);
        while left > 0 {
            let Ok(bytes) = self.medium.read(page, at) else { return false };
            let count = left.min(GRANULE_BYTES);
            digest.update(bytes.get(..count).unwrap_or(&[]));
            left -= count;
            at = at.saturating_add(1);
        }
        digest.finalize() == head.checksum
    }

    /// The newest copy of a record that reads well, in the pages older than `sequence_end`.
    pub(super) fn find_sound(&mut self, number: u32, sequence_end: u32) -> Option<Copy> {
        let mut sequence_end = sequence_end;
        // A copy for each page at most: sequences fall.
        loop {
            let copy = self.find_copy(number, sequence_end)?;
            if self.is_sound(&copy) {
                return Some(copy);
            }
            if !self.is_rewritten(number, sequence_end) {
                return None;
            }
            sequence_end = copy.head.page_sequence;
        }
    }

    /// Whether something was written after a record's head, so that the head itself is sure.
    pub(super) fn is_firm(&mut self, copy: &Copy) -> bool {
        self.is_sound(copy) || !self.medium.is_blank(copy.page, copy.granule.saturating_add(1))
    }

    /// Reads a record into `buffer` when one of its copies is as it was written.
    pub(super) fn read_record(
        &mut self,
        number: u32,
        buffer: &mut RecordBuffer,
    ) -> Option<RecordHead> {
        let mut sequence_end = u32::MAX;
        // A copy for each page at most: sequences fall.
        let head = loop {
            let copy = self.find_copy(number, sequence_end)?;
            if self.read_copy(&copy, buffer) {
                break copy.head;
            }
            if !self.is_rewritten(number, sequence_end) {
                return None;
            }
            sequence_end = copy.head.page_sequence;
        };
        // A write that was given up for lost may read well after all; where the log went on
        // without it, it stays lost.
        let end = number.saturating_add(1);
        let went_on = self.told_chain(end).or_else(|| self.table.chain_at_start(end));
        let behind = chain_next(head.chain, head.checksum);
        went_on.is_none_or(|chain| chain == behind).then_some(head)
    }

    fn read_copy(&mut self, copy: &Copy, buffer: &mut RecordBuffer) -> bool {
        let Copy { page, granule, head } = *copy;
        let Some(bytes) = buffer.get_mut(..head.byte_count as usize) else { return false };
        let read = self.medium.read_bytes(page, granule.saturating_add(1), bytes);
        let sum = record_checksum(head.epoch, head.number, bytes);
        read.is_ok() && (!C::CHECKS_RECORDS || sum == head.checksum)
    }

    /// Makes up the record of a loss.
    pub(super) fn lost_record(&mut self, number: u32, buffer: &mut RecordBuffer) -> Option<Stored> {
        let chain = self.chain_at(number.checked_add(1)?)?;
        let bytes = encode_lost(chain);
        for (to, from) in buffer.iter_mut().zip(bytes) {
            *to = from;
        }
        let checksum = record_checksum(self.epoch, number, &bytes);
        Some(Stored { number, checksum, byte_count: bytes.len() })
    }

    /// Chain value below `number` as it was told since power-up.
    fn told_chain(&self, number: u32) -> Option<u32> {
        let next = self.next_chain.filter(|_| number == self.next_number);
        let anchor = self.anchor.filter(|(anchor, _)| number == *anchor);
        next.or(anchor.map(|(_, chain)| chain))
    }

    /// Chain value below `number`, where something in RAM or flash gives it.
    fn known_chain(&mut self, number: u32) -> Option<u32> {
        if number == self.floor {
            return Some(self.floor_chain);
        }
        if number == 0 {
            return Some(chain_start(self.device, self.epoch));
        }
        if let Some(chain) = self.told_chain(number) {
            return Some(chain);
        }
        if let Some(chain) = self.table.chain_at_start(number) {
            return Some(chain);
        }
        if let Some(copy) = self.find_copy(number, u32::MAX) {
            return Some(copy.head.chain);
        }
        // One that does not read well may do so another time: it is given up here and now, for a
        // page that begins behind it says for good what the chain value is.
        let last = self.find_sound(number - 1, u32::MAX)?;
        Some(chain_next(last.head.chain, last.head.checksum))
    }

    /// Chain value below `number`; what lies unknown between is passed over in a fixed way.
    pub(super) fn chain_at(&mut self, number: u32) -> Option<u32> {
        let least = self.oldest();
        let mut known = number;
        let mut chain = loop {
            if let Some(chain) = self.known_chain(known) {
                break chain;
            }
            // The oldest number begins a page or is the floor: the search ends there at last.
            if known <= least {
                return None;
            }
            known -= 1;
        };
        while known < number {
            chain = chain_over_unknown(chain, self.epoch, known);
            known += 1;
        }
        Some(chain)
    }
}
