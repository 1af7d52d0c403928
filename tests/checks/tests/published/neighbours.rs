//! Likeness of neighbours: Moran, Geary, local G, joins, and many tests at once.

use std::collections::BTreeMap;

use pinhold::analysis::spatial::Weights;
use pinhold::analysis::spatial::autocorrelation::{geary, local_moran, moran};
use pinhold::analysis::spatial::joins::joins;
use pinhold::analysis::spatial::local_g::{local_g, local_g_star};
use pinhold::analysis::spatial::many_tests::{benjamini_hochberg, holm};
use pinhold_checks::{Case, Row};

/// Weights listed as `from`, `to` and perhaps a weight, between places named in `id`.
fn listed(ids: &[Row], id: &str, pairs: &[Row], weight: fn(&Row) -> f64) -> Weights {
    let index: BTreeMap<&str, usize> =
        ids.iter().enumerate().map(|(index, row)| (row.text(id), index)).collect();
    let entries =
        pairs.iter().map(|row| (index[row.text("from")], index[row.text("to")], weight(row)));
    Weights::from_entries(ids.len(), entries).expect("weights")
}

fn column(rows: &[Row], name: &str) -> Vec<f64> {
    rows.iter().map(|row| row.number(name)).collect()
}

fn irish_counties(case: &Case) {
    let counties = case.table("/inputs/data_files/0");
    let pairs = case.table("/inputs/data_files/1");
    let binary = listed(&counties, "letter", &pairs, |_| 1.0);
    let general = listed(&counties, "letter", &pairs, |row| row.number("weight_general"));
    let shares = general.row_standardised();
    for expected in case.table("/expected/see") {
        let values = column(&counties, expected.text("variable"));
        let check = |got: f64, name: &str| {
            case.tolerance("").check_printed(got, expected.text(name));
            case.tolerance("/full_precision").check_rounded(got, expected.text(name));
        };
        for (weights, name) in [(&binary, "binary"), (&general, "general"), (&shares, "rowstd")] {
            let i = moran(&values, weights).expect("varies");
            check(i.value, &format!("I_{name}"));
            check(i.z_normal(), &format!("z_I_{name}_normal"));
            check(i.z_random(), &format!("z_I_{name}_random"));
        }
        let c = geary(&values, &binary).expect("varies");
        check(c.value, "C_binary");
        // Printed positive where neighbours are alike, where C lies below its expectation.
        check(-c.z_normal(), "z_C_binary_normal");
        check(-c.z_random(), "z_C_binary_random");
    }
}

fn getis_ord_grid(case: &Case) {
    let cells = case.rows();
    let places: Vec<[f64; 2]> = cells.iter().map(|r| [r.number("x"), r.number("y")]).collect();
    let values = column(&cells, "value");
    let at = places.iter().position(|place| *place == [210.0, 210.0]).expect("the cell");
    for distance in [30.0, 60.0, 90.0, 120.0, 150.0] {
        let weights = Weights::within(&places, distance);
        let g = local_g(&values, &weights)[at].expect("neighbours");
        let star = local_g_star(&values, &weights, 1.0)[at].expect("neighbours");
        case.check(g, &format!("/expected/cell_210_210/{distance}/gi"), "");
        case.check(star, &format!("/expected/cell_210_210/{distance}/gi_star"), "");
        // Printed with six decimals.
        let printed = case.number(&format!("/expected/published_cell_210_210/g/{distance}"));
        assert!((g - printed).abs() <= 0.5e-6, "{g} {printed}");
    }
    let weights = Weights::within(&places, 30.0);
    let star = local_g_star(&values, &weights, 1.0);
    let g = local_g(&values, &weights);
    let printed = case.number("/expected/published_cell_210_210/g_star_30_eq_14_2");
    assert!((star[at].expect("neighbours") - printed).abs() <= 0.5e-5);
    let all = case.table("/expected/all_cells_d30");
    assert_eq!(all.len(), cells.len());
    for (index, row) in all.iter().enumerate() {
        assert_eq!(places[index], [row.number("x"), row.number("y")]);
        let check = |got: Option<f64>, name: &str| {
            case.tolerance("").check_printed(got.expect("neighbours"), row.text(name));
        };
        check(g[index], "gi_30");
        check(star[index], "gi_star_30");
    }
}

