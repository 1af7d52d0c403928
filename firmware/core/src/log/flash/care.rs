//! What the log takes care of, each rule by name, so that a test can leave one out and see that
//! the loss it guards against is then found. Constants: leaving nothing out costs nothing.
//!
//! Invariant: everything but [`Careful`] belongs in tests.

/// Rules of the log. Each is kept unless said otherwise.
pub trait Care {
    /// What was written is read back before anybody is told of it.
    const READS_BACK: bool = true;
    /// A number is used up as soon as a bit of its record may be in flash.
    const BURNS_NUMBERS: bool = true;
    /// A record's own checksum is checked before it is handed out.
    const CHECKS_RECORDS: bool = true;
    /// A page is written only in the power-up in which it was opened.
    const SEALS_AT_POWER_UP: bool = true;
    /// After a write that failed, the page is written no more.
    const SEALS_AFTER_FAILURE: bool = true;
    /// A page is erased before it is opened, however erased it looks.
    const ERASES_BEFORE_USE: bool = true;
    /// Only pages wholly below the committed floor are erased.
    const ERASES_BELOW_FLOOR: bool = true;
    /// A commit counts only when it is in flash.
    const COMMITS_TO_FLASH: bool = true;
    /// A commit must quote the log's own chain value.
    const CHECKS_CHAIN: bool = true;
    /// No write is begun after the warning that power is failing.
    const HEEDS_WARNING: bool = true;
    /// A record that cannot be read is answered for as lost.
    const TELLS_LOSS: bool = true;
    /// State goes to a page that does not hold the newest whole state.
    const ALTERNATES_STATE: bool = true;
    /// The last record before a power-up is written again: its last bits may be weak.
    const REWRITES_LAST: bool = true;
    /// A log that finds nothing of its own, or is wiped, starts an epoch above any it sees.
    const RAISES_EPOCH: bool = true;
}

/// Every rule kept.
#[derive(Clone, Copy, Debug, Default)]
pub struct Careful;

impl Care for Careful {}
