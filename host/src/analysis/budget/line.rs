//! One line of a budget: what it is, what it rests on, how it is distributed, what it does.

use crate::analysis::profile::{Grade, Graded};
use crate::metrology::coverage::Component;

/// What a line is about, in the order lines are told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Term {
    /// Scale of the lever or tool: masses, arms, gravity; common to all loads.
    Scale,
    /// Fit of the calibration curve.
    Curve,
    /// Loading read otherwise than unloading.
    Hysteresis,
    /// Lever colder or warmer than on the bench.
    Temperature,
    /// Scale that drifted over the survey, after what repeated pins showed was taken out.
    Drift,
    /// Zero between two zeros.
    Zero,
    /// The lever's own weight, taken off by its attitude.
    OwnWeight,
    /// Scatter of the torque over the slip.
    Noise,
    /// One loading and the next, on the bench.
    Repeatability,
    /// One reading by a hand tool.
    HandReading,
    /// Uncertainty stated by whoever took the reading.
    Stated,
    /// Last digit stored or typed.
    Resolution,
    /// Seating the lever anew.
    Seating,
    /// Another person's hand.
    Person,
    /// Place of the hand on the handle.
    CrossLoad,
    /// Angle of the foot at which torque was read.
    FootAngle,
    /// Stiffness of the string's short segment, by which torques are brought to one angle.
    Segment,
    /// The wire drags through its bearing during the strokes.
    Bearing,
    /// Where the wire was left in its bearing before.
    BearingState,
    /// The string's moment at target pitch.
    StringMoment,
    /// Pitch nobody wrote down.
    Pitch,
    /// A peak includes the break.
    Peak,
    /// An upper limit: friction is anything below.
    Limit,
    /// The direction was not written down.
    Direction,
}

impl Term {
    /// All terms, in the order they are told.
    pub const ALL: [Term; 24] = [
        Term::Scale,
        Term::Curve,
        Term::Hysteresis,
        Term::Temperature,
        Term::Drift,
        Term::Zero,
        Term::OwnWeight,
        Term::Noise,
        Term::Repeatability,
        Term::HandReading,
        Term::Stated,
        Term::Resolution,
        Term::Seating,
        Term::Person,
        Term::CrossLoad,
        Term::FootAngle,
        Term::Segment,
        Term::Bearing,
        Term::BearingState,
        Term::StringMoment,
        Term::Pitch,
        Term::Peak,
        Term::Limit,
        Term::Direction,
    ];

    /// The word in documents.
    pub const fn word(self) -> &'static str {
        match self {
            Term::Scale => "scale",
            Term::Curve => "curve",
            Term::Hysteresis => "hysteresis",
            Term::Temperature => "temperature",
            Term::Drift => "drift",
            Term::Zero => "zero",
            Term::OwnWeight => "own-weight",
            Term::Noise => "noise",
            Term::Repeatability => "repeatability",
            Term::HandReading => "hand-reading",
            Term::Stated => "stated",
            Term::Resolution => "resolution",
            Term::Seating => "seating",
            Term::Person => "person",
            Term::CrossLoad => "cross-load",
            Term::FootAngle => "foot-angle",
            Term::Segment => "string-segment",
            Term::Bearing => "bearing-friction",
            Term::BearingState => "bearing-as-found",
            Term::StringMoment => "string-moment",
            Term::Pitch => "pitch",
            Term::Peak => "peak",
            Term::Limit => "limit",
            Term::Direction => "direction",
        }
    }

    /// What a technician reads.
    pub const fn text(self) -> &'static str {
        match self {
            Term::Scale => "scale",
            Term::Curve => "calibration curve",
            Term::Hysteresis => "hysteresis",
            Term::Temperature => "temperature",
            Term::Drift => "drift over the survey",
            Term::Zero => "zero drift",
            Term::OwnWeight => "lever's own weight",
            Term::Noise => "scatter in the slip",
            Term::Repeatability => "repeated loading",
            Term::HandReading => "one hand reading",
            Term::Stated => "as stated",
            Term::Resolution => "last digit",
            Term::Seating => "seating anew",
            Term::Person => "another hand",
            Term::CrossLoad => "place of the hand",
            Term::FootAngle => "angle of the foot",
            Term::Segment => "string segment",
            Term::Bearing => "bearing friction",
            Term::BearingState => "bearing as found",
            Term::StringMoment => "string's moment",
            Term::Pitch => "pitch not known",
            Term::Peak => "peak, not running",
            Term::Limit => "only a limit",
            Term::Direction => "direction not known",
        }
    }

    /// Whether it lies between the torque on the pin and the number read: what a torque by itself
    /// carries, before friction is formed of it.
    pub const fn is_of_tool(self) -> bool {
        matches!(
            self,
            Term::Scale
                | Term::Curve
                | Term::Hysteresis
                | Term::Temperature
                | Term::Drift
                | Term::Zero
                | Term::OwnWeight
                | Term::Noise
                | Term::Repeatability
                | Term::HandReading
                | Term::Stated
                | Term::Resolution
                | Term::Seating
                | Term::Person
                | Term::CrossLoad
        )
    }
}

