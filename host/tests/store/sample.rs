//! Instruments, surveys and readings to store.

use pinhold::analysis::gain::Trial;
use pinhold::analysis::input::{Condition, Estimate};
use pinhold::instrument::InstrumentKind;
use pinhold::instrument::layout::modern_85;
use pinhold::store::{
    Committed, InstrumentFacts, NewClimate, NewInstrument, NewRecord, NewRepair, NewSurvey,
    NewTrial, RepairKind, Store, StoreError, SurveyId, SurveySource, TrialSource,
};
use pinhold_protocol::content::Content;
use pinhold_protocol::message::Hello;
use pinhold_protocol::record::{
    Direction, Knee, Outcome, Pin, Reading, STROKE_COUNT_MAX, SampleCoverage, StringPosition,
    Stroke,
};
use pinhold_protocol::units::{Angle, DeviceTime, Stiffness, Torque};

/// An instrument without facts.
pub(crate) fn instrument(name: &str) -> NewInstrument {
    NewInstrument {
        instrument: modern_85(name, InstrumentKind::Upright),
        facts: InstrumentFacts::default(),
        created: "2025-01-01T00:00:00Z".to_string(),
    }
}

/// A survey of nothing known.
pub(crate) fn survey(uid: u64, source: SurveySource) -> NewSurvey {
    NewSurvey {
        uid,
        started: "2025-01-01T00:00:00Z".to_string(),
        source,
        temperature_centi_celsius: None,
        humidity_permille: None,
        notes: String::new(),
        condition: Condition::default(),
    }
}

/// A trial pin that was typed.
pub(crate) fn trial(pin: Pin) -> NewTrial {
    NewTrial {
        trial: Trial {
            pin,
            from_um: 7_160,
            to_um: 7_280,
            reamed: true,
            before_nm: Estimate { value: 4.25, u: 0.3 },
            after_nm: Estimate { value: 8.5, u: 0.000_001 },
        },
        entered: "2026-01-01T00:00:00Z".to_string(),
        fitted: "2025-12-31".to_string(),
        label: "3/0 näh\u{1b}".to_string(),
        before: TrialSource::Typed("4.25".to_string()),
        after: TrialSource::Typed("8.5 Nm".to_string()),
        remark: "oily".to_string(),
    }
}

/// Begins a lever survey of a new instrument.
pub(crate) fn begin(store: &mut Store) -> SurveyId {
    let id = store.create_instrument(&instrument("x")).unwrap();
    store.begin_survey(id, &survey(1, SurveySource::Lever)).unwrap()
}

/// Keeps a reading under a survey, as record `name` (device, epoch, number).
pub(crate) fn keep(
    store: &mut Store,
    survey: SurveyId,
    name: (u64, u32, u32),
    checksum: u32,
    reading: &Reading,
) -> Result<Committed, StoreError> {
    let content = Content::Reading(reading.clone());
    keep_content(store, Some(survey), name, checksum, &[1], &content)
}

/// Keeps a record of any kind.
pub(crate) fn keep_content(
    store: &mut Store,
    survey: Option<SurveyId>,
    (device, epoch, number): (u64, u32, u32),
    checksum: u32,
    bytes: &[u8],
    content: &Content,
) -> Result<Committed, StoreError> {
    let content = Some(content);
    let received = "2025-01-01T00:00:00Z";
    store.keep_record(
        survey,
        &NewRecord { device, epoch, number, checksum, bytes, content, received },
    )
}

