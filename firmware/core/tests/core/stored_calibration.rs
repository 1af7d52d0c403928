//! A calibration stored by the host: taken, refused, sent twice, and what it does to readings.

use pinhold_lever::calibration::{
    Calibration, NOMINAL_SPAN_NM_PER_COUNT, NOMINAL_WEIGHT_MOMENT_NM,
};
use pinhold_lever::log::{RecordLog, SETTINGS_BYTES_MAX};
use pinhold_lever::settings::decode;
use pinhold_protocol::content::Content;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{FromHost, Greet, Health, Hello, StoreCalibration};
use pinhold_protocol::units::Torque;

use crate::chip::Chip;
use crate::plan::{pins, state, upload};
use crate::synthetic::{Bench, FlashBench, GO, Said, reply_to, still};

/// Twice the nominal span, the bridge's zero 1000 counts above the middle.
fn double() -> StoreCalibration {
    StoreCalibration {
        number: 4,
        zero_code_q8: 256_000,
        span_femtonewton_metres_per_count: (2e15 * f64::from(NOMINAL_SPAN_NM_PER_COUNT)) as u64,
        weight_moment: Torque::from_newton_metres_f32(NOMINAL_WEIGHT_MOMENT_NM).unwrap(),
    }
}

fn store(bench: &mut FlashBench, calibration: StoreCalibration) -> CommandResult {
    bench.ask(FromHost::StoreCalibration(calibration))
}

fn greeted(bench: &mut FlashBench) -> Hello {
    bench.send(FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 0 }));
    match bench.hear().last() {
        Some(Said::Hello(hello)) => *hello,
        other => panic!("{other:?}"),
    }
}

fn health(bench: &mut FlashBench) -> Health {
    bench.send(FromHost::AskHealth(()));
    match bench.hear().last() {
        Some(Said::Health(health)) => *health,
        other => panic!("{other:?}"),
    }
}

fn kept(bench: &mut FlashBench) -> Option<Calibration> {
    let mut buffer = [0; SETTINGS_BYTES_MAX];
    let byte_count = bench.lever.log_mut().settings(&mut buffer)?;
    decode(&buffer[..byte_count]).expect("sound").calibration
}

fn take_zero(bench: &mut FlashBench) -> CommandResult {
    let sequence = bench.send(FromHost::Zero(()));
    let said = bench.play_and_hear(&still(600));
    reply_to(sequence, &said).expect("a zero is answered")
}

