//! What passes over the sensor feed, UART1: the world's samples in, and a log of the core's inputs
//! out.
//!
//! Every frame is a kind byte and a body of known length, whole numbers least significant byte
//! first. The line is a socket and loses nothing, so there is no checksum; an unknown kind or an
//! impossible count stops the board with [`FromBoard::Halted`]. Only a reset cuts frames short, in
//! both directions: what follows it begins with [`SYNC`], and what stands before that is skipped.
//! So the board sends it before *ready* and waits for it before *hello*.
//!
//! | kind | direction | frame | body |
//! |---|---|---|---|
//! | 0x01 | to board | hello | device u64, epoch u32, sample period ns u32 |
//! | 0x02 | to board | samples | count u8 (1–40), then per sample bridge i32, rate i16 |
//! | 0x03 | to board | motion | acceleration x, y, z i16 (milli-g), temperature i16 (0.01 °C) |
//! | 0x04 | to board | missed | samples missed u32 |
//! | 0x05 | to board | end of batch | none |
//! | 0x81 | from board | ready | none; the board started and waits for hello |
//! | 0x82 | from board | credit | input count u32; a batch is consumed, send the next |
//! | 0x83 | from board | signals | input count u32, lamp, beep, note (0: none), string, each u8 |
//! | 0x84 | from board | received | length u8 (1–64), input count u32, the bytes from the host |
//! | 0x85 | from board | sent | input count u32, count of bytes sent u16 |
//! | 0x86 | from board | halted | reason u8 |
//!
//! Time on this board is the samples: `now` is (samples + missed) × sample period, counted from
//! where [`clock_start`](crate::flash::clock_start) says, so a run is repeated exactly by
//! repeating its inputs on the same flash. The *input count* is the number of samples, motions
//! and misses handed to the core before the event. Samples from the harness and the frames
//! received, sent and signals together are the whole input log of the core: replaying it natively
//! gives the same outputs, bit for bit.
//!
//! Deliberately not here: what the harness simulates, and registers.

use pinhold_lever::{Lamp, RawMotion, RawSample, Signals};
use pinhold_protocol::error::Fault;
use pinhold_protocol::record::{Pin, StringPosition};

/// Most samples in one frame.
pub const SAMPLE_COUNT_MAX: usize = 40;
/// Most bytes from the host in one frame.
pub const RECEIVED_BYTES_MAX: usize = 64;
/// Longest frame, kind byte included.
pub const FRAME_BYTES_MAX: usize = 2 + SAMPLE_COUNT_MAX * SAMPLE_BYTES;
/// Longest frame from the board, kind byte included.
pub const FROM_BOARD_BYTES_MAX: usize = 2 + 4 + RECEIVED_BYTES_MAX;

/// What comes first after a start: no frame holds it but by a chance nobody will see.
pub const SYNC: [u8; 8] = [0xff, 0xff, 0xff, 0xff, 0x00, b'p', b'i', b'n'];

const SAMPLE_BYTES: usize = 6;
const _: () = assert!(FROM_BOARD_BYTES_MAX <= FRAME_BYTES_MAX);
const _: () = assert!(SAMPLE_COUNT_MAX <= u8::MAX as usize && RECEIVED_BYTES_MAX <= 0xff);

const HELLO: u8 = 0x01;
const SAMPLES: u8 = 0x02;
const MOTION: u8 = 0x03;
const MISSED: u8 = 0x04;
const END_OF_BATCH: u8 = 0x05;
const READY: u8 = 0x81;
const CREDIT: u8 = 0x82;
const SIGNALS: u8 = 0x83;
const RECEIVED: u8 = 0x84;
const SENT: u8 = 0x85;
const HALTED: u8 = 0x86;

/// Why the feed could not be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FeedError {
    /// No frame has this kind byte.
    Kind(u8),
    /// A count of 0 or above the frame's maximum.
    Count(u8),
    /// A field holds a value it cannot have.
    Field,
}

/// A frame from the harness.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum ToBoard<'a> {
    /// Who the board is to be; must come first.
    Hello {
        /// Device identity.
        device: u64,
        /// Log epoch.
        epoch: u32,
        /// Sample period, nanoseconds.
        sample_period_ns: u32,
    },
    /// Samples in time.
    Samples(Samples<'a>),
    /// Attitude and temperature.
    Motion(RawMotion),
    /// This many samples were missed.
    Missed(u32),
    /// Answer with a credit when everything before is consumed.
    EndOfBatch,
}

