//! Gaussian-process regression with a given covariance and given noise (Rasmussen and Williams,
//! *Gaussian Processes for Machine Learning*, 2006, algorithm 2.1; leave-one-out after their
//! equations 5.12).
//!
//! Deliberately not here: what the covariance means, and any choice of its parameters.

use super::linalg::{Cholesky, SquareMatrix, dot};

/// Squared-exponential covariance at a distance, in the units of `variance`.
pub fn squared_exponential(distance: f64, variance: f64, length: f64) -> f64 {
    variance * libm::exp(-distance * distance / (2.0 * length * length))
}

/// A field fitted to noisy observations with zero prior mean.
#[derive(Clone, Debug)]
pub struct GaussianProcess {
    factor: Cholesky,
    observed: Vec<f64>,
    weights: Vec<f64>,
}

impl GaussianProcess {
    /// Fits `observed` with prior covariance `covariance(i, j)` and noise variances.
    ///
    /// `None` when the covariance plus noise is not positive definite.
    pub fn fit(
        observed: &[f64],
        noise_variances: &[f64],
        covariance: impl Fn(usize, usize) -> f64,
    ) -> Option<GaussianProcess> {
        let matrix = SquareMatrix::from_fn(observed.len(), |row, column| {
            let noise = if row == column { noise_variances[row] } else { 0.0 };
            covariance(row, column) + noise
        });
        let factor = Cholesky::new(&matrix)?;
        let weights = factor.solve(observed);
        Some(GaussianProcess { factor, observed: observed.to_vec(), weights })
    }

    /// Posterior mean where the prior covariance with the observations is `cross`.
    pub fn mean(&self, cross: &[f64]) -> f64 {
        dot(cross, &self.weights)
    }

    /// Posterior variance of the field, without noise, where the prior variance is `prior`.
    pub fn variance(&self, cross: &[f64], prior: f64) -> f64 {
        let half = self.factor.solve_lower(cross);
        (prior - dot(&half, &half)).max(0.0)
    }

    /// Logarithm of the probability density of the observations.
    pub fn log_marginal_likelihood(&self) -> f64 {
        let size = self.observed.len() as f64;
        -0.5 * dot(&self.observed, &self.weights)
            - 0.5 * self.factor.log_determinant()
            - 0.5 * size * libm::log(2.0 * std::f64::consts::PI)
    }

    /// The inverse of covariance plus noise.
    pub fn precision(&self) -> SquareMatrix {
        self.factor.inverse()
    }

    /// For every observation, itself less its prediction from all the others, and the variance
    /// of that difference.
    pub fn leave_one_out(&self, precision: &SquareMatrix) -> Vec<(f64, f64)> {
        self.weights
            .iter()
            .enumerate()
            .map(|(i, weight)| (weight / precision.at(i, i), 1.0 / precision.at(i, i)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn covariance(points: &[f64]) -> impl Fn(usize, usize) -> f64 + '_ {
        |i, j| squared_exponential(points[i] - points[j], 2.0, 0.7)
    }

    #[test]
    fn leave_one_out_equals_leaving_one_out() {
        let points = [0.0, 0.4, 0.9, 1.7, 2.0];
        let values = [1.0, 0.6, -0.2, 0.3, 0.5];
        let noise = [0.1, 0.2, 0.1, 0.3, 0.1];
        let whole = GaussianProcess::fit(&values, &noise, covariance(&points)).expect("definite");
        let quick = whole.leave_one_out(&whole.precision());
        for left_out in 0..points.len() {
            let keep = |all: &[f64]| -> Vec<f64> {
                let rest = all.iter().enumerate().filter(|(i, _)| *i != left_out);
                rest.map(|(_, value)| *value).collect()
            };
            let rest = keep(&points);
            let fit = GaussianProcess::fit(&keep(&values), &keep(&noise), covariance(&rest))
                .expect("definite");
            let cross: Vec<f64> = rest
                .iter()
                .map(|point| squared_exponential(point - points[left_out], 2.0, 0.7))
                .collect();
            let residual = values[left_out] - fit.mean(&cross);
            let variance = fit.variance(&cross, 2.0) + noise[left_out];
            assert!((quick[left_out].0 - residual).abs() < 1e-10);
            assert!((quick[left_out].1 - variance).abs() < 1e-10);
        }
    }

    #[test]
    fn one_observation_is_shrunk_by_its_noise() {
        let fit = GaussianProcess::fit(&[3.0], &[1.0], |_, _| 2.0).expect("definite");
        assert!((fit.mean(&[2.0]) - 2.0).abs() < 1e-12);
        assert!((fit.variance(&[2.0], 2.0) - 2.0 / 3.0).abs() < 1e-12);
        let density = -0.5 * (9.0 / 3.0 + libm::log(2.0 * std::f64::consts::PI * 3.0));
        assert!((fit.log_marginal_likelihood() - density).abs() < 1e-12);
    }
}
