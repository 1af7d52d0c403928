//! Power-up: what the flash holds, from what can be read of it.
//!
//! Nothing is written. Every granule is read at most a few times, so the time is bounded by the
//! size of the flash.
//!
//! Invariant: a number of which a bit may stand in flash is not used again; where nobody can tell
//! how many there were, as many are used up as there can have been.

use embedded_storage::nor_flash::NorFlash;
use pinhold_protocol::record::chain_start;

use super::care::Care;
use super::format::{Entry, LogPage, Mark, NoEntry, RecordHead};
use super::medium::Medium;
use super::read::{Copy, Walk};
use super::state::{self, Found, State};
use super::state::{STATE_PAGE_COUNT, STATE_PLACES};
use super::table::{Page, Table};
use super::{FIRST_RECORD_GRANULE, FlashLog, Writing};

/// Granules of the shortest record with its head.
const RECORD_GRANULES_MIN: u16 = 2;
/// Bits of a candidate that count where it is not above every epoch seen.
const EPOCH_STEP_MASK: u32 = 0xffff;

/// Where the newest page ends.
#[derive(Clone, Copy, Debug, Default)]
struct Tail {
    /// First number behind the records that are known for good to have been there.
    end_number: u32,
    /// There is a record in it.
    has_record: bool,
    /// Numbers behind it of which something may stand in flash.
    burned_count: u32,
    /// The last record reads well and nothing stands behind it.
    ends_whole: bool,
    /// First granule behind everything written.
    end_granule: u16,
}

/// An epoch above any seen; `None` when there is none left.
pub(super) fn next_epoch<C: Care>(seen: Option<u32>, candidate: u32) -> Option<u32> {
    match seen {
        Some(seen) if C::RAISES_EPOCH && candidate <= seen => {
            seen.checked_add(1)?.checked_add(candidate & EPOCH_STEP_MASK)
        }
        _ => Some(candidate),
    }
}

impl<F: NorFlash, const PAGES: usize, C: Care> FlashLog<F, PAGES, C> {
    /// The log of `device` in this flash, which it has for itself. Where there is none, it starts
    /// in an epoch above any seen, `epoch_candidate` if that is one: the board draws it at random,
    /// so that a log whose memory of its epochs is gone does not use one again.
    pub fn mount(flash: F, device: u64, epoch_candidate: u32) -> Self {
        let mut medium = Medium::<F, C>::new(flash);
        let mut table = Table::new(medium.page_count());
        let states = if table.places().next().is_none() {
            [None; STATE_PAGE_COUNT]
        } else {
            state::only_finished(STATE_PLACES.map(|page| state::find(&mut medium, page, device)))
        };
        let (own, any) = epochs(&mut medium, &table, device, &states);
        let epoch =
            own.or_else(|| next_epoch::<C>(any, epoch_candidate)).unwrap_or(epoch_candidate);
        let chain = chain_start(device, epoch);
        let state = State::new(device, states);
        let opened = fill_table(&mut medium, &mut table, device, epoch, state.page());
        let mut log = FlashLog {
            medium,
            device,
            epoch,
            table,
            writing: None,
            ready: None,
            newest_sequence: opened.sequence_max.max(state.record_sequence),
            next_number: 0,
            next_chain: None,
            unused_number: 0,
            floor: 0,
            floor_chain: chain,
            rewrite_number: None,
            anchor: None,
            state,
        };
        log.take_marks(opened.best_mark, &states);
        log.take_tail();
        log.take_lost_page(opened.sequence_max, &states);
        log.unused_number = log.unused_number.max(log.next_number);
        log.next_chain = log.chain_at(log.next_number);
        log.anchor = log.next_chain.map(|chain| (log.next_number, chain));
        log.state.record_sequence = log.newest_sequence;
        log
    }

    /// Takes over from a mark what it says.
    fn take_mark(&mut self, mark: Mark) {
        if mark.floor >= self.floor {
            (self.floor, self.floor_chain) = (mark.floor, mark.floor_chain);
        }
        self.next_number = self.next_number.max(mark.next_number).max(self.floor);
    }

