//! Note names and numbers: A0 is 1, C8 is 88.
//!
//! Deliberately not here: frequencies (see [`super::pitch`]).

use pinhold_protocol::record::{NOTE_MAX, NOTE_MIN};

/// Names within an octave, from A, as note numbers count.
const NAMES: [&str; 12] = ["A", "A#", "B", "C", "C#", "D", "D#", "E", "F", "F#", "G", "G#"];

/// Semitones above C of the letters A to G.
const SEMITONES_ABOVE_C: [i16; 7] = [9, 11, 0, 2, 4, 5, 7];

/// The name of a note, such as `A0`, `C#4` or `C8`; `None` outside 1 to 88.
///
/// ```
/// use pinhold::instrument::note::note_name;
/// assert_eq!(note_name(49).unwrap(), "A4");
/// assert_eq!(note_name(89), None);
/// ```
pub fn note_name(note: u8) -> Option<String> {
    if !(NOTE_MIN..=NOTE_MAX).contains(&note) {
        return None;
    }
    let steps_above_a0 = usize::from(note - NOTE_MIN);
    // Octave numbers change at C, three semitones above A.
    let octave = (steps_above_a0 + 9) / 12;
    Some(format!("{}{octave}", NAMES[steps_above_a0 % 12]))
}

/// A note number from a number (`49`) or a name (`A4`, `c#4`, `Db4`, `C♯4`); `None` when it is
/// neither, or outside 1 to 88.
///
/// ```
/// use pinhold::instrument::note::parse_note;
/// assert_eq!(parse_note("A4"), Some(49));
/// assert_eq!(parse_note("88"), Some(88));
/// assert_eq!(parse_note("C9"), None);
/// ```
pub fn parse_note(text: &str) -> Option<u8> {
    let text = text.trim();
    if text.starts_with(|c: char| c.is_ascii_digit()) {
        let number: u8 = text.parse().ok()?;
        return (NOTE_MIN..=NOTE_MAX).contains(&number).then_some(number);
    }
    let mut characters = text.chars();
    let letter = characters.next()?.to_ascii_uppercase();
    if !letter.is_ascii_uppercase() || letter > 'G' {
        return None;
    }
    let mut rest = characters.as_str();
    let mut semitone = SEMITONES_ABOVE_C[usize::from(letter as u8 - b'A')];
    if let Some(tail) = rest.strip_prefix(['#', '♯']) {
        semitone += 1;
        rest = tail;
    } else if let Some(tail) = rest.strip_prefix(['b', '♭']) {
        semitone -= 1;
        rest = tail;
    }
    let mut digits = rest.chars();
    let octave = digits.next()?.to_digit(10)?;
    if digits.next().is_some() {
        return None;
    }
    // C1 is note 4, so C0 would be −8.
    let number = i16::try_from(octave).ok()? * 12 + semitone - 8;
    let number = u8::try_from(number).ok()?;
    (NOTE_MIN..=NOTE_MAX).contains(&number).then_some(number)
}

/// Notes from one to another, lowest first: `A0..E2`, `1..20`, or a single `C4`; `None` when the
/// text is neither.
///
/// ```
/// use pinhold::instrument::note::parse_note_range;
/// assert_eq!(parse_note_range("A0..E2"), Some((1, 20)));
/// assert_eq!(parse_note_range("40"), Some((40, 40)));
/// assert_eq!(parse_note_range("E2..A0"), None);
/// ```
pub fn parse_note_range(text: &str) -> Option<(u8, u8)> {
    let (first, last) = text.split_once("..").unwrap_or((text, text));
    let (first, last) = (parse_note(first)?, parse_note(last)?);
    (first <= last).then_some((first, last))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_comes_back_as_its_number() {
        for note in NOTE_MIN..=NOTE_MAX {
            let name = note_name(note).unwrap();
            assert_eq!(parse_note(&name), Some(note), "{name}");
            assert_eq!(parse_note(&note.to_string()), Some(note));
        }
    }

    #[test]
    fn landmarks_and_spellings() {
        for (text, note) in [
            ("A0", 1),
            ("A#0", 2),
            ("Bb0", 2),
            ("C1", 4),
            ("C4", 40),
            ("Cb4", 39),
            ("B#3", 40),
            ("a4", 49),
            ("E♭5", 55),
            (" C8 ", 88),
        ] {
            assert_eq!(parse_note(text), Some(note), "{text}");
        }
    }

    #[test]
    fn what_is_no_note_is_refused() {
        for text in ["", "0", "89", "300", "H4", "A", "A44", "C#8", "G0", "-1", "4.5", "A-1", "é4"]
        {
            assert_eq!(parse_note(text), None, "{text}");
        }
    }
}
