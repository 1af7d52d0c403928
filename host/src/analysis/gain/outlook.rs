//! What each larger size would come to at a place, and the size that risks least.
//!
//! The right size is the smallest that brings the median of the place's loose pins to the target;
//! there may be none. A wrong one is weighed without a unit: too small is the work done twice, too
//! large gives away the room for the next time and strains the plank, none where one would do
//! leaves the pins loose, and any size where none helps is work for nothing. The weights are ours
//! (DER).
//!
//! Deliberately not here: prices (the choice of the remedy).

use super::super::input::Estimate;
use super::super::stats::normal_cdf;
use super::{Component, Fitting, Gain};

/// Loss of a size too small, of none where one would do, and of any where none helps.
const LOSS_WORK_LOST: f64 = 1.0;
/// Loss of a size larger than needed, for each step.
const LOSS_TOO_LARGE: f64 = 0.6;

/// A place whose loose pins may get larger ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Median friction of its loose pins, N·m, and how well that median is known.
    pub friction_nm: Estimate,
    /// String's moment at target pitch on the pins fitted now, N·m.
    pub moment_nm: Estimate,
    /// Diameter fitted now, micrometres.
    pub from_um: f64,
    /// Wire on the pin, micrometres.
    pub wire_um: f64,
    /// Friction wanted, N·m.
    pub friction_wanted_nm: f64,
    /// Holding factor wanted.
    pub factor_wanted: f64,
    /// Sizes that may be fitted, micrometres, smallest first.
    pub sizes_um: Vec<u32>,
    /// Holes are reamed first.
    pub reamed: bool,
}

impl Place {
    /// The string's moment on a pin of this diameter, N·m: its arm is half of pin and wire, so a
    /// larger pin raises it (DER, plain mechanics).
    pub fn moment_on_nm(&self, diameter_um: f64) -> Estimate {
        let arms = (diameter_um + self.wire_um) / (self.from_um + self.wire_um);
        Estimate { value: self.moment_nm.value * arms, u: self.moment_nm.u * arms }
    }

    /// Friction wanted on a pin of this diameter, N·m: of two wants the greater.
    pub fn target_nm(&self, diameter_um: f64) -> Estimate {
        let moment = self.moment_on_nm(diameter_um);
        let by_factor = self.factor_wanted * moment.value;
        if by_factor > self.friction_wanted_nm {
            Estimate { value: by_factor, u: self.factor_wanted * moment.u }
        } else {
            Estimate { value: self.friction_wanted_nm, u: 0.0 }
        }
    }

    /// A typical loose hole of the place and a larger pin.
    pub fn fitting(&self, diameter_um: f64) -> Fitting {
        Fitting {
            step_mm: (diameter_um - self.from_um) / 1000.0,
            friction_nm: self.friction_nm.value,
            reamed: self.reamed,
            elsewhere: false,
        }
    }

    /// Gain the median lacks to its target with this size, N·m, and how well that is known.
    pub(super) fn short_nm(&self, size_um: u32) -> Estimate {
        let target = self.target_nm(f64::from(size_um));
        Estimate {
            value: target.value - self.friction_nm.value,
            u: libm::hypot(target.u, self.friction_nm.u),
        }
    }
}

/// What one size would come to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SizeOutlook {
    /// Diameter, micrometres.
    pub to_um: u32,
    /// Friction of one of the place's typical holes, N·m, hole to hole included.
    pub friction_nm: Estimate,
    /// Its holding factor.
    pub holding_factor: Estimate,
    /// Friction wanted there, N·m.
    pub target_nm: f64,
    /// Chance that the median of the loose pins reaches it, 0–1.
    pub chance: f64,
    /// Chance that one typical hole reaches it, 0–1.
    pub hole_chance: f64,
}

/// Every size at a place, and the one that risks least.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// By size, smallest first; empty where no larger one fits.
    pub sizes: Vec<SizeOutlook>,
    /// Index of the size advised; `None`: no larger pin is expected to be worth its work.
    pub advised: Option<usize>,
    /// Index of the size that risks least if one is fitted at all.
    pub best: Option<usize>,
    /// Chance that what is advised is not right, 0–1.
    pub wrong_size_risk: f64,
    /// Loss to be expected of what is advised, without a unit.
    pub loss: f64,
}

