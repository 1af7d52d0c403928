//! The way back: from a new reading to the place that gives it, with its uncertainty.
//!
//! Straight lines and quadratics. Two kinds of answer: the place with a standard uncertainty by
//! the law of propagation (JCGM 100, 5.1.2), and for a line Fieller's interval, exact also where
//! the slope is poorly known (E. C. Fieller, Journal of the Royal Statistical Society B 16, 1954).
//! Also the decision limit: the smallest quantity whose reading stands out from none's.

use thiserror::Error;

use super::least_squares::Scatter;
use super::polynomial::{PolynomialFit, Powers};
use super::student::t_quantile;

/// Why a reading has no place on a curve.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum InverseError {
    /// Neither a line nor a quadratic.
    #[error("only straight lines and quadratics can be read backwards")]
    Degree,
    /// A reading, level or uncertainty that is no use.
    #[error("the reading or its uncertainty is not a usable number")]
    Input,
    /// A flat curve, or for Fieller's interval one that might be flat.
    #[error("the curve is too flat to be read backwards")]
    Flat,
    /// A quadratic turns before it gets there.
    #[error("the curve never reaches this reading")]
    NotReached,
    /// A quadratic has it twice within the places fitted.
    #[error("the curve has this reading twice")]
    Twice,
}

/// Where a reading lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// The place.
    pub x: f64,
    /// Its standard uncertainty from the curve alone.
    pub u_curve: f64,
    /// Its standard uncertainty from curve and reading.
    pub u: f64,
    /// Slope of the curve there.
    pub slope: f64,
}

/// The place of a reading with standard uncertainty `reading_u`.
///
/// For the mean of m new readings scattering as the curve's did, `reading_u` is the root of
/// [`PolynomialFit::mean_variance`] of m.
///
/// # Errors
/// When the curve is flat, never reaches the reading, or reaches it twice.
pub fn place_of(
    curve: &PolynomialFit,
    reading: f64,
    reading_u: f64,
) -> Result<Place, InverseError> {
    if !(reading.is_finite() && reading_u >= 0.0 && reading_u.is_finite()) {
        return Err(InverseError::Input);
    }
    let local = &curve.local;
    let place = match (curve.powers, local.coefficients.as_slice()) {
        (Powers::FirstOnly, [slope]) => line_place(0.0, *slope, reading)?,
        (Powers::UpTo(1), [constant, slope]) => line_place(*constant, *slope, reading)?,
        (Powers::UpTo(2), [constant, slope, bend]) => {
            let ends = (local.place(curve.x_range.0), local.place(curve.x_range.1));
            quadratic_place([*constant, *slope, *bend], reading, ends)?
        }
        _ => return Err(InverseError::Degree),
    };
    let slope = local.slope(place);
    if slope == 0.0 {
        return Err(InverseError::Flat);
    }
    let variance = local.variance(place);
    let as_place = |variance: f64| local.distance(variance.sqrt() / slope.abs());
    Ok(Place {
        x: local.x(place),
        u_curve: as_place(variance),
        u: as_place(variance + reading_u * reading_u),
        slope: curve.slope_at(local.x(place)),
    })
}

fn line_place(constant: f64, slope: f64, reading: f64) -> Result<f64, InverseError> {
    if slope == 0.0 { Err(InverseError::Flat) } else { Ok((reading - constant) / slope) }
}

/// The root on the branch that holds the middle of the places fitted (0).
fn quadratic_place(
    [constant, slope, bend]: [f64; 3],
    reading: f64,
    ends: (f64, f64),
) -> Result<f64, InverseError> {
    let rest = constant - reading;
    let discriminant = slope * slope - 4.0 * bend * rest;
    if discriminant < 0.0 {
        return Err(InverseError::NotReached);
    }
    // Sum of like signs: nothing cancels, and a vanishing bend leaves the line's root.
    let sum = if slope < 0.0 { slope - discriminant.sqrt() } else { slope + discriminant.sqrt() };
    if sum == 0.0 {
        return Err(InverseError::Flat);
    }
    let near = -2.0 * rest / sum;
    let far = -sum / (2.0 * bend);
    let within = |place: f64| ends.0 <= place && place <= ends.1;
    if near != far && within(near) && within(far) {
        return Err(InverseError::Twice);
    }
    Ok(near)
}

