//! The climate an instrument stood in: relative humidity and temperature over time.
//!
//! Deliberately not here: what wood makes of it ([`crate::analysis::history::wood`]).
//!
//! Invariant: a reading is never changed or deleted; one that was a mistake is withdrawn, and then
//! counts no more. Of one moment only one reading counts.

use rusqlite::{Connection, Row, TransactionBehavior, params};

use super::Store;
use super::codes::whole;
use super::error::{Doing, StoreError};
use super::instruments::InstrumentId;
use super::withdrawn::Withdrawable;

/// A reading of the air to be stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewClimate {
    /// When it was taken, ISO 8601.
    pub taken: String,
    /// The same, milliseconds since 1970-01-01 UTC.
    pub taken_ms: i64,
    /// Relative humidity, thousandths, 0 to 1000.
    pub humidity_permille: u16,
    /// Temperature, hundredths of a degree Celsius, −40 to 60 °C, when known.
    pub temperature_centi_celsius: Option<i32>,
    /// What read it. Free text, untrusted.
    pub source: String,
}

impl NewClimate {
    /// Thousandths of a humidity in percent, 0 to 100.
    pub fn permille_of(humidity_percent: f64) -> u16 {
        (humidity_percent * 10.0).round() as u16
    }

    /// Hundredths of a degree of a temperature in degrees Celsius, −40 to 60.
    pub fn centi_of(celsius: f64) -> i32 {
        (celsius * 100.0).round() as i32
    }

    /// Relative humidity, 0–1.
    pub fn humidity(&self) -> f64 {
        f64::from(self.humidity_permille) / 1000.0
    }

    /// Temperature, °C, when known.
    pub fn celsius(&self) -> Option<f64> {
        self.temperature_centi_celsius.map(|centi| f64::from(centi) / 100.0)
    }
}

/// A reading of the air as stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredClimate {
    /// Its number.
    pub number: i64,
    /// What was stored.
    pub new: NewClimate,
}

const ENTRIES: Withdrawable = Withdrawable {
    doing: "withdraw a climate reading",
    table: "climate_reading",
    withdrawn: "climate_withdrawn",
    entry: "climate_reading_id",
};

impl Store {
    /// Stores readings of the air round an instrument, all or none; tells how many were stored. One
    /// of a moment that has a reading already is left out.
    ///
    /// # Errors
    /// When a value is out of range, or the database fails.
    pub fn keep_climate(
        &mut self,
        instrument: InstrumentId,
        entered: &str,
        readings: &[NewClimate],
    ) -> Result<usize, StoreError> {
        let doing = "store climate readings";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let mut kept = 0;
        for reading in readings {
            if !has(&transaction, instrument, reading.taken_ms)? {
                insert(&transaction, instrument, entered, reading)?;
                kept += 1;
            }
        }
        transaction.commit().doing(doing)?;
        Ok(kept)
    }

    /// The readings of the air round an instrument that count, oldest first.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn climate_of(&self, instrument: InstrumentId) -> Result<Vec<StoredClimate>, StoreError> {
        let doing = "list climate readings";
        let sql = format!(
            "SELECT id, taken, taken_ms, humidity_permille, temperature_centi_celsius, source
             FROM climate_reading WHERE instrument_id = ?1 AND {} ORDER BY taken_ms, id",
            ENTRIES.counting()
        );
        let mut statement = self.connection.prepare(&sql).doing(doing)?;
        let rows = statement.query_map([instrument.0], |row| Ok(climate_from(row))).doing(doing)?;
        let mut readings = Vec::new();
        for row in rows {
            readings.push(row.doing(doing)??);
        }
        Ok(readings)
    }

    /// Withdraws a reading of the air that was a mistake.
    ///
    /// # Errors
    /// [`StoreError::NoSuchEntry`] when the instrument has none of that number that counts.
    pub fn withdraw_climate(
        &mut self,
        instrument: InstrumentId,
        number: i64,
        made: &str,
        reason: &str,
    ) -> Result<(), StoreError> {
        if ENTRIES.withdraw(&mut self.connection, (instrument, number), (made, reason))? {
            return Ok(());
        }
        Err(StoreError::NoSuchEntry { what: "climate reading", number })
    }
}

fn has(
    connection: &Connection,
    instrument: InstrumentId,
    taken_ms: i64,
) -> Result<bool, StoreError> {
    let sql = format!(
        "SELECT EXISTS (SELECT 1 FROM climate_reading
             WHERE instrument_id = ?1 AND taken_ms = ?2 AND {})",
        ENTRIES.counting()
    );
    connection
        .query_row(&sql, params![instrument.0, taken_ms], |row| row.get(0))
        .doing("look for a climate reading")
}

fn insert(
    connection: &Connection,
    instrument: InstrumentId,
    entered: &str,
    reading: &NewClimate,
) -> Result<(), StoreError> {
    connection
        .execute(
            "INSERT INTO climate_reading (instrument_id, entered, taken, taken_ms,
                 humidity_permille, temperature_centi_celsius, source)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            params![
                instrument.0,
                entered,
                reading.taken,
                reading.taken_ms,
                reading.humidity_permille,
                reading.temperature_centi_celsius,
                reading.source,
            ],
        )
        .doing("store a climate reading")?;
    Ok(())
}

fn climate_from(row: &Row<'_>) -> Result<StoredClimate, StoreError> {
    let doing = "read a climate reading";
    let number = |index: usize| row.get::<_, i64>(index).doing(doing);
    let temperature = row.get::<_, Option<i64>>(4).doing(doing)?;
    Ok(StoredClimate {
        number: number(0)?,
        new: NewClimate {
            taken: row.get(1).doing(doing)?,
            taken_ms: number(2)?,
            humidity_permille: whole(number(3)?, "a humidity")?,
            temperature_centi_celsius: temperature
                .map(|centi| whole(centi, "a temperature"))
                .transpose()?,
            source: row.get(5).doing(doing)?,
        },
    })
}
