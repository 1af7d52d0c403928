//! Mean, standard deviation and autocorrelation that keep their digits on a large offset.
//!
//! Two passes, sums in twice a double's precision. Deliberately not here: robust location.

use super::double::{Double, sum};

/// What a row of readings comes to.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Summary {
    /// How many.
    pub count: usize,
    /// Mean.
    pub mean: f64,
    /// Standard deviation of one (n − 1); 0 for a single reading, of which nothing is known.
    pub sd: f64,
    /// Correlation of each reading with the next, −1 to 1; NaN when all are equal.
    pub autocorrelation: f64,
}

/// Summarises readings in the order taken. `None` without any, or when one is not finite.
///
/// ```
/// let summary = pinhold::metrology::summary::summarise(&[1e9, 1e9 + 1.0, 1e9 + 2.0]).unwrap();
/// assert_eq!((summary.mean, summary.sd), (1e9 + 1.0, 1.0));
/// ```
pub fn summarise(readings: &[f64]) -> Option<Summary> {
    if readings.is_empty() || readings.iter().any(|reading| !reading.is_finite()) {
        return None;
    }
    let count = readings.len();
    let number = |count: usize| Double::from(count as f64);
    let mean = sum(readings.iter().map(|reading| Double::from(*reading))) / number(count);
    let rests: Vec<Double> = readings.iter().map(|reading| Double::from(*reading) - mean).collect();
    let squares = sum(rests.iter().map(|rest| rest.squared()));
    let lagged = sum(rests.windows(2).map(|pair| pair[0] * pair[1]));
    let sd = if count > 1 { (squares / number(count - 1)).sqrt().rounded() } else { 0.0 };
    Some(Summary { count, mean: mean.rounded(), sd, autocorrelation: (lagged / squares).rounded() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_or_equal_readings() {
        assert_eq!(summarise(&[]), None);
        assert_eq!(summarise(&[1.0, f64::INFINITY]), None);
        let one = summarise(&[2.5]).unwrap();
        assert_eq!((one.count, one.mean, one.sd), (1, 2.5, 0.0));
        assert!(one.autocorrelation.is_nan());
        let equal = summarise(&[0.1; 7]).unwrap();
        assert_eq!((equal.mean, equal.sd), (0.1, 0.0));
        assert!(equal.autocorrelation.is_nan());
    }
}
