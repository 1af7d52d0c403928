//! Learning the local part of the plank's field together with its broad shapes and scatter.
//!
//! Size, two reaches and what runs on beneath struts are searched with the scatter while the broad
//! shapes' spreads stay, those then with the normal equations of the covariance found.
//!
//! Deliberately not here: the chances of pins to be ordinary, and what the field says.
//!
//! Numbers without a source beside them are ours (DER).

use super::super::linalg::{Cholesky, SquareMatrix};
use super::basis::Place;
use super::compact::LocalPart;
use super::hyper::{BroadFit, Evidence, LogNormal, SpreadPriors, learn_spreads};
use super::linear::Normal;
use super::simplex::minimise;

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
            along_m: LogNormal { middle: 0.15, log_sd: 0.4 },
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
/// Priors end this many of their standard deviations from their middle: what reaches farther than
/// 0.42 m along the plank is a broad shape.
const PRIOR_END_SD: f64 = 2.6;
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

/// Covariance of local part and noise together at places in order along the plank: the lower
/// triangle.
pub fn covariance(spots: &[Place], local: &LocalPart, noise_variances: &[f64]) -> SquareMatrix {
    let first = |row: usize| {
        let edge_m = spots[row].x_m - local.reach_along_m;
        spots[..row].partition_point(|spot| spot.x_m <= edge_m)
    };
    SquareMatrix::of_envelope(spots.len(), first, |row, column| {
        let (a, b) = (spots[row], spots[column]);
        let noise = if row == column { noise_variances[row] } else { 0.0 };
        local.covariance(a.x_m - b.x_m, a.y_m - b.y_m, a.section == b.section) + noise
    })
}

/// Spreads and how well they explain the plank.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Learned {
    /// The spreads.
    pub fit: WholeFit,
    /// Logarithm of their posterior density, up to a constant of the observations; minus infinity
    /// where nothing could be fitted.
    pub log_density: f64,
}

/// What a search of all spreads works with.
#[derive(Clone, Copy, Debug)]
pub struct Learner<'a> {
    /// The observations.
    pub evidence: Evidence<'a>,
    /// Their places, in order along the plank.
    pub spots: &'a [Place],
    /// Priors of the broad shapes and the scatter.
    pub broad: &'a SpreadPriors,
    /// Priors of the local part.
    pub local: &'a LocalPriors,
}

/// Which parts are searched first: what they explain, the others need not.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum First {
    /// A row or a section, then what it leaves.
    Broad,
    /// A bad place, then what it leaves.
    Local,
}

