//! Sensor drivers over `embedded-hal` 1.0, and the small parts that every board needs beside them.
//!
//! - [x] [`ads1220`]: 24-bit bridge converter over SPI
//! - [x] [`lsm6dso`]: 6-axis motion sensor over SPI
//! - [x] [`bridge`]: converter code to bridge ratio to nameplate torque
//! - [x] [`ring`]: a bounded byte queue between an interrupt and the main loop
//! - [x] [`clock`]: a 32-bit microsecond counter made into one that never wraps
//! - [x] [`sensors`]: both sensors together, their start, sleep and wire-break test
//! - [x] [`pump`]: from data-ready counts to the core's inputs
//! - [x] [`lamp`]: from the core's signals to colours over time
//! - [x] [`supply`]: arithmetic of battery and supply
//! - [x] [`panel`]: lamp, beeper and buttons on six pins
//! - [x] [`start`]: what every board finds out first
//! - [x] [`run`]: the main loop, over what a board brings
//! - [x] [`design`]: the numbers of the parts list
//! - [ ] temperature of the bridge itself: that of the motion sensor stands in
//!
//! A driver is a pure register encoding and decoding plus a thin shell that owns the bus and gives
//! it back. The modules from [`sensors`] on know the core's types, so that the next board need not
//! repeat them. Deliberately not here: calibration, filtering, any judgement of a sample (the
//! lever's core), interrupts and pins other than the bus (the boards).
//!
//! Invariant: no allocation, no clock, no panic; a bus error is returned as it came.
#![cfg_attr(not(test), no_std)]

pub mod ads1220;
pub mod bridge;
pub mod clock;
pub mod design;
pub mod lamp;
pub mod lsm6dso;
pub mod panel;
pub mod pump;
pub mod ring;
pub mod run;
pub mod sensors;
pub mod start;
pub mod supply;

#[cfg(test)]
mod mock;
