//! Bits into bytes and back, and the Rice codes both packed codings use.
//!
//! Deliberately not here: what the numbers mean. Invariants: a writer never passes its slice's end;
//! a reader gives zeros behind its data and says so at the end.

use crate::error::{DecodeError, EncodeError};

/// Unary part this long means the value follows in full.
const ESCAPE_ONES: u32 = 12;
/// Most bits moved at once: with up to 7 held they fit a 32-bit register.
pub(super) const PUSH_BITS_MAX: u32 = 24;
/// A longer value in full moves in two parts; the lower has this many bits.
const FULL_LOW_BITS: u32 = 12;
/// Longest value in full.
pub(super) const FULL_BITS_MAX: u32 = PUSH_BITS_MAX + FULL_LOW_BITS;

const _: () = assert!(ESCAPE_ONES < PUSH_BITS_MAX);

/// Signed to unsigned, small to small: 0, −1, 1, −2 → 0, 1, 2, 3.
pub(super) const fn zigzag(value: i32) -> u32 {
    ((value << 1) ^ (value >> 31)) as u32
}

/// Undoes [`zigzag`].
pub(super) const fn unzigzag(value: u32) -> i32 {
    ((value >> 1) as i32) ^ -((value & 1) as i32)
}

/// The Rice parameter for codes of this sum: one below the bit length of their mean.
///
/// Within 0.02 bit per value of the best parameter for normally distributed samples of any width.
pub(super) fn rice_parameter(code_sum: u32, code_count: u32, k_max: u32) -> u32 {
    let mean = code_sum / code_count.max(1);
    (32 - mean.leading_zeros()).saturating_sub(1).min(k_max)
}

/// Appends bits, most significant first, a word of four bytes at a time.
pub(super) struct BitWriter<'a> {
    room: &'a mut [u8],
    /// Bits not yet written, in the low `held_bits` bits; what is above is stale.
    held: u32,
    /// Fewer than 32.
    held_bits: u32,
}

impl<'a> BitWriter<'a> {
    pub(super) fn new(bytes: &'a mut [u8]) -> BitWriter<'a> {
        BitWriter { room: bytes, held: 0, held_bits: 0 }
    }

    /// Appends `value`, which has no bit above its `count` lowest; `count` ≤ [`PUSH_BITS_MAX`].
    #[inline]
    pub(super) fn push(&mut self, value: u32, count: u32) -> Result<(), EncodeError> {
        let bits = self.held_bits + count;
        if bits < u32::BITS {
            self.held = (self.held << count) | value;
            self.held_bits = bits;
            return Ok(());
        }
        // The word takes all but the lowest `left` bits of the value; `left` < `count`.
        let left = bits - u32::BITS;
        let word = (self.held << (count - left)) | (value >> left);
        self.put_word(word)?;
        self.held = value;
        self.held_bits = left;
        Ok(())
    }

    fn put_word(&mut self, word: u32) -> Result<(), EncodeError> {
        let room = core::mem::take(&mut self.room);
        let (slot, rest) = room.split_first_chunk_mut::<4>().ok_or(EncodeError)?;
        *slot = word.to_be_bytes();
        self.room = rest;
        Ok(())
    }

    #[inline]
    pub(super) fn push_rice(
        &mut self,
        value: u32,
        k: u32,
        full_bits: u32,
    ) -> Result<(), EncodeError> {
        let quotient = value >> k;
        let bits = quotient.saturating_add(1 + k);
        if quotient < ESCAPE_ONES && bits <= PUSH_BITS_MAX {
            // `quotient` ones, a zero, the low bits.
            let unary = (2u32 << quotient).wrapping_sub(2);
            self.push((unary << k) | (value & ((1 << k) - 1)), bits)
        } else {
            self.push_long(value, k, full_bits)
        }
    }

    #[cold]
    fn push_long(&mut self, value: u32, k: u32, full_bits: u32) -> Result<(), EncodeError> {
        let quotient = value >> k;
        if quotient >= ESCAPE_ONES {
            self.push((1 << ESCAPE_ONES) - 1, ESCAPE_ONES)?;
            self.push(value >> FULL_LOW_BITS, full_bits.saturating_sub(FULL_LOW_BITS))?;
            self.push(value & ((1 << FULL_LOW_BITS) - 1), full_bits.min(FULL_LOW_BITS))
        } else {
            self.push((2 << quotient) - 2, quotient + 1)?;
            self.push(value & ((1 << k) - 1), k)
        }
    }

    /// Fills the last byte up with zeros and returns how many bytes of `capacity` are used.
    pub(super) fn finish(self, capacity: usize) -> Result<usize, EncodeError> {
        let room_len = self.room.len();
        let byte_count = self.held_bits.div_ceil(8) as usize;
        let word = (u64::from(self.held) << (u32::BITS - self.held_bits)) as u32;
        let slots = self.room.get_mut(..byte_count).ok_or(EncodeError)?;
        for (slot, byte) in slots.iter_mut().zip(word.to_be_bytes()) {
            *slot = byte;
        }
        Ok(capacity - room_len + byte_count)
    }
}

/// Takes bits, most significant first. Behind the data it gives zeros; `finish` tells.
pub(super) struct BitReader<'a> {
    bytes: core::slice::Iter<'a, u8>,
    /// Bits fetched but not taken, in the low `held_bits` bits; what is above is stale.
    held: u32,
    held_bits: u32,
    missing_byte_count: u32,
}

impl<'a> BitReader<'a> {
    pub(super) fn new(bytes: &'a [u8]) -> BitReader<'a> {
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

    pub(super) fn take(&mut self, count: u32) -> u32 {
        let value = self.peek(count);
        self.held_bits -= count;
        value
    }

    pub(super) fn take_rice(&mut self, k: u32, full_bits: u32) -> u32 {
        // Left-aligned, zeros below: the count of ones stops at the escape at the latest.
        let ahead = self.peek(ESCAPE_ONES) << (32 - ESCAPE_ONES);
        let quotient = ahead.leading_ones();
        if quotient >= ESCAPE_ONES {
            self.held_bits -= ESCAPE_ONES;
            let low_bits = if full_bits > PUSH_BITS_MAX { FULL_LOW_BITS } else { 0 };
            let high = self.take(full_bits - low_bits);
            (high << low_bits) | self.take(low_bits)
        } else {
            self.held_bits -= quotient + 1;
            (quotient << k) | self.take(k)
        }
    }

    /// Checks that the data ended with the last bit taken and zeros up to the byte's end.
    pub(super) fn finish(self) -> Result<(), DecodeError> {
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
