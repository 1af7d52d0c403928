//! Words of a layout file: a note, a pin, a range of notes, as TOML values and as keys.

use std::fmt;

use pinhold_protocol::record::Pin;
use serde::de::{self, Deserialize, Deserializer, MapAccess, Visitor};
use toml::Spanned;

use crate::instrument::note::{parse_note, parse_note_range};
use crate::instrument::parse_pin;
use crate::text::printable_short;

/// Characters of a bad word shown.
const WORD_LENGTH_SHOWN: usize = 40;

/// A note, by number or name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct NoteWord(pub(super) u8);

/// A pin, such as `49L` or `A4 L`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct PinWord(pub(super) Pin);

/// Notes from one to another; a key or a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct RangeWord(pub(super) u8, pub(super) u8);

/// A table from ranges of notes to values, in the order of the text: two ways to write one range
/// are two entries, so that neither is lost.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Ranges<T>(pub(super) Vec<(Spanned<RangeWord>, Spanned<T>)>);

impl<T> Default for Ranges<T> {
    fn default() -> Ranges<T> {
        Ranges(Vec::new())
    }
}

/// A word as shown in a message: short, printable, quoted.
pub(super) fn quoted(word: &str) -> String {
    format!("'{}'", printable_short(word, WORD_LENGTH_SHOWN))
}

struct NoteVisitor;

impl Visitor<'_> for NoteVisitor {
    type Value = NoteWord;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a note: a number 1 to 88 or a name such as \"A4\"")
    }

    fn visit_i64<E: de::Error>(self, number: i64) -> Result<NoteWord, E> {
        self.visit_str(&number.to_string())
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<NoteWord, E> {
        parse_note(text).map(NoteWord).ok_or_else(|| {
            E::custom(format!(
                "{} is no note; write a number 1 to 88 or a name such as \"A4\"",
                quoted(text)
            ))
        })
    }
}

impl<'de> Deserialize<'de> for NoteWord {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<NoteWord, D::Error> {
        deserializer.deserialize_any(NoteVisitor)
    }
}

struct PinVisitor;

impl Visitor<'_> for PinVisitor {
    type Value = PinWord;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a pin such as \"40L\" or \"C4 L\"")
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<PinWord, E> {
        parse_pin(text).map(PinWord).ok_or_else(|| {
            E::custom(format!(
                "{} is no pin; write note and string, L, C, R or D for a fourth, as in \"40L\"",
                quoted(text)
            ))
        })
    }
}

impl<'de> Deserialize<'de> for PinWord {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<PinWord, D::Error> {
        deserializer.deserialize_str(PinVisitor)
    }
}

struct RangeVisitor;

impl Visitor<'_> for RangeVisitor {
    type Value = RangeWord;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("notes such as \"A0..E2\"")
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<RangeWord, E> {
        parse_note_range(text).map(|(first, last)| RangeWord(first, last)).ok_or_else(|| {
            E::custom(format!(
                "{} are no notes; write the lower one, two points and the higher one, as in \
                 \"A0..E2\"",
                quoted(text)
            ))
        })
    }
}

impl<'de> Deserialize<'de> for RangeWord {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<RangeWord, D::Error> {
        deserializer.deserialize_str(RangeVisitor)
    }
}

struct RangesVisitor<T>(std::marker::PhantomData<T>);

impl<'de, T: Deserialize<'de>> Visitor<'de> for RangesVisitor<T> {
    type Value = Ranges<T>;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a table of notes such as \"A0..E2\"")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Ranges<T>, A::Error> {
        let mut entries = Vec::new();
        // The text's length is bounded, and with it the number of entries.
        while let Some(entry) = map.next_entry()? {
            entries.push(entry);
        }
        Ok(Ranges(entries))
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for Ranges<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Ranges<T>, D::Error> {
        deserializer.deserialize_map(RangesVisitor(std::marker::PhantomData))
    }
}
