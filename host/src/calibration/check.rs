//! The quick check before a survey: zero, one dead weight, zero again, against the calibration.
//!
//! Three questions, each answered with its uncertainty after JCGM 106: does the lever read the
//! weight within what it may be off, did the zero come back, and is the zero near the one it was
//! calibrated with (an overloaded cell keeps a lasting shift). A difference is within its limit
//! when it is by a guard band of 1.645 standard uncertainties, beyond it likewise, so that either
//! answer is wrong in at most 5 % of cases at the limit; between the two the check cannot tell,
//! and a lever that cannot be told to be right has not passed.
//!
//! The measurand is the lever's error now. Its uncertainty is that of the load and of reading it;
//! that of the calibration is no part of it, it widens the limit instead. When the weight is one
//! the lever was calibrated with, an error of it is in both and is not seen: that is said.
//!
//! Deliberately not here: the conversation with the lever, and what a failed check means for
//! readings ([`super::standing`]).

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::bench::{Bench, BenchPoint, Setting};
use super::loads::{ACCELEROMETER_U_G, AIR_RELATIVE_U};
use super::record::CalibrationRecord;
use super::standing::CheckFact;
use crate::metrology::Estimate;
use crate::metrology::conformity::{Tolerance, guard_band};

/// Version of the document.
pub const CHECK_VERSION: u32 = 1;
/// Coverage factor of the uncertainties shown.
pub const COVERAGE_FACTOR: f64 = 2.0;
/// Risk of being wrong at the limit, either answer (JCGM 106; our choice).
const GUARD_RISK: f64 = 0.05;
/// What a lever may be off, share of the load: what a calibrated one claims (k = 2).
const LIMIT_RELATIVE: f64 = 0.01;
/// The same for small loads, N·m: 1 % of 3 N·m, the least torque the claim is made for.
const LIMIT_LEAST_NM: f64 = 0.03;
/// Lasting shift of the zero, N·m, from which overload is suspected (DER): 2 % of the 25 N·m the
/// lever is loaded with, well above what temperature does to a cell's zero over 20 kelvin.
const ZERO_LIMIT_NM: f64 = 0.5;
/// Least component of gravity across the handle, share: a tilt of 26 degrees.
const ACROSS_LEAST: f64 = 0.9;
/// Largest distance of the specific force at rest from standard gravity, share (DER).
const FORCE_OFF_MAX: f64 = 0.1;
/// Share of the load from which mass or arm are taken for mistyped rather than the lever for
/// broken (DER): a cell that is off so far does not come back to its zero.
const MISTYPED_SHARE: f64 = 0.2;

/// An answer after JCGM 106.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Answer {
    /// Within its limit beyond doubt.
    Pass,
    /// On neither side beyond doubt.
    CannotTell,
    /// Beyond its limit beyond doubt.
    Fail,
}

impl Answer {
    /// The word in documents.
    pub const fn word(self) -> &'static str {
        match self {
            Answer::Pass => "pass",
            Answer::CannotTell => "cannot-tell",
            Answer::Fail => "fail",
        }
    }
}

/// A difference held against its limit, N·m.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Comparison {
    /// The difference and its standard uncertainty.
    pub difference_nm: Estimate,
    /// What it may be, either way.
    pub limit_nm: f64,
    /// What follows.
    pub answer: Answer,
}

impl Comparison {
    /// Holds a difference against a limit, with the guard band on either side of it.
    pub fn of(difference_nm: Estimate, limit_nm: f64) -> Comparison {
        let Estimate { value, u } = difference_nm;
        let tolerance = Tolerance::between(-limit_nm, limit_nm);
        let guard = guard_band(u, f64::INFINITY, GUARD_RISK);
        let answer = match guard.filter(|guard| (guard + value).is_finite()) {
            Some(guard) if tolerance.guarded(guard).contains(value) => Answer::Pass,
            Some(guard) if !tolerance.guarded(-guard).contains(value) => Answer::Fail,
            _ => Answer::CannotTell,
        };
        Comparison { difference_nm, limit_nm, answer }
    }

    /// Expanded uncertainty of the difference, N·m, k = 2.
    pub fn expanded_u_nm(&self) -> f64 {
        COVERAGE_FACTOR * self.difference_nm.u
    }
}

/// What the check says.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckResult {
    /// Torque of the weight, sharp positive.
    pub load_nm: Estimate,
    /// What the lever read, its error curve taken off, and how well that was read.
    pub read_nm: Estimate,
    /// What was read less what hung there.
    pub weight: Comparison,
    /// The zero after the weight less the one before.
    pub zero_return: Comparison,
    /// The zero less that of the calibration.
    pub zero: Comparison,
    /// The weight is one the lever was calibrated with.
    pub same_weight: bool,
    /// The worst of the three.
    pub answer: Answer,
}

