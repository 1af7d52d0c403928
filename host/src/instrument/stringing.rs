//! Compass and stringing: which notes there are, and how many strings each carries.
//!
//! Deliberately not here: where the pins sit (see [`super::layout`]).
//!
//! Invariant: every note of the compass carries 1 to 4 strings.

use pinhold_protocol::record::{NOTE_MAX, NOTE_MIN, Pin, StringPosition};
use thiserror::Error;

/// Most strings a note carries.
pub const STRING_COUNT_MAX: u8 = 4;

/// Highest note at which a lone `C` is read as a single string where nothing else decides.
///
/// PRAC: common stringings have 8 to 18 singles.
const SINGLE_NOTE_MAX: u8 = 18;

/// Why a compass or stringing is refused.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum StringingError {
    /// The compass does not lie within A0 to C8, or ends before it begins.
    #[error("a compass runs upwards within notes 1 (A0) to 88 (C8), not {first} to {last}")]
    Compass {
        /// Lowest note asked for.
        first: u8,
        /// Highest note asked for.
        last: u8,
    },
    /// Counts of singles, bichords and trichords do not add up to the compass.
    #[error("{given} notes are strung but the compass has {wanted}")]
    Total {
        /// Notes that were given strings.
        given: usize,
        /// Notes of the compass.
        wanted: usize,
    },
    /// A note with no string or more than four.
    #[error("note {note} has {count} strings; 1 to 4 are possible")]
    Count {
        /// The note.
        note: u8,
        /// Strings asked for.
        count: u8,
    },
    /// Not of the form `10/17/61`.
    #[error("'{text}' is not a stringing; write singles/bichords/trichords, as in 10/17/61")]
    Format {
        /// What was written.
        text: String,
    },
}

/// Strings per note over a compass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stringing {
    first_note: u8,
    string_count: Vec<u8>,
}

impl Stringing {
    /// From the lowest note and the strings of each note upwards from it.
    ///
    /// # Errors
    /// When the compass leaves notes 1 to 88 or a count leaves 1 to 4.
    pub fn new(first_note: u8, string_count: Vec<u8>) -> Result<Stringing, StringingError> {
        let last = usize::from(first_note) + string_count.len();
        let last = u8::try_from(last.saturating_sub(1)).unwrap_or(u8::MAX);
        let compass = NOTE_MIN..=NOTE_MAX;
        if string_count.is_empty() || !compass.contains(&first_note) || !compass.contains(&last) {
            return Err(StringingError::Compass { first: first_note, last });
        }
        for (note, &count) in (first_note..).zip(&string_count) {
            if !(1..=STRING_COUNT_MAX).contains(&count) {
                return Err(StringingError::Count { note, count });
            }
        }
        Ok(Stringing { first_note, string_count })
    }

    /// Singles, then bichords, then trichords, upwards from `first_note`.
    ///
    /// # Errors
    /// When the compass leaves notes 1 to 88.
    ///
    /// ```
    /// use pinhold::instrument::stringing::Stringing;
    /// assert_eq!(Stringing::from_groups(1, 10, 17, 61).unwrap().pin_count(), 227);
    /// ```
    pub fn from_groups(
        first_note: u8,
        single_count: u8,
        bichord_count: u8,
        trichord_count: u8,
    ) -> Result<Stringing, StringingError> {
        let groups = [(single_count, 1), (bichord_count, 2), (trichord_count, 3)];
        let counts = groups
            .into_iter()
            .flat_map(|(notes, strings)| std::iter::repeat_n(strings, usize::from(notes)))
            .collect();
        Stringing::new(first_note, counts)
    }

    /// From text such as `10/17/61`, for a compass of `first_note` to `last_note`.
    ///
    /// # Errors
    /// When the text is of another form or does not fill the compass.
    pub fn from_text(
        text: &str,
        first_note: u8,
        last_note: u8,
    ) -> Result<Stringing, StringingError> {
        let refused = || StringingError::Format { text: text.to_string() };
        let groups: Vec<u8> = text
            .split('/')
            .map(|part| part.trim().parse().map_err(|_| refused()))
            .collect::<Result<_, _>>()?;
        let [single, bichord, trichord] = groups[..] else {
            return Err(refused());
        };
        if first_note > last_note || !(NOTE_MIN..=NOTE_MAX).contains(&first_note) {
            return Err(StringingError::Compass { first: first_note, last: last_note });
        }
        let wanted = usize::from(last_note - first_note) + 1;
        let given = usize::from(single) + usize::from(bichord) + usize::from(trichord);
        if given != wanted {
            return Err(StringingError::Total { given, wanted });
        }
        Stringing::from_groups(first_note, single, bichord, trichord)
    }

