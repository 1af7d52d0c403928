//! What a larger pin gains in friction, before and after trial pins.
//!
//! A gain is fresh thread (whatever the size) + so much per millimetre of diameter + what one hole
//! differs from the next by, and nobody knows that scatter either: it is one of a few values, each
//! with its chance. The second size may gain less than the first or more, a looser hole less than
//! a tighter one, a reamed hole and a hole elsewhere on the plank differently: all wide open
//! before a trial. In cracked or oil-soaked wood a larger pin gains next to nothing, which is a law
//! of its own, for the place alone or for the whole plank, with a chance of its own. Trial pins,
//! fitted in bad and ordinary holes and read again, sharpen all of it by Bayes' rule; given the
//! scatter and the law it is linear regression in closed form (`law`).
//!
//! Deliberately not here: which places there are (the verdict), and prices.
//!
//! Numbers without a source beside them are ours (DER), wide on purpose.

mod law;
mod outlook;
#[cfg(test)]
mod tests;
mod worth;

use pinhold_protocol::record::Pin;

use super::input::Estimate;
use super::profile::Profile;
use super::stats::normal_cdf;
use law::{Belief, Row};

pub use outlook::{Outlook, Place, SizeOutlook};
pub use worth::{MoreTrials, TRIALS_MORE_MAX, WORTH_PER_PIN, more_trials};

/// Gain of a fresh thread in an old hole, N·m, mean and standard deviation: part of the one
/// documented case's 5.6 N·m was that (DER).
const FRESH_NM: (f64, f64) = (1.0, 1.5);
/// What the second size gains beyond the first, halved, N·m.
const BEND_NM: (f64, f64) = (-0.3, 0.8);
/// What a hole elsewhere on the plank gains more, N·m, and more per millimetre, N·m/mm: wood that
/// is not loose should grip no worse.
const ELSEWHERE_NM: (f64, f64) = (0.0, 1.0);
const ELSEWHERE_NM_PER_MM: (f64, f64) = (5.0, 12.0);
/// What a reamed hole gains more, N·m: rounder, but wider; nobody has told which counts for more.
const REAMED_NM: (f64, f64) = (0.0, 1.5);
/// Gain per millimetre and newton-metre that the hole had before, 1/mm.
const PER_FRICTION: (f64, f64) = (0.0, 3.0);
/// Friction about which that is taken, N·m: a bad hole's.
const FRICTION_MIDDLE_NM: f64 = 4.0;
/// Gain where the wood no longer grips, N·m, and how holes differ there.
const NO_GRIP_NM: (f64, f64) = (0.2, 0.5);
const NO_GRIP_SCATTER_NM: f64 = 0.7;
/// Of wood that does not grip at a place, the share of planks where it grips nowhere.
const NOWHERE_SHARE: f64 = 0.2;
/// How gains differ from hole to hole, N·m, standard deviation with its chance. Pins scatter by
/// .001 to .005 in in diameter (ONE), which alone is worth 1 to 7 N·m at the documented slope.
const SCATTERS_NM: [(f64, f64); 5] = [(0.4, 0.1), (0.8, 0.25), (1.4, 0.3), (2.4, 0.25), (4.0, 0.1)];
/// One size, mm: steps are .004 to .006 in (MEM).
const SIZE_STEP_MM: f64 = 0.12;
/// Gains beyond this are a mistake of typing, N·m.
const GAIN_NM_MAX: f64 = 60.0;

/// A larger pin fitted in trial, and read before and after.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trial {
    /// The pin.
    pub pin: Pin,
    /// Diameter before, micrometres.
    pub from_um: u32,
    /// Diameter fitted, micrometres.
    pub to_um: u32,
    /// The hole was reamed first.
    pub reamed: bool,
    /// Friction before, N·m.
    pub before_nm: Estimate,
    /// Friction after, N·m.
    pub after_nm: Estimate,
}

impl Trial {
    /// Friction gained, N·m. What both readings share is carried as if they shared nothing.
    pub fn gain_nm(&self) -> Estimate {
        Estimate {
            value: self.after_nm.value - self.before_nm.value,
            u: libm::hypot(self.before_nm.u, self.after_nm.u),
        }
    }

