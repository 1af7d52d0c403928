//! Moran's I and Geary's C, their moments, and each place's share of I.
//!
//! Moments after A. D. Cliff and J. K. Ord, *Spatial Processes: Models and Applications* (1981),
//! sections 1.5 and 2.3; the local I after L. Anselin, "Local indicators of spatial association",
//! *Geographical Analysis* 27 (1995) 93–115. Deliberately not here: reference distributions
//! ([`super::permutation`]).

use serde::Serialize;

use super::centre_of;
use super::weights::Weights;

/// A statistic of likeness between neighbours, and what it would be of values without order.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Autocorrelation {
    /// The statistic.
    pub value: f64,
    /// Its expectation when order means nothing.
    pub expected: f64,
    /// Its variance when values are independent normal ones.
    pub variance_normal: f64,
    /// Its variance over all orders of these values.
    pub variance_random: f64,
}

impl Autocorrelation {
    /// Above expectation, in standard deviations of the normal assumption.
    pub fn z_normal(&self) -> f64 {
        (self.value - self.expected) / self.variance_normal.sqrt()
    }

    /// Above expectation, in standard deviations over all orders.
    pub fn z_random(&self) -> f64 {
        (self.value - self.expected) / self.variance_random.sqrt()
    }
}

/// Moran's I: covariance between neighbours over variance. Positive when neighbours are alike.
///
/// `None` for fewer than four values, values that do not vary or are not finite, another number
/// of weights' rows than values, or when nobody has a neighbour.
pub fn moran(values: &[f64], weights: &Weights) -> Option<Autocorrelation> {
    let Shape { n, s0, s1, s2, kurtosis: k } = Shape::of(values, weights)?;
    let expected = -1.0 / (n - 1.0);
    let normal = (n * n * s1 - n * s2 + 3.0 * s0 * s0) / ((n * n - 1.0) * s0 * s0);
    let random = (n * ((n * n - 3.0 * n + 3.0) * s1 - n * s2 + 3.0 * s0 * s0)
        - k * ((n * n - n) * s1 - 2.0 * n * s2 + 6.0 * s0 * s0))
        / ((n - 1.0) * (n - 2.0) * (n - 3.0) * s0 * s0);
    Some(Autocorrelation {
        value: moran_value(values, weights, s0),
        expected,
        variance_normal: normal - expected * expected,
        variance_random: random - expected * expected,
    })
}

/// Geary's C: mean square of differences between neighbours over variance. Below 1 when
/// neighbours are alike.
///
/// `None` as in [`moran`].
pub fn geary(values: &[f64], weights: &Weights) -> Option<Autocorrelation> {
    let Shape { n, s0, s1, s2, kurtosis: k } = Shape::of(values, weights)?;
    let normal = ((2.0 * s1 + s2) * (n - 1.0) - 4.0 * s0 * s0) / (2.0 * (n + 1.0) * s0 * s0);
    let random = ((n - 1.0) * s1 * (n * n - 3.0 * n + 3.0 - (n - 1.0) * k)
        - 0.25 * (n - 1.0) * s2 * (n * n + 3.0 * n - 6.0 - (n * n - n + 2.0) * k)
        + s0 * s0 * (n * n - 3.0 - (n - 1.0) * (n - 1.0) * k))
        / (n * (n - 2.0) * (n - 3.0) * s0 * s0);
    Some(Autocorrelation {
        value: geary_value(values, weights, s0),
        expected: 1.0,
        variance_normal: normal,
        variance_random: random,
    })
}

/// Each place's own share of Moran's I: its deviation times its neighbours', over the variance
/// (n, not n − 1). Positive among alike neighbours, negative for one that differs from them.
///
/// `None` as in [`moran`]; zero where there is no neighbour.
pub fn local_moran(values: &[f64], weights: &Weights) -> Option<Vec<f64>> {
    let Shape { n, .. } = Shape::of(values, weights)?;
    let (mean, squares) = centre_of(values);
    let deviations: Vec<f64> = values.iter().map(|value| value - mean).collect();
    let lags = weights.lag(&deviations);
    Some(deviations.iter().zip(lags).map(|(own, lag)| n * own * lag / squares).collect())
}

/// What the moments depend on.
struct Shape {
    n: f64,
    s0: f64,
    s1: f64,
    s2: f64,
    /// Fourth moment over squared second.
    kurtosis: f64,
}

