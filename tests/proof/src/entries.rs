//! Every entry of core and protocol, called with values the compiler knows nothing about.
//!
//! Deliberately not here: a check of what comes back.

use core::hint::black_box;

use pinhold_lever::calibration::Calibration;
use pinhold_lever::log::{FlashLog, RamLog, RecordBuffer, RecordLog};
use pinhold_lever::{Board, Buttons, Identity, Input, Lever, Power, RawMotion, RawSample};
use pinhold_protocol::block::{self, BLOCK_BYTES_MAX, BLOCK_SAMPLE_COUNT_MAX};
use pinhold_protocol::content::{Content, decode_content, encode_skip, encode_trace, peek_pin};
use pinhold_protocol::frame::{FrameReader, SequenceWatch, WIRE_BYTES_MAX};
use pinhold_protocol::lost::{chain_over_unknown, encode_lost};
use pinhold_protocol::message::{Commit, FromHost, FromLever, plan_checksum};
use pinhold_protocol::record::{
    RECORD_BYTES_MAX, chain_next, chain_start, encode_record, record_checksum,
};
use pinhold_protocol::units::{Angle, DeviceTime, Stiffness, Torque};

use crate::flash::{PAGE_COUNT, RamFlash};

/// Where values come from: the compiler must take each for any value of its type.
fn any<T: Default>() -> T {
    black_box(T::default())
}

/// Bytes from anywhere, any number of them up to the room.
fn any_bytes(room: &mut [u8]) -> &mut [u8] {
    let length: usize = black_box(room.len());
    black_box(room).get_mut(..length).unwrap_or_default()
}

/// All of them.
pub fn everything() {
    protocol();
    let identity = Identity { device: any(), epoch: any(), sample_period_ns: any() };
    lever(&mut Lever::new(identity));
    let mut ram = RamLog::new(any(), any());
    log(&mut ram);
    let mut flash = RamFlash::new();
    // As many pages as the flash has, less than it has, and a flash of any content.
    let mut log_in_flash: FlashLog<&mut RamFlash, PAGE_COUNT> =
        FlashLog::mount(black_box(&mut flash), any(), any());
    log(&mut log_in_flash);
    let mut settings = [0; 512];
    let used = log_in_flash.settings(any_bytes(&mut settings));
    black_box(used);
    black_box(log_in_flash.store_settings(any_bytes(&mut settings)));
    black_box(log_in_flash.health());
    black_box(log_in_flash.wipe(any()));
    let board = Board {
        start: any(),
        battery_life_minutes: any(),
        bridge_period_nominal_ns: any(),
        motion_period_nominal_ns: any(),
    };
    lever(&mut Lever::with_log(identity, log_in_flash).with_board(board));
}

/// Every input, with any bytes, and every way out.
fn lever<L: RecordLog>(lever: &mut Lever<L>) {
    let mut received = [0; 64];
    let motion = RawMotion { acceleration_milli_g: any(), temperature_centi_celsius: any() };
    let sample = RawSample { bridge_code: any(), rate_count: any() };
    let inputs = [
        Input::Received(any_bytes(&mut received)),
        Input::Motion(motion),
        Input::Sample(sample),
        Input::Missed(any()),
        Input::Tick,
        Input::MotionReady(any()),
        Input::Buttons(Buttons { go: any(), back: any() }),
        Input::Power(Power { battery_mv: Some(any()), external: any() }),
        Input::Bridge { connected: any() },
    ];
    for input in inputs {
        let signals = lever.step(DeviceTime::from_microseconds(any()), black_box(input));
        black_box(signals);
        black_box(lever.pending());
        lever.sent(any());
    }
    log(lever.log_mut());
    black_box(lever.keep_calibration(&black_box(Calibration::NOMINAL)));
    calibration();
}

fn calibration() {
    let mut calibration = black_box(Calibration::NOMINAL);
    calibration.take_zero(any(), any(), any());
    black_box(calibration.mean_torque_nm(any(), any(), any()));
    black_box(calibration.weight_nm(any()));
}

/// Every word of a log.
fn log<L: RecordLog>(log: &mut L) {
    let mut record = [0; RECORD_BYTES_MAX];
    black_box((log.epoch(), log.oldest_number(), log.next_number(), log.committed()));
    log.make_room();
    black_box(log.has_room());
    black_box(log.push(any_bytes(&mut record)));
    let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
    black_box(log.get(any(), &mut buffer));
    black_box(&buffer);
    black_box(log.commit(Commit { epoch: any(), floor: any(), chain: any() }));
    log.set_power_failing(any());
}

/// Both directions of every format.
fn protocol() {
    let mut bytes = [0; WIRE_BYTES_MAX];
    let mut reader = FrameReader::new();
    let mut watch = SequenceWatch::default();
    for byte in any_bytes(&mut bytes).iter() {
        // As the lever reads, and as the host does: each frame may be either.
        if let Some(Ok(frame)) = reader.push(*byte) {
            black_box(watch.skipped_before(frame.sequence));
            from_host(FromHost::try_from(frame).ok());
            from_lever(FromLever::try_from(frame).ok());
        }
    }
    reader.clear();
    contents();
    blocks();
    units();
}

fn from_host(message: Option<FromHost>) {
    let mut room = [0; WIRE_BYTES_MAX];
    let Some(message) = black_box(message) else { return };
    black_box(message.encode(any(), any_bytes(&mut room)).ok());
    if let FromHost::PlanPart(part) = message {
        black_box(plan_checksum(part.pins.iter().flatten().copied()));
    }
}

fn from_lever(message: Option<FromLever<'_>>) {
    let mut room = [0; WIRE_BYTES_MAX];
    if let Some(message) = black_box(message) {
        black_box(message.encode(any(), any_bytes(&mut room)).ok());
    }
}

fn contents() {
    let mut bytes = [0; RECORD_BYTES_MAX];
    let mut room = [0; RECORD_BYTES_MAX];
    let written = match black_box(decode_content(any_bytes(&mut bytes))) {
        Ok(Content::Reading(reading)) => encode_record(&reading, any_bytes(&mut room)),
        Ok(Content::Trace(trace)) => encode_trace(&trace, any_bytes(&mut room)),
        Ok(Content::Skip(skip)) => encode_skip(&skip, any_bytes(&mut room)),
        Ok(Content::Lost { chain }) => {
            black_box(encode_lost(chain));
            Ok(0)
        }
        Err(_) => Ok(0),
    };
    black_box(written.ok());
    black_box(peek_pin(any_bytes(&mut bytes)));
    black_box(record_checksum(any(), any(), any_bytes(&mut bytes)));
    black_box((chain_start(any(), any()), chain_next(any(), any())));
    black_box(chain_over_unknown(any(), any(), any()));
}

fn blocks() {
    let mut samples = [RawSample::default(); BLOCK_SAMPLE_COUNT_MAX];
    let count: usize = any();
    let mut data = [0; BLOCK_BYTES_MAX];
    if let Some(samples) = black_box(&mut samples).get_mut(..count) {
        black_box(block::decode(any(), any_bytes(&mut data), samples).ok());
        black_box(block::encode(samples, any_bytes(&mut data)).ok());
        black_box(block::encode_as(any(), samples, any_bytes(&mut data)).ok());
    }
}

fn units() {
    black_box(Torque::from_newton_metres(any()));
    black_box(Angle::from_radians(any()));
    black_box(Stiffness::from_newton_metres_per_radian(any()));
    let (later, earlier): (u64, u64) = (any(), any());
    let later = DeviceTime::from_microseconds(later);
    black_box(later.milliseconds_since(DeviceTime::from_microseconds(earlier)));
}
