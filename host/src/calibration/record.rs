//! A calibration as it is kept: who, when, on what, with what result, until when.
//!
//! Kept as JSON; fields are only ever added, with a default. An in-house record, not an accredited
//! certificate, and it says so wherever it is shown.

use serde::{Deserialize, Serialize};

use super::bench::Bench;
use super::characteristics::Characteristics;
use super::terms::LeverTerms;

/// Version of the document.
pub const CALIBRATION_VERSION: u32 = 1;

/// The fitted curve: bridge code regressed on load.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationCurve {
    /// Code = c₀ + c₁·load (+ c₂·load²), load in N·m, sharp positive; constant first.
    pub coefficients: Vec<f64>,
    /// Covariance of the coefficients, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Standard deviation of the residuals, counts.
    pub residual_sd: f64,
    /// Degrees of freedom.
    pub degrees_of_freedom: u32,
    /// Share of the scatter explained.
    pub r_squared: f64,
    /// Why the curve has this degree, in a sentence.
    pub degree_reason: String,
}

/// What is stored on the lever.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct LeverConstants {
    /// Bridge code without load.
    pub zero_code: f64,
    /// Newton-metres per bridge count.
    pub span_nm_per_count: f64,
    /// Moment of the lever's own weight at right angles to gravity, N·m.
    pub weight_moment_nm: f64,
}

/// What follows from the bench.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationResult {
    /// The curve.
    pub curve: CalibrationCurve,
    /// What is stored on the lever.
    pub constants: LeverConstants,
    /// What a reading's budget takes from it.
    pub terms: LeverTerms,
    /// What looked odd without being wrong, a sentence each.
    pub remarks: Vec<String>,
    /// What the bench showed beside.
    #[serde(default)]
    pub characteristics: Characteristics,
}

/// A whole calibration.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CalibrationRecord {
    /// [`CALIBRATION_VERSION`].
    pub version: u32,
    /// Version of the program that computed it.
    pub program: String,
    /// Device identity.
    pub lever: u64,
    /// Its number on that lever, from 1 and never used twice.
    pub number: u32,
    /// When, milliseconds since 1970-01-01 UTC.
    pub made_ms: i64,
    /// When the next one is due, milliseconds since 1970-01-01 UTC.
    pub due_ms: i64,
    /// Who did it. Untrusted text.
    pub people: Vec<String>,
    /// Where. Untrusted text.
    pub place: String,
    /// Relative humidity of the room, 0–1, when known.
    pub relative_humidity: Option<f64>,
    /// Air temperature of the room, °C, when known beside the lever's own.
    pub room_temperature_c: Option<f64>,
    /// Anything else. Untrusted text.
    pub remark: String,
    /// The lever was a simulated one: nothing here is real.
    pub simulated: bool,
    /// What was read.
    pub bench: Bench,
    /// What follows.
    pub result: CalibrationResult,
}
