//! Packed samples: bridge and rate counts, exactly, in few bits.
//!
//! A block starts with both channels' first values in full; every further sample is the difference
//! to the one before, zigzag-mapped and Rice-coded with a parameter per channel and block (R. F.
//! Rice, JPL 1979; as a method). Where that is no smaller the values stand plain. Nothing is
//! rounded: what goes in comes out.
//!
//! Deliberately not here: the message a block travels in ([`crate::message::Samples`]).

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

/// Unary part this long means the value follows in full.
const ESCAPE_ONES: u32 = 12;
/// Bits of a zigzag-mapped bridge difference in full.
const BRIDGE_FULL_BITS: u32 = 25;
/// Bits of a zigzag-mapped rate difference in full.
const RATE_FULL_BITS: u32 = 17;
/// Largest Rice parameter of the bridge.
const BRIDGE_K_MAX: u32 = 23;
/// Largest Rice parameter of the rate.
const RATE_K_MAX: u32 = 16;
/// Most bits moved at once: with up to 7 held they fit a 32-bit register.
const PUSH_BITS_MAX: u32 = 24;
/// A value in full moves in two parts; the lower has this many bits.
const FULL_LOW_BITS: u32 = 12;

const _: () = assert!(BRIDGE_FULL_BITS - FULL_LOW_BITS <= PUSH_BITS_MAX);
const _: () = assert!(RATE_FULL_BITS > FULL_LOW_BITS && ESCAPE_ONES < PUSH_BITS_MAX);
const _: () = assert!(BRIDGE_K_MAX <= PUSH_BITS_MAX && RATE_K_MAX <= PUSH_BITS_MAX);
// The sum of a full block's differences fits a register.
const _: () = assert!((BLOCK_SAMPLE_COUNT_MAX as u64) << BRIDGE_FULL_BITS <= u32::MAX as u64);

/// One pair of simultaneous samples, as the converters gave them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct RawSample {
    /// Bridge converter, 24-bit two's complement, sharp positive.
    pub bridge_code: i32,
    /// Rate about the pin's axis, sensor counts, sharp positive.
    pub rate_count: i16,
}

const fn zigzag(value: i32) -> u32 {
    ((value << 1) ^ (value >> 31)) as u32
}

const fn unzigzag(value: u32) -> i32 {
    ((value >> 1) as i32) ^ -((value & 1) as i32)
}

/// The Rice parameter for differences of this sum: one below the bit length of their mean.
///
/// Within 0.02 bit per value of the best parameter for normally distributed samples of any width.
fn rice_parameter(difference_sum: u32, difference_count: u32, k_max: u32) -> u32 {
    let mean = difference_sum / difference_count.max(1);
    (32 - mean.leading_zeros()).saturating_sub(1).min(k_max)
}

/// Appends bits, most significant first, a byte at a time.
struct BitWriter<'a> {
    slots: core::slice::IterMut<'a, u8>,
    /// Bits not yet written, in the low `held_bits` bits; fewer than 8 between calls.
    held: u32,
    held_bits: u32,
}

impl<'a> BitWriter<'a> {
    fn new(bytes: &'a mut [u8]) -> BitWriter<'a> {
        BitWriter { slots: bytes.iter_mut(), held: 0, held_bits: 0 }
    }

    /// Appends `value`, which has no bit above its `count` lowest; `count` ≤ [`PUSH_BITS_MAX`].
    fn push(&mut self, value: u32, count: u32) -> Result<(), EncodeError> {
        self.held = (self.held << count) | value;
        self.held_bits += count;
        while self.held_bits >= 8 {
            self.held_bits -= 8;
            *self.slots.next().ok_or(EncodeError)? = (self.held >> self.held_bits) as u8;
        }
        Ok(())
    }

    fn push_rice(&mut self, value: u32, k: u32, full_bits: u32) -> Result<(), EncodeError> {
        let quotient = value >> k;
        let low = value & ((1 << k) - 1);
        // `quotient` ones and a zero.
        let unary = (1 << (quotient.min(ESCAPE_ONES) + 1)) - 2;
        let unary_bits = quotient.min(ESCAPE_ONES) + 1;
        if quotient >= ESCAPE_ONES {
            self.push((1 << ESCAPE_ONES) - 1, ESCAPE_ONES)?;
            self.push(value >> FULL_LOW_BITS, full_bits - FULL_LOW_BITS)?;
            self.push(value & ((1 << FULL_LOW_BITS) - 1), FULL_LOW_BITS)
        } else if unary_bits + k <= PUSH_BITS_MAX {
            self.push((unary << k) | low, unary_bits + k)
        } else {
            self.push(unary, unary_bits)?;
            self.push(low, k)
        }
    }

    /// Fills the last byte up with zeros and returns how many bytes of `capacity` are used.
    fn finish(mut self, capacity: usize) -> Result<usize, EncodeError> {
        let padding_bits = (8 - self.held_bits) % 8;
        self.push(0, padding_bits)?;
        Ok(capacity - self.slots.len())
    }
}

/// Takes bits, most significant first. Behind the data it gives zeros; `finish` tells.
struct BitReader<'a> {
    bytes: core::slice::Iter<'a, u8>,
    /// Bits fetched but not taken, in the low `held_bits` bits; what is above is stale.
    held: u32,
    held_bits: u32,
    missing_byte_count: u32,
}