impl Learner<'_> {
    fn normal(&self, fit: &WholeFit) -> Option<Normal> {
        let noise = self.evidence.noise_variances(fit.broad.scatter_sd);
        let factor = Cholesky::factor(covariance(self.spots, &fit.local, &noise))?;
        Some(Normal::of_covariance(self.evidence.design, self.evidence.observed, &factor))
    }

    /// Broad shapes' spreads while everything else stays.
    fn learn_broad(&self, fit: &mut WholeFit) {
        if let Some(normal) = self.normal(fit) {
            fit.broad.spread = learn_spreads(&normal, self.evidence.basis, &fit.broad, self.broad);
        }
    }

    /// Scatter and local part while the broad shapes' spreads stay.
    fn learn_local(&self, fit: &mut WholeFit, evaluation_count_max: usize) -> f64 {
        let variances = self.evidence.basis.prior_variances(&fit.broad.spread);
        let broad = fit.broad;
        let of_parts = |at: &[f64]| {
            let prior = self.local.log_density(at, self.broad.scatter);
            if prior == f64::NEG_INFINITY {
                return f64::INFINITY;
            }
            let (scatter_sd, local) = parts_of(at);
            let fit = WholeFit { broad: BroadFit { scatter_sd, ..broad }, local };
            let density = self
                .normal(&fit)
                .and_then(|normal| normal.log_marginal_likelihood(&variances))
                .unwrap_or(f64::NEG_INFINITY);
            -(density + self.evidence.doubt(scatter_sd) + prior)
        };
        let found = minimise(&fit.coordinates(), &STEPS, evaluation_count_max, TOLERANCE, of_parts);
        let (scatter_sd, local) = parts_of(&found.at);
        *fit = WholeFit { broad: BroadFit { scatter_sd, ..broad }, local };
        self.broad.log_density_of(&broad) - found.value
    }

    /// Learns all spreads, beginning at `start`; the local part gets `evaluation_count_max`
    /// evaluations.
    pub fn learn(&self, start: WholeFit, first: First, evaluation_count_max: usize) -> Learned {
        let mut fit = start;
        if first == First::Broad {
            self.learn_broad(&mut fit);
            let log_density = self.learn_local(&mut fit, evaluation_count_max);
            return Learned { fit, log_density };
        }
        self.learn_local(&mut fit, evaluation_count_max / 2);
        self.learn_broad(&mut fit);
        let log_density = self.learn_local(&mut fit, evaluation_count_max / 2);
        Learned { fit, log_density }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::random::Random;
    use super::super::super::survey::{Site, Survey};
    use super::super::super::test_planks::grand;
    use super::super::basis::Basis;
    use super::*;

    /// Values with a step between sections and scatter, every hundredth pin a bad hole that counts
    /// for nothing; in order along the plank.
    fn plank(seed: u64, step: f64, scatter: f64) -> (Vec<Site>, Vec<f64>, Vec<f64>) {
        let mut sites = Survey::new(&grand(), &[]).sites;
        sites.sort_by(|a, b| a.x_m.total_cmp(&b.x_m));
        let mut random = Random::new(seed);
        let steps: Vec<f64> = (0..4).map(|_| step * random.normal()).collect();
        let values = sites.iter().enumerate().map(|(i, site)| {
            let sound = steps[usize::from(site.section)] + scatter * random.normal();
            if i % 100 == 50 { sound - 1.2 } else { sound }
        });
        let values = values.collect();
        let weights = (0..sites.len()).map(|i| if i % 100 == 50 { 1e-4 } else { 1.0 }).collect();
        (sites, values, weights)
    }

    fn learn(sites: &[Site], values: &[f64], weights: &[f64]) -> WholeFit {
        let basis = Basis::new(sites);
        let design = basis.design(sites);
        let variances = vec![4e-4; values.len()];
        let evidence = Evidence {
            basis: &basis,
            design: &design,
            observed: values,
            variances: &variances,
            weights,
        };
        let spots: Vec<Place> = sites
            .iter()
            .map(|site| Place { x_m: site.x_m, y_m: site.y_m, section: site.section })
            .collect();
        let (broad, local) = (SpreadPriors::default(), LocalPriors::default());
        let learner = Learner { evidence, spots: &spots, broad: &broad, local: &local };
        let start = WholeFit { broad: broad.middle(), local: local.middle() };
        let learned = learner.learn(start, First::Broad, 80);
        assert!(learned.log_density.is_finite());
        learned.fit
    }

    #[test]
    fn steps_and_scatter_are_learned_and_bad_holes_take_no_part() {
        let (mut low, mut high) = (0.0, 0.0);
        for seed in 1..=10 {
            for (step, scatter) in [(0.02, 0.08), (0.3, 0.16)] {
                let (sites, values, weights) = plank(seed, step, scatter);
                let broad = learn(&sites, &values, &weights).broad;
                let share = broad.scatter_sd / scatter;
                // Four standard errors of a spread from some 190 degrees of freedom: 0.21.
                assert!((0.79..1.21).contains(&share), "{seed} {broad:?}");
                *(if step < 0.1 { &mut low } else { &mut high }) += broad.spread.section_sd / 10.0;
            }
        }
        // Four sections tell little of their spread, but they tell.
        assert!(low < 0.11 && high > 0.18, "{low} {high}");
    }

    #[test]
    fn a_low_patch_makes_the_local_part_large_and_an_even_plank_small() {
        let (sites, even, weights) = plank(11, 0.05, 0.10);
        let patch = |site: &Site| site.section == 2 && (55..=60).contains(&site.pin.note);
        let lower = |(site, value): (&Site, &f64)| value - if patch(site) { 0.9 } else { 0.0 };
        let low: Vec<f64> = sites.iter().zip(&even).map(lower).collect();
        let sd = |values: &[f64]| learn(&sites, values, &weights).local.variance.sqrt();
        let (small, large) = (sd(&even), sd(&low));
        assert!(small < 0.05 && large > 0.10, "{small} {large}");
    }

    #[test]
    fn a_few_pins_leave_the_priors_as_they_are() {
        let (sites, values, weights) = plank(3, 0.1, 0.1);
        let few = learn(&sites[..2], &values[..2], &weights[..2]);
        let middle = SpreadPriors::default().middle();
        let (spread, before) = (few.broad.spread, middle.spread);
        assert!((few.broad.scatter_sd / middle.scatter_sd - 1.0).abs() < 0.25, "{few:?}");
        assert!((spread.trend_sd / before.trend_sd - 1.0).abs() < 0.5, "{few:?}");
        let all = [spread.section_sd, spread.row_sd, few.local.variance, few.local.shared];
        assert!(all.iter().all(|value| value.is_finite()));
    }
}
