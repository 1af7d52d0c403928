//! What looks wrong in a bench, each with the sentence that says so and what to do.
//!
//! A grave one keeps the calibration from being made unless its user insists; the others go with
//! the record as remarks. Deliberately not here: how they are found ([`super::diagnose`]). A little
//! long, because every sentence stands beside the others it must not be confused with.

use std::fmt;

use pinhold_protocol::record::Direction;

use crate::text::printable_short;
use crate::units::TorqueUnit;

/// Longest name shown in a sentence, characters.
const NAME_LENGTH_MAX: usize = 40;

/// A point by what its user knows it by.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// Its place among the bench's points, from 1.
    pub number: usize,
    /// Hand position, direction and what hangs, as text.
    pub what: String,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "point {} ({})", self.number, self.what)
    }
}

/// The word for a direction.
pub const fn direction_word(direction: Direction) -> &'static str {
    match direction {
        Direction::Sharp => "sharp",
        Direction::Flat => "flat",
    }
}

/// A name as it is put into a sentence.
pub(super) fn shown(name: &str) -> String {
    printable_short(name, NAME_LENGTH_MAX)
}

/// One thing that looks wrong. Torques in N·m, masses in kg, lengths in m.
#[derive(Clone, Debug, PartialEq)]
pub enum Suspicion {
    /// An arm seems to be typed in another unit.
    ArmUnit {
        /// Hand position.
        position: String,
        /// Typed length.
        typed_m: f64,
        /// Length that would fit the lever's design.
        fits_m: f64,
        /// What was likely mixed up.
        mixed_up: &'static str,
    },
    /// One position's loads are off from the others'.
    ArmLength {
        /// Hand position.
        position: String,
        /// Typed length.
        typed_m: f64,
        /// Length that would fit.
        fits_m: f64,
    },
    /// All loads are off by one factor.
    WholeScale {
        /// Torque shown by the lever's design over the load typed.
        ratio: f64,
        /// What was likely mixed up, where a factor fits.
        mixed_up: Option<&'static str>,
    },
    /// Typed gravity is not found on land.
    GravityOdd {
        /// m/s².
        value_m_s2: f64,
    },
    /// One dead weight does not weigh what was typed.
    MassWrong {
        /// Its name.
        name: String,
        /// As typed.
        typed_kg: f64,
        /// As the readings have it.
        fits_kg: f64,
    },
    /// Two dead weights stand for each other.
    MassesSwapped {
        /// One.
        first: String,
        /// The other.
        second: String,
    },
    /// A point reads as if other weights had hung.
    OtherWeights {
        /// The point.
        place: Place,
        /// Load as typed.
        typed_nm: f64,
        /// Load that would fit.
        fits_nm: f64,
        /// Weights that would give it.
        fits: String,
    },
    /// A point's load does not fit, and no other weights explain it.
    LoadWrong {
        /// The point.
        place: Place,
        /// Load as typed.
        typed_nm: f64,
        /// Load that would fit.
        fits_nm: f64,
    },
    /// Weights of a series do not rise on the way up or fall on the way down, as typed.
    OutOfOrder {
        /// The first point that does not follow.
        place: Place,
        /// Whether it was on the way up.
        rising: bool,
    },
    /// The reading fell where the load rose, or rose where it fell.
    NotMonotone {
        /// The point.
        place: Place,
        /// Load before and here.
        load_nm: [f64; 2],
        /// Torque shown before and here.
        shown_nm: [f64; 2],
    },
    /// The code stands at the end of the converter's range.
    Saturated {
        /// The point.
        place: Place,
    },
    /// The reading stops rising above a torque.
    Flattening {
        /// Torque it stops at.
        at_nm: f64,
        /// First point that shows it.
        place: Place,
    },
    /// The handle points the other way than typed.
    DirectionSwapped {
        /// First point of the series.
        place: Place,
    },
    /// The lever shows flat what is sharp.
    SignReversed,
    /// The handle is far from level.
    Tilted {
        /// The point.
        place: Place,
        /// Degrees.
        tilt_deg: f64,
    },
    /// The accelerometer does not show gravity alone.
    NotStill {
        /// The point.
        place: Place,
        /// Length of the specific force, units of gravity.
        force_g: f64,
    },
    /// Codes scatter as if the weights swung.
    Swinging {
        /// The point.
        place: Place,
        /// Standard deviation.
        sd_nm: f64,
    },
    /// The zero moved within a series.
    ZeroMoved {
        /// Last point of the series.
        place: Place,
        /// By how much.
        moved_nm: f64,
    },
    /// The lever's temperature moved.
    TemperatureMoved {
        /// Lowest and highest, °C.
        from_to_c: (f64, f64),
    },
    /// A load beyond what the lever is for.
    Overloaded {
        /// The point.
        place: Place,
        /// The load.
        load_nm: f64,
    },
    /// Points scatter about the curve.
    Scattered {
        /// Standard deviation.
        sd_nm: f64,
    },
    /// Readings off the square do not agree with those on it.
    FreeOdd {
        /// Torque between the zeros.
        apart_nm: f64,
    },
    /// The lever's own weight comes out as no lever's.
    WeightOdd {
        /// Weight moment.
        weight_moment_nm: f64,
    },
}

