//! The pin field's mathematics: pure functions from readings to a verdict.
//!
//! Invariant: nothing here opens a file, a port or a database, and every transcendental function
//! comes from the `libm` crate, so that results are the same bits on every machine.

pub mod input;
