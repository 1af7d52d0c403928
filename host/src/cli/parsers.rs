//! Words of the command line to what they mean, with a sentence where they mean nothing.

use pinhold_protocol::record::Pin;

use crate::instrument::note::parse_note;
use crate::instrument::{InstrumentKind, PlateFace, parse_pin};
use crate::text::printable;
use crate::units::{LengthUnit, parse_length_m};

/// Longest name of an instrument, characters.
const NAME_LENGTH_MAX: usize = 80;
/// Longest fact about one, characters.
const FACT_LENGTH_MAX: usize = 400;

/// A name: not blank, not long, nothing a terminal obeys.
pub(super) fn name_parser(text: &str) -> Result<String, String> {
    let name = text.trim();
    if name.is_empty() {
        return Err("a name has at least one character".to_string());
    }
    fact_text(name, NAME_LENGTH_MAX)
}

/// A fact: any text that is not long and holds nothing a terminal obeys.
pub(super) fn fact_parser(text: &str) -> Result<String, String> {
    fact_text(text.trim(), FACT_LENGTH_MAX)
}

fn fact_text(text: &str, length_max: usize) -> Result<String, String> {
    if text.chars().count() > length_max {
        return Err(format!("at most {length_max} characters are possible"));
    }
    if printable(text) == text {
        Ok(text.to_string())
    } else {
        Err("control characters are not possible".to_string())
    }
}

/// `grand` or `upright`.
pub(super) fn kind_parser(text: &str) -> Result<InstrumentKind, String> {
    InstrumentKind::from_word(text).ok_or_else(|| "use grand or upright".to_string())
}

/// `full`, `three-quarter` or `open`.
pub(super) fn face_parser(text: &str) -> Result<PlateFace, String> {
    PlateFace::from_word(text).ok_or_else(|| "use full, three-quarter or open".to_string())
}

/// A note by number or name.
pub(super) fn note_parser(text: &str) -> Result<u8, String> {
    parse_note(text).ok_or_else(|| "use a number 1 to 88 or a name such as A4".to_string())
}

/// A pin by note and string, such as `49L` or `A4L`.
pub(super) fn pin_parser(text: &str) -> Result<Pin, String> {
    parse_pin(text).ok_or_else(|| "use a note and a string, such as 49L or A4L".to_string())
}

/// Two notes, such as `A0..E2`.
pub(super) fn range_parser(text: &str) -> Result<(u8, u8), String> {
    let (from, to) = text
        .split_once("..")
        .or_else(|| text.split_once(['-', '\u{2013}']))
        .ok_or("use two notes, such as A0..E2")?;
    let (from, to) = (note_parser(from.trim())?, note_parser(to.trim())?);
    if from <= to { Ok((from, to)) } else { Err("the lower note comes first".to_string()) }
}

/// A pin's diameter, µm: a bare number is micrometres.
pub(super) fn pin_size_parser(text: &str) -> Result<u32, String> {
    let metres = parse_length_m(text, Some(LengthUnit::Micrometre)).map_err(|e| e.to_string())?;
    let micrometres = (metres * 1e6).round();
    if (5000.0..=9000.0).contains(&micrometres) {
        // Within bounds, so the cast fits.
        Ok(micrometres as u32)
    } else {
        Err("a pin has 5000 to 9000 µm (5 to 9 mm)".to_string())
    }
}

/// A date, or date and time, as ISO 8601 text.
pub(super) fn date_parser(text: &str) -> Result<String, String> {
    let date = text.parse::<jiff::civil::Date>().map(|date| date.to_string());
    let time = || text.parse::<jiff::Timestamp>().map(|time| time.to_string());
    if text.len() > 10 {
        time().map_err(|_| "use a date and time such as 2024-11-03T10:00Z".to_string())
    } else {
        date.map_err(|_| "use a date such as 2024-11-03".to_string())
    }
}
