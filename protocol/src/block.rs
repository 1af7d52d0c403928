//! Packed samples: bridge and rate counts, exactly, in few bits.
//!
//! Each channel of a block is predicted from its own past and the errors are Rice-coded (R. F.
//! Rice, JPL 1979; as a method): [`CODING_PREDICTED`]. Where that is no smaller the values stand
//! plain. Nothing is rounded: what goes in comes out.
//!
//! Deliberately not here: the message a block travels in ([`crate::message::Samples`]), and the
//! steps a lever rounds its samples to before it measures with them.

mod bits;
mod predicted;
mod rice;

use crate::error::{DecodeError, EncodeError};

/// Samples in a full block.
pub const BLOCK_SAMPLE_COUNT_MAX: usize = 64;
/// Bytes of a block stored plain: three per bridge code, two per rate.
pub const BLOCK_BYTES_MAX: usize = BLOCK_SAMPLE_COUNT_MAX * 5;

/// Smallest bridge code: 24-bit two's complement.
pub const BRIDGE_CODE_MIN: i32 = -8_388_608;
/// Largest bridge code.
pub const BRIDGE_CODE_MAX: i32 = 8_388_607;

/// Coding 0: values plain.
pub const CODING_PLAIN: u8 = 0;
/// Coding 1: differences, Rice-coded.
pub const CODING_RICE: u8 = 1;
/// Coding 2: errors of a predictor chosen for the block, Rice-coded.
pub const CODING_PREDICTED: u8 = 2;

/// One pair of simultaneous samples, as the converters gave them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RawSample {
    /// Bridge converter, 24-bit two's complement, sharp positive.
    pub bridge_code: i32,
    /// Rate about the pin's axis, sensor counts, sharp positive.
    pub rate_count: i16,
}

fn sign_extend_24(value: u32) -> i32 {
    ((value << 8) as i32) >> 8
}

/// Packs `samples` into `destination`; returns the coding used and the length in bytes.
///
/// A bridge code beyond 24 bits is an error, as are more than [`BLOCK_SAMPLE_COUNT_MAX`] samples
/// or none.
///
/// # Errors
/// [`EncodeError`] as above, or when `destination` is shorter than the block.
pub fn encode(samples: &[RawSample], destination: &mut [u8]) -> Result<(u8, usize), EncodeError> {
    match encode_as(CODING_PREDICTED, samples, destination) {
        Ok(len) if len < samples.len() * 5 => Ok((CODING_PREDICTED, len)),
        _ => encode_as(CODING_PLAIN, samples, destination).map(|len| (CODING_PLAIN, len)),
    }
}

/// Packs `samples` by one coding, whatever length comes of it; returns the length in bytes.
///
/// # Errors
/// As [`encode`], and for a coding that does not exist.
pub fn encode_as(
    coding: u8,
    samples: &[RawSample],
    destination: &mut [u8],
) -> Result<usize, EncodeError> {
    let in_range =
        samples.iter().all(|s| (BRIDGE_CODE_MIN..=BRIDGE_CODE_MAX).contains(&s.bridge_code));
    if samples.is_empty() || samples.len() > BLOCK_SAMPLE_COUNT_MAX || !in_range {
        return Err(EncodeError);
    }
    match coding {
        CODING_PLAIN => encode_plain(samples, destination),
        CODING_RICE => rice::encode(samples, destination),
        CODING_PREDICTED => predicted::encode(samples, destination),
        _ => Err(EncodeError),
    }
}

fn encode_plain(samples: &[RawSample], destination: &mut [u8]) -> Result<usize, EncodeError> {
    let mut slots = destination.chunks_exact_mut(5);
    for sample in samples {
        let [c0, c1, c2, _] = sample.bridge_code.to_le_bytes();
        let [r0, r1] = sample.rate_count.to_le_bytes();
        slots.next().ok_or(EncodeError)?.copy_from_slice(&[c0, c1, c2, r0, r1]);
    }
    Ok(samples.len() * 5)
}

/// Unpacks `samples.len()` samples from `data`.
///
/// # Errors
/// [`DecodeError::Content`] for an unknown coding, too many samples, a value out of range, data
/// that ends early or padding that is not zero; [`DecodeError::TrailingBytes`] when bytes are left
/// over.
pub fn decode(coding: u8, data: &[u8], samples: &mut [RawSample]) -> Result<(), DecodeError> {
    if samples.is_empty() || samples.len() > BLOCK_SAMPLE_COUNT_MAX {
        return Err(DecodeError::Content);
    }
    match coding {
        CODING_PLAIN => decode_plain(data, samples),
        CODING_RICE => rice::decode(data, samples),
        CODING_PREDICTED => predicted::decode(data, samples),
        _ => Err(DecodeError::Content),
    }
}

fn decode_plain(data: &[u8], samples: &mut [RawSample]) -> Result<(), DecodeError> {
    if data.len() != samples.len() * 5 {
        return Err(DecodeError::Content);
    }
    for (slot, bytes) in samples.iter_mut().zip(data.chunks_exact(5)) {
        if let [c0, c1, c2, r0, r1] = *bytes {
            *slot = RawSample {
                bridge_code: sign_extend_24(u32::from_le_bytes([c0, c1, c2, 0])),
                rate_count: i16::from_le_bytes([r0, r1]),
            };
        }
    }
    Ok(())
}
