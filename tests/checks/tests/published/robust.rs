//! Robust location and scale, as far as they are ours.

use pinhold::analysis::stats::{mean, median, scaled_mad, standard_deviation};
use pinhold_checks::Case;

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

cases! {
    "09_robust_trend":
    "ROB-P01" gross_outliers,
        "`analysis::stats`, `scaled_mad` among them (Huber's, Sn and Qn are not used)",
        outliers;
}
