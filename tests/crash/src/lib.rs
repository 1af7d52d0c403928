//! What a disk may make of writes when the power fails: everything the store writes is recorded on
//! its way to the system, and files are made as they could be found after a cut at any moment.
//!
//! - [`recorder`]: SQLite's own file system with a log before it.
//! - [`replay`]: the log, cut, and what of the writes not yet synchronised is lost, reordered or
//!   torn at a sector.
//!
//! Deliberately not here: the tests (`tests/`), and a process that is killed while its system goes
//! on, which loses no write (the host's tests kill it).
//!
//! Invariants: what was synchronised is never taken away; of the rest anything may be; a seed gives
//! the same files again.

pub mod recorder;
pub mod replay;
