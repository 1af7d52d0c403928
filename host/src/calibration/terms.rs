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

    /// Standard uncertainty of a torque shown by the lever itself, N·m, the curve's error taken
    /// off: scale, fit, hysteresis, repeatability, place of the hand and resolution.
    ///
    /// u² = (s·τ)² + V₁₁τ² + 2V₁₂τ³ + V₂₂τ⁴ + h²/3 + r² + (x·τ)²/3 + q²/12, with s the scale, V the
    /// error curve's covariance (from the last zero: e₀ apart), h and x half widths of hysteresis
    /// and hand position, r repeatability and q resolution. The zero is taken just before; what it
    /// drifts later, seating, the person and temperature belong to a reading's own budget.
    pub fn standard_u_nm(&self, torque_nm: f64) -> f64 {
        let [_, [_, slope, mixed], [_, _, bend]] = self.error_covariance;
        let square = torque_nm * torque_nm;
        let fit = square * (slope + 2.0 * mixed * torque_nm + bend * square);
        let half_widths = self.hysteresis_half_width_nm * self.hysteresis_half_width_nm
            + square * self.cross_load_relative_half_width * self.cross_load_relative_half_width;
        let variance = square * self.scale_relative_u * self.scale_relative_u
            + fit.max(0.0)
            + half_widths / 3.0
            + self.repeatability_u_nm * self.repeatability_u_nm
            + self.resolution_nm * self.resolution_nm / 12.0;
        variance.sqrt()
    }

    /// Expanded uncertainty (k = 2) of a torque shown by the lever itself, N·m; see
    /// [`LeverTerms::standard_u_nm`].
    ///
    /// ```
    /// use pinhold::calibration::terms::LeverTerms;
    /// let class = LeverTerms::class();
    /// // 5 % rectangular on 10 N·m is 0.58 at k = 2; hand position and the rest add a little.
    /// assert!((class.expanded_u_nm(10.0) - 0.624).abs() < 1e-3);
    /// ```
    pub fn expanded_u_nm(&self, torque_nm: f64) -> f64 {
        2.0 * self.standard_u_nm(torque_nm)
    }
}