/// A reading whose every field follows from `seed`, extremes included.
pub(crate) fn reading(seed: u32) -> Reading {
    let wild = seed.wrapping_mul(0x9E37_79B9);
    let signed = wild.cast_signed();
    let torque = |turn: i32| Torque::from_micronewton_metres(signed.wrapping_add(turn));
    let maybe = |bit: u32| (seed >> bit & 1 == 0).then(|| torque(bit.cast_signed()));
    let strings = [
        StringPosition::Left,
        StringPosition::Centre,
        StringPosition::Right,
        StringPosition::Fourth,
    ];
    let outcomes = [
        Outcome::Measured,
        Outcome::FlatOnly,
        Outcome::SharpOnly,
        Outcome::BreakawayOnly,
        Outcome::AboveLimit,
        Outcome::MovedOnSeating,
        Outcome::Spoiled,
    ];
    let mut reading = Reading {
        survey: u64::MAX - u64::from(seed),
        pin: Pin { note: 1 + (seed % 88) as u8, string: strings[seed as usize % 4] },
        started: DeviceTime::from_microseconds(u64::from(wild) << 32),
        duration_ms: wild,
        outcome: outcomes[seed as usize % 7],
        flags: wild as u16,
        friction: maybe(0),
        string_moment: maybe(1),
        sharp: maybe(2),
        flat: maybe(3),
        net_rotation: Angle::from_microradians(signed),
        excursion_flat: Angle::from_microradians(i32::MIN),
        excursion_sharp: Angle::from_microradians(i32::MAX),
        temperature_centi_celsius: wild as i16,
        attitude_milli_g: [i16::MIN, wild as i16, i16::MAX],
        calibration: u32::MAX - seed,
        samples: [SampleCoverage::None, SampleCoverage::WithGaps, SampleCoverage::Complete]
            [seed as usize % 3],
        strokes: Default::default(),
    };
    for at in 0..seed % (STROKE_COUNT_MAX as u32 + 1) {
        reading.strokes.push(stroke(seed.wrapping_add(at * 31))).unwrap();
    }
    reading
}

fn stroke(seed: u32) -> Stroke {
    let wild = seed.wrapping_mul(0x85EB_CA6B);
    let torque = Torque::from_micronewton_metres(wild.cast_signed());
    Stroke {
        direction: [Direction::Flat, Direction::Sharp][seed as usize % 2],
        breakaway: seed.is_multiple_of(2).then_some(torque),
        running: seed.is_multiple_of(3).then_some(torque),
        running_scatter: torque,
        running_slope_micronewton_metres_per_radian: i32::MIN,
        running_angle: Angle::from_microradians(wild.cast_signed()),
        ramp_stiffness: (seed % 2 == 1)
            .then_some(Stiffness::from_micronewton_metres_per_radian(u32::MAX)),
        slip: Angle::from_microradians(i32::MAX),
        peak: torque,
        knee: [Knee::Crisp, Knee::Rounded, Knee::Absent][seed as usize % 3],
        stick_slip_permille: wild as u16,
        rest_before_ms: u32::MAX,
        duration_ms: wild,
        slip_ms: seed,
        sample_count: u32::MAX,
        flags: u16::MAX,
    }
}

/// The greeting of a lever that names a calibration.
pub(crate) fn hello(device: u64, calibration: u32) -> Hello {
    Hello {
        protocol_min: 1,
        protocol_max: 1,
        device,
        epoch: 1,
        firmware: [0, 1, 0],
        record_version: 1,
        now: DeviceTime::from_microseconds(1_000_000),
        oldest_record: 0,
        next_record: 0,
        committed_floor: 0,
        committed_chain: 0,
        sample_period_ns: 1_000_000,
        calibration,
        zeroed: true,
        survey: 0,
    }
}

/// A reading of the air so many days after 1970.
pub(crate) fn climate(day: i64) -> NewClimate {
    NewClimate {
        taken: format!("day {day}"),
        taken_ms: day * 86_400_000,
        humidity_permille: 420,
        temperature_centi_celsius: Some(-150),
        source: "logger".to_string(),
    }
}

/// Larger pins in some holes.
pub(crate) fn repair(pins: Vec<Pin>) -> NewRepair {
    NewRepair {
        what: RepairKind::LargerPins,
        done: "1970-01-09".to_string(),
        done_ms: 8 * 86_400_000,
        pins,
        remark: "3/0".to_string(),
    }
}
