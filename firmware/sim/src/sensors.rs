//! The lever as an instrument: bridge cell, rate gyro, accelerometer, thermometer, and the
//! mechanical facts of the lever that they see or miss.
//!
//! Where things sit: the gyro sits in the lever's head, so it turns with the tip and the lever's
//! flex is outside its path. The bridge cell is in the grip and measures only the torque of the
//! hand; the lever's own mass lies between cell and pin. Torque on the pin at rest is therefore
//! cell torque + w·f_y/g with w = m·r·g, on the pin and (being then 0) off it.
//!
//! Frame: x along the handle away from the pin, z along the pin out of the plank, y completing a
//! right-handed frame. Turning sharp is clockwise seen from the head and positive in every
//! torque and angle here, that is, negative about z. Specific force points up at rest.
//!
//! Deliberately not here: calibration. The codes carry the lever's true errors.

use crate::rng::Random;
use crate::{SAMPLE_PERIOD_S, STANDARD_GRAVITY_M_S2};

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

/// How the plank faces and where the lever points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Posture {
    /// Pins vertical; the plank leans by these angles, rad, as felt along x and y.
    Grand {
        /// Lean that gives positive x, rad.
        tilt_x_rad: f64,
        /// Lean that gives positive y, rad.
        tilt_y_rad: f64,
    },
    /// Pins horizontal; the handle points to this hour on a clock face seen from the player.
    Upright {
        /// Hour, 12 is up, 3 is right.
        clock_hours: f64,
    },
}

impl Posture {
    /// A grand standing level.
    pub const fn level_grand() -> Posture {
        Posture::Grand { tilt_x_rad: 0.0, tilt_y_rad: 0.0 }
    }

    /// An upright with the handle straight up.
    pub const fn upright() -> Posture {
        Posture::Upright { clock_hours: 12.0 }
    }

    /// Specific force at rest in the lever's frame, in units of g, with the lever turned
    /// `turned_rad` sharp from its nominal place.
    pub fn specific_force(self, turned_rad: f64) -> [f64; 3] {
        match self {
            Posture::Grand { tilt_x_rad, tilt_y_rad } => {
                let x = libm::sin(tilt_x_rad);
                let y = libm::sin(tilt_y_rad);
                // Small leans: the handle's turn mixes x and y.
                let (sine, cosine) = (libm::sin(turned_rad), libm::cos(turned_rad));
                let across = [x * cosine - y * sine, x * sine + y * cosine];
                [across[0], across[1], (1.0 - x * x - y * y).max(0.0).sqrt()]
            }
            Posture::Upright { clock_hours } => {
                let clock_rad = clock_hours / 12.0 * core::f64::consts::TAU + turned_rad;
                [libm::cos(clock_rad), libm::sin(clock_rad), 0.0]
            }
        }
    }
}

/// One lever's true properties. Errors are true minus nominal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeverModel {
    /// Relative error of the bridge's sensitivity.
    pub span_error: f64,
    /// Bridge output without torque, N·m.
    pub zero_offset_nm: f64,
    /// Random walk of the zero, N·m per square root of a minute.
    pub zero_drift_nm_per_sqrt_min: f64,
    /// Zero against temperature, N·m/K from 20 °C.
    pub zero_nm_per_k: f64,
    /// Span against temperature, 1/K from 20 °C.
    pub span_per_k: f64,
    /// White noise of one bridge sample, counts rms (MEM of 24-bit bridge converter sheets).
    pub bridge_noise_counts: f64,
    /// Constant gyro bias, deg/s.
    pub rate_bias_deg_s: f64,
    /// Slow wander of the bias, deg/s standard deviation over about ten seconds.
    pub rate_drift_deg_s: f64,
    /// White noise of one rate sample, deg/s rms.
    pub rate_noise_deg_s: f64,
    /// Relative error of the gyro's sensitivity.
    pub rate_scale_error: f64,
    /// Noise of one acceleration sample, thousandths of g rms.
    pub acceleration_noise_milli_g: f64,
    /// Weight times distance from the pin's axis, N·m.
    pub weight_moment_nm: f64,
    /// Moment of inertia about the pin's axis, kg·m².
    pub inertia_kg_m2: f64,
    /// Bending stiffness between head and grip, seen as torsion at the pin, N·m/rad.
    pub flex_nm_per_rad: f64,
    /// Play of the tip on the pin's head, rad, from flank to flank.
    pub tip_play_rad: f64,
    /// Temperature at power-up, °C.
    pub temperature_c: f64,
    /// How far a warm hand heats it in the end, K.
    pub hand_warming_k: f64,
    /// Plank and lever attitude.
    pub posture: Posture,
}

/// Limits between which a lever's errors are drawn, after calibration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeverSpec {
    /// Largest relative span error.
    pub span_error_max: f64,
    /// Largest zero offset, N·m.
    pub zero_offset_max_nm: f64,
    /// Largest zero drift with temperature, N·m/K.
    pub zero_max_nm_per_k: f64,
    /// Largest span drift with temperature, 1/K.
    pub span_max_per_k: f64,
    /// Largest gyro bias, deg/s.
    pub rate_bias_max_deg_s: f64,
    /// Largest relative gyro sensitivity error.
    pub rate_scale_error_max: f64,
}

impl Default for LeverSpec {
    fn default() -> LeverSpec {
        LeverSpec {
            span_error_max: 0.003,
            zero_offset_max_nm: 0.5,
            zero_max_nm_per_k: 0.004,
            span_max_per_k: 5e-5,
            rate_bias_max_deg_s: 0.5,
            rate_scale_error_max: 0.005,
        }
    }
}

