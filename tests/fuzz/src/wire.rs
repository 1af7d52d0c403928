//! Frames, messages, records and blocks: what is accepted encodes to what means the same.

use pinhold_protocol::block::{self, BLOCK_BYTES_MAX, BLOCK_SAMPLE_COUNT_MAX, RawSample};
use pinhold_protocol::content::{Content, UNASSIGNED, decode_content, encode_skip, encode_trace};
use pinhold_protocol::frame::{Frame, FrameReader, WIRE_BYTES_MAX, decode};
use pinhold_protocol::lost::encode_lost;
use pinhold_protocol::message::{
    ChoosePin, Commit, FromHost, FromLever, Greet, Live, PLAN_PART_PIN_COUNT, Phase, PlanPart,
    Reply, Samples, StartSurvey, StoreCalibration,
};
use pinhold_protocol::record::{
    Outcome, Pin, RECORD_BYTES_MAX, Reading, SampleCoverage, StringPosition, encode_record,
};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use crate::Source;

const PIN: Pin = Pin { note: 49, string: StringPosition::Centre };

/// A frame of any type around any body, right in all but its meaning.
pub(crate) fn framed(kind: u8, sequence: u16, body: &[u8]) -> Vec<u8> {
    let mut wire = [0; WIRE_BYTES_MAX];
    let write = |room: &mut [u8]| {
        let taken = body.len().min(room.len());
        room[..taken].copy_from_slice(&body[..taken]);
        Ok(taken)
    };
    let used = pinhold_protocol::frame::encode(kind, sequence, write, &mut wire).unwrap_or(0);
    wire[..used].to_vec()
}

/// Some commands, whole.
pub(crate) fn host_frames() -> Vec<Vec<u8>> {
    let slip = Angle::from_microradians(8_727);
    let mut pins = [None; PLAN_PART_PIN_COUNT];
    pins[0] = Some(PIN);
    let messages = [
        FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 1 }),
        FromHost::StartSurvey(StartSurvey { survey: 7, slip, stream_samples: true }),
        FromHost::StopSurvey(()),
        FromHost::ChoosePin(ChoosePin { pin: PIN, unstrung: false }),
        FromHost::Zero(()),
        FromHost::Commit(Commit { epoch: 3, floor: 1, chain: 9 }),
        FromHost::AskStatus(()),
        FromHost::PlanPart(PlanPart { plan: 5, slip, pin_count: 1, first: 0, pins }),
        FromHost::AskHealth(()),
        FromHost::AskPlan(()),
        FromHost::StoreCalibration(StoreCalibration {
            number: 1,
            zero_code_q8: -256,
            span_femtonewton_metres_per_count: 6_985_000_000,
            weight_moment: Torque::from_micronewton_metres(588_400),
        }),
    ];
    let encode = |(message, sequence): (&FromHost, u16)| {
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(sequence, &mut wire).unwrap_or(0);
        wire[..used].to_vec()
    };
    messages.iter().zip(0..).map(encode).collect()
}

/// Some of what a lever says, whole.
pub(crate) fn lever_frames() -> Vec<Vec<u8>> {
    let record = record_seeds().remove(0);
    let (coding, data) = packed(&samples());
    let messages = [
        FromLever::Live(Live {
            pin: Some(PIN),
            phase: Phase::Slip,
            torque: Torque::from_micronewton_metres(-5_000_000),
            angle: Angle::from_microradians(-9_000),
            next_record: 3,
            committed_floor: 1,
            dropped_block_count: 0,
            missed_sample_count: 0,
        }),
        FromLever::Reply(Reply { to: 1, result: pinhold_protocol::error::CommandResult::Done }),
        FromLever::Record(pinhold_protocol::message::Record {
            epoch: 3,
            number: 0,
            checksum: pinhold_protocol::record::record_checksum(3, 0, &record),
            bytes: &record,
        }),
        FromLever::Samples(Samples {
            first_index: 0,
            count: samples().len() as u8,
            dropped_block_count: 0,
            acceleration_milli_g: [0, 0, 1000],
            temperature_centi_celsius: 2_100,
            coding,
            data: &data,
        }),
        FromLever::Health(Default::default()),
        FromLever::PlanState(Default::default()),
    ];
    let encode = |(message, sequence): (&FromLever<'_>, u16)| {
        let mut wire = [0; WIRE_BYTES_MAX];
        let used = message.encode(sequence, &mut wire).unwrap_or(0);
        wire[..used].to_vec()
    };
    messages.iter().zip(0..).map(encode).collect()
}

fn samples() -> Vec<RawSample> {
    let rate = |index: i32| (index * 7 % 23 - 11) as i16;
    (0..20).map(|i| RawSample { bridge_code: 120_000 + 31 * i, rate_count: rate(i) }).collect()
}

fn packed(samples: &[RawSample]) -> (u8, Vec<u8>) {
    let mut room = [0; BLOCK_BYTES_MAX];
    let (coding, used) = block::encode(samples, &mut room).unwrap_or((0, 0));
    (coding, room[..used].to_vec())
}

/// For [`frames`].
pub fn frame_seeds() -> Vec<Vec<u8>> {
    let mut seeds = host_frames();
    seeds.extend(lever_frames());
    seeds.push(seeds.concat());
    seeds
}

