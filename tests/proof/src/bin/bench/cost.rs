//! What is measured: the committed stretch of survey, and each thing a lever does now and then.

use core::fmt::{self, Write};
use core::hint::black_box;
use core::mem::MaybeUninit;

use pinhold_lever::log::{FlashLog, RecordLog};
use pinhold_lever::sample::rounded;
use pinhold_lever::{Identity, Input, Lever, RawMotion, RawSample};
use pinhold_proof::flash::RamFlash;
use pinhold_protocol::block::{self, BLOCK_BYTES_MAX, BLOCK_SAMPLE_COUNT_MAX};
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{
    ChoosePin, FromHost, FromLever, Greet, Pull, Samples, StartSurvey,
};
use pinhold_protocol::record::{
    Pin, RECORD_BYTES_MAX, Reading, StringPosition, decode_record, encode_record,
};
use pinhold_protocol::units::{Angle, DeviceTime};

use crate::board::{Console, Counter, instructions, stack_bytes};

/// 64 s of simulated survey; the README beside it states layout and noise.
static SIGNAL: &[u8] = include_bytes!("../../../../fixtures/signal/survey_64s.bin");
/// Bytes of a group: 64 samples and an attitude.
const GROUP_BYTES: usize = 328;
/// When the survey begins with its zero, milliseconds into the file: the hand holds still by then.
const ZERO_MS: u64 = 400;
/// When the first pin is chosen.
const FIRST_PIN_MS: u64 = 1200;
/// Records written to and read from the flash log.
const RECORD_COUNT: u32 = 16;
/// As every lever of the bench has it.
const IDENTITY: Identity =
    Identity { device: 0x0123_4567_89ab_cdef, epoch: 3, sample_period_ns: 1_000_000 };

type LogInFlash<'a> = FlashLog<&'a mut RamFlash>;

/// The file's groups: samples, and the attitude that comes with the last.
fn groups() -> impl Iterator<Item = ([RawSample; BLOCK_SAMPLE_COUNT_MAX], RawMotion)> {
    SIGNAL.chunks_exact(GROUP_BYTES).map(|group| {
        let mut samples = [RawSample::default(); BLOCK_SAMPLE_COUNT_MAX];
        for (slot, bytes) in samples.iter_mut().zip(group.chunks_exact(5)) {
            *slot = RawSample {
                bridge_code: i32::from_le_bytes([0, bytes[0], bytes[1], bytes[2]]) >> 8,
                rate_count: i16::from_le_bytes([bytes[3], bytes[4]]),
            };
        }
        let word = |at: usize| i16::from_le_bytes([group[320 + at], group[321 + at]]);
        let motion = RawMotion {
            acceleration_milli_g: [word(0), word(2), word(4)],
            temperature_centi_celsius: word(6),
        };
        (samples, motion)
    })
}

fn command(message: FromHost, wire: &mut [u8; WIRE_BYTES_MAX]) -> &[u8] {
    let length = message.encode(0, wire).expect("every message fits");
    &wire[..length]
}

/// A technician who chooses the next pin whenever the lever has none.
struct Survey<'a, L> {
    lever: &'a mut Lever<L>,
    now_ms: u64,
}

/// Ticks of the samples of a survey.
#[derive(Default)]
struct Played {
    ticks: u64,
    sample_count: u64,
    ticks_max: u64,
}

