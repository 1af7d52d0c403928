//! Linear least squares for any design: coefficients, covariance, residuals, leverages.
//!
//! Householder reflections in twice a double's precision (`double`), on columns scaled by powers
//! of two, so that certified results (NIST StRD, linear regression) come out to the last digits a
//! double holds. Deliberately not here: what the columns mean ([`super::polynomial`] has powers of
//! one quantity), and tests on a fit ([`super::lack_of_fit`]).
//!
//! Invariants: operations in a fixed order, the same bits on every machine; every result finite,
//! or a typed error.

use thiserror::Error;

use super::double::{Double, dot, sum};

/// Observations a fit takes at most.
pub const OBSERVATION_COUNT_MAX: usize = 4_000_000;

/// A column that adds less than this of its length to the columns before it adds nothing.
const INDEPENDENT_SHARE_MIN: f64 = 1e-14;

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

    /// Correlation of two coefficients, −1 to 1; `None` when there are no such two.
    pub fn correlation(&self, one: usize, other: usize) -> Option<f64> {
        let at = |row: usize, column: usize| self.covariance.get(row)?.get(column).copied();
        Some(at(one, other)? / (at(one, one)? * at(other, other)?).sqrt())
    }
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

/// The power of two that brings the largest of these below 1; 0 when all are zero.
pub(super) fn exponent_of(values: impl Iterator<Item = f64>) -> i32 {
    let largest = values.fold(0.0, |largest: f64, value| largest.max(value.abs()));
    libm::frexp(largest).1
}

/// A square matrix by its cells.
pub(super) fn square(size: usize, cell: impl Fn(usize, usize) -> Double) -> Vec<Vec<Double>> {
    (0..size).map(|row| (0..size).map(|column| cell(row, column)).collect()).collect()
}

/// A design ready to be solved: moderate columns, and the way back to the coefficients wanted.
pub(super) struct System {
    /// Column by column, cells below about 1.
    pub(super) columns: Vec<Vec<Double>>,
    /// Coefficients wanted = transform · coefficients of the columns.
    pub(super) transform: Vec<Vec<Double>>,
    /// Then times these powers of two.
    pub(super) exponents: Vec<i32>,
    /// Whether the columns hold a constant.
    pub(super) has_constant: bool,
}

/// A fit, and the same in the columns' own coefficients.
pub(super) struct Solved {
    pub(super) fit: Fit,
    pub(super) own_coefficients: Vec<f64>,
    pub(super) own_covariance: Vec<Vec<f64>>,
}

/// Values and weights brought near 1 by powers of two.
struct Scaled {
    values: Vec<Double>,
    value_exponent: i32,
    weights: Vec<Double>,
    weight_exponent: i32,
}

fn scaled(observations: Observations<'_>, needed: usize) -> Result<Scaled, FitError> {
    let Observations { values, weights, .. } = observations;
    let count = values.len();
    if count < needed {
        return Err(FitError::TooFew { count, needed });
    }
    if count > OBSERVATION_COUNT_MAX {
        return Err(FitError::TooMany { count });
    }
    if let Some(index) = values.iter().position(|value| !value.is_finite()) {
        return Err(FitError::NotFinite { index });
    }
    let scaled_by = |values: &[f64], exponent: i32| -> Vec<Double> {
        values.iter().map(|value| Double::from(libm::scalbn(*value, -exponent))).collect()
    };
    let value_exponent = exponent_of(values.iter().copied());
    let (weights, weight_exponent) = match weights {
        None => (vec![Double::ONE; count], 0),
        Some(weights) if weights.len() != count => return Err(FitError::Lengths),
        Some(weights) => {
            let bad = weights.iter().position(|weight| !(*weight > 0.0 && weight.is_finite()));
            if let Some(index) = bad {
                return Err(FitError::Weight { index });
            }
            let exponent = exponent_of(weights.iter().copied());
            (scaled_by(weights, exponent), exponent)
        }
    };
    Ok(Scaled {
        values: scaled_by(values, value_exponent),
        value_exponent,
        weights,
        weight_exponent,
    })
}

