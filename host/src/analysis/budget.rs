//! The uncertainty budget of one pin's reading, line by line (JCGM 100), and the distribution of
//! friction F, string moment M and holding factor H = F/M₀ that follows from it (JCGM 101).
//!
//! Every line is one source of error, independent of all others: what it does to each torque of
//! the reading is its [`Effect`]. A source that acts on both strokes is *one* line with an effect
//! on both, so correlation needs no correlation matrix: a zero error has opposite effects and
//! cancels in F to the bit, a span error has equal ones and averages with nothing. Correlated
//! inputs (a fitted curve's coefficients) are made into independent lines before they come here.
//!
//! A source that is wrong one way more than the other and was not taken off has a bias: the values
//! told stay, the distribution moves, and the bias counts with its square in the uncertainty about
//! the value told (JCGM 100, F.2.4.5).
//!
//! H is no linear function of M₀, but F − h·M₀ is one for every h, and P(H < h) = P(F − h·M₀ < 0)
//! while M₀ is positive (Fieller's way): so intervals and chances of H need no linearisation.
//!
//! A reading whose direction nobody wrote down has several [`Form`]s, each with a weight: its
//! distribution is their mixture.
//!
//! Deliberately not here: which lines a lever or a hand tool has ([`super::readings`]), bands.
//!
//! Invariants: no interval is computed from a number that is not finite; the same bits on every
//! machine.

mod fieller;
mod line;
mod table;
#[cfg(test)]
mod tests;

pub use line::{BudgetLine, Effect, Reach, Shape, Size, SizeUnit, Support, Term};
pub use table::{BudgetRow, rows};

use crate::metrology::Estimate;
use crate::metrology::coverage::{Component, Distribution};

/// Probability an interval is given for.
pub const COVERAGE: f64 = 0.95;

/// What a reading tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Friction F, N·m.
    Friction,
    /// String moment M as measured, N·m.
    Moment,
    /// Holding factor F/M₀.
    HoldingFactor,
}

/// How friction is formed: friction = sharp·τ₊ + flat·τ₋ + given·F + now·M as assumed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Form {
    /// Share of the sharp torque.
    pub sharp: f64,
    /// Share of the flat torque.
    pub flat: f64,
    /// Share of a friction, or a torque of unknown direction, as given.
    pub given: f64,
    /// Share of the string's moment assumed for the pitch it was read at.
    pub now: f64,
}

impl Form {
    /// Half sum of both directions.
    pub const BOTH: Form = Form { sharp: 0.5, flat: 0.5, given: 0.0, now: 0.0 };
    /// Sharp less the string's moment.
    pub const SHARP: Form = Form { sharp: 1.0, flat: 0.0, given: 0.0, now: -1.0 };
    /// Flat and the string's moment.
    pub const FLAT: Form = Form { sharp: 0.0, flat: 1.0, given: 0.0, now: 1.0 };
    /// As given.
    pub const GIVEN: Form = Form { sharp: 0.0, flat: 0.0, given: 1.0, now: 0.0 };
    /// A torque of unknown direction, were it sharp.
    pub const GIVEN_SHARP: Form = Form { now: -1.0, ..Form::GIVEN };
    /// A torque of unknown direction, were it flat.
    pub const GIVEN_FLAT: Form = Form { now: 1.0, ..Form::GIVEN };

    /// What one size of a line does to friction, N·m.
    fn of_friction(self, effect: Effect) -> f64 {
        let torques = self.sharp * effect.sharp + self.flat * effect.flat;
        torques + self.given * effect.given + self.now * effect.now + effect.friction
    }
}

/// One way friction may have come about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Case {
    /// How likely, 0–1; those of a reading sum to 1.
    pub weight: f64,
    /// How friction is formed then.
    pub form: Form,
    /// Friction then, N·m.
    pub friction_nm: f64,
}

/// Budget of one reading.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingBudget {
    /// The sources, in the order they are told.
    pub lines: Vec<BudgetLine>,
    /// How friction came about: one case, or several when that is not known.
    pub cases: Vec<Case>,
    /// Friction told, N·m: the middle of the cases.
    pub friction_nm: f64,
    /// Half difference of both directions, N·m; `None` unless both were taken.
    pub moment_nm: Option<f64>,
    /// String moment at target pitch, N·m.
    pub moment_at_pitch_nm: f64,
}

impl ReadingBudget {
    /// What one size of a line does to a quantity, in the quantity's unit, friction formed as in
    /// `form`.
    pub fn sensitivity(&self, line: &BudgetLine, quantity: Quantity, form: Form) -> f64 {
        self.of_quantity(line.effect, quantity, form)
    }

    /// What an effect does to a quantity.
    fn of_quantity(&self, effect: Effect, quantity: Quantity, form: Form) -> f64 {
        match quantity {
            Quantity::Friction => form.of_friction(effect),
            Quantity::Moment => 0.5 * (effect.sharp - effect.flat) + effect.moment,
            Quantity::HoldingFactor => {
                let factor = self.friction_nm / self.moment_at_pitch_nm;
                (form.of_friction(effect) - factor * effect.at_pitch) / self.moment_at_pitch_nm
            }
        }
    }

    /// Contribution of a line to a quantity's standard uncertainty, in the quantity's unit; with
    /// several cases, root mean square over them.
    pub fn contribution(&self, line: &BudgetLine, quantity: Quantity) -> f64 {
        let of_case = |case: &Case| {
            let c = line.shape.relative_u() * self.sensitivity(line, quantity, case.form);
            let bias = self.of_quantity(line.bias, quantity, case.form);
            case.weight * (c * c + bias * bias)
        };
        self.cases.iter().map(of_case).sum::<f64>().sqrt()
    }

