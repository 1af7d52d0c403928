//! From a bench to a lever's constants, its curve and the terms of its uncertainty.
//!
//! In order, with τ the load (N·m, sharp positive) and y the code:
//!
//! 1. *Drift.* Each series (one position, one direction, up and down) has a zero of its own that
//!    moves evenly in time: y = a_s + b_s·t + c₁ₚ·τ + c₂·τ² ± h_k/2, with a slope for each hand
//!    position p, and h_k the hysteresis of each set of masses k (down less up, in the load's
//!    direction), by least squares. Its residual standard deviation s is the *scatter*. Codes less
//!    a_s + b_s·t, plus the mean zero, are the corrected codes.
//! 2. *Curve.* Corrected codes regressed on τ: y = c₀ + c₁τ, or + c₂τ² where the F test of c₂ in
//!    step 1 (1 over ν degrees of freedom) leaves a chance below [`BEND_LEVEL`]. Anyone can repeat
//!    it from the table of points. Its covariance is that of this regression.
//! 3. *Constants.* span = 1/c₁, zero = c₀; weight moment W from the codes off the square, y =
//!    zero − W·f_y/span, by regression on f_y. The lever shows span·(y − zero), which differs from
//!    τ by e(τ) = (c₂/c₁)·τ²; the zero is taken anew in use, so e₀ = 0.
//! 4. *Scale.* Each mass, arm, gravity, each axis of the accelerometer enters many points. It is
//!    moved by its standard uncertainty and step 2 repeated: the relative change of c₁ is its part
//!    of the scale's uncertainty, the change of e₂ joins the error curve's covariance. The parts
//!    are independent; nothing is averaged that is common. (JCGM 100, 5.2 and F.1.2.)
//! 5. *Error curve.* Covariance of e₁ and e₂: that of step 1 with one common slope, scaled to s².
//!    A straight line keeps e₂ = 0 with the variance of the c₂ that was not seen.
//! 6. *Hysteresis*: half the largest h_k over all sets, a rectangle's half width. *Repeatability*:
//!    s. *Place of the hand*: half the spread of the positions' slopes, relative, whole: arms and
//!    hand cannot be told apart, and the arms' part is told beside it.
//! 7. *Zero*: what it moves between two zeros, [`ZERO_INTERVAL_MIN`] apart: a walk whose variance
//!    grows as seen between points without load, or the root mean square from the first one, the
//!    larger; with the weight moment's own uncertainty, which an upright's clock positions feel.
//! 8. *Seating*: see [`super::seating`]. Temperature and resolution come from the class.

use super::bench::{Bench, BenchPoint, Leg, Setting};
use super::characteristics::{
    BendTest, Characteristics, ExpandedResult, HysteresisResult, PointResult, PositionResult,
    ScalePart,
};
use super::diagnose::{diagnose, temperature_range_c};
use super::loads::{self, AIR_RELATIVE_U, Group, Series, Shared};
use super::record::{CalibrationCurve, CalibrationResult, LeverConstants};
use super::seating::seating;
use super::shape::{CalibrationError, check, has_both_legs};
use super::suspicion::Suspicion;
use super::terms::{Basis, LeverTerms};
use crate::metrology::least_squares::{Fit, Observations, fit_design};
use crate::metrology::student::f_upper_tail;

/// Chance of a bend as large in a straight line, below which the curve is quadratic.
pub const BEND_LEVEL: f64 = 0.05;
/// Time between two zeros of a survey, minutes (DER: a check pin every twenty pins or so).
pub const ZERO_INTERVAL_MIN: f64 = 30.0;
/// Scatter beyond this is no lever in order, N·m.
const SCATTER_MAX_NM: f64 = 0.06;
/// Weight moments a lever of this design may have, N·m (DER: 0.59, grips and tips differ).
const WEIGHT_RANGE_NM: (f64, f64) = (0.2, 1.5);
/// The zeros on and off the square agree within this, N·m (DER: hand and drift).
const FREE_ODD_NM: f64 = 0.15;
/// Loads at which expanded uncertainty is listed, N·m, beside the ends of the range.
const LISTED_LOADS_NM: [f64; 7] = [3.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0];

/// What the user chose.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Choices {
    /// Number of the calibration, from 1.
    pub number: u32,
    /// Make it in spite of grave suspicions; they become remarks.
    pub insist: bool,
}

