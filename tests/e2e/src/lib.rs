//! The harness around the emulated lever: the firmware's ELF under QEMU, a simulated technician on
//! its sensor feed, and the native core to compare with.
//!
//! - [`ambush`]: kills in the middle of a write.
//! - [`build`]: makes the ELF and the host binary.
//! - [`emulator`]: starts and stops QEMU, resets it, and speaks the feed.
//! - [`technician`]: turns pins as the lamp asks.
//! - [`cable`]: a port that can be pulled and plugged in again.
//! - [`campaign`]: kills, resets and cuts at random moments while a survey is taken.
//! - [`host`]: the real binary.
//! - [`ledger`]: what was accepted, what the flash holds and what the store has.
//! - [`recording`]: everything the emulated core was handed, and the native core handed the same.
//!
//! Deliberately not here: the tests (`tests/`), and anything the lever or the host does.
//!
//! Invariants: every wait has a wall-clock limit; a child process does not outlive its owner; what
//! counts is what was printed or answered, never that a process ended in time.

pub mod ambush;
pub mod build;
pub mod cable;
pub mod campaign;
pub mod emulator;
pub mod host;
pub mod ledger;
pub mod process;
mod qmp;
pub mod recording;
pub mod technician;

/// What goes wrong in the harness, in words for the person reading the test's output.
pub type Result<T> = std::result::Result<T, Box<dyn std::error::Error + Send + Sync>>;
