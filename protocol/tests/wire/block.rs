//! Packed samples: exact, strict about their end, and shorter than plain where it matters.

use pinhold_protocol::block::{
    self, BLOCK_BYTES_MAX, BLOCK_SAMPLE_COUNT_MAX, CODING_PLAIN, CODING_PREDICTED, CODING_RICE,
    RawSample,
};
use pinhold_protocol::error::{DecodeError, EncodeError};
use pinhold_protocol::frame::WIRE_BYTES_MAX;
use pinhold_protocol::message::FromLever;
use proptest::prelude::*;

use crate::{sample, strategy};

fn unpacked(coding: u8, data: &[u8], count: usize) -> Result<Vec<RawSample>, DecodeError> {
    let mut samples = vec![RawSample::default(); count];
    block::decode(coding, data, &mut samples).map(|()| samples)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(512))]

    #[test]
    fn samples_come_back(samples in strategy::samples()) {
        let (coding, data) = sample::packed(&samples);
        prop_assert!(data.len() <= samples.len() * 5, "never longer than plain");
        prop_assert_eq!(unpacked(coding, &data, samples.len()), Ok(samples));
    }

    /// By every coding, and on a grid of any step, which coding 2 leaves out of the stream.
    #[test]
    fn samples_come_back_by_every_coding(
        samples in strategy::samples(),
        bridge_step in 0u32..12,
        rate_step in 0u32..12,
    ) {
        let samples: Vec<RawSample> = samples
            .iter()
            .map(|sample| RawSample {
                bridge_code: sample.bridge_code >> bridge_step << bridge_step,
                rate_count: sample.rate_count >> rate_step << rate_step,
            })
            .collect();
        for coding in [CODING_PLAIN, CODING_RICE, CODING_PREDICTED] {
            let data = sample::packed_as(coding, &samples);
            prop_assert_eq!(unpacked(coding, &data, samples.len()), Ok(samples.clone()));
        }
    }

    /// Exactly as long as its samples: one byte fewer or more, one sample fewer or more.
    #[test]
    fn ends_are_checked(samples in strategy::samples()) {
        let (coding, data) = sample::packed(&samples);
        let count = samples.len();
        let shorter = &data[..data.len() - 1];
        prop_assert_eq!(unpacked(coding, shorter, count), Err(DecodeError::Content));
        let longer = [&data[..], &[0]].concat();
        prop_assert!(unpacked(coding, &longer, count).is_err());
        if coding == CODING_PLAIN {
            prop_assert!(unpacked(coding, &data, count - 1).is_err());
            prop_assert!(unpacked(coding, &data, count + 1).is_err());
        }
    }

    #[test]
    fn short_destinations_are_refused(samples in strategy::samples()) {
        let (_, data) = sample::packed(&samples);
        let mut room = vec![0; data.len() - 1];
        prop_assert_eq!(block::encode(&samples, &mut room), Err(EncodeError));
    }
}

#[test]
fn impossible_samples_are_refused() {
    let mut room = [0; BLOCK_BYTES_MAX];
    let too_many = [RawSample::default(); BLOCK_SAMPLE_COUNT_MAX + 1];
    assert_eq!(block::encode(&too_many, &mut room), Err(EncodeError));
    assert_eq!(block::encode(&[], &mut room), Err(EncodeError));
    for bridge_code in [block::BRIDGE_CODE_MAX + 1, block::BRIDGE_CODE_MIN - 1, i32::MIN] {
        let samples = [RawSample { bridge_code, rate_count: 0 }; 8];
        assert_eq!(block::encode(&samples, &mut room), Err(EncodeError), "{bridge_code}");
    }
}

#[test]
fn malformed_blocks_are_refused() {
    let samples = sample::ramp_samples();
    for coding in [CODING_RICE, CODING_PREDICTED] {
        let data = sample::packed_as(coding, &samples);
        assert_eq!(unpacked(coding, &data, 0), Err(DecodeError::Content), "no samples");
        assert_eq!(unpacked(coding, &data, 65), Err(DecodeError::Content), "too many samples");
        let longer = [&data[..], &[0]].concat();
        assert_eq!(unpacked(coding, &longer, samples.len()), Err(DecodeError::TrailingBytes));
    }
    assert_eq!(unpacked(3, &[0; 20], samples.len()), Err(DecodeError::Content), "unknown coding");
    assert_eq!(block::encode_as(3, &samples, &mut [0; 320]), Err(EncodeError));
}

