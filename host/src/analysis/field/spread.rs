//! How large the broad shapes of one instrument are: standard deviations learned from its own
//! readings by marginal likelihood, with weakly informative priors.
//!
//! The search is by coordinates over fixed ladders, so that the number of evaluations is bounded
//! and the same readings give the same bits. Weights of loose pins and the scatter stay as they
//! were fitted: an evaluation then costs one small factorisation.

use super::super::linalg::{Cholesky, SquareMatrix, dot};
use super::basis::{Basis, BroadSpread};

/// Rungs of each spread, natural-log units; of the length, m.
const SECTION_RUNGS: [f64; 5] = [0.03, 0.06, 0.12, 0.20, 0.30];
const SLOPE_RUNGS: [f64; 4] = [0.005, 0.02, 0.05, 0.10];
const ROW_RUNGS: [f64; 4] = [0.005, 0.015, 0.03, 0.05];
const TREND_RUNGS: [f64; 5] = [0.01, 0.03, 0.06, 0.10, 0.16];
const LENGTH_RUNGS: [f64; 5] = [0.10, 0.15, 0.22, 0.32, 0.50];
/// Rounds over the coordinates.
const ROUND_COUNT: usize = 2;

/// Where learning starts, and what a survey of a few pins keeps. Weakly informative, ours (DER):
/// a fifth between sections is common after partial restringing, a row differs by a few per cent.
pub(super) const BEFOREHAND: BroadSpread = BroadSpread {
    level_sd: 0.5,
    section_sd: 0.20,
    section_slope_sd: 0.02,
    row_sd: 0.03,
    section_row_sd: 0.015,
    trend_sd: 0.06,
    trend_length_m: 0.22,
};

/// The middle and the width of each spread's log-normal prior (DER): a factor of about two
/// either way is nothing unusual; rows of a sound plank differ little, or a whole row evenly low
/// would be taken for one.
const PRIOR_WIDTH: f64 = 0.8;
const LENGTH_PRIOR_WIDTH: f64 = 0.6;

/// The parts of the marginal likelihood that do not depend on the spreads.
pub(super) struct Likelihood<'a> {
    pub(super) basis: &'a Basis,
    /// Φᵀ·N⁻¹·Φ, lower triangle by rows.
    pub(super) gram: Vec<f64>,
    /// Φᵀ·N⁻¹·y.
    pub(super) right: Vec<f64>,
}

impl Likelihood<'_> {
    /// Logarithm of the density of the observations, up to what the spreads do not change.
    fn log_density(&self, spread: &BroadSpread) -> f64 {
        let variances = self.basis.prior_variances(spread);
        let size = variances.len();
        let matrix = SquareMatrix::from_lower(size, |row, column| {
            let prior = if row == column { 1.0 / variances[row] } else { 0.0 };
            self.gram[row * size + column] + prior
        });
        let Some(factor) = Cholesky::new(&matrix) else { return f64::NEG_INFINITY };
        let half = factor.solve_lower(&self.right);
        let log_prior = variances.iter().fold(0.0, |sum, variance| sum + libm::log(*variance));
        0.5 * dot(&half, &half) - 0.5 * (log_prior + factor.log_determinant())
    }

    fn worth(&self, spread: &BroadSpread) -> f64 {
        let off = |value: f64, middle: f64, width: f64| {
            let z = libm::log(value / middle) / width;
            -0.5 * z * z
        };
        let b = &BEFOREHAND;
        self.log_density(spread)
            + off(spread.section_sd, b.section_sd, PRIOR_WIDTH)
            + off(spread.section_slope_sd, b.section_slope_sd, PRIOR_WIDTH)
            + off(spread.row_sd, b.row_sd, PRIOR_WIDTH)
            + off(spread.section_row_sd, b.section_row_sd, PRIOR_WIDTH)
            + off(spread.trend_sd, b.trend_sd, PRIOR_WIDTH)
            + off(spread.trend_length_m, b.trend_length_m, LENGTH_PRIOR_WIDTH)
    }

    /// The spreads of greatest worth found along the ladders.
    pub(super) fn learn(&self) -> BroadSpread {
        let mut best = (self.worth(&BEFOREHAND), BEFOREHAND);
        for _ in 0..ROUND_COUNT {
            let mut consider = |candidates: Vec<BroadSpread>| {
                for candidate in candidates {
                    let worth = self.worth(&candidate);
                    if worth > best.0 {
                        best = (worth, candidate);
                    }
                }
                best.1
            };
            let mut at = consider(Vec::new());
            let trends = TREND_RUNGS
                .into_iter()
                .flat_map(|trend_sd| LENGTH_RUNGS.map(|trend_length_m| (trend_sd, trend_length_m)));
            at = consider(
                trends
                    .map(|(trend_sd, trend_length_m)| BroadSpread {
                        trend_sd,
                        trend_length_m,
                        ..at
                    })
                    .collect(),
            );
            at =
                consider(SECTION_RUNGS.map(|section_sd| BroadSpread { section_sd, ..at }).to_vec());
            at = consider(
                SLOPE_RUNGS.map(|section_slope_sd| BroadSpread { section_slope_sd, ..at }).to_vec(),
            );
            at = consider(ROW_RUNGS.map(|row_sd| BroadSpread { row_sd, ..at }).to_vec());
            consider(ROW_RUNGS.map(|section_row_sd| BroadSpread { section_row_sd, ..at }).to_vec());
        }
        best.1
    }
}
