//! A lever on the bench: what is asked of it, refused, and stored.

use pinhold_protocol::block::{self, BLOCK_BYTES_MAX, RawSample};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{FromHost, FromLever, Hello, Samples, StoreCalibration};
use pinhold_protocol::units::Torque;

use super::super::{BENCH_SURVEY, Event, Request, SILENT_MS, Session};
use super::scripted::Scripted;

const CALIBRATION: StoreCalibration = StoreCalibration {
    number: 4,
    zero_code_q8: -70_963,
    span_femtonewton_metres_per_count: 6_985_210_000,
    weight_moment: Torque::from_micronewton_metres(588_415),
};

/// A bench whose samples stream.
fn bench() -> Scripted {
    let mut lever = Scripted::with(Session::bench(0, 0), Scripted::new(&[]).hello);
    lever.greet();
    match lever.obey() {
        FromHost::StartSurvey(start) => {
            assert_eq!((start.survey, start.stream_samples), (BENCH_SURVEY, true));
        }
        other => panic!("{other:?}"),
    }
    assert!(matches!(lever.events()[..], [Event::Greeted(_), Event::BenchReady]));
    lever
}

fn samples(lever: &mut Scripted, first_index: u32, code: i32) {
    let samples = [RawSample { bridge_code: code, rate_count: 8 }; 64];
    let mut data = [0; BLOCK_BYTES_MAX];
    let (coding, len) = block::encode(&samples, &mut data).expect("fits");
    lever.say(&FromLever::Samples(Samples {
        first_index,
        count: 64,
        dropped_block_count: 0,
        acceleration_milli_g: [1, -2, 999],
        temperature_centi_celsius: 2_134,
        coding,
        data: &data[..len],
    }));
}

/// First indices of the blocks told.
fn blocks(lever: &mut Scripted) -> Vec<u32> {
    let first = |event: Event| match event {
        Event::Samples(samples) => Some(samples.first_index),
        _ => None,
    };
    lever.events().into_iter().filter_map(first).collect()
}

#[test]
fn samples_come_with_attitude_and_temperature_and_records_are_left_alone() {
    let mut lever = bench();
    lever.hello.next_record = 3;
    samples(&mut lever, 640, 5_000);
    let events = lever.events();
    let [Event::Samples(block)] = &events[..] else { panic!("{events:?}") };
    assert_eq!((block.first_index, block.samples.len()), (640, 64));
    assert_eq!(block.samples[5].bridge_code, 5_000);
    assert_eq!(block.acceleration_milli_g, [1, -2, 999]);
    assert_eq!(block.temperature_centi_celsius, 2_134);
    // A record in the lever, and one that comes by itself, stay for a fetch.
    lever.record(0, 9, 40);
    lever.live(None, 3, 0);
    lever.now_ms += 1_000;
    assert_eq!(lever.heard(), [], "neither pulled nor committed");
    assert_eq!(lever.events(), []);
}

#[test]
fn samples_of_before_are_told_from_those_of_now() {
    let mut lever = bench();
    samples(&mut lever, 0, 1);
    lever.session.bench_afresh();
    samples(&mut lever, 64, 2);
    assert_eq!(blocks(&mut lever), [0], "one that waited in a buffer somewhere");
    assert!(matches!(lever.obey(), FromHost::StartSurvey(_)));
    samples(&mut lever, 128, 3);
    let events = lever.events();
    assert!(matches!(&events[..], [Event::BenchReady, Event::Samples(_)]), "{events:?}");
}

#[test]
fn a_word_now_and_then_keeps_the_lever_awake() {
    let mut lever = bench();
    let mut asked = 0;
    for second in 1..=300u32 {
        lever.now_ms += 1_000;
        samples(&mut lever, 64 * second, 1);
        for (_, command) in lever.heard() {
            assert_eq!(command, FromHost::AskStatus(()));
            asked += 1;
        }
    }
    assert_eq!(asked, 10, "every half minute, and the lever sleeps after five");
}

#[test]
fn a_zero_is_tried_until_it_is_still() {
    let mut lever = bench();
    lever.session.take_zero();
    let (sequence, command) = lever.asked();
    assert_eq!(command, FromHost::Zero(()));
    samples(&mut lever, 0, 1);
    lever.answer(sequence, CommandResult::NotAtRest);
    assert_eq!(lever.obey(), FromHost::Zero(()));
    let events = lever.events();
    assert!(
        matches!(
            events[..],
            [Event::TakingZero, Event::Samples(_), Event::ZeroNotStill, Event::ZeroTaken]
        ),
        "{events:?}"
    );
    assert_eq!(lever.heard(), [], "one was asked for");
    lever.session.take_zero();
    let (sequence, _) = lever.asked();
    lever.answer(sequence, CommandResult::NotFit);
    let told = [Event::TakingZero, Event::Refused(Request::Zero, CommandResult::NotFit)];
    assert_eq!(lever.events(), told);
    lever.now_ms += 2_000;
    assert_eq!(lever.heard(), [], "such a refusal stays");
}

