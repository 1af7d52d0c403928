//! Whether a curve is enough: the test for one more power, and for lack of fit against repeats.
//!
//! Fisher's F both times (Draper and Smith, *Applied Regression Analysis*, chapters on lack of
//! fit and extra sums of squares). Deliberately not here: what to do about it.

use super::least_squares::{FitError, Observations};
use super::polynomial::{PolynomialFit, Powers, fit_polynomial};
use super::student::f_upper_tail;

/// Residuals below this share of the largest value are rounding, not scatter.
const ROUNDING_SHARE: f64 = 4.0 * f64::EPSILON;

/// An F test.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FTest {
    /// Ratio of mean squares; infinite when only the denominator vanishes.
    pub f: f64,
    /// Degrees of freedom of the numerator.
    pub numerator_dof: u32,
    /// Degrees of freedom of the denominator.
    pub denominator_dof: u32,
    /// Probability of so large a ratio by chance alone.
    pub p: f64,
}

impl FTest {
    /// From sums of squares; squares below `rounding` are none.
    pub(super) fn new(numerator: (f64, u32), denominator: (f64, u32), rounding: f64) -> FTest {
        let (numerator_ss, numerator_dof) = numerator;
        let (denominator_ss, denominator_dof) = denominator;
        let mean = |ss: f64, dof: u32| ss.max(0.0) / f64::from(dof);
        let (above, below) =
            (mean(numerator_ss, numerator_dof), mean(denominator_ss, denominator_dof));
        let (f, p) = if numerator_ss <= rounding {
            (0.0, 1.0)
        } else if below == 0.0 {
            (f64::INFINITY, 0.0)
        } else {
            let f = above / below;
            (f, f_upper_tail(f, f64::from(numerator_dof), f64::from(denominator_dof)))
        };
        FTest { f, numerator_dof, denominator_dof, p }
    }
}

/// Sum of squares that rounding alone may leave.
fn rounding_ss(observations: Observations<'_>) -> f64 {
    let values = observations.values;
    let largest = values.iter().fold(0.0, |largest: f64, value| largest.max(value.abs()));
    let weight = observations.weights.map_or(1.0, |weights| {
        weights.iter().fold(0.0, |largest: f64, weight| largest.max(*weight))
    });
    let one = ROUNDING_SHARE * largest;
    values.len() as f64 * weight * one * one
}

/// Whether the larger of two nested fits to the same observations takes out more than chance.
///
/// `None` when they are not nested that way.
pub fn extra_terms_test(
    smaller: &PolynomialFit,
    larger: &PolynomialFit,
    observations: Observations<'_>,
) -> Option<FTest> {
    let (few, many) = (&smaller.fit, &larger.fit);
    let extra = few.degrees_of_freedom.checked_sub(many.degrees_of_freedom)?;
    if extra == 0 || few.residuals.len() != many.residuals.len() {
        return None;
    }
    Some(FTest::new(
        (few.residual_ss - many.residual_ss, extra),
        (many.residual_ss, many.degrees_of_freedom),
        rounding_ss(observations),
    ))
}

/// Whether a fit misses the means of repeated places by more than the repeats scatter.
///
/// `x` and `observations` as fitted. `None` without repeats, or with no place to spare.
pub fn lack_of_fit_test(
    x: &[f64],
    observations: Observations<'_>,
    curve: &PolynomialFit,
) -> Option<FTest> {
    let residuals = &curve.fit.residuals;
    if x.len() != residuals.len() || observations.values.len() != x.len() {
        return None;
    }
    let weight = |index: usize| observations.weights.map_or(1.0, |weights| weights[index]);
    let mut order: Vec<usize> = (0..x.len()).collect();
    order.sort_by(|one, other| x[*one].total_cmp(&x[*other]).then(one.cmp(other)));
    let mut pure_ss = 0.0;
    let mut place_count = 0_u32;
    for group in order.chunk_by(|one, other| x[*one] == x[*other]) {
        // The curve is the same within a group, so residuals scatter as the values do.
        let weights = group.iter().fold(0.0, |sum, index| sum + weight(*index));
        let weighted = |sum, index: &usize| sum + weight(*index) * residuals[*index];
        let mean = group.iter().fold(0.0, weighted) / weights;
        let square = |index: &usize| {
            let rest = residuals[*index] - mean;
            weight(*index) * rest * rest
        };
        pure_ss = group.iter().fold(pure_ss, |sum, index| sum + square(index));
        place_count += 1;
    }
    let pure_dof = u32::try_from(x.len()).ok()?.checked_sub(place_count)?;
    let lack_dof = curve.fit.degrees_of_freedom.checked_sub(pure_dof)?;
    if pure_dof == 0 || lack_dof == 0 {
        return None;
    }
    let lack_ss = curve.fit.residual_ss - pure_ss;
    Some(FTest::new((lack_ss, lack_dof), (pure_ss, pure_dof), rounding_ss(observations)))
}

