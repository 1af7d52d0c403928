//! A hostile host, and sensors gone mad: the lever comes back, says nothing but right frames, and
//! forgets nothing.

use pinhold_lever::{Buttons, Identity, Input, Lever, Power, RawMotion, RawSample};
use pinhold_protocol::frame::FrameReader;
use pinhold_protocol::message::FromLever;
use pinhold_protocol::units::DeviceTime;

use crate::Source;
use crate::wire::{framed, host_frames};

/// Inputs taken from one run of bytes at most.
const INPUT_COUNT_MAX: usize = 400;

/// For [`run`]: each command by itself, and a survey's beginning.
pub fn seeds() -> Vec<Vec<u8>> {
    let raw = |wire: &Vec<u8>| [&[0, wire.len() as u8][..], wire].concat();
    let frames = host_frames();
    let mut seeds: Vec<Vec<u8>> = frames.iter().map(raw).collect();
    let mut survey = Vec::new();
    for wire in &frames {
        survey.extend(raw(wire));
        // Half a second at rest.
        survey.extend([2, 250, 0x10, 0x27, 0, 0, 0, 0, 2, 250, 0x10, 0x27, 0, 0, 0, 0]);
    }
    seeds.push(survey);
    seeds
}

/// Acts, each a byte and what it needs.
pub fn run(bytes: &[u8]) {
    let mut source = Source(bytes);
    let mut lever = Lever::new(Identity { device: 3, epoch: 3, sample_period_ns: 1_000_000 });
    let mut now_us = 0;
    let mut reader = FrameReader::new();
    let mut next_record = 0;
    for _ in 0..INPUT_COUNT_MAX {
        if source.is_empty() {
            break;
        }
        let now = DeviceTime::from_microseconds(now_us);
        match source.byte() % 10 {
            0 => {
                let count = usize::from(source.byte());
                lever.step(now, Input::Received(source.bytes(count)));
            }
            1 => {
                let (kind, count) = (source.byte(), usize::from(source.byte()));
                let wire = framed(kind | 0x80, 0, source.bytes(count));
                lever.step(now, Input::Received(&wire));
            }
            2 => {
                let count = source.byte();
                let bridge_code = source.word() as i32;
                let rate_count = u16::from_le_bytes([source.byte(), source.byte()]) as i16;
                for _ in 0..count {
                    now_us += 1_000;
                    let now = DeviceTime::from_microseconds(now_us);
                    lever.step(now, Input::Sample(RawSample { bridge_code, rate_count }));
                }
            }
            3 => {
                let [x, y] = [source.word() as i16, source.word() as i16];
                let motion =
                    RawMotion { acceleration_milli_g: [x, y, 1_000], temperature_centi_celsius: x };
                lever.step(now, Input::Motion(motion));
            }
            4 => {
                lever.step(now, Input::Missed(source.word()));
            }
            5 => {
                let levels = source.byte();
                let buttons = Buttons { go: levels & 1 != 0, back: levels & 2 != 0 };
                lever.step(now, Input::Buttons(buttons));
            }
            6 => {
                let battery_mv = Some(u16::from_le_bytes([source.byte(), source.byte()]));
                let external = source.byte() & 1 != 0;
                lever.step(now, Input::Power(Power { battery_mv, external }));
            }
            7 => {
                lever.step(now, Input::MotionReady(source.word()));
            }
            8 => {
                lever.step(now, Input::Bridge { connected: source.byte() & 1 != 0 });
            }
            _ => {
                now_us = now_us.saturating_add(u64::from(source.word()));
                lever.step(DeviceTime::from_microseconds(now_us), Input::Tick);
            }
        }
        let pending = lever.pending().to_vec();
        lever.sent(pending.len());
        for byte in pending {
            let Some(frame) = reader.push(byte) else { continue };
            let message = FromLever::try_from(frame.expect("a right frame")).expect("a message");
            if let FromLever::Live(live) = message {
                assert!(
                    live.next_record >= next_record
                        && live.committed_floor <= next_record.max(live.next_record)
                );
                next_record = live.next_record;
            }
        }
    }
}
