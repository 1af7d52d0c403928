//! Strokes drawn with a ruler: what a perfect pin and hand would give, for tests of what the lever
//! does with them.

use crate::chip::Chip;
use pinhold_lever::calibration::NOMINAL_SPAN_NM_PER_COUNT;
use pinhold_lever::log::{FlashLog, RamLog, RecordLog};
use pinhold_lever::{Buttons, Identity, Input, Lamp, Lever, RawMotion, RawSample, Signals};
use pinhold_protocol::content::{Content, decode_content};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, FromLever, Health, Hello, PlanState, StartSurvey,
};
use pinhold_protocol::record::{
    Outcome, Pin, RECORD_BYTES_MAX, Reading, SampleCoverage, StringPosition, chain_next,
};
use pinhold_protocol::units::{Angle, DeviceTime};

/// Stiffness of the pin's free part, N·m per degree.
const STIFFNESS_NM_PER_DEG: f64 = 10.8;

/// A pin by its note.
pub(crate) fn pin(note: u8) -> Pin {
    Pin { note, string: StringPosition::Left }
}

/// A reading that says nothing but its pin.
pub(crate) fn reading(note: u8) -> Reading {
    Reading {
        survey: 1,
        pin: pin(note),
        started: DeviceTime::from_microseconds(5),
        duration_ms: 1,
        outcome: Outcome::Spoiled,
        flags: 0,
        friction: None,
        string_moment: None,
        sharp: None,
        flat: None,
        net_rotation: Angle::ZERO,
        excursion_flat: Angle::ZERO,
        excursion_sharp: Angle::ZERO,
        temperature_centi_celsius: 0,
        attitude_milli_g: [0; 3],
        calibration: 0,
        samples: SampleCoverage::None,
        strokes: Default::default(),
    }
}

fn sample(torque_nm: f64, rate_deg_s: f64) -> RawSample {
    RawSample {
        bridge_code: (torque_nm / f64::from(NOMINAL_SPAN_NM_PER_COUNT)) as i32,
        rate_count: (rate_deg_s / 4.375e-3) as i16,
    }
}

/// Sample number `index` with the noise no converter is without: some 40 counts of torque and 16
/// of rate, in a pattern without a mean that fits no bin.
fn with_noise(sample: RawSample, index: u64) -> RawSample {
    const PATTERN: [i32; 7] = [0, 48, -32, 16, -48, 32, -16];
    let noise = PATTERN[(index % 7) as usize] * (1 + (index / 7 % 2) as i32);
    RawSample {
        bridge_code: sample.bridge_code.saturating_add(noise),
        rate_count: sample.rate_count.saturating_add((noise / 4) as i16),
    }
}

/// The lever held still, off the pin or on it without torque.
pub(crate) fn still(count: usize) -> Vec<RawSample> {
    vec![sample(0.0, 0.0); count]
}

/// The lever taken through the air to another pin.
pub(crate) fn through_the_air() -> Vec<RawSample> {
    let mut samples = vec![sample(0.0, 20.0); 150];
    samples.extend(vec![sample(0.0, -20.0); 150]);
    samples
}

/// One stroke: 0.3 s of loading, slip at 1 degree per second, 0.3 s of easing off, 0.25 s of rest.
pub(crate) fn stroke(torque_nm: f64, slip_deg: f64) -> Vec<RawSample> {
    let ramp_rate = torque_nm / STIFFNESS_NM_PER_DEG / 0.3;
    let mut samples = Vec::new();
    samples.extend((0..300).map(|i| sample(torque_nm * f64::from(i) / 300.0, ramp_rate)));
    let slip_count = (slip_deg * 1000.0) as usize;
    samples.extend(vec![sample(torque_nm, torque_nm.signum()); slip_count]);
    samples.extend((0..300).map(|i| sample(torque_nm * f64::from(299 - i) / 300.0, -ramp_rate)));
    samples.extend(still(250));
    samples
}

/// Flat by half a degree, sharp back, a small flat set, on a pin of this friction and string
/// moment; rest before and behind.
pub(crate) fn micro_stroke(friction_nm: f64, moment_nm: f64) -> Vec<RawSample> {
    let mut samples = still(300);
    samples.extend(stroke(-(friction_nm - moment_nm), 0.5));
    samples.extend(stroke(friction_nm + moment_nm, 0.5));
    samples.extend(stroke(-(friction_nm - moment_nm), 0.12));
    samples.extend(still(300));
    samples
}

