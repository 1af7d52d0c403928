//! Storing a plan and asking how the lever is.

use pinhold_protocol::error::{CommandResult, LinkCounters};
use pinhold_protocol::message::{
    FromHost, FromLever, Health, PlanPart, PlanState, Status, plan_checksum,
};
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_protocol::units::Angle;

use super::super::{Event, LeverPlan, LeverPlanError, Request, Session};
use super::scripted::{Scripted, pin};

const NAME: u64 = 12;

fn slip() -> Angle {
    Angle::from_microradians(8_727)
}

fn pins() -> Vec<Pin> {
    (1..=40).map(pin).collect()
}

fn loading(pins: Vec<Pin>) -> Scripted {
    let plan = LeverPlan::new(NAME, slip(), pins).unwrap();
    let mut lever = Scripted::with(Session::load(plan, 0, 0), Scripted::new(&[]).hello);
    lever.greet();
    assert!(matches!(lever.events()[..], [Event::Greeted(_)]));
    lever
}

fn asking() -> Scripted {
    let mut lever = Scripted::with(Session::status(0, 0), Scripted::new(&[]).hello);
    lever.greet();
    lever.events();
    lever
}

fn part(lever: &mut Scripted, result: CommandResult) -> PlanPart {
    let (sequence, command) = lever.asked();
    lever.answer(sequence, result);
    let FromHost::PlanPart(part) = command else { panic!("{command:?}") };
    part
}

fn stored() -> PlanState {
    let checksum = plan_checksum(pins().into_iter());
    PlanState { plan: NAME, pin_count: 40, checksum, ..PlanState::default() }
}

#[test]
fn a_plan_goes_over_part_by_part_and_is_checked() {
    let mut lever = loading(pins());
    let first = part(&mut lever, CommandResult::Done);
    assert_eq!((first.plan, first.slip, first.pin_count, first.first), (NAME, slip(), 40, 0));
    assert_eq!(first.pins[31], Some(pin(32)));
    let second = part(&mut lever, CommandResult::Done);
    assert_eq!((second.first, second.pins[7], second.pins[8]), (32, Some(pin(40)), None));
    assert_eq!(lever.asked().1, FromHost::AskPlan(()));
    lever.say(&FromLever::PlanState(stored()));
    let said = [Event::PlanState(stored()), Event::PlanLoaded(stored()), Event::Finished];
    assert_eq!(lever.events(), said);
    assert!(lever.session.is_finished());
}

#[test]
fn a_part_out_of_order_begins_it_again_and_a_refusal_is_waited_for() {
    let mut lever = loading(pins());
    part(&mut lever, CommandResult::Done);
    let refused = part(&mut lever, CommandResult::PinMoving);
    assert_eq!(lever.events(), [Event::Refused(Request::Load, CommandResult::PinMoving)]);
    assert_eq!(part(&mut lever, CommandResult::OutOfRange), refused);
    assert_eq!(part(&mut lever, CommandResult::Done).first, 0);
    // Switched off and on it has forgotten the first part.
    lever.session.reconnected(lever.now_ms);
    lever.greet();
    assert_eq!(part(&mut lever, CommandResult::Done).first, 0);
}

#[test]
fn a_plan_that_arrived_otherwise_is_sent_again_and_given_up_in_the_end() {
    let mut lever = loading(vec![pin(1)]);
    let mut part_count = 0;
    while !lever.session.is_finished() {
        for (sequence, command) in lever.heard() {
            match command {
                FromHost::PlanPart(_) => {
                    part_count += 1;
                    lever.answer(sequence, CommandResult::Done);
                }
                _ => lever.say(&FromLever::PlanState(stored())),
            }
        }
        lever.now_ms += 50;
        assert!(lever.now_ms < 60_000);
    }
    assert_eq!(part_count, 9);
    assert_eq!(lever.events().last(), Some(&Event::GivenUp(Request::Load)));
}

#[test]
fn a_flash_that_refuses_is_given_up_in_the_end() {
    let mut lever = loading(pins());
    while !lever.session.is_finished() {
        part(&mut lever, CommandResult::NotFit);
        assert!(lever.now_ms < 60_000);
    }
    assert_eq!(lever.events().last(), Some(&Event::GivenUp(Request::Load)));
}

