//! What was done on the bench, as it was read: weights, arms, gravity, points, seatings.
//!
//! Deliberately not here: anything computed from it.

use pinhold_protocol::record::Direction;
use serde::{Deserialize, Serialize};

use crate::metrology::Estimate;

/// Masses a calibration uses at most.
pub const MASS_COUNT_MAX: usize = 6;

/// One dead weight.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mass {
    /// What is written on it, or what its owner calls it. Untrusted text.
    pub name: String,
    /// Kilograms.
    pub mass_kg: Estimate,
}

/// A place on the handle where weights hang, and where a hand may hold it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HandPosition {
    /// What the user calls it. Untrusted text.
    pub name: String,
    /// From the axis of the pin, metres.
    pub arm_m: Estimate,
}

/// Where local gravity was taken from.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum GravitySource {
    /// Typed in.
    Typed,
    /// Computed from the place.
    Place {
        /// Degrees, north positive.
        latitude_deg: f64,
        /// Metres above sea level.
        height_m: f64,
    },
}

/// Local gravity.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Gravity {
    /// m/s².
    pub value_m_s2: Estimate,
    /// Where it comes from.
    pub source: GravitySource,
}

/// Whether the load had risen or fallen to this point.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Leg {
    /// From a smaller load.
    Up,
    /// From a larger one.
    Down,
}

/// How the lever was when a point was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Setting {
    /// On the fixed square, with these masses (none: without load) at this position.
    Loaded {
        /// Index into [`Bench::positions`].
        position: usize,
        /// Way the load turns the lever.
        direction: Direction,
        /// How the load came about.
        leg: Leg,
        /// Indices into [`Bench::masses`].
        masses: Vec<usize>,
    },
    /// Held by the handle off the square, still, its own weight across the handle.
    Free,
}

/// One settled reading.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BenchPoint {
    /// How the lever was.
    pub setting: Setting,
    /// Mean of the bridge's codes.
    pub mean_code: f64,
    /// Standard deviation of the codes about their mean.
    pub code_sd: f64,
    /// Codes in the mean.
    pub sample_count: u32,
    /// Specific force at rest in the lever's frame, units of standard gravity: along the handle,
    /// across it, along the pin.
    pub force_g: [f64; 3],
    /// Lever temperature, °C.
    pub temperature_c: f64,
    /// When, milliseconds since 1970-01-01 UTC.
    pub at_ms: i64,
}

/// One of the readings that tell how well a pin is read again after seating anew.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeatingReading {
    /// Which of the pins, from 0.
    pub pin: usize,
    /// Which of the people, from 0, index into [`super::record::CalibrationRecord::people`].
    pub person: usize,
    /// Which time, from 0.
    pub round: usize,
    /// Friction read, N·m.
    pub friction_nm: f64,
    /// String moment read, N·m.
    pub moment_nm: f64,
}

/// Everything a calibration is computed from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Bench {
    /// Dead weights, at most [`MASS_COUNT_MAX`].
    pub masses: Vec<Mass>,
    /// Where they hang, at least two.
    pub positions: Vec<HandPosition>,
    /// Local gravity.
    pub gravity: Gravity,
    /// Readings in the order they were taken.
    pub points: Vec<BenchPoint>,
    /// Readings of pins seated anew; empty when that part was left out.
    pub seatings: Vec<SeatingReading>,
}