    /// Standard deviation of friction, N·m, from the lines that `keep` wants, biases left out; with
    /// several cases, root mean square over them.
    pub fn friction_u_of(&self, keep: impl Fn(&BudgetLine) -> bool) -> f64 {
        let mut variance = 0.0;
        for case in &self.cases {
            for line in self.lines.iter().filter(|line| keep(line)) {
                let c = line.shape.relative_u() * case.form.of_friction(line.effect);
                variance += case.weight * c * c;
            }
        }
        variance.sqrt()
    }

    /// By how much the friction told reads high on average, N·m: biases that were not taken off.
    pub fn friction_bias_nm(&self) -> f64 {
        let of_case = |case: &Case| {
            let lines = self.lines.iter();
            case.weight * lines.fold(0.0, |sum, line| sum + case.form.of_friction(line.bias))
        };
        self.cases.iter().fold(0.0, |sum, case| sum + of_case(case))
    }

    /// Standard deviation between the cases, in the quantity's unit: not knowing the direction.
    pub fn between_cases(&self, quantity: Quantity) -> f64 {
        let off = |case: &Case| case.friction_nm - self.friction_nm;
        let variance: f64 = self.cases.iter().map(|case| case.weight * off(case) * off(case)).sum();
        match quantity {
            Quantity::Friction => variance.sqrt(),
            Quantity::Moment => 0.0,
            Quantity::HoldingFactor => variance.sqrt() / self.moment_at_pitch_nm,
        }
    }

    /// Value and combined standard uncertainty; a bias that can only go one way and was not
    /// corrected counts with its mean square. `None` for a moment that was not measured.
    pub fn estimate(&self, quantity: Quantity) -> Option<Estimate> {
        let value = match quantity {
            Quantity::Friction => self.friction_nm,
            Quantity::Moment => self.moment_nm?,
            Quantity::HoldingFactor => self.friction_nm / self.moment_at_pitch_nm,
        };
        let between = self.between_cases(quantity);
        let squares = self.lines.iter().map(|line| {
            let u = self.contribution(line, quantity);
            u * u
        });
        let u = squares.fold(between * between, |sum, square| sum + square).sqrt();
        (value.is_finite() && u.is_finite()).then_some(Estimate { value, u })
    }

    /// Effective degrees of freedom after Welch and Satterthwaite; infinite when every line is
    /// taken as known.
    pub fn degrees_of_freedom(&self, quantity: Quantity) -> f64 {
        let Some(combined) = self.estimate(quantity) else { return f64::INFINITY };
        let fourth = |u: f64| (u * u) * (u * u);
        let spent: f64 = self
            .lines
            .iter()
            .map(|line| fourth(self.contribution(line, quantity)) / line.shape.degrees_of_freedom())
            .sum();
        if spent > 0.0 { fourth(combined.u) / spent } else { f64::INFINITY }
    }

    /// From and to of the 95 % coverage interval, as much probability below as above.
    pub fn interval(&self, quantity: Quantity) -> Option<(f64, f64)> {
        let tail = (1.0 - COVERAGE) / 2.0;
        Some((self.quantile(quantity, tail)?, self.quantile(quantity, 1.0 - tail)?))
    }

    /// The limit below which the true value lies with this probability.
    pub fn quantile(&self, quantity: Quantity, probability: f64) -> Option<f64> {
        let found = match (quantity, self.cases.as_slice()) {
            (Quantity::Friction, [case]) => self.friction_in(case)?.quantile(probability),
            (Quantity::Moment, _) => self.moment()?.quantile(probability),
            (Quantity::HoldingFactor, [case]) => fieller::quantile(self, case, probability)?,
            _ => fieller::quantile_of_mixture(self, quantity, probability)?,
        };
        found.is_finite().then_some(found)
    }

    /// Probability that the true value lies below `limit`; `None` where nothing was measured.
    pub fn probability_below(&self, quantity: Quantity, limit: f64) -> Option<f64> {
        if quantity == Quantity::Moment {
            return Some(self.moment()?.probability_below(limit));
        }
        let mut probability = 0.0;
        for case in &self.cases {
            let of_case = match quantity {
                Quantity::HoldingFactor => self.excess_in(case, limit)?.probability_below(0.0),
                _ => self.friction_in(case)?.probability_below(limit),
            };
            probability += case.weight * of_case;
        }
        probability.is_finite().then_some(probability)
    }

    /// Distribution of the measured moment.
    fn moment(&self) -> Option<Distribution> {
        let form = self.cases.first()?.form;
        self.distribution(self.moment_nm?, |effect| {
            self.of_quantity(effect, Quantity::Moment, form)
        })
    }

    /// Distribution of friction in one case.
    fn friction_in(&self, case: &Case) -> Option<Distribution> {
        self.distribution(case.friction_nm, |effect| case.form.of_friction(effect))
    }

    /// Distribution of F − h·M₀ in one case, h the factor asked about.
    fn excess_in(&self, case: &Case, factor: f64) -> Option<Distribution> {
        let value = case.friction_nm - factor * self.moment_at_pitch_nm;
        self.distribution(value, |effect| case.form.of_friction(effect) - factor * effect.at_pitch)
    }

    /// Value and lines, each with its sensitivity, as a distribution.
    fn distribution(&self, value: f64, of: impl Fn(Effect) -> f64) -> Option<Distribution> {
        let mut middle = value;
        let mut parts: Vec<Component> = Vec::with_capacity(self.lines.len());
        for line in &self.lines {
            // Told = true + error.
            middle -= of(line.bias);
            let c = of(line.effect);
            if c != 0.0 {
                parts.push(line.shape.component(c));
            }
        }
        Distribution::new(middle, &parts).ok()
    }
}
