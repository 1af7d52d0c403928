//! Quantities as they travel and rest: whole numbers with the unit in the name.
//!
//! Whole numbers, because a reading must re-encode to the same bytes for ever and no message may
//! carry a NaN. Conversions to and from `f32`/`f64` happen at the edges and refuse what is not
//! finite. Deliberately not here: display units (the host's business) and arithmetic beyond what
//! both sides need.

use serde::{Deserialize, Serialize};

use crate::division::divided;

/// Rounds half away from zero; `None` when the value is not finite or does not fit an `i32`.
fn round_to_i32(value: f64) -> Option<i32> {
    let shifted = if value < 0.0 { value - 0.5 } else { value + 0.5 };
    // The comparison is false for NaN, so NaN leaves through `None` too.
    if shifted > -2_147_483_649.0 && shifted < 2_147_483_648.0 {
        Some(shifted as i32)
    } else {
        None
    }
}

/// The same from an `f32`, in its own arithmetic: a lever without double precision has no other.
fn round_f32_to_i32(value: f32) -> Option<i32> {
    let shifted = if value < 0.0 { value - 0.5 } else { value + 0.5 };
    let fits = (-2_147_483_648.0..2_147_483_648.0).contains(&shifted);
    if fits { Some(shifted as i32) } else { None }
}

/// Torque in whole micronewton-metres, −2147 to 2147 N·m.
///
/// The sign convention is stated where a torque is used: raw samples are sharp positive, a
/// stroke's torque is positive in its own direction of motion.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
pub struct Torque(i32);

impl Torque {
    /// No torque.
    pub const ZERO: Torque = Torque(0);

    /// From whole micronewton-metres.
    pub const fn from_micronewton_metres(value: i32) -> Torque {
        Torque(value)
    }

    /// From newton-metres, rounded to the nearest micronewton-metre.
    ///
    /// `None` when the value is not finite or beyond ±2147 N·m.
    ///
    /// ```
    /// use pinhold_protocol::units::Torque;
    /// assert_eq!(Torque::from_newton_metres(5.6).unwrap().micronewton_metres(), 5_600_000);
    /// assert_eq!(Torque::from_newton_metres(f64::NAN), None);
    /// ```
    pub fn from_newton_metres(value: f64) -> Option<Torque> {
        round_to_i32(value * 1e6).map(Torque)
    }

    /// As [`Torque::from_newton_metres`], in single precision throughout.
    pub fn from_newton_metres_f32(value: f32) -> Option<Torque> {
        round_f32_to_i32(value * 1e6).map(Torque)
    }

    /// Newton-metres, in single precision throughout.
    pub fn newton_metres_f32(self) -> f32 {
        self.0 as f32 / 1e6
    }

    /// Whole micronewton-metres.
    pub const fn micronewton_metres(self) -> i32 {
        self.0
    }

    /// Newton-metres.
    pub fn newton_metres(self) -> f64 {
        f64::from(self.0) / 1e6
    }
}

/// Angle in whole microradians, sharp (clockwise seen from the pin's head) positive.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
pub struct Angle(i32);

impl Angle {
    /// No rotation.
    pub const ZERO: Angle = Angle(0);

    /// From whole microradians.
    pub const fn from_microradians(value: i32) -> Angle {
        Angle(value)
    }

    /// From radians, rounded to the nearest microradian.
    ///
    /// `None` when the value is not finite or beyond ±2147 rad.
    pub fn from_radians(value: f64) -> Option<Angle> {
        round_to_i32(value * 1e6).map(Angle)
    }

    /// As [`Angle::from_radians`], in single precision throughout.
    pub fn from_radians_f32(value: f32) -> Option<Angle> {
        round_f32_to_i32(value * 1e6).map(Angle)
    }

    /// Radians, in single precision throughout.
    pub fn radians_f32(self) -> f32 {
        self.0 as f32 / 1e6
    }