/// A check as it is kept. JSON; fields are only ever added, with a default.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CheckRecord {
    /// [`CHECK_VERSION`].
    pub version: u32,
    /// Version of the program that computed it.
    pub program: String,
    /// Device identity.
    pub lever: u64,
    /// Number of the calibration it was held against.
    pub calibration: u32,
    /// When, milliseconds since 1970-01-01 UTC.
    pub made_ms: i64,
    /// The lever was a simulated one: nothing here is real.
    pub simulated: bool,
    /// What was read: a zero, one mass at one position, a zero.
    pub bench: Bench,
    /// What follows.
    pub result: CheckResult,
}

impl CheckRecord {
    /// Whether it passed; one that could not tell did not.
    pub fn passed(&self) -> bool {
        self.result.answer == Answer::Pass
    }

    /// What it says of the readings beside it.
    pub fn fact(&self) -> CheckFact {
        CheckFact {
            made_ms: self.made_ms,
            calibration: self.calibration,
            answer: self.result.answer,
        }
    }

    /// Lever temperature under the weight, °C.
    pub fn temperature_c(&self) -> Option<f64> {
        self.bench.points.iter().find(|point| is_loaded(point)).map(|point| point.temperature_c)
    }
}

/// Why what was read is no check.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum CheckError {
    /// Not the three readings, or not one mass at one position.
    #[error("a check is a zero, one weight at one place of the handle, and a zero again")]
    Incomplete,
    /// A number that is none, or a mass, arm or gravity that is not positive.
    #[error("mass, arm and gravity must be above zero, and each uncertainty below its value")]
    NoLoad,
    /// The motion sensor says it was not at rest, or is wrong.
    #[error(
        "the motion sensor feels {force_g:.2} times gravity where 1 is at rest: hold the lever \
         still, or have the sensor looked at"
    )]
    NotAtRest {
        /// Specific force, units of standard gravity.
        force_g: f64,
    },
    /// The handle points up or down too far.
    #[error(
        "the handle lies {tilt_deg:.0} degrees off level; turn the square until it is level, then \
         the weight pulls at its whole arm"
    )]
    Tilted {
        /// Off level, degrees.
        tilt_deg: f64,
    },
    /// The lever read the weight the other way round.
    #[error(
        "the lever reads the weight as pulling {read}, its motion sensor says it pulls {said}: is \
         the square turned, the weight hung from below, or the cell wired the wrong way?"
    )]
    WrongWay {
        /// As read by the cell.
        read: &'static str,
        /// As the attitude says.
        said: &'static str,
    },
    /// Far off: mass or arm are not what was said.
    #[error(
        "the lever reads {ratio:.2} times what this mass at this arm gives{}; check both, with \
         their units",
        hint(*ratio)
    )]
    Mistyped {
        /// Read over load.
        ratio: f64,
    },
}

/// Which mistake a ratio looks like.
fn hint(ratio: f64) -> &'static str {
    let known = [
        (10.0, ": centimetres typed as millimetres, or a mass ten times too small?"),
        (0.1, ": millimetres typed as centimetres, or a mass ten times too large?"),
        (25.4, ": inches typed as millimetres?"),
        (2.54, ": inches typed as centimetres?"),
        (1.0 / 2.54, ": centimetres typed as inches?"),
        (0.453_592_37, ": pounds typed as kilograms?"),
        (1.0 / 0.453_592_37, ": kilograms typed as pounds?"),
        (2.0, ": two weights hung where one was typed?"),
        (0.5, ": half the weight hung?"),
    ];
    if ratio.abs() < 0.05 {
        return ": does the weight hang?";
    }
    let near = |known: f64| (ratio / known - 1.0).abs() < 0.05;
    known.iter().find(|(factor, _)| near(*factor)).map_or("", |(_, words)| words)
}

fn is_loaded(point: &BenchPoint) -> bool {
    matches!(&point.setting, Setting::Loaded { masses, .. } if !masses.is_empty())
}

