//! A calibration bench: dead weights hung on the handle of a lever that sits on a fixed square.
//!
//! The square is level, so the lever's handle points to three o'clock for weights that turn it
//! sharp and to nine o'clock for flat. Masses, arms and gravity are known with an error drawn
//! from their stated uncertainty; the technician hangs each load a little off its place and waits
//! until it hardly swings. What comes out is a settled mean per load, computed from the same
//! sensors that a stroke goes through, without converting each sample.
//!
//! Deliberately not here: any evaluation.
//!
//! Invariant: the order of loads is the order of time, so that hysteresis and drift act as they
//! would.

use crate::STANDARD_GRAVITY_M_S2;
use crate::cell::{Hold, REFERENCE_ARM_M};
use crate::friction::Turn;
use crate::lever::{LeverModel, Posture};
use crate::rng::Random;
use crate::sensors::{Sensors, SettledMean};

/// A quantity as stated, with its standard uncertainty.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// Value written down.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
}

impl Stated {
    /// What it may really be.
    fn really(self, random: &mut Random) -> f64 {
        random.normal(self.value, self.u)
    }
}

/// What is on the bench, and how carefully it is used.
#[derive(Clone, Debug, PartialEq)]
pub struct Equipment {
    /// Masses, in the order they are added, kg.
    pub masses_kg: Vec<Stated>,
    /// Places on the handle, from the pin's axis, m.
    pub arms_m: Vec<Stated>,
    /// Local gravity, m/s².
    pub gravity_m_s2: Stated,
    /// How many times the whole ladder of loads is gone through.
    pub cycle_count: usize,
    /// Samples in a settled mean.
    pub sample_count: u32,
    /// Seconds from one settled mean to the next.
    pub step_s: f64,
    /// Standard deviation of where a load hangs, from one hanging to the next, m.
    pub placement_sd_m: f64,
    /// Standard deviation of what swinging leaves in a mean, relative.
    pub swing_relative_sd: f64,
    /// Standard deviation of the handle's lean from level, and of the square's from upright, rad.
    pub lean_sd_rad: f64,
}

impl Equipment {
    /// A careful workshop: five masses of class M1 to M2 on scales good to 1 in 10 000, arms
    /// measured to 0.3 mm, gravity from latitude and height. 25 N·m at the outer place.
    pub fn careful() -> Equipment {
        let masses_kg = [0.5, 1.0, 2.0, 2.5, 2.5];
        let arms_m = [0.25, 0.30];
        Equipment {
            masses_kg: masses_kg.map(|value| Stated { value, u: 1e-4 * value }).to_vec(),
            arms_m: arms_m.map(|value| Stated { value, u: 0.000_3 }).to_vec(),
            gravity_m_s2: Stated { value: 9.81, u: 0.000_5 },
            cycle_count: 1,
            sample_count: 2_000,
            step_s: 20.0,
            placement_sd_m: 0.000_1,
            swing_relative_sd: 0.000_1,
            lean_sd_rad: 0.015,
        }
    }
}

/// How the lever was when a mean was taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Loading {
    /// On the square, the first so many masses at this place.
    Loaded {
        /// Place on the handle, from 0.
        place: usize,
        /// Way the load turns it.
        turn: Turn,
        /// Masses hung, counted in their order.
        mass_count: usize,
        /// The load had fallen to this.
        falling: bool,
    },
    /// Off the square, held still.
    Free,
}

/// One settled mean.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BenchReading {
    /// How the lever was.
    pub loading: Loading,
    /// What was read.
    pub mean: SettledMean,
    /// Samples in it.
    pub sample_count: u32,
    /// Seconds since the bench was begun.
    pub at_s: f64,
    /// Truth: torque on the cell, N·m.
    pub true_nm: f64,
}

/// A bench in use.
pub struct DeadWeightBench {
    equipment: Equipment,
    lever: LeverModel,
    masses_kg: Vec<f64>,
    arms_m: Vec<f64>,
    gravity_m_s2: f64,
    sensors: Sensors,
    random: Random,
    at_s: f64,
    readings: Vec<BenchReading>,
}

/// Clock position of a handle that weights turn that way.
fn level(turn: Turn) -> Posture {
    Posture::Upright { clock_hours: if turn == Turn::Sharp { 3.0 } else { 9.0 } }
}

/// Attitude for one way of loading.
#[derive(Clone, Copy)]
struct Attitude {
    posture: Posture,
    lean_rad: f64,
    /// Lean of the pin's axis out of the horizontal.
    tip_rad: f64,
}

