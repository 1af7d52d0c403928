//! The converters of a lever ([`crate::lever`]): bridge cell, rate gyro, accelerometer and
//! thermometer, and what drifts in them.
//!
//! Deliberately not here: calibration. The codes carry the lever's true errors.

use crate::SAMPLE_PERIOD_S;
use crate::cell::{CellState, Hold};
pub use crate::lever::{LeverModel, LeverSpec, Posture};
use crate::rng::Random;

/// Nominal torque of one bridge count, N·m: a 2 mV/V cell at 30 N·m, ratiometric 24-bit
/// converter with ±0.5 of excitation over gain 128 at full scale.
pub const NM_PER_BRIDGE_COUNT: f64 = 58.593_75 / 8_388_608.0;
/// Largest bridge code; the converter saturates here and one below its negative.
pub const BRIDGE_CODE_MAX: i32 = 8_388_607;
/// Rate of one gyro count, degrees per second: 4.375 thousandths in the ±125 range.
pub const DEG_S_PER_RATE_COUNT: f64 = 0.004_375;
/// Samples from one attitude and temperature sample to the next.
pub const MOTION_SAMPLE_INTERVAL: u32 = 64;

/// One pair of simultaneous samples, as the converters give them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SensorSample {
    /// Bridge converter, 24-bit two's complement, sharp positive.
    pub bridge_code: i32,
    /// Rate about the pin's axis, counts, sharp positive.
    pub rate_count: i16,
}

/// Attitude and temperature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MotionSample {
    /// Specific force in the lever's frame, thousandths of standard gravity.
    pub acceleration_milli_g: [i16; 3],
    /// Temperature of the bridge, hundredths of a degree Celsius.
    pub temperature_centi_celsius: i16,
}

/// What one sample period was really like.
#[derive(Clone, Copy, Debug)]
pub struct Reality {
    /// Torque of the hand, N·m.
    pub cell_nm: f64,
    /// Rate of the lever's head, deg/s.
    pub rate_deg_s: f64,
    /// Turn of the lever from its nominal place, rad.
    pub turned_rad: f64,
}

/// The converters' state.
#[derive(Clone, Debug)]
pub struct Sensors {
    random: Random,
    zero_walk_nm: f64,
    rate_wander_deg_s: f64,
    temperature_c: f64,
    sample_count: u32,
    cell: CellState,
}

/// What a reading at rest comes to, as a mean over many samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SettledMean {
    /// Mean of the bridge's codes.
    pub mean_code: f64,
    /// Standard deviation of the codes about it.
    pub code_sd: f64,
    /// Mean specific force in the lever's frame, units of standard gravity.
    pub force_g: [f64; 3],
    /// Temperature of the bridge, °C.
    pub temperature_c: f64,
}

/// Samples between updates of the slow errors.
const SLOW_INTERVAL: u32 = MOTION_SAMPLE_INTERVAL;
/// Memory of the bias wander, s.
const RATE_WANDER_S: f64 = 10.0;
/// Time a hand needs to warm the lever, s.
const WARMING_S: f64 = 600.0;

impl Sensors {
    /// Converters just powered up.
    pub fn new(lever: &LeverModel, seed: u64) -> Sensors {
        let mut random = Random::new(seed).fork("sensors");
        let rate_wander_deg_s = lever.rate_drift_deg_s * random.standard_normal();
        Sensors {
            random,
            zero_walk_nm: 0.0,
            rate_wander_deg_s,
            temperature_c: lever.temperature_c,
            sample_count: 0,
            cell: CellState::new(),
        }
    }

    /// Whoever holds the lever now does it so.
    pub fn take_hold(&mut self, lever: &LeverModel, hold: Hold) {
        self.cell.take_hold(&lever.cell, hold);
    }

    /// Time passes without a sample: the zero wanders on and the temperature follows its room.
    pub fn wait(&mut self, lever: &LeverModel, wait_s: f64) {
        let walk_nm = lever.zero_drift_nm_per_sqrt_min * (wait_s / 60.0).sqrt();
        self.zero_walk_nm += walk_nm * self.random.standard_normal();
        let goal_c = lever.temperature_c + lever.hand_warming_k;
        let left = libm::exp(-wait_s / WARMING_S);
        self.temperature_c = goal_c + (self.temperature_c - goal_c) * left;
    }

