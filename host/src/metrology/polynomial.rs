//! Polynomials fitted to points: straight line, line through the origin, quadratic and beyond;
//! their values with uncertainty at any place.
//!
//! Places are centred and scaled before fitting, and values and uncertainties are evaluated there,
//! so that far-off places (hours since 1970, loads in newtons) cost no digits.
//! Deliberately not here: the way back from a reading to a place ([`super::inverse`]).

use super::double::Double;
use super::householder::{System, exponent_of, solve, square};
use super::least_squares::{Fit, FitError, Observations, Scatter};
use super::student::coverage_factor;

/// Highest degree fitted.
pub const DEGREE_MAX: usize = 10;

/// Powers a polynomial has.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Powers {
    /// From the constant to this degree.
    UpTo(usize),
    /// The first power alone: a line through the origin.
    FirstOnly,
}

/// A polynomial fitted to points.
#[derive(Clone, Debug, PartialEq)]
pub struct PolynomialFit {
    /// Coefficients by rising power (the slope alone for [`Powers::FirstOnly`]), covariance,
    /// residuals.
    pub fit: Fit,
    /// Which powers it has.
    pub powers: Powers,
    /// Smallest and largest place.
    pub x_range: (f64, f64),
    /// Where the covariance's scale comes from.
    pub scatter: Scatter,
    pub(super) local: Local,
}

/// The polynomial in t = x · 2^−exponent − centre.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Local {
    exponent: i32,
    centre: f64,
    first_power: usize,
    pub(super) coefficients: Vec<f64>,
    pub(super) covariance: Vec<Vec<f64>>,
}

impl Local {
    pub(super) fn place(&self, x: f64) -> f64 {
        libm::scalbn(x, -self.exponent) - self.centre
    }

    pub(super) fn x(&self, place: f64) -> f64 {
        libm::scalbn(place + self.centre, self.exponent)
    }

    /// A difference of places as a difference of x.
    pub(super) fn distance(&self, difference: f64) -> f64 {
        libm::scalbn(difference, self.exponent)
    }

    fn powers_at(&self, place: f64) -> Vec<f64> {
        let mut power = if self.first_power == 1 { place } else { 1.0 };
        let mut powers = Vec::with_capacity(self.coefficients.len());
        for _ in 0..self.coefficients.len() {
            powers.push(power);
            power *= place;
        }
        powers
    }

    pub(super) fn value(&self, place: f64) -> f64 {
        let powers = self.powers_at(place);
        // The highest power first: usually the smallest term.
        self.coefficients.iter().zip(&powers).rev().fold(0.0, |sum, (b, power)| sum + b * power)
    }

    pub(super) fn slope(&self, place: f64) -> f64 {
        let mut sum = 0.0;
        for (index, coefficient) in self.coefficients.iter().enumerate().rev() {
            let power = index + self.first_power;
            if power > 0 {
                sum = sum * place + power as f64 * coefficient;
            }
        }
        sum
    }

    pub(super) fn variance(&self, place: f64) -> f64 {
        let powers = self.powers_at(place);
        let row = |row: &Vec<f64>| {
            row.iter().zip(&powers).fold(0.0, |sum, (cell, power)| sum + cell * power)
        };
        let rows = self.covariance.iter().map(row).zip(&powers);
        rows.fold(0.0, |sum, (cell, power)| sum + cell * power).max(0.0)
    }
}

/// Fits a polynomial through points (x, value).
///
/// # Errors
/// As [`super::least_squares::fit_design`]; fewer different places than coefficients are
/// [`FitError::FewDistinct`].
///
/// ```
/// use pinhold::metrology::least_squares::Observations;
/// use pinhold::metrology::polynomial::{Powers, fit_polynomial};
/// let line = fit_polynomial(
///     &[0.0, 1.0, 2.0, 3.0],
///     Observations::equal(&[1.1, 2.9, 5.1, 6.9]),
///     Powers::UpTo(1),
/// );
/// assert!((line.unwrap().fit.coefficients[1] - 1.96).abs() < 1e-14);
/// ```
pub fn fit_polynomial(
    x: &[f64],
    observations: Observations<'_>,
    powers: Powers,
) -> Result<PolynomialFit, FitError> {
    let (first_power, size) = match powers {
        Powers::UpTo(degree) => (0, degree.min(DEGREE_MAX) + 1),
        Powers::FirstOnly => (1, 1),
    };
    if x.len() != observations.values.len() {
        return Err(FitError::Lengths);
    }
    if x.len() <= size {
        return Err(FitError::TooFew { count: x.len(), needed: size + 1 });
    }
    if let Some(index) = x.iter().position(|x| !x.is_finite()) {
        return Err(FitError::NotFinite { index });
    }
    check_distinct(x, powers, size)?;
    let low = x.iter().copied().fold(f64::INFINITY, f64::min);
    let high = x.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let middle = if first_power == 1 { 0.0 } else { 0.5 * low + 0.5 * high };
    let exponent = exponent_of([low - middle, high - middle].into_iter());
    let centre = libm::scalbn(middle, -exponent);
    let place = |x: &f64| Double::from(libm::scalbn(*x, -exponent)) - Double::from(centre);
    let mut columns: Vec<Vec<Double>> = Vec::with_capacity(size);
    let places: Vec<Double> = x.iter().map(place).collect();
    columns.push(if first_power == 1 { places.clone() } else { vec![Double::ONE; x.len()] });
    for power in 1..size {
        let before = columns[power - 1].iter().zip(&places);
        columns.push(before.map(|(cell, place)| *cell * *place).collect());
    }
    let system = System {
        columns,
        transform: about_zero(size, centre),
        exponents: (0..size).map(|index| -exponent * (index + first_power) as i32).collect(),
        has_constant: first_power == 0,
    };
    let solved = solve(system, observations)?;
    let local = Local {
        exponent,
        centre,
        first_power,
        coefficients: solved.own_coefficients,
        covariance: solved.own_covariance,
    };
    let scatter = observations.scatter;
    Ok(PolynomialFit { fit: solved.fit, powers, x_range: (low, high), scatter, local })
}

