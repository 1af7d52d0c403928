//! Robust location and scale, trends, changes of level and control charts, as far as they are ours.

use pinhold::analysis::history::chart::{ChartPoint, Ewma};
use pinhold::analysis::history::kendall::mann_kendall;
use pinhold::analysis::history::paired::{hodges_lehmann, paired_t, signed_rank};
use pinhold::analysis::history::pettitt::pettitt;
use pinhold::analysis::history::slope::theil_sen;
use pinhold::analysis::stats::{mean, median, scaled_mad, standard_deviation};
use pinhold_checks::{Case, Row};

fn outliers(case: &Case) {
    for (index, name) in ["copper", "nickel"].into_iter().enumerate() {
        let rows = case.table(&format!("/inputs/data_files/{index}"));
        let values: Vec<f64> = rows.iter().map(|row| row.number("ppm")).collect();
        assert_eq!(values.len() as f64, case.number(&format!("/expected/{name}/n")));
        let check = |got: Option<f64>, what: &str| {
            case.check(got.expect("values"), &format!("/expected/{name}/{what}"), "");
        };
        check(mean(&values), "mean");
        check(standard_deviation(&values), "sd");
        check(median(&values), "median");
        check(scaled_mad(&values), "mad_scaled_1.4826");
        let printed = |got: Option<f64>, what: &str| {
            let at = format!("/expected/published_rounded/{name}/{what}");
            case.check(got.expect("values"), &at, "/published_rounded");
        };
        printed(mean(&values), "mean");
        printed(median(&values), "median");
    }
}

fn column(rows: &[Row], name: &str) -> Vec<f64> {
    rows.iter().map(|row| row.number(name)).collect()
}

fn list(case: &Case, pointer: &str) -> Vec<f64> {
    (0..case.count(pointer)).map(|i| case.number(&format!("{pointer}/{i}"))).collect()
}

fn slope_with_tied_places(case: &Case) {
    let rows = case.rows();
    let line = theil_sen(&column(&rows, "x"), &column(&rows, "y"), 0.95).expect("a slope");
    case.check(line.slope, "/expected/slope", "/slope");
    assert_eq!(line.pair_count as f64, case.number("/expected/pairs_used"));
    let (low, high) = line.interval.expect("an interval");
    case.check(low, "/expected/ci95_published/0", "/ci95_published");
    case.check(high, "/expected/ci95_published/1", "/ci95_published");
}

fn groundwater(case: &Case) {
    let rows = case.rows();
    let (dates, sulfate) = (column(&rows, "date_decimal_as_printed"), column(&rows, "sulfate_ppm"));
    let test = mann_kendall(&sulfate).expect("a test");
    case.check(test.s, "/expected/S", "/S");
    case.check(test.variance, "/expected/var_S", "/S");
    case.check(test.z, "/expected/z", "/z");
    case.check(test.tau, "/expected/tau_a_S_over_pairs", "/slope");
    case.check(test.p, "/expected/p", "/slope");
    let line = theil_sen(&dates, &sulfate, 0.95).expect("a slope");
    case.check(line.slope, "/expected/slope", "/slope");
    case.check(line.intercept, "/expected/intercept_conover", "/slope");
    let (low, high) = line.interval.expect("an interval");
    case.check(low, "/expected/slope_ci95/0", "/slope_ci95");
    case.check(high, "/expected/slope_ci95/1", "/slope_ci95");
}

fn nile(case: &Case) {
    let rows = case.rows();
    let (years, flows) = (column(&rows, "year"), column(&rows, "flow"));
    let test = mann_kendall(&flows).expect("a test");
    for (got, what) in [(test.s, "S"), (test.variance, "var_S"), (test.z, "z"), (test.p, "p")] {
        case.check(got, &format!("/expected/mann_kendall/{what}"), "");
    }
    let line = theil_sen(&years, &flows, 0.95).expect("a slope");
    case.check(line.slope, "/expected/sen_slope", "");
    let change = pettitt(&flows).expect("a change");
    case.check(change.k, "/expected/pettitt/K", "");
    case.check(change.p, "/expected/pettitt/p_approx", "");
    assert_eq!(change.after as f64, case.number("/expected/pettitt/index/0"));
}