    /// The mean of `sample_count` samples of a lever at rest, without converting each of them.
    pub fn settle(
        &mut self,
        lever: &LeverModel,
        cell_nm: f64,
        force_g: [f64; 3],
        sample_count: u32,
    ) -> SettledMean {
        let count = f64::from(sample_count.max(1));
        let attitude_count = (count / f64::from(MOTION_SAMPLE_INTERVAL)).max(1.0);
        let limit = f64::from(BRIDGE_CODE_MAX);
        let noise = lever.bridge_noise_counts * self.random.standard_normal() / count.sqrt();
        let mean_code = (self.counts(lever, cell_nm) + noise).clamp(-limit - 1.0, limit);
        // The sample standard deviation itself scatters by 1/√(2n).
        let scatter = 1.0 + self.random.standard_normal() / (2.0 * count).sqrt();
        let mut seen_g = force_g;
        for (component, bias) in seen_g.iter_mut().zip(lever.acceleration_bias_milli_g) {
            let noise = lever.acceleration_noise_milli_g * self.random.standard_normal();
            *component += (bias + noise / attitude_count.sqrt()) / 1000.0;
        }
        SettledMean {
            mean_code,
            code_sd: lever.bridge_noise_counts * scatter,
            force_g: seen_g,
            temperature_c: self.temperature_c,
        }
    }

    /// Bridge code before noise and rounding.
    fn counts(&mut self, lever: &LeverModel, cell_nm: f64) -> f64 {
        let warm_k = self.temperature_c - 20.0;
        let span = 1.0 + lever.span_error + lever.span_per_k * warm_k;
        let zero_nm = lever.zero_offset_nm + self.zero_walk_nm + lever.zero_nm_per_k * warm_k;
        let felt_nm = self.cell.feel(&lever.cell, cell_nm);
        (felt_nm * span + zero_nm) / NM_PER_BRIDGE_COUNT
    }

    /// Converts one sample period; attitude comes with every 64th.
    pub fn convert(
        &mut self,
        lever: &LeverModel,
        reality: &Reality,
    ) -> (SensorSample, Option<MotionSample>) {
        // Worked out only where it is shown.
        let force_g = if self.shows_attitude() {
            lever.posture.specific_force(reality.turned_rad)
        } else {
            [0.0; 3]
        };
        self.convert_in(lever, reality, force_g)
    }

    /// Whether the next sample comes with an attitude.
    fn shows_attitude(&self) -> bool {
        self.sample_count % MOTION_SAMPLE_INTERVAL == MOTION_SAMPLE_INTERVAL - 1
    }

    /// As [`Sensors::convert`], with this specific force instead of the posture's, units of g.
    pub fn convert_in(
        &mut self,
        lever: &LeverModel,
        reality: &Reality,
        force_g: [f64; 3],
    ) -> (SensorSample, Option<MotionSample>) {
        if self.sample_count.is_multiple_of(SLOW_INTERVAL) {
            self.drift(lever);
        }
        let motion = self.shows_attitude().then(|| self.motion(lever, force_g));
        self.sample_count = self.sample_count.wrapping_add(1);

        let counts = self.counts(lever, reality.cell_nm)
            + lever.bridge_noise_counts * self.random.standard_normal();
        let limit = f64::from(BRIDGE_CODE_MAX);
        let bridge_code = counts.round().clamp(-limit - 1.0, limit) as i32;

        let rate_deg_s = reality.rate_deg_s * (1.0 + lever.rate_scale_error)
            + lever.rate_bias_deg_s
            + self.rate_wander_deg_s
            + lever.rate_noise_deg_s * self.random.standard_normal();
        let rate_count = (rate_deg_s / DEG_S_PER_RATE_COUNT).round();
        let rate_count = rate_count.clamp(f64::from(i16::MIN), f64::from(i16::MAX)) as i16;
        (SensorSample { bridge_code, rate_count }, motion)
    }

    fn drift(&mut self, lever: &LeverModel) {
        let period_s = f64::from(SLOW_INTERVAL) * SAMPLE_PERIOD_S;
        let share = period_s / RATE_WANDER_S;
        let kick = lever.rate_drift_deg_s * (2.0 * share).sqrt();
        self.rate_wander_deg_s +=
            kick * self.random.standard_normal() - share * self.rate_wander_deg_s;
        let walk_nm = lever.zero_drift_nm_per_sqrt_min * (period_s / 60.0).sqrt();
        self.zero_walk_nm += walk_nm * self.random.standard_normal();
        let goal_c = lever.temperature_c + lever.hand_warming_k;
        self.temperature_c += (goal_c - self.temperature_c) * period_s / WARMING_S;
    }

