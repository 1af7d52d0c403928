//! Bridge converter and motion sensor together: started, read, tested and switched off.
//!
//! Deliberately not here: when they have something (the board's data-ready pins and
//! [`crate::pump`]) and what it means (the lever's core).
//!
//! Invariants: a code is handed out only with a rate that was read; a bus that failed gives `None`
//! and never an old value. The motion sensor is soldered with its axes along the lever's: x along
//! the handle away from the pin, z along the pin out of the plank.

use embedded_hal::spi::SpiDevice;
use pinhold_lever::{RawMotion, RawSample};

use crate::ads1220::{self, Ads1220, is_connected};
use crate::lsm6dso::{self, Lsm6dso};

/// Conversions thrown away after the burn-out sources were switched, while inputs settle.
const SETTLE_CONVERSION_COUNT: u32 = 4;

/// How both are set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Settings {
    /// The bridge converter.
    pub bridge: ads1220::Config,
    /// The motion sensor.
    pub motion: lsm6dso::Config,
}

/// Which of them answered as it should.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Answers {
    /// The bridge converter.
    pub bridge: bool,
    /// The motion sensor.
    pub motion: bool,
}

/// Both sensors, each on its bus.
pub struct Sensors<Bridge, Motion> {
    bridge: Ads1220<Bridge>,
    motion: Lsm6dso<Motion>,
    settings: Settings,
    /// The latest rate, held until the next; `None` before the first and after a failed read.
    rate_count: Option<i16>,
}

impl<Bridge: SpiDevice, Motion: SpiDevice> Sensors<Bridge, Motion> {
    /// Takes both buses; nothing is sent.
    pub const fn new(bridge: Bridge, motion: Motion, settings: Settings) -> Self {
        Sensors {
            bridge: Ads1220::new(bridge),
            motion: Lsm6dso::new(motion),
            settings,
            rate_count: None,
        }
    }

    /// Gives both buses back.
    pub fn release(self) -> (Bridge, Motion) {
        (self.bridge.release(), self.motion.release())
    }

    /// Sets both up and lets them run, at start and after [`Sensors::sleep`].
    pub fn start(&mut self) -> Answers {
        self.rate_count = None;
        Answers {
            motion: self.motion.configure(self.settings.motion).is_ok(),
            bridge: self.bridge.configure(self.settings.bridge).is_ok(),
        }
    }

    /// Switches both off, and with the converter the bridge's supply; which of them heard it.
    pub fn sleep(&mut self) -> Answers {
        self.rate_count = None;
        Answers {
            motion: self.motion.power_down().is_ok(),
            bridge: self.bridge.power_down().is_ok(),
        }
    }

    /// Wire-break test of the torque cell's signal wires. `next` waits for the next conversion and
    /// says whether it came. `None` when the converter did not play its part, so nothing is known.
    pub fn bridge_connected(&mut self, mut next: impl FnMut() -> bool) -> Option<bool> {
        let before = self.settled(&mut next)?;
        self.bridge.set_burn_out(self.settings.bridge, true).ok()?;
        let during = self.settled(&mut next);
        // Off again whatever came of it: with the sources on no torque is right.
        self.bridge.set_burn_out(self.settings.bridge, false).ok()?;
        self.settled(&mut next)?;
        Some(is_connected(before, during?))
    }

    fn settled(&mut self, next: &mut impl FnMut() -> bool) -> Option<ads1220::Conversion> {
        for _ in 0..SETTLE_CONVERSION_COUNT {
            if !next() {
                return None;
            }
        }
        self.bridge.read().ok()
    }

    /// Reads the rate; call it when there is a new one.
    pub fn take_rate(&mut self) {
        // The sensor counts right-handed about z out of the plank, counter-clockwise seen from the
        // pin's head: flat. The core wants sharp positive.
        self.rate_count =
            self.motion.rate_counts().ok().map(|[_, _, about_z]| about_z.saturating_neg());
    }

    /// The latest conversion with the rate held; `None` when there is no such pair.
    pub fn sample(&mut self) -> Option<RawSample> {
        let conversion = self.bridge.read().ok()?;
        Some(RawSample { bridge_code: conversion.code, rate_count: self.rate_count? })
    }

