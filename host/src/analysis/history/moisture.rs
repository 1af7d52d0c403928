//! Time and moisture apart: does this instrument's torque follow the moisture of its plank?
//!
//! Least squares of the surveys on time and equilibrium moisture together. The moisture's part is
//! used only where the instrument's own surveys bear it out: enough of them, over enough moisture,
//! not in step with time, and a coefficient that stands out. It is never set from shrinkage.

use super::HistoryError;
use crate::analysis::stats::mean;
use crate::metrology::least_squares::{Observations, fit_design};
use crate::metrology::student::{coverage_factor, t_upper_tail};

/// Fewest surveys with a known climate.
pub const SURVEY_COUNT_MIN: usize = 6;
/// Least range of moisture among them, percent points; common practice, no source.
pub const RANGE_PERCENT_MIN: f64 = 1.5;
/// Largest |correlation| of time and moisture; common practice, no source.
pub const CORRELATION_MAX: f64 = 0.7;
/// Chance at which a coefficient stands out.
pub const SIGNIFICANCE: f64 = 0.05;

/// What the surveys say about moisture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum MoistureEffect {
    /// Too few surveys with a known climate.
    TooFew {
        /// What there are.
        found: usize,
    },
    /// The moisture was always much the same.
    Steady {
        /// Its range, percent points.
        range: f64,
    },
    /// Moisture went with time: the two cannot be told apart.
    InStep {
        /// Their correlation.
        correlation: f64,
    },
    /// No effect stands out.
    NoneSeen {
        /// Chance of such a coefficient where there is no effect.
        p: f64,
    },
    /// An effect stands out.
    Seen(MoistureSlope),
}

/// Torque over time and moisture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MoistureSlope {
    /// Change of value per percent point of moisture.
    pub per_percent: f64,
    /// Its standard uncertainty.
    pub per_percent_u: f64,
    /// Chance of such a coefficient where there is no effect.
    pub p: f64,
    /// Change of value per unit of time at the same moisture.
    pub per_time: f64,
    /// Its standard uncertainty.
    pub per_time_u: f64,
    /// Degrees of freedom of both.
    pub dof: f64,
    /// Mean moisture, percent, which values are carried to.
    pub reference_percent: f64,
}

impl MoistureSlope {
    /// A value as it would be at the mean moisture.
    pub fn carried(&self, value: f64, moisture_percent: f64) -> f64 {
        value - self.per_percent * (moisture_percent - self.reference_percent)
    }

    /// Interval of the change per unit of time, two-sided; `None` for a level not inside 0–1.
    pub fn per_time_interval(&self, level: f64) -> Option<(f64, f64)> {
        let half = coverage_factor(level, self.dof)? * self.per_time_u;
        Some((self.per_time - half, self.per_time + half))
    }
}

