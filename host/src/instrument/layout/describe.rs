//! The description of an instrument as it is: what it was laid out from, and every pin that
//! differs.
//!
//! Invariant: the text gives back the very same pins, unless they stand in each other's way.

use pinhold_protocol::record::Pin;

use super::{
    Arrangement, Description, Layout, LayoutParameters, RowsOf, SECTION_COUNT_MAX, Section,
    SizeRange, place, write,
};
use crate::instrument::places::Correction;
use crate::instrument::stringing::Stringing;
use crate::instrument::{FieldPin, Instrument, PlateFace};

/// The text of an instrument's layout; `origin` is the text it was laid out from, empty when there
/// is none. `None` when the instrument has no pin.
///
/// Pins that are where the origin puts them take no line; each of the others has one of its own.
pub fn describe(instrument: &Instrument, origin: &str) -> Option<String> {
    let of_origin = Layout::parse(origin).ok().map(|layout| layout.description);
    let mut description = match of_origin {
        Some(description) => description,
        None => guessed(instrument)?,
    };
    description.kind = instrument.kind;
    description.face = instrument.face;
    let (sizes, own_sizes) = sizes(instrument, &description.stringing);
    description.sizes = sizes;
    description.missing.clear();
    description.exact.clear();
    if instrument.face == PlateFace::Open {
        description.without_flange();
    }
    let mut laid = place::lay(&description);
    let unknown = |field: &FieldPin| {
        let now = instrument.find_pin(field.pin);
        field.flange_distance_m.is_some() && now.is_some_and(|now| now.flange_distance_m.is_none())
    };
    if laid.iter().any(unknown) {
        // A description cannot say of single pins that their distance is unknown.
        description.without_flange();
        laid = place::lay(&description);
    }
    let there = |pin: Pin| instrument.find_pin(pin).is_some();
    description.missing = laid.iter().map(|field| field.pin).filter(|pin| !there(*pin)).collect();
    for field in &instrument.pins {
        let at = laid.binary_search_by_key(&field.pin, |laid| laid.pin).ok();
        let mut correction = difference(at.and_then(|at| laid.get(at)), field);
        if own_sizes.contains(&field.pin) || at.is_none() {
            correction.diameter_um = field.diameter_um;
        }
        if !correction.is_empty() {
            description.exact.push((field.pin, correction));
        }
    }
    Some(write::text(&description))
}

/// A description of the same compass, stringing and sections, everything else by default.
fn guessed(instrument: &Instrument) -> Option<Description> {
    let pins: Vec<Pin> = instrument.pins.iter().map(|field| field.pin).collect();
    let stringing = over_compass(instrument, &Stringing::from_pins(&pins)?)?;
    let Layout { mut description, .. } =
        Layout::new(instrument.kind, &stringing, &LayoutParameters::default());
    if let Some(sections) = sections_of(instrument, &stringing, &description.sections) {
        description.sections = sections;
    }
    Some(description)
}

/// The stringing over the instrument's whole compass, its outer notes being there without pins.
fn over_compass(instrument: &Instrument, seen: &Stringing) -> Option<Stringing> {
    let (first, last) = (instrument.first_note, instrument.last_note);
    let common = Stringing::common_over(first, last).ok()?;
    let count = |note: u8| match seen.string_count(note) {
        0 => common.string_count(note),
        count => count,
    };
    Stringing::new(first, (first..=last).map(count).collect()).ok()
}

/// The instrument's own sections, where they are numbered from the bass up, note by note.
fn sections_of(
    instrument: &Instrument,
    stringing: &Stringing,
    usual: &[Section],
) -> Option<Vec<Section>> {
    let template = usual.first()?;
    let mut sections: Vec<Section> = Vec::new();
    let mut from = stringing.first_note();
    for note in stringing.first_note()..=stringing.last_note() {
        let of_note = instrument.pins.iter().find(|field| field.pin.note == note);
        let number =
            of_note.map_or(sections.len().saturating_sub(1), |field| usize::from(field.section));
        if number == sections.len() && number < usize::from(SECTION_COUNT_MAX) {
            from = note;
            let rows = RowsOf::in_order(LayoutParameters::default().row_of_string);
            let arrangement = Arrangement::Unisons(rows);
            sections.push(Section { last_note: note, arrangement, ..template.clone() });
        } else if number + 1 != sections.len() {
            return None;
        }
        let (first_section, few) =
            (sections.len() == 1, (from..=note).all(|n| stringing.string_count(n) < 3));
        let section = sections.last_mut()?;
        section.last_note = note;
        if first_section {
            section.arrangement = if few {
                template.arrangement.clone()
            } else {
                Arrangement::Unisons(RowsOf::in_order(LayoutParameters::default().row_of_string))
            };
        }
    }
    Some(sections)
}

/// Sizes note by note where all pins of a note have one, and the pins that have their own.
fn sizes(instrument: &Instrument, stringing: &Stringing) -> (Vec<SizeRange>, Vec<Pin>) {
    let (first, last) = (stringing.first_note(), stringing.last_note());
    let mut of_notes = Vec::new();
    let mut own = Vec::new();
    for note in first..=last {
        let pins: Vec<&FieldPin> =
            instrument.pins.iter().filter(|field| field.pin.note == note).collect();
        let size = pins.first().and_then(|field| field.diameter_um);
        if pins.iter().all(|field| field.diameter_um == size) {
            of_notes.push(size);
        } else {
            of_notes.push(None);
            let sized = pins.iter().filter(|field| field.diameter_um.is_some());
            own.extend(sized.map(|field| field.pin));
        }
    }
    (SizeRange::of_notes(first, &of_notes), own)
}

/// What a description has to say of a pin beyond where it lays it; size aside.
fn difference(laid: Option<&FieldPin>, field: &FieldPin) -> Correction {
    let same = laid.is_some_and(|laid| {
        (laid.section, laid.row) == (field.section, field.row)
            && (laid.x_m, laid.y_m) == (field.x_m, field.y_m)
            && laid.flange_distance_m == field.flange_distance_m
    });
    if same {
        return Correction::default();
    }
    Correction {
        x_m: Some(field.x_m),
        y_m: Some(field.y_m),
        row: Some(field.row),
        section: Some(field.section),
        flange_distance_m: field.flange_distance_m,
        diameter_um: None,
    }
}
