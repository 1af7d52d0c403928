//! How a lever stood when it took a reading: the terms its number carries, and why it is to be
//! doubted.
//!
//! Pure: the store hands in what it holds, this decides. Deliberately not here: how the clock of a
//! lever is placed in the calendar, and what a reading's budget makes of the terms.
//!
//! Invariants: a check speaks for readings of the calibration it was held against alone; what is
//! not known marks nothing but itself (a calibration that is not here, never an overdue one).

use std::collections::BTreeMap;
use std::sync::Arc;

use pinhold_protocol::record::{Outcome, Reading};
use pinhold_protocol::units::Torque;

use super::check::Answer;
use super::mark::LeverMark;
use super::record::CalibrationRecord;
use super::terms::LeverTerms;

/// How far from the temperatures of its calibration a lever may read without a mark, kelvin (DER):
/// over this distance the class of drift, 2·10⁻⁴ per kelvin, moves the span by 0.1 %, a tenth of
/// what a calibrated lever claims.
pub const TEMPERATURE_MARGIN_K: f64 = 5.0;

/// What a check says of the readings beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct CheckFact {
    /// When, milliseconds since 1970-01-01 UTC.
    pub made_ms: i64,
    /// Number of the calibration it was held against.
    pub calibration: u32,
    /// What it said.
    pub answer: Answer,
}

/// What matters of a calibration for the readings that name it.
#[derive(Clone, Debug, PartialEq)]
struct Calibrated {
    terms: Arc<LeverTerms>,
    due_ms: i64,
}

/// What is known of one lever.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LeverStanding {
    calibrations: BTreeMap<u32, Calibrated>,
    /// In order of time.
    checks: Vec<CheckFact>,
}

/// What matters of a reading for its marks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Number of the calibration it names; 0 for none.
    pub calibration: u32,
    /// When, milliseconds since 1970-01-01 UTC; `None` when nobody knows.
    pub at_ms: Option<i64>,
    /// Lever temperature, °C.
    pub temperature_c: f64,
    /// Largest torque that counts in it, N·m, magnitude; `None` when it tells none.
    pub torque_max_nm: Option<f64>,
}

impl Taken {
    /// Of a lever's record, taken at `at_ms`.
    pub fn of(reading: &Reading, at_ms: Option<i64>) -> Taken {
        Taken {
            calibration: reading.calibration,
            at_ms,
            temperature_c: f64::from(reading.temperature_centi_celsius) / 100.0,
            torque_max_nm: torque_max_nm(reading),
        }
    }
}

/// The largest torque a reading rests on. A peak counts only where the peak is the reading: every
/// stroke passes through one, and it is no part of running torque.
fn torque_max_nm(reading: &Reading) -> Option<f64> {
    let strokes = || reading.strokes.iter();
    let running = || [reading.sharp, reading.flat].into_iter().flatten();
    let largest = |torques: &mut dyn Iterator<Item = Torque>| {
        torques.map(|torque| torque.newton_metres().abs()).reduce(f64::max)
    };
    match reading.outcome {
        Outcome::Measured | Outcome::FlatOnly | Outcome::SharpOnly => {
            largest(&mut running().chain(strokes().filter_map(|stroke| stroke.running)))
        }
        Outcome::BreakawayOnly => largest(&mut strokes().filter_map(|stroke| stroke.breakaway)),
        Outcome::AboveLimit => largest(&mut strokes().map(|stroke| stroke.peak)),
        Outcome::MovedOnSeating | Outcome::Spoiled => None,
    }
}

impl LeverStanding {
    /// From what is kept of one lever, in any order.
    pub fn new(calibrations: Vec<CalibrationRecord>, mut checks: Vec<CheckFact>) -> LeverStanding {
        checks.sort_by_key(|check| check.made_ms);
        let calibrations = calibrations
            .into_iter()
            .map(|record| {
                let terms = Arc::new(record.result.terms);
                (record.number, Calibrated { terms, due_ms: record.due_ms })
            })
            .collect();
        LeverStanding { calibrations, checks }
    }

    /// Terms of the calibration of that number, else those of the class.
    pub fn terms(&self, number: u32) -> Arc<LeverTerms> {
        match self.calibrations.get(&number) {
            Some(calibrated) if number > 0 => Arc::clone(&calibrated.terms),
            _ => Arc::new(LeverTerms::class()),
        }
    }

    /// Why the lever behind a reading is to be doubted, in the order of [`LeverMark`].
    pub fn marks(&self, taken: &Taken) -> Vec<LeverMark> {
        let number = taken.calibration;
        if number == 0 {
            return vec![LeverMark::Uncalibrated];
        }
        let Some(calibrated) = self.calibrations.get(&number) else {
            return vec![LeverMark::CalibrationUnknown { number }];
        };
        let terms = &calibrated.terms;
        let overdue = taken.at_ms.is_some_and(|at_ms| at_ms > calibrated.due_ms);
        let out_of_temperature = terms.temperature_c.is_some_and(|(coldest, warmest)| {
            let from = coldest - TEMPERATURE_MARGIN_K;
            let to = warmest + TEMPERATURE_MARGIN_K;
            !(from..=to).contains(&taken.temperature_c)
        });
        let out_of_range = match (terms.range_nm, taken.torque_max_nm) {
            (Some((_, largest_nm)), Some(torque_nm)) => torque_nm > largest_nm,
            _ => false,
        };
        [
            (overdue, LeverMark::Overdue),
            (out_of_temperature, LeverMark::OutOfTemperature),
            (self.beside_a_failed_check(number, taken.at_ms), LeverMark::CheckFailed),
            (out_of_range, LeverMark::OutOfRange),
        ]
        .into_iter()
        .filter_map(|(holds, mark)| holds.then_some(mark))
        .collect()
    }

    /// How the lever would stand to a reading taken now at a temperature its calibration covers.
    pub fn marks_now(&self, calibration: u32, now_ms: i64) -> Vec<LeverMark> {
        let covered = self.terms(calibration).temperature_c.map_or(20.0, |(coldest, _)| coldest);
        self.marks(&Taken {
            calibration,
            at_ms: Some(now_ms),
            temperature_c: covered,
            torque_max_nm: None,
        })
    }

    /// Whether the nearest check before or after that could tell failed: what was read since the
    /// last pass is in doubt, and so is what was read after the failure until the next pass. A
    /// check that could not tell is no pass and puts nothing in doubt. A reading of unknown date is
    /// in doubt as soon as any check failed.
    fn beside_a_failed_check(&self, number: u32, at_ms: Option<i64>) -> bool {
        let mut checks = self
            .checks
            .iter()
            .filter(|check| check.calibration == number && check.answer != Answer::CannotTell);
        let failed = |check: &CheckFact| check.answer == Answer::Fail;
        let Some(at_ms) = at_ms else { return checks.any(failed) };
        let before = checks.clone().rfind(|check| check.made_ms < at_ms);
        let after = checks.find(|check| check.made_ms >= at_ms);
        [before, after].into_iter().flatten().any(failed)
    }
}
