//! Each command and each of its refusals.

use pinhold_lever::log::RECORD_COUNT_MAX;
use pinhold_lever::{Lamp, RawSample};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{ChoosePin, Commit, FromHost, Greet, Pull, StartSurvey};
use pinhold_protocol::record::{Outcome, SampleCoverage, chain_next, chain_start, decode_record};
use pinhold_protocol::units::Angle;

use crate::synthetic::{
    Bench, Said, micro_stroke, pin, records, reply_to, still, stroke, through_the_air,
};

const GREET: FromHost = FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 0 });

/// A lever with its zero taken and a survey begun.
fn begun() -> Bench {
    let mut bench = Bench::new();
    let zero = bench.send(FromHost::Zero(()));
    assert_eq!(reply_to(zero, &bench.play_and_hear(&still(600))), Some(CommandResult::Done));
    assert_eq!(bench.start(1, false), CommandResult::Done);
    bench
}

/// In the middle of a stroke on pin 40.
fn moving() -> Bench {
    let mut bench = begun();
    assert_eq!(bench.choose(40), CommandResult::Done);
    let mut samples = still(400);
    samples.extend(&stroke(-4.0, 0.5)[..500]);
    bench.play_and_hear(&samples);
    assert_eq!(bench.signals.lamp, Lamp::Moving);
    bench
}

#[test]
fn a_pin_drawn_with_a_ruler_is_read_as_drawn() {
    let mut bench = begun();
    let said = bench.read_pin(40);
    let [(number, _, bytes)] = &records(&said)[..] else { panic!("{said:?}") };
    assert_eq!(*number, 0);
    let reading = decode_record(bytes).unwrap();
    assert_eq!((reading.outcome, reading.pin), (Outcome::Measured, pin(40)));
    assert_eq!((reading.survey, reading.samples), (1, SampleCoverage::None));
    let friction = reading.friction.unwrap().newton_metres();
    assert!((friction - 6.0).abs() < 0.05, "{friction}");
    assert_eq!((bench.signals.lamp, bench.signals.pin), (Lamp::Accepted, None));
}

#[test]
fn commands_out_of_range() {
    let mut bench = Bench::new();
    assert_eq!(bench.start(0, false), CommandResult::OutOfRange);
    for microradians in [0, -8_727, 3_489, 26_181, i32::MAX] {
        let slip = Angle::from_microradians(microradians);
        let start = FromHost::StartSurvey(StartSurvey { survey: 1, slip, stream_samples: false });
        assert_eq!(bench.ask(start), CommandResult::OutOfRange, "{microradians}");
    }
    assert_eq!(bench.choose(40), CommandResult::NoSurvey, "none was begun");
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    assert_eq!(bench.start(1, false), CommandResult::Done);
    for note in [0, 89, 255] {
        assert_eq!(bench.choose(note), CommandResult::NoSuchPin, "{note}");
    }
    assert_eq!(bench.choose(88), CommandResult::Done);
}

#[test]
fn records_that_are_not_there_cannot_be_pulled() {
    let mut bench = begun();
    let pull = |from| FromHost::Pull(Pull { from, count_max: 8 });
    assert_eq!(bench.ask(pull(0)), CommandResult::Done, "none yet, but that is no error");
    assert_eq!(bench.ask(pull(1)), CommandResult::NoSuchRecord);
    assert_eq!(bench.ask(pull(u32::MAX)), CommandResult::NoSuchRecord);
    let first = records(&bench.read_pin(40));
    let sequence = bench.send(pull(0));
    let said = bench.hear();
    assert_eq!(reply_to(sequence, &said), Some(CommandResult::Done));
    assert_eq!(records(&said), first, "the same bytes again");
    assert_eq!(bench.ask(FromHost::Pull(Pull { from: 0, count_max: 0 })), CommandResult::Done);
}

#[test]
fn commits_that_do_not_fit_are_refused() {
    let mut bench = begun();
    let said = bench.read_pin(40);
    let checksum = records(&said)[0].1;
    let right = Commit { epoch: 9, floor: 1, chain: chain_next(chain_start(3, 9), checksum) };
    let refused = |commit| FromHost::Commit(commit);
    for (commit, result) in [
        (Commit { epoch: 8, ..right }, CommandResult::CommitMismatch),
        (Commit { chain: right.chain ^ 1, ..right }, CommandResult::CommitMismatch),
        (Commit { floor: 2, ..right }, CommandResult::NoSuchRecord),
    ] {
        assert_eq!(bench.ask(refused(commit)), result, "{commit:?}");
    }
    bench.send(GREET);
    let floor = |said: &[Said]| match said {
        [Said::Hello(hello)] => (hello.committed_floor, hello.next_record, hello.zeroed),
        other => panic!("{other:?}"),
    };
    assert_eq!(floor(&bench.hear()), (0, 1, true));
    assert_eq!(bench.ask(FromHost::Commit(right)), CommandResult::Done);
    bench.send(GREET);
    assert_eq!(floor(&bench.hear()), (1, 1, true));
}

#[test]
fn nothing_is_started_stopped_or_zeroed_under_a_moving_pin() {
    let mut bench = moving();
    let start = |survey, stream_samples| {
        let slip = Angle::from_microradians(8_727);
        FromHost::StartSurvey(StartSurvey { survey, slip, stream_samples })
    };
    for command in [
        FromHost::Zero(()),
        FromHost::StopSurvey(()),
        start(2, false),
        start(1, true),
        FromHost::ChoosePin(ChoosePin { pin: pin(41), unstrung: false }),
        FromHost::ChoosePin(ChoosePin { pin: pin(40), unstrung: true }),
    ] {
        assert_eq!(bench.ask(command), CommandResult::PinMoving, "{command:?}");
    }
    assert_eq!(bench.signals.pin, Some(pin(40)));
}

