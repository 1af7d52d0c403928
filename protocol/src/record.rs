//! What one pin's strokes say: the reading, its strokes, and the bytes it is kept as.
//!
//! Wire form and flash form are the same: one version byte, then the postcard encoding of the
//! version's type. Deliberately not here: how a stroke is found (the lever's core), and any
//! judgement of a reading (the host's analysis).
//!
//! Invariant: enums are append-only, and a changed struct gets a new version byte, an old reader
//! and a new one; postcard has no defaults for missing fields.

use heapless::Vec;
use serde::{Deserialize, Serialize};

use crate::CRC32;
use crate::encoding::encode;
use crate::error::{DecodeError, EncodeError};
use crate::units::{Angle, DeviceTime, Stiffness, Torque};

/// Lowest note number, A0.
pub const NOTE_MIN: u8 = 1;
/// Highest note number of an 88-note compass, C8.
pub const NOTE_MAX: u8 = 88;
/// Strokes one reading can hold: flat, sharp, set, and one repeat.
pub const STROKE_COUNT_MAX: usize = 4;
/// Version byte of the record this library writes.
pub const RECORD_VERSION: u8 = 1;
/// Longest encoded record, version byte included: 374 bytes with every number at its longest, up
/// to a whole number of flash words.
pub const RECORD_BYTES_MAX: usize = 376;

/// Which string of its unison a pin carries, seen from the player: left is the bass side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum StringPosition {
    /// Left string of two or three.
    Left,
    /// The single string of a monochord, or the centre of three.
    Centre,
    /// Right string of two or three.
    Right,
    /// Fourth string of a four-string unison.
    Fourth,
}

impl StringPosition {
    /// The trade's letter: L, C, R; D for a fourth string.
    pub const fn letter(self) -> char {
        match self {
            StringPosition::Left => 'L',
            StringPosition::Centre => 'C',
            StringPosition::Right => 'R',
            StringPosition::Fourth => 'D',
        }
    }

    /// From the trade's letter, upper or lower case.
    pub const fn from_letter(letter: char) -> Option<StringPosition> {
        match letter {
            'L' | 'l' => Some(StringPosition::Left),
            'C' | 'c' => Some(StringPosition::Centre),
            'R' | 'r' => Some(StringPosition::Right),
            'D' | 'd' => Some(StringPosition::Fourth),
            _ => None,
        }
    }
}

/// A tuning pin, named by note number from A0 = 1 and string.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Pin {
    /// Note number, 1 (A0) to 88 (C8).
    pub note: u8,
    /// String of the unison.
    pub string: StringPosition,
}

/// Which way the foot of the pin moved, judged by motion and never by the torque's sign.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Direction {
    /// Lowering the pitch; counter-clockwise seen from the pin's head.
    Flat,
    /// Raising the pitch; clockwise seen from the pin's head.
    Sharp,
}

/// How the torque let go at breakaway.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Knee {
    /// A sharp corner, torque falling behind it.
    Crisp,
    /// A rounded corner: the embedded part lets go from the top down.
    Rounded,
    /// No corner found: spongy, as a doped or oily pin feels.
    Absent,
}

/// Bits of [`Stroke::flags`].
pub mod stroke_flags {
    /// First movement in this direction since the pin was seated: an aged break.
    pub const FIRST_BREAK: u16 = 1 << 0;
    /// Slip shorter than 0.3° or 0.3 s: no running torque.
    pub const SLIP_TOO_SHORT: u16 = 1 << 1;
    /// Stick-slip: the pin moved in jumps.
    pub const JUMPY: u16 = 1 << 2;
    /// The string drove the pin: it ran flat while the hand held it back.
    pub const DRIVEN_BY_STRING: u16 = 1 << 3;
    /// Lever torque passed the warning limit of 20 N·m.
    pub const HARD: u16 = 1 << 4;
    /// The bridge converter saturated or samples were missing.
    pub const SAMPLES_SPOILED: u16 = 1 << 5;
    /// The torque fell faster than a pin unloads: the lever slipped off.
    pub const LEVER_SLIPPED: u16 = 1 << 6;
    /// The hand jerked: rate beyond what running torque is defined for.
    pub const JERK: u16 = 1 << 7;
    /// The foot moved further than asked.
    pub const TOO_FAR: u16 = 1 << 8;
}

