//! The numbers of the lever's parts: how the sensors are set, how the battery is measured, how long
//! it lasts.
//!
//! They are the ones of the parts list and the current budget in `firmware/README.md`, which a
//! test compares. A board with other parts has its own. Deliberately not here: pins.
//!
//! Invariant: what is worked out from other numbers is worked out here, not written down.

use crate::ads1220::{self, DataRate, Gain};
use crate::lsm6dso::{self, AccelerationRange, OutputRate, RateRange};
use crate::sensors::Settings;
use crate::supply::{Divided, life_minutes};
use pinhold_lever::calibration::Calibration;

/// 1000 conversions per second at ±7.8 mV/V; new rates more often than that, at ±125 °/s; ±4 g.
pub const SENSORS: Settings = Settings {
    bridge: ads1220::Config { gain: Gain::X128, rate: DataRate::Sps1000, switched_supply: true },
    motion: lsm6dso::Config {
        output_rate: OutputRate::Hz1666,
        rate_range: RateRange::Dps125,
        acceleration_range: AccelerationRange::G4,
    },
};

/// Period of the converter as set, nanoseconds.
pub const BRIDGE_PERIOD_NOMINAL_NS: u32 = 1_000_000;
/// Period of the motion sensor as set, nanoseconds.
pub const MOTION_PERIOD_NOMINAL_NS: u32 = SENSORS.motion.output_rate.period_ns();

/// Torque per count of that range for a cell of 2 mV/V at 30 N·m, N·m.
const SPAN_NM_PER_COUNT: f32 = 1000.0 / 128.0 / 2.0 * 30.0 / 8_388_608.0;

/// What an uncalibrated lever with this converter reads by.
pub const CALIBRATION: Calibration =
    Calibration { span_nm_per_count: SPAN_NM_PER_COUNT, ..Calibration::NOMINAL };

/// The cell through two resistors of 1 MΩ, against 3.6 V (0.6 V reference, gain 1/6).
pub const CELL: Divided =
    Divided { full_scale_mv: 3600, bit_count: 12, upper_kohm: 1000, lower_kohm: 1000 };
/// The supply itself, on the same range.
pub const SUPPLY: Divided = Divided { upper_kohm: 0, ..CELL };
/// Supply at which writing to flash begins again after a warning: 0.2 V above the comparator.
pub const SUPPLY_GOOD_MV: u16 = 3000;

/// Charge of the cell, milliampere hours.
const CAPACITY_MAH: u32 = 1000;
/// Share of it there is to use before the lever refuses, and after some years.
const USABLE_PERMILLE: u32 = 850;

/// Mean currents while a survey runs, microamperes (MEM: typical values of the data sheets, from
/// memory; DER: worked out). Nothing of it was measured.
pub const CURRENTS_UA: [(&str, u32); 7] = [
    // 3.3 V over 350 Ω, DER.
    ("torque cell, 350 Ω at 3.3 V", 9430),
    ("bridge converter, gain 128", 500),
    ("motion sensor, both parts", 550),
    // A third of the time awake at 6 mA, and crystal, timers and receiver throughout.
    ("processor with crystal and link", 3100),
    // One colour at 5 mA, two now and then.
    ("lamp", 6000),
    // 80 ms at 30 mA twice in 30 s, DER.
    ("beeper", 160),
    ("regulator, divider, leakage", 100),
];

const fn sum_ua() -> u32 {
    let [a, b, c, d, e, f, g] = CURRENTS_UA;
    a.1 + b.1 + c.1 + d.1 + e.1 + f.1 + g.1
}

/// Minutes a full battery lasts while surveying.
pub const BATTERY_LIFE_MINUTES: u16 = life_minutes(CAPACITY_MAH, USABLE_PERMILLE, sum_ua());

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_readme_has_the_same_numbers() {
        let readme = include_str!("../../README.md");
        let has = |wanted: String| assert!(readme.contains(&wanted), "no '{wanted}'");
        for (what, current_ua) in CURRENTS_UA {
            has(format!("| {what} | {}.{:02} |", current_ua / 1000, current_ua % 1000 / 10));
        }
        has(format!("| together | {}.{:02} |", sum_ua() / 1000, sum_ua() % 1000 / 10));
        has(format!("{BATTERY_LIFE_MINUTES} minutes"));
        has(format!("{CAPACITY_MAH} mAh"));
    }

    #[test]
    fn by_hand() {
        assert_eq!(sum_ua(), 19_840);
        // 1000 mAh · 0.85 / 19.84 mA = 42.84 h.
        assert_eq!(BATTERY_LIFE_MINUTES, 2570);
        // 2 mV/V at 30 N·m is 30 N·m / (2 / 7.8125 · 8388608) a count.
        assert!((SPAN_NM_PER_COUNT * 2.0 / 7.8125 * 8_388_608.0 - 30.0).abs() < 1e-4);
        assert_eq!(SUPPLY.millivolts(3755), 3300);
        assert_eq!(MOTION_PERIOD_NOMINAL_NS, 600_240);
    }
}
