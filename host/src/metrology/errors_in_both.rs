//! A straight line where places and values both carry known standard uncertainties.
//!
//! Generalized distance regression after ISO/TS 28037:2010, clause 7: the line that minimises
//! Σ (y − a − b·x)² / (u_y² + b²·u_x²), found by Gauss and Newton's steps, each a weighted fit at
//! the places the points are judged to have. Deliberately not here: correlated points.

use super::least_squares::{FitError, Observations, Scatter, fit_design};
use super::polynomial::{Powers, fit_polynomial};

/// Steps at most; a handful is usual.
const STEP_COUNT_MAX: u32 = 100;
/// Settled when a step is below this share of the standard uncertainties.
const STEP_SHARE_MAX: f64 = 1e-10;

/// A point with the uncertainty of both its coordinates.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UncertainPoint {
    /// Place.
    pub x: f64,
    /// Its standard uncertainty, not negative.
    pub x_u: f64,
    /// Value.
    pub y: f64,
    /// Its standard uncertainty, above zero.
    pub y_u: f64,
}

/// A straight line y = a + b·x.
#[derive(Clone, Debug, PartialEq)]
pub struct DistanceLine {
    /// a and b.
    pub coefficients: [f64; 2],
    /// Their covariance.
    pub covariance: [[f64; 2]; 2],
    /// The sum that was made smallest: chi-squared if the stated uncertainties hold.
    pub chi_squared: f64,
    /// Points less two, at least 1.
    pub degrees_of_freedom: u32,
}

/// Fits the line.
///
/// # Errors
/// When there are fewer than three points or two places, a coordinate is not finite, an
/// uncertainty unusable, or the steps do not settle.
pub fn fit_distance_line(points: &[UncertainPoint]) -> Result<DistanceLine, FitError> {
    let usable = |u: f64| u >= 0.0 && u.is_finite();
    let bad = points.iter().position(|point| !usable(point.x_u) || !usable(point.y_u));
    let zero = points.iter().position(|point| point.y_u == 0.0);
    if let Some(index) = bad.or(zero) {
        return Err(FitError::Weight { index });
    }
    let x: Vec<f64> = points.iter().map(|point| point.x).collect();
    let y: Vec<f64> = points.iter().map(|point| point.y).collect();
    let u: Vec<f64> = points.iter().map(|point| point.y_u).collect();
    let mut weights = Vec::new();
    let start = Observations::with_known_u(&y, &u, &mut weights)?;
    let start = fit_polynomial(&x, start, Powers::UpTo(1))?.fit;
    let mut line = [start.coefficients[0], start.coefficients[1]];
    for _ in 0..STEP_COUNT_MAX {
        let Step { change, covariance, degrees_of_freedom } = gauss_newton(points, line)?;
        line = [line[0] + change[0], line[1] + change[1]];
        if !line[0].is_finite() || !line[1].is_finite() {
            return Err(FitError::BeyondRange);
        }
        let settled =
            |index: usize| change[index].abs() <= STEP_SHARE_MAX * covariance[index][index].sqrt();
        if settled(0) && settled(1) {
            let chi_squared = chi_squared(points, line);
            return Ok(DistanceLine {
                coefficients: line,
                covariance,
                chi_squared,
                degrees_of_freedom,
            });
        }
    }
    Err(FitError::Unsettled)
}

/// One over the variance of a point's distance from a line of this slope, along y.
fn weight(point: &UncertainPoint, slope: f64) -> f64 {
    1.0 / (point.y_u * point.y_u + slope * slope * point.x_u * point.x_u)
}

fn chi_squared(points: &[UncertainPoint], [a, b]: [f64; 2]) -> f64 {
    points.iter().fold(0.0, |sum, point| {
        let rest = point.y - a - b * point.x;
        sum + rest * rest * weight(point, b)
    })
}

/// The way to a better line, and the covariance at this one.
struct Step {
    change: [f64; 2],
    covariance: [[f64; 2]; 2],
    degrees_of_freedom: u32,
}

fn gauss_newton(points: &[UncertainPoint], [a, b]: [f64; 2]) -> Result<Step, FitError> {
    let weights: Vec<f64> = points.iter().map(|point| weight(point, b)).collect();
    let rests: Vec<f64> = points.iter().map(|point| point.y - a - b * point.x).collect();
    // Where each point is judged to be, given the line.
    let judged = |(index, point): (usize, &UncertainPoint)| {
        let x = point.x + b * point.x_u * point.x_u * rests[index] * weights[index];
        vec![1.0, x]
    };
    let rows: Vec<Vec<f64>> = points.iter().enumerate().map(judged).collect();
    let observations =
        Observations { values: &rests, weights: Some(&weights), scatter: Scatter::Known };
    let fit = fit_design(&rows, true, observations)?;
    let v = |row: usize, column: usize| fit.covariance[row][column];
    let covariance = [[v(0, 0), v(0, 1)], [v(1, 0), v(1, 1)]];
    let change = [fit.coefficients[0], fit.coefficients[1]];
    Ok(Step { change, covariance, degrees_of_freedom: fit.degrees_of_freedom })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points(x_u: f64) -> Vec<UncertainPoint> {
        let values = [(0.0, 0.1), (1.0, 0.9), (2.0, 2.2), (3.0, 2.9), (4.0, 4.1)];
        values.iter().map(|&(x, y)| UncertainPoint { x, x_u, y, y_u: 0.1 }).collect()
    }

    #[test]
    fn certain_places_leave_the_weighted_line() {
        let line = fit_distance_line(&points(0.0)).unwrap();
        let x: Vec<f64> = points(0.0).iter().map(|point| point.x).collect();
        let y: Vec<f64> = points(0.0).iter().map(|point| point.y).collect();
        let mut weights = Vec::new();
        let known = Observations::with_known_u(&y, &[0.1; 5], &mut weights).unwrap();
        let weighted = fit_polynomial(&x, known, Powers::UpTo(1)).unwrap().fit;
        for index in 0..2 {
            assert!((line.coefficients[index] - weighted.coefficients[index]).abs() < 1e-13);
            assert!(
                (line.covariance[index][index] - weighted.covariance[index][index]).abs() < 1e-15
            );
        }
        assert!((line.chi_squared - weighted.residual_ss).abs() < 1e-12);
    }

    #[test]
    fn exchanging_the_axes_exchanges_the_line() {
        // y = a + b·x is x = −a/b + y/b: a fit that treats both alike finds the same line.
        let line = fit_distance_line(&points(0.2)).unwrap();
        let swapped: Vec<UncertainPoint> = points(0.2)
            .iter()
            .map(|p| UncertainPoint { x: p.y, x_u: p.y_u, y: p.x, y_u: p.x_u })
            .collect();
        let back = fit_distance_line(&swapped).unwrap();
        assert!((back.coefficients[1] * line.coefficients[1] - 1.0).abs() < 1e-9);
        assert!((back.coefficients[0] + line.coefficients[0] / line.coefficients[1]).abs() < 1e-9);
        assert!((back.chi_squared - line.chi_squared).abs() < 1e-9);
    }

    #[test]
    fn unusable_points_are_refused() {
        let mut bad = points(0.1);
        bad[3].y_u = 0.0;
        assert_eq!(fit_distance_line(&bad), Err(FitError::Weight { index: 3 }));
        bad[1].x_u = f64::NAN;
        assert_eq!(fit_distance_line(&bad), Err(FitError::Weight { index: 1 }));
        let few = &points(0.1)[..2];
        assert_eq!(fit_distance_line(few), Err(FitError::TooFew { count: 2, needed: 3 }));
    }
}
