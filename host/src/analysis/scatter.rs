//! The scatter of pins about the field: a mixture of ordinary, loose and high pins, and its
//! update from residuals.
//!
//! Deliberately not here: the field itself.

use super::stats::normal_density;

/// Law of a loose pin about the field: e^-0.9 is 40 % of its neighbours (DER).
pub(super) const LOOSE_SHIFT: f64 = -0.9;
pub(super) const LOOSE_SD: f64 = 0.5;
/// Law of a pin above the field: a glued hole or an odd size (DER).
pub(super) const HIGH_SHIFT: f64 = 0.5;
pub(super) const HIGH_SD: f64 = 0.35;
pub(super) const HIGH_SHARE: f64 = 0.01;
/// Prior on the share of single loose holes: two in a hundred, as if 25 pins had told.
pub(super) const LOOSE_SHARE_PRIOR: f64 = 0.02;
const LOOSE_SHARE_PRIOR_PINS: f64 = 25.0;
/// Prior on the scatter: 12 % (sound planks 10–15 %, MEM), as if eight pins had told.
pub(super) const SCATTER_PRIOR: f64 = 0.12;
const SCATTER_PRIOR_PINS: f64 = 8.0;
/// Least weight a pin keeps, so that its noise stays finite.
pub(super) const WEIGHT_MIN: f64 = 1e-4;

/// The pin-to-pin scatter of a sound plank with its stray bad holes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScatterLaw {
    /// Standard deviation of ordinary pins, natural-log units (close to the coefficient of
    /// variation).
    pub sd: f64,
    /// Share of single loose holes.
    pub loose_share: f64,
}

impl ScatterLaw {
    /// Densities of ordinary, loose and high pins at a residual, each times its share.
    pub fn parts(&self, residual: f64, measurement_variance: f64) -> [f64; 3] {
        let v = measurement_variance;
        let ordinary = 1.0 - self.loose_share - HIGH_SHARE;
        let loose_variance = LOOSE_SD * LOOSE_SD + v;
        let high_variance = HIGH_SD * HIGH_SD + v;
        [
            ordinary * normal_density(residual, 0.0, self.sd * self.sd + v),
            self.loose_share * normal_density(residual, LOOSE_SHIFT, loose_variance),
            HIGH_SHARE * normal_density(residual, HIGH_SHIFT, high_variance),
        ]
    }

    /// Density of a residual under the whole law.
    pub fn density(&self, residual: f64, measurement_variance: f64) -> f64 {
        let [ordinary, loose, high] = self.parts(residual, measurement_variance);
        // A residual beyond every part would make logarithms infinite.
        (ordinary + loose + high).max(1e-30)
    }
}

pub(super) fn ordinary_chances(
    residuals: &[f64],
    variances: &[f64],
    scatter: ScatterLaw,
) -> Vec<f64> {
    residuals
        .iter()
        .zip(variances)
        .map(|(residual, variance)| {
            let [ordinary, loose, high] = scatter.parts(*residual, *variance);
            let sum = ordinary + loose + high;
            if sum > 0.0 { (ordinary / sum).max(WEIGHT_MIN) } else { WEIGHT_MIN }
        })
        .collect()
}

/// The scatter of weighted residuals. `freedom` is the number of observations the field used up
/// (its shapes follow their pins, so residuals are smaller than the scatter is).
pub(super) fn update_scatter(
    residuals: &[f64],
    variances: &[f64],
    weights: &[f64],
    (freedom, (low, high)): (f64, (f64, f64)),
) -> ScatterLaw {
    let mut squares = SCATTER_PRIOR_PINS * SCATTER_PRIOR * SCATTER_PRIOR;
    let mut pins = SCATTER_PRIOR_PINS;
    let mut loose = LOOSE_PINS_PRIOR;
    for ((residual, variance), weight) in residuals.iter().zip(variances).zip(weights) {
        squares += weight * (residual * residual - variance);
        pins += weight;
        if *residual < 0.0 {
            loose += 1.0 - weight;
        }
    }
    // At least a third of the pins tell, however many shapes there are.
    pins = (pins - freedom).max(pins / 3.0);
    ScatterLaw {
        sd: (squares.max(0.0) / pins).sqrt().clamp(low, high),
        loose_share: loose_share(loose, residuals.len()),
    }
}

/// Loose pins expected before any was read, as the prior has them.
pub(super) const LOOSE_PINS_PRIOR: f64 = LOOSE_SHARE_PRIOR * LOOSE_SHARE_PRIOR_PINS;

/// Share of single loose holes where `loose` of so many pins are, the prior's counted in.
pub(super) fn loose_share(loose: f64, pin_count: usize) -> f64 {
    (loose / (pin_count as f64 + LOOSE_SHARE_PRIOR_PINS)).clamp(0.002, 0.5)
}

pub(super) fn noise_variances(variances: &[f64], weights: &[f64], scatter: ScatterLaw) -> Vec<f64> {
    variances
        .iter()
        .zip(weights)
        .map(|(variance, weight)| (scatter.sd * scatter.sd + variance) / weight.max(WEIGHT_MIN))
        .collect()
}
