//! What stands in flash: entries of one granule each, some with a body behind them.
//!
//! The format is written down in `firmware/core/flash.md`, with byte examples a test executes.
//! Deliberately not here: where entries stand and in which order they are written.
//!
//! Invariant: an entry whose checksum is wrong says nothing at all.

use pinhold_protocol::CRC32;
use pinhold_protocol::record::RECORD_BYTES_MAX;

/// Bytes of a granule, the unit of reading and writing: a whole number of words of any flash with
/// words of 1 to 32 bytes, so that the format does not depend on the word.
pub const GRANULE_BYTES: usize = 32;
/// One granule.
pub type Granule = [u8; GRANULE_BYTES];
/// What a granule is that was erased and not written since.
pub const BLANK: Granule = [0xff; GRANULE_BYTES];
/// First two bytes of every entry, little-endian.
pub const MAGIC: u16 = 0x4c50;
/// Version of this format.
pub const FORMAT_VERSION: u8 = 1;
/// Longest settings, bytes.
pub const SETTINGS_BYTES_MAX: usize = 512;

const KIND_LOG_PAGE: u8 = 1;
const KIND_STATE_PAGE: u8 = 2;
const KIND_RECORD: u8 = 3;
const KIND_MARK: u8 = 4;
const KIND_SETTINGS: u8 = 5;
const KIND_VOID: u8 = 6;

/// First entry of a page of records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LogPage {
    /// Log epoch.
    pub epoch: u32,
    /// Rises by at least one from page to page; never 0.
    pub sequence: u32,
    /// Number its first record has or would have.
    pub first_number: u32,
    /// Chain value below that number.
    pub chain: u32,
    /// Device identity.
    pub device: u64,
}

/// First entry of a page of state.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StatePage {
    /// Log epoch.
    pub epoch: u32,
    /// Rises by one from page to page; never 0.
    pub sequence: u32,
    /// Highest sequence a page of records may have by now.
    pub record_sequence: u32,
    /// Device identity.
    pub device: u64,
}

/// Head of a record; its bytes follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RecordHead {
    /// Log epoch.
    pub epoch: u32,
    /// Sequence of the page it stands in.
    pub page_sequence: u32,
    /// Record number.
    pub number: u32,
    /// Chain value below that number.
    pub chain: u32,
    /// Record checksum.
    pub checksum: u32,
    /// Length of the record, bytes.
    pub byte_count: u32,
}

/// How far things were when it was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Log epoch.
    pub epoch: u32,
    /// Sequence of the page it stands in.
    pub page_sequence: u32,
    /// First number no host has committed.
    pub floor: u32,
    /// Chain value below that floor.
    pub floor_chain: u32,
    /// Sequence of the newest page of records; 0 when there is none.
    pub opened_sequence: u32,
    /// Number the next record gets.
    pub next_number: u32,
}

/// Head of calibration and settings; their bytes follow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SettingsHead {
    /// Log epoch.
    pub epoch: u32,
    /// Sequence of the page it stands in.
    pub page_sequence: u32,
    /// CRC-32 of the bytes.
    pub checksum: u32,
    /// Length, bytes.
    pub byte_count: u32,
}

/// What stands in a page of records does not count any more, however it reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Void {
    /// Log epoch.
    pub epoch: u32,
    /// Sequence of the page it stands in.
    pub page_sequence: u32,
    /// The page, counted from the start of the flash.
    pub place: u32,
    /// Highest sequence that is void there.
    pub sequence: u32,
}

/// Any entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entry {
    /// First of a page of records.
    LogPage(LogPage),
    /// First of a page of state.
    StatePage(StatePage),
    /// Record.
    Record(RecordHead),
    /// Mark.
    Mark(Mark),
    /// Settings.
    Settings(SettingsHead),
    /// Void.
    Void(Void),
}

/// Why a granule is no entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoEntry {
    /// Every bit is set.
    Blank,
    /// A whole entry of a later format.
    Newer,
    /// Anything else.
    Damaged,
}

fn halves(wide: u64) -> [u32; 2] {
    [wide as u32, (wide >> 32) as u32]
}

fn wide([low, high]: [u32; 2]) -> u64 {
    u64::from(low) | u64::from(high) << 32
}

