//! What the caller's store holds of one log, and the chain values that follow from it.
//!
//! Deliberately not here: what is pulled because of it ([`super::records`]).
//!
//! Invariants: numbers rise and stand once; no chain value is made up where records are missing.

use pinhold_protocol::lost::{decode_lost, encode_lost};
use pinhold_protocol::message::Record;
use pinhold_protocol::record::{chain_next, chain_start, record_checksum};

/// A record in the caller's store.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct HeldRecord {
    /// Its number.
    pub number: u32,
    /// The checksum it is stored with.
    pub checksum: u32,
    /// The chain value that a loss under this number brought, whenever one came: whether the store
    /// holds the loss itself, or the true record in spite of it. The last one, if there were more;
    /// `None` again when the true record came last.
    pub lost_chain: Option<u32>,
}

/// How a record of the lever stands to the one in the store.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Comparison {
    /// The store has none under that number.
    New,
    /// It has this one.
    Same,
    /// One of the two is a loss: the caller keeps the true one and goes on with this chain value.
    OneIsLost,
    /// Two true records under one number.
    Conflict,
}

/// The records of one log, by number.
#[derive(Debug, Default)]
pub(super) struct HeldRecords {
    log: (u64, u32),
    records: Vec<HeldRecord>,
}

/// Chain value behind a record of the store.
fn behind(chain: u32, record: &HeldRecord) -> u32 {
    record.lost_chain.unwrap_or_else(|| chain_next(chain, record.checksum))
}

impl HeldRecords {
    /// Those of the log of `device` and epoch.
    pub(super) fn new(log: (u64, u32), records: &[HeldRecord]) -> HeldRecords {
        let mut records = records.to_vec();
        records.sort_by_key(|record| record.number);
        records.dedup_by_key(|record| record.number);
        HeldRecords { log, records }
    }

    fn index(&self, number: u32) -> Option<usize> {
        self.records.binary_search_by_key(&number, |record| record.number).ok()
    }

    /// The highest number.
    pub(super) fn last(&self) -> Option<u32> {
        self.records.last().map(|record| record.number)
    }

    /// Whether a number is there.
    pub(super) fn has(&self, number: u32) -> bool {
        self.index(number).is_some()
    }

    /// Chain value behind a record that is there.
    pub(super) fn chain_behind(&self, number: u32, chain: Option<u32>) -> Option<u32> {
        let record = self.records.get(self.index(number)?)?;
        record.lost_chain.or_else(|| chain.map(|chain| behind(chain, record)))
    }

    /// First number of the unbroken run that ends below `number`.
    pub(super) fn run_start(&self, number: u32) -> u32 {
        let mut start = number;
        while let Some(before) = start.checked_sub(1)
            && self.has(before)
        {
            start = before;
        }
        start
    }

    /// Chain value below `number` as the records themselves say it: from the log's beginning, or
    /// from the last loss, where nothing is missing in between.
    pub(super) fn chain_below(&self, number: u32) -> Option<u32> {
        let Some(last) = number.checked_sub(1) else {
            return Some(chain_start(self.log.0, self.log.1));
        };
        let end = self.index(last)?;
        let mut begin = end;
        while self.records[begin].lost_chain.is_none() && self.records[begin].number > 0 {
            let before = begin.checked_sub(1)?;
            if self.records[before].number + 1 != self.records[begin].number {
                return None;
            }
            begin = before;
        }
        let start = chain_start(self.log.0, self.log.1);
        Some(self.records[begin..=end].iter().fold(start, behind))
    }

    /// Compares a record of the lever, whose checksum is right, with the store's.
    pub(super) fn compare(&self, record: &Record<'_>) -> Comparison {
        let Some(held) = self.index(record.number).and_then(|index| self.records.get(index)) else {
            return Comparison::New;
        };
        let lost_now = decode_lost(record.bytes).ok();
        if lost_now.is_some() && lost_now == held.lost_chain {
            return Comparison::Same;
        }
        let holds_loss = held.lost_chain.is_some_and(|chain| {
            held.checksum == record_checksum(self.log.1, held.number, &encode_lost(chain))
        });
        if held.checksum == record.checksum {
            // A true record that was told as lost in between is news all the same.
            return if held.lost_chain.is_none() {
                Comparison::Same
            } else {
                Comparison::OneIsLost
            };
        }
        if lost_now.is_some() || holds_loss { Comparison::OneIsLost } else { Comparison::Conflict }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOG: (u64, u32) = (5, 1);

    fn held(number: u32) -> HeldRecord {
        HeldRecord { number, checksum: record_checksum(1, number, &[9]), lost_chain: None }
    }

    #[test]
    fn the_chain_is_known_from_the_beginning_or_behind_a_loss_and_nowhere_else() {
        let start = chain_start(LOG.0, LOG.1);
        let one = chain_next(start, held(0).checksum);
        let all = HeldRecords::new(LOG, &[held(1), held(0)]);
        assert_eq!(all.chain_below(0), Some(start));
        assert_eq!(all.chain_below(2), Some(chain_next(one, held(1).checksum)));
        assert_eq!(all.chain_below(3), None);
        let late = HeldRecords::new(LOG, &[held(4), held(5)]);
        assert_eq!(late.chain_below(6), None);
        assert_eq!(late.run_start(6), 4);
        let loss = HeldRecord { lost_chain: Some(77), ..held(4) };
        let late = HeldRecords::new(LOG, &[loss, held(5)]);
        assert_eq!(late.chain_below(6), Some(chain_next(77, held(5).checksum)));
        assert_eq!(late.chain_below(5), Some(77));
    }

    #[test]
    fn only_two_true_records_under_one_number_are_a_conflict() {
        fn compare(held: HeldRecord, bytes: &[u8]) -> Comparison {
            let checksum = record_checksum(1, 4, bytes);
            HeldRecords::new(LOG, &[held]).compare(&Record { epoch: 1, number: 4, checksum, bytes })
        }
        let checksum = record_checksum(1, 4, &encode_lost(77));
        let loss = HeldRecord { number: 4, checksum, lost_chain: Some(77) };
        assert_eq!(compare(held(4), &[9]), Comparison::Same);
        assert_eq!(compare(held(4), &[8]), Comparison::Conflict);
        assert_eq!(compare(held(4), &encode_lost(77)), Comparison::OneIsLost);
        assert_eq!(compare(loss, &encode_lost(77)), Comparison::Same);
        assert_eq!(compare(loss, &encode_lost(78)), Comparison::OneIsLost);
        assert_eq!(compare(loss, &[9]), Comparison::OneIsLost);
        assert_eq!(compare(held(3), &[9]), Comparison::New);
        let true_but_lost = HeldRecord { lost_chain: Some(77), ..held(4) };
        assert_eq!(compare(true_but_lost, &encode_lost(77)), Comparison::Same);
        assert_eq!(compare(true_but_lost, &[9]), Comparison::OneIsLost);
        assert_eq!(compare(true_but_lost, &[8]), Comparison::Conflict);
    }
}
