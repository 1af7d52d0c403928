//! The points on the square: loads, codes, series, and a curve through them.

use crate::calibration::CalibrationError;
use crate::calibration::bench::{Bench, BenchPoint};
use crate::calibration::characteristics::PointResult;
use crate::calibration::loads::{self, Series, Shared};
use crate::metrology::least_squares::{Fit, Observations, fit_design};

/// The points on the square, in the order they were taken.
pub(super) struct Square {
    pub(super) series: Vec<Series>,
    /// Indices into the bench's points.
    pub(super) points: Vec<usize>,
    /// Series of each.
    pub(super) series_of: Vec<usize>,
    pub(super) loads_nm: Vec<f64>,
    pub(super) codes: Vec<f64>,
}

impl Square {
    pub(super) fn of(bench: &Bench) -> Square {
        let series = loads::series_of(bench);
        let shared = Shared::of(bench);
        let mut points: Vec<(usize, usize)> = series
            .iter()
            .enumerate()
            .flat_map(|(at, series)| series.points.iter().map(move |point| (*point, at)))
            .collect();
        points.sort_unstable();
        let indices = || points.iter().map(|(point, _)| *point);
        Square {
            loads_nm: indices().map(|at| shared.load_nm(&bench.points[at])).collect(),
            codes: indices().map(|at| bench.points[at].mean_code).collect(),
            series_of: points.iter().map(|(_, series)| *series).collect(),
            points: indices().collect(),
            series,
        }
    }

    pub(super) fn point<'a>(&self, bench: &'a Bench, row: usize) -> &'a BenchPoint {
        &bench.points[self.points[row]]
    }

    /// Smallest and largest load both directions reach, N·m.
    pub(super) fn range_nm(&self) -> (f64, f64) {
        let loaded = self.loads_nm.iter().map(|load| load.abs()).filter(|load| *load > 0.0);
        let low = loaded.fold(f64::INFINITY, f64::min);
        let side = |sign: f64| self.loads_nm.iter().map(|load| load * sign).fold(0.0, f64::max);
        (low, side(1.0).min(side(-1.0)))
    }

    pub(super) fn results(&self, corrected: &[f64], fit: &Fit) -> Vec<PointResult> {
        let slope = fit.coefficients[1];
        (0..self.points.len())
            .map(|row| PointResult {
                point: self.points[row],
                load_nm: self.loads_nm[row],
                code: corrected[row],
                residual_nm: fit.residuals[row] / slope,
            })
            .collect()
    }
}

/// y on powers of x.
pub(super) fn polynomial(x: &[f64], y: &[f64], degree: usize) -> Result<Fit, CalibrationError> {
    let row = |x: &f64| {
        let mut row = vec![1.0, *x];
        if degree == 2 {
            row.push(x * x);
        }
        row
    };
    let rows: Vec<Vec<f64>> = x.iter().map(row).collect();
    Ok(fit_design(&rows, true, Observations::equal(y))?)
}
