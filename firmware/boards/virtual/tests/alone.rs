//! Whole surveys by buttons, without a host, which then finds everything in the log.
//!
//! Pianos and levers are invented. Seeds below 1000 served while this was written.

use pinhold_board_virtual::chip::Chip;
use pinhold_board_virtual::practice::{AlonePractice, Setup, pin_names};
use pinhold_lever::Lamp;
use pinhold_lever::log::RecordLog;
use pinhold_protocol::content::{Content, UNASSIGNED, decode_content};
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{
    FromHost, FromLever, Greet, PLAN_PART_PIN_COUNT, PlanPart, PlanState, Pull,
};
use pinhold_protocol::record::{Outcome, Pin, RECORD_BYTES_MAX};
use pinhold_protocol::units::Angle;
use pinhold_sim::hand::Hand;
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};

const PLAN: u64 = 40;
/// Samples after which a pin is taken to go on for ever.
const SAMPLES_PER_PIN_MAX: u64 = 20_000;

fn setup(seed: u64, pin_count: usize) -> Setup {
    let mut piano = Piano::invent(seed, Fault::None, Severity::Plain);
    piano.pins.truncate(pin_count);
    Setup {
        piano,
        lever: LeverModel::drawn(seed, Posture::level_grand()),
        hand: Hand::default(),
        seed,
        device: 7,
        epoch: 1,
    }
}

fn send(practice: &mut AlonePractice, message: FromHost) {
    let mut frame = [0; WIRE_BYTES_MAX];
    let byte_count = message.encode(1, &mut frame).expect("fits");
    practice.receive(&frame[..byte_count]);
}

/// What the lever says now, picked.
fn hear<T>(
    practice: &mut AlonePractice,
    mut pick: impl FnMut(&FromLever<'_>) -> Option<T>,
) -> Vec<T> {
    let bytes = practice.pending().to_vec();
    practice.sent(bytes.len());
    let mut reader = FrameReader::new();
    let mut picked = Vec::new();
    for byte in bytes {
        if let Some(frame) = reader.push(byte) {
            let message = FromLever::try_from(frame.expect("whole")).expect("known");
            picked.extend(pick(&message));
        }
    }
    picked
}

fn store_plan(practice: &mut AlonePractice, names: &[Pin]) {
    for (index, chunk) in names.chunks(PLAN_PART_PIN_COUNT).enumerate() {
        let mut pins = [None; PLAN_PART_PIN_COUNT];
        pins.iter_mut().zip(chunk).for_each(|(place, pin)| *place = Some(*pin));
        let first = (index * PLAN_PART_PIN_COUNT) as u16;
        let slip = Angle::from_microradians(8_727);
        let pin_count = names.len() as u16;
        send(practice, FromHost::PlanPart(PlanPart { plan: PLAN, slip, pin_count, first, pins }));
    }
    hear(practice, |_| None::<()>);
}

fn plan_state(practice: &mut AlonePractice) -> PlanState {
    send(practice, FromHost::AskPlan(()));
    let states = hear(practice, |message| match message {
        FromLever::PlanState(state) => Some(*state),
        _ => None,
    });
    states[0]
}

fn log(practice: &mut AlonePractice) -> Vec<Content> {
    let log = practice.log_mut();
    let mut buffer = [0; RECORD_BYTES_MAX];
    (log.oldest_number()..log.next_number())
        .map(|number| {
            let stored = log.get(number, &mut buffer).expect("answered for");
            decode_content(&buffer[..stored.byte_count]).expect("known")
        })
        .collect()
}

fn run(practice: &mut AlonePractice, pin_count: usize) {
    let sample_count_max = SAMPLES_PER_PIN_MAX * pin_count as u64;
    let ended = (0..sample_count_max).any(|_| {
        practice.step();
        practice.is_waiting()
    });
    assert!(ended, "{:?}", practice.signals());
}

#[test]
fn a_plan_is_read_alone_and_pulled_later() {
    let setup = setup(1, 12);
    let names = pin_names(&setup.piano);
    let mut practice = AlonePractice::alone(setup, Chip::new(64)).passing_over(|place| place == 4);
    store_plan(&mut practice, &names);
    run(&mut practice, names.len());
    let state = plan_state(&mut practice);
    assert_eq!((state.read_count, state.skipped_count, state.running), (11, 1, false));
    let contents = log(&mut practice);
    let mut told = Vec::new();
    let mut trace_count = 0;
    for content in &contents {
        match content {
            Content::Reading(reading) => {
                assert_eq!(reading.survey, PLAN);
                told.push(reading.pin);
            }
            Content::Skip(skip) => told.push(skip.pin),
            Content::Trace(trace) => {
                trace_count += 1;
                assert!(trace.points.len() >= 30);
            }
            Content::Lost { .. } => panic!("nothing was lost"),
        }
    }
    assert_eq!((told, trace_count), (names, 11), "in the plan's order, each with its trace");
    // A host comes, and pulls what is there.
    send(
        &mut practice,
        FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 0 }),
    );
    let hello = hear(&mut practice, |message| match message {
        FromLever::Hello(hello) => Some(*hello),
        _ => None,
    })[0];
    assert_eq!(hello.next_record as usize, contents.len());
    for number in 0..hello.next_record {
        send(&mut practice, FromHost::Pull(Pull { from: number, count_max: 1 }));
        let pulled = hear(&mut practice, |message| match message {
            FromLever::Record(record) => {
                Some((record.number, decode_content(record.bytes).expect("known")))
            }
            _ => None,
        });
        assert_eq!(pulled, [(number, contents[number as usize].clone())]);
    }
}

#[test]
fn without_a_plan_every_pin_is_read_unassigned() {
    let setup = setup(2, 6);
    let mut practice = AlonePractice::alone(setup, Chip::new(64));
    run(&mut practice, 6);
    let readings: Vec<_> = log(&mut practice)
        .into_iter()
        .filter_map(|content| match content {
            Content::Reading(reading) => Some((reading.survey, reading.pin, reading.outcome)),
            _ => None,
        })
        .collect();
    assert_eq!(readings, [(0, UNASSIGNED, Outcome::Measured); 6]);
}

#[test]
fn a_survey_goes_on_after_power_cuts() {
    let setup = setup(3, 10);
    let names = pin_names(&setup.piano);
    let mut practice = AlonePractice::alone(setup, Chip::new(64));
    store_plan(&mut practice, &names);
    // In the middle of whatever it is just doing.
    for cut_after in [9_000, 23_000, 31_000] {
        for _ in 0..cut_after {
            practice.step();
        }
        practice.cut_power();
    }
    run(&mut practice, names.len());
    let read: Vec<Pin> = log(&mut practice)
        .into_iter()
        .filter_map(|content| match content {
            Content::Reading(reading) => Some(reading.pin),
            _ => None,
        })
        .collect();
    assert_eq!(read, names, "each once, in order");
}

#[test]
fn a_whole_piano_fits_a_log_of_128_kib() {
    let setup = setup(4, usize::MAX);
    let names = pin_names(&setup.piano);
    let mut practice = AlonePractice::alone(setup, Chip::new(32));
    store_plan(&mut practice, &names);
    run(&mut practice, names.len());
    let state = plan_state(&mut practice);
    assert_eq!(practice.signals().lamp, Lamp::Accepted);
    assert_eq!(usize::from(state.read_count + state.skipped_count), names.len());
    let minutes = practice.now().microseconds() / 60_000_000;
    println!("{} pins by buttons in {minutes} min, {} skipped", names.len(), state.skipped_count);
}
