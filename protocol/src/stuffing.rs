//! Byte stuffing (COBS): a form of any bytes that has no zero in it.
//!
//! After S. Cheshire & M. Baker, *Consistent Overhead Byte Stuffing*, IEEE/ACM Trans. Networking 7
//! (1999). Written out here, because the `cobs` crate leaves panic paths in the firmware; that
//! crate is the tests' oracle. Deliberately not here: the delimiter ([`crate::frame`]).
//!
//! Invariant: a full group of 254 bytes at the very end is not followed by an empty group;
//! [`unstuff`] accepts both forms.

use core::cell::Cell;

use crate::error::{DecodeError, EncodeError};

/// Longest stuffed form of `plain_len` bytes: one code byte per 254 bytes begun.
pub const fn stuffed_bytes_max(plain_len: usize) -> usize {
    plain_len + plain_len / 254 + 1
}

/// Stuffs `source` into `destination`; returns the stuffed length in bytes.
///
/// # Errors
/// [`EncodeError`] when `destination` is too short; [`stuffed_bytes_max`] is always enough.
pub fn stuff(source: &[u8], destination: &mut [u8]) -> Result<usize, EncodeError> {
    let capacity = destination.len();
    let mut slots = destination.iter_mut();
    let mut code_slot = slots.next().ok_or(EncodeError)?;
    let mut code = 1u8;
    for byte in source {
        if code == 0xFF {
            *code_slot = code;
            code_slot = slots.next().ok_or(EncodeError)?;
            code = 1;
        }
        let slot = slots.next().ok_or(EncodeError)?;
        if *byte == 0 {
            *code_slot = code;
            code_slot = slot;
            code = 1;
        } else {
            *slot = *byte;
            code += 1;
        }
    }
    *code_slot = code;
    Ok(capacity - slots.len())
}

/// Undoes the stuffing in place; returns the plain length in bytes.
///
/// # Errors
/// [`DecodeError::Framing`] for a zero anywhere, and for a code that points behind the end.
pub fn unstuff(bytes: &mut [u8]) -> Result<usize, DecodeError> {
    // The plain bytes never overtake the stuffed ones, so both live in one slice of cells.
    let cells = Cell::from_mut(bytes).as_slice_of_cells();
    let mut source = cells.iter();
    let mut slots = cells.iter();
    while let Some(code) = source.next() {
        let code = code.get();
        if code == 0 {
            return Err(DecodeError::Framing);
        }
        for _ in 1..code {
            let byte = source.next().ok_or(DecodeError::Framing)?.get();
            if byte == 0 {
                return Err(DecodeError::Framing);
            }
            slots.next().ok_or(DecodeError::Framing)?.set(byte);
        }
        if code != 0xFF && source.len() > 0 {
            slots.next().ok_or(DecodeError::Framing)?.set(0);
        }
    }
    Ok(cells.len() - slots.len())
}
