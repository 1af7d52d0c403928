//! The record log in flash: nothing acknowledged is lost, doubled or reordered by a power cut.
//!
//! Three pages of state ([`state`]) stand in front of the pages of records. A page of records is
//! opened with its sequence, its first number and a mark, then filled record by record. How it all
//! stands in flash is written down in `firmware/core/flash.md`.
//!
//! Deliberately not here: the flash itself (a board hands one over that does
//! [`embedded_storage::nor_flash::NorFlash`]), when a pin turns (the caller calls
//! [`RecordLog::make_room`] only between pins), and what records and settings say.
//!
//! Invariants:
//! - A page is written only in the power-up in which it was erased and opened, and no more after a
//!   write that failed: nothing is ever written behind torn bytes, and nothing depends on whether
//!   a page looks erased.
//! - Acknowledged means written, read back, checksum right.
//! - Only pages wholly below a floor that is itself in flash are erased, and only by
//!   [`RecordLog::make_room`], [`RecordLog::store_settings`] and [`FlashLog::wipe`].
//! - A number stands for one content in an epoch, whatever happened in between.

pub mod care;
pub mod format;
mod medium;
mod mount;
mod read;
mod state;
mod table;

use embedded_storage::nor_flash::NorFlash;
use pinhold_protocol::content::TRACE_BYTES_MAX;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::{RECORD_BYTES_MAX, chain_next, chain_start, record_checksum};

use self::care::{Care, Careful};
use self::format::{
    Entry, GRANULE_BYTES, LogPage, Mark, RecordHead, SETTINGS_BYTES_MAX, Void, body_granules,
};
use self::medium::{Failed, Medium};
use self::read::Copy;
use self::state::{NewSettings, State};
use self::table::Table;
use super::{Health, RecordBuffer, RecordLog, Stored, judge_commit};

/// Smallest page the log can use, bytes.
pub const PAGE_BYTES_MIN: usize = 1024;
/// Pages of records where nothing else is said: with those of state, 256 KiB of 4 KiB pages.
pub const PAGE_COUNT_DEFAULT: usize = 61;
/// First granule of a page behind its head and mark.
const FIRST_RECORD_GRANULE: u16 = 2;
/// Granules of the longest record with its head.
const RECORD_GRANULES_MAX: u16 = 1 + RECORD_BYTES_MAX.div_ceil(GRANULE_BYTES) as u16;
/// Granules of the longest reading and its trace.
const PIN_GRANULES_MAX: u16 =
    RECORD_GRANULES_MAX + 1 + TRACE_BYTES_MAX.div_ceil(GRANULE_BYTES) as u16;
/// Pages tried for one record, or erased to make room for one, before giving up.
const ATTEMPT_COUNT_MAX: u32 = 2;

// A page just opened takes the record that is written again and the next one.
const _: () = assert!(
    (FIRST_RECORD_GRANULE + 2 * RECORD_GRANULES_MAX) as usize * GRANULE_BYTES <= PAGE_BYTES_MIN
);
// A page of state just written takes head, settings, two marks, and has some room left.
const _: () = assert!(4 * GRANULE_BYTES + SETTINGS_BYTES_MAX <= PAGE_BYTES_MIN * 3 / 4);

/// Place of the next record.
#[derive(Clone, Copy, Debug)]
struct Writing {
    page: u16,
    /// Sequence of that page.
    sequence: u32,
    granule: u16,
}

/// The record log in flash.
///
/// `PAGES` is the number of pages of records it can keep track of, 20 bytes of RAM each; what the
/// flash has beyond that is not used.
#[derive(Clone, Debug)]
pub struct FlashLog<F, const PAGES: usize = PAGE_COUNT_DEFAULT, C = Careful> {
    medium: Medium<F, C>,
    device: u64,
    epoch: u32,
    table: Table<PAGES>,
    state: State,
    /// Page being filled; opened in this power-up.
    writing: Option<Writing>,
    /// Page erased in this power-up and not opened yet.
    ready: Option<u16>,
    /// Highest sequence that any page of records may have.
    newest_sequence: u32,
    /// Number the next record gets as far as anybody has been told; every one below is answered
    /// for.
    next_number: u32,
    /// Chain value below it; `None` while it is being worked out.
    next_chain: Option<u32>,
    /// Number and chain value that were the next ones at power-up; they count until power goes, for
    /// what they follow from may read another way another time.
    anchor: Option<(u32, u32)>,
    /// First number of which no bit is in flash: above the next number where torn writes used
    /// some up and no page was opened since that says so.
    unused_number: u32,
    floor: u32,
    floor_chain: u32,
    /// Last record before power-up, to be written again.
    rewrite_number: Option<u32>,
}

