//! Places of single pins: corrected, added, removed, and checked against each other.
//!
//! The one way a pin's place changes, whoever asks for it: a layout description, a file of measured
//! positions, or a person with a rule. Deliberately not here: how a whole field is laid out (see
//! [`super::layout`]).
//!
//! Invariant: a pin that is not named is never moved.

use pinhold_protocol::record::{Pin, StringPosition};
use thiserror::Error;

use super::{FieldPin, Instrument, PlateFace, pin_name};

/// Farthest a pin is believed from the bass end or from the flange side, m: no field is as long.
pub const POSITION_M_MAX: f64 = 3.0;
/// Farthest a pin is believed from its nearest neighbour, m.
pub const ALONE_M_MAX: f64 = 0.5;
/// Farthest a pin is believed from the plate flange, m.
pub const FLANGE_M_MAX: f64 = 0.5;
/// Sections and rows are numbered 0 to this.
pub const PLACE_NUMBER_MAX: u8 = 15;
/// Diameters believed, µm: well beyond catalogue sizes on both sides.
pub const DIAMETER_UM: std::ops::RangeInclusive<u32> = 5000..=9000;
/// Diameter of a pin nobody measured, for telling whether two would overlap, µm (2/0 and 7.00 mm
/// are the usual small sizes; the smaller one warns least).
const DIAMETER_UM_ASSUMED: u32 = 7000;
/// Row to row where a section gives no other, m: 0.018 to 0.025 (MEM).
const ROW_SPACING_M: f64 = 0.021;

/// What is to change of a pin; `None` leaves it as it is.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Correction {
    /// Metres from the bass end towards the treble.
    pub x_m: Option<f64>,
    /// Metres away from the plate flange side.
    pub y_m: Option<f64>,
    /// Row, 0 nearest the plate flange.
    pub row: Option<u8>,
    /// Section between plate struts, 0 in the bass.
    pub section: Option<u8>,
    /// Metres from the plate flange.
    pub flange_distance_m: Option<f64>,
    /// Diameter in micrometres.
    pub diameter_um: Option<u32>,
}

impl Correction {
    /// Whether nothing would change.
    pub fn is_empty(&self) -> bool {
        *self == Correction::default()
    }

    /// Whether it says where the pin stands.
    pub fn moves(&self) -> bool {
        self.x_m.or(self.y_m).is_some() || self.row.or(self.section).is_some()
    }
}

/// Why a place is refused; nothing of it is taken.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum PlaceError {
    /// No such pin.
    #[error("the instrument has no pin {}; its note has {letters}", pin_name(*pin))]
    Absent {
        /// The pin asked for.
        pin: Pin,
        /// Strings its note has, as text.
        letters: String,
    },
    /// A pin that is there already.
    #[error("the instrument has a pin {} already; correct it instead of adding it", pin_name(*pin))]
    Present {
        /// The pin asked for.
        pin: Pin,
    },
    /// A new pin without a position.
    #[error("a pin that is added needs its place: x and y of {}", pin_name(*pin))]
    NoPlace {
        /// The pin.
        pin: Pin,
    },
    /// The only pin cannot go.
    #[error("pin {} is the only one left; an instrument has at least one", pin_name(*pin))]
    Last {
        /// The pin.
        pin: Pin,
    },
    /// A number beyond what can be.
    #[error("{what} of pin {} is {given}, and must be {least} to {most}", pin_name(*pin))]
    Beyond {
        /// The pin.
        pin: Pin,
        /// Which number.
        what: &'static str,
        /// What was given, in the unit the name says.
        given: f64,
        /// Least possible.
        least: f64,
        /// Most possible.
        most: f64,
    },
    /// A distance from a flange there is none of.
    #[error(
        "pin {} has a distance from the plate flange, but the plank is open and has none",
        pin_name(*pin)
    )]
    NoFlange {
        /// The pin.
        pin: Pin,
    },
    /// Two pins at one place, or overlapping.
    #[error(
        "pins {} and {} would stand {distance_mm:.1} mm apart, less than {least_mm:.1} mm; check \
         the positions of both",
        pin_name(*pin),
        pin_name(*other)
    )]
    Near {
        /// The pin named.
        pin: Pin,
        /// The other one.
        other: Pin,
        /// Between their centres, mm.
        distance_mm: f64,
        /// Least possible, mm.
        least_mm: f64,
    },
    /// A pin far from all others.
    #[error(
        "pin {} would stand {distance_mm:.0} mm from its nearest neighbour {}; check its x and y, \
         and that all positions count from the same end",
        pin_name(*pin),
        pin_name(*other)
    )]
    Alone {
        /// The pin named.
        pin: Pin,
        /// Its nearest neighbour.
        other: Pin,
        /// Between their centres, mm.
        distance_mm: f64,
    },
}

