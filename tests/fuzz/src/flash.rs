//! The log over flash with anything in it.

use embedded_storage::nor_flash::{
    ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash, check_erase, check_read, check_write,
};
use pinhold_lever::log::flash::format::SETTINGS_BYTES_MAX;
use pinhold_lever::log::{FlashLog, RecordBuffer, RecordLog};
use pinhold_protocol::lost::decode_lost;
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::RECORD_BYTES_MAX;

use crate::Source;

/// Bytes of a page.
pub(crate) const PAGE_BYTES: usize = 1_024;
/// Pages.
const PAGE_COUNT: usize = 8;
/// Device of all these logs.
const DEVICE: u64 = 3;

/// Flash in memory, of words of four bytes.
#[derive(Clone, Debug)]
pub(crate) struct Memory(Vec<u8>);

impl Memory {
    pub(crate) fn new(page_count: usize) -> Memory {
        Memory(vec![0xff; page_count * PAGE_BYTES])
    }
}

impl ErrorType for Memory {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Memory {
    const READ_SIZE: usize = 1;

    fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), Self::Error> {
        check_read(self, offset, bytes.len())?;
        let from = offset as usize;
        bytes.copy_from_slice(&self.0[from..from + bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Memory {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE_BYTES;

    fn erase(&mut self, from: u32, to: u32) -> Result<(), Self::Error> {
        check_erase(self, from, to)?;
        self.0[from as usize..to as usize].fill(0xff);
        Ok(())
    }

    fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), Self::Error> {
        check_write(self, offset, bytes.len())?;
        let held = &mut self.0[offset as usize..][..bytes.len()];
        held.iter_mut().zip(bytes).for_each(|(held, byte)| *held &= byte);
        Ok(())
    }
}

type Log = FlashLog<Memory, PAGE_COUNT>;

/// What stands in a flash with a few records, as changes to a blank one.
pub fn seeds() -> Vec<Vec<u8>> {
    let mut log = Log::mount(Memory::new(PAGE_COUNT), DEVICE, 9);
    log.store_settings(&[7; 40]);
    for record in 0..6u8 {
        log.make_room();
        log.push(&[record; 90]);
    }
    let image = log.into_flash().0;
    let granule = 32;
    let mut changes = vec![0];
    for (place, bytes) in image.chunks(granule).enumerate() {
        if bytes.iter().any(|byte| *byte != 0xff) {
            changes.extend((place as u16).to_le_bytes());
            changes.push(granule as u8);
            changes.extend(bytes);
        }
    }
    vec![changes, vec![0]]
}

/// The first byte says what is done afterwards; then pieces: granule, length, bytes.
pub fn run(bytes: &[u8]) {
    outcome(bytes);
}

/// What became of a record kept in that flash, after another power-up: whether it is there, or told
/// as lost; `None` where none was kept. Anything else panics.
///
/// Only a flash that some history of this log can leave behind promises that it is there. In one
/// with pages of a forger's making the log may find, at the next power-up, that another page goes
/// before the one it wrote; then it tells the loss.
pub fn outcome(bytes: &[u8]) -> Option<bool> {
    let mut source = Source(bytes);
    let acts = source.byte();
    let mut memory = Memory::new(PAGE_COUNT);
    while !source.is_empty() {
        let granule = usize::from(u16::from_le_bytes([source.byte(), source.byte()]));
        let count = usize::from(source.byte());
        let piece = source.bytes(count);
        let from = (granule * 32) % memory.0.len();
        let end = (from + piece.len()).min(memory.0.len());
        memory.0[from..end].copy_from_slice(&piece[..end - from]);
    }
    let mut log = Log::mount(memory, DEVICE, 9);
    look(&mut log);
    let mut settings = [0; SETTINGS_BYTES_MAX];
    let _ = log.settings(&mut settings);
    if acts & 1 != 0 {
        log.store_settings(&settings[..40]);
    }
    let (floor, chain) = log.committed();
    let epoch = log.epoch();
    log.commit(Commit { epoch, floor: floor.wrapping_add(u32::from(acts >> 4)), chain });
    log.make_room();
    let record = [acts; 120];
    let stored = log.push(&record)?;
    let mut again = Log::mount(log.into_flash(), DEVICE, 11);
    let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
    let found = again.get(stored.number, &mut buffer);
    let is_there = found == Some(stored);
    match found {
        Some(_) if is_there => assert_eq!(&buffer[..stored.byte_count], &record),
        Some(other) => {
            assert_eq!(other.number, stored.number);
            assert!(decode_lost(&buffer[..other.byte_count]).is_ok(), "another record: {other:?}");
        }
        None => panic!("{stored:?} is not answered for"),
    }
    look(&mut again);
    Some(is_there)
}

/// Every number it answers for has an answer.
fn look(log: &mut Log) {
    let (oldest, next) = (log.oldest_number(), log.next_number());
    let (floor, _) = log.committed();
    assert!(oldest <= next && floor <= next, "{oldest} {floor} {next}");
    let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
    for number in (oldest..next).take(64) {
        assert!(log.get(number, &mut buffer).is_some(), "{number} of {oldest}..{next}");
    }
    assert_eq!(log.get(next, &mut buffer), None);
}
