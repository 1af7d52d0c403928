//! Moisture of wood, and how wood moves with it.

use pinhold::analysis::history::wood::{
    AMERICAN_BEECH, Air, SUGAR_MAPLE, coefficient_from_shrinkage, equilibrium_moisture_percent,
    humidity_for_moisture, moisture_after, size_change,
};
use pinhold_checks::{Case, Row};

fn moisture(celsius: f64, humidity: f64) -> f64 {
    equilibrium_moisture_percent(Air { celsius, humidity }).expect("air in range")
}

fn handbook_table(case: &Case) {
    let rows = case.rows();
    assert!(rows.len() > 100);
    for row in &rows {
        let got = moisture(row.number("temp_C"), row.number("rh_percent") / 100.0);
        case.tolerance("").check_printed(got, row.text("emc_percent_table"));
    }
}

fn equation(case: &Case) {
    for i in 0..case.count("/inputs/points_C_h") {
        let at = |part: u32| case.number(&format!("/inputs/points_C_h/{i}/{part}"));
        let expected = format!("/expected/emc_percent_celsius_form/{i}");
        case.check(moisture(at(0), at(1)), &expected, "");
    }
}

fn back_to_humidity(case: &Case) {
    for i in 0..case.count("/inputs/targets") {
        let at = |name: &str| case.number(&format!("/inputs/targets/{i}/{name}"));
        let got = humidity_for_moisture(at("emc_percent"), at("temp_C")).expect("in range");
        case.check(got, &format!("/expected/rh/{i}"), "");
    }
}

fn movement(case: &Case) {
    let table = case.table("/inputs/data_files/0");
    let shrinkages = case.table("/inputs/data_files/1");
    let of = |rows: &[Row], species: &str| {
        rows.iter().find(|row| row.text("species") == species).cloned()
    };
    let exact = case.tolerance("/table");
    for (name, ours) in [("Maple, sugar", SUGAR_MAPLE), ("Beech, American", AMERICAN_BEECH)] {
        let row = of(&table, name).expect("a wood of pinblocks");
        exact.check_printed(ours.radial, row.text("C_R_per_percent"));
        exact.check_printed(ours.tangential, row.text("C_T_per_percent"));
    }
    let mut linked = 0;
    for row in &table {
        let Some(shrinkage) = of(&shrinkages, row.text("species")) else { continue };
        let link = case.tolerance("/link_formula");
        let of = |column: &str| coefficient_from_shrinkage(shrinkage.number(column)).expect("it");
        link.check_printed(of("radial_percent"), row.text("C_R_per_percent"));
        link.check_printed(of("tangential_percent"), row.text("C_T_per_percent"));
        linked += 1;
    }
    assert!(linked > 10, "{linked}");
}

fn sizes(case: &Case) {
    for i in 0..case.count("/inputs/cases") {
        let at = |name: &str| case.number(&format!("/inputs/cases/{i}/{name}"));
        let got = size_change(at("D_mm"), at("C"), at("M_i"), at("M_f"));
        case.check(got, &format!("/expected/delta_mm/{i}"), "");
    }
}

fn seasons(case: &Case) {
    let count = case.count("/inputs/visits_C_h");
    let at = |i: usize, part: u32| case.number(&format!("/inputs/visits_C_h/{i}/{part}"));
    let moistures: Vec<f64> = (0..count).map(|i| moisture(at(i, 0), at(i, 1))).collect();
    let hole = case.number("/inputs/hole_mm");
    for (i, percent) in moistures.iter().enumerate() {
        case.check(*percent, &format!("/expected/emc_percent/{i}"), "");
        let change = |coefficient| size_change(hole, coefficient, moistures[0], *percent);
        case.check(change(SUGAR_MAPLE.tangential), &format!("/expected/delta_T_mm/{i}"), "");
        case.check(change(SUGAR_MAPLE.radial), &format!("/expected/delta_R_mm/{i}"), "");
    }
}

fn approach(case: &Case) {
    let at = |name: &str| case.number(&format!("/inputs/{name}"));
    for i in 0..case.count("/inputs/days") {
        let days = case.number(&format!("/inputs/days/{i}"));
        let got = moisture_after(at("M0"), at("M_eq"), at("time_constant_days"), days);
        case.check(got.expect("in range"), &format!("/expected/M/{i}"), "");
    }
}

cases! {
    "05_wood":
    "WOO-P01" equilibrium_moisture_of_the_handbook,
        "`analysis::history::wood::equilibrium_moisture_percent`", handbook_table;
    "WOO-P02" equilibrium_moisture_by_the_equation,
        "`analysis::history::wood::equilibrium_moisture_percent` (the Fahrenheit form is not used)",
        equation;
    "WOO-P03" humidity_for_a_moisture, "`analysis::history::wood::humidity_for_moisture`",
        back_to_humidity;
    "WOO-P04" movement_of_the_woods, "`analysis::history::wood`: maple, beech, \
        `coefficient_from_shrinkage`", movement;
    "WOO-P05" change_of_a_size, "`analysis::history::wood::size_change`", sizes;
    "WOO-P06" a_hole_over_the_seasons, "`analysis::history::wood`", seasons;
    "WOO-P07" approach_to_equilibrium, "`analysis::history::wood::moisture_after`", approach;
}
