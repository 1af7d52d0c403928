//! The string scale: what was measured of an instrument's strings, and what follows for every pin.
//!
//! A row gives one note, or one of its strings: speaking length, wire, winding. From rows follow
//! tension and moment at target pitch with their uncertainty (`tension`), and for notes without a
//! row an estimate from those like them (`neighbours`). Deliberately not here: the file the rows
//! come from (`crate::import::strings`), and what is assumed without any row
//! ([`super::moment`]).
//!
//! Invariant: every length and mass is a whole number of nanometres or micrograms per metre, so
//! that what is stored equals what was read.

pub mod neighbours;
pub mod tension;

use pinhold_protocol::record::{Pin, StringPosition};

use super::pitch::A4_HZ_ISO16;

/// Metal of a winding.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WindingMetal {
    /// Copper.
    Copper,
    /// Soft iron.
    Iron,
}

impl WindingMetal {
    /// The word in files and documents: `copper` or `iron`.
    pub const fn word(self) -> &'static str {
        match self {
            WindingMetal::Copper => "copper",
            WindingMetal::Iron => "iron",
        }
    }

    /// From [`WindingMetal::word`].
    pub fn from_word(word: &str) -> Option<WindingMetal> {
        match word {
            "copper" => Some(WindingMetal::Copper),
            "iron" => Some(WindingMetal::Iron),
            _ => None,
        }
    }

    /// Density, kg/m³ (PUB: 8960 for copper, 7870 for iron in public handbooks of chemistry).
    pub const fn density_kg_m3(self) -> f64 {
        match self {
            WindingMetal::Copper => 8960.0,
            WindingMetal::Iron => 7870.0,
        }
    }
}

/// What a winding weighs, as far as it was given.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Winding {
    /// Mass of the wound part per length, core included.
    Mass {
        /// kg/m.
        mass_kg_per_m: f64,
        /// Its relative standard uncertainty, when given.
        u_relative: Option<f64>,
    },
    /// Diameter over the winding, and its metal.
    Cover {
        /// Diameter over the winding, m.
        outer_m: f64,
        /// The winding's metal.
        metal: WindingMetal,
        /// Share of the space between core and outside that is metal, 0 to 1, when given.
        packing: Option<f64>,
        /// Its standard uncertainty, when given.
        u_packing: Option<f64>,
    },
}

/// One note's strings, or one string, as measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StringRow {
    /// The note.
    pub note: u8,
    /// The string; `None` for all strings of the note.
    pub string: Option<StringPosition>,
    /// Speaking length, m.
    pub speaking_length_m: f64,
    /// Its standard uncertainty, m, when given.
    pub u_speaking_length_m: Option<f64>,
    /// Diameter of the wire that winds on the pin: the core, where the string is wound, m.
    pub wire_m: f64,
    /// Its standard uncertainty, m, when given.
    pub u_wire_m: Option<f64>,
    /// The winding; `None` for plain wire.
    pub winding: Option<Winding>,
    /// The whole wire from hitch to pin, m, when given.
    pub total_length_m: Option<f64>,
}

/// All that is known of an instrument's strings.
#[derive(Clone, Debug, PartialEq)]
pub struct StringScale {
    /// Target pitch of A4, Hz.
    pub a4_hz: f64,
    /// Rows in order of note, then string; a row for the whole note first.
    pub rows: Vec<StringRow>,
}

impl Default for StringScale {
    /// Nothing known; A4 = 440 Hz.
    fn default() -> StringScale {
        StringScale { a4_hz: A4_HZ_ISO16, rows: Vec::new() }
    }
}

impl StringScale {
    /// Whether nothing is known.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The row of a string: its own, else its note's, else that of another string of the unison,
    /// since the strings of a unison are alike; `None` without any.
    pub fn row_of(&self, pin: Pin) -> Option<&StringRow> {
        let of_note = || self.rows.iter().filter(move |row| row.note == pin.note);
        of_note()
            .find(|row| row.string == Some(pin.string))
            .or_else(|| of_note().find(|row| row.string.is_none()))
            .or_else(|| of_note().next())
    }
}

/// Where a string's numbers come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StringSource {
    /// Its own row.
    Data,
    /// Rows of strings like it, the nearest this many notes away.
    Neighbours {
        /// Notes from here to the nearest row used.
        distance_notes: u8,
    },
    /// What its kind usually has.
    Class,
}

impl StringSource {
    /// The word in tables and documents.
    pub const fn word(self) -> &'static str {
        match self {
            StringSource::Data => "data",
            StringSource::Neighbours { .. } => "neighbours",
            StringSource::Class => "class",
        }
    }
}
