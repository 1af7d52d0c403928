//! Both sensors behind one call, and the count of conversions.

use core::sync::atomic::{AtomicU32, Ordering};

use embedded_hal::spi::SpiDevice;
use nrf52840_hal::pac::{GPIOTE, interrupt};
use pinhold_drivers::ads1220::{self, Ads1220, DataRate, Gain};
use pinhold_drivers::lsm6dso::{self, AccelerationRange, Lsm6dso, OutputRate, RateRange};
use pinhold_lever::calibration::Calibration;
use pinhold_lever::{RawMotion, RawSample};

/// 1000 conversions per second at ±7.8 mV/V.
const BRIDGE: ads1220::Config =
    ads1220::Config { gain: Gain::X128, rate: DataRate::Sps1000, switched_supply: true };

/// Torque per count of that range for a cell of 2 mV/V at 30 N·m, N·m.
const SPAN_NM_PER_COUNT: f32 = 1000.0 / 128.0 / 2.0 * 30.0 / 8_388_608.0;

/// What an uncalibrated lever with this converter reads by.
pub(crate) const CALIBRATION: Calibration =
    Calibration { span_nm_per_count: SPAN_NM_PER_COUNT, ..Calibration::NOMINAL };

/// ±125 °/s, new values more often than the bridge has them; ±4 g.
const MOTION: lsm6dso::Config = lsm6dso::Config {
    output_rate: OutputRate::Hz1666,
    rate_range: RateRange::Dps125,
    acceleration_range: AccelerationRange::G4,
};

/// Conversions since power-up, wrapping.
static CONVERSION_COUNT: AtomicU32 = AtomicU32::new(0);

/// Conversions so far, wrapping.
pub(crate) fn conversion_count() -> u32 {
    CONVERSION_COUNT.load(Ordering::Acquire)
}

/// Bridge converter and motion sensor. The motion sensor is soldered with its axes along the
/// lever's: x along the handle away from the pin, z along the pin out of the plank.
pub(crate) struct Sensors<Bridge, Motion> {
    bridge: Ads1220<Bridge>,
    motion: Lsm6dso<Motion>,
}

impl<Bridge: SpiDevice, Motion: SpiDevice> Sensors<Bridge, Motion> {
    /// Sets both up; `None` when either does not answer as it should.
    pub(crate) fn start(bridge: Bridge, motion: Motion) -> Option<Self> {
        let mut sensors = Sensors { bridge: Ads1220::new(bridge), motion: Lsm6dso::new(motion) };
        sensors.motion.configure(MOTION).ok()?;
        sensors.bridge.configure(BRIDGE).ok()?;
        Some(sensors)
    }

    /// The latest conversion and the rate with it; `None` when a bus failed.
    pub(crate) fn sample(&mut self) -> Option<RawSample> {
        let conversion = self.bridge.read().ok()?;
        let [_, _, about_z] = self.motion.rate_counts().ok()?;
        // The sensor counts right-handed about z out of the plank, counter-clockwise seen from the
        // pin's head: flat. The core wants sharp positive.
        Some(RawSample { bridge_code: conversion.code, rate_count: about_z.saturating_neg() })
    }

    /// Attitude and temperature; `None` when the bus failed.
    pub(crate) fn motion(&mut self) -> Option<RawMotion> {
        Some(RawMotion {
            acceleration_milli_g: self.motion.acceleration_milli_g().ok()?,
            temperature_centi_celsius: self.motion.temperature_centi_celsius().ok()?,
        })
    }
}

#[interrupt]
fn GPIOTE() {
    // SAFETY: only this handler touches the event register once interrupts are on, and the set-up
    // in `board` is done by then.
    let gpiote = unsafe { &*GPIOTE::ptr() };
    gpiote.events_in[0].reset();
    CONVERSION_COUNT.fetch_add(1, Ordering::Release);
}
