//! The instrument as the survey sees it: its pins and where each sits on the plank.
//!
//! Deliberately not here: readings (they belong to a survey) and SQL (the store's business).

pub mod gravity;
pub mod layout;
pub mod moment;
pub mod note;
pub mod pitch;
pub mod pitch_cost;
pub mod places;
pub mod scale;
pub mod stringing;
pub mod strings;

use std::fmt;

use pinhold_protocol::record::{Pin, StringPosition};

/// Grand or upright: decides which way the plank faces and which cautions apply.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum InstrumentKind {
    /// Plank flat, pins vertical, flange on the far side from the keyboard.
    Grand,
    /// Plank vertical, pins horizontal, flange below the field.
    Upright,
}

impl InstrumentKind {
    /// The word in files, options and documents: `grand` or `upright`.
    pub const fn word(self) -> &'static str {
        match self {
            InstrumentKind::Grand => "grand",
            InstrumentKind::Upright => "upright",
        }
    }

    /// From [`InstrumentKind::word`].
    pub fn from_word(word: &str) -> Option<InstrumentKind> {
        match word {
            "grand" => Some(InstrumentKind::Grand),
            "upright" => Some(InstrumentKind::Upright),
            _ => None,
        }
    }
}

impl fmt::Display for InstrumentKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// How far the plate covers the plank: decides whether pins can line a plate flange at all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PlateFace {
    /// The plate reaches over the whole plank, and its flange runs along the field. Where nobody
    /// measured a pin's distance from the flange, row 0 is taken to line it.
    #[default]
    Full,
    /// The plate ends short of the field: it may have a flange along a part of it, or none. Only
    /// a measured distance puts a pin at the flange.
    ThreeQuarter,
    /// The plank lies open: no flange, and no pin lines one.
    Open,
}

impl PlateFace {
    /// All faces.
    pub const ALL: [PlateFace; 3] = [PlateFace::Full, PlateFace::ThreeQuarter, PlateFace::Open];

    /// The word in files, options and documents: `full`, `three-quarter` or `open`.
    pub const fn word(self) -> &'static str {
        match self {
            PlateFace::Full => "full",
            PlateFace::ThreeQuarter => "three-quarter",
            PlateFace::Open => "open",
        }
    }

    /// From [`PlateFace::word`].
    pub fn from_word(word: &str) -> Option<PlateFace> {
        PlateFace::ALL.into_iter().find(|face| face.word() == word)
    }
}

impl fmt::Display for PlateFace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// One tuning pin in its hole.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldPin {
    /// Note and string.
    pub pin: Pin,
    /// Section between plate struts, 0 in the bass.
    pub section: u8,
    /// Row across the field, 0 nearest the plate flange.
    pub row: u8,
    /// Metres from the bass end of the field towards the treble.
    pub x_m: f64,
    /// Metres away from the plate flange side of the field.
    pub y_m: f64,
    /// Metres from the plate flange, when known.
    pub flange_distance_m: Option<f64>,
    /// Pin diameter in micrometres, when known.
    pub diameter_um: Option<u32>,
}

/// An instrument and its pin field.
#[derive(Clone, Debug, PartialEq)]
pub struct Instrument {
    /// The name its owner or the technician gave it; unique in a store, free text, untrusted.
    pub name: String,
    /// Grand or upright.
    pub kind: InstrumentKind,
    /// How far the plate covers the plank.
    pub face: PlateFace,
    /// Lowest note, 1 (A0) to 88.
    pub first_note: u8,
    /// Highest note, 1 to 88 (C8).
    pub last_note: u8,
    /// Pins in order of note, then string.
    pub pins: Vec<FieldPin>,
    /// What is known of its strings; empty when nobody measured them.
    pub strings: scale::StringScale,
}

impl Instrument {
    /// The field's entry for a pin; `None` when the instrument has no such pin.
    pub fn find_pin(&self, pin: Pin) -> Option<&FieldPin> {
        let index = self.pins.binary_search_by_key(&pin, |field| field.pin).ok()?;
        self.pins.get(index)
    }

    /// Strings a note is made for, 0 when it has no pin.
    ///
    /// A missing pin does not make a trichord a bichord: the letters of those present say how many
    /// there are at least, and a note between notes of three or more has three.
    pub fn string_count(&self, note: u8) -> u8 {
        let own = self.letters_count(note);
        if !(1..3).contains(&own) {
            return own;
        }
        let several = |other: Option<&FieldPin>| {
            other.is_some_and(|field| self.letters_count(field.pin.note) >= 3)
        };
        let below = self.pins.iter().rev().find(|field| field.pin.note < note);
        let above = self.pins.iter().find(|field| field.pin.note > note);
        if several(below) && several(above) { 3 } else { own }
    }

    /// The least number of strings the letters of a note's pins leave possible.
    fn letters_count(&self, note: u8) -> u8 {
        let has = |string| self.find_pin(Pin { note, string }).is_some();
        let outer = has(StringPosition::Left) || has(StringPosition::Right);
        match (has(StringPosition::Centre), outer, has(StringPosition::Fourth)) {
            (_, _, true) => 4,
            (true, true, false) => 3,
            (false, true, false) => 2,
            (true, false, false) => 1,
            (false, false, false) => 0,
        }
    }
}

/// A pin by note and string, such as `49L`, `A4L` or `A4 L`; `None` when the text is no pin.
///
/// ```
/// use pinhold::instrument::{parse_pin, pin_name};
/// assert_eq!(pin_name(parse_pin("49L").unwrap()), "A4 L");
/// assert_eq!(parse_pin("49"), None);
/// ```
pub fn parse_pin(text: &str) -> Option<Pin> {
    let text = text.trim();
    let letter = text.chars().next_back()?;
    let string = StringPosition::from_letter(letter)?;
    let note = note::parse_note(text.strip_suffix(letter)?)?;
    Some(Pin { note, string })
}

/// A pin as the trade writes it: note name and string letter, such as `A4 L`.
pub fn pin_name(pin: Pin) -> String {
    let note = note::note_name(pin.note).unwrap_or_else(|| pin.note.to_string());
    format!("{note} {}", pin.string.letter())
}

#[cfg(test)]
mod tests {
    use super::layout::modern_88;
    use super::*;

    fn without(missing: &[&str]) -> Instrument {
        let mut instrument = modern_88("x", InstrumentKind::Grand);
        let missing: Vec<Pin> = missing.iter().map(|text| parse_pin(text).unwrap()).collect();
        instrument.pins.retain(|field| !missing.contains(&field.pin));
        instrument
    }

    #[test]
    fn a_missing_pin_leaves_its_unison_what_it_was() {
        for missing in [&["40C"][..], &["40L"], &["40R"], &["40L", "40R"], &["40L", "40C"]] {
            assert_eq!(without(missing).string_count(40), 3, "{missing:?}");
        }
        assert_eq!(without(&["20L"]).string_count(20), 2);
        assert_eq!(without(&["88R"]).string_count(88), 3);
        assert_eq!(without(&["40L", "40C", "40R"]).string_count(40), 0);
        let whole = without(&[]);
        for (note, count) in [(1, 1), (10, 1), (11, 2), (27, 2), (28, 3), (88, 3)] {
            assert_eq!(whole.string_count(note), count, "note {note}");
        }
    }

    #[test]
    fn faces_and_pins_have_words() {
        for face in PlateFace::ALL {
            assert_eq!(PlateFace::from_word(face.word()), Some(face));
        }
        for text in ["", "L", "40", "89L", "40X", "é", "40é", "40LL"] {
            assert_eq!(parse_pin(text), None, "{text}");
        }
    }
}
