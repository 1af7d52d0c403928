//! A survey by two buttons: orders, refusals, power cuts, and what stands in the log.

use pinhold_lever::log::RecordLog;
use pinhold_lever::{Input, Lamp, Power};
use pinhold_protocol::content::{Content, Trace, UNASSIGNED};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::FromHost;
use pinhold_protocol::record::{Outcome, Pin, Reading, SampleCoverage};

use crate::chip::Chip;
use crate::plan::{pins, state, upload};
use crate::synthetic::{
    BACK, BOTH, Bench, FlashBench, GO, NONE, Said, micro_stroke, records, still, stroke,
    through_the_air,
};

const PLAN: u64 = 77;

/// A lever with a plan of so many pins, GO pressed and the zero taken.
fn begun(pin_count: usize) -> FlashBench {
    let mut bench: FlashBench = Bench::powered(Chip::new(32));
    assert_eq!(upload(&mut bench, PLAN, &pins(pin_count)), CommandResult::Done);
    begin(&mut bench);
    bench
}

fn begin(bench: &mut FlashBench) {
    bench.play(&still(100));
    bench.tap(GO);
    assert_eq!(bench.signals.lamp, Lamp::Zero, "the zero comes first");
    bench.play(&still(600));
    assert_eq!(bench.signals.lamp, Lamp::Seat);
}

/// What the log says was done, in order.
fn done<L: RecordLog>(bench: &mut Bench<L>) -> Vec<(char, Pin)> {
    bench
        .log()
        .iter()
        .filter_map(|content| match content {
            Content::Reading(reading) => Some(('r', reading.pin)),
            Content::Skip(skip) => Some(('s', skip.pin)),
            _ => None,
        })
        .collect()
}

fn readings_and_traces<L: RecordLog>(bench: &mut Bench<L>) -> Vec<(u32, Reading, Trace)> {
    let log = bench.log();
    let pairs = log.windows(2).zip(0..);
    pairs
        .filter_map(|(pair, number)| match pair {
            [Content::Reading(reading), Content::Trace(trace)] => {
                Some((number, reading.clone(), trace.clone()))
            }
            _ => None,
        })
        .collect()
}

#[test]
fn a_plan_is_worked_through_with_one_press() {
    let mut bench = begun(3);
    for (index, pin) in pins(3).into_iter().enumerate() {
        assert_eq!(bench.signals.pin, Some(pin));
        let friction_nm = 5.0 + index as f64;
        bench.play(&through_the_air());
        bench.play(&micro_stroke(friction_nm, 2.0)[..300]);
        assert_eq!(bench.signals.lamp, Lamp::Ready);
        bench.play(&micro_stroke(friction_nm, 2.0)[300..]);
        assert_eq!(bench.signals.lamp, Lamp::Accepted);
        assert_eq!(bench.log().len(), 2 * (index + 1), "in flash before the lever says so");
    }
    assert_eq!((bench.signals.pin, bench.signals.lamp), (None, Lamp::Accepted));
    let state = state(&mut bench);
    assert_eq!((state.position, state.read_count, state.running), (3, 3, false));
    let kept = readings_and_traces(&mut bench);
    for (index, (number, reading, trace)) in kept.iter().enumerate() {
        assert_eq!((reading.survey, reading.pin), (PLAN, pins(3)[index]));
        assert_eq!((reading.outcome, reading.samples), (Outcome::Measured, SampleCoverage::None));
        let friction = reading.friction.expect("measured").newton_metres();
        assert!((friction - 5.0 - index as f64).abs() < 0.05, "{friction}");
        assert_eq!(trace.reading, *number);
    }
    assert_eq!(kept.len(), 3);
    // All are done: GO says no; BACK takes up the last one again.
    bench.beep_count = 0;
    bench.tap(GO);
    bench.play(&still(400));
    assert_eq!((bench.signals.pin, bench.beep_count), (None, 2));
    bench.tap(BACK);
    assert_eq!(bench.signals.pin, Some(pins(3)[2]));
}

