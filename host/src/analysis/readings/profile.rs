//! Classes a budget rests on where nothing was measured, each with grade and source.
//!
//! Deliberately not here: what a calibrated lever says of itself
//! ([`crate::calibration::terms::LeverTerms`]).

use crate::analysis::profile::{Grade, Graded};
use crate::metrology::Estimate;

/// What is assumed of the tools, the strings and the strokes when nothing better is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasurementProfile {
    /// Hand tool: standard uncertainty of its scale, relative, common to all its readings.
    pub hand_scale_relative_u: Graded,
    /// Hand tool: standard uncertainty of one reading, relative.
    pub hand_single_relative_u: Graded,
    /// Hand tool: least standard uncertainty of one reading, N·m.
    pub hand_single_least_u_nm: Graded,
    /// Hand tool: half width of the foot's angle at which a direction was read, degrees.
    pub hand_angle_half_width_deg: Graded,
    /// Lever: standard uncertainty of the foot's angle in one stroke, degrees.
    pub lever_angle_u_deg: Graded,
    /// Lever: half width of the coil's angle at a break that was not brought to another, degrees.
    pub break_angle_half_width_deg: Graded,
    /// Lever: standard uncertainty of what its own weight leaves after its attitude, N·m.
    pub own_weight_u_nm: Graded,
    /// Lever not zeroed since power-up: half width of its zero, N·m.
    pub not_zeroed_half_width_nm: Graded,
    /// Largest μθ of the wire in its bearing: sharp takes M·e^(μθ), flat gives back M·e^(−μθ).
    pub bearing_friction_max: Graded,
    /// Least μθ of it.
    pub bearing_friction_min: Graded,
    /// Bearing friction ε set for an instrument: taken off F, with its uncertainty.
    pub bearing_friction_set: Option<Estimate>,
    /// Least stiffness of the string's short segment, N·m per degree.
    pub segment_least_nm_per_deg: Graded,
    /// Largest stiffness of it, N·m per degree.
    pub segment_most_nm_per_deg: Graded,
    /// Peak over running torque at most, before it is a fault of its own.
    pub peak_over_running_max: Graded,
    /// Moment left on a slack string, share of M₀, standard uncertainty.
    pub slack_moment_relative_u: Graded,
    /// Moment at a pitch nobody wrote down, share of M₀, half width.
    pub unknown_pitch_relative_half_width: Graded,
}

/// The hand-tool class as it is told to the user.
pub const HAND_TOOL_CLASS: &str =
    "hand tool, uncalibrated: standard uncertainty 6 % of the reading, at least 0.3 N·m";

const HAND: &str = "uncalibrated hand tool: 6 % of a reading, 5 % of it common";
const SEGMENT: &str = "60 to 200 mm of wire behind the bearing";

impl Default for MeasurementProfile {
    fn default() -> MeasurementProfile {
        use Grade::{Derived, Memory, OneReport};
        MeasurementProfile {
            hand_scale_relative_u: Graded::new(0.05, Memory, HAND),
            hand_single_relative_u: Graded::new(0.033, Memory, HAND),
            hand_single_least_u_nm: Graded::new(0.3, Memory, "uncalibrated hand tool"),
            hand_angle_half_width_deg: Graded::new(
                0.5,
                Memory,
                "both directions read within a degree",
            ),
            // A rate bias of 0.02 deg/s over the two seconds between the middles of two slips.
            lever_angle_u_deg: Graded::new(0.04, Derived, "drift of the rate sensor"),
            break_angle_half_width_deg: Graded::new(0.3, Derived, "twist of the pin at its break"),
            // 0.4 kg at 150 mm is 0.6 N·m; the attitude is known to 0.02 of gravity.
            own_weight_u_nm: Graded::new(0.012, Derived, "0.6 N·m by an attitude good to 0.02 g"),
            not_zeroed_half_width_nm: Graded::new(0.3, Memory, "zero kept from an earlier day"),
            bearing_friction_max: Graded::new(
                0.13,
                OneReport,
                "3 to 13 % of the tension, technicians' list 1996, 2003",
            ),
            bearing_friction_min: Graded::new(
                0.03,
                OneReport,
                "3 to 13 % of the tension, technicians' list 1996, 2003",
            ),
            bearing_friction_set: None,
            segment_least_nm_per_deg: Graded::new(0.3, Derived, SEGMENT),
            segment_most_nm_per_deg: Graded::new(0.8, Derived, SEGMENT),
            peak_over_running_max: Graded::new(
                1.3,
                Derived,
                "a higher break is a fault of its own",
            ),
            slack_moment_relative_u: Graded::new(0.1, Memory, "moment left on a slack string"),
            // 30 cents: (2^(30/1200))² = 1.035.
            unknown_pitch_relative_half_width: Graded::new(
                0.035,
                Derived,
                "pitch within 30 cents of target",
            ),
        }
    }
}

impl MeasurementProfile {
    /// Middle of the segment's stiffness, N·m per degree.
    pub fn segment_nm_per_deg(&self) -> f64 {
        0.5 * (self.segment_least_nm_per_deg.value + self.segment_most_nm_per_deg.value)
    }

    /// Half width of the segment's stiffness, N·m per degree.
    pub fn segment_half_width_nm_per_deg(&self) -> f64 {
        0.5 * (self.segment_most_nm_per_deg.value - self.segment_least_nm_per_deg.value)
    }
}