impl DeadWeightBench {
    /// A bench with `lever` on it; what its weights and arms really are follows from the seed.
    pub fn new(lever: LeverModel, equipment: Equipment, seed: u64) -> DeadWeightBench {
        let root = Random::new(seed).fork("dead weights");
        let mut random = root.fork("truth");
        let really = |stated: &Stated, random: &mut Random| stated.really(random);
        let masses_kg = equipment.masses_kg.iter().map(|m| really(m, &mut random)).collect();
        let arms_m = equipment.arms_m.iter().map(|arm| really(arm, &mut random)).collect();
        let gravity_m_s2 = equipment.gravity_m_s2.really(&mut random);
        DeadWeightBench {
            masses_kg,
            arms_m,
            gravity_m_s2,
            sensors: Sensors::new(&lever, root.fork("sensors").bits()),
            random: root.fork("hands"),
            at_s: 0.0,
            readings: Vec::new(),
            equipment,
            lever,
        }
    }

    /// Goes through all loads once and returns what was read, in time.
    pub fn run(mut self) -> Vec<BenchReading> {
        // A cell rests long before; its first loading is part of what is measured.
        for turn in [Turn::Sharp, Turn::Flat] {
            self.free(turn);
        }
        for _ in 0..self.equipment.cycle_count {
            for place in 0..self.arms_m.len() {
                for turn in [Turn::Sharp, Turn::Flat] {
                    self.ladder(place, turn);
                }
            }
        }
        for turn in [Turn::Sharp, Turn::Flat] {
            self.free(turn);
        }
        self.readings
    }

    fn attitude(&mut self, turn: Turn) -> Attitude {
        let sd = self.equipment.lean_sd_rad;
        let mut lean = || sd * self.random.normal_within(0.0, 1.0, 2.5);
        Attitude { posture: level(turn), lean_rad: lean(), tip_rad: lean() }
    }

    /// Specific force in the lever's frame, units of standard gravity.
    fn force_g(&self, attitude: Attitude) -> [f64; 3] {
        let [along, across, _] = attitude.posture.specific_force(attitude.lean_rad);
        let size = self.gravity_m_s2 / STANDARD_GRAVITY_M_S2;
        let (sine, cosine) = (libm::sin(attitude.tip_rad), libm::cos(attitude.tip_rad));
        [size * along * cosine, size * across * cosine, size * sine]
    }

    /// The lever held off the square: the hand carries its weight.
    fn free(&mut self, turn: Turn) {
        let attitude = self.attitude(turn);
        let force_g = self.force_g(attitude);
        let hold = Hold { axial_share: slant(force_g), ..Hold::reference() };
        self.sensors.take_hold(&self.lever, hold);
        self.read(Loading::Free, -self.lever.weight_moment_nm * force_g[1], force_g);
    }

    /// Loads rising and falling at one place, one way round.
    fn ladder(&mut self, place: usize, turn: Turn) {
        let attitude = self.attitude(turn);
        let top = self.masses_kg.len();
        let rising = (0..=top).map(|mass_count| (mass_count, false));
        let falling = (0..top).rev().map(|mass_count| (mass_count, true));
        for (mass_count, falling) in rising.chain(falling) {
            self.load(place, turn, mass_count, falling, attitude);
        }
    }

    fn load(
        &mut self,
        place: usize,
        turn: Turn,
        mass_count: usize,
        falling: bool,
        attitude: Attitude,
    ) {
        let force_g = self.force_g(attitude);
        let placement_m = self.equipment.placement_sd_m * self.random.standard_normal();
        let arm_m = self.arms_m.get(place).copied().unwrap_or(REFERENCE_ARM_M) + placement_m;
        let swing = 1.0 + self.equipment.swing_relative_sd * self.random.standard_normal();
        let mass_kg: f64 = self.masses_kg.iter().take(mass_count).sum();
        // Weights turn the handle with what of gravity is across it.
        let true_nm = mass_kg * STANDARD_GRAVITY_M_S2 * force_g[1] * arm_m * swing;
        let hold = Hold { arm_m, axial_share: slant(force_g), seating_relative: 0.0 };
        self.sensors.take_hold(&self.lever, hold);
        self.read(Loading::Loaded { place, turn, mass_count, falling }, true_nm, force_g);
    }