#[test]
fn next_previous_repeat_and_skip() {
    let all = pins(6);
    let mut bench = begun(6);
    bench.turn(5.0, 2.0);
    assert_eq!(bench.signals.pin, Some(all[1]), "goes on by itself");
    bench.hold(GO, 900);
    assert_eq!(bench.signals.pin, Some(all[2]), "1 was passed over");
    bench.tap(GO);
    assert_eq!(bench.signals.pin, Some(all[3]), "2 is left for later");
    bench.turn(5.0, 2.0);
    assert_eq!(bench.signals.pin, Some(all[4]));
    bench.tap(BACK);
    assert_eq!(bench.signals.pin, Some(all[3]), "nothing done on 4: 3 again");
    bench.play(&micro_stroke(5.5, 2.0));
    assert_eq!(bench.signals.pin, Some(all[4]));
    bench.hold(BACK, 900);
    assert_eq!(bench.signals.pin, Some(all[3]));
    bench.hold(BACK, 900);
    bench.hold(BACK, 900);
    assert_eq!(bench.signals.pin, Some(all[1]), "the one passed over, after all");
    bench.turn(5.0, 2.0);
    assert_eq!(bench.signals.pin, Some(all[2]), "not done yet");
    bench.turn(5.0, 2.0);
    assert_eq!(bench.signals.pin, Some(all[4]), "3 is done");
    bench.tap(GO);
    bench.turn(5.0, 2.0);
    assert_eq!(bench.signals.pin, Some(all[4]), "4 was left out");
    let state = state(&mut bench);
    assert_eq!((state.read_count, state.skipped_count, state.running), (5, 0, true));
    let wanted = [('r', 0), ('s', 1), ('r', 3), ('r', 3), ('r', 1), ('r', 2), ('r', 5)];
    assert_eq!(done(&mut bench), wanted.map(|(what, place)| (what, all[place])));
}

#[test]
fn strokes_in_hand_are_given_up_by_back() {
    let mut bench = begun(2);
    bench.play(&through_the_air());
    bench.play(&still(300));
    bench.play(&stroke(-3.0, 0.5));
    bench.tap(BACK);
    assert_eq!((bench.signals.lamp, bench.signals.pin), (Lamp::Repeat, Some(pins(2)[0])));
    bench.play(&micro_stroke(5.0, 2.0));
    let kept = readings_and_traces(&mut bench);
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].1.strokes.len(), 3, "those after BACK");
}

#[test]
fn no_press_touches_a_moving_pin() {
    let all = pins(3);
    let samples = micro_stroke(6.0, 2.0);
    for (buttons, hold_count) in
        [(GO, 100), (BACK, 100), (GO, 850), (BACK, 850), (BOTH, 850), (BOTH, 100)]
    {
        let mut bench = begun(3);
        bench.turn(5.0, 2.0);
        bench.play(&through_the_air());
        bench.play(&samples[..450]);
        bench.input(Input::Buttons(buttons));
        bench.play(&samples[450..450 + hold_count]);
        bench.input(Input::Buttons(NONE));
        bench.play(&samples[450 + hold_count..1_350]);
        assert_eq!((bench.signals.lamp, bench.signals.pin), (Lamp::Moving, Some(all[1])));
        bench.play(&samples[1_350..]);
        assert_eq!(done(&mut bench), [('r', all[0]), ('r', all[1])], "{buttons:?}");
        assert_eq!(readings_and_traces(&mut bench)[1].1.strokes.len(), 3);
    }
}

#[test]
fn power_cuts_in_the_middle_cost_the_pin_in_hand_and_no_more() {
    let all = pins(5);
    let mut bench = begun(5);
    bench.turn(5.0, 2.0);
    bench.hold(GO, 900);
    bench.turn(5.0, 2.0);
    for (power_cut, place) in [(1, 3), (2, 4)] {
        bench.play(&through_the_air());
        bench.play(&micro_stroke(5.0, 2.0)[..900]);
        bench = bench.again();
        let state = state(&mut bench);
        assert_eq!(state.position, place, "power cut {power_cut}");
        assert_eq!((state.skipped_count, state.running), (1, false));
        assert_eq!(bench.signals.pin, None);
        begin(&mut bench);
        assert_eq!(bench.signals.pin, Some(all[place as usize]));
        bench.turn(5.0, 2.0);
    }
    assert_eq!(bench.signals.pin, None, "that was the last");
    let wanted = [('r', 0), ('s', 1), ('r', 2), ('r', 3), ('r', 4)];
    assert_eq!(done(&mut bench), wanted.map(|(what, place)| (what, all[place])));
}

