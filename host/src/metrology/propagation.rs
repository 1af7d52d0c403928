//! The law of propagation of uncertainty (JCGM 100, clause 5 and annex H.2; several results:
//! JCGM 102, clause 6).
//!
//! Input quantities carry standard uncertainty and degrees of freedom and may be correlated; each
//! result is a row of sensitivities (partial derivatives), worked out by hand or by
//! [`sensitivities`]. Deliberately not here: coverage intervals of parts that are not normal
//! ([`super::coverage`]).

#[cfg(test)]
mod tests;

use thiserror::Error;

use super::student;

/// Step of the numeric derivative, share of the standard uncertainty.
const STEP_SHARE: f64 = 1e-2;
/// Correlations may pass 1 by rounding, no further.
const CORRELATION_SLACK: f64 = 1e-9;

/// One input quantity.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    /// Best value.
    pub value: f64,
    /// Standard uncertainty, not negative.
    pub u: f64,
    /// Infinite where the standard uncertainty is taken as known.
    pub degrees_of_freedom: f64,
}

impl Input {
    /// With a standard uncertainty taken as known.
    pub const fn known(value: f64, u: f64) -> Input {
        Input { value, u, degrees_of_freedom: f64::INFINITY }
    }

    /// The mean of repeated observations (JCGM 100, 4.2); `None` for fewer than two.
    pub fn mean_of(observations: &[f64]) -> Option<Input> {
        let count = observations.len();
        if count < 2 {
            return None;
        }
        let value = sum(observations.iter().copied()) / count as f64;
        let squares = sum(observations.iter().map(|x| (x - value) * (x - value)));
        let freedom = (count - 1) as f64;
        let u = (squares / freedom / count as f64).sqrt();
        Some(Input { value, u, degrees_of_freedom: freedom })
    }
}

/// Why nothing was propagated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum PropagationError {
    /// An input is no number, or its uncertainty is negative.
    #[error("input {index} is not finite or its uncertainty is negative")]
    Input {
        /// Which, from 0.
        index: usize,
    },
    /// Rows of sensitivities or correlations do not fit the inputs.
    #[error("{found} numbers stand where {expected} are needed")]
    Shape {
        /// How many there are.
        found: usize,
        /// How many are needed.
        expected: usize,
    },
    /// A correlation is beyond ±1, differs from its mirror image, or is not 1 with itself.
    #[error("the correlation of inputs {row} and {column} is impossible")]
    Correlation {
        /// One input, from 0.
        row: usize,
        /// The other.
        column: usize,
    },
    /// The model gave no number near the values.
    #[error("the model has no finite value near input {index}")]
    Model {
        /// The input that was moved.
        index: usize,
    },
}

/// Results with what is known of them.
#[derive(Clone, Debug, PartialEq)]
pub struct Propagated {
    /// Combined standard uncertainty of each result.
    pub u: Vec<f64>,
    /// Effective degrees of freedom of each (Welch and Satterthwaite, JCGM 100, G.4.1).
    pub degrees_of_freedom: Vec<f64>,
    /// Covariance of the results, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Per result: sensitivity times standard uncertainty of each input, signed.
    pub contributions: Vec<Vec<f64>>,
}

impl Propagated {
    /// Correlation of two results; `None` when one is certain, or there is none of that number.
    pub fn correlation(&self, one: usize, other: usize) -> Option<f64> {
        let product = self.u.get(one)? * self.u.get(other)?;
        (product > 0.0).then(|| self.covariance[one][other] / product)
    }

    /// Half width of the symmetric interval of this coverage about a result, by Student's t at its
    /// effective degrees of freedom (JCGM 100, G.3.2); `None` outside 0–1 or without such result.
    pub fn expanded(&self, result: usize, coverage: f64) -> Option<f64> {
        let factor = student::coverage_factor(coverage, *self.degrees_of_freedom.get(result)?)?;
        Some(factor * self.u[result])
    }
}

/// Propagates inputs to results.
///
/// `sensitivities` has a row per result, a number per input. `correlation` is the inputs' matrix
/// row by row; `None` when they are independent. Welch and Satterthwaite's formula is for
/// independent inputs; with correlated ones it stays an approximation.
///
/// # Errors
/// When shapes do not fit or a number is impossible.
///
/// ```
/// use pinhold::metrology::propagation::{Input, propagate};
/// let inputs = [Input::known(5.0, 0.3), Input::known(2.0, 0.4)];
/// let sum = propagate(&inputs, &[vec![1.0, 1.0]], None).unwrap();
/// assert!((sum.u[0] - 0.5).abs() < 1e-12);
/// ```
pub fn propagate(
    inputs: &[Input],
    sensitivities: &[Vec<f64>],
    correlation: Option<&[Vec<f64>]>,
) -> Result<Propagated, PropagationError> {
    let count = inputs.len();
    check(inputs, sensitivities, correlation)?;
    let contributions: Vec<Vec<f64>> = sensitivities
        .iter()
        .map(|row| row.iter().zip(inputs).map(|(c, input)| c * input.u).collect())
        .collect();
    let correlated = |i: usize, j: usize| match correlation {
        Some(matrix) => matrix[i][j],
        None => f64::from(u8::from(i == j)),
    };
    let covariance_of = |one: &[f64], other: &[f64]| {
        sum((0..count)
            .flat_map(|i| (0..count).map(move |j| (i, j)))
            .map(|(i, j)| one[i] * correlated(i, j) * other[j]))
    };
    let covariance: Vec<Vec<f64>> = contributions
        .iter()
        .map(|one| contributions.iter().map(|other| covariance_of(one, other)).collect())
        .collect();
    // Rounding can put the variance of a difference of correlated inputs below zero.
    let u: Vec<f64> =
        covariance.iter().enumerate().map(|(i, row)| row[i].max(0.0).sqrt()).collect();
    let degrees_of_freedom = contributions
        .iter()
        .zip(&u)
        .map(|(row, u)| {
            let parts =
                row.iter().zip(inputs).map(|(part, input)| (*part, input.degrees_of_freedom));
            effective_degrees_of_freedom(*u, parts)
        })
        .collect();
    Ok(Propagated { u, degrees_of_freedom, covariance, contributions })
}

