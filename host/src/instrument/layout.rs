//! Where the pins of a stringing sit on the plank when nobody measured them.
//!
//! A parametric field: an overstrung bass block and the rest split by plate struts, pins in
//! slanted rows, row 0 nearest the plate flange. All figures are MEM: they place neighbours next
//! to each other and rows in order, and are no drawing of any instrument. Deliberately not here:
//! measured positions, which replace these pin by pin.
//!
//! Invariant: which string sits in which row differs by maker, so the order is a parameter.

use pinhold_protocol::record::Pin;

use super::scale::StringScale;
use super::stringing::{Stringing, strings_of_unison};
use super::{FieldPin, Instrument, InstrumentKind};

/// Most sections a field is split into.
pub const SECTION_COUNT_MAX: u8 = 8;
/// Rows of the bass block, its pins taken in turn from row to row: one string of a bichord in each
/// (MEM, as three strings of a trichord take three rows).
const BASS_ROW_COUNT: usize = 2;
/// The bass block of an overstrung instrument ends here where the stringing does not tell (MEM).
const BASS_LAST_NOTE: u8 = 26;
/// No bass block reaches above this note (MEM).
const BASS_NOTE_MAX: u8 = 36;

/// The measures of a field.
#[derive(Clone, Debug, PartialEq)]
pub struct LayoutParameters {
    /// Sections above the bass block, 1 to 7; `None` chooses by compass.
    pub treble_section_count: Option<u8>,
    /// Pin to pin along a row, m: 0.013 to 0.014 (MEM).
    pub pitch_m: f64,
    /// Row to row, m: 0.018 to 0.025 (MEM).
    pub row_spacing_m: f64,
    /// Free plank at a strut beyond the pitch, m: 0.03 to 0.06 (MEM).
    pub strut_gap_m: f64,
    /// Row of the left, centre, right and fourth string of a trichord or larger unison.
    pub row_of_string: [u8; 4],
    /// Plate flange to row 0, m, when known; the flange is taken as straight.
    pub flange_to_row0_m: Option<f64>,
}

impl Default for LayoutParameters {
    fn default() -> LayoutParameters {
        LayoutParameters {
            treble_section_count: None,
            pitch_m: 0.0135,
            row_spacing_m: 0.021,
            strut_gap_m: 0.045,
            row_of_string: [0, 1, 2, 3],
            flange_to_row0_m: None,
        }
    }
}

/// An instrument with every pin of a stringing placed by the parameters.
///
/// ```
/// use pinhold::instrument::InstrumentKind;
/// use pinhold::instrument::layout::{LayoutParameters, lay_out};
/// use pinhold::instrument::stringing::Stringing;
///
/// let parameters = LayoutParameters::default();
/// let grand = lay_out("parlour", InstrumentKind::Grand, &Stringing::modern_88(), &parameters);
/// assert_eq!(grand.pins.len(), 227);
/// ```
pub fn lay_out(
    name: &str,
    kind: InstrumentKind,
    stringing: &Stringing,
    parameters: &LayoutParameters,
) -> Instrument {
    let mut pins = Vec::with_capacity(stringing.pin_count());
    let mut section_start_m = 0.0;
    for (section, notes) in (0_u8..).zip(sections(stringing, parameters)) {
        let begin = pins.len();
        if section == 0 && has_bass_block(stringing) {
            place_bass(&mut pins, &notes, section_start_m, stringing, parameters);
        } else {
            place_unisons(&mut pins, &notes, section, section_start_m, stringing, parameters);
        }
        let end_m = pins[begin..].iter().map(|pin| pin.x_m).fold(section_start_m, f64::max);
        section_start_m = end_m + parameters.pitch_m + parameters.strut_gap_m;
    }
    Instrument {
        name: name.to_string(),
        kind,
        first_note: stringing.first_note(),
        last_note: stringing.last_note(),
        pins,
        strings: StringScale::default(),
    }
}

/// The common 88-note instrument, 227 pins.
pub fn modern_88(name: &str, kind: InstrumentKind) -> Instrument {
    lay_out(name, kind, &Stringing::modern_88(), &LayoutParameters::default())
}

