//! Pins as they are typed: by note and string, or by ranges of notes.
//!
//! Deliberately not here: which pins a plan chooses (`plan`).

use pinhold_protocol::record::{Pin, StringPosition};

use super::exit::{CliError, Exit};
use crate::instrument::note::parse_note;
use crate::instrument::{Instrument, pin_name};

/// Pins from words such as `40L,A4C,12-25`, `12–25 bass` or `treble`: a section named behind notes
/// takes those of them that are in it, alone all of it.
///
/// # Errors
/// A sentence naming the word that is not understood or not on the instrument.
pub fn parse_pins(text: &str, instrument: &Instrument) -> Result<Vec<Pin>, String> {
    let mut pins = Vec::new();
    for word in text.split(',').map(str::trim).filter(|word| !word.is_empty()) {
        let shown = crate::text::printable_short(word, 20);
        let (notes, section) = section_of(word, instrument);
        let notes = notes.replace('\u{2013}', "-").replace("..", "-");
        let word = notes.as_str();
        let found: Vec<Pin> = if word.is_empty() {
            pins_of(instrument, |_| true)
        } else if let Some((from, to)) = word.split_once('-') {
            let (from, to) = match (parse_note(from.trim()), parse_note(to.trim())) {
                (Some(from), Some(to)) if from <= to => (from, to),
                _ => return Err(format!("'{shown}' is no range of notes; use 12-25 or A0-E2")),
            };
            pins_of(instrument, |pin| (from..=to).contains(&pin.note))
        } else if let Some(note) = parse_note(word) {
            pins_of(instrument, |pin| pin.note == note)
        } else {
            let letter = word.chars().last().and_then(StringPosition::from_letter);
            let note = word.get(..word.len() - 1).and_then(parse_note);
            let (Some(note), Some(string)) = (note, letter) else {
                return Err(format!("'{shown}' is no pin; use 49L, A4L, or a range as in 12-25"));
            };
            pins_of(instrument, |pin| *pin == Pin { note, string })
        };
        let within = |pin: &Pin| {
            let field = instrument.find_pin(*pin);
            section.is_none_or(|section| field.is_some_and(|field| field.section == section))
        };
        let found: Vec<Pin> = found.into_iter().filter(within).collect();
        if found.is_empty() {
            return Err(format!("the instrument has no pin '{shown}'"));
        }
        for pin in found {
            if pins.contains(&pin) {
                return Err(format!("pin {} is named twice", pin_name(pin)));
            }
            pins.push(pin);
        }
    }
    if pins.is_empty() { Err("no pins are named".to_string()) } else { Ok(pins) }
}

/// What stands before the name of a section, and the section: bass is the lowest, treble the
/// highest.
fn section_of<'a>(word: &'a str, instrument: &Instrument) -> (&'a str, Option<u8>) {
    let highest = || instrument.pins.iter().map(|field| field.section).max().unwrap_or(0);
    let (before, name) = match word.rsplit_once(char::is_whitespace) {
        Some((before, name)) => (before.trim(), name),
        None => ("", word),
    };
    match name {
        "bass" => (before, Some(0)),
        "treble" => (before, Some(highest())),
        _ => (word, None),
    }
}

fn pins_of(instrument: &Instrument, wanted: impl Fn(&Pin) -> bool) -> Vec<Pin> {
    instrument.pins.iter().map(|field_pin| field_pin.pin).filter(wanted).collect()
}

/// The pins named.
pub(super) fn chosen_pins(instrument: &Instrument, text: &str) -> Result<Vec<Pin>, CliError> {
    parse_pins(text, instrument)
        .map_err(|sentence| CliError::new(Exit::Usage, format!("--pins: {sentence}")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::instrument::InstrumentKind;
    use crate::instrument::layout::modern_88;

    #[test]
    fn pins_are_named_by_note_string_and_range() {
        let instrument = modern_88("x", InstrumentKind::Grand);
        let count = |text: &str| parse_pins(text, &instrument).map(|pins| pins.len());
        assert_eq!(count("49L"), Ok(1));
        assert_eq!(count("A4L, A4C,49R"), Ok(3));
        assert_eq!(count("49"), Ok(3));
        assert_eq!(count("1-2,49"), Ok(5));
        assert_eq!((count("1–2,49"), count("A0..2")), (Ok(5), Ok(2)));
        let bass = instrument.pins.iter().filter(|field| field.pin.note <= 25);
        let bass = bass.filter(|field| field.pin.note >= 12 && field.section == 0).count();
        assert_eq!(count("12–25 bass"), Ok(bass));
        let last = instrument.pins.last().map_or(0, |field| field.section);
        let all = |section: u8| instrument.pins.iter().filter(|f| f.section == section).count();
        assert_eq!((count("bass"), count("treble")), (Ok(all(0)), Ok(all(last))));
        for (text, sentence) in [
            ("49L,A4L", "pin A4 L is named twice"),
            ("1L", "the instrument has no pin '1L'"),
            ("90", "'90' is no pin"),
            ("5-2", "'5-2' is no range"),
            ("88 bass", "the instrument has no pin '88 bass'"),
            ("é", "'é' is no pin"),
            (" ,", "no pins are named"),
        ] {
            let told = parse_pins(text, &instrument).unwrap_err();
            assert!(told.starts_with(sentence), "{text}: {told}");
        }
    }
}