/// What surveys (time, moisture in percent, value) say about moisture.
///
/// # Errors
/// When a number is not finite.
pub fn moisture_effect(surveys: &[(f64, f64, f64)]) -> Result<MoistureEffect, HistoryError> {
    let finite = |survey: &(f64, f64, f64)| {
        survey.0.is_finite() && survey.1.is_finite() && survey.2.is_finite()
    };
    if let Some(index) = surveys.iter().position(|survey| !finite(survey)) {
        return Err(HistoryError::NotANumber { index });
    }
    if surveys.len() < SURVEY_COUNT_MIN {
        return Ok(MoistureEffect::TooFew { found: surveys.len() });
    }
    let (times, moistures): (Vec<f64>, Vec<f64>) =
        surveys.iter().map(|survey| (survey.0, survey.1)).unzip();
    let top = moistures.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let range = moistures.iter().fold(0.0, |range: f64, value| range.max(top - value));
    if range < RANGE_PERCENT_MIN {
        return Ok(MoistureEffect::Steady { range });
    }
    let (time, moisture) = (centred(&times), centred(&moistures));
    let product = |one: &[f64], other: &[f64]| -> f64 {
        one.iter().zip(other).map(|(one, other)| one * other).sum()
    };
    let spread = (product(&time, &time) * product(&moisture, &moisture)).sqrt();
    if spread == 0.0 {
        return Err(HistoryError::AllTied);
    }
    let correlation = product(&time, &moisture) / spread;
    if correlation.abs() > CORRELATION_MAX {
        return Ok(MoistureEffect::InStep { correlation });
    }
    let rows: Vec<Vec<f64>> =
        time.iter().zip(&moisture).map(|(time, moisture)| vec![1.0, *time, *moisture]).collect();
    let values: Vec<f64> = surveys.iter().map(|survey| survey.2).collect();
    let fit = fit_design(&rows, true, Observations::equal(&values))
        .map_err(|_| HistoryError::OutOfRange { what: "a survey" })?;
    let (coefficients, errors) = (&fit.coefficients, fit.standard_errors());
    let (per_percent, per_percent_u) = (coefficients[2], errors[2]);
    let p = if per_percent_u > 0.0 {
        2.0 * t_upper_tail((per_percent / per_percent_u).abs(), fit.dof())
    } else if per_percent == 0.0 {
        1.0
    } else {
        0.0
    };
    if p >= SIGNIFICANCE {
        return Ok(MoistureEffect::NoneSeen { p });
    }
    Ok(MoistureEffect::Seen(MoistureSlope {
        per_percent,
        per_percent_u,
        p,
        per_time: coefficients[1],
        per_time_u: errors[1],
        dof: fit.dof(),
        reference_percent: mean(&moistures).unwrap_or(0.0),
    }))
}

fn centred(values: &[f64]) -> Vec<f64> {
    let centre = mean(values).unwrap_or(0.0);
    values.iter().map(|value| value - centre).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn surveys(moistures: &[f64], per_percent: f64) -> Vec<(f64, f64, f64)> {
        let of = |(index, moisture): (usize, &f64)| {
            let time = index as f64;
            let wobble = if index % 2 == 0 { 0.02 } else { -0.02 };
            (time, *moisture, 9.0 - 0.1 * time + per_percent * (moisture - 8.0) + wobble)
        };
        moistures.iter().enumerate().map(of).collect()
    }

    const SEASONS: [f64; 8] = [6.0, 10.0, 9.0, 6.5, 6.2, 9.8, 10.1, 6.1];

    #[test]
    fn an_effect_the_surveys_bear_out_is_used() {
        let MoistureEffect::Seen(slope) = moisture_effect(&surveys(&SEASONS, 0.3)).unwrap() else {
            panic!("not seen")
        };
        assert!((slope.per_percent - 0.3).abs() < 0.03);
        let (low, high) = slope.per_time_interval(0.95).unwrap();
        assert!(low < -0.1 && -0.1 < high && high < 0.0);
        let carried = slope.carried(9.0, slope.reference_percent);
        assert_eq!(carried, 9.0);
    }

    #[test]
    fn what_the_surveys_do_not_bear_out_is_not() {
        let seen =
            |moistures: &[f64], effect| moisture_effect(&surveys(moistures, effect)).unwrap();
        assert_eq!(seen(&SEASONS[..5], 0.3), MoistureEffect::TooFew { found: 5 });
        assert!(matches!(
            seen(&[8.0, 8.2, 8.1, 8.0, 8.3, 8.1], 0.3),
            MoistureEffect::Steady { .. }
        ));
        let in_step = seen(&[6.0, 6.5, 7.0, 7.4, 8.0, 8.6], 0.3);
        assert!(matches!(in_step, MoistureEffect::InStep { correlation } if correlation > 0.9));
        assert!(matches!(seen(&SEASONS, 0.0), MoistureEffect::NoneSeen { p } if p > 0.05));
        assert!(moisture_effect(&[(0.0, f64::NAN, 1.0)]).is_err());
        let one_day = SEASONS.map(|moisture| (1.0, moisture, 5.0));
        assert_eq!(moisture_effect(&one_day), Err(HistoryError::AllTied));
    }
}