#[test]
fn a_calibration_is_stored_when_a_fresh_greeting_names_it() {
    let mut lever = bench();
    lever.session.store_calibration(CALIBRATION);
    let (first, command) = lever.asked();
    assert_eq!(command, FromHost::StoreCalibration(CALIBRATION));
    assert_eq!(lever.asked().1, command, "its answer got lost");
    lever.answer(first, CommandResult::PinMoving);
    assert_eq!(lever.asked().1, command, "such a refusal passes");
    assert_eq!(lever.obey(), command);
    let refused = Event::Refused(Request::StoreCalibration, CommandResult::PinMoving);
    assert_eq!(lever.events(), [refused], "Done alone is not enough");
    lever.hello.calibration = 4;
    lever.greet();
    let events = lever.events();
    let stored = Event::CalibrationStored { number: 4 };
    assert_eq!(events, [Event::Greeted(lever.hello), stored]);
    assert!(matches!(lever.obey(), FromHost::StartSurvey(_)), "and the samples go on");
    lever.session.end_bench();
    assert_eq!(lever.obey(), FromHost::StopSurvey(()));
    assert_eq!(lever.events(), [Event::BenchReady, Event::Finished]);
}

#[test]
fn a_refusal_that_stays_is_told_once_and_the_bench_goes_on() {
    for result in [CommandResult::OutOfRange, CommandResult::NotFit] {
        let mut lever = bench();
        lever.session.store_calibration(CALIBRATION);
        let (sequence, _) = lever.asked();
        lever.answer(sequence, result);
        assert_eq!(lever.events(), [Event::Refused(Request::StoreCalibration, result)]);
        lever.now_ms += 3_000;
        assert_eq!(lever.heard(), []);
        samples(&mut lever, 0, 1);
        assert_eq!(blocks(&mut lever), [0]);
    }
}

#[test]
fn a_lever_that_says_done_and_does_not_have_it_is_given_up() {
    let mut lever = bench();
    lever.session.store_calibration(CALIBRATION);
    for _ in 0..4 {
        assert_eq!(lever.obey(), FromHost::StoreCalibration(CALIBRATION));
        lever.greet();
        if !lever.session.is_finished() {
            assert!(matches!(lever.obey(), FromHost::StartSurvey(_)));
        }
    }
    assert_eq!(lever.events().last(), Some(&Event::GivenUp(Request::StoreCalibration)));
    assert!(lever.session.is_finished());
}

#[test]
fn firmware_too_old_for_it_is_told_and_still_gives_its_samples() {
    let mut lever = bench();
    lever.session.store_calibration(CALIBRATION);
    let not_understood = Event::NotUnderstood(Request::StoreCalibration);
    let mut index = 0;
    while !lever.events().contains(&not_understood) {
        lever.now_ms += 64;
        samples(&mut lever, index, 1);
        index += 64;
        lever.heard();
        assert!(lever.now_ms < 30_000);
    }
    assert!(!lever.session.is_finished());
    samples(&mut lever, index, 1);
    assert_eq!(blocks(&mut lever), [index]);
}

#[test]
fn a_reconnect_takes_up_what_was_asked_and_another_lever_does_not_get_it() {
    let mut lever = bench();
    lever.session.store_calibration(CALIBRATION);
    lever.asked();
    lever.session.reconnected(lever.now_ms);
    // It has it already: only the answer was lost.
    lever.hello.calibration = 4;
    lever.greet();
    assert!(matches!(lever.obey(), FromHost::StartSurvey(_)));
    assert_eq!(lever.asked().1, FromHost::StoreCalibration(CALIBRATION));
    lever.session.reconnected(lever.now_ms);
    let other = Hello { device: 77, ..lever.hello };
    lever.asked();
    lever.say(&FromLever::Hello(other));
    assert!(lever.session.is_finished());
    assert_eq!(lever.events().last(), Some(&Event::LeverChanged(other)));
    lever.now_ms += 5_000;
    assert_eq!(lever.heard(), []);
}

#[test]
fn what_is_withdrawn_is_not_asked_any_more() {
    let mut lever = bench();
    lever.session.take_zero();
    lever.asked();
    lever.session.withdraw();
    lever.session.store_calibration(CALIBRATION);
    lever.asked();
    lever.session.withdraw();
    lever.now_ms += 3_000;
    assert_eq!(lever.heard(), []);
}

#[test]
fn a_lever_that_fell_silent_is_greeted_anew() {
    let mut lever = bench();
    lever.now_ms += SILENT_MS;
    assert_eq!(lever.heard().len(), 0);
    assert!(lever.events().contains(&Event::Silent));
    lever.greet();
    assert!(matches!(lever.obey(), FromHost::StartSurvey(_)));
    assert_eq!(lever.events().last(), Some(&Event::BenchReady));
}
