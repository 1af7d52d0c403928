//! Plans: parts that come in order or not at all, pins packed, what is done of them.

use pinhold_lever::plan::{Incoming, Plan, Progress};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{FromHost, PLAN_PART_PIN_COUNT, PlanPart, plan_checksum};
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_protocol::units::Angle;

use crate::chip::Chip;
use crate::synthetic::{Bench, FlashBench, Said};

const STRINGS: [StringPosition; 4] =
    [StringPosition::Left, StringPosition::Centre, StringPosition::Right, StringPosition::Fourth];

/// So many different pins.
pub(crate) fn pins(count: usize) -> Vec<Pin> {
    (0..count).map(|i| Pin { note: 1 + (i / 4) as u8, string: STRINGS[i % 4] }).collect()
}

/// A plan in its parts.
pub(crate) fn parts(plan: u64, pins: &[Pin]) -> Vec<PlanPart> {
    let slip = Angle::from_microradians(8_727);
    let part = |(index, chunk): (usize, &[Pin])| {
        let mut places = [None; PLAN_PART_PIN_COUNT];
        places.iter_mut().zip(chunk).for_each(|(place, pin)| *place = Some(*pin));
        let first = (index * PLAN_PART_PIN_COUNT) as u16;
        PlanPart { plan, slip, pin_count: pins.len() as u16, first, pins: places }
    };
    pins.chunks(PLAN_PART_PIN_COUNT).enumerate().map(part).collect()
}

/// Stores a plan.
pub(crate) fn upload<L: pinhold_lever::log::RecordLog>(
    bench: &mut Bench<L>,
    plan: u64,
    pins: &[Pin],
) -> CommandResult {
    parts(plan, pins)
        .into_iter()
        .map(|part| bench.ask(FromHost::PlanPart(part)))
        .find(|result| *result != CommandResult::Done)
        .unwrap_or(CommandResult::Done)
}

pub(crate) fn state<L: pinhold_lever::log::RecordLog>(
    bench: &mut Bench<L>,
) -> pinhold_protocol::message::PlanState {
    bench.send(FromHost::AskPlan(()));
    let said = bench.hear();
    let state = said.iter().find_map(|said| match said {
        Said::PlanState(state) => Some(*state),
        _ => None,
    });
    state.expect("the plan's state at once")
}

#[test]
fn pins_are_packed_and_come_back_in_order() {
    for count in [1, 7, 8, 9, 243, 256] {
        let mut plan = Plan::begun(1, Angle::from_microradians(8_727));
        for pin in pins(count) {
            assert!(plan.push(pin));
        }
        assert_eq!(plan.pins().collect::<Vec<_>>(), pins(count));
        assert_eq!(plan.packed().len(), (count * 9).div_ceil(8));
        assert_eq!(plan.pin(count as u16), None);
        assert!(!plan.push(pins(count)[0]), "twice");
        assert!(!plan.push(Pin { note: 89, string: StringPosition::Left }), "unknown");
    }
    let mut full = Plan::begun(1, Angle::ZERO);
    assert!(pins(256).into_iter().all(|pin| full.push(pin)));
    assert!(!full.push(pins(257)[256]), "257 pins");
}

#[test]
fn a_plan_of_243_pins_is_stored_and_outlives_the_power() {
    let mut bench: FlashBench = Bench::powered(Chip::new(32));
    assert_eq!(state(&mut bench), Default::default());
    assert_eq!(upload(&mut bench, 77, &pins(243)), CommandResult::Done);
    let stored = state(&mut bench);
    assert_eq!((stored.plan, stored.pin_count, stored.position), (77, 243, 0));
    assert_eq!(stored.checksum, plan_checksum(pins(243).into_iter()));
    let mut bench = bench.again();
    assert_eq!(state(&mut bench), stored);
    // Again, and the same again: nothing changes.
    assert_eq!(upload(&mut bench, 77, &pins(243)), CommandResult::Done);
    let last = parts(77, &pins(243)).pop().expect("eight parts");
    assert_eq!(bench.ask(FromHost::PlanPart(last)), CommandResult::Done, "its reply was lost");
    let off = PlanPart { pin_count: 0, first: 0, pins: [None; PLAN_PART_PIN_COUNT], ..last };
    assert_eq!(bench.ask(FromHost::PlanPart(off)), CommandResult::Done);
    assert_eq!(state(&mut bench), Default::default());
    assert_eq!(bench.ask(FromHost::PlanPart(last)), CommandResult::OutOfRange);
    assert_eq!(state(&mut bench.again()), Default::default());
}