/// What a line rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Support {
    /// A calibration of this lever.
    Calibration {
        /// Its number.
        number: u32,
    },
    /// The class of an uncalibrated lever of the reference design.
    LeverClass,
    /// A stated class, with grade and source.
    Stated(Grade, &'static str),
    /// This reading's own numbers.
    Reading,
    /// The string's moment as the instrument has it: data, neighbours or class.
    Strings(&'static str),
}

impl Support {
    /// A class of the profile.
    pub const fn of(graded: Graded) -> Support {
        Support::Stated(graded.grade, graded.source)
    }

    /// The short mark in a table: a grade, or `cal 3`.
    pub fn mark(self) -> String {
        match self {
            Support::Calibration { number } => format!("cal {number}"),
            Support::LeverClass => Grade::Derived.mark().to_owned(),
            Support::Stated(grade, _) => grade.mark().to_owned(),
            Support::Reading => "reading".to_owned(),
            Support::Strings(source) => source.to_owned(),
        }
    }

    /// What it is, in words.
    pub fn text(self) -> String {
        match self {
            Support::Calibration { number } => format!("calibration {number} of this lever"),
            Support::LeverClass => "class of an uncalibrated lever".to_owned(),
            Support::Stated(_, source) => source.to_owned(),
            Support::Reading => "this reading".to_owned(),
            Support::Strings(source) => format!("the instrument's strings, {source}"),
        }
    }
}

/// Unit of a line's size.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SizeUnit {
    /// Share of the torque or moment.
    Relative,
    /// N·m.
    NewtonMetre,
    /// Degrees of the pin's foot.
    Degree,
    /// N·m per degree.
    NewtonMetrePerDegree,
}

/// How large a source is, as stated: a standard uncertainty where the shape is normal, the half
/// width where it is bounded.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Number, not negative.
    pub value: f64,
    /// Its unit.
    pub unit: SizeUnit,
}

/// How a source is distributed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Normal; a scaled t where the degrees of freedom are finite.
    Normal {
        /// At least 1; infinite where the standard uncertainty is taken as known.
        degrees_of_freedom: f64,
    },
    /// Anywhere within ± half width alike.
    Rectangular,
    /// Sum of two equal rectangular ones; likeliest in the middle.
    Triangular,
}

impl Shape {
    /// Normal, the standard uncertainty taken as known.
    pub const KNOWN: Shape = Shape::Normal { degrees_of_freedom: f64::INFINITY };

    /// Standard uncertainty of a source of size 1 about its middle.
    pub fn relative_u(self) -> f64 {
        match self {
            Shape::Normal { .. } => 1.0,
            Shape::Rectangular => 1.0 / 3f64.sqrt(),
            Shape::Triangular => 1.0 / 6f64.sqrt(),
        }
    }

    /// Degrees of freedom; infinite where bounds are taken as known.
    pub const fn degrees_of_freedom(self) -> f64 {
        match self {
            Shape::Normal { degrees_of_freedom } => degrees_of_freedom,
            _ => f64::INFINITY,
        }
    }

    /// The word in documents.
    pub const fn word(self) -> &'static str {
        match self {
            Shape::Normal { .. } => "normal",
            Shape::Rectangular => "rectangular",
            Shape::Triangular => "triangular",
        }
    }

    /// The component of a distribution, times what one size does to the quantity.
    pub(super) fn component(self, sensitivity: f64) -> Component {
        let size = sensitivity.abs();
        match self {
            Shape::Normal { degrees_of_freedom } => {
                Component::Normal { u: size, degrees_of_freedom }
            }
            Shape::Rectangular => Component::Rectangular { half_width: size },
            Shape::Triangular => Component::Triangular { half_width: size },
        }
    }
}

/// How a source acts on the strokes of a reading: which parts are correlated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reach {
    /// One error for all strokes: never averages.
    Common,
    /// The same error, opposite in the two directions: cancels in F.
    Opposite,
    /// Each stroke has its own: averages.
    Own,
    /// Acts on what is formed, not on a stroke.
    Formed,
}

impl Reach {
    /// The word in documents.
    pub const fn word(self) -> &'static str {
        match self {
            Reach::Common => "common",
            Reach::Opposite => "opposite",
            Reach::Own => "own",
            Reach::Formed => "formed",
        }
    }
}

/// What one size of a source adds to each number, N·m. Torques in their own direction of motion.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Effect {
    /// To the sharp torque.
    pub sharp: f64,
    /// To the flat torque.
    pub flat: f64,
    /// To a friction, or torque of unknown direction, as given.
    pub given: f64,
    /// To friction itself.
    pub friction: f64,
    /// To the measured moment itself.
    pub moment: f64,
    /// To the moment assumed for the pitch as found.
    pub now: f64,
    /// To the moment at target pitch.
    pub at_pitch: f64,
}

/// One source of error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BudgetLine {
    /// What it is about.
    pub term: Term,
    /// What it rests on.
    pub support: Support,
    /// How it is distributed.
    pub shape: Shape,
    /// How large it is.
    pub size: Size,
    /// Which numbers share it.
    pub reach: Reach,
    /// What one size of it does.
    pub effect: Effect,
    /// What it adds on average and was not taken off, N·m: numbers told read high by so much.
    pub bias: Effect,
}

impl BudgetLine {
    /// Whether it is wrong one way more than the other.
    pub fn is_one_sided(&self) -> bool {
        self.bias != Effect::default()
    }
}