#[test]
fn no_zero_while_a_pin_is_in_hand_or_the_lever_is_moved() {
    let mut bench = begun();
    assert_eq!(bench.choose(40), CommandResult::Done);
    assert_eq!(bench.ask(FromHost::Zero(())), CommandResult::PinMoving);
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    // Torque that changes by more than 0.1 N·m, then a lever that swings steadily.
    let rocking: Vec<RawSample> = (0..600)
        .map(|i| RawSample { bridge_code: if i < 300 { 0 } else { 20_000 }, rate_count: 0 })
        .collect();
    let swinging = vec![RawSample { bridge_code: 0, rate_count: 1_000 }; 600];
    for samples in [rocking, swinging] {
        let zero = bench.send(FromHost::Zero(()));
        assert_eq!(reply_to(zero, &bench.hear()), None, "answered when it is taken");
        let said = bench.play_and_hear(&samples);
        assert_eq!(reply_to(zero, &said), Some(CommandResult::NotAtRest));
    }
    let zero = bench.send(FromHost::Zero(()));
    assert_eq!(reply_to(zero, &bench.play_and_hear(&still(600))), Some(CommandResult::Done));
}

#[test]
fn a_full_log_takes_no_pin_until_a_commit() {
    let mut bench = begun();
    let mut chain = chain_start(3, 9);
    for index in 0..RECORD_COUNT_MAX as u8 {
        let said = bench.read_pin(30 + index);
        let read = records(&said);
        assert_eq!(read.len(), 1, "pin {index}");
        chain = if index == 0 { chain_next(chain, read[0].1) } else { chain };
    }
    assert_eq!(bench.choose(60), CommandResult::LogFull);
    let commit = FromHost::Commit(Commit { epoch: 9, floor: 1, chain });
    assert_eq!(bench.ask(commit), CommandResult::Done);
    assert_eq!(records(&bench.read_pin(60)).len(), 1);
    assert_eq!(bench.choose(61), CommandResult::LogFull);
    // All but the committed one are still there.
    let pull = FromHost::Pull(Pull { from: 1, count_max: 255 });
    let mut numbers = Vec::new();
    for _ in 0..4 {
        let from = numbers.last().map_or(1, |last| last + 1);
        bench.send(FromHost::Pull(Pull { from, count_max: 255 }));
        numbers.extend(records(&bench.hear()).iter().map(|(number, ..)| *number));
    }
    assert_eq!(numbers, (1..=RECORD_COUNT_MAX as u32).collect::<Vec<u32>>(), "{pull:?}");
}

#[test]
fn a_pin_asked_for_again_keeps_its_strokes() {
    let mut bench = begun();
    assert_eq!(bench.choose(40), CommandResult::Done);
    let mut samples = through_the_air();
    samples.extend(micro_stroke(6.0, 3.0));
    // The host asks again now and then, as it does when a reply is lost or the cable was out.
    let mut said = Vec::new();
    for chunk in samples.chunks(700) {
        said.extend(bench.play_and_hear(chunk));
        if bench.signals.pin.is_some() {
            assert_eq!(
                bench.start(1, false),
                match bench.signals.lamp {
                    Lamp::Moving => CommandResult::PinMoving,
                    _ => CommandResult::Done,
                }
            );
            assert_eq!(bench.choose(40), CommandResult::Done);
        }
    }
    assert_eq!(records(&said).len(), 1);
}

#[test]
fn a_pin_just_read_is_not_taken_again_before_its_commit() {
    let mut bench = begun();
    let said = bench.read_pin(40);
    let chain = chain_next(chain_start(3, 9), records(&said)[0].1);
    // A choice that was on its way when the reading was accepted.
    assert_eq!(bench.choose(40), CommandResult::LogFull);
    assert_eq!(bench.choose(41), CommandResult::Done);
    assert_eq!(bench.choose(40), CommandResult::LogFull);
    assert_eq!(
        bench.ask(FromHost::Commit(Commit { epoch: 9, floor: 1, chain })),
        CommandResult::Done
    );
    // A host that knows of the reading and wants another gets it.
    assert_eq!(bench.choose(40), CommandResult::Done);
}

#[test]
fn every_block_of_samples_follows_the_one_before() {
    let mut bench = begun();
    assert_eq!(bench.start(1, true), CommandResult::Done);
    let mut said = bench.play_and_hear(&still(100));
    // Streaming off and on again in the middle of a block.
    bench.send(FromHost::StartSurvey(StartSurvey {
        survey: 1,
        slip: Angle::from_microradians(8_727),
        stream_samples: false,
    }));
    said.extend(bench.play_and_hear(&still(100)));
    assert_eq!(bench.start(1, true), CommandResult::Done);
    said.extend(bench.play_and_hear(&still(100)));
    bench.send(FromHost::StopSurvey(()));
    said.extend(bench.hear());
    let blocks: Vec<(u32, u32)> = said
        .iter()
        .filter_map(|said| match said {
            Said::Samples { first_index, count } => Some((*first_index, u32::from(*count))),
            _ => None,
        })
        .collect();
    let covered: u32 = blocks.iter().map(|(_, count)| count).sum();
    assert_eq!(covered, 200, "{blocks:?}");
    assert!(blocks.windows(2).all(|pair| pair[0].0 + pair[0].1 <= pair[1].0), "{blocks:?}");
    let ends = blocks.iter().filter(|(first, count)| (first + count).is_multiple_of(64)).count();
    assert!(blocks.len() - ends <= 2, "blocks end where an attitude may take force: {blocks:?}");
}

#[test]
fn status_is_answered() {
    let mut bench = Bench::new();
    bench.send(FromHost::AskStatus(()));
    assert_eq!(bench.hear(), [Said::Status]);
}