impl Outlook {
    /// With what is known of the gain.
    pub fn new(gain: &Gain, place: &Place) -> Outlook {
        let reach = gain.reach(place);
        let losses = losses(&reach);
        let least = least_of(&losses);
        let best = least_of(&losses[1..]);
        let sizes = place.sizes_um.iter().zip(&reach).map(|(size_um, chance)| {
            let fitting = place.fitting(f64::from(*size_um));
            let one = gain.of_a_hole(&fitting);
            let friction = Estimate {
                value: place.friction_nm.value + one.value,
                u: libm::hypot(one.u, place.friction_nm.u),
            };
            let short = place.short_nm(*size_um);
            SizeOutlook {
                to_um: *size_um,
                friction_nm: friction,
                holding_factor: ratio(friction, place.moment_on_nm(f64::from(*size_um))),
                target_nm: place.target_nm(f64::from(*size_um)).value,
                chance: *chance,
                hole_chance: gain.chance_of_a_hole(&fitting, short.value, short.u),
            }
        });
        Outlook {
            sizes: sizes.collect(),
            advised: least.and_then(|choice| choice.checked_sub(1)),
            best,
            wrong_size_risk: least.map_or(0.0, |choice| 1.0 - right(&reach, choice)),
            loss: least.map_or(0.0, |choice| losses[choice]),
        }
    }

    /// The size advised.
    pub fn advised_size(&self) -> Option<&SizeOutlook> {
        self.sizes.get(self.advised?)
    }

    /// The size that risks least if one is fitted at all.
    pub fn best_size(&self) -> Option<&SizeOutlook> {
        self.sizes.get(self.best?)
    }
}

impl Gain {
    /// Chances that the median of a place's loose pins reaches its target with each size. A larger
    /// size is not taken to reach less.
    fn reach(&self, place: &Place) -> Vec<f64> {
        let mut sums = vec![0.0; place.sizes_um.len()];
        for (chance, component) in self.weighted() {
            for (sum, reached) in sums.iter_mut().zip(reached(component, place)) {
                *sum += chance * reached;
            }
        }
        sums
    }
}

/// The same under one law.
fn reached(component: &Component, place: &Place) -> Vec<f64> {
    let mut least = 0.0_f64;
    let chance = |size_um: &u32| {
        let short = place.short_nm(*size_um);
        let row = component.row(&place.fitting(f64::from(*size_um)));
        let (mean, variance) = component.belief.sum(&row);
        least = least.max(chance_above(mean - short.value, variance + short.u * short.u));
        least
    };
    place.sizes_um.iter().map(chance).collect()
}

/// Chance that a normal of this mean and variance is above 0.
pub(super) fn chance_above(mean: f64, variance: f64) -> f64 {
    normal_cdf(mean / variance.max(1e-12).sqrt())
}

/// Chance that a choice is right: 0 no larger pin, else the size before it in the list.
fn right(reach: &[f64], choice: usize) -> f64 {
    let at = |i: usize| reach.get(i).copied().unwrap_or(0.0);
    match choice {
        0 => 1.0 - reach.last().copied().unwrap_or(0.0),
        1 => at(0),
        _ => at(choice - 1) - at(choice - 2),
    }
}

/// Expected loss of each choice: 0 no larger pin, then each size. Chances need not add up to 1, so
/// that a part of all possibilities can be weighed alone: `whole` is theirs.
pub(super) fn losses_of(reach: &[f64], whole: f64) -> Vec<f64> {
    let reach_at_most = reach.last().copied().unwrap_or(0.0);
    let mut losses = vec![LOSS_WORK_LOST * reach_at_most];
    for choice in 0..reach.len() {
        let too_small = whole - reach[choice];
        // Each smaller size that would do is one step too many.
        let too_large = reach[..choice].iter().fold(0.0, |sum, chance| sum + chance);
        losses.push(LOSS_WORK_LOST * too_small + LOSS_TOO_LARGE * too_large);
    }
    losses
}

fn losses(reach: &[f64]) -> Vec<f64> {
    losses_of(reach, 1.0)
}

/// The first of the least.
pub(super) fn least_of(losses: &[f64]) -> Option<usize> {
    (0..losses.len()).min_by(|a, b| losses[*a].total_cmp(&losses[*b]))
}

/// A quotient of independent parts.
fn ratio(over: Estimate, under: Estimate) -> Estimate {
    let value = over.value / under.value;
    let u = libm::hypot(over.u / under.value, value * under.u / under.value);
    Estimate { value, u }
}
