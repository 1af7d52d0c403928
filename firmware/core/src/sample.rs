//! Counts to bins: torque and head angle every ten samples, gyro bias re-zeroed at rest.
//!
//! Sums are whole numbers; floats appear once per bin. Deliberately not here: strokes.

use pinhold_protocol::block::{BRIDGE_CODE_MAX, BRIDGE_CODE_MIN, RawSample};

use crate::RawMotion;
use crate::calibration::{Calibration, RATE_RADIANS_PER_SECOND_PER_COUNT};
use crate::math::mean_of;

/// Samples in a bin: 10 ms at 1 kHz.
pub const BIN_SAMPLE_COUNT: u32 = 10;
/// Samples between moments at which a new attitude takes force.
pub const MOTION_SAMPLE_COUNT: u32 = 64;
/// Fraction bits of the gyro bias.
const BIAS_FRACTION_BITS: u32 = 16;

/// Step bridge codes are rounded to: 0.11 mN·m of the nominal lever. Rounding to a step adds a
/// twelfth of its square to the noise's variance: 1.3 % where one sample's noise is 40 counts.
pub const BRIDGE_STEP_BITS: u32 = 4;
/// Step rates are rounded to: 4 counts, 17.5 millidegrees per second of the nominal lever; adds
/// 0.7 % to the variance where one sample's noise is 14 counts.
pub const RATE_STEP_BITS: u32 = 2;

/// The sample as it is measured with and sent: rounded to steps far below its noise, so that it
/// takes few bits on the line and a replay still works with the very same numbers.
///
/// A code at the end of its converter's range stays what it is, and none is rounded up to one.
/// Rounding again changes nothing.
#[inline]
pub fn rounded(sample: RawSample) -> RawSample {
    let rate_ends = i32::from(i16::MIN)..=i32::from(i16::MAX);
    let rate = round_within(sample.rate_count.into(), RATE_STEP_BITS, rate_ends);
    RawSample {
        bridge_code: round_within(
            sample.bridge_code,
            BRIDGE_STEP_BITS,
            BRIDGE_CODE_MIN..=BRIDGE_CODE_MAX,
        ),
        // Never out of the ends.
        rate_count: rate as i16,
    }
}

/// The nearest multiple of 2^`bits` within the ends; of two as near, the even one, so that nothing
/// is shifted on average.
#[inline(always)]
fn round_within(value: i32, bits: u32, ends: core::ops::RangeInclusive<i32>) -> i32 {
    let (lowest, highest) = (*ends.start(), *ends.end());
    if value <= lowest || value >= highest {
        return value;
    }
    let step = 1 << bits;
    let odd = (value >> bits) & 1;
    let rounded = (value + step / 2 - 1 + odd) >> bits << bits;
    rounded.clamp(lowest + step, highest + 1 - step)
}

/// Mean torque and head angle over ten samples.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bin {
    /// Mean torque on the pin, N·m, sharp positive.
    pub torque_nm: f32,
    /// Head angle at the bin's middle since the last reset, radians, sharp positive.
    pub angle_rad: f32,
}

/// The running pipeline.
#[derive(Clone, Debug)]
pub struct Pipeline {
    /// Counts to torque.
    pub calibration: Calibration,
    /// Attitude and temperature in force.
    pub motion: RawMotion,
    /// Samples with a saturated bridge code since power-up.
    pub saturated_sample_count: u32,
    next_motion: RawMotion,
    period_s: f32,
    sample_index: u32,
    code_sum: i64,
    rate_sum: i64,
    bin_fill: u32,
    bin_saturated: bool,
    /// Sum of bias-corrected rate counts since the last reset, with fraction bits.
    angle_sum_q16: i64,
    bias_q16: i64,
}

/// A finished bin and what spoils it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FinishedBin {
    /// Torque and angle.
    pub bin: Bin,
    /// Sum of the bin's bridge codes.
    pub code_sum: i64,
    /// Sum of the bin's rate counts.
    pub rate_sum: i64,
    /// A bridge code was at the end of its range.
    pub saturated: bool,
}

