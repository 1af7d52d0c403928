//! A lever's calibration: what was hung on it, what it said, what follows, and for how long.
//!
//! The way through: [`bench`] holds what was done with dead weights; [`shape`] asks whether that is
//! enough, [`diagnose()`] whether it makes sense ([`suspicion`] has the sentences), [`evaluate()`]
//! makes constants, curve and terms of it; [`characteristics`] holds what it showed beside,
//! [`record`] the whole calibration as it is kept, [`terms`] what a reading's budget takes from
//! it, [`mark`] why a reading's lever is to be doubted, [`check`] the quick check between
//! calibrations; [`standing`] gives each reading its terms and marks; [`procedure`] leads a person
//! through a bench, [`facts`] is what its record says beside, [`seating_set`] leads several people
//! through pins seated anew, [`practice`] stands in for lever and weights. Deliberately not here:
//! the conversation with the lever, and where records are kept.
//!
//! The model, as the lever's core has it: torque on the pin = span · (code − zero) + weight
//! moment · f_y, sharp positive, f_y the specific force across the handle in units of standard
//! gravity. The cell feels the hand alone: a load hung on the handle while the head sits on a
//! fixed square moves the code by load / span; off the square the hand carries the lever, and the
//! code moves by −weight moment · f_y / span.

pub mod bench;
pub mod characteristics;
pub mod check;
pub mod diagnose;
pub mod evaluate;
pub mod facts;
pub mod load_table;
pub mod loads;
pub mod mark;
pub mod plan;
pub mod possible;
pub mod practice;
pub mod procedure;
pub mod record;
pub mod seating;
pub mod seating_set;
pub mod shape;
pub mod standing;
pub mod suspicion;
pub mod terms;

#[cfg(test)]
mod check_tests;
#[cfg(test)]
mod diagnose_tests;
#[cfg(test)]
mod evaluate_tests;
#[cfg(test)]
mod procedure_tests;
#[cfg(test)]
mod standing_tests;
#[cfg(test)]
pub(crate) mod test_benches;

pub use diagnose::diagnose;
pub use evaluate::{Choices, evaluate};
pub use shape::CalibrationError;
