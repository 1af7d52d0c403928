//! Mann's test for a trend: do later values lie above or below earlier ones more often than chance
//! would have it?
//!
//! H. B. Mann, *Econometrica* 13 (1945); M. G. Kendall, *Rank Correlation Methods* (1975): variance
//! with ties, continuity correction. Short series without ties are held against the exact law.

use super::ranks::group_sizes;
use super::{HistoryError, checked};
use crate::analysis::stats::normal_cdf;

/// Values up to which the exact law is used, where none are tied.
pub(super) const EXACT_COUNT_MAX: usize = 10;

/// What the test found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MannKendall {
    /// Pairs that rise less pairs that fall.
    pub s: f64,
    /// Variance of `s` where there is no trend, ties taken into account.
    pub variance: f64,
    /// `s` with continuity correction over its standard deviation; 0 where all values are tied.
    pub z: f64,
    /// Chance of an `s` at least this far from 0 where there is no trend, two-sided.
    pub p: f64,
    /// `s` over the number of pairs, −1 to 1.
    pub tau: f64,
    /// Whether `p` is of the exact law, not of the normal one.
    pub exact: bool,
}

/// Mann's test of values in their order in time.
///
/// # Errors
/// For fewer than three values or one that is no number.
pub fn mann_kendall(values: &[f64]) -> Result<MannKendall, HistoryError> {
    checked(values, 3)?;
    let mut s = 0.0;
    for (index, earlier) in values.iter().enumerate() {
        for later in &values[index + 1..] {
            s += sign(later - earlier);
        }
    }
    let variance = s_variance(values);
    let z = if s == 0.0 || variance == 0.0 { 0.0 } else { (s - s.signum()) / variance.sqrt() };
    let count = values.len();
    let tied = group_sizes(values).len() < count;
    let exact = !tied && count <= EXACT_COUNT_MAX;
    let p = if exact { exact_p(count, s) } else { (2.0 * normal_cdf(-z.abs())).min(1.0) };
    let pair_count = (count * (count - 1) / 2) as f64;
    Ok(MannKendall { s, variance, z, p, tau: s / pair_count, exact })
}

fn sign(difference: f64) -> f64 {
    if difference == 0.0 { 0.0 } else { difference.signum() }
}

/// Variance of S where there is no trend, ties among the values taken into account.
pub(super) fn s_variance(values: &[f64]) -> f64 {
    let term = |count: f64| count * (count - 1.0) * (2.0 * count + 5.0);
    let tied: f64 = group_sizes(values).into_iter().map(term).sum();
    (term(values.len() as f64) - tied) / 18.0
}

/// Chance of each number of falling pairs among `count` values without ties or trend: the number
/// of inversions of a random order.
pub(super) fn inversion_chances(count: usize) -> Vec<f64> {
    let mut chances = vec![1.0];
    for size in 2..=count {
        let mut next = vec![0.0; chances.len() + size - 1];
        for (inversions, chance) in chances.iter().enumerate() {
            for added in 0..size {
                next[inversions + added] += chance / size as f64;
            }
        }
        chances = next;
    }
    chances
}

fn exact_p(count: usize, s: f64) -> f64 {
    let pairs = (count * (count - 1) / 2) as f64;
    let far = |inversions: usize| (pairs - 2.0 * inversions as f64).abs() >= s.abs();
    let chances = inversion_chances(count);
    let tail = chances.iter().enumerate().filter(|(inversions, _)| far(*inversions));
    tail.map(|(_, chance)| chance).sum::<f64>().min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_series_use_the_exact_law() {
        // All 4! and 5! orders are alike: only two of them rise or fall throughout.
        let rising = mann_kendall(&[1.0, 2.0, 3.0, 4.0]).unwrap();
        assert!(rising.exact && (rising.p - 2.0 / 24.0).abs() < 1e-15 && rising.tau == 1.0);
        let falling = mann_kendall(&[5.0, 4.0, 3.0, 2.0, 1.0]).unwrap();
        assert!((falling.p - 2.0 / 120.0).abs() < 1e-15 && falling.s == -10.0);
        // Kendall's table (1975), n = 9: P(S >= 20) = 0.022, from memory; doubled.
        let nine = mann_kendall(&[1.0, 2.0, 3.0, 4.0, 5.0, 8.0, 9.0, 6.0, 7.0]).unwrap();
        assert_eq!(nine.s, 28.0);
        assert!((inversion_chances(9)[..=8].iter().sum::<f64>() - 0.0223).abs() < 5e-4);
    }

    #[test]
    fn what_says_nothing_is_told() {
        let flat = mann_kendall(&[2.0; 12]).unwrap();
        assert_eq!((flat.s, flat.z, flat.p, flat.exact), (0.0, 0.0, 1.0, false));
        assert_eq!(mann_kendall(&[1.0, 2.0]), Err(HistoryError::TooFew { found: 2, needed: 3 }));
        let gap = mann_kendall(&[1.0, f64::NAN, 2.0]);
        assert_eq!(gap, Err(HistoryError::NotANumber { index: 1 }));
    }
}