fn columbus(case: &Case) {
    let areas = case.table("/inputs/data_files/0");
    let binary = listed(&areas, "id", &case.table("/inputs/data_files/1"), |_| 1.0);
    let shares = binary.row_standardised();
    let crime = column(&areas, "crime");
    let i = moran(&crime, &shares).expect("varies");
    case.check(i.value, "/expected/moran_I", "");
    case.check(i.expected, "/expected/expected", "");
    case.check(i.variance_normal, "/expected/var_normal", "");
    case.check(i.z_normal(), "/expected/z_normal", "");
    case.check(i.variance_random, "/expected/var_random", "");
    case.check(i.z_random(), "/expected/z_random", "");
    case.check(geary(&crime, &shares).expect("varies").value, "/expected/geary_C", "");
    let own = local_moran(&crime, &shares).expect("varies");
    let (g, star) = (local_g(&crime, &binary), local_g_star(&crime, &binary, 1.0));
    let local = case.table("/expected/local");
    assert_eq!(local.len(), areas.len());
    for (index, row) in local.iter().enumerate() {
        assert_eq!(row.text("id"), areas[index].text("id"));
        let check = |got, name| case.tolerance("").check_rounded(got, row.text(name));
        check(own[index], "local_moran_Ii");
        check(g[index].expect("neighbours"), "local_gi");
        check(star[index].expect("neighbours"), "local_gi_star");
    }
}

fn columbus_joins(case: &Case) {
    let areas = case.table("/inputs/data_files/0");
    let weights = listed(&areas, "id", &case.table("/inputs/data_files/1"), |_| 1.0);
    let high: Vec<bool> = column(&areas, "crime").iter().map(|crime| *crime > 35.0).collect();
    let low: Vec<bool> = high.iter().map(|high| !high).collect();
    for (marks, name) in [(high, "high_high"), (low, "low_low")] {
        let found = joins(&marks, &weights).expect("neighbours");
        case.check(found.count, &format!("/expected/{name}/count"), "");
        case.check(found.expected, &format!("/expected/{name}/expected"), "");
        case.check(found.variance, &format!("/expected/{name}/variance"), "");
        case.check(found.z(), &format!("/expected/{name}/z"), "");
    }
}

fn many_tests(case: &Case) {
    let p_values: Vec<f64> = (0..case.count("/inputs/p_values"))
        .map(|index| case.number(&format!("/inputs/p_values/{index}")))
        .collect();
    let level = case.number("/inputs/q");
    for (adjusted, list, name) in [
        (benjamini_hochberg(&p_values), "adjusted_bh", "benjamini_hochberg"),
        (holm(&p_values), "adjusted_holm", "holm"),
    ] {
        for (index, p) in adjusted.iter().enumerate() {
            case.check(*p, &format!("/expected/{list}/{index}"), "/adjusted");
        }
        let rejected = adjusted.iter().filter(|p| **p <= level).count();
        assert_eq!(rejected as f64, case.number(&format!("/expected/rejected/{name}")));
    }
}

cases! {
    "08_spatial":
    "SPA-P01" cliff_and_ord, "`analysis::spatial::autocorrelation`: `moran`, `geary`",
        irish_counties;
    "SPA-P02" local_g_on_a_grid, "`analysis::spatial::local_g`", getis_ord_grid;
    "SPA-P03" columbus_crime, "`analysis::spatial`: `moran`, `geary`, `local_moran`, `local_g`",
        columbus;
    "SPA-P04" join_counts, "`analysis::spatial::joins`", columbus_joins;
    "SPA-P12" adjusted_p_values,
        "`analysis::spatial::many_tests` (Bonferroni's product is not used: Holm is never worse)",
        many_tests;
}