/// Refuses fewer different places than coefficients; a line through the origin needs one off it.
fn check_distinct(x: &[f64], powers: Powers, needed: usize) -> Result<(), FitError> {
    let mut sorted: Vec<f64> = x.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.dedup_by(|one, other| one == other);
    if powers == Powers::FirstOnly {
        sorted.retain(|x| *x != 0.0);
    }
    let distinct = sorted.len();
    if distinct < needed { Err(FitError::FewDistinct { distinct, needed }) } else { Ok(()) }
}

/// From powers of x − centre to powers of x: (−centre)^(k−j) · k over j.
fn about_zero(size: usize, centre: f64) -> Vec<Vec<Double>> {
    let minus = -Double::from(centre);
    let expanded = |power: usize| {
        let mut cells = vec![Double::ZERO; size];
        let mut cell = Double::ONE;
        for row in (0..=power).rev() {
            cells[row] = cell;
            // k over (j − 1) from k over j, a whole number at every step.
            let (above, below) = (row as f64, (power - row + 1) as f64);
            cell = cell * minus * Double::from(above) / Double::from(below);
        }
        cells
    };
    let columns: Vec<Vec<Double>> = (0..size).map(expanded).collect();
    square(size, |row, column| columns[column][row])
}

impl PolynomialFit {
    /// The fitted value at `x`.
    pub fn value_at(&self, x: f64) -> f64 {
        self.local.value(self.local.place(x))
    }

    /// The fitted slope at `x`.
    pub fn slope_at(&self, x: f64) -> f64 {
        libm::scalbn(self.local.slope(self.local.place(x)), -self.local.exponent)
    }

    /// Standard uncertainty of the fitted value at `x`.
    pub fn value_u(&self, x: f64) -> f64 {
        self.local.variance(self.local.place(x)).sqrt()
    }

    /// Standard uncertainty of the mean of `count` new observations at `x` against the fitted
    /// value, each of weight 1: scatter of the curve and of the observations.
    pub fn new_mean_u(&self, x: f64, count: u32) -> f64 {
        (self.local.variance(self.local.place(x)) + self.mean_variance(count)).sqrt()
    }

    /// Variance of the mean of `count` new observations of weight 1.
    pub fn mean_variance(&self, count: u32) -> f64 {
        let one = match self.scatter {
            Scatter::FromResiduals => self.fit.residual_sd * self.fit.residual_sd,
            Scatter::Known => 1.0,
        };
        one / f64::from(count.max(1))
    }

    /// Factor from a standard uncertainty of this fit to a two-sided interval of this level; the
    /// normal law's where the scatter is known. `None` when `level` is not inside 0–1.
    pub fn coverage_factor(&self, level: f64) -> Option<f64> {
        match self.scatter {
            Scatter::FromResiduals => coverage_factor(level, self.fit.dof()),
            Scatter::Known => coverage_factor(level, f64::INFINITY),
        }
    }
}

/// Value of a polynomial with these coefficients, constant first.
pub fn polynomial_value(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, coefficient| sum * x + coefficient)
}

