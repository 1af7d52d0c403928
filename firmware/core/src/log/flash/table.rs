//! Which page holds which numbers.
//!
//! Deliberately not here: reading pages; the table is filled by [`super::mount`].
//!
//! Invariant: a page's numbers end where those of the page opened next begin.

use heapless::Vec;

use super::state::STATE_PAGE_COUNT;

/// Place of the first page of records.
const FIRST_PLACE: u16 = STATE_PAGE_COUNT as u16;

/// What is known of a page of records.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Page {
    /// 0 when nothing in it is kept.
    pub(super) sequence: u32,
    pub(super) first_number: u32,
    /// Chain value below the first number.
    pub(super) first_chain: u32,
    /// Highest sequence that is void here.
    pub(super) void_sequence: u32,
    /// What it holds counts for nothing, and it was not erased since.
    pub(super) is_dropped: bool,
    /// Could not be erased or opened in this power-up.
    pub(super) failed: bool,
}

/// A page with its place in the flash.
pub(super) type Placed = (u16, Page);

/// All pages of records.
#[derive(Clone, Debug)]
pub(super) struct Table<const PAGES: usize> {
    pages: Vec<Page, PAGES>,
}

impl<const PAGES: usize> Table<PAGES> {
    /// As many pages as the flash has behind its state pages, at most `PAGES`.
    pub(super) fn new(flash_page_count: usize) -> Self {
        let count = flash_page_count.saturating_sub(FIRST_PLACE.into()).min(PAGES);
        let mut pages = Vec::new();
        // Cannot fail: the count is at most the room.
        let _ = pages.resize_default(count);
        Table { pages }
    }

    /// Places of all pages.
    pub(super) fn places(&self) -> impl Iterator<Item = u16> + use<PAGES> {
        (FIRST_PLACE..).take(self.pages.len())
    }

    pub(super) fn get_mut(&mut self, place: u16) -> Option<&mut Page> {
        self.pages.get_mut(usize::from(place.checked_sub(FIRST_PLACE)?))
    }

    /// Enters what a page holds.
    pub(super) fn hold(&mut self, place: u16, sequence: u32, first_number: u32, first_chain: u32) {
        if let Some(page) = self.get_mut(place) {
            let void_sequence = page.void_sequence;
            *page = Page { sequence, first_number, first_chain, void_sequence, ..Page::default() };
        }
    }

    /// Forgets what a page holds.
    pub(super) fn clear(&mut self, place: u16) {
        if let Some(page) = self.get_mut(place) {
            *page = Page {
                void_sequence: page.void_sequence,
                is_dropped: page.is_dropped,
                ..Page::default()
            };
        }
    }

    /// Forgets what a page holds, though it may read well at the next power-up.
    pub(super) fn drop_page(&mut self, place: u16) {
        let sequence = self.get_mut(place).map_or(0, |page| page.sequence);
        self.clear(place);
        self.void(place, sequence);
    }

    /// A page that was dropped.
    pub(super) fn dropped(&self) -> Option<u16> {
        self.placed().find(|(_, page)| page.is_dropped && !page.failed).map(|(place, _)| place)
    }

    /// Everything in a page up to `sequence` is void.
    pub(super) fn void(&mut self, place: u16, sequence: u32) {
        if let Some(page) = self.get_mut(place) {
            page.void_sequence = page.void_sequence.max(sequence);
            page.is_dropped = true;
        }
    }

    /// Highest sequence a page can have that is not the newest.
    pub(super) fn void_sequence(&self, place: u16) -> u32 {
        let newest = self.newest().map_or(0, |(_, page)| page.sequence);
        let own = self.placed().find(|placed| placed.0 == place);
        own.map_or(newest, |(_, page)| newest.max(page.sequence).max(page.void_sequence))
    }

    /// A page was erased whole.
    pub(super) fn clean(&mut self, place: u16) {
        if let Some(page) = self.get_mut(place) {
            *page = Page::default();
        }
    }

