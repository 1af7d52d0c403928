//! The plank between the pins, shaded class by class.
//!
//! Scanned line by line; neighbouring cells of one class become one run, all runs of a class one
//! path, so that a picture stays small. Deliberately not here: what a class means (`view`).

use std::fmt::Write as _;

use super::frame::{Frame, Ground};
use super::shape::Hull;
use super::view::{CLASS_COUNT, SHADES, Scale, View};
use crate::analysis::field::grid::{FieldGrid, GridCell};

/// Height of a line and finest width of a run, page units; a third of a millimetre on A4.
const CELL: f64 = 2.0;
/// The same where pins carry names, drawn at more than twice the size.
const CELL_LABELLED: f64 = 3.0;
/// Lines overlap by this, so that no reader shows a hair between them.
const OVERLAP: f64 = 0.4;
/// Ground where nothing is known.
const BLANK: &str = "#ffffff";
const EDGE: &str = "#6f665d";

/// The ground of every section, shaded where the grid knows something.
pub(super) fn draw(
    body: &mut String,
    frame: &Frame,
    ground: &Ground,
    grid: Option<&FieldGrid>,
    view: View,
    scale: &Scale,
) {
    let mut paths = vec![String::new(); CLASS_COUNT];
    for (_, _, hull) in &ground.sections {
        let _ = write!(body, "<path d=\"{}\" fill=\"{BLANK}\"/>", outline(hull));
        if let Some(grid) = grid {
            let class = |x, y| {
                let (x_m, y_m) = frame.back((x, y));
                scale.class(sample(grid, view, x_m, y_m)?)
            };
            let cell = if frame.labels { CELL_LABELLED } else { CELL };
            scan(hull, cell, &class, &mut paths);
        }
    }
    // Light first: where lines overlap, the darker class shows.
    for (path, shade) in paths.iter().zip(SHADES) {
        if !path.is_empty() {
            let _ = write!(
                body,
                "<path d=\"{path}\" fill=\"{shade}\" shape-rendering=\"crispEdges\"/>"
            );
        }
    }
    for (_, _, hull) in &ground.sections {
        let _ = write!(
            body,
            "<path d=\"{}\" fill=\"none\" stroke=\"{EDGE}\" stroke-width=\"1.5\" \
             stroke-linejoin=\"round\"/>",
            outline(hull)
        );
    }
}

