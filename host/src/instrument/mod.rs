//! The instrument as the survey sees it: its pins and where each sits on the plank.
//!
//! Deliberately not here: readings (they belong to a survey) and SQL (the store's business).

pub mod gravity;
pub mod layout;
pub mod moment;
pub mod note;
pub mod pitch;
pub mod pitch_cost;
pub mod scale;
pub mod stringing;
pub mod strings;

use std::fmt;

use pinhold_protocol::record::Pin;

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

    /// Strings of a note, 0 when it has none.
    pub fn string_count(&self, note: u8) -> u8 {
        let count = self.pins.iter().filter(|field| field.pin.note == note).count();
        u8::try_from(count).unwrap_or(u8::MAX)
    }
}

/// A pin as the trade writes it: note name and string letter, such as `A4 L`.
pub fn pin_name(pin: Pin) -> String {
    let note = note::note_name(pin.note).unwrap_or_else(|| pin.note.to_string());
    format!("{note} {}", pin.string.letter())
}
