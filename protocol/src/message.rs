//! The two tables of messages: what the lever says and what the host says.
//!
//! Type numbers are append-only; a changed message gets a new number. Deliberately not here: when
//! which message is sent (the lever's link and the host's session decide).

use serde::{Deserialize, Serialize};

use crate::encoding::{self, encode};
use crate::error::{CommandResult, DecodeError, EncodeError, LinkCounters};
use crate::frame::{self, Frame};
use crate::record::Pin;
use crate::units::{Angle, DeviceTime, Torque};

/// Who the lever is and where its records stand; answers [`Greet`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// Oldest protocol version the lever speaks.
    pub protocol_min: u8,
    /// Newest protocol version the lever speaks.
    pub protocol_max: u8,
    /// 64-bit device identity.
    pub device: u64,
    /// Log epoch: numbers are never reused within one; a wiped log starts a new one.
    pub epoch: u32,
    /// Firmware version: major, minor, patch.
    pub firmware: [u8; 3],
    /// Version byte of the records it writes.
    pub record_version: u8,
    /// The lever's clock.
    pub now: DeviceTime,
    /// Oldest record still readable.
    pub oldest_record: u32,
    /// Number the next record will get.
    pub next_record: u32,
    /// First number not yet committed by any host.
    pub committed_floor: u32,
    /// Chain value just below `committed_floor`.
    pub committed_chain: u32,
    /// Sample period, nanoseconds.
    pub sample_period_ns: u32,
    /// Number of the calibration in force; 0 is the uncalibrated default.
    pub calibration: u32,
    /// Whether the zero was taken since power-up.
    pub zeroed: bool,
    /// Survey in progress, 0 when none.
    pub survey: u64,
}

/// A block of samples, see [`crate::block`]. May be dropped; drops are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Samples<'a> {
    /// Samples since power-up before this block's first.
    pub first_index: u32,
    /// Samples in the block, 1 to 64.
    pub count: u8,
    /// Blocks dropped since power-up because the line was full.
    pub dropped_block_count: u32,
    /// Specific force in force for this block, thousandths of standard gravity, lever's frame.
    pub acceleration_milli_g: [i16; 3],
    /// Bridge temperature in force for this block, hundredths of a degree Celsius.
    pub temperature_centi_celsius: i16,
    /// [`crate::block::CODING_PLAIN`] or [`crate::block::CODING_RICE`].
    pub coding: u8,
    /// The packed samples.
    #[serde(serialize_with = "encoding::bytes")]
    pub data: &'a [u8],
}

/// Where the lever is in the life of a pin.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Phase {
    /// No pin chosen.
    Idle,
    /// Pin chosen, lever not yet at rest on it.
    Seating,
    /// At rest on the pin.
    Rest,
    /// Torque rises, the foot stands.
    Loading,
    /// The foot slips.
    Slip,
    /// Torque falls back.
    Unloading,
    /// Reading kept.
    Accepted,
    /// Not fit to report.
    Repeat,
    /// Taking the zero.
    Zeroing,
}

/// The lever's present state, about twenty times a second while a survey runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Live {
    /// Pin in hand.
    pub pin: Option<Pin>,
    /// Where it is.
    pub phase: Phase,
    /// Torque on the pin, sharp positive.
    pub torque: Torque,
    /// Head angle from where the lever was seated, sharp positive.
    pub angle: Angle,
    /// Number the next record will get; tells the host what to pull.
    pub next_record: u32,
    /// First number not yet committed.
    pub committed_floor: u32,
    /// Sample blocks dropped since power-up.
    pub dropped_block_count: u32,
    /// Samples the board missed since power-up.
    pub missed_sample_count: u32,
}

/// One stored record, sent when it is made and whenever it is pulled.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Record<'a> {
    /// Log epoch.
    pub epoch: u32,
    /// Record number.
    pub number: u32,
    /// [`crate::record::record_checksum`] of epoch, number and bytes.
    pub checksum: u32,
    /// The record as stored, see [`crate::record::decode_record`].
    #[serde(serialize_with = "encoding::bytes")]
    pub bytes: &'a [u8],
}

/// What became of a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reply {
    /// Sequence number of the command's frame.
    pub to: u16,
    /// What became of it.
    pub result: CommandResult,
}

/// Counters, answering [`FromHost::AskStatus`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Status {
    /// What arrived damaged.
    pub link: LinkCounters,
    /// Sample blocks dropped because the line was full.
    pub dropped_block_count: u32,
    /// Samples the board missed.
    pub missed_sample_count: u32,
    /// Samples with a saturated bridge code.
    pub saturated_sample_count: u32,
}

/// Why the lever last started.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Start {
    /// Switched on.
    #[default]
    PowerOn,
    /// The watchdog found the firmware hung.
    Watchdog,
    /// The firmware asked for it, as after an update.
    Asked,
    /// The reset line, or something else.
    Other,
}

