//! Each fault of the self-test, brought about; what it blocks; that it goes with its cause.

use pinhold_lever::calibration::NOMINAL_SPAN_NM_PER_COUNT;
use pinhold_lever::log::RecordLog;
use pinhold_lever::selftest::blocks;
use pinhold_lever::supply::{ENOUGH_MV, LOW_MV, Supply};
use pinhold_lever::{Board, Input, Lamp, Lever, Power, RawMotion, RawSample};
use pinhold_protocol::block::BRIDGE_CODE_MAX;
use pinhold_protocol::error::{CommandResult, Fault};
use pinhold_protocol::message::{FromHost, Health, Start};

use crate::chip::Chip;
use crate::synthetic::{Bench, FlashBench, GO, IDENTITY, Said, micro_stroke, reply_to, still};

fn health<L: RecordLog>(bench: &mut Bench<L>) -> Health {
    bench.send(FromHost::AskHealth(()));
    bench
        .hear()
        .iter()
        .find_map(|said| match said {
            Said::Health(health) => Some(*health),
            _ => None,
        })
        .expect("the health at once")
}

/// A second of samples, unchanged.
fn constant(bench: &mut Bench, sample: RawSample, count: u32) {
    for _ in 0..count {
        bench.sample_as_it_is(sample);
    }
}

fn gravity(bench: &mut Bench, z_milli_g: i16) {
    bench.input(Input::Motion(RawMotion {
        acceleration_milli_g: [0, 0, z_milli_g],
        temperature_centi_celsius: 2_000,
    }));
}

/// With faults injected: these and no others stand, the first that blocks is shown, and a pin is
/// refused if it does.
fn check(bench: &mut Bench, wanted: &[Fault]) {
    let bits = wanted.iter().fold(0, |bits, fault| bits | fault.bit());
    assert_eq!(health(bench).faults, bits, "{wanted:?}");
    let shown = match wanted.iter().find(|fault| blocks(**fault)).or(wanted.first()) {
        None => Lamp::Idle,
        Some(Fault::BatteryLow) => Lamp::BatteryLow,
        Some(fault) => Lamp::Fault(*fault),
    };
    bench.input(Input::Power(Power::default()));
    assert_eq!(bench.signals.lamp, shown);
    assert_eq!(bench.start(1, false), CommandResult::Done);
    let blocked = wanted.iter().any(|fault| blocks(*fault));
    let chosen = if blocked { CommandResult::NotFit } else { CommandResult::Done };
    assert_eq!(bench.choose(40), chosen, "{wanted:?}");
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    bench.tap(GO);
    let refused = bench.signals.lamp != Lamp::Zero;
    assert_eq!(refused, blocked, "GO, under {wanted:?}");
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
}

#[test]
fn a_sound_lever_has_no_fault() {
    let mut bench = Bench::new();
    assert!(!health(&mut bench).tested);
    bench.play(&still(1_010));
    let found = health(&mut bench);
    assert!(found.tested);
    assert_eq!((found.faults, found.bridge_period_ns), (0, 1_000_000));
    bench.play(&micro_stroke(6.0, 2.0));
    check(&mut bench, &[]);
}

#[test]
fn a_silent_converter() {
    let mut bench = Bench::new();
    bench.tick(290);
    assert_eq!(health(&mut bench).faults, 0);
    bench.tick(20);
    let found = health(&mut bench);
    assert_eq!((found.faults, found.tested), (Fault::ConverterSilent.bit(), true));
    assert_eq!(bench.start(1, false), CommandResult::Done);
    assert_eq!(bench.choose(40), CommandResult::NotFit);
    bench.play(&still(10));
    check(&mut bench, &[]);
    // And later on.
    bench.tick(310);
    assert_eq!(health(&mut bench).faults, Fault::ConverterSilent.bit());
}

#[test]
fn a_stuck_converter_and_a_stuck_gyro() {
    let mut bench = Bench::new();
    constant(&mut bench, RawSample { bridge_code: 12_345, rate_count: 7 }, 1_020);
    assert_eq!(health(&mut bench).faults, Fault::ConverterStuck.bit() | Fault::MotionSilent.bit());
    bench.play(&still(20));
    check(&mut bench, &[]);
}

#[test]
fn a_converter_at_the_end_of_its_range() {
    let mut bench = Bench::new();
    // Noise on the rate alone.
    for index in 0..310 {
        let rate_count = (index % 7) as i16;
        bench.sample_as_it_is(RawSample { bridge_code: BRIDGE_CODE_MAX, rate_count });
    }
    assert_eq!(health(&mut bench).faults, Fault::ConverterSaturated.bit());
    bench.play(&still(1_020));
    check(&mut bench, &[]);
}

#[test]
fn an_open_bridge() {
    let mut bench = Bench::new();
    bench.play(&still(20));
    bench.input(Input::Bridge { connected: false });
    check(&mut bench, &[Fault::BridgeOpen]);
    bench.input(Input::Bridge { connected: true });
    check(&mut bench, &[]);
}

#[test]
fn a_motion_sensor_that_shows_no_gravity() {
    for (z_milli_g, found) in
        [(0, true), (780, true), (820, false), (1_180, false), (1_220, true), (i16::MIN, true)]
    {
        let mut bench = Bench::new();
        gravity(&mut bench, z_milli_g);
        bench.play(&still(1_100));
        let fault = if found { Fault::MotionImplausible.bit() } else { 0 };
        assert_eq!(health(&mut bench).faults, fault, "{z_milli_g}");
        gravity(&mut bench, 1_000);
        bench.play(&still(100));
        check(&mut bench, &[]);
    }
    let mut bench = Bench::new();
    let turning = vec![RawSample { bridge_code: 0, rate_count: 32_500 }; 1_020];
    bench.play(&turning);
    assert_eq!(health(&mut bench).faults, Fault::MotionImplausible.bit());
}

