//! Whole invented instruments with a hidden fault.
//!
//! - [`Piano::invent`] draws an 88-note grand of 227 pins from a seed.
//! - [`Piano::invent_with`] does so on any [`Plan`].
//! - [`Piano::invent_mixed`] draws one in which more than one thing may be wrong.
//! - [`Piano::quick_readings`] gives noisy readings without simulating strokes.
//!
//! Deliberately not here: any judgement. A [`Fault`] only states which remedies would be right.
//! All instruments are invented; none describes a real one.

pub mod fault;
pub mod invent;
pub mod mixed;
pub mod plan;
pub mod scale;
pub mod trouble;

pub use fault::{Fault, Severity, UnknownFault};
pub use mixed::Mixed;
pub use plan::{Kind, Plan};

use crate::friction::{Grip, GripParameters, Turn};
use crate::pin::{COIL_HEIGHT_M, EMBEDDED_LENGTH_M, FREE_LENGTH_M, PinParameters};
use crate::rng::Random;
use crate::torsion::STEEL_SHEAR_MODULUS_PA;
use crate::wire::WireParameters;

/// String of a unison, seen from the player: left is the bass side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StringLetter {
    /// Left of two or three.
    Left,
    /// Single string, or the centre of three.
    Centre,
    /// Right of two or three.
    Right,
    /// Fourth string.
    Fourth,
}

/// One invented pin with its string.
#[derive(Clone, Debug, PartialEq)]
pub struct PianoPin {
    /// Note number, 1 is A0.
    pub note: u8,
    /// String of the unison.
    pub string: StringLetter,
    /// Section between struts, 0 in the bass.
    pub section: u8,
    /// Row, 0 nearest the plate flange.
    pub row: u8,
    /// From the bass end of the field, m.
    pub x_m: f64,
    /// Away from the flange side of the field, m.
    pub y_m: f64,
    /// From the plate flange, m.
    pub flange_distance_m: f64,
    /// Pin diameter, µm.
    pub diameter_um: u32,
    /// Wire (core) diameter, m.
    pub wire_diameter_m: f64,
    /// Running friction of the plank at 1 deg/s, N·m.
    pub friction_nm: f64,
    /// Drag above the plank (bushing, coil on plate), N·m.
    pub drag_nm: f64,
    /// Character of the grip, with the breakaway ratios.
    pub grip: GripParameters,
    /// Uneven grip along the embedded part, see [`PinParameters::taper`].
    pub taper: f64,
    /// Tension at target pitch, N.
    pub tension_n: f64,
    /// String moment now, N·m.
    pub moment_nm: f64,
    /// String moment at target pitch, N·m.
    pub moment_at_pitch_nm: f64,
    /// Stiffness of the segment behind the bearing, N·m per degree of coil.
    pub segment_stiffness_nm_per_deg: f64,
    /// Stiffness of the speaking length, N·m per degree of coil.
    pub speaking_stiffness_nm_per_deg: f64,
    /// Bearing friction as a fraction of tension; 0 for a frictionless bearing.
    pub bearing_friction: f64,
    /// Where in its hysteresis the segment was left, −1 to 1.
    pub bearing_state: f64,
    /// No string on the pin.
    pub unstrung: bool,
    /// Strung but slack.
    pub slack: bool,
    /// Reverse-wound (ONE: a lone one occurs): turning sharp is then counter-clockwise, and every
    /// sample of this pin comes with the opposite sign. Invented pianos have none.
    pub reverse_wound: bool,
    /// Truth: belongs to the hidden fault.
    pub loose: bool,
}

impl PianoPin {
    /// The pin as the physics takes it.
    pub fn parameters(&self) -> PinParameters {
        PinParameters {
            diameter_m: f64::from(self.diameter_um) * 1e-6,
            shear_modulus_pa: STEEL_SHEAR_MODULUS_PA,
            free_length_m: FREE_LENGTH_M,
            coil_height_m: COIL_HEIGHT_M,
            embedded_length_m: EMBEDDED_LENGTH_M,
            friction_nm: self.friction_nm,
            drag_nm: self.drag_nm,
            taper: self.taper,
            grip: self.grip,
        }
    }

    /// The string as the physics takes it.
    pub fn wire(&self) -> WireParameters {
        if self.unstrung {
            return WireParameters::none();
        }
        WireParameters {
            moment_nm: self.moment_nm,
            segment_stiffness_nm_per_rad: self.segment_stiffness_nm_per_deg.to_degrees(),
            speaking_stiffness_nm_per_rad: self.speaking_stiffness_nm_per_deg.to_degrees(),
            bearing_friction: self.bearing_friction,
            bearing_state: self.bearing_state,
        }
    }

