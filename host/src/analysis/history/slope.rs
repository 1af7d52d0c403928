//! Slope through medians: the median of the slopes of all pairs.
//!
//! H. Theil (1950); P. K. Sen, *Journal of the American Statistical Association* 63 (1968). The
//! interval is between slopes whose places follow from the variance of Kendall's S (R. O. Gilbert,
//! *Statistical Methods for Environmental Pollution Monitoring*, 1987), for short series without
//! ties from its exact law. A few surveys out of line do not move it.

use super::kendall::{EXACT_COUNT_MAX, inversion_chances, s_variance};
use super::ranks::group_sizes;
use super::{HistoryError, checked_level, checked_pairs};
use crate::analysis::stats::median;
use crate::metrology::student::coverage_factor;

/// A robust straight line.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RobustSlope {
    /// Change per unit of place.
    pub slope: f64,
    /// Value at place 0 of the line through the medians of places and values (W. J. Conover).
    pub intercept: f64,
    /// Interval of the level asked for; `None` where the series is too short for that level.
    pub interval: Option<(f64, f64)>,
    /// Pairs of different places.
    pub pair_count: usize,
}

/// Median of all pairs' slopes of `y` over `x`, with its interval of this two-sided level.
///
/// Pairs at the same place are left out.
///
/// # Errors
/// For fewer than two points, a value that is no number, or points all at one place.
pub fn theil_sen(x: &[f64], y: &[f64], level: f64) -> Result<RobustSlope, HistoryError> {
    checked_pairs(x, y, 2)?;
    checked_level(level)?;
    let mut slopes = Vec::new();
    for one in 0..x.len() {
        for other in one + 1..x.len() {
            if x[one] != x[other] {
                let slope = (y[other] - y[one]) / (x[other] - x[one]);
                // Values far apart at places almost the same.
                if !slope.is_finite() {
                    return Err(HistoryError::OutOfRange { what: "a slope" });
                }
                slopes.push(slope);
            }
        }
    }
    slopes.sort_by(f64::total_cmp);
    let slope = median(&slopes).ok_or(HistoryError::AllTied)?;
    let middle = |values: &[f64]| median(values).unwrap_or(0.0);
    let intercept = middle(y) - slope * middle(x);
    let interval = interval(x, y, &slopes, level);
    Ok(RobustSlope { slope, intercept, interval, pair_count: slopes.len() })
}

fn interval(x: &[f64], y: &[f64], slopes: &[f64], level: f64) -> Option<(f64, f64)> {
    let count = x.len();
    let untied = |values: &[f64]| group_sizes(values).len() == count;
    if untied(x) && untied(y) && count <= EXACT_COUNT_MAX {
        return exact_interval(count, slopes, level);
    }
    // The variance with ties of values; ties of places would make it smaller still.
    let half = coverage_factor(level, f64::INFINITY)? * s_variance(y).sqrt();
    let pairs = slopes.len() as f64;
    let at = |rank: f64| {
        let below = rank.floor();
        let (first, last) = (1.0, pairs);
        let (inside, next) = (below.clamp(first, last), (below + 1.0).clamp(first, last));
        let (low, high) = (slopes[inside as usize - 1], slopes[next as usize - 1]);
        low + (rank - below) * (high - low)
    };
    let (low, high) = ((pairs - half) / 2.0, (pairs + half) / 2.0 + 1.0);
    (low >= 1.0 && high <= pairs).then(|| (at(low), at(high)))
}

/// Outermost slopes that may be left out so that both tails together keep below 1 − level.
fn exact_interval(count: usize, slopes: &[f64], level: f64) -> Option<(f64, f64)> {
    let mut tail = 0.0;
    let mut left_out: usize = 0;
    for chance in inversion_chances(count) {
        tail += chance;
        // A hair for the rounding of sums of chances.
        if 2.0 * tail > (1.0 - level) * (1.0 + 1e-12) {
            break;
        }
        left_out += 1;
    }
    // An S of all pairs but k outermost ones keeps the k-th slope from either end inside.
    let low = left_out.checked_sub(1)?;
    let high = slopes.len().checked_sub(left_out)?;
    (low <= high).then(|| (slopes[low], slopes[high]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_survey_out_of_line_moves_nothing() {
        let x = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        let y = [10.0, 9.5, 9.1, 4.0, 8.0, 7.4, 7.1];
        let line = theil_sen(&x, &y, 0.95).unwrap();
        assert!((line.slope + 0.5).abs() < 0.05, "{line:?}");
        let (low, high) = line.interval.unwrap();
        assert!(low <= line.slope && line.slope <= high);
    }

    #[test]
    fn four_points_bear_no_interval_at_95_percent_and_five_do() {
        let (x, y) = ([0.0, 1.0, 2.0, 3.0, 4.0], [5.0, 4.9, 4.7, 4.6, 4.2]);
        assert_eq!(theil_sen(&x[..4], &y[..4], 0.95).unwrap().interval, None);
        // 2 of 120 orders are extreme: the outermost slopes hold the slope at 98.3 %.
        let (low, high) = theil_sen(&x, &y, 0.95).unwrap().interval.unwrap();
        assert!((low + 0.4).abs() < 1e-12 && (high + 0.1).abs() < 1e-12, "{low} {high}");
    }

    #[test]
    fn what_says_nothing_is_told() {
        assert_eq!(theil_sen(&[1.0; 3], &[1.0, 2.0, 3.0], 0.95), Err(HistoryError::AllTied));
        assert_eq!(theil_sen(&[1.0], &[1.0, 2.0], 0.95), Err(HistoryError::Lengths));
        assert!(theil_sen(&[0.0, 1.0], &[0.0, f64::INFINITY], 0.95).is_err());
        assert!(theil_sen(&[0.0, 1.0], &[0.0, 1.0], 1.0).is_err());
        let flat = theil_sen(&[0.0, 1.0, 2.0], &[4.0; 3], 0.95).unwrap();
        assert_eq!((flat.slope, flat.intercept), (0.0, 4.0));
        assert!(theil_sen(&[0.0, 1e-300], &[0.0, 1e10], 0.95).is_err());
    }
}
