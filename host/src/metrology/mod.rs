//! Numbers with their doubt: estimates, fits, and how uncertainties combine (JCGM 100).
//!
//! Plain mathematics on plain numbers. Deliberately not here: what a lever, a string or a hand
//! tool is ([`crate::calibration`], [`crate::analysis::readings`]).
//!
//! Invariant: transcendental functions come from the `libm` crate, sums run in a fixed order.

pub mod agreement;
pub mod anova;
mod beta;
pub mod conformity;
pub mod coverage;
mod double;
pub mod errors_in_both;
mod householder;
pub mod inverse;
pub mod lack_of_fit;
pub mod least_squares;
pub mod polynomial;
pub mod propagation;
pub mod student;
pub mod summary;
pub mod transducer;

use serde::{Deserialize, Serialize};

/// A value with its standard uncertainty, both in the same SI unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty, not negative.
    pub u: f64,
}

#[cfg(test)]
mod statistical_tests;