/// Evaluates a bench; the module's head says how.
///
/// # Errors
/// When something needed is missing, or looks wrong and the user does not insist.
pub fn evaluate(bench: &Bench, choices: &Choices) -> Result<CalibrationResult, CalibrationError> {
    check(bench)?;
    let mut suspicions = diagnose(bench);
    refuse(&suspicions, choices)?;
    let square = Square::of(bench);
    let drift = Drift::fit(bench, &square)?;
    let degree = if drift.bend.probability < BEND_LEVEL { 2 } else { 1 };
    let corrected = drift.corrected(&square);
    let fit = polynomial(&square.loads_nm, &corrected, degree)?;
    let span = 1.0 / fit.coefficients[1];
    let bend = fit.coefficients.get(2).copied().unwrap_or(0.0);
    let weight = weight(bench, &drift, &square, span)?;
    let scatter_nm = drift.scatter_code * span.abs();
    let zero_nm = zero_u_nm(bench, span.abs());
    let constants = LeverConstants {
        zero_code: fit.coefficients[0],
        span_nm_per_count: span,
        weight_moment_nm: weight.moment_nm,
    };
    second_look(&mut suspicions, scatter_nm, &weight);
    refuse(&suspicions, choices)?;
    let (parts, shared_bend_u) = scale_parts(bench, &square, &corrected, degree, &fit)?;
    let positions = positions(bench, &drift, span);
    let hysteresis = drift.hysteresis(bench, &square, span.abs());
    let seatings = seating(&bench.seatings);
    let class = LeverTerms::class();
    let terms = LeverTerms {
        basis: Basis::Calibration { number: choices.number },
        scale_relative_u: root_sum(parts.iter().map(|part| part.relative_u)),
        error_curve: [0.0, 0.0, bend * span],
        error_covariance: drift.error_covariance(span, shared_bend_u),
        hysteresis_half_width_nm: match &hysteresis[..] {
            [] => class.hysteresis_half_width_nm,
            all => all.iter().map(|one| one.width_nm.abs() / 2.0).fold(0.0, f64::max),
        },
        repeatability_u_nm: scatter_nm,
        zero_u_nm: libm::hypot(zero_nm, weight.u_nm),
        seating_relative_u: seatings.map_or(class.seating_relative_u, |s| s.within_relative),
        person_relative_u: seatings
            .filter(|seating| seating.person_count > 1)
            .map_or(class.person_relative_u, |seating| seating.between_relative),
        cross_load_relative_half_width: spread(&positions) / 2.0,
        temperature_c: Some(temperature_range_c(bench)),
        range_nm: Some(square.range_nm()),
        ..class
    };
    let mut remarks: Vec<String> = suspicions.iter().map(Suspicion::to_string).collect();
    remarks.extend(left_out(bench, &terms));
    let points = square.results(&corrected, &fit);
    let expanded = expanded(&terms, square.range_nm());
    Ok(CalibrationResult {
        curve: curve(fit, &drift, degree),
        constants,
        terms,
        remarks,
        characteristics: Characteristics {
            points,
            scale_parts: parts,
            positions,
            hysteresis,
            zero_returns_nm: zero_returns_nm(bench, span.abs()),
            weight_moment_u_nm: weight.u_nm,
            scatter_nm,
            scatter_degrees_of_freedom: drift.degrees_of_freedom,
            bend: Some(drift.bend),
            seating: seatings,
            expanded,
        },
    })
}

fn refuse(suspicions: &[Suspicion], choices: &Choices) -> Result<(), CalibrationError> {
    if !choices.insist && suspicions.iter().any(Suspicion::is_grave) {
        return Err(CalibrationError::Suspect { found: suspicions.to_vec() });
    }
    Ok(())
}

/// What only the fit can show.
fn second_look(suspicions: &mut Vec<Suspicion>, scatter_nm: f64, weight: &Weight) {
    if scatter_nm > SCATTER_MAX_NM {
        suspicions.push(Suspicion::Scattered { sd_nm: scatter_nm });
    }
    if weight.apart_nm.abs() > FREE_ODD_NM {
        suspicions.push(Suspicion::FreeOdd { apart_nm: weight.apart_nm });
    }
    if weight.moment_nm < WEIGHT_RANGE_NM.0 || weight.moment_nm > WEIGHT_RANGE_NM.1 {
        suspicions.push(Suspicion::WeightOdd { weight_moment_nm: weight.moment_nm });
    }
}