    /// The hole and the step.
    pub fn fitting(&self, elsewhere: bool) -> Fitting {
        Fitting {
            step_mm: (f64::from(self.to_um) - f64::from(self.from_um)) / 1000.0,
            friction_nm: self.before_nm.value,
            reamed: self.reamed,
            elsewhere,
        }
    }
}

/// A hole and the larger pin that goes into it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitting {
    /// Diameter to be fitted less the one before, mm.
    pub step_mm: f64,
    /// Friction before, N·m.
    pub friction_nm: f64,
    /// The hole is reamed first.
    pub reamed: bool,
    /// Not at the place the gain is asked for.
    pub elsewhere: bool,
}

impl Fitting {
    fn row(&self, grips: bool) -> Row {
        if !grips {
            return [0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0];
        }
        let flag = |is: bool| if is { 1.0 } else { 0.0 };
        let sizes = self.step_mm / SIZE_STEP_MM;
        let looser_by_nm = (self.friction_nm - FRICTION_MIDDLE_NM).clamp(-4.0, 8.0);
        [
            1.0,
            self.step_mm,
            sizes * (sizes - 1.0),
            flag(self.elsewhere),
            flag(self.elsewhere) * self.step_mm,
            flag(self.reamed),
            looser_by_nm * self.step_mm,
            0.0,
        ]
    }

    fn is_usable(&self) -> bool {
        self.step_mm.is_finite() && self.step_mm > 0.0 && self.friction_nm.is_finite()
    }
}

/// Where the wood grips.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Grip {
    Everywhere,
    ElsewhereOnly,
    Nowhere,
}

impl Grip {
    fn at(self, fitting: &Fitting) -> bool {
        match self {
            Grip::Everywhere => true,
            Grip::ElsewhereOnly => fitting.elsewhere,
            Grip::Nowhere => false,
        }
    }
}

/// One law with one scatter.
#[derive(Clone, Debug, PartialEq)]
struct Component {
    grip: Grip,
    scatter_nm: f64,
    /// Logarithm of its chance before any trial.
    log_prior: f64,
    /// Logarithm of how well it foretold the trials, together.
    log_fit: f64,
    belief: Belief,
}

impl Component {
    fn log_joint(&self) -> f64 {
        self.log_prior + self.log_fit
    }

    fn scatter_variance(&self, fitting: &Fitting) -> f64 {
        let scatter_nm = if self.grip.at(fitting) { self.scatter_nm } else { NO_GRIP_SCATTER_NM };
        scatter_nm * scatter_nm
    }

    fn row(&self, fitting: &Fitting) -> Row {
        fitting.row(self.grip.at(fitting))
    }
}

/// What is known of the gain at one place.
#[derive(Clone, Debug, PartialEq)]
pub struct Gain {
    components: Vec<Component>,
    trial_count: usize,
}

impl Gain {
    /// Before any trial. `no_grip_chance`, 0–1, is the chance that the wood no longer grips at the
    /// place, from all that is known of the plank.
    pub fn before_trials(profile: &Profile, no_grip_chance: f64) -> Gain {
        let per_mm = (profile.gain_nm_per_mm.value, profile.gain_u_nm_per_mm.value);
        let sizes = [
            FRESH_NM,
            per_mm,
            BEND_NM,
            ELSEWHERE_NM,
            ELSEWHERE_NM_PER_MM,
            REAMED_NM,
            PER_FRICTION,
            NO_GRIP_NM,
        ];
        let none = if no_grip_chance.is_finite() { no_grip_chance.clamp(0.0, 1.0) } else { 0.0 };
        let laws = [
            (Grip::Everywhere, 1.0 - none),
            (Grip::ElsewhereOnly, none * (1.0 - NOWHERE_SHARE)),
            (Grip::Nowhere, none * NOWHERE_SHARE),
        ];
        let components = laws
            .into_iter()
            .filter(|(_, chance)| *chance > 0.0)
            .flat_map(|(grip, chance)| {
                SCATTERS_NM.map(|(scatter_nm, share)| Component {
                    grip,
                    scatter_nm,
                    log_prior: libm::log(chance * share),
                    log_fit: 0.0,
                    belief: Belief::independent(sizes),
                })
            })
            .collect();
        Gain { components, trial_count: 0 }
    }

