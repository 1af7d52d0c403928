//! How well two series of readings of the same things agree (Bland and Altman, *The Lancet* 1986).
//!
//! Bias and limits of agreement of the differences: what one lever, person or day reads beside
//! another. Correlation would not tell: it is high wherever pins differ much. A lever's people
//! and seatings are told by analysis of variance ([`super::anova`]).

use crate::analysis::stats::{mean, standard_deviation};

/// Agreement of two series, in their unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Agreement {
    /// Pairs.
    pub count: usize,
    /// Mean of one less the other.
    pub bias: f64,
    /// Standard deviation of the differences.
    pub difference_sd: f64,
}

impl Agreement {
    /// Limits that hold most differences: bias ± `factor` standard deviations (2, or 1.96).
    pub fn limits(self, factor: f64) -> (f64, f64) {
        (self.bias - factor * self.difference_sd, self.bias + factor * self.difference_sd)
    }

    /// Standard uncertainty of the bias.
    pub fn bias_u(self) -> f64 {
        self.difference_sd / (self.count as f64).sqrt()
    }

    /// Standard deviation of one reading, where two by the same hand and tool are compared: the
    /// difference has twice its variance.
    pub fn repeatability_sd(self) -> f64 {
        self.difference_sd / std::f64::consts::SQRT_2
    }
}

/// Agreement of pairs (one, other); `None` for fewer than two, or when one is no number.
pub fn agreement(pairs: &[(f64, f64)]) -> Option<Agreement> {
    let differences: Vec<f64> = pairs.iter().map(|(one, other)| one - other).collect();
    if !differences.iter().all(|difference| difference.is_finite()) {
        return None;
    }
    let bias = mean(&differences)?;
    let difference_sd = standard_deviation(&differences)?;
    Some(Agreement { count: pairs.len(), bias, difference_sd })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_constant_offset_is_all_bias() {
        let got = agreement(&[(5.0, 4.0), (9.0, 8.0), (2.0, 1.0)]).expect("agreement");
        assert_eq!((got.bias, got.difference_sd, got.count), (1.0, 0.0, 3));
        assert_eq!(got.limits(2.0), (1.0, 1.0));
    }

    #[test]
    fn scatter_widens_the_limits() {
        let got = agreement(&[(1.0, 0.0), (0.0, 1.0), (1.0, 0.0), (0.0, 1.0)]).expect("agreement");
        let sd = (4.0f64 / 3.0).sqrt();
        assert!((got.difference_sd - sd).abs() < 1e-12 && got.bias == 0.0);
        assert!((got.bias_u() - sd / 2.0).abs() < 1e-12);
        assert!((got.repeatability_sd() - (2.0f64 / 3.0).sqrt()).abs() < 1e-12);
    }

    #[test]
    fn too_few_or_no_numbers_agree_on_nothing() {
        assert_eq!(agreement(&[(1.0, 2.0)]), None);
        assert_eq!(agreement(&[(1.0, 2.0), (f64::NAN, 1.0)]), None);
    }
}