/// What the record must say was not done.
fn left_out(bench: &Bench, terms: &LeverTerms) -> Vec<String> {
    let mut remarks = Vec::new();
    if !has_both_legs(bench) {
        remarks.push("no loads on the way down: hysteresis is the class's".to_owned());
    }
    match seating(&bench.seatings) {
        None => remarks.push("no pins seated anew: seating and person are the class's".to_owned()),
        Some(seating) if seating.person_count < 2 => {
            remarks
                .push("one person seated the lever: what another does is the class's".to_owned());
        }
        Some(_) => {}
    }
    if let Some((_, high)) = terms.range_nm
        && high < 0.8 * super::diagnose::LOAD_MAX_NM
    {
        remarks.push(format!(
            "loads end at {high:.1} N·m: readings beyond are marked; heavier masses or a longer \
             arm reach {} N·m",
            super::diagnose::LOAD_MAX_NM
        ));
    }
    remarks
}

/// The points on the square, in the order they were taken.
struct Square {
    series: Vec<Series>,
    /// Indices into the bench's points.
    points: Vec<usize>,
    /// Series of each.
    series_of: Vec<usize>,
    loads_nm: Vec<f64>,
    codes: Vec<f64>,
}

impl Square {
    fn of(bench: &Bench) -> Square {
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

    fn point<'a>(&self, bench: &'a Bench, row: usize) -> &'a BenchPoint {
        &bench.points[self.points[row]]
    }

    /// Smallest and largest load both directions reach, N·m.
    fn range_nm(&self) -> (f64, f64) {
        let loaded = self.loads_nm.iter().map(|load| load.abs()).filter(|load| *load > 0.0);
        let low = loaded.fold(f64::INFINITY, f64::min);
        let side = |sign: f64| self.loads_nm.iter().map(|load| load * sign).fold(0.0, f64::max);
        (low, side(1.0).min(side(-1.0)))
    }

    fn results(&self, corrected: &[f64], fit: &Fit) -> Vec<PointResult> {
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
fn polynomial(x: &[f64], y: &[f64], degree: usize) -> Result<Fit, CalibrationError> {
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

/// Step 1: everything that moves a code, together.
struct Drift {
    /// Zero and its change in time, code: for each row.
    zero_codes: Vec<f64>,
    mean_zero: f64,
    /// Slopes by position, with standard errors; `None` where a position has no loads.
    slopes: Vec<Option<(f64, f64)>>,
    /// Sets of masses with both legs, and down less up, code.
    widths: Vec<(Vec<usize>, f64)>,
    bend: BendTest,
    scatter_code: f64,
    degrees_of_freedom: u32,
    /// Covariance of common slope and bend, code over N·m and its square, scaled to the scatter.
    slope_bend: [[f64; 2]; 2],
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
    fn fit(bench: &Bench, square: &Square) -> Result<Drift, CalibrationError> {
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
            scatter_code: fit.residual_sd,
            degrees_of_freedom: fit.degrees_of_freedom,
            slope_bend: [
                [cell(slope, slope), cell(slope, bend)],
                [cell(bend, slope), cell(bend, bend)],
            ],
        })
    }

    fn corrected(&self, square: &Square) -> Vec<f64> {
        let codes = square.codes.iter().zip(&self.zero_codes);
        codes.map(|(code, zero)| code - zero + self.mean_zero).collect()
    }

    /// Covariance of e₀, e₁, e₂.
    fn error_covariance(&self, span: f64, shared_bend_u: f64) -> [[f64; 3]; 3] {
        let [[slope, mixed], [_, bend]] = self.slope_bend;
        let square = span * span;
        let bend = bend * square + shared_bend_u * shared_bend_u;
        [[0.0; 3], [0.0, slope * square, mixed * square], [0.0, mixed * square, bend]]
    }

    fn hysteresis(&self, bench: &Bench, square: &Square, span: f64) -> Vec<HysteresisResult> {
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

/// Each shared input's part of the scale by group, and what they do to e₂ together.
fn scale_parts(
    bench: &Bench,
    square: &Square,
    corrected: &[f64],
    degree: usize,
    base: &Fit,
) -> Result<(Vec<ScalePart>, f64), CalibrationError> {
    let slope = base.coefficients[1];
    let bend_of = |fit: &Fit| fit.coefficients.get(2).copied().unwrap_or(0.0) / fit.coefficients[1];
    let mut groups = [
        (Group::Masses, "masses", 0.0),
        (Group::Arms, "arm lengths", 0.0),
        (Group::Gravity, "local gravity", 0.0),
        (Group::Tilt, "tilt of the handle", 0.0),
    ];
    let mut bend_variance = 0.0;
    for (group, moved) in Shared::moved(bench) {
        let loads: Vec<f64> =
            square.points.iter().map(|at| moved.load_nm(&bench.points[*at])).collect();
        let fit = polynomial(&loads, corrected, degree)?;
        let part = fit.coefficients[1] / slope - 1.0;
        bend_variance += (bend_of(&fit) - bend_of(base)).powi(2);
        for (known, _, variance) in &mut groups {
            if *known == group {
                *variance += part * part;
            }
        }
    }
    let mut parts: Vec<ScalePart> = groups
        .iter()
        .map(|(_, name, variance)| ScalePart {
            name: (*name).to_owned(),
            relative_u: variance.sqrt(),
        })
        .collect();
    parts.push(ScalePart { name: "lift of the air".to_owned(), relative_u: AIR_RELATIVE_U });
    Ok((parts, bend_variance.sqrt()))
}

/// Positions beside the common slope.
fn positions(bench: &Bench, drift: &Drift, span: f64) -> Vec<PositionResult> {
    let slopes = drift.slopes.iter().enumerate();
    slopes
        .filter_map(|(position, slope)| {
            let (slope, error) = (*slope)?;
            let arm = bench.positions[position].arm_m;
            Some(PositionResult {
                position,
                relative_difference: slope * span - 1.0,
                relative_u: libm::hypot(arm.u / arm.value, error / slope),
            })
        })
        .collect()
}

fn spread(positions: &[PositionResult]) -> f64 {
    let differences = positions.iter().map(|position| position.relative_difference);
    let (low, high) = differences
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| (low.min(d), high.max(d)));
    (high - low).max(0.0)
}

/// What the points off the square say.
struct Weight {
    moment_nm: f64,
    u_nm: f64,
    /// Zero off the square less zero on it, N·m.
    apart_nm: f64,
}

/// Step 3: own weight. The zero at the time of a point off the square is that of the series'
/// end nearest in time.
fn weight(
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
        u_nm: libm::hypot(
            scatter / squares.sqrt() * span,
            moment_nm * super::loads::ACCELEROMETER_U_G,
        ),
        apart_nm: zero * span,
    })
}

