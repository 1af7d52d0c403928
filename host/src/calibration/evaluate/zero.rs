//! The lever's own weight from the points off the square, and what its zero does.

use super::ZERO_INTERVAL_MIN;
use super::drift::Drift;
use super::square::Square;
use crate::calibration::CalibrationError;
use crate::calibration::bench::{Bench, Setting};
use crate::calibration::loads::{self, ACCELEROMETER_U_G};

/// What the points off the square say.
pub(super) struct Weight {
    pub(super) moment_nm: f64,
    pub(super) u_nm: f64,
    /// Zero off the square less zero on it, N·m.
    pub(super) apart_nm: f64,
}

/// Step 3: own weight. The zero at the time of a point off the square is that of the series'
/// end nearest in time.
pub(super) fn weight(
    bench: &Bench,
    drift: &Drift,
    square: &Square,
    span: f64,
) -> Result<Weight, CalibrationError> {
    let mut across = Vec::new();
    let mut codes = Vec::new();
    for point in bench.points.iter().filter(|point| point.setting == Setting::Free) {
        let ends =
            (0..square.points.len()).filter(|row| loads::is_empty(square.point(bench, *row)));
        let nearest = ends.min_by_key(|row| square.point(bench, *row).at_ms.abs_diff(point.at_ms));
        let zero = nearest.map_or(drift.mean_zero, |row| drift.zero_codes[row]);
        across.push(point.force_g[1]);
        codes.push(point.mean_code - zero);
    }
    let count = across.len() as f64;
    let (mean_across, mean_code) =
        (across.iter().sum::<f64>() / count, codes.iter().sum::<f64>() / count);
    let squares: f64 = across.iter().map(|x| (x - mean_across).powi(2)).sum();
    let products = across.iter().zip(&codes);
    let slope: f64 =
        products.clone().map(|(x, y)| (x - mean_across) * (y - mean_code)).sum::<f64>() / squares;
    let zero = mean_code - slope * mean_across;
    let residual: f64 = products.map(|(x, y)| (y - zero - slope * x).powi(2)).sum();
    let scatter = (residual / (count - 2.0).max(1.0)).sqrt().max(drift.scatter_code);
    let moment_nm = -slope * span;
    Ok(Weight {
        moment_nm,
        u_nm: libm::hypot(scatter / squares.sqrt() * span, moment_nm * ACCELEROMETER_U_G),
        apart_nm: zero * span,
    })
}

/// Step 7.
pub(super) fn zero_u_nm(bench: &Bench, span: f64) -> f64 {
    let zeros: Vec<(f64, f64)> = bench
        .points
        .iter()
        .filter(|point| loads::is_empty(point))
        .map(|point| (point.at_ms as f64 / 60_000.0, point.mean_code))
        .collect();
    let mut pairs = Vec::new();
    for (at, (minute, code)) in zeros.iter().enumerate() {
        for (later, other) in zeros.iter().skip(at + 1) {
            pairs.push(((later - minute).abs(), (other - code) * (other - code)));
        }
    }
    let longest_min = pairs.iter().map(|(minutes, _)| *minutes).fold(0.0, f64::max);
    let (stays, per_min) = spread_in_time(&pairs);
    (stays + per_min * longest_min.min(ZERO_INTERVAL_MIN)).sqrt() * span
}

/// Squares of differences as a + b·minutes, neither below zero, by least squares with weights
/// 1/(minutes² + 1): such squares scatter in proportion to their size.
fn spread_in_time(pairs: &[(f64, f64)]) -> (f64, f64) {
    let sums = pairs.iter().fold([0.0; 5], |[w, wx, wxx, wy, wxy], (x, y)| {
        let weight = 1.0 / (x * x + 1.0);
        [w + weight, wx + weight * x, wxx + weight * x * x, wy + weight * y, wxy + weight * x * y]
    });
    let [w, wx, wxx, wy, wxy] = sums;
    if w <= 0.0 {
        return (0.0, 0.0);
    }
    let determinant = w * wxx - wx * wx;
    let (stays, per_min) = if determinant > 1e-12 * w * wxx {
        ((wxx * wy - wx * wxy) / determinant, (w * wxy - wx * wy) / determinant)
    } else {
        (wy / w, 0.0)
    };
    if per_min <= 0.0 {
        (wy / w, 0.0)
    } else if stays < 0.0 {
        (0.0, wxy / wxx)
    } else {
        (stays, per_min)
    }
}

pub(super) fn zero_returns_nm(bench: &Bench, span: f64) -> Vec<f64> {
    let ends = loads::series_of(bench).into_iter().filter_map(|series| {
        let mut empty = series.points.iter().filter(|at| loads::is_empty(&bench.points[**at]));
        let first = *empty.next()?;
        let last = *empty.next_back()?;
        Some((bench.points[last].mean_code - bench.points[first].mean_code) * span)
    });
    ends.collect()
}
