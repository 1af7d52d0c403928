//! Where the pins of an instrument sit on the plank when nobody measured every one of them.
//!
//! A field is described by few facts: compass, strings per note, plate struts, rows, pitches, the
//! plate flange, and single pins that differ. [`Layout`] is such a description, checked, with the
//! pins it gives; `file` reads one from TOML text, `write` writes it, `describe` finds the one of
//! an instrument, `place` turns it into pins, `builtin` holds the ones that come with the tool.
//! All default figures are MEM: they place neighbours next to each other and rows in order, and
//! are no drawing of any instrument. Deliberately not here: positions measured pin by pin
//! ([`super::places`]), which replace these.
//!
//! Invariants: which string sits in which row differs by maker, so it is a parameter; every
//! coordinate is a whole number of micrometres, as the store keeps it.

mod builtin;
mod describe;
mod error;
mod file;
mod file_facts;
mod file_sections;
mod place;
#[cfg(test)]
mod tests;
mod words;
mod write;

pub use builtin::{BUILTIN_WORDS, builtin};
pub use describe::describe;
pub use error::LayoutError;
pub use file::TEXT_BYTES_MAX;

use pinhold_protocol::record::Pin;

use super::places::Correction;
use super::scale::StringScale;
use super::stringing::Stringing;
use super::{FieldPin, Instrument, InstrumentKind, PlateFace};

/// Most sections a field is split into.
pub const SECTION_COUNT_MAX: u8 = 8;
/// Nearest two laid-out pins may stand, m: a pin of 7 mm and the coil around it.
pub const PIN_DISTANCE_M_MIN: f64 = 0.010;
/// Rows of the bass block, its pins taken in turn from row to row: one string of a bichord in each
/// (MEM, as three strings of a trichord take three rows).
const BASS_ROW_COUNT: u8 = 2;
/// The bass block of an overstrung instrument ends here where the stringing does not tell (MEM).
const BASS_LAST_NOTE: u8 = 26;
/// No bass block reaches above this note (MEM).
const BASS_NOTE_MAX: u8 = 36;
/// Pin to pin along a row, m: 0.013 to 0.014 (MEM).
const PITCH_M: f64 = 0.0135;
/// Row to row, m: 0.018 to 0.025 (MEM).
const ROW_SPACING_M: f64 = 0.021;
/// Free plank at a strut beyond the pitch, m: 0.03 to 0.06 (MEM).
const STRUT_GAP_M: f64 = 0.045;

/// The measures of a field laid out by compass and stringing alone.
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
    /// Row of the left, centre, right and fourth string of a trichord or larger unison; two
    /// strings take the first two of them, one the first.
    pub row_of_string: [u8; 4],
    /// Plate flange to row 0, m, when known; the flange is taken as straight.
    pub flange_to_row0_m: Option<f64>,
}

impl Default for LayoutParameters {
    fn default() -> LayoutParameters {
        LayoutParameters {
            treble_section_count: None,
            pitch_m: PITCH_M,
            row_spacing_m: ROW_SPACING_M,
            strut_gap_m: STRUT_GAP_M,
            row_of_string: [0, 1, 2, 3],
            flange_to_row0_m: None,
        }
    }
}

/// A field described: every fact in metres and micrometres, not yet checked as a whole.
#[derive(Clone, Debug, PartialEq)]
struct Description {
    kind: InstrumentKind,
    face: PlateFace,
    stringing: Stringing,
    /// From the bass up; the last note of the last one ends the compass.
    sections: Vec<Section>,
    flange: Option<Flange>,
    /// Sizes of pins by notes, in order and apart.
    sizes: Vec<SizeRange>,
    /// Pins that the stringing has and the instrument has not, in order.
    missing: Vec<Pin>,
    /// Single pins that differ, and those beyond the stringing, in order.
    exact: Vec<(Pin, Correction)>,
}

/// A section between plate struts.
#[derive(Clone, Debug, PartialEq)]
struct Section {
    /// Its highest note.
    last_note: u8,
    arrangement: Arrangement,
    pitch_m: f64,
    row_spacing_m: f64,
    /// From y = 0 to its row 0.
    row0_m: f64,
    /// Each row's shift towards the treble against the row before; `None`: an even share of the
    /// pitch.
    slant_m: Option<f64>,
    /// Free plank beyond the pitch before the next section.
    gap_m: f64,
    /// Plate flange to y = 0, where it differs from that of the whole field.
    flange_m: Option<f64>,
}

/// How strings take rows.
#[derive(Clone, Debug, PartialEq)]
enum Arrangement {
    /// All pins in order, dealt over these rows again and again.
    Dealt(Vec<u8>),
    /// Note beside note, each string in its row.
    Unisons(RowsOf),
}

/// Row of each string, by the number of strings: left, centre, right, fourth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct RowsOf([[u8; 4]; 4]);

impl RowsOf {
    /// Two strings take the first two of an order of rows, one the first.
    const fn in_order(order: [u8; 4]) -> RowsOf {
        RowsOf([order; 4])
    }

    /// Rows of a unison's strings.
    fn of(&self, string_count: u8) -> &[u8] {
        let count = usize::from(string_count.clamp(1, 4));
        &self.0[count - 1][..count]
    }
}

