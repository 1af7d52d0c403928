//! Every spelling, every refusal, and round trips.

use proptest::prelude::*;

use super::*;

/// Spellings people use, and what they mean.
const TORQUES: &[(&str, f64)] = &[
    ("5.9 N·m", 5.9),
    ("5.9 Nm", 5.9),
    ("5.9nm", 5.9),
    ("5.9 N m", 5.9),
    ("5.9 N-m", 5.9),
    ("5.9 N.m", 5.9),
    ("5.9 N*m", 5.9),
    ("5.9 N⋅m", 5.9),
    ("+5.9 NM", 5.9),
    ("-5.9 N·m", -5.9),
    ("\u{2212}5.9 N·m", -5.9),
    ("  5.9\u{a0}N·m ", 5.9),
    (".5 newton metres", 0.5),
    ("5. Nm", 5.0),
    ("52 in·lb", 52.0 * NM_PER_INLBF),
    ("52 in-lb", 52.0 * NM_PER_INLBF),
    ("52-in-lbs", 52.0 * NM_PER_INLBF),
    ("52inlb", 52.0 * NM_PER_INLBF),
    ("52 in.lbs.", 52.0 * NM_PER_INLBF),
    ("52 inch-pounds", 52.0 * NM_PER_INLBF),
    ("52 in·lbf", 52.0 * NM_PER_INLBF),
    ("52 lbf·in", 52.0 * NM_PER_INLBF),
    ("52 lb-in", 52.0 * NM_PER_INLBF),
    ("52 pound-inches", 52.0 * NM_PER_INLBF),
    ("60 kgf·cm", 60.0 * NM_PER_KGFCM),
    ("60 kg·cm", 60.0 * NM_PER_KGFCM),
    ("60 kgfcm", 60.0 * NM_PER_KGFCM),
    ("60 kg-cm", 60.0 * NM_PER_KGFCM),
    ("60 cm·kg", 60.0 * NM_PER_KGFCM),
    ("60 kp·cm", 60.0 * NM_PER_KGFCM),
];

#[test]
fn every_spelling_of_a_torque_is_understood() {
    for (text, torque_nm) in TORQUES {
        assert_eq!(parse_torque(text, None), Ok(*torque_nm), "{text}");
    }
    for (spelling, unit) in TorqueUnit::SPELLINGS {
        assert_eq!(spelling.parse(), Ok(*unit), "{spelling}");
    }
    assert_eq!(parse_torque("60", Some(TorqueUnit::InchPoundForce)), Ok(60.0 * NM_PER_INLBF));
    // The unit typed counts, not the one a bare number would have.
    assert_eq!(parse_torque("6 Nm", Some(TorqueUnit::InchPoundForce)), Ok(6.0));
}

#[test]
fn other_quantities_are_understood() {
    for text in ["250 mm", "25cm", "0.25 m", "250 Millimeters"] {
        assert!((parse_length_m(text, None).unwrap() - 0.25).abs() < 1e-15, "{text}");
    }
    for text in ["10 in", "10\"", "10 inches", "10 in."] {
        assert_eq!(parse_length_m(text, None), Ok(0.254), "{text}");
    }
    assert_eq!(parse_mass_kg("500 g", None), Ok(0.5));
    assert_eq!(parse_mass_kg("2 lbs", None), Ok(0.907_184_74));
    assert_eq!(parse_mass_kg("16 oz", None), Ok(0.453_592_37));
    assert_eq!(parse_mass_kg("2.5", Some(MassUnit::Kilogram)), Ok(2.5));
    for text in ["68 °F", "68F", "20 °C", "20 degC", "20℃", "20 celsius"] {
        assert_eq!(parse_temperature_c(text, None), Ok(20.0), "{text}");
    }
    assert_eq!(parse_temperature_c("-40 F", None), Ok(-40.0));
}