impl Suspicion {
    /// Whether a calibration is not to be made of it unless its user insists.
    pub fn is_grave(&self) -> bool {
        match self {
            Suspicion::TemperatureMoved { from_to_c: (from, to) } => {
                to - from > super::diagnose::TEMPERATURE_SPREAD_GRAVE_K
            }
            Suspicion::Tilted { tilt_deg, .. } => *tilt_deg > super::diagnose::TILT_GRAVE_DEG,
            Suspicion::FreeOdd { .. } => false,
            _ => true,
        }
    }
}

/// The sentence, torque in N·m.
impl fmt::Display for Suspicion {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence(TorqueUnit::NewtonMetre))
    }
}

impl Suspicion {
    /// The sentence, torque in `unit`.
    pub fn sentence(&self, unit: TorqueUnit) -> String {
        match self {
            Suspicion::ArmUnit { .. }
            | Suspicion::ArmLength { .. }
            | Suspicion::WholeScale { .. }
            | Suspicion::GravityOdd { .. } => self.of_scale(),
            Suspicion::MassWrong { .. }
            | Suspicion::MassesSwapped { .. }
            | Suspicion::OtherWeights { .. }
            | Suspicion::LoadWrong { .. }
            | Suspicion::OutOfOrder { .. }
            | Suspicion::NotMonotone { .. }
            | Suspicion::Overloaded { .. } => self.of_load(unit),
            _ => self.of_lever(unit),
        }
    }

    fn of_scale(&self) -> String {
        match self {
            Suspicion::ArmUnit { position, typed_m, fits_m, mixed_up } => format!(
                "the arm of position '{}' looks wrong: typed {}, but its readings fit {}; was it \
                 typed in {mixed_up}?",
                shown(position),
                length(*typed_m),
                length(*fits_m),
            ),
            Suspicion::ArmLength { position, typed_m, fits_m } => format!(
                "the readings at position '{}' do not agree with those elsewhere: its arm was \
                 typed {}, and {} would fit; measure it again from the axis of the pin to where \
                 the weights hang (or else the lever reads differently by where it is held)",
                shown(position),
                length(*typed_m),
                length(*fits_m),
            ),
            Suspicion::WholeScale { ratio, mixed_up: Some(mixed_up) } => format!(
                "all loads look wrong by one factor: the lever shows {ratio:.3} times what was \
                 typed; {mixed_up}?",
            ),
            Suspicion::WholeScale { ratio, mixed_up: None } => format!(
                "all loads look wrong by one factor: the lever shows {ratio:.3} times what was \
                 typed, and no lever of its design is that far off; check the units of masses and \
                 arms",
            ),
            Suspicion::GravityOdd { value_m_s2 } => format!(
                "gravity of {value_m_s2} m/s² is found nowhere on land (9.76 to 9.84); type it in \
                 m/s², or give latitude and height",
            ),
            _ => String::new(),
        }
    }

