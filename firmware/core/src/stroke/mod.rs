//! Strokes: one loading of one pin in one direction.
//!
//! [`finder`] watches bins go by and cuts strokes out of them; [`trace`] holds the bins of the
//! stroke under way in bounded memory; [`analysis`] reads a finished one.
//!
//! Angles: the *coil angle* used throughout is the head angle less the elastic twist of the free
//! part, θ − τ/k, with k the slope of the early ramp. It is what the string feels, and it is what
//! two strokes must be matched at, because the string's moment grows with it.

pub mod analysis;
pub mod finder;
mod mishap;
pub mod trace;

pub use analysis::Found;
pub use finder::{Event, Finder, State};

/// Degrees to radians.
pub(crate) const RAD_PER_DEG: f32 = core::f32::consts::PI / 180.0;

/// Least slip for a running torque, radians: 0.3 degrees.
pub const SLIP_RAD_MIN: f32 = 0.3 * RAD_PER_DEG;
/// Least time in slip for a running torque, milliseconds.
pub const SLIP_MS_MIN: f32 = 300.0;
/// What a measured slip must have beyond the least one, radians: its standard uncertainty from
/// stiffness and gyro is a few hundredths of a degree, and the least slip is a promise (guard band
/// after JCGM 106).
pub const SLIP_RAD_GUARD: f32 = 0.04 * RAD_PER_DEG;
/// The same in time, milliseconds: two bins.
pub const SLIP_MS_GUARD: f32 = 20.0;
/// Lever torque at which the lever warns, N·m (DER: pins twist off at the string hole near 28).
pub const TORQUE_WARN_NM: f32 = 20.0;
/// Lever torque at which the lever says stop, N·m.
pub const TORQUE_STOP_NM: f32 = 25.0;

/// Stiffness of a 7.16 mm steel pin over 25 mm free and part of its embedded length, N·m/rad
/// (DER: G·J/L, G 79.3 GPa); used only where a stroke's own ramp is too short to tell.
pub const NOMINAL_STIFFNESS_NM_PER_RAD: f32 = 620.0;
