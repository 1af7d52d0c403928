//! The technician's hand: what it can do, and what it is told to do.
//!
//! Deliberately not here: any knowledge of the pin beyond what a hand feels, the lever's angle
//! and the torque in the grip. How a gesture is carried out is in [`control`].

pub mod control;
pub mod experience;
pub mod feel;
pub mod spoil;
pub mod tremor;

pub use spoil::Spoil;

use crate::friction::Turn;
use crate::rng::Random;

/// Slip of a default micro-stroke in each direction, degrees.
pub const DEFAULT_SLIP_DEG: f64 = 0.5;
/// Small flat set that ends a micro-stroke, degrees.
pub const DEFAULT_SET_DEG: f64 = 0.12;

/// A hand's habits. Values are assumed, chosen to look like a careful technician's.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hand {
    /// Stiffness of braced hand and arm at the lever, N·m/rad.
    pub stiffness_nm_per_rad: f64,
    /// Damping of hand and arm, N·m·s/rad.
    pub damping_nm_s_per_rad: f64,
    /// Speed at which it lets a pin slip, deg/s.
    pub slip_speed_deg_s: f64,
    /// How fast it loads a pin against the usual, relative.
    pub haste: f64,
    /// Shortest and longest delay between feeling and acting, s.
    pub reaction_s: (f64, f64),
    /// Amplitude of each of two tremor components (4–6 and 7–10 Hz), deg of lever.
    pub tremor_deg: f64,
    /// Time to ease a load off, s.
    pub ease_s: f64,
    /// Rest between strokes, s.
    pub rest_s: f64,
    /// Time held still after seating, s.
    pub settle_s: f64,
    /// Torque kept between strokes, N·m, in the last stroke's direction.
    pub residual_nm: f64,
    /// Torque beyond which it will not go, N·m.
    pub torque_limit_nm: f64,
    /// Standard deviation of the torque bump of seating, N·m.
    pub seating_bump_nm: f64,
    /// Standard deviation of what it aims for against what it was told, relative.
    pub aim_scatter: f64,
}

impl Default for Hand {
    fn default() -> Hand {
        Hand {
            stiffness_nm_per_rad: 10.0_f64.to_degrees(),
            damping_nm_s_per_rad: 2.2,
            slip_speed_deg_s: 1.0,
            haste: 1.0,
            reaction_s: (0.10, 0.20),
            tremor_deg: 0.005,
            ease_s: 0.30,
            rest_s: 0.25,
            settle_s: 0.40,
            residual_nm: 0.3,
            torque_limit_nm: 25.0,
            seating_bump_nm: 0.25,
            aim_scatter: 0.08,
        }
    }
}

impl Hand {
    /// A hand without tremor, scatter or seating bump, for checks of the physics.
    pub fn steady() -> Hand {
        Hand {
            tremor_deg: 0.0,
            seating_bump_nm: 0.0,
            aim_scatter: 0.0,
            reaction_s: (0.12, 0.12),
            ..Hand::default()
        }
    }

    /// Some careful technician's hand: slower or quicker, steadier or shakier than the default
    /// (ranges assumed).
    pub fn drawn(random: &mut Random) -> Hand {
        let usual = Hand::default();
        let quickest_s = random.uniform(0.07, 0.15);
        Hand {
            stiffness_nm_per_rad: random.uniform(6.0, 16.0).to_degrees(),
            damping_nm_s_per_rad: random.uniform(1.5, 3.5),
            slip_speed_deg_s: random.uniform(0.6, 1.6),
            haste: random.uniform(0.6, 1.5),
            reaction_s: (quickest_s, quickest_s + random.uniform(0.05, 0.15)),
            tremor_deg: random.uniform(0.001, 0.010),
            ease_s: random.uniform(0.15, 0.55),
            rest_s: random.uniform(0.20, 0.60),
            settle_s: random.uniform(0.30, 0.80),
            residual_nm: random.uniform(0.0, 0.7),
            torque_limit_nm: usual.torque_limit_nm,
            seating_bump_nm: random.uniform(0.05, 0.5),
            aim_scatter: random.uniform(0.03, 0.15),
        }
    }
}

