//! A flash that does what it is told, in RAM; what a real one may do is tested elsewhere
//! (`tests/flash`).

use embedded_storage::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

/// Page of the chip, bytes.
const PAGE_BYTES: usize = 4096;

/// The chip.
#[derive(Clone, Debug)]
pub(crate) struct Chip {
    bytes: Vec<u8>,
    /// Writes and erases fail from now on.
    pub(crate) broken: bool,
}

impl Chip {
    pub(crate) fn new(page_count: usize) -> Chip {
        Chip { bytes: vec![0xff; page_count * PAGE_BYTES], broken: false }
    }

    fn check(&self) -> Result<(), NorFlashErrorKind> {
        if self.broken { Err(NorFlashErrorKind::Other) } else { Ok(()) }
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
        self.check()?;
        self.bytes[from as usize..to as usize].fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        self.check()?;
        for (cell, byte) in self.bytes[offset as usize..].iter_mut().zip(bytes) {
            *cell &= byte;
        }
        Ok(())
    }
}
