//! A flash that tears, wears and rots, and the record log held against a model in it.
//!
//! [`flash`] is NOR memory as data sheets allow it to behave; [`bench`] drives a log in it through
//! power cuts and compares it, cold after every step, with what was acknowledged; [`history`] makes
//! up what happens from a seed.
//!
//! Deliberately not here: the log itself, and anything of a real chip's timing.
//!
//! Invariant: the same seed gives the same history.

pub mod bench;
pub mod flash;
pub mod history;
pub mod random;
