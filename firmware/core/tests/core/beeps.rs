//! Beeps: given at rest, in number, and never while a pin turns or is loaded.

use pinhold_lever::beeper::{BEEP_GAP_MS, Beeper, Beeps};
use pinhold_lever::calibration::NOMINAL_SPAN_NM_PER_COUNT;
use pinhold_lever::{Buttons, Input, RawSample};
use pinhold_protocol::units::DeviceTime;

use crate::numbers::Numbers;
use crate::synthetic::{Bench, GO, micro_stroke, still, stroke, through_the_air};

/// Times of the beeps of a signal asked for at 0, quiet as `quiet` says by the millisecond.
fn beeps(beeps: Beeps, quiet: impl Fn(u64) -> bool) -> Vec<u64> {
    let mut beeper = Beeper::default();
    beeper.ask(DeviceTime::from_microseconds(0), beeps);
    (0..5_000)
        .filter(|ms| beeper.step(DeviceTime::from_microseconds(ms * 1_000), quiet(*ms)))
        .collect()
}

#[test]
fn one_is_one_and_two_are_two() {
    let gap = u64::from(BEEP_GAP_MS);
    assert_eq!(beeps(Beeps::One, |_| true), [0]);
    assert_eq!(beeps(Beeps::Two, |_| true), [0, gap]);
    assert_eq!(beeps(Beeps::Two, |ms| ms >= 700), [700, 700 + gap], "waits for quiet");
    assert_eq!(beeps(Beeps::One, |ms| ms > 3_000), [], "too late to mean anything");
}

/// A hand that does anything: whole strokes, parts of them, rests, the air, buttons.
fn gesture(numbers: &mut Numbers) -> Vec<RawSample> {
    let friction_nm = 0.5 + numbers.below(160) as f64 / 20.0;
    match numbers.below(7) {
        0 => through_the_air(),
        1 => still(numbers.below(1_500) as usize),
        2 => {
            let sign = if numbers.below(2) == 0 { 1.0 } else { -1.0 };
            let samples = stroke(sign * friction_nm, 0.1 + numbers.below(10) as f64 / 10.0);
            let count = numbers.below(samples.len() as u64) as usize;
            samples[..count].to_vec()
        }
        _ => micro_stroke(friction_nm, friction_nm * 0.3),
    }
}

#[test]
fn no_beep_while_a_pin_turns_or_is_loaded() {
    let (mut beep_count, mut sample_count) = (0, 0u32);
    for seed in 0..6 {
        let mut numbers = Numbers(seed);
        let mut bench = Bench::new();
        bench.play(&still(200));
        bench.tap(GO);
        bench.play(&still(700));
        for _ in 0..120 {
            if numbers.below(3) == 0 {
                // Never both: a zero taken on a pin would make all torques wrong.
                let go = numbers.below(2) == 0;
                let buttons = Buttons { go, back: !go && numbers.below(2) == 0 };
                bench.input(Input::Buttons(buttons));
            }
            for sample in gesture(&mut numbers) {
                let before = bench.beep_count;
                bench.play(&[sample]);
                sample_count += 1;
                let torque_nm =
                    f64::from(sample.bridge_code) * f64::from(NOMINAL_SPAN_NM_PER_COUNT);
                // In the air there is no pin to turn.
                let in_air = sample.rate_count.abs() > 4_000;
                let turns = sample.rate_count != 0 && !in_air;
                if bench.beep_count > before {
                    beep_count += 1;
                    // The first tenth of a second of a stroke may pass unseen, a newton-metre of
                    // load at most.
                    let load = if turns { 1.5 } else { 1.2 };
                    assert!(torque_nm.abs() < load, "seed {seed}: beep at {torque_nm} N·m");
                    assert!(!(turns && bench.signals.lamp == pinhold_lever::Lamp::Moving));
                }
            }
            // The log of this lever is small: a host takes what there is.
            bench.commit_all();
        }
    }
    assert!(beep_count > 100, "{beep_count}");
    println!("{beep_count} beeps in {sample_count} samples of random gestures, none under load");
}
