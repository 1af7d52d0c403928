//! The part of the emulated board that runs anywhere: the feed's format.
//!
//! The harness on the other end of the feed uses the same definitions. Deliberately not here:
//! registers and interrupts (`main.rs`, bare metal only).
#![cfg_attr(not(test), no_std)]

pub mod feed;