impl<F: NorFlash, const PAGES: usize, C: Care> FlashLog<F, PAGES, C> {
    /// Gives the flash back.
    pub fn into_flash(self) -> F {
        self.medium.into_flash()
    }

    /// The flash, for a board that does more with it than keep the log.
    pub fn flash_mut(&mut self) -> &mut F {
        self.medium.flash_mut()
    }

    /// Forgets all records, committed or not, and starts an epoch above any seen; `true` when that
    /// is in flash. For an operator who says so and no one else. `candidate` is drawn at random by
    /// the board. Erases a page: only between pins.
    pub fn wipe(&mut self, candidate: u32) -> bool {
        let Some(epoch) = mount::next_epoch::<C>(Some(self.epoch), candidate) else {
            return false;
        };
        let chain = chain_start(self.device, epoch);
        let mark = Mark {
            epoch,
            page_sequence: 0,
            floor: 0,
            floor_chain: chain,
            opened_sequence: 0,
            next_number: 0,
        };
        if self.state.renew(&mut self.medium, mark, NewSettings::Same).is_err() {
            return false;
        }
        self.epoch = epoch;
        self.table.clear_all();
        self.writing = None;
        self.ready = None;
        self.rewrite_number = None;
        self.anchor = None;
        (self.unused_number, self.next_number, self.floor) = (0, 0, 0);
        (self.next_chain, self.floor_chain) = (Some(chain), chain);
        true
    }

    /// Oldest number that is answered for.
    fn oldest(&self) -> u32 {
        let held = self.table.oldest().map_or(self.floor, |(_, page)| page.first_number);
        held.min(self.floor)
    }

    /// How far things are.
    fn mark(&self) -> Mark {
        Mark {
            epoch: self.epoch,
            page_sequence: 0,
            floor: self.floor,
            floor_chain: self.floor_chain,
            opened_sequence: self.table.newest().map_or(0, |(_, page)| page.sequence),
            next_number: self.unused_number,
        }
    }

    /// Takes note that everything below the unused number is now known for good to be used.
    fn declare(&mut self) {
        if self.unused_number != self.next_number {
            self.next_chain = self.chain_at(self.unused_number);
            self.next_number = self.unused_number;
        }
    }

    /// The record still to be written again, unless it was committed meanwhile.
    fn rewrite_number(&self) -> Option<u32> {
        self.rewrite_number.filter(|number| C::REWRITES_LAST && *number >= self.floor)
    }

    /// Erases a page of which nothing counts any more; whether it can be opened.
    fn erase_page(&mut self, place: u16) -> Result<bool, Failed> {
        // Erased in part it may read as whole again: from now on it is void.
        let sequence = self.table.void_sequence(place);
        let void = Void { epoch: self.epoch, page_sequence: 0, place: place.into(), sequence };
        self.state.append_void(&mut self.medium, void)?;
        self.table.clear(place);
        let looks_erased = !C::ERASES_BEFORE_USE && self.medium.is_blank(place, 0);
        let erased = looks_erased || self.medium.erase(place).is_ok();
        if erased {
            self.table.clean(place);
        } else {
            self.table.fail(place, 0);
        }
        Ok(erased)
    }

    /// Erases what must be erased, and a page for the next records, if that is needed and possible.
    fn prepare_page(&mut self) -> Result<(), Failed> {
        // One round for each page at most: each round erases one or sets it aside.
        while let Some(place) = self.table.dropped() {
            if self.erase_page(place)? {
                self.ready.get_or_insert(place);
            }
        }
        let limit = match self.rewrite_number() {
            _ if !C::ERASES_BELOW_FLOOR => u32::MAX,
            // A page that ends with this number may hold the one copy that is not weak.
            Some(number) => number.min(self.floor.saturating_add(1)),
            None => self.floor.saturating_add(1),
        };
        for _ in 0..ATTEMPT_COUNT_MAX {
            if self.ready.is_some() {
                break;
            }
            let Some(place) = self.table.to_erase(limit) else { break };
            if self.erase_page(place)? {
                self.ready = Some(place);
            }
        }
        Ok(())
    }

