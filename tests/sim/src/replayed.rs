//! A quick stand-in for bench and hand: one good micro-stroke, simulated once and replayed.
//!
//! The physics costs far more time than the lever's core; where only the way of a reading matters
//! one recording serves for all. Each replay is stretched by a factor of its own, so that no two
//! readings say the same. Deliberately not here: judgement of what the lever measures.

use pinhold_lever::{Lamp, RawMotion, RawSample, Signals};
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::{Gesture, Hand};
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::rng::Random;
use pinhold_sim::sensors::{LeverModel, Posture};

/// Samples held still in the air and on the pin: a lever waits a tenth of a second for rest.
const STILL_SAMPLE_COUNT: usize = 400;
/// Samples of rest behind the micro-stroke.
const REST_SAMPLE_COUNT: usize = 200;
/// Rest without the lever being content after which the technician begins anew, samples.
const PATIENCE_SAMPLE_COUNT: u32 = 2_500;

/// Attitude of the recording: a level grand.
pub const MOTION: RawMotion =
    RawMotion { acceleration_milli_g: [0, 0, 1000], temperature_centi_celsius: 2150 };

/// Samples of a lever in the air, and of one pin from the way there to rest after the stroke.
#[derive(Clone, Debug)]
pub struct Recording {
    off_pin: Vec<RawSample>,
    on_pin: Vec<RawSample>,
}

impl Recording {
    /// Simulates one.
    pub fn new(seed: u64) -> Recording {
        let piano = Piano::invent(seed, Fault::None, Severity::Plain);
        // A plain trichord of the middle: neither weak nor tight.
        let pin = piano.pins.len() / 2;
        let lever = LeverModel::ideal(Posture::level_grand());
        let mut bench = Workbench::new(piano, lever, Hand::default(), seed);
        bench.hold_off_pin();
        until_idle(&mut bench, &mut Vec::new());
        let mut off_pin = Vec::new();
        still(&mut bench, STILL_SAMPLE_COUNT, &mut off_pin);
        let mut on_pin = Vec::new();
        bench.seat(pin);
        until_idle(&mut bench, &mut on_pin);
        still(&mut bench, STILL_SAMPLE_COUNT, &mut on_pin);
        bench.perform(Gesture::micro_stroke());
        until_idle(&mut bench, &mut on_pin);
        still(&mut bench, REST_SAMPLE_COUNT, &mut on_pin);
        Recording { off_pin, on_pin }
    }

    /// One drawn with a ruler, for a lever of [`crate::ruler::SAMPLE_PERIOD_NS`].
    pub fn drawn() -> Recording {
        Recording { off_pin: crate::ruler::off_pin(), on_pin: crate::ruler::on_pin() }
    }

    /// Samples from the way to the pin to rest behind the last stroke.
    pub fn on_pin_sample_count(&self) -> usize {
        self.on_pin.len()
    }
}

fn take(bench: &mut Workbench) -> RawSample {
    let sample = bench.next_sample().sample;
    RawSample { bridge_code: sample.bridge_code, rate_count: sample.rate_count }
}

fn until_idle(bench: &mut Workbench, into: &mut Vec<RawSample>) {
    while !bench.is_idle() {
        into.push(take(bench));
    }
}

fn still(bench: &mut Workbench, count: usize, into: &mut Vec<RawSample>) {
    into.extend((0..count).map(|_| take(bench)));
}

/// What the hand does.
#[derive(Clone, Copy, Debug)]
enum Doing {
    /// In the air, still.
    Air { place: usize },
    /// Playing the recording.
    Stroke { place: usize, permille: i64 },
    /// At rest on the pin behind the stroke.
    Rest { permille: i64, waited: u32 },
}

/// Plays the recording whenever the lever asks for a pin.
#[derive(Clone, Debug)]
pub struct Technician {
    recording: Recording,
    doing: Doing,
    random: Random,
}

impl Technician {
    /// Holding the lever in the air.
    pub fn new(recording: Recording, seed: u64) -> Technician {
        Technician {
            recording,
            doing: Doing::Air { place: 0 },
            random: Random::new(seed).fork("technician"),
        }
    }

    /// Takes the lever off the pin, whatever was under way.
    pub fn lift(&mut self) {
        self.doing = Doing::Air { place: 0 };
    }

    /// The next sample, given what the lever shows.
    pub fn next_sample(&mut self, signals: &Signals) -> RawSample {
        match self.doing {
            Doing::Air { place } => {
                self.doing = match signals.pin {
                    Some(_) => self.begin(),
                    None => Doing::Air { place: (place + 1) % self.recording.off_pin.len() },
                };
                self.recording.off_pin[place]
            }
            Doing::Stroke { place, permille } => {
                let next = place + 1;
                self.doing = if next < self.recording.on_pin.len() {
                    Doing::Stroke { place: next, permille }
                } else {
                    Doing::Rest { permille, waited: 0 }
                };
                self.stretched(self.recording.on_pin[place], permille)
            }
            Doing::Rest { permille, waited } => {
                let again = signals.lamp == Lamp::Repeat || waited > PATIENCE_SAMPLE_COUNT;
                self.doing = match signals.pin {
                    None => Doing::Air { place: 0 },
                    Some(_) if again || signals.lamp == Lamp::Seat => self.begin(),
                    Some(_) => Doing::Rest { permille, waited: waited + 1 },
                };
                let behind = waited as usize % (REST_SAMPLE_COUNT / 2);
                self.stretched(
                    self.recording.on_pin[self.recording.on_pin.len() - 1 - behind],
                    permille,
                )
            }
        }
    }

    fn begin(&mut self) -> Doing {
        Doing::Stroke { place: 0, permille: self.random.whole(800, 1200) as i64 }
    }

    /// The sample with its torque multiplied by so many thousandths.
    fn stretched(&self, sample: RawSample, permille: i64) -> RawSample {
        let zero = i64::from(self.recording.off_pin[0].bridge_code);
        let code = zero + (i64::from(sample.bridge_code) - zero) * permille / 1000;
        RawSample { bridge_code: i32::try_from(code).unwrap_or(0), ..sample }
    }
}
