//! Example values: one per message, a few readings, and the largest of each.
//!
//! All invented. The golden files hold their bytes; changing a value here changes a golden.

use heapless::Vec as BoundedVec;
use pinhold_protocol::block::{self, RawSample};
use pinhold_protocol::content::{
    Content, Skip, TRACE_POINT_COUNT_MAX, Trace, TracePoint, UNASSIGNED, encode_skip, encode_trace,
};
use pinhold_protocol::error::{CommandResult, Fault, LinkCounters};
use pinhold_protocol::lost::encode_lost;
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, FromLever, Greet, Health, Hello, Live, PLAN_PART_PIN_COUNT, Phase,
    PlanPart, PlanState, Pull, Record, Reply, Samples, Start, StartSurvey, Status,
    StoreCalibration,
};
use pinhold_protocol::record::{
    Direction, Knee, Outcome, Pin, RECORD_BYTES_MAX, Reading, SampleCoverage, StringPosition,
    Stroke, chain_start, encode_record, reading_flags, record_checksum, stroke_flags,
};
use pinhold_protocol::units::{Angle, DeviceTime, Stiffness, Torque};

pub(crate) const DEVICE: u64 = 0x0123_4567_89AB_CDEF;
pub(crate) const EPOCH: u32 = 3;
pub(crate) const SURVEY: u64 = 0x5EED_0001;
const A4_CENTRE: Pin = Pin { note: 49, string: StringPosition::Centre };

const fn micro(micronewton_metres: i32) -> Torque {
    Torque::from_micronewton_metres(micronewton_metres)
}

/// A flat stroke of a sound middle pin: F about 8.1 N·m, M about 2.9 N·m.
fn flat_stroke() -> Stroke {
    Stroke {
        direction: Direction::Flat,
        breakaway: Some(micro(5_610_000)),
        running: Some(micro(5_204_000)),
        running_scatter: micro(41_000),
        running_slope_micronewton_metres_per_radian: -28_000_000,
        running_angle: Angle::from_microradians(-4_363),
        ramp_stiffness: Some(Stiffness::from_micronewton_metres_per_radian(512_000_000)),
        slip: Angle::from_microradians(8_727),
        peak: micro(5_655_000),
        knee: Knee::Rounded,
        stick_slip_permille: 23,
        rest_before_ms: 900,
        duration_ms: 1_850,
        slip_ms: 720,
        sample_count: 1_850,
        flags: stroke_flags::FIRST_BREAK,
    }
}

/// The sharp stroke back.
fn sharp_stroke() -> Stroke {
    Stroke {
        direction: Direction::Sharp,
        breakaway: Some(micro(11_340_000)),
        running: Some(micro(11_012_000)),
        running_slope_micronewton_metres_per_radian: 31_000_000,
        peak: micro(11_390_000),
        knee: Knee::Crisp,
        rest_before_ms: 400,
        flags: stroke_flags::FIRST_BREAK,
        ..flat_stroke()
    }
}

/// A whole micro-stroke on A4's centre pin.
pub(crate) fn measured_reading() -> Reading {
    Reading {
        survey: SURVEY,
        pin: A4_CENTRE,
        started: DeviceTime::from_microseconds(81_234_567),
        duration_ms: 6_400,
        outcome: Outcome::Measured,
        flags: reading_flags::HIGH_FIRST_BREAK,
        friction: Some(micro(8_108_000)),
        string_moment: Some(micro(2_904_000)),
        sharp: Some(micro(11_012_000)),
        flat: Some(micro(5_204_000)),
        net_rotation: Angle::from_microradians(-120),
        excursion_flat: Angle::from_microradians(-8_800),
        excursion_sharp: Angle::ZERO,
        temperature_centi_celsius: 2_150,
        attitude_milli_g: [12, -8, 999],
        calibration: 7,
        samples: SampleCoverage::Complete,
        strokes: BoundedVec::from_slice(&[flat_stroke(), sharp_stroke()]).expect("two fit"),
    }
}

/// A pin that did not move at 25 N·m: no friction, no strokes' running torque.
pub(crate) fn above_limit_reading() -> Reading {
    let stroke = Stroke {
        breakaway: None,
        running: None,
        ramp_stiffness: None,
        slip: Angle::ZERO,
        slip_ms: 0,
        peak: micro(25_020_000),
        knee: Knee::Absent,
        flags: stroke_flags::HARD | stroke_flags::SLIP_TOO_SHORT,
        ..flat_stroke()
    };
    Reading {
        pin: Pin { note: 1, string: StringPosition::Fourth },
        outcome: Outcome::AboveLimit,
        flags: reading_flags::HARD | reading_flags::NOT_ZEROED,
        friction: None,
        string_moment: None,
        sharp: None,
        flat: None,
        samples: SampleCoverage::None,
        strokes: BoundedVec::from_slice(&[stroke]).expect("one fits"),
        ..measured_reading()
    }
}

