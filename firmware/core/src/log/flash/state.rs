//! The pages of state: committed floor, calibration and settings.
//!
//! A page is whole when a mark stands behind its head and settings; the newest whole one counts.
//! Its first mark is written twice: where only one stands, the power went while it was written,
//! its last bits may be weak, and nothing in it was acknowledged.
//!
//! There are three, taken in turn, so that beside the one being erased there are two. With two,
//! one page erased in part could read as whole once more, be taken for the newest, and fade when
//! the other was erased.
//!
//! Deliberately not here: what the settings say.
//!
//! Invariants: a page is only written in the power-up in which it was erased; the page erased is
//! never one of the two newest that read as whole.

use embedded_storage::nor_flash::NorFlash;
use pinhold_protocol::CRC32;

use super::care::Care;
use super::format::{
    Entry, GRANULE_BYTES, Mark, NoEntry, SettingsHead, StatePage, Void, body_granules,
};
use super::medium::{Failed, Medium};

/// Pages of state, at the front of the flash.
pub(super) const STATE_PAGE_COUNT: usize = 3;
/// Their places.
pub(super) const STATE_PLACES: [u16; STATE_PAGE_COUNT] = [0, 1, 2];
/// Part of a page, as a divisor, below which what is left of it calls for a new one.
const SPARE_DIVISOR: u16 = 8;

/// Where settings stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct SettingsAt {
    page: u16,
    head: SettingsHead,
}

/// What a whole page of state says.
#[derive(Clone, Copy, Debug)]
pub(super) struct Found {
    page: u16,
    head: StatePage,
    /// The last mark.
    pub(super) mark: Mark,
    settings: Option<SettingsAt>,
    /// It was finished: something stands behind its first mark.
    finished: bool,
}

/// Settings for a new page.
#[derive(Clone, Copy)]
pub(super) enum NewSettings<'a> {
    /// Those that are.
    Same,
    /// These.
    Bytes(&'a [u8]),
}

/// The pages of state.
#[derive(Clone, Debug)]
pub(super) struct State {
    device: u64,
    /// Page of the newest whole state.
    page: Option<u16>,
    /// Sequence of each page; 0 where none is whole.
    sequences: [u32; STATE_PAGE_COUNT],
    /// Highest sequence a page of records may have, as the next page of state will say.
    pub(super) record_sequence: u32,
    /// Next granule to write, while the page may be written.
    next_granule: Option<u16>,
    /// Settings of the newest whole state and of the one before, in case they cannot be read.
    settings: [Option<SettingsAt>; 2],
}

/// Granule of the settings' head.
const SETTINGS_GRANULE: u16 = 1;

/// Reads a page of state.
pub(super) fn find<F: NorFlash, C: Care>(
    medium: &mut Medium<F, C>,
    page: u16,
    device: u64,
) -> Option<Found> {
    let Ok(Entry::StatePage(head)) = medium.entry(page, 0) else { return None };
    if head.device != device || head.sequence == 0 {
        return None;
    }
    let mut settings = None;
    let mut granule = SETTINGS_GRANULE;
    let mut last_mark: Option<Mark> = None;
    let mut finished = false;
    while granule < Medium::<F, C>::PAGE_GRANULES {
        let entry = medium.entry(page, granule);
        finished |= last_mark.is_some() && entry != Err(NoEntry::Blank);
        match entry {
            Ok(Entry::Settings(found))
                if granule == SETTINGS_GRANULE && found.page_sequence == head.sequence =>
            {
                settings = Some(SettingsAt { page, head: found });
                granule = granule.saturating_add(body_granules(found.byte_count));
            }
            Ok(Entry::Mark(mark))
                if mark.page_sequence == head.sequence && mark.epoch == head.epoch =>
            {
                last_mark = Some(mark);
            }
            _ => {}
        }
        granule = granule.saturating_add(1);
    }
    Some(Found { page, head, mark: last_mark?, settings, finished })
}

impl Found {
    /// Sequence of its page.
    pub(super) fn sequence(&self) -> u32 {
        self.head.sequence
    }
}

/// Calls `take` for every void of `epoch` in a page of state, and says which is its last entry: it
/// may be weak.
pub(super) fn for_each_void<F: NorFlash, C: Care>(
    medium: &mut Medium<F, C>,
    page: u16,
    epoch: u32,
    mut take: impl FnMut(Void, bool),
) {
    let Ok(Entry::StatePage(head)) = medium.entry(page, 0) else { return };
    let mut last = None;
    for granule in SETTINGS_GRANULE..Medium::<F, C>::PAGE_GRANULES {
        let entry = medium.entry(page, granule);
        if entry == Err(NoEntry::Blank) {
            continue;
        }
        if let Some(void) = last.take() {
            take(void, false);
        }
        if let Ok(Entry::Void(void)) = entry
            && (void.epoch, void.page_sequence) == (epoch, head.sequence)
        {
            last = Some(void);
        }
    }
    if let Some(void) = last {
        take(void, true);
    }
}

