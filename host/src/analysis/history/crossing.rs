//! When a falling quantity reaches a limit, as an interval.
//!
//! The least-squares line over time, and the times at which it may be at the limit: E. C. Fieller's
//! set (*Journal of the Royal Statistical Society* B 16, 1954), which is right also where the slope
//! is poorly known and then has no end. The scatter about the line is not taken for less than what
//! one survey is uncertain by on its own: few surveys can lie on a line by luck.

use super::{HistoryError, checked_level, checked_pairs};
use crate::analysis::stats::mean;
use crate::metrology::student::coverage_factor;

/// A straight line over time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeLine {
    /// Surveys.
    pub count: usize,
    /// Change per unit of time.
    pub slope: f64,
    /// Value at time 0.
    pub intercept: f64,
    /// Scatter about the line, n − 2 degrees of freedom.
    pub residual_sd: f64,
    /// Standard uncertainty of the slope.
    pub slope_u: f64,
    /// Degrees of freedom of the scatter.
    dof: f64,
    /// Middle of the times.
    centre: f64,
    /// Standard uncertainty of the line there.
    centre_u: f64,
}

/// When a line reaches a limit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Crossing {
    /// Between two times, at this level; the middle one is the line's own.
    Between(f64, f64, f64),
    /// Not before this time; when, or whether ever, cannot be told.
    NotBefore(f64),
    /// It does not fall, at this level.
    NotFalling,
    /// The line is at or below the limit already.
    Reached,
    /// Nothing can be told: even today's level might be at the limit.
    Untold,
}

/// Fewest surveys of a line with an interval.
pub const SURVEY_COUNT_MIN: usize = 3;

/// Fits the line; `own_u` is what one survey is uncertain by independently of the others, 0 where
/// that is not known.
///
/// # Errors
/// For fewer than [`SURVEY_COUNT_MIN`] points, a value that is no number, or one time only.
pub fn fit_line(times: &[f64], values: &[f64], own_u: f64) -> Result<TimeLine, HistoryError> {
    checked_pairs(times, values, SURVEY_COUNT_MIN)?;
    if !(own_u.is_finite() && own_u >= 0.0) {
        return Err(HistoryError::OutOfRange { what: "a survey's uncertainty" });
    }
    let (centre, level) = (mean(times).unwrap_or(0.0), mean(values).unwrap_or(0.0));
    let pairs = || times.iter().zip(values).map(|(time, value)| (time - centre, value - level));
    let spread: f64 = pairs().map(|(time, _)| time * time).sum();
    if spread <= 0.0 {
        return Err(HistoryError::AllTied);
    }
    let slope = pairs().map(|(time, value)| time * value).sum::<f64>() / spread;
    let left = |(time, value): (f64, f64)| value - slope * time;
    let squares: f64 = pairs().map(left).map(|rest| rest * rest).sum();
    let count = times.len() as f64;
    let residual_sd = (squares / (count - 2.0)).sqrt();
    let sd = residual_sd.max(own_u);
    let line = TimeLine {
        count: times.len(),
        slope,
        intercept: level - slope * centre,
        residual_sd,
        slope_u: sd / spread.sqrt(),
        dof: count - 2.0,
        centre,
        centre_u: sd / count.sqrt(),
    };
    let finite = line.slope.is_finite() && line.slope_u.is_finite() && line.intercept.is_finite();
    if finite { Ok(line) } else { Err(HistoryError::OutOfRange { what: "the line" }) }
}

impl TimeLine {
    /// The line of values out of which one more coefficient was fitted before: a degree of freedom
    /// less, down to one.
    #[must_use]
    pub fn of_fitted_values(self) -> TimeLine {
        TimeLine { dof: (self.dof - 1.0).max(1.0), ..self }
    }

    /// The line's value at a time.
    pub fn value_at(&self, time: f64) -> f64 {
        self.intercept + self.slope * time
    }

    /// Interval of the slope, two-sided.
    ///
    /// # Errors
    /// When the level is not inside 0–1.
    pub fn slope_interval(&self, level: f64) -> Result<(f64, f64), HistoryError> {
        let half = self.factor(level)? * self.slope_u;
        Ok((self.slope - half, self.slope + half))
    }

    /// The time the line itself is at a limit; `None` where it is level.
    pub fn time_at(&self, limit: f64) -> Option<f64> {
        let time = (limit - self.intercept) / self.slope;
        time.is_finite().then_some(time)
    }

    fn factor(&self, level: f64) -> Result<f64, HistoryError> {
        checked_level(level)?;
        coverage_factor(level, self.dof).ok_or(HistoryError::OutOfRange { what: "the level" })
    }

