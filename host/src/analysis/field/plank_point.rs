//! What is said of a pin: how it stands among its neighbours, and what it amounts to against fixed
//! limits. Only here do the errors that all readings share come in.
//!
//! Deliberately not here: the fit (`plank`).

use super::super::budget::COVERAGE;
use super::super::input::Estimate;
use super::super::stats::normal_cdf;
use super::super::survey::{Site, Survey};
use super::pin_law::{LOG_MAX, PinLaw};
use super::plank::PlankField;
use super::sound::SoundField;

/// A place this far below the sound field is a bad one, natural-log units: a fifth, the least step
/// that makes a zone (ours).
pub const BAD_PLACE_STEP: f64 = 0.22;

/// How a pin that was read stands among its neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PinStanding {
    /// As its neighbours lead to expect, in a sound place.
    Ordinary,
    /// Low against its own neighbours: a bad hole.
    BadHole,
    /// Low together with its neighbours: a bad place.
    InBadPlace,
    /// Above its neighbours: glued, of an odd size, or what a bad place left tight.
    Above,
}

impl PinStanding {
    /// The word in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            PinStanding::Ordinary => "ordinary",
            PinStanding::BadHole => "bad-hole",
            PinStanding::InBadPlace => "in-bad-place",
            PinStanding::Above => "above",
        }
    }
}

/// The plank at one pin. Logarithms are natural, of N·m, and as told: errors that all readings
/// share are not in them.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlankPoint {
    /// Posterior mean of the plank there, all readings used, scatter not included.
    pub log_mean: f64,
    /// Its variance.
    pub log_variance: f64,
    /// What this pin has: its place, scatter, and its own reading where there is one.
    pub law: PinLaw,
    /// Distance of its reading from what all others lead to expect, in standard deviations, scatter
    /// and measurement included.
    pub residual_sd: Option<f64>,
    /// How it stands.
    pub standing: PinStanding,
}

/// What is said of a pin against fixed limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PinEstimate {
    /// The plank there, N·m: median and standard deviation, scatter not included.
    pub plank_nm: Estimate,
    /// What this pin has, N·m: expectation and standard deviation.
    pub expected_nm: Estimate,
    /// From and to of the 95 % interval of what this pin has, N·m: 2.5 % of its law on either side.
    pub expected_interval_nm: (f64, f64),
    /// `expected_nm` over the string's moment at target pitch.
    pub holding_factor: Estimate,
    /// Chance of being doubtful or worse, by friction or holding factor, 0–1.
    pub doubtful_chance: f64,
}

/// Logarithm of the sound field at a pin: mean and variance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct SoundPoint {
    pub(super) mean: f64,
    pub(super) variance: f64,
}

/// The sound field at every pin; where it says nothing, the middle reading, loosely.
pub(super) fn sound_points(survey: &Survey<'_>, sound: &SoundField, base: f64) -> Vec<SoundPoint> {
    let told = |site: usize| {
        let (mean, sd) = (*sound.log_mean.get(site)?, *sound.log_sd.get(site)?);
        (mean.is_finite() && sd.is_finite()).then_some(SoundPoint { mean, variance: sd * sd })
    };
    let unknown = SoundPoint { mean: base, variance: 1.0 };
    (0..survey.sites.len()).map(|site| told(site).unwrap_or(unknown)).collect()
}

/// Chance that a place where the plank has this mean and variance is a bad one.
pub(super) fn bad_place_chance(log_mean: f64, log_variance: f64, sound: SoundPoint) -> f64 {
    let sd = log_variance.sqrt().max(1e-9);
    normal_cdf((sound.mean - BAD_PLACE_STEP - log_mean) / sd)
}

/// A string's moment at target pitch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Moment {
    /// N·m, above 0.
    pub(super) value_nm: f64,
    /// Its natural logarithm.
    pub(super) log: f64,
    /// Variance of that.
    pub(super) variance: f64,
}