/// Changes one pin; all others stay.
///
/// A row given without y puts the pin on that row's line; a new y moves a known distance from the
/// flange along, unless that is given too.
///
/// # Errors
/// When there is no such pin or a number cannot be; the instrument is then as it was.
pub fn correct(
    instrument: &mut Instrument,
    pin: Pin,
    correction: &Correction,
) -> Result<(), PlaceError> {
    check_numbers(instrument.face, pin, correction)?;
    let Some(index) = index_of(instrument, pin) else {
        return Err(PlaceError::Absent { pin, letters: letters(instrument, pin.note) });
    };
    let old = instrument.pins[index].clone();
    let section = correction.section.unwrap_or(old.section);
    let row = correction.row.unwrap_or(old.row);
    let moved = (section, row) != (old.section, old.row);
    let on_line_m = moved.then(|| row_line_m(&instrument.pins, pin, section, row));
    let y_m = correction.y_m.or(on_line_m).unwrap_or(old.y_m);
    let along = |distance_m: f64| micrometre_m((distance_m + y_m - old.y_m).max(0.0));
    instrument.pins[index] = FieldPin {
        pin,
        section,
        row,
        x_m: micrometre_m(correction.x_m.unwrap_or(old.x_m)),
        y_m: micrometre_m(y_m),
        flange_distance_m: match correction.flange_distance_m {
            Some(given_m) => Some(micrometre_m(given_m)),
            None => old.flange_distance_m.map(along),
        },
        diameter_um: correction.diameter_um.or(old.diameter_um),
    };
    Ok(())
}

/// Adds a pin at a place; section and row, when not given, are those of the nearest pins.
///
/// # Errors
/// When the pin is there already, has no position, or a number cannot be.
pub fn add(
    instrument: &mut Instrument,
    pin: Pin,
    correction: &Correction,
) -> Result<(), PlaceError> {
    check_numbers(instrument.face, pin, correction)?;
    let index = match instrument.pins.binary_search_by_key(&pin, |field| field.pin) {
        Ok(_) => return Err(PlaceError::Present { pin }),
        Err(index) => index,
    };
    let (Some(x_m), Some(y_m)) = (correction.x_m, correction.y_m) else {
        return Err(PlaceError::NoPlace { pin });
    };
    let by_x = |field: &&FieldPin| ordered((field.x_m - x_m).abs());
    let nearest = instrument.pins.iter().min_by_key(by_x);
    let section = correction.section.or(nearest.map(|field| field.section)).unwrap_or(0);
    let by_y = |field: &&FieldPin| ordered((field.y_m - y_m).abs());
    let in_section = instrument.pins.iter().filter(|field| field.section == section);
    let row = correction.row.or(in_section.min_by_key(by_y).map(|field| field.row)).unwrap_or(0);
    let new = FieldPin {
        pin,
        section,
        row,
        x_m: micrometre_m(x_m),
        y_m: micrometre_m(y_m),
        flange_distance_m: correction.flange_distance_m.map(micrometre_m),
        diameter_um: correction.diameter_um,
    };
    instrument.pins.insert(index, new);
    instrument.first_note = instrument.first_note.min(pin.note);
    instrument.last_note = instrument.last_note.max(pin.note);
    Ok(())
}