impl<'a, L: RecordLog> Survey<'a, L> {
    fn new(lever: &'a mut Lever<L>, stream_samples: bool) -> Survey<'a, L> {
        let mut survey = Survey { lever, now_ms: 0 };
        let slip = Angle::from_microradians(8_727);
        survey.say(FromHost::StartSurvey(StartSurvey { survey: 7, slip, stream_samples }));
        survey
    }

    fn now(&self) -> DeviceTime {
        DeviceTime::from_microseconds(self.now_ms * 1000)
    }

    fn say(&mut self, message: FromHost) {
        let mut wire = [0; WIRE_BYTES_MAX];
        let now = self.now();
        self.lever.step(now, Input::Received(command(message, &mut wire)));
        self.drain();
    }

    fn drain(&mut self) {
        let byte_count = self.lever.pending().len();
        self.lever.sent(byte_count);
    }

    /// Plays the whole file; each sample is counted from being handed over to its bytes being
    /// taken.
    fn play(&mut self, counter: &mut Counter) -> Played {
        let mut played = Played::default();
        for (samples, motion) in groups() {
            for (place, sample) in samples.into_iter().enumerate() {
                if place + 1 == samples.len() {
                    let now = self.now();
                    self.lever.step(now, Input::Motion(motion));
                }
                self.now_ms += 1;
                let now = self.now();
                let mut signals = None;
                let ticks = counter.count(|| {
                    signals = Some(self.lever.step(now, Input::Sample(black_box(sample))));
                    let byte_count = black_box(self.lever.pending()).len();
                    self.lever.sent(byte_count);
                });
                played.ticks += ticks;
                played.ticks_max = played.ticks_max.max(ticks);
                played.sample_count += 1;
                let waits = signals.is_some_and(|signals| signals.pin.is_none());
                if self.now_ms == ZERO_MS {
                    self.say(FromHost::Zero(()));
                } else if waits && self.now_ms >= FIRST_PIN_MS {
                    self.choose();
                }
            }
        }
        played
    }

    fn choose(&mut self) {
        let number = self.lever.log_mut().next_number();
        let pin = Pin { note: 1 + number as u8, string: StringPosition::Left };
        self.say(FromHost::ChoosePin(ChoosePin { pin, unstrung: false }));
    }

    fn last_reading(&mut self) -> Reading {
        let mut buffer = [0; RECORD_BYTES_MAX];
        let number = self.lever.log_mut().next_number() - 1;
        let stored = self.lever.log_mut().get(number, &mut buffer).expect("kept just now");
        decode_record(&buffer[..stored.byte_count]).expect("a reading")
    }
}

/// One line: a name, and a number with one decimal for `count` of them.
fn line(out: &mut Console, name: &str, sum: u64, count: u64) -> fmt::Result {
    let tenths = (sum * 10 + count / 2) / count;
    writeln!(out, "{name:<48}{:>9}.{}", tenths / 10, tenths % 10)
}

/// Measures everything and says it, a line each.
pub(crate) fn report(counter: &mut Counter, out: &mut Console) -> fmt::Result {
    blocks(counter, out)?;
    let mut reading = None;
    for (name, longest, stream_samples) in [
        ("sample, streaming", "sample, streaming, longest step", true),
        ("sample, not streaming", "sample, not streaming, longest step", false),
    ] {
        let mut lever = Lever::new(IDENTITY);
        let mut survey = Survey::new(&mut lever, stream_samples);
        let played = survey.play(counter);
        line(out, name, instructions(played.ticks), played.sample_count)?;
        line(out, longest, instructions(played.ticks_max), 1)?;
        line(out, "  readings in it", survey.lever.log_mut().next_number().into(), 1)?;
        reading = Some(survey.last_reading());
    }
    let reading = reading.expect("a survey with readings");
    records(counter, out, &reading)?;
    commands(counter, out)?;
    stack(counter, out)
}

/// Coding and framing of the file's blocks.
fn blocks(counter: &mut Counter, out: &mut Console) -> fmt::Result {
    let (mut coding_ticks, mut framing_ticks, mut count) = (0, 0, 0);
    for (samples, motion) in groups() {
        let samples = samples.map(rounded);
        let mut data = [0; BLOCK_BYTES_MAX];
        let mut used = (0, 0);
        coding_ticks += counter.count(|| {
            used = block::encode(black_box(&samples), &mut data).expect("a block always fits");
        });
        let message = FromLever::Samples(Samples {
            first_index: count * BLOCK_SAMPLE_COUNT_MAX as u32,
            count: BLOCK_SAMPLE_COUNT_MAX as u8,
            dropped_block_count: 0,
            acceleration_milli_g: motion.acceleration_milli_g,
            temperature_centi_celsius: motion.temperature_centi_celsius,
            coding: used.0,
            data: &data[..used.1],
        });
        let mut wire = [0; WIRE_BYTES_MAX];
        framing_ticks += counter.count(|| {
            black_box(black_box(&message).encode(1, &mut wire)).expect("a frame always fits");
        });
        count += 1;
    }
    let sample_count = u64::from(count) * BLOCK_SAMPLE_COUNT_MAX as u64;
    line(out, "block coding, a sample", instructions(coding_ticks), sample_count)?;
    line(out, "framing, a block", instructions(framing_ticks), count.into())
}

/// One record, encoded, written to flash and read back.
fn records(counter: &mut Counter, out: &mut Console, reading: &Reading) -> fmt::Result {
    let mut buffer = [0; RECORD_BYTES_MAX];
    let mut length = 0;
    let ticks = counter.count(|| {
        length = encode_record(black_box(reading), &mut buffer).expect("a record always fits");
    });
    line(out, "record encoding", instructions(ticks), 1)?;
    line(out, "  bytes of it", length as u64, 1)?;
    let mut flash = RamFlash::new();
    let mut log: LogInFlash<'_> = FlashLog::mount(&mut flash, IDENTITY.device, IDENTITY.epoch);
    let (mut push_ticks, mut get_ticks) = (0, 0);
    for number in 0..RECORD_COUNT {
        log.make_room();
        push_ticks += counter.count(|| {
            black_box(log.push(black_box(&buffer[..length]))).expect("room made just now");
        });
        let mut back = [0; RECORD_BYTES_MAX];
        get_ticks += counter.count(|| {
            black_box(log.get(black_box(number), &mut back)).expect("kept just now");
        });
    }
    line(out, "flash log, keeping a record", instructions(push_ticks), RECORD_COUNT.into())?;
    line(out, "flash log, reading a record", instructions(get_ticks), RECORD_COUNT.into())
}

/// Commands as they come in.
fn commands(counter: &mut Counter, out: &mut Console) -> fmt::Result {
    let mut wire = [0; WIRE_BYTES_MAX];
    let pin = Pin { note: 49, string: StringPosition::Centre };
    let bytes = command(FromHost::ChoosePin(ChoosePin { pin, unstrung: false }), &mut wire);
    let mut reader = FrameReader::new();
    let ticks = counter.count(|| {
        for byte in black_box(bytes) {
            if let Some(frame) = reader.push(*byte) {
                black_box(frame.and_then(FromHost::try_from)).expect("a whole command");
            }
        }
    });
    line(out, "command decoding", instructions(ticks), 1)?;
    let mut lever = Lever::new(IDENTITY);
    let greet = Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 1_767_225_600_000 };
    let bytes = command(FromHost::Greet(greet), &mut wire);
    let ticks = counter.count(|| {
        lever.step(DeviceTime::from_microseconds(0), Input::Received(black_box(bytes)));
    });
    assert!(!lever.pending().is_empty(), "the lever answers a greeting");
    line(out, "greeting, answered", instructions(ticks), 1)
}