/// Samples as they lie in a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Samples<'a>(&'a [u8]);

impl<'a> Samples<'a> {
    /// The samples, oldest first.
    pub fn iter(self) -> impl Iterator<Item = RawSample> + 'a {
        self.0.chunks_exact(SAMPLE_BYTES).filter_map(|bytes| {
            let (bridge, rate) = bytes.split_first_chunk::<4>()?;
            Some(RawSample {
                bridge_code: i32::from_le_bytes(*bridge),
                rate_count: i16::from_le_bytes(*rate.first_chunk::<2>()?),
            })
        })
    }
}

/// Why the board stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Halt {
    /// A panic.
    Panic,
    /// A processor fault.
    Fault,
    /// The feed was malformed.
    Feed,
    /// The file that holds the flash can neither be opened nor made.
    FlashFile,
    /// The file that holds the flash is of another length.
    FlashLength,
}

/// A frame from the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FromBoard<'a> {
    /// Started, waiting for hello.
    Ready,
    /// A batch is consumed.
    Credit {
        /// Inputs handed to the core so far.
        input_count: u32,
    },
    /// The core's signals changed.
    Signals {
        /// Inputs handed to the core so far.
        input_count: u32,
        /// What they are now.
        signals: Signals,
    },
    /// The core was handed bytes from the host.
    Received {
        /// Inputs handed to the core before.
        input_count: u32,
        /// The bytes.
        bytes: &'a [u8],
    },
    /// The core was told that pending bytes are sent.
    Sent {
        /// Inputs handed to the core before.
        input_count: u32,
        /// How many bytes.
        byte_count: u16,
    },
    /// The board stopped for good.
    Halted(Halt),
}

/// A frame of either direction, by its kind byte.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Frame<'a> {
    /// From the harness.
    ToBoard(ToBoard<'a>),
    /// From the board.
    FromBoard(FromBoard<'a>),
}

/// Lamp codes from here on are faults by number.
const LAMP_FAULT_CODE: u8 = 32;

/// The lamp's number on the feed.
pub const fn lamp_code(lamp: Lamp) -> u8 {
    match lamp {
        Lamp::Idle => 0,
        Lamp::Seat => 1,
        Lamp::Ready => 2,
        Lamp::Moving => 3,
        Lamp::Accepted => 4,
        Lamp::Repeat => 5,
        Lamp::Hard => 6,
        Lamp::Stop => 7,
        Lamp::TooFar => 8,
        Lamp::Zero => 9,
        Lamp::Full => 10,
        Lamp::BatteryLow => 11,
        Lamp::Fault(fault) => LAMP_FAULT_CODE + fault as u8,
    }
}

fn fault_from_code(code: u8) -> Option<Lamp> {
    let number = code.checked_sub(LAMP_FAULT_CODE)?;
    Fault::ALL.get(usize::from(number)).map(|fault| Lamp::Fault(*fault))
}

fn lamp_from_code(code: u8) -> Option<Lamp> {
    Some(match code {
        0 => Lamp::Idle,
        1 => Lamp::Seat,
        2 => Lamp::Ready,
        3 => Lamp::Moving,
        4 => Lamp::Accepted,
        5 => Lamp::Repeat,
        6 => Lamp::Hard,
        7 => Lamp::Stop,
        8 => Lamp::TooFar,
        9 => Lamp::Zero,
        10 => Lamp::Full,
        11 => Lamp::BatteryLow,
        code => return fault_from_code(code),
    })
}

const fn halt_code(halt: Halt) -> u8 {
    match halt {
        Halt::Panic => 1,
        Halt::Fault => 2,
        Halt::Feed => 3,
        Halt::FlashFile => 4,
        Halt::FlashLength => 5,
    }
}

/// Writes a frame of samples, at most [`SAMPLE_COUNT_MAX`]; more are cut off.
pub fn write_samples(samples: &[RawSample], mut put: impl FnMut(u8)) {
    let taken = samples.get(..SAMPLE_COUNT_MAX).unwrap_or(samples);
    put(SAMPLES);
    put(taken.len() as u8);
    for sample in taken {
        sample.bridge_code.to_le_bytes().into_iter().for_each(&mut put);
        sample.rate_count.to_le_bytes().into_iter().for_each(&mut put);
    }
}

impl ToBoard<'_> {
    /// Writes the frame byte by byte.
    pub fn write(&self, mut put: impl FnMut(u8)) {
        let mut all = |kind: u8, parts: &[&[u8]]| {
            put(kind);
            parts.iter().flat_map(|part| part.iter()).for_each(|byte| put(*byte));
        };
        match self {
            ToBoard::Hello { device, epoch, sample_period_ns } => all(
                HELLO,
                &[&device.to_le_bytes(), &epoch.to_le_bytes(), &sample_period_ns.to_le_bytes()],
            ),
            ToBoard::Samples(samples) => {
                all(SAMPLES, &[&[(samples.0.len() / SAMPLE_BYTES) as u8], samples.0]);
            }
            ToBoard::Motion(motion) => {
                let [x, y, z] = motion.acceleration_milli_g.map(i16::to_le_bytes);
                all(MOTION, &[&x, &y, &z, &motion.temperature_centi_celsius.to_le_bytes()]);
            }
            ToBoard::Missed(count) => all(MISSED, &[&count.to_le_bytes()]),
            ToBoard::EndOfBatch => all(END_OF_BATCH, &[]),
        }
    }
}