    fn motion(&mut self, lever: &LeverModel, force_g: [f64; 3]) -> MotionSample {
        let mut acceleration_milli_g = [0i16; 3];
        let biases = lever.acceleration_bias_milli_g;
        for ((count, component), bias) in acceleration_milli_g.iter_mut().zip(force_g).zip(biases) {
            let noise = lever.acceleration_noise_milli_g * self.random.standard_normal();
            *count = (1000.0 * component + bias + noise).round() as i16;
        }
        let temperature_centi_celsius = (100.0 * self.temperature_c).round() as i16;
        MotionSample { acceleration_milli_g, temperature_centi_celsius }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_have_the_stated_scale_and_noise() {
        let lever = LeverModel::ideal(Posture::level_grand());
        let mut sensors = Sensors::new(&lever, 5);
        let reality = Reality { cell_nm: 10.0, rate_deg_s: 1.0, turned_rad: 0.0 };
        let count = 20_000;
        let (mut bridge, mut bridge2, mut rate) = (0.0, 0.0, 0.0);
        for _ in 0..count {
            let (sample, _) = sensors.convert(&lever, &reality);
            let code = f64::from(sample.bridge_code);
            bridge += code;
            bridge2 += code * code;
            rate += f64::from(sample.rate_count);
        }
        let n = f64::from(count);
        let mean = bridge / n;
        let noise = (bridge2 / n - mean * mean).sqrt();
        assert!((mean * NM_PER_BRIDGE_COUNT - 10.0).abs() < 1e-5);
        assert!((noise - 40.0).abs() < 1.5, "{noise} counts");
        assert!((rate / n * DEG_S_PER_RATE_COUNT - 1.0).abs() < 3e-3);
    }

    #[test]
    fn converters_saturate_and_never_wrap() {
        let lever = LeverModel::ideal(Posture::level_grand());
        let mut sensors = Sensors::new(&lever, 5);
        let reality = Reality { cell_nm: -90.0, rate_deg_s: 900.0, turned_rad: 0.0 };
        let (sample, _) = sensors.convert(&lever, &reality);
        assert_eq!(sample.bridge_code, -8_388_608);
        assert_eq!(sample.rate_count, i16::MAX);
    }

    #[test]
    fn a_settled_mean_is_what_many_samples_come_to() {
        let posture = Posture::Upright { clock_hours: 3.0 };
        let mut lever = LeverModel::drawn_within(8, posture, &LeverSpec::uncalibrated());
        lever.hand_warming_k = 0.0;
        lever.zero_drift_nm_per_sqrt_min = 0.0;
        let count = 6_400;
        for cell_nm in [-20.0, -3.0, 12.5] {
            let (mut one_by_one, mut at_once) = (Sensors::new(&lever, 1), Sensors::new(&lever, 2));
            let reality = Reality { cell_nm, rate_deg_s: 0.0, turned_rad: 0.0 };
            let (mut code_sum, mut across_sum) = (0.0, 0.0);
            for _ in 0..count {
                let (sample, motion) = one_by_one.convert(&lever, &reality);
                code_sum += f64::from(sample.bridge_code);
                across_sum +=
                    motion.map_or(0.0, |motion| f64::from(motion.acceleration_milli_g[1]));
            }
            let mean_code = code_sum / f64::from(count);
            let across_g = across_sum / f64::from(count / MOTION_SAMPLE_INTERVAL as i32) / 1000.0;
            let settled = at_once.settle(&lever, cell_nm, posture.specific_force(0.0), 6_400);
            // Five standard errors of either's noise: 40 counts over √6400, 1 mg over √100.
            let apart = (settled.mean_code - mean_code).abs();
            assert!(apart < 5.0 * 0.5 * 2.0_f64.sqrt(), "{apart} counts at {cell_nm} N·m");
            assert!((settled.force_g[1] - across_g).abs() < 5.0 * 1e-4 * 2.0_f64.sqrt());
            assert!((settled.code_sd / 40.0 - 1.0).abs() < 0.05, "{}", settled.code_sd);
        }
    }

    #[test]
    fn waiting_moves_zero_and_temperature_as_samples_would() {
        let mut lever = LeverModel::drawn_within(8, Posture::upright(), &LeverSpec::uncalibrated());
        lever.hand_warming_k = 3.0;
        let mut sensors = Sensors::new(&lever, 4);
        sensors.wait(&lever, WARMING_S);
        let gone_k = sensors.temperature_c - lever.temperature_c;
        assert!((gone_k - 3.0 * (1.0 - libm::exp(-1.0))).abs() < 1e-9, "{gone_k}");
        // The zero's walk: 0.005 N·m per root minute, so 0.01 in four minutes.
        let walk = |seed: u64| {
            let mut sensors = Sensors::new(&lever, seed);
            sensors.wait(&lever, 240.0);
            sensors.zero_walk_nm
        };
        let squares: f64 = (0..2_000).map(|seed| walk(seed) * walk(seed)).sum();
        let sd_nm = (squares / 2_000.0).sqrt();
        assert!((sd_nm / 0.01 - 1.0).abs() < 0.08, "{sd_nm}");
    }
}
