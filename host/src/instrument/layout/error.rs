//! Why a layout description is refused, one sentence each.

use thiserror::Error;

use crate::instrument::places::PlaceError;

/// Why a layout description is refused. Nothing of it is taken.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum LayoutError {
    /// Beyond the size limit.
    #[error(
        "it has {bytes} bytes, and a layout has at most {limit}; check that this is the right file"
    )]
    TooLarge {
        /// Its size.
        bytes: usize,
        /// The limit.
        limit: usize,
    },
    /// Not TOML.
    #[error("line {line}: it is not TOML: {reason}")]
    Syntax {
        /// Line of the file, from 1.
        line: usize,
        /// What the reader says, printable.
        reason: String,
    },
    /// TOML, but of something else.
    #[error(
        "it is no layout description; one begins with format = \"pinhold.layout\" and version = 1"
    )]
    OtherFormat,
    /// A later version.
    #[error(
        "it is of layout version {version}, and this program reads version 1; use a newer pinhold"
    )]
    OtherVersion {
        /// The version it names.
        version: i64,
    },
    /// A fact that cannot be.
    #[error("line {line}, {field}: {reason}")]
    Fact {
        /// Line of the file, from 1.
        line: usize,
        /// Key of the fact.
        field: &'static str,
        /// What is wrong and what is possible, printable.
        reason: String,
    },
    /// Anything the TOML reader refused with its own words: a key unknown or missing, a value of
    /// another type.
    #[error("line {line}: {reason}")]
    Shape {
        /// Line of the file, from 1.
        line: usize,
        /// What the reader says, printable.
        reason: String,
    },
    /// A single pin that cannot be as described.
    #[error("line {line}: {error}")]
    Pin {
        /// Line of the file, from 1.
        line: usize,
        /// Why.
        error: PlaceError,
    },
    /// Pins in each other's way.
    #[error("{error}, or the pitch, slant, gap and row spacing of their sections{more}")]
    Crowded {
        /// The first pair.
        error: PlaceError,
        /// How many more, as text.
        more: String,
    },
    /// A pin beyond what a field can be.
    #[error(
        "pin {pin} would stand {at_mm:.0} mm from the bass end or the flange side, and no field \
         reaches beyond {limit_mm:.0} mm; check pitch, gaps and row spacing"
    )]
    Beyond {
        /// The pin's name.
        pin: String,
        /// Its coordinate, mm.
        at_mm: f64,
        /// The limit, mm.
        limit_mm: f64,
    },
    /// The flange would lie beyond a pin.
    #[error(
        "the flange would lie {distance_mm:.1} mm beyond pin {pin}; check distance_mm, curve_mm \
         and flange_mm"
    )]
    FlangeBeyond {
        /// The pin's name.
        pin: String,
        /// How far beyond, mm.
        distance_mm: f64,
    },
    /// Every pin is missing.
    #[error("every pin is missing; an instrument has at least one")]
    NoPin,
}
