//! Statistics of values at places: are neighbours alike, where, how far, and how sure is that?
//!
//! The map's own check: what a field model leaves over is looked at with tools that know nothing
//! of the model ([`check`]). Weights of neighbours ([`weights`]), Moran's I and Geary's C
//! ([`autocorrelation`]), Getis and Ord's local G ([`local_g`]), join counts ([`joins`]),
//! reference distributions by seeded permutation ([`permutation`]), many tests at once
//! ([`many_tests`]), the empirical variogram and its fit ([`variogram`]).
//!
//! Deliberately not here: the field model itself, kriging (its solver serves both), and which
//! loose pins make a zone.

pub mod autocorrelation;
pub mod check;
pub mod joins;
pub mod local_g;
pub mod many_tests;
pub mod permutation;
pub mod variogram;
pub mod weights;

pub use check::{Leftover, ModelCheck, Null, check, leave_one_out_correlation};
pub use weights::Weights;

/// Mean and sum of squares about it, in index order.
fn centre_of(values: &[f64]) -> (f64, f64) {
    let mean = values.iter().fold(0.0, |sum, value| sum + value) / values.len() as f64;
    let squares = values.iter().fold(0.0, |sum, value| sum + (value - mean) * (value - mean));
    (mean, squares)
}