/// Fieller's interval for the place of the mean of `count` new readings, which scatter about a
/// straight line as the fitted ones did; two-sided, of this level.
///
/// # Errors
/// When the curve is no straight line with a constant whose scatter comes from residuals, or its
/// slope might be nil at this level: the interval is then not bounded.
pub fn fieller_interval(
    line: &PolynomialFit,
    reading_mean: f64,
    count: u32,
    level: f64,
) -> Result<(f64, f64), InverseError> {
    let local = &line.local;
    let (Powers::UpTo(1), [constant, slope]) = (line.powers, local.coefficients.as_slice()) else {
        return Err(InverseError::Degree);
    };
    if line.scatter == Scatter::Known || !reading_mean.is_finite() || count == 0 {
        return Err(InverseError::Input);
    }
    let k = line.coverage_factor(level).ok_or(InverseError::Input)?;
    let covariance = |row: usize, column: usize| local.covariance[row][column];
    let rest = reading_mean - constant;
    // (rest − slope·t)² = k²·(s²/m + V₀₀ + 2·V₀₁·t + V₁₁·t²), a quadratic in t.
    let square = slope * slope - k * k * covariance(1, 1);
    let half_linear = slope * rest + k * k * covariance(0, 1);
    let constant = rest * rest - k * k * (line.mean_variance(count) + covariance(0, 0));
    let discriminant = half_linear * half_linear - square * constant;
    if square <= 0.0 || discriminant < 0.0 {
        return Err(InverseError::Flat);
    }
    let (centre, half) = (half_linear / square, discriminant.sqrt() / square);
    Ok((local.x(centre - half), local.x(centre + half)))
}

/// Decision limit (after DIN 32645): the quantity whose reading stands out from that of none, with
/// probability `alpha` of saying so wrongly, for a straight line and one reading.
///
/// # Errors
/// When the curve is no straight line with a constant whose scatter comes from residuals, the
/// slope is nil, or `alpha` not inside 0–1.
pub fn decision_limit(line: &PolynomialFit, alpha: f64) -> Result<f64, InverseError> {
    if line.powers != Powers::UpTo(1) || line.scatter == Scatter::Known {
        return Err(InverseError::Degree);
    }
    let t = t_quantile(1.0 - alpha, line.fit.dof()).ok_or(InverseError::Input)?;
    let slope = line.slope_at(0.0);
    if slope == 0.0 {
        return Err(InverseError::Flat);
    }
    Ok(t * line.new_mean_u(0.0, 1) / slope.abs())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::metrology::least_squares::Observations;
    use crate::metrology::polynomial::fit_polynomial;

    fn curve(values: &[f64], degree: usize) -> PolynomialFit {
        let x: Vec<f64> = (0..values.len()).map(|index| index as f64).collect();
        fit_polynomial(&x, Observations::equal(values), Powers::UpTo(degree)).unwrap()
    }

    #[test]
    fn a_quadratic_is_read_backwards_where_it_may_be() {
        // 1 + 10·x + x² on 0…4, without scatter.
        let rising = curve(&[1.0, 12.0, 25.0, 40.0, 57.0], 2);
        let place = place_of(&rising, 25.0, 0.14).unwrap();
        assert!((place.x - 2.0).abs() < 1e-14 && (place.slope - 14.0).abs() < 1e-13);
        assert!(place.u_curve < 1e-13 && (place.u - 0.01).abs() < 1e-15);
        assert_eq!(place_of(&rising, -25.0, 0.0), Err(InverseError::NotReached));
        // (x − 2)²: every reading within lies on both sides.
        let bowl = curve(&[4.0, 1.0, 0.0, 1.0, 4.0], 2);
        assert_eq!(place_of(&bowl, 1.0, 0.0), Err(InverseError::Twice));
    }

    #[test]
    fn a_line_too_uncertain_has_no_bounded_interval() {
        let noise = curve(&[1.0, -1.0, 1.0, -1.0, 1.1], 1);
        assert_eq!(fieller_interval(&noise, 0.0, 1, 0.95), Err(InverseError::Flat));
        let good = curve(&[0.0, 1.01, 1.99, 3.0, 4.0], 1);
        let (low, high) = fieller_interval(&good, 2.5, 1, 0.95).unwrap();
        let place = place_of(&good, 2.5, good.mean_variance(1).sqrt()).unwrap();
        let half = good.coverage_factor(0.95).unwrap() * place.u;
        // A well-known slope: Fieller's interval is that of propagation.
        assert!(low < place.x && place.x < high);
        assert!(((high - low) / (2.0 * half) - 1.0).abs() < 1e-3);
        assert_eq!(fieller_interval(&good, 2.5, 0, 0.95), Err(InverseError::Input));
        assert_eq!(fieller_interval(&good, 2.5, 1, 1.0), Err(InverseError::Input));
    }

    #[test]
    fn what_cannot_be_read_backwards_says_so() {
        let flat = curve(&[3.0, 3.0, 3.0, 3.0], 1);
        assert_eq!(place_of(&flat, 3.0, 0.1), Err(InverseError::Flat));
        assert_eq!(decision_limit(&flat, 0.05), Err(InverseError::Flat));
        let cubic = curve(&[0.0, 1.0, 8.0, 27.0, 64.0], 3);
        assert_eq!(place_of(&cubic, 3.0, 0.1), Err(InverseError::Degree));
        assert_eq!(decision_limit(&cubic, 0.05), Err(InverseError::Degree));
        let line = curve(&[0.0, 1.0, 2.0, 3.1], 1);
        assert_eq!(place_of(&line, f64::NAN, 0.1), Err(InverseError::Input));
        assert_eq!(place_of(&line, 1.0, -0.1), Err(InverseError::Input));
        assert_eq!(decision_limit(&line, 0.0), Err(InverseError::Input));
    }
}
