//! Calibrations of levers, whole and as they were made.
//!
//! Deliberately not here: what follows from one for a reading ([`crate::calibration`]).
//!
//! Invariant: what is kept comes back equal; what does not is refused before it is stored.

use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::Store;
use super::codes::{as_signed, as_unsigned};
use super::error::{Doing, StoreError};
use super::lever::lever_id;
use crate::calibration::possible::impossible_calibration;
use crate::calibration::record::CalibrationRecord;

/// A calibration, for messages.
const WHAT: &str = "a calibration";

impl Store {
    /// Keeps a calibration; one that is stored already is left as it is.
    ///
    /// # Errors
    /// [`StoreError::CalibrationExists`] when another one has its number,
    /// [`StoreError::NotStorable`] when it would not come back as it is, and when the database
    /// fails.
    pub fn keep_calibration(&mut self, record: &CalibrationRecord) -> Result<(), StoreError> {
        let doing = "store a calibration";
        let document = document_of(record, WHAT)?;
        if let Some(why) = impossible_calibration(record) {
            return Err(StoreError::NotStorable { what: WHAT, why });
        }
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let lever = lever_id(&transaction, record.lever)?;
        let (coldest, warmest) = record.result.terms.temperature_c.unzip();
        if let Some(stored) = document_at(&transaction, lever, record.number)? {
            return match stored == document {
                true => Ok(()),
                false => Err(StoreError::CalibrationExists {
                    device: record.lever,
                    number: record.number,
                }),
            };
        }
        transaction
            .execute(
                "INSERT INTO calibration (lever_id, number, made_ms, due_ms,
                     coldest_centi_celsius, warmest_centi_celsius, version, document)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
                params![
                    lever,
                    record.number,
                    record.made_ms,
                    record.due_ms,
                    coldest.map(centi),
                    warmest.map(centi),
                    record.version,
                    document,
                ],
            )
            .doing(doing)?;
        transaction.commit().doing(doing)
    }

    /// A calibration by its lever and number; `None` when it is not here.
    ///
    /// # Errors
    /// When the database fails or holds what is no calibration.
    pub fn calibration(
        &self,
        device: u64,
        number: u32,
    ) -> Result<Option<CalibrationRecord>, StoreError> {
        let found = self.calibrations_where("AND number = ?2", device, number)?;
        Ok(found.into_iter().next())
    }

    /// Every calibration of a lever, the first made first.
    ///
    /// # Errors
    /// As [`Store::calibration`].
    pub fn calibrations_of(&self, device: u64) -> Result<Vec<CalibrationRecord>, StoreError> {
        self.calibrations_where("AND ?2 = 0 ORDER BY made_ms, number", device, 0)
    }

    /// The calibration of a lever made last; `None` when there is none.
    ///
    /// # Errors
    /// As [`Store::calibration`].
    pub fn latest_calibration(&self, device: u64) -> Result<Option<CalibrationRecord>, StoreError> {
        let order = "AND ?2 = 0 ORDER BY made_ms DESC, number DESC LIMIT 1";
        Ok(self.calibrations_where(order, device, 0)?.into_iter().next())
    }

    /// The number the next calibration of a lever gets: above every one it is known to have had,
    /// here or, by what it said of itself and its readings, at another computer.
    ///
    /// # Errors
    /// When the database fails, or the numbers are used up.
    pub fn next_calibration_number(&self, device: u64) -> Result<u32, StoreError> {
        let highest: i64 = self
            .connection
            .query_row(
                "SELECT max(number) FROM (
                     SELECT 0 AS number
                     UNION ALL SELECT number FROM calibration JOIN lever ON lever.id = lever_id
                         WHERE device = ?1
                     UNION ALL SELECT calibration FROM lever_log JOIN lever ON lever.id = lever_id
                         WHERE device = ?1
                     UNION ALL SELECT calibration FROM reading JOIN lever ON lever.id = lever_id
                         WHERE device = ?1)",
                [as_signed(device)],
                |row| row.get(0),
            )
            .doing("number a calibration")?;
        u32::try_from(highest).ok().and_then(|number| number.checked_add(1)).ok_or_else(|| {
            StoreError::Corrupt { what: "a calibration's number", value: highest.to_string() }
        })
    }

    /// Devices that have a calibration here, in order.
    ///
    /// # Errors
    /// When the database fails.
    pub fn calibrated_levers(&self) -> Result<Vec<u64>, StoreError> {
        let doing = "list the calibrated levers";
        let mut statement = self
            .connection
            .prepare(
                "SELECT device FROM lever WHERE id IN (SELECT lever_id FROM calibration)
                 ORDER BY id",
            )
            .doing(doing)?;
        let rows = statement.query_map([], |row| row.get(0).map(as_unsigned)).doing(doing)?;
        rows.collect::<Result<_, _>>().doing(doing)
    }

    fn calibrations_where(
        &self,
        condition: &str,
        device: u64,
        number: u32,
    ) -> Result<Vec<CalibrationRecord>, StoreError> {
        let doing = "read a calibration";
        let sql = format!(
            "SELECT device, number, document FROM calibration JOIN lever ON lever.id = lever_id
             WHERE device = ?1 {condition}"
        );
        let mut statement = self.connection.prepare(&sql).doing(doing)?;
        let rows = statement
            .query_map(params![as_signed(device), number], |row| Ok(record_from(row)))
            .doing(doing)?;
        rows.map(|row| row.doing(doing)?).collect()
    }
}

/// One row; the document must be of the lever and number it stands under.
fn record_from(row: &Row<'_>) -> Result<CalibrationRecord, StoreError> {
    let doing = "read a calibration";
    let device: i64 = row.get(0).doing(doing)?;
    let number: i64 = row.get(1).doing(doing)?;
    let text: String = row.get(2).doing(doing)?;
    let record: CalibrationRecord = from_document(&text, WHAT)?;
    let stands = record.lever == as_unsigned(device) && i64::from(record.number) == number;
    if stands && impossible_calibration(&record).is_none() {
        Ok(record)
    } else {
        Err(corrupt(WHAT, &text))
    }
}

fn document_at(
    connection: &Connection,
    lever: i64,
    number: u32,
) -> Result<Option<String>, StoreError> {
    connection
        .query_row(
            "SELECT document FROM calibration WHERE lever_id = ?1 AND number = ?2",
            params![lever, number],
            |row| row.get(0),
        )
        .optional()
        .doing("read a calibration")
}

/// A record as JSON; refused when it would come back as another one, as a number that is none
/// does.
pub(super) fn document_of<T: Serialize + DeserializeOwned + PartialEq>(
    record: &T,
    what: &'static str,
) -> Result<String, StoreError> {
    let refused = StoreError::NotStorable { what, why: "a number that is none" };
    let Ok(text) = serde_json::to_string(record) else { return Err(refused) };
    match serde_json::from_str::<T>(&text) {
        Ok(back) if back == *record => Ok(text),
        _ => Err(refused),
    }
}

/// Back from JSON, which anything may have written.
pub(super) fn from_document<T: DeserializeOwned>(
    text: &str,
    what: &'static str,
) -> Result<T, StoreError> {
    serde_json::from_str(text).map_err(|_| corrupt(what, text))
}

pub(super) fn corrupt(what: &'static str, text: &str) -> StoreError {
    StoreError::Corrupt { what, value: text.chars().take(80).collect() }
}

/// A temperature as the tables hold it; one beyond every bench ends at the column's range.
pub(super) fn centi(celsius: f64) -> i64 {
    (celsius * 100.0).round() as i64
}
