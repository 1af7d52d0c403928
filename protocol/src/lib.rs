//! What the lever and the host say to each other.
//!
//! One crate for both sides: quantities ([`units`]), what a pin's strokes say ([`record`]), what
//! else a record may hold ([`content`]), packed samples ([`block`]), the two tables of messages
//! ([`message`]), their bytes ([`encoding`]) and the frames they travel in ([`frame`]). The formats
//! are written down, with byte examples a test executes, in `spec.md`.
//!
//! Deliberately not here: clocks, ports, retries; those belong to the lever's core and to the
//! host's session.
//!
//! Invariants: never needs `std` to be correct; never allocates; every wire length is checked
//! before it is used; a frame's checksum is checked before its content is looked at.
#![cfg_attr(not(test), no_std)]

pub mod block;
pub mod checksum;
pub mod content;
pub mod division;
pub mod encoding;
pub mod error;
pub mod frame;
pub mod lost;
pub mod message;
pub mod record;
pub mod stuffing;
pub mod units;

/// Protocol version this library speaks; the first byte of every frame.
pub const PROTOCOL_VERSION: u8 = 1;

/// The checksum of frames, records and flash.
pub const CRC32: checksum::Crc32 = checksum::Crc32;