impl Pipeline {
    /// A pipeline with the nominal calibration.
    pub fn new(sample_period_ns: u32) -> Pipeline {
        Pipeline {
            calibration: Calibration::NOMINAL,
            motion: RawMotion::default(),
            saturated_sample_count: 0,
            next_motion: RawMotion::default(),
            period_s: sample_period_ns as f32 * 1e-9,
            sample_index: 0,
            code_sum: 0,
            rate_sum: 0,
            bin_fill: 0,
            bin_saturated: false,
            angle_sum_q16: 0,
            bias_q16: 0,
        }
    }

    /// Samples since power-up, wrapping.
    pub fn sample_index(&self) -> u32 {
        self.sample_index
    }

    /// Length of a bin, milliseconds.
    pub fn bin_ms(&self) -> f32 {
        self.period_s * 1000.0 * BIN_SAMPLE_COUNT as f32
    }

    /// Notes an attitude; it takes force at the next multiple of [`MOTION_SAMPLE_COUNT`].
    pub fn set_motion(&mut self, motion: RawMotion) {
        self.next_motion = motion;
    }

    /// Takes a sample; every tenth gives a bin.
    pub fn push(&mut self, sample: RawSample) -> Option<FinishedBin> {
        if self.sample_index.is_multiple_of(MOTION_SAMPLE_COUNT) {
            self.motion = self.next_motion;
        }
        self.sample_index = self.sample_index.wrapping_add(1);
        if sample.bridge_code <= BRIDGE_CODE_MIN || sample.bridge_code >= BRIDGE_CODE_MAX {
            self.bin_saturated = true;
            self.saturated_sample_count = self.saturated_sample_count.saturating_add(1);
        }
        self.code_sum += i64::from(sample.bridge_code.clamp(BRIDGE_CODE_MIN, BRIDGE_CODE_MAX));
        self.rate_sum += i64::from(sample.rate_count);
        self.bin_fill += 1;
        (self.bin_fill == BIN_SAMPLE_COUNT).then(|| self.finish_bin())
    }

    fn finish_bin(&mut self) -> FinishedBin {
        let turned_q16 =
            (self.rate_sum << BIAS_FRACTION_BITS) - i64::from(self.bin_fill) * self.bias_q16;
        let middle_q16 = self.angle_sum_q16 + turned_q16 / 2;
        self.angle_sum_q16 += turned_q16;
        let across_milli_g = self.motion.acceleration_milli_g[1];
        let finished = FinishedBin {
            bin: Bin {
                torque_nm: self.calibration.mean_torque_nm(
                    self.code_sum,
                    self.bin_fill,
                    across_milli_g,
                ),
                angle_rad: self.q16_to_radians(middle_q16),
            },
            code_sum: self.code_sum,
            rate_sum: self.rate_sum,
            saturated: self.bin_saturated,
        };
        self.code_sum = 0;
        self.rate_sum = 0;
        self.bin_fill = 0;
        self.bin_saturated = false;
        finished
    }

    fn q16_to_radians(&self, sum_q16: i64) -> f32 {
        let scale = RATE_RADIANS_PER_SECOND_PER_COUNT * self.period_s / 65_536.0;
        sum_q16 as f32 * scale
    }

    /// Takes the angle as zero from here.
    pub fn reset_angle(&mut self) {
        self.angle_sum_q16 = 0;
    }

    /// Rate in radians per second that a sum of counts over `sample_count` samples means, before
    /// the bias is taken off.
    pub fn rate_radians_per_second(&self, rate_sum: i64, sample_count: u32) -> f32 {
        let turned_q16 = (rate_sum << BIAS_FRACTION_BITS) - i64::from(sample_count) * self.bias_q16;
        turned_q16 as f32 / (sample_count.max(1) as f32 * 65_536.0)
            * RATE_RADIANS_PER_SECOND_PER_COUNT
    }

    /// Sets the gyro bias from samples taken at rest.
    pub fn set_bias(&mut self, rate_sum: i64, sample_count: u32) {
        self.bias_q16 = mean_of(rate_sum << BIAS_FRACTION_BITS, sample_count);
    }

    /// Moves the bias a quarter of the way to what a stretch of rest shows.
    pub fn nudge_bias(&mut self, rate_sum: i64, sample_count: u32) {
        let seen_q16 = mean_of(rate_sum << BIAS_FRACTION_BITS, sample_count);
        let off_q16 = seen_q16 - self.bias_q16;
        // A quarter, towards zero: as a division it would be one of 64 bits.
        self.bias_q16 += (off_q16 + (off_q16 >> 63 & 3)) >> 2;
    }
}
