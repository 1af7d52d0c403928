//! The release firmware under QEMU: it boots, answers on its line, keeps pace with the feed and
//! does what the native core does.

use std::io::{Read, Write};
use std::time::{Duration, Instant};

use pinhold_board_qemu::flash::{FILE_NAME, FLASH_BYTES};
use pinhold_e2e::Result;
use pinhold_e2e::build::firmware_elf;
use pinhold_e2e::emulator::{Emulator, Link};
use pinhold_e2e::recording::{Fed, Recording};
use pinhold_e2e::technician::{Technician, pin_of};
use pinhold_lever::{Identity, Lamp};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{ChoosePin, FromHost, FromLever, Greet, Hello, Pull, StartSurvey};
use pinhold_protocol::record::decode_record;
use pinhold_protocol::units::Angle;
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::Hand;
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};
use serialport::SerialPort;
use tempfile::TempDir;

/// Longest time for the lever to answer: opening a pseudo-terminal is noticed a second late.
const ANSWER_LIMIT: Duration = Duration::from_secs(20);
/// Longest time for one pin.
const PIN_LIMIT: Duration = Duration::from_secs(120);

const IDENTITY: Identity =
    Identity { device: 0x0123_4567_89ab_cdef, epoch: 7, sample_period_ns: 1_000_000 };

fn bench(seed: u64) -> Workbench {
    let piano = Piano::invent(seed, Fault::None, Severity::Plain);
    let lever = LeverModel::drawn(seed, Posture::level_grand());
    Workbench::new(piano, lever, Hand::default(), seed)
}

/// A host of the fewest words.
struct Line {
    port: Box<dyn SerialPort>,
    reader: FrameReader,
    sequence: u16,
}

impl Line {
    fn open(name: &str) -> Result<Line> {
        let port = serialport::new(name, 115_200).timeout(Duration::from_millis(20)).open()?;
        Ok(Line { port, reader: FrameReader::new(), sequence: 0 })
    }

    fn say(&mut self, message: &FromHost) -> Result<()> {
        let mut bytes = [0; WIRE_BYTES_MAX];
        let sequence = self.sequence;
        self.sequence = sequence.wrapping_add(1);
        let len = message.encode(sequence, &mut bytes).map_err(|error| format!("{error:?}"))?;
        Ok(self.port.write_all(bytes.get(..len).ok_or("length")?)?)
    }

