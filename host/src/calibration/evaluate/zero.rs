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
    let mut zeros: Vec<(f64, f64)> = bench
        .points
        .iter()
        .filter(|point| loads::is_empty(point))
        .map(|point| (point.at_ms as f64 / 60_000.0, point.mean_code))
        .collect();
    // A series taken again stands in its old place.
    zeros.sort_by(|a, b| a.0.total_cmp(&b.0));
    let Some((start_min, first)) = zeros.first().copied() else { return 0.0 };
    let steps = zeros.windows(2).map(|pair| (pair[1].0 - pair[0].0, pair[1].1 - pair[0].1));
    let (minutes, squares) = steps.fold((0.0, 0.0), |(minutes, squares), (minute, step)| {
        (minutes + minute, squares + step * step)
    });
    let walk = if minutes > 0.0 { squares / minutes * ZERO_INTERVAL_MIN } else { squares };
    let later: Vec<f64> = zeros
        .iter()
        .skip(1)
        .filter(|(minute, _)| *minute - start_min <= ZERO_INTERVAL_MIN || minutes <= 0.0)
        .map(|(_, code)| (code - first).powi(2))
        .collect();
    let from_first = later.iter().sum::<f64>() / later.len().max(1) as f64;
    walk.max(from_first).sqrt() * span
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