impl<'a> BitReader<'a> {
    fn new(bytes: &'a [u8]) -> BitReader<'a> {
        BitReader { bytes: bytes.iter(), held: 0, held_bits: 0, missing_byte_count: 0 }
    }

    /// The next `count` bits, still to be taken; `count` ≤ [`PUSH_BITS_MAX`].
    fn peek(&mut self, count: u32) -> u32 {
        while self.held_bits < count {
            let byte = match self.bytes.next() {
                Some(byte) => *byte,
                None => {
                    self.missing_byte_count += 1;
                    0
                }
            };
            self.held = (self.held << 8) | u32::from(byte);
            self.held_bits += 8;
        }
        (self.held >> (self.held_bits - count)) & ((1 << count) - 1)
    }

    fn take(&mut self, count: u32) -> u32 {
        let value = self.peek(count);
        self.held_bits -= count;
        value
    }

    fn take_rice(&mut self, k: u32, full_bits: u32) -> u32 {
        // Left-aligned, zeros below: the count of ones stops at the escape at the latest.
        let ahead = self.peek(ESCAPE_ONES) << (32 - ESCAPE_ONES);
        let quotient = ahead.leading_ones();
        if quotient >= ESCAPE_ONES {
            self.held_bits -= ESCAPE_ONES;
            let high = self.take(full_bits - FULL_LOW_BITS);
            (high << FULL_LOW_BITS) | self.take(FULL_LOW_BITS)
        } else {
            self.held_bits -= quotient + 1;
            (quotient << k) | self.take(k)
        }
    }

    /// Checks that the data ended with the last bit taken and zeros up to the byte's end.
    fn finish(self) -> Result<(), DecodeError> {
        let missing_bits = self.missing_byte_count * 8;
        let unread_bits = self.held_bits.saturating_sub(missing_bits);
        let padding = self.held & ((1 << self.held_bits) - 1);
        if missing_bits > self.held_bits {
            Err(DecodeError::Content)
        } else if unread_bits >= 8 || self.bytes.len() > 0 {
            Err(DecodeError::TrailingBytes)
        } else if padding != 0 {
            Err(DecodeError::Content)
        } else {
            Ok(())
        }
    }
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
    let in_range =
        samples.iter().all(|s| (BRIDGE_CODE_MIN..=BRIDGE_CODE_MAX).contains(&s.bridge_code));
    if samples.is_empty() || samples.len() > BLOCK_SAMPLE_COUNT_MAX || !in_range {
        return Err(EncodeError);
    }
    let plain_len = samples.len() * 5;
    match encode_rice(samples, destination) {
        Ok(len) if len < plain_len => Ok((CODING_RICE, len)),
        _ => encode_plain(samples, destination).map(|len| (CODING_PLAIN, len)),
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

/// Zigzag-mapped differences between neighbouring samples, bridge and rate.
fn differences(samples: &[RawSample]) -> impl Iterator<Item = (u32, u32)> + '_ {
    samples.iter().zip(samples.iter().skip(1)).map(|(before, after)| {
        (
            zigzag(after.bridge_code.wrapping_sub(before.bridge_code)),
            zigzag(i32::from(after.rate_count).wrapping_sub(i32::from(before.rate_count))),
        )
    })
}

fn encode_rice(samples: &[RawSample], destination: &mut [u8]) -> Result<usize, EncodeError> {
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
        CODING_RICE => decode_rice(data, samples),
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

fn decode_rice(data: &[u8], samples: &mut [RawSample]) -> Result<(), DecodeError> {
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
