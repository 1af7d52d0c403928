//! A lever on the bench says what hangs on it, and goes on saying so after the load is changed.

use pinhold_board_virtual::chip::Chip;
use pinhold_board_virtual::{BenchPractice, BenchSetup, Placing, Served};
use pinhold_protocol::block::{self, BLOCK_SAMPLE_COUNT_MAX, RawSample};
use pinhold_protocol::frame::{FrameReader, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever, StartSurvey};
use pinhold_protocol::units::Angle;
use pinhold_sim::deadweight::Equipment;
use pinhold_sim::friction::Turn;
use pinhold_sim::sensors::{LeverModel, NM_PER_BRIDGE_COUNT, Posture};

/// Codes and attitudes of the sample blocks that the lever sends in `sample_count` samples.
fn listen(practice: &mut BenchPractice, sample_count: u32) -> (Vec<f64>, [i16; 3]) {
    let mut reader = FrameReader::new();
    let mut codes = Vec::new();
    let mut attitude = [0; 3];
    for _ in 0..sample_count {
        practice.step();
        let bytes = practice.pending().to_vec();
        practice.sent(bytes.len());
        for byte in bytes {
            let Some(Ok(frame)) = reader.push(byte) else { continue };
            let Ok(FromLever::Samples(samples)) = FromLever::try_from(frame) else { continue };
            let mut into = [RawSample::default(); BLOCK_SAMPLE_COUNT_MAX];
            let count = usize::from(samples.count);
            block::decode(samples.coding, samples.data, &mut into[..count]).expect("a right block");
            codes.extend(into[..count].iter().map(|sample| f64::from(sample.bridge_code)));
            attitude = samples.acceleration_milli_g;
        }
    }
    (codes, attitude)
}

#[test]
fn samples_follow_what_hangs_on_the_lever() {
    let setup = BenchSetup {
        lever: LeverModel::ideal(Posture::upright()),
        equipment: Equipment::careful(),
        seed: 11,
        device: 7,
    };
    let mut practice = BenchPractice::new(setup, Chip::new(8));
    let hands = practice.hands();
    let slip = Angle::from_radians(0.01).expect("an angle");
    let start = StartSurvey { survey: 9, slip, stream_samples: true };
    let mut bytes = [0u8; WIRE_BYTES_MAX];
    let byte_count = FromHost::StartSurvey(start).encode(1, &mut bytes).expect("it fits");
    practice.receive(&bytes[..byte_count]);
    for (turn, masses) in
        [(Turn::Sharp, vec![0, 1]), (Turn::Flat, vec![2, 3]), (Turn::Flat, vec![])]
    {
        hands.put(Placing::OnSquare { place: 0, turn, masses });
        listen(&mut practice, 15_000);
        let (codes, attitude) = listen(&mut practice, 1_000);
        assert!(codes.len() > 900, "{} samples", codes.len());
        let read_nm = codes.iter().sum::<f64>() / codes.len() as f64 * NM_PER_BRIDGE_COUNT;
        let really_nm = practice.hanging().torque_nm();
        assert!((read_nm - really_nm).abs() < 1e-3, "{read_nm} for {really_nm}");
        let across = f64::from(attitude[1]);
        assert!((across - turn.sign() * 1000.0).abs() < 10.0, "{attitude:?}");
    }
}