/// Removes a pin; the compass stays. Readings of it are the store's and stay too.
///
/// # Errors
/// When there is no such pin, or no other one.
pub fn remove(instrument: &mut Instrument, pin: Pin) -> Result<(), PlaceError> {
    let Some(index) = index_of(instrument, pin) else {
        return Err(PlaceError::Absent { pin, letters: letters(instrument, pin.note) });
    };
    if instrument.pins.len() == 1 {
        return Err(PlaceError::Last { pin });
    }
    instrument.pins.remove(index);
    Ok(())
}

/// Puts an instrument under another plate; under an open plank's, distances from a flange go.
pub fn set_face(instrument: &mut Instrument, face: PlateFace) {
    instrument.face = face;
    if face == PlateFace::Open {
        for field in &mut instrument.pins {
            field.flange_distance_m = None;
        }
    }
}

/// Gives the strings of a unison that was measured whole the rows it has, in the order of their
/// distance from the flange side; pins whose row was given are left alone.
///
/// A layout can only assume which string sits in which row, since makers differ; positions tell.
/// Returns the pins whose row changed.
pub fn rows_by_position(
    instrument: &mut Instrument,
    measured: &[Pin],
    row_given: &[Pin],
) -> Vec<Pin> {
    let mut notes: Vec<u8> = measured.iter().map(|pin| pin.note).collect();
    notes.sort_unstable();
    notes.dedup();
    let mut changed = Vec::new();
    for note in notes {
        let unison = || (0..instrument.pins.len()).filter(|i| instrument.pins[*i].pin.note == note);
        let whole = unison().all(|i| {
            let pin = instrument.pins[i].pin;
            measured.contains(&pin) && !row_given.contains(&pin)
        });
        if !whole {
            continue;
        }
        let mut by_y: Vec<usize> = unison().collect();
        by_y.sort_by_key(|i| (ordered(instrument.pins[*i].y_m), *i));
        let mut rows: Vec<u8> = by_y.iter().map(|i| instrument.pins[*i].row).collect();
        rows.sort_unstable();
        for (index, row) in by_y.into_iter().zip(rows) {
            let field = &mut instrument.pins[index];
            if field.row != row {
                field.row = row;
                changed.push(field.pin);
            }
        }
    }
    changed.sort_unstable();
    changed
}

/// What is wrong with the places of the pins named, each pair of pins told once; empty when
/// nothing is. `least_m` is the least distance of two centres; `None` takes their diameters.
pub fn faults(instrument: &Instrument, named: &[Pin], least_m: Option<f64>) -> Vec<PlaceError> {
    let mut faults = Vec::new();
    for (index, field) in instrument.pins.iter().enumerate() {
        if !named.contains(&field.pin) {
            continue;
        }
        let mut nearest: Option<(f64, Pin)> = None;
        for (other_index, other) in instrument.pins.iter().enumerate() {
            if other_index == index {
                continue;
            }
            let (dx, dy) = (other.x_m - field.x_m, other.y_m - field.y_m);
            let distance_m = (dx * dx + dy * dy).sqrt();
            if nearest.is_none_or(|(least, _)| distance_m < least) {
                nearest = Some((distance_m, other.pin));
            }
            let told = other_index < index && named.contains(&other.pin);
            let least_m = least_m.unwrap_or_else(|| touching_m(field, other));
            // A micrometre of room: places are whole micrometres.
            if !told && distance_m < least_m - 1.5e-6 {
                faults.push(PlaceError::Near {
                    pin: field.pin,
                    other: other.pin,
                    distance_mm: distance_m * 1e3,
                    least_mm: least_m * 1e3,
                });
            }
        }
        if let Some((distance_m, other)) = nearest.filter(|(d, _)| *d > ALONE_M_MAX) {
            faults.push(PlaceError::Alone { pin: field.pin, other, distance_mm: distance_m * 1e3 });
        }
    }
    faults
}

