//! Coding 2: each channel predicted by one of three ways, its errors Rice-coded.
//!
//! Levers round their samples to a step, so a block says how many trailing zero bits all values of
//! a channel share and codes the rest. Differences of noise cost half a bit more than the noise;
//! the predictors are what a hand does: a ramp ([`Way::Line`]), a ramp under noise
//! ([`Way::Trend`]), rest under noise ([`Way::Level`]). The last two are α-β filters with fixed
//! gains.
//!
//! Deliberately not here: the choice between codings ([`super::encode`]).
//!
//! Invariants: whole numbers only. Values, errors and predictions wrap at the channel's width, so
//! that any error decodes to a value in range and no arithmetic can overflow unseen.

use super::RawSample;
use super::bits::{BitReader, BitWriter, PUSH_BITS_MAX, rice_parameter, unzigzag, zigzag};
use crate::error::{DecodeError, EncodeError};

/// Width of a bridge code.
const BRIDGE_BITS: u32 = 24;
/// Width of a rate.
const RATE_BITS: u32 = 16;
/// Most trailing zero bits a block leaves out.
const ZERO_BITS_MAX: u32 = 8;
/// Bits that say how many.
const ZERO_BITS_FIELD_BITS: u32 = 4;
/// Bits of the way to predict.
const WAY_FIELD_BITS: u32 = 2;
/// Bits of the Rice parameter.
const K_FIELD_BITS: u32 = 5;
/// Largest Rice parameter.
const K_MAX: u32 = 23;
/// Fraction bits of level and slope.
const FRACTION_BITS: u32 = 3;
/// One, in eighths.
const ONE: i32 = 1 << FRACTION_BITS;

const _: () =
    assert!(K_MAX <= PUSH_BITS_MAX && K_MAX < BRIDGE_BITS && BRIDGE_BITS <= PUSH_BITS_MAX);

/// How the next value is guessed; the numbers are wire codes, append-only.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Way {
    /// On the line through the last two.
    Line,
    /// Level and slope follow the errors by a half and a quarter.
    Trend,
    /// The level follows the errors by a half, no slope.
    Level,
}

/// Eighths of an error that level and slope take.
#[derive(Clone, Copy, Debug)]
struct Gains {
    level: i32,
    slope: i32,
}

impl Way {
    const fn code(self) -> u32 {
        match self {
            Way::Line => 0,
            Way::Trend => 1,
            Way::Level => 2,
        }
    }

    const fn from_code(code: u32) -> Option<Way> {
        match code {
            0 => Some(Way::Line),
            1 => Some(Way::Trend),
            2 => Some(Way::Level),
            _ => None,
        }
    }

    const fn gains(self) -> Gains {
        match self {
            Way::Line => Gains { level: ONE, slope: ONE },
            Way::Trend => Gains { level: 4, slope: 2 },
            Way::Level => Gains { level: 4, slope: 0 },
        }
    }

    /// For the first error, which is all that is known of a slope.
    const fn first_gains(self) -> Gains {
        match self {
            Way::Line | Way::Trend => Gains { level: ONE, slope: ONE },
            Way::Level => Gains { level: 4, slope: 0 },
        }
    }
}

/// Level and slope, in eighths.
#[derive(Clone, Copy, Debug)]
struct Predictor {
    level: i32,
    slope: i32,
}

impl Predictor {
    fn new(first: i32) -> Predictor {
        Predictor { level: first.wrapping_mul(ONE), slope: 0 }
    }

    fn guess(&self) -> i32 {
        self.level.wrapping_add(self.slope).wrapping_add(ONE / 2) >> FRACTION_BITS
    }

    fn learn(&mut self, error: i32, gains: Gains) {
        self.level =
            self.level.wrapping_add(self.slope).wrapping_add(error.wrapping_mul(gains.level));
        self.slope = self.slope.wrapping_add(error.wrapping_mul(gains.slope));
    }
}

/// Wraps `value` to `bits` bits, two's complement; 1 ≤ `bits` ≤ 32.
const fn wrap(value: i32, bits: u32) -> i32 {
    let above = 32u32.wrapping_sub(bits);
    value.wrapping_shl(above).wrapping_shr(above)
}

/// The `bits` lowest bits of `value`; `bits` below 32.
const fn low_bits(value: i32, bits: u32) -> u32 {
    value as u32 & 1u32.wrapping_shl(bits).wrapping_sub(1)
}

/// Packs the samples; returns the length in bytes.
pub(super) fn encode(samples: &[RawSample], destination: &mut [u8]) -> Result<usize, EncodeError> {
    let capacity = destination.len();
    let mut writer = BitWriter::new(destination);
    write_channel(&mut writer, samples.iter().map(|sample| sample.bridge_code), BRIDGE_BITS)?;
    write_channel(
        &mut writer,
        samples.iter().map(|sample| i32::from(sample.rate_count)),
        RATE_BITS,
    )?;
    writer.finish(capacity)
}

