//! The field's mathematics.

use pinhold::analysis::field::kriging::ordinary_kriging;
use pinhold::analysis::gp::{GaussianProcess, squared_exponential};
use pinhold::analysis::scan::scan_lowest_mean;
use pinhold::analysis::spatial::variogram::{self, VariogramModel, VariogramShape};
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

/// Estimate, and variance for a new reading, nugget included.
fn kriged(
    points: &[[f64; 2]],
    values: &[f64],
    model: &VariogramModel,
    place: [f64; 2],
) -> (f64, f64) {
    let covariance = |distance: f64| model.covariance_of_readings(distance);
    let cells = ordinary_kriging(points, values, covariance, model.reach(), &[place]);
    let cell = cells.expect("positive definite")[0];
    (cell.value, cell.variance)
}

fn seven_samples(case: &Case) {
    let (points, values) = points_and(case, "v");
    // The case states it in words: gamma(h) = 10·(1 − exp(−3h/10)), no nugget.
    assert!(case.text("/inputs/variogram").ends_with("gamma(h)=10*(1-exp(-3h/10))"));
    let model = VariogramModel {
        shape: VariogramShape::Exponential,
        nugget: 0.0,
        partial_sill: 10.0,
        range: 10.0 / 3.0,
    };
    let place = ["/inputs/point/0", "/inputs/point/1"].map(|axis| case.number(axis));
    let (estimate, variance) = kriged(&points, &values, &model, place);
    for (got, name) in [(estimate, "estimate"), (variance, "variance")] {
        case.check(got, &format!("/expected/full_precision/{name}"), "/full_precision");
        case.check(got, &format!("/expected/published/{name}"), &format!("/published/{name}"));
    }
    // The estimate is linear in the samples: a sample's weight is what it alone would give.
    for index in 0..points.len() {
        let only: Vec<f64> = (0..points.len()).map(|i| f64::from(i == index)).collect();
        let (weight, _) = kriged(&points, &only, &model, place);
        let at = |which: &str| format!("/expected/{which}/weights/{index}");
        case.check(weight, &at("full_precision"), "/full_precision");
        case.check(weight, &at("published"), "/published/weights");
    }
}

fn meuse(case: &Case) {
    let (points, zinc) = points_and(case, "zinc_ppm");
    let values: Vec<f64> = zinc.iter().map(|zinc| zinc.ln()).collect();
    // Stated in words.
    let words = case.text("/inputs/variogram");
    assert_eq!(words, "spherical: nugget 0.05, partial sill 0.59, range 897");
    let shape = VariogramShape::Spherical;
    let model = VariogramModel { shape, nugget: 0.05, partial_sill: 0.59, range: 897.0 };
    for row in case.table("/expected/kriging") {
        let place = [row.number("x"), row.number("y")];
        let (estimate, variance) = kriged(&points, &values, &model, place);
        let tolerance = case.tolerance("/kriging");
        tolerance.check_printed(estimate, row.text("log_zinc_prediction"));
        tolerance.check_printed(variance, row.text("kriging_variance"));
    }

    let corner = |axis: usize| {
        let along = || points.iter().map(move |point| point[axis]);
        along().fold(f64::MIN, f64::max) - along().fold(f64::MAX, f64::min)
    };
    let cutoff = corner(0).hypot(corner(1)) / 3.0;
    assert!(case.text("/inputs/variogram_bins").contains(&format!("({cutoff:.6})")));
    let bins = variogram::empirical(&points, &values, cutoff / 15.0, 15);
    let expected = case.table("/expected/variogram");
    assert_eq!(bins.len(), expected.len());
    for (bin, row) in bins.iter().zip(&expected) {
        assert_eq!(bin.pair_count as f64, row.number("pairs"));
        let tolerance = case.tolerance("/variogram");
        tolerance.check_printed(bin.mean_distance, row.text("mean_distance"));
        tolerance.check_printed(bin.semivariance, row.text("gamma"));
    }

    let fitted = variogram::fit(&bins, shape).expect("bins");
    let (_, limit) = case.text("/tolerance/fit").rsplit_once("rel ").expect("a limit");
    let limit: f64 = limit.parse().expect("a number");
    for (got, name) in
        [(fitted.nugget, "nugget"), (fitted.partial_sill, "psill"), (fitted.range, "range")]
    {
        let want = case.number(&format!("/expected/fitted_model_published/{name}"));
        assert!((got / want - 1.0).abs() <= limit, "{name}: {got} is not {want}");
    }
}

cases! {
    "08_spatial":
    "SPA-P05" ordinary_kriging_of_seven_samples,
        "`analysis::field::kriging`: estimate, variance, weights",
        seven_samples;
    "SPA-P06" ordinary_kriging_and_variogram_of_the_meuse,
        "`analysis::field::kriging`, `analysis::spatial::variogram`", meuse;
    "SPA-P07" gaussian_process_regression, "`analysis::gp::GaussianProcess`", gaussian_process;
    "SPA-P10" normal_model_scan, "`analysis::scan::scan_lowest_mean`", lowest_mean_scan;
}