/// Friction of a pin that shows 6 N·m to the nominal lever, and the calibration its reading names.
fn read(bench: &mut FlashBench) -> (f64, u32) {
    assert_eq!(bench.start(9, false), CommandResult::Done);
    bench.read_pin(40);
    match bench.log().last() {
        Some(Content::Reading(reading)) => {
            (reading.friction.expect("both ways").newton_metres(), reading.calibration)
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn it_is_in_force_at_once_and_after_the_power_was_cut() {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    assert_eq!(take_zero(&mut bench), CommandResult::Done);
    let (nominal_nm, number) = read(&mut bench);
    assert_eq!(number, 0);
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);

    assert_eq!(store(&mut bench, double()), CommandResult::Done);
    let hello = greeted(&mut bench);
    assert_eq!((hello.calibration, hello.zeroed), (4, false), "the zero is to be taken anew");
    let wanted = Calibration {
        number: 4,
        zero_code_q8: 256_000,
        span_nm_per_count: double().span_newton_metres_per_count_f32(),
        weight_moment_nm: double().weight_moment.newton_metres_f32(),
    };
    let span_ratio = wanted.span_nm_per_count / NOMINAL_SPAN_NM_PER_COUNT;
    assert!((span_ratio - 2.0).abs() < 1e-6, "{span_ratio}");
    assert_eq!(kept(&mut bench), Some(wanted));

    let mut bench = bench.again();
    assert_eq!(greeted(&mut bench).calibration, 4);
    assert_eq!(take_zero(&mut bench), CommandResult::Done);
    // The bridge shows 0 off the pin, 1000 counts below the zero of the bench.
    let shown_nm = health(&mut bench).zero.newton_metres();
    let below_nm = -1_000.0 * f64::from(wanted.span_nm_per_count);
    assert!((shown_nm - below_nm).abs() < 1e-4, "{shown_nm}, not {below_nm}");
    let (double_nm, number) = read(&mut bench);
    assert_eq!(number, 4);
    assert!((double_nm / nominal_nm - 2.0).abs() < 1e-3, "{double_nm} beside {nominal_nm}");
}

#[test]
fn sent_again_it_changes_nothing_not_even_the_zero() {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    assert_eq!(store(&mut bench, double()), CommandResult::Done);
    assert_eq!(take_zero(&mut bench), CommandResult::Done);
    assert_eq!(store(&mut bench, double()), CommandResult::Done);
    assert!(greeted(&mut bench).zeroed);
    let other = StoreCalibration { zero_code_q8: 256_001, ..double() };
    assert_eq!(store(&mut bench, other), CommandResult::OutOfRange, "one number, one calibration");
    assert_eq!(kept(&mut bench).unwrap().zero_code_q8, 256_000);
    let next = StoreCalibration { number: 5, ..other };
    assert_eq!(store(&mut bench, next), CommandResult::Done);
    let hello = greeted(&mut bench);
    assert_eq!((hello.calibration, hello.zeroed), (5, false));
}

#[test]
fn impossible_constants_are_out_of_range() {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    let span = |femto| StoreCalibration { span_femtonewton_metres_per_count: femto, ..double() };
    let zero = |zero_code_q8| StoreCalibration { zero_code_q8, ..double() };
    let weight = |micro| StoreCalibration {
        weight_moment: Torque::from_micronewton_metres(micro),
        ..double()
    };
    for wrong in [
        StoreCalibration { number: 0, ..double() },
        span(0),
        span(69_000_000),
        span(701_000_000_000),
        span(u64::MAX),
        span(1 << 63),
        zero((1 << 31) + 1),
        zero(-(1 << 31) - 1),
        zero(i64::MIN),
        weight(-1),
        weight(10_000_001),
        weight(i32::MIN),
    ] {
        assert_eq!(store(&mut bench, wrong), CommandResult::OutOfRange, "{wrong:?}");
        assert_eq!(greeted(&mut bench).calibration, 0);
    }
    for (number, right) in (10..).zip([
        span(71_000_000),
        span(699_000_000_000),
        zero(1 << 31),
        zero(-(1 << 31)),
        weight(0),
        weight(10_000_000),
    ]) {
        let right = StoreCalibration { number, ..right };
        assert_eq!(store(&mut bench, right), CommandResult::Done, "{right:?}");
        assert_eq!(kept(&mut bench).unwrap().number, number);
    }
}

#[test]
fn while_the_lever_is_at_work_it_is_refused() {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    let sequence = bench.send(FromHost::Zero(()));
    assert_eq!(store(&mut bench, double()), CommandResult::PinMoving, "a zero is taken");
    let said = bench.play_and_hear(&still(600));
    assert_eq!(reply_to(sequence, &said), Some(CommandResult::Done), "and goes on");
    bench.start(1, false);
    assert_eq!(bench.choose(40), CommandResult::Done);
    assert_eq!(store(&mut bench, double()), CommandResult::PinMoving, "a pin is in hand");
    bench.play(&still(400));
    assert_eq!(store(&mut bench, double()), CommandResult::PinMoving, "at rest on it");
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    bench.tap(GO);
    bench.play(&still(700));
    assert_eq!(store(&mut bench, double()), CommandResult::PinMoving, "the buttons run a survey");
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    assert_eq!(kept(&mut bench), None);
    assert_eq!(store(&mut bench, double()), CommandResult::Done);
}

#[test]
fn the_plan_stays_beside_it_and_settings_of_later_firmware_stay() {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    assert_eq!(upload(&mut bench, 5, &pins(40)), CommandResult::Done);
    assert_eq!(store(&mut bench, double()), CommandResult::Done);
    let mut bench = bench.again();
    assert_eq!(state(&mut bench).pin_count, 40);
    assert_eq!(greeted(&mut bench).calibration, 4);
    for foreign in [&[2, 1, 2, 3][..], &[1, 2, 9, 9]] {
        let mut bench: FlashBench = Bench::powered(Chip::new(8));
        assert!(bench.lever.log_mut().store_settings(foreign));
        let mut bench = bench.again();
        assert_eq!(store(&mut bench, double()), CommandResult::NotFit, "{foreign:?}");
        let mut buffer = [0; SETTINGS_BYTES_MAX];
        let byte_count = bench.lever.log_mut().settings(&mut buffer).expect("settings");
        assert_eq!(&buffer[..byte_count], foreign);
    }
}

#[test]
fn a_bench_streams_without_a_pin_for_as_long_as_a_host_speaks() {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    assert_eq!(bench.start(u64::MAX, true), CommandResult::Done);
    let mut sample_count = 0;
    for _ in 0..13 {
        // The host says something every half minute; without it the lever sleeps after five.
        bench.send(FromHost::AskStatus(()));
        for said in bench.play_and_hear(&still(30_000)) {
            match said {
                Said::Samples { count, .. } => sample_count += u32::from(count),
                Said::Record { .. } => panic!("a reading was born"),
                _ => {}
            }
        }
        assert!(!bench.signals.asleep);
    }
    assert!(sample_count > 13 * 30_000 - 64, "{sample_count} of 390000");
    // No button begins anything meanwhile.
    bench.tap(GO);
    bench.play(&still(700));
    assert_eq!(bench.signals.pin, None);
    bench.play_and_hear(&still(301_000));
    assert!(bench.signals.asleep, "no host, and nobody else");
    assert!(bench.log().is_empty());
}