    /// Takes over the last mark of the newest state, which says all that older state says, and the
    /// best of the pages of records.
    fn take_marks(&mut self, best: Option<Mark>, states: &[Option<Found>; STATE_PAGE_COUNT]) {
        let newest = states.iter().flatten().max_by_key(|found| found.sequence());
        for mark in newest.map(|found| found.mark).into_iter().chain(best) {
            if mark.epoch == self.epoch {
                self.take_mark(mark);
            }
        }
    }

    /// Works out the next number from the newest page with a record, and forgets newer ones.
    fn take_tail(&mut self) {
        // One round for each page at most: each round forgets one.
        while let Some((place, page)) = self.table.newest() {
            let told = match self.medium.entry(place, 1) {
                Ok(Entry::Mark(mark)) if mark.page_sequence == page.sequence => mark.next_number,
                _ => 0,
            };
            let tail = self.read_tail(place, &page, told);
            // The torn bytes of an empty page may be of a record that was written again.
            let rewrites = !tail.has_record && told > page.first_number;
            let burned_count = if C::BURNS_NUMBERS && !rewrites { tail.burned_count } else { 0 };
            let used = tail.end_number.max(told).saturating_add(burned_count);
            self.unused_number = self.unused_number.max(used);
            self.next_number = self.next_number.max(tail.end_number);
            if tail.has_record {
                let last = tail.end_number.saturating_sub(1);
                self.rewrite_number = (tail.ends_whole && last >= self.floor).then_some(last);
                if !C::SEALS_AT_POWER_UP {
                    let (sequence, granule) = (page.sequence, tail.end_granule);
                    self.writing = Some(Writing { page: place, sequence, granule });
                }
                return;
            }
            self.table.drop_page(place);
        }
    }

    /// Reads a page to its end; `told` is the next number it was opened with, above its first
    /// where that record was to be written again.
    fn read_tail(&mut self, place: u16, page: &Page, told: u32) -> Tail {
        let mut tail = Tail { end_number: page.first_number, ..Tail::default() };
        let mut walk = Walk::new(place, self.epoch, page.sequence, page.first_number);
        let mut last = None;
        let mut end_granule = FIRST_RECORD_GRANULE;
        let mut debris_count = 0;
        loop {
            let found = walk.next(&mut self.medium);
            debris_count = if found.is_none() { walk.debris_count } else { debris_count };
            let Some((granule, head)) = found else { break };
            tail.has_record = last.is_some();
            last = Some((granule, head));
            end_granule = walk.granule;
        }
        if let Some((granule, head)) = last {
            let copy = Copy { page: place, granule, head };
            let sound = !C::CHECKS_RECORDS || self.is_sound(&copy);
            let rewritten = head.number < told && debris_count == 0;
            if !sound && rewritten && self.find_sound(head.number, page.sequence).is_some() {
                // Torn while it was written again: the older copy counts, and nothing follows.
                tail.end_number = head.number;
                return tail;
            }
            let firm = sound || self.is_firm(&copy);
            tail.end_number = head.number.saturating_add(u32::from(firm));
            tail.burned_count = u32::from(!firm);
            tail.has_record |= firm;
            tail.ends_whole = sound && debris_count == 0;
        }
        // A torn head is one granule, and may be weak. More were records; how many, nobody can
        // tell.
        let rotten_count = debris_count.div_ceil(RECORD_GRANULES_MIN);
        match debris_count {
            0 => {}
            1 => tail.burned_count += 1,
            _ => tail.end_number = tail.end_number.saturating_add(rotten_count.into()),
        }
        tail.end_granule = end_granule;
        tail
    }

    /// Uses up the numbers of a page that the state says was opened and that is not there.
    fn take_lost_page(&mut self, sequence_max: u32, states: &[Option<Found>; STATE_PAGE_COUNT]) {
        let newest = states.iter().flatten().max_by_key(|found| found.sequence());
        let Some(mark) = newest.map(|found| found.mark) else { return };
        if mark.epoch == self.epoch && mark.opened_sequence > sequence_max {
            self.newest_sequence = self.newest_sequence.max(mark.opened_sequence);
            let page_records = Medium::<F, C>::PAGE_GRANULES / RECORD_GRANULES_MIN;
            let end = mark.next_number.saturating_add(u32::from(page_records));
            self.next_number = self.next_number.max(end);
        }
    }
}

