//! Arbitrary values of every stored and sent type, with the ends of ranges made likely.

use heapless::Vec as BoundedVec;
use pinhold_protocol::block::{BRIDGE_CODE_MAX, BRIDGE_CODE_MIN, RawSample};
use pinhold_protocol::content::{Content, Skip, TRACE_POINT_COUNT_MAX, Trace, TracePoint};
use pinhold_protocol::error::{CommandResult, LinkCounters};
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, Greet, Health, Hello, Live, PLAN_PART_PIN_COUNT, Phase, PlanPart,
    PlanState, Pull, Reply, Start, StartSurvey, Status, StoreCalibration,
};
use pinhold_protocol::record::{
    Direction, Knee, NOTE_MAX, NOTE_MIN, Outcome, Pin, Reading, SampleCoverage, StringPosition,
    Stroke,
};
use pinhold_protocol::units::{Angle, DeviceTime, Stiffness, Torque};
use proptest::prelude::*;
use proptest::strategy::BoxedStrategy;

macro_rules! edged {
    ($name:ident, $type:ty) => {
        fn $name() -> impl Strategy<Value = $type> + Clone {
            prop_oneof![
                4 => any::<$type>(),
                1 => Just(<$type>::MIN),
                1 => Just(<$type>::MAX),
                2 => (0..=200u8).prop_map(<$type>::from),
            ]
        }
    };
}
edged!(u16s, u16);
edged!(u32s, u32);
edged!(u64s, u64);
edged!(i32s, i32);
edged!(i16s, i16);

fn torques() -> impl Strategy<Value = Torque> + Clone {
    i32s().prop_map(Torque::from_micronewton_metres)
}

fn angles() -> impl Strategy<Value = Angle> + Clone {
    i32s().prop_map(Angle::from_microradians)
}

fn times() -> impl Strategy<Value = DeviceTime> {
    u64s().prop_map(DeviceTime::from_microseconds)
}

fn accelerations() -> impl Strategy<Value = [i16; 3]> {
    [i16s(), i16s(), i16s()]
}

fn string_positions() -> impl Strategy<Value = StringPosition> {
    prop::sample::select(vec![
        StringPosition::Left,
        StringPosition::Centre,
        StringPosition::Right,
        StringPosition::Fourth,
    ])
}

fn pins() -> impl Strategy<Value = Pin> {
    (NOTE_MIN..=NOTE_MAX, string_positions()).prop_map(|(note, string)| Pin { note, string })
}

fn strokes() -> impl Strategy<Value = Stroke> {
    let stiffness = u32s().prop_map(Stiffness::from_micronewton_metres_per_radian);
    let first = (
        prop::sample::select(vec![Direction::Flat, Direction::Sharp]),
        prop::option::of(torques()),
        prop::option::of(torques()),
        torques(),
        i32s(),
        angles(),
        prop::option::of(stiffness),
        angles(),
    );
    let second = (
        torques(),
        prop::sample::select(vec![Knee::Crisp, Knee::Rounded, Knee::Absent]),
        u16s(),
        u32s(),
        u32s(),
        u32s(),
        u32s(),
        u16s(),
    );
    (first, second).prop_map(|(first, second)| Stroke {
        direction: first.0,
        breakaway: first.1,
        running: first.2,
        running_scatter: first.3,
        running_slope_micronewton_metres_per_radian: first.4,
        running_angle: first.5,
        ramp_stiffness: first.6,
        slip: first.7,
        peak: second.0,
        knee: second.1,
        stick_slip_permille: second.2,
        rest_before_ms: second.3,
        duration_ms: second.4,
        slip_ms: second.5,
        sample_count: second.6,
        flags: second.7,
    })
}

pub(crate) fn readings() -> impl Strategy<Value = Reading> {
    let outcomes = prop::sample::select(vec![
        Outcome::Measured,
        Outcome::FlatOnly,
        Outcome::SharpOnly,
        Outcome::BreakawayOnly,
        Outcome::AboveLimit,
        Outcome::MovedOnSeating,
        Outcome::Spoiled,
    ]);
    let coverage = prop::sample::select(vec![
        SampleCoverage::None,
        SampleCoverage::WithGaps,
        SampleCoverage::Complete,
    ]);
    let head = (u64s(), pins(), times(), u32s(), outcomes, u16s());
    let torques = [(); 4].map(|()| prop::option::of(torques()));
    let angles = [angles(), angles(), angles()];
    let tail = (i16s(), accelerations(), u32s(), coverage);
    let strokes = prop::collection::vec(strokes(), 0..=4);
    (head, torques, angles, tail, strokes).prop_map(|(head, torques, angles, tail, strokes)| {
        Reading {
            survey: head.0,
            pin: head.1,
            started: head.2,
            duration_ms: head.3,
            outcome: head.4,
            flags: head.5,
            friction: torques[0],
            string_moment: torques[1],
            sharp: torques[2],
            flat: torques[3],
            net_rotation: angles[0],
            excursion_flat: angles[1],
            excursion_sharp: angles[2],
            temperature_centi_celsius: tail.0,
            attitude_milli_g: tail.1,
            calibration: tail.2,
            samples: tail.3,
            strokes: BoundedVec::from_slice(&strokes).expect("at most four"),
        }
    })
}