impl Moment {
    /// Friction over it.
    pub(super) fn factor(&self, friction_nm: Estimate) -> Estimate {
        let relative = friction_nm.u / friction_nm.value;
        let value = friction_nm.value / self.value_nm;
        Estimate { value, u: value * (relative * relative + self.variance).sqrt() }
    }

    /// At a pin.
    pub(super) fn at(site: &Site) -> Moment {
        let told = site.moment_at_pitch_nm;
        let value_nm = told.value.max(1e-3);
        let relative = told.u / value_nm;
        Moment { value_nm, log: libm::log(value_nm), variance: relative * relative }
    }
}

impl PlankField {
    /// Standard deviation of the share of doubtful pins, 0–1, from what all readings share alone.
    pub fn share_u_of_common(&self) -> f64 {
        let sd = self.common.log_sd;
        let moved = self.points.iter().zip(&self.sites).fold(0.0, |sum, (point, site)| {
            let moment = Moment::at(site);
            let log_bias = self.common.log_bias(point.law.friction_nm().value, moment.value_nm);
            let chance =
                |shift: f64| self.chance(&point.law.without(log_bias + shift, 0.0), moment);
            sum + (chance(sd) - chance(-sd))
        });
        0.5 * moved.abs() / self.points.len().max(1) as f64
    }

    /// What is said of one pin by its index among the sites, against fixed limits: what all
    /// readings share is in it. `None` for a pin the instrument does not have.
    pub fn at_pin(&self, site: usize) -> Option<PinEstimate> {
        let point = self.points.get(site)?;
        let moment = Moment::at(self.sites.get(site)?);
        let plank_nm = self.plank_nm(point.log_mean, point.log_variance, moment);
        let told = point.law.friction_nm();
        let bias = self.common.log_bias(told.value, moment.value_nm);
        let common = self.common.log_sd * self.common.log_sd + bias * bias;
        let u = (told.u * told.u + told.value * told.value * common).sqrt();
        let expected_nm = Estimate { value: told.value, u };
        let whole = point.law.without(bias, self.common.log_sd * self.common.log_sd);
        let tail = (1.0 - COVERAGE) / 2.0;
        let quantile = |p: f64| libm::exp(whole.quantile(p).clamp(-LOG_MAX, LOG_MAX));
        Some(PinEstimate {
            plank_nm,
            expected_nm,
            expected_interval_nm: (quantile(tail), quantile(1.0 - tail)),
            holding_factor: moment.factor(expected_nm),
            doubtful_chance: self.chance(&whole, moment),
        })
    }

    /// Friction of the plank where its logarithm has this mean and variance: median and standard
    /// deviation, N·m, what all readings share included.
    pub(super) fn plank_nm(&self, log_mean: f64, log_variance: f64, moment: Moment) -> Estimate {
        let value = libm::exp(log_mean.clamp(-LOG_MAX, LOG_MAX));
        let bias = self.common.log_bias(value, moment.value_nm);
        let common = self.common.log_sd * self.common.log_sd + bias * bias;
        Estimate { value, u: value * (log_variance + common).sqrt() }
    }

    /// Chance that a pin with this law is doubtful or worse, by friction or by holding factor, with
    /// what all readings share; `moment` the string's at target pitch.
    pub(super) fn doubtful_chance(&self, law: &PinLaw, friction_nm: f64, moment: Moment) -> f64 {
        let bias = self.common.log_bias(friction_nm, moment.value_nm);
        self.chance(&law.without(bias, self.common.log_sd * self.common.log_sd), moment)
    }

    /// The same of a law that has it all.
    fn chance(&self, law: &PinLaw, moment: Moment) -> f64 {
        let by_friction = law.chance_below(libm::log(self.limits.0), 0.0);
        let by_factor = law.chance_below(libm::log(self.limits.1) + moment.log, moment.variance);
        // The two scales share the friction: the larger of the two, as for readings (`band`).
        by_friction.max(by_factor)
    }
}