    /// Whole microradians.
    pub const fn microradians(self) -> i32 {
        self.0
    }

    /// Radians.
    pub fn radians(self) -> f64 {
        f64::from(self.0) / 1e6
    }

    /// Degrees.
    pub fn degrees(self) -> f64 {
        self.radians() * (180.0 / core::f64::consts::PI)
    }
}

/// Stiffness in whole micronewton-metres per radian of head rotation, 0 to 4294 N·m/rad.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
pub struct Stiffness(u32);

impl Stiffness {
    /// From newton-metres per radian; `None` when negative, not finite or beyond 4294 N·m/rad.
    pub fn from_newton_metres_per_radian(value: f64) -> Option<Stiffness> {
        let micro = value * 1e6 + 0.5;
        if (0.0..4_294_967_296.0).contains(&micro) { Some(Stiffness(micro as u32)) } else { None }
    }

    /// As [`Stiffness::from_newton_metres_per_radian`], in single precision throughout.
    pub fn from_newton_metres_per_radian_f32(value: f32) -> Option<Stiffness> {
        let micro = value * 1e6 + 0.5;
        if (0.0..4_294_967_296.0).contains(&micro) { Some(Stiffness(micro as u32)) } else { None }
    }

    /// From whole micronewton-metres per radian.
    pub const fn from_micronewton_metres_per_radian(value: u32) -> Stiffness {
        Stiffness(value)
    }

    /// Whole micronewton-metres per radian.
    pub const fn micronewton_metres_per_radian(self) -> u32 {
        self.0
    }

    /// Newton-metres per radian.
    pub fn newton_metres_per_radian(self) -> f64 {
        f64::from(self.0) / 1e6
    }
}

/// A moment on the lever's own clock: microseconds since it was first powered, never set back.
#[derive(
    Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
pub struct DeviceTime(u64);

impl DeviceTime {
    /// From whole microseconds.
    pub const fn from_microseconds(value: u64) -> DeviceTime {
        DeviceTime(value)
    }

    /// Whole microseconds.
    pub const fn microseconds(self) -> u64 {
        self.0
    }

    /// Whole milliseconds from `earlier` to `self`, 0 when `earlier` is later, at most 49 days.
    // Inlined: asked for with every sample.
    #[inline(always)]
    pub fn milliseconds_since(self, earlier: DeviceTime) -> u32 {
        let span_us = self.0.saturating_sub(earlier.0);
        // A lever divides 64 bits only slowly.
        if span_us <= u64::from(u32::MAX) {
            return span_us as u32 / 1000;
        }
        long_milliseconds(span_us)
    }
}

/// Whole milliseconds of more than an hour.
#[cold]
#[inline(never)]
fn long_milliseconds(span_us: u64) -> u32 {
    u32::try_from(divided(span_us, 1_000)).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn single_precision_is_as_near_as_it_can_be() {
        for micro in [0, 1, -1, 499, 5_600_001, -13_107_199, 25_000_000, 2_147_000_000] {
            let value = f64::from(micro) / 1e6;
            let found = Torque::from_newton_metres_f32(value as f32).map(|torque| torque.0);
            // Half a step of an f32 of that size, and half of the rounding.
            let room = 1.0 + f64::from(micro).abs() / f64::from(1 << 23);
            assert!(found.is_some_and(|found| f64::from((found - micro).abs()) <= room), "{micro}");
        }
        let none = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, 2147.6, -2147.6];
        for value in none {
            assert_eq!(Torque::from_newton_metres_f32(value), None, "{value}");
            assert_eq!(Angle::from_radians_f32(value), None, "{value}");
        }
        for value in [f32::NAN, -1.0, 4295.0] {
            assert_eq!(Stiffness::from_newton_metres_per_radian_f32(value), None, "{value}");
        }
        let angle = Angle::from_radians_f32(-0.008_727).map(Angle::microradians);
        assert_eq!(angle, Some(-8_727));
    }
}
