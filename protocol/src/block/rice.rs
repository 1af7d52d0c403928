//! Coding 1: differences, Rice-coded. Written by earlier firmware; read for ever.
//!
//! Deliberately not here: which coding is chosen ([`super::encode`]).

use super::bits::{
    BitReader, BitWriter, FULL_BITS_MAX, PUSH_BITS_MAX, rice_parameter, unzigzag, zigzag,
};
use super::{BLOCK_SAMPLE_COUNT_MAX, BRIDGE_CODE_MAX, BRIDGE_CODE_MIN, RawSample, sign_extend_24};
use crate::error::{DecodeError, EncodeError};

/// Bits of a zigzag-mapped bridge difference in full.
const BRIDGE_FULL_BITS: u32 = 25;
/// Bits of a zigzag-mapped rate difference in full.
const RATE_FULL_BITS: u32 = 17;
/// Largest Rice parameter of the bridge.
const BRIDGE_K_MAX: u32 = 23;
/// Largest Rice parameter of the rate.
const RATE_K_MAX: u32 = 16;

const _: () = assert!(BRIDGE_FULL_BITS <= FULL_BITS_MAX && RATE_FULL_BITS <= FULL_BITS_MAX);
const _: () = assert!(BRIDGE_K_MAX <= PUSH_BITS_MAX && RATE_K_MAX <= PUSH_BITS_MAX);
// The sum of a full block's differences fits a register.
const _: () = assert!((BLOCK_SAMPLE_COUNT_MAX as u64) << BRIDGE_FULL_BITS <= u32::MAX as u64);

/// Zigzag-mapped differences between neighbouring samples, bridge and rate.
fn differences(samples: &[RawSample]) -> impl Iterator<Item = (u32, u32)> + '_ {
    samples.iter().zip(samples.iter().skip(1)).map(|(before, after)| {
        (
            zigzag(after.bridge_code.wrapping_sub(before.bridge_code)),
            zigzag(i32::from(after.rate_count).wrapping_sub(i32::from(before.rate_count))),
        )
    })
}

/// Packs the samples; returns the length in bytes.
pub(super) fn encode(samples: &[RawSample], destination: &mut [u8]) -> Result<usize, EncodeError> {
    let first = samples.first().ok_or(EncodeError)?;
    let (bridge_sum, rate_sum) = differences(samples)
        .fold((0u32, 0u32), |sum, next| (sum.0.wrapping_add(next.0), sum.1.wrapping_add(next.1)));
    let difference_count = samples.len() as u32 - 1;
    let bridge_k = rice_parameter(bridge_sum, difference_count, BRIDGE_K_MAX);
    let rate_k = rice_parameter(rate_sum, difference_count, RATE_K_MAX);
    let capacity = destination.len();
    let mut writer = BitWriter::new(destination);
    writer.push(bridge_k, 5)?;
    writer.push(rate_k, 5)?;
    writer.push(first.bridge_code as u32 & 0x00FF_FFFF, 24)?;
    writer.push(u32::from(first.rate_count as u16), 16)?;
    for (bridge, rate) in differences(samples) {
        writer.push_rice(bridge, bridge_k, BRIDGE_FULL_BITS)?;
        writer.push_rice(rate, rate_k, RATE_FULL_BITS)?;
    }
    writer.finish(capacity)
}

/// Unpacks the samples.
pub(super) fn decode(data: &[u8], samples: &mut [RawSample]) -> Result<(), DecodeError> {
    let mut reader = BitReader::new(data);
    let bridge_k = reader.take(5);
    let rate_k = reader.take(5);
    if bridge_k > BRIDGE_K_MAX || rate_k > RATE_K_MAX {
        return Err(DecodeError::Content);
    }
    let mut last = RawSample {
        bridge_code: sign_extend_24(reader.take(24)),
        rate_count: reader.take(16) as u16 as i16,
    };
    let mut slots = samples.iter_mut();
    if let Some(slot) = slots.next() {
        *slot = last;
    }
    for slot in slots {
        let bridge = unzigzag(reader.take_rice(bridge_k, BRIDGE_FULL_BITS));
        let rate = unzigzag(reader.take_rice(rate_k, RATE_FULL_BITS));
        let bridge_code = last.bridge_code.wrapping_add(bridge);
        let rate_count = i32::from(last.rate_count).wrapping_add(rate);
        if !(BRIDGE_CODE_MIN..=BRIDGE_CODE_MAX).contains(&bridge_code) {
            return Err(DecodeError::Content);
        }
        last = RawSample {
            bridge_code,
            rate_count: i16::try_from(rate_count).map_err(|_| DecodeError::Content)?,
        };
        *slot = last;
    }
    reader.finish()
}
