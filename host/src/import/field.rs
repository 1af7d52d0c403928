//! A file's rows fitted to an instrument: one made for them, or one that is there.
//!
//! Invariant: a place the file gives is kept as given; a missing one comes from the layout,
//! moved so that it agrees with the given ones around it.

use pinhold_protocol::record::Pin;

use super::error::RowFault;
use super::rows::HandRow;
use crate::instrument::layout::{LayoutParameters, lay_out};
use crate::instrument::note::note_name;
use crate::instrument::stringing::Stringing;
use crate::instrument::{FieldPin, Instrument, InstrumentKind, pin_name};

/// An instrument made from a file's rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Made {
    /// The instrument, places and sizes as the file gives them.
    pub instrument: Instrument,
    /// Pins between the lowest and the highest note that the file does not name.
    pub filled_count: usize,
}

/// Makes an instrument of the compass and stringing the rows speak of; `None` without rows.
///
/// Pins a sampled file leaves out are filled in, see [`Stringing::from_pins`].
pub fn make_instrument(name: &str, kind: InstrumentKind, rows: &[HandRow]) -> Option<Made> {
    let named: Vec<Pin> = rows.iter().map(|row| row.reading.pin).collect();
    let stringing = Stringing::from_pins(&named)?;
    let mut instrument = lay_out(name, kind, &stringing, &LayoutParameters::default());
    // Every stringing read from pins holds at least those pins, each once.
    let filled_count = instrument.pins.len() - named.len();
    instrument.pins = placed(&instrument, rows);
    Some(Made { instrument, filled_count })
}

/// The instrument's pins with places and sizes replaced where the rows give them.
pub fn placed(instrument: &Instrument, rows: &[HandRow]) -> Vec<FieldPin> {
    let mut pins = instrument.pins.clone();
    let parameters = LayoutParameters::default();
    let row_of = |pin: Pin| rows.iter().find(|row| row.reading.pin == pin);
    for field in &mut pins {
        let Some(row) = row_of(field.pin) else {
            continue;
        };
        let place = row.place;
        if let Some(given) = place.row
            && given != field.row
        {
            field.row = given;
            field.y_m = parameters.row_spacing_m * f64::from(given);
        }
        field.section = place.section.unwrap_or(field.section);
        field.diameter_um = row.reading.pin_um.or(field.diameter_um);
    }
    let shift_x_m = median_shift(&pins, rows, |row| row.place.x_m, |field| field.x_m);
    let shift_y_m = median_shift(&pins, rows, |row| row.place.y_m, |field| field.y_m);
    for field in &mut pins {
        let place = row_of(field.pin).map(|row| row.place).unwrap_or_default();
        field.x_m = place.x_m.unwrap_or(field.x_m + shift_x_m);
        field.y_m = place.y_m.unwrap_or(field.y_m + shift_y_m);
    }
    pins
}

/// Rows whose pin the instrument does not have.
pub fn foreign_rows(instrument: &Instrument, rows: &[HandRow]) -> Vec<RowFault> {
    let (first, last) = (instrument.first_note, instrument.last_note);
    let named = |note: u8| format!("{note} ({})", note_name(note).unwrap_or_default());
    let fault = |row: &HandRow| {
        let pin = row.reading.pin;
        if instrument.find_pin(pin).is_some() {
            return None;
        }
        let (column, reason) = if (first..=last).contains(&pin.note) {
            let letters: Vec<String> = instrument
                .pins
                .iter()
                .filter(|field| field.pin.note == pin.note)
                .map(|field| field.pin.string.letter().to_string())
                .collect();
            let reason = format!(
                "the instrument has no pin {}; that note has {}",
                pin_name(pin),
                letters.join(" ")
            );
            ("string", reason)
        } else {
            let reason = format!(
                "note {} is outside the instrument's compass, {} to {}",
                named(pin.note),
                named(first),
                named(last)
            );
            ("note", reason)
        };
        Some(RowFault { line: row.reading.source_line, column: column.to_string(), reason })
    };
    rows.iter().filter_map(fault).collect()
}

/// Median of given less laid-out over the pins whose coordinate the rows give; 0 without any.
fn median_shift(
    pins: &[FieldPin],
    rows: &[HandRow],
    given: fn(&HandRow) -> Option<f64>,
    laid_out: fn(&FieldPin) -> f64,
) -> f64 {
    let mut shifts: Vec<f64> = rows
        .iter()
        .filter_map(|row| {
            let field = pins.iter().find(|field| field.pin == row.reading.pin)?;
            Some(given(row)? - laid_out(field))
        })
        .collect();
    shifts.sort_by(f64::total_cmp);
    shifts.get(shifts.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::import::parse;

    fn made(text: &str) -> Made {
        let rows = parse(text.as_bytes()).unwrap();
        make_instrument("x", InstrumentKind::Grand, &rows).unwrap()
    }

    #[test]
    fn a_file_of_unisons_gives_its_own_compass_and_stringing() {
        let text = "note,string,sharp_nm\n40,L,9\n40,R,9\n41,L,9\n41,C,9\n41,R,9\n41,D,9\n";
        let made = made(text);
        assert_eq!((made.instrument.first_note, made.instrument.last_note), (40, 41));
        assert_eq!((made.instrument.pins.len(), made.filled_count), (6, 0));
    }

    #[test]
    fn a_sampled_file_is_filled_in_and_says_how_much() {
        let made = made("note,string,sharp_nm\n40,L,9\n40,C,9\n40,R,9\n43,C,9\n");
        assert_eq!((made.instrument.pins.len(), made.filled_count), (12, 8));
    }

    #[test]
    fn a_lone_fourth_string_fills_its_unison() {
        let made = made("note,string,sharp_nm\n40,D,9\n");
        assert_eq!((made.instrument.pins.len(), made.filled_count), (4, 3));
        assert!(made.instrument.pins.is_sorted_by_key(|field| field.pin));
    }

    #[test]
    fn given_places_stay_and_missing_ones_join_them() {
        let text = "note,string,sharp_nm,x_mm,y_mm,section,row,pin_um\n\
                    50,L,9,500,30,4,2,7250\n50,C,9,505,51,4,1,\n50,R,9,,,,,\n";
        let made = made(text);
        let pins = &made.instrument.pins;
        assert_eq!((pins[0].x_m, pins[0].y_m), (0.5, 0.03));
        assert_eq!((pins[0].section, pins[0].row, pins[0].diameter_um), (4, 2, Some(7250)));
        assert_eq!((pins[1].row, pins[1].diameter_um), (1, None));
        assert!((pins[2].x_m - 0.509).abs() < 0.006, "{}", pins[2].x_m);
    }

    #[test]
    fn pins_of_another_instrument_are_named() {
        let rows = parse(b"note,string,sharp_nm\n40,L,9\n40,D,9\n42,C,9\n").unwrap();
        let instrument = made("note,string,sharp_nm\n40,L,9\n41,R,9\n").instrument;
        let faults = foreign_rows(&instrument, &rows);
        assert_eq!(faults.len(), 2);
        assert_eq!((faults[0].line, faults[0].column.as_str()), (3, "string"));
        assert_eq!((faults[1].line, faults[1].column.as_str()), (4, "note"));
    }
}