/// Evaluates a check against its calibration. What looks mistyped is refused unless
/// `typed_is_right`.
///
/// # Errors
/// [`CheckError`] when what was read is no check, or says more of what was typed than of the lever.
pub fn evaluate(
    calibration: &CalibrationRecord,
    bench: &Bench,
    typed_is_right: bool,
) -> Result<CheckResult, CheckError> {
    let ([mass], [position], [before, loaded, after]) =
        (&bench.masses[..], &bench.positions[..], &bench.points[..])
    else {
        return Err(CheckError::Incomplete);
    };
    if is_loaded(before) || !is_loaded(loaded) || is_loaded(after) {
        return Err(CheckError::Incomplete);
    }
    let constants = &calibration.result.constants;
    let terms = &calibration.result.terms;
    let span = constants.span_nm_per_count;
    let load = load_nm([mass.mass_kg, position.arm_m, bench.gravity.value_m_s2], loaded)?;
    let drift_nm = span * (after.mean_code - before.mean_code);
    let zero_code = (before.mean_code + after.mean_code) / 2.0;
    let shown_nm = span * (loaded.mean_code - zero_code);
    let [_, e1, e2] = terms.error_curve;
    // The constant of the error curve went with the zero taken beside the weight.
    let read_nm = shown_nm - e1 * shown_nm - e2 * shown_nm * shown_nm;
    let zero_noise = square(noise_nm(before, span)) + square(noise_nm(after, span));
    let read_u = (square(noise_nm(loaded, span))
        + zero_noise / 4.0
        + square(drift_nm) / 12.0
        + square(terms.repeatability_u_nm)
        + square(terms.hysteresis_half_width_nm) / 3.0)
        .sqrt();
    if !typed_is_right {
        refuse_mistyped(read_nm, load.value)?;
    }
    let off = Estimate { value: read_nm - load.value, u: (square(read_u) + square(load.u)).sqrt() };
    let limit_nm = (LIMIT_RELATIVE * load.value.abs())
        .max(LIMIT_LEAST_NM)
        .max(terms.expanded_u_nm(load.value));
    let weight = Comparison::of(off, limit_nm);
    let returned = Estimate { value: drift_nm, u: zero_noise.sqrt() };
    let zero_return = Comparison::of(returned, limit_nm);
    let zero_off = Estimate {
        value: span * (before.mean_code - constants.zero_code),
        u: (square(noise_nm(before, span)) + square(terms.zero_u_nm)).sqrt(),
    };
    let zero = Comparison::of(zero_off, ZERO_LIMIT_NM);
    let same_weight = calibration.bench.masses.iter().any(|known| known.mass_kg == mass.mass_kg)
        && calibration.bench.positions.iter().any(|known| known.arm_m == position.arm_m);
    let answer = worst([weight.answer, zero_return.answer, zero.answer]);
    let read_nm = Estimate { value: read_nm, u: read_u };
    Ok(CheckResult { load_nm: load, read_nm, weight, zero_return, zero, same_weight, answer })
}

fn worst(answers: [Answer; 3]) -> Answer {
    if answers.contains(&Answer::Fail) {
        Answer::Fail
    } else if answers.contains(&Answer::CannotTell) {
        Answer::CannotTell
    } else {
        Answer::Pass
    }
}

/// Share of gravity across the handle, sharp positive.
///
/// # Errors
/// [`CheckError::NotAtRest`] and [`CheckError::Tilted`]: where no weight should be hung.
pub fn across(point: &BenchPoint) -> Result<f64, CheckError> {
    let force_g = point.force_g.iter().map(|part| part * part).sum::<f64>().sqrt();
    // A force that is no number is outside too.
    if !(1.0 - FORCE_OFF_MAX..=1.0 + FORCE_OFF_MAX).contains(&force_g) {
        return Err(CheckError::NotAtRest { force_g });
    }
    let across = point.force_g[1] / force_g;
    if across.abs() < ACROSS_LEAST {
        return Err(CheckError::Tilted { tilt_deg: libm::acos(across.abs()).to_degrees() });
    }
    Ok(across)
}

/// Torque of the weight, sharp positive: m·g·arm times the share of gravity across the handle, as
/// the bench of a calibration takes it.
fn load_nm(parts: [Estimate; 3], loaded: &BenchPoint) -> Result<Estimate, CheckError> {
    let fit = |part: &Estimate| part.value.is_finite() && part.u >= 0.0 && part.u < part.value;
    if !parts.iter().all(fit) {
        return Err(CheckError::NoLoad);
    }
    let across = across(loaded)?;
    let value = parts.iter().fold(across, |product, part| product * part.value);
    let relative = parts.iter().map(|part| square(part.u / part.value)).sum::<f64>();
    // An error of the sensor is one of the tilt. The cosine is flat on top: the second order
    // counts where the handle lies level.
    let along = (1.0 - across * across).max(0.0);
    let tilt = along * square(ACCELEROMETER_U_G) / (across * across)
        + square(square(ACCELEROMETER_U_G)) / 2.0;
    Ok(Estimate { value, u: value.abs() * (relative + tilt + square(AIR_RELATIVE_U)).sqrt() })
}

/// Standard uncertainty of a settled mean from its own scatter, N·m.
fn noise_nm(point: &BenchPoint, span_nm_per_count: f64) -> f64 {
    (span_nm_per_count * point.code_sd).abs() / f64::from(point.sample_count.max(1)).sqrt()
}

/// Refuses what says more of the words typed than of the lever.
fn refuse_mistyped(read_nm: f64, load_nm: f64) -> Result<(), CheckError> {
    let ratio = read_nm / load_nm;
    let way = |torque_nm: f64| if torque_nm > 0.0 { "sharp" } else { "flat" };
    if ratio < -MISTYPED_SHARE {
        return Err(CheckError::WrongWay { read: way(read_nm), said: way(load_nm) });
    }
    if !(1.0 - MISTYPED_SHARE..=1.0 + MISTYPED_SHARE).contains(&ratio) {
        return Err(CheckError::Mistyped { ratio });
    }
    Ok(())
}

fn square(value: f64) -> f64 {
    value * value
}
