//! Hosts that send anything at all: the lever does not panic, and no record goes that was not
//! committed by a host that had it.

use std::collections::BTreeMap;

use pinhold_lever::log::RECORD_COUNT_MAX;
use pinhold_lever::{Buttons, Input, Power, RawMotion, RawSample};
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, Greet, PlanPart, Pull, StartSurvey, StoreCalibration,
};
use pinhold_protocol::record::{chain_next, chain_start};
use pinhold_protocol::units::{Angle, Torque};

use crate::numbers::Numbers;
use crate::plan::{parts, pins};
use crate::synthetic::{Bench, Said, micro_stroke, pin, records, still, through_the_air};

const STEP_COUNT: u32 = 100_000;

/// What is known of the lever's log from what it said.
#[derive(Default)]
struct Known {
    records: BTreeMap<u32, (u32, Vec<u8>)>,
    next_record: u32,
    committed_floor: u32,
    /// Highest floor for which a right commit was sent.
    allowed_floor: u32,
}

impl Known {
    fn take(&mut self, said: &[Said]) {
        for said in said {
            let (next, floor) = match said {
                Said::Hello(hello) => (hello.next_record, hello.committed_floor),
                Said::Live { next_record, committed_floor } => (*next_record, *committed_floor),
                Said::Record { number, checksum, bytes } => {
                    let now = (*checksum, bytes.clone());
                    let known = self.records.entry(*number).or_insert_with(|| now.clone());
                    assert_eq!(*known, now, "record {number} changed");
                    continue;
                }
                _ => continue,
            };
            assert!(next >= self.next_record && floor >= self.committed_floor && floor <= next);
            assert!(floor <= self.allowed_floor, "floor {floor} was never committed");
            assert!(next - floor <= RECORD_COUNT_MAX as u32);
            (self.next_record, self.committed_floor) = (next, floor);
        }
    }

    /// Chain value below `number`, when all records below it were seen.
    fn chain_below(&self, number: u32) -> Option<u32> {
        (0..number).try_fold(chain_start(3, 9), |chain, number| {
            self.records.get(&number).map(|(checksum, _)| chain_next(chain, *checksum))
        })
    }
}

fn command(numbers: &mut Numbers, known: &mut Known) -> FromHost {
    match numbers.below(16) {
        0 => FromHost::Greet(Greet { protocol_min: 0, protocol_max: 255, calendar_ms: u64::MAX }),
        1 => FromHost::StartSurvey(StartSurvey {
            survey: numbers.below(3),
            slip: Angle::from_microradians(if numbers.below(3) == 0 { i32::MIN } else { 8_727 }),
            stream_samples: numbers.below(2) == 0,
        }),
        2 if numbers.below(8) == 0 => FromHost::StopSurvey(()),
        // Seldom: a zero taken on the pin hides from the lever that it was lifted.
        3 if numbers.below(64) == 0 => FromHost::Zero(()),
        4 | 5 => FromHost::ChoosePin(ChoosePin {
            pin: pin(numbers.below(100) as u8),
            unstrung: numbers.below(4) == 0,
        }),
        6 | 7 => FromHost::Pull(Pull {
            from: numbers.odd_u32(known.next_record),
            count_max: numbers.next() as u8,
        }),
        8 | 9 => {
            let floor = numbers.odd_u32(known.committed_floor.wrapping_add(1));
            let right = (numbers.below(3) == 0).then(|| known.chain_below(floor.min(10_000)));
            let chain = match right.flatten() {
                Some(chain) if floor <= known.next_record => {
                    known.allowed_floor = known.allowed_floor.max(floor);
                    chain
                }
                _ => numbers.next() as u32,
            };
            let epoch = if numbers.below(8) == 0 { numbers.next() as u32 } else { 9 };
            FromHost::Commit(Commit { epoch, floor, chain })
        }
        10 | 11 => FromHost::PlanPart(plan_part(numbers)),
        12 => FromHost::AskHealth(()),
        13 => FromHost::AskPlan(()),
        14 => FromHost::StoreCalibration(calibration(numbers)),
        _ => FromHost::AskStatus(()),
    }
}

/// A calibration: every other one impossible or with a number used before.
fn calibration(numbers: &mut Numbers) -> StoreCalibration {
    let right = StoreCalibration {
        number: 1 + numbers.below(3) as u32,
        zero_code_q8: 256 * numbers.below(2_000) as i64,
        span_femtonewton_metres_per_count: 6_985_000_000,
        weight_moment: Torque::from_micronewton_metres(588_400),
    };
    match numbers.below(6) {
        0 => StoreCalibration { zero_code_q8: numbers.next() as i64, ..right },
        1 => StoreCalibration { span_femtonewton_metres_per_count: numbers.next(), ..right },
        2 => {
            let weight_moment = Torque::from_micronewton_metres(numbers.next() as i32);
            StoreCalibration { weight_moment, ..right }
        }
        _ => right,
    }
}

