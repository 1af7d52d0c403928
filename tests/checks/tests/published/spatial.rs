//! The field's mathematics.

use pinhold::analysis::gp::{GaussianProcess, squared_exponential};
use pinhold::analysis::scan::scan_lowest_mean;
use pinhold_checks::Case;

fn points_and(case: &Case, column: &str) -> (Vec<[f64; 2]>, Vec<f64>) {
    case.rows().iter().map(|row| ([row.number("x"), row.number("y")], row.number(column))).unzip()
}

fn gaussian_process(case: &Case) {
    let (points, heights) = points_and(case, "z");
    let mean = heights.iter().sum::<f64>() / heights.len() as f64;
    let target: Vec<f64> = heights.iter().map(|height| height - mean).collect();
    let variance = case.number("/inputs/signal_variance");
    let length = case.number("/inputs/length_scale");
    let noise = vec![case.number("/inputs/noise_variance"); points.len()];
    let covariance = |a: &[f64; 2], b: &[f64; 2]| {
        squared_exponential((a[0] - b[0]).hypot(a[1] - b[1]), variance, length)
    };
    let process = GaussianProcess::fit(&target, &noise, |i, j| covariance(&points[i], &points[j]))
        .expect("positive definite");
    for index in 0..case.count("/inputs/points") {
        let at = |axis: u8| case.number(&format!("/inputs/points/{index}/{axis}"));
        let place = [at(0), at(1)];
        let cross: Vec<f64> = points.iter().map(|point| covariance(point, &place)).collect();
        case.check(process.mean(&cross), &format!("/expected/mean/{index}"), "");
        let latent = process.variance(&cross, variance);
        case.check(latent, &format!("/expected/variance_latent/{index}"), "");
    }
    case.check(process.log_marginal_likelihood(), "/expected/log_marginal_likelihood", "");
}

fn lowest_mean_scan(case: &Case) {
    let (points, values) = points_and(case, "value");
    let zone = scan_lowest_mean(&points, &values, 2, 128).expect("the values vary");
    case.check(zone.log_likelihood_ratio, "/expected/llr", "");
    case.check(zone.mean_inside, "/expected/mean_inside", "");
    case.check(zone.mean_outside, "/expected/mean_outside", "");
    assert_eq!(zone.members.len() as f64, case.number("/expected/cells"));
    let centre = ["/expected/centre/0", "/expected/centre/1"].map(|axis| case.number(axis));
    assert_eq!(points[zone.centre], centre);
}

cases! {
    "08_spatial":
    "SPA-P07" gaussian_process_regression, "`analysis::gp::GaussianProcess`", gaussian_process;
    "SPA-P10" normal_model_scan, "`analysis::scan::scan_lowest_mean`", lowest_mean_scan;
}
