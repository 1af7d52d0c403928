//! The check on fields whose truth is known. Seeds below 10,000 were looked at while it was made.

use super::*;
use crate::analysis::gp::{GaussianProcess, squared_exponential};

/// Three rows of forty holes, metres.
fn field() -> Vec<[f64; 2]> {
    (0..120).map(|i| [f64::from(i % 40) * 0.0135, f64::from(i / 40) * 0.021]).collect()
}

const SHARED_SD: f64 = 0.15;
const LENGTH_M: f64 = 0.12;
const SCATTER_SD: f64 = 0.10;

fn covariance(places: &[[f64; 2]]) -> impl Fn(usize, usize) -> f64 + '_ {
    |i, j| {
        let distance = libm::hypot(places[i][0] - places[j][0], places[i][1] - places[j][1]);
        squared_exponential(distance, SHARED_SD * SHARED_SD, LENGTH_M)
    }
}

/// Log frictions of a sound plank whose law is the model's own.
fn sound(places: &[[f64; 2]], seed: u64) -> Vec<f64> {
    let cell = |i: usize, j: usize| {
        let own = if i == j { SCATTER_SD * SCATTER_SD } else { 0.0 };
        covariance(places)(i, j) + own
    };
    let law = Cholesky::new(&SquareMatrix::from_fn(places.len(), cell)).expect("definite");
    let mut random = Random::new(seed);
    law.times_lower(&places.iter().map(|_| random.normal()).collect::<Vec<_>>())
}

/// Leave-one-out residuals of a fit with this much shared, in standard deviations, and their
/// correlation.
fn leftovers(places: &[[f64; 2]], values: &[f64], share: f64) -> (Vec<f64>, SquareMatrix) {
    let noise = vec![SCATTER_SD * SCATTER_SD; places.len()];
    let process = GaussianProcess::fit(values, &noise, |i, j| share * covariance(places)(i, j));
    let process = process.expect("definite");
    let precision = process.precision();
    let z = process.leave_one_out(&precision).into_iter().map(|(off, v)| off / v.sqrt()).collect();
    (z, leave_one_out_correlation(&precision))
}

fn checked(values: &[f64], share: f64) -> ModelCheck {
    let (z, correlation) = leftovers(&field(), values, share);
    check(&field(), &z, Null::Correlated(&correlation), 17)
}

#[test]
fn a_right_map_is_called_right_as_often_as_stated() {
    let places = field();
    let (mut clustered, mut low, mut wide, mut findings) = (0, 0, 0, 0);
    let mut shuffled_high = 0;
    let count = 200;
    for seed in 1000..1000 + count {
        let (z, correlation) = leftovers(&places, &sound(&places, seed), 1.0);
        let found = check(&places, &z, Null::Correlated(&correlation), seed);
        let rank = found.moran_rank.expect("values vary");
        clustered += i32::from(rank.p_high < 0.05);
        low += i32::from(rank.p_low < 0.05);
        let (from, to) = found.spread_expected.expect("enough pins");
        wide += i32::from(!(from..=to).contains(&found.spread.expect("enough pins")));
        findings += i32::from(!found.standing_out.is_empty());
        let plain = check(&places, &z, Null::Exchangeable, seed);
        assert!(!plain.correlation_known && found.correlation_known);
        shuffled_high += i32::from(plain.moran_rank.expect("values vary").p_high < 0.05);
    }
    // 5 % of 200 is 10; four binomial standard deviations are 12.
    for got in [clustered, low, wide, findings] {
        assert!(got <= 22, "{clustered} {low} {wide} {findings}");
    }
    assert!(clustered > 0 && low > 0 && wide > 0);
    // Why the correlation is wanted: shuffling sees too little.
    assert!(shuffled_high <= clustered, "{shuffled_high} {clustered}");
}

#[test]
fn a_map_that_misses_what_is_shared_is_told() {
    let found = checked(&sound(&field(), 3), 1e-6);
    assert_eq!(found.leftover, Leftover::Clustered, "{}", found.sentence);
    assert!(found.sentence.contains("is clustered"), "{}", found.sentence);
    assert!(found.sentence.contains("too small"), "{}", found.sentence);
    assert!(found.geary_rank.expect("varies").p_low < 0.01);
}

