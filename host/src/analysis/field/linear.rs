//! A field that is a sum of known shapes with unknown sizes, a correlated remainder and noise:
//! y = Φ·β + g + e.
//!
//! β has independent normal priors (flat where the variance is infinite), g has a given
//! covariance, e is independent noise. Posterior, marginal likelihood and leave-one-out after
//! Rasmussen and Williams, *Gaussian Processes for Machine Learning* (2006), algorithm 2.1,
//! equations 2.41–2.42 (explicit basis functions) and 5.12. With one flat constant in Φ and g of a
//! given variogram this *is* ordinary kriging (Isaaks and Srivastava, *An Introduction to Applied
//! Geostatistics*, 1989, chapter 12).
//!
//! Without g every fit costs n·m² (m shapes, n pins), cheap enough to be done anew for thousands
//! of drawn planks. Deliberately not here: which shapes (`basis`), which covariance (`compact`),
//! and any choice of their sizes.
//!
//! Invariant: every sum runs in a fixed order, so that results are the same bits on every machine.

use super::super::linalg::{Cholesky, SquareMatrix, dot};

/// The shapes of a field at some places: one row per place, one column per shape.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    column_count: usize,
    cells: Vec<f64>,
}

impl Design {
    /// From rows of equal length.
    pub fn from_rows(column_count: usize, rows: impl IntoIterator<Item = Vec<f64>>) -> Design {
        let mut cells = Vec::new();
        for row in rows {
            debug_assert_eq!(row.len(), column_count);
            cells.extend_from_slice(&row);
        }
        Design { column_count, cells }
    }

    /// Shapes.
    pub const fn column_count(&self) -> usize {
        self.column_count
    }

    /// The shapes at one place.
    pub fn row(&self, place: usize) -> &[f64] {
        &self.cells[place * self.column_count..(place + 1) * self.column_count]
    }

    fn rows(&self) -> impl Iterator<Item = &[f64]> {
        self.cells.chunks_exact(self.column_count.max(1))
    }
}

/// Normal equations of a field's shapes: all that its marginal likelihood needs of the
/// observations while the noise and the correlated remainder stay as they are. The sizes' prior
/// variances may then be varied for m³ instead of n·m².
#[derive(Clone, Debug)]
pub struct Normal {
    shape_count: usize,
    size: usize,
    /// Lower triangle of Φᵀ·S⁻¹·Φ.
    gram: Vec<f64>,
    /// Φᵀ·S⁻¹·y.
    right: Vec<f64>,
    /// yᵀ·S⁻¹·y.
    squares: f64,
    log_determinant: f64,
}

/// The shapes' sizes given the observations.
struct Posterior {
    precision: Cholesky,
    sizes: Vec<f64>,
    log_marginal_likelihood: f64,
}

impl Normal {
    /// From shapes and observations, each once plain and once times S⁻¹ (or each twice times
    /// L⁻¹, with S = L·Lᵀ), and the logarithm of the determinant of S.
    fn new(shapes: (&Design, &Design), observed: (&[f64], &[f64]), log_determinant: f64) -> Normal {
        let shape_count = shapes.0.column_count();
        let mut gram = vec![0.0; shape_count * shape_count];
        let mut right = vec![0.0; shape_count];
        for ((plain, pulled), observed) in shapes.0.rows().zip(shapes.1.rows()).zip(observed.0) {
            for (row, shape) in plain.iter().enumerate() {
                if *shape == 0.0 {
                    continue;
                }
                let into = &mut gram[row * shape_count..row * shape_count + row + 1];
                for (cell, pulled) in into.iter_mut().zip(pulled) {
                    *cell += shape * pulled;
                }
            }
            for (sum, pulled) in right.iter_mut().zip(pulled) {
                *sum += pulled * observed;
            }
        }
        let squares = dot(observed.0, observed.1);
        Normal { shape_count, size: observed.0.len(), gram, right, squares, log_determinant }
    }

    /// Of observations with independent noise alone, its variances finite and above zero.
    pub fn of_noise(design: &Design, observed: &[f64], noise_variances: &[f64]) -> Normal {
        let remainder = Remainder::Noise(noise_variances.to_vec());
        let (pulled, pulled_observed) = (remainder.pull(design), remainder.pull_one(observed));
        let log_determinant = remainder.log_determinant();
        Normal::new((design, &pulled), (observed, &pulled_observed), log_determinant)
    }