    /// Reads what is there and hands every whole message to `take`.
    fn hear(&mut self, mut take: impl FnMut(FromLever<'_>)) -> Result<()> {
        let mut bytes = [0; 1024];
        let byte_count = match self.port.read(&mut bytes) {
            Ok(byte_count) => byte_count,
            Err(error) if error.kind() == std::io::ErrorKind::TimedOut => 0,
            Err(error) => return Err(error.into()),
        };
        for byte in bytes.into_iter().take(byte_count) {
            if let Some(Ok(frame)) = self.reader.push(byte) {
                take(FromLever::try_from(frame).map_err(|error| format!("{error:?}"))?);
            }
        }
        Ok(())
    }

    /// Greets until the lever says who it is.
    fn greet(&mut self) -> Result<Hello> {
        let started = Instant::now();
        while started.elapsed() < ANSWER_LIMIT {
            self.say(&FromHost::Greet(Greet {
                protocol_min: 1,
                protocol_max: 1,
                calendar_ms: 1_750_000_000_000,
            }))?;
            let asked = Instant::now();
            let mut hello = None;
            while hello.is_none() && asked.elapsed() < Duration::from_millis(500) {
                self.hear(|message| {
                    if let FromLever::Hello(said) = message {
                        hello = Some(said);
                    }
                })?;
            }
            if let Some(hello) = hello {
                return Ok(hello);
            }
        }
        Err("the lever never said who it is".into())
    }
}

#[test]
fn greets_over_its_line_as_the_device_it_was_told_to_be() -> Result<()> {
    let emulator = Emulator::boot(&firmware_elf()?, IDENTITY)?;
    let hello = Line::open(emulator.port())?.greet()?;
    assert_eq!(hello.device, IDENTITY.device);
    assert_eq!(hello.epoch, IDENTITY.epoch);
    assert_eq!(hello.sample_period_ns, IDENTITY.sample_period_ns);
    assert_eq!(hello.next_record, hello.oldest_record);
    Ok(())
}

#[test]
fn a_malformed_feed_stops_the_board_in_words() -> Result<()> {
    let mut emulator = Emulator::boot(&firmware_elf()?, IDENTITY)?;
    emulator.send_bytes(&[0x77])?;
    let started = Instant::now();
    while started.elapsed() < ANSWER_LIMIT {
        match emulator.next_event() {
            Ok(_) => {}
            Err(error) => {
                assert_eq!(error.to_string(), "the board halted: Feed");
                return Ok(());
            }
        }
    }
    Err("the board went on".into())
}

/// One pin, surveyed by a host of the fewest words.
fn one_pin() -> Result<Recording> {
    let mut emulator = Emulator::boot(&firmware_elf()?, IDENTITY)?;
    let mut line = Line::open(emulator.port())?;
    one_pin_on(&mut emulator, &mut line)
}

fn one_pin_on(emulator: &mut Emulator, line: &mut Line) -> Result<Recording> {
    line.greet()?;
    let mut technician = Technician::new(bench(11), IDENTITY);
    technician.work(emulator, PIN_LIMIT, |technician| Ok(technician.bench().is_idle()))?;
    line.say(&FromHost::Zero(()))?;
    let mut zeroed = None;
    technician.work(emulator, PIN_LIMIT, |_| {
        line.hear(|message| {
            if let FromLever::Reply(reply) = message {
                zeroed = Some(reply.result);
            }
        })?;
        Ok(zeroed.is_some())
    })?;
    assert_eq!(zeroed, Some(CommandResult::Done));

    let pin = pin_of(technician.bench().piano(), 100).ok_or("no such pin")?;
    let slip = Angle::from_radians(0.5_f64.to_radians()).ok_or("slip")?;
    let survey = StartSurvey { survey: 1, slip, stream_samples: true };
    line.say(&FromHost::StartSurvey(survey))?;
    line.say(&FromHost::ChoosePin(ChoosePin { pin, unstrung: false }))?;
    technician.work(emulator, PIN_LIMIT, |technician| {
        line.hear(|_| ())?;
        Ok(technician.signals().is_some_and(|signals| signals.lamp == Lamp::Accepted))
    })?;
    let (recording, _) = technician.finish(emulator)?;
    Ok(recording)
}

/// Pulls record 0: its checksum and bytes.
fn pull_first(line: &mut Line) -> Result<(u32, Vec<u8>)> {
    let started = Instant::now();
    let mut found = None;
    line.say(&FromHost::Pull(Pull { from: 0, count_max: 1 }))?;
    while found.is_none() && started.elapsed() < ANSWER_LIMIT {
        line.hear(|message| {
            if let FromLever::Record(record) = message {
                found = Some((record.checksum, record.bytes.to_vec()));
            }
        })?;
    }
    found.ok_or_else(|| "the record never came".into())
}

#[test]
fn a_reading_outlives_reset_and_kill_and_time_does_not_go_back() -> Result<()> {
    let (folder, elf) = (TempDir::new()?, firmware_elf()?);
    let mut emulator = Emulator::boot_in(folder.path(), &elf, IDENTITY, Link::Pty)?;
    let mut line = Line::open(emulator.port())?;
    let recording = one_pin_on(&mut emulator, &mut line)?;
    let kept = recording.replay()?.records[&0].clone();
    let reading = decode_record(&kept.1).map_err(|error| format!("{error:?}"))?;
    let read_us = reading.started.microseconds() + u64::from(reading.duration_ms) * 1000;

    assert_eq!(emulator.reset()?, []);
    let hello = line.greet()?;
    assert_eq!((hello.next_record, hello.oldest_record, hello.committed_floor), (1, 0, 0));
    assert_eq!((hello.epoch, hello.survey, hello.zeroed), (IDENTITY.epoch, 0, false));
    assert!(hello.now.microseconds() > read_us, "{hello:?}, read at {read_us} us");
    assert_eq!(pull_first(&mut line)?, kept);

    drop(emulator);
    // Another candidate for the epoch: the one in the flash counts.
    let identity = Identity { epoch: IDENTITY.epoch + 1, ..IDENTITY };
    let emulator = Emulator::boot_in(folder.path(), &elf, identity, Link::Pty)?;
    let mut line = Line::open(emulator.port())?;
    let hello = line.greet()?;
    assert_eq!((hello.next_record, hello.epoch), (1, IDENTITY.epoch));
    assert!(hello.now.microseconds() > read_us, "{hello:?}, read at {read_us} us");
    assert_eq!(pull_first(&mut line)?, kept);
    Ok(())
}

#[test]
fn the_flash_is_made_where_there_is_none_and_refused_where_it_has_another_length() -> Result<()> {
    let (folder, elf) = (TempDir::new()?, firmware_elf()?);
    let file = folder.path().join(FILE_NAME);
    drop(Emulator::boot_in(folder.path(), &elf, IDENTITY, Link::Pty)?);
    let made = std::fs::read(&file)?;
    assert_eq!(made.len(), FLASH_BYTES);
    assert!(made.iter().all(|byte| *byte == 0xff));
    std::fs::write(&file, &made[1..])?;
    let refused = Emulator::boot_in(folder.path(), &elf, IDENTITY, Link::Pty);
    let said = refused.err().ok_or("it started")?.to_string();
    assert_eq!(said, "the board halted: FlashLength");
    Ok(())
}

#[test]
fn one_pin_gives_the_native_core_s_signals_bytes_and_record() -> Result<()> {
    let recording = one_pin()?;
    let native = recording.replay()?;
    assert_eq!(recording.signals(), native.signals);
    assert!(native.signals.len() > 4, "{:?}", native.signals);
    assert_eq!(recording.sent_byte_count(), native.sent_byte_count);
    assert_eq!(native.records.len(), 1);

    // The comparison can fail: other samples give another record.
    let mut other = recording.clone();
    for fed in &mut other.fed {
        if let Fed::Sample(sample) = fed {
            sample.bridge_code += sample.bridge_code / 100;
        }
    }
    assert!(other.replay().map_or(true, |replayed| replayed.records != native.records));
    Ok(())
}
