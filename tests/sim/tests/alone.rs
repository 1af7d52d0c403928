//! A whole upright of 243 pins read without a computer, power cut on the way, downloaded later.
//!
//! Instrument, hand and lever are invented. Judging seed 310 000, used for nothing else.

use pinhold::link::session::{Event, LeverPlan, Session};
use pinhold_board_virtual::chip::Chip;
use pinhold_board_virtual::practice::{AlonePractice, Setup, pin_names};
use pinhold_lever::log::RecordLog;
use pinhold_protocol::content::Content;
use pinhold_protocol::record::{Outcome, Pin, Reading};
use pinhold_protocol::units::Angle;
use pinhold_sim::hand::Hand;
use pinhold_sim::piano::{Fault, Piano, Plan, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};

const SEED: u64 = 310_000;
const PLAN: u64 = 77;
/// Samples after which a pin is taken to go on for ever.
const SAMPLES_PER_PIN_MAX: u64 = 20_000;
/// Milliseconds after which a conversation is.
const TALK_MS_MAX: u64 = 600_000;

/// What a conversation brought.
#[derive(Default)]
struct Brought {
    records: Vec<Content>,
    plan_pin_count: Option<u16>,
}

/// Lets host and lever talk until the host is done; everything handed out is kept at once.
fn talk(practice: &mut AlonePractice, mut session: Session) -> Brought {
    let mut brought = Brought::default();
    for now_ms in 0..TALK_MS_MAX {
        session.tick(now_ms);
        let bytes = session.take_outgoing();
        if !bytes.is_empty() {
            practice.receive(&bytes);
        }
        practice.step();
        let bytes = practice.pending().to_vec();
        practice.sent(bytes.len());
        session.receive(now_ms, &bytes);
        while let Some(event) = session.next_event() {
            match event {
                Event::Greeted(_) | Event::LeverChanged(_) => session.held(now_ms, &[]),
                Event::Record(record) => {
                    assert_eq!(record.number as usize, brought.records.len(), "in order");
                    brought.records.push(record.content.expect("known to this host"));
                    session.kept(now_ms, record.number);
                }
                Event::PlanLoaded(state) => brought.plan_pin_count = Some(state.pin_count),
                _ => {}
            }
        }
        if session.is_finished() {
            return brought;
        }
    }
    panic!("the conversation does not end");
}

#[test]
fn an_upright_of_243_pins_is_read_alone_and_downloaded_later() {
    let plan = Plan::upright_88(SEED);
    let piano = Piano::invent_with(plan, SEED, Fault::None, Severity::Plain);
    let names: Vec<Pin> = pin_names(&piano);
    assert_eq!(names.len(), 243);
    let lever = LeverModel::drawn(SEED, Posture::Upright { clock_hours: 3.0 });
    let setup = Setup { piano, lever, hand: Hand::default(), seed: SEED, device: 9, epoch: 1 };
    // 64 pages of 4 KiB, as on the board.
    let mut practice = AlonePractice::alone(setup, Chip::new(64));

    let slip = Angle::from_microradians(8_727);
    let plan = LeverPlan::new(PLAN, slip, names.clone()).expect("a plan a lever takes");
    let loaded = talk(&mut practice, Session::load(plan, 0, 0));
    assert_eq!(loaded.plan_pin_count, Some(243));

    // The battery is pulled in the middle of three pins; the plan goes on where it was.
    for cut_after in [301_007, 655_013, 1_010_019] {
        for _ in 0..cut_after {
            practice.step();
        }
        practice.cut_power();
    }
    let sample_count_max = SAMPLES_PER_PIN_MAX * names.len() as u64;
    let ended = (0..sample_count_max).any(|_| {
        practice.step();
        practice.is_waiting()
    });
    assert!(ended, "{:?}", practice.signals());

    let fetched = talk(&mut practice, Session::fetch(0, 0));
    let readings: Vec<&Reading> = fetched
        .records
        .iter()
        .filter_map(|content| match content {
            Content::Reading(reading) => Some(reading),
            _ => None,
        })
        .collect();
    let count = |wanted: fn(&Content) -> bool| fetched.records.iter().filter(|c| wanted(c)).count();
    let trace_count = count(|content| matches!(content, Content::Trace(_)));
    let lost_count = count(|content| matches!(content, Content::Lost { .. }));
    let measured_count =
        readings.iter().filter(|reading| reading.outcome == Outcome::Measured).count();
    println!(
        "{} records: {} readings ({measured_count} measured both ways), {trace_count} traces, \
         {lost_count} numbers of torn writes; 3 power cuts, {} min of lever time",
        fetched.records.len(),
        readings.len(),
        practice.now().microseconds() / 60_000_000
    );
    let told: Vec<Pin> = readings.iter().map(|reading| reading.pin).collect();
    assert!(told == names, "each once, in the plan's order: {} of {}", told.len(), names.len());
    assert!(readings.iter().all(|reading| reading.survey == PLAN));
    assert!(measured_count >= 235, "{measured_count} of 243");
    assert!(trace_count >= 240, "{trace_count}");
    // A second host finds nothing new that nobody has committed.
    let log = practice.log_mut();
    assert_eq!(log.committed().0, log.next_number());
}
