//! What more trial pins are expected to be worth.
//!
//! Before they are fitted, every result they may have is supposed in turn, weighed by its chance,
//! and the size is chosen anew: the expected fall of the loss (Raiffa and Schlaifer, *Applied
//! Statistical Decision Theory*, 1961: preposterior analysis). Several trial pins of one size count
//! by their mean, so what they would tell of the scatter between holes is left out, which makes
//! them worth a little less here than they are. The integral is a sum over an even grid of results.
//!
//! Deliberately not here: what a trial costs in money.

use super::outlook::{Outlook, chance_above, least_of, losses_of};
use super::{Component, Gain, Place};
use crate::analysis::stats::normal_density;

/// Fall of the loss, without a unit, from which one more trial pin is worth its trouble: a fiftieth
/// of doing the work twice (DER). It is one of some forty pins, and stays in where it is right.
pub const WORTH_PER_PIN: f64 = 0.02;
/// Most trial pins advised at once.
pub const TRIALS_MORE_MAX: usize = 6;
/// Standard uncertainty of a gain read twice, N·m, where no trial has told it.
const READ_U_NM: f64 = 0.5;
/// Distance of the grid's results, N·m, and how far it reaches, standard deviations.
const GRID_STEP_NM: f64 = 0.2;
const GRID_REACH_SD: f64 = 4.5;
/// Laws less likely than this do not move the sum.
const CHANCE_MIN: f64 = 1e-5;

/// The trial pins that are worth most, if any are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MoreTrials {
    /// How many; 0: no more.
    pub count: usize,
    /// Diameter to fit, micrometres.
    pub to_um: u32,
    /// Expected fall of the loss by so many, without a unit.
    pub fall: f64,
    /// Expected fall of the loss by one, without a unit.
    pub fall_of_one: f64,
}

/// How many more trial pins, of which size, at a place are worth their trouble. `None` where no
/// larger size fits.
pub fn more_trials(gain: &Gain, place: &Place) -> Option<MoreTrials> {
    let now = Outlook::new(gain, place).loss;
    let fall = |to_um: u32, count: usize| now - expected_loss(gain, place, to_um, count);
    let mut best: Option<(f64, MoreTrials)> = None;
    // Two sizes up at once can split a dry plank (ONE): a trial begins with one, and each further
    // one must be worth as much again.
    let size_count = if gain.trial_count() == 0 { 1 } else { place.sizes_um.len() };
    for (index, to_um) in place.sizes_um.iter().take(size_count).enumerate() {
        let trouble = WORTH_PER_PIN * (index + 1) as f64;
        let fall_of_one = fall(*to_um, 1);
        for count in 1..=TRIALS_MORE_MAX {
            let fall = if count == 1 { fall_of_one } else { fall(*to_um, count) };
            let plan = MoreTrials { count, to_um: *to_um, fall, fall_of_one };
            let net = fall - trouble * count as f64;
            if best.as_ref().is_none_or(|(most, _)| net > *most) {
                best = Some((net, plan));
            }
        }
    }
    best.map(|(net, plan)| if net > 0.0 { plan } else { MoreTrials { count: 0, ..plan } })
}

/// One law's forecast of the mean gain of the trials, and what it does to each size.
struct Forecast {
    chance: f64,
    mean: f64,
    variance: f64,
    /// For each size: margin above the target now, its rise with the result, its variance then.
    margins: Vec<(f64, f64, f64)>,
}

impl Forecast {
    fn new(
        (chance, component): (f64, &Component),
        place: &Place,
        to_um: u32,
        count: usize,
    ) -> Forecast {
        let trial = place.fitting(f64::from(to_um));
        let row = component.row(&trial);
        let (mean, known) = component.belief.sum(&row);
        let noise = component.scatter_variance(&trial) + READ_U_NM * READ_U_NM;
        let variance = known + noise / count as f64;
        let margins = place.sizes_um.iter().map(|size_um| {
            let of_size = component.row(&place.fitting(f64::from(*size_um)));
            let (gain, spread) = component.belief.sum(&of_size);
            let with = component.belief.covariance(&of_size, &row);
            let short = place.short_nm(*size_um);
            let then = spread - with * with / variance + short.u * short.u;
            (gain - short.value, with / variance, then)
        });
        let margins = margins.collect();
        Forecast { chance, mean, variance, margins }
    }

    /// Adds the chances that a result comes and each size reaches its target then.
    fn add(&self, result_nm: f64, reach: &mut [f64]) -> f64 {
        let density = self.chance * normal_density(result_nm, self.mean, self.variance);
        let mut least = 0.0_f64;
        for (sum, (margin, rise, variance)) in reach.iter_mut().zip(&self.margins) {
            let moved = margin + rise * (result_nm - self.mean);
            least = least.max(chance_above(moved, *variance));
            *sum += density * least;
        }
        density
    }
}

/// Loss to be expected after so many more trial pins of one size at the place.
pub(super) fn expected_loss(gain: &Gain, place: &Place, to_um: u32, count: usize) -> f64 {
    let forecasts: Vec<Forecast> = gain
        .weighted()
        .filter(|(chance, _)| *chance > CHANCE_MIN)
        .map(|weighted| Forecast::new(weighted, place, to_um, count))
        .collect();
    let end = |side: f64| {
        forecasts.iter().map(move |of| of.mean + side * GRID_REACH_SD * of.variance.sqrt())
    };
    let from = end(-1.0).fold(f64::INFINITY, f64::min);
    let to = end(1.0).fold(f64::NEG_INFINITY, f64::max);
    let step_count = ((to - from) / GRID_STEP_NM).ceil().max(0.0) as usize;
    let (mut loss, mut whole) = (0.0, 0.0);
    for step in 0..=step_count {
        let mut reach = vec![0.0; place.sizes_um.len()];
        let result_nm = from + step as f64 * GRID_STEP_NM;
        let density = forecasts.iter().fold(0.0, |sum, of| sum + of.add(result_nm, &mut reach));
        let losses = losses_of(&reach, density);
        loss += least_of(&losses).map_or(0.0, |choice| losses[choice]);
        whole += density;
    }
    if whole > 0.0 { loss / whole } else { 0.0 }
}
