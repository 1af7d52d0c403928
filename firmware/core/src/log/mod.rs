//! Records kept until a host has committed them.
//!
//! Numbers rise by one and are never reused within an epoch. A record stays readable after its
//! commit until its room is needed. [`FlashLog`] keeps them in flash and loses nothing to a power
//! cut; [`RamLog`] is for boards that have no flash to spare, and their documentation says so.
//!
//! Deliberately not here: what a record says ([`pinhold_protocol::record`]).
//!
//! Invariants: a record is only acknowledged when it is kept as well as the log can keep it; a
//! commit only counts when it names this epoch and quotes the chain value the log itself has at
//! that floor; every number from the oldest to the next is answered for, if only as lost.

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Commit;
use pinhold_protocol::record::RECORD_BYTES_MAX;

pub mod flash;
mod ram;

pub use flash::FlashLog;
pub use flash::format::SETTINGS_BYTES_MAX;
pub use ram::{RECORD_COUNT_MAX, RamLog};

/// Room for any record.
pub type RecordBuffer = [u8; RECORD_BYTES_MAX];

/// One stored record, without its bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stored {
    /// Its number.
    pub number: u32,
    /// Its checksum, see [`pinhold_protocol::record::record_checksum`].
    pub checksum: u32,
    /// Its length, bytes.
    pub byte_count: usize,
}

/// What a self-test wants to know.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Health {
    /// Writes and erases that failed since power-up.
    pub failed_count: u32,
    /// A later firmware's format stands in the flash: it is read as far as it goes, and not
    /// written.
    pub newer_format: bool,
    /// There is room for state and records.
    pub large_enough: bool,
}

/// Keeps records.
pub trait RecordLog {
    /// Epoch.
    fn epoch(&self) -> u32;

    /// Oldest readable number; equal to the next number when empty.
    fn oldest_number(&self) -> u32;

    /// Number the next record gets.
    fn next_number(&self) -> u32;

    /// First number not committed, and the chain value below it.
    fn committed(&self) -> (u32, u32);

    /// Whether another record of any size has room.
    fn has_room(&self) -> bool;

    /// Whether a reading of any size and the record of its trace have room.
    fn has_room_for_pin(&self) -> bool;

    /// Readings with their traces there is room for at least, once the log has erased what it may.
    fn room_count(&self) -> u32;

    /// Makes room for the next record where that can be done; may stop the machine for as long as
    /// a few pages take to erase, so it is only called between pins.
    fn make_room(&mut self);

    /// Keeps a record; `None` when it could not be kept, in which case nobody is told of it.
    fn push(&mut self, bytes: &[u8]) -> Option<Stored>;

    /// Reads the record with this number into `buffer`. Every number from the oldest up to the
    /// next has one; where it cannot be read, it is the record of its loss
    /// ([`pinhold_protocol::lost`]).
    fn get(&mut self, number: u32, buffer: &mut RecordBuffer) -> Option<Stored>;

    /// Takes a host's word that it has everything below `commit.floor` on its disk.
    /// [`CommandResult::PinMoving`] says that the word cannot be kept before
    /// [`RecordLog::make_room`] was called.
    fn commit(&mut self, commit: Commit) -> CommandResult;

    /// How the log is.
    fn health(&self) -> Health;

    /// Calibration and settings, read into `buffer`: their length, bytes. `None` when there are
    /// none, they cannot be read, or `buffer` is too small.
    fn settings(&mut self, buffer: &mut [u8]) -> Option<usize>;

    /// Replaces calibration and settings; `true` when they are kept as well as the log can keep
    /// them. Erases a page: only between pins. At most [`SETTINGS_BYTES_MAX`] bytes.
    fn store_settings(&mut self, bytes: &[u8]) -> bool;

    /// Power is about to fail (`true`) or is good again: no write is begun in between.
    fn set_power_failing(&mut self, failing: bool);
}

/// What a log answers to a commit; `chain_at` gives its own chain value below a number.
fn judge_commit(
    log: &mut impl RecordLog,
    commit: Commit,
    chain_at: Option<u32>,
) -> Result<(), CommandResult> {
    if commit.epoch != log.epoch() {
        return Err(CommandResult::CommitMismatch);
    }
    let (floor, floor_chain) = log.committed();
    let known = if commit.floor == floor { Some(floor_chain) } else { chain_at };
    match known {
        None => Err(CommandResult::NoSuchRecord),
        Some(chain) if chain != commit.chain => Err(CommandResult::CommitMismatch),
        // An old commit that arrives late says nothing new and takes nothing back.
        Some(_) if commit.floor <= floor => Err(CommandResult::Done),
        Some(_) => Ok(()),
    }
}
