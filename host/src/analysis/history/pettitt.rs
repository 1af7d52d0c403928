//! Pettitt's test: where does a series change its level, and could chance have done it?
//!
//! A. N. Pettitt, *Applied Statistics* 28 (1979) 126–135, with his approximate chance, which is
//! somewhat too large where the series is short: a change is then missed, not invented.

use super::{HistoryError, checked};

/// The likeliest change of level.
#[derive(Clone, Debug, PartialEq)]
pub struct ChangePoint {
    /// Values up to the change: the last of them is the last of the old level.
    pub after: usize,
    /// The statistic, largest |U|.
    pub k: f64,
    /// Chance of one at least as large where nothing changed, approximate, at most 1.
    pub p: f64,
    /// U after each value: values after it below values up to it, less those above.
    pub u: Vec<f64>,
}

/// Pettitt's test of values in their order in time.
///
/// # Errors
/// For fewer than three values, one that is no number, or all tied.
pub fn pettitt(values: &[f64]) -> Result<ChangePoint, HistoryError> {
    checked(values, 3)?;
    let u: Vec<f64> = (1..=values.len())
        .map(|split| {
            let (before, after) = values.split_at(split);
            let one = |early: &f64| after.iter().map(|late| order(*early, *late)).sum::<f64>();
            before.iter().map(one).sum()
        })
        .collect();
    // The first of several that are alike.
    let mut best = (0, 0.0);
    for (index, value) in u.iter().enumerate() {
        if value.abs() > best.1 {
            best = (index, value.abs());
        }
    }
    let (index, k) = best;
    if k == 0.0 {
        return Err(HistoryError::AllTied);
    }
    let n = values.len() as f64;
    let p = 2.0 * libm::exp(-6.0 * k * k / (n * n * n + n * n));
    Ok(ChangePoint { after: index + 1, k, p: p.min(1.0), u })
}

/// 1 when the early value is above the late one, −1 when below.
fn order(early: f64, late: f64) -> f64 {
    if early == late { 0.0 } else { (early - late).signum() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_step_is_found_where_it_is() {
        let values: Vec<f64> = (0..12).map(|at| if at < 7 { 5.0 } else { 9.0 }).collect();
        let change = pettitt(&values).unwrap();
        assert_eq!((change.after, change.k), (7, 35.0));
        assert!(change.p < 0.05);
    }

    #[test]
    fn what_says_nothing_is_told() {
        assert_eq!(pettitt(&[3.0; 9]), Err(HistoryError::AllTied));
        assert!(pettitt(&[1.0, 2.0]).is_err() && pettitt(&[1.0, f64::NAN, 3.0]).is_err());
        // Three values cannot show a change at any level.
        assert!(pettitt(&[1.0, 2.0, 3.0]).unwrap().p > 0.5);
    }
}
