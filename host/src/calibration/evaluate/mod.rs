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
//!    A straight line keeps e₂ = 0, with the square of what step 1 found for it added to its
//!    variance: a bend too small to be taken off is carried. (A walk of the zero makes the test
//!    readier to find one than its level says; a needless bend costs its own variance and no more.)
//! 6. *Hysteresis*: half the largest h_k over all sets, a rectangle's half width. *Repeatability*:
//!    s. *Place of the hand*: half the spread of the positions' slopes, relative, whole: arms and
//!    hand cannot be told apart, and the arms' part is told beside it.
//! 7. *Zero*: what it moves between two zeros. The squares of its differences between points
//!    without load are taken as a + b·time (a: what comes and goes, as hysteresis; b: a walk); the
//!    uncertainty is the root of that at [`ZERO_INTERVAL_MIN`], or at the longest time seen where
//!    that is shorter. With it the weight moment's own, which an upright's clock positions feel.
//! 8. *Seating*: see [`super::seating`]. Temperature and resolution come from the class.

mod drift;
mod scale;
mod square;
mod zero;

use super::bench::Bench;
use super::characteristics::{
    BendTest, Characteristics, ExpandedResult, HysteresisResult, PositionResult, SeatingResult,
};
use super::diagnose::{LOAD_MAX_NM, diagnose, temperature_range_c};
use super::record::{CalibrationCurve, CalibrationResult, LeverConstants};
use super::seating::seating;
use super::shape::{CalibrationError, check, has_both_legs};
use super::suspicion::Suspicion;
use super::terms::{Basis, Freedom, LeverTerms};
use crate::metrology::least_squares::Fit;
use crate::metrology::propagation::root_sum_of_squares;
use drift::Drift;
use scale::{positions, scale_parts, spread};
use square::{Square, polynomial};
use zero::{Weight, weight, zero_returns_nm, zero_u_nm};

/// Chance of a bend as large in a straight line, below which the curve is quadratic.
pub const BEND_LEVEL: f64 = 0.01;
/// Time between two zeros of a survey, minutes (DER: a check pin every twenty pins or so).
pub const ZERO_INTERVAL_MIN: f64 = 30.0;
/// Distance of hand positions told, in what their arms explain at k = 2 (so at k = 3, our choice).
const APART_FACTOR: f64 = 1.5;
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
    let terms = LeverTerms {
        basis: Basis::Calibration { number: choices.number },
        scale_relative_u: root_sum_of_squares(parts.iter().map(|part| part.relative_u)),
        error_curve: [0.0, 0.0, bend * span],
        error_covariance: drift.error_covariance(span, shared_bend_u, degree),
        repeatability_u_nm: scatter_nm,
        zero_u_nm: libm::hypot(zero_nm, weight.u_nm),
        cross_load_relative_half_width: spread(&positions) / 2.0,
        temperature_c: Some(temperature_range_c(bench)),
        range_nm: Some(square.range_nm()),
        ..terms_of(&drift, &hysteresis, seatings.as_ref())
    };
    let mut remarks: Vec<String> = suspicions.iter().map(Suspicion::to_string).collect();
    remarks.extend(apart(&positions, &terms));
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

/// Terms of hysteresis and seating, what is left out taken from the class; and how well the
/// estimated ones are known.
fn terms_of(
    drift: &Drift,
    hysteresis: &[HysteresisResult],
    seatings: Option<&SeatingResult>,
) -> LeverTerms {
    let class = LeverTerms::class();
    let together = seatings.filter(|seating| seating.person_count > 1);
    LeverTerms {
        hysteresis_half_width_nm: if hysteresis.is_empty() {
            class.hysteresis_half_width_nm
        } else {
            hysteresis.iter().map(|one| one.width_nm.abs() / 2.0).fold(0.0, f64::max)
        },
        seating_relative_u: seatings.map_or(class.seating_relative_u, |s| s.within_relative),
        person_relative_u: together.map_or(class.person_relative_u, |s| s.between_relative),
        freedom: Freedom {
            curve: Some(drift.degrees_of_freedom),
            repeatability: Some(drift.degrees_of_freedom),
            seating: seatings.map(|seating| seating.within_degrees_of_freedom),
            person: together.and_then(|seating| u32::try_from(seating.person_count - 1).ok()),
        },
        ..class
    }
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

/// Hand positions further apart than their arms explain: an arm measured wrongly, or a lever that
/// minds where it is held.
fn apart(positions: &[PositionResult], terms: &LeverTerms) -> Option<String> {
    let half_width = terms.cross_load_relative_half_width;
    // Of half the difference, at k = 2.
    let explained = positions.iter().map(|one| one.relative_u * one.relative_u).sum::<f64>().sqrt();
    (half_width > APART_FACTOR * explained).then(|| {
        format!(
            "hand positions read ± {:.2} % apart and their arms explain ± {:.2} %: measure the \
             arms again, or else the lever minds where it is held; the uncertainty holds it either \
             way",
            100.0 * half_width,
            100.0 * explained
        )
    })
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
        && high < 0.8 * LOAD_MAX_NM
    {
        remarks.push(format!(
            "loads end at {high:.1} N·m: readings beyond are marked; heavier masses or a longer \
             arm reach {} N·m",
            LOAD_MAX_NM
        ));
    }
    remarks
}

fn curve(fit: Fit, drift: &Drift, degree: usize) -> CalibrationCurve {
    let BendTest { f, probability, degrees_of_freedom } = drift.bend;
    let chance =
        if probability < 0.001 { "below 0.001".to_owned() } else { format!("{probability:.3}") };
    let test =
        format!("F = {f:.1} on 1 and {degrees_of_freedom}, chance on a straight line {chance}");
    let degree_reason = if degree == 2 {
        format!("quadratic: a straight line leaves a bend beyond the scatter ({test})")
    } else {
        format!("straight line: the scatter hides any bend ({test})")
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
