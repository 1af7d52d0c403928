//! Step 4 of the evaluation: what masses, arms, gravity and tilt share out to the scale, and the
//! hand positions beside each other.

use super::drift::Drift;
use super::square::{Square, polynomial};
use crate::calibration::CalibrationError;
use crate::calibration::bench::Bench;
use crate::calibration::characteristics::{PositionResult, ScalePart};
use crate::calibration::loads::{AIR_RELATIVE_U, Group, Shared};
use crate::metrology::least_squares::Fit;

/// Each shared input's part of the scale by group, and what they do to e₂ together.
pub(super) fn scale_parts(
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
pub(super) fn positions(bench: &Bench, drift: &Drift, span: f64) -> Vec<PositionResult> {
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

pub(super) fn spread(positions: &[PositionResult]) -> f64 {
    let differences = positions.iter().map(|position| position.relative_difference);
    let (low, high) = differences
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), d| (low.min(d), high.max(d)));
    (high - low).max(0.0)
}
