//! Whatever bytes a file holds, the import answers and does not panic.

use pinhold::import::field::{foreign_rows, make_instrument, placed};
use pinhold::import::{ImportError, parse, strings};
use pinhold::instrument::InstrumentKind;
use proptest::prelude::*;

/// Cells as files have them, good and bad.
fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        Just(String::new()),
        (0..100_i32).prop_map(|number| number.to_string()),
        (-99.0..99.0_f64).prop_map(|number| format!("{number:.2}")),
        "[LCRDlcrdX]",
        "[A-H][#b]?[0-9]",
        "[<>][0-9]{1,2}",
        Just("limit".to_string()),
        Just("unstrung".to_string()),
        "\"[^\"]{0,5}\"?",
        "\\PC{0,8}",
    ]
}

/// Headers of known columns, in any number and order, now and then with a stranger.
fn header() -> impl Strategy<Value = Vec<&'static str>> {
    let columns = vec![
        "sharp_nm",
        "flat_nm",
        "friction_nm",
        "sharp_inlb",
        "kind",
        "state",
        "cents",
        "u_nm",
        "pin_um",
        "section",
        "row",
        "x_mm",
        "y_mm",
        "remark",
        "stranger",
    ];
    (proptest::sample::subsequence(columns, 1..8), any::<bool>()).prop_map(|(mut chosen, front)| {
        let at = if front { 0 } else { chosen.len() };
        chosen.splice(at..at, ["note", "string"]);
        chosen
    })
}

/// Follows accepted rows through the making of an instrument.
fn follow(bytes: &[u8]) -> Result<(), TestCaseError> {
    match parse(bytes) {
        Ok(rows) => {
            let made = make_instrument("x", InstrumentKind::Grand, &rows).unwrap();
            prop_assert!(foreign_rows(&made.instrument, &rows).is_empty());
            prop_assert_eq!(made.instrument.pins.len(), rows.len() + made.filled_count);
            prop_assert!(made.instrument.pins.is_sorted_by_key(|field| field.pin));
            prop_assert!(placed(&made.instrument, &rows).iter().all(|field| field.x_m.is_finite()));
        }
        Err(error) => {
            let sentence = error.to_string();
            let shown = sentence.replace('\n', "");
            prop_assert!(!shown.chars().any(char::is_control), "{}", sentence);
            prop_assert!(sentence.lines().count() <= 22);
            if let ImportError::Rows { faults } = error {
                prop_assert!(!faults.is_empty());
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 2000,
        failure_persistence: None,
        ..Default::default()
    })]

    #[test]
    fn any_bytes(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        follow(&bytes)?;
    }

    #[test]
    fn any_text(text in "(\\PC|[\n\r,;\t\"]){0,200}") {
        follow(text.as_bytes())?;
    }

    #[test]
    fn any_table(
        header in header(),
        rows in proptest::collection::vec(proptest::collection::vec(cell(), 0..12), 0..8),
        separator in prop_oneof![Just(","), Just(";"), Just("\t")],
    ) {
        let mut text = header.join(separator);
        for row in rows {
            text.push('\n');
            text.push_str(&row.join(separator));
        }
        follow(text.as_bytes())?;
    }

    #[test]
    fn any_table_of_strings(
        columns in proptest::sample::subsequence(
            vec![
                "string", "total_length_mm", "outer_mm", "wrap_in", "winding", "packing",
                "wound_mass_g_per_m", "pin_um", "u_length_mm", "u_packing", "stranger",
            ],
            0..8,
        ),
        rows in proptest::collection::vec(
            (1..=88_u8, 20.0..2000.0_f64, 10..24_u8, proptest::collection::vec(cell(), 0..9)),
            0..8,
        ),
    ) {
        let mut text = String::from("note,speaking_length_mm,wire_gauge");
        for column in columns {
            text.push(',');
            text.push_str(column);
        }
        for (note, length_mm, gauge, cells) in rows {
            text.push_str(&format!("\n{note},{length_mm:.1},{gauge},{}", cells.join(",")));
        }
        match strings::parse(text.as_bytes(), 440.0) {
            Ok(rows) => {
                for row in &rows {
                    let tension_n = row.row.pull(440.0, 0.007).tension_n;
                    prop_assert!((200.0..2300.0).contains(&tension_n), "{}", tension_n);
                }
            }
            Err(error) => {
                let sentence = error.to_string();
                let shown = sentence.replace('\n', "");
                prop_assert!(!shown.chars().any(char::is_control), "{}", sentence);
                prop_assert!(sentence.lines().count() <= 22);
            }
        }
    }

    #[test]
    fn good_rows_are_taken(
        torques in proptest::collection::btree_map(1..=88_u8, 0..=4000_u32, 1..20)
    ) {
        let mut text = String::from("note,string,sharp_nm\n");
        for (note, torque) in &torques {
            text.push_str(&format!("{note},C,{:.2}\n", f64::from(*torque) / 100.0));
        }
        let rows = parse(text.as_bytes()).unwrap();
        prop_assert_eq!(rows.len(), torques.len());
        follow(text.as_bytes())?;
    }
}
