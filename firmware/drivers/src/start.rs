//! What every board does once its pins are set up: start the sensors, measure, test the wires.
//!
//! Deliberately not here: what is wrong (the core's self-test says so) and set-up of pins.
//!
//! Invariant: what cannot be measured is taken as set, and every wait ends.

use embedded_hal::spi::SpiDevice;
use pinhold_protocol::division::divided;

use crate::design::BRIDGE_PERIOD_NOMINAL_NS;
use crate::run::Hardware;
use crate::sensors::{Answers, Sensors};

/// Conversions counted to measure their period: 1 µs in 256 ms is 4 parts per million.
const PERIOD_CONVERSION_COUNT: u32 = 256;
/// Longest time they may take, microseconds.
const PERIOD_US_MAX: u64 = 1_000_000;
/// Longest wait for one conversion, microseconds.
const CONVERSION_US_MAX: u64 = 50_000;

/// What was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Found {
    /// Which of the sensors answered.
    pub answers: Answers,
    /// Period of conversions against the crystal, nanoseconds; as set where it was not measured.
    pub sample_period_ns: u32,
    /// Whether the torque cell is connected; `None` when that is not known.
    pub is_connected: Option<bool>,
}

/// Starts both sensors, measures the converter's period and tests the torque cell's wires: less
/// than two seconds.
pub fn start<Bridge: SpiDevice, Motion: SpiDevice>(
    hardware: &mut impl Hardware,
    sensors: &mut Sensors<Bridge, Motion>,
) -> Found {
    let answers = sensors.start();
    let period_ns = sample_period_ns(hardware);
    let is_connected = sensors.bridge_connected(|| next_conversion(hardware));
    let sample_period_ns = period_ns.unwrap_or(BRIDGE_PERIOD_NOMINAL_NS);
    Found { answers, sample_period_ns, is_connected }
}

/// Waits for the next conversion; whether it came in time.
fn next_conversion(hardware: &mut impl Hardware) -> bool {
    let (from_us, before) = (hardware.now_us(), hardware.ready().bridge_count);
    while hardware.now_us().saturating_sub(from_us) < CONVERSION_US_MAX {
        if hardware.ready().bridge_count != before {
            return true;
        }
    }
    false
}

/// Measures the period of conversions against the crystal; `None` when they do not come.
fn sample_period_ns(hardware: &mut impl Hardware) -> Option<u32> {
    if !next_conversion(hardware) {
        return None;
    }
    let (from_us, first) = (hardware.now_us(), hardware.ready().bridge_count);
    loop {
        let conversion_count = hardware.ready().bridge_count.wrapping_sub(first);
        let waited_us = hardware.now_us().saturating_sub(from_us);
        if conversion_count >= PERIOD_CONVERSION_COUNT {
            let waited_ns = waited_us.saturating_mul(1000);
            return u32::try_from(divided(waited_ns, conversion_count)).ok();
        }
        if waited_us >= PERIOD_US_MAX {
            return None;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mock::device;
    use crate::run::tests::Fake;
    use crate::sensors::tests::{BRIDGE_START, MOTION_START, SETTINGS, WIRE_TEST, done};

    /// A converter of this period, looked at every 7 µs.
    fn fake(bridge_period_us: u64) -> Fake {
        let mut fake = Fake::default();
        (fake.look_us, fake.bridge_period_us) = (7, bridge_period_us);
        fake
    }

    #[test]
    fn measures_the_period_and_tests_the_wires() {
        let bridge: Vec<_> = BRIDGE_START.into_iter().chain(WIRE_TEST).collect();
        let mut sensors = Sensors::new(device(&bridge), device(&MOTION_START), SETTINGS);
        let found = start(&mut fake(1017), &mut sensors);
        assert_eq!(found.answers, Answers { bridge: true, motion: true });
        assert_eq!(found.is_connected, Some(true));
        // Two looks of 7 µs in 256 conversions are 55 ns each.
        assert!(found.sample_period_ns.abs_diff(1_017_000) <= 60, "{found:?}");
        done(sensors);
    }

    #[test]
    fn a_converter_without_conversions_is_waited_for_and_then_not() {
        let mut sensors = Sensors::new(device(&BRIDGE_START), device(&MOTION_START), SETTINGS);
        let mut hardware = fake(0);
        let found = start(&mut hardware, &mut sensors);
        assert_eq!((found.sample_period_ns, found.is_connected), (1_000_000, None));
        assert!(hardware.look_count * 7 < 2 * CONVERSION_US_MAX + 100);
        done(sensors);
    }

    #[test]
    fn one_far_too_slow_is_given_up() {
        let mut hardware = fake(10_000);
        assert_eq!(sample_period_ns(&mut hardware), None);
        assert!(hardware.look_count * 7 < PERIOD_US_MAX + 20_100);
    }
}
