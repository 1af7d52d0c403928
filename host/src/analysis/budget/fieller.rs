//! Limits of a holding factor, and of mixtures: roots of a distribution function.
//!
//! Deliberately not here: the distributions themselves.

use super::{Case, Quantity, ReadingBudget};

/// Steps of a search at most; each gains a digit or more.
const STEP_COUNT_MAX: usize = 40;
/// Share of the standard uncertainty a root is found to.
const TOLERANCE: f64 = 1e-5;
/// Bisections: the bracket is a few standard uncertainties wide.
const BISECTION_COUNT: usize = 48;
/// Doublings of a bracket at most.
const WIDENING_COUNT_MAX: usize = 12;

/// The factor h with P(F − h·M₀ < 0) = `probability`, friction formed in one way: where the
/// quantile of F − h·M₀ is zero, by the secant rule.
pub(super) fn quantile(budget: &ReadingBudget, case: &Case, probability: f64) -> Option<f64> {
    let moment_nm = budget.moment_at_pitch_nm;
    if moment_nm <= 0.0 {
        return None;
    }
    // P(H < h) = P(F − h·M₀ < 0) = p  ⇔  the p-quantile of F − h·M₀ is 0.
    let off_nm = |factor: f64| Some(budget.excess_in(case, factor)?.quantile(probability));
    let mut before = case.friction_nm / moment_nm;
    let mut off_before_nm = off_nm(before)?;
    let u = budget.estimate(Quantity::HoldingFactor)?.u;
    let mut factor = before + off_before_nm / moment_nm;
    for _ in 0..STEP_COUNT_MAX {
        let off = off_nm(factor)?;
        if (factor - before).abs() <= TOLERANCE * u || off == off_before_nm {
            return Some(factor);
        }
        let slope = (off - off_before_nm) / (factor - before);
        (before, off_before_nm) = (factor, off);
        factor -= off / slope;
        if !factor.is_finite() {
            return None;
        }
    }
    // M₀ so doubtful that no limit exists.
    None
}

/// The limit of a quantity below which a mixture has this probability, by bisection.
pub(super) fn quantile_of_mixture(
    budget: &ReadingBudget,
    quantity: Quantity,
    probability: f64,
) -> Option<f64> {
    let estimate = budget.estimate(quantity)?;
    let below = |limit: f64| budget.probability_below(quantity, limit);
    let mut reach = 4.0 * estimate.u.max(f64::MIN_POSITIVE);
    let (mut low, mut high) = (estimate.value - reach, estimate.value + reach);
    for _ in 0..WIDENING_COUNT_MAX {
        if below(low)? <= probability && below(high)? >= probability {
            break;
        }
        reach *= 2.0;
        (low, high) = (estimate.value - reach, estimate.value + reach);
    }
    for _ in 0..BISECTION_COUNT {
        let middle = 0.5 * (low + high);
        if below(middle)? < probability { low = middle } else { high = middle }
    }
    Some(0.5 * (low + high))
}