    /// Highest sequence void anywhere.
    pub(super) fn void_sequence_max(&self) -> u32 {
        self.placed().map(|(_, page)| page.void_sequence).max().unwrap_or(0)
    }

    /// Forgets a page for this power-up, whatever it holds up to `sequence`.
    pub(super) fn fail(&mut self, place: u16, sequence: u32) {
        self.clear(place);
        if sequence != 0 {
            self.void(place, sequence);
        }
        if let Some(page) = self.get_mut(place) {
            page.failed = true;
        }
    }

    /// Forgets a page that was opened for `number` and could not take it.
    pub(super) fn fail_if_empty(&mut self, place: u16, number: u32) {
        let page = self.held().find(|placed| placed.0 == place);
        if let Some((_, page)) = page.filter(|(_, page)| page.first_number == number) {
            self.fail(place, page.sequence);
        }
    }

    pub(super) fn clear_all(&mut self) {
        for page in &mut self.pages {
            *page = Page::default();
        }
    }

    fn placed(&self) -> impl DoubleEndedIterator<Item = Placed> {
        // Never more pages than places.
        self.pages.iter().enumerate().map(|(index, page)| (index as u16 + FIRST_PLACE, *page))
    }

    /// Pages in which something is kept, in no order.
    pub(super) fn held(&self) -> impl Iterator<Item = Placed> {
        self.placed().filter(|(_, page)| page.sequence != 0)
    }

    pub(super) fn newest(&self) -> Option<Placed> {
        self.held().max_by_key(|(_, page)| page.sequence)
    }

    pub(super) fn oldest(&self) -> Option<Placed> {
        self.held().min_by_key(|(_, page)| page.sequence)
    }

    /// Place of the page with this sequence.
    pub(super) fn with_sequence(&self, sequence: u32) -> Option<u16> {
        self.held().find(|(_, page)| page.sequence == sequence).map(|(place, _)| place)
    }

    /// The newest page older than `sequence`.
    pub(super) fn before(&self, sequence: u32) -> Option<Placed> {
        self.held()
            .filter(|(_, page)| page.sequence < sequence)
            .max_by_key(|(_, page)| page.sequence)
    }

    /// First number behind a page's own; `None` for the newest.
    pub(super) fn end_number(&self, page: &Page) -> Option<u32> {
        self.held()
            .filter(|(_, other)| other.sequence > page.sequence)
            .min_by_key(|(_, other)| other.sequence)
            .map(|(_, other)| other.first_number)
    }

    /// Chain value below `number`, where a page begins with it.
    pub(super) fn chain_at_start(&self, number: u32) -> Option<u32> {
        self.held()
            .filter(|(_, page)| page.first_number == number)
            .max_by_key(|(_, page)| page.sequence)
            .map(|(_, page)| page.first_chain)
    }

    /// Pages in which nothing is kept, or only what lies below `floor`. Never the newest.
    pub(super) fn usable_count(&self, floor: u32) -> u32 {
        let usable = |page: &Page| {
            let free = page.sequence == 0 && !page.failed;
            free || self.end_number(page).is_some_and(|end| page.sequence != 0 && end <= floor)
        };
        // Never more pages than places.
        self.pages.iter().filter(|page| usable(page)).count() as u32
    }

    /// Page to erase next: one in which nothing is kept, taken in turn, else the oldest of which
    /// the end lies below `limit`. Never the newest.
    pub(super) fn to_erase(&self, limit: u32) -> Option<u16> {
        let newest = self.newest().map_or(0, |(place, _)| place);
        let free = |placed: &Placed| placed.1.sequence == 0 && !placed.1.failed;
        let mut behind = self.placed().filter(|(place, _)| *place > newest).filter(free);
        let mut ahead = self.placed().filter(|(place, _)| *place <= newest).filter(free);
        if let Some((place, _)) = behind.next().or_else(|| ahead.next()) {
            return Some(place);
        }
        self.held()
            .filter(|(_, page)| self.end_number(page).is_some_and(|end| end < limit))
            .min_by_key(|(_, page)| page.sequence)
            .map(|(place, _)| place)
    }
}