#[test]
fn what_means_nothing_is_refused_in_a_sentence() {
    let torque = |text: &str| parse_torque(text, None).unwrap_err().to_string();
    for (text, sentence) in [
        ("", "nothing is given; write a torque such as 5.9 N·m or 52 in·lb"),
        ("tight", "'tight' is no torque; write it as in 5.9 N·m or 52 in·lb"),
        ("- Nm", "'- Nm' is no torque; write it as in 5.9 N·m or 52 in·lb"),
        ("1.2.3 Nm", "'1.2.3 Nm' is no torque; write it as in 5.9 N·m or 52 in·lb"),
        ("--5 Nm", "'--5 Nm' is no torque; write it as in 5.9 N·m or 52 in·lb"),
        ("nan", "'nan' is no torque; write it as in 5.9 N·m or 52 in·lb"),
        ("inf Nm", "'inf Nm' is no torque; write it as in 5.9 N·m or 52 in·lb"),
        ("52", "'52' has no unit; write nm, inlb or kgfcm after it"),
        ("52 ft·lb", "'ft·lb' is no unit of torque; use nm, inlb or kgfcm"),
        ("52 N/m", "'N/m' is no unit of torque; use nm, inlb or kgfcm"),
        ("52 kg", "'kg' is no unit of torque; use nm, inlb or kgfcm"),
        ("1e3 Nm", "'e3 Nm' is no unit of torque; use nm, inlb or kgfcm"),
    ] {
        assert_eq!(torque(text), sentence);
    }
    for text in ["5,9 N·m", "1,234 in·lb", "5,", "5, Nm", ",5 Nm"] {
        assert_eq!(
            torque(text),
            format!(
                "'{text}' has a comma in its number; write a decimal point, and no sign between \
                 thousands"
            )
        );
    }
    assert!(parse_mass_kg("5 gr", None).is_err());
    assert!(parse_length_m("250", None).is_err());
    assert!(parse_length_m("5 ft", None).is_err());
    assert!(parse_temperature_c("300 K", None).is_err());
}

#[test]
fn a_refusal_obeys_nothing_it_was_given() {
    let sentence = parse_torque("5 \u{1b}[2J\u{202e}nm", None).unwrap_err().to_string();
    assert!(!sentence.contains('\u{1b}') && !sentence.contains('\u{202e}'), "{sentence}");
    let long = format!("5 {}", "x".repeat(100_000));
    assert!(parse_torque(&long, None).unwrap_err().to_string().len() < 200);
    let digits = format!("{} Nm", "9".repeat(100_000));
    assert!(matches!(parse_torque(&digits, None), Err(QuantityError::NotANumber { .. })));
}

#[test]
fn a_value_and_its_spread_come_apart() {
    assert_eq!(split_plus_minus("250 mm ± 0.5 mm"), ("250 mm", Some("0.5 mm")));
    assert_eq!(split_plus_minus("2 kg +/- 1 g"), ("2 kg", Some("1 g")));
    assert_eq!(split_plus_minus("2 kg+-1 g"), ("2 kg", Some("1 g")));
    assert_eq!(split_plus_minus(" 2 kg "), ("2 kg", None));
}

fn unit() -> impl Strategy<Value = TorqueUnit> {
    prop_oneof![
        Just(TorqueUnit::NewtonMetre),
        Just(TorqueUnit::InchPoundForce),
        Just(TorqueUnit::KilogramForceCentimetre),
    ]
}

proptest! {
    #[test]
    fn what_is_shown_is_read_back(torque_nm in -60.0..60.0, unit in unit()) {
        let shown = format!("{} {unit}", unit.from_newton_metres(torque_nm));
        let read = parse_torque(&shown, None).unwrap();
        prop_assert!((read - torque_nm).abs() <= 1e-14 * torque_nm.abs(), "{shown}");
    }

    #[test]
    fn no_text_is_a_fault_of_ours(text in "\\PC{0,40}") {
        let _ = parse_torque(&text, Some(TorqueUnit::NewtonMetre));
        let _ = parse_length_m(&text, Some(LengthUnit::Metre));
        if let Ok(mass_kg) = parse_mass_kg(&text, None) {
            prop_assert!(mass_kg.is_finite());
        }
    }
}
