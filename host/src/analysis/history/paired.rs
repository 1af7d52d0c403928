//! The same pins before and after: signed ranks, the shift with its interval, and Student's test
//! of pairs.
//!
//! F. Wilcoxon (1945); M. Hollander and D. A. Wolfe, *Nonparametric Statistical Methods* (1973),
//! for the median of the Walsh averages (J. L. Hodges and E. L. Lehmann, 1963) and its interval.
//! The law of signed ranks is exact, ties of size included.

use super::ranks::mid_ranks;
use super::{HistoryError, checked, checked_level};
use crate::analysis::stats::{mean, median, normal_cdf, standard_deviation};
use crate::metrology::student::{coverage_factor, t_upper_tail};

/// Pairs up to which the law of signed ranks is exact; a piano has fewer.
const EXACT_COUNT_MAX: usize = 400;

/// What the signed ranks say of differences.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SignedRank {
    /// Differences other than 0.
    pub count: usize,
    /// Sum of the ranks of those above 0.
    pub v: f64,
    /// Chance of a `v` at least this large where there is no shift.
    pub p_greater: f64,
    /// Chance of one at least this far out either way.
    pub p: f64,
}

/// Wilcoxon's test of differences: are they as often and as far above 0 as below?
///
/// Differences of 0 are left out.
///
/// # Errors
/// When a difference is no number, or all are 0.
pub fn signed_rank(differences: &[f64]) -> Result<SignedRank, HistoryError> {
    checked(differences, 1)?;
    let moved: Vec<f64> = differences.iter().copied().filter(|value| *value != 0.0).collect();
    if moved.is_empty() {
        return Err(HistoryError::AllTied);
    }
    let sizes: Vec<f64> = moved.iter().map(|value| value.abs()).collect();
    let ranks = mid_ranks(&sizes);
    let above = moved.iter().zip(&ranks).filter(|(value, _)| **value > 0.0);
    let v: f64 = above.map(|(_, rank)| rank).sum();
    let (p_greater, p_less) =
        if moved.len() <= EXACT_COUNT_MAX { exact_tails(&ranks, v) } else { tails(&ranks, v) };
    let p = (2.0 * p_greater.min(p_less)).min(1.0);
    Ok(SignedRank { count: moved.len(), v, p_greater, p })
}

/// Chances of a sum at least, and at most, this large, each rank's sign being a fair coin.
fn exact_tails(ranks: &[f64], v: f64) -> (f64, f64) {
    // Mid-ranks are whole or half: doubled they are whole.
    let doubled: Vec<usize> = ranks.iter().map(|rank| (2.0 * rank) as usize).collect();
    let chances = sum_chances(&doubled);
    let at = (2.0 * v) as usize;
    (chances[at..].iter().sum(), chances[..=at].iter().sum())
}

/// Chance of each sum of a random half of these whole numbers.
fn sum_chances(numbers: &[usize]) -> Vec<f64> {
    let total: usize = numbers.iter().sum();
    let mut chances = vec![0.0; total + 1];
    chances[0] = 1.0;
    let mut top = 0;
    for number in numbers {
        top += number;
        for sum in (0..=top).rev() {
            let with = if sum >= *number { chances[sum - number] } else { 0.0 };
            chances[sum] = 0.5 * (chances[sum] + with);
        }
    }
    chances
}

fn tails(ranks: &[f64], v: f64) -> (f64, f64) {
    let centre = ranks.iter().sum::<f64>() / 2.0;
    let sd = (ranks.iter().map(|rank| rank * rank).sum::<f64>() / 4.0).sqrt();
    (normal_cdf((centre - v + 0.5) / sd), normal_cdf((v - centre + 0.5) / sd))
}

/// A shift with its interval.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    /// Differences.
    pub count: usize,
    /// Median of the means of all pairs of differences, each with itself too.
    pub shift: f64,
    /// Interval of the level asked for; `None` where there are too few differences for it.
    pub interval: Option<(f64, f64)>,
}

/// The shift of differences, with its interval of this two-sided level.
///
/// # Errors
/// When there is no difference, or one is no number.
pub fn hodges_lehmann(differences: &[f64], level: f64) -> Result<Shift, HistoryError> {
    checked(differences, 1)?;
    checked_level(level)?;
    let mut walsh = Vec::with_capacity(differences.len() * (differences.len() + 1) / 2);
    for (index, one) in differences.iter().enumerate() {
        walsh.extend(differences[index..].iter().map(|other| 0.5 * one + 0.5 * other));
    }
    walsh.sort_by(f64::total_cmp);
    let shift = median(&walsh).unwrap_or(0.0);
    let left_out = walsh_left_out(differences.len(), level);
    let interval = left_out.map(|out| (walsh[out], walsh[walsh.len() - 1 - out]));
    Ok(Shift { count: differences.len(), shift, interval })
}

