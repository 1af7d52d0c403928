//! What a picture says in words: its zones in a line each, and lines broken to the page.
//!
//! Invariant: a zone's reading is always told as a reading, never as a finding.

use super::super::{torque, zone_letter};
use crate::analysis::Assessment;
use crate::analysis::zones::Zone;
use crate::units::TorqueUnit;
use crate::words::{Numeral, Said, Word, pictures as say, plank};

/// Width of a character over the size of its letters, on the wide side of the fonts named.
const CHARACTER_WIDTH: f64 = 0.60;
/// The same over a line of prose, which has blanks and narrow letters.
const PROSE_WIDTH: f64 = 0.54;

/// Width of a text on the page, about; never too small for the fonts named.
pub(super) fn width(words: &str, size: f64) -> f64 {
    words.chars().count() as f64 * CHARACTER_WIDTH * size
}

/// The shape as one would say it.
pub(crate) fn shape(zone: &Zone) -> Word {
    plank::shape(zone.shape)
}

/// How many of the zone's pins are loose.
pub(crate) fn loose_of(zone: &Zone) -> Said {
    let loose = zone.pins.len();
    let read = loose + zone.tight_inside.len();
    match loose {
        loose if read > loose => say::loose_of_read(loose, read),
        1 => say::ONE_LOOSE_PIN.said(),
        loose => say::loose_pins(loose),
    }
}

/// The zone at the picture, short: shape and count.
pub(super) fn callout(zone: &Zone) -> Said {
    let loose = zone.pins.len();
    let read = loose + zone.tight_inside.len();
    let count = if read > loose { say::of(loose, read) } else { Said::same(loose.to_string()) };
    say::callout(shape(zone), count, say::question(zone.shape))
}

/// The zone in a line: what, where, how deep, and how such a thing usually reads.
pub(crate) fn caption(zone: &Zone, unit: TorqueUnit) -> Said {
    let (shape, place) = (shape(zone), &zone.place);
    let told = if shape.said() == *place { place.clone() } else { say::shape_at(shape, place) };
    let shown = |nm: f64| Numeral(torque(nm, unit));
    let line = say::caption(
        told,
        loose_of(zone),
        shown(zone.friction_median_nm),
        zone.surroundings_words(),
        shown(zone.surroundings_nm),
    );
    match zone.readings.first() {
        Some(reading) => say::read_as(line, reading.text),
        None => line,
    }
}

/// Every zone's letter and caption.
pub(crate) fn captions(assessment: &Assessment, unit: TorqueUnit) -> Vec<(char, Said)> {
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