    /// Of observations whose remainder and noise together have this covariance.
    pub fn of_covariance(design: &Design, observed: &[f64], covariance: &Cholesky) -> Normal {
        let column_count = design.column_count;
        let cells = covariance.solve_lower_columns(&design.cells, column_count);
        let half = Design { column_count, cells };
        let half_observed = covariance.solve_lower(observed);
        let log_determinant = covariance.log_determinant();
        Normal::new((&half, &half), (&half_observed, &half_observed), log_determinant)
    }

    /// Logarithm of the density of the observations with these prior variances of the sizes;
    /// `None` when the system is not positive definite, or a number is not finite.
    pub fn log_marginal_likelihood(&self, prior_variances: &[f64]) -> Option<f64> {
        Some(self.posterior(prior_variances)?.log_marginal_likelihood)
    }

    fn posterior(&self, prior_variances: &[f64]) -> Option<Posterior> {
        let matrix = SquareMatrix::of_envelope(
            self.shape_count,
            |_| 0,
            |row, column| {
                let prior = if row == column { 1.0 / prior_variances[row] } else { 0.0 };
                self.gram[row * self.shape_count + column] + prior
            },
        );
        let precision = Cholesky::factor(matrix)?;
        let sizes = precision.solve(&self.right);
        let squares = self.squares - dot(&self.right, &sizes);
        let finite = prior_variances.iter().filter(|variance| variance.is_finite());
        let log_prior = finite.fold(0.0, |sum, variance| sum + libm::log(*variance));
        let log_determinant = self.log_determinant + log_prior + precision.log_determinant();
        let log_marginal_likelihood = -0.5 * squares
            - 0.5 * log_determinant
            - 0.5 * self.size as f64 * libm::log(2.0 * std::f64::consts::PI);
        let finite = log_marginal_likelihood.is_finite();
        finite.then_some(Posterior { precision, sizes, log_marginal_likelihood })
    }
}

/// What is not a shape: noise alone, or noise and a correlated remainder.
#[derive(Clone, Debug)]
enum Remainder {
    /// Variances of independent noise.
    Noise(Vec<f64>),
    /// Covariance of remainder and noise together, factored.
    Correlated(Cholesky),
}

/// A fitted field.
#[derive(Clone, Debug)]
pub struct LinearField {
    remainder: Remainder,
    /// Posterior mean of the sizes of the shapes.
    sizes: Vec<f64>,
    /// Posterior precision of the sizes, factored.
    precision: Cholesky,
    /// A⁻¹·y, with A the whole prior covariance of the observations; equally S⁻¹·(y − Φ·β̂).
    weights: Vec<f64>,
    /// S⁻¹·Φ, a row per observation.
    pulled: Design,
    log_marginal_likelihood: f64,
}

impl LinearField {
    /// Fits `observed` with independent noise and no correlated remainder.
    ///
    /// `prior_variances` one per shape, infinite for a flat prior. `None` when the system is not
    /// positive definite, or a number is not finite.
    pub fn fit(
        design: &Design,
        observed: &[f64],
        noise_variances: &[f64],
        prior_variances: &[f64],
    ) -> Option<LinearField> {
        if noise_variances.iter().any(|variance| variance.is_nan() || *variance <= 0.0) {
            return None;
        }
        let remainder = Remainder::Noise(noise_variances.to_vec());
        LinearField::solve(design, observed, remainder, prior_variances)
    }

    /// Fits `observed` with a correlated remainder: `covariance(i, j)` between observations, noise
    /// not included.
    ///
    /// `None` when the system is not positive definite, or a number is not finite.
    pub fn fit_correlated(
        design: &Design,
        observed: &[f64],
        noise_variances: &[f64],
        prior_variances: &[f64],
        covariance: impl Fn(usize, usize) -> f64,
    ) -> Option<LinearField> {
        let matrix = SquareMatrix::of_envelope(
            observed.len(),
            |_| 0,
            |row, column| {
                let noise = if row == column { noise_variances[row] } else { 0.0 };
                covariance(row, column) + noise
            },
        );
        LinearField::fit_factored(design, observed, Cholesky::factor(matrix)?, prior_variances)
    }

    /// Fits `observed` with remainder and noise together of this covariance.
    ///
    /// `None` when the system is not positive definite, or a number is not finite.
    pub fn fit_factored(
        design: &Design,
        observed: &[f64],
        covariance: Cholesky,
        prior_variances: &[f64],
    ) -> Option<LinearField> {
        let remainder = Remainder::Correlated(covariance);
        LinearField::solve(design, observed, remainder, prior_variances)
    }

