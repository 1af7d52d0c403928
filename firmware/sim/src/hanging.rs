//! A lever on the calibration bench, sample by sample: what hangs on it swings out, the lever held
//! in the hand trembles, and the rest is [`crate::deadweight`]'s.
//!
//! Deliberately not here: who hangs what when.

use crate::SAMPLE_PERIOD_S;
use crate::bench::Tick;
use crate::cell::{Hold, REFERENCE_ARM_M};
use crate::deadweight::{Attitude, Equipment, Rig};
use crate::friction::Turn;
use crate::lever::LeverModel;
use crate::rng::Random;
use crate::sensors::{Reality, Sensors};

/// Where the lever is and what hangs on it.
#[derive(Clone, Debug, PartialEq)]
pub enum Placing {
    /// On the square, these masses at this place; none is no load.
    OnSquare {
        /// Place on the handle, from 0.
        place: usize,
        /// Way the load turns it.
        turn: Turn,
        /// Which masses, from 0; those that do not exist weigh nothing.
        masses: Vec<usize>,
    },
    /// Off the square, held still by the handle, which points the way it would for this turn.
    Held {
        /// See [`Placing::OnSquare`].
        turn: Turn,
    },
}

/// Swing just after hanging, share of the load's torque.
const SWING_SHARE: f64 = 0.03;
/// Period of the swing of a weight on half a metre of cord, s (√(L/g)·2π).
const SWING_PERIOD_S: f64 = 1.4;
/// Time in which a swing dies down to 1/e when a hand stills it, s (assumed).
const SWING_S: f64 = 1.5;
/// Time from one load to the next: the hand lifts one off and hangs the other on, s.
const CHANGE_S: f64 = 0.4;
/// Shake of a lever held in the hand, N·m standard deviation (assumed).
const HELD_SHAKE_NM: f64 = 0.003;

/// A lever with something hanging on it.
#[derive(Clone, Debug)]
pub struct HangingLever {
    lever: LeverModel,
    rig: Rig,
    sensors: Sensors,
    random: Random,
    placing: Placing,
    attitude: Attitude,
    /// Torque that hangs on it now, and that hung on it before, N·m.
    torque_nm: f64,
    before_nm: f64,
    since_s: f64,
    swing: f64,
}

impl HangingLever {
    /// The lever on the square, nothing hanging.
    pub fn new(lever: LeverModel, equipment: Equipment, seed: u64) -> HangingLever {
        let root = Random::new(seed).fork("hanging");
        let mut random = root.fork("hands");
        let rig = Rig::really(equipment, seed);
        let attitude = rig.attitude(Turn::Sharp, &mut random);
        let placing = Placing::OnSquare { place: 0, turn: Turn::Sharp, masses: Vec::new() };
        HangingLever {
            sensors: Sensors::new(&lever, root.fork("sensors").bits()),
            lever,
            rig,
            random,
            placing,
            attitude,
            torque_nm: 0.0,
            before_nm: 0.0,
            since_s: 0.0,
            swing: 0.0,
        }
    }

    /// What hangs now.
    pub fn placing(&self) -> &Placing {
        &self.placing
    }

    /// Truth: torque on the cell once nothing swings, N·m.
    pub fn torque_nm(&self) -> f64 {
        self.torque_nm
    }

    /// Puts the lever so; nothing happens if it is so already.
    pub fn put(&mut self, placing: Placing) {
        if placing == self.placing {
            return;
        }
        let turn = |placing: &Placing| match placing {
            Placing::OnSquare { turn, .. } | Placing::Held { turn } => *turn,
        };
        let held = |placing: &Placing| matches!(placing, Placing::Held { .. });
        if turn(&placing) != turn(&self.placing) || held(&placing) != held(&self.placing) {
            self.attitude = self.rig.attitude(turn(&placing), &mut self.random);
        }
        let force_g = self.rig.force_g(self.attitude);
        let slant = self.rig.slant(self.attitude);
        self.before_nm = self.torque_nm;
        self.since_s = 0.0;
        self.swing = 0.0;
        let arm_m = match &placing {
            Placing::Held { .. } => {
                self.torque_nm = -self.lever.weight_moment_nm * force_g[1];
                REFERENCE_ARM_M
            }
            Placing::OnSquare { place, masses, .. } => {
                let arm_m = self.rig.arm_m(*place, &mut self.random);
                self.torque_nm = self.rig.torque_nm(masses, arm_m, self.attitude);
                self.swing = SWING_SHARE * self.random.normal_within(0.0, 1.0, 2.0);
                arm_m
            }
        };
        self.sensors
            .take_hold(&self.lever, Hold { arm_m, axial_share: slant, seating_relative: 0.0 });
        self.placing = placing;
    }

