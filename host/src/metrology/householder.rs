//! The work of a least-squares fit: Householder reflections in twice a double's precision.
//!
//! Columns, values and weights are brought near 1 by powers of two, which cost no digit; about 31
//! digits are left to lose, more than any design in use can cost. Deliberately not here: what the
//! columns mean.
//!
//! Invariants: operations in a fixed order, the same bits on every machine; a fit handed out is
//! finite throughout.

use super::double::{Double, dot, sum};
use super::least_squares::{Fit, FitError, OBSERVATION_COUNT_MAX, Observations, Scatter};

/// A column that adds less than this of its length to the columns before it adds nothing.
const INDEPENDENT_SHARE_MIN: f64 = 1e-14;

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
    let columns = system.columns.iter().map(weighted).collect();
    let reduced = triangular(columns, weighted(&data.values))?;
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
    let squares = residuals.iter().zip(&data.weights);
    let residual_ss = sum(squares.map(|(rest, weight)| rest.squared() * *weight));
    let degrees_of_freedom =
        u32::try_from(data.values.len() - size).map_err(|_| FitError::BeyondRange)?;
    let variance = residual_ss / Double::from(f64::from(degrees_of_freedom));
    let scale = match observations.scatter {
        Scatter::FromResiduals => Scale { factor: variance, exponent: 2 * data.value_exponent },
        Scatter::Known => Scale { factor: Double::ONE, exponent: -data.weight_exponent },
    };
    let whole = product(&system.transform, &inverse);
    let wanted = system.transform.iter().map(|row| dot(row, &own)).zip(&system.exponents);
    let total = total_ss(&data, system.has_constant);
    let fit = Fit {
        coefficients: wanted
            .map(|(value, exponent)| shifted(value, data.value_exponent + exponent))
            .collect(),
        covariance: scale.covariance(&whole, &system.exponents),
        residuals: residuals.iter().map(|rest| shifted(*rest, data.value_exponent)).collect(),
        leverages,
        residual_ss: shifted(residual_ss, 2 * data.value_exponent + data.weight_exponent),
        residual_sd: shifted(variance.sqrt(), data.value_exponent)
            * libm::scalbn(1.0, data.weight_exponent).sqrt(),
        degrees_of_freedom,
        r_squared: if total == Double::ZERO {
            f64::NAN
        } else {
            (Double::ONE - residual_ss / total).rounded()
        },
    };
    if !all_finite(&fit) {
        return Err(FitError::BeyondRange);
    }
    let own_coefficients = own.iter().map(|value| shifted(*value, data.value_exponent)).collect();
    let own_covariance = scale.covariance(&inverse, &vec![0; size]);
    Ok(Solved { fit, own_coefficients, own_covariance })
}

/// A number times a power of two, as a double.
fn shifted(value: Double, exponent: i32) -> f64 {
    libm::scalbn(value.rounded(), exponent)
}

/// What (AᵀWA)⁻¹ is multiplied with to be a covariance.
struct Scale {
    factor: Double,
    exponent: i32,
}

impl Scale {
    /// factor · F·Fᵀ, each coefficient times its own power of two.
    fn covariance(&self, factor: &[Vec<Double>], exponents: &[i32]) -> Vec<Vec<f64>> {
        let cell = |row: usize, column: usize| {
            let exponent = self.exponent + exponents[row] + exponents[column];
            shifted(dot(&factor[row], &factor[column]) * self.factor, exponent)
        };
        let size = exponents.len();
        (0..size).map(|row| (0..size).map(|column| cell(row, column)).collect()).collect()
    }
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
    let unit = square(size, |row, column| if row == column { Double::ONE } else { Double::ZERO });
    let columns: Vec<Vec<Double>> = unit.iter().map(|unit| back_substituted(upper, unit)).collect();
    square(size, |row, column| columns[column][row])
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
