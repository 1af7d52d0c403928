//! The board's flash: NOR memory kept in a file.
//!
//! The board reaches the file over semihosting, the harness directly, both through [`FileBytes`];
//! what makes it NOR memory is here once. The file is the flash byte for byte, so what it holds
//! outlives resets and the emulator.
//!
//! Deliberately not here: the log ([`pinhold_lever::log::flash`]), wear, and torn words: a write of
//! up to [`WRITE_BYTES_MAX`] is done whole or not at all, since killing the emulator does not stop
//! the system in the middle of one.
//!
//! Invariants: a write only clears bits; an erase sets them; nothing is kept in memory.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use pinhold_lever::log::flash::PAGE_COUNT_DEFAULT;
use pinhold_lever::log::{FlashLog, RecordBuffer, RecordLog};
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX, RECORD_VERSION};
use pinhold_protocol::units::DeviceTime;

/// The file's name, in the folder the emulator runs in.
pub const FILE_NAME: &str = "lever-flash.bin";
/// Bytes of a page, as in an nRF52840.
pub const PAGE_BYTES: usize = 4096;
/// Pages: three of state and those of records.
pub const PAGE_COUNT: usize = 3 + PAGE_COUNT_DEFAULT;
/// Length of the file, bytes: 256 KiB.
pub const FLASH_BYTES: usize = PAGE_COUNT * PAGE_BYTES;
/// Bytes of a word.
pub const WORD_BYTES: usize = 4;
/// Bytes written in one go.
pub const WRITE_BYTES_MAX: usize = 32;
/// Bytes erased in one go: an erase can be cut short between two of them.
const ERASE_BYTES: usize = 512;
/// Records looked at for the time, newest first: those lost have none.
const CLOCK_RECORD_COUNT_MAX: u32 = 8;

const _: () = assert!(PAGE_BYTES.is_multiple_of(ERASE_BYTES));

/// The log this board keeps in it.
pub type Log<B> = FlashLog<FileFlash<B>, PAGE_COUNT_DEFAULT>;

/// Reads and writes a file of [`FLASH_BYTES`] at any place.
pub trait FileBytes {
    /// Fills `bytes` from `offset` on; `false` when that cannot be done.
    fn read_at(&mut self, offset: u32, bytes: &mut [u8]) -> bool;

    /// Writes `bytes` from `offset` on; `false` when that cannot be done.
    fn write_at(&mut self, offset: u32, bytes: &[u8]) -> bool;
}

/// NOR memory in a file of [`FLASH_BYTES`].
#[derive(Clone, Debug)]
pub struct FileFlash<B> {
    file: B,
}

impl<B: FileBytes> FileFlash<B> {
    /// The flash in a file that has the right length.
    pub const fn new(file: B) -> FileFlash<B> {
        FileFlash { file }
    }

    /// Makes a new file the flash as it comes from the maker: all bits set. `false` when that
    /// cannot be done.
    ///
    /// The last byte is written first, so that a file left half made has its length all the same;
    /// the log does not depend on what a page it never erased holds.
    pub fn make(mut file: B) -> Option<FileFlash<B>> {
        let last = FLASH_BYTES as u32 - 1;
        if !file.write_at(last, &[0xff]) {
            return None;
        }
        let mut flash = FileFlash { file };
        flash.erase(0, FLASH_BYTES as u32).ok()?;
        Some(flash)
    }
}

impl<B> FileFlash<B> {
    /// The file.
    pub fn into_file(self) -> B {
        self.file
    }
}

impl<B> ErrorType for FileFlash<B> {
    type Error = NorFlashErrorKind;
}

impl<B: FileBytes> ReadNorFlash for FileFlash<B> {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        check_read(self, offset, bytes.len())?;
        if self.file.read_at(offset, bytes) { Ok(()) } else { Err(NorFlashErrorKind::Other) }
    }

    fn capacity(&self) -> usize {
        FLASH_BYTES
    }
}

impl<B: FileBytes> NorFlash for FileFlash<B> {
    const WRITE_SIZE: usize = WORD_BYTES;
    const ERASE_SIZE: usize = PAGE_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        check_erase(self, from, to)?;
        for offset in (from..to).step_by(ERASE_BYTES) {
            if !self.file.write_at(offset, &[0xff; ERASE_BYTES]) {
                return Err(NorFlashErrorKind::Other);
            }
        }
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        check_write(self, offset, bytes.len())?;
        let mut at = offset;
        for part in bytes.chunks(WRITE_BYTES_MAX) {
            let mut room = [0; WRITE_BYTES_MAX];
            let cells = room.get_mut(..part.len()).unwrap_or(&mut []);
            if !self.file.read_at(at, cells) {
                return Err(NorFlashErrorKind::Other);
            }
            cells.iter_mut().zip(part).for_each(|(cell, byte)| *cell &= byte);
            if !self.file.write_at(at, cells) {
                return Err(NorFlashErrorKind::Other);
            }
            at = at.saturating_add(part.len() as u32);
        }
        Ok(())
    }
}

/// Where the board's clock starts: behind everything its records tell of, so that time does not go
/// back from one record to the next over a restart. Time without a reading may pass twice; records
/// are ordered by number all the same.
pub fn clock_start(log: &mut impl RecordLog) -> DeviceTime {
    let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
    let next_number = log.next_number();
    let oldest = log.oldest_number().max(next_number.saturating_sub(CLOCK_RECORD_COUNT_MAX));
    for number in (oldest..next_number).rev() {
        let Some(stored) = log.get(number, &mut buffer) else { continue };
        let bytes = buffer.get(..stored.byte_count).unwrap_or(&[]);
        if let Some((started, duration_ms)) = times_of(bytes) {
            let duration_us = u64::from(duration_ms).saturating_add(1) * 1000;
            let end_us = started.microseconds().saturating_add(duration_us);
            return DeviceTime::from_microseconds(end_us);
        }
    }
    DeviceTime::default()
}

/// Start and duration of the reading in a record: its first fields, since reading it whole takes
/// the board three kilobytes of code. `None` where the record is of another kind.
fn times_of(record: &[u8]) -> Option<(DeviceTime, u32)> {
    let (version, body) = record.split_first()?;
    if *version != RECORD_VERSION {
        return None;
    }
    let head = postcard::take_from_bytes::<(u64, Pin, DeviceTime, u32)>(body);
    head.ok().map(|((_survey, _pin, started, duration_ms), _rest)| (started, duration_ms))
}

#[cfg(test)]
mod tests;
