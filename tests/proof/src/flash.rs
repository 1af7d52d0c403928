//! A small flash in RAM, in checked code only.
//!
//! Deliberately not here: faults (the flash log's own tests have them).

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

/// Bytes of a page.
pub const PAGE_BYTES: usize = 4096;
/// Pages.
pub const PAGE_COUNT: usize = 6;

/// Flash that forgets when power goes.
#[derive(Debug)]
pub struct RamFlash {
    bytes: [u8; PAGE_BYTES * PAGE_COUNT],
}

/// Outside the flash.
#[derive(Clone, Copy, Debug)]
pub struct Outside;

impl NorFlashError for Outside {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::OutOfBounds
    }
}

impl RamFlash {
    /// Erased.
    pub const fn new() -> RamFlash {
        RamFlash { bytes: [0xff; PAGE_BYTES * PAGE_COUNT] }
    }

    fn part(&mut self, offset: u32, length: usize) -> Result<&mut [u8], Outside> {
        let start = offset as usize;
        let end = start.checked_add(length).ok_or(Outside)?;
        self.bytes.get_mut(start..end).ok_or(Outside)
    }
}

impl Default for RamFlash {
    fn default() -> RamFlash {
        RamFlash::new()
    }
}

impl ErrorType for RamFlash {
    type Error = Outside;
}

impl ReadNorFlash for RamFlash {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Outside> {
        let length = bytes.len();
        let part = self.part(offset, length)?;
        bytes.iter_mut().zip(part).for_each(|(slot, byte)| *slot = *byte);
        Ok(())
    }

    fn capacity(&self) -> usize {
        PAGE_BYTES * PAGE_COUNT
    }
}

impl NorFlash for RamFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Outside> {
        let length = to.checked_sub(from).ok_or(Outside)?;
        self.part(from, length as usize)?.fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Outside> {
        let part = self.part(offset, bytes.len())?;
        part.iter_mut().zip(bytes).for_each(|(slot, byte)| *slot &= *byte);
        Ok(())
    }
}