/// A plate flange: its distance from y = 0 along the field.
#[derive(Clone, Debug, PartialEq)]
struct Flange {
    distance_m: f64,
    /// Points (x, how much farther it is there), by x; straight between, level beyond.
    curve_m: Vec<[f64; 2]>,
}

/// Pins of one size, by note.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct SizeRange {
    first: u8,
    last: u8,
    diameter_um: u32,
}

/// A description that was checked, with the pins it gives.
///
/// ```
/// use pinhold::instrument::layout::Layout;
///
/// let text = "format = 'pinhold.layout'\nversion = 1\nkind = 'upright'\ncompass = 'A0..A7'\n";
/// let upright = Layout::parse(text).unwrap().instrument("parlour");
/// assert_eq!(upright.pins.len(), 218);
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Layout {
    description: Description,
    first_note: u8,
    last_note: u8,
    pins: Vec<FieldPin>,
}

impl Layout {
    /// A field laid out by compass and stringing.
    pub fn new(
        kind: InstrumentKind,
        stringing: &Stringing,
        parameters: &LayoutParameters,
    ) -> Layout {
        let flange = |distance_m| Flange { distance_m, curve_m: Vec::new() };
        let description = Description {
            kind,
            face: PlateFace::Full,
            stringing: stringing.clone(),
            sections: sections(stringing, parameters),
            flange: parameters.flange_to_row0_m.map(flange),
            sizes: Vec::new(),
            missing: Vec::new(),
            exact: Vec::new(),
        };
        let pins = place::lay(&description);
        let (first_note, last_note) = (stringing.first_note(), stringing.last_note());
        Layout { description, first_note, last_note, pins }
    }

    /// Reads a description.
    ///
    /// # Errors
    /// When the text is no layout description of this version, a fact in it cannot be, or the
    /// pins it gives would stand in each other's way.
    pub fn parse(text: &str) -> Result<Layout, LayoutError> {
        let described = file::read(text)?;
        Layout::checked(described)
    }

    /// The same field, all pins of one size, µm.
    pub fn with_diameter(mut self, diameter_um: u32) -> Layout {
        let stringing = &self.description.stringing;
        let (first, last) = (stringing.first_note(), stringing.last_note());
        let laid = stringing.pins();
        self.description.sizes = vec![SizeRange { first, last, diameter_um }];
        for (pin, correction) in &mut self.description.exact {
            correction.diameter_um = (!laid.contains(pin)).then_some(diameter_um);
        }
        self.description.exact.retain(|(_, correction)| !correction.is_empty());
        for field in &mut self.pins {
            field.diameter_um = Some(diameter_um);
        }
        self
    }

    /// The same field under another plate; an open plank has no flange.
    pub fn with_face(mut self, face: PlateFace) -> Layout {
        self.description.face = face;
        if face == PlateFace::Open {
            self.description.without_flange();
            self.description.exact.retain(|(_, correction)| !correction.is_empty());
            for field in &mut self.pins {
                field.flange_distance_m = None;
            }
        }
        self
    }

    /// The text that [`Layout::parse`] reads as this layout.
    pub fn to_text(&self) -> String {
        write::text(&self.description)
    }

    /// An instrument with these pins.
    pub fn instrument(&self, name: &str) -> Instrument {
        Instrument {
            name: name.to_string(),
            kind: self.description.kind,
            face: self.description.face,
            first_note: self.first_note,
            last_note: self.last_note,
            pins: self.pins.clone(),
            strings: StringScale::default(),
        }
    }

    /// Lays a description out and checks every place against every other.
    fn checked(described: file::Described) -> Result<Layout, LayoutError> {
        let instrument = place::built(&described)?;
        Ok(Layout {
            description: described.description,
            first_note: instrument.first_note,
            last_note: instrument.last_note,
            pins: instrument.pins,
        })
    }
}

impl Description {
    /// Forgets every distance from a flange.
    fn without_flange(&mut self) {
        self.flange = None;
        for section in &mut self.sections {
            section.flange_m = None;
        }
        for (_, correction) in &mut self.exact {
            correction.flange_distance_m = None;
        }
    }
}

/// An instrument with every pin of a stringing placed by the parameters, under a full plate.
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
    Layout::new(kind, stringing, parameters).instrument(name)
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

/// The sections of a field of which nothing but compass and stringing is known, bass first.
fn sections(stringing: &Stringing, parameters: &LayoutParameters) -> Vec<Section> {
    let (first, last) = (stringing.first_note(), stringing.last_note());
    let section = |last_note: u8, arrangement: Arrangement| Section {
        last_note,
        arrangement,
        pitch_m: parameters.pitch_m,
        row_spacing_m: parameters.row_spacing_m,
        row0_m: 0.0,
        slant_m: None,
        gap_m: parameters.strut_gap_m,
        flange_m: None,
    };
    let mut sections = Vec::new();
    let mut rest_first = first;
    if has_bass_block(stringing) {
        let bass_last = bass_last_note(stringing);
        sections.push(section(bass_last, Arrangement::Dealt((0..BASS_ROW_COUNT).collect())));
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
    let rows = RowsOf::in_order(parameters.row_of_string);
    for index in 0..count {
        let last_note = rest[rest.len() * (index + 1) / count - 1];
        sections.push(section(last_note, Arrangement::Unisons(rows)));
    }
    sections
}