    /// When the line falls to `limit`, seen from `now`, at this two-sided level.
    ///
    /// # Errors
    /// When the level or a number is out of range.
    pub fn falls_to(&self, limit: f64, now: f64, level: f64) -> Result<Crossing, HistoryError> {
        if !(limit.is_finite() && now.is_finite()) {
            return Err(HistoryError::OutOfRange { what: "the limit or the time" });
        }
        let k = self.factor(level)?;
        let k2 = k * k;
        if self.value_at(now) <= limit {
            return Ok(Crossing::Reached);
        }
        // (rest + slope·t)² ≤ k²·(u₀² + t²·u₁²), t counted from the middle of the times.
        let rest = self.intercept + self.slope * self.centre - limit;
        let square = self.slope * self.slope - k2 * self.slope_u * self.slope_u;
        let half = self.slope * rest;
        let constant = rest * rest - k2 * self.centre_u * self.centre_u;
        let root = (half * half - square * constant).max(0.0).sqrt();
        if square > 0.0 {
            if self.slope > 0.0 {
                return Ok(Crossing::NotFalling);
            }
            let at = |sign: f64| self.centre + (sign * root - half) / square;
            let own = self.centre - rest / self.slope;
            return Ok(Crossing::Between(at(-1.0), own, at(1.0)));
        }
        // The set is all but what lies between two times, or all.
        if square == 0.0 || constant <= 0.0 {
            return Ok(Crossing::Untold);
        }
        let late = self.centre + ((half - root) / -square).max((half + root) / -square);
        if late > now { Ok(Crossing::NotBefore(late)) } else { Ok(Crossing::Untold) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::random::Random;
    use crate::metrology::inverse::fieller_interval;
    use crate::metrology::least_squares::Observations;
    use crate::metrology::polynomial::{Powers, fit_polynomial};

    const YEARS: [f64; 6] = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0];
    const TORQUE: [f64; 6] = [9.8, 9.5, 9.45, 9.1, 8.9, 8.75];

    #[test]
    fn the_interval_is_fiellers() {
        let line = fit_line(&YEARS, &TORQUE, 0.0).unwrap();
        let Crossing::Between(low, own, high) = line.falls_to(7.5, 5.0, 0.95).unwrap() else {
            panic!("no interval")
        };
        assert!(low < own && own < high);
        // The other code's, for the mean of so many new readings that they add nothing.
        let fit = fit_polynomial(&YEARS, Observations::equal(&TORQUE), Powers::UpTo(1)).unwrap();
        let (other_low, other_high) = fieller_interval(&fit, 7.5, u32::MAX, 0.95).unwrap();
        assert!((low - other_low).abs() < 1e-3 && (high - other_high).abs() < 1e-3);
    }

    #[test]
    fn a_surveys_own_uncertainty_widens_it() {
        let line = fit_line(&YEARS, &TORQUE, 0.0).unwrap();
        let wide = fit_line(&YEARS, &TORQUE, 0.3).unwrap();
        assert!(wide.slope == line.slope && wide.slope_u > 4.0 * line.slope_u);
    }

    #[test]
    fn what_cannot_be_told_is_not() {
        let line = fit_line(&YEARS, &[9.0, 9.4, 8.8, 9.3, 8.9, 9.1], 0.0).unwrap();
        let Crossing::NotBefore(year) = line.falls_to(7.5, 5.0, 0.95).unwrap() else {
            panic!("an end")
        };
        assert!(year > 5.0);
        assert_eq!(line.falls_to(8.95, 5.0, 0.95), Ok(Crossing::Untold));
        assert_eq!(line.falls_to(12.0, 5.0, 0.95), Ok(Crossing::Reached));
        let rising = fit_line(&YEARS, &[5.0, 6.0, 7.0, 8.1, 9.0, 10.0], 0.0).unwrap();
        assert_eq!(rising.falls_to(4.0, 5.0, 0.95), Ok(Crossing::NotFalling));
        assert!(fit_line(&YEARS[..2], &TORQUE[..2], 0.0).is_err());
        assert_eq!(fit_line(&[1.0; 6], &TORQUE, 0.0), Err(HistoryError::AllTied));
        assert!(fit_line(&YEARS, &TORQUE, f64::NAN).is_err());
        assert!(line.falls_to(f64::NAN, 0.0, 0.95).is_err());
        assert!(line.falls_to(7.5, 0.0, 0.0).is_err());
    }

    #[test]
    fn every_set_is_the_times_at_which_the_limit_cannot_be_excluded() {
        let mut random = Random::new(6_001);
        let mut seen = [0; 3];
        for _ in 0..400 {
            let drop = 0.4 * random.uniform();
            let values: Vec<f64> =
                YEARS.iter().map(|year| 9.0 - drop * year + 0.3 * random.normal()).collect();
            let line = fit_line(&YEARS, &values, 0.0).unwrap();
            let k = line.factor(0.95).unwrap();
            let excluded = |time: f64| {
                let u = libm::hypot(line.centre_u, (time - line.centre) * line.slope_u);
                (line.value_at(time) - 7.0).abs() > k * u
            };
            match line.falls_to(7.0, 5.0, 0.95).unwrap() {
                Crossing::Between(low, own, high) => {
                    seen[0] += 1;
                    assert!(excluded(low - 0.01) && excluded(high + 0.01));
                    assert!(!excluded(low + 0.001) && !excluded(high - 0.001) && !excluded(own));
                }
                Crossing::NotBefore(late) => {
                    seen[1] += 1;
                    assert!(excluded(late - 0.01) && !excluded(late + 0.01));
                }
                _ => seen[2] += 1,
            }
        }
        assert!(seen.iter().all(|count| *count > 0), "{seen:?}");
    }
}