    /// A common 88-note stringing: 10 singles, 17 bichords, 61 trichords, 227 pins (PRAC).
    pub fn modern_88() -> Stringing {
        Stringing::common(10, 17, 61)
    }

    /// A common 85-note stringing, A0 to A7: three trichords fewer, 218 pins (PRAC).
    pub fn modern_85() -> Stringing {
        Stringing::common(10, 17, 58)
    }

    /// The common stringing over another compass: 10 singles and 17 bichords from A0, trichords
    /// from C3 up (PRAC).
    ///
    /// # Errors
    /// When the compass leaves notes 1 to 88 or ends before it begins.
    pub fn common_over(first_note: u8, last_note: u8) -> Result<Stringing, StringingError> {
        if first_note > last_note || !(NOTE_MIN..=NOTE_MAX).contains(&first_note) {
            return Err(StringingError::Compass { first: first_note, last: last_note });
        }
        let common = Stringing::modern_88();
        let counts = (first_note..=last_note).map(|note| common.string_count(note)).collect();
        Stringing::new(first_note, counts)
    }

    /// Groups known to fit: a constant stringing from A0.
    fn common(single: usize, bichord: usize, trichord: usize) -> Stringing {
        let string_count = [vec![1; single], vec![2; bichord], vec![3; trichord]].concat();
        Stringing { first_note: NOTE_MIN, string_count }
    }

    /// The stringing a list of pins speaks of; `None` when the list is empty.
    ///
    /// The compass is lowest to highest note named. A complete unison (`C`, `LR`, `LCR`, `LCRD`)
    /// is taken as it stands; what a sampled list leaves open is read upwards: strings per note
    /// never fall from bass to treble, so an incomplete or unnamed note takes the count of the
    /// nearest decided note below, else of the nearest above. A lone `C` is a single string
    /// unless a note below is known to have more.
    pub fn from_pins(pins: &[Pin]) -> Option<Stringing> {
        let first = pins.iter().map(|pin| pin.note).min()?;
        let last = pins.iter().map(|pin| pin.note).max()?;
        let seen: Vec<[bool; 4]> = (first..=last).map(|note| strings_seen(pins, note)).collect();
        let mut decided: Vec<Option<u8>> =
            seen.iter().map(|strings| count_decided(*strings)).collect();
        decide_lone_centres(first, &seen, &mut decided);
        let string_count =
            (0..decided.len()).map(|at| count_filled(first, at, &seen, &decided)).collect();
        Stringing::new(first, string_count).ok()
    }

    /// Lowest note.
    pub fn first_note(&self) -> u8 {
        self.first_note
    }

    /// Highest note.
    pub fn last_note(&self) -> u8 {
        // The length was checked to keep the compass within 88 notes.
        self.first_note + (self.string_count.len() - 1) as u8
    }

    /// Strings of a note; 0 outside the compass.
    pub fn string_count(&self, note: u8) -> u8 {
        let Some(index) = note.checked_sub(self.first_note) else {
            return 0;
        };
        self.string_count.get(usize::from(index)).copied().unwrap_or(0)
    }

    /// All pins, in order of note, then string.
    pub fn pins(&self) -> Vec<Pin> {
        (self.first_note..)
            .zip(&self.string_count)
            .flat_map(|(note, &count)| {
                strings_of_unison(count).iter().map(move |&string| Pin { note, string })
            })
            .collect()
    }

    /// Number of pins.
    pub fn pin_count(&self) -> usize {
        self.string_count.iter().map(|&count| usize::from(count)).sum()
    }
}

/// The strings of a unison of 1 to 4, bass side first; none for other counts.
pub fn strings_of_unison(count: u8) -> &'static [StringPosition] {
    use StringPosition::{Centre, Fourth, Left, Right};
    match count {
        1 => &[Centre],
        2 => &[Left, Right],
        3 => &[Left, Centre, Right],
        4 => &[Left, Centre, Right, Fourth],
        _ => &[],
    }
}

/// Which of L, C, R, D a list names at a note.
fn strings_seen(pins: &[Pin], note: u8) -> [bool; 4] {
    use StringPosition::{Centre, Fourth, Left, Right};
    [Left, Centre, Right, Fourth]
        .map(|string| pins.iter().any(|pin| pin.note == note && pin.string == string))
}

/// The string count that letters alone decide; a lone C, L or R and no letter decide nothing.
fn count_decided(seen: [bool; 4]) -> Option<u8> {
    match seen {
        [_, _, _, true] => Some(4),
        [true, false, true, false] => Some(2),
        [true, true, _, false] | [_, true, true, false] => Some(3),
        _ => None,
    }
}