/// The way that gives the smallest errors, and the sum of their sizes.
///
/// Sums of what [`Predictor`] does for each way, written out for speed. Errors are not wrapped: the
/// choice need only be good where values are tame.
fn choose(mut values: impl Iterator<Item = i32>) -> (Way, u32) {
    let (Some(first), Some(second)) = (values.next(), values.next()) else {
        return (Way::Level, 0);
    };
    let mut step = second.wrapping_sub(first);
    let size = step.unsigned_abs();
    let (mut line_sum, mut trend_sum, mut level_sum) = (size, size, size);
    let mut last = second;
    let mut trend = Predictor { level: second.wrapping_mul(ONE), slope: step.wrapping_mul(ONE) };
    let mut level = Predictor::new(first);
    level.learn(step, Way::Level.gains());
    for value in values {
        let next_step = value.wrapping_sub(last);
        line_sum = line_sum.wrapping_add(next_step.wrapping_sub(step).unsigned_abs());
        (last, step) = (value, next_step);
        let error = value.wrapping_sub(trend.guess());
        trend.learn(error, Way::Trend.gains());
        trend_sum = trend_sum.wrapping_add(error.unsigned_abs());
        let error = value.wrapping_sub(level.guess());
        level.learn(error, Way::Level.gains());
        level_sum = level_sum.wrapping_add(error.unsigned_abs());
    }
    if level_sum <= trend_sum && level_sum <= line_sum {
        (Way::Level, level_sum)
    } else if trend_sum <= line_sum {
        (Way::Trend, trend_sum)
    } else {
        (Way::Line, line_sum)
    }
}

fn write_channel(
    writer: &mut BitWriter<'_>,
    values: impl ExactSizeIterator<Item = i32> + Clone,
    width_bits: u32,
) -> Result<(), EncodeError> {
    let used_bits = values.clone().fold(0, |all, value| all | value);
    let zero_bits = used_bits.trailing_zeros().min(ZERO_BITS_MAX);
    let bits = width_bits.wrapping_sub(zero_bits);
    let error_count = (values.len() as u32).saturating_sub(1);
    let mut values = values.map(|value| value.wrapping_shr(zero_bits));
    let (way, size_sum) = choose(values.clone());
    // An error's code is twice its size, near enough.
    let k = rice_parameter(size_sum.saturating_mul(2), error_count, K_MAX);
    let first = values.next().ok_or(EncodeError)?;
    writer.push(zero_bits, ZERO_BITS_FIELD_BITS)?;
    writer.push(way.code(), WAY_FIELD_BITS)?;
    writer.push(k, K_FIELD_BITS)?;
    writer.push(low_bits(first, bits), bits)?;
    let mut predictor = Predictor::new(first);
    let mut gains = way.first_gains();
    let later_gains = way.gains();
    for value in values {
        let error = wrap(value.wrapping_sub(predictor.guess()), bits);
        predictor.learn(error, gains);
        gains = later_gains;
        writer.push_rice(zigzag(error), k, bits)?;
    }
    Ok(())
}

/// Unpacks the samples.
pub(super) fn decode(data: &[u8], samples: &mut [RawSample]) -> Result<(), DecodeError> {
    let mut reader = BitReader::new(data);
    read_channel(&mut reader, samples, BRIDGE_BITS, |sample, value| sample.bridge_code = value)?;
    read_channel(&mut reader, samples, RATE_BITS, |sample, value| {
        // A value of 16 bits, by the wrap.
        sample.rate_count = value as i16;
    })?;
    reader.finish()
}

fn read_channel(
    reader: &mut BitReader<'_>,
    samples: &mut [RawSample],
    width_bits: u32,
    set: impl Fn(&mut RawSample, i32),
) -> Result<(), DecodeError> {
    let zero_bits = reader.take(ZERO_BITS_FIELD_BITS);
    let way = Way::from_code(reader.take(WAY_FIELD_BITS)).ok_or(DecodeError::Content)?;
    let k = reader.take(K_FIELD_BITS);
    if zero_bits > ZERO_BITS_MAX || k > K_MAX {
        return Err(DecodeError::Content);
    }
    let bits = width_bits.wrapping_sub(zero_bits);
    let first = wrap(reader.take(bits) as i32, bits);
    let mut predictor = Predictor::new(first);
    let mut slots = samples.iter_mut();
    if let Some(slot) = slots.next() {
        set(slot, first.wrapping_shl(zero_bits));
    }
    let mut gains = way.first_gains();
    for slot in slots {
        // No wider than the channel, whatever stands there.
        let error = wrap(unzigzag(reader.take_rice(k, bits)), bits);
        let value = wrap(predictor.guess().wrapping_add(error), bits);
        predictor.learn(error, gains);
        gains = way.gains();
        set(slot, value.wrapping_shl(zero_bits));
    }
    Ok(())
}