#[test]
fn a_bad_hole_stands_alone_and_a_bad_patch_together() {
    let mut values = sound(&field(), 4);
    values[57] -= 1.2;
    let hole = checked(&values, 1.0);
    let first = hole.standing_out.first().expect("the hole");
    assert_eq!((first.index, first.shared), (57, false), "{hole:?}");
    // A fit that lets the hole pull at its neighbours makes one of them stand out upwards.
    assert!(hole.standing_out.iter().all(|pin| !pin.shared && (pin.index == 57 || pin.z > 0.0)));
    assert!(hole.sentence.ends_with("alone"), "{}", hole.sentence);

    let mut values = sound(&field(), 4);
    for i in [16, 17, 18, 56, 57, 58, 96, 97, 98] {
        values[i] -= 0.8;
    }
    // Judged by a map with little to share, as a robust fit leaves a loose patch out.
    let patch = checked(&values, 1e-6);
    let centre = patch.standing_out.iter().find(|pin| pin.index == 57).expect("the patch");
    assert!(centre.shared && centre.z < -4.0, "{patch:?}");
    assert!(patch.low_spots.contains(&57), "{patch:?}");
}

#[test]
fn rows_that_alternate_are_told_from_clusters() {
    let z: Vec<f64> = (0..120).map(|i| if (i + i / 40) % 2 == 0 { 1.0 } else { -1.0 }).collect();
    let line: Vec<[f64; 2]> = (0..120).map(|i| [f64::from(i) * 0.0135, 0.0]).collect();
    let places: Vec<[f64; 2]> = line.iter().map(|place| [place[0] * 10.0, 0.0]).collect();
    let found = check(&places[..40], &z[..40], Null::Exchangeable, 1);
    // Two to either side: the near ones differ, the far ones agree, so no finding either way …
    assert_eq!(found.leftover, Leftover::NotClustered);
    // … but of a chess board's neighbours most differ.
    let board: Vec<[f64; 2]> =
        (0..120).map(|i| [f64::from(i % 40) * 0.02, f64::from(i / 40) * 0.09]).collect();
    let jumps: Vec<f64> = (0..120).map(|i| f64::from(i % 3) - 1.0).collect();
    assert_eq!(check(&board, &jumps, Null::Exchangeable, 1).leftover, Leftover::Alternating);
}

#[test]
fn hostile_input_is_no_panic_and_no_claim() {
    let empty = check(&[], &[], Null::Exchangeable, 1);
    assert_eq!((empty.leftover, empty.pin_count), (Leftover::TooFew, 0));
    assert!(empty.sentence.starts_with("too few"), "{}", empty.sentence);
    let places = field();
    let same = check(&places, &[1.0; 120], Null::Exchangeable, 1);
    assert_eq!((same.leftover, same.moran_i), (Leftover::TooFew, None));
    let mut z: Vec<f64> = (0..120).map(|i| f64::from((i * 37) % 11) - 5.0).collect();
    (z[3], z[4], z[5]) = (f64::NAN, f64::INFINITY, 1e300);
    let mut broken = places.clone();
    broken[9] = [f64::NAN, 0.0];
    let found = check(&broken, &z, Null::Correlated(&SquareMatrix::from_fn(3, |_, _| 1.0)), 1);
    assert_eq!((found.pin_count, found.correlation_known), (117, false));
    assert_eq!(found.standing_out[0].index, 5);
    let one_place = check(&[[0.0; 2]; 120], &z, Null::Exchangeable, 1);
    assert_eq!(one_place.reach_m, 0.0);
    serde_json::to_string(&found).expect("serialisable");
}

#[test]
fn the_same_seed_gives_the_same_bits() {
    let values = sound(&field(), 6);
    assert_eq!(format!("{:?}", checked(&values, 1.0)), format!("{:?}", checked(&values, 1.0)));
}