/// Welch and Satterthwaite's formula: u⁴ / Σ(uᵢ⁴/νᵢ), from contributions with their degrees of
/// freedom. Infinite when no part is estimated.
pub fn effective_degrees_of_freedom(u: f64, parts: impl IntoIterator<Item = (f64, f64)>) -> f64 {
    let estimated = sum(parts.into_iter().map(|(part, freedom)| fourth(part) / freedom));
    if estimated > 0.0 { fourth(u) / estimated } else { f64::INFINITY }
}

/// Root of the sum of squares: combined standard uncertainty of independent contributions.
pub fn root_sum_of_squares(parts: impl IntoIterator<Item = f64>) -> f64 {
    sum(parts.into_iter().map(|part| part * part)).sqrt()
}

/// Partial derivatives of a model at the inputs' values, by central differences of a hundredth
/// of each standard uncertainty; 0 for inputs without one.
///
/// # Errors
/// When the model gives no finite number there.
pub fn sensitivities(
    inputs: &[Input],
    model: impl Fn(&[f64]) -> f64,
) -> Result<Vec<f64>, PropagationError> {
    let mut values: Vec<f64> = inputs.iter().map(|input| input.value).collect();
    let mut row = Vec::with_capacity(inputs.len());
    for (index, input) in inputs.iter().enumerate() {
        let step = STEP_SHARE * input.u;
        let mut at = |value: f64| {
            values[index] = value;
            model(&values)
        };
        let (above, below) = (input.value + step, input.value - step);
        let slope = if step > 0.0 { (at(above) - at(below)) / (above - below) } else { 0.0 };
        values[index] = input.value;
        if !slope.is_finite() {
            return Err(PropagationError::Model { index });
        }
        row.push(slope);
    }
    Ok(row)
}

/// Covariance of the means of simultaneous observations, row by row (JCGM 100, 5.2.3); each
/// series holds the same number of observations, two at least.
///
/// # Errors
/// When series are of different or too short length.
pub fn covariance_of_means(series: &[&[f64]]) -> Result<Vec<Vec<f64>>, PropagationError> {
    let expected = series.first().map_or(2, |first| first.len()).max(2);
    if let Some(other) = series.iter().find(|other| other.len() != expected) {
        return Err(PropagationError::Shape { found: other.len(), expected });
    }
    let count = expected as f64;
    let means: Vec<f64> = series.iter().map(|values| sum(values.iter().copied()) / count).collect();
    let entry = |(one, one_mean): (&&[f64], &f64), (other, other_mean): (&&[f64], &f64)| {
        let products = one.iter().zip(*other).map(|(x, y)| (x - one_mean) * (y - other_mean));
        sum(products) / (count * (count - 1.0))
    };
    Ok(series
        .iter()
        .zip(&means)
        .map(|one| series.iter().zip(&means).map(|other| entry(one, other)).collect())
        .collect())
}

/// Correlations from a covariance; 0 beside a quantity that is certain.
pub fn correlation_of(covariance: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let u: Vec<f64> =
        covariance.iter().enumerate().map(|(i, row)| row[i].max(0.0).sqrt()).collect();
    let entry = |i: usize, j: usize, value: f64| match (i == j, u[i] * u[j]) {
        (true, _) => 1.0,
        (false, product) if product > 0.0 => (value / product).clamp(-1.0, 1.0),
        _ => 0.0,
    };
    covariance
        .iter()
        .enumerate()
        .map(|(i, row)| row.iter().enumerate().map(|(j, value)| entry(i, j, *value)).collect())
        .collect()
}

/// Refuses shapes that do not fit and numbers that cannot be.
fn check(
    inputs: &[Input],
    sensitivities: &[Vec<f64>],
    correlation: Option<&[Vec<f64>]>,
) -> Result<(), PropagationError> {
    let expected = inputs.len();
    for (index, input) in inputs.iter().enumerate() {
        let fits = input.value.is_finite() && input.u.is_finite() && input.u >= 0.0;
        if !fits || input.degrees_of_freedom.is_nan() || input.degrees_of_freedom <= 0.0 {
            return Err(PropagationError::Input { index });
        }
    }
    let rows = sensitivities.iter().chain(correlation.into_iter().flatten());
    if let Some(row) = rows.clone().find(|row| row.len() != expected) {
        return Err(PropagationError::Shape { found: row.len(), expected });
    }
    let Some(matrix) = correlation else { return Ok(()) };
    if matrix.len() != expected {
        return Err(PropagationError::Shape { found: matrix.len(), expected });
    }
    for (row, entries) in matrix.iter().enumerate() {
        for (column, entry) in entries.iter().enumerate() {
            let possible = entry.abs() <= 1.0 + CORRELATION_SLACK
                && (entry - matrix[column][row]).abs() <= CORRELATION_SLACK
                && (row != column || (entry - 1.0).abs() <= CORRELATION_SLACK);
            if !possible {
                return Err(PropagationError::Correlation { row, column });
            }
        }
    }
    Ok(())
}

/// Sum in order.
fn sum(values: impl IntoIterator<Item = f64>) -> f64 {
    values.into_iter().fold(0.0, |sum, value| sum + value)
}

fn fourth(x: f64) -> f64 {
    (x * x) * (x * x)
}