/// What the hand is told to do with the lever on a pin.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Gesture {
    /// Flat by a little, sharp back to the start, a small flat set.
    MicroStroke {
        /// Slip of the foot flat, and back, degrees.
        slip_deg: f64,
        /// Flat set at the end, degrees.
        set_deg: f64,
    },
    /// One stroke flat.
    FlatOnly {
        /// Slip of the foot, degrees.
        slip_deg: f64,
    },
    /// One stroke sharp.
    SharpOnly {
        /// Slip of the foot, degrees.
        slip_deg: f64,
    },
    /// Push flat up to a torque and no further; a pin that yields is let slip a little.
    PushLimit {
        /// Torque to stop at, N·m.
        torque_nm: f64,
    },
    /// A flat stroke whose slip is far too short to give running torque.
    TooShort,
    /// A flat stroke that goes several times as far as asked.
    TooFar,
    /// The lever slips off the pin's head in the middle of a flat slip. It is then off the pin.
    SlipOff,
    /// A flat stroke that ends in a jerk.
    Jerk,
    /// Half of the torque needed, then released: the foot never moves.
    HalfStroke,
    /// A micro-stroke one of whose strokes goes wrong.
    Spoiled {
        /// Which of the three, from 0.
        stroke: usize,
        /// How.
        spoil: Spoil,
        /// The hand goes on with the strokes behind it as if nothing had been.
        goes_on: bool,
    },
}

impl Gesture {
    /// The default micro-stroke.
    pub const fn micro_stroke() -> Gesture {
        Gesture::MicroStroke { slip_deg: DEFAULT_SLIP_DEG, set_deg: DEFAULT_SET_DEG }
    }
}

/// How one stroke of a gesture is carried out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Manner {
    /// Slow, far enough and long enough for running torque.
    Careful,
    /// As careful, and as far as the stroke before went, less a little.
    Back,
    /// A short set.
    Set,
    /// As soon as it gives, stop.
    Brief,
    /// It slips off after this many seconds of slip.
    SlipOff(f64),
    /// It gives way to a jerk.
    Jerk,
    /// Only half of the expected torque.
    Half,
    /// Up to this torque, N·m.
    Limit(f64),
}

/// One stroke that the hand intends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Intent {
    /// Which way.
    pub turn: Turn,
    /// How far the foot should slip, degrees.
    pub slip_deg: f64,
    /// How.
    pub manner: Manner,
    /// What goes wrong with it.
    pub spoil: Option<Spoil>,
}

/// Strokes a gesture can have.
pub const INTENT_COUNT_MAX: usize = 3;

impl Gesture {
    /// The strokes this gesture is made of, in time; unused places are `None`.
    pub fn intents(self) -> [Option<Intent>; INTENT_COUNT_MAX] {
        let stroke = |turn, slip_deg, manner| Intent { turn, slip_deg, manner, spoil: None };
        let flat = |slip_deg, manner| stroke(Turn::Flat, slip_deg, manner);
        let one = |intent| [Some(intent), None, None];
        match self {
            Gesture::MicroStroke { slip_deg, set_deg } => [
                Some(flat(slip_deg, Manner::Careful)),
                Some(stroke(Turn::Sharp, slip_deg, Manner::Back)),
                Some(flat(set_deg, Manner::Set)),
            ],
            Gesture::Spoiled { stroke, spoil, goes_on } => {
                let mut intents = Gesture::micro_stroke().intents();
                for (index, place) in intents.iter_mut().enumerate() {
                    if index > stroke && !goes_on {
                        *place = None;
                    } else if let (Some(intent), true) = (place, index == stroke) {
                        intent.spoil = Some(spoil);
                    }
                }
                intents
            }
            Gesture::FlatOnly { slip_deg } => one(flat(slip_deg, Manner::Careful)),
            Gesture::SharpOnly { slip_deg } => one(stroke(Turn::Sharp, slip_deg, Manner::Careful)),
            Gesture::PushLimit { torque_nm } => one(flat(0.3, Manner::Limit(torque_nm))),
            Gesture::TooShort => one(flat(0.05, Manner::Brief)),
            Gesture::TooFar => one(flat(2.5, Manner::Careful)),
            Gesture::SlipOff => one(flat(0.8, Manner::SlipOff(0.2))),
            Gesture::Jerk => one(flat(3.0, Manner::Jerk)),
            Gesture::HalfStroke => one(flat(0.0, Manner::Half)),
        }
    }
}
