//! Firmware core and protocol with nothing else: every entry called, in a form that shows what is
//! reachable and what it costs.
//!
//! `panic_free` links only when no panic is reachable from any entry. `bench` runs on the emulated
//! board and counts instructions and stack. Deliberately not here: whether results are right (the
//! crates' own tests).
//!
//! Invariant: nothing in this library can panic, or the proof would be of this library.
#![no_std]

pub mod entries;
pub mod flash;