/// The common 85-note instrument, 218 pins.
pub fn modern_85(name: &str, kind: InstrumentKind) -> Instrument {
    lay_out(name, kind, &Stringing::modern_85(), &LayoutParameters::default())
}

/// Last note of the bass block: where unisons of fewer than three strings end, within reason.
fn bass_last_note(stringing: &Stringing) -> u8 {
    let (first, last) = (stringing.first_note(), stringing.last_note());
    let below_three = (first..=last).take_while(|&note| stringing.string_count(note) < 3).last();
    match below_three {
        Some(note) if note <= BASS_NOTE_MAX => note,
        _ => BASS_LAST_NOTE.min(last),
    }
}

/// Whether the field has a bass block at all, and so a section 0 apart from the rest.
fn has_bass_block(stringing: &Stringing) -> bool {
    stringing.first_note() <= bass_last_note(stringing) && stringing.first_note() <= BASS_LAST_NOTE
}

/// The notes of each section, bass first.
fn sections(stringing: &Stringing, parameters: &LayoutParameters) -> Vec<Vec<u8>> {
    let (first, last) = (stringing.first_note(), stringing.last_note());
    let mut sections = Vec::new();
    let mut rest_first = first;
    if has_bass_block(stringing) {
        let bass_last = bass_last_note(stringing);
        sections.push((first..=bass_last).collect());
        rest_first = bass_last + 1;
    }
    let rest: Vec<u8> = (rest_first..=last).collect();
    let by_compass = match rest.len() {
        0..24 => 1,
        24..48 => 2,
        _ => 3,
    };
    let wanted = parameters.treble_section_count.unwrap_or(by_compass);
    let count = usize::from(wanted.clamp(1, SECTION_COUNT_MAX - 1)).min(rest.len());
    for index in 0..count {
        let from = rest.len() * index / count;
        let to = rest.len() * (index + 1) / count;
        sections.push(rest[from..to].to_vec());
    }
    sections
}

/// The bass block: its pins in order, dealt over slanted rows.
fn place_bass(
    pins: &mut Vec<FieldPin>,
    notes: &[u8],
    start_m: f64,
    stringing: &Stringing,
    parameters: &LayoutParameters,
) {
    let in_order = notes.iter().flat_map(|&note| {
        let strings = strings_of_unison(stringing.string_count(note));
        strings.iter().map(move |&string| Pin { note, string })
    });
    for (index, pin) in in_order.enumerate() {
        let row = index % BASS_ROW_COUNT;
        let x_m = start_m + parameters.pitch_m * index as f64 / BASS_ROW_COUNT as f64;
        pins.push(field_pin(pin, 0, row as u8, x_m, parameters));
    }
}

/// A section of unisons: one string of each per row, rows slanted by a share of the pitch.
fn place_unisons(
    pins: &mut Vec<FieldPin>,
    notes: &[u8],
    section: u8,
    start_m: f64,
    stringing: &Stringing,
    parameters: &LayoutParameters,
) {
    for (index, &note) in notes.iter().enumerate() {
        let strings = strings_of_unison(stringing.string_count(note));
        for (place, &string) in strings.iter().enumerate() {
            // Two strings take the outer two of three rows' order, one string the first.
            let row = parameters.row_of_string[place];
            let slant = f64::from(row) / strings.len().max(3) as f64;
            let x_m = start_m + parameters.pitch_m * (index as f64 + slant);
            pins.push(field_pin(Pin { note, string }, section, row, x_m, parameters));
        }
    }
}

/// One pin, its row turned into metres.
fn field_pin(pin: Pin, section: u8, row: u8, x_m: f64, parameters: &LayoutParameters) -> FieldPin {
    let y_m = whole_micrometres_m(parameters.row_spacing_m * f64::from(row));
    let x_m = whole_micrometres_m(x_m);
    FieldPin {
        pin,
        section,
        row,
        x_m,
        y_m,
        flange_distance_m: parameters
            .flange_to_row0_m
            .map(|offset_m| whole_micrometres_m(offset_m + y_m)),
        diameter_um: None,
    }
}

