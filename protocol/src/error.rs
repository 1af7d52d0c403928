//! Why bytes could not be turned into a message, and why a command was not carried out.
//!
//! Small `Copy` enums whose numbers are wire codes; append-only.

use serde::{Deserialize, Serialize};

/// Why a frame or its content was not accepted. Each kind is counted apart by both sides.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DecodeError {
    /// The byte stuffing is broken.
    Framing,
    /// Shorter than a header and checksum, or longer than any frame.
    Length,
    /// The checksum does not match.
    Checksum,
    /// Another protocol version; its number.
    Version(u8),
    /// A message type this side does not know; its number.
    UnknownType(u8),
    /// The body is not an encoding of its type, or a value is out of range.
    Content,
    /// Bytes were left over behind the body.
    TrailingBytes,
}

impl core::fmt::Display for DecodeError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            DecodeError::Framing => f.write_str("broken byte stuffing"),
            DecodeError::Length => f.write_str("impossible frame length"),
            DecodeError::Checksum => f.write_str("checksum does not match"),
            DecodeError::Version(version) => {
                write!(f, "protocol version {version}, expected {}", crate::PROTOCOL_VERSION)
            }
            DecodeError::UnknownType(code) => write!(f, "unknown message type {code}"),
            DecodeError::Content => f.write_str("malformed message content"),
            DecodeError::TrailingBytes => f.write_str("bytes left over behind the message"),
        }
    }
}

impl core::error::Error for DecodeError {}

/// Why a message was not encoded: the destination is too small.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct EncodeError;

impl core::fmt::Display for EncodeError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("destination too small for the message")
    }
}

impl core::error::Error for EncodeError {}

/// What became of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum CommandResult {
    /// Carried out.
    Done,
    /// No survey is running.
    NoSurvey,
    /// The pin is loaded or moving; wait until it rests.
    PinMoving,
    /// The lever did not hold still long enough.
    NotAtRest,
    /// The record store is full: commit what was sent first.
    LogFull,
    /// A note or string outside what exists.
    NoSuchPin,
    /// Records asked for that this epoch does not hold.
    NoSuchRecord,
    /// The commit's epoch or chain value does not match what the lever holds.
    CommitMismatch,
    /// A setting out of its range.
    OutOfRange,
    /// The battery is too low to begin a pin.
    BatteryLow,
    /// A self-test failed: ask for the health and see which.
    NotFit,
}

/// What a self-test can find wrong. The numbers are bits of [`crate::message::Health::faults`] and
/// what the lamp blinks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Fault {
    /// The bridge converter gives no samples.
    ConverterSilent,
    /// The bridge converter gives the same code over and over.
    ConverterStuck,
    /// The bridge converter stands at an end of its range.
    ConverterSaturated,
    /// The torque cell is not connected.
    BridgeOpen,
    /// The motion sensor gives no new values.
    MotionSilent,
    /// The motion sensor shows what a lever at rest on Earth cannot.
    MotionImplausible,
    /// The bridge's zero is far from where it was calibrated.
    ZeroOffLimits,
    /// The flash fails to write or erase.
    FlashFailing,
    /// The flash holds a log of later firmware, which this one must not write to.
    FlashNewer,
    /// The flash is too small for a log.
    FlashSmall,
    /// The battery is too low to begin a pin.
    BatteryLow,
    /// A sensor's period is not what it is set to be.
    PeriodOff,
}

impl Fault {
    /// All of them, by number.
    pub const ALL: [Fault; 12] = [
        Fault::ConverterSilent,
        Fault::ConverterStuck,
        Fault::ConverterSaturated,
        Fault::BridgeOpen,
        Fault::MotionSilent,
        Fault::MotionImplausible,
        Fault::ZeroOffLimits,
        Fault::FlashFailing,
        Fault::FlashNewer,
        Fault::FlashSmall,
        Fault::BatteryLow,
        Fault::PeriodOff,
    ];

    /// Its number, 1 to 12: what the lamp blinks and the host prints as its code.
    pub const fn code(self) -> u8 {
        self as u8 + 1
    }

    /// Its bit in [`crate::message::Health::faults`].
    pub const fn bit(self) -> u32 {
        1 << (self as u8)
    }
}

/// Counts of what arrived damaged, by kind, since power-up; each saturates.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinkCounters {
    /// [`DecodeError::Framing`].
    pub framing_count: u32,
    /// [`DecodeError::Length`].
    pub length_count: u32,
    /// [`DecodeError::Checksum`].
    pub checksum_count: u32,
    /// [`DecodeError::Version`].
    pub version_count: u32,
    /// [`DecodeError::UnknownType`].
    pub unknown_type_count: u32,
    /// [`DecodeError::Content`] and [`DecodeError::TrailingBytes`].
    pub content_count: u32,
    /// Sequence numbers that did not follow the last one.
    pub sequence_count: u32,
    /// Frames accepted.
    pub accepted_count: u32,
}

impl LinkCounters {
    /// Counts one frame that was not accepted.
    pub fn count_error(&mut self, error: DecodeError) {
        let counter = match error {
            DecodeError::Framing => &mut self.framing_count,
            DecodeError::Length => &mut self.length_count,
            DecodeError::Checksum => &mut self.checksum_count,
            DecodeError::Version(_) => &mut self.version_count,
            DecodeError::UnknownType(_) => &mut self.unknown_type_count,
            DecodeError::Content | DecodeError::TrailingBytes => &mut self.content_count,
        };
        *counter = counter.saturating_add(1);
    }

    /// Frames not accepted, all kinds together.
    pub fn error_count(&self) -> u32 {
        [
            self.framing_count,
            self.length_count,
            self.checksum_count,
            self.version_count,
            self.unknown_type_count,
            self.content_count,
        ]
        .iter()
        .fold(0, |sum: u32, count| sum.saturating_add(*count))
    }
}