#[test]
fn a_motion_sensor_that_falls_silent_where_its_period_is_known() {
    let board = Board { motion_period_nominal_ns: 1_201_923, ..Board::default() };
    let mut bench = Bench::with(Lever::new(IDENTITY).with_board(board));
    for _ in 0..150 {
        bench.play(&still(12));
        bench.input(Input::MotionReady(10));
    }
    let found = health(&mut bench);
    assert_eq!(found.faults, 0);
    assert!(found.motion_period_ns.abs_diff(1_200_000) < 2_000, "{}", found.motion_period_ns);
    bench.play(&still(320));
    check(&mut bench, &[Fault::MotionSilent]);
}

#[test]
fn a_period_that_is_off_is_told_and_blocks_nothing() {
    for (nominal_ns, found) in
        [(1_000_000, 0), (960_000, 0), (1_045_000, 0), (500_000, 1), (1_060_000, 1), (900_000, 1)]
    {
        let board = Board { bridge_period_nominal_ns: nominal_ns, ..Board::default() };
        let mut bench = Bench::with(Lever::new(IDENTITY).with_board(board));
        bench.play(&still(1_100));
        let wanted = [Fault::PeriodOff];
        check(&mut bench, &wanted[..found]);
    }
}

#[test]
fn a_zero_far_from_the_calibrations_own() {
    let mut bench = Bench::new();
    let off = (3.2 / NOMINAL_SPAN_NM_PER_COUNT) as i32;
    let loaded = vec![RawSample { bridge_code: off, rate_count: 0 }; 600];
    let zero = bench.send(FromHost::Zero(()));
    let said = bench.play_and_hear(&loaded);
    assert_eq!(reply_to(zero, &said), Some(CommandResult::NotFit));
    let found = health(&mut bench);
    assert_eq!(found.faults, Fault::ZeroOffLimits.bit());
    assert!((found.zero.newton_metres() - 3.2).abs() < 0.01);
    assert_eq!(bench.start(1, false), CommandResult::Done);
    assert_eq!(bench.choose(40), CommandResult::NotFit);
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    // By buttons the zero is what puts it right.
    bench.tap(GO);
    assert_eq!(bench.signals.lamp, Lamp::Zero);
    bench.play(&still(600));
    assert_eq!((bench.signals.lamp, health(&mut bench).faults), (Lamp::Seat, 0));
}

#[test]
fn a_flash_that_fails_is_too_small_or_newer() {
    let mut bench: FlashBench = Bench::powered(Chip::new(4));
    assert_eq!(health(&mut bench).faults, Fault::FlashSmall.bit());
    bench.start(1, false);
    assert_eq!(bench.choose(40), CommandResult::NotFit);
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    bench.start(1, false);
    assert_eq!(bench.choose(40), CommandResult::Done);
    bench.lever.log_mut().flash_mut().broken = true;
    bench.turn(6.0, 2.0);
    assert_eq!(bench.signals.lamp, Lamp::Repeat, "not kept, so not accepted");
    let found = health(&mut bench);
    assert_eq!(found.faults, Fault::FlashFailing.bit());
    assert!(found.flash_failed_count > 0);
    assert!(bench.log().is_empty());
}

#[test]
fn what_is_asked_of_the_health_is_told() {
    let board = Board { start: Start::Watchdog, battery_life_minutes: 3_000, ..Board::default() };
    let mut bench: FlashBench = Bench::powered(Chip::new(32));
    bench.lever = bench.lever.with_board(board);
    let empty = health(&mut bench);
    assert_eq!((empty.start, empty.battery_minutes), (Start::Watchdog, None));
    assert_eq!((empty.uncommitted_count, empty.room_count), (0, 29 * 6), "29 pages of 4 KiB");
    bench.input(Input::Power(Power { battery_mv: Some(3_820), external: false }));
    let half = health(&mut bench);
    assert_eq!((half.battery_permille, half.battery_minutes), (Some(500), Some(1_500)));
    bench.input(Input::Power(Power { battery_mv: Some(LOW_MV - 1), external: false }));
    assert_eq!(health(&mut bench).faults, Fault::BatteryLow.bit());
    bench.start(1, false);
    assert_eq!(bench.choose(40), CommandResult::BatteryLow);
}

#[test]
fn charge_rises_with_voltage() {
    let mut supply = Supply::default();
    let mut last = 0;
    for mv in 0..=u16::MAX {
        supply.set(Power { battery_mv: Some(mv), external: false });
        let permille = supply.permille().expect("a gauge");
        assert!(permille >= last && permille <= 1_000, "{mv} mV");
        last = permille;
        assert!(mv < ENOUGH_MV || !supply.is_low(), "{mv} mV");
    }
    for (mv, permille) in [(2_900, 0), (3_000, 0), (3_450, 50), (3_755, 250), (4_200, 1_000)] {
        supply.set(Power { battery_mv: Some(mv), external: false });
        assert_eq!(supply.permille(), Some(permille), "{mv} mV");
    }
    assert_eq!(supply.minutes(0), None, "a life nobody stated");
    supply.set(Power::default());
    assert_eq!((supply.permille(), supply.minutes(100), supply.is_low()), (None, None, false));
}