/// The newest epoch of `device`'s log, and of any.
fn epochs<F: NorFlash, const PAGES: usize, C: Care>(
    medium: &mut Medium<F, C>,
    table: &Table<PAGES>,
    device: u64,
    states: &[Option<Found>; STATE_PAGE_COUNT],
) -> (Option<u32>, Option<u32>) {
    let mut own = states.iter().flatten().map(|found| found.mark.epoch).max();
    let mut any = own;
    let state_places = STATE_PLACES.iter().filter(|_| table.places().next().is_some()).copied();
    for place in state_places.chain(table.places()) {
        match medium.entry(place, 0) {
            Ok(Entry::LogPage(page)) => {
                any = any.max(Some(page.epoch));
                if page.device == device && page.sequence != 0 {
                    own = own.max(Some(page.epoch));
                }
            }
            Ok(Entry::StatePage(page)) => any = any.max(Some(page.epoch)),
            _ => {}
        }
    }
    (own, any)
}

/// What the pages of records say together.
struct Opened {
    sequence_max: u32,
    /// The mark with the highest floor.
    best_mark: Option<Mark>,
}

/// Enters every page that holds something of this epoch.
fn fill_table<F: NorFlash, const PAGES: usize, C: Care>(
    medium: &mut Medium<F, C>,
    table: &mut Table<PAGES>,
    device: u64,
    epoch: u32,
    newest_state: Option<u16>,
) -> Opened {
    for state_place in STATE_PLACES {
        let is_newest = newest_state == Some(state_place);
        state::for_each_void(medium, state_place, epoch, |void, is_last| {
            // What may be weak is said again before anything else, and then counts from there.
            if is_newest || !is_last {
                let place = u16::try_from(void.place).unwrap_or(u16::MAX);
                table.void(place, void.sequence);
            }
        });
    }
    let mut opened = Opened { sequence_max: table.void_sequence_max(), best_mark: None };
    for place in table.places() {
        let head = match medium.entry(place, 0) {
            Ok(Entry::LogPage(head)) => {
                let own = head.device == device && head.epoch == epoch && head.sequence != 0;
                own.then_some(head)
            }
            Err(NoEntry::Damaged) => salvaged_head(medium, place, device, epoch),
            _ => None,
        };
        let Some(head) = head else { continue };
        opened.sequence_max = opened.sequence_max.max(head.sequence);
        if table.get_mut(place).is_some_and(|page| head.sequence <= page.void_sequence) {
            continue;
        }
        if let Some(twin) = table.with_sequence(head.sequence) {
            // One of the two heads was torn, and did not read well when the other was written.
            // Nothing stands behind a torn head.
            let mut walk = Walk::new(place, epoch, head.sequence, head.first_number);
            if walk.next(medium).is_none() {
                continue;
            }
            table.clear(twin);
        }
        table.hold(place, head.sequence, head.first_number, head.chain);
        if let Ok(Entry::Mark(mark)) = medium.entry(place, 1)
            && (mark.epoch, mark.page_sequence) == (epoch, head.sequence)
        {
            let merged = opened.best_mark.map_or(mark, |best| merge(best, mark));
            opened.best_mark = Some(merged);
        }
    }
    opened
}

/// The head of a page whose own is gone, made up from its records.
fn salvaged_head<F: NorFlash, C: Care>(
    medium: &mut Medium<F, C>,
    place: u16,
    device: u64,
    epoch: u32,
) -> Option<LogPage> {
    let (_, head) = Walk::new(place, epoch, 0, 0).next(medium)?;
    let RecordHead { page_sequence: sequence, number: first_number, chain, .. } = head;
    Some(LogPage { epoch, sequence, first_number, chain, device })
}

fn merge(a: Mark, b: Mark) -> Mark {
    let next_number = a.next_number.max(b.next_number);
    let higher = if b.floor > a.floor { b } else { a };
    Mark { next_number, ..higher }
}
