//! Decisions about limits with what a measurement leaves open (JCGM 106:2012, *The role of
//! measurement uncertainty in conformity assessment*).
//!
//! Two kinds of risk. *Specific*: the chance of being wrong about this item, from its own
//! distribution (clause 9.3.2); it decides a band, and the stated risk is the profile's. *Global*:
//! the share of wrong decisions over many items of a population, from a normal prior (clause
//! 9.3.3); held against published cases, no command shows it: what share of planks in the world
//! is sound nobody knows. Deliberately not here: which limits and risks a plank is judged by.

use super::coverage::Distribution;
use super::student;
use crate::analysis::stats::{normal_cdf, normal_density};

/// Steps of Simpson's rule over a piece of a population, even: 10⁻⁹ of it.
const POPULATION_STEP_COUNT: u32 = 400;
/// Half width of the population looked at, standard deviations.
const POPULATION_SIGMAS: f64 = 9.0;

/// Where an item is as it should be: between these, or on one side of one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// Lower limit.
    pub low: Option<f64>,
    /// Upper limit.
    pub high: Option<f64>,
}

impl Tolerance {
    /// At least this.
    pub const fn at_least(low: f64) -> Tolerance {
        Tolerance { low: Some(low), high: None }
    }

    /// At most this.
    pub const fn at_most(high: f64) -> Tolerance {
        Tolerance { low: None, high: Some(high) }
    }

    /// Between these.
    pub const fn between(low: f64, high: f64) -> Tolerance {
        Tolerance { low: Some(low), high: Some(high) }
    }

    /// The same drawn in by a guard band at each limit (outwards where negative).
    #[must_use]
    pub fn guarded(self, guard_band: f64) -> Tolerance {
        Tolerance {
            low: self.low.map(|low| low + guard_band),
            high: self.high.map(|high| high - guard_band),
        }
    }

    /// Whether a value lies within, limits included.
    pub fn contains(self, value: f64) -> bool {
        self.low.is_none_or(|low| low <= value) && self.high.is_none_or(|high| value <= high)
    }
}

/// What is decided.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Within the tolerance, at the stated risk.
    Accept,
    /// Outside it, at the stated risk.
    Reject,
    /// The measurement does not settle it.
    CannotTell,
}

/// Chances of being wrong one is ready to take.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Risk {
    /// Of accepting what is outside (the consumer's), 0–0.5.
    pub false_accept: f64,
    /// Of rejecting what is within (the producer's), 0–0.5.
    pub false_reject: f64,
}

impl Risk {
    /// The same both ways.
    pub const fn of(risk: f64) -> Risk {
        Risk { false_accept: risk, false_reject: risk }
    }
}

/// Probability that an item so measured is within the tolerance (JCGM 106, 7.2).
pub fn conformance_probability(measured: &Distribution, tolerance: Tolerance) -> f64 {
    let below = tolerance.low.map_or(0.0, |low| measured.probability_below(low));
    let above = tolerance.high.map_or(0.0, |high| 1.0 - measured.probability_below(high));
    (1.0 - below - above).clamp(0.0, 1.0)
}

/// Decides at a stated specific risk: accept when the chance of being outside is at most the one,
/// reject when the chance of being within is at most the other, else it cannot be told. When both
/// hold (risks above one half) it is accepted.
pub fn decide(measured: &Distribution, tolerance: Tolerance, risk: Risk) -> Decision {
    let within = conformance_probability(measured, tolerance);
    decide_by_chance(1.0 - within, risk)
}

/// The same from the chance of being outside, 0–1, where that is known another way.
pub fn decide_by_chance(outside: f64, risk: Risk) -> Decision {
    if outside <= risk.false_accept {
        Decision::Accept
    } else if 1.0 - outside <= risk.false_reject {
        Decision::Reject
    } else {
        Decision::CannotTell
    }
}

/// Width of the guard band at one limit for this specific risk, in units of `u`'s quantity:
/// t(1 − risk)·u (JCGM 106, 8.3.2, for a normal; t where u was estimated). `None` when the risk is
/// not inside 0–1 or there is no degree of freedom.
pub fn guard_band(u: f64, degrees_of_freedom: f64, risk: f64) -> Option<f64> {
    student::t_quantile(1.0 - risk, degrees_of_freedom).map(|factor| factor * u)
}