/// Walsh averages that may be left out at either end; `None` where not even the outermost two
/// reach the level.
fn walsh_left_out(count: usize, level: f64) -> Option<usize> {
    let alpha = 1.0 - level;
    let total = count * (count + 1) / 2;
    if count > EXACT_COUNT_MAX {
        let n = count as f64;
        let sd = (n * (n + 1.0) * (2.0 * n + 1.0) / 24.0).sqrt();
        let out = total as f64 / 2.0 - coverage_factor(level, f64::INFINITY)? * sd;
        return Some((out - 1.0).max(0.0) as usize);
    }
    let ranks: Vec<usize> = (1..=count).collect();
    let mut tail = 0.0;
    let mut fitting = 0;
    for chance in sum_chances(&ranks) {
        tail += chance;
        if 2.0 * tail > alpha {
            break;
        }
        fitting += 1;
    }
    usize::checked_sub(fitting, 1)
}

/// Student's test of pairs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PairedT {
    /// Mean difference.
    pub mean: f64,
    /// Its standard uncertainty, from the scatter of the differences.
    pub u: f64,
    /// Mean over standard uncertainty.
    pub t: f64,
    /// Chance of a |t| at least this large where the mean is 0.
    pub p: f64,
}

/// Student's test of pairs, on their differences.
///
/// # Errors
/// For fewer than two differences, one that is no number, or all the same.
pub fn paired_t(differences: &[f64]) -> Result<PairedT, HistoryError> {
    checked(differences, 2)?;
    let count = differences.len() as f64;
    let centre = mean(differences).unwrap_or(0.0);
    let u = standard_deviation(differences).unwrap_or(0.0) / count.sqrt();
    if u == 0.0 {
        return Err(HistoryError::AllTied);
    }
    let t = centre / u;
    Ok(PairedT { mean: centre, u, t, p: 2.0 * t_upper_tail(t.abs(), count - 1.0) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn five_pairs_cannot_reach_95_percent_and_six_can() {
        // 2/2^5 = 6.25 %, 2/2^6 = 3.1 %.
        let differences = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        assert_eq!(hodges_lehmann(&differences[..5], 0.95).unwrap().interval, None);
        let six = hodges_lehmann(&differences, 0.95).unwrap();
        assert_eq!((six.shift, six.interval), (3.5, Some((1.0, 6.0))));
        assert_eq!(signed_rank(&differences[..5]).unwrap().p, 2.0 / 32.0);
    }

    #[test]
    fn tied_sizes_keep_the_exact_law() {
        // Sizes 1, 1, 1: eight patterns of sign, all ranks 2.
        let got = signed_rank(&[1.0, 1.0, -1.0, 0.0]).unwrap();
        assert_eq!((got.count, got.v, got.p_greater, got.p), (3, 4.0, 0.5, 1.0));
    }

    #[test]
    fn the_normal_law_takes_over_smoothly() {
        let differences: Vec<f64> =
            (0..400).map(|at| f64::from((at * 7919) % 401) / 100.0 - 1.9).collect();
        let exact = signed_rank(&differences).unwrap();
        let sizes: Vec<f64> =
            differences.iter().filter(|value| **value != 0.0).map(|value| value.abs()).collect();
        let (greater, _) = tails(&mid_ranks(&sizes), exact.v);
        assert!((greater - exact.p_greater).abs() < 2e-3, "{greater} {exact:?}");
        let more: Vec<f64> = differences.iter().chain(&[0.1]).copied().collect();
        let near = hodges_lehmann(&differences, 0.95).unwrap().interval.unwrap();
        let beyond = hodges_lehmann(&more, 0.95).unwrap().interval.unwrap();
        assert!((near.0 - beyond.0).abs() < 0.01 && (near.1 - beyond.1).abs() < 0.01);
    }

    #[test]
    fn what_says_nothing_is_told() {
        assert_eq!(signed_rank(&[0.0, 0.0]), Err(HistoryError::AllTied));
        assert_eq!(signed_rank(&[]), Err(HistoryError::TooFew { found: 0, needed: 1 }));
        assert!(hodges_lehmann(&[f64::NAN], 0.95).is_err());
        assert_eq!(paired_t(&[2.0, 2.0, 2.0]), Err(HistoryError::AllTied));
        assert!(paired_t(&[2.0]).is_err());
    }
}
