//! The broad shapes fitted so that loose pins do not drag them down, quickly enough to be done
//! anew for every drawn plank.
//!
//! Expectation and maximisation alternate between each pin's chance of being ordinary and the
//! shapes through the ordinary ones. The start is a high quantile of each section, because
//! looseness only lowers: with most pins of a section loose the upper ones still show what it was.
//! A mixture of normal laws fitted this way is a redescending M-estimate (Huber and Ronchetti,
//! *Robust Statistics*, 2009, chapter 7); the start decides which of its solutions is taken.
//!
//! Deliberately not here: what the shapes are (`basis`) and how large they may be (`hyper`).
//!
//! Numbers without a source beside them are ours (DER).

use super::super::linalg::{Cholesky, SquareMatrix};
use super::super::scatter::{
    LOOSE_SHARE_PRIOR, SCATTER_PRIOR, ScatterLaw, noise_variances, ordinary_chances, update_scatter,
};
use super::super::stats::quantile;

/// Most rounds of expectation and maximisation.
const ROUND_COUNT: usize = 8;
/// Rounds end when no residual moves by more, natural-log units: a tenth of a per cent in friction,
/// far below what a reading's own error leaves open.
const STANDS_STILL: f64 = 1e-3;
/// Where a section's fit begins among its pins.
const START_QUANTILE: f64 = 0.7;
/// Pins below which the start's scatter is the prior's.
const START_COUNT_MIN: usize = 20;
/// Prior variance of a shape, times its largest square, below which it is left out: a hundredth
/// of a per cent in friction.
const SHAPE_VARIANCE_MIN: f64 = 1e-8;

/// The shapes at some places; most are zero at most places, and zeros are not kept.
#[derive(Clone, Debug)]
pub(super) struct SparseDesign {
    column_count: usize,
    /// Where each row's cells begin, and where the last ends.
    starts: Vec<usize>,
    cells: Vec<(usize, f64)>,
}

impl SparseDesign {
    /// Rows of equal length, zeros dropped.
    pub(super) fn new(column_count: usize, rows: impl IntoIterator<Item = Vec<f64>>) -> Self {
        let mut starts = vec![0];
        let mut cells = Vec::new();
        for row in rows {
            cells.extend(row.into_iter().enumerate().filter(|(_, value)| *value != 0.0));
            starts.push(cells.len());
        }
        SparseDesign { column_count, starts, cells }
    }

    pub(super) const fn column_count(&self) -> usize {
        self.column_count
    }

    pub(super) fn row_count(&self) -> usize {
        self.starts.len() - 1
    }

    fn row(&self, row: usize) -> &[(usize, f64)] {
        &self.cells[self.starts[row]..self.starts[row + 1]]
    }

    /// One row's shapes times their sizes.
    pub(super) fn at(&self, row: usize, sizes: &[f64]) -> f64 {
        self.row(row).iter().fold(0.0, |sum, (column, value)| sum + value * sizes[*column])
    }

    /// One row with its zeros.
    pub(super) fn dense_row(&self, row: usize) -> Vec<f64> {
        let mut dense = vec![0.0; self.column_count];
        for (column, value) in self.row(row) {
            dense[*column] = *value;
        }
        dense
    }

    /// The columns with enough prior variance to matter, and the same rows without the others.
    pub(super) fn reduced(&self, prior_variances: &[f64]) -> (Vec<usize>, SparseDesign) {
        let mut largest = vec![0.0_f64; self.column_count];
        for (column, value) in &self.cells {
            largest[*column] = largest[*column].max(value * value);
        }
        let kept: Vec<usize> = (0..self.column_count)
            .filter(|column| prior_variances[*column] * largest[*column] > SHAPE_VARIANCE_MIN)
            .collect();
        let rows = (0..self.row_count()).map(|row| {
            let dense = self.dense_row(row);
            kept.iter().map(|column| dense[*column]).collect::<Vec<f64>>()
        });
        let reduced = SparseDesign::new(kept.len(), rows);
        (kept, reduced)
    }

    /// Φᵀ·N⁻¹·Φ by rows (lower triangle) and Φᵀ·N⁻¹·y.
    pub(super) fn normal_equations(&self, observed: &[f64], noise: &[f64]) -> (Vec<f64>, Vec<f64>) {
        let size = self.column_count;
        let mut gram = vec![0.0; size * size];
        let mut right = vec![0.0; size];
        for row in 0..self.row_count() {
            let cells = self.row(row);
            for (index, (column, value)) in cells.iter().enumerate() {
                let pulled = value / noise[row];
                right[*column] += pulled * observed[row];
                // Columns of a row ascend: these lie in the lower triangle.
                let into = &mut gram[column * size..(column + 1) * size];
                for (other, shape) in &cells[..=index] {
                    into[*other] += pulled * shape;
                }
            }
        }
        (gram, right)
    }
}

