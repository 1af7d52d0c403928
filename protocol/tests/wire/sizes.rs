//! The named limits hold the largest values there can be.

use pinhold_protocol::block::{BLOCK_BYTES_MAX, CODING_PLAIN};
use pinhold_protocol::content::{
    TRACE_BYTES_MAX, TRACE_POINT_COUNT_MAX, encode_skip, encode_trace,
};
use pinhold_protocol::error::{CommandResult, EncodeError, LinkCounters};
use pinhold_protocol::frame::{self, BODY_BYTES_MAX, FrameReader, PLAIN_BYTES_MAX, WIRE_BYTES_MAX};
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, FromLever, Greet, Health, Hello, Live, PLAN_PART_PIN_COUNT, Phase,
    PlanPart, PlanState, Pull, Record, Reply, Samples, Start, StartSurvey, Status,
    StoreCalibration,
};
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX, StringPosition, encode_record};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use crate::sample;

#[test]
fn the_largest_record_fits() {
    let bytes = sample::record_bytes(&sample::largest_reading());
    println!("largest record {} of {RECORD_BYTES_MAX} bytes", bytes.len());
    // Counted by hand: version 1, reading without strokes 89, four strokes of 71.
    assert_eq!(bytes.len(), 1 + 89 + 4 * 71);
    assert!(bytes.len() <= RECORD_BYTES_MAX);
    let mut short = vec![0; bytes.len() - 1];
    assert_eq!(encode_record(&sample::largest_reading(), &mut short), Err(EncodeError));
    assert_eq!(encode_record(&sample::largest_reading(), &mut []), Err(EncodeError));
}

#[test]
fn the_largest_trace_fits() {
    let mut room = [0; TRACE_BYTES_MAX];
    let used = encode_trace(&sample::largest_trace(), &mut room).expect("the largest fits");
    println!("largest trace {used} of {TRACE_BYTES_MAX} bytes");
    // First byte, four numbers of five bytes, the count, two bytes for each point.
    assert_eq!(used, 1 + 4 * 5 + 1 + 2 * TRACE_POINT_COUNT_MAX);
    assert_eq!(encode_trace(&sample::largest_trace(), &mut room[..used - 1]), Err(EncodeError));
    assert_eq!(encode_trace(&sample::largest_trace(), &mut []), Err(EncodeError));
    assert_eq!(encode_skip(&sample::skip(), &mut [0; 4]), Err(EncodeError));
}

const LARGEST_PIN: Pin = Pin { note: u8::MAX, string: StringPosition::Fourth };

fn largest_samples(data: &[u8]) -> Samples<'_> {
    Samples {
        first_index: u32::MAX,
        count: u8::MAX,
        dropped_block_count: u32::MAX,
        acceleration_milli_g: [i16::MIN; 3],
        temperature_centi_celsius: i16::MIN,
        coding: CODING_PLAIN,
        data,
    }
}

fn largest_from_lever<'a>(data: &'a [u8], record: &'a [u8]) -> [FromLever<'a>; 8] {
    let top = u32::MAX;
    let hello = Hello {
        device: u64::MAX,
        epoch: top,
        firmware: [u8::MAX; 3],
        now: DeviceTime::from_microseconds(u64::MAX),
        oldest_record: top,
        next_record: top,
        committed_floor: top,
        committed_chain: top,
        sample_period_ns: top,
        calibration: top,
        survey: u64::MAX,
        ..sample::HELLO
    };
    let live = Live {
        pin: Some(LARGEST_PIN),
        phase: Phase::Zeroing,
        torque: Torque::from_micronewton_metres(i32::MIN),
        angle: Angle::from_microradians(i32::MIN),
        next_record: top,
        committed_floor: top,
        dropped_block_count: top,
        missed_sample_count: top,
    };
    let link = LinkCounters {
        framing_count: top,
        length_count: top,
        checksum_count: top,
        version_count: top,
        unknown_type_count: top,
        content_count: top,
        sequence_count: top,
        accepted_count: top,
    };
    [
        FromLever::Hello(hello),
        FromLever::Samples(largest_samples(data)),
        FromLever::Live(live),
        FromLever::Record(Record { epoch: top, number: top, checksum: top, bytes: record }),
        FromLever::Reply(Reply { to: u16::MAX, result: CommandResult::OutOfRange }),
        FromLever::Status(Status {
            link,
            dropped_block_count: top,
            missed_sample_count: top,
            saturated_sample_count: top,
        }),
        FromLever::Health(Health {
            faults: top,
            tested: true,
            start: Start::Other,
            battery_mv: Some(u16::MAX),
            battery_permille: Some(u16::MAX),
            battery_minutes: Some(u16::MAX),
            external_power: true,
            bridge_period_ns: top,
            motion_period_ns: top,
            zero: Torque::from_micronewton_metres(i32::MIN),
            uncommitted_count: top,
            room_count: top,
            flash_failed_count: top,
        }),
        FromLever::PlanState(PlanState {
            plan: u64::MAX,
            pin_count: u16::MAX,
            checksum: top,
            position: u16::MAX,
            read_count: u16::MAX,
            skipped_count: u16::MAX,
            running: true,
        }),
    ]
}