/// Samples anywhere, quiet, or stepping from end to end.
pub(crate) fn samples() -> impl Strategy<Value = Vec<RawSample>> {
    let sample = |bridge: BoxedStrategy<i32>, rate: BoxedStrategy<i16>| {
        let one = (bridge, rate)
            .prop_map(|(bridge_code, rate_count)| RawSample { bridge_code, rate_count });
        prop::collection::vec(one, 1..=64)
    };
    let ends = prop::sample::select(vec![BRIDGE_CODE_MIN, -1, 0, 1, BRIDGE_CODE_MAX]);
    prop_oneof![
        sample((BRIDGE_CODE_MIN..=BRIDGE_CODE_MAX).boxed(), any::<i16>().boxed()),
        sample((-2_000..2_000).boxed(), (-50i16..50).boxed()),
        sample((8_388_000..=BRIDGE_CODE_MAX).boxed(), any::<i16>().boxed()),
        sample(ends.boxed(), i16s().boxed()),
        // Mostly still with rare jumps: a small parameter and long unary parts.
        sample(
            prop_oneof![30 => Just(5), 1 => BRIDGE_CODE_MIN..=BRIDGE_CODE_MAX].boxed(),
            prop_oneof![30 => Just(0i16), 1 => any::<i16>()].boxed(),
        ),
    ]
}

pub(crate) fn hellos() -> impl Strategy<Value = Hello> {
    let who = (any::<(u8, u8)>(), u64s(), u32s(), any::<[u8; 3]>(), any::<u8>(), times());
    let numbers = [u32s(), u32s(), u32s(), u32s(), u32s(), u32s()];
    (who, numbers, any::<bool>(), u64s()).prop_map(|(who, numbers, zeroed, survey)| Hello {
        protocol_min: who.0.0,
        protocol_max: who.0.1,
        device: who.1,
        epoch: who.2,
        firmware: who.3,
        record_version: who.4,
        now: who.5,
        oldest_record: numbers[0],
        next_record: numbers[1],
        committed_floor: numbers[2],
        committed_chain: numbers[3],
        sample_period_ns: numbers[4],
        calibration: numbers[5],
        zeroed,
        survey,
    })
}

pub(crate) fn lives() -> impl Strategy<Value = Live> {
    let phases = prop::sample::select(vec![
        Phase::Idle,
        Phase::Seating,
        Phase::Rest,
        Phase::Loading,
        Phase::Slip,
        Phase::Unloading,
        Phase::Accepted,
        Phase::Repeat,
        Phase::Zeroing,
    ]);
    let numbers = [u32s(), u32s(), u32s(), u32s()];
    (prop::option::of(pins()), phases, torques(), angles(), numbers).prop_map(
        |(pin, phase, torque, angle, numbers)| Live {
            pin,
            phase,
            torque,
            angle,
            next_record: numbers[0],
            committed_floor: numbers[1],
            dropped_block_count: numbers[2],
            missed_sample_count: numbers[3],
        },
    )
}

pub(crate) fn replies() -> impl Strategy<Value = Reply> {
    let results = prop::sample::select(vec![
        CommandResult::Done,
        CommandResult::NoSurvey,
        CommandResult::PinMoving,
        CommandResult::NotAtRest,
        CommandResult::LogFull,
        CommandResult::NoSuchPin,
        CommandResult::NoSuchRecord,
        CommandResult::CommitMismatch,
        CommandResult::OutOfRange,
        CommandResult::BatteryLow,
        CommandResult::NotFit,
    ]);
    (u16s(), results).prop_map(|(to, result)| Reply { to, result })
}

pub(crate) fn statuses() -> impl Strategy<Value = Status> {
    prop::collection::vec(u32s(), 11).prop_map(|numbers| Status {
        link: LinkCounters {
            framing_count: numbers[0],
            length_count: numbers[1],
            checksum_count: numbers[2],
            version_count: numbers[3],
            unknown_type_count: numbers[4],
            content_count: numbers[5],
            sequence_count: numbers[6],
            accepted_count: numbers[7],
        },
        dropped_block_count: numbers[8],
        missed_sample_count: numbers[9],
        saturated_sample_count: numbers[10],
    })
}

