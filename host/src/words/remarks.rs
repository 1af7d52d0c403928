//! Remarks of pins in other words: those the program writes itself, never those a person typed.
//!
//! The English stands in [`crate::analysis::readings`], where it is part of the reading.

use super::{Language, Word};

const KNOWN: &[Word] = &[
    Word::new("breakaway only: the slip was too short", "nur Losbrechen: der Weg war zu kurz"),
    Word::new("dead tight: did not move", "sitzt fest: bewegte sich nicht"),
    Word::new("moved on seating the lever", "bewegte sich beim Aufsetzen des Hebels"),
    Word::new("spoiled: repeat this pin", "misslungen: diesen Wirbel wiederholen"),
    Word::new("the string drove the pin flat", "die Saite drehte den Wirbel zurück"),
    Word::new("jumpy", "springt"),
    Word::new(
        "high first break: aged, rusted or glued",
        "hohes erstes Losbrechen: gealtert, verrostet oder verleimt",
    ),
    Word::new("spongy: no clear knee", "schwammig: kein klarer Knick"),
    Word::new(
        "lever torque passed the alarm's level",
        "das Hebelmoment überschritt die Warnschwelle",
    ),
    Word::new("turned further than asked", "weiter gedreht als verlangt"),
    Word::new("retune this string", "diese Saite nachstimmen"),
    Word::new(
        "lever not zeroed: the string's moment is in doubt",
        "Hebel nicht genullt: das Moment der Saite ist zweifelhaft",
    ),
    Word::new(
        "no string: friction lacks its side load, never compare it",
        "keine Saite: der Reibung fehlt die Seitenlast, nie vergleichen",
    ),
    Word::new(
        "slack string: friction lacks its side load and reads low",
        "schlaffe Saite: der Reibung fehlt die Seitenlast, sie liest sich niedrig",
    ),
    Word::new(
        "sharp only: friction is the reading less the string's moment",
        "nur hoch: Reibung ist die Messung weniger das Moment der Saite",
    ),
    Word::new(
        "flat only: friction is the reading plus the string's moment",
        "nur tief: Reibung ist die Messung und das Moment der Saite dazu",
    ),
    Word::new(
        "direction not known: friction is the reading, or a string's moment less or more",
        "Richtung unbekannt: Reibung ist die Messung, um ein Saitenmoment weniger oder mehr",
    ),
    Word::new(
        "peak: includes the break, running friction is 0 to 23 % lower",
        "Spitzenwert: enthält das Losbrechen, die laufende Reibung ist 0 bis 23 % niedriger",
    ),
    Word::new(
        "upper limit: the pin moved at this torque",
        "Obergrenze: der Wirbel bewegte sich bei diesem Drehmoment",
    ),
    Word::new(
        "lower limit: the pin did not move at this torque",
        "Untergrenze: der Wirbel bewegte sich bei diesem Drehmoment nicht",
    ),
    Word::new(
        "flat above sharp: columns swapped, a reverse-wound pin, or no string",
        "tief über hoch: Spalten vertauscht, ein verkehrt gewickelter Wirbel oder keine Saite",
    ),
    Word::new(
        "read more than once: the last usable reading counts",
        "mehrmals gemessen: die letzte brauchbare Messung zählt",
    ),
];

/// What stands before a share in a remark about a string's pull.
const PULLS: &[Word] = &[
    Word::new("slack string: pulls ", "schlaffe Saite: zieht das "),
    Word::new("string let down: pulls ", "nachgelassene Saite: zieht das "),
];
const OF_WHAT_IT_SHOULD: Word = Word::new(" of what it should", "-fache des Erwarteten");

/// A remark in a language; what is not the program's own stays as it is.
pub(crate) fn said(remark: &str, language: Language) -> String {
    if let Some(word) = KNOWN.iter().find(|word| word.en == remark) {
        return word.to(language).to_owned();
    }
    for word in PULLS {
        let rest = remark.strip_prefix(word.en);
        if let Some(share) = rest.and_then(|rest| rest.strip_suffix(OF_WHAT_IT_SHOULD.en)) {
            let (before, after) = (word.to(language), OF_WHAT_IT_SHOULD.to(language));
            return format!("{before}{}{after}", language.numeral(share));
        }
    }
    remark.to_owned()
}
