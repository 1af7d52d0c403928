//! The host's side of the link.
//!
//! [`session`] is the conversation itself, without ports or clocks; [`port`] opens what carries
//! it; [`pump`] moves bytes between the two.
//!
//! Invariant: a commit is only ever sent for records the caller has said are on its disk.

pub mod port;
pub mod pump;
pub mod session;