/// How the lever is, answering [`FromHost::AskHealth`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Health {
    /// What the self-test found, bits of [`crate::error::Fault::bit`]; 0 when it found nothing.
    pub faults: u32,
    /// Whether the self-test is done.
    pub tested: bool,
    /// Why it last started.
    pub start: Start,
    /// Battery voltage, millivolts; `None` without a gauge.
    pub battery_mv: Option<u16>,
    /// Charge left, thousandths of full, estimated from the voltage.
    pub battery_permille: Option<u16>,
    /// Time of use left, minutes, estimated from the charge.
    pub battery_minutes: Option<u16>,
    /// Powered from outside.
    pub external_power: bool,
    /// Period of the bridge's samples against the lever's crystal, nanoseconds; 0 not measured yet.
    pub bridge_period_ns: u32,
    /// Period of the motion sensor's values against the lever's crystal, nanoseconds; 0 not
    /// measured yet.
    pub motion_period_ns: u32,
    /// Torque shown off the pin at the last zero, by the calibration's own zero.
    pub zero: Torque,
    /// Records no host has committed.
    pub uncommitted_count: u32,
    /// Readings there is still room for, at least.
    pub room_count: u32,
    /// Writes and erases of the flash that failed since power-up.
    pub flash_failed_count: u32,
}

/// The plan stored on the lever, answering [`FromHost::AskPlan`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanState {
    /// Its name; 0 when there is none.
    pub plan: u64,
    /// Pins in it.
    pub pin_count: u16,
    /// [`plan_checksum`] over its pins.
    pub checksum: u32,
    /// Place of the pin that is next.
    pub position: u16,
    /// Pins read.
    pub read_count: u16,
    /// Pins skipped.
    pub skipped_count: u16,
    /// The lever works through it now, without a host.
    pub running: bool,
}

/// The host opens a conversation.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Greet {
    /// Oldest protocol version the host speaks.
    pub protocol_min: u8,
    /// Newest protocol version the host speaks.
    pub protocol_max: u8,
    /// Host's calendar time, milliseconds since 1970-01-01 UTC.
    pub calendar_ms: u64,
}

/// Start a survey.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StartSurvey {
    /// The host's name for it; not 0.
    pub survey: u64,
    /// Slip asked of each stroke, 0.3° to 1.0°.
    pub slip: Angle,
    /// Whether samples are to be streamed.
    pub stream_samples: bool,
}

/// Choose the pin the next reading belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ChoosePin {
    /// The pin.
    pub pin: Pin,
    /// The operator says that it carries no string.
    pub unstrung: bool,
}

/// Pins in one [`PlanPart`].
pub const PLAN_PART_PIN_COUNT: usize = 32;
/// Pins in a plan at most: more than any piano has.
pub const PLAN_PIN_COUNT_MAX: usize = 256;

/// A part of a plan to be stored on the lever, for a survey without a host. The parts are sent in
/// order; the last one is answered when all of it is in flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PlanPart {
    /// The host's name for it, which its readings carry as their survey; not 0.
    pub plan: u64,
    /// Slip asked of each stroke.
    pub slip: Angle,
    /// Pins of the whole plan, 1 to [`PLAN_PIN_COUNT_MAX`]; 0 takes the stored plan off the lever.
    pub pin_count: u16,
    /// Place of the first pin of this part: 0, 32, 64, …
    pub first: u16,
    /// The pins, in order; `None` behind the last.
    pub pins: [Option<Pin>; PLAN_PART_PIN_COUNT],
}

/// A calibration made on the bench, to be stored on the lever and used from now on. Answered when
/// it is in flash and was read back; sent again as it is, it changes nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct StoreCalibration {
    /// Its number on this lever, not 0; the same number never stands for another calibration.
    pub number: u32,
    /// Bridge zero, counts with 8 fraction bits.
    pub zero_code_q8: i64,
    /// Span, femtonewton-metres per bridge count.
    pub span_femtonewton_metres_per_count: u64,
    /// Moment of the lever's own weight with the handle at right angles to gravity.
    pub weight_moment: Torque,
}

impl StoreCalibration {
    /// The span a lever measures with, N·m per bridge count: the nearest it has. One that no
    /// signed number of 64 bits holds is negative, which no lever takes.
    pub fn span_newton_metres_per_count_f32(&self) -> f32 {
        self.span_femtonewton_metres_per_count as i64 as f32 * 1e-15
    }
}

/// Checksum over a plan's pins in order: CRC-32 over note and number of the string, a byte each.
pub fn plan_checksum(pins: impl Iterator<Item = Pin>) -> u32 {
    let mut digest = crate::CRC32.digest();
    for pin in pins {
        digest.update(&[pin.note, pin.string as u8]);
    }
    digest.finalize()
}