/// Forgets a page that was not finished, where the other one was: nothing in it was acknowledged.
pub(super) fn only_finished(
    found: [Option<Found>; STATE_PAGE_COUNT],
) -> [Option<Found>; STATE_PAGE_COUNT] {
    let any = found.iter().flatten().any(|found| found.finished);
    found.map(|found| found.filter(|found| found.finished || !any))
}

impl State {
    /// From what both pages hold.
    pub(super) fn new(device: u64, found: [Option<Found>; STATE_PAGE_COUNT]) -> State {
        let newest = found.iter().flatten().max_by_key(|found| found.head.sequence);
        let is_older = |found: &&Found| newest.is_some_and(|newest| found.page != newest.page);
        let older = found.iter().flatten().filter(is_older).max_by_key(|found| found.head.sequence);
        State {
            device,
            page: newest.map(|found| found.page),
            sequences: found.map(|found| found.map_or(0, |found| found.head.sequence)),
            record_sequence: newest.map_or(0, |found| found.head.record_sequence),
            next_granule: None,
            settings: [newest, older].map(|found| found.and_then(|found| found.settings)),
        }
    }

    /// Page of the newest whole state.
    pub(super) fn page(&self) -> Option<u16> {
        self.page
    }

    /// Highest sequence.
    fn sequence(&self) -> u32 {
        self.sequences.iter().fold(0, |highest, sequence| highest.max(*sequence))
    }

    fn set_sequence(&mut self, page: u16, sequence: u32) {
        if let Some(slot) = self.sequences.get_mut(usize::from(page)) {
            *slot = sequence;
        }
    }

    /// The page to erase next.
    fn oldest_page(&self) -> u16 {
        let placed = STATE_PLACES.iter().zip(self.sequences);
        placed.min_by_key(|(_, sequence)| *sequence).map_or(0, |(page, _)| *page)
    }

    /// Whether marks can be written without erasing, now and for a while.
    pub(super) fn has_spare<F: NorFlash, C: Care>(&self) -> bool {
        let granules = Medium::<F, C>::PAGE_GRANULES;
        self.next_granule.is_some_and(|next| next <= granules - granules / SPARE_DIVISOR)
    }

    /// Whether its page may be written.
    pub(super) fn is_open(&self) -> bool {
        self.next_granule.is_some()
    }

    /// Adds a mark.
    pub(super) fn append<F: NorFlash, C: Care>(
        &mut self,
        medium: &mut Medium<F, C>,
        mark: Mark,
    ) -> Result<(), Failed> {
        let page_sequence = self.sequence();
        self.append_entry(medium, &Entry::Mark(Mark { page_sequence, ..mark }))
    }

    /// Says that a page of records is void.
    pub(super) fn append_void<F: NorFlash, C: Care>(
        &mut self,
        medium: &mut Medium<F, C>,
        void: Void,
    ) -> Result<(), Failed> {
        let page_sequence = self.sequence();
        self.append_entry(medium, &Entry::Void(Void { page_sequence, ..void }))
    }

    fn append_entry<F: NorFlash, C: Care>(
        &mut self,
        medium: &mut Medium<F, C>,
        entry: &Entry,
    ) -> Result<(), Failed> {
        let (Some(page), Some(granule)) = (self.page, self.next_granule) else {
            return Err(Failed);
        };
        if granule >= Medium::<F, C>::PAGE_GRANULES || medium.is_closed() {
            return Err(Failed);
        }
        let written = medium.write_entry(page, granule, entry);
        let usable = written.is_ok() || !C::SEALS_AFTER_FAILURE;
        self.next_granule = usable.then_some(granule.saturating_add(1));
        written
    }

