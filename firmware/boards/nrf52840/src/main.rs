//! The lever on an nRF52840: wiring only. **Not yet run on hardware.**
//!
//! | pin | to |
//! |---|---|
//! | P0.13 P0.14 P0.15 P0.16 | bridge converter: clock, to chip, from chip, select |
//! | P0.17 | bridge converter: data ready, low |
//! | P0.19 P0.20 P0.21 P0.22 | motion sensor: clock, to chip, from chip, select |
//! | P0.06 P0.08 P0.05 P0.07 | link: send, receive, request, clear (921,600 baud) |
//! | P0.28 P0.29 P0.30 | lamp: red, green, blue |
//! | P0.31 | beeper |
//!
//! Interrupts count data-ready edges and move received bytes to a bounded queue; the main loop
//! alone decides, in a fixed order: samples, host's bytes, bytes to the host, lamp, sleep.
//! Deliberately not here: anything about measurement, and persistent memory.
//!
//! Invariants: a conversion that was not read in time, or not read right, is reported as missed
//! and never made up. Without both sensors the lamp turns white and nothing else happens.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod link;
#[cfg(target_os = "none")]
mod sensors;
#[cfg(target_os = "none")]
mod show;

/// On a machine with an operating system there is nothing to run.
#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!(
        "this is firmware for an nRF52840; build it with --target thumbv7em-none-eabihf \
         --profile firmware"
    );
    std::process::exit(2);
}
