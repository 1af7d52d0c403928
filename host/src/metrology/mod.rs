//! Numbers with their doubt: estimates, fits, and how uncertainties combine (JCGM 100).
//!
//! Plain mathematics on plain numbers. Deliberately not here: what a lever, a string or a hand
//! tool is ([`crate::calibration`], [`crate::analysis::readings`]).
//!
//! Invariant: transcendental functions come from the `libm` crate, sums run in a fixed order.

mod beta;
pub mod coverage;
pub mod student;

use serde::{Deserialize, Serialize};

/// A value with its standard uncertainty, both in the same SI unit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty, not negative.
    pub u: f64,
}
