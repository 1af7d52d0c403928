//! Linear least squares for any design: coefficients, covariance, residuals, leverages.
//!
//! Certified results (NIST StRD, linear regression) come out to the last digits a double holds;
//! `householder` does the work. Deliberately not here: what the columns mean
//! ([`super::polynomial`] has powers of one quantity), and tests on a fit
//! ([`super::lack_of_fit`]).
//!
//! Invariants: operations in a fixed order, the same bits on every machine; every result finite,
//! or a typed error.

use thiserror::Error;

use super::double::Double;
use super::householder::{System, exponent_of, solve, square};

/// Observations a fit takes at most.
pub const OBSERVATION_COUNT_MAX: usize = 4_000_000;

/// Shares below this are rounding.
const LEAST_ROOM: f64 = 1e-12;

/// Why nothing could be fitted. Indices count observations from 0.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum FitError {
    /// Not one observation more than coefficients.
    #[error("{count} points are too few, at least {needed} are needed")]
    TooFew {
        /// Observations given.
        count: usize,
        /// Observations needed.
        needed: usize,
    },
    /// More than [`OBSERVATION_COUNT_MAX`].
    #[error("{count} points are too many, at most {OBSERVATION_COUNT_MAX} are possible")]
    TooMany {
        /// Observations given.
        count: usize,
    },
    /// Lists of different lengths.
    #[error("the lists of values differ in length")]
    Lengths,
    /// An infinite value or no number.
    #[error("value {index} is not a finite number")]
    NotFinite {
        /// Which observation.
        index: usize,
    },
    /// A weight or uncertainty that is not above zero and finite.
    #[error("weight {index} is not above zero")]
    Weight {
        /// Which observation.
        index: usize,
    },
    /// Fewer different places than coefficients.
    #[error("{distinct} different values are too few, at least {needed} are needed")]
    FewDistinct {
        /// Different values given.
        distinct: usize,
        /// Different values needed.
        needed: usize,
    },
    /// Columns that say the same.
    #[error("the columns do not tell the coefficients apart")]
    Collinear,
    /// Results beyond what a double holds.
    #[error("the values are too large, too small or too far apart in size")]
    BeyondRange,
    /// An iteration that did not settle.
    #[error("the fit does not settle")]
    Unsettled,
}

/// Where the covariance's scale comes from.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Scatter {
    /// From the residuals: weights, if any, are relative.
    #[default]
    FromResiduals,
    /// Known beforehand: weights are 1/u², the covariance is theirs alone.
    Known,
}

/// What is fitted to, beside the places.
#[derive(Clone, Copy, Debug)]
pub struct Observations<'a> {
    /// Values observed.
    pub values: &'a [f64],
    /// A weight above zero for each; `None`: all the same.
    pub weights: Option<&'a [f64]>,
    /// Where the covariance's scale comes from.
    pub scatter: Scatter,
}

impl<'a> Observations<'a> {
    /// Values of equal weight, scatter from the residuals.
    pub fn equal(values: &'a [f64]) -> Observations<'a> {
        Observations { values, weights: None, scatter: Scatter::FromResiduals }
    }

    /// Values with known standard uncertainties `u`; `weights` is where 1/u² is kept meanwhile.
    ///
    /// # Errors
    /// When an uncertainty is not above zero and finite.
    pub fn with_known_u(
        values: &'a [f64],
        u: &[f64],
        weights: &'a mut Vec<f64>,
    ) -> Result<Observations<'a>, FitError> {
        if let Some(index) = u.iter().position(|u| !(*u > 0.0 && u.is_finite())) {
            return Err(FitError::Weight { index });
        }
        weights.clear();
        weights.extend(u.iter().map(|u| 1.0 / (u * u)));
        Ok(Observations { values, weights: Some(weights), scatter: Scatter::Known })
    }
}

/// A least-squares fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Fit {
    /// One for each column.
    pub coefficients: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Observed less fitted, in the order given, without weights.
    pub residuals: Vec<f64>,
    /// What each observation adds to its own fitted value, 0–1; they sum to the coefficients'
    /// count.
    pub leverages: Vec<f64>,
    /// Sum of squared residuals, weighted.
    pub residual_ss: f64,
    /// Square root of [`Fit::residual_ss`] over the degrees of freedom.
    pub residual_sd: f64,
    /// Observations less coefficients, at least 1.
    pub degrees_of_freedom: u32,
    /// Share of the scatter about the weighted mean explained, about zero where the design has no
    /// constant; NaN when there is no scatter.
    pub r_squared: f64,
}