impl Shape {
    fn of(values: &[f64], weights: &Weights) -> Option<Shape> {
        let sums = weights.sums();
        let n = values.len() as f64;
        let (mean, squares) = centre_of(values);
        let usable = values.len() >= 4 && values.len() == weights.count() && sums.s0 > 0.0;
        // Not finite: an infinity or a NaN among the values, or squares beyond a double.
        if !usable || !squares.is_finite() || squares <= 0.0 {
            return None;
        }
        let fourth = values.iter().fold(0.0, |sum, value| {
            let square = (value - mean) * (value - mean);
            sum + square * square
        });
        let kurtosis = n * fourth / (squares * squares);
        // Of values so near each other that their fourth powers vanish.
        kurtosis.is_finite().then_some(Shape { n, s0: sums.s0, s1: sums.s1, s2: sums.s2, kurtosis })
    }
}

/// Moran's I of values that vary, weights that sum to `s0`.
pub(super) fn moran_value(values: &[f64], weights: &Weights, s0: f64) -> f64 {
    let (mean, squares) = centre_of(values);
    let cross = (0..values.len()).fold(0.0, |sum, from| {
        let row = weights.neighbours(from).iter();
        sum + (values[from] - mean) * row.fold(0.0, |sum, (to, w)| sum + w * (values[*to] - mean))
    });
    values.len() as f64 / s0 * cross / squares
}

/// Geary's C of values that vary, weights that sum to `s0`.
pub(super) fn geary_value(values: &[f64], weights: &Weights, s0: f64) -> f64 {
    let (_, squares) = centre_of(values);
    let differences = (0..values.len()).fold(0.0, |sum, from| {
        let row = weights.neighbours(from).iter();
        sum + row.fold(0.0, |sum, (to, w)| {
            sum + w * (values[from] - values[*to]) * (values[from] - values[*to])
        })
    });
    (values.len() - 1) as f64 * differences / (2.0 * s0 * squares)
}

#[cfg(test)]
mod tests {
    use super::super::permutation::every_order;
    use super::*;

    fn line(count: usize) -> Weights {
        let places: Vec<[f64; 2]> = (0..count).map(|i| [i as f64, 0.0]).collect();
        Weights::within(&places, 1.0)
    }

    #[test]
    fn moments_over_all_orders_are_those_of_every_order() {
        // Six values in a row: all 720 orders are few enough to go through.
        let values = [1.0, 2.5, 2.0, 7.0, -1.0, 0.5];
        let weights = line(6).row_standardised();
        let s0 = weights.sums().s0;
        type Statistic = fn(&[f64], &Weights, f64) -> f64;
        let statistics: [Statistic; 2] = [moran_value, geary_value];
        let moments = [moran(&values, &weights), geary(&values, &weights)];
        for (statistic, moments) in statistics.into_iter().zip(moments) {
            let moments = moments.expect("values vary");
            let all: Vec<f64> =
                every_order(&values).iter().map(|order| statistic(order, &weights, s0)).collect();
            let (mean, squares) = centre_of(&all);
            assert!((mean - moments.expected).abs() < 1e-12);
            assert!((squares / all.len() as f64 - moments.variance_random).abs() < 1e-12);
        }
    }

    #[test]
    fn a_step_is_alike_and_a_zigzag_is_not() {
        let step = moran(&[0.0, 0.1, 0.0, 5.0, 5.1, 5.0], &line(6)).expect("varies");
        let zigzag = moran(&[0.0, 5.0, 0.1, 5.1, 0.0, 5.0], &line(6)).expect("varies");
        assert!(step.z_normal() > 1.5 && zigzag.z_normal() < -1.5);
    }

    #[test]
    fn local_shares_sum_to_the_whole() {
        let values = [3.0, 1.0, 4.0, 1.0, 5.0, 9.0, 2.0];
        let weights = line(7);
        let shares = local_moran(&values, &weights).expect("varies");
        let sum = shares.iter().fold(0.0, |sum, share| sum + share);
        let whole = moran(&values, &weights).expect("varies");
        assert!((sum / weights.sums().s0 - whole.value).abs() < 1e-12);
        // The lone nine among middling neighbours is where neighbours differ.
        assert!(shares[4] > 0.0 && shares[2] < 0.0);
    }

    #[test]
    fn what_cannot_be_judged_is_not() {
        assert_eq!(moran(&[1.0; 6], &line(6)), None);
        assert_eq!(moran(&[1.0, f64::NAN, 2.0, 3.0], &line(4)), None);
        assert_eq!(moran(&[1.0, f64::INFINITY, 2.0, 3.0], &line(4)), None);
        assert_eq!(geary(&[1.0, 2.0, 3.0, 5.0], &line(5)), None);
        let alone = Weights::within(&[[0.0, 0.0], [9.0, 0.0], [0.0, 9.0], [9.0, 9.0]], 1.0);
        assert_eq!(moran(&[1.0, 2.0, 3.0, 5.0], &alone), None);
        assert_eq!(local_moran(&[], &line(0)), None);
    }
}
