//! Small statistics: order statistics, the normal law, mixtures on the log scale.
//!
//! Deliberately not here: anything that knows what a pin is.

use std::f64::consts::{PI, SQRT_2};

/// Quantile of `values` by linear interpolation between order statistics, `None` when empty.
///
/// `probability` is clamped to 0–1. Values must not be NaN.
pub fn quantile(values: &[f64], probability: f64) -> Option<f64> {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let last = sorted.len().checked_sub(1)?;
    let at = probability.clamp(0.0, 1.0) * last as f64;
    let below = at.floor() as usize;
    let above = (below + 1).min(last);
    Some(sorted[below] + (at - below as f64) * (sorted[above] - sorted[below]))
}

/// Median, `None` when empty.
pub fn median(values: &[f64]) -> Option<f64> {
    quantile(values, 0.5)
}

/// Mean, `None` when empty.
pub fn mean(values: &[f64]) -> Option<f64> {
    if values.is_empty() {
        return None;
    }
    Some(values.iter().fold(0.0, |sum, value| sum + value) / values.len() as f64)
}

/// Sample standard deviation (n − 1), `None` for fewer than two values.
pub fn standard_deviation(values: &[f64]) -> Option<f64> {
    let centre = mean(values)?;
    if values.len() < 2 {
        return None;
    }
    let squares = values.iter().fold(0.0, |sum, value| sum + (value - centre) * (value - centre));
    Some((squares / (values.len() - 1) as f64).sqrt())
}

/// Median distance from the median, scaled so that it is the standard deviation of a normal law
/// (factor 1.4826, as F. R. Hampel's MAD is commonly scaled); `None` when empty.
///
/// A few gross outliers do not move it.
pub fn scaled_mad(values: &[f64]) -> Option<f64> {
    let centre = median(values)?;
    let distances: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    Some(1.4826 * median(&distances)?)
}

/// Probability that a standard normal is below `z`.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z / SQRT_2)
}

/// Probability that a value with this best estimate and standard uncertainty is below `limit`.
pub fn probability_below(limit: f64, value: f64, u: f64) -> f64 {
    if u > 0.0 {
        normal_cdf((limit - value) / u)
    } else if value < limit {
        1.0
    } else {
        0.0
    }
}

/// Density of a normal with this mean and variance.
pub fn normal_density(x: f64, centre: f64, variance: f64) -> f64 {
    libm::exp(log_normal_density(x, centre, variance))
}

/// Logarithm of the density of a normal with this mean and variance.
pub fn log_normal_density(x: f64, centre: f64, variance: f64) -> f64 {
    -0.5 * ((x - centre) * (x - centre) / variance + libm::log(2.0 * PI * variance))
}

/// Logarithm of the beta function.
pub fn log_beta(a: f64, b: f64) -> f64 {
    libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b)
}

/// Probabilities in proportion to exponentials; they sum to 1 unless `logs` is empty.
pub fn softmax(logs: &[f64]) -> Vec<f64> {
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|log| libm::exp(log - top)).collect();
    let sum: f64 = weights.iter().fold(0.0, |sum, weight| sum + weight);
    weights.iter().map(|weight| weight / sum).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_normal_law_matches_its_table() {
        // Abramowitz and Stegun, Handbook of Mathematical Functions (1964), Table 26.1.
        for (z, p) in [(0.0, 0.5), (1.0, 0.841_344_746), (1.96, 0.975_002_105)] {
            assert!((normal_cdf(z) - p).abs() < 1e-9);
            assert!((normal_cdf(-z) - (1.0 - p)).abs() < 1e-9);
        }
        assert_eq!(probability_below(5.0, 4.0, 0.0), 1.0);
        assert_eq!(probability_below(5.0, 6.0, 0.0), 0.0);
    }

    #[test]
    fn order_statistics_interpolate() {
        assert_eq!(quantile(&[4.0, 1.0, 3.0, 2.0], 0.5), Some(2.5));
        assert_eq!(quantile(&[4.0, 1.0, 3.0, 2.0], 2.0), Some(4.0));
        assert_eq!(median(&[]), None);
        assert_eq!(standard_deviation(&[1.0]), None);
        assert_eq!(standard_deviation(&[1.0, 3.0]), Some(SQRT_2));
    }

    #[test]
    fn the_beta_function_of_whole_numbers() {
        // B(2, 3) = 1!·2!/4! = 1/12.
        assert!((log_beta(2.0, 3.0) - libm::log(1.0 / 12.0)).abs() < 1e-12);
    }

    #[test]
    fn softmax_survives_huge_logs() {
        let p = softmax(&[1000.0, 1000.0, -1000.0]);
        assert!((p[0] - 0.5).abs() < 1e-12 && p[2] == 0.0);
    }
}