/// Solves a system.
pub(super) fn solve(system: System, observations: Observations<'_>) -> Result<Solved, FitError> {
    let size = system.columns.len();
    let data = scaled(observations, size + 1)?;
    let roots: Vec<Double> = data.weights.iter().map(|weight| weight.sqrt()).collect();
    let weighted = |column: &Vec<Double>| -> Vec<Double> {
        column.iter().zip(&roots).map(|(cell, root)| *cell * *root).collect()
    };
    let reduced =
        triangular(system.columns.iter().map(weighted).collect(), weighted(&data.values))?;
    let own = back_substituted(&reduced.upper, &reduced.right);
    let inverse = inverse_of_upper(&reduced.upper);
    let rows = || (0..data.values.len()).map(|row| system.columns.iter().map(move |c| c[row]));
    let residuals: Vec<Double> = rows()
        .zip(&data.values)
        .map(|(row, value)| *value - sum(row.zip(&own).map(|(cell, b)| cell * *b)))
        .collect();
    let leverages = rows()
        .zip(&data.weights)
        .map(|(row, weight)| (leverage(&row.collect::<Vec<_>>(), &inverse) * *weight).rounded())
        .collect();
    let squares = |values: &[Double]| {
        sum(values.iter().zip(&data.weights).map(|(value, weight)| value.squared() * *weight))
    };
    let residual_ss = squares(&residuals);
    let dof = data.values.len() - size;
    let variance = residual_ss / Double::from(dof as f64);
    let (scale, scale_exponent) = match observations.scatter {
        Scatter::FromResiduals => (variance, 2 * data.value_exponent),
        Scatter::Known => (Double::ONE, -data.weight_exponent),
    };
    // The columns' coefficients are of the scaled values; a known scatter is of the unscaled.
    let whole = product(&system.transform, &inverse);
    let coefficients: Vec<Double> = system.transform.iter().map(|row| dot(row, &own)).collect();
    let shift = |value: Double, exponent: i32| libm::scalbn(value.rounded(), exponent);
    let covariance_of = |factor: &[Vec<Double>], exponents: &dyn Fn(usize) -> i32| {
        let cell = |row: usize, column: usize| {
            let exponent = scale_exponent + exponents(row) + exponents(column);
            shift(dot(&factor[row], &factor[column]) * scale, exponent)
        };
        (0..size).map(|row| (0..size).map(|column| cell(row, column)).collect()).collect()
    };
    let total = total_ss(&data, system.has_constant);
    let fit = Fit {
        coefficients: coefficients
            .iter()
            .zip(&system.exponents)
            .map(|(value, exponent)| shift(*value, data.value_exponent + exponent))
            .collect(),
        covariance: covariance_of(&whole, &|index| system.exponents[index]),
        residuals: residuals.iter().map(|value| shift(*value, data.value_exponent)).collect(),
        leverages,
        residual_ss: shift(residual_ss, 2 * data.value_exponent + data.weight_exponent),
        residual_sd: shift(variance.sqrt(), data.value_exponent)
            * libm::scalbn(1.0, data.weight_exponent).sqrt(),
        degrees_of_freedom: u32::try_from(dof).map_err(|_| FitError::BeyondRange)?,
        r_squared: if total == Double::ZERO {
            f64::NAN
        } else {
            (Double::ONE - residual_ss / total).rounded()
        },
    };
    if !all_finite(&fit) {
        return Err(FitError::BeyondRange);
    }
    let own_coefficients = own.iter().map(|value| shift(*value, data.value_exponent)).collect();
    let own_covariance = covariance_of(&inverse, &|_| 0);
    Ok(Solved { fit, own_coefficients, own_covariance })
}

fn all_finite(fit: &Fit) -> bool {
    let lists = [&fit.coefficients, &fit.residuals, &fit.leverages];
    let cells = lists.into_iter().chain(&fit.covariance).flatten();
    cells.chain([&fit.residual_ss, &fit.residual_sd]).all(|value| value.is_finite())
}

/// Weighted squares about the weighted mean, or about zero.
fn total_ss(data: &Scaled, about_mean: bool) -> Double {
    let mean = if about_mean {
        let weighted = data.values.iter().zip(&data.weights).map(|(value, w)| *value * *w);
        sum(weighted) / sum(data.weights.iter().copied())
    } else {
        Double::ZERO
    };
    let about = data.values.iter().zip(&data.weights);
    sum(about.map(|(value, weight)| (*value - mean).squared() * *weight))
}

