//! Counts instructions and stack of what the lever does, on QEMU's `mps2-an386`.
//!
//! Run with `-icount shift=6,sleep=off` every instruction takes 64 ns of virtual time, which the
//! system timer counts in ticks of 40 ns. One line for each measurement, `end` behind the last. Not
//! to be run on hardware, where an instruction takes what it takes. Deliberately not here: what is
//! measured ([`pinhold_proof`]), and the limits (the runner's).
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
#[path = "bench/board.rs"]
mod board;
#[cfg(target_os = "none")]
#[path = "bench/cost.rs"]
mod cost;

/// On a machine with an operating system there is nothing to run.
#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!("run it by `cargo xtask instructions`");
    std::process::exit(2);
}
