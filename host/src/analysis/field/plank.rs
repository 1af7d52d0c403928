//! The plank as it is found: the field of torque with its bad places, at every pin.
//!
//! Broad shapes, a local part that may follow a row and run on beneath a strut, and scatter from
//! pin to pin with room for single bad holes. How much of a difference is which is learned from the
//! plank (`hyper`, `local`). Expectation and maximisation: each pin's chance of being an ordinary
//! one is told by what all *other* pins lead to expect, so that neighbours that are low together
//! make a bad place and one that is low alone makes a bad hole.
//!
//! Deliberately not here: what a sound plank would have (`sound`), which pins make a zone, words.
//!
//! Invariant: everything that leaves here is finite.
//!
//! Numbers without a source beside them are ours (DER).

use super::super::linalg::{Cholesky, dot};
use super::super::profile::Profile;
use super::super::scatter::{
    LOOSE_PINS_PRIOR, LOOSE_SHARE_PRIOR, ScatterLaw, WEIGHT_MIN, loose_share,
};
use super::super::stats::median;
use super::super::survey::{Site, Survey};
use super::basis::{Basis, Place};
use super::common::{CommonError, own_variances};
use super::compact::LocalPart;
use super::hyper::{Evidence, SpreadPriors};
use super::linear::{Design, LinearField};
use super::local::{First, Learner, LocalPriors, WholeFit, covariance};
use super::pin_law::{LeftTight, PinLaw};
use super::plank_point::{
    BAD_PLACE_STEP, PinStanding, PlankPoint, SoundPoint, bad_place_chance, sound_points,
};
use super::sound::SoundField;
use super::window::{LANES, Lanes, Window};

/// Evaluations of the local part in each round of expectation and maximisation.
const ROUNDS: [usize; 3] = [60, 40, 30];
/// Local part with which pins are first weighed: generous, so that a bad place is seen as one
/// before its pins are taken for single bad holes.
const FIRST_LOCAL_SD: f64 = 0.3;
/// Share of pins that a bad place leaves tight, before any is read: a quarter, as if four pins had
/// told (a ragged line has some that are still tight, ONE; the numbers are ours).
const TIGHT_SHARE_PRIOR: f64 = 0.25;
const TIGHT_SHARE_PRIOR_PINS: f64 = 4.0;

/// The plank's field, fitted.
#[derive(Clone, Debug, PartialEq)]
pub struct PlankField {
    /// Spreads of its parts.
    pub spreads: WholeFit,
    /// Scatter from pin to pin.
    pub scatter: ScatterLaw,
    /// What all readings share.
    pub common: CommonError,
    /// One entry per pin of the instrument.
    pub points: Vec<PlankPoint>,
    pub(super) basis: Basis,
    pub(super) window: Window,
    /// Places of the observations, in order along the plank.
    pub(super) spots: Vec<Place>,
    /// Middle of the observations, which the fit is about.
    pub(super) base: f64,
    pub(super) sites: Vec<Site>,
    /// The sound field at each site.
    pub(super) sound: Vec<SoundPoint>,
    /// Share of pins that a bad place leaves tight, 0–1.
    pub tight_share: f64,
    /// Limits of doubtful: friction, N·m, and holding factor.
    pub(super) limits: (f64, f64),
}

/// The observations in order along the plank.
pub(super) struct Data {
    /// Index of each into the survey's observations.
    order: Vec<usize>,
    spots: Vec<Place>,
    design: Design,
    pub(super) observed: Vec<f64>,
    variances: Vec<f64>,
    base: f64,
}

impl Data {
    pub(super) fn new(survey: &Survey<'_>, basis: &Basis) -> Option<Data> {
        let logs: Vec<f64> = survey.observations.iter().map(|o| o.log_friction).collect();
        let base = median(&logs)?;
        let site = |i: usize| &survey.sites[survey.observations[i].site];
        let mut order: Vec<usize> = (0..logs.len()).collect();
        order.sort_by(|a, b| site(*a).x_m.total_cmp(&site(*b).x_m).then(a.cmp(b)));
        let own = own_variances(survey);
        Some(Data {
            spots: order.iter().map(|i| spot_of(site(*i))).collect(),
            design: basis.design(order.iter().map(|i| site(*i))),
            observed: order.iter().map(|i| logs[*i] - base).collect(),
            variances: order.iter().map(|i| own[*i]).collect(),
            base,
            order,
        })
    }

    fn evidence<'a>(&'a self, basis: &'a Basis, weights: &'a [f64]) -> Evidence<'a> {
        Evidence {
            basis,
            design: &self.design,
            observed: &self.observed,
            variances: &self.variances,
            weights,
        }
    }
}