impl Fit {
    /// Standard uncertainty of each coefficient.
    pub fn standard_errors(&self) -> Vec<f64> {
        let diagonal = self.covariance.iter().enumerate().map(|(index, row)| row[index]);
        diagonal.map(f64::sqrt).collect()
    }

    /// Degrees of freedom, as the laws of t and F take them.
    pub fn dof(&self) -> f64 {
        f64::from(self.degrees_of_freedom)
    }

    /// How far each observation lies from what the others alone foretell: observed less the value
    /// of the fit without it. `None` where the others foretell nothing.
    pub fn deleted_residuals(&self) -> Vec<Option<f64>> {
        let pairs = self.residuals.iter().zip(&self.leverages);
        pairs.map(|(residual, leverage)| Some(residual / room_of(*leverage)?)).collect()
    }

    /// [`Fit::deleted_residuals`] over their standard uncertainties: Student's t with one degree
    /// of freedom less than the fit, for the question whether this one observation is odd.
    ///
    /// `weights` as fitted; scatter is taken from the other residuals whatever [`Scatter`] the fit
    /// had. `None` where the others foretell nothing, or scatter not at all.
    pub fn studentized_residuals(&self, weights: Option<&[f64]>) -> Vec<Option<f64>> {
        let dof = self.dof() - 1.0;
        let of = |index: usize| {
            let weight = weights.map_or(Some(1.0), |weights| weights.get(index).copied())?;
            let room = room_of(self.leverages[index])?;
            let residual = self.residuals[index];
            let others_ss = self.residual_ss - weight * residual * residual / room;
            let rounding = LEAST_ROOM * self.residual_ss;
            let usable = dof > 0.0 && others_ss > rounding;
            usable.then(|| residual * (weight * dof / (others_ss * room)).sqrt())
        };
        (0..self.residuals.len()).map(of).collect()
    }

    /// Correlation of two coefficients, −1 to 1; `None` when there are no such two.
    pub fn correlation(&self, one: usize, other: usize) -> Option<f64> {
        let at = |row: usize, column: usize| self.covariance.get(row)?.get(column).copied();
        Some(at(one, other)? / (at(one, one)? * at(other, other)?).sqrt())
    }
}

/// What an observation leaves to the others; `None` when it fixes its own fitted value.
fn room_of(leverage: f64) -> Option<f64> {
    let room = 1.0 - leverage;
    (room > LEAST_ROOM).then_some(room)
}

