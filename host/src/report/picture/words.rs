//! What a picture says in words: its zones in a line each, and lines broken to the page.
//!
//! Invariant: a zone's reading is always told as a reading, never as a finding.

use super::super::{torque, zone_letter};
use crate::analysis::Assessment;
use crate::analysis::zones::{Zone, ZoneShape};
use crate::units::TorqueUnit;

/// Width of a character over the size of its letters, on the wide side of the fonts named.
const CHARACTER_WIDTH: f64 = 0.60;
/// The same over a line of prose, which has blanks and narrow letters.
const PROSE_WIDTH: f64 = 0.54;

/// Width of a text on the page, about; never too small for the fonts named.
pub(super) fn width(words: &str, size: f64) -> f64 {
    words.chars().count() as f64 * CHARACTER_WIDTH * size
}

/// The shape as one would say it.
pub(crate) fn shape(zone: &Zone) -> String {
    match zone.shape {
        ZoneShape::RaggedLineInside => "ragged line inside the field".to_owned(),
        ZoneShape::AlongFlange => "line along the plate flange".to_owned(),
        ZoneShape::Scattered => "single pins here and there".to_owned(),
        ZoneShape::Everywhere => "the whole plank".to_owned(),
        other => other.word().replace('-', " "),
    }
}

/// How many of the zone's pins are loose.
pub(crate) fn loose_of(zone: &Zone) -> String {
    let loose = zone.pins.len();
    let read = loose + zone.tight_inside.len();
    if read > loose {
        format!("{loose} of {read} pins read there are loose")
    } else {
        let pins = if loose == 1 { "pin" } else { "pins" };
        format!("{loose} loose {pins}")
    }
}

/// The zone at the picture, short: shape and count.
pub(super) fn callout(zone: &Zone) -> String {
    let loose = zone.pins.len();
    let read = loose + zone.tight_inside.len();
    let count = if read > loose { format!("{loose} of {read}") } else { loose.to_string() };
    // A question, not a finding: what one looks for first when a plank shows this (ONE each).
    let question = match zone.shape {
        ZoneShape::RaggedLineInside => ": a split?",
        ZoneShape::AlongFlange => ": crushed at the flange?",
        _ => "",
    };
    format!("{}, {count} pins loose{question}", shape(zone))
}

/// The zone in a line: what, where, how deep, and how such a thing usually reads.
pub(crate) fn caption(zone: &Zone, unit: TorqueUnit) -> String {
    let (shape, place) = (shape(zone), &zone.place);
    let told = if shape == *place { shape } else { format!("{shape}, {place}") };
    let mut line = format!(
        "{told}; {} (middle {}, {} {})",
        loose_of(zone),
        torque(zone.friction_median_nm, unit),
        zone.surroundings_words(),
        torque(zone.surroundings_nm, unit),
    );
    if let Some(reading) = zone.readings.first() {
        line.push_str(&format!(". Read as: {}.", reading.text));
    }
    line
}

/// Every zone's letter and caption.
pub(crate) fn captions(assessment: &Assessment, unit: TorqueUnit) -> Vec<(char, String)> {
    let zones = assessment.zones.iter().enumerate();
    zones.map(|(index, zone)| (zone_letter(index), caption(zone, unit))).collect()
}

/// Words broken into lines of at most so many characters; a longer word is cut.
pub(super) fn lines(words: &str, count_max: usize) -> Vec<String> {
    let count_max = count_max.max(1);
    let mut lines = vec![String::new()];
    for word in words.split_whitespace() {
        let mut rest: Vec<char> = word.chars().collect();
        while !rest.is_empty() {
            let used = lines.last().map_or(0, |line| line.chars().count());
            let room = count_max.saturating_sub(used + usize::from(used > 0));
            if rest.len() > room && used > 0 {
                lines.push(String::new());
                continue;
            }
            let head: String = rest.drain(..rest.len().min(room.max(1))).collect();
            if let Some(line) = lines.last_mut() {
                if used > 0 {
                    line.push(' ');
                }
                line.push_str(&head);
            }
        }
    }
    lines
}

/// Lines that fit so wide on the page.
pub(super) fn fitted(words: &str, size: f64, room: f64) -> Vec<String> {
    lines(words, (room / (PROSE_WIDTH * size)).max(10.0) as usize)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_their_width_and_lose_no_word() {
        let text = "a ragged line inside the field and a wordlongerthanthewholeline at its end";
        for count in 1..40 {
            let broken = lines(text, count);
            assert!(broken.iter().all(|line| line.chars().count() <= count), "{broken:?}");
            let letters = |text: &str| text.replace(' ', "");
            assert_eq!(letters(&broken.concat()), letters(text));
        }
        assert_eq!(lines("", 10), [""]);
    }
}