#[test]
fn without_a_plan_readings_are_unassigned() {
    let mut bench: FlashBench = Bench::powered(Chip::new(32));
    begin(&mut bench);
    for _ in 0..3 {
        assert_eq!(bench.signals.pin, Some(UNASSIGNED));
        bench.turn(5.0, 2.0);
    }
    assert_eq!(state(&mut bench), Default::default(), "no plan runs");
    bench.hold(GO, 900);
    assert_eq!(bench.signals.pin, None, "GO, long, ends them");
    let kept = readings_and_traces(&mut bench);
    assert_eq!(kept.len(), 3);
    for (_, reading, _) in kept {
        assert_eq!((reading.survey, reading.pin), (0, UNASSIGNED));
    }
}

#[test]
fn a_zero_is_waited_for_until_the_hand_is_still() {
    let mut bench: FlashBench = Bench::powered(Chip::new(32));
    bench.play(&still(100));
    bench.tap(GO);
    bench.play(&through_the_air());
    bench.play(&through_the_air());
    assert_eq!((bench.signals.lamp, bench.signals.pin), (Lamp::Zero, None));
    bench.play(&still(1_100));
    assert_eq!((bench.signals.lamp, bench.signals.pin), (Lamp::Seat, Some(UNASSIGNED)));
    // Both, long: the zero anew, then the same pin.
    bench.hold(BOTH, 900);
    assert_eq!(bench.signals.lamp, Lamp::Zero);
    bench.play(&still(600));
    assert_eq!(bench.signals.lamp, Lamp::Seat);
}

#[test]
fn a_full_log_refuses_the_next_pin_and_says_so() {
    // Two pages of records.
    let mut bench: FlashBench = Bench::powered(Chip::new(5));
    assert_eq!(upload(&mut bench, PLAN, &pins(200)), CommandResult::Done);
    begin(&mut bench);
    let mut read_count = 0;
    while bench.signals.pin.is_some() {
        bench.turn(5.0, 2.0);
        read_count += 1;
        assert!(read_count < 40, "two pages are never full");
    }
    bench.play(&still(1_500));
    assert_eq!(bench.signals.lamp, Lamp::Full);
    assert!(read_count >= 10, "{read_count}");
    let kept = readings_and_traces(&mut bench);
    assert_eq!(kept.len(), read_count, "each with its trace");
    bench.beep_count = 0;
    bench.tap(GO);
    bench.play(&still(400));
    assert_eq!((bench.signals.lamp, bench.beep_count), (Lamp::Full, 2));
    bench.send(FromHost::AskHealth(()));
    let said = bench.hear();
    let Some(Said::Health(health)) = said.last() else { panic!("{said:?}") };
    assert_eq!((health.room_count, health.uncommitted_count), (0, 2 * read_count as u32));
    println!("two pages of 4 KiB hold {read_count} readings of three strokes with their traces");
}

#[test]
fn a_low_battery_refuses_the_next_pin_and_never_ends_one() {
    let mut bench = begun(4);
    let power = |mv, external| Input::Power(Power { battery_mv: Some(mv), external });
    bench.play(&through_the_air());
    bench.play(&micro_stroke(5.0, 2.0)[..900]);
    bench.input(power(3_400, false));
    assert_eq!(bench.signals.lamp, Lamp::Moving);
    bench.play(&micro_stroke(5.0, 2.0)[900..]);
    bench.play(&still(1_000));
    assert_eq!((bench.signals.pin, bench.signals.lamp), (None, Lamp::BatteryLow));
    assert_eq!(done(&mut bench), [('r', pins(4)[0])]);
    bench.input(power(3_600, false));
    bench.tap(GO);
    assert_eq!(bench.signals.lamp, Lamp::BatteryLow, "not enough yet to count as more");
    bench.input(power(3_400, true));
    bench.tap(GO);
    assert_eq!(bench.signals.pin, Some(pins(4)[1]), "powered from outside");
}

