//! Surveys of one instrument held against each other: trends over years, changes between two, the
//! climate a plank has lived in.
//!
//! Plain statistics on plain numbers, each after its published source. Deliberately not here: which
//! readings may be compared at all (the callers pair like with like), and what a change means for
//! the work.
//!
//! Invariants: a series that is too short, tied throughout or holds what is no number gives a typed
//! answer, never a panic; no interval is given where the data are too few for its level.

pub mod chart;
pub mod compare;
pub mod crossing;
pub mod kendall;
pub mod moisture;
pub mod paired;
pub mod pettitt;
mod ranks;
pub mod slope;
pub mod trend;
pub mod wood;

#[cfg(test)]
mod coverage_tests;

use thiserror::Error;

/// Why a series says nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum HistoryError {
    /// A value that is no number, or not finite.
    #[error("value {index} is not a usable number")]
    NotANumber {
        /// Its place in the series, from 0.
        index: usize,
    },
    /// Lists that should belong together differ in length.
    #[error("the lists differ in length")]
    Lengths,
    /// Too few values.
    #[error("{found} values are too few, {needed} are needed")]
    TooFew {
        /// What there is.
        found: usize,
        /// The fewest that would do.
        needed: usize,
    },
    /// More values than are worth the work.
    #[error("more than {most} values")]
    TooMany {
        /// The most taken.
        most: usize,
    },
    /// Nothing differs where something must: places of a slope, differences of a test.
    #[error("nothing differs")]
    AllTied,
    /// A level, limit or factor outside its range.
    #[error("{what} is out of range")]
    OutOfRange {
        /// What it is.
        what: &'static str,
    },
}

/// Most values of a series: what is quadratic in them stays well below a second.
pub const VALUE_COUNT_MAX: usize = 2000;

/// Checks that all values are finite and their number within `needed` and [`VALUE_COUNT_MAX`].
fn checked(values: &[f64], needed: usize) -> Result<(), HistoryError> {
    if let Some(index) = values.iter().position(|value| !value.is_finite()) {
        return Err(HistoryError::NotANumber { index });
    }
    if values.len() < needed {
        return Err(HistoryError::TooFew { found: values.len(), needed });
    }
    if values.len() > VALUE_COUNT_MAX {
        return Err(HistoryError::TooMany { most: VALUE_COUNT_MAX });
    }
    Ok(())
}

/// As [`checked`], for two lists that belong together.
fn checked_pairs(x: &[f64], y: &[f64], needed: usize) -> Result<(), HistoryError> {
    if x.len() != y.len() {
        return Err(HistoryError::Lengths);
    }
    checked(x, needed)?;
    checked(y, needed)
}

/// Checks that a level is inside 0–1.
fn checked_level(level: f64) -> Result<(), HistoryError> {
    let fits = level > 0.0 && level < 1.0;
    if fits { Ok(()) } else { Err(HistoryError::OutOfRange { what: "the level" }) }
}
