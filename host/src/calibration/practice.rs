//! A lever and weights that are not there: settled readings as a bench would give them, for
//! practice, demonstration and tests.
//!
//! Each mass, arm and gravity is a little off what was typed, as its uncertainty says; the lever
//! has a span of its own, a bend, hysteresis, a dependence on the place of the hand, a zero that
//! drifts, and weights hang a little differently each time. All invented: nothing in an evaluation
//! knows of it. Deliberately not here: the firmware, and pins.

use pinhold_protocol::block::{BRIDGE_CODE_MAX, BRIDGE_CODE_MIN};
use pinhold_protocol::record::Direction;

use super::bench::{Leg, Setting};
use super::diagnose::NOMINAL_SPAN_NM_PER_COUNT;
use super::procedure::{Procedure, Setup, Step};
use crate::analysis::random::Random;
use crate::bench::Settled;
use crate::instrument::gravity::STANDARD_GRAVITY;

/// Largest load that counts for hysteresis, N·m.
const FULL_NM: f64 = 25.0;

/// What the lever and its bench really are. All DER, sizes after data sheets of load cells.
#[derive(Clone, Debug, PartialEq)]
pub struct Model {
    /// Relative error of the span.
    pub span_error: f64,
    /// Bend: relative error at 25 N·m.
    pub bend_at_full: f64,
    /// Largest half width of hysteresis, N·m.
    pub hysteresis_nm: f64,
    /// Relative change of the torque shown per metre of hand position.
    pub cross_load_per_m: f64,
    /// Zero, N·m.
    pub zero_nm: f64,
    /// Walk of the zero, N·m per square root of a minute.
    pub walk_nm_per_sqrt_min: f64,
    /// Noise of one code.
    pub noise_code: f64,
    /// How differently weights hang each time, N·m and relative.
    pub hanging: (f64, f64),
    /// Weight moment of the lever, N·m.
    pub weight_moment_nm: f64,
    /// How far from level the handle lies, degrees, standard deviation.
    pub tilt_sd_deg: f64,
    /// Error of the accelerometer's axes, units of gravity.
    pub accelerometer_g: [f64; 3],
    /// Torque the cell stops at, N·m.
    pub ceiling_nm: f64,
    /// True masses, kg.
    pub masses_kg: Vec<f64>,
    /// True arms, m.
    pub arms_m: Vec<f64>,
    /// True gravity, m/s².
    pub gravity_m_s2: f64,
    /// Temperature at the start and after an hour, °C.
    pub temperature_c: (f64, f64),
}

impl Model {
    /// A lever in order and an honest bench, drawn from `seed`.
    pub fn drawn(setup: &Setup, seed: u64) -> Model {
        let mut random = Random::new(seed);
        let mut within = |half: f64| half * (2.0 * random.uniform() - 1.0);
        let (span_error, bend_at_full) = (within(0.03), within(0.001));
        let (hysteresis_nm, cross_load_per_m) = (0.0075 + within(0.0075), within(0.03));
        let (zero_nm, weight_moment_nm) = (within(1.0), 0.588_4 + within(0.03));
        let accelerometer_g = [within(0.02), within(0.02), within(0.02)];
        let start_c = 21.0 + within(3.0);
        let temperature_c = (start_c, start_c + within(2.0));
        let mut off = |value: f64, u: f64| value + u * random.normal();
        Model {
            span_error,
            bend_at_full,
            hysteresis_nm,
            cross_load_per_m,
            zero_nm,
            walk_nm_per_sqrt_min: 0.004,
            noise_code: 40.0,
            hanging: (0.002, 0.000_3),
            weight_moment_nm,
            tilt_sd_deg: 1.0,
            accelerometer_g,
            ceiling_nm: 45.0,
            masses_kg: setup.masses.iter().map(|m| off(m.mass_kg.value, m.mass_kg.u)).collect(),
            arms_m: setup.positions.iter().map(|p| off(p.arm_m.value, p.arm_m.u)).collect(),
            gravity_m_s2: off(setup.gravity.value_m_s2.value, setup.gravity.value_m_s2.u),
            temperature_c,
        }
    }

