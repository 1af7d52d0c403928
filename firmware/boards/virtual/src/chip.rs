//! The virtual board's flash: kept in memory, cloned to outlive a power cut.
//!
//! Deliberately not here: tearing and wear; `tests/flash` has a flash that does both.

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

/// Page of the chip, bytes.
pub const PAGE_BYTES: usize = 4096;

/// The chip; writes clear bits, erases set them.
#[derive(Clone, Debug)]
pub struct Chip {
    bytes: Vec<u8>,
}

impl Chip {
    /// A new one, all bits set.
    pub fn new(page_count: usize) -> Chip {
        Chip { bytes: vec![0xff; page_count * PAGE_BYTES] }
    }
}

impl ErrorType for Chip {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Chip {
    const READ_SIZE: usize = 4;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        let from = offset as usize;
        let found = self.bytes.get(from..from + bytes.len());
        bytes.copy_from_slice(found.ok_or(NorFlashErrorKind::OutOfBounds)?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Chip {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        let page = self.bytes.get_mut(from as usize..to as usize);
        page.ok_or(NorFlashErrorKind::OutOfBounds)?.fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        let from = offset as usize;
        let cells = self.bytes.get_mut(from..from + bytes.len());
        for (cell, byte) in cells.ok_or(NorFlashErrorKind::OutOfBounds)?.iter_mut().zip(bytes) {
            *cell &= byte;
        }
        Ok(())
    }
}
