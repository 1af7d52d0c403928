//! The pin field's mathematics: pure functions from readings to a verdict.
//!
//! The way through: readings and places are joined (`survey`), each pin gets a band (`band`), a
//! field that a sound plank would have is fitted (`field`), pins loose together are found
//! (`zones`), and states of the plank are weighed on all evidence (`verdict`).
//!
//! Invariant: nothing here opens a file, a port or a database, and every transcendental function
//! comes from the `libm` crate, so that results are the same bits on every machine.

mod assessment;
pub mod band;
pub mod budget;
pub mod decision;
pub mod field;
pub mod gain;
pub mod gp;
pub mod history;
pub mod input;
pub mod linalg;
pub mod profile;
pub mod profile_file;
pub mod pulls;
pub mod random;
pub mod readings;
pub mod sampling;
pub mod scan;
pub mod scatter;
pub mod spatial;
pub mod stats;
pub mod survey;
pub mod verdict;
pub mod zones;

#[cfg(test)]
mod assessment_tests;
#[cfg(test)]
pub(crate) mod test_planks;

pub use assessment::{
    Assessment, AssessmentInput, BOOTSTRAP_SEED, FieldEstimate, FieldPoint, PinResult,
    SectionStatistics, Statistics, assess,
};
pub use band::Band;
pub use field::{FieldGrid, GridCell, PinStanding, PlankField};
pub use profile::{Grade, Profile};
pub use pulls::Pulls;
pub use verdict::{Remedy, RemedyKind, Verdict};
pub use zones::{LikelyReading, Zone, ZoneShape};
