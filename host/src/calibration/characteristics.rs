//! What a bench showed of a lever beside its constants: point by point, part by part, for the
//! record and for whoever wants to check it.
//!
//! Deliberately not here: how it is computed ([`super::evaluate()`]).

use serde::{Deserialize, Serialize};

/// A point on the square as the curve sees it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PointResult {
    /// Index into [`super::bench::Bench::points`].
    pub point: usize,
    /// Torque of the weights on the pin's axis, N·m, sharp positive.
    pub load_nm: f64,
    /// Code with the drift of the zero within its series taken out.
    pub code: f64,
    /// Torque by the curve less the load, N·m.
    pub residual_nm: f64,
}

/// One source of the scale's uncertainty.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ScalePart {
    /// What it is.
    pub name: String,
    /// Standard uncertainty, relative.
    pub relative_u: f64,
}

/// What one hand position says of the scale.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PositionResult {
    /// Index into [`super::bench::Bench::positions`].
    pub position: usize,
    /// Torque shown there less torque there, by the common line, relative.
    pub relative_difference: f64,
    /// Its standard uncertainty from arm and scatter, relative.
    pub relative_u: f64,
}

/// What falling loads show more than rising ones.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct HysteresisResult {
    /// Indices into [`super::bench::Bench::masses`].
    pub masses: Vec<usize>,
    /// Mean size of the load, N·m.
    pub load_nm: f64,
    /// Torque shown on the way down less on the way up, in the load's direction, N·m.
    pub width_nm: f64,
    /// Pairs of points behind it.
    pub pair_count: usize,
}

/// Whether the curve bends: F test of the quadratic term.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct BendTest {
    /// F with 1 degree of freedom over [`BendTest::degrees_of_freedom`].
    pub f: f64,
    /// Chance of a larger one when the line is straight.
    pub probability: f64,
    /// Degrees of freedom of the scatter.
    pub degrees_of_freedom: u32,
}

/// What pins read again and again say of seating.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeatingResult {
    /// Pins.
    pub pin_count: usize,
    /// People.
    pub person_count: usize,
    /// Readings.
    pub reading_count: usize,
    /// Standard deviation between seatings by one person, relative.
    pub within_relative: f64,
    /// Degrees of freedom of that.
    pub within_degrees_of_freedom: u32,
    /// Standard deviation between people, relative; 0 where the seatings explain it.
    pub between_relative: f64,
    /// Degrees of freedom behind the people.
    pub between_degrees_of_freedom: u32,
}

/// Expanded uncertainty at a load.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ExpandedResult {
    /// Size of the load, N·m.
    pub load_nm: f64,
    /// Expanded uncertainty, k = 2, N·m: the larger of the two directions.
    pub expanded_nm: f64,
}

/// All of it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Characteristics {
    /// The points on the square, in the order they were taken.
    pub points: Vec<PointResult>,
    /// What the scale's uncertainty is made of.
    pub scale_parts: Vec<ScalePart>,
    /// Hand positions beside each other.
    pub positions: Vec<PositionResult>,
    /// Hysteresis by what hung.
    pub hysteresis: Vec<HysteresisResult>,
    /// Code without load after each series less before it, N·m.
    pub zero_returns_nm: Vec<f64>,
    /// Standard uncertainty of the weight moment, N·m.
    pub weight_moment_u_nm: f64,
    /// Standard deviation of a point about its position's curve, hysteresis and drift apart, N·m.
    pub scatter_nm: f64,
    /// Degrees of freedom of that.
    pub scatter_degrees_of_freedom: u32,
    /// Whether the curve bends.
    pub bend: Option<BendTest>,
    /// Seating; `None` when that part was left out.
    pub seating: Option<SeatingResult>,
    /// Expanded uncertainty over the range.
    pub expanded: Vec<ExpandedResult>,
}