#[test]
fn the_largest_messages_fit() {
    let data = [0xFF; BLOCK_BYTES_MAX];
    let record = [0xFF; RECORD_BYTES_MAX];
    for message in largest_from_lever(&data, &record) {
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(u16::MAX, &mut wire).expect("the largest fits");
        let frame = frame::decode(&mut wire[..used - 1]).expect("own frame");
        println!("type {:#04x}: body at most {} bytes", message.kind(), frame.body.len());
        let body_bytes_max = match message {
            FromLever::Samples(_) => 5 + 1 + 5 + 9 + 3 + 1 + 2 + BLOCK_BYTES_MAX,
            FromLever::Record(_) => 15 + 2 + RECORD_BYTES_MAX,
            _ => BODY_BYTES_MAX,
        };
        assert!(frame.body.len() <= body_bytes_max);
        assert_eq!(FromLever::try_from(frame), Ok(message));
    }
    let survey = u64::MAX;
    let slip = Angle::from_microradians(i32::MIN);
    let largest_from_host = [
        FromHost::Greet(Greet { protocol_min: 255, protocol_max: 255, calendar_ms: u64::MAX }),
        FromHost::StartSurvey(StartSurvey { survey, slip, stream_samples: true }),
        FromHost::ChoosePin(ChoosePin { pin: LARGEST_PIN, unstrung: true }),
        FromHost::Pull(Pull { from: u32::MAX, count_max: u8::MAX }),
        FromHost::Commit(Commit { epoch: u32::MAX, floor: u32::MAX, chain: u32::MAX }),
    ];
    for message in largest_from_host {
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(u16::MAX, &mut wire).expect("the largest fits");
        // A command fits one small receive buffer of a UART driver.
        assert!(used <= 32, "{message:?} takes {used} bytes");
    }
    // All but a part of a plan, which nobody waits for while a pin is in hand.
    let part = FromHost::PlanPart(PlanPart {
        plan: u64::MAX,
        slip,
        pin_count: u16::MAX,
        first: u16::MAX,
        pins: [Some(LARGEST_PIN); PLAN_PART_PIN_COUNT],
    });
    let mut wire = [0; WIRE_BYTES_MAX];
    assert!(part.encode(u16::MAX, &mut wire).expect("fits") <= 136);
    // And a calibration, which is stored on the bench.
    let calibration = FromHost::StoreCalibration(StoreCalibration {
        number: u32::MAX,
        zero_code_q8: i64::MIN,
        span_femtonewton_metres_per_count: u64::MAX,
        weight_moment: Torque::from_micronewton_metres(i32::MIN),
    });
    assert!(calibration.encode(u16::MAX, &mut wire).expect("fits") <= 40);
}

/// A body of exactly the limit passes through; one byte more does not.
#[test]
fn frame_limits_are_exact() {
    let mut wire = [0; WIRE_BYTES_MAX];
    let fill = |len: usize| {
        move |room: &mut [u8]| {
            room.get_mut(..len).ok_or(EncodeError)?.fill(0x5A);
            Ok(len)
        }
    };
    let used = frame::encode(0x5A, 0x5A5A, fill(BODY_BYTES_MAX), &mut wire).expect("fits");
    assert_eq!(PLAIN_BYTES_MAX, BODY_BYTES_MAX + 8);
    assert!(used <= WIRE_BYTES_MAX);
    let mut reader = FrameReader::new();
    let mut body_len = None;
    for byte in &wire[..used] {
        if let Some(frame) = reader.push(*byte) {
            body_len = Some(frame.expect("whole").body.len());
        }
    }
    assert_eq!(body_len, Some(BODY_BYTES_MAX));
    assert_eq!(frame::encode(1, 1, fill(BODY_BYTES_MAX + 1), &mut wire), Err(EncodeError));
    let claimed = |_: &mut [u8]| Ok(BODY_BYTES_MAX + 1);
    assert_eq!(frame::encode(1, 1, claimed, &mut wire), Err(EncodeError));
    assert_eq!(frame::encode(1, 1, fill(10), &mut [0; 19]), Err(EncodeError));
    assert_eq!(frame::encode(1, 1, fill(10), &mut []), Err(EncodeError));
}
