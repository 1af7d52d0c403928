//! The top of the internal flash as the log's NOR flash.
//!
//! Ours and not the HAL's `nvmc`, which holds the flash as a `&mut [u8]`: the compiler may take a
//! read-back for what was just written, and the log lives by reading back. Here every read and
//! write is volatile. Words are 4 bytes and written once between erases (the part allows two,
//! MEM); an erase takes 85 ms (MEM) in which the processor stands still, sensors go on being
//! counted ([`crate::clock::Edges`]) and what was missed is said.
//!
//! Invariant: no word is written and no erase begun after the warning that power is failing.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};
use nrf52840_hal::pac::NVMC;

use crate::supply::is_power_failing;

/// Bytes of a word.
const WORD_BYTES: usize = 4;
/// Bytes of a page.
const PAGE_BYTES: usize = 4096;
/// Looks at the controller's ready flag before it is given up: far beyond an erase.
const READY_LOOK_COUNT_MAX: u32 = 10_000_000;

unsafe extern "C" {
    // From memory.x; only their addresses mean something.
    static __log_start: u8;
    static __log_end: u8;
}

/// Why the flash did not do it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Error {
    /// Outside the log's pages.
    OutOfBounds,
    /// Not on a word, or not on a page.
    NotAligned,
    /// Power is failing.
    PowerFailing,
    /// The controller did not get ready.
    Stuck,
}

impl NorFlashError for Error {
    fn kind(&self) -> NorFlashErrorKind {
        match self {
            Error::OutOfBounds => NorFlashErrorKind::OutOfBounds,
            Error::NotAligned => NorFlashErrorKind::NotAligned,
            Error::PowerFailing | Error::Stuck => NorFlashErrorKind::Other,
        }
    }
}

/// What the controller allows.
#[derive(Clone, Copy)]
enum Mode {
    Read,
    Write,
    Erase,
}

/// The log's pages. There is one: it owns the flash controller.
pub(crate) struct Flash {
    controller: NVMC,
}

impl Flash {
    pub(crate) fn new(controller: NVMC) -> Flash {
        Flash { controller }
    }

    fn start() -> usize {
        &raw const __log_start as usize
    }

    fn length() -> usize {
        (&raw const __log_end as usize).saturating_sub(Flash::start())
    }

    /// Address of `count` bytes at `offset`, all of them in the log's pages.
    fn address(offset: u32, count: usize) -> Result<usize, Error> {
        let offset = offset as usize;
        let end = offset.checked_add(count).ok_or(Error::OutOfBounds)?;
        if end > Flash::length() {
            return Err(Error::OutOfBounds);
        }
        Ok(Flash::start() + offset)
    }

    fn wait(&self) -> Result<(), Error> {
        for _ in 0..READY_LOOK_COUNT_MAX {
            if self.controller.ready.read().ready().bit_is_set() {
                return Ok(());
            }
        }
        Err(Error::Stuck)
    }

    fn allow(&self, mode: Mode) {
        self.controller.config.write(|w| match mode {
            Mode::Read => w.wen().ren(),
            Mode::Write => w.wen().wen(),
            Mode::Erase => w.wen().een(),
        });
    }

    fn write_words(&self, address: usize, bytes: &[u8]) -> Result<(), Error> {
        let places = (address..).step_by(WORD_BYTES);
        for (place, word) in places.zip(bytes.as_chunks::<WORD_BYTES>().0) {
            if is_power_failing() {
                return Err(Error::PowerFailing);
            }
            // SAFETY: a word of the log's pages, checked by the caller: aligned, in flash that no
            // code and no reference is in, with writing allowed.
            unsafe { (place as *mut u32).write_volatile(u32::from_le_bytes(*word)) };
            self.wait()?;
        }
        Ok(())
    }

    fn erase_page(&self, address: usize) -> Result<(), Error> {
        if is_power_failing() {
            return Err(Error::PowerFailing);
        }
        // SAFETY: the register takes any address; this one is a page of the log, checked by the
        // caller.
        self.controller.erasepage().write(|w| unsafe { w.bits(address as u32) });
        self.wait()
    }
}

impl ErrorType for Flash {
    type Error = Error;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Error> {
        let address = Flash::address(offset, bytes.len())?;
        for (place, byte) in (address..).zip(bytes) {
            // SAFETY: a byte of the log's pages, which are always readable.
            *byte = unsafe { (place as *const u8).read_volatile() };
        }
        Ok(())
    }

    fn capacity(&self) -> usize {
        Flash::length()
    }
}

impl NorFlash for Flash {
    const WRITE_SIZE: usize = WORD_BYTES;
    const ERASE_SIZE: usize = PAGE_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Error> {
        let count = to.checked_sub(from).ok_or(Error::OutOfBounds)? as usize;
        let address = Flash::address(from, count)?;
        if !address.is_multiple_of(PAGE_BYTES) || !count.is_multiple_of(PAGE_BYTES) {
            return Err(Error::NotAligned);
        }
        self.allow(Mode::Erase);
        let pages = (address..address + count).step_by(PAGE_BYTES);
        let result = pages.into_iter().try_for_each(|page| self.erase_page(page));
        self.allow(Mode::Read);
        result
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Error> {
        let address = Flash::address(offset, bytes.len())?;
        if !address.is_multiple_of(WORD_BYTES) || !bytes.len().is_multiple_of(WORD_BYTES) {
            return Err(Error::NotAligned);
        }
        self.allow(Mode::Write);
        let result = self.write_words(address, bytes);
        self.allow(Mode::Read);
        result
    }
}