fn outline(hull: &Hull) -> String {
    let mut path = String::new();
    for (i, (x, y)) in hull.corners.iter().enumerate() {
        let _ = write!(path, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
    }
    path.push('Z');
    path
}

/// Runs of one class, line by line.
fn scan(hull: &Hull, cell: f64, class: &dyn Fn(f64, f64) -> Option<usize>, paths: &mut [String]) {
    let (_, top, _, bottom) = hull.bounds();
    let mut line = (top / cell).floor() * cell;
    while line < bottom {
        let middle = line + 0.5 * cell;
        if let Some((left, right)) = hull.span_at(middle) {
            let mut from = left;
            let mut of = None;
            let mut x = left;
            while x < right {
                let end = ((x / cell).floor() * cell + cell).min(right);
                let here = class(0.5 * (x + end), middle);
                if here != of {
                    run(paths, of, (from, x), line, cell);
                    (from, of) = (x, here);
                }
                // A step that adds nothing at this size of numbers ends the line.
                x = if end > x { end } else { right };
            }
            run(paths, of, (from, right), line, cell);
        }
        line += cell;
    }
}

fn run(paths: &mut [String], class: Option<usize>, (from, to): (f64, f64), line: f64, cell: f64) {
    if let Some(path) = class.and_then(|class| paths.get_mut(class))
        && to > from
    {
        let (width, height) = (to - from, cell + OVERLAP);
        let _ = write!(path, "M{from:.1} {line:.0}h{width:.1}v{height:.1}h-{width:.1}z");
    }
}

/// The view's value at a place: between four cells in proportion, at the edge of what is known
/// the nearest cell's, beyond it none.
fn sample(grid: &FieldGrid, view: View, x_m: f64, y_m: f64) -> Option<f64> {
    let column = (x_m - grid.from_x_m) / grid.step_m;
    let row = (y_m - grid.from_y_m) / grid.step_m;
    if !(column.is_finite() && row.is_finite()) {
        return None;
    }
    let (left, above) = (column.floor(), row.floor());
    let (u, v) = (column - left, row - above);
    let cell = |i: f64, j: f64| -> Option<f64> {
        let inside = i >= 0.0 && j >= 0.0 && i < grid.column_count as f64;
        let cell: Option<&GridCell> = if inside { grid.at(i as usize, j as usize) } else { None };
        cell.map(|cell| view.value(cell)).filter(|value| value.is_finite())
    };
    let corners = [
        (cell(left, above), (1.0 - u) * (1.0 - v)),
        (cell(left + 1.0, above), u * (1.0 - v)),
        (cell(left, above + 1.0), (1.0 - u) * v),
        (cell(left + 1.0, above + 1.0), u * v),
    ];
    let (mut sum, mut weight) = (0.0, 0.0);
    for (value, share) in corners {
        if let Some(value) = value {
            sum += share * value;
            weight += share;
        }
    }
    if weight > 0.05 {
        return Some(sum / weight);
    }
    // Just outside: the nearest cell within three steps.
    let (column, row) = (column.round(), row.round());
    let near = |i: f64, j: f64| i * i + j * j;
    let mut best: Option<(f64, f64)> = None;
    for j in -EDGE_CELLS..=EDGE_CELLS {
        for i in -EDGE_CELLS..=EDGE_CELLS {
            let (i, j) = (f64::from(i), f64::from(j));
            if let Some(value) = cell(column + i, row + j)
                && best.is_none_or(|(distance, _)| near(i, j) < distance)
            {
                best = Some((near(i, j), value));
            }
        }
    }
    best.map(|(_, value)| value)
}

/// Cells beyond the grid's edge that still take the nearest cell's value: the rim of the plank
/// round the outermost pins.
const EDGE_CELLS: i32 = 3;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::input::Estimate;

    fn grid(value: impl Fn(usize, usize) -> Option<f64>) -> FieldGrid {
        let cells = (0..10).flat_map(|row| (0..20).map(move |column| (column, row)));
        let cell = |friction: f64| GridCell {
            friction_nm: Estimate { value: friction, u: 1.0 },
            holding_factor: Estimate { value: friction / 3.0, u: 0.3 },
            loose_chance: 0.1,
            sound_share: 1.0,
        };
        FieldGrid {
            from_x_m: 0.0,
            from_y_m: 0.0,
            step_m: 0.01,
            column_count: 20,
            row_count: 10,
            cells: cells.map(|(column, row)| value(column, row).map(cell)).collect(),
        }
    }

    #[test]
    fn between_cells_in_proportion_and_beyond_nothing() {
        let slope = grid(|column, _| Some(column as f64));
        let at = |x_m, y_m| sample(&slope, View::Torque, x_m, y_m);
        assert!((at(0.055, 0.02).expect("inside") - 5.5).abs() < 1e-9);
        assert!((at(-0.02, 0.02).expect("the rim") - 0.0).abs() < 1e-9);
        assert_eq!(at(-0.2, 0.02), None);
        assert_eq!(at(f64::NAN, 0.02), None);
        let half = grid(|column, _| (column < 5).then_some(7.0));
        assert_eq!(sample(&half, View::Torque, 0.044, 0.03), Some(7.0));
        assert_eq!(sample(&half, View::Torque, 0.10, 0.03), None);
        assert_eq!(sample(&FieldGrid::default(), View::Torque, 0.0, 0.0), None);
    }

    #[test]
    fn one_class_is_one_run_per_line() {
        let hull = Hull::round(&[(100.0, 100.0), (300.0, 100.0)], 20.0);
        let mut paths = vec![String::new(); CLASS_COUNT];
        scan(&hull, 2.0, &|_, _| Some(2), &mut paths);
        assert_eq!(paths[2].matches('M').count(), 20);
        let mut halves = vec![String::new(); CLASS_COUNT];
        scan(&hull, 2.0, &|x, _| Some(if x < 200.0 { 0 } else { 5 }), &mut halves);
        assert_eq!(halves[0].matches('M').count(), 20);
        assert_eq!(halves[5].matches('M').count(), 20);
    }
}