/// Fits a design given row by row: one row of column values for each observation.
///
/// `has_constant` says whether a column, or a sum of columns, is constant; it decides what
/// [`Fit::r_squared`] compares with.
///
/// # Errors
/// When there are too few or too many observations, lists differ in length, a value is not
/// finite, a weight not above zero, or the columns do not tell the coefficients apart.
pub fn fit_design(
    rows: &[Vec<f64>],
    has_constant: bool,
    observations: Observations<'_>,
) -> Result<Fit, FitError> {
    let count = rows.first().map_or(0, Vec::len);
    if rows.len() != observations.values.len() || rows.iter().any(|row| row.len() != count) {
        return Err(FitError::Lengths);
    }
    if let Some(index) = rows.iter().position(|row| row.iter().any(|cell| !cell.is_finite())) {
        return Err(FitError::NotFinite { index });
    }
    let mut columns = Vec::with_capacity(count);
    let mut exponents = Vec::with_capacity(count);
    for column in 0..count {
        let exponent = exponent_of(rows.iter().map(|row| row[column]));
        let scaled = rows.iter().map(|row| Double::from(libm::scalbn(row[column], -exponent)));
        columns.push(scaled.collect());
        exponents.push(-exponent);
    }
    let identity = |row, column| if row == column { Double::ONE } else { Double::ZERO };
    let transform = square(count, identity);
    Ok(solve(System { columns, transform, exponents, has_constant }, observations)?.fit)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assert_all_close(got: &[f64], want: &[f64], relative: f64) {
        assert_eq!(got.len(), want.len());
        for (got, want) in got.iter().zip(want) {
            assert!((got - want).abs() <= relative * want.abs(), "{got:e} is not {want:e}");
        }
    }

    /// Two columns whose normal equations are solved by hand below.
    const ROWS: [[f64; 2]; 4] = [[1.0, 2.0], [1.0, 0.0], [0.0, 1.0], [2.0, 1.0]];
    const VALUES: [f64; 4] = [4.0, 2.0, 1.0, 5.0];

    fn rows() -> Vec<Vec<f64>> {
        ROWS.iter().map(|row| row.to_vec()).collect()
    }

    #[test]
    fn two_columns_by_hand() {
        // AᵀA = [6 4; 4 6], Aᵀy = [16; 14]: b = [2; 1], nothing left.
        let fit = fit_design(&rows(), false, Observations::equal(&VALUES)).unwrap();
        assert_all_close(&fit.coefficients, &[2.0, 1.0], 1e-15);
        assert!(fit.residual_ss < 1e-60);
        // With y₁ + 1: Aᵀy = [17; 16], b = [38; 28]/20, residuals 0.3, 0.1, −0.4, −0.2.
        let moved = [5.0, 2.0, 1.0, 5.0];
        let fit = fit_design(&rows(), false, Observations::equal(&moved)).unwrap();
        assert_all_close(&fit.coefficients, &[1.9, 1.4], 1e-15);
        assert_all_close(&[fit.residual_ss], &[0.3], 1e-15);
        assert_eq!(fit.degrees_of_freedom, 2);
        // s² = 0.15, (AᵀA)⁻¹ = [6 −4; −4 6]/20.
        assert_all_close(&fit.covariance[0], &[0.045, -0.03], 1e-14);
        assert_all_close(&fit.covariance[1], &[-0.03, 0.045], 1e-14);
        assert_all_close(&[fit.correlation(0, 1).unwrap()], &[-2.0 / 3.0], 1e-14);
        assert_eq!(fit.correlation(0, 2), None);
        // aᵀ(AᵀA)⁻¹a of each row.
        assert_all_close(&fit.residuals, &[0.3, 0.1, -0.4, -0.2], 1e-14);
        assert_all_close(&fit.leverages, &[0.7, 0.3, 0.3, 0.7], 1e-15);
        assert_all_close(&[fit.r_squared], &[1.0 - 0.3 / 55.0], 1e-15);
    }

    #[test]
    fn a_weight_counts_as_that_many_observations() {
        let weighted = Observations {
            values: &[5.0, 2.0, 1.0, 5.0],
            weights: Some(&[3.0, 1.0, 2.0, 1.0]),
            scatter: Scatter::Known,
        };
        let one = fit_design(&rows(), false, weighted).unwrap();
        let order = [0, 0, 0, 1, 2, 2, 3];
        let repeated: Vec<Vec<f64>> = order.iter().map(|index| rows()[*index].clone()).collect();
        let values: Vec<f64> = order.iter().map(|index| weighted.values[*index]).collect();
        let known = Observations { scatter: Scatter::Known, ..Observations::equal(&values) };
        let other = fit_design(&repeated, false, known).unwrap();
        assert_all_close(&one.coefficients, &other.coefficients, 1e-14);
        assert_all_close(&one.covariance[0], &other.covariance[0], 1e-14);
        assert_all_close(&[one.residual_ss], &[other.residual_ss], 1e-14);
        assert_all_close(&[one.r_squared], &[other.r_squared], 1e-14);
    }

    #[test]
    fn a_deleted_residual_is_that_of_a_fit_without_the_point() {
        let rows: Vec<Vec<f64>> = [0.0, 1.0, 2.0, 3.5, 5.0, 9.0].map(|x| vec![1.0, x]).to_vec();
        let values = [0.2, 1.0, 2.4, 3.0, 5.3, 8.8];
        let weights = [1.0, 2.0, 0.5, 1.0, 3.0, 1.5];
        let scatter = Scatter::FromResiduals;
        let all = Observations { values: &values, weights: Some(&weights), scatter };
        let fit = fit_design(&rows, true, all).unwrap();
        let (deleted, t) = (fit.deleted_residuals(), fit.studentized_residuals(Some(&weights)));
        for index in 0..rows.len() {
            let (mut rows, mut others, mut weights) =
                (rows.clone(), values.to_vec(), weights.to_vec());
            let (row, value) = (rows.remove(index), others.remove(index));
            let weight = weights.remove(index);
            let without = Observations { values: &others, weights: Some(&weights), scatter };
            let without = fit_design(&rows, true, without).unwrap();
            let [a, b] = [without.coefficients[0], without.coefficients[1]];
            let rest = value - a - b * row[1];
            assert_all_close(&[deleted[index].unwrap()], &[rest], 1e-12);
            let v = |one: usize, other: usize| without.covariance[one][other];
            let own = without.residual_sd * without.residual_sd / weight;
            let variance = v(0, 0) + 2.0 * row[1] * v(0, 1) + row[1] * row[1] * v(1, 1) + own;
            assert_all_close(&[t[index].unwrap()], &[rest / variance.sqrt()], 1e-12);
        }
    }

    #[test]
    fn a_point_alone_at_its_place_is_judged_by_nobody() {
        let rows: Vec<Vec<f64>> = [0.0, 0.0, 0.0, 1.0].map(|x| vec![1.0, x]).to_vec();
        let fit = fit_design(&rows, true, Observations::equal(&[1.0, 1.5, 0.8, 9.0])).unwrap();
        assert_eq!(fit.deleted_residuals()[3], None);
        assert_eq!(fit.studentized_residuals(None)[3], None);
        assert!(fit.deleted_residuals()[0].is_some());
    }

    #[test]
    fn units_change_the_numbers_and_nothing_else() {
        let fit = |value_factor: f64, weight_factor: f64, scatter| {
            let values = VALUES.map(|value| (value + value.sqrt()) * value_factor);
            let weights = [1.0, 2.0, 3.0, 4.0].map(|weight| weight * weight_factor);
            let observations = Observations { values: &values, weights: Some(&weights), scatter };
            fit_design(&rows(), false, observations).unwrap()
        };
        let (one, other) =
            (fit(1.0, 1.0, Scatter::FromResiduals), fit(1e-120, 1e90, Scatter::FromResiduals));
        let scaled = |values: &[f64], factor: f64| -> Vec<f64> {
            values.iter().map(|value| value * factor).collect()
        };
        assert_all_close(&other.coefficients, &scaled(&one.coefficients, 1e-120), 1e-13);
        assert_all_close(&other.covariance[1], &scaled(&one.covariance[1], 1e-240), 1e-13);
        assert_all_close(&[other.residual_sd], &[one.residual_sd * 1e-75], 1e-13);
        let (one, other) = (fit(1.0, 1.0, Scatter::Known), fit(1e50, 1e-100, Scatter::Known));
        assert_all_close(&other.covariance[1], &scaled(&one.covariance[1], 1e100), 1e-13);
        assert_all_close(&[other.residual_ss], &[one.residual_ss], 1e-13);
    }

    #[test]
    fn what_cannot_be_fitted_says_why() {
        let refused = |rows: &[Vec<f64>], values: &[f64]| {
            fit_design(rows, false, Observations::equal(values)).unwrap_err()
        };
        assert_eq!(refused(&rows()[..2], &VALUES[..2]), FitError::TooFew { count: 2, needed: 3 });
        assert_eq!(refused(&rows(), &VALUES[..3]), FitError::Lengths);
        assert_eq!(refused(&rows(), &[1.0, f64::NAN, 1.0, 1.0]), FitError::NotFinite { index: 1 });
        let mut bad = rows();
        bad[2][0] = f64::INFINITY;
        assert_eq!(refused(&bad, &VALUES), FitError::NotFinite { index: 2 });
        let same: Vec<Vec<f64>> = (0..4).map(|n| vec![f64::from(n), f64::from(n) * 0.1]).collect();
        assert_eq!(refused(&same, &VALUES), FitError::Collinear);
        let zero: Vec<Vec<f64>> = (0..4).map(|n| vec![f64::from(n), 0.0]).collect();
        assert_eq!(refused(&zero, &VALUES), FitError::Collinear);
        let huge = VALUES.map(|value| (value + value.sqrt()) * 1e200);
        assert_eq!(refused(&rows(), &huge), FitError::BeyondRange);
        let weights = [1.0, 1.0, 0.0, 1.0];
        let weighted = Observations {
            values: &VALUES,
            weights: Some(&weights),
            scatter: Scatter::FromResiduals,
        };
        assert_eq!(fit_design(&rows(), false, weighted), Err(FitError::Weight { index: 2 }));
        let mut room = Vec::new();
        let u = [0.1, -0.1, 0.1, 0.1];
        let known = Observations::with_known_u(&VALUES, &u, &mut room);
        assert_eq!(known.unwrap_err(), FitError::Weight { index: 1 });
    }
}