/// Decides notes that name only C: single, unless a decided note below has more strings or the
/// note lies above where singles end.
fn decide_lone_centres(first: u8, seen: &[[bool; 4]], decided: &mut [Option<u8>]) {
    let mut several_below = false;
    for (index, note) in (0..seen.len()).zip(first..) {
        if seen[index] == [false, true, false, false] {
            let single = !several_below && note <= SINGLE_NOTE_MAX;
            decided[index] = Some(if single { 1 } else { 3 });
        }
        // A lone left or right string, too, is one of several.
        several_below |= decided[index].is_some_and(|count| count > 1);
        several_below |= seen[index][0] || seen[index][2];
    }
}

/// The count of the note at an index: as decided, else as the neighbours suggest.
fn count_filled(first: u8, index: usize, seen: &[[bool; 4]], decided: &[Option<u8>]) -> u8 {
    if let Some(count) = decided[index] {
        return count;
    }
    let below = decided[..index].iter().rev().find_map(|count| *count);
    let above = decided[index..].iter().find_map(|count| *count);
    let common = || Stringing::modern_88().string_count(first.saturating_add(index as u8));
    let count = below.or(above).unwrap_or_else(common);
    if seen[index] == [false; 4] {
        count
    } else {
        // A lone left or right string has a neighbour in its unison.
        count.max(2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use StringPosition::{Centre, Left, Right};

    fn pin(note: u8, string: StringPosition) -> Pin {
        Pin { note, string }
    }

    #[test]
    fn common_stringings_have_their_known_pin_counts() {
        for (single, bichord, trichord, pins) in
            [(10, 17, 61, 227), (14, 18, 56, 218), (8, 5, 75, 243)]
        {
            let stringing = Stringing::from_groups(1, single, bichord, trichord).unwrap();
            assert_eq!(stringing.pin_count(), pins);
            assert_eq!(stringing.last_note(), 88);
        }
        assert_eq!(Stringing::modern_88().pin_count(), 227);
        assert_eq!(Stringing::modern_85().pin_count(), 218);
        assert_eq!(Stringing::modern_85().last_note(), 85);
    }

    #[test]
    fn a_full_list_of_pins_gives_its_own_stringing_back() {
        for stringing in [
            Stringing::modern_88(),
            Stringing::modern_85(),
            Stringing::from_groups(1, 14, 18, 56).unwrap(),
            Stringing::from_groups(8, 0, 30, 43).unwrap(),
            Stringing::new(30, vec![2, 3, 4, 4, 3]).unwrap(),
        ] {
            assert_eq!(Stringing::from_pins(&stringing.pins()), Some(stringing));
        }
    }

    #[test]
    fn a_sampled_list_is_filled_from_its_neighbours() {
        let pins = [
            pin(1, Centre),
            pin(9, Centre),
            pin(14, Left),
            pin(14, Right),
            pin(20, Left),
            pin(30, Centre),
            pin(30, Left),
            pin(60, Centre),
            pin(88, Right),
        ];
        let stringing = Stringing::from_pins(&pins).unwrap();
        let counts = [(1, 1), (5, 1), (9, 1), (12, 1), (14, 2), (20, 2), (29, 2), (30, 3)];
        for (note, count) in counts {
            assert_eq!(stringing.string_count(note), count, "note {note}");
        }
        assert!((30..=88).all(|note| stringing.string_count(note) == 3));
        assert_eq!(Stringing::from_pins(&[]), None);
    }

    #[test]
    fn a_centre_in_the_treble_is_no_single_string() {
        let stringing = Stringing::from_pins(&[pin(49, Centre)]).unwrap();
        assert_eq!((stringing.first_note(), stringing.string_count(49)), (49, 3));
    }

    #[test]
    fn impossible_stringings_are_refused() {
        assert!(matches!(
            Stringing::from_groups(1, 10, 17, 62),
            Err(StringingError::Compass { last: 89, .. })
        ));
        assert!(matches!(Stringing::new(0, vec![1]), Err(StringingError::Compass { .. })));
        assert!(matches!(
            Stringing::new(5, vec![1, 5]),
            Err(StringingError::Count { note: 6, count: 5 })
        ));
        assert!(matches!(
            Stringing::from_text("10/17/61", 1, 85),
            Err(StringingError::Total { given: 88, wanted: 85 })
        ));
        for text in ["", "10/17", "a/b/c", "10/17/61/0", "300/0/0", "-1/0/0"] {
            assert!(matches!(
                Stringing::from_text(text, 1, 88),
                Err(StringingError::Format { .. })
            ));
        }
    }
}
