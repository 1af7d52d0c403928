//! Whether probabilities hold: intervals and tests on many invented data sets.
//!
//! Seeds 130001 to 130004 judge; nothing was tuned on any.

use super::anova::one_way;
use super::inverse::{fieller_interval, place_of};
use super::lack_of_fit::{extra_terms_test, lack_of_fit_test};
use super::least_squares::Observations;
use super::polynomial::{Powers, fit_polynomial};
use crate::analysis::random::Random;

/// Data sets of each test.
const SET_COUNT: u32 = 4000;

/// A share of [`SET_COUNT`] may lie this far from its probability: four standard deviations of a
/// binomial share, one false alarm in sixteen thousand.
fn allowance(probability: f64) -> f64 {
    4.0 * (probability * (1.0 - probability) / f64::from(SET_COUNT)).sqrt()
}

#[track_caller]
fn assert_share(count: u32, probability: f64) {
    let share = f64::from(count) / f64::from(SET_COUNT);
    let far = (share - probability).abs();
    assert!(far <= allowance(probability), "{share} is not {probability}");
}

/// Loads of a calibration: six, up and down.
const LOADS: [f64; 12] = [3.0, 7.0, 11.0, 15.0, 20.0, 25.0, 25.0, 20.0, 15.0, 11.0, 7.0, 3.0];

fn noisy_line(random: &mut Random) -> Vec<f64> {
    LOADS.iter().map(|load| 120.0 - 35.0 * load + 4.0 * random.normal()).collect()
}

#[test]
fn intervals_of_values_hold_the_truth_as_often_as_they_say() {
    let mut random = Random::new(130_001);
    let (mut mean_count, mut new_count) = (0, 0);
    for _ in 0..SET_COUNT {
        let readings = noisy_line(&mut random);
        let observations = Observations::equal(&readings);
        let line = fit_polynomial(&LOADS, observations, Powers::UpTo(1)).unwrap();
        let k = line.coverage_factor(0.95).unwrap();
        let off = (line.value_at(9.0) - (120.0 - 35.0 * 9.0)).abs();
        mean_count += u32::from(off <= k * line.value_u(9.0));
        let new = 120.0 - 35.0 * 9.0 + 4.0 * random.normal();
        let off = (line.value_at(9.0) - new).abs();
        new_count += u32::from(off <= k * line.new_mean_u(9.0, 1));
    }
    assert_share(mean_count, 0.95);
    assert_share(new_count, 0.95);
}

#[test]
fn loads_read_backwards_hold_the_truth_as_often_as_they_say() {
    let mut random = Random::new(130_002);
    let (mut fieller_count, mut propagated_count) = (0, 0);
    for _ in 0..SET_COUNT {
        let readings = noisy_line(&mut random);
        let observations = Observations::equal(&readings);
        let line = fit_polynomial(&LOADS, observations, Powers::UpTo(1)).unwrap();
        let truth = 3.0 + 22.0 * random.uniform();
        let mean: f64 = (0..3).map(|_| 4.0 * random.normal()).sum::<f64>() / 3.0;
        let reading = 120.0 - 35.0 * truth + mean;
        let (low, high) = fieller_interval(&line, reading, 3, 0.95).unwrap();
        fieller_count += u32::from(low <= truth && truth <= high);
        let place = place_of(&line, reading, line.mean_variance(3).sqrt()).unwrap();
        let k = line.coverage_factor(0.95).unwrap();
        propagated_count += u32::from((place.x - truth).abs() <= k * place.u);
    }
    assert_share(fieller_count, 0.95);
    assert_share(propagated_count, 0.95);
}

#[test]
fn straight_lines_fail_the_tests_as_often_as_the_level_says() {
    let mut random = Random::new(130_003);
    let (mut bent_count, mut lacking_count) = (0, 0);
    for _ in 0..SET_COUNT {
        let readings = noisy_line(&mut random);
        let observations = Observations::equal(&readings);
        let line = fit_polynomial(&LOADS, observations, Powers::UpTo(1)).unwrap();
        let quadratic = fit_polynomial(&LOADS, observations, Powers::UpTo(2)).unwrap();
        let test = extra_terms_test(&line, &quadratic, observations).unwrap();
        bent_count += u32::from(test.p < 0.05);
        let test = lack_of_fit_test(&LOADS, observations, &line).unwrap();
        lacking_count += u32::from(test.p < 0.05);
    }
    assert_share(bent_count, 0.05);
    assert_share(lacking_count, 0.05);
}

#[test]
fn components_of_variance_are_right_on_average() {
    let mut random = Random::new(130_004);
    let (mut within, mut between) = (0.0, 0.0);
    for _ in 0..SET_COUNT {
        let mut group = |count: usize| -> Vec<f64> {
            let own = 10.0 + 0.7 * random.normal();
            (0..count).map(|_| own + 0.3 * random.normal()).collect()
        };
        let groups: Vec<Vec<f64>> = [3, 3, 2, 4, 3, 5, 3, 3, 3, 1].map(&mut group).to_vec();
        let result = one_way(&groups).unwrap();
        within += result.within_sd() * result.within_sd();
        between += result.between_variance();
    }
    let mean = |sum: f64| sum / f64::from(SET_COUNT);
    // Relative variance of one: 2/20 within; between, 2/9 and what the scatter within adds.
    assert!((mean(within) / 0.09 - 1.0).abs() < 4.0 * (0.1 / f64::from(SET_COUNT)).sqrt());
    assert!((mean(between) / 0.49 - 1.0).abs() < 4.0 * (0.4 / f64::from(SET_COUNT)).sqrt());
}
