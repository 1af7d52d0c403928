//! One stretch of a survey as the converters give it: what the block coding is measured on.
//!
//! Made by the simulator alone, no lever's core in it, so that the file does not change with what
//! it is used to judge. Committed as `tests/fixtures/signal/survey_64s.bin`, whose README states
//! noise, seed and layout. Deliberately not here: the coding ([`pinhold_protocol::block`]).

use pinhold_lever::{RawMotion, RawSample};
use pinhold_sim::bench::Workbench;
use pinhold_sim::hand::{Gesture, Hand};
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::sensors::{LeverModel, MOTION_SAMPLE_INTERVAL, Posture};

/// Seed of piano, lever and hand.
pub const SEED: u64 = 31;
/// Samples from one attitude to the next, and in one group of the file.
pub const GROUP_SAMPLE_COUNT: usize = MOTION_SAMPLE_INTERVAL as usize;
/// Groups in the file: 64 s.
pub const GROUP_COUNT: usize = 1000;
/// Bytes of a group: 64 samples of five bytes and an attitude of eight.
pub const GROUP_BYTES: usize = GROUP_SAMPLE_COUNT * 5 + 8;
/// Samples the hand holds still in the air at the start, where a zero can be taken.
const START_SAMPLE_COUNT: u32 = 1000;
/// Samples the hand rests between two doings.
const PAUSE_SAMPLE_COUNT: u32 = 300;
/// Pins from one read to the next in the piano's order: bass to treble within the stretch.
const PIN_STRIDE: usize = 29;

/// Samples between two attitudes, and the attitude that came with the last of them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// The samples, in time.
    pub samples: Vec<RawSample>,
    /// Attitude and temperature, with the last sample.
    pub motion: RawMotion,
}

/// What the hand does next.
#[derive(Clone, Copy, Debug)]
enum Doing {
    Seat,
    Stroke,
    Lift,
}

/// Simulates the stretch: off the pin, then pin after pin seated, read by a micro-stroke, lifted.
pub fn simulate() -> Vec<Group> {
    let piano = Piano::invent(SEED, Fault::None, Severity::Plain);
    let pin_count = piano.pins.len();
    let lever = LeverModel::drawn(SEED, Posture::level_grand());
    let mut bench = Workbench::new(piano, lever, Hand::default(), SEED);
    bench.hold_off_pin();
    let (mut doing, mut pin, mut pause) = (Doing::Seat, 0, START_SAMPLE_COUNT);
    let mut groups = Vec::with_capacity(GROUP_COUNT);
    let mut samples = Vec::with_capacity(GROUP_SAMPLE_COUNT);
    while groups.len() < GROUP_COUNT {
        if bench.is_idle() && pause > 0 {
            pause -= 1;
        } else if bench.is_idle() {
            pause = PAUSE_SAMPLE_COUNT;
            doing = match doing {
                Doing::Seat => {
                    bench.seat(pin);
                    Doing::Stroke
                }
                Doing::Stroke => {
                    bench.perform(Gesture::micro_stroke());
                    Doing::Lift
                }
                Doing::Lift => {
                    bench.lift();
                    pin = (pin + PIN_STRIDE) % pin_count;
                    Doing::Seat
                }
            };
        }
        let tick = bench.next_sample();
        let (bridge_code, rate_count) = (tick.sample.bridge_code, tick.sample.rate_count);
        samples.push(RawSample { bridge_code, rate_count });
        if let Some(motion) = tick.motion {
            groups.push(Group {
                samples: std::mem::take(&mut samples),
                motion: RawMotion {
                    acceleration_milli_g: motion.acceleration_milli_g,
                    temperature_centi_celsius: motion.temperature_centi_celsius,
                },
            });
        }
    }
    groups
}

/// The file's bytes.
pub fn to_bytes(groups: &[Group]) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(groups.len() * GROUP_BYTES);
    for group in groups {
        for sample in &group.samples {
            bytes.extend_from_slice(&sample.bridge_code.to_le_bytes()[..3]);
            bytes.extend_from_slice(&sample.rate_count.to_le_bytes());
        }
        for component in group.motion.acceleration_milli_g {
            bytes.extend_from_slice(&component.to_le_bytes());
        }
        bytes.extend_from_slice(&group.motion.temperature_centi_celsius.to_le_bytes());
    }
    bytes
}

/// Reads the file; `None` when it is not whole groups.
pub fn from_bytes(bytes: &[u8]) -> Option<Vec<Group>> {
    let groups = bytes.chunks_exact(GROUP_BYTES);
    if !groups.remainder().is_empty() {
        return None;
    }
    groups.map(group_from_bytes).collect()
}

fn group_from_bytes(bytes: &[u8]) -> Option<Group> {
    let (samples, motion) = bytes.split_at_checked(GROUP_SAMPLE_COUNT * 5)?;
    let samples = samples.chunks_exact(5).map(|sample| match *sample {
        [c0, c1, c2, r0, r1] => Some(RawSample {
            bridge_code: i32::from_le_bytes([0, c0, c1, c2]) >> 8,
            rate_count: i16::from_le_bytes([r0, r1]),
        }),
        _ => None,
    });
    let [x0, x1, y0, y1, z0, z1, t0, t1] = *motion else { return None };
    Some(Group {
        samples: samples.collect::<Option<_>>()?,
        motion: RawMotion {
            acceleration_milli_g: [[x0, x1], [y0, y1], [z0, z1]].map(i16::from_le_bytes),
            temperature_centi_celsius: i16::from_le_bytes([t0, t1]),
        },
    })
}
