//! Files of positions, good and bad.

use proptest::prelude::*;

use super::*;
use crate::instrument::InstrumentKind;
use crate::instrument::layout::modern_88;
use crate::instrument::parse_pin;

fn grand() -> Instrument {
    modern_88("x", InstrumentKind::Grand)
}

fn applied(text: &str) -> Result<Placed, PlacesError> {
    apply(&grand(), &parse(text.as_bytes())?, false)
}

fn pin(name: &str) -> Pin {
    parse_pin(name).unwrap()
}

#[test]
fn only_the_pins_named_change() {
    let text = "# measured with a steel rule\nnote;string;x_mm;y_mm;flange_mm;pin_mm\n\
                C4;L;512,5;1,5;14;7,1\n41;L;526;;;\n";
    let placed = applied(text).unwrap();
    assert_eq!(placed.changed, [pin("40L"), pin("41L")]);
    let (before, after) = (grand(), placed.instrument);
    for (old, new) in before.pins.iter().zip(&after.pins) {
        assert!(old == new || placed.changed.contains(&new.pin));
    }
    let field = after.find_pin(pin("40L")).unwrap();
    assert_eq!((field.x_m, field.y_m, field.diameter_um), (0.5125, 0.0015, Some(7100)));
    assert_eq!((field.row, field.flange_distance_m), (0, Some(0.014)));
}

#[test]
fn a_whole_table_comes_back_as_it_was_written() {
    let mut instrument = grand();
    for field in &mut instrument.pins {
        field.flange_distance_m = Some(0.0137 + field.y_m);
        field.diameter_um = Some(7000 + u32::from(field.pin.note));
    }
    let rows = parse(table(&instrument.pins).as_bytes()).unwrap();
    assert_eq!(rows.len(), 227);
    let placed = apply(&grand(), &rows, false).unwrap();
    assert_eq!(placed.instrument, instrument);
    assert_eq!(apply(&instrument, &rows, false).unwrap().changed, []);
}

#[test]
fn positions_of_a_whole_unison_tell_its_rows() {
    let field = grand();
    let x_mm = |name: &str| field.find_pin(pin(name)).unwrap().x_m * 1e3;
    let text = format!(
        "note,string,x_mm,y_mm\n40,L,{},43\n40,C,{},20\n40,R,{},2\n",
        // Slanted the other way too, as rows in another order would be.
        x_mm("40R"),
        x_mm("40C"),
        x_mm("40L")
    );
    let placed = applied(&text).unwrap();
    assert_eq!(placed.rows_changed, [pin("40L"), pin("40R")]);
    assert_eq!(placed.instrument.find_pin(pin("40L")).unwrap().row, 2);
}

#[test]
fn pins_are_added_only_when_that_is_wanted() {
    let rows = parse(b"note,string,x_mm,y_mm\n40,D,560,80\n").unwrap();
    let refused = apply(&grand(), &rows, false).unwrap_err().to_string();
    assert!(refused.contains("line 2, column string: the instrument has no pin C4 D"), "{refused}");
    let placed = apply(&grand(), &rows, true).unwrap();
    assert_eq!((placed.added, placed.instrument.pins.len()), (vec![pin("40D")], 228));
}

#[test]
fn every_fault_is_named_by_line() {
    for (text, told) in [
        ("", "it is empty"),
        ("note,string,x_mm\n", "it has a header but no positions"),
        ("note,string\n1,C\n", "line 1: no column says anything"),
        ("note,x_mm\n1,5\n", "line 1: there is no column string"),
        ("note,string,x_nm\n1,C,5\n", "line 1: unknown column 'x_nm'; did you mean x_mm?"),
        ("note,string,x_mm,x_mm\n1,C,5,5\n", "line 1: column x_mm stands there twice"),
        ("note,string,pin_um,pin_mm\n1,C,7000,7\n", "line 1: pin_um and pin_mm"),
        ("note,string,x_mm\n1,C,\n", "line 2, column note: the row says nothing"),
        ("note,string,x_mm\n1,X,5\n89,C,5\n", "line 3, column note: '89' is no note"),
        ("note,string,x_mm\n1,C,5\n1,C,6\n", "line 3, column string: pin A0 C stands on line 2"),
        ("note,string,x_mm\n1,C,3500\n", "line 2, column x_mm: '3500' is not within -3000"),
        ("note,string,x_mm\n1,C,nan\n", "line 2, column x_mm: 'nan' is not a number"),
        ("note,string,row\n1,C,1.5\n", "line 2, column row: 1.5 is not a whole number"),
        ("note,string,pin_mm\n1,C,71\n", "line 2, column pin_mm: a pin has 5 to 9 mm"),
        ("note,string,x_mm\n1,L,5\n", "line 2, column string: the instrument has no pin A0 L"),
        ("note,string,x_mm,y_mm\n1,C,2999,2999\n", "line 2, column x_mm: pin A0 C would stand"),
        ("note,string,x_mm\n1,C,5,5\n", "line 2, column x_mm: 4 cells where the header has 3"),
    ] {
        let error = applied(text).unwrap_err().to_string();
        assert!(error.contains(told), "{text:?}: {error}");
    }
    let field = grand();
    let other = field.find_pin(pin("41L")).unwrap();
    let text = format!("note,string,x_mm,y_mm\n40,L,{},{}\n", other.x_m * 1e3 + 3.0, 0.0);
    let error = applied(&text).unwrap_err().to_string();
    assert!(
        error.contains("line 2, column x_mm: pins C4 L and C#4 L would stand 3.0 mm"),
        "{error}"
    );
    // The same place twice, both named.
    let text = "note,string,x_mm,y_mm\n40,L,560,1\n41,L,560,1\n";
    let error = applied(text).unwrap_err().to_string();
    assert!(error.contains("would stand 0.0 mm apart"), "{error}");
}

proptest! {
    #[test]
    fn any_bytes_are_taken_or_refused_in_words(
        bytes in prop::collection::vec(any::<u8>(), 0..200),
        cells in prop::collection::vec("[0-9A-Da-z.,;eN\u{2212}-]{0,8}", 0..40),
    ) {
        for text in [bytes, format!("note,string,x_mm,y_mm\n{}", cells.join(",")).into_bytes()] {
            let outcome = parse(&text).and_then(|rows| apply(&grand(), &rows, true));
            match outcome {
                Ok(placed) => {
                    let pins = &placed.instrument.pins;
                    prop_assert!(pins.iter().all(|f| f.x_m.is_finite() && f.y_m.is_finite()));
                    prop_assert!(pins.is_sorted_by_key(|field| field.pin));
                }
                Err(error) => {
                    let told = error.to_string().replace('\n', "");
                    prop_assert!(!told.chars().any(char::is_control), "{told:?}");
                }
            }
        }
    }
}
