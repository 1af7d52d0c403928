//! From counts to torque and rate.
//!
//! The bridge cell sits between handle and head: it measures what the hand side applies. The pin
//! feels that and the weight of the lever, whose moment follows from the attitude:
//!
//! torque on the pin = span · (code − zero) + weight moment · f_y,
//!
//! with f_y the specific force across the handle in units of standard gravity. Off the pin that
//! sum is zero, which is how the zero is taken; it is never taken on the pin. On a grand f_y is
//! zero and the weight drops out.
//!
//! Deliberately not here: how span and weight are found (a calibration on the bench).

use crate::math::mean_of;

/// Newton-metres per bridge count of the nominal lever: 2 mV/V at 30 N·m, converter gain 128 on
/// half the supply.
pub const NOMINAL_SPAN_NM_PER_COUNT: f32 = 58.593_75 / 8_388_608.0;
/// Radians per second per rate count: ±125 degrees per second at 4.375 millidegrees per second
/// per count (MEM, data sheets of common 6-axis sensors).
pub const RATE_RADIANS_PER_SECOND_PER_COUNT: f32 = 4.375e-3 * core::f32::consts::PI / 180.0;
/// Moment of the lever's own weight, N·m at right angles to gravity: 0.4 kg at 150 mm (DER).
pub const NOMINAL_WEIGHT_MOMENT_NM: f32 = 0.588_4;
/// Fraction bits of the stored zero.
pub const ZERO_FRACTION_BITS: u32 = 8;

/// What turns counts into torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// Which calibration this is; 0 is the uncalibrated nominal one.
    pub number: u32,
    /// Bridge zero, counts with [`ZERO_FRACTION_BITS`] fraction bits.
    pub zero_code_q8: i64,
    /// Newton-metres per bridge count.
    pub span_nm_per_count: f32,
    /// Moment of the lever's own weight with the handle at right angles to gravity, N·m.
    pub weight_moment_nm: f32,
}

impl Calibration {
    /// The nominal lever, zero not taken.
    pub const NOMINAL: Calibration = Calibration {
        number: 0,
        zero_code_q8: 0,
        span_nm_per_count: NOMINAL_SPAN_NM_PER_COUNT,
        weight_moment_nm: NOMINAL_WEIGHT_MOMENT_NM,
    };

    /// Mean torque on the pin over samples whose codes add up to `code_sum`, N·m, sharp positive.
    pub fn mean_torque_nm(&self, code_sum: i64, count: u32, across_milli_g: i16) -> f32 {
        let offset_q8 = (code_sum << ZERO_FRACTION_BITS) - i64::from(count) * self.zero_code_q8;
        let mean_code = offset_q8 as f32 / ((count.max(1) << ZERO_FRACTION_BITS) as f32);
        mean_code * self.span_nm_per_count + self.weight_nm(across_milli_g)
    }

    /// Moment of the lever's weight on the pin, N·m, sharp positive.
    pub fn weight_nm(&self, across_milli_g: i16) -> f32 {
        self.weight_moment_nm * f32::from(across_milli_g) / 1000.0
    }

    /// Sets the zero from samples taken at rest off the pin.
    pub fn take_zero(&mut self, code_sum: i64, count: u32, across_milli_g: i16) {
        let weight_counts = self.weight_nm(across_milli_g) / self.span_nm_per_count;
        let mean_q8 = mean_of(code_sum << ZERO_FRACTION_BITS, count);
        let weight_q8 = (weight_counts * (1u32 << ZERO_FRACTION_BITS) as f32) as i64;
        self.zero_code_q8 = mean_q8 + weight_q8;
    }
}
