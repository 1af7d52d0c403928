//! One tuning pin in its hole: elastic twist, distributed along the embedded part, against
//! friction distributed likewise.
//!
//! A chain from the head down: free part to the coil, coil to the plank, then friction elements
//! joined by the embedded part's own torsional compliance. Loaded from the head it lets go from
//! the top down, so the knee is rounded, and keeps a twist locked in that depends on the last
//! direction. Each step is solved exactly (the elements that slip are always the topmost ones),
//! in at most one pass over the chain; there is no iteration to converge.
//!
//! Deliberately not here: inertia (the lever's, see [`crate::bench`]) and the wire.
//!
//! Invariant: after every step no element carries more than its friction allows.

use crate::friction::{Grip, GripParameters, Turn};
use crate::torsion::{STEEL_SHEAR_MODULUS_PA, rigidity_nm2};

/// Friction elements along the embedded part.
pub const ELEMENT_COUNT: usize = 10;
/// Elements of the chain: bushing or plate drag on top, then the embedded part.
const CHAIN_COUNT: usize = ELEMENT_COUNT + 1;
/// A pin without lever or grip runs flat no faster than this, rad/s.
const FREE_RUN_SPEED_RAD_S: f64 = 0.5;
/// Distance from the plank's face to the string's coil, m (typical, MEM).
pub const COIL_HEIGHT_M: f64 = 0.008;
/// Length of pin between the lever's tip and the plank's face, m (DER's example).
pub const FREE_LENGTH_M: f64 = 0.025;
/// Driven length in the plank, m (ONE).
pub const EMBEDDED_LENGTH_M: f64 = 0.030;

/// One pin and its hole.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PinParameters {
    /// Pin diameter, m.
    pub diameter_m: f64,
    /// Shear modulus, Pa.
    pub shear_modulus_pa: f64,
    /// From the lever's tip to the plank, m.
    pub free_length_m: f64,
    /// From the plank to the coil, m; less than `free_length_m`.
    pub coil_height_m: f64,
    /// Length in the plank, m.
    pub embedded_length_m: f64,
    /// Running friction of the plank at 1 degree per second, N·m.
    pub friction_nm: f64,
    /// Coulomb drag above the plank (plate bushing, coil on plate), N·m.
    pub drag_nm: f64,
    /// How much more the plank grips at the foot than at the top: 0 is even, 1 is none at the top.
    pub taper: f64,
    /// Character of the grip.
    pub grip: GripParameters,
}

impl Default for PinParameters {
    fn default() -> PinParameters {
        PinParameters {
            diameter_m: 0.007_163,
            shear_modulus_pa: STEEL_SHEAR_MODULUS_PA,
            free_length_m: FREE_LENGTH_M,
            coil_height_m: COIL_HEIGHT_M,
            embedded_length_m: EMBEDDED_LENGTH_M,
            friction_nm: 10.0,
            drag_nm: 0.0,
            taper: 0.0,
            grip: GripParameters::default(),
        }
    }
}

/// State of one pin. Angles in rad from where it was found, sharp positive.
#[derive(Clone, Debug)]
pub struct Pin {
    grip: Grip,
    /// rad per N·m between lever tip and coil.
    head_compliance: f64,
    /// rad per N·m above each element, from the one above (the coil for the first).
    compliance: [f64; CHAIN_COUNT],
    /// Running friction of each element, N·m.
    capacity_nm: [f64; CHAIN_COUNT],
    angle_rad: [f64; CHAIN_COUNT],
    coil_rad: f64,
    gap_rad: f64,
    contact: f64,
}

/// How the top of the chain is driven in one step.
#[derive(Clone, Copy)]
enum Drive {
    /// Lever tip at this angle, string moment at the coil.
    Angle { tip_rad: f64, moment_nm: f64 },
    /// This torque enters the plank.
    Torque(f64),
}

/// Where the slipping part ends and what it takes.
struct Balance {
    top_nm: f64,
    slipping_count: usize,
    /// Friction of the slipping elements above each element, signed.
    taken_nm: [f64; CHAIN_COUNT],
    runs: bool,
}