#[test]
fn a_plan_without_pins_takes_the_stored_one_away() {
    let mut lever = loading(Vec::new());
    assert_eq!(part(&mut lever, CommandResult::Done).pin_count, 0);
    lever.asked();
    lever.say(&FromLever::PlanState(PlanState::default()));
    assert!(lever.events().contains(&Event::Finished));
}

#[test]
fn a_plan_no_lever_would_take_is_refused_here() {
    let plan = |name, pins| LeverPlan::new(name, slip(), pins).unwrap_err();
    assert_eq!(plan(0, pins()), LeverPlanError::Unnamed);
    assert_eq!(plan(1, vec![pin(4), pin(5), pin(4)]), LeverPlanError::Twice { pin: pin(4) });
    assert_eq!(plan(1, vec![pin(0)]), LeverPlanError::Unknown { pin: pin(0) });
    let strings = [StringPosition::Left, StringPosition::Centre, StringPosition::Right];
    let many = (1..=88).flat_map(|note| strings.map(|string| Pin { note, string })).collect();
    assert_eq!(plan(1, many), LeverPlanError::TooLong { count: 264 });
}

#[test]
fn health_plan_and_counters_are_asked_in_turn() {
    let mut lever = asking();
    assert_eq!(lever.asked().1, FromHost::AskHealth(()));
    // The first answer gets lost.
    assert_eq!(lever.asked().1, FromHost::AskHealth(()));
    let health = Health { faults: 4, tested: true, ..Health::default() };
    lever.say(&FromLever::Health(health));
    assert_eq!(lever.asked().1, FromHost::AskPlan(()));
    lever.session.reconnected(lever.now_ms);
    lever.greet();
    assert_eq!(lever.asked().1, FromHost::AskPlan(()), "what is answered is not asked again");
    lever.say(&FromLever::PlanState(stored()));
    assert_eq!(lever.asked().1, FromHost::AskStatus(()));
    let status = Status {
        link: LinkCounters::default(),
        dropped_block_count: 0,
        missed_sample_count: 3,
        saturated_sample_count: 0,
    };
    lever.say(&FromLever::Status(status));
    let events = lever.events();
    assert_eq!(events[0], Event::Health(health));
    assert_eq!(events[2..], [Event::PlanState(stored()), Event::Status(status), Event::Finished]);
}

/// A lever that greets, and counts everything newer as unknown.
fn live_with_old_firmware(mut lever: Scripted) -> Vec<Event> {
    while !lever.session.is_finished() {
        for (_, command) in lever.heard() {
            match command {
                FromHost::Greet(_) => lever.say(&FromLever::Hello(lever.hello)),
                FromHost::AskStatus(()) => lever.say(&FromLever::Status(Status {
                    link: LinkCounters::default(),
                    dropped_block_count: 0,
                    missed_sample_count: 0,
                    saturated_sample_count: 0,
                })),
                _ => {}
            }
        }
        lever.now_ms += 50;
        assert!(lever.now_ms < 60_000, "it never ends");
    }
    lever.events()
}

#[test]
fn firmware_too_old_for_a_question_is_told() {
    let events = live_with_old_firmware(asking());
    let told = |request| events.contains(&Event::NotUnderstood(request));
    assert!(told(Request::Health) && told(Request::Plan) && !told(Request::Counters));
    assert_eq!(events.last(), Some(&Event::Finished));
    let events = live_with_old_firmware(loading(pins()));
    let end = [Event::NotUnderstood(Request::Load), Event::GivenUp(Request::Load)];
    assert_eq!(events[events.len() - 2..], end);
}

#[test]
fn a_lever_that_is_not_there_is_not_taken_for_an_old_one() {
    let mut lever = asking();
    while lever.now_ms < 120_000 {
        lever.heard();
        lever.now_ms += 50;
    }
    let events = lever.events();
    assert!(!lever.session.is_finished() && events.contains(&Event::Silent), "{events:?}");
    assert!(!events.iter().any(|event| matches!(event, Event::NotUnderstood(_))));
}