/// A lever, its clock, and all it ever said.
pub(crate) struct Bench<L = RamLog> {
    pub(crate) lever: Lever<L>,
    pub(crate) signals: Signals,
    /// Every beep and every sample's signals go here.
    pub(crate) beep_count: u32,
    now_us: u64,
    sample_count: u64,
    sequence: u16,
    reader: FrameReader,
}

/// What is understood of a message without borrowing it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Said {
    Hello(Hello),
    Record { number: u32, checksum: u32, bytes: Vec<u8> },
    Reply { to: u16, result: CommandResult },
    Status,
    Health(Health),
    PlanState(PlanState),
    Live { next_record: u32, committed_floor: u32 },
    Samples { first_index: u32, count: u8 },
}

/// The bench's lever.
pub(crate) const IDENTITY: Identity = Identity { device: 3, epoch: 9, sample_period_ns: 1_000_000 };

/// GO, held.
pub(crate) const GO: Buttons = Buttons { go: true, back: false };
/// BACK, held.
pub(crate) const BACK: Buttons = Buttons { go: false, back: true };
/// Both, held.
pub(crate) const BOTH: Buttons = Buttons { go: true, back: true };
/// None held.
pub(crate) const NONE: Buttons = Buttons { go: false, back: false };

impl Bench {
    pub(crate) fn new() -> Bench {
        Bench::with(Lever::new(IDENTITY))
    }
}

/// A lever with its log in flash.
pub(crate) type FlashBench = Bench<FlashLog<Chip>>;

impl FlashBench {
    /// Powered up with this flash.
    pub(crate) fn powered(chip: Chip) -> FlashBench {
        let log = FlashLog::mount(chip, IDENTITY.device, IDENTITY.epoch);
        Bench::with(Lever::with_log(IDENTITY, log))
    }

    /// Power goes and comes back.
    pub(crate) fn again(mut self) -> FlashBench {
        Bench::powered(self.lever.log_mut().flash_mut().clone())
    }
}