/// A pin the string drove flat while the hand held it back: flat is negative.
pub(crate) fn not_holding_reading() -> Reading {
    let stroke = Stroke {
        breakaway: Some(micro(-310_000)),
        running: Some(micro(-402_000)),
        flags: stroke_flags::FIRST_BREAK | stroke_flags::DRIVEN_BY_STRING,
        ..flat_stroke()
    };
    Reading {
        pin: Pin { note: 88, string: StringPosition::Left },
        outcome: Outcome::FlatOnly,
        flags: reading_flags::NOT_HOLDING,
        friction: None,
        string_moment: None,
        sharp: None,
        flat: Some(micro(-402_000)),
        samples: SampleCoverage::WithGaps,
        strokes: BoundedVec::from_slice(&[stroke]).expect("one fits"),
        ..measured_reading()
    }
}

/// Every number at its longest: the largest record there can be.
pub(crate) fn largest_reading() -> Reading {
    let longest_angle = Angle::from_microradians(i32::MIN);
    let stroke = Stroke {
        direction: Direction::Sharp,
        breakaway: Some(micro(i32::MIN)),
        running: Some(micro(i32::MAX)),
        running_scatter: micro(i32::MIN),
        running_slope_micronewton_metres_per_radian: i32::MIN,
        running_angle: longest_angle,
        ramp_stiffness: Some(Stiffness::from_micronewton_metres_per_radian(u32::MAX)),
        slip: longest_angle,
        peak: micro(i32::MIN),
        knee: Knee::Absent,
        stick_slip_permille: u16::MAX,
        rest_before_ms: u32::MAX,
        duration_ms: u32::MAX,
        slip_ms: u32::MAX,
        sample_count: u32::MAX,
        flags: u16::MAX,
    };
    Reading {
        survey: u64::MAX,
        pin: Pin { note: 88, string: StringPosition::Fourth },
        started: DeviceTime::from_microseconds(u64::MAX),
        duration_ms: u32::MAX,
        outcome: Outcome::Spoiled,
        flags: u16::MAX,
        friction: Some(micro(i32::MIN)),
        string_moment: Some(micro(i32::MIN)),
        sharp: Some(micro(i32::MIN)),
        flat: Some(micro(i32::MIN)),
        net_rotation: longest_angle,
        excursion_flat: longest_angle,
        excursion_sharp: longest_angle,
        temperature_centi_celsius: i16::MIN,
        attitude_milli_g: [i16::MIN; 3],
        calibration: u32::MAX,
        samples: SampleCoverage::Complete,
        strokes: BoundedVec::from_slice(&[stroke; 4]).expect("four fit"),
    }
}