    fn solve(
        design: &Design,
        observed: &[f64],
        remainder: Remainder,
        prior_variances: &[f64],
    ) -> Option<LinearField> {
        let pulled = remainder.pull(design);
        let pulled_observed = remainder.pull_one(observed);
        let normal = Normal::new(
            (design, &pulled),
            (observed, &pulled_observed),
            remainder.log_determinant(),
        );
        let Posterior { precision, sizes, log_marginal_likelihood } =
            normal.posterior(prior_variances)?;
        let weights =
            (0..observed.len()).map(|i| pulled_observed[i] - dot(pulled.row(i), &sizes)).collect();
        Some(LinearField { remainder, sizes, precision, weights, pulled, log_marginal_likelihood })
    }

    /// Posterior means of the sizes of the shapes.
    pub fn sizes(&self) -> &[f64] {
        &self.sizes
    }

    /// Posterior covariance of the sizes of the shapes, factored precision.
    pub const fn precision(&self) -> &Cholesky {
        &self.precision
    }

    /// A⁻¹·y: what kriging calls the dual weights.
    pub fn weights(&self) -> &[f64] {
        &self.weights
    }

    /// S⁻¹·Φ, with S the covariance of remainder and noise: a row per observation.
    pub const fn pulled(&self) -> &Design {
        &self.pulled
    }

    /// Logarithm of the density of the observations; with flat priors up to their constant
    /// (the restricted likelihood).
    pub const fn log_marginal_likelihood(&self) -> f64 {
        self.log_marginal_likelihood
    }

    /// Posterior mean where the shapes are `shapes` and the remainder's prior covariances with
    /// the observations are `cross` (empty when there is no remainder).
    pub fn mean(&self, shapes: &[f64], cross: &[f64]) -> f64 {
        dot(shapes, &self.sizes) + dot(cross, &self.weights)
    }

    /// Posterior variance of the field, noise not included, where the remainder's prior variance
    /// is `prior`.
    pub fn variance(&self, shapes: &[f64], cross: &[f64], prior: f64) -> f64 {
        let mut open = shapes.to_vec();
        for (weight, pulled) in cross.iter().zip(self.pulled.rows()) {
            for (rest, pulled) in open.iter_mut().zip(pulled) {
                *rest -= weight * pulled;
            }
        }
        let half = self.precision.solve_lower(&open);
        let explained = match &self.remainder {
            Remainder::Correlated(factor) if !cross.is_empty() => {
                let half = factor.solve_lower(cross);
                dot(&half, &half)
            }
            _ => 0.0,
        };
        (prior - explained + dot(&half, &half)).max(0.0)
    }

    /// For every observation, itself less its prediction from all the others, and the variance of
    /// that difference, its own noise included.
    pub fn leave_one_out(&self) -> Vec<(f64, f64)> {
        let own = self.remainder.inverse_diagonal();
        (0..self.weights.len())
            .map(|i| {
                let half = self.precision.solve_lower(self.pulled.row(i));
                let precision = own[i] - dot(&half, &half);
                (self.weights[i] / precision, 1.0 / precision)
            })
            .collect()
    }

    /// S⁻¹, the inverse covariance of remainder and noise; `None` when there is no correlated
    /// remainder.
    pub fn remainder_precision(&self) -> Option<SquareMatrix> {
        match &self.remainder {
            Remainder::Noise(_) => None,
            Remainder::Correlated(factor) => Some(factor.inverse()),
        }
    }
}

impl Remainder {
    /// S⁻¹ times each column of the design.
    fn pull(&self, design: &Design) -> Design {
        match self {
            Remainder::Noise(variances) => Design {
                column_count: design.column_count,
                cells: design
                    .rows()
                    .zip(variances)
                    .flat_map(|(row, variance)| row.iter().map(move |cell| cell / variance))
                    .collect(),
            },
            Remainder::Correlated(factor) => Design {
                column_count: design.column_count,
                cells: factor.solve_columns(&design.cells, design.column_count),
            },
        }
    }

    /// S⁻¹ times one vector.
    fn pull_one(&self, vector: &[f64]) -> Vec<f64> {
        match self {
            Remainder::Noise(variances) => {
                vector.iter().zip(variances).map(|(value, variance)| value / variance).collect()
            }
            Remainder::Correlated(factor) => factor.solve(vector),
        }
    }

    fn log_determinant(&self) -> f64 {
        match self {
            Remainder::Noise(variances) => {
                variances.iter().fold(0.0, |sum, variance| sum + libm::log(*variance))
            }
            Remainder::Correlated(factor) => factor.log_determinant(),
        }
    }