#[test]
fn malformed_blocks_of_differences_are_refused() {
    let samples = sample::ramp_samples();
    let mut parameter = sample::packed_as(CODING_RICE, &samples);
    parameter[0] = 24 << 3;
    assert_eq!(unpacked(CODING_RICE, &parameter, samples.len()), Err(DecodeError::Content));
    // Four still samples: 50 bits of head, six of code, no padding; three leave two zero bits.
    let still = [RawSample::default(); 4];
    let data = sample::packed_as(CODING_RICE, &still);
    assert_eq!(data.len(), 7);
    assert_eq!(unpacked(CODING_RICE, &data, 4), Ok(still.to_vec()));
    let mut padding = data.clone();
    padding[6] |= 1;
    assert_eq!(unpacked(CODING_RICE, &padding, 3), Err(DecodeError::Content), "padding not zero");
    // From the largest code one step further up: out of the converter's range.
    let top = RawSample { bridge_code: block::BRIDGE_CODE_MAX, rate_count: 0 };
    let mut data = sample::packed_as(CODING_RICE, &[top; 4]);
    // Bits 50 to 52 become `110`: code 2 is a difference of +1.
    data[6] = 0b0011_0000;
    assert_eq!(unpacked(CODING_RICE, &data, 2), Err(DecodeError::Content), "over the range");
}

#[test]
fn malformed_predicted_blocks_are_refused() {
    // Four still samples: 11 and 16 bits of bridge's head, 3 of code, 11 and 8 of the rate's, 3.
    let still = [RawSample::default(); 4];
    let data = sample::packed_as(CODING_PREDICTED, &still);
    assert_eq!(data.len(), 7, "52 bits");
    assert_eq!(unpacked(CODING_PREDICTED, &data, 4), Ok(still.to_vec()));
    let changed = |byte: usize, bits: u8| {
        let mut data = data.clone();
        data[byte] ^= bits;
        unpacked(CODING_PREDICTED, &data, 4)
    };
    // Byte 0 is `1000 10 00`: eight zero bits, way 2, the parameter's beginning.
    assert_eq!(data[0], 0b1000_1000);
    assert_eq!(changed(0, 0b0001_0000), Err(DecodeError::Content), "nine zero bits");
    assert_eq!(changed(0, 0b0000_0100), Err(DecodeError::Content), "way 3");
    assert_eq!(changed(0, 0b0000_0011), Err(DecodeError::Content), "parameter 24");
    assert_eq!(changed(6, 0b0000_0001), Err(DecodeError::Content), "padding not zero");
}

/// Any error at the ends of the range decodes to a value in range, and encodes again.
#[test]
fn predictions_wrap_at_the_ends() {
    let ends = [block::BRIDGE_CODE_MIN, block::BRIDGE_CODE_MAX, 0, block::BRIDGE_CODE_MAX];
    let samples: Vec<RawSample> = (0..64)
        .map(|place| RawSample {
            bridge_code: ends[place % 4],
            rate_count: [i16::MIN, i16::MAX, i16::MAX][place % 3],
        })
        .collect();
    let data = sample::packed_as(CODING_PREDICTED, &samples);
    assert_eq!(unpacked(CODING_PREDICTED, &data, 64), Ok(samples));
}

/// Approximately normal, deterministic: the sum of twelve uniform numbers, seeded.
struct Noise(u64);

impl Noise {
    fn uniform(&mut self) -> f64 {
        // xorshift64* (S. Vigna, ACM Trans. Math. Softw. 42, 2016).
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn normal(&mut self, deviation: f64) -> f64 {
        ((0..12).map(|_| self.uniform()).sum::<f64>() - 6.0) * deviation
    }
}

/// Bytes per sample on the wire, everything in: block, message, header, checksum, delimiter.
fn wire_bytes_per_sample(bridge_deviation: f64, rate_deviation: f64) -> f64 {
    const BLOCK_COUNT: u32 = 200;
    let mut noise = Noise(0x9E37_79B9_7F4A_7C15);
    let mut wire_bytes = 0;
    for block_index in 0..BLOCK_COUNT {
        let samples: Vec<RawSample> = (0..BLOCK_SAMPLE_COUNT_MAX as u32)
            .map(|i| {
                let index = f64::from(block_index * BLOCK_SAMPLE_COUNT_MAX as u32 + i);
                RawSample {
                    bridge_code: (3.0 * index + noise.normal(bridge_deviation)).round() as i32,
                    rate_count: noise.normal(rate_deviation).round() as i16,
                }
            })
            .collect();
        let (coding, data) = sample::packed(&samples);
        let mut message = sample::samples_message(samples.len(), coding, &data);
        message.first_index = 10_000_000 + block_index * BLOCK_SAMPLE_COUNT_MAX as u32;
        let mut wire = [0; WIRE_BYTES_MAX];
        wire_bytes += FromLever::Samples(message).encode(1, &mut wire).expect("fits");
    }
    wire_bytes as f64 / f64::from(BLOCK_COUNT * BLOCK_SAMPLE_COUNT_MAX as u32)
}

#[test]
fn packing_beats_plain() {
    let packed = wire_bytes_per_sample(40.0, 14.0);
    // So wide that packing is no shorter and the encoder falls back.
    let plain = wire_bytes_per_sample(2_000_000.0, 9_000.0);
    println!("bytes per sample on the wire, all in: packed {packed:.3}, plain {plain:.3}");
    assert!(packed < plain, "packed {packed}, plain {plain}");
}
