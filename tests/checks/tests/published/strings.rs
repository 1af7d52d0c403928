//! Strings and wire.

use pinhold::instrument::strings::{
    cents_for_tension_change, cents_per_degree, fundamental_hz, inharmonicity, partial_hz,
    string_moment_nm, string_tension_n, tension_change_per_rotation_n, tension_from_mass_n,
    wave_speed_m_s, wire_diameter_inch, wire_diameter_m,
};
use pinhold_checks::Case;

fn wave_speed(case: &Case) {
    let tension_n = case.number("/inputs/tension_N");
    let high = wave_speed_m_s(tension_n, case.number("/inputs/mu_high_E"));
    let low = wave_speed_m_s(tension_n, case.number("/inputs/mu_low_E"));
    case.check(high, "/expected/v_high", "/v");
    case.check(low, "/expected/v_low", "/v");
    case.check(high, "/expected/full_precision/v_high", "/full_precision");
    case.check(low, "/expected/full_precision/v_low", "/full_precision");
    let raised_n = case.number("/expected/full_precision/tension");
    let equal = wave_speed_m_s(raised_n, case.number("/inputs/mu_low_E"));
    case.check(equal, "/expected/full_precision/v_high", "/full_precision");
}

fn fundamental(case: &Case, published: [&str; 2], full: [&str; 2]) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let got = fundamental_hz(input("length_m"), input("mass_kg"), input("tension_N"));
    for [expected, tolerance] in [published, full] {
        case.check(got, expected, tolerance);
    }
}

fn concert_grand(case: &Case) {
    for row in case.rows() {
        let got = string_tension_n(
            row.number("density_kg_m3"),
            row.number("diameter_mm") / 1000.0,
            row.number("length_m"),
            row.number("f0_hz"),
        );
        case.tolerance("/published").check_printed(got, row.text("tension_published_N"));
        case.tolerance("/computed").check_printed(got, row.text("tension_computed_N"));
    }
}

fn wire_gauges(case: &Case) {
    for row in case.rows() {
        let gauge = row.number("gauge");
        let inch = wire_diameter_inch(gauge).expect("gauge in the table");
        case.tolerance("").check_printed(inch, row.text("american_inch"));
        // Printed to 0.1 µm, and exact there.
        let tenths_um = wire_diameter_m(gauge).expect("gauge in the table") * 1e7;
        let printed: f64 = row.number("american_mm") * 1e4;
        case.tolerance("").check_printed(tenths_um.round(), &printed.round().to_string());
    }
}

fn moments(case: &Case) {
    for index in 0..case.count("/inputs/cases") {
        let input = |name| case.number(&format!("/inputs/cases/{index}/{name}"));
        let pin_m = input("pin_diameter_mm") / 1000.0;
        let wire_m = input("wire_diameter_mm") / 1000.0;
        let got = string_moment_nm(input("tension_N"), pin_m, wire_m);
        case.check(got, &format!("/expected/moment_Nm/{index}"), "");
    }
}

fn one_degree(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let (modulus_pa, wire_m) = (input("E_Pa"), input("wire_diameter_m"));
    let (pin_m, total_m) = (input("pin_diameter_m"), input("total_length_m"));
    let tension_n =
        string_tension_n(input("rho"), wire_m, input("speaking_length_m"), input("f_hz"));
    case.check(tension_n, "/expected/tension_N", "");
    let rotation_rad = 1.0_f64.to_radians();
    let change_n = tension_change_per_rotation_n(modulus_pa, wire_m, pin_m, total_m, rotation_rad);
    case.check(change_n, "/expected/delta_tension_N", "");
    case.check(cents_for_tension_change(tension_n, change_n), "/expected/cents", "");
    let cents = cents_per_degree(modulus_pa, wire_m, pin_m, total_m, tension_n);
    case.check(cents, "/expected/cents", "");
}

fn stiff_string(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let b = inharmonicity(input("E_Pa"), input("d_m"), input("T_N"), input("L_m"));
    case.check(b, "/expected/B", "");
    for index in 0..case.count("/inputs/partials") {
        let partial = case.number(&format!("/inputs/partials/{index}")) as u32;
        let got = partial_hz(input("f1_ideal"), b, partial);
        case.check(got, &format!("/expected/f_n/{index}"), "");
    }
}

fn tension_from_mass(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let got = tension_from_mass_n(input("length_m"), input("mass_kg"), input("f1_hz"));
    case.check(got, "/expected/tension_N", "");
}

cases! {
    "04_strings":
    "STR-P01" wave_speeds, "`instrument::strings::wave_speed_m_s`", wave_speed;
    "STR-P02" textbook_piano_wire,
        "`instrument::strings::fundamental_hz` (the highest audible harmonic is not ours)",
        |case| fundamental(case, ["/expected/f1", "/f1"], ["/expected/f1_full", "/f1_full"]);
    "STR-P03" published_middle_c, "`instrument::strings::fundamental_hz`",
        |case| fundamental(
            case,
            ["/expected/f1_published", "/f1_published"],
            ["/expected/f1", "/f1"],
        );
    "STR-P04" measured_concert_grand, "`instrument::strings::string_tension_n`", concert_grand;
    "STR-P05" music_wire_gauges,
        "`instrument::strings`: `wire_diameter_inch`, `wire_diameter_m` (American series)",
        wire_gauges;
    "STR-P06" moment_about_the_pin, "`instrument::strings::string_moment_nm`", moments;
    "STR-P07" one_degree_of_the_pin,
        "`instrument::strings`: `tension_change_per_rotation_n`, `cents_for_tension_change`, \
         `cents_per_degree`",
        one_degree;
    "STR-P08" stiff_string_partials, "`instrument::strings`: `inharmonicity`, `partial_hz`",
        stiff_string;
    "STR-P09" tension_from_a_mass, "`instrument::strings::tension_from_mass_n`",
        tension_from_mass;
}
