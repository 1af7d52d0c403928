//! Frames: version, type, sequence, body and CRC-32, byte-stuffed (COBS) and ended by 0x00.
//!
//! Order of checks: length, stuffing, checksum, version; only then is the body anyone's business.
//! Deliberately not here: the stuffing itself ([`crate::stuffing`]) and what the types mean
//! ([`crate::message`]).

use crate::error::{DecodeError, EncodeError};
use crate::stuffing::{stuff, stuffed_bytes_max, unstuff};
use crate::{CRC32, PROTOCOL_VERSION};

/// Longest message body.
pub const BODY_BYTES_MAX: usize = 400;
/// Version, type and two bytes of sequence.
pub const HEADER_BYTES: usize = 4;
/// CRC-32, least significant byte first.
pub const CHECKSUM_BYTES: usize = 4;
/// Longest frame before stuffing.
pub const PLAIN_BYTES_MAX: usize = HEADER_BYTES + BODY_BYTES_MAX + CHECKSUM_BYTES;
/// Longest frame on the wire, delimiter included.
pub const WIRE_BYTES_MAX: usize = stuffed_bytes_max(PLAIN_BYTES_MAX) + 1;

/// A frame whose checksum and version were right.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Frame<'a> {
    /// Message type, see [`crate::message`].
    pub kind: u8,
    /// Sender's frame counter, wrapping.
    pub sequence: u16,
    /// Postcard encoding of the message.
    pub body: &'a [u8],
}

/// Writes a frame with the delimiter into `destination` and returns its length in bytes.
///
/// `write_body` writes the body into the slice it is given and returns the body's length.
///
/// # Errors
/// [`EncodeError`] when body or frame does not fit.
pub fn encode(
    kind: u8,
    sequence: u16,
    write_body: impl FnOnce(&mut [u8]) -> Result<usize, EncodeError>,
    destination: &mut [u8],
) -> Result<usize, EncodeError> {
    let mut plain = [0u8; PLAIN_BYTES_MAX];
    let sequence_bytes = sequence.to_le_bytes();
    plain[..HEADER_BYTES].copy_from_slice(&[
        PROTOCOL_VERSION,
        kind,
        sequence_bytes[0],
        sequence_bytes[1],
    ]);
    let room = plain.get_mut(HEADER_BYTES..HEADER_BYTES + BODY_BYTES_MAX).ok_or(EncodeError)?;
    let body_len = write_body(room)?;
    if body_len > BODY_BYTES_MAX {
        return Err(EncodeError);
    }
    let checked_len = HEADER_BYTES + body_len;
    let checksum = CRC32.checksum(plain.get(..checked_len).ok_or(EncodeError)?);
    plain
        .get_mut(checked_len..checked_len + CHECKSUM_BYTES)
        .ok_or(EncodeError)?
        .copy_from_slice(&checksum.to_le_bytes());
    let source = plain.get(..checked_len + CHECKSUM_BYTES).ok_or(EncodeError)?;
    let stuffed_len = stuff(source, destination)?;
    *destination.get_mut(stuffed_len).ok_or(EncodeError)? = 0;
    Ok(stuffed_len + 1)
}

/// Undoes the stuffing in place and checks length, checksum and version, in that order.
///
/// `bytes` is what stood between two delimiters, without them.
///
/// # Errors
/// The first check that failed.
pub fn decode(bytes: &mut [u8]) -> Result<Frame<'_>, DecodeError> {
    if bytes.len() <= HEADER_BYTES + CHECKSUM_BYTES || bytes.len() >= WIRE_BYTES_MAX {
        return Err(DecodeError::Length);
    }
    let plain_len = unstuff(bytes)?;
    let plain = bytes.get(..plain_len).ok_or(DecodeError::Framing)?;
    let (checked, checksum) =
        plain.split_last_chunk::<CHECKSUM_BYTES>().ok_or(DecodeError::Length)?;
    if CRC32.checksum(checked) != u32::from_le_bytes(*checksum) {
        return Err(DecodeError::Checksum);
    }
    let ([version, kind, sequence_low, sequence_high], body) =
        checked.split_first_chunk::<HEADER_BYTES>().ok_or(DecodeError::Length)?;
    if *version != PROTOCOL_VERSION {
        return Err(DecodeError::Version(*version));
    }
    Ok(Frame { kind: *kind, sequence: u16::from_le_bytes([*sequence_low, *sequence_high]), body })
}

/// Collects bytes up to each delimiter and hands out whole frames.
///
/// Bounded: an over-long run of bytes is counted once as [`DecodeError::Length`] and skipped up to
/// the next delimiter, so that damage never costs more than the frame it hit.
#[derive(Clone, Debug)]
pub struct FrameReader {
    buffer: [u8; WIRE_BYTES_MAX],
    fill: usize,
    overflowed: bool,
}

impl Default for FrameReader {
    fn default() -> Self {
        FrameReader::new()
    }
}

impl FrameReader {
    /// An empty reader.
    pub const fn new() -> FrameReader {
        FrameReader { buffer: [0; WIRE_BYTES_MAX], fill: 0, overflowed: false }
    }

    /// Takes one byte; at a delimiter returns the frame it ended, or why there is none.
    ///
    /// `None` while a frame is under way, and for empty runs (two delimiters in a row, which a
    /// sender may use to wake the line).
    pub fn push(&mut self, byte: u8) -> Option<Result<Frame<'_>, DecodeError>> {
        if byte != 0 {
            match self.buffer.get_mut(self.fill) {
                Some(slot) => {
                    *slot = byte;
                    self.fill += 1;
                }
                None => self.overflowed = true,
            }
            return None;
        }
        let fill = core::mem::take(&mut self.fill);
        if core::mem::take(&mut self.overflowed) {
            return Some(Err(DecodeError::Length));
        }
        if fill == 0 {
            return None;
        }
        self.buffer.get_mut(..fill).map(decode)
    }

    /// Forgets what was collected, as after a reconnect.
    pub fn clear(&mut self) {
        self.fill = 0;
        self.overflowed = false;
    }
}

/// Watches the other side's sequence numbers.
#[derive(Clone, Copy, Debug, Default)]
pub struct SequenceWatch {
    expected: Option<u16>,
}

impl SequenceWatch {
    /// Notes an arrived frame and returns how many were skipped before it (0 when in order).
    ///
    /// A repeated number reads as 65 535 skipped: with this link nothing is sent twice under one
    /// number.
    pub fn skipped_before(&mut self, sequence: u16) -> u16 {
        let skipped = self.expected.map_or(0, |expected| sequence.wrapping_sub(expected));
        self.expected = Some(sequence.wrapping_add(1));
        skipped
    }
}