impl LeverModel {
    /// A lever with noise and weight but no error of span, zero, bias or play.
    pub fn ideal(posture: Posture) -> LeverModel {
        let mass_kg = 0.4;
        let radius_m = 0.15;
        LeverModel {
            span_error: 0.0,
            zero_offset_nm: 0.0,
            zero_drift_nm_per_sqrt_min: 0.0,
            zero_nm_per_k: 0.0,
            span_per_k: 0.0,
            bridge_noise_counts: 40.0,
            rate_bias_deg_s: 0.0,
            rate_drift_deg_s: 0.0,
            rate_noise_deg_s: 0.06,
            rate_scale_error: 0.0,
            acceleration_noise_milli_g: 1.0,
            weight_moment_nm: mass_kg * radius_m * STANDARD_GRAVITY_M_S2,
            // A slender bar of the same mass about its end, 4/3 of m·r².
            inertia_kg_m2: 4.0 / 3.0 * mass_kg * radius_m * radius_m,
            flex_nm_per_rad: 40.0_f64.to_degrees(),
            tip_play_rad: 0.0,
            temperature_c: 21.0,
            hand_warming_k: 0.0,
            posture,
        }
    }

    /// A lever as it comes from the bench: errors drawn within the default limits.
    pub fn drawn(seed: u64, posture: Posture) -> LeverModel {
        LeverModel::drawn_within(seed, posture, &LeverSpec::default())
    }

    /// A lever whose errors are drawn within `spec`.
    pub fn drawn_within(seed: u64, posture: Posture, spec: &LeverSpec) -> LeverModel {
        let mut random = Random::new(seed).fork("lever");
        let mut within = |limit: f64| random.uniform(-limit, limit);
        LeverModel {
            span_error: within(spec.span_error_max),
            zero_offset_nm: within(spec.zero_offset_max_nm),
            zero_drift_nm_per_sqrt_min: 0.005,
            zero_nm_per_k: within(spec.zero_max_nm_per_k),
            span_per_k: within(spec.span_max_per_k),
            rate_bias_deg_s: within(spec.rate_bias_max_deg_s),
            rate_drift_deg_s: 0.02,
            rate_scale_error: within(spec.rate_scale_error_max),
            tip_play_rad: 0.1_f64.to_radians(),
            temperature_c: 21.0 + within(2.0),
            hand_warming_k: 2.0,
            ..LeverModel::ideal(posture)
        }
    }
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
        }
    }

    /// Converts one sample period; attitude comes with every 64th.
    pub fn convert(
        &mut self,
        lever: &LeverModel,
        reality: &Reality,
    ) -> (SensorSample, Option<MotionSample>) {
        if self.sample_count.is_multiple_of(SLOW_INTERVAL) {
            self.drift(lever);
        }
        let motion = (self.sample_count % MOTION_SAMPLE_INTERVAL == MOTION_SAMPLE_INTERVAL - 1)
            .then(|| self.motion(lever, reality.turned_rad));
        self.sample_count = self.sample_count.wrapping_add(1);

        let warm_k = self.temperature_c - 20.0;
        let span = 1.0 + lever.span_error + lever.span_per_k * warm_k;
        let zero_nm = lever.zero_offset_nm + self.zero_walk_nm + lever.zero_nm_per_k * warm_k;
        let counts = (reality.cell_nm * span + zero_nm) / NM_PER_BRIDGE_COUNT
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

    fn motion(&mut self, lever: &LeverModel, turned_rad: f64) -> MotionSample {
        let mut acceleration_milli_g = [0i16; 3];
        let force = lever.posture.specific_force(turned_rad);
        for (count, component) in acceleration_milli_g.iter_mut().zip(force) {
            let noise = lever.acceleration_noise_milli_g * self.random.standard_normal();
            *count = (1000.0 * component + noise).round() as i16;
        }
        let temperature_centi_celsius = (100.0 * self.temperature_c).round() as i16;
        MotionSample { acceleration_milli_g, temperature_centi_celsius }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn upright_clock_positions_give_the_agreed_signs() {
        // 3 o'clock: weight turns the pin sharp, f_y = +1 g; 9 o'clock the other way.
        for (clock_hours, x, y) in [(12.0, 1.0, 0.0), (3.0, 0.0, 1.0), (9.0, 0.0, -1.0)] {
            let force = Posture::Upright { clock_hours }.specific_force(0.0);
            assert!((force[0] - x).abs() < 1e-12 && (force[1] - y).abs() < 1e-12);
            assert_eq!(force[2], 0.0);
        }
        assert_eq!(Posture::level_grand().specific_force(0.3), [0.0, 0.0, 1.0]);
    }

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
    fn drawn_levers_stay_within_their_limits_and_differ() {
        let spec = LeverSpec::default();
        let mut spans = Vec::new();
        for seed in 0..50 {
            let lever = LeverModel::drawn(seed, Posture::upright());
            assert!(lever.span_error.abs() <= spec.span_error_max);
            assert!(lever.zero_offset_nm.abs() <= spec.zero_offset_max_nm);
            assert!(lever.rate_bias_deg_s.abs() <= spec.rate_bias_max_deg_s);
            spans.push(lever.span_error);
        }
        assert!(spans.iter().any(|span| *span > 0.001) && spans.iter().any(|span| *span < -0.001));
    }
}