/// Step 7.
fn zero_u_nm(bench: &Bench, span: f64) -> f64 {
    let zeros: Vec<(f64, f64)> = bench
        .points
        .iter()
        .filter(|point| loads::is_empty(point))
        .map(|point| (point.at_ms as f64 / 60_000.0, point.mean_code))
        .collect();
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

fn zero_returns_nm(bench: &Bench, span: f64) -> Vec<f64> {
    let ends = loads::series_of(bench).into_iter().filter_map(|series| {
        let mut empty = series.points.iter().filter(|at| loads::is_empty(&bench.points[**at]));
        let first = *empty.next()?;
        let last = *empty.next_back()?;
        Some((bench.points[last].mean_code - bench.points[first].mean_code) * span)
    });
    ends.collect()
}

fn curve(fit: Fit, drift: &Drift, degree: usize) -> CalibrationCurve {
    let BendTest { f, probability, degrees_of_freedom } = drift.bend;
    let degree_reason = if degree == 2 {
        format!(
            "quadratic: a straight line would leave a bend (F = {f:.1} on 1 and \
             {degrees_of_freedom}, chance {probability:.2}) of a straight lever"
        )
    } else {
        format!(
            "straight line: a quadratic term is not called for (F = {f:.1} on 1 and \
             {degrees_of_freedom}, chance {probability:.2})"
        )
    };
    CalibrationCurve {
        coefficients: fit.coefficients,
        covariance: fit.covariance,
        residual_sd: fit.residual_sd,
        degrees_of_freedom: fit.degrees_of_freedom,
        r_squared: fit.r_squared,
        degree_reason,
    }
}

/// Step 9: the lever's own expanded uncertainty over the range.
fn expanded(terms: &LeverTerms, range_nm: (f64, f64)) -> Vec<ExpandedResult> {
    let inside = |load: &f64| *load > range_nm.0 * 1.02 && *load < range_nm.1 * 0.98;
    let mut loads = vec![range_nm.0];
    loads.extend(LISTED_LOADS_NM.iter().filter(|load| inside(load)));
    loads.push(range_nm.1);
    let at = |load_nm: &f64| ExpandedResult {
        load_nm: *load_nm,
        expanded_nm: terms.expanded_u_nm(*load_nm).max(terms.expanded_u_nm(-load_nm)),
    };
    loads.iter().map(at).collect()
}

fn root_sum(parts: impl Iterator<Item = f64>) -> f64 {
    parts.map(|part| part * part).sum::<f64>().sqrt()
}
