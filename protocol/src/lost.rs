//! What stands in a log for a record that cannot be read: a loss is a record, never a gap.
//!
//! A lost record is made up when it is asked for, always with the same bytes. Its chain value is
//! the one the true record had, as far as the log knows it, so that a host that had pulled the
//! true record before it was lost goes on as if nothing had happened.
//!
//! It stands for a record that was kept and rotted, and for one whose writing a power cut tore: of
//! the last record before a cut nobody can tell which of the two it was.
//!
//! Deliberately not here: how a loss is noticed (the lever's log).

use crate::error::DecodeError;
use crate::record::{chain_next, record_checksum};

/// Version byte of a lost record.
pub const LOST_VERSION: u8 = 0;
/// Length of a lost record: version byte and chain value.
pub const LOST_BYTES: usize = 5;

/// The record of a loss; `chain` is the chain value behind it.
pub fn encode_lost(chain: u32) -> [u8; LOST_BYTES] {
    let [a, b, c, d] = chain.to_le_bytes();
    [LOST_VERSION, a, b, c, d]
}

/// Reads the record of a loss: the chain value behind it.
///
/// # Errors
/// [`DecodeError::Version`] for any other record, [`DecodeError::Content`] for one cut short,
/// [`DecodeError::TrailingBytes`] for a longer one.
pub fn decode_lost(bytes: &[u8]) -> Result<u32, DecodeError> {
    match *bytes {
        [LOST_VERSION, a, b, c, d] => Ok(u32::from_le_bytes([a, b, c, d])),
        [LOST_VERSION, _, _, _, _, _, ..] => Err(DecodeError::TrailingBytes),
        [LOST_VERSION, ..] | [] => Err(DecodeError::Content),
        [version, ..] => Err(DecodeError::Version(version)),
    }
}

/// Chain value behind a record, from the value before it, its checksum and its bytes: a lost
/// record brings its own, any other takes the chain one further.
pub fn chain_behind(chain: u32, checksum: u32, bytes: &[u8]) -> u32 {
    match decode_lost(bytes) {
        Ok(behind) => behind,
        Err(_) => chain_next(chain, checksum),
    }
}

/// Chain value behind a record of which nothing is known, from the value before it: as if the
/// record had been a single zero byte.
pub fn chain_over_unknown(chain: u32, epoch: u32, number: u32) -> u32 {
    chain_next(chain, record_checksum(epoch, number, &[LOST_VERSION]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loss_reads_back_and_brings_its_own_chain_value() {
        let bytes = encode_lost(0x89ab_cdef);
        assert_eq!(decode_lost(&bytes), Ok(0x89ab_cdef));
        assert_eq!(chain_behind(7, 9, &bytes), 0x89ab_cdef);
        assert_eq!(chain_behind(7, 9, &[1, 2, 3]), chain_next(7, 9));
    }

    #[test]
    fn what_is_no_loss_is_refused() {
        assert_eq!(decode_lost(&[]), Err(DecodeError::Content));
        assert_eq!(decode_lost(&[0, 2, 3, 4]), Err(DecodeError::Content));
        assert_eq!(decode_lost(&[0, 1, 2, 3, 4, 5]), Err(DecodeError::TrailingBytes));
        assert_eq!(decode_lost(&[1, 1, 2, 3, 4]), Err(DecodeError::Version(1)));
    }
}
