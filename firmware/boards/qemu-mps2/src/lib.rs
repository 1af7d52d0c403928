//! The part of the emulated board that runs anywhere: the feed's format, and flash in a file.
//!
//! The harness on the other end of the feed uses the same definitions. Deliberately not here:
//! registers, interrupts and semihosting (`main.rs`, bare metal only).
#![cfg_attr(not(test), no_std)]

pub mod feed;
pub mod flash;