/// One loading of one pin in one direction.
///
/// Torques are positive in the stroke's own direction of motion; a negative one means the string
/// drove the pin.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stroke {
    /// Direction the foot moved, or was loaded towards when it did not move.
    pub direction: Direction,
    /// Torque at the knee, where the foot let go.
    pub breakaway: Option<Torque>,
    /// Robust location of the torque while the foot slipped; `None` when the slip was too short.
    pub running: Option<Torque>,
    /// Standard deviation of the torque about its trend while the foot slipped.
    pub running_scatter: Torque,
    /// Change of torque per radian of foot rotation over the slip, own direction; 0 when unknown.
    pub running_slope_micronewton_metres_per_radian: i32,
    /// Head angle at the middle of the slip less its elastic twist: the foot angle that
    /// `running` belongs to, sharp positive, from the angle at which the pin was seated.
    pub running_angle: Angle,
    /// Slope of the elastic ramp, lever torque over head angle.
    pub ramp_stiffness: Option<Stiffness>,
    /// Foot rotation, own direction positive.
    pub slip: Angle,
    /// Largest magnitude of lever torque, own direction positive.
    pub peak: Torque,
    /// Shape of the breakaway.
    pub knee: Knee,
    /// Swing of the torque over the slip after its trend is removed, in thousandths of running
    /// torque (robust range); high when the pin moves in jumps.
    pub stick_slip_permille: u16,
    /// Time at rest before this stroke, milliseconds.
    pub rest_before_ms: u32,
    /// From leaving rest to rest again, milliseconds.
    pub duration_ms: u32,
    /// Time in slip, milliseconds.
    pub slip_ms: u32,
    /// Samples in the stroke.
    pub sample_count: u32,
    /// Bits of [`stroke_flags`].
    pub flags: u16,
}

/// What kind of result a reading is. Odd pins are results with words of their own, not errors.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Outcome {
    /// Running torque both ways: friction and string moment measured.
    Measured,
    /// Running torque one way only, flat.
    FlatOnly,
    /// Running torque one way only, sharp.
    SharpOnly,
    /// The foot broke away but did not slip long enough for running torque.
    BreakawayOnly,
    /// The foot did not move at the largest torque applied: friction is above a limit.
    AboveLimit,
    /// The pin moved while the lever was being seated, before any stroke.
    MovedOnSeating,
    /// No stroke fit to report: repeat please.
    Spoiled,
}

/// Bits of [`Reading::flags`].
pub mod reading_flags {
    /// The string drove the pin flat while the hand held it back: running friction below the
    /// string's moment.
    pub const NOT_HOLDING: u16 = 1 << 0;
    /// The pin moved in jumps; running torque is the mean over them.
    pub const JUMPY: u16 = 1 << 1;
    /// First break far above running torque: aged, rusted or glued.
    pub const HIGH_FIRST_BREAK: u16 = 1 << 2;
    /// Measured string moment under a quarter of the least any sounding string has.
    pub const SLACK: u16 = 1 << 3;
    /// The operator said that no string is on the pin.
    pub const UNSTRUNG: u16 = 1 << 4;
    /// Turned on seating before the first stroke.
    pub const MOVED_ON_SEATING: u16 = 1 << 5;
    /// No clear knee: spongy.
    pub const SPONGY: u16 = 1 << 6;
    /// Lever torque passed 20 N·m.
    pub const HARD: u16 = 1 << 7;
    /// The foot went further than asked.
    pub const TOO_FAR: u16 = 1 << 8;
    /// Net rotation beyond what a touch-up expects: retune this string.
    pub const RETUNE: u16 = 1 << 9;
    /// The lever was not zeroed since power-up.
    pub const NOT_ZEROED: u16 = 1 << 10;
}

/// Whether the raw samples behind a reading were all sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum SampleCoverage {
    /// None were sent.
    None,
    /// Some blocks were dropped; replay may differ.
    WithGaps,
    /// All were sent: replay gives the same bits.
    Complete,
}

