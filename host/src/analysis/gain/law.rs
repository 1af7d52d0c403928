//! Linear regression with known scatter, one gain at a time.
//!
//! A gain is a sum of sizes times what the hole and the pin are; the sizes are normal beforehand
//! and stay so, in closed form (Gelman and others, *Bayesian Data Analysis*, 3rd ed., 2013, section
//! 14.2). Deliberately not here: what the sizes mean, and scatter nobody knows.

use super::super::stats::log_normal_density;

/// Sizes a gain is made of.
pub(super) const SIZE_COUNT: usize = 8;

/// One number for each size.
pub(super) type Row = [f64; SIZE_COUNT];

/// What is known of the sizes: a normal law.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Belief {
    mean: Row,
    covariance: [Row; SIZE_COUNT],
}

impl Belief {
    /// Independent sizes of these means and standard deviations.
    pub(super) fn independent(sizes: [(f64, f64); SIZE_COUNT]) -> Belief {
        let mut covariance = [[0.0; SIZE_COUNT]; SIZE_COUNT];
        for (i, (_, sd)) in sizes.iter().enumerate() {
            covariance[i][i] = sd * sd;
        }
        Belief { mean: sizes.map(|(mean, _)| mean), covariance }
    }

    /// Mean and variance of the sum for a row.
    pub(super) fn sum(&self, row: &Row) -> (f64, f64) {
        let with = self.covariance_with(row);
        (dot(row, &self.mean), dot(row, &with).max(0.0))
    }

    /// Covariance of the sums for two rows.
    pub(super) fn covariance(&self, one: &Row, other: &Row) -> f64 {
        dot(one, &self.covariance_with(other))
    }

    /// Takes in a sum observed with this variance; the logarithm of its density beforehand.
    pub(super) fn learn(&mut self, row: &Row, observed: f64, variance: f64) -> f64 {
        let with = self.covariance_with(row);
        let expected = dot(row, &self.mean);
        let total = dot(row, &with).max(0.0) + variance;
        for i in 0..SIZE_COUNT {
            self.mean[i] += with[i] / total * (observed - expected);
            for k in 0..SIZE_COUNT {
                self.covariance[i][k] -= with[i] * with[k] / total;
            }
        }
        log_normal_density(observed, expected, total)
    }

    fn covariance_with(&self, row: &Row) -> Row {
        self.covariance.map(|of| dot(&of, row))
    }
}

fn dot(one: &Row, other: &Row) -> f64 {
    one.iter().zip(other).fold(0.0, |sum, (a, b)| sum + a * b)
}