#[test]
fn a_host_takes_over_and_gives_back() {
    let mut bench = begun(4);
    bench.turn(5.0, 2.0);
    assert_eq!(bench.start(5, false), CommandResult::Done);
    assert_eq!(bench.signals.pin, None);
    for buttons in [GO, BACK, BOTH] {
        bench.hold(buttons, 900);
        bench.tap(buttons);
        assert_eq!(bench.signals.pin, None, "a host's survey is the host's");
    }
    assert!(!state(&mut bench).running);
    let said = bench.read_pin(40);
    assert_eq!(records(&said).len(), 1, "no trace: the host may have the samples");
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    bench.tap(GO);
    assert_eq!(bench.signals.pin, Some(pins(4)[1]), "where it was");
    let running = state(&mut bench);
    assert_eq!((running.position, running.running), (1, true));
    assert_eq!(bench.choose(41), CommandResult::NoSurvey, "the host's is over");
    assert_eq!(upload(&mut bench, 9, &pins(3)), CommandResult::PinMoving);
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    assert_eq!(upload(&mut bench, 9, &pins(3)), CommandResult::Done);
    assert_eq!(state(&mut bench).plan, 9);
}

#[test]
fn a_lever_nobody_uses_sleeps_and_wakes() {
    let mut bench = begun(4);
    bench.play(&through_the_air());
    bench.play(&still(2_000));
    assert_eq!(bench.signals.pin, Some(pins(4)[0]));
    bench.tick(297_000);
    assert!(!bench.signals.asleep, "not yet");
    bench.tick(5_000);
    assert!(bench.signals.asleep);
    assert_eq!((bench.signals.pin, bench.signals.lamp), (None, Lamp::Idle));
    // The press that wakes does nothing else; the next one begins, with a new zero.
    bench.tap(GO);
    assert_eq!((bench.signals.asleep, bench.signals.pin), (false, None));
    begin(&mut bench);
    assert_eq!(bench.signals.pin, Some(pins(4)[0]));
    // A host's pin in hand keeps it awake; the host's silence does not lose it.
    assert_eq!(bench.start(5, false), CommandResult::Done);
    assert_eq!(bench.choose(40), CommandResult::Done);
    bench.tick(700_000);
    assert!(!bench.signals.asleep);
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    bench.tick(301_000);
    assert!(bench.signals.asleep);
    bench.send(FromHost::AskStatus(()));
    assert!(!bench.signals.asleep, "a byte wakes");
}

#[test]
fn a_trace_shows_the_strokes() {
    let mut bench = begun(1);
    bench.turn(6.0, 2.0);
    let (_, reading, trace) = readings_and_traces(&mut bench).remove(0);
    assert_eq!(trace.points.len().clamp(30, 88), trace.points.len());
    let step_nm = trace.torque_step.newton_metres();
    let torques: Vec<f64> =
        trace.points.iter().map(|point| f64::from(point.torque) * step_nm).collect();
    let (low, high) = torques
        .iter()
        .fold((0.0f64, 0.0f64), |(low, high), torque| (low.min(*torque), high.max(*torque)));
    // Flat against friction less moment, sharp against both together.
    assert!((low + 4.0).abs() < 0.15 && (high - 8.0).abs() < 0.15, "{low} {high}");
    let length_ms = trace.interval_ms * trace.points.len() as u32;
    let first_ms = reading.strokes[0].rest_before_ms;
    let strokes_ms: u32 =
        reading.strokes.iter().map(|stroke| stroke.duration_ms + stroke.rest_before_ms).sum();
    let wanted_ms = strokes_ms - first_ms;
    assert!(length_ms.abs_diff(wanted_ms) < 400, "{length_ms}, strokes {wanted_ms}");
}
