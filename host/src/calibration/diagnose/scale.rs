//! Arms and masses in the wrong unit, and arms of the wrong length: what the lever shows against
//! the loads typed, position by position.

use super::masses::as_read_kg;
use super::{Loaded, Seen, median};
use crate::calibration::suspicion::Suspicion;

/// A lever of the reference design shows no more than this from the truth, relative: 5 % of class
/// (DER: rated output of the cell, gain of the converter) and as much again.
const DESIGN_TOLERANCE: f64 = 0.10;
/// How near to a mixed-up unit's factor counts as that factor, relative.
const FACTOR_TOLERANCE: f64 = 0.08;
/// Positions of a lever in order agree within this, relative, beside what their arms' uncertainties
/// explain (DER: half width of the class's cross-load).
const POSITION_TOLERANCE: f64 = 0.015;
/// Standard uncertainties of the arms' ratio beside that.
const POSITION_SIGMA: f64 = 4.0;

/// Typed length over true length, by what was mixed up.
const ARM_FACTORS: [(f64, &str); 9] = [
    (10.0, "centimetres instead of millimetres"),
    (0.1, "millimetres instead of centimetres"),
    (100.0, "metres instead of centimetres"),
    (0.01, "centimetres instead of metres"),
    (1000.0, "metres instead of millimetres"),
    (0.001, "millimetres instead of metres"),
    (1.0 / 2.54, "centimetres instead of inches"),
    (2.54, "inches instead of centimetres"),
    (25.4, "inches instead of millimetres"),
];
/// Typed load over true load, where all loads share it.
const LOAD_FACTORS: [(f64, &str); 10] = [
    (10.0, "were the arms typed in centimetres, but measured in millimetres"),
    (0.1, "were the arms typed in millimetres, but measured in centimetres"),
    (100.0, "were the arms typed in metres, but measured in centimetres"),
    (1000.0, "were the masses typed in kilograms that are grams, or the arms in metres"),
    (0.001, "were the masses typed in grams that are kilograms, or the arms in millimetres"),
    (1.0 / 0.453_592_37, "were the masses typed in kilograms that are pounds"),
    (0.453_592_37, "were the masses typed in pounds that are kilograms"),
    (1.0 / 2.54, "were the arms typed in centimetres that are inches"),
    (2.54, "were the arms typed in inches that are centimetres"),
    (9.81, "were forces in newtons typed as masses"),
];

/// What the scale looks like.
pub(super) struct Scale {
    /// Every position shows the wrong sign.
    pub(super) reversed: bool,
    /// The loads are about right, so that finer things can be looked at.
    pub(super) fits: bool,
}

/// Compares positions with the design and with each other.
pub(super) fn scale(seen: &Seen<'_>, found: &mut Vec<Suspicion>) -> Scale {
    let ratios: Vec<(usize, f64)> = (0..seen.bench.positions.len())
        .filter_map(|position| Some((position, ratio_at(&seen.loaded_at(position))?)))
        .collect();
    if !ratios.is_empty() && ratios.iter().all(|(_, ratio)| *ratio < 0.0) {
        found.push(Suspicion::SignReversed);
        return Scale { reversed: true, fits: false };
    }
    let off: Vec<&(usize, f64)> =
        ratios.iter().filter(|(_, ratio)| (ratio - 1.0).abs() > DESIGN_TOLERANCE).collect();
    if off.is_empty() {
        agreement(seen, &ratios, found);
        return Scale { reversed: false, fits: true };
    }
    if masses_explain(seen) {
        return Scale { reversed: false, fits: true };
    }
    // All off alike: one cause. A position of its own: its arm.
    let alike = off.len() == ratios.len() && alike(&ratios);
    if alike {
        let ratio = ratios.iter().map(|(_, ratio)| ratio).sum::<f64>() / ratios.len() as f64;
        found.push(Suspicion::WholeScale { ratio, mixed_up: factor(&LOAD_FACTORS, ratio) });
    } else {
        for (position, ratio) in off {
            let place = &seen.bench.positions[*position];
            let (name, typed_m) = (place.name.clone(), place.arm_m.value);
            let fits_m = typed_m * ratio;
            found.push(match factor(&ARM_FACTORS, *ratio) {
                Some(mixed_up) => Suspicion::ArmUnit { position: name, typed_m, fits_m, mixed_up },
                None => Suspicion::ArmLength { position: name, typed_m, fits_m },
            });
        }
    }
    Scale { reversed: false, fits: false }
}

/// Whether a few wrong masses are all there is: with the others' scale everything fits the design.
fn masses_explain(seen: &Seen<'_>) -> bool {
    let Some(masses_kg) = as_read_kg(seen) else { return false };
    let mut bench = seen.bench.clone();
    for (mass, read_kg) in bench.masses.iter_mut().zip(masses_kg) {
        mass.mass_kg.value = read_kg;
    }
    let read = Seen::of(&bench);
    (0..bench.positions.len())
        .filter_map(|position| ratio_at(&read.loaded_at(position)))
        .all(|ratio| (ratio - 1.0).abs() <= DESIGN_TOLERANCE)
}

/// Torque shown over load typed.
fn ratio_at(points: &[Loaded]) -> Option<f64> {
    median(points.iter().map(|point| point.shown_nm / point.load_nm).collect())
}

fn alike(ratios: &[(usize, f64)]) -> bool {
    let (low, high) = ratios.iter().fold((f64::INFINITY, 0.0_f64), |(low, high), (_, ratio)| {
        (low.min(*ratio), high.max(*ratio))
    });
    low > 0.0 && high / low < 1.0 + FACTOR_TOLERANCE
}

/// What was mixed up, where typed over true is a known factor.
fn factor(factors: &[(f64, &'static str)], ratio: f64) -> Option<&'static str> {
    let near = |(factor, _): &&(f64, &str)| (ratio * factor - 1.0).abs() < FACTOR_TOLERANCE;
    factors.iter().find(near).map(|(_, mixed_up)| *mixed_up)
}

/// Whether positions agree with each other as far as their arms are known.
fn agreement(seen: &Seen<'_>, ratios: &[(usize, f64)], found: &mut Vec<Suspicion>) {
    let arm = |position: usize| seen.bench.positions[position].arm_m;
    for (at, (position, ratio)) in ratios.iter().enumerate() {
        let others = ratios.iter().enumerate().filter(|(other, _)| *other != at);
        let Some(common) = median(others.map(|(_, (_, ratio))| *ratio).collect()) else { continue };
        let relative_u = |position: usize| arm(position).u / arm(position).value;
        let others_u = ratios.iter().map(|(other, _)| relative_u(*other)).fold(0.0, f64::max);
        let limit =
            POSITION_TOLERANCE + POSITION_SIGMA * libm::hypot(relative_u(*position), others_u);
        if (ratio / common - 1.0).abs() <= limit {
            continue;
        }
        // Of two that disagree the one further from the design is named.
        let furthest = ratios.iter().all(|(_, other)| (other - 1.0).abs() <= (ratio - 1.0).abs());
        if ratios.len() > 2 || furthest {
            found.push(Suspicion::ArmLength {
                position: seen.bench.positions[*position].name.clone(),
                typed_m: arm(*position).value,
                fits_m: arm(*position).value * ratio / common,
            });
        }
    }
}