/// Stack of building a lever in a static and of whole surveys with it, the bench's own included.
fn stack(counter: &mut Counter, out: &mut Console) -> fmt::Result {
    let slot = cortex_m::singleton!(: MaybeUninit<Lever> = MaybeUninit::uninit());
    let slot = slot.expect("taken once");
    let bytes = stack_bytes(|| {
        slot.write(Lever::new(IDENTITY));
    });
    line(out, "log in RAM, lever, bytes", size_of::<Lever>() as u64, 1)?;
    line(out, "log in RAM, stack while it is built, bytes", bytes as u64, 1)?;
    let lever = slot.write(Lever::new(IDENTITY));
    let bytes = stack_bytes(|| work(lever, counter));
    line(out, "log in RAM, stack at work, bytes", bytes as u64, 1)?;

    let flash = cortex_m::singleton!(: RamFlash = RamFlash::new()).expect("taken once");
    let slot = cortex_m::singleton!(: MaybeUninit<Lever<LogInFlash<'static>>> =
        MaybeUninit::uninit());
    let slot = slot.expect("taken once");
    let mut lever = None;
    let bytes = stack_bytes(|| {
        let log = FlashLog::mount(flash, IDENTITY.device, IDENTITY.epoch);
        lever = Some(slot.write(Lever::with_log(IDENTITY, log)));
    });
    line(out, "log in flash, lever, bytes", size_of::<Lever<LogInFlash<'_>>>() as u64, 1)?;
    line(out, "log in flash, stack while it is built, bytes", bytes as u64, 1)?;
    let lever = lever.expect("built just now");
    let bytes = stack_bytes(|| work(lever, counter));
    line(out, "log in flash, stack at work, bytes", bytes as u64, 1)
}

#[inline(never)]
fn work<L: RecordLog>(lever: &mut Lever<L>, counter: &mut Counter) {
    let mut survey = Survey::new(lever, true);
    survey.say(FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 0 }));
    survey.play(counter);
    survey.say(FromHost::Pull(Pull { from: 0, count_max: 4 }));
    survey.say(FromHost::AskStatus(()));
    survey.say(FromHost::AskHealth(()));
    survey.say(FromHost::StopSurvey(()));
    black_box(survey.last_reading());
}
