//! What was read: weights, arms, every point, residuals.

use pinhold_protocol::record::Direction;

use super::{Sheet, figures, name};
use crate::calibration::bench::{Leg, Setting};
use crate::metrology::Estimate;
use crate::report::document::{Align, Block, Table};
use crate::report::numbers::{decimals_of, fixed, signed};

/// Weights, arms, and how well the curve fits.
pub(super) fn bench(sheet: Sheet<'_>) -> Vec<Block> {
    let bench = &sheet.record.bench;
    let masses = bench.masses.iter().map(|mass| (mass.name.as_str(), mass.mass_kg));
    let arms = bench.positions.iter().map(|place| (place.name.as_str(), place.arm_m));
    vec![
        Block::Heading("Weights and arms".to_owned()),
        Block::Beside(
            vec![Block::Table(typed("Weight", "Mass (kg)", masses))],
            vec![
                Block::Table(typed("Hand at", "Arm from the pin's axis (m)", arms)),
                Block::Note("Standard uncertainties u, k = 1, as typed.".to_owned()),
            ],
        ),
        Block::Heading("Residuals".to_owned()),
        Block::Figure(figures::residuals(sheet)),
    ]
}

/// Every reading.
pub(super) fn readings(sheet: Sheet<'_>) -> Vec<Block> {
    vec![
        Block::Heading("Every reading".to_owned()),
        Block::Table(points(sheet)),
        Block::Table(free(sheet)),
    ]
}

/// Things with their typed values, all to the finest uncertainty's second digit.
fn typed<'a>(what: &str, unit: &str, rows: impl Iterator<Item = (&'a str, Estimate)>) -> Table {
    let rows: Vec<(&str, Estimate)> = rows.collect();
    let decimals = rows.iter().map(|(_, one)| decimals_of(one.u)).max().unwrap_or(3);
    let columns = [
        ("No.", Align::Right, 0.4),
        (what, Align::Left, 1.4),
        (unit, Align::Right, 1.2),
        ("u", Align::Right, 0.8),
    ];
    let mut table = Table::new("", &columns);
    for (index, (title, one)) in rows.into_iter().enumerate() {
        table.push([
            (index + 1).to_string(),
            name(title),
            fixed(one.value, decimals),
            fixed(one.u, decimals),
        ]);
    }
    table
}

/// A way of turning in a word.
const fn way(direction: Direction) -> &'static str {
    match direction {
        Direction::Sharp => "sharp",
        Direction::Flat => "flat",
    }
}

fn points(sheet: Sheet<'_>) -> Table {
    let unit = sheet.unit;
    let (load, curve, residual) =
        (format!("Load ({unit})"), format!("By curve ({unit})"), format!("Residual ({unit})"));
    let mut table = Table::new(
        "Points on the square, in the order they were taken",
        &[
            ("No.", Align::Right, 0.45),
            ("Hand at", Align::Left, 1.1),
            ("Way", Align::Left, 0.6),
            ("Leg", Align::Left, 0.5),
            ("Weights", Align::Left, 1.9),
            (&load, Align::Right, 0.95),
            ("Code read", Align::Right, 1.05),
            ("Drift off", Align::Right, 1.05),
            (&curve, Align::Right, 0.95),
            (&residual, Align::Right, 0.95),
        ],
    );
    table.is_dense = true;
    for one in &sheet.record.result.characteristics.points {
        let Some(point) = sheet.record.bench.points.get(one.point) else { continue };
        let Setting::Loaded { position, direction, leg, masses } = &point.setting else {
            continue;
        };
        let leg = match leg {
            Leg::Up => "up",
            Leg::Down => "down",
        };
        table.push([
            (one.point + 1).to_string(),
            sheet.position(*position),
            way(*direction).to_owned(),
            leg.to_owned(),
            sheet.masses(masses),
            signed(sheet.show(one.load_nm), sheet.decimals()),
            fixed(point.mean_code, 1),
            fixed(one.code, 1),
            signed(sheet.show(one.load_nm + one.residual_nm), sheet.decimals()),
            signed(sheet.show(one.residual_nm), sheet.decimals() + 1),
        ]);
    }
    table
}

fn free(sheet: Sheet<'_>) -> Table {
    let mut table = Table::new(
        "Points off the square, for the lever's own weight",
        &[
            ("No.", Align::Right, 0.5),
            ("Gravity along the handle", Align::Right, 1.3),
            ("across it", Align::Right, 1.0),
            ("along the pin", Align::Right, 1.0),
            ("Code read", Align::Right, 1.1),
            ("Lever (°C)", Align::Right, 0.8),
        ],
    );
    table.is_dense = true;
    let points = sheet.record.bench.points.iter().enumerate();
    for (index, point) in points.filter(|(_, point)| point.setting == Setting::Free) {
        let [along, across, pin] = point.force_g.map(|share| signed(share, 3));
        table.push([
            (index + 1).to_string(),
            along,
            across,
            pin,
            fixed(point.mean_code, 1),
            fixed(point.temperature_c, 1),
        ]);
    }
    table
}