    fn of_load(&self, unit: TorqueUnit) -> String {
        let torque = |nm: f64| torque_text(nm, unit);
        match self {
            Suspicion::MassWrong { name, typed_kg, fits_kg } => format!(
                "the mass '{}' looks wrong: typed {}, but wherever it hung the readings fit {}; \
                 weigh it again",
                shown(name),
                mass(*typed_kg),
                mass(*fits_kg),
            ),
            Suspicion::MassesSwapped { first, second } => format!(
                "the masses '{}' and '{}' look swapped: each one's readings fit what was typed \
                 for the other; they were typed, or hung, out of order",
                shown(first),
                shown(second),
            ),
            Suspicion::OtherWeights { place, typed_nm, fits_nm, fits } => format!(
                "{place} reads as if other weights had hung: {} by what was typed, \
                 {} by the lever, which fits {fits}; weights out of order?",
                torque(*typed_nm),
                torque(*fits_nm),
            ),
            Suspicion::LoadWrong { place, typed_nm, fits_nm } => format!(
                "{place} does not fit the others: its load is {} by what was \
                 typed, and {} would fit; mistyped, or a weight not hanging free?",
                torque(*typed_nm),
                torque(*fits_nm),
            ),
            Suspicion::OutOfOrder { place, rising } => format!(
                "the weights are out of order: at {place} the load as typed {}",
                if *rising { "falls on the way up" } else { "rises on the way down" },
            ),
            Suspicion::NotMonotone { place, load_nm, shown_nm } => format!(
                "at {place} the load goes from {} to {}, but the lever's reading from \
                 {} to {}: the wrong way; weights out of order, or one mistyped?",
                torque(load_nm[0]),
                torque(load_nm[1]),
                torque(shown_nm[0]),
                torque(shown_nm[1]),
            ),
            Suspicion::Overloaded { place, load_nm } => format!(
                "{place} would load the lever with {}; it is made for {}, and more than {} can \
                 break it: are masses and arms typed in the right units?",
                torque(*load_nm),
                torque(25.0),
                torque(35.0),
            ),
            _ => String::new(),
        }
    }

    fn of_lever(&self, unit: TorqueUnit) -> String {
        let torque = |nm: f64| torque_text(nm, unit);
        match self {
            Suspicion::Saturated { place } => format!(
                "the lever is saturated at {place}: its converter stands at the end of its range; \
                 use less load, or have its zero looked at",
            ),
            Suspicion::Flattening { at_nm, place } => format!(
                "the lever stops rising at about {}, first at {place}: it saturates, \
                 or the handle touches something (or the last weight was mistyped)",
                torque(*at_nm),
            ),
            Suspicion::DirectionSwapped { place } => format!(
                "from {place} on the handle points the other way than typed: sharp and flat are \
                 swapped (sharp is clockwise seen from the lever's head)",
            ),
            Suspicion::SignReversed => String::from(
                "the lever shows flat what is sharp and sharp what is flat: the lever sits upside \
                 down, or the torque cell's wires are swapped",
            ),
            Suspicion::Tilted { place, tilt_deg } => format!(
                "at {place} the handle is {tilt_deg:.0}° from level; bring it nearer to level",
            ),
            Suspicion::NotStill { place, force_g } => format!(
                "at {place} the accelerometer shows {force_g:.2} of gravity: the lever moved, or \
                 the sensor is faulty",
            ),
            Suspicion::Swinging { place, sd_nm } => format!(
                "at {place} the torque scatters by {}: the weights swung; let them come to rest",
                torque(*sd_nm),
            ),
            Suspicion::ZeroMoved { place, moved_nm } => format!(
                "the zero moved by {} until {place}: a weight still hung, the square slipped, or \
                 the lever is not warm yet",
                torque(*moved_nm),
            ),
            Suspicion::TemperatureMoved { from_to_c: (from, to) } => format!(
                "the lever's temperature went from {from:.1} to {to:.1} °C; let it come to the \
                 room's temperature first",
            ),
            Suspicion::Scattered { sd_nm } => format!(
                "the points scatter by {} about the curve, too much for a lever in order: is the \
                 square clamped firmly, do the weights hang at one place?",
                torque(*sd_nm),
            ),
            Suspicion::FreeOdd { apart_nm } => format!(
                "the zero off the square and the zero on it are {} apart: the square may carry the \
                 handle, or the lever was not held still",
                torque(*apart_nm),
            ),
            Suspicion::WeightOdd { weight_moment_nm } => format!(
                "the lever's own weight comes out as {}, which no lever of this design has: was it \
                 held still, by the handle alone, once to each side?",
                torque(*weight_moment_nm),
            ),
            _ => String::new(),
        }
    }
}

/// A torque with a digit more than a hand reading has.
fn torque_text(torque_nm: f64, unit: TorqueUnit) -> String {
    format!("{:.*} {unit}", unit.decimals() + 1, unit.from_newton_metres(torque_nm))
}

fn length(metres: f64) -> String {
    if metres < 10.0 { format!("{:.1} mm", metres * 1e3) } else { format!("{metres:.1} m") }
}

fn mass(kilograms: f64) -> String {
    if kilograms < 10_000.0 {
        format!("{kilograms:.3} kg")
    } else {
        format!("{:.1} t", kilograms / 1e3)
    }
}
