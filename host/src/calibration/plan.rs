//! The steps of a bench: what is to hang where, from masses, arms and gravity alone.
//!
//! Invariant: no step loads the lever beyond [`LOAD_MAX_NM`], a rounding apart.

use pinhold_protocol::record::Direction;
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::bench::{Gravity, HandPosition, Leg, MASS_COUNT_MAX, Mass, Setting};
use super::diagnose::LOAD_MAX_NM;
use super::shape::{LOAD_COUNT_MIN, POSITION_COUNT_MAX, POSITION_COUNT_MIN};
use super::suspicion::shown;

/// What is known before anything is read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Setup {
    /// Dead weights in the order they are put on.
    pub masses: Vec<Mass>,
    /// Hand positions.
    pub positions: Vec<HandPosition>,
    /// Local gravity.
    pub gravity: Gravity,
}

/// Why no plan can be made.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum PlanError {
    /// Not enough masses, or too many.
    #[error("{count} masses: a calibration takes {LOAD_COUNT_MIN} to {}", MASS_COUNT_MAX)]
    Masses {
        /// How many.
        count: usize,
    },
    /// Not enough arms, or too many.
    #[error("{count} arms: a calibration takes {POSITION_COUNT_MIN} to {POSITION_COUNT_MAX}")]
    Arms {
        /// How many.
        count: usize,
    },
    /// The masses are too heavy for an arm.
    #[error(
        "at position '{position}' the first {LOAD_COUNT_MIN} masses already give {load_nm:.1} N·m, \
         and the lever must not be loaded beyond {LOAD_MAX_NM} N·m; use lighter masses or check \
         the units"
    )]
    TooHeavy {
        /// Name of the position.
        position: String,
        /// What they would give.
        load_nm: f64,
    },
    /// The masses are too light to say anything.
    #[error(
        "all masses together give {load_nm:.2} N·m at position '{position}', less than the \
         lightest pin; use heavier masses or check the units"
    )]
    TooLight {
        /// Name of the position.
        position: String,
        /// What they give.
        load_nm: f64,
    },
    /// The file is of something else, or of another setup.
    #[error("{what}")]
    NotThis {
        /// In what it differs.
        what: &'static str,
    },
}

/// All masses together give at least this, N·m: the lower limit of the trade's "failing" pins.
const LOAD_LEAST_NM: f64 = 3.0;

/// One thing to do and read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Step {
    /// How the lever is to be.
    pub setting: Setting,
    /// Way the handle points: sharp means to the right, seen from the head's side.
    pub side: Direction,
    /// The load by what was typed, N·m, a size.
    pub load_nm: f64,
}

/// The steps of a setup.
///
/// # Errors
/// [`PlanError`].
pub fn plan(setup: &Setup) -> Result<Vec<Step>, PlanError> {
    let Setup { masses, positions, gravity } = setup;
    if !(LOAD_COUNT_MIN..=MASS_COUNT_MAX).contains(&masses.len()) {
        return Err(PlanError::Masses { count: masses.len() });
    }
    if !(POSITION_COUNT_MIN..=POSITION_COUNT_MAX).contains(&positions.len()) {
        return Err(PlanError::Arms { count: positions.len() });
    }
    let free = [Direction::Sharp, Direction::Flat].map(|side| Step {
        setting: Setting::Free,
        side,
        load_nm: 0.0,
    });
    let mut steps: Vec<Step> = free.to_vec();
    for (at, position) in positions.iter().enumerate() {
        // One gram more is no reason to leave a weight at home: a rounding is let through.
        let limit_nm = LOAD_MAX_NM * 1.02;
        let mut loads_nm = vec![0.0];
        for mass in masses {
            let last = loads_nm.last().copied().unwrap_or(0.0);
            let next = last + mass.mass_kg.value * position.arm_m.value * gravity.value_m_s2.value;
            if next > limit_nm {
                if loads_nm.len() <= LOAD_COUNT_MIN {
                    let position = shown(&position.name);
                    return Err(PlanError::TooHeavy { position, load_nm: next });
                }
                break;
            }
            loads_nm.push(next);
        }
        let highest = loads_nm.last().copied().unwrap_or(0.0);
        if highest < LOAD_LEAST_NM {
            let position = shown(&position.name);
            return Err(PlanError::TooLight { position, load_nm: highest });
        }
        let count = loads_nm.len();
        for side in [Direction::Sharp, Direction::Flat] {
            let up = (0..count).map(|hung| (Leg::Up, hung));
            let down = (0..count - 1).rev().map(|hung| (Leg::Down, hung));
            steps.extend(up.chain(down).map(|(leg, hung)| Step {
                setting: Setting::Loaded {
                    position: at,
                    direction: side,
                    leg,
                    masses: (0..hung).collect(),
                },
                side,
                load_nm: loads_nm[hung],
            }));
        }
    }
    steps.extend(free);
    Ok(steps)
}