    /// After one more trial that gained so much. What is not finite, absurd or no larger pin is
    /// passed over.
    pub fn after(&self, fitting: &Fitting, gain_nm: Estimate) -> Gain {
        let mut gain = self.clone();
        let told = gain_nm.value.abs() <= GAIN_NM_MAX && gain_nm.u.is_finite();
        if !told || !fitting.is_usable() {
            return gain;
        }
        for component in &mut gain.components {
            let variance = component.scatter_variance(fitting) + gain_nm.u * gain_nm.u;
            let row = component.row(fitting);
            component.log_fit += component.belief.learn(&row, gain_nm.value, variance);
        }
        gain.trial_count += 1;
        gain
    }

    /// After trials, each told whether it stood elsewhere on the plank.
    pub fn after_all<'a>(self, trials: impl IntoIterator<Item = (&'a Trial, bool)>) -> Gain {
        trials.into_iter().fold(self, |gain, (trial, elsewhere)| {
            gain.after(&trial.fitting(elsewhere), trial.gain_nm())
        })
    }

    /// Trials taken in.
    pub fn trial_count(&self) -> usize {
        self.trial_count
    }

    /// Chance that the wood no longer grips at the place, 0–1.
    pub fn no_grip_chance(&self) -> f64 {
        self.weighted().fold(0.0, |sum, (chance, component)| match component.grip {
            Grip::Everywhere => sum,
            _ => sum + chance,
        })
    }

    /// How well wood that grips at the place, and wood that does not, foretold the trials: natural
    /// logarithms. `None` where one of them was ruled out beforehand.
    pub fn log_evidence(&self) -> Option<(f64, f64)> {
        let of = |grips: bool| {
            let chosen = || {
                let with =
                    move |component: &&Component| (component.grip == Grip::Everywhere) == grips;
                self.components.iter().filter(with)
            };
            let joint = log_sum(chosen().map(Component::log_joint));
            let prior = log_sum(chosen().map(|component| component.log_prior));
            (prior > f64::NEG_INFINITY).then_some(joint - prior)
        };
        Some((of(true)?, of(false)?))
    }

    /// Gain of one more such hole, N·m, over all laws: mean and standard deviation, hole to hole
    /// included.
    pub fn of_a_hole(&self, fitting: &Fitting) -> Estimate {
        self.moments(fitting, |component| component.scatter_variance(fitting))
    }

    /// Gain of the median of many such holes, N·m: what holes differ by is left out.
    pub fn of_the_median(&self, fitting: &Fitting) -> Estimate {
        self.moments(fitting, |_| 0.0)
    }

    /// Chance that one more such hole gains at least `short_nm`, which is known to `u_nm`.
    pub fn chance_of_a_hole(&self, fitting: &Fitting, short_nm: f64, u_nm: f64) -> f64 {
        self.weighted().fold(0.0, |sum, (chance, component)| {
            let (mean, variance) = component.belief.sum(&component.row(fitting));
            let variance = variance + component.scatter_variance(fitting) + u_nm * u_nm;
            sum + chance * normal_cdf((mean - short_nm) / variance.sqrt())
        })
    }

    fn moments(&self, fitting: &Fitting, scatter: impl Fn(&Component) -> f64) -> Estimate {
        let (mut value, mut square) = (0.0, 0.0);
        for (chance, component) in self.weighted() {
            let (mean, variance) = component.belief.sum(&component.row(fitting));
            value += chance * mean;
            square += chance * (mean * mean + variance + scatter(component));
        }
        Estimate { value, u: (square - value * value).max(0.0).sqrt() }
    }

    /// Components with their chances after the trials.
    fn weighted(&self) -> impl Iterator<Item = (f64, &Component)> {
        let total = log_sum(self.components.iter().map(Component::log_joint));
        self.components
            .iter()
            .map(move |component| (libm::exp(component.log_joint() - total), component))
    }
}

/// Logarithm of a sum of exponentials; −∞ of nothing.
fn log_sum(logs: impl Iterator<Item = f64> + Clone) -> f64 {
    let top = logs.clone().fold(f64::NEG_INFINITY, f64::max);
    if top == f64::NEG_INFINITY {
        return top;
    }
    top + libm::log(logs.fold(0.0, |sum, log| sum + libm::exp(log - top)))
}