/// Readings with the names their golden files carry.
pub(crate) fn readings() -> [(&'static str, Reading); 4] {
    [
        ("record_measured", measured_reading()),
        ("record_above_limit", above_limit_reading()),
        ("record_not_holding", not_holding_reading()),
        ("record_largest", largest_reading()),
    ]
}

/// A record's bytes.
pub(crate) fn record_bytes(reading: &Reading) -> Vec<u8> {
    let mut room = [0; pinhold_protocol::record::RECORD_BYTES_MAX];
    let used = encode_record(reading, &mut room).expect("a record always fits");
    room[..used].to_vec()
}

/// Samples of a ramp with some noise: shorter packed than plain.
pub(crate) fn ramp_samples() -> Vec<RawSample> {
    let noise = [(0, 0), (31, -9), (-22, 14), (57, 3), (-64, -17), (12, 8), (40, 21), (-5, -2)];
    noise
        .iter()
        .zip(0..)
        .map(|((bridge, rate), step)| RawSample {
            bridge_code: 120_000 + 25 * step + bridge,
            rate_count: 40 + rate,
        })
        .collect()
}

/// The same as a lever sends them: bridge codes in steps of 16, rates in steps of 4.
pub(crate) fn rounded_samples() -> Vec<RawSample> {
    let step = |sample: RawSample| RawSample {
        bridge_code: sample.bridge_code & !15,
        rate_count: sample.rate_count & !3,
    };
    ramp_samples().into_iter().map(step).collect()
}

/// Samples at the ends of their ranges: no shorter packed.
pub(crate) fn extreme_samples() -> Vec<RawSample> {
    vec![
        RawSample { bridge_code: block::BRIDGE_CODE_MIN, rate_count: i16::MAX },
        RawSample { bridge_code: block::BRIDGE_CODE_MAX, rate_count: i16::MIN },
        RawSample { bridge_code: -1, rate_count: -1 },
    ]
}

/// The packed form: coding and bytes.
pub(crate) fn packed(samples: &[RawSample]) -> (u8, Vec<u8>) {
    let mut room = [0; block::BLOCK_BYTES_MAX];
    let (coding, used) = block::encode(samples, &mut room).expect("a block always fits");
    (coding, room[..used].to_vec())
}

/// The form of one coding, whichever [`packed`] would choose.
pub(crate) fn packed_as(coding: u8, samples: &[RawSample]) -> Vec<u8> {
    // Codings that do not fall back can be longer than plain.
    let mut room = [0; 2 * block::BLOCK_BYTES_MAX];
    let used = block::encode_as(coding, samples, &mut room).expect("a block always fits");
    room[..used].to_vec()
}

/// A block in a message of its own.
pub(crate) fn samples_message(count: usize, coding: u8, data: &[u8]) -> Samples<'_> {
    Samples {
        first_index: 81_200,
        count: count as u8,
        dropped_block_count: 0,
        acceleration_milli_g: [12, -8, 999],
        temperature_centi_celsius: 2_150,
        coding,
        data,
    }
}

pub(crate) const HELLO: Hello = Hello {
    protocol_min: 1,
    protocol_max: 1,
    device: DEVICE,
    epoch: EPOCH,
    firmware: [0, 1, 0],
    record_version: 1,
    now: DeviceTime::from_microseconds(2_500_000),
    oldest_record: 100,
    next_record: 142,
    committed_floor: 140,
    committed_chain: 0x1122_3344,
    sample_period_ns: 1_000_000,
    calibration: 7,
    zeroed: true,
    survey: SURVEY,
};

pub(crate) const LIVE: Live = Live {
    pin: Some(A4_CENTRE),
    phase: Phase::Slip,
    torque: micro(-5_204_000),
    angle: Angle::from_microradians(-14_530),
    next_record: 142,
    committed_floor: 140,
    dropped_block_count: 0,
    missed_sample_count: 0,
};

const STATUS: Status = Status {
    link: LinkCounters {
        framing_count: 1,
        length_count: 2,
        checksum_count: 3,
        version_count: 4,
        unknown_type_count: 5,
        content_count: 6,
        sequence_count: 7,
        accepted_count: 1_000,
    },
    dropped_block_count: 8,
    missed_sample_count: 9,
    saturated_sample_count: 10,
};

/// A lever on its battery that finds its zero too far off.
const HEALTH: Health = Health {
    faults: Fault::ZeroOffLimits.bit(),
    tested: true,
    start: Start::Watchdog,
    battery_mv: Some(3_812),
    battery_permille: Some(620),
    battery_minutes: Some(740),
    external_power: false,
    bridge_period_ns: 1_004_312,
    motion_period_ns: 598_870,
    zero: micro(3_120_000),
    uncommitted_count: 41,
    room_count: 260,
    flash_failed_count: 0,
};

const PLAN: PlanState = PlanState {
    plan: SURVEY,
    pin_count: 34,
    checksum: 0x3C21_90E5,
    position: 12,
    read_count: 11,
    skipped_count: 1,
    running: true,
};

/// A calibration near the nominal one, the bridge's zero below the middle.
const CALIBRATION: StoreCalibration = StoreCalibration {
    number: 7,
    zero_code_q8: -70_963,
    span_femtonewton_metres_per_count: 6_985_210_000,
    weight_moment: Torque::from_micronewton_metres(588_415),
};

/// The second and last part of a plan: two pins, one note.
fn plan_part() -> PlanPart {
    let mut pins = [None; PLAN_PART_PIN_COUNT];
    pins[0] = Some(Pin { note: 12, string: StringPosition::Left });
    pins[1] = Some(Pin { note: 12, string: StringPosition::Right });
    let slip = Angle::from_microradians(8_727);
    PlanPart { plan: SURVEY, slip, pin_count: 34, first: 32, pins }
}

