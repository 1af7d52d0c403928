//! Pins corrected, added, removed and checked.

use super::*;
use crate::instrument::layout::modern_88;
use crate::instrument::{InstrumentKind, parse_pin};

fn grand() -> Instrument {
    modern_88("x", InstrumentKind::Grand)
}

fn pin(text: &str) -> Pin {
    parse_pin(text).unwrap()
}

fn at(x_m: f64, y_m: f64) -> Correction {
    Correction { x_m: Some(x_m), y_m: Some(y_m), ..Correction::default() }
}

#[test]
fn one_pin_is_corrected_and_all_others_stay() {
    let (mut instrument, before) = (grand(), grand());
    let correction = Correction { row: Some(2), diameter_um: Some(7250), ..at(0.6, 0.04) };
    correct(&mut instrument, pin("40L"), &correction).unwrap();
    for (new, old) in instrument.pins.iter().zip(&before.pins) {
        if new.pin == pin("40L") {
            assert_eq!((new.x_m, new.y_m, new.row), (0.6, 0.04, 2));
            assert_eq!((new.diameter_um, new.section), (Some(7250), old.section));
        } else {
            assert_eq!(new, old);
        }
    }
}

#[test]
fn a_row_alone_puts_the_pin_on_its_line_and_a_known_flange_goes_along() {
    let mut instrument = grand();
    for field in &mut instrument.pins {
        field.flange_distance_m = Some(0.015 + field.y_m);
    }
    let row = Correction { row: Some(2), ..Correction::default() };
    correct(&mut instrument, pin("40L"), &row).unwrap();
    let field = instrument.find_pin(pin("40L")).unwrap();
    assert_eq!((field.row, field.y_m, field.flange_distance_m), (2, 0.042, Some(0.057)));
    let beyond = Correction { row: Some(3), ..Correction::default() };
    correct(&mut instrument, pin("40L"), &beyond).unwrap();
    assert_eq!(instrument.find_pin(pin("40L")).unwrap().y_m, 0.063);
}

#[test]
fn pins_come_and_go() {
    let mut instrument = grand();
    let place = instrument.find_pin(pin("40R")).unwrap().clone();
    add(&mut instrument, pin("40D"), &at(place.x_m, place.y_m + 0.021)).unwrap();
    let added = instrument.find_pin(pin("40D")).unwrap();
    assert_eq!((added.section, added.row), (place.section, place.row));
    assert_eq!(instrument.pins.len(), 228);
    assert!(instrument.pins.is_sorted_by_key(|field| field.pin));
    assert_eq!(
        add(&mut instrument, pin("40D"), &at(0.0, 0.0)),
        Err(PlaceError::Present { pin: pin("40D") })
    );
    remove(&mut instrument, pin("40D")).unwrap();
    remove(&mut instrument, pin("88R")).unwrap();
    assert_eq!((instrument.pins.len(), instrument.last_note), (226, 88));
    let gone = remove(&mut instrument, pin("88R")).unwrap_err();
    assert_eq!(gone.to_string(), "the instrument has no pin C8 R; its note has L C");
    let alone = add(&mut instrument, pin("88R"), &Correction::default()).unwrap_err();
    assert_eq!(alone, PlaceError::NoPlace { pin: pin("88R") });
    instrument.pins.truncate(1);
    assert_eq!(remove(&mut instrument, pin("1C")), Err(PlaceError::Last { pin: pin("1C") }));
}

#[test]
fn what_cannot_be_is_refused_and_changes_nothing() {
    let (mut instrument, before) = (grand(), grand());
    for (correction, what) in [
        (at(f64::NAN, 0.0), "x_mm"),
        (at(0.0, f64::INFINITY), "y_mm"),
        (at(3.1, 0.0), "x_mm"),
        (Correction { row: Some(16), ..Correction::default() }, "row"),
        (Correction { section: Some(200), ..Correction::default() }, "section"),
        (Correction { diameter_um: Some(716), ..Correction::default() }, "diameter"),
        (Correction { flange_distance_m: Some(-0.001), ..at(0.0, 0.0) }, "flange_mm"),
    ] {
        let error = correct(&mut instrument, pin("40L"), &correction).unwrap_err();
        assert!(error.to_string().starts_with(what), "{error}");
    }
    instrument.face = PlateFace::Open;
    let flange = Correction { flange_distance_m: Some(0.01), ..Correction::default() };
    let error = correct(&mut instrument, pin("40L"), &flange).unwrap_err();
    assert_eq!(error, PlaceError::NoFlange { pin: pin("40L") });
    assert_eq!(instrument.pins, before.pins);
}

#[test]
fn crowded_and_lost_pins_are_named_once() {
    let mut instrument = grand();
    let all: Vec<Pin> = instrument.pins.iter().map(|field| field.pin).collect();
    assert_eq!(faults(&instrument, &all, Some(0.010)), []);
    let place = instrument.find_pin(pin("41L")).unwrap().clone();
    correct(&mut instrument, pin("40L"), &at(place.x_m, place.y_m + 0.006)).unwrap();
    let found = faults(&instrument, &all, None);
    assert!(matches!(found[..], [PlaceError::Near { .. }]), "{found:?}");
    assert!(found[0].to_string().contains("C4 L and C#4 L would stand 6.0 mm apart"));
    // Neither of the two is named: nobody asked.
    assert_eq!(faults(&instrument, &[pin("60C")], None), []);
    correct(&mut instrument, pin("40L"), &at(2.9, 0.0)).unwrap();
    let found = faults(&instrument, &[pin("40L")], None);
    assert!(matches!(found[..], [PlaceError::Alone { .. }]), "{found:?}");
}

#[test]
fn measured_unisons_tell_which_string_sits_in_which_row() {
    let mut instrument = grand();
    let unison = [pin("40L"), pin("40C"), pin("40R")];
    for (pin, y_m) in unison.into_iter().zip([0.05, 0.03, 0.009]) {
        let x_m = instrument.find_pin(pin).unwrap().x_m;
        correct(&mut instrument, pin, &at(x_m, y_m)).unwrap();
    }
    // Two of three measured tell nothing.
    assert_eq!(rows_by_position(&mut instrument, &unison[..2], &[]), []);
    assert_eq!(rows_by_position(&mut instrument, &unison, &unison[..1]), []);
    let changed = rows_by_position(&mut instrument, &unison, &[]);
    assert_eq!(changed, [pin("40L"), pin("40R")]);
    let row = |pin| instrument.find_pin(pin).unwrap().row;
    assert_eq!(unison.map(row), [2, 1, 0]);
}