impl Pin {
    /// A pin that was never loaded: no twist anywhere.
    pub fn untwisted(parameters: PinParameters, gap_rad: f64) -> Pin {
        let rigidity = rigidity_nm2(parameters.shear_modulus_pa, parameters.diameter_m);
        let spacing_m = parameters.embedded_length_m / ELEMENT_COUNT as f64;
        let mut compliance = [spacing_m / rigidity; CHAIN_COUNT];
        compliance[0] = parameters.coil_height_m / rigidity;
        compliance[1] = 0.5 * spacing_m / rigidity;
        let mut capacity_nm = [parameters.drag_nm.max(0.0); CHAIN_COUNT];
        for (index, capacity) in capacity_nm.iter_mut().skip(1).enumerate() {
            let depth = (index as f64 + 0.5) / ELEMENT_COUNT as f64;
            let weight = 1.0 + parameters.taper * (2.0 * depth - 1.0);
            *capacity = parameters.friction_nm.max(0.0) * weight / ELEMENT_COUNT as f64;
        }
        Pin {
            grip: Grip::aged(parameters.grip),
            head_compliance: (parameters.free_length_m - parameters.coil_height_m) / rigidity,
            compliance,
            capacity_nm,
            angle_rad: [0.0; CHAIN_COUNT],
            coil_rad: 0.0,
            gap_rad,
            contact: 1.0,
        }
    }

    /// A pin as the last tuning left it under `moment_nm`: pulled sharp, set a little flat,
    /// released. Its coil is at angle 0.
    pub fn as_tuned(parameters: PinParameters, gap_rad: f64, moment_nm: f64) -> Pin {
        let mut pin = Pin::untwisted(parameters, gap_rad);
        let sharp_nm = pin.limit_nm(Turn::Sharp);
        let flat_nm = pin.limit_nm(Turn::Flat);
        let held_nm = moment_nm.min(0.999 * flat_nm);
        for top_nm in [0.999 * sharp_nm, -held_nm.max(0.8 * flat_nm), -held_nm] {
            pin.settle(Drive::Torque(top_nm), 0.0);
        }
        let coil_rad = pin.coil_rad;
        pin.shift(-coil_rad);
        pin
    }

    fn shift(&mut self, by_rad: f64) {
        self.coil_rad += by_rad;
        for angle in &mut self.angle_rad {
            *angle += by_rad;
        }
    }

    /// Torque into the plank above which the whole pin turns, now, N·m.
    pub fn limit_nm(&self, turn: Turn) -> f64 {
        let plank: f64 = self.capacity_nm[1..].iter().sum();
        plank * self.grip.level(turn) + self.capacity_nm[0]
    }

    /// Rotation of the coil, rad: what the string feels.
    pub fn coil_rad(&self) -> f64 {
        self.coil_rad
    }

    /// Rotation of the foot, rad.
    pub fn foot_rad(&self) -> f64 {
        self.angle_rad[CHAIN_COUNT - 1]
    }

    /// Angle of the lever tip at which it touches the pin without torque, in mid-play.
    pub fn tip_at_rest_rad(&self) -> f64 {
        self.coil_rad
    }

    /// The pin was left alone for `rest_s` seconds.
    pub fn rest(&mut self, rest_s: f64) {
        self.grip.rest(rest_s);
    }

    /// One step with the lever's tip at `tip_rad` against the string's `moment_nm`: the torque
    /// the tip puts on the head, N·m, sharp positive.
    pub fn turn(&mut self, tip_rad: f64, moment_nm: f64, period_s: f64) -> f64 {
        let foot_before_rad = self.foot_rad();
        let torque_nm = self.turn_with_play(tip_rad, moment_nm, period_s);
        self.grip.advance(self.foot_rad() - foot_before_rad, period_s);
        torque_nm
    }

    /// One step without a lever on the pin.
    pub fn leave(&mut self, moment_nm: f64, period_s: f64) {
        let foot_before_rad = self.foot_rad();
        self.settle(Drive::Torque(-moment_nm), period_s);
        self.grip.advance(self.foot_rad() - foot_before_rad, period_s);
    }