/// Distance at which two pins touch, m.
fn touching_m(one: &FieldPin, other: &FieldPin) -> f64 {
    let um = |field: &FieldPin| f64::from(field.diameter_um.unwrap_or(DIAMETER_UM_ASSUMED));
    (um(one) + um(other)) / 2.0 * 1e-6
}

/// Refuses numbers that cannot be.
fn check_numbers(face: PlateFace, pin: Pin, correction: &Correction) -> Result<(), PlaceError> {
    let within = |what, given: Option<f64>, least: f64, most: f64| match given {
        Some(given) if !(least..=most).contains(&given) => {
            Err(PlaceError::Beyond { pin, what, given, least, most })
        }
        _ => Ok(()),
    };
    let mm = |metres: Option<f64>| metres.map(|metres| micrometre_m(metres) * 1e3);
    let most_mm = POSITION_M_MAX * 1e3;
    within("x_mm", mm(correction.x_m), -most_mm, most_mm)?;
    within("y_mm", mm(correction.y_m), -most_mm, most_mm)?;
    within("flange_mm", mm(correction.flange_distance_m), 0.0, FLANGE_M_MAX * 1e3)?;
    let number_max = f64::from(PLACE_NUMBER_MAX);
    within("row", correction.row.map(f64::from), 0.0, number_max)?;
    within("section", correction.section.map(f64::from), 0.0, number_max)?;
    let [least_mm, most_mm] =
        [*DIAMETER_UM.start(), *DIAMETER_UM.end()].map(|um| f64::from(um) / 1e3);
    let diameter_mm = correction.diameter_um.map(|um| f64::from(um) / 1e3);
    within("diameter in mm", diameter_mm, least_mm, most_mm)?;
    if face == PlateFace::Open && correction.flange_distance_m.is_some() {
        return Err(PlaceError::NoFlange { pin });
    }
    Ok(())
}

/// Where a row of a section lies, m: the median of its other pins, else by row number from the
/// section's lowest row.
fn row_line_m(pins: &[FieldPin], but: Pin, section: u8, row: u8) -> f64 {
    let line = |row: u8| {
        let of_row = pins.iter().filter(|field| field.section == section && field.row == row);
        let mut ys: Vec<f64> =
            of_row.filter(|field| field.pin != but).map(|field| field.y_m).collect();
        ys.sort_by(f64::total_cmp);
        ys.get(ys.len() / 2).copied()
    };
    let nearest = || {
        let other = (0..=PLACE_NUMBER_MAX).filter_map(|other| Some((other, line(other)?)));
        let (other, y_m) = other.min_by_key(|(other, _)| other.abs_diff(row))?;
        Some(y_m + (f64::from(row) - f64::from(other)) * ROW_SPACING_M)
    };
    line(row).or_else(nearest).unwrap_or(f64::from(row) * ROW_SPACING_M)
}

fn index_of(instrument: &Instrument, pin: Pin) -> Option<usize> {
    instrument.pins.binary_search_by_key(&pin, |field| field.pin).ok()
}

/// The strings a note has, as text.
fn letters(instrument: &Instrument, note: u8) -> String {
    let of_note = instrument.pins.iter().filter(|field| field.pin.note == note);
    let letter = |string: StringPosition| string.letter().to_string();
    let letters: Vec<String> = of_note.map(|field| letter(field.pin.string)).collect();
    if letters.is_empty() { "no pin".to_owned() } else { letters.join(" ") }
}

/// A length to the nearest micrometre, as the store keeps it.
pub(super) fn micrometre_m(length_m: f64) -> f64 {
    (length_m * 1e6).round() / 1e6
}

/// A finite distance as a key that can be compared, nm.
fn ordered(distance_m: f64) -> i64 {
    // A cast saturates, and takes what is no number for 0.
    (distance_m * 1e9).round() as i64
}

#[cfg(test)]
mod tests;