    /// Attitude and temperature; `None` when the bus failed.
    pub fn motion(&mut self) -> Option<RawMotion> {
        Some(RawMotion {
            acceleration_milli_g: self.motion.acceleration_milli_g().ok()?,
            temperature_centi_celsius: self.motion.temperature_centi_celsius().ok()?,
        })
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::mock::{Exchange, FailsAt, device};
    use embedded_hal_mock::eh1::spi::Mock;

    use Exchange::{Read, Write, WriteThenWait};

    pub(crate) const SETTINGS: Settings = Settings {
        bridge: ads1220::Config {
            gain: ads1220::Gain::X128,
            rate: ads1220::DataRate::Sps1000,
            switched_supply: true,
        },
        motion: lsm6dso::Config {
            output_rate: lsm6dso::OutputRate::Hz1666,
            rate_range: lsm6dso::RateRange::Dps125,
            acceleration_range: lsm6dso::AccelerationRange::G4,
        },
    };

    /// Every transaction expected on both buses has happened.
    pub(crate) fn done(sensors: Sensors<Mock<u8>, Mock<u8>>) {
        let (mut bridge, mut motion) = sensors.release();
        bridge.done();
        motion.done();
    }

    pub(crate) const BRIDGE_START: [Exchange<'_>; 4] = [
        WriteThenWait(&[0x06], 100_000),
        Write(&[0x43, 0x3e, 0xc4, 0x48, 0x00]),
        Read(&[0x23], &[0x3e, 0xc4, 0x48, 0x00]),
        Write(&[0x08]),
    ];

    pub(crate) const MOTION_START: [Exchange<'_>; 5] = [
        Read(&[0x8f], &[0x6c]),
        Write(&[0x0b, 0x80]),
        Write(&[0x0d, 0x02]),
        Write(&[0x10, 0x88, 0x82, 0x44]),
        Read(&[0x90], &[0x88, 0x82, 0x44]),
    ];

    #[test]
    fn one_that_is_missing_does_not_keep_the_other_from_starting() {
        let bridge = device(&[
            WriteThenWait(&[0x06], 100_000),
            Write(&[0x43, 0x3e, 0xc4, 0x48, 0x00]),
            Read(&[0x23], &[0xff; 4]),
        ]);
        let mut sensors = Sensors::new(bridge, device(&MOTION_START), SETTINGS);
        assert_eq!(sensors.start(), Answers { bridge: false, motion: true });
        done(sensors);
    }

    #[test]
    fn a_rate_is_held_and_turned_sharp_positive() {
        let bridge = device(&[Read(&[0x10], &[0, 1, 0]), Read(&[0x10], &[0, 2, 0])]);
        let motion = device(&[Read(&[0xa2], &[9, 9, 9, 9, 0x00, 0x80])]);
        let mut sensors = Sensors::new(bridge, motion, SETTINGS);
        sensors.take_rate();
        let pair = |bridge_code| Some(RawSample { bridge_code, rate_count: i16::MAX });
        assert_eq!(sensors.sample(), pair(256));
        assert_eq!(sensors.sample(), pair(512));
        done(sensors);
    }

    #[test]
    fn no_rate_before_the_first_nor_after_one_that_failed() {
        let bridge = device(&[Read(&[0x10], &[0, 1, 0]), Read(&[0x10], &[0, 2, 0])]);
        let inner = device(&[Read(&[0xa2], &[0; 6])]);
        let motion = FailsAt { inner, good_transactions: 1 };
        let mut sensors = Sensors::new(bridge, motion, SETTINGS);
        assert_eq!(sensors.sample(), None);
        sensors.take_rate();
        sensors.take_rate();
        assert_eq!(sensors.sample(), None);
        assert_eq!(sensors.motion(), None);
        let (mut bridge, mut motion) = sensors.release();
        bridge.done();
        motion.inner.done();
    }

    pub(crate) const WIRE_TEST: [Exchange<'_>; 7] = [
        Read(&[0x10], &[0x00, 0x10, 0x00]),
        Write(&[0x44, 0xc5]),
        Read(&[0x24], &[0xc5]),
        Read(&[0x10], &[0x12, 0x10, 0x00]),
        Write(&[0x44, 0xc4]),
        Read(&[0x24], &[0xc4]),
        Read(&[0x10], &[0x00, 0x10, 0x00]),
    ];

    #[test]
    fn wire_test_switches_the_sources_on_and_off_again() {
        let mut sensors = Sensors::new(device(&WIRE_TEST), device(&[]), SETTINGS);
        let mut waits = 0;
        let connected = sensors.bridge_connected(|| {
            waits += 1;
            true
        });
        assert_eq!((connected, waits), (Some(true), 12));
        done(sensors);
    }

    #[test]
    fn wire_test_says_nothing_where_no_conversion_comes_and_leaves_the_sources_off() {
        let [before, on, on_found, _, off, off_found, _] = WIRE_TEST;
        let bridge = device(&[before, on, on_found, off, off_found]);
        let mut sensors = Sensors::new(bridge, device(&[]), SETTINGS);
        let mut left = 4;
        let connected = sensors.bridge_connected(|| {
            left -= 1;
            left >= 0
        });
        assert_eq!(connected, None);
        done(sensors);
    }

    #[test]
    fn both_are_told_to_sleep() {
        let (bridge, motion) = (device(&[Write(&[0x02])]), device(&[Write(&[0x10, 0, 0])]));
        let mut sensors = Sensors::new(bridge, motion, SETTINGS);
        assert_eq!(sensors.sleep(), Answers { bridge: true, motion: true });
        done(sensors);
    }
}