    /// Everything that resists the lever beside the string, N·m: plank and drag.
    pub fn resisting_nm(&self) -> f64 {
        self.friction_nm + self.drag_nm
    }

    /// Largest string moment the pin holds at rest, as found, N·m.
    pub fn holds_nm(&self) -> f64 {
        self.friction_nm * Grip::aged(self.grip).level(Turn::Flat) + self.drag_nm
    }

    /// Takes the string off.
    pub fn unstring(&mut self) {
        self.unstrung = true;
        self.moment_nm = 0.0;
    }

    /// Slackens the string to a tenth of its moment.
    pub fn slacken(&mut self) {
        self.slack = true;
        self.moment_nm = 0.1 * self.moment_at_pitch_nm;
    }

    /// Sets the running friction and lets the string fall to what the pin then holds.
    pub fn set_friction(&mut self, friction_nm: f64, share_held: f64) {
        self.friction_nm = friction_nm;
        let held_nm = share_held * self.holds_nm() / (1.0 + self.bearing_friction);
        self.moment_nm = self.moment_nm.min(held_nm);
    }
}

/// What a technician could see of the plank's wood.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlankSight {
    /// Edges and joints seen and sound.
    SeenSound,
    /// Plies seen to have parted.
    PliesParted,
    /// Seen to have left the back or the flange.
    OffBack,
}

/// What a technician could tell of the instrument beside torque; `None` is unknown.
#[derive(Clone, Debug, PartialEq)]
pub struct Facts {
    /// Whether it holds its tune.
    pub tune_stable: Option<bool>,
    /// Relative humidity of the room over the last weeks, 0–1.
    pub relative_humidity: Option<f64>,
    /// Mean pitch as found, cents from target.
    pub pitch_cents: Option<f64>,
    /// Oil, stain or treatment seen at the pins.
    pub contamination_seen: Option<bool>,
    /// What was seen of the plank's wood.
    pub plank_sight: Option<PlankSight>,
    /// Largest pin that still fits plate, bushing and tip, µm.
    pub largest_pin_um: Option<u32>,
    /// Plate with wooden bushings.
    pub bushed_plate: Option<bool>,
}

/// An invented instrument.
#[derive(Clone, Debug, PartialEq)]
pub struct Piano {
    /// How it is laid out.
    pub plan: Plan,
    /// Truth: the fault hidden in it.
    pub fault: Fault,
    /// Truth: how plain the fault is.
    pub severity: Severity,
    /// What can be known beside torque.
    pub facts: Facts,
    /// Pins by note, then string.
    pub pins: Vec<PianoPin>,
}

impl Piano {
    /// Invents an 88-note grand of 227 pins with a fault hidden in it.
    pub fn invent(seed: u64, fault: Fault, severity: Severity) -> Piano {
        Piano::invent_with(Plan::grand_88(seed), seed, fault, severity)
    }

    /// Invents an instrument on a plan.
    pub fn invent_with(plan: Plan, seed: u64, fault: Fault, severity: Severity) -> Piano {
        invent::invent(plan, seed, fault, severity)
    }

    /// Sets one bearing friction for every string.
    pub fn set_bearing_friction(&mut self, fraction: f64) {
        for pin in &mut self.pins {
            pin.bearing_friction = fraction;
        }
    }

    /// Running torques (sharp, flat) of every pin as a wrench would read them, N·m, without
    /// simulating strokes: F + M and F − M from the truth, each with normal noise of standard
    /// deviation `u_rel`·(F + M). Bearing friction, jumps and spoiled strokes are left out.
    pub fn quick_readings(&self, seed: u64, u_rel: f64) -> Vec<(f64, f64)> {
        let root = Random::new(seed);
        let reading = |(index, pin): (usize, &PianoPin)| {
            let mut random = root.fork_index("quick reading", index);
            let moment_nm = if pin.unstrung { 0.0 } else { pin.moment_nm };
            let sharp_nm = pin.resisting_nm() + moment_nm;
            let flat_nm = pin.resisting_nm() - moment_nm;
            let deviation_nm = u_rel * sharp_nm;
            (random.normal(sharp_nm, deviation_nm), random.normal(flat_nm, deviation_nm))
        };
        self.pins.iter().enumerate().map(reading).collect()
    }
}
