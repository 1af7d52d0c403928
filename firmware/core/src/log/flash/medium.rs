//! Granules of a flash: read, write and read back, erase and look.
//!
//! Deliberately not here: what the granules mean ([`super::format`]).
//!
//! Invariants: nothing is written where anything was; nothing is begun after the warning that
//! power is failing.

use core::marker::PhantomData;

use embedded_storage::nor_flash::NorFlash;

use super::care::Care;
use super::format::{BLANK, Entry, GRANULE_BYTES, Granule, NoEntry, decode, encode};

/// A granule could not be read, written or erased.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Failed;

/// The flash.
#[derive(Clone, Debug)]
pub(super) struct Medium<F, C> {
    flash: F,
    /// Writing is refused: power is failing.
    pub(super) power_failing: bool,
    /// Writing is refused: a later format stands there.
    pub(super) newer_format: bool,
    /// Writes and erases that failed.
    pub(super) failed_count: u32,
    care: PhantomData<C>,
}

impl<F: NorFlash, C: Care> Medium<F, C> {
    /// Granules of a page.
    pub(super) const PAGE_GRANULES: u16 = (F::ERASE_SIZE / GRANULE_BYTES) as u16;

    pub(super) fn new(flash: F) -> Self {
        const {
            assert!(F::WRITE_SIZE >= 1 && GRANULE_BYTES.is_multiple_of(F::WRITE_SIZE));
            assert!(F::READ_SIZE >= 1 && GRANULE_BYTES.is_multiple_of(F::READ_SIZE));
            assert!(F::ERASE_SIZE.is_multiple_of(GRANULE_BYTES));
            assert!(F::ERASE_SIZE >= super::PAGE_BYTES_MIN);
            assert!(F::ERASE_SIZE / GRANULE_BYTES <= u16::MAX as usize);
        }
        Medium {
            flash,
            power_failing: false,
            newer_format: false,
            failed_count: 0,
            care: PhantomData,
        }
    }

    /// Pages of the whole flash.
    pub(super) fn page_count(&self) -> usize {
        self.flash.capacity() / F::ERASE_SIZE
    }

    pub(super) fn flash_mut(&mut self) -> &mut F {
        &mut self.flash
    }

    pub(super) fn into_flash(self) -> F {
        self.flash
    }

    /// Address of a granule; pages and granules out of range end up outside the flash.
    fn address(page: u16, granule: u16) -> u32 {
        let page_address = u32::from(page).saturating_mul(F::ERASE_SIZE as u32);
        page_address.saturating_add(u32::from(granule) * GRANULE_BYTES as u32)
    }

    /// Reads a granule.
    pub(super) fn read(&mut self, page: u16, granule: u16) -> Result<Granule, Failed> {
        let mut bytes = BLANK;
        self.flash.read(Self::address(page, granule), &mut bytes).map_err(|_| Failed)?;
        Ok(bytes)
    }

    /// Reads the entry in a granule; one that cannot be read is damaged.
    pub(super) fn entry(&mut self, page: u16, granule: u16) -> Result<Entry, NoEntry> {
        let entry = self.read(page, granule).map_err(|_| NoEntry::Damaged).and_then(|g| decode(&g));
        // Nothing is written to a flash that a later firmware has used: it may mean anything.
        self.newer_format |= entry == Err(NoEntry::Newer);
        entry
    }

    /// Whether writing is refused for now.
    pub(super) fn is_closed(&self) -> bool {
        self.newer_format || (C::HEEDS_WARNING && self.power_failing)
    }

    fn write_once(&mut self, page: u16, granule: u16, bytes: &Granule) -> Result<(), Failed> {
        // That it looks erased proves little; that it does not, proves that something is wrong.
        if C::READS_BACK && self.read(page, granule)? != BLANK {
            return Err(Failed);
        }
        self.flash.write(Self::address(page, granule), bytes).map_err(|_| Failed)?;
        if C::READS_BACK && self.read(page, granule)? != *bytes {
            return Err(Failed);
        }
        Ok(())
    }

    /// Writes an erased granule and reads it back.
    pub(super) fn write(&mut self, page: u16, granule: u16, bytes: &Granule) -> Result<(), Failed> {
        if self.is_closed() || granule >= Self::PAGE_GRANULES {
            return Err(Failed);
        }
        let result = self.write_once(page, granule, bytes);
        self.count(result)
    }

    /// Writes an entry and reads it back.
    pub(super) fn write_entry(
        &mut self,
        page: u16,
        granule: u16,
        entry: &Entry,
    ) -> Result<(), Failed> {
        self.write(page, granule, &encode(entry))
    }

    /// Writes bytes over several granules, the rest of the last one filled with zeros.
    pub(super) fn write_bytes(
        &mut self,
        page: u16,
        granule: u16,
        bytes: &[u8],
    ) -> Result<(), Failed> {
        let mut at = granule;
        for part in bytes.chunks(GRANULE_BYTES) {
            let mut whole = [0; GRANULE_BYTES];
            for (to, from) in whole.iter_mut().zip(part) {
                *to = *from;
            }
            self.write(page, at, &whole)?;
            at = at.saturating_add(1);
        }
        Ok(())
    }

    /// Reads bytes over several granules.
    pub(super) fn read_bytes(
        &mut self,
        page: u16,
        granule: u16,
        bytes: &mut [u8],
    ) -> Result<(), Failed> {
        let mut at = granule;
        for part in bytes.chunks_mut(GRANULE_BYTES) {
            if at >= Self::PAGE_GRANULES {
                return Err(Failed);
            }
            let whole = self.read(page, at)?;
            for (to, from) in part.iter_mut().zip(whole) {
                *to = from;
            }
            at = at.saturating_add(1);
        }
        Ok(())
    }

    /// Whether a page looks erased from a granule on.
    pub(super) fn is_blank(&mut self, page: u16, granule_min: u16) -> bool {
        (granule_min..Self::PAGE_GRANULES).all(|granule| self.read(page, granule) == Ok(BLANK))
    }

    /// Erases a page and looks at every granule of it.
    pub(super) fn erase(&mut self, page: u16) -> Result<(), Failed> {
        if self.is_closed() {
            return Err(Failed);
        }
        let (from, to) = (Self::address(page, 0), Self::address(page.saturating_add(1), 0));
        let erased = self.flash.erase(from, to).map_err(|_| Failed);
        let result = match erased {
            Ok(()) if !C::READS_BACK || self.is_blank(page, 0) => Ok(()),
            _ => Err(Failed),
        };
        self.count(result)
    }

    fn count(&mut self, result: Result<(), Failed>) -> Result<(), Failed> {
        if result.is_err() {
            self.failed_count = self.failed_count.saturating_add(1);
        }
        result
    }
}
