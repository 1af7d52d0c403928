//! Files of strings: what is taken, and what is refused with which sentence.

use super::*;
use crate::instrument::InstrumentKind;
use crate::instrument::layout::modern_88;
use crate::instrument::scale::{Winding, WindingMetal};
use pinhold_protocol::record::StringPosition;

fn refused(text: &str) -> String {
    parse(text.as_bytes(), 440.0).expect_err("refused").to_string()
}

#[test]
fn rows_of_every_form_are_read() {
    let text = "# invented\n\nnote;string;speaking_length_mm;wire;winding;outer_mm;packing;\
                wound_mass_per_length;total_length_in;pin_um;u_length_mm;remark\n\
                A4;;398,5;16;;;;;;7163;0,5;agraffe # worn\n\
                # a wound one\n\
                A0;C;1400;1,25 mm;Copper;5,3;0,8;;;;;\n\
                A#0;;1390;1,25 mm;none;;;160 g/m;70 1/2;;;\n\
                A4;R;398;0.035 in;;;;;;;;\n";
    let rows = parse(text.as_bytes(), 440.0).unwrap();
    let lines: Vec<u32> = rows.iter().map(|row| row.line).collect();
    assert_eq!(lines, [6, 7, 4, 8]);
    let cover = Winding::Cover {
        outer_m: 0.0053,
        metal: WindingMetal::Copper,
        packing: Some(0.8),
        u_packing: None,
    };
    assert_eq!(rows[0].row.winding, Some(cover));
    assert_eq!(rows[0].row.string, Some(StringPosition::Centre));
    let weighed = Winding::Mass { mass_kg_per_m: 0.16, u_relative: None };
    assert_eq!(rows[1].row.winding, Some(weighed));
    assert_eq!(rows[1].row.total_length_m, Some(1.7907));
    let a4 = rows[2];
    assert_eq!((a4.row.speaking_length_m, a4.row.wire_m), (0.3985, 0.000_939_8));
    assert_eq!((a4.pin_um, a4.row.u_speaking_length_m), (Some(7163), Some(0.0005)));
    assert_eq!((rows[3].row.wire_m, rows[3].pin_um), (0.000_889, None));
}

#[test]
fn a_wrap_is_laid_twice_over_the_core() {
    let text = "note,speaking_length_mm,wire_mm,wrap_mm,winding\nA1,1200,1.1,0.75,iron\n";
    let rows = parse(text.as_bytes(), 440.0).unwrap();
    assert!(matches!(
        rows[0].row.winding,
        Some(Winding::Cover { outer_m: 0.0026, metal: WindingMetal::Iron, .. })
    ));
}

#[test]
fn faulty_headers_are_refused_by_name_and_line() {
    for (text, sentence) in [
        ("note,speaking_length_mm\nA4,398\n", "line 1: there is no column wire;"),
        ("\n#x\nnote,wire\nA4,16\n", "line 3: there is no column speaking_length;"),
        (
            "note,speking_length_mm,wire\nA4,398,16\n",
            "line 1: unknown column 'speking_length_mm'; did you mean speaking_length_mm?",
        ),
        (
            "note,speaking_length_gauge,wire\nA4,398,16\n",
            "line 1: unknown column 'speaking_length_gauge'",
        ),
        (
            "note,speaking_length_mm,wire,wire_mm\nA4,398,16,1\n",
            "line 1: columns wire and wire_mm give the same thing twice; keep one",
        ),
        ("# nothing\n", "it is empty;"),
        ("note,speaking_length_mm,wire\n", "it has a header but no strings;"),
    ] {
        let told = refused(text);
        assert!(told.starts_with(sentence), "{told}");
    }
}

#[test]
fn faulty_rows_are_all_named_by_line_and_column() {
    let header = "note,string,speaking_length_mm,wire_mm,total_length_mm,wound_mass_g_per_m,\
                  outer_mm,winding\n";
    for (row, sentence) in [
        ("H4,,398,1,,,,", "column note: 'H4' is no note"),
        (",,398,1,,,,", "column note: a note is missing"),
        ("A4,X,398,1,,,,", "column string: 'X' is no string"),
        ("A4,,,1,,,,", "column speaking_length_mm: it is missing"),
        ("A4,,39800,1,,,,", "'39800' is 39800 mm; 20 to 3000 mm are possible"),
        ("A4,,abc,1,,,,", "'abc' is not a length"),
        ("A4,,39.8,1,,,,", "gives a tension of 7 N"),
        ("A4,,398,1,300,,,", "the whole wire is longer than its speaking length"),
        ("A1,,1200,1.1,,5,,", "its core alone has 7.5 g/m"),
        ("A1,,1200,1.1,,,2.6,", "say copper or iron"),
        ("A1,,1200,1.1,,,,copper", "how heavy is the winding?"),
        ("A1,,1200,1.1,,40,2.6,copper", "by mass and by diameter; keep one"),
        ("A1,,1200,1.1,,,1.0,copper", "not thicker than its core"),
        ("A1,,1200,1.1,,,2.6,brass", "'brass' is no winding"),
        ("A4,,398,1,,,,,9", "there are 9 cells but 8 columns"),
    ] {
        let told = refused(&format!("{header}{row}\n"));
        assert!(told.contains("line 2, ") && told.contains(sentence), "{row}: {told}");
    }
    let twice = refused(&format!("{header}A4,,398,1,,,,\nB4,,x,1,,,,\n49,,399,1,,,,\n"));
    assert!(twice.starts_with("2 faults, nothing was stored\n  line 3, "), "{twice}");
    assert!(twice.contains("line 4, column note: A4 stands on line 2 already"), "{twice}");
}

#[test]
fn notes_and_strings_of_another_instrument_are_named() {
    let instrument = modern_88("x", InstrumentKind::Grand);
    let text = "note,string,speaking_length_mm,wire_mm\nA4,D,398,1\nA4,L,398,1\nB4,,350,1\n";
    let rows = parse(text.as_bytes(), 440.0).unwrap();
    let faults = foreign_rows(&instrument, &rows);
    assert_eq!((faults.len(), faults[0].line), (1, 2));
    let mut short = instrument;
    short.pins.retain(|field| field.pin.note < 50);
    short.last_note = 49;
    assert_eq!(foreign_rows(&short, &rows).len(), 2);
}

#[test]
fn hostile_files_are_refused_and_nothing_is_echoed_raw() {
    let many = format!("note,speaking_length_mm,wire\n{}", "A4,398,16\n".repeat(441));
    assert!(refused(&many).starts_with("it has more than 440 rows"));
    let wide = format!("note{}\nA4\n", ",x".repeat(40));
    assert!(refused(&wide).starts_with("its header has 41 columns"));
    assert!(parse(b"\x89PNG\r\n\x1a\n\0", 440.0).is_err());
    assert!(parse(b"\xFF\xFEa\0", 440.0).is_err());
    let told = refused("note,speaking_length_mm,wire\n\u{9b}2J,398,16\n");
    assert!(!told.chars().any(|c| c.is_control() && c != '\n'), "{told}");
    let long = refused(&format!("note,speaking_length_mm,wire\n{},398,16\n", "9".repeat(5000)));
    assert!(long.len() < 300, "{long}");
}
