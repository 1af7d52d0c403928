//! Quick checks of levers, as they were made.
//!
//! Deliberately not here: what a check says of readings ([`crate::calibration::standing`]).
//!
//! Invariant: a check stands under a calibration that is here.

use rusqlite::{Row, TransactionBehavior, params};

use super::Store;
use super::calibrations::{centi, corrupt, document_of, from_document};
use super::codes::{as_signed, as_unsigned};
use super::error::{Doing, StoreError};
use super::lever::lever_id;
use crate::calibration::check::CheckRecord;
use crate::calibration::possible::impossible_check;

/// A check, for messages.
const WHAT: &str = "a check of a lever";

impl Store {
    /// Keeps a check, passed or not.
    ///
    /// # Errors
    /// [`StoreError::NotStorable`] when it would not come back as it is; when its calibration is
    /// not here, and when the database fails.
    pub fn keep_check(&mut self, record: &CheckRecord) -> Result<(), StoreError> {
        let doing = "store a check";
        let document = document_of(record, WHAT)?;
        if let Some(why) = impossible_check(record) {
            return Err(StoreError::NotStorable { what: WHAT, why });
        }
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let lever = lever_id(&transaction, record.lever)?;
        let result = &record.result;
        transaction
            .execute(
                "INSERT INTO lever_check (lever_id, calibration_number, made_ms, zero_unm,
                     load_unm, load_u_unm, read_unm, temperature_centi_celsius, passed, version,
                     document)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
                params![
                    lever,
                    record.calibration,
                    record.made_ms,
                    micro(result.zero.difference_nm.value),
                    micro(result.load_nm.value),
                    micro(result.load_nm.u),
                    micro(result.read_nm.value),
                    record.temperature_c().map(centi),
                    i64::from(record.passed()),
                    record.version,
                    document,
                ],
            )
            .doing(doing)?;
        transaction.commit().doing(doing)
    }

    /// Every check of a lever, the first made first.
    ///
    /// # Errors
    /// When the database fails or holds what is no check.
    pub fn checks_of(&self, device: u64) -> Result<Vec<CheckRecord>, StoreError> {
        let doing = "read the checks of a lever";
        let mut statement = self
            .connection
            .prepare(
                "SELECT device, calibration_number, passed, document FROM lever_check
                     JOIN lever ON lever.id = lever_id
                 WHERE device = ?1 ORDER BY made_ms, lever_check.id",
            )
            .doing(doing)?;
        let rows =
            statement.query_map([as_signed(device)], |row| Ok(record_from(row))).doing(doing)?;
        rows.map(|row| row.doing(doing)?).collect()
    }
}

/// One row; the document must be of the lever, calibration and answer it stands under.
fn record_from(row: &Row<'_>) -> Result<CheckRecord, StoreError> {
    let doing = "read a check of a lever";
    let device: i64 = row.get(0).doing(doing)?;
    let calibration: i64 = row.get(1).doing(doing)?;
    let passed: i64 = row.get(2).doing(doing)?;
    let text: String = row.get(3).doing(doing)?;
    let record: CheckRecord = from_document(&text, WHAT)?;
    let stands = record.lever == as_unsigned(device)
        && i64::from(record.calibration) == calibration
        && i64::from(record.passed()) == passed;
    if stands && impossible_check(&record).is_none() {
        Ok(record)
    } else {
        Err(corrupt(WHAT, &text))
    }
}

/// A torque as the tables hold it; one beyond every lever ends at the column's range.
fn micro(torque_nm: f64) -> i64 {
    (torque_nm * 1e6).round() as i64
}
