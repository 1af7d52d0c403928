//! A fitted field at very many places: the same posterior as [`LinearField`], arranged so that a
//! place costs only the observations within reach of the remainder's covariance.
//!
//! With S the covariance of remainder and noise, W = S⁻¹·Φ and M the posterior precision of the
//! shapes' sizes, the variance k₀ − kᵀ·S⁻¹·k + rᵀ·M⁻¹·r with r = φ − Wᵀ·k is
//! k₀ + φᵀ·M⁻¹·φ − 2·kᵀ·W·M⁻¹·φ − kᵀ·A⁻¹·k, A⁻¹ = S⁻¹ − W·M⁻¹·Wᵀ. Matrices are made once; k is
//! zero beyond reach. Several places are worked out side by side, each in its own sum.
//!
//! Deliberately not here: which shapes, which covariance, which places.
//!
//! Invariant: every sum runs in a fixed order, so that results are the same bits on every machine.

use super::super::linalg::{SquareMatrix, dot};
use super::linear::{Design, LinearField};

/// Places worked out side by side.
pub const LANES: usize = 8;

/// One number for each of the places side by side.
pub type Lanes = [f64; LANES];

/// A fitted field made ready for many places.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    sizes: Vec<f64>,
    /// Posterior covariance of the sizes, M⁻¹.
    size_covariance: SquareMatrix,
    /// W: a row per observation.
    pulled: Design,
    /// A⁻¹·y.
    weights: Vec<f64>,
    /// A⁻¹.
    precision: SquareMatrix,
}

/// The shapes' part of the posterior at a place.
#[derive(Clone, Debug, PartialEq)]
pub struct ShapePart {
    /// Mean.
    pub mean: f64,
    /// M⁻¹·φ.
    pub spread: Vec<f64>,
    /// Per observation of a range: W·M⁻¹·φ.
    pub links: Vec<f64>,
}

/// What the observations within reach add at places side by side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReachPart {
    /// kᵀ·A⁻¹·y.
    pub mean: Lanes,
    /// kᵀ·A⁻¹·k.
    pub known: Lanes,
}

impl Window {
    /// Of a fitted field with a correlated remainder. `None` without one.
    pub fn new(field: &LinearField) -> Option<Window> {
        let remainder = field.remainder_precision()?;
        let size_covariance = field.precision().inverse();
        let pulled = field.pulled().clone();
        let count = remainder.size();
        let linked: Vec<Vec<f64>> =
            (0..count).map(|i| size_covariance.times(pulled.row(i))).collect();
        let precision = SquareMatrix::from_lower(count, |row, column| {
            remainder.at(row, column) - dot(&linked[row], pulled.row(column))
        });
        Some(Window {
            sizes: field.sizes().to_vec(),
            size_covariance,
            pulled,
            weights: field.weights().to_vec(),
            precision,
        })
    }

    /// A⁻¹, the inverse of the observations' whole prior covariance: what correlates the
    /// leave-one-out residuals.
    pub const fn precision(&self) -> &SquareMatrix {
        &self.precision
    }

    /// For every observation, itself less its prediction from all the others, and the variance of
    /// that difference, its own noise included.
    pub fn leave_one_out(&self) -> Vec<(f64, f64)> {
        let each = self.weights.iter().enumerate();
        each.map(|(i, weight)| {
            let own = self.precision.at(i, i);
            (weight / own, 1.0 / own)
        })
        .collect()
    }

    /// The shapes' part where the shapes are `shapes`, with links to the observations `range`.
    pub fn shape_part(&self, shapes: &[f64], range: std::ops::Range<usize>) -> ShapePart {
        let spread = self.size_covariance.times(shapes);
        let links = range.map(|i| dot(self.pulled.row(i), &spread)).collect();
        ShapePart { mean: dot(shapes, &self.sizes), spread, links }
    }

    /// What observations add at places side by side: `active` their indices, `cross` the prior
    /// covariance of each with every place.
    pub fn reach_part(&self, active: &[usize], cross: &[Lanes]) -> ReachPart {
        let mut part = ReachPart { mean: [0.0; LANES], known: [0.0; LANES] };
        for (order, (observation, own)) in active.iter().zip(cross).enumerate() {
            let row = self.precision.row(*observation);
            let mut sums = [0.0; LANES];
            for (other, k) in active[..order].iter().zip(cross) {
                let cell = row[*other];
                for lane in 0..LANES {
                    sums[lane] += cell * k[lane];
                }
            }
            let (weight, diagonal) = (self.weights[*observation], row[*observation]);
            for lane in 0..LANES {
                part.mean[lane] += weight * own[lane];
                part.known[lane] += own[lane] * (2.0 * sums[lane] + diagonal * own[lane]);
            }
        }
        part
    }
}
