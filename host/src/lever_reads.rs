//! From stored readings of levers to what the analysis takes: each with its lever's terms and marks.
//!
//! The store holds calibrations, checks and the clocks of the levers met;
//! [`crate::calibration::standing`] decides. Deliberately not here: SQL, and any decision.

use std::collections::BTreeMap;
use std::sync::Arc;

use crate::analysis::readings::LeverRead;
use crate::calibration::mark::LeverMark;
use crate::calibration::record::CalibrationRecord;
use crate::calibration::standing::{LeverStanding, Taken};
use crate::store::{KnownLog, LeverReading, Store, StoreError, Survey};

/// What is known of some levers.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Levers {
    standings: BTreeMap<u64, LeverStanding>,
    logs: Vec<KnownLog>,
}

/// A lever and calibration that readings were taken with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeverUse {
    /// Device identity.
    pub device: u64,
    /// Number of its calibration; 0 for none.
    pub calibration: u32,
    /// When that was made, milliseconds since 1970-01-01 UTC; `None` when it is not in this store.
    pub made_ms: Option<i64>,
    /// When it is due, likewise.
    pub due_ms: Option<i64>,
    /// Readings taken with both.
    pub reading_count: usize,
}

impl Levers {
    /// What the store knows of these levers.
    ///
    /// # Errors
    /// When the store fails, or holds what is no calibration or check.
    pub fn of(store: &Store, devices: impl IntoIterator<Item = u64>) -> Result<Levers, StoreError> {
        let mut standings = BTreeMap::new();
        for device in devices {
            if standings.contains_key(&device) {
                continue;
            }
            let checks = store.checks_of(device)?.iter().map(|check| check.fact()).collect();
            standings.insert(device, LeverStanding::new(store.calibrations_of(device)?, checks));
        }
        Ok(Levers { standings, logs: store.known_logs()? })
    }

    /// What the store knows of every lever that has a calibration.
    ///
    /// # Errors
    /// As [`Levers::of`].
    pub fn of_all(store: &Store) -> Result<Levers, StoreError> {
        Levers::of(store, store.calibrated_levers()?)
    }

    /// What it knows of the levers behind some readings.
    ///
    /// # Errors
    /// As [`Levers::of`].
    pub fn behind(store: &Store, readings: &[LeverReading]) -> Result<Levers, StoreError> {
        Levers::of(store, readings.iter().map(|reading| reading.device))
    }

    /// When a reading of a survey was taken: by its lever's clock and calendar, else when the
    /// survey was begun. Milliseconds since 1970-01-01 UTC.
    pub fn taken_ms(&self, stored: &LeverReading, survey: &Survey) -> Option<i64> {
        self.clock_ms(stored).or_else(|| calendar_ms(&survey.started))
    }

    /// The same by the lever's clock alone; `None` when the lever was never met.
    pub fn clock_ms(&self, stored: &LeverReading) -> Option<i64> {
        let of = |log: &&KnownLog| (log.device, log.epoch) == (stored.device, stored.epoch);
        let started_us = stored.reading.started.microseconds();
        self.logs.iter().find(of).map(|log| log.calendar_of(started_us))
    }

    /// Why the lever behind a reading of a survey is to be doubted.
    pub fn marks(&self, stored: &LeverReading, survey: &Survey) -> Vec<LeverMark> {
        let taken = Taken::of(&stored.reading, self.taken_ms(stored, survey));
        match self.standings.get(&stored.device) {
            Some(standing) => standing.marks(&taken),
            None => LeverStanding::default().marks(&taken),
        }
    }

    /// A reading as the analysis takes it; `None` when it counts for no pin.
    pub fn read(&self, stored: &LeverReading, survey: &Survey) -> Option<LeverRead> {
        let reading = stored.counted()?;
        let terms = match self.standings.get(&stored.device) {
            Some(standing) => standing.terms(reading.calibration),
            None => LeverStanding::default().terms(reading.calibration),
        };
        Some(LeverRead { reading, terms: Arc::clone(&terms), marks: self.marks(stored, survey) })
    }

    /// How each lever would stand to a reading taken now with that calibration.
    pub fn marks_now(&self, device: u64, calibration: u32, now_ms: i64) -> Vec<LeverMark> {
        match self.standings.get(&device) {
            Some(standing) => standing.marks_now(calibration, now_ms),
            None => LeverStanding::default().marks_now(calibration, now_ms),
        }
    }
}

/// Levers and calibrations that readings were taken with, in order of device and number.
///
/// # Errors
/// When the store fails, or holds what is no calibration.
pub fn uses_of(store: &Store, readings: &[LeverReading]) -> Result<Vec<LeverUse>, StoreError> {
    let mut counts: BTreeMap<(u64, u32), usize> = BTreeMap::new();
    for stored in readings.iter().filter(|stored| stored.pin.is_some()) {
        *counts.entry((stored.device, stored.reading.calibration)).or_default() += 1;
    }
    let mut uses = Vec::new();
    for ((device, number), reading_count) in counts {
        let kept: Option<CalibrationRecord> = match number {
            0 => None,
            number => store.calibration(device, number)?,
        };
        uses.push(LeverUse {
            device,
            calibration: number,
            made_ms: kept.as_ref().map(|record| record.made_ms),
            due_ms: kept.as_ref().map(|record| record.due_ms),
            reading_count,
        });
    }
    Ok(uses)
}

/// An ISO 8601 time, or the beginning of a day, as milliseconds since 1970-01-01 UTC.
fn calendar_ms(text: &str) -> Option<i64> {
    let time = text.parse::<jiff::Timestamp>().ok();
    let day = || {
        let date = text.parse::<jiff::civil::Date>().ok()?;
        format!("{date}T00:00:00Z").parse::<jiff::Timestamp>().ok()
    };
    time.or_else(day).map(jiff::Timestamp::as_millisecond)
}

#[cfg(test)]
mod tests {
    use super::calendar_ms;

    #[test]
    fn times_and_days_are_placed_in_the_calendar() {
        assert_eq!(calendar_ms("1970-01-01T00:00:01.500Z"), Some(1500));
        assert_eq!(calendar_ms("1970-01-02"), Some(86_400_000));
        assert_eq!(calendar_ms("soon"), None);
    }
}