pub(crate) fn host_messages() -> impl Strategy<Value = FromHost> {
    prop_oneof![
        (any::<(u8, u8)>(), u64s()).prop_map(|((protocol_min, protocol_max), calendar_ms)| {
            FromHost::Greet(Greet { protocol_min, protocol_max, calendar_ms })
        }),
        (u64s(), angles(), any::<bool>()).prop_map(|(survey, slip, stream_samples)| {
            FromHost::StartSurvey(StartSurvey { survey, slip, stream_samples })
        }),
        Just(FromHost::StopSurvey(())),
        (pins(), any::<bool>())
            .prop_map(|(pin, unstrung)| FromHost::ChoosePin(ChoosePin { pin, unstrung })),
        Just(FromHost::Zero(())),
        (u32s(), any::<u8>())
            .prop_map(|(from, count_max)| FromHost::Pull(Pull { from, count_max })),
        [u32s(), u32s(), u32s()]
            .prop_map(|[epoch, floor, chain]| { FromHost::Commit(Commit { epoch, floor, chain }) }),
        Just(FromHost::AskStatus(())),
        plan_parts().prop_map(FromHost::PlanPart),
        Just(FromHost::AskHealth(())),
        Just(FromHost::AskPlan(())),
        calibrations().prop_map(FromHost::StoreCalibration),
    ]
}

fn calibrations() -> impl Strategy<Value = StoreCalibration> {
    (u32s(), any::<i64>(), u64s(), torques()).prop_map(|(number, zero, span, weight_moment)| {
        StoreCalibration {
            number,
            zero_code_q8: zero,
            span_femtonewton_metres_per_count: span,
            weight_moment,
        }
    })
}

fn plan_parts() -> impl Strategy<Value = PlanPart> {
    let pins = prop::collection::vec(prop::option::of(pins()), PLAN_PART_PIN_COUNT);
    (u64s(), angles(), u16s(), u16s(), pins).prop_map(|(plan, slip, pin_count, first, pins)| {
        let pins = pins.try_into().expect("as many as a part holds");
        PlanPart { plan, slip, pin_count, first, pins }
    })
}

pub(crate) fn healths() -> impl Strategy<Value = Health> {
    let starts =
        prop::sample::select(vec![Start::PowerOn, Start::Watchdog, Start::Asked, Start::Other]);
    let battery = [(); 3].map(|()| prop::option::of(u16s()));
    let numbers = prop::collection::vec(u32s(), 6);
    (starts, battery, numbers, torques(), any::<(bool, bool)>()).prop_map(
        |(start, battery, numbers, zero, (tested, external_power))| Health {
            faults: numbers[0],
            tested,
            start,
            battery_mv: battery[0],
            battery_permille: battery[1],
            battery_minutes: battery[2],
            external_power,
            bridge_period_ns: numbers[1],
            motion_period_ns: numbers[2],
            zero,
            uncommitted_count: numbers[3],
            room_count: numbers[4],
            flash_failed_count: numbers[5],
        },
    )
}

pub(crate) fn plan_states() -> impl Strategy<Value = PlanState> {
    let counts = [u16s(), u16s(), u16s(), u16s()];
    (u64s(), counts, u32s(), any::<bool>()).prop_map(|(plan, counts, checksum, running)| {
        let [pin_count, position, read_count, skipped_count] = counts;
        PlanState { plan, pin_count, checksum, position, read_count, skipped_count, running }
    })
}

/// Records of every kind but the lost ones.
pub(crate) fn contents() -> impl Strategy<Value = Content> {
    let point = any::<(i8, i8)>().prop_map(|(torque, angle)| TracePoint { torque, angle });
    let points = prop::collection::vec(point, 0..=TRACE_POINT_COUNT_MAX);
    let traces = (u32s(), u32s(), torques(), angles(), points).prop_map(
        |(reading, interval_ms, torque_step, angle_step, points)| {
            let points = BoundedVec::from_slice(&points).expect("no more than fit");
            Content::Trace(Trace { reading, interval_ms, torque_step, angle_step, points })
        },
    );
    let skips = (u64s(), pins(), times())
        .prop_map(|(survey, pin, at)| Content::Skip(Skip { survey, pin, at }));
    prop_oneof![readings().prop_map(Content::Reading), traces, skips]
}