/// A straight line or a quadratic, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct ChosenCurve {
    /// The curve chosen.
    pub curve: PolynomialFit,
    /// The test of the square term; `None` when there were too few points to try one.
    pub test: Option<FTest>,
}

/// The straight line, or the quadratic where its square term takes out more than chance would in a
/// share `p_max` of straight lines.
///
/// # Errors
/// When no line can be fitted. Too few points or places for a quadratic leave the line.
pub fn line_or_quadratic(
    x: &[f64],
    observations: Observations<'_>,
    p_max: f64,
) -> Result<ChosenCurve, FitError> {
    let line = fit_polynomial(x, observations, Powers::UpTo(1))?;
    let quadratic = match fit_polynomial(x, observations, Powers::UpTo(2)) {
        Ok(quadratic) => quadratic,
        Err(FitError::TooFew { .. } | FitError::FewDistinct { .. } | FitError::Collinear) => {
            return Ok(ChosenCurve { curve: line, test: None });
        }
        Err(error) => return Err(error),
    };
    let test = extra_terms_test(&line, &quadratic, observations);
    let bent = test.is_some_and(|test| test.p < p_max);
    Ok(ChosenCurve { curve: if bent { quadratic } else { line }, test })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_square_terms_f_is_its_t_squared() {
        let x = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0];
        let y = [0.1, 1.0, 2.2, 3.6, 5.1, 6.3, 8.2];
        let chosen = line_or_quadratic(&x, Observations::equal(&y), 0.05).unwrap();
        let quadratic = fit_polynomial(&x, Observations::equal(&y), Powers::UpTo(2)).unwrap();
        let t = quadratic.fit.coefficients[2] / quadratic.fit.standard_errors()[2];
        let test = chosen.test.unwrap();
        assert!((test.f / (t * t) - 1.0).abs() < 1e-12);
        assert_eq!((test.numerator_dof, test.denominator_dof), (1, 4));
        assert!(test.p < 0.05);
        assert_eq!(chosen.curve, quadratic);
        let line = line_or_quadratic(&x, Observations::equal(&y), test.p).unwrap();
        assert_eq!(line.curve.powers, Powers::UpTo(1));
    }

    #[test]
    fn exact_lines_stay_lines_and_exact_bends_bend() {
        let x = [0.1, 0.7, 1.3, 2.9, 4.1];
        let line: Vec<f64> = x.iter().map(|x| 0.3 + 1.7 * x).collect();
        let chosen = line_or_quadratic(&x, Observations::equal(&line), 0.05).unwrap();
        assert_eq!(chosen.curve.powers, Powers::UpTo(1));
        assert_eq!(chosen.test.unwrap().p, 1.0);
        let bend: Vec<f64> = x.iter().map(|x| 0.3 + 1.7 * x + 1e-6 * x * x).collect();
        let chosen = line_or_quadratic(&x, Observations::equal(&bend), 0.001).unwrap();
        assert_eq!(chosen.curve.powers, Powers::UpTo(2));
        let few = line_or_quadratic(&x[..3], Observations::equal(&line[..3]), 0.05).unwrap();
        assert_eq!((few.curve.powers, few.test), (Powers::UpTo(1), None));
    }

    #[test]
    fn lack_of_fit_splits_the_residuals() {
        // Means 1, 2.5, 3 at 0, 1, 2, repeats ±0.1: pure error 3 · 2 · 0.01 with 3 degrees. The
        // line through the means misses them by 1/6, −1/3, 1/6: 2 · (1/36 + 4/36 + 1/36) with 1.
        let x = [0.0, 1.0, 2.0, 2.0, 0.0, 1.0];
        let y = [0.9, 2.4, 2.9, 3.1, 1.1, 2.6];
        let line = fit_polynomial(&x, Observations::equal(&y), Powers::UpTo(1)).unwrap();
        let test = lack_of_fit_test(&x, Observations::equal(&y), &line).unwrap();
        assert_eq!((test.numerator_dof, test.denominator_dof), (1, 3));
        assert!((test.f - (1.0 / 3.0) / (0.06 / 3.0)).abs() < 1e-9, "{}", test.f);
        // 16.67 with 1 and 3 degrees: between the 97.5 % point 17.44 and the 95 % point 10.13.
        assert!(test.p > 0.025 && test.p < 0.05, "{}", test.p);
        let quadratic = fit_polynomial(&x, Observations::equal(&y), Powers::UpTo(2)).unwrap();
        assert_eq!(lack_of_fit_test(&x, Observations::equal(&y), &quadratic), None);
        let single = Observations::equal(&y[..3]);
        let line = fit_polynomial(&x[..3], single, Powers::UpTo(1)).unwrap();
        assert_eq!(lack_of_fit_test(&x[..3], single, &line), None);
    }
}