fn spot_of(site: &Site) -> Place {
    Place { x_m: site.x_m, y_m: site.y_m, section: site.section }
}

/// What all others lead to expect of an observation.
#[derive(Clone, Copy)]
pub(super) struct LeftOut {
    /// Mean of the field there, about the base.
    mean: f64,
    /// Its variance, scatter and measurement not included.
    variance: f64,
}

/// The field with given spreads and chances of being ordinary.
pub(super) fn linear_field(
    data: &Data,
    basis: &Basis,
    spreads: &WholeFit,
    weights: &[f64],
) -> Option<LinearField> {
    let noise = data.evidence(basis, weights).noise_variances(spreads.broad.scatter_sd);
    let prior = basis.prior_variances(&spreads.broad.spread);
    let factor = Cholesky::factor(covariance(&data.spots, &spreads.local, &noise))?;
    LinearField::fit_factored(&data.design, &data.observed, factor, &prior)
}

/// The same made ready for many places, and every observation left out.
pub(super) fn fit_once(
    data: &Data,
    basis: &Basis,
    spreads: &WholeFit,
    weights: &[f64],
) -> Option<(Window, Vec<LeftOut>)> {
    let window = Window::new(&linear_field(data, basis, spreads, weights)?)?;
    let noise = data.evidence(basis, weights).noise_variances(spreads.broad.scatter_sd);
    let left_out = window.leave_one_out().into_iter().zip(&noise).zip(&data.observed);
    let left_out = left_out.map(|(((difference, variance), noise), observed)| LeftOut {
        mean: observed - difference,
        variance: (variance - noise).max(0.0),
    });
    Some((window, left_out.collect()))
}

/// Each pin's chance of being ordinary, told by all others, and the share of loose ones.
fn weigh(data: &Data, left_out: &[LeftOut], scatter: ScatterLaw) -> (Vec<f64>, ScatterLaw) {
    let mut loose = LOOSE_PINS_PRIOR;
    let mut weights = Vec::with_capacity(left_out.len());
    for (i, left) in left_out.iter().enumerate() {
        let law = PinLaw::about(left.mean, left.variance, scatter, LeftTight::default());
        let shares = law.given(data.observed[i], data.variances[i]).shares();
        weights.push(shares[0].max(WEIGHT_MIN));
        loose += shares[1];
    }
    (weights, ScatterLaw { loose_share: loose_share(loose, left_out.len()), ..scatter })
}

impl PlankField {
    /// Fits the plank as found. `None` without a single observation.
    pub fn fit(survey: &Survey<'_>, sound: &SoundField, profile: &Profile) -> Option<PlankField> {
        let basis = Basis::new(&survey.sites);
        let data = Data::new(survey, &basis)?;
        let priors = (&SpreadPriors::default(), &LocalPriors::default());
        let mut spreads = WholeFit { broad: priors.0.middle(), local: priors.1.middle() };
        let mut scatter =
            ScatterLaw { sd: spreads.broad.scatter_sd, loose_share: LOOSE_SHARE_PRIOR };
        let generous = WholeFit {
            local: LocalPart { variance: FIRST_LOCAL_SD * FIRST_LOCAL_SD, ..spreads.local },
            ..spreads
        };
        let first = fit_once(&data, &basis, &generous, &vec![1.0; data.observed.len()])?;
        let (mut weights, law) = weigh(&data, &first.1, scatter);
        scatter = law;
        for (round, evaluation_count_max) in ROUNDS.into_iter().enumerate() {
            let evidence = data.evidence(&basis, &weights);
            let (broad, local) = priors;
            let learner = Learner { evidence, spots: &data.spots, broad, local };
            let mut best = learner.learn(spreads, First::Broad, evaluation_count_max);
            if round == 0 {
                let other = learner.learn(generous, First::Local, evaluation_count_max);
                if other.log_density > best.log_density {
                    best = other;
                }
            }
            spreads = best.fit;
            scatter.sd = spreads.broad.scatter_sd;
            let (_, left_out) = fit_once(&data, &basis, &spreads, &weights)?;
            (weights, scatter) = weigh(&data, &left_out, scatter);
        }
        let (window, left_out) = fit_once(&data, &basis, &spreads, &weights)?;
        let mut field = PlankField {
            spreads,
            scatter,
            common: CommonError::of(survey),
            points: Vec::new(),
            basis,
            window,
            base: data.base,
            sites: survey.sites.clone(),
            sound: sound_points(survey, sound, data.base),
            tight_share: TIGHT_SHARE_PRIOR,
            limits: (profile.doubtful_nm.value.max(1e-9), profile.doubtful_factor.value.max(1e-9)),
            spots: Vec::new(),
        };
        field.spots.clone_from(&data.spots);
        let mut at_site = vec![None; survey.sites.len()];
        for (i, left) in left_out.iter().enumerate() {
            at_site[survey.observations[data.order[i]].site] = Some((i, *left));
        }
        let read = at_site.iter().enumerate();
        let read = read.filter_map(|(site, left)| Some((site, (*left)?)));
        field.tight_share = field.tight_share_of(&data, read);
        field.points = at_site
            .into_iter()
            .enumerate()
            .map(|(site, left)| {
                let left = left.map(|(i, left)| (left, data.observed[i], data.variances[i]));
                field.point(site, left)
            })
            .collect();
        Some(field)
    }

