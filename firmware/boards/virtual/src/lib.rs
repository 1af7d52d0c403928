//! A lever with no hardware: the firmware core and a simulated technician at a simulated piano,
//! behind a port.
//!
//! Used by the demo, for practice and by the tests. The technician in it knows what a person would
//! know: which pin the lever asks for and what the lamp says. [`Practice`] is the whole of it,
//! stepped by samples; [`weights`] is a lever on the calibration bench instead. [`serve`] puts
//! either on a port; [`pipe`] is a port within one process, and on
//! Unix [`pty`] a real pseudo-terminal.
//!
//! Deliberately not here: measurement (the core) and physics (the simulator).

pub mod chip;
pub mod pipe;
pub mod practice;
#[cfg(unix)]
pub mod pty;
pub mod serve;
mod thumb;
pub mod weights;

pub use practice::{AlonePractice, Practice, Setup};
pub use serve::{Pace, Served, serve};
pub use weights::{BenchHands, BenchPractice, BenchSetup, Placing};