impl<L: RecordLog> Bench<L> {
    pub(crate) fn with(lever: Lever<L>) -> Bench<L> {
        let mut bench = Bench {
            lever,
            signals: Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false },
            beep_count: 0,
            now_us: 0,
            sample_count: 0,
            sequence: 0,
            reader: FrameReader::new(),
        };
        // Lying level.
        bench.input(Input::Motion(RawMotion {
            acceleration_milli_g: [0, 0, 1_000],
            temperature_centi_celsius: 2_000,
        }));
        bench
    }

    pub(crate) fn input(&mut self, input: Input<'_>) {
        self.signals = self.lever.step(DeviceTime::from_microseconds(self.now_us), input);
        self.beep_count += u32::from(self.signals.beep);
    }

    /// One sample without noise.
    pub(crate) fn sample_as_it_is(&mut self, sample: RawSample) {
        self.now_us += 1_000;
        self.input(Input::Sample(sample));
    }

    /// Nothing comes but time.
    pub(crate) fn tick(&mut self, milliseconds: u64) {
        for _ in 0..milliseconds {
            self.now_us += 1_000;
            self.input(Input::Tick);
        }
    }

    /// Buttons held for so long while the lever is held still, then let go.
    pub(crate) fn hold(&mut self, buttons: Buttons, milliseconds: usize) {
        self.input(Input::Buttons(buttons));
        self.play(&still(milliseconds));
        self.input(Input::Buttons(NONE));
        self.play(&still(40));
    }

    /// A short press.
    pub(crate) fn tap(&mut self, buttons: Buttons) {
        self.hold(buttons, 100);
    }

    /// The lever carried to a pin of this friction and string moment, and the pin read.
    pub(crate) fn turn(&mut self, friction_nm: f64, moment_nm: f64) {
        self.play(&through_the_air());
        self.play(&micro_stroke(friction_nm, moment_nm));
    }

    /// A host that has everything says so.
    pub(crate) fn commit_all(&mut self) {
        let log = self.lever.log_mut();
        let (from, mut chain) = log.committed();
        let floor = log.next_number();
        let mut buffer = [0; RECORD_BYTES_MAX];
        for number in from..floor {
            let stored = log.get(number, &mut buffer).expect("answered for");
            chain = chain_next(chain, stored.checksum);
        }
        let epoch = log.epoch();
        assert_eq!(log.commit(Commit { epoch, floor, chain }), CommandResult::Done);
    }

    /// Everything the log holds.
    pub(crate) fn log(&mut self) -> Vec<Content> {
        let log = self.lever.log_mut();
        let mut buffer = [0; RECORD_BYTES_MAX];
        (log.oldest_number()..log.next_number())
            .map(|number| {
                let stored = log.get(number, &mut buffer).expect("answered for");
                decode_content(&buffer[..stored.byte_count]).expect("known")
            })
            .collect()
    }

    pub(crate) fn play(&mut self, samples: &[RawSample]) {
        for sample in samples {
            self.now_us += 1000;
            let sample = with_noise(*sample, self.sample_count);
            self.sample_count += 1;
            self.input(Input::Sample(sample));
        }
    }

    /// Plays samples with the line open: nothing waits in the lever.
    pub(crate) fn play_and_hear(&mut self, samples: &[RawSample]) -> Vec<Said> {
        let mut said = Vec::new();
        for chunk in samples.chunks(10) {
            self.play(chunk);
            said.extend(self.hear());
        }
        said
    }

    /// Everything the lever has to say now.
    pub(crate) fn hear(&mut self) -> Vec<Said> {
        let bytes = self.lever.pending().to_vec();
        self.lever.sent(bytes.len());
        let mut said = Vec::new();
        for byte in bytes {
            let Some(frame) = self.reader.push(byte) else { continue };
            let message = FromLever::try_from(frame.expect("a right frame")).expect("a message");
            said.push(match message {
                FromLever::Hello(hello) => Said::Hello(hello),
                FromLever::Samples(block) => {
                    Said::Samples { first_index: block.first_index, count: block.count }
                }
                FromLever::Live(live) => Said::Live {
                    next_record: live.next_record,
                    committed_floor: live.committed_floor,
                },
                FromLever::Record(record) => Said::Record {
                    number: record.number,
                    checksum: record.checksum,
                    bytes: record.bytes.to_vec(),
                },
                FromLever::Reply(reply) => Said::Reply { to: reply.to, result: reply.result },
                FromLever::Status(_) => Said::Status,
                FromLever::Health(health) => Said::Health(health),
                FromLever::PlanState(plan) => Said::PlanState(plan),
            });
        }
        said
    }

    /// Sends a command; the sequence number it went under.
    pub(crate) fn send(&mut self, command: FromHost) -> u16 {
        let mut frame = [0u8; WIRE_BYTES_MAX];
        let sequence = self.sequence;
        self.sequence = sequence.wrapping_add(1);
        let len = command.encode(sequence, &mut frame).expect("a command fits");
        self.input(Input::Received(&frame[..len]));
        sequence
    }

    /// Sends a command and finds its reply among what is said at once.
    pub(crate) fn ask(&mut self, command: FromHost) -> CommandResult {
        let sequence = self.send(command);
        reply_to(sequence, &self.hear()).expect("a reply at once")
    }

    pub(crate) fn choose(&mut self, note: u8) -> CommandResult {
        self.ask(FromHost::ChoosePin(ChoosePin { pin: pin(note), unstrung: false }))
    }

    pub(crate) fn start(&mut self, survey: u64, stream_samples: bool) -> CommandResult {
        let slip = Angle::from_microradians(8_727);
        self.ask(FromHost::StartSurvey(StartSurvey { survey, slip, stream_samples }))
    }

    /// A whole pin: chosen, seated, read.
    pub(crate) fn read_pin(&mut self, note: u8) -> Vec<Said> {
        assert_eq!(self.choose(note), CommandResult::Done);
        let mut samples = through_the_air();
        samples.extend(micro_stroke(6.0, 3.0));
        self.play_and_hear(&samples)
    }
}

/// The result of the command sent under `sequence`.
pub(crate) fn reply_to(sequence: u16, said: &[Said]) -> Option<CommandResult> {
    said.iter().find_map(|said| match said {
        Said::Reply { to, result } if *to == sequence => Some(*result),
        _ => None,
    })
}

/// Records among what was said.
pub(crate) fn records(said: &[Said]) -> Vec<(u32, u32, Vec<u8>)> {
    said.iter()
        .filter_map(|said| match said {
            Said::Record { number, checksum, bytes } => Some((*number, *checksum, bytes.clone())),
            _ => None,
        })
        .collect()
}