    /// Share of the pins in bad places that are still tight, told by the read ones.
    fn tight_share_of(
        &self,
        data: &Data,
        read: impl Iterator<Item = (usize, (usize, LeftOut))>,
    ) -> f64 {
        let mut tight = TIGHT_SHARE_PRIOR * TIGHT_SHARE_PRIOR_PINS;
        let mut pins = TIGHT_SHARE_PRIOR_PINS;
        for (site, (i, left)) in read {
            let (place, sound) = (self.base + left.mean, self.sound[site]);
            let bad = bad_place_chance(place, left.variance, sound);
            if bad > 0.5 {
                let as_it_was = LeftTight {
                    share: TIGHT_SHARE_PRIOR * bad,
                    mean: sound.mean,
                    variance: sound.variance,
                };
                let law = PinLaw::about(place, left.variance, self.scatter, as_it_was);
                let shares = law.given(self.base + data.observed[i], data.variances[i]).shares();
                tight += shares[2] + shares[3];
                pins += 1.0;
            }
        }
        tight / pins
    }

    /// Law of a pin nobody read, where the plank and the sound field are these.
    pub(super) fn law_about(&self, log_mean: f64, log_variance: f64, sound: SoundPoint) -> PinLaw {
        let bad = bad_place_chance(log_mean, log_variance, sound);
        let share = bad * self.tight_share;
        let tight = LeftTight { share, mean: sound.mean, variance: sound.variance };
        PinLaw::about(log_mean, log_variance, self.scatter, tight)
    }

    /// The plank at one pin; `read`: what all others lead to expect there, and its reading with
    /// variance, about the base.
    fn point(&self, site: usize, read: Option<(LeftOut, f64, f64)>) -> PlankPoint {
        let shapes = self.basis.row_at_site(&self.sites[site]);
        let (mean, log_variance) = self.posterior(&shapes, spot_of(&self.sites[site]));
        let log_mean = self.base + mean;
        let sound = self.sound[site];
        let Some((left, observed, variance)) = read else {
            let law = self.law_about(log_mean, log_variance, sound);
            let standing = PinStanding::Ordinary;
            return PlankPoint { log_mean, log_variance, law, residual_sd: None, standing };
        };
        let place = self.base + left.mean;
        let reading = self.base + observed;
        let law = self.law_about(place, left.variance, sound).given(reading, variance);
        let scatter = self.scatter.sd * self.scatter.sd;
        let z = (observed - left.mean) / (left.variance + scatter + variance).sqrt();
        let [_, loose, high, tight] = law.shares();
        let standing = if loose > 0.5 {
            PinStanding::BadHole
        } else if high + tight > 0.5 {
            PinStanding::Above
        } else if bad_place_chance(place, left.variance, sound) > 0.5
            && law.chance_below(sound.mean - BAD_PLACE_STEP, 0.0) > 0.5
        {
            PinStanding::InBadPlace
        } else {
            PinStanding::Ordinary
        };
        PlankPoint { log_mean, log_variance, law, residual_sd: Some(z), standing }
    }

    /// Posterior mean about the base and variance of the plank at a place.
    fn posterior(&self, shapes: &[f64], spot: Place) -> (f64, f64) {
        let (mut active, mut cross): (Vec<usize>, Vec<Lanes>) = (Vec::new(), Vec::new());
        let local = &self.spreads.local;
        for (i, other) in self.spots.iter().enumerate() {
            let same = spot.section == other.section;
            let k = local.covariance(spot.x_m - other.x_m, spot.y_m - other.y_m, same);
            if k != 0.0 {
                let mut lanes = [0.0; LANES];
                lanes[0] = k;
                active.push(i);
                cross.push(lanes);
            }
        }
        let part = self.window.reach_part(&active, &cross);
        let shape = self.window.shape_part(shapes, 0..self.spots.len());
        let linked =
            active.iter().zip(&cross).fold(0.0, |sum, (i, k)| sum + shape.links[*i] * k[0]);
        let open = dot(shapes, &shape.spread);
        let variance = local.variance + open - 2.0 * linked - part.known[0];
        (shape.mean + part.mean[0], variance.max(0.0))
    }
}