/// Bytes off a line.
pub fn frames(bytes: &[u8]) {
    let mut reader = FrameReader::new();
    for byte in bytes {
        if let Some(Ok(frame)) = reader.push(*byte) {
            message(frame);
        }
    }
}

/// For [`messages`]: type, then body.
pub fn message_seeds() -> Vec<Vec<u8>> {
    let plain = |mut wire: Vec<u8>| {
        wire.pop();
        let frame = decode(&mut wire).ok()?;
        Some([&[frame.kind], frame.body].concat())
    };
    frame_seeds().into_iter().filter_map(plain).collect()
}

/// The body of a message of any type, its frame taken for granted.
pub fn messages(bytes: &[u8]) {
    let mut source = Source(bytes);
    let kind = source.byte();
    message(Frame { kind, sequence: 0, body: source.0 });
}

fn message(frame: Frame<'_>) {
    let mut wire = [0; WIRE_BYTES_MAX];
    if let Ok(message) = FromLever::try_from(frame) {
        if let Ok(used) = message.encode(1, &mut wire) {
            let again = decode(&mut wire[..used - 1]).expect("own frame");
            assert_eq!(FromLever::try_from(again), Ok(message));
        }
    } else if let Ok(message) = FromHost::try_from(frame) {
        let used = message.encode(1, &mut wire).expect("a command always fits");
        let again = decode(&mut wire[..used - 1]).expect("own frame");
        assert_eq!(FromHost::try_from(again), Ok(message));
    }
}

/// For [`records`].
pub fn record_seeds() -> Vec<Vec<u8>> {
    let reading = Reading {
        survey: 7,
        pin: PIN,
        started: DeviceTime::from_microseconds(81_234_567),
        duration_ms: 6_400,
        outcome: Outcome::Measured,
        flags: 4,
        friction: Some(Torque::from_micronewton_metres(8_108_000)),
        string_moment: None,
        sharp: None,
        flat: None,
        net_rotation: Angle::ZERO,
        excursion_flat: Angle::ZERO,
        excursion_sharp: Angle::ZERO,
        temperature_centi_celsius: 2_150,
        attitude_milli_g: [12, -8, 999],
        calibration: 7,
        samples: SampleCoverage::Complete,
        strokes: Default::default(),
    };
    let unassigned = Reading { survey: 0, pin: UNASSIGNED, ..reading.clone() };
    let skip = pinhold_protocol::content::Skip { survey: 7, pin: PIN, at: reading.started };
    let trace = pinhold_protocol::content::Trace {
        reading: 0,
        interval_ms: 80,
        torque_step: Torque::from_micronewton_metres(100_000),
        angle_step: Angle::from_microradians(140),
        points: Default::default(),
    };
    [
        Content::Reading(reading),
        Content::Reading(unassigned),
        Content::Skip(skip),
        Content::Trace(trace),
        Content::Lost { chain: 0x89ab_cdef },
    ]
    .iter()
    .map(content_bytes)
    .collect()
}

fn content_bytes(content: &Content) -> Vec<u8> {
    let mut room = [0; RECORD_BYTES_MAX];
    let used = match content {
        Content::Lost { chain } => return encode_lost(*chain).to_vec(),
        Content::Reading(reading) => encode_record(reading, &mut room),
        Content::Trace(trace) => encode_trace(trace, &mut room),
        Content::Skip(skip) => encode_skip(skip, &mut room),
    };
    room[..used.expect("what was read can be written")].to_vec()
}

/// A record's bytes: whatever can be read can be written, and reads the same again.
pub fn records(bytes: &[u8]) {
    if let Ok(content) = decode_content(bytes) {
        let written = content_bytes(&content);
        assert_eq!(decode_content(&written), Ok(content));
        assert!(written.len() <= bytes.len(), "the shortest form");
    }
}

/// For [`blocks`]: coding, count, data.
pub fn block_seeds() -> Vec<Vec<u8>> {
    let quiet = vec![RawSample { bridge_code: 4_096, rate_count: 0 }; 64];
    let ends = vec![
        RawSample { bridge_code: block::BRIDGE_CODE_MIN, rate_count: i16::MAX },
        RawSample { bridge_code: block::BRIDGE_CODE_MAX, rate_count: i16::MIN },
    ];
    let seed = |samples: Vec<RawSample>| {
        let (coding, data) = packed(&samples);
        [&[coding, samples.len() as u8][..], &data].concat()
    };
    [samples(), quiet, ends].into_iter().map(seed).collect()
}

/// A block of samples: what can be read packs again and reads the same.
pub fn blocks(bytes: &[u8]) {
    let mut source = Source(bytes);
    let (coding, count) = (source.byte(), usize::from(source.byte()));
    let mut read = vec![RawSample::default(); count.min(BLOCK_SAMPLE_COUNT_MAX + 1)];
    if block::decode(coding, source.0, &mut read).is_ok() && !read.is_empty() {
        let (coding, data) = packed(&read);
        let mut again = vec![RawSample::default(); read.len()];
        assert_eq!(block::decode(coding, &data, &mut again), Ok(()));
        assert_eq!(again, read);
    }
}
