//! Step 1 of the evaluation: zero and drift of each series, slopes by position, bend, hysteresis and
//! scatter, all by one fit.

use super::square::Square;
use crate::calibration::CalibrationError;
use crate::calibration::bench::{Bench, Leg, Setting};
use crate::calibration::characteristics::{BendTest, HysteresisResult};
use crate::calibration::loads::{self, Series};
use crate::metrology::least_squares::{Observations, fit_design};
use crate::metrology::student::f_upper_tail;

/// Step 1: everything that moves a code, together.
pub(super) struct Drift {
    /// Zero and its change in time, code: for each row.
    pub(super) zero_codes: Vec<f64>,
    pub(super) mean_zero: f64,
    /// Slopes by position, with standard errors; `None` where a position has no loads.
    pub(super) slopes: Vec<Option<(f64, f64)>>,
    /// Sets of masses with both legs, and down less up, code.
    pub(super) widths: Vec<(Vec<usize>, f64)>,
    pub(super) bend: BendTest,
    /// Quadratic term, code over square N·m.
    bend_code: f64,
    pub(super) scatter_code: f64,
    pub(super) degrees_of_freedom: u32,
    /// Covariance of common slope and bend, code over N·m and its square, scaled to the scatter.
    pub(super) slope_bend: [[f64; 2]; 2],
}

/// What the columns of step 1 stand for.
struct Columns {
    /// For each series the column of its drift, when it has one.
    drifts: Vec<Option<usize>>,
    slopes: Vec<Option<usize>>,
    bend: usize,
    sets: Vec<Vec<usize>>,
    count: usize,
}

impl Columns {
    /// `common`: one slope for all positions.
    fn of(bench: &Bench, square: &Square, common: bool) -> Columns {
        let mut count = square.series.len();
        let mut next = || {
            count += 1;
            count - 1
        };
        let drifts: Vec<Option<usize>> =
            square.series.iter().map(|series| drifts(bench, series).then(&mut next)).collect();
        let used: Vec<bool> = (0..bench.positions.len())
            .map(|position| square.series.iter().any(|series| series.position == position))
            .collect();
        let slopes: Vec<Option<usize>> = if common {
            let one = next();
            used.iter().map(|used| used.then_some(one)).collect()
        } else {
            used.iter().map(|used| used.then(&mut next)).collect()
        };
        let bend = next();
        let sets = sets(bench);
        let count = count + sets.len();
        Columns { drifts, slopes, bend, sets, count }
    }

    fn row(&self, bench: &Bench, square: &Square, row: usize) -> Vec<f64> {
        let mut cells = vec![0.0; self.count];
        let series = square.series_of[row];
        cells[series] = 1.0;
        if let Some(column) = self.drifts[series] {
            cells[column] = time(bench, &square.series[series], square.points[row]);
        }
        let load_nm = square.loads_nm[row];
        if let Some(column) = self.slopes[square.series[series].position] {
            cells[column] = load_nm;
        }
        cells[self.bend] = load_nm * load_nm;
        if let Setting::Loaded { leg, masses, .. } = &square.point(bench, row).setting {
            let set = sorted(masses);
            if let Some(at) = self.sets.iter().position(|known| *known == set) {
                let half = if *leg == Leg::Down { 0.5 } else { -0.5 };
                cells[self.bend + 1 + at] = half * load_nm.signum();
            }
        }
        cells
    }
}

/// Whether a series says anything of its zero's drift: points without load at two times.
fn drifts(bench: &Bench, series: &Series) -> bool {
    let empty = series.points.iter().filter(|at| loads::is_empty(&bench.points[**at]));
    let times: Vec<i64> = empty.map(|at| bench.points[*at].at_ms).collect();
    times.iter().max() > times.iter().min()
}

/// Time within a series: −1 at its first point, 1 at its last.
fn time(bench: &Bench, series: &Series, point: usize) -> f64 {
    let at = |index: usize| bench.points[index].at_ms as f64;
    let (Some(first), Some(last)) = (series.points.first(), series.points.last()) else {
        return 0.0;
    };
    let half = (at(*last) - at(*first)) / 2.0;
    if half > 0.0 { (at(point) - at(*first)) / half - 1.0 } else { 0.0 }
}

fn sorted(masses: &[usize]) -> Vec<usize> {
    let mut masses = masses.to_vec();
    masses.sort_unstable();
    masses
}

