//! How far the parts of a field spread, learned from the plank itself: marginal likelihood with
//! weakly informative priors (Rasmussen and Williams, *Gaussian Processes for Machine Learning*,
//! 2006, section 5.4.1), the mode in logarithms.
//!
//! Each pin counts with its chance of being an ordinary one: what is maximised is the variational
//! bound for the mixture of pins (C. M. Bishop, *Pattern Recognition and Machine Learning*, 2006,
//! section 10.2), so that a single bad hole inflates nothing and a doubted pin takes no part in the
//! scatter.
//!
//! Shapes' spreads change prior variances only; for them the normal equations are made once
//! ([`Normal`]). Scatter and the local part need them anew, and are searched in turn (`local`).
//!
//! Deliberately not here: the chances themselves (`scatter`), and what the field says.
//!
//! Invariant: a bounded number of evaluations in a fixed order, the same bits on every machine.

use super::super::scatter::SCATTER_PRIOR;
use super::basis::{Basis, BroadSpread};
use super::linear::{Design, Normal};
use super::simplex::minimise;

/// A prior on something positive: its logarithm is normal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LogNormal {
    /// Middle, in the quantity's own unit.
    pub middle: f64,
    /// Standard deviation of the natural logarithm.
    pub log_sd: f64,
}

impl LogNormal {
    const fn new(middle: f64, log_sd: f64) -> LogNormal {
        LogNormal { middle, log_sd }
    }

    /// Logarithm of the prior density of the logarithm, its constant left out.
    pub(super) fn log_density(&self, logarithm: f64) -> f64 {
        let z = (logarithm - libm::log(self.middle)) / self.log_sd;
        -0.5 * z * z
    }
}

/// Priors on all spreads. Ours (DER): weak, and only to keep an answer sensible where the plank
/// does not tell.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SpreadPriors {
    /// A section's step: a seventh, three-fold either way; sections are drilled and restrung by
    /// themselves.
    pub section: LogNormal,
    /// A section's slope over its half length.
    pub section_slope: LogNormal,
    /// A row over the whole instrument: some per cent.
    pub row: LogNormal,
    /// A row within one section: some per cent, or half where it was one drilling run.
    pub section_row: LogNormal,
    /// The smooth trend.
    pub trend: LogNormal,
    /// Its length, m: a fifth of a field, two-fold and more either way.
    pub trend_length_m: LogNormal,
    /// Scatter from pin to pin: 12 % (sound planks 10–15 %, MEM; over 25 % suspicious, MEM).
    pub scatter: LogNormal,
}

impl Default for SpreadPriors {
    fn default() -> SpreadPriors {
        SpreadPriors {
            section: LogNormal::new(0.14, 0.7),
            section_slope: LogNormal::new(0.04, 0.7),
            row: LogNormal::new(0.025, 0.7),
            section_row: LogNormal::new(0.025, 1.0),
            trend: LogNormal::new(0.07, 0.8),
            trend_length_m: LogNormal::new(0.25, 0.5),
            scatter: LogNormal::new(SCATTER_PRIOR, 0.35),
        }
    }
}

/// Spreads of the broad shapes and of the pins about them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BroadFit {
    /// Of the shapes.
    pub spread: BroadSpread,
    /// Scatter from pin to pin, natural-log units (close to the coefficient of variation).
    pub scatter_sd: f64,
}

impl SpreadPriors {
    /// The middle of every prior: where a search starts.
    pub const fn middle(&self) -> BroadFit {
        BroadFit {
            spread: BroadSpread {
                level_sd: LEVEL_SD,
                section_sd: self.section.middle,
                section_slope_sd: self.section_slope.middle,
                row_sd: self.row.middle,
                section_row_sd: self.section_row.middle,
                trend_sd: self.trend.middle,
                trend_length_m: self.trend_length_m.middle,
            },
            scatter_sd: self.scatter.middle,
        }
    }

    const fn broad(&self) -> [LogNormal; BROAD_COUNT] {
        let SpreadPriors { section, section_slope, row, section_row, trend, .. } = *self;
        [section, section_slope, row, section_row, trend, self.trend_length_m]
    }