#[test]
fn parts_that_do_not_fit_leave_the_plan_as_it_is() {
    let mut bench = Bench::new();
    assert_eq!(upload(&mut bench, 5, &pins(10)), CommandResult::Done);
    let before = state(&mut bench);
    let good = parts(6, &pins(100));
    let twice = {
        let mut part = good[0];
        part.pins[31] = part.pins[0];
        part
    };
    let wrong = |change: fn(&mut PlanPart)| {
        let mut part = good[0];
        change(&mut part);
        part
    };
    let cases = [
        (good[1], CommandResult::OutOfRange),
        (twice, CommandResult::OutOfRange),
        (wrong(|part| part.plan = 0), CommandResult::OutOfRange),
        (wrong(|part| part.first = 1), CommandResult::OutOfRange),
        (wrong(|part| part.first = u16::MAX), CommandResult::OutOfRange),
        (wrong(|part| part.pin_count = 257), CommandResult::OutOfRange),
        (wrong(|part| part.pin_count = u16::MAX), CommandResult::OutOfRange),
        (wrong(|part| part.pin_count = 31), CommandResult::OutOfRange),
        (wrong(|part| part.pins[30] = None), CommandResult::OutOfRange),
        (wrong(|part| part.slip = Angle::from_microradians(3_489)), CommandResult::OutOfRange),
        (wrong(|part| part.pin_count = 0), CommandResult::OutOfRange),
        (wrong(|part| part.pins[3].as_mut().unwrap().note = 0), CommandResult::NoSuchPin),
        (wrong(|part| part.pins[3].as_mut().unwrap().note = 200), CommandResult::NoSuchPin),
    ];
    for (part, wanted) in cases {
        assert_eq!(bench.ask(FromHost::PlanPart(part)), wanted, "{part:?}");
        assert_eq!(state(&mut bench), before);
    }
    // A part left out, one of another plan, one with another slip in between.
    let other = PlanPart { plan: 9, ..good[1] };
    let steeper = PlanPart { slip: Angle::from_microradians(9_000), ..good[1] };
    for stranger in [good[2], other, steeper] {
        assert_eq!(bench.ask(FromHost::PlanPart(good[0])), CommandResult::Done);
        assert_eq!(bench.ask(FromHost::PlanPart(stranger)), CommandResult::OutOfRange);
        let next = bench.ask(FromHost::PlanPart(good[1]));
        assert_eq!(next, CommandResult::OutOfRange, "begins again with the first");
    }
    assert_eq!(state(&mut bench), before);
    // Parts that come twice, as a line may bring them.
    for part in [good[0], good[0], good[1], good[0], good[1], good[2], good[3], good[3]] {
        assert_eq!(bench.ask(FromHost::PlanPart(part)), CommandResult::Done);
    }
    assert_eq!(state(&mut bench).plan, 6);
}

#[test]
fn two_hosts_at_once_never_store_a_mixture() {
    let mut incoming = Incoming::NOTHING;
    let (one, two) = (parts(1, &pins(64)), parts(2, &pins(64)));
    assert_eq!(incoming.take(&one[0]).map(|plan| plan.is_some()), Ok(false));
    assert_eq!(incoming.take(&two[0]).map(|plan| plan.is_some()), Ok(false));
    assert_eq!(incoming.take(&one[1]).map(|plan| plan.is_some()), Err(CommandResult::OutOfRange));
    assert_eq!(incoming.take(&two[1]).map(|plan| plan.is_some()), Err(CommandResult::OutOfRange));
}

#[test]
fn progress_counts_a_pin_once_and_a_reading_before_a_skip() {
    let mut progress = Progress::default();
    progress.note_skipped(4);
    progress.note_read(0);
    progress.note_read(0);
    assert_eq!((progress.read_count(), progress.skipped_count()), (1, 1));
    progress.note_read(4);
    progress.note_skipped(4);
    assert_eq!((progress.read_count(), progress.skipped_count()), (2, 0));
    assert_eq!(progress.next_undone(0, 5), Some(1));
    assert_eq!(progress.next_undone(4, 5), Some(1), "from the beginning again");
    assert_eq!(progress.next_undone(5, 5), Some(1));
    (0..5).for_each(|place| progress.note_read(place));
    assert_eq!(progress.next_undone(2, 5), None);
    assert_eq!(progress.next_undone(0, 0), None);
    progress.note_read(u16::MAX);
    assert!(!progress.is_done(u16::MAX), "no such place");
}
