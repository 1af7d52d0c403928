//! Levers met: how each was when it was last seen.
//!
//! A log is a lever's device identity and epoch. Deliberately not here: its records (`records`),
//! and whether a lever's history is the one stored (the link's session compares them).

use pinhold_protocol::message::Hello;
use rusqlite::{Row, TransactionBehavior, params};

use super::Store;
use super::codes::{as_signed, as_unsigned};
use super::error::{Doing, StoreError};
use super::lever::lever_id;

/// A log as it is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownLog {
    /// Device identity.
    pub device: u64,
    /// Log epoch.
    pub epoch: u32,
    /// When its lever was first and last seen, ISO 8601.
    pub first_seen: String,
    /// See `first_seen`.
    pub last_seen: String,
    /// The host's calendar then, ms since 1970-01-01 UTC.
    pub calendar_ms: u64,
    /// The lever's clock then, µs.
    pub device_us: u64,
    /// Its firmware.
    pub firmware: String,
    /// Number of its calibration.
    pub calibration: u32,
    /// Number its next record would get.
    pub lever_next: u32,
}

impl KnownLog {
    /// A moment on the lever's clock as calendar time, ms since 1970-01-01 UTC, by the two clocks
    /// at the last contact. The lever's crystal is taken as exact.
    pub fn calendar_of(&self, device_us: u64) -> i64 {
        let offset_ms = i128::from(self.calendar_ms) - i128::from(self.device_us / 1000);
        i64::try_from(offset_ms + i128::from(device_us / 1000)).unwrap_or(i64::MAX)
    }
}

/// A greeting, and when it came.
#[derive(Clone, Copy, Debug)]
pub struct Contact<'a> {
    /// What the lever said.
    pub hello: &'a Hello,
    /// When, ISO 8601.
    pub seen: &'a str,
    /// When, ms since 1970-01-01 UTC.
    pub calendar_ms: u64,
}

impl Store {
    /// Every log known here, the one seen last at the end.
    ///
    /// # Errors
    /// When the database fails.
    pub fn known_logs(&self) -> Result<Vec<KnownLog>, StoreError> {
        let doing = "list the levers";
        let sql = format!("{SELECT} ORDER BY last_seen, device, epoch");
        let mut statement = self.connection.prepare(&sql).doing(doing)?;
        let rows = statement.query_map([], known_from).doing(doing)?;
        rows.collect::<Result<_, _>>().doing(doing)
    }

    /// Notes that a lever was met.
    ///
    /// # Errors
    /// When the database fails.
    pub fn note_lever(&mut self, contact: &Contact<'_>) -> Result<(), StoreError> {
        let doing = "note a lever";
        let hello = contact.hello;
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let lever = lever_id(&transaction, hello.device)?;
        let [major, minor, patch] = hello.firmware;
        transaction
            .execute(
                "INSERT INTO lever_log (lever_id, epoch, first_seen, last_seen, calendar_ms,
                     device_us, firmware, calibration, lever_oldest, lever_next, lever_floor)
                 VALUES (?1, ?2, ?3, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
                 ON CONFLICT (lever_id, epoch) DO UPDATE SET last_seen = excluded.last_seen,
                     calendar_ms = excluded.calendar_ms, device_us = excluded.device_us,
                     firmware = excluded.firmware, calibration = excluded.calibration,
                     lever_oldest = excluded.lever_oldest, lever_next = excluded.lever_next,
                     lever_floor = excluded.lever_floor",
                params![
                    lever,
                    hello.epoch,
                    contact.seen,
                    as_signed(contact.calendar_ms),
                    as_signed(hello.now.microseconds()),
                    format!("{major}.{minor}.{patch}"),
                    hello.calibration,
                    hello.oldest_record,
                    hello.next_record,
                    hello.committed_floor,
                ],
            )
            .doing(doing)?;
        transaction.commit().doing(doing)
    }
}

const SELECT: &str =
    "SELECT device, epoch, first_seen, last_seen, calendar_ms, device_us, firmware,
     calibration, lever_next FROM lever_log JOIN lever ON lever.id = lever_id";

fn known_from(row: &Row<'_>) -> Result<KnownLog, rusqlite::Error> {
    Ok(KnownLog {
        device: as_unsigned(row.get(0)?),
        epoch: row.get(1)?,
        first_seen: row.get(2)?,
        last_seen: row.get(3)?,
        calendar_ms: as_unsigned(row.get(4)?),
        device_us: as_unsigned(row.get(5)?),
        firmware: row.get(6)?,
        calibration: row.get(7)?,
        lever_next: row.get(8)?,
    })
}
