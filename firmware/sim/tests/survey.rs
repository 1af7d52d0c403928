//! A whole grand under the lever, pin by pin.

use pinhold_sim::bench::Workbench;
use pinhold_sim::friction::Turn;
use pinhold_sim::hand::{Gesture, Hand};
use pinhold_sim::piano::{Fault, Piano, Plan, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};

/// Longest gesture, samples.
const SAMPLES_MAX: usize = 40_000;

fn until_idle(bench: &mut Workbench) {
    let mut count = 0;
    while !bench.is_idle() {
        bench.next_sample();
        count += 1;
        assert!(count < SAMPLES_MAX, "never idle");
    }
}

#[test]
fn a_whole_grand_takes_its_micro_strokes() {
    for fault in [Fault::None, Fault::Split, Fault::Contaminated, Fault::Dry, Fault::TightNew] {
        let piano = Piano::invent(8, fault, Severity::Plain);
        let lever = LeverModel::drawn(8, Posture::level_grand());
        let mut bench = Workbench::new(piano, lever, Hand::default(), 8);
        let (mut long_enough, mut within_limit) = (0, 0);
        for pin in 0..227 {
            bench.seat(pin);
            until_idle(&mut bench);
            bench.perform(Gesture::micro_stroke());
            until_idle(&mut bench);
            let truth = bench.truth(pin);
            assert!(truth.foot_sharpest_deg < 0.2, "{fault} {pin}: {}", truth.foot_sharpest_deg);
            // A tight pin may jump at its first break and stick once more before it runs on.
            let both = [Turn::Flat, Turn::Sharp].into_iter().all(|turn| {
                let same_way = truth.strokes.iter().filter(|stroke| stroke.turn == turn);
                same_way.map(|stroke| stroke.slip_s).sum::<f64>() >= 0.35
            });
            // Beyond 25 N·m the hand stops, whatever else it wanted.
            let sharp_nm = 1.1 * truth.friction_nm + truth.drag_nm + truth.moment_found_nm;
            if sharp_nm < 24.5 {
                within_limit += 1;
                long_enough += usize::from(both);
            }
        }
        let per_pin = bench.sample_count() / 227;
        println!("{fault}: {long_enough} of {within_limit} long enough, {per_pin} samples a pin");
        assert!(long_enough * 100 >= within_limit * 98, "{fault}: {long_enough}");
        assert!(within_limit >= 200, "{fault}: {within_limit}");
    }
}

#[test]
fn an_old_upright_takes_its_micro_strokes_at_any_clock_position() {
    for clock_hours in [12.0, 1.5, 3.0, 9.5] {
        let plan = Plan::upright_85(4);
        let piano = Piano::invent_with(plan, 4, Fault::Scattered, Severity::Plain);
        let lever = LeverModel::drawn(4, Posture::Upright { clock_hours });
        let mut bench = Workbench::new(piano, lever, Hand::default(), 4);
        for pin in (0..218).step_by(3) {
            bench.seat(pin);
            until_idle(&mut bench);
            bench.perform(Gesture::micro_stroke());
            until_idle(&mut bench);
            bench.lift();
            let truth = bench.truth(pin);
            for turn in [Turn::Flat, Turn::Sharp] {
                let moved = truth.strokes.iter().any(|s| s.turn == turn && s.slip_deg > 0.3);
                assert!(moved, "{clock_hours} o'clock, pin {pin}, {turn:?}");
            }
        }
    }
}
