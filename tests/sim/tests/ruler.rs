//! The drawn micro-stroke is a good one: the lever accepts it, and in how many samples.

use pinhold_lever::log::{RamLog, RecordLog};
use pinhold_lever::{Identity, Input, Lamp, Lever};
use pinhold_protocol::frame::WIRE_BYTES_MAX;
use pinhold_protocol::message::{ChoosePin, FromHost, StartSurvey};
use pinhold_protocol::record::{Outcome, Pin, StringPosition, decode_record};
use pinhold_protocol::units::{Angle, DeviceTime};
use pinhold_simtest::replayed::{MOTION, Recording, Technician};
use pinhold_simtest::ruler::SAMPLE_PERIOD_NS;

fn tell(lever: &mut Lever<RamLog>, now: DeviceTime, command: FromHost) {
    let mut frame = [0u8; WIRE_BYTES_MAX];
    let len = command.encode(0, &mut frame).unwrap();
    lever.step(now, Input::Received(&frame[..len]));
    let count = lever.pending().len();
    lever.sent(count);
}

#[test]
fn the_drawn_stroke_is_measured_at_the_first_try() {
    let identity = Identity { device: 1, epoch: 1, sample_period_ns: SAMPLE_PERIOD_NS };
    let mut lever = Lever::new(identity);
    let mut technician = Technician::new(Recording::drawn(), 1);
    let mut now_us = 0;
    lever.step(DeviceTime::from_microseconds(0), Input::Motion(MOTION));
    let slip = Angle::from_microradians(8_727);
    let start = StartSurvey { survey: 1, slip, stream_samples: false };
    tell(&mut lever, DeviceTime::from_microseconds(0), FromHost::StartSurvey(start));
    for note in 1..=5 {
        let choice = ChoosePin { pin: Pin { note, string: StringPosition::Left }, unstrung: false };
        let now = DeviceTime::from_microseconds(now_us);
        tell(&mut lever, now, FromHost::ChoosePin(choice));
        let mut signals = lever.step(now, Input::Tick);
        let mut sample_count = 0;
        while signals.pin.is_some() {
            now_us += u64::from(SAMPLE_PERIOD_NS / 1000);
            let sample = technician.next_sample(&signals);
            signals = lever.step(DeviceTime::from_microseconds(now_us), Input::Sample(sample));
            assert_ne!(signals.lamp, Lamp::Repeat);
            sample_count += 1;
            assert!(sample_count < 2_000, "{:?}", signals.lamp);
        }
        let mut buffer = [0; pinhold_protocol::record::RECORD_BYTES_MAX];
        let stored = lever.log_mut().get(u32::from(note) - 1, &mut buffer).unwrap();
        let reading = decode_record(&buffer[..stored.byte_count]).unwrap();
        println!("note {note}: {sample_count} samples, {} bytes", stored.byte_count);
        assert_eq!(reading.outcome, Outcome::Measured);
        let friction_nm = reading.friction.unwrap().newton_metres();
        let zero_and_stretch = 4.0..8.0;
        assert!(zero_and_stretch.contains(&friction_nm), "{friction_nm}");
    }
}