    /// Erases the other page and writes the state there.
    pub(super) fn renew<F: NorFlash, C: Care>(
        &mut self,
        medium: &mut Medium<F, C>,
        mark: Mark,
        new: NewSettings<'_>,
    ) -> Result<(), Failed> {
        let page = match self.page {
            Some(page) if !C::ALTERNATES_STATE => page,
            _ => self.oldest_page(),
        };
        let mark = Mark { page_sequence: self.sequence().checked_add(1).ok_or(Failed)?, ..mark };
        self.set_sequence(page, 0);
        for (other, sequence) in STATE_PLACES.iter().zip(self.sequences) {
            // One that does not read well now may do so later, and with the same sequence.
            if sequence == 0 && *other != page {
                let _ = medium.erase(*other);
            }
        }
        medium.erase(page)?;
        let written = self.fill(medium, page, mark, new);
        if written.is_err() {
            // Much of it may stand there, and would count at the next power-up.
            let _ = medium.erase(page);
        }
        written
    }

    /// Writes the state to an erased page.
    fn fill<F: NorFlash, C: Care>(
        &mut self,
        medium: &mut Medium<F, C>,
        page: u16,
        mark: Mark,
        new: NewSettings<'_>,
    ) -> Result<(), Failed> {
        let Mark { epoch, page_sequence: sequence, .. } = mark;
        let (device, record_sequence) = (self.device, self.record_sequence);
        let head = StatePage { epoch, sequence, record_sequence, device };
        medium.write_entry(page, 0, &Entry::StatePage(head))?;
        let settings = match new {
            NewSettings::Same => self.copy_settings(medium, page, epoch, sequence)?,
            NewSettings::Bytes(bytes) => {
                let head = SettingsHead {
                    epoch,
                    page_sequence: sequence,
                    checksum: CRC32.checksum(bytes),
                    byte_count: bytes.len() as u32,
                };
                medium.write_entry(page, SETTINGS_GRANULE, &Entry::Settings(head))?;
                medium.write_bytes(page, SETTINGS_GRANULE + 1, bytes)?;
                Some(SettingsAt { page, head })
            }
        };
        let body = settings.map_or(0, |at| 1 + body_granules(at.head.byte_count));
        let mark_granule = SETTINGS_GRANULE.saturating_add(body);
        medium.write_entry(page, mark_granule, &Entry::Mark(mark))?;
        medium.write_entry(page, mark_granule.saturating_add(1), &Entry::Mark(mark))?;
        self.page = Some(page);
        self.set_sequence(page, sequence);
        self.next_granule = Some(mark_granule.saturating_add(2));
        let [before, _] = self.settings;
        self.settings = [settings, before];
        Ok(())
    }

    fn copy_settings<F: NorFlash, C: Care>(
        &self,
        medium: &mut Medium<F, C>,
        page: u16,
        epoch: u32,
        sequence: u32,
    ) -> Result<Option<SettingsAt>, Failed> {
        // What cannot be read anywhere is not carried along.
        let Some(from) = self.settings.iter().flatten().find(|at| is_sound(medium, at)) else {
            return Ok(None);
        };
        let head = SettingsHead { epoch, page_sequence: sequence, ..from.head };
        medium.write_entry(page, SETTINGS_GRANULE, &Entry::Settings(head))?;
        for index in 0..body_granules(head.byte_count) {
            let granule = SETTINGS_GRANULE.saturating_add(1).saturating_add(index);
            let bytes = medium.read(from.page, granule)?;
            medium.write(page, granule, &bytes)?;
        }
        let copy = SettingsAt { page, head };
        if is_sound(medium, &copy) { Ok(Some(copy)) } else { Err(Failed) }
    }

    /// Reads the settings into `buffer`; their length, or `None` when there are none, they are
    /// damaged, or the buffer is too small.
    pub(super) fn read_settings<F: NorFlash, C: Care>(
        &self,
        medium: &mut Medium<F, C>,
        buffer: &mut [u8],
    ) -> Option<usize> {
        let at = self.settings.iter().flatten().find(|at| is_sound(medium, at))?;
        let byte_count = at.head.byte_count as usize;
        let bytes = buffer.get_mut(..byte_count)?;
        medium.read_bytes(at.page, SETTINGS_GRANULE + 1, bytes).ok()?;
        (CRC32.checksum(bytes) == at.head.checksum).then_some(byte_count)
    }
}

/// Whether settings read as their head says.
fn is_sound<F: NorFlash, C: Care>(medium: &mut Medium<F, C>, at: &SettingsAt) -> bool {
    let mut digest = CRC32.digest();
    let mut left = at.head.byte_count as usize;
    let mut granule = SETTINGS_GRANULE + 1;
    while left > 0 {
        let Ok(bytes) = medium.read(at.page, granule) else { return false };
        let count = left.min(GRANULE_BYTES);
        digest.update(bytes.get(..count).unwrap_or(&[]));
        left -= count;
        granule = granule.saturating_add(1);
    }
    digest.finalize() == at.head.checksum
}
