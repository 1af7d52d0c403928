//! Conversion factors, pitch, cents, gravity.

use pinhold::instrument::gravity::{STANDARD_GRAVITY, normal_gravity};
use pinhold::instrument::pitch::{cents_between, frequency_after_cents, frequency_hz};
use pinhold::instrument::strings::{METRES_PER_INCH, NEWTONS_PER_LBF};
use pinhold::units::{NM_PER_INLBF, NM_PER_KGFCM, TorqueUnit};
use pinhold_checks::Case;

fn factors(case: &Case) {
    // The other rows are units the tool does not offer.
    let ours = [
        ("lbf.in", NM_PER_INLBF),
        ("kgf.cm", NM_PER_KGFCM),
        ("lbf", NEWTONS_PER_LBF),
        ("kgf", STANDARD_GRAVITY),
        ("in", METRES_PER_INCH),
    ];
    let rows = case.rows();
    for (unit, factor) in ours {
        let row = rows.iter().find(|row| row.text("from") == unit).expect("row");
        case.tolerance("").check_printed(factor, row.text("factor_f64"));
    }
}

fn equal_temperament(case: &Case) {
    for row in case.rows() {
        let note = row.text("key").parse().expect("note");
        let expected = row.text("frequency_hz");
        case.tolerance("").check_printed(frequency_hz(note, 440.0), expected);
    }
}

fn cents(case: &Case, key: u8, at_standard: &str) {
    for index in 0..case.count("/inputs/cents_pairs") {
        let end = |which| case.number(&format!("/inputs/cents_pairs/{index}/{which}"));
        case.check(cents_between(end(0), end(1)), &format!("/expected/cents/{index}"), "");
    }
    for index in 0..case.count("/inputs/offset") {
        let part = |which| case.number(&format!("/inputs/offset/{index}/{which}"));
        let got = frequency_after_cents(part(0), part(1));
        case.check(got, &format!("/expected/offset_hz/{index}"), "");
    }
    assert_eq!(case.number("/inputs/standard/key"), f64::from(key));
    let got = frequency_hz(key, case.number("/inputs/standard/A4"));
    case.check(got, at_standard, "");
}

fn gravity(case: &Case) {
    for row in case.rows() {
        let got = normal_gravity(row.number("latitude_deg"));
        case.tolerance("").check_printed(got, row.text("g_m_s2"));
    }
    case.check(normal_gravity(0.0), "/expected/published_equator", "");
    case.check(normal_gravity(90.0), "/expected/published_pole", "");
}

fn torque_in_units(case: &Case) {
    for index in 0..case.count("/inputs/torque_Nm") {
        let torque_nm = case.number(&format!("/inputs/torque_Nm/{index}"));
        let shown = [
            (TorqueUnit::InchPoundForce, "lbf_in"),
            (TorqueUnit::KilogramForceCentimetre, "kgf_cm"),
        ];
        for (unit, column) in shown {
            let got = unit.from_newton_metres(torque_nm);
            case.check(got, &format!("/expected/{column}/{index}"), "");
        }
    }
}

cases! {
    "03_units_pitch":
    "UNI-P01" factors_to_si, "`units`, `instrument::strings`: the five factors in use", factors;
    "UNI-P02" notes_to_frequencies, "`instrument::pitch::frequency_hz`", equal_temperament;
    "UNI-P03" cents_first_set,
        "`instrument::pitch`: `cents_between`, `frequency_after_cents`, `frequency_hz`",
        |case| cents(case, 40, "/expected/key40_at_442");
    "UNI-P04" gravity_at_latitudes, "`instrument::gravity::normal_gravity`", gravity;
    "UNI-P05" torque_in_display_units,
        "`units::TorqueUnit`: in·lbf and kgf·cm (ft·lbf is not offered)", torque_in_units;
    "UNI-P06" cents_second_set,
        "`instrument::pitch`: `cents_between`, `frequency_after_cents`, `frequency_hz`",
        |case| cents(case, 13, "/expected/key13_at_435");
}