/// What one pin's strokes say, as the lever formed it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reading {
    /// Survey or plan it belongs to, as the host named it; 0 is unassigned.
    pub survey: u64,
    /// The pin; [`crate::content::UNASSIGNED`] only where the survey is.
    pub pin: Pin,
    /// When the lever was first at rest on the pin.
    pub started: DeviceTime,
    /// From then to acceptance, milliseconds.
    pub duration_ms: u32,
    /// What kind of result this is.
    pub outcome: Outcome,
    /// Bits of [`reading_flags`].
    pub flags: u16,
    /// Friction F: half sum of sharp and flat running torque at the same foot angle.
    pub friction: Option<Torque>,
    /// Measured string moment M: half difference of the same two.
    pub string_moment: Option<Torque>,
    /// Sharp running torque brought to the matched foot angle.
    pub sharp: Option<Torque>,
    /// Flat running torque brought to the matched foot angle; negative when the string drove.
    pub flat: Option<Torque>,
    /// Coil rotation from before the first stroke to after the last, at the same small torque.
    pub net_rotation: Angle,
    /// Farthest coil rotation flat of where the pin was found (zero or negative).
    pub excursion_flat: Angle,
    /// Farthest coil rotation sharp of where the pin was found (zero or positive).
    pub excursion_sharp: Angle,
    /// Lever temperature, hundredths of a degree Celsius.
    pub temperature_centi_celsius: i16,
    /// Acceleration at rest in the lever's frame, thousandths of standard gravity.
    pub attitude_milli_g: [i16; 3],
    /// Number of the calibration in force.
    pub calibration: u32,
    /// Whether all raw samples were sent.
    pub samples: SampleCoverage,
    /// The strokes, in time.
    pub strokes: Vec<Stroke, STROKE_COUNT_MAX>,
}

impl Pin {
    /// Whether the note is one of the 88 this version knows.
    pub const fn is_known(self) -> bool {
        self.note >= NOTE_MIN && self.note <= NOTE_MAX
    }
}

/// Writes the record of `reading` into `destination`; returns its length in bytes.
///
/// # Errors
/// [`EncodeError`] when `destination` is shorter than the record;
/// [`RECORD_BYTES_MAX`] is always enough.
pub fn encode_record(reading: &Reading, destination: &mut [u8]) -> Result<usize, EncodeError> {
    let (version, body) = destination.split_first_mut().ok_or(EncodeError)?;
    *version = RECORD_VERSION;
    let body_len = encode(reading, body)?;
    Ok(1 + body_len)
}

/// Reads a record back.
///
/// # Errors
/// [`DecodeError::Version`] for a record this library is too old for, [`DecodeError::Content`]
/// for anything that is not a reading, [`DecodeError::TrailingBytes`] when bytes are left over.
pub fn decode_record(bytes: &[u8]) -> Result<Reading, DecodeError> {
    let (version, body) = bytes.split_first().ok_or(DecodeError::Content)?;
    if *version != RECORD_VERSION {
        return Err(DecodeError::Version(*version));
    }
    let (reading, rest) =
        postcard::take_from_bytes::<Reading>(body).map_err(|_| DecodeError::Content)?;
    if !rest.is_empty() {
        return Err(DecodeError::TrailingBytes);
    }
    // Without a plan nobody has said yet which pin it was.
    let unassigned = reading.survey == 0 && reading.pin.is_unassigned();
    if reading.pin.is_known() || unassigned { Ok(reading) } else { Err(DecodeError::Content) }
}

/// Checksum a record is kept and sent with: CRC-32 over epoch, number and the record's bytes, so
/// that a record can't be taken for another one.
pub fn record_checksum(epoch: u32, number: u32, bytes: &[u8]) -> u32 {
    let mut digest = CRC32.digest();
    digest.update(&epoch.to_le_bytes());
    digest.update(&number.to_le_bytes());
    digest.update(bytes);
    digest.finalize()
}

/// Chain value of an epoch before its first record.
pub fn chain_start(device: u64, epoch: u32) -> u32 {
    let mut digest = CRC32.digest();
    digest.update(&device.to_le_bytes());
    digest.update(&epoch.to_le_bytes());
    digest.finalize()
}

/// Chain value behind a record, from the value before it and the record's checksum.
///
/// Both sides keep it; a commit quotes it, so a host that holds other records than the lever
/// cannot make the lever forget its own.
pub fn chain_next(chain: u32, checksum: u32) -> u32 {
    let mut digest = CRC32.digest();
    digest.update(&chain.to_le_bytes());
    digest.update(&checksum.to_le_bytes());
    digest.finalize()
}
