//! Fields to compare on, and likeness of neighbours in them.

use pinhold::analysis::random::Random;
use pinhold::analysis::spatial::Weights;
use pinhold::analysis::spatial::autocorrelation::{Autocorrelation, geary, local_moran, moran};
use pinhold::analysis::spatial::joins::joins;
use pinhold::analysis::spatial::local_g::{local_g, local_g_star};
use pinhold::analysis::spatial::many_tests::benjamini_hochberg;
use pinhold::analysis::spatial::permutation::{Rank, shuffled};
use pinhold::analysis::stats::{median, normal_cdf};
use pinhold_checks::case;
use pinhold_sim::piano::{Fault, Piano, Severity};
use serde_json::{Value, json};

/// Shuffles on our side; the other side shuffles as often.
const DRAW_COUNT: usize = 1999;

/// Values at places.
pub(crate) struct Field {
    pub(crate) name: String,
    pub(crate) places: Vec<[f64; 2]>,
    pub(crate) values: Vec<f64>,
}

/// Log frictions of an invented piano, read with 2 %, every `step`th pin.
fn invented(seed: u64, fault: Fault, step: usize) -> Field {
    let piano = Piano::invent(seed, fault, Severity::Plain);
    let readings = piano.quick_readings(seed, 0.02);
    let friction = |(sharp, flat): &(f64, f64)| (0.5 * (sharp + flat)).max(0.4).ln();
    Field {
        name: format!("invented piano, {fault:?}, seed {seed}, every pin of {step}"),
        places: piano.pins.iter().map(|pin| [pin.x_m, pin.y_m]).step_by(step).collect(),
        values: readings.iter().map(friction).step_by(step).collect(),
    }
}

/// Invented pianos, whole and sampled.
pub(crate) fn pianos() -> Vec<Field> {
    vec![
        invented(830_000, Fault::None, 1),
        invented(830_001, Fault::Split, 1),
        invented(830_002, Fault::Contaminated, 1),
        invented(830_003, Fault::Scattered, 4),
    ]
}

/// Columns of a published table as places and values.
pub(crate) fn published(id: &str, table: &str, value: &str) -> Field {
    let rows = case("08_spatial", id).table(table);
    Field {
        name: format!("{id}, {value}"),
        places: rows.iter().map(|row| [row.number("x"), row.number("y")]).collect(),
        values: rows.iter().map(|row| row.number(value)).collect(),
    }
}

fn one(field: &Field, weights: &Weights, seed: u64) -> Value {
    let values = &field.values;
    let shares = weights.row_standardised();
    let moments = |found: Option<Autocorrelation>| {
        let found = found.expect("values vary");
        json!({
            "value": found.value,
            "variance_normal": found.variance_normal,
            "variance_random": found.variance_random,
            "z_normal": found.z_normal(),
            "z_random": found.z_random(),
        })
    };
    let rank = |rank: Rank| json!({ "p_high": rank.p_high, "draws": rank.draw_count });
    let (i, c) =
        shuffled(values, &shares, DRAW_COUNT, &mut Random::new(seed)).expect("values vary");
    let middle = median(values).expect("values");
    let marked: Vec<bool> = values.iter().map(|value| *value < middle).collect();
    let star = local_g_star(values, weights, 1.0);
    let p_values: Vec<f64> =
        star.iter().map(|z| 2.0 * normal_cdf(-z.expect("neighbours").abs())).collect();
    let neighbours: Vec<Vec<usize>> = (0..weights.count())
        .map(|place| weights.neighbours(place).iter().map(|(to, _)| *to).collect())
        .collect();
    json!({
        "name": field.name,
        "values": values,
        "neighbours": neighbours,
        "marked": marked,
        "moran": moments(moran(values, &shares)),
        "geary": moments(geary(values, &shares)),
        "local_moran": local_moran(values, &shares),
        "local_g": local_g(values, weights),
        "local_g_star": star,
        "joins": joins(&marked, weights).expect("neighbours").count,
        "moran_rank": rank(i),
        "geary_rank": rank(c),
        "p_values": p_values,
        "adjusted": benjamini_hochberg(&p_values),
    })
}

/// Every field's likeness of neighbours, with the neighbours a pin field has; the published grid's
/// as the case has them.
pub(crate) fn neighbours() -> Vec<Value> {
    let mut all = Vec::new();
    for (seed, field) in (1..).zip(pianos()) {
        let (weights, _) = Weights::of_pin_field(&field.places);
        // A pin without a neighbour has no local statistic to compare.
        assert_eq!(weights.connected_count(), weights.count(), "{}", field.name);
        all.push(one(&field, &weights, seed));
    }
    let grid = published("SPA-P02", "/inputs/data_file", "value");
    all.push(one(&grid, &Weights::within(&grid.places, 30.0), 5));
    let columbus = published("SPA-P03", "/inputs/data_files/0", "crime");
    all.push(one(&columbus, &Weights::of_pin_field(&columbus.places).0, 6));
    all
}