/// The granule of an entry.
pub fn encode(entry: &Entry) -> Granule {
    let (kind, epoch, fields) = match *entry {
        Entry::LogPage(page) => {
            let [low, high] = halves(page.device);
            let fields = [page.sequence, page.first_number, page.chain, low, high];
            (KIND_LOG_PAGE, page.epoch, fields)
        }
        Entry::StatePage(page) => {
            let [low, high] = halves(page.device);
            (KIND_STATE_PAGE, page.epoch, [page.sequence, page.record_sequence, 0, low, high])
        }
        Entry::Record(record) => {
            let RecordHead { page_sequence, number, chain, checksum, byte_count, .. } = record;
            (KIND_RECORD, record.epoch, [page_sequence, number, chain, checksum, byte_count])
        }
        Entry::Mark(mark) => {
            let Mark { page_sequence, floor, floor_chain, opened_sequence, .. } = mark;
            let fields = [page_sequence, floor, floor_chain, opened_sequence, mark.next_number];
            (KIND_MARK, mark.epoch, fields)
        }
        Entry::Settings(settings) => {
            let SettingsHead { page_sequence, checksum, byte_count, .. } = settings;
            (KIND_SETTINGS, settings.epoch, [page_sequence, checksum, byte_count, 0, 0])
        }
        Entry::Void(void) => {
            let Void { page_sequence, place, sequence, .. } = void;
            (KIND_VOID, void.epoch, [page_sequence, place, sequence, 0, 0])
        }
    };
    let [magic_low, magic_high] = MAGIC.to_le_bytes();
    let head = u32::from_le_bytes([magic_low, magic_high, FORMAT_VERSION, kind]);
    let [a, b, c, d, e] = fields;
    let mut granule = [0; GRANULE_BYTES];
    for (bytes, word) in granule.as_chunks_mut().0.iter_mut().zip([head, epoch, a, b, c, d, e]) {
        *bytes = word.to_le_bytes();
    }
    if let Some((body, checksum)) = granule.split_last_chunk_mut() {
        *checksum = CRC32.checksum(body).to_le_bytes();
    }
    granule
}

/// The entry of a granule.
///
/// # Errors
/// [`NoEntry`] when it is none.
pub fn decode(granule: &Granule) -> Result<Entry, NoEntry> {
    if *granule == BLANK {
        return Err(NoEntry::Blank);
    }
    let mut words = [0; GRANULE_BYTES / 4];
    for (word, bytes) in words.iter_mut().zip(granule.as_chunks().0) {
        *word = u32::from_le_bytes(*bytes);
    }
    let [head, epoch, a, b, c, d, e, checksum] = words;
    let body = granule.split_last_chunk::<4>().map_or(&[][..], |(body, _)| body);
    let [magic_low, magic_high, version, kind] = head.to_le_bytes();
    if CRC32.checksum(body) != checksum || u16::from_le_bytes([magic_low, magic_high]) != MAGIC {
        return Err(NoEntry::Damaged);
    }
    if version != FORMAT_VERSION {
        return Err(NoEntry::Newer);
    }
    let entry = match kind {
        KIND_LOG_PAGE => Entry::LogPage(LogPage {
            epoch,
            sequence: a,
            first_number: b,
            chain: c,
            device: wide([d, e]),
        }),
        KIND_STATE_PAGE => Entry::StatePage(StatePage {
            epoch,
            sequence: a,
            record_sequence: b,
            device: wide([d, e]),
        }),
        KIND_RECORD if (1..=RECORD_BYTES_MAX as u32).contains(&e) => Entry::Record(RecordHead {
            epoch,
            page_sequence: a,
            number: b,
            chain: c,
            checksum: d,
            byte_count: e,
        }),
        KIND_MARK => Entry::Mark(Mark {
            epoch,
            page_sequence: a,
            floor: b,
            floor_chain: c,
            opened_sequence: d,
            next_number: e,
        }),
        KIND_SETTINGS if c <= SETTINGS_BYTES_MAX as u32 => {
            Entry::Settings(SettingsHead { epoch, page_sequence: a, checksum: b, byte_count: c })
        }
        KIND_VOID => Entry::Void(Void { epoch, page_sequence: a, place: b, sequence: c }),
        _ => return Err(NoEntry::Damaged),
    };
    Ok(entry)
}

/// Granules a body of this many bytes takes.
pub fn body_granules(byte_count: u32) -> u16 {
    (byte_count as usize).div_ceil(GRANULE_BYTES).min(u16::MAX as usize) as u16
}
