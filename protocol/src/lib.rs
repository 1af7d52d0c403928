//! What the lever and the host say to each other.
//!
//! `no_std`, no clock, no I/O. The wire and record formats are written down in `spec.md`.
#![cfg_attr(not(test), no_std)]

pub mod record;
pub mod units;