/// A part of a plan: a right one mostly, of one of two plans, so that whole plans come about too.
fn plan_part(numbers: &mut Numbers) -> PlanPart {
    let plan = 1 + numbers.below(2);
    let whole = parts(plan, &pins(20 + 20 * plan as usize));
    let mut part = whole[numbers.below(whole.len() as u64) as usize];
    match numbers.below(12) {
        0 => part.plan = numbers.next(),
        1 => part.first = numbers.next() as u16,
        2 => part.pin_count = numbers.next() as u16,
        3 => part.slip = Angle::from_microradians(numbers.next() as i32),
        4 => part.pins[numbers.below(32) as usize] = None,
        5 => part.pins[numbers.below(32) as usize] = Some(pin(numbers.next() as u8)),
        6 => part = PlanPart { pin_count: 0, first: 0, pins: [None; 32], ..part },
        _ => {}
    }
    part
}

/// One step: bytes, a command, some time, or less usual events.
fn step(bench: &mut Bench, numbers: &mut Numbers, known: &mut Known, hand: &mut Hand) {
    match numbers.below(16) {
        0 | 1 => {
            let noise: Vec<u8> =
                (0..numbers.below(600)).map(|_| (numbers.next() >> 7) as u8).collect();
            bench.input(Input::Received(&noise));
        }
        2..6 => {
            let command = command(numbers, known);
            bench.send(command);
        }
        6 if numbers.below(50) == 0 => bench.input(Input::Missed(numbers.next() as u32)),
        7 if numbers.below(50) == 0 => {
            let wild = RawSample { bridge_code: numbers.next() as i32, rate_count: i16::MIN };
            bench.play(&[wild]);
        }
        8 => bench.input(Input::Motion(RawMotion {
            acceleration_milli_g: [0, numbers.below(3) as i16, 1000],
            temperature_centi_celsius: i16::MAX,
        })),
        9 => {
            let buttons = Buttons { go: numbers.below(2) == 0, back: numbers.below(3) == 0 };
            bench.input(Input::Buttons(buttons));
        }
        10 if numbers.below(20) == 0 => bench.input(Input::Power(Power {
            battery_mv: Some(3_400 + numbers.below(800) as u16),
            external: numbers.below(4) == 0,
        })),
        11 if numbers.below(50) == 0 => {
            bench.input(Input::MotionReady(numbers.next() as u32));
        }
        _ => {
            let samples = hand.next_samples(100, numbers);
            bench.play(samples);
        }
    }
    // The line is slow, or out for a while.
    if numbers.below(3) == 0 {
        known.take(&bench.hear());
    }
}

/// Strokes without end, whatever the lever shows.
struct Hand {
    samples: Vec<RawSample>,
    place: usize,
}

impl Hand {
    fn next_samples(&mut self, count: usize, numbers: &mut Numbers) -> &[RawSample] {
        if self.place + count > self.samples.len() {
            self.place = 0;
            self.samples = through_the_air();
            let friction_nm = 4.0 + numbers.below(1000) as f64 / 200.0;
            self.samples.extend(micro_stroke(friction_nm, 2.0));
            // What follows a spoiled stroke without a pause would be taken for part of it.
            self.samples.extend(still(1_200));
        }
        self.place += count;
        &self.samples[self.place - count..self.place]
    }
}

#[test]
fn a_hostile_host_makes_the_lever_lose_nothing() {
    let mut accepted = 0;
    for seed in 0..2 {
        let mut numbers = Numbers(seed);
        let mut bench = Bench::new();
        let mut known = Known::default();
        let mut hand = Hand { samples: Vec::new(), place: 0 };
        for _ in 0..STEP_COUNT / 2 {
            step(&mut bench, &mut numbers, &mut known, &mut hand);
        }
        // A delimiter ends whatever noise stood half-sent; then everything is asked for.
        bench.input(Input::Received(&[0]));
        known.take(&bench.hear());
        bench.send(FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 0 }));
        known.take(&bench.hear());
        for number in known.committed_floor..known.next_record {
            bench.send(FromHost::Pull(Pull { from: number, count_max: 1 }));
            let said = bench.hear();
            assert!(
                records(&said).iter().any(|(pulled, ..)| *pulled == number),
                "seed {seed}: record {number} is gone"
            );
            known.take(&said);
        }
        assert!(
            known.next_record > 20,
            "seed {seed}: only {} readings of {}: nothing was tried",
            known.next_record,
            known.committed_floor
        );
        assert!(known.committed_floor > 10, "only {} commits", known.committed_floor);
        accepted += known.next_record;
    }
    println!("{STEP_COUNT} steps of hostile hosts, {accepted} readings, none lost");
}