/// Sets of masses that hung on the way up and on the way down.
fn sets(bench: &Bench) -> Vec<Vec<usize>> {
    let on = |wanted: Leg| {
        let masses = bench.points.iter().filter_map(move |point| match &point.setting {
            Setting::Loaded { leg, masses, .. } if *leg == wanted => Some(sorted(masses)),
            _ => None,
        });
        masses.filter(|masses| !masses.is_empty())
    };
    let down: Vec<Vec<usize>> = on(Leg::Down).collect();
    let mut both: Vec<Vec<usize>> = on(Leg::Up).filter(|set| down.contains(set)).collect();
    both.sort();
    both.dedup();
    both
}

impl Drift {
    pub(super) fn fit(bench: &Bench, square: &Square) -> Result<Drift, CalibrationError> {
        let design = |columns: &Columns| -> Vec<Vec<f64>> {
            (0..square.points.len()).map(|row| columns.row(bench, square, row)).collect()
        };
        let columns = Columns::of(bench, square, false);
        let fit = fit_design(&design(&columns), true, Observations::equal(&square.codes))?;
        let common = Columns::of(bench, square, true);
        let pooled = fit_design(&design(&common), true, Observations::equal(&square.codes))?;
        let at = |column: usize| fit.coefficients[column];
        let error = |column: usize| fit.covariance[column][column].sqrt();
        let mean_zero = (0..square.series.len()).map(at).sum::<f64>() / square.series.len() as f64;
        let zero_of = |row: usize| {
            let series = square.series_of[row];
            let drift = columns.drifts[series]
                .map_or(0.0, |c| at(c) * time(bench, &square.series[series], square.points[row]));
            at(series) + drift
        };
        let f = (at(columns.bend) / error(columns.bend)).powi(2);
        let probability = f_upper_tail(f, 1.0, fit.dof());
        let scaled = fit.residual_sd / pooled.residual_sd.max(f64::MIN_POSITIVE);
        let (slope, bend) = (common.slopes.iter().flatten().next().copied(), common.bend);
        let cell = |a: usize, b: usize| pooled.covariance[a][b] * scaled * scaled;
        let slope = slope.unwrap_or(bend);
        Ok(Drift {
            zero_codes: (0..square.points.len()).map(zero_of).collect(),
            mean_zero,
            slopes: columns.slopes.iter().map(|c| c.map(|c| (at(c), error(c)))).collect(),
            widths: (columns.sets.iter().enumerate())
                .map(|(set, masses)| (masses.clone(), at(columns.bend + 1 + set)))
                .collect(),
            bend: BendTest { f, probability, degrees_of_freedom: fit.degrees_of_freedom },
            bend_code: at(columns.bend),
            scatter_code: fit.residual_sd,
            degrees_of_freedom: fit.degrees_of_freedom,
            slope_bend: [
                [cell(slope, slope), cell(slope, bend)],
                [cell(bend, slope), cell(bend, bend)],
            ],
        })
    }

    pub(super) fn corrected(&self, square: &Square) -> Vec<f64> {
        let codes = square.codes.iter().zip(&self.zero_codes);
        codes.map(|(code, zero)| code - zero + self.mean_zero).collect()
    }

    /// Covariance of e₀, e₁, e₂.
    pub(super) fn error_covariance(
        &self,
        span: f64,
        shared_bend_u: f64,
        degree: usize,
    ) -> [[f64; 3]; 3] {
        let [[slope, mixed], [_, bend]] = self.slope_bend;
        let square = span * span;
        let kept = if degree == 2 { 0.0 } else { self.bend_code * self.bend_code };
        let bend = (bend + kept) * square + shared_bend_u * shared_bend_u;
        [[0.0; 3], [0.0, slope * square, mixed * square], [0.0, mixed * square, bend]]
    }

    pub(super) fn hysteresis(
        &self,
        bench: &Bench,
        square: &Square,
        span: f64,
    ) -> Vec<HysteresisResult> {
        let sized = |masses: &Vec<usize>| {
            let rows = (0..square.points.len()).filter(|row| {
                loads::hung(square.point(bench, *row)).is_some_and(|hung| sorted(hung) == *masses)
            });
            let loads: Vec<f64> = rows.map(|row| square.loads_nm[row].abs()).collect();
            (loads.iter().sum::<f64>() / loads.len().max(1) as f64, loads.len() / 2)
        };
        // Codes grow with the load or, with reversed wires, against it.
        let sign = self.slopes.iter().flatten().map(|(slope, _)| slope.signum()).next();
        let mut all: Vec<HysteresisResult> = self
            .widths
            .iter()
            .map(|(masses, code)| {
                let (load_nm, pair_count) = sized(masses);
                let width_nm = code * span * sign.unwrap_or(1.0);
                HysteresisResult { masses: masses.clone(), load_nm, width_nm, pair_count }
            })
            .collect();
        all.sort_by(|a, b| a.load_nm.total_cmp(&b.load_nm));
        all
    }
}
