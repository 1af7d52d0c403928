//! The lever on an nRF52840: wiring only. **Not yet run on hardware.**
//!
//! | pin | to |
//! |---|---|
//! | P0.13 P0.14 P0.15 P0.16 | bridge converter: clock, to chip, from chip, select |
//! | P0.17 | bridge converter: data ready, low |
//! | P0.19 P0.20 P0.21 P0.22 | motion sensor: clock, to chip, from chip, select |
//! | P0.23 | motion sensor: first interrupt pin, data ready, high |
//! | P0.06 P0.08 P0.05 P0.07 | link: send, receive, request, clear (921,600 baud) |
//! | P0.11 P0.12 | buttons GO and BACK, to ground |
//! | P0.02 | battery, through a divider |
//! | P0.28 P0.29 P0.30 | lamp: red, green, blue |
//! | P0.31 | beeper |
//!
//! Data-ready edges are counted in hardware; interrupts clear their events, move received bytes to
//! a bounded queue and set flags; the main loop alone decides, in a fixed order
//! (`pinhold_drivers::run`).
//! Deliberately not here: anything about measurement.
//!
//! Invariants: a conversion that was not read in time, or not read right, is reported as missed
//! and never made up; no flash write begins after a power warning; the watchdog is petted by the
//! main loop only, and a panic, a fault and a hang all end in its reset.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod clock;
#[cfg(target_os = "none")]
mod flash;
#[cfg(target_os = "none")]
mod hardware;
#[cfg(target_os = "none")]
mod link;
#[cfg(target_os = "none")]
mod log;
#[cfg(target_os = "none")]
mod supply;

/// On a machine with an operating system there is nothing to run.
#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!(
        "this is firmware for an nRF52840; build it with --target thumbv7em-none-eabihf \
         --profile firmware"
    );
    std::process::exit(2);
}