    /// Torque the lever shows by its nominal span for a true torque at a hand position, N·m,
    /// hysteresis and zero apart.
    pub fn shown_nm(&self, torque_nm: f64, arm_m: f64) -> f64 {
        let place = 1.0 + self.cross_load_per_m * (arm_m - 0.275);
        let bend = self.bend_at_full * torque_nm * torque_nm / FULL_NM;
        ((1.0 + self.span_error) * torque_nm * place + bend)
            .clamp(-self.ceiling_nm, self.ceiling_nm)
    }
}

/// The lever on its bench.
#[derive(Clone, Debug)]
pub struct PracticeLever {
    /// What it is.
    pub model: Model,
    random: Random,
    walked_nm: f64,
    elapsed_min: f64,
}

/// Minutes from one point to the next.
const STEP_MIN: f64 = 0.7;
/// Codes in a settled mean.
const SAMPLE_COUNT: u32 = 2_000;

impl PracticeLever {
    /// A lever of a model; `seed` draws what happens on the bench.
    pub fn new(model: Model, seed: u64) -> PracticeLever {
        let random = Random::new(seed ^ 0x5eed_ba5e);
        PracticeLever { model, random, walked_nm: 0.0, elapsed_min: 0.0 }
    }

    /// Minutes since the first point was asked for.
    pub fn elapsed_min(&self) -> f64 {
        self.elapsed_min
    }

    /// Does a step and reads it.
    pub fn settled(&mut self, step: &Step) -> Settled {
        let model = self.model.clone();
        self.elapsed_min += STEP_MIN;
        self.walked_nm += model.walk_nm_per_sqrt_min * STEP_MIN.sqrt() * self.random.normal();
        let tilt_rad = (model.tilt_sd_deg * self.random.normal()).to_radians();
        let side = match step.side {
            Direction::Sharp => 1.0,
            Direction::Flat => -1.0,
        };
        let (along, across) = (libm::sin(tilt_rad), side * libm::cos(tilt_rad));
        let cell_nm = match &step.setting {
            Setting::Free => -model.weight_moment_nm * across,
            Setting::Loaded { position, leg, masses, .. } => {
                let mass_kg: f64 = masses.iter().map(|at| model.masses_kg[*at]).sum();
                let arm_m = model.arms_m[*position];
                let load_nm = mass_kg * model.gravity_m_s2 * arm_m * across;
                let (fixed, relative) = model.hanging;
                let hung = if mass_kg > 0.0 { self.random.normal() } else { 0.0 };
                let load_nm = load_nm * (1.0 + relative * hung)
                    + if mass_kg > 0.0 { fixed * self.random.normal() } else { 0.0 };
                let share = (load_nm.abs() / FULL_NM).min(1.0);
                let loop_nm = side * model.hysteresis_nm * 4.0 * share * (1.0 - share);
                let loop_nm = if *leg == Leg::Down { loop_nm } else { -loop_nm };
                model.shown_nm(load_nm, arm_m) + loop_nm
            }
        };
        let shown_nm = cell_nm + model.zero_nm + self.walked_nm;
        let mean_noise = model.noise_code / f64::from(SAMPLE_COUNT).sqrt() * self.random.normal();
        let ends = (f64::from(BRIDGE_CODE_MIN), f64::from(BRIDGE_CODE_MAX));
        let (from_c, to_c) = model.temperature_c;
        let force = [along, across, 0.0];
        let local = model.gravity_m_s2 / STANDARD_GRAVITY;
        Settled {
            mean_code: (shown_nm / NOMINAL_SPAN_NM_PER_COUNT + mean_noise).clamp(ends.0, ends.1),
            code_sd: model.noise_code,
            sample_count: SAMPLE_COUNT,
            force_g: std::array::from_fn(|axis| force[axis] * local + model.accelerometer_g[axis]),
            temperature_c: from_c + (to_c - from_c) * (self.elapsed_min / 60.0).min(1.0),
        }
    }

    /// Takes every step of a procedure that is left, from `start_ms` of the calendar on.
    pub fn finish(&mut self, procedure: &mut Procedure, start_ms: i64) {
        while let Some(step) = procedure.next() {
            let settled = self.settled(&step);
            procedure.take(&settled, start_ms + (self.elapsed_min * 60_000.0) as i64);
        }
    }
}
