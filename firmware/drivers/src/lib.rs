//! Sensor drivers over `embedded-hal` 1.0, and the small parts that every board needs beside them.
//!
//! - [x] [`ads1220`]: 24-bit bridge converter over SPI
//! - [x] [`lsm6dso`]: 6-axis motion sensor over SPI
//! - [x] [`bridge`]: converter code to bridge ratio to nameplate torque
//! - [x] [`ring`]: a bounded byte queue between an interrupt and the main loop
//! - [x] [`clock`]: a 32-bit microsecond counter made into one that never wraps
//! - [ ] low-power modes of either sensor
//!
//! A driver is a pure register encoding and decoding plus a thin shell that owns the bus and gives
//! it back. Deliberately not here: calibration, filtering, any judgement of a sample (the lever's
//! core), interrupts and pins other than the bus (the boards).
//!
//! Invariant: no allocation, no clock, no panic; a bus error is returned as it came.
#![cfg_attr(not(test), no_std)]

pub mod ads1220;
pub mod bridge;
pub mod clock;
pub mod lsm6dso;
pub mod ring;

#[cfg(test)]
mod mock;