impl FromBoard<'_> {
    /// Writes the frame byte by byte, at most [`FROM_BOARD_BYTES_MAX`].
    pub fn write(&self, mut put: impl FnMut(u8)) {
        let mut all = |kind: u8, parts: &[&[u8]]| {
            put(kind);
            parts.iter().flat_map(|part| part.iter()).for_each(|byte| put(*byte));
        };
        match self {
            FromBoard::Ready => all(READY, &[]),
            FromBoard::Credit { input_count } => all(CREDIT, &[&input_count.to_le_bytes()]),
            FromBoard::Signals { input_count, signals } => {
                let (note, string) =
                    signals.pin.map_or((0, 0), |pin| (pin.note, pin.string.letter() as u8));
                let rest = [lamp_code(signals.lamp), u8::from(signals.beep), note, string];
                all(SIGNALS, &[&input_count.to_le_bytes(), &rest]);
            }
            FromBoard::Received { input_count, bytes } => {
                let taken = bytes.get(..RECEIVED_BYTES_MAX).unwrap_or(bytes);
                all(RECEIVED, &[&[taken.len() as u8], &input_count.to_le_bytes(), taken]);
            }
            FromBoard::Sent { input_count, byte_count } => {
                all(SENT, &[&input_count.to_le_bytes(), &byte_count.to_le_bytes()]);
            }
            FromBoard::Halted(halt) => all(HALTED, &[&[halt_code(*halt)]]),
        }
    }
}

/// Bytes of a frame still wanted, given its first bytes; kind byte and count byte included.
fn frame_len(start: &[u8]) -> Result<usize, FeedError> {
    let counted = |fixed: usize, unit: usize, count_max: usize| match start.get(1) {
        None => Ok(2),
        Some(&count) if count == 0 || usize::from(count) > count_max => {
            Err(FeedError::Count(count))
        }
        Some(&count) => Ok(2 + fixed + usize::from(count) * unit),
    };
    match start.first() {
        None => Ok(1),
        Some(&HELLO) => Ok(1 + 16),
        Some(&SAMPLES) => counted(0, SAMPLE_BYTES, SAMPLE_COUNT_MAX),
        Some(&MOTION | &SIGNALS) => Ok(1 + 8),
        Some(&MISSED | &CREDIT) => Ok(1 + 4),
        Some(&END_OF_BATCH | &READY) => Ok(1),
        Some(&RECEIVED) => counted(4, 1, RECEIVED_BYTES_MAX),
        Some(&SENT) => Ok(1 + 6),
        Some(&HALTED) => Ok(1 + 1),
        Some(&kind) => Err(FeedError::Kind(kind)),
    }
}