/// Variance of a polynomial's value whose coefficients, constant first, have this covariance.
///
/// For coefficients as stored; [`PolynomialFit::value_u`] keeps more digits where x is far from
/// zero and its range small.
pub fn polynomial_variance(covariance: &[Vec<f64>], x: f64) -> f64 {
    polynomial_value(
        &covariance.iter().map(|row| polynomial_value(row, x)).collect::<Vec<f64>>(),
        x,
    )
    .max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assert_close(got: f64, want: f64, relative: f64) {
        assert!((got - want).abs() <= relative * want.abs(), "{got:e} is not {want:e}");
    }

    #[test]
    fn moving_the_origin_changes_the_constant_alone() {
        // Loads on a clock: the same curve seconds after a start and after 1970.
        let x = [0.0, 1.0, 3.0, 4.0, 8.0];
        let y = [1.0, 2.5, 3.0, 5.5, 9.5];
        let far: Vec<f64> = x.iter().map(|x| x + 1.7e9).collect();
        for degree in [1, 2] {
            let fit = |x: &[f64]| fit_polynomial(x, Observations::equal(&y), Powers::UpTo(degree));
            let (near, far) = (fit(&x).unwrap(), fit(&far).unwrap());
            assert_close(far.value_at(1.7e9 + 2.0), near.value_at(2.0), 1e-14);
            assert_close(far.value_u(1.7e9 + 2.0), near.value_u(2.0), 1e-14);
            assert_close(far.slope_at(1.7e9 + 2.0), near.slope_at(2.0), 1e-14);
            assert_close(far.new_mean_u(1.7e9 + 2.0, 3), near.new_mean_u(2.0, 3), 1e-14);
            let top = far.fit.coefficients[degree];
            assert_close(top, near.fit.coefficients[degree], 1e-14);
            assert_close(far.fit.residual_sd, near.fit.residual_sd, 1e-14);
        }
    }

    #[test]
    fn values_and_uncertainties_are_those_of_the_coefficients() {
        let x = [0.5, 1.0, 3.0, 4.0, 8.0, 9.0];
        let y = [1.0, 2.5, 3.0, 5.5, 9.5, 10.0];
        for powers in [Powers::UpTo(0), Powers::UpTo(1), Powers::UpTo(2), Powers::UpTo(3)] {
            let curve = fit_polynomial(&x, Observations::equal(&y), powers).unwrap();
            for at in [-3.0, 0.0, 2.2, 7.0, 30.0] {
                let want = polynomial_value(&curve.fit.coefficients, at);
                assert_close(curve.value_at(at), want, 1e-11);
                let variance = polynomial_variance(&curve.fit.covariance, at);
                assert_close(curve.value_u(at), variance.sqrt(), 1e-9);
            }
            for (index, x) in x.iter().enumerate() {
                let rest = y[index] - curve.value_at(*x);
                assert!((curve.fit.residuals[index] - rest).abs() < 1e-12);
            }
            let sum: f64 = curve.fit.leverages.iter().sum();
            assert_close(sum, curve.fit.coefficients.len() as f64, 1e-14);
        }
        let origin = fit_polynomial(&x, Observations::equal(&y), Powers::FirstOnly).unwrap();
        assert_close(origin.value_at(2.0), 2.0 * origin.fit.coefficients[0], 1e-15);
        assert_eq!((origin.value_at(0.0), origin.value_u(0.0)), (0.0, 0.0));
        assert_close(origin.slope_at(5.0), origin.fit.coefficients[0], 1e-15);
    }

    #[test]
    fn places_too_few_or_the_same_are_refused() {
        let fit = |x: &[f64], powers| {
            fit_polynomial(x, Observations::equal(&[1.0, 2.0, 3.0, 4.0]), powers).unwrap_err()
        };
        let one_place = FitError::FewDistinct { distinct: 1, needed: 2 };
        assert_eq!(fit(&[5.0; 4], Powers::UpTo(1)), one_place);
        // Zero and its negative are one place.
        assert_eq!(fit(&[0.0, -0.0, 0.0, 0.0], Powers::UpTo(1)), one_place);
        let two_places = FitError::FewDistinct { distinct: 2, needed: 3 };
        assert_eq!(fit(&[1.0, 2.0, 1.0, 2.0], Powers::UpTo(2)), two_places);
        let no_place = FitError::FewDistinct { distinct: 0, needed: 1 };
        assert_eq!(fit(&[0.0; 4], Powers::FirstOnly), no_place);
        assert_eq!(fit(&[1.0, 2.0], Powers::UpTo(1)), FitError::Lengths);
        let nan = [1.0, 2.0, f64::NAN, 4.0];
        assert_eq!(fit(&nan, Powers::UpTo(1)), FitError::NotFinite { index: 2 });
        let few = FitError::TooFew { count: 4, needed: 5 };
        assert_eq!(fit(&[1.0, 2.0, 3.0, 4.0], Powers::UpTo(3)), few);
        assert_eq!(fit(&[1.0, 1.0 + 1e-18, 1.0, 1.0], Powers::UpTo(1)), one_place);
        assert_eq!(fit(&[1e-20, 0.0, 1.0, 1.0], Powers::UpTo(2)), FitError::Collinear);
    }

    #[test]
    fn neighbouring_doubles_are_places_enough() {
        let x = [1.0, 1.0 + f64::EPSILON, 1.0 + 2.0 * f64::EPSILON];
        let line = fit_polynomial(&x, Observations::equal(&[1.0, 2.0, 3.0]), Powers::UpTo(1));
        assert_close(line.unwrap().fit.coefficients[1], 1.0 / f64::EPSILON, 1e-15);
    }
}