/// A length to the nearest micrometre, so that a laid-out field equals its stored form.
fn whole_micrometres_m(length_m: f64) -> f64 {
    (length_m * 1e6).round() / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grand(stringing: &Stringing) -> Instrument {
        lay_out("g", InstrumentKind::Grand, stringing, &LayoutParameters::default())
    }

    fn nearest_neighbour_m(instrument: &Instrument, of: usize) -> f64 {
        let here = &instrument.pins[of];
        let others = instrument.pins.iter().enumerate().filter(|(index, _)| *index != of);
        others
            .map(|(_, pin)| {
                let (dx, dy) = (pin.x_m - here.x_m, pin.y_m - here.y_m);
                (dx * dx + dy * dy).sqrt()
            })
            .fold(f64::INFINITY, f64::min)
    }

    #[test]
    fn pins_of_every_common_field_keep_their_distances() {
        for stringing in [
            Stringing::modern_88(),
            Stringing::modern_85(),
            Stringing::from_groups(1, 8, 5, 75).unwrap(),
            Stringing::new(20, vec![4; 50]).unwrap(),
        ] {
            let field = grand(&stringing);
            assert_eq!(field.pins.len(), stringing.pin_count());
            assert!(field.pins.is_sorted_by_key(|pin| pin.pin));
            for index in 0..field.pins.len() {
                let nearest_m = nearest_neighbour_m(&field, index);
                // Pins of 7 mm with room for coils; none stands alone inside the field.
                assert!((0.0130..0.0260).contains(&nearest_m), "{index}: {nearest_m}");
            }
        }
    }

    #[test]
    fn an_88_note_field_has_a_bass_block_and_struts() {
        let field = grand(&Stringing::modern_88());
        assert_eq!(field.pins.iter().map(|pin| pin.section).max(), Some(3));
        assert!(field.pins.iter().all(|pin| (pin.section == 0) == (pin.pin.note <= 27)));
        for section in 1..4 {
            let end = |of: u8| field.pins.iter().filter(move |pin| pin.section == of);
            let below_m = end(section - 1).map(|pin| pin.x_m).fold(0.0, f64::max);
            let above_m = end(section).map(|pin| pin.x_m).fold(f64::INFINITY, f64::min);
            // 30 to 60 mm of strut beyond the pitch.
            assert!((0.043..0.075).contains(&(above_m - below_m)));
        }
        let depth_m = field.pins.iter().map(|pin| pin.y_m).fold(0.0, f64::max);
        assert!((0.036..0.055).contains(&depth_m), "three rows 18 to 25 mm apart: {depth_m}");
    }

    #[test]
    fn trichords_put_one_string_in_each_row_by_the_order_given() {
        let parameters = LayoutParameters {
            row_of_string: [2, 1, 0, 3],
            flange_to_row0_m: Some(0.02),
            ..LayoutParameters::default()
        };
        let kind = InstrumentKind::Upright;
        let field = lay_out("u", kind, &Stringing::modern_88(), &parameters);
        for note in 28..=88 {
            let rows: Vec<u8> =
                field.pins.iter().filter(|pin| pin.pin.note == note).map(|pin| pin.row).collect();
            assert_eq!(rows, [2, 1, 0], "note {note}");
        }
        assert!(field.pins.iter().all(|pin| {
            pin.flange_distance_m
                .is_some_and(|distance_m| (distance_m - 0.02 - pin.y_m).abs() < 1e-12)
        }));
    }

    #[test]
    fn odd_compasses_are_laid_out_too() {
        for (first, counts) in [
            (88, vec![4]),
            (1, vec![1]),
            (1, vec![3; 88]),
            (60, vec![1, 4, 2, 3]),
            (40, vec![2; 49]),
        ] {
            let stringing = Stringing::new(first, counts).unwrap();
            let field = grand(&stringing);
            assert_eq!(field.pins.len(), stringing.pin_count());
            assert!(field.pins.iter().all(|pin| pin.x_m.is_finite() && pin.section < 8));
        }
    }
}