    fn read(&mut self, loading: Loading, true_nm: f64, force_g: [f64; 3]) {
        self.at_s += self.equipment.step_s;
        self.sensors.wait(&self.lever, self.equipment.step_s);
        let sample_count = self.equipment.sample_count;
        let mean = self.sensors.settle(&self.lever, true_nm, force_g, sample_count);
        self.readings.push(BenchReading { loading, mean, sample_count, at_s: self.at_s, true_nm });
    }
}

/// Force along the pin over force across the handle.
fn slant(force_g: [f64; 3]) -> f64 {
    if force_g[1] == 0.0 { 0.0 } else { force_g[2] / force_g[1] }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lever::LeverSpec;
    use crate::sensors::NM_PER_BRIDGE_COUNT;

    fn readings(seed: u64, lever: LeverModel) -> Vec<BenchReading> {
        DeadWeightBench::new(lever, Equipment::careful(), seed).run()
    }

    #[test]
    fn a_perfect_lever_reads_its_loads() {
        let lever = LeverModel::ideal(Posture::upright());
        for reading in readings(3, lever) {
            let read_nm = reading.mean.mean_code * NM_PER_BRIDGE_COUNT;
            assert!((read_nm - reading.true_nm).abs() < 1e-4, "{reading:?}");
        }
    }

    #[test]
    fn the_ladder_goes_up_and_down_both_ways_at_every_place() {
        let all = readings(3, LeverModel::ideal(Posture::upright()));
        // Four ladders of 6 + 5 loads, two attitudes free before and after.
        assert_eq!(all.len(), 4 * 11 + 4);
        let most = |turn: Turn| {
            let of = |r: &&BenchReading| matches!(r.loading, Loading::Loaded { turn: t, .. } if t == turn);
            all.iter().filter(of).map(|r| turn.sign() * r.true_nm).fold(0.0, f64::max)
        };
        assert!((24.0..25.3).contains(&most(Turn::Sharp)), "{}", most(Turn::Sharp));
        assert!((24.0..25.3).contains(&most(Turn::Flat)), "{}", most(Turn::Flat));
        assert!(all.windows(2).all(|pair| pair[1].at_s > pair[0].at_s));
    }

    #[test]
    fn off_the_square_the_hand_carries_the_weight() {
        let lever = LeverModel::ideal(Posture::upright());
        let free = readings(3, lever).into_iter().filter(|r| r.loading == Loading::Free);
        for reading in free {
            let expected_nm = -lever.weight_moment_nm * reading.mean.force_g[1];
            assert!((reading.true_nm - expected_nm).abs() < 2e-3, "{reading:?}");
        }
    }

    #[test]
    fn stated_uncertainties_are_those_of_the_truth() {
        // Span by the last load of each of many benches against what was stated.
        let equipment =
            Equipment { arms_m: vec![Stated { value: 0.3, u: 0.003 }], ..Equipment::careful() };
        let lever = LeverModel::ideal(Posture::upright());
        let mut sum2 = 0.0;
        let count = 400;
        for seed in 0..count {
            let all = DeadWeightBench::new(lever, equipment.clone(), seed).run();
            let top = all.iter().find(|r| {
                matches!(r.loading, Loading::Loaded { mass_count: 5, turn: Turn::Sharp, .. })
            });
            let top = top.expect("a full load");
            let believed_nm = 8.5 * STANDARD_GRAVITY_M_S2 * top.mean.force_g[1] * 0.3;
            let error = top.true_nm / believed_nm - 1.0;
            sum2 += error * error;
        }
        let sd = (sum2 / count as f64).sqrt();
        // The arm's 1 % and little else; 400 draws know a deviation to 3.5 %.
        assert!((0.009..0.011).contains(&sd), "{sd}");
    }

    #[test]
    fn levers_with_flaws_show_them() {
        let lever = LeverModel::drawn_within(5, Posture::upright(), &LeverSpec::uncalibrated());
        let all = readings(5, lever);
        let at = |count: usize, fell: bool| {
            all.iter().find(|r| {
                r.loading
                    == Loading::Loaded {
                        place: 0,
                        turn: Turn::Sharp,
                        mass_count: count,
                        falling: fell,
                    }
            })
        };
        let (up, down) = (at(3, false).expect("up"), at(3, true).expect("down"));
        let error = |r: &BenchReading| r.mean.mean_code * NM_PER_BRIDGE_COUNT - r.true_nm;
        // Up and down at 3.5 kg, 8.6 N·m: apart by hysteresis, more than placement and swing do.
        let apart_nm = error(down) - error(up);
        assert!(apart_nm > 0.003 && apart_nm < 0.035, "{apart_nm}");
    }
}
