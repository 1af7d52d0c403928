//! Whether a bench has what a calibration needs, and nothing impossible in it.
//!
//! Deliberately not here: whether what it has makes sense ([`super::diagnose`]).

use pinhold_protocol::record::Direction;
use thiserror::Error;

use super::bench::{Bench, BenchPoint, Leg, MASS_COUNT_MAX, Setting};
use super::loads::{self, Shared};
use super::suspicion::{Suspicion, direction_word, shown};
use crate::metrology::Estimate;
use crate::metrology::least_squares::FitError;

/// Points of a bench at most.
pub const POINT_COUNT_MAX: usize = 1_000;
/// Hand positions at most.
pub const POSITION_COUNT_MAX: usize = 6;
/// Hand positions at least.
pub const POSITION_COUNT_MIN: usize = 2;
/// Different loads in each direction at each position at least, beside none.
pub const LOAD_COUNT_MIN: usize = 3;
/// Two attitudes off the square differ at least by this across the handle, units of gravity.
const FREE_SPREAD_MIN_G: f64 = 0.5;
/// Loads nearer to each other than this share are one load.
const SAME_LOAD: f64 = 0.01;

/// Why no calibration can be made of a bench.
#[derive(Clone, Debug, PartialEq, Error)]
#[non_exhaustive]
pub enum CalibrationError {
    /// Too many masses.
    #[error("{count} masses are more than the {MASS_COUNT_MAX} a calibration takes")]
    TooManyMasses {
        /// How many.
        count: usize,
    },
    /// Too few or too many hand positions.
    #[error(
        "{count} hand positions with weights: a calibration takes {POSITION_COUNT_MIN} to \
         {POSITION_COUNT_MAX}, so that the place of the hand can be told from the arm's length"
    )]
    Positions {
        /// How many with loads.
        count: usize,
    },
    /// Too many points.
    #[error("{count} points are more than {POINT_COUNT_MAX}")]
    TooManyPoints {
        /// How many.
        count: usize,
    },
    /// A number that cannot be.
    #[error("{what} is no possible value")]
    Impossible {
        /// Of what.
        what: String,
    },
    /// A point names a mass or position that is not there.
    #[error("point {number} names a mass or hand position that is not listed, or a mass twice")]
    NoSuchPart {
        /// From 1.
        number: usize,
    },
    /// A position lacks loads in a direction.
    #[error(
        "too few loads at position '{position}' {direction}: {count} different ones, and at least \
         {LOAD_COUNT_MIN} are needed, not counting the lever without load"
    )]
    TooFewLoads {
        /// Name of the position.
        position: String,
        /// Direction.
        direction: &'static str,
        /// Different loads there.
        count: usize,
    },
    /// No point without load.
    #[error("no point without load on the square: nothing says where the zero is")]
    NoZero,
    /// The weight of the lever is not measured.
    #[error(
        "the lever's own weight was not measured: hold it still off the square by the handle, \
         level to the right and level to the left"
    )]
    NoFree,
    /// Something looks wrong.
    #[error("{}", sentences(.found))]
    Suspect {
        /// What, the gravest explanation first; at least one is grave.
        found: Vec<Suspicion>,
    },
    /// The points do not determine a curve.
    #[error("no curve can be laid through the points: {0}")]
    Fit(#[from] FitError),
}

fn sentences(found: &[Suspicion]) -> String {
    found.iter().map(Suspicion::to_string).collect::<Vec<_>>().join("\n")
}

/// Checks a bench's form.
///
/// # Errors
/// The first thing that is missing or cannot be.
pub fn check(bench: &Bench) -> Result<(), CalibrationError> {
    if bench.masses.len() > MASS_COUNT_MAX {
        return Err(CalibrationError::TooManyMasses { count: bench.masses.len() });
    }
    if !(POSITION_COUNT_MIN..=POSITION_COUNT_MAX).contains(&bench.positions.len()) {
        return Err(CalibrationError::Positions { count: bench.positions.len() });
    }
    if bench.points.len() > POINT_COUNT_MAX {
        return Err(CalibrationError::TooManyPoints { count: bench.points.len() });
    }
    check_parts(bench)?;
    for (index, point) in bench.points.iter().enumerate() {
        check_point(bench, index, point)?;
    }
    check_loads(bench)?;
    if !bench.points.iter().any(loads::is_empty) {
        return Err(CalibrationError::NoZero);
    }
    let free = bench.points.iter().filter(|point| point.setting == Setting::Free);
    let across = free.map(|point| point.force_g[1]);
    let (low, high) =
        across.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), g| (low.min(g), high.max(g)));
    if high - low < FREE_SPREAD_MIN_G || !(high - low).is_finite() {
        return Err(CalibrationError::NoFree);
    }
    Ok(())
}