/// Ask for stored records.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pull {
    /// First number wanted.
    pub from: u32,
    /// How many at most.
    pub count_max: u8,
}

/// The host has these records on its disk.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Commit {
    /// Log epoch.
    pub epoch: u32,
    /// First number *not* covered.
    pub floor: u32,
    /// Chain value just below `floor`, see [`crate::record::chain_next`].
    pub chain: u32,
}

/// Bytes of a [`Record`] message beside the record: three numbers and a length at their longest.
const RECORD_MESSAGE_OVERHEAD_BYTES_MAX: usize = 3 * 5 + 2;
/// Bytes of a [`Samples`] message beside the block, every field at its longest.
const SAMPLES_MESSAGE_OVERHEAD_BYTES_MAX: usize = 5 + 1 + 5 + 3 * 3 + 3 + 1 + 2;

const _: () = assert!(
    RECORD_MESSAGE_OVERHEAD_BYTES_MAX + crate::record::RECORD_BYTES_MAX <= frame::BODY_BYTES_MAX
);
const _: () = assert!(
    SAMPLES_MESSAGE_OVERHEAD_BYTES_MAX + crate::block::BLOCK_BYTES_MAX <= frame::BODY_BYTES_MAX
);

fn read<'a, T: Deserialize<'a>>(body: &'a [u8]) -> Result<T, DecodeError> {
    let (message, rest) = postcard::take_from_bytes(body).map_err(|_| DecodeError::Content)?;
    if rest.is_empty() { Ok(message) } else { Err(DecodeError::TrailingBytes) }
}

/// A table of messages: number, name, body.
macro_rules! table {
    ($(#[$meta:meta])* $table:ident $(<$life:lifetime>)? {
        $($(#[$doc:meta])* $number:literal $name:ident($body:ty),)+
    }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum $table $(<$life>)? {
            $($(#[$doc])* $name($body),)+
        }

        impl$(<$life>)? $table $(<$life>)? {
            /// The type number in the frame's header.
            pub const fn kind(&self) -> u8 {
                match self { $($table::$name(_) => $number,)+ }
            }

            /// Writes the whole frame into `destination`; returns its length on the wire.
            ///
            /// # Errors
            /// [`EncodeError`] when the body exceeds [`frame::BODY_BYTES_MAX`] or `destination`
            /// is too short; [`frame::WIRE_BYTES_MAX`] is always enough.
            pub fn encode(
                &self,
                sequence: u16,
                destination: &mut [u8],
            ) -> Result<usize, EncodeError> {
                let body = |room: &mut [u8]| match self {
                    $($table::$name(message) => encode(message, room),)+
                };
                frame::encode(self.kind(), sequence, body, destination)
            }
        }

        impl<'f $(: $life, $life)?> TryFrom<Frame<'f>> for $table $(<$life>)? {
            type Error = DecodeError;

            fn try_from(frame: Frame<'f>) -> Result<Self, DecodeError> {
                match frame.kind {
                    $($number => read(frame.body).map($table::$name),)+
                    other => Err(DecodeError::UnknownType(other)),
                }
            }
        }
    };
}

table! {
    /// What the lever says. Type numbers below 0x80.
    FromLever<'a> {
        /// Who it is.
        0x01 Hello(Hello),
        /// A block of samples.
        0x02 Samples(Samples<'a>),
        /// Present state.
        0x03 Live(Live),
        /// A stored record.
        0x04 Record(Record<'a>),
        /// What became of a command.
        0x05 Reply(Reply),
        /// Counters.
        0x06 Status(Status),
        /// How it is.
        0x07 Health(Health),
        /// The plan stored on it.
        0x08 PlanState(PlanState),
    }
}

table! {
    /// What the host says. Type numbers from 0x80.
    FromHost {
        /// Open a conversation; the lever answers with [`Hello`].
        0x81 Greet(Greet),
        /// Start a survey.
        0x82 StartSurvey(StartSurvey),
        /// End the survey in progress.
        0x83 StopSurvey(()),
        /// Choose a pin.
        0x84 ChoosePin(ChoosePin),
        /// Take the zero: the lever is held still, off the pin.
        0x85 Zero(()),
        /// Send records again.
        0x86 Pull(Pull),
        /// Records are on the host's disk.
        0x87 Commit(Commit),
        /// Send the counters.
        0x88 AskStatus(()),
        /// Store a part of a plan.
        0x89 PlanPart(PlanPart),
        /// Send the health.
        0x8a AskHealth(()),
        /// Send where the stored plan stands.
        0x8b AskPlan(()),
        /// Store a calibration.
        0x8c StoreCalibration(StoreCalibration),
    }
}
