//! The lever on QEMU's `mps2-an386`, an emulated Cortex-M4 with floating point: wiring only.
//!
//! UART0 is the link to the host, UART1 the sensor feed (see `pinhold_board_qemu::feed`).
//! Interrupts move bytes to and from bounded queues; the main loop alone decides, in a fixed order:
//! host's bytes, feed, bytes to the host, sleep. Readings are kept in flash, which is a file in the
//! folder the emulator runs in (see `pinhold_board_qemu::flash`). Deliberately not here: a lamp, a
//! clock: time is the samples.
//!
//! Invariants: nothing is dropped. A full queue stops its UART, and an input is handed to the core
//! only when there is room to log it. The core's `step` is called from one place.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[cfg(target_os = "none")]
mod board;
#[cfg(target_os = "none")]
mod semihosting;
#[cfg(target_os = "none")]
mod uart;

/// On a machine with an operating system there is nothing to run.
#[cfg(not(target_os = "none"))]
fn main() {
    eprintln!(
        "this is firmware for an emulated board; build it with --target thumbv7em-none-eabihf \
         --profile firmware, or let `cargo xtask e2e` do so"
    );
    std::process::exit(2);
}
