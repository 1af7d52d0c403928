//! The record's two pictures: expanded uncertainty over the range, and residuals.

use super::{COVERAGE_FACTOR, Sheet};
use crate::calibration::bench::{Leg, Setting};
use crate::report::document::chart::{Axis, Chart, Mark};
use crate::report::document::figure::{Figure, Ink, Pen};
use crate::report::numbers::fixed;

/// Width of a page's text, points.
const WIDTH: f64 = 495.0;
const EXPANDED_HEIGHT: f64 = 122.0;
const RESIDUAL_HEIGHT: f64 = 165.0;
/// Points of a curve drawn.
const CURVE_STEPS: usize = 60;
/// What the eye may compare with, relative.
const COMPARED: f64 = 0.01;
/// Hand positions told apart in the legend.
const POSITION_COUNT_MAX: usize = 4;

const CURVE: Pen = Pen { ink: Ink::Accent, width: 1.6, is_dashed: false };
const DASHED: Pen = Pen { ink: Ink::Soft, width: 0.9, is_dashed: true };

/// Torques across a range, N·m.
fn across(low: f64, high: f64) -> impl Iterator<Item = f64> {
    (0..=CURVE_STEPS).map(move |step| low + (high - low) * step as f64 / CURVE_STEPS as f64)
}

/// Expanded uncertainty over the load.
pub(super) fn expanded(sheet: Sheet<'_>) -> Figure {
    let terms = &sheet.record.result.terms;
    let (low, high) = sheet.range_nm();
    let expanded_nm = |load: f64| terms.expanded_u_nm(load).max(terms.expanded_u_nm(-load));
    let curve: Vec<(f64, f64)> =
        across(low, high).map(|load| (sheet.show(load), sheet.show(expanded_nm(load)))).collect();
    let compared = [low, high].map(|load| (sheet.show(load), sheet.show(COMPARED * load)));
    let x = Axis::around([0.0, sheet.show(high)], format!("Load, either way ({})", sheet.unit));
    let tops = curve.iter().chain(&compared).map(|(_, y)| *y);
    let y = Axis::around(tops.chain([0.0]), "");
    let mut chart = Chart::new(WIDTH, EXPANDED_HEIGHT, x, y);
    chart.legend_line(Some(CURVE), "expanded uncertainty, k = 2");
    chart.legend_line(Some(DASHED), "1 % of the load, to compare");
    chart.line(&compared, DASHED);
    chart.line(&curve, CURVE);
    for one in &sheet.record.result.characteristics.expanded {
        let at = (sheet.show(one.load_nm), sheet.show(one.expanded_nm));
        chart.mark(at, Mark::Circle, true, Ink::Accent);
    }
    let caption = format!("Expanded uncertainty in {} over the load.", sheet.unit);
    let alternative = format!(
        "Curve of the expanded uncertainty, from {} {unit} at {} {unit} to {} {unit} at {} {unit}; \
         the table below has the numbers.",
        sheet.fine(expanded_nm(low)),
        sheet.rough(low),
        sheet.fine(expanded_nm(high)),
        sheet.rough(high),
        unit = sheet.unit,
    );
    chart.finish(caption, alternative)
}

/// Residuals over the load, with what the uncertainty allows.
pub(super) fn residuals(sheet: Sheet<'_>) -> Figure {
    let result = &sheet.record.result;
    let points = &result.characteristics.points;
    let span = result.constants.span_nm_per_count.abs();
    let twice_nm = COVERAGE_FACTOR * result.curve.residual_sd * span;
    let high = points.iter().map(|one| one.load_nm.abs()).fold(0.0, f64::max);
    let band_nm = |load: f64| result.terms.expanded_u_nm(load);
    let top = |load: f64| (sheet.show(load), sheet.show(band_nm(load)));
    let bottom = |load: f64| (sheet.show(load), -sheet.show(band_nm(load)));
    let band: Vec<(f64, f64)> =
        across(-high, high).map(top).chain(across(high, -high).map(bottom)).collect();
    let x = Axis::around(
        [sheet.show(-high), sheet.show(high)],
        format!("Load ({}), sharp to the right, flat to the left", sheet.unit),
    );
    let residuals = points.iter().map(|one| sheet.show(one.residual_nm));
    let limits = band.iter().map(|(_, y)| *y).chain([-1.0, 1.0].map(|s| s * sheet.show(twice_nm)));
    let y = Axis::around(residuals.chain(limits), "");
    let mut chart = Chart::new(WIDTH, RESIDUAL_HEIGHT, x, y);
    chart.band(&band);
    for sign in [-1.0, 1.0] {
        let level = sign * sheet.show(twice_nm);
        chart.line(&[(sheet.show(-high), level), (sheet.show(high), level)], DASHED);
    }
    for one in points {
        let Some(point) = sheet.record.bench.points.get(one.point) else { continue };
        let Setting::Loaded { position, leg, .. } = &point.setting else { continue };
        let at = (sheet.show(one.load_nm), sheet.show(one.residual_nm));
        chart.mark(at, Mark::nth(*position), *leg == Leg::Up, Ink::Strong);
    }
    let positions = sheet.record.bench.positions.len().min(POSITION_COUNT_MAX);
    for position in 0..positions {
        let word = crate::text::printable_short(&sheet.position(position), 16);
        chart.legend_mark(Mark::nth(position), true, Ink::Strong, &word);
    }
    chart.legend_line(Some(DASHED), "± 2 residual s.d.");
    chart.legend_line(None, "± expanded uncertainty");
    let largest = points.iter().map(|one| one.residual_nm.abs()).fold(0.0, f64::max);
    let caption = format!(
        "Torque by the curve less the load, in {}. Filled: load rising; open: load falling.",
        sheet.unit
    );
    let alternative = format!(
        "Residuals of {} points over the load, the largest {} {unit}; two standard deviations are \
         {} {unit}; the table of points has the numbers.",
        points.len(),
        fixed(sheet.show(largest), sheet.decimals() + 1),
        sheet.fine(twice_nm),
        unit = sheet.unit,
    );
    chart.finish(caption, alternative)
}