/// A population of items and the measurement they are judged by.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Population {
    /// Mean of the true values.
    pub mean: f64,
    /// Standard deviation of the true values, above zero.
    pub sd: f64,
    /// Standard uncertainty of one measurement, not negative.
    pub u: f64,
}

/// Shares of a whole population that are decided wrongly.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlobalRisk {
    /// Outside the tolerance and accepted.
    pub false_accept: f64,
    /// Within the tolerance and not accepted.
    pub false_reject: f64,
    /// Accepted, rightly or not.
    pub accepted: f64,
}

impl GlobalRisk {
    /// Chance that one that was accepted is outside; 0 when none is accepted.
    pub fn false_among_accepted(self) -> f64 {
        if self.accepted > 0.0 { self.false_accept / self.accepted } else { 0.0 }
    }
}

/// Global risks of accepting what is measured within `acceptance` where items should be within
/// `tolerance`; values and errors normal. All zero when the population is none.
pub fn global_risk(
    population: Population,
    tolerance: Tolerance,
    acceptance: Tolerance,
) -> GlobalRisk {
    let Population { mean, sd, u } = population;
    let nobody = GlobalRisk { false_accept: 0.0, false_reject: 0.0, accepted: 0.0 };
    if !(sd > 0.0 && sd.is_finite() && u >= 0.0 && u.is_finite() && mean.is_finite()) {
        return nobody;
    }
    let accepted_at = |value: f64| {
        let below = |limit: f64| normal_cdf((limit - value) / u);
        (acceptance.high.map_or(1.0, below) - acceptance.low.map_or(0.0, below)).max(0.0)
    };
    // In pieces: a limit is a step, and near an acceptance limit things change within a few u.
    let (least, most) = (mean - POPULATION_SIGMAS * sd, mean + POPULATION_SIGMAS * sd);
    let near = |limit: f64| [-POPULATION_SIGMAS, 0.0, POPULATION_SIGMAS].map(|k| limit + k * u);
    let mut cuts = vec![least, most];
    cuts.extend([tolerance.low, tolerance.high].into_iter().flatten());
    cuts.extend([acceptance.low, acceptance.high].into_iter().flatten().flat_map(near));
    cuts.retain(|cut| (least..=most).contains(cut));
    cuts.sort_by(f64::total_cmp);
    let mut risk = nobody;
    for piece in cuts.windows(2) {
        let (from, to) = (piece[0], piece[1]);
        let middle = 0.5 * (from + to);
        let all = normal_cdf((to - mean) / sd) - normal_cdf((from - mean) / sd);
        let accepted = if u > 0.0 {
            simpson(from, to, |value| normal_density(value, mean, sd * sd) * accepted_at(value))
        } else {
            all * f64::from(u8::from(acceptance.contains(middle)))
        };
        risk.accepted += accepted;
        if tolerance.contains(middle) {
            risk.false_reject += all - accepted;
        } else {
            risk.false_accept += accepted;
        }
    }
    risk
}

