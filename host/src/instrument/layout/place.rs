//! From a description to pins.

use pinhold_protocol::record::Pin;

use super::error::LayoutError;
use super::file::Described;
use super::{Arrangement, Description, Flange, PIN_DISTANCE_M_MIN, Section};
use crate::instrument::places::{self, POSITION_M_MAX, PlaceError, micrometre_m};
use crate::instrument::scale::StringScale;
use crate::instrument::stringing::strings_of_unison;
use crate::instrument::{FieldPin, Instrument, pin_name};

/// Every pin of the stringing, in order; missing and differing pins are not looked at.
pub(super) fn lay(description: &Description) -> Vec<FieldPin> {
    let mut pins = Vec::with_capacity(description.stringing.pin_count());
    let mut first_note = description.stringing.first_note();
    let mut start_m = 0.0;
    for (number, section) in (0_u8..).zip(&description.sections) {
        let begin = pins.len();
        let notes = first_note..=section.last_note;
        for (pin, row, x_m) in seats(description, section, notes, start_m) {
            pins.push(field_pin(description, section, number, pin, row, x_m));
        }
        let end_m = pins[begin..].iter().map(|pin| pin.x_m).fold(start_m, f64::max);
        start_m = end_m + section.pitch_m + section.gap_m;
        first_note = section.last_note.saturating_add(1);
    }
    pins
}

/// The pins of a section with their row and x.
fn seats(
    description: &Description,
    section: &Section,
    notes: std::ops::RangeInclusive<u8>,
    start_m: f64,
) -> Vec<(Pin, u8, f64)> {
    let strings = |note: u8| strings_of_unison(description.stringing.string_count(note));
    match &section.arrangement {
        Arrangement::Dealt(rows) => {
            let pins = notes
                .flat_map(|note| strings(note).iter().map(move |&string| Pin { note, string }));
            let turn = rows.len().max(1);
            let seat = |(index, pin)| {
                let row = rows.get(index % turn).copied().unwrap_or(0);
                let slant_m = section.slant_m.unwrap_or(0.0) * f64::from(row);
                (pin, row, start_m + section.pitch_m * index as f64 / turn as f64 + slant_m)
            };
            pins.enumerate().map(seat).collect()
        }
        Arrangement::Unisons(rows_of) => {
            let unison = |(index, note): (usize, u8)| {
                let strings = strings(note);
                let rows = rows_of.of(strings.len() as u8);
                // Two strings take the outer two of three rows' order, one string the first.
                let share = strings.len().max(3) as f64;
                strings.iter().zip(rows).map(move |(&string, &row)| {
                    let x_m = match section.slant_m {
                        Some(slant_m) => section.pitch_m * index as f64 + slant_m * f64::from(row),
                        None => section.pitch_m * (index as f64 + f64::from(row) / share),
                    };
                    (Pin { note, string }, row, start_m + x_m)
                })
            };
            notes.enumerate().flat_map(unison).collect()
        }
    }
}

/// One pin, its row turned into metres.
fn field_pin(
    description: &Description,
    section: &Section,
    number: u8,
    pin: Pin,
    row: u8,
    x_m: f64,
) -> FieldPin {
    let y_m = micrometre_m(section.row0_m + section.row_spacing_m * f64::from(row));
    let x_m = micrometre_m(x_m);
    let flange = description.flange.as_ref();
    let curve_m = flange.map_or(0.0, |flange| flange.farther_m(x_m));
    let distance_m = section.flange_m.or(flange.map(|flange| flange.distance_m));
    let size = description.sizes.iter().find(|size| (size.first..=size.last).contains(&pin.note));
    FieldPin {
        pin,
        section: number,
        row,
        x_m,
        y_m,
        flange_distance_m: distance_m.map(|distance_m| micrometre_m(distance_m + curve_m + y_m)),
        diameter_um: size.map(|size| size.diameter_um),
    }
}

impl Flange {
    /// How much farther the flange is at an x, m.
    fn farther_m(&self, x_m: f64) -> f64 {
        let Some((first, last)) = self.curve_m.first().zip(self.curve_m.last()) else {
            return 0.0;
        };
        let beyond = if x_m <= first[0] { first } else { last };
        let between = self.curve_m.windows(2).find_map(|pair| match pair {
            [[x0, f0], [x1, f1]] if (*x0..*x1).contains(&x_m) => {
                Some(f0 + (f1 - f0) * (x_m - x0) / (x1 - x0))
            }
            _ => None,
        });
        between.unwrap_or(beyond[1])
    }
}

/// The whole field of a description, every place checked against every other.
pub(super) fn built(described: &Described) -> Result<Instrument, LayoutError> {
    let description = &described.description;
    let mut pins = lay(description);
    for field in &pins {
        let at_m = if field.x_m.abs() > field.y_m.abs() { field.x_m } else { field.y_m };
        if at_m.abs() > POSITION_M_MAX {
            let (pin, limit_mm) = (pin_name(field.pin), POSITION_M_MAX * 1e3);
            return Err(LayoutError::Beyond { pin, at_mm: at_m * 1e3, limit_mm });
        }
        if let Some(distance_m) = field.flange_distance_m.filter(|distance_m| *distance_m < 0.0) {
            let (pin, distance_mm) = (pin_name(field.pin), -distance_m * 1e3);
            return Err(LayoutError::FlangeBeyond { pin, distance_mm });
        }
    }
    pins.retain(|field| !description.missing.contains(&field.pin));
    let mut instrument = Instrument {
        name: String::new(),
        kind: description.kind,
        face: description.face,
        first_note: description.stringing.first_note(),
        last_note: description.stringing.last_note(),
        pins,
        strings: StringScale::default(),
    };
    for ((pin, correction), line) in description.exact.iter().zip(&described.exact_lines) {
        let there = instrument.find_pin(*pin).is_some();
        let apply = if there { places::correct } else { places::add };
        apply(&mut instrument, *pin, correction)
            .map_err(|error| LayoutError::Pin { line: *line, error })?;
    }
    if instrument.pins.is_empty() {
        return Err(LayoutError::NoPin);
    }
    check(&instrument, described)?;
    Ok(instrument)
}

/// Laid-out pins keep their distance; a measured one only must not overlap another.
fn check(instrument: &Instrument, described: &Described) -> Result<(), LayoutError> {
    let exact = &described.description.exact;
    let placed =
        |pin: &Pin| exact.iter().any(|(other, correction)| other == pin && correction.moves());
    let all = instrument.pins.iter().map(|field| field.pin);
    let (measured, laid): (Vec<Pin>, Vec<Pin>) = all.partition(placed);
    let mut faults = places::faults(instrument, &laid, Some(PIN_DISTANCE_M_MIN));
    let other_of = |fault: &PlaceError| match fault {
        PlaceError::Near { other, .. } => Some(*other),
        _ => None,
    };
    faults.retain(|fault| !other_of(fault).is_some_and(|other| measured.contains(&other)));
    faults.extend(places::faults(instrument, &measured, None));
    let count = faults.len();
    let Some(error) = faults.into_iter().next() else { return Ok(()) };
    let line = match &error {
        PlaceError::Near { pin, .. } | PlaceError::Alone { pin, .. } => {
            let at = exact.iter().position(|(other, _)| other == pin && measured.contains(pin));
            at.and_then(|at| described.exact_lines.get(at).copied())
        }
        _ => None,
    };
    if let Some(line) = line {
        return Err(LayoutError::Pin { line, error });
    }
    let more = if count > 1 { format!(" ({} more like it)", count - 1) } else { String::new() };
    Err(LayoutError::Crowded { error, more })
}
