//! Kriging and Gaussian processes with given covariances, on the fields and places between.

use pinhold::analysis::field::compact::LocalPart;
use pinhold::analysis::field::kriging::ordinary_kriging;
use pinhold::analysis::gp::{GaussianProcess, squared_exponential};
use pinhold::analysis::spatial::variogram::{VariogramModel, VariogramShape};
use pinhold::analysis::stats::mean;
use serde_json::{Value, json};

use super::fields::{Field, pianos, published};

/// Places to predict at, per field.
const PLACE_COUNT: usize = 200;

fn distance(a: &[f64; 2], b: &[f64; 2]) -> f64 {
    (a[0] - b[0]).hypot(a[1] - b[1])
}

/// Places spread evenly over the field's box (golden-section steps), none on a pin.
fn between(field: &Field) -> Vec<[f64; 2]> {
    let edge = |axis: usize| {
        let along = || field.places.iter().map(move |place| place[axis]);
        (along().fold(f64::MAX, f64::min), along().fold(f64::MIN, f64::max))
    };
    let (x, y) = (edge(0), edge(1));
    (0..PLACE_COUNT)
        .map(|i| {
            let along = (i as f64 + 0.5) / PLACE_COUNT as f64;
            let across = (i as f64 * 0.618_033_988_749_894_9).fract();
            [x.0 + along * (x.1 - x.0), y.0 + across * (y.1 - y.0)]
        })
        .collect()
}

/// The map's own correlation, the same along and across, as a variogram's shape.
fn wendland(model: &VariogramModel, distance: f64) -> f64 {
    let VariogramModel { partial_sill: variance, range, .. } = *model;
    let part = LocalPart { variance, reach_along_m: range, reach_across_m: range, shared: 1.0 };
    part.covariance(distance, 0.0, true)
}

/// Ordinary kriging as the map's machinery does it. The shape is the model's own unless another is
/// named.
fn kriging(field: &Field, model: VariogramModel, shape: Option<&str>) -> Value {
    let Field { name, places, values } = field;
    let (covariance, reach): (Box<dyn Fn(f64) -> f64>, f64) = match shape {
        Some(_) => {
            let own = move |distance: f64| if distance == 0.0 { model.nugget } else { 0.0 };
            (Box::new(move |distance| own(distance) + wendland(&model, distance)), model.range)
        }
        None => (Box::new(move |distance| model.covariance_of_readings(distance)), model.reach()),
    };
    let at = between(field);
    let kriged =
        ordinary_kriging(places, values, covariance, reach, &at).expect("positive definite");
    let (estimates, variances): (Vec<f64>, Vec<f64>) =
        kriged.iter().map(|cell| (cell.value, cell.variance)).unzip();
    let shape = shape.map_or_else(|| json!(model.shape), |shape| json!(shape));
    json!({
        "name": name, "places": places, "values": values, "at": at, "shape": shape,
        "model": model, "estimates": estimates, "variances": variances,
    })
}

/// A Gaussian process with squared-exponential covariance about the sample mean.
fn process(field: &Field, variance: f64, length: f64, noise: f64) -> Value {
    let Field { name, places, values } = field;
    let middle = mean(values).expect("values");
    let target: Vec<f64> = values.iter().map(|value| value - middle).collect();
    let covariance =
        |a: &[f64; 2], b: &[f64; 2]| squared_exponential(distance(a, b), variance, length);
    let noises = vec![noise; places.len()];
    let fitted = GaussianProcess::fit(&target, &noises, |i, j| covariance(&places[i], &places[j]))
        .expect("positive definite");
    let at = between(field);
    let (means, sds): (Vec<f64>, Vec<f64>) = at
        .iter()
        .map(|place| {
            let cross: Vec<f64> = places.iter().map(|pin| covariance(pin, place)).collect();
            (fitted.mean(&cross), fitted.variance(&cross, variance).sqrt())
        })
        .unzip();
    json!({
        "name": name, "places": places, "target": target, "at": at,
        "variance": variance, "length": length, "noise": noise,
        "means": means, "sds": sds,
        "log_marginal_likelihood": fitted.log_marginal_likelihood(),
    })
}

pub(crate) fn processes() -> Value {
    let spherical = VariogramModel {
        shape: VariogramShape::Spherical,
        nugget: 0.008,
        partial_sill: 0.03,
        range: 0.15,
    };
    let exponential = VariogramModel { shape: VariogramShape::Exponential, ..spherical };
    // Hardly any scatter: as badly conditioned as is still compared.
    let stiff = VariogramModel { nugget: 1e-6, ..spherical };
    let mut krigings = Vec::new();
    let mut processes = Vec::new();
    for field in pianos() {
        krigings.push(kriging(&field, spherical, None));
        krigings.push(kriging(&field, exponential, None));
        krigings.push(kriging(&field, spherical, Some("wendland")));
        krigings.push(kriging(&field, stiff, Some("wendland")));
        processes.push(process(&field, 0.04, 0.12, 0.01));
    }
    let mut meuse = published("SPA-P06", "/inputs/data_file", "zinc_ppm");
    meuse.values.iter_mut().for_each(|zinc| *zinc = zinc.ln());
    let (nugget, partial_sill, range) = (0.05, 0.59, 897.0);
    krigings.push(kriging(
        &meuse,
        VariogramModel { nugget, partial_sill, range, ..spherical },
        None,
    ));
    let davis = published("SPA-P07", "/inputs/data_file", "z");
    processes.push(process(&davis, 2500.0, 1.5, 100.0));
    json!({ "kriging": krigings, "gaussian": processes })
}