/// A trace of three points.
pub(crate) fn trace() -> Trace {
    let points = [(0, 0), (-62, -41), (-58, -120)];
    let points = points.map(|(torque, angle)| TracePoint { torque, angle });
    Trace {
        reading: 141,
        interval_ms: 80,
        torque_step: micro(100_000),
        angle_step: Angle::from_microradians(140),
        points: BoundedVec::from_slice(&points).expect("three fit"),
    }
}

/// Every number at its longest.
pub(crate) fn largest_trace() -> Trace {
    let points = [TracePoint { torque: i8::MIN, angle: i8::MIN }; TRACE_POINT_COUNT_MAX];
    Trace {
        reading: u32::MAX,
        interval_ms: u32::MAX,
        torque_step: micro(i32::MIN),
        angle_step: Angle::from_microradians(i32::MIN),
        points: BoundedVec::from_slice(&points).expect("all fit"),
    }
}

/// A pin passed over.
pub(crate) fn skip() -> Skip {
    Skip { survey: SURVEY, pin: A4_CENTRE, at: DeviceTime::from_microseconds(91_000_000) }
}

/// A reading of a lever without a plan.
pub(crate) fn unassigned_reading() -> Reading {
    Reading {
        survey: 0,
        pin: UNASSIGNED,
        samples: SampleCoverage::None,
        strokes: BoundedVec::new(),
        ..measured_reading()
    }
}

/// Records of each other kind, with the names their golden files carry.
pub(crate) fn other_records() -> [(&'static str, Content); 4] {
    [
        ("trace", Content::Trace(trace())),
        ("trace_largest", Content::Trace(largest_trace())),
        ("skip", Content::Skip(skip())),
        ("record_unassigned", Content::Reading(unassigned_reading())),
    ]
}

/// The bytes of a record of any kind.
pub(crate) fn content_bytes(content: &Content) -> Vec<u8> {
    let mut room = [0; RECORD_BYTES_MAX];
    let used = match content {
        Content::Lost { chain } => return encode_lost(*chain).to_vec(),
        Content::Reading(reading) => encode_record(reading, &mut room),
        Content::Trace(trace) => encode_trace(trace, &mut room),
        Content::Skip(skip) => encode_skip(skip, &mut room),
    };
    room[..used.expect("a record always fits")].to_vec()
}

/// One of each message the lever sends, with names; `record` and `block` lend their bytes.
pub(crate) fn from_lever<'a>(
    record: &'a [u8],
    block: (usize, u8, &'a [u8]),
) -> [(&'static str, FromLever<'a>); 9] {
    let (count, coding, data) = block;
    let number = 141;
    [
        ("hello", FromLever::Hello(HELLO)),
        ("samples", FromLever::Samples(samples_message(count, coding, data))),
        ("live", FromLever::Live(LIVE)),
        ("live_idle", FromLever::Live(Live { pin: None, phase: Phase::Idle, ..LIVE })),
        (
            "record",
            FromLever::Record(Record {
                epoch: EPOCH,
                number,
                checksum: record_checksum(EPOCH, number, record),
                bytes: record,
            }),
        ),
        ("reply", FromLever::Reply(Reply { to: 513, result: CommandResult::CommitMismatch })),
        ("status", FromLever::Status(STATUS)),
        ("health", FromLever::Health(HEALTH)),
        ("plan", FromLever::PlanState(PLAN)),
    ]
}

/// One of each message the host sends, with names.
pub(crate) fn from_host() -> [(&'static str, FromHost); 12] {
    let chain = chain_start(DEVICE, EPOCH);
    [
        (
            "greet",
            FromHost::Greet(Greet {
                protocol_min: 1,
                protocol_max: 1,
                calendar_ms: 1_767_225_600_000,
            }),
        ),
        (
            "start_survey",
            FromHost::StartSurvey(StartSurvey {
                survey: SURVEY,
                slip: Angle::from_microradians(8_727),
                stream_samples: true,
            }),
        ),
        ("stop_survey", FromHost::StopSurvey(())),
        ("choose_pin", FromHost::ChoosePin(ChoosePin { pin: A4_CENTRE, unstrung: false })),
        ("zero", FromHost::Zero(())),
        ("pull", FromHost::Pull(Pull { from: 140, count_max: 16 })),
        ("commit", FromHost::Commit(Commit { epoch: EPOCH, floor: 142, chain })),
        ("ask_status", FromHost::AskStatus(())),
        ("plan_part", FromHost::PlanPart(plan_part())),
        ("ask_health", FromHost::AskHealth(())),
        ("ask_plan", FromHost::AskPlan(())),
        ("store_calibration", FromHost::StoreCalibration(CALIBRATION)),
    ]
}