    /// The next sample.
    pub fn next_sample(&mut self) -> Tick {
        self.since_s += SAMPLE_PERIOD_S;
        let share = (self.since_s / CHANGE_S).min(1.0);
        let phase = core::f64::consts::TAU * self.since_s / SWING_PERIOD_S;
        let swing = self.swing * libm::exp(-self.since_s / SWING_S) * libm::sin(phase);
        let hanging_nm = self.before_nm + (self.torque_nm - self.before_nm) * share;
        let shake_nm = match self.placing {
            Placing::Held { .. } => HELD_SHAKE_NM * self.random.standard_normal(),
            Placing::OnSquare { .. } => 0.0,
        };
        let reality = Reality {
            cell_nm: hanging_nm + self.torque_nm * swing + shake_nm,
            rate_deg_s: 0.0,
            turned_rad: 0.0,
        };
        let force_g = self.rig.force_g(self.attitude);
        let (sample, motion) = self.sensors.convert_in(&self.lever, &reality, force_g);
        Tick { sample, motion }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lever::Posture;
    use crate::sensors::NM_PER_BRIDGE_COUNT;

    fn mean_nm(lever: &mut HangingLever, sample_count: u32) -> f64 {
        let sum: f64 =
            (0..sample_count).map(|_| f64::from(lever.next_sample().sample.bridge_code)).sum();
        sum / f64::from(sample_count) * NM_PER_BRIDGE_COUNT
    }

    #[test]
    fn a_load_swings_and_then_stands_at_its_torque() {
        let model = LeverModel::ideal(Posture::upright());
        let mut lever = HangingLever::new(model, Equipment::careful(), 4);
        lever.put(Placing::OnSquare { place: 1, turn: Turn::Flat, masses: vec![0, 1, 2] });
        // 3.5 kg at 0.30 m.
        assert!((lever.torque_nm() + 10.3).abs() < 0.05, "{}", lever.torque_nm());
        let spread = |lever: &mut HangingLever| {
            let means: Vec<f64> = (0..10).map(|_| mean_nm(lever, 140)).collect();
            let most = means.iter().copied().fold(f64::MIN, f64::max);
            most - means.iter().copied().fold(f64::MAX, f64::min)
        };
        let early_nm = spread(&mut lever);
        mean_nm(&mut lever, 15_000);
        let late_nm = spread(&mut lever);
        assert!(early_nm > 0.05 && late_nm < 0.002, "{early_nm} then {late_nm}");
        assert!((mean_nm(&mut lever, 2_000) - lever.torque_nm()).abs() < 5e-4);
    }

    #[test]
    fn held_off_the_square_it_carries_its_weight_and_shows_its_attitude() {
        let model = LeverModel::ideal(Posture::upright());
        let mut lever = HangingLever::new(model, Equipment::careful(), 4);
        for turn in [Turn::Sharp, Turn::Flat] {
            lever.put(Placing::Held { turn });
            let expected_nm = -turn.sign() * model.weight_moment_nm;
            let read_nm = mean_nm(&mut lever, 3_000);
            assert!((lever.torque_nm() - expected_nm).abs() < 2e-3, "{}", lever.torque_nm());
            let across = (0..64).find_map(|_| lever.next_sample().motion);
            let across = across.expect("an attitude").acceleration_milli_g[1];
            assert!((f64::from(across) - turn.sign() * 1000.0).abs() < 10.0, "{across}");
            let settled_nm = mean_nm(&mut lever, 2_000);
            assert!((settled_nm - expected_nm).abs() < 3e-3, "{read_nm} then {settled_nm}");
        }
    }
}