    fn inverse_diagonal(&self) -> Vec<f64> {
        match self {
            Remainder::Noise(variances) => variances.iter().map(|v| 1.0 / v).collect(),
            Remainder::Correlated(factor) => {
                let inverse = factor.inverse();
                (0..inverse.size()).map(|i| inverse.at(i, i)).collect()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::gp::{GaussianProcess, squared_exponential};
    use super::*;

    const PLACES: [f64; 6] = [0.0, 0.3, 0.9, 1.4, 1.7, 2.6];
    const VALUES: [f64; 6] = [1.0, 0.6, -0.2, 0.3, 0.5, 1.4];
    const NOISE: [f64; 6] = [0.1, 0.2, 0.1, 0.3, 0.1, 0.05];
    const PRIOR: [f64; 2] = [2.0, 0.5];

    fn design() -> Design {
        Design::from_rows(2, PLACES.iter().map(|x| vec![1.0, *x]))
    }

    fn local(a: f64, b: f64) -> f64 {
        squared_exponential(a - b, 0.7, 0.5)
    }

    /// The same field as one covariance.
    fn whole(a: f64, b: f64) -> f64 {
        PRIOR[0] + PRIOR[1] * a * b + local(a, b)
    }

    fn fit() -> LinearField {
        LinearField::fit_correlated(&design(), &VALUES, &NOISE, &PRIOR, |i, j| {
            local(PLACES[i], PLACES[j])
        })
        .expect("positive definite")
    }

    #[test]
    fn shapes_and_remainder_are_the_process_with_the_summed_covariance() {
        let process = GaussianProcess::fit(&VALUES, &NOISE, |i, j| whole(PLACES[i], PLACES[j]))
            .expect("positive definite");
        let field = fit();
        for place in [-0.5, 0.3, 2.0] {
            let cross: Vec<f64> = PLACES.iter().map(|x| local(*x, place)).collect();
            let all: Vec<f64> = PLACES.iter().map(|x| whole(*x, place)).collect();
            let shapes = [1.0, place];
            assert!((field.mean(&shapes, &cross) - process.mean(&all)).abs() < 1e-12);
            let variance = field.variance(&shapes, &cross, 0.7);
            assert!((variance - process.variance(&all, whole(place, place))).abs() < 1e-12);
        }
        let both = field.log_marginal_likelihood() - process.log_marginal_likelihood();
        assert!(both.abs() < 1e-12, "{both}");
        let quick = field.leave_one_out();
        for (ours, theirs) in quick.iter().zip(process.leave_one_out(&process.precision())) {
            assert!((ours.0 - theirs.0).abs() < 1e-12 && (ours.1 - theirs.1).abs() < 1e-12);
        }
    }

    #[test]
    fn without_a_remainder_noise_alone_gives_the_same() {
        let quick = LinearField::fit(&design(), &VALUES, &NOISE, &PRIOR).expect("definite");
        let slow = LinearField::fit_correlated(&design(), &VALUES, &NOISE, &PRIOR, |_, _| 0.0)
            .expect("definite");
        assert!((quick.mean(&[1.0, 0.4], &[]) - slow.mean(&[1.0, 0.4], &[0.0; 6])).abs() < 1e-12);
        let (a, b) = (quick.log_marginal_likelihood(), slow.log_marginal_likelihood());
        assert!((a - b).abs() < 1e-12);
        for (ours, theirs) in quick.leave_one_out().iter().zip(slow.leave_one_out()) {
            assert!((ours.0 - theirs.0).abs() < 1e-12 && (ours.1 - theirs.1).abs() < 1e-12);
        }
    }

    #[test]
    fn a_flat_prior_gives_least_squares() {
        let flat = [f64::INFINITY; 2];
        // y = 3 − 2·x exactly.
        let values: Vec<f64> = PLACES.iter().map(|x| 3.0 - 2.0 * x).collect();
        let field = LinearField::fit(&design(), &values, &NOISE, &flat).expect("definite");
        assert!((field.sizes()[0] - 3.0).abs() < 1e-12 && (field.sizes()[1] + 2.0).abs() < 1e-12);
    }

    #[test]
    fn unusable_noise_is_refused() {
        assert!(LinearField::fit(&design(), &VALUES, &[0.0; 6], &PRIOR).is_none());
        let broken = [f64::NAN, 0.0, 0.0, 0.0, 0.0, 0.0];
        assert!(LinearField::fit(&design(), &broken, &NOISE, &PRIOR).is_none());
    }
}
