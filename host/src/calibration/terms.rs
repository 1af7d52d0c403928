//! What a reading's budget of uncertainty takes from the lever: from its calibration, else from a
//! stated class. Never from a simulator.

use serde::{Deserialize, Serialize};

/// What the terms rest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Basis {
    /// The class of an uncalibrated lever.
    Class,
    /// A calibration of this lever.
    Calibration {
        /// Its number.
        number: u32,
    },
}

/// A lever's terms. Relative terms are of the torque, the others in N·m.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LeverTerms {
    /// What they rest on.
    pub basis: Basis,
    /// Standard uncertainty of the scale, common to every load: masses, arms, gravity, tilt.
    pub scale_relative_u: f64,
    /// What the lever shows less what is there, e(τ) = e₀ + e₁·τ + e₂·τ² with τ in N·m, that the
    /// constants stored on the lever leave; the host takes it off.
    pub error_curve: [f64; 3],
    /// Covariance of e₀, e₁, e₂ from the fit.
    pub error_covariance: [[f64; 3]; 3],
    /// Half width of hysteresis, rectangular, N·m.
    pub hysteresis_half_width_nm: f64,
    /// Standard deviation of one loading on the bench, N·m.
    pub repeatability_u_nm: f64,
    /// Standard uncertainty of the zero between two zeros, N·m.
    pub zero_u_nm: f64,
    /// Standard deviation of friction between seatings by one person, relative.
    pub seating_relative_u: f64,
    /// Standard deviation of friction between people, relative.
    pub person_relative_u: f64,
    /// Half width of what the place of the hand does to the torque, rectangular, relative.
    pub cross_load_relative_half_width: f64,
    /// Lowest and highest lever temperature on the bench, °C; `None` for a class.
    pub temperature_c: Option<(f64, f64)>,
    /// Half width of the span's change with temperature away from there, relative per kelvin.
    pub temperature_relative_per_k: f64,
    /// Smallest and largest load, N·m, magnitude; `None` for a class.
    pub range_nm: Option<(f64, f64)>,
    /// Resolution of a stored torque, N·m.
    pub resolution_nm: f64,
    /// How well the estimated ones among the terms are known.
    #[serde(default)]
    pub freedom: Freedom,
}

/// Degrees of freedom of what was estimated from few readings; `None` where a term is taken as
/// known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Freedom {
    /// Of the fit behind [`LeverTerms::error_covariance`].
    pub curve: Option<u32>,
    /// Of [`LeverTerms::repeatability_u_nm`].
    pub repeatability: Option<u32>,
    /// Of [`LeverTerms::seating_relative_u`].
    pub seating: Option<u32>,
    /// Of [`LeverTerms::person_relative_u`]: people less one.
    pub person: Option<u32>,
}

impl LeverTerms {
    /// An uncalibrated lever of the reference design (DER): span known to 5 % (tolerance of the
    /// cell's rated output and of the converter's gain, rectangular), zero to 0.05 N·m.
    pub fn class() -> LeverTerms {
        LeverTerms {
            basis: Basis::Class,
            scale_relative_u: 0.05 / libm::sqrt(3.0),
            error_curve: [0.0; 3],
            error_covariance: [[0.0; 3]; 3],
            hysteresis_half_width_nm: 0.03,
            repeatability_u_nm: 0.02,
            zero_u_nm: 0.05,
            seating_relative_u: 0.01,
            person_relative_u: 0.01,
            cross_load_relative_half_width: 0.02,
            temperature_c: None,
            temperature_relative_per_k: 0.000_2,
            range_nm: None,
            resolution_nm: 0.001,
            freedom: Freedom::default(),
        }
    }
}