fn change_of_level(case: &Case) {
    let change = pettitt(&column(&case.rows(), "x")).expect("a change");
    case.check(change.k, "/expected/K", "/K");
    case.check(change.p, "/expected/p_published", "/p_published");
    case.check(change.p, "/expected/p_approx", "/p_approx");
    assert_eq!(change.after as f64, case.number("/expected/index"));
    for (i, expected) in list(case, "/expected/U_first_20").into_iter().enumerate() {
        assert_eq!(change.u[i], expected, "U after {i}");
    }
}

fn before_and_after(case: &Case) {
    let (before, after) = (list(case, "/inputs/before"), list(case, "/inputs/after"));
    let falls: Vec<f64> = before.iter().zip(&after).map(|(one, other)| one - other).collect();
    let test = signed_rank(&falls).expect("a test");
    assert_eq!(test.v, case.number("/expected/V"));
    case.check(test.p_greater, "/expected/p_one_sided", "/p");
    case.check(test.p, "/expected/p_two_sided", "/p");
    let shift = hodges_lehmann(&falls, 0.95).expect("a shift");
    case.check(shift.shift, "/expected/shift", "/shift");
    let (low, high) = shift.interval.expect("an interval");
    case.check(low, "/expected/ci95/0", "/ci95");
    case.check(high, "/expected/ci95/1", "/ci95");
}

fn sleep(case: &Case) {
    let (one, other) = (list(case, "/inputs/a"), list(case, "/inputs/b"));
    let differences: Vec<f64> = one.iter().zip(&other).map(|(one, other)| one - other).collect();
    let test = paired_t(&differences).expect("a test");
    case.check(test.t, "/expected/paired_t", "");
    case.check(test.p, "/expected/paired_p", "");
}

fn handbook_chart(case: &Case) {
    let at = |name: &str| case.number(&format!("/inputs/{name}"));
    let chart = Ewma { weight: at("lambda"), target: at("start"), sd: at("s"), factor: 3.0 };
    let points = chart.chart(&list(case, "/inputs/data")).expect("a chart");
    // The published lists begin with the target.
    for (i, point) in points.iter().enumerate() {
        let next = i + 1;
        let published = format!("/expected/ewma_published/{next}");
        case.check(point.value, &published, "/ewma_published");
        case.check(point.value, &format!("/expected/ewma/{next}"), "/ewma");
    }
    assert_eq!(points.len() + 1, case.count("/expected/ewma"));
    let (low, high) = chart.settled_limits().expect("limits");
    case.check(high, "/expected/ucl", "/limits");
    case.check(low, "/expected/lcl", "/limits");
}

fn chart_from_its_start(case: &Case) {
    let at = |name: &str| case.number(&format!("/inputs/{name}"));
    let chart =
        Ewma { weight: at("lambda"), target: at("start"), sd: at("sigma"), factor: at("L") };
    let points = chart.chart(&list(case, "/inputs/data")).expect("a chart");
    assert_eq!(points.len(), case.count("/expected/ewma"));
    for (i, point) in points.iter().enumerate() {
        case.check(point.value, &format!("/expected/ewma/{i}"), "");
        case.check(point.high, &format!("/expected/ucl/{i}"), "");
    }
    // The shift up in the data is seen by the chart, and not before it is there.
    let first = points.iter().position(|point: &ChartPoint| point.is_out());
    assert_eq!(first, Some(9));
}

cases! {
    "09_robust_trend":
    "ROB-P01" gross_outliers,
        "`analysis::stats`, `scaled_mad` among them (Huber's, Sn and Qn are not used)",
        outliers;
    "ROB-P04" slope_through_medians, "`analysis::history::slope::theil_sen`",
        slope_with_tied_places;
    "ROB-P05" trend_of_a_groundwater, "`analysis::history`: `kendall`, `slope`", groundwater;
    "ROB-P06" trend_and_change_of_a_river,
        "`analysis::history`: `kendall`, `slope`, `pettitt` (the split by least squares is not \
         used)", nile;
    "ROB-P07" change_of_level_of_a_series, "`analysis::history::pettitt`", change_of_level;
    "ROB-P08" the_same_before_and_after, "`analysis::history::paired`: `signed_rank`, \
        `hodges_lehmann`", before_and_after;
    "ROB-P09" students_pairs, "`analysis::history::paired::paired_t` (all pairs are of one pin: \
        Welch's test is not used)", sleep;
    "ROB-P10" weighted_means_of_the_handbook, "`analysis::history::chart::Ewma`", handbook_chart;
    "ROB-P14" weighted_means_from_the_start, "`analysis::history::chart::Ewma`",
        chart_from_its_start;
}