    /// Logarithm of the prior density of the broad shapes' spreads, its constant left out.
    pub(super) fn log_density_of(&self, fit: &BroadFit) -> f64 {
        self.log_density_of_broad(&fit.logarithms())
    }

    fn log_density_of_broad(&self, logarithms: &[f64]) -> f64 {
        let each = self.broad().into_iter().zip(logarithms);
        each.fold(0.0, |sum, (prior, logarithm)| sum + prior.log_density(*logarithm))
    }
}

/// The common level lies this far from the middle reading at most, natural-log units; nearly flat.
const LEVEL_SD: f64 = 0.5;
/// Spreads of the broad shapes that are learned.
const BROAD_COUNT: usize = 6;
/// Evaluations of the spreads in one search.
const BROAD_EVALUATION_COUNT: usize = 120;
/// First step of a search, natural-log units.
const STEP: f64 = 0.5;
/// Agreement of log densities at which a search ends: far below what an answer shows.
const TOLERANCE: f64 = 1e-3;

/// What spreads are learned from.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    /// The shapes.
    pub basis: &'a Basis,
    /// The shapes at the observations.
    pub design: &'a Design,
    /// Logarithms of friction less their middle.
    pub observed: &'a [f64],
    /// Their variances from the measurement.
    pub variances: &'a [f64],
    /// Chance of each pin to be an ordinary one of this field, above 0 and up to 1.
    pub weights: &'a [f64],
}

impl Evidence<'_> {
    /// Variance of each observation about the field: scatter and measurement, the more the less
    /// the pin counts.
    pub fn noise_variances(&self, scatter_sd: f64) -> Vec<f64> {
        let scatter = scatter_sd * scatter_sd;
        let each = self.variances.iter().zip(self.weights);
        each.map(|(variance, weight)| (scatter + variance) / weight).collect()
    }

    /// What the doubted pins take out of the density of all: a pin that counts for nothing must
    /// say nothing about the scatter.
    pub(super) fn doubt(&self, scatter_sd: f64) -> f64 {
        let scatter = scatter_sd * scatter_sd;
        let each = self.variances.iter().zip(self.weights);
        each.fold(0.0, |sum, (variance, weight)| {
            sum + 0.5 * (1.0 - weight) * libm::log(scatter + variance)
        })
    }
}

impl BroadFit {
    /// Logarithms of the learned spreads, in the order of [`SpreadPriors::broad`].
    fn logarithms(&self) -> [f64; BROAD_COUNT] {
        let s = &self.spread;
        [s.section_sd, s.section_slope_sd, s.row_sd, s.section_row_sd, s.trend_sd, s.trend_length_m]
            .map(libm::log)
    }
}

fn spread_of(logarithms: &[f64], level_sd: f64) -> BroadSpread {
    let at = |i: usize| libm::exp(logarithms[i]);
    BroadSpread {
        level_sd,
        section_sd: at(0),
        section_slope_sd: at(1),
        row_sd: at(2),
        section_row_sd: at(3),
        trend_sd: at(4),
        trend_length_m: at(5),
    }
}

/// Learns the spreads of the broad shapes while everything else stays.
pub(super) fn learn_spreads(
    normal: &Normal,
    basis: &Basis,
    start: &BroadFit,
    priors: &SpreadPriors,
) -> BroadSpread {
    let level_sd = start.spread.level_sd;
    let of_spreads = |at: &[f64]| {
        let variances = basis.prior_variances(&spread_of(at, level_sd));
        let density = normal.log_marginal_likelihood(&variances).unwrap_or(f64::NEG_INFINITY);
        -(density + priors.log_density_of_broad(at))
    };
    let (from, steps) = (start.logarithms(), [STEP; BROAD_COUNT]);
    let found = minimise(&from, &steps, BROAD_EVALUATION_COUNT, TOLERANCE, of_spreads);
    spread_of(&found.at, level_sd)
}