fn check_parts(bench: &Bench) -> Result<(), CalibrationError> {
    let above_zero = |estimate: Estimate, what: &dyn Fn() -> String| {
        let good = estimate.value.is_finite()
            && estimate.value > 0.0
            && estimate.u.is_finite()
            && estimate.u >= 0.0;
        if good { Ok(()) } else { Err(CalibrationError::Impossible { what: what() }) }
    };
    for mass in &bench.masses {
        above_zero(mass.mass_kg, &|| format!("the mass of '{}'", shown(&mass.name)))?;
    }
    for position in &bench.positions {
        above_zero(position.arm_m, &|| format!("the arm of '{}'", shown(&position.name)))?;
    }
    above_zero(bench.gravity.value_m_s2, &|| "gravity".to_owned())
}

fn check_point(bench: &Bench, index: usize, point: &BenchPoint) -> Result<(), CalibrationError> {
    let number = index + 1;
    let values = [point.mean_code, point.code_sd, point.temperature_c];
    let finite = values.iter().chain(&point.force_g).all(|value| value.is_finite());
    if !finite || point.code_sd < 0.0 || point.sample_count == 0 {
        return Err(CalibrationError::Impossible { what: format!("a value of point {number}") });
    }
    if let Setting::Loaded { position, masses, .. } = &point.setting {
        let mut sorted = masses.clone();
        sorted.sort_unstable();
        sorted.dedup();
        let known = masses.iter().all(|mass| *mass < bench.masses.len());
        if !known || sorted.len() != masses.len() || *position >= bench.positions.len() {
            return Err(CalibrationError::NoSuchPart { number });
        }
    }
    Ok(())
}

/// Different loads each way at each position that is used, and enough positions that are.
fn check_loads(bench: &Bench) -> Result<(), CalibrationError> {
    let shared = Shared::of(bench);
    let mut used_count = 0;
    for (index, position) in bench.positions.iter().enumerate() {
        let here = bench.points.iter().filter(|point| match &point.setting {
            Setting::Loaded { position, masses, .. } => *position == index && !masses.is_empty(),
            Setting::Free => false,
        });
        let here: Vec<&BenchPoint> = here.collect();
        if here.is_empty() {
            continue;
        }
        used_count += 1;
        for wanted in [Direction::Sharp, Direction::Flat] {
            let masses = here.iter().filter_map(|point| match &point.setting {
                Setting::Loaded { direction, masses, .. } if *direction == wanted => {
                    Some(shared.hung_kg(masses))
                }
                _ => None,
            });
            let count = distinct(masses.collect());
            if count < LOAD_COUNT_MIN {
                let position = shown(&position.name);
                let direction = direction_word(wanted);
                return Err(CalibrationError::TooFewLoads { position, direction, count });
            }
        }
    }
    if used_count < POSITION_COUNT_MIN {
        return Err(CalibrationError::Positions { count: used_count });
    }
    Ok(())
}

/// How many loads differ.
fn distinct(mut loads: Vec<f64>) -> usize {
    loads.sort_by(f64::total_cmp);
    let mut count = 0;
    let mut last = f64::NEG_INFINITY;
    for load in loads {
        if load > last * (1.0 + SAME_LOAD) || count == 0 {
            count += 1;
            last = load;
        }
    }
    count
}

/// Whether a bench has points on the way down as well as up.
pub(super) fn has_both_legs(bench: &Bench) -> bool {
    let has = |wanted: Leg| {
        bench.points.iter().any(|point| match &point.setting {
            Setting::Loaded { leg, masses, .. } => *leg == wanted && !masses.is_empty(),
            Setting::Free => false,
        })
    };
    has(Leg::Up) && has(Leg::Down)
}
