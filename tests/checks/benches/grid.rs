//! The time of a fine grid with its uncertainty, for `cargo xtask bench` to set beside another
//! library's.
//!
//! 230 pins, 250 × 200 cells, ordinary kriging with a spherical variogram: fit and grid together,
//! one thread. Writes inputs, times and some of the results to the file `PINHOLD_BENCH` names; the
//! script beside `compare.py` krigs the same and looks whether it is the same. Times are printed,
//! never judged here.

use std::time::Instant;

use pinhold::analysis::field::kriging::{Kriged, ordinary_kriging};
use pinhold::analysis::random::Random;
use pinhold::analysis::spatial::variogram::{VariogramModel, VariogramShape};
use serde_json::json;

const COLUMN_COUNT: usize = 250;
const ROW_COUNT: usize = 200;
const REPEAT_COUNT: usize = 7;
/// Every how many cells is compared.
const SAMPLE_STEP: usize = 97;
const MODEL: VariogramModel = VariogramModel {
    shape: VariogramShape::Spherical,
    nugget: 0.008,
    partial_sill: 0.03,
    range: 0.15,
};

/// An invented field of 230 pins in three rows, metres, and log frictions with a drift and scatter.
fn field() -> (Vec<[f64; 2]>, Vec<f64>) {
    let mut random = Random::new(8300);
    let pin = |i: usize| {
        let (along, row) = ((i / 3) as f64, (i % 3) as f64);
        [along * 0.0135 + row * 0.004, row * 0.021]
    };
    let places: Vec<[f64; 2]> = (0..230).map(pin).collect();
    let value = |place: &[f64; 2]| 2.2 + 0.2 * (place[0] * 9.0).sin() + 0.1 * random.normal();
    let values = places.iter().map(value).collect();
    (places, values)
}

/// Steps from `from` to `to`, both included.
fn steps(from: f64, to: f64, count: usize) -> Vec<f64> {
    (0..count).map(|i| from + (to - from) * i as f64 / (count - 1) as f64).collect()
}

/// Estimates and variances for a new reading, row after row.
fn grid(places: &[[f64; 2]], values: &[f64], xs: &[f64], ys: &[f64]) -> Vec<Kriged> {
    let cells: Vec<[f64; 2]> = ys.iter().flat_map(|y| xs.iter().map(move |x| [*x, *y])).collect();
    let covariance = |distance: f64| MODEL.covariance_of_readings(distance);
    ordinary_kriging(places, values, covariance, MODEL.reach(), &cells).expect("positive definite")
}

fn main() {
    let (places, values) = field();
    let last = places[places.len() - 1][0];
    let (xs, ys) = (steps(-0.01, last + 0.01, COLUMN_COUNT), steps(-0.01, 0.052, ROW_COUNT));
    let mut seconds = Vec::new();
    let mut result = Vec::new();
    for _ in 0..REPEAT_COUNT {
        let started = Instant::now();
        result = grid(&places, &values, &xs, &ys);
        seconds.push(started.elapsed().as_secs_f64());
    }
    let sample = result.iter().step_by(SAMPLE_STEP);
    let (estimates, variances): (Vec<f64>, Vec<f64>) =
        sample.map(|cell| (cell.value, cell.variance)).unzip();
    let document = json!({
        "places": places, "values": values, "xs": xs, "ys": ys, "model": MODEL,
        "step": SAMPLE_STEP, "estimates": estimates, "variances": variances, "seconds": seconds,
    });
    match std::env::var_os("PINHOLD_BENCH") {
        Some(path) => std::fs::write(path, document.to_string()).expect("the file named"),
        None => println!("fit and grid of {} cells: {seconds:.3?} s", xs.len() * ys.len()),
    }
}
