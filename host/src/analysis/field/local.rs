//! Learning the local part of the plank's field together with its broad shapes and scatter.
//!
//! Size, two reaches and what runs on beneath struts are searched with the scatter while the broad
//! shapes' spreads stay, those then with the normal equations of the covariance found.
//!
//! Deliberately not here: the chances of pins to be ordinary, and what the field says.

use super::super::linalg::{Cholesky, SquareMatrix};
use super::compact::LocalPart;
use super::hyper::{BroadFit, Evidence, LogNormal, SpreadPriors, learn_spreads};
use super::linear::Normal;
use super::simplex::minimise;

/// A place as the local part sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spot {
    /// Metres towards the treble.
    pub x_m: f64,
    /// Metres away from the flange.
    pub y_m: f64,
    /// Section.
    pub section: u8,
}

/// Priors on the local part. Ours (DER), weak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LocalPriors {
    /// Standard deviation: some per cent on a sound plank, half the torque where plies part; so
    /// three-fold either way.
    pub sd: LogNormal,
    /// Reach along the plank, m: eleven pins of a row; correlation is a half at a third of it.
    pub along_m: LogNormal,
    /// Reach across the rows, m: two to three rows, so that a split may follow one of them.
    pub across_m: LogNormal,
    /// Share that runs on beneath struts: exponents of a beta law; the wood does, strings do not.
    pub shared: (f64, f64),
}

impl Default for LocalPriors {
    fn default() -> LocalPriors {
        LocalPriors {
            sd: LogNormal { middle: 0.08, log_sd: 1.1 },
            along_m: LogNormal { middle: 0.15, log_sd: 0.5 },
            across_m: LogNormal { middle: 0.05, log_sd: 0.5 },
            shared: (3.0, 1.5),
        }
    }
}

/// Spreads of all parts of the plank's field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WholeFit {
    /// Broad shapes and scatter.
    pub broad: BroadFit,
    /// The local part.
    pub local: LocalPart,
}

impl WholeFit {
    /// Logarithms of scatter, local size and reaches, and the log odds of what is shared.
    fn coordinates(&self) -> [f64; COORDINATE_COUNT] {
        let local = &self.local;
        let shared = local.shared.clamp(SHARED_EDGE, 1.0 - SHARED_EDGE);
        [
            libm::log(self.broad.scatter_sd),
            0.5 * libm::log(local.variance),
            libm::log(local.reach_along_m),
            libm::log(local.reach_across_m),
            libm::log(shared / (1.0 - shared)),
        ]
    }
}

/// Scatter and local part from a search's coordinates.
fn parts_of(at: &[f64]) -> (f64, LocalPart) {
    let sd = libm::exp(at[1]);
    let local = LocalPart {
        variance: sd * sd,
        reach_along_m: libm::exp(at[2]),
        reach_across_m: libm::exp(at[3]),
        shared: 1.0 / (1.0 + libm::exp(-at[4])),
    };
    (libm::exp(at[0]), local)
}

const COORDINATE_COUNT: usize = 5;
/// What is shared stays this far from none and from all while its log odds are searched.
const SHARED_EDGE: f64 = 0.01;
/// Priors end this many of their standard deviations from their middle: numbers stay numbers.
const PRIOR_END_SD: f64 = 3.5;
/// First steps of a search.
const STEPS: [f64; COORDINATE_COUNT] = [0.2, 0.7, 0.4, 0.4, 1.0];
/// Agreement of log densities at which a search ends.
const TOLERANCE: f64 = 0.02;

impl LocalPriors {
    /// Logarithm of the prior density of a search's coordinates; minus infinity beyond its end.
    fn log_density(&self, at: &[f64], scatter: LogNormal) -> f64 {
        let mut sum = 0.0;
        for (prior, logarithm) in [scatter, self.sd, self.along_m, self.across_m].iter().zip(at) {
            let density = prior.log_density(*logarithm);
            if density.is_nan() || density < -0.5 * PRIOR_END_SD * PRIOR_END_SD {
                return f64::NEG_INFINITY;
            }
            sum += density;
        }
        // A beta law of the share is share^a·(1 − share)^b of its log odds.
        let odds = at[4];
        let (a, b) = self.shared;
        sum - a * libm::log1p(libm::exp(-odds)) - b * libm::log1p(libm::exp(odds))
    }

    /// The middle of every prior.
    pub fn middle(&self) -> LocalPart {
        let (a, b) = self.shared;
        LocalPart {
            variance: self.sd.middle * self.sd.middle,
            reach_along_m: self.along_m.middle,
            reach_across_m: self.across_m.middle,
            shared: a / (a + b),
        }
    }
}

/// Covariance of local part and noise together at places in order along the plank.
pub fn covariance(spots: &[Spot], local: &LocalPart, noise_variances: &[f64]) -> SquareMatrix {
    SquareMatrix::from_lower(spots.len(), |row, column| {
        let (a, b) = (spots[row], spots[column]);
        let noise = if row == column { noise_variances[row] } else { 0.0 };
        local.covariance(a.x_m - b.x_m, a.y_m - b.y_m, a.section == b.section) + noise
    })
}

/// Learns all spreads, beginning at `start`; `spots` are the observations' places, in order along
/// the plank. The local part gets `evaluation_count_max` evaluations.
pub fn learn_whole(
    evidence: &Evidence<'_>,
    spots: &[Spot],
    start: WholeFit,
    (broad, local): (&SpreadPriors, &LocalPriors),
    evaluation_count_max: usize,
) -> WholeFit {
    let variances = evidence.basis.prior_variances(&start.broad.spread);
    let normal_of = |scatter_sd: f64, part: &LocalPart| {
        let noise = evidence.noise_variances(scatter_sd);
        let factor = Cholesky::new(&covariance(spots, part, &noise))?;
        Some(Normal::of_covariance(evidence.design, evidence.observed, &factor))
    };
    let of_parts = |at: &[f64]| {
        let prior = local.log_density(at, broad.scatter);
        if prior == f64::NEG_INFINITY {
            return f64::INFINITY;
        }
        let (scatter_sd, part) = parts_of(at);
        let density = normal_of(scatter_sd, &part)
            .and_then(|normal| normal.log_marginal_likelihood(&variances))
            .unwrap_or(f64::NEG_INFINITY);
        -(density + evidence.doubt(scatter_sd) + prior)
    };
    let from = start.coordinates();
    let found = minimise(&from, &STEPS, evaluation_count_max, TOLERANCE, of_parts);
    let (scatter_sd, part) = parts_of(&found.at);
    let mut fit = WholeFit { broad: BroadFit { scatter_sd, ..start.broad }, local: part };
    if let Some(normal) = normal_of(scatter_sd, &part) {
        fit.broad.spread = learn_spreads(&normal, evidence.basis, &fit.broad, broad);
    }
    fit
}