/// Upper triangle (row by row, zeros left out) and right side after the reflections.
struct Triangular {
    upper: Vec<Vec<Double>>,
    right: Vec<Double>,
}

/// Householder reflections, column by column.
fn triangular(
    mut columns: Vec<Vec<Double>>,
    mut right: Vec<Double>,
) -> Result<Triangular, FitError> {
    let size = columns.len();
    let lengths: Vec<f64> =
        columns.iter().map(|column| dot(column, column).sqrt().rounded()).collect();
    for step in 0..size {
        let (done, rest) = columns.split_at_mut(step + 1);
        let column = &mut done[step];
        let length = dot(&column[step..], &column[step..]).sqrt();
        let enough = INDEPENDENT_SHARE_MIN * lengths[step];
        if length.rounded().is_nan() || length.rounded() <= enough {
            return Err(FitError::Collinear);
        }
        // The reflection takes the column's rest onto its first cell, away from its sign.
        let first = column[step];
        let target = if first.rounded() > 0.0 { -length } else { length };
        let half_square = length.squared() + first.abs() * length;
        let mut mirror = column[step..].to_vec();
        mirror[0] = first - target;
        for other in rest.iter_mut().chain([&mut right]) {
            let share = dot(&mirror, &other[step..]) / half_square;
            for (cell, normal) in other[step..].iter_mut().zip(&mirror) {
                *cell = *cell - share * *normal;
            }
        }
        column[step] = target;
    }
    let upper = (0..size).map(|row| (row..size).map(|column| columns[column][row]).collect());
    Ok(Triangular { upper: upper.collect(), right: right[..size].to_vec() })
}

/// Solves upper · x = right; row r of `upper` begins at column r.
fn back_substituted(upper: &[Vec<Double>], right: &[Double]) -> Vec<Double> {
    let mut solution = right.to_vec();
    for row in (0..upper.len()).rev() {
        let known = dot(&upper[row][1..], &solution[row + 1..]);
        solution[row] = (solution[row] - known) / upper[row][0];
    }
    solution
}

/// The inverse of the upper triangle, as a full square.
fn inverse_of_upper(upper: &[Vec<Double>]) -> Vec<Vec<Double>> {
    let size = upper.len();
    let mut inverse = square(size, |_, _| Double::ZERO);
    for column in 0..size {
        let unit: Vec<Double> =
            (0..size).map(|row| if row == column { Double::ONE } else { Double::ZERO }).collect();
        for (row, cell) in back_substituted(upper, &unit).into_iter().enumerate() {
            inverse[row][column] = cell;
        }
    }
    inverse
}

/// Square of a row times the inverse triangle.
fn leverage(row: &[Double], inverse: &[Vec<Double>]) -> Double {
    let size = row.len();
    sum((0..size).map(|column| {
        sum(row.iter().zip(inverse).map(|(cell, line)| *cell * line[column])).squared()
    }))
}

fn product(left: &[Vec<Double>], right: &[Vec<Double>]) -> Vec<Vec<Double>> {
    let cell = |row: usize, column: usize| {
        sum(left[row].iter().zip(right).map(|(cell, line)| *cell * line[column]))
    };
    square(left.len(), cell)
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
        // AᵀA = [6 4; 4 6], Aᵀy = [16; 14]: b = [2; 1], residuals 0, 0, 0, 0 but for the values
        // moved by +1 and −1, at right angles to neither column.
        let fit = fit_design(&rows(), false, Observations::equal(&VALUES)).unwrap();
        assert_all_close(&fit.coefficients, &[2.0, 1.0], 1e-15);
        assert!(fit.residual_ss < 1e-60);
        // With y₁ + 1: Aᵀy = [17; 16], b = [38; 28]/20, residuals 0.3, 0.1, −0.4, −0.2 … squares:
        // yᵀy − bᵀAᵀy = 55 − (1.9·17 + 1.4·16) = 0.3.
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
        // r aᵀ(AᵀA)⁻¹a of each row.
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