/// What a robust fit needs beside the observations: the same for a survey and for every plank
/// drawn in its likeness.
#[derive(Clone, Debug)]
pub(super) struct Frame {
    pub(super) design: SparseDesign,
    /// Variances of the measurement.
    pub(super) variances: Vec<f64>,
    /// Inverse prior variances of the shapes.
    pub(super) prior_precisions: Vec<f64>,
    /// Observations of each section.
    pub(super) sections: Vec<Vec<usize>>,
    /// Number of observations the shapes use up.
    pub(super) freedom: f64,
    /// Least and greatest scatter.
    pub(super) scatter_sd: (f64, f64),
}

/// A robust fit.
#[derive(Clone, Debug)]
pub(super) struct RobustFit {
    /// Sizes of the shapes.
    pub(super) sizes: Vec<f64>,
    /// Their posterior precision, factored.
    pub(super) precision: Cholesky,
    /// Observations less the shapes.
    pub(super) residuals: Vec<f64>,
    /// Chance of each observation to be an ordinary pin.
    pub(super) weights: Vec<f64>,
    /// Noise variances the last round used.
    pub(super) noise: Vec<f64>,
    pub(super) scatter: ScatterLaw,
}

impl Frame {
    /// Fits observations. `None` when the system is not positive definite.
    pub(super) fn fit(&self, observed: &[f64]) -> Option<RobustFit> {
        let (mut residuals, mut scatter) = self.start(observed);
        let mut last = None;
        for _ in 0..ROUND_COUNT {
            let weights = ordinary_chances(&residuals, &self.variances, scatter);
            let law = (self.freedom, self.scatter_sd);
            scatter = update_scatter(&residuals, &self.variances, &weights, law);
            let noise = noise_variances(&self.variances, &weights, scatter);
            let (sizes, precision) = self.solve(observed, &noise)?;
            let moved = self.take_off(observed, &sizes, &mut residuals);
            last = Some((sizes, precision, weights, noise));
            if moved <= STANDS_STILL {
                break;
            }
        }
        let (sizes, precision, weights, noise) = last?;
        Some(RobustFit { sizes, precision, residuals, weights, noise, scatter })
    }

    /// What the shapes leave over, and the largest move of it.
    fn take_off(&self, observed: &[f64], sizes: &[f64], residuals: &mut [f64]) -> f64 {
        let mut moved = 0.0_f64;
        for (i, residual) in residuals.iter_mut().enumerate() {
            let left = observed[i] - self.design.at(i, sizes);
            moved = moved.max((left - *residual).abs());
            *residual = left;
        }
        moved
    }

    fn solve(&self, observed: &[f64], noise: &[f64]) -> Option<(Vec<f64>, Cholesky)> {
        let (gram, right) = self.design.normal_equations(observed, noise);
        let size = self.design.column_count();
        let matrix = SquareMatrix::from_lower(size, |row, column| {
            let prior = if row == column { self.prior_precisions[row] } else { 0.0 };
            gram[row * size + column] + prior
        });
        let precision = Cholesky::new(&matrix)?;
        let sizes = precision.solve(&right);
        sizes.iter().all(|size| size.is_finite()).then_some((sizes, precision))
    }

    /// Residuals from a high quantile of each section, shrunk to the common one where few pins
    /// tell, and the scatter of the pins above it.
    fn start(&self, observed: &[f64]) -> (Vec<f64>, ScatterLaw) {
        let mut residuals = observed.to_vec();
        for section in &self.sections {
            let inside: Vec<f64> = section.iter().map(|i| observed[*i]).collect();
            let trust = inside.len() as f64 / (inside.len() as f64 + 1.5);
            let level = trust * quantile(&inside, START_QUANTILE).unwrap_or(0.0);
            section.iter().for_each(|i| residuals[*i] -= level);
        }
        // Of a normal law: the 95 % point less the 70 % point is 1.645 − 0.524 standard
        // deviations.
        let upper = quantile(&residuals, 0.95).unwrap_or(0.0)
            - quantile(&residuals, START_QUANTILE).unwrap_or(0.0);
        let (low, high) = self.scatter_sd;
        let few = residuals.len() < START_COUNT_MIN;
        let sd = if few { SCATTER_PRIOR } else { (upper / 1.121).clamp(low, high) };
        (residuals, ScatterLaw { sd, loose_share: LOOSE_SHARE_PRIOR })
    }
}

impl RobustFit {
    /// Number of observations that the shapes use up: the trace of the matrix that makes fitted
    /// values of observations.
    pub(super) fn freedom(&self, frame: &Frame) -> f64 {
        let covariance = self.precision.inverse();
        frame.prior_precisions.iter().enumerate().fold(0.0, |sum, (column, prior)| {
            sum + (1.0 - prior * covariance.at(column, column)).clamp(0.0, 1.0)
        })
    }

    /// Share of each observation in its own fitted value.
    pub(super) fn own_shares(&self, design: &SparseDesign) -> Vec<f64> {
        (0..design.row_count())
            .map(|i| {
                let half = self.precision.solve_lower(&design.dense_row(i));
                let squares = half.iter().fold(0.0, |sum, value| sum + value * value);
                (squares / self.noise[i]).min(0.99)
            })
            .collect()
    }
}