    /// Opens the page made ready; what was used up by torn writes is then known for good.
    fn open_page(&mut self) -> Result<(), Failed> {
        let place = self.ready.take().ok_or(Failed)?;
        // Once there may be a head that begins with the next number, that number belongs there.
        self.writing = None;
        let sequence = self.newest_sequence.checked_add(1).ok_or(Failed)?;
        let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
        let rewrite =
            self.rewrite_number().and_then(|number| self.read_record(number, &mut buffer));
        let next_chain = self.chain_at(self.unused_number).ok_or(Failed)?;
        let (first_number, chain) =
            rewrite.map_or((self.unused_number, next_chain), |head| (head.number, head.chain));
        let (epoch, device) = (self.epoch, self.device);
        let head = LogPage { epoch, sequence, first_number, chain, device };
        let mark = Mark { page_sequence: sequence, opened_sequence: sequence, ..self.mark() };
        self.newest_sequence = sequence;
        self.state.record_sequence = sequence;
        let opened = self
            .medium
            .write_entry(place, 0, &Entry::LogPage(head))
            .and_then(|()| self.medium.write_entry(place, 1, &Entry::Mark(mark)));
        if opened.is_err() {
            self.table.fail(place, sequence);
            return Err(Failed);
        }
        self.table.hold(place, sequence, first_number, chain);
        self.writing = Some(Writing { page: place, sequence, granule: FIRST_RECORD_GRANULE });
        if let Some(head) = rewrite {
            let bytes = buffer.get(..head.byte_count as usize).unwrap_or(&[]);
            if self.write_record(head, bytes).is_err() {
                // Its older copy still counts; the next page takes it up again.
                self.table.fail(place, sequence);
                return Err(Failed);
            }
        }
        self.rewrite_number = None;
        self.next_number = self.unused_number;
        self.next_chain = Some(next_chain);
        // Says that this page exists, should it ever be lost whole. No harm where it fails: the
        // page itself says so too.
        let _ = self.state.append(&mut self.medium, mark);
        Ok(())
    }

    /// Writes a record into the page being filled, which has room for it.
    fn write_record(&mut self, head: RecordHead, bytes: &[u8]) -> Result<(), Failed> {
        let Writing { page, sequence, granule } = self.writing.ok_or(Failed)?;
        let head = RecordHead { page_sequence: sequence, ..head };
        let body = granule.saturating_add(1);
        let result = self
            .medium
            .write_entry(page, granule, &Entry::Record(head))
            .and_then(|()| self.medium.write_bytes(page, body, bytes));
        let sound = !C::READS_BACK || self.is_sound(&Copy { page, granule, head });
        let next = body.saturating_add(body_granules(head.byte_count));
        let usable = (result.is_ok() && sound) || !C::SEALS_AFTER_FAILURE;
        self.writing = usable.then_some(Writing { page, sequence, granule: next });
        if sound { result } else { Err(Failed) }
    }

    fn fits_record(&self, granule_count: u16) -> bool {
        let granules = Medium::<F, C>::PAGE_GRANULES;
        self.writing.is_some_and(|writing| {
            writing.granule.checked_add(granule_count).is_some_and(|end| end <= granules)
        })
    }

    /// Writes the next record to this page or the next.
    fn append(&mut self, bytes: &[u8], checksum: u32) -> Option<()> {
        let granule_count = 1 + body_granules(bytes.len() as u32);
        let mut begun = false;
        for _ in 0..ATTEMPT_COUNT_MAX {
            if !self.fits_record(granule_count) && self.open_page().is_err() {
                continue;
            }
            let chain = self.next_chain?;
            let head = RecordHead {
                epoch: self.epoch,
                page_sequence: 0,
                number: self.unused_number,
                chain,
                checksum,
                byte_count: bytes.len() as u32,
            };
            begun = true;
            let page = self.writing.map_or(0, |writing| writing.page);
            if self.write_record(head, bytes).is_ok() {
                self.unused_number = self.unused_number.saturating_add(1);
                self.next_number = self.unused_number;
                self.next_chain = Some(chain_next(chain, checksum));
                return Some(());
            }
            // A page that holds nothing counts for nothing, as it will at the next power-up.
            self.table.fail_if_empty(page, head.number);
        }
        if begun && C::BURNS_NUMBERS {
            // Some of it may be in flash, all of it even.
            self.unused_number = self.unused_number.saturating_add(1);
        }
        None
    }
}

impl<F: NorFlash, const PAGES: usize, C: Care> RecordLog for FlashLog<F, PAGES, C> {
    fn epoch(&self) -> u32 {
        self.epoch
    }

    fn oldest_number(&self) -> u32 {
        self.oldest()
    }

    fn next_number(&self) -> u32 {
        self.next_number
    }

    fn committed(&self) -> (u32, u32) {
        (self.floor, self.floor_chain)
    }

