//! Places on the plank in the words a technician uses.
//!
//! Deliberately not here: pin numbers of any maker. Pins are named by note and string.

use pinhold_protocol::record::Pin;

use super::super::survey::Site;
use crate::instrument::InstrumentKind;
use crate::words::{Said, plank as say};

/// Sections present, in order of number.
pub fn sections(sites: &[Site]) -> Vec<u8> {
    let mut all: Vec<u8> = sites.iter().map(|site| site.section).collect();
    all.sort_unstable();
    all.dedup();
    all
}

/// A section's name, from its place among those present.
pub fn section_name(section: u8, present: &[u8]) -> String {
    let at = present.iter().position(|s| *s == section).unwrap_or(0);
    let names: &[&str] = match present.len() {
        0 | 1 => &["only"],
        2 => &["bass", "treble"],
        3 => &["bass", "tenor", "treble"],
        4 => &["bass", "tenor", "treble", "high treble"],
        5 => &["bass", "low tenor", "tenor", "treble", "high treble"],
        _ => &[],
    };
    names.get(at).map_or_else(|| format!("{}.", at + 1), |name| (*name).to_owned())
}

/// Rows that a section has, in order.
pub fn rows_of_section(sites: &[Site], section: u8) -> Vec<u8> {
    let mut rows: Vec<u8> =
        sites.iter().filter(|site| site.section == section).map(|site| site.row).collect();
    rows.sort_unstable();
    rows.dedup();
    rows
}

/// Whether a section's row 0 lines the plate flange: most of its pins do.
pub fn lines_flange(sites: &[Site], section: u8) -> bool {
    let row0 = || sites.iter().filter(|site| site.section == section && site.row == 0);
    2 * row0().filter(|site| site.at_flange).count() > row0().count()
}

/// A row's name, counted from the flange, or from the string side where row 0 lines no flange.
pub fn row_name(row: u8, row_count: usize, kind: InstrumentKind, lines_flange: bool) -> Said {
    let counted = match row {
        0 if lines_flange => say::ROW_AT_FLANGE.said(),
        _ => say::counted_row(row, lines_flange),
    };
    let last = row > 0 && usize::from(row) + 1 == row_count;
    match kind {
        InstrumentKind::Grand if last => say::nearest_keyboard(counted),
        InstrumentKind::Upright if last => say::topmost(counted),
        _ => counted,
    }
}

/// "note 30" or "notes 30–41".
pub fn note_range(pins: &[Pin]) -> Said {
    let lowest = pins.iter().map(|pin| pin.note).min();
    let highest = pins.iter().map(|pin| pin.note).max();
    match (lowest, highest) {
        (Some(low), Some(high)) if low == high => say::note(low),
        (Some(low), Some(high)) => say::notes(low, high),
        _ => say::NO_NOTES.said(),
    }
}

/// Section names joined: "tenor section", "tenor and treble sections".
pub fn section_phrase(touched: &[u8], present: &[u8]) -> Said {
    let names: Vec<Said> =
        touched.iter().map(|s| say::section(&section_name(*s, present))).collect();
    match names.as_slice() {
        [] => say::NO_SECTION.said(),
        [one] => say::one_section(one),
        [rest @ .., last] => say::sections(Said::joined(rest, ", "), last),
    }
}

/// The trade's name for a pin: note number and string letter.
pub fn pin_name(pin: Pin) -> String {
    format!("{}{}", pin.note, pin.string.letter())
}

#[cfg(test)]
mod tests {
    use super::super::super::test_planks::pin;
    use super::*;

    #[test]
    fn words_for_places() {
        assert_eq!(&*section_phrase(&[1], &[0, 1, 2]), "tenor section");
        assert_eq!(&*section_phrase(&[1, 2], &[0, 1, 2]), "tenor and treble sections");
        assert_eq!(section_name(7, &[1, 2, 3, 4, 5, 6, 7]), "7.");
        let grand = InstrumentKind::Grand;
        assert_eq!(&*row_name(1, 3, grand, true), "second row from the flange");
        assert_eq!(&*row_name(0, 3, grand, false), "first row from the string side");
        assert!(row_name(2, 3, grand, false).ends_with("string side (nearest the keyboard)"));
        assert_eq!(&*note_range(&[pin(41, 'L'), pin(30, 'C')]), "notes 30–41");
        assert_eq!(pin_name(pin(40, 'C')), "40C");
    }
}