/// Simpson's rule.
fn simpson(from: f64, to: f64, f: impl Fn(f64) -> f64) -> f64 {
    let step = (to - from) / f64::from(POPULATION_STEP_COUNT);
    let mut sum = f(from) + f(to);
    for index in 1..POPULATION_STEP_COUNT {
        let weight = if index % 2 == 1 { 4.0 } else { 2.0 };
        sum += weight * f(from + f64::from(index) * step);
    }
    sum * step / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrology::coverage::Component;

    fn measured(value: f64, u: f64) -> Distribution {
        Distribution::new(value, &[Component::normal(u)]).expect("a distribution")
    }

    #[test]
    fn the_guard_band_is_where_the_decision_changes() {
        // One-sided 5 % of a normal: 1.645 u.
        let guard = guard_band(0.2, f64::INFINITY, 0.05).expect("a guard band");
        assert!((guard - 0.2 * 1.644_854).abs() < 1e-6);
        let limit = Tolerance::at_least(5.6);
        let decided = |value: f64| decide(&measured(value, 0.2), limit, Risk::of(0.05));
        assert_eq!(decided(5.6 + guard + 1e-3), Decision::Accept);
        assert_eq!(decided(5.6 + guard - 1e-3), Decision::CannotTell);
        assert_eq!(decided(5.6 - guard + 1e-3), Decision::CannotTell);
        assert_eq!(decided(5.6 - guard - 1e-3), Decision::Reject);
        assert!(limit.guarded(guard).contains(5.6 + guard) && !limit.guarded(guard).contains(5.6));
        assert_eq!(guard_band(0.2, 0.0, 0.05), None);
        assert_eq!(guard_band(0.2, 5.0, 0.0), None);
    }

    #[test]
    fn few_degrees_of_freedom_widen_the_guard_band() {
        let guard = guard_band(1.0, 4.0, 0.05).expect("a guard band");
        assert!((guard - 2.131_847).abs() < 1e-5);
        let parts = [Component::Normal { u: 1.0, degrees_of_freedom: 4.0 }];
        let at = Distribution::new(guard, &parts).expect("a distribution");
        let within = conformance_probability(&at, Tolerance::at_least(0.0));
        assert!((within - 0.95).abs() < 1e-4, "{within}");
    }

    #[test]
    fn a_wide_measurement_of_a_narrow_tolerance_is_never_accepted() {
        let narrow = Tolerance::between(-0.1, 0.1);
        assert_eq!(decide(&measured(0.0, 1.0), narrow, Risk::of(0.05)), Decision::CannotTell);
        assert_eq!(decide(&measured(5.0, 1.0), narrow, Risk::of(0.05)), Decision::Reject);
        assert_eq!(
            decide(&measured(9.0, 0.0), Tolerance::at_most(9.5), Risk::of(0.0)),
            Decision::Accept
        );
    }

    #[test]
    fn a_one_sided_doubt_moves_the_decision() {
        // A bias that can only flatter: the value stands at the limit, the truth likely below.
        let parts = [Component::normal(0.05), Component::OneSided { signed_width: -0.4 }];
        let flattered = Distribution::new(5.6, &parts).expect("a distribution");
        assert!(conformance_probability(&flattered, Tolerance::at_least(5.6)) < 0.06);
    }

    #[test]
    fn global_risks_are_shares_of_one_population() {
        let population = Population { mean: 0.3, sd: 1.0, u: 0.4 };
        let tolerance = Tolerance::between(-1.5, 2.0);
        let plain = global_risk(population, tolerance, tolerance);
        // Accepted are those measured within: a normal of both spreads together.
        let spread = (1.0f64 + 0.16).sqrt();
        let expected = normal_cdf((2.0 - 0.3) / spread) - normal_cdf((-1.5 - 0.3) / spread);
        assert!((plain.accepted - expected).abs() < 1e-9, "{plain:?}");
        let within = normal_cdf(1.7) - normal_cdf(-1.8);
        let balance = plain.accepted - plain.false_accept + plain.false_reject;
        assert!((balance - within).abs() < 1e-9, "{plain:?}");
        let guarded = global_risk(population, tolerance, tolerance.guarded(0.5));
        assert!(guarded.false_accept < 0.3 * plain.false_accept);
        assert!(guarded.false_reject > 2.0 * plain.false_reject);
        assert!(guarded.false_among_accepted() < plain.false_among_accepted());
        // A perfect measurement is never wrong.
        let perfect = global_risk(Population { u: 0.0, ..population }, tolerance, tolerance);
        assert!((perfect.false_accept, perfect.false_reject) == (0.0, 0.0), "{perfect:?}");
        assert!((perfect.accepted - within).abs() < 1e-12, "{perfect:?}");
        let nearly = global_risk(Population { u: 1e-6, ..population }, tolerance, tolerance);
        assert!(nearly.false_accept < 1e-6 && (nearly.accepted - within).abs() < 1e-6);
        for broken in [0.0, f64::NAN, -1.0] {
            let none = global_risk(Population { sd: broken, ..population }, tolerance, tolerance);
            assert_eq!(none.accepted, 0.0);
        }
    }
}