    fn has_room(&self) -> bool {
        let has_page = self.ready.is_some() || self.fits_record(RECORD_GRANULES_MAX);
        has_page && !self.medium.is_closed()
    }

    fn has_room_for_pin(&self) -> bool {
        // What no longer fits the page being filled goes to the one made ready.
        let has_page = self.ready.is_some() || self.fits_record(PIN_GRANULES_MAX);
        has_page && !self.medium.is_closed()
    }

    fn room_count(&self) -> u32 {
        let granules = Medium::<F, C>::PAGE_GRANULES;
        let page_count = self.table.usable_count(self.floor);
        let page_granules = granules.saturating_sub(FIRST_RECORD_GRANULE);
        let left = self.writing.map_or(0, |writing| granules.saturating_sub(writing.granule));
        let pins = |granules: u16| u32::from(granules / PIN_GRANULES_MAX);
        let room = page_count.saturating_mul(pins(page_granules)).saturating_add(pins(left));
        // The record to be written again may take the place of one.
        room.saturating_sub(u32::from(self.rewrite_number.is_some()))
    }

    fn make_room(&mut self) {
        if self.medium.is_closed() {
            return;
        }
        let mark = self.mark();
        let told = if !self.state.has_spare::<F, C>() {
            // Where it fails, what is left of the page may do; else nothing is erased.
            self.state.renew(&mut self.medium, mark, NewSettings::Same)
        } else if self.unused_number != self.next_number {
            self.state.append(&mut self.medium, mark)
        } else {
            Ok(())
        };
        if told.is_ok() {
            self.declare();
        }
        // What was read from state at power-up may have been weak, and traces of torn writes go
        // with the page that is erased: first, state says it all for good.
        if told.is_ok() {
            // Where it fails, there is no room: the state's page is full, and is renewed next time.
            let _ = self.prepare_page();
        }
    }

    fn push(&mut self, bytes: &[u8]) -> Option<Stored> {
        let fits = (1..=RECORD_BYTES_MAX).contains(&bytes.len());
        if !fits || self.medium.is_closed() || self.unused_number == u32::MAX {
            return None;
        }
        // A number used up in this page is only known for good once the next page says so.
        if self.unused_number != self.next_number {
            self.writing = None;
        }
        let number = self.unused_number;
        let checksum = record_checksum(self.epoch, number, bytes);
        self.append(bytes, checksum)?;
        Some(Stored { number, checksum, byte_count: bytes.len() })
    }

    fn get(&mut self, number: u32, buffer: &mut RecordBuffer) -> Option<Stored> {
        if number < self.oldest_number() || number >= self.next_number {
            return None;
        }
        match self.read_record(number, buffer) {
            Some(head) => Some(Stored {
                number,
                checksum: head.checksum,
                byte_count: head.byte_count as usize,
            }),
            None if C::TELLS_LOSS => self.lost_record(number, buffer),
            None => None,
        }
    }

    fn commit(&mut self, commit: Commit) -> CommandResult {
        let answered_for = self.oldest_number()..=self.next_number;
        let chain_at = match answered_for.contains(&commit.floor) {
            true if C::CHECKS_CHAIN => self.chain_at(commit.floor),
            true => Some(commit.chain),
            false => None,
        };
        match judge_commit(self, commit, chain_at) {
            // A floor that was found at power-up may be weak until it is written again.
            Err(CommandResult::Done) if C::COMMITS_TO_FLASH && !self.state.is_open() => {
                return CommandResult::PinMoving;
            }
            Err(answer) => return answer,
            Ok(()) => {}
        }
        let mark = Mark { floor: commit.floor, floor_chain: commit.chain, ..self.mark() };
        if C::COMMITS_TO_FLASH && self.state.append(&mut self.medium, mark).is_err() {
            return CommandResult::PinMoving;
        }
        self.floor = commit.floor;
        self.floor_chain = commit.chain;
        CommandResult::Done
    }

    fn health(&self) -> Health {
        Health {
            failed_count: self.medium.failed_count,
            newer_format: self.medium.newer_format,
            large_enough: self.table.places().count() >= 2,
        }
    }

    fn settings(&mut self, buffer: &mut [u8]) -> Option<usize> {
        self.state.read_settings(&mut self.medium, buffer)
    }

    fn store_settings(&mut self, bytes: &[u8]) -> bool {
        let mark = self.mark();
        bytes.len() <= SETTINGS_BYTES_MAX
            && self.state.renew(&mut self.medium, mark, NewSettings::Bytes(bytes)).is_ok()
    }

    fn set_power_failing(&mut self, failing: bool) {
        self.medium.power_failing = failing;
    }
}
