//! The physics behind a tuning lever: pin, plank, string, hand and sensors, and whole invented
//! instruments with a hidden fault.
//!
//! - Turn one pin through its friction, at quasi-static balance: [`pin::Pin`].
//! - Let a simulated technician work through a piano at 1 kHz: [`bench::Workbench`].
//! - Hang weights on a lever whose cell has flaws: [`deadweight::DeadWeightBench`].
//! - Invent an instrument whose fault is known only to the inventor: [`piano::Piano::invent`].
//!
//! ```
//! use pinhold_sim::bench::Workbench;
//! use pinhold_sim::hand::{Gesture, Hand};
//! use pinhold_sim::piano::{Fault, Piano, Severity};
//! use pinhold_sim::sensors::{LeverModel, Posture};
//!
//! let piano = Piano::invent(7, Fault::None, Severity::Plain);
//! let lever = LeverModel::ideal(Posture::level_grand());
//! let mut bench = Workbench::new(piano, lever, Hand::default(), 7);
//! bench.seat(0);
//! while !bench.is_idle() {
//!     bench.next_sample();
//! }
//! bench.perform(Gesture::micro_stroke());
//! while !bench.is_idle() {
//!     bench.next_sample();
//! }
//! assert!(bench.truth(0).strokes.len() >= 2);
//! ```
//!
//! Deliberately not here: anything that looks for a stroke or forms a reading. This crate knows
//! no protocol, no firmware core and no host, so that what it says about a pin is independent of
//! the code that measures it.
//!
//! Invariants: everything follows from the seeds given (no clock, no global state); every
//! transcendental function comes from the `libm` crate, so the same seed gives the same bits on
//! every machine; turning sharp is clockwise seen from the pin's head and positive everywhere.
//! All instruments are invented.

pub mod bench;
pub mod cell;
pub mod deadweight;
pub mod friction;
pub mod hand;
pub mod hanging;
pub mod head;
pub mod lever;
pub mod piano;
pub mod pin;
pub mod press_fit;
pub mod rng;
pub mod sensors;
pub mod station;
pub mod torsion;
pub mod wire;

/// Samples per second of the simulated board.
pub const SAMPLE_RATE_HZ: u32 = 1000;
/// Seconds from one sample to the next.
pub const SAMPLE_PERIOD_S: f64 = 0.001;
/// Standard acceleration of gravity, m/s² (exact by definition).
pub const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;
/// Newtons in one pound-force (NIST SP 811).
pub const NEWTON_PER_LBF: f64 = 4.448_221_615_260_5;
/// Newton-metres in one inch-pound-force (NIST SP 811).
pub const NM_PER_INLBF: f64 = 0.0254 * NEWTON_PER_LBF;