/// Takes whole numbers off the front of a frame.
struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    fn take<const LEN: usize>(&mut self) -> Result<[u8; LEN], FeedError> {
        let (head, rest) = self.0.split_first_chunk::<LEN>().ok_or(FeedError::Field)?;
        self.0 = rest;
        Ok(*head)
    }

    fn u8(&mut self) -> Result<u8, FeedError> {
        self.take::<1>().map(|[byte]| byte)
    }

    fn u32(&mut self) -> Result<u32, FeedError> {
        self.take().map(u32::from_le_bytes)
    }

    fn i16(&mut self) -> Result<i16, FeedError> {
        self.take().map(i16::from_le_bytes)
    }

    fn signals(&mut self) -> Result<Signals, FeedError> {
        let lamp = lamp_from_code(self.u8()?).ok_or(FeedError::Field)?;
        let beep = self.u8()? != 0;
        let (note, string) = (self.u8()?, self.u8()?);
        let pin = match (note, StringPosition::from_letter(char::from(string))) {
            (0, None) => None,
            (note, Some(string)) => Some(Pin { note, string }),
            (_, None) => return Err(FeedError::Field),
        };
        Ok(Signals { lamp, beep, pin, asleep: false })
    }
}

fn decode(frame: &[u8]) -> Result<Frame<'_>, FeedError> {
    let mut fields = Fields(frame);
    let from_board = match fields.u8()? {
        HELLO => {
            return Ok(Frame::ToBoard(ToBoard::Hello {
                device: fields.take().map(u64::from_le_bytes)?,
                epoch: fields.u32()?,
                sample_period_ns: fields.u32()?,
            }));
        }
        SAMPLES => {
            fields.u8()?;
            return Ok(Frame::ToBoard(ToBoard::Samples(Samples(fields.0))));
        }
        MOTION => {
            return Ok(Frame::ToBoard(ToBoard::Motion(RawMotion {
                acceleration_milli_g: [fields.i16()?, fields.i16()?, fields.i16()?],
                temperature_centi_celsius: fields.i16()?,
            })));
        }
        MISSED => return Ok(Frame::ToBoard(ToBoard::Missed(fields.u32()?))),
        END_OF_BATCH => return Ok(Frame::ToBoard(ToBoard::EndOfBatch)),
        READY => FromBoard::Ready,
        CREDIT => FromBoard::Credit { input_count: fields.u32()? },
        SIGNALS => FromBoard::Signals { input_count: fields.u32()?, signals: fields.signals()? },
        RECEIVED => {
            fields.u8()?;
            FromBoard::Received { input_count: fields.u32()?, bytes: fields.0 }
        }
        SENT => FromBoard::Sent {
            input_count: fields.u32()?,
            byte_count: fields.take().map(u16::from_le_bytes)?,
        },
        HALTED => FromBoard::Halted(match fields.u8()? {
            1 => Halt::Panic,
            2 => Halt::Fault,
            3 => Halt::Feed,
            4 => Halt::FlashFile,
            5 => Halt::FlashLength,
            _ => return Err(FeedError::Field),
        }),
        kind => return Err(FeedError::Kind(kind)),
    };
    Ok(Frame::FromBoard(from_board))
}

/// Waits for [`SYNC`] among bytes that mean nothing.
#[derive(Clone, Debug, Default)]
pub struct SyncFinder {
    last: [u8; SYNC.len()],
}

impl SyncFinder {
    /// Takes one byte; whether it ends a [`SYNC`].
    pub fn push(&mut self, byte: u8) -> bool {
        self.last.rotate_left(1);
        if let Some(last) = self.last.last_mut() {
            *last = byte;
        }
        self.last == SYNC
    }
}

/// Collects bytes into frames.
#[derive(Clone, Debug)]
pub struct FeedReader {
    buffer: [u8; FRAME_BYTES_MAX],
    fill: usize,
}

impl Default for FeedReader {
    fn default() -> Self {
        FeedReader::new()
    }
}

impl FeedReader {
    /// An empty reader.
    pub const fn new() -> FeedReader {
        FeedReader { buffer: [0; FRAME_BYTES_MAX], fill: 0 }
    }

    /// Takes one byte; gives the frame that it ends.
    ///
    /// # Errors
    /// [`FeedError`] at the first byte that no frame can have there; the stream is then lost.
    pub fn push(&mut self, byte: u8) -> Result<Option<Frame<'_>>, FeedError> {
        *self.buffer.get_mut(self.fill).ok_or(FeedError::Field)? = byte;
        self.fill += 1;
        let fill = self.fill;
        let frame = self.buffer.get(..fill).ok_or(FeedError::Field)?;
        if frame_len(frame)? > fill {
            return Ok(None);
        }
        self.fill = 0;
        decode(frame).map(Some)
    }
}

#[cfg(test)]
mod tests;