    fn turn_with_play(&mut self, tip_rad: f64, moment_nm: f64, period_s: f64) -> f64 {
        // The flank touched last first: most steps need one balance only.
        for contact in [self.contact, -self.contact] {
            let shifted_rad = tip_rad - 0.5 * self.gap_rad * contact;
            let drive = Drive::Angle { tip_rad: shifted_rad, moment_nm };
            let balance = self.balance(drive);
            let torque_nm = balance.top_nm + moment_nm;
            if torque_nm * contact >= 0.0 {
                self.contact = contact;
                self.apply(drive, &balance, period_s);
                return torque_nm;
            }
        }
        self.settle(Drive::Torque(-moment_nm), period_s);
        0.0
    }

    fn settle(&mut self, drive: Drive, period_s: f64) {
        let balance = self.balance(drive);
        self.apply(drive, &balance, period_s);
    }

    /// Finds how many of the topmost elements slip.
    fn balance(&self, drive: Drive) -> Balance {
        let levels = [self.grip.level(Turn::Flat), self.grip.level(Turn::Sharp)];
        let mut taken_nm = [0.0; CHAIN_COUNT];
        let mut taken = 0.0;
        let mut compliance_sum = self.head_compliance + self.compliance[0];
        let mut given_rad = 0.0;
        for index in 0..CHAIN_COUNT {
            taken_nm[index] = taken;
            let top_nm = match drive {
                Drive::Angle { tip_rad, moment_nm } => {
                    let wound = tip_rad - moment_nm * self.head_compliance;
                    (wound - self.angle_rad[index] + given_rad) / compliance_sum
                }
                Drive::Torque(torque_nm) => torque_nm,
            };
            let demand_nm = top_nm - taken - self.torque_below_nm(index);
            let level = match (index, demand_nm < 0.0) {
                (0, _) => 1.0,
                (_, true) => levels[0],
                (_, false) => levels[1],
            };
            let allowed_nm = self.capacity_nm[index] * level;
            if demand_nm.abs() <= allowed_nm {
                return Balance { top_nm, slipping_count: index, taken_nm, runs: false };
            }
            taken += allowed_nm.copysign(demand_nm);
            if let Some(next) = self.compliance.get(index + 1) {
                given_rad += taken * next;
                compliance_sum += next;
            }
        }
        Balance { top_nm: taken, slipping_count: CHAIN_COUNT, taken_nm, runs: true }
    }

    /// Torque that element `index` hands to the one below it.
    fn torque_below_nm(&self, index: usize) -> f64 {
        match (self.angle_rad.get(index + 1), self.compliance.get(index + 1)) {
            (Some(below_rad), Some(compliance)) => (self.angle_rad[index] - below_rad) / compliance,
            _ => 0.0,
        }
    }

    fn apply(&mut self, drive: Drive, balance: &Balance, period_s: f64) {
        match drive {
            Drive::Angle { tip_rad, moment_nm } => {
                let head_nm = balance.top_nm + moment_nm;
                self.coil_rad = tip_rad - head_nm * self.head_compliance;
                let mut above_rad = self.coil_rad;
                for index in 0..balance.slipping_count {
                    let torque_nm = balance.top_nm - balance.taken_nm[index];
                    above_rad -= torque_nm * self.compliance[index];
                    self.angle_rad[index] = above_rad;
                }
            }
            Drive::Torque(torque_nm) => {
                if balance.runs {
                    // Nothing but the string moves it: it runs, at a bounded speed.
                    let excess = (torque_nm - balance.top_nm).signum();
                    self.shift(excess * FREE_RUN_SPEED_RAD_S * period_s);
                    return;
                }
                let mut below_rad = self.angle_rad[balance.slipping_count];
                for index in (0..balance.slipping_count).rev() {
                    let torque_nm = torque_nm - balance.taken_nm[index + 1];
                    below_rad += torque_nm * self.compliance[index + 1];
                    self.angle_rad[index] = below_rad;
                }
                self.coil_rad = self.angle_rad[0] + torque_nm * self.compliance[0];
            }
        }
    }
}
