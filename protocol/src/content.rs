//! What a record may hold: a reading, the trace of one, a pin skipped, a loss.
//!
//! The first byte of a record says which, and in which version; the bytes behind it are the
//! postcard encoding of that type ([`crate::lost`] has a form of its own). Deliberately not here:
//! the reading itself ([`crate::record`]), and when the lever writes what.
//!
//! Invariant: first bytes are append-only; a host keeps a record whose first byte it does not know
//! as it came.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::error::{DecodeError, EncodeError};
use crate::lost::{self, LOST_VERSION};
use crate::record::{Pin, RECORD_VERSION, Reading, StringPosition, decode_record};
use crate::units::{Angle, DeviceTime, Torque};

/// First byte of the record of a trace.
pub const TRACE_VERSION: u8 = 2;
/// First byte of the record of a skipped pin.
pub const SKIP_VERSION: u8 = 3;
/// Points a trace holds at most.
pub const TRACE_POINT_COUNT_MAX: usize = 88;
/// Longest record of a trace, first byte included: 198 bytes with every number at its longest.
pub const TRACE_BYTES_MAX: usize = 200;

/// The pin of a reading that belongs to no plan: the operator says later which pin it was.
pub const UNASSIGNED: Pin = Pin { note: 0, string: StringPosition::Centre };

/// Torque and head angle at one moment of a [`Trace`], in its steps, sharp positive.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct TracePoint {
    /// Torque on the pin, in [`Trace::torque_step`].
    pub torque: i8,
    /// Head angle from where the lever was seated, in [`Trace::angle_step`].
    pub angle: i8,
}

/// The course of a reading in little room: for looking at, not for measuring again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Trace {
    /// Number of the reading it belongs to, in the same log.
    pub reading: u32,
    /// From one point to the next, milliseconds; each point is the mean over that time.
    pub interval_ms: u32,
    /// Torque of one step.
    pub torque_step: Torque,
    /// Angle of one step.
    pub angle_step: Angle,
    /// The points, in time, from the rest before the first stroke on.
    pub points: Vec<TracePoint, TRACE_POINT_COUNT_MAX>,
}

/// A pin of the plan that the operator passed over: no string, no pin, out of reach.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Skip {
    /// Plan it belongs to.
    pub survey: u64,
    /// The pin.
    pub pin: Pin,
    /// When.
    pub at: DeviceTime,
}

/// A record's content.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// The record cannot be read any more, or was never whole.
    Lost {
        /// Chain value behind it.
        chain: u32,
    },
    /// A reading.
    Reading(Reading),
    /// The course of a reading.
    Trace(Trace),
    /// A pin passed over.
    Skip(Skip),
}

impl Pin {
    /// Whether it stands for "the operator says later".
    pub fn is_unassigned(self) -> bool {
        self == UNASSIGNED
    }
}

/// Writes the record of a trace; returns its length in bytes.
///
/// # Errors
/// [`EncodeError`] when `destination` is shorter; [`TRACE_BYTES_MAX`] is always enough.
pub fn encode_trace(trace: &Trace, destination: &mut [u8]) -> Result<usize, EncodeError> {
    encode(TRACE_VERSION, trace, destination)
}

/// Writes the record of a skipped pin; returns its length in bytes.
///
/// # Errors
/// [`EncodeError`] when `destination` is shorter than the record.
pub fn encode_skip(skip: &Skip, destination: &mut [u8]) -> Result<usize, EncodeError> {
    encode(SKIP_VERSION, skip, destination)
}

fn encode<T: Serialize>(
    version: u8,
    content: &T,
    destination: &mut [u8],
) -> Result<usize, EncodeError> {
    let (first, body) = destination.split_first_mut().ok_or(EncodeError)?;
    *first = version;
    let body_len = postcard::to_slice(content, body).map_err(|_| EncodeError)?.len();
    Ok(1 + body_len)
}

/// Reads any record.
///
/// # Errors
/// [`DecodeError::Version`] for a first byte this library does not know, [`DecodeError::Content`]
/// for bytes that are not what the first one says, [`DecodeError::TrailingBytes`] when some are
/// left over.
pub fn decode_content(bytes: &[u8]) -> Result<Content, DecodeError> {
    match bytes.first() {
        Some(&LOST_VERSION) => lost::decode_lost(bytes).map(|chain| Content::Lost { chain }),
        Some(&RECORD_VERSION) => decode_record(bytes).map(Content::Reading),
        Some(&TRACE_VERSION) => decode::<Trace>(bytes).map(Content::Trace),
        Some(&SKIP_VERSION) => {
            let skip: Skip = decode(bytes)?;
            if skip.pin.is_known() { Ok(Content::Skip(skip)) } else { Err(DecodeError::Content) }
        }
        Some(&other) => Err(DecodeError::Version(other)),
        None => Err(DecodeError::Content),
    }
}

/// Survey and pin of a reading or a skip, and whether it is a skip, without reading the rest;
/// `None` for other records, and for bytes that do not even begin like one.
pub fn peek_pin(bytes: &[u8]) -> Option<(u64, Pin, bool)> {
    let (first, body) = bytes.split_first()?;
    if !matches!(*first, RECORD_VERSION | SKIP_VERSION) {
        return None;
    }
    // Both begin with these two.
    let ((survey, pin), _) = postcard::take_from_bytes::<(u64, Pin)>(body).ok()?;
    Some((survey, pin, *first == SKIP_VERSION))
}

fn decode<'a, T: Deserialize<'a>>(bytes: &'a [u8]) -> Result<T, DecodeError> {
    let (_, body) = bytes.split_first().ok_or(DecodeError::Content)?;
    let (content, rest) = postcard::take_from_bytes::<T>(body).map_err(|_| DecodeError::Content)?;
    if rest.is_empty() { Ok(content) } else { Err(DecodeError::TrailingBytes) }
}
