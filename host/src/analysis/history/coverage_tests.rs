//! Whether the intervals hold the truth as often as they say, and tests stay quiet where nothing
//! happens: many invented series.
//!
//! Seeds 900001 to 900003 judge; nothing was tuned on any.

use super::crossing::{Crossing, fit_line};
use super::kendall::mann_kendall;
use super::paired::{hodges_lehmann, signed_rank};
use super::pettitt::pettitt;
use super::slope::theil_sen;
use crate::analysis::random::Random;

const SET_COUNT: u32 = 3000;

/// Four standard deviations of a binomial share, one false alarm in sixteen thousand.
fn allowance(probability: f64) -> f64 {
    4.0 * (probability * (1.0 - probability) / f64::from(SET_COUNT)).sqrt()
}

fn share(count: u32) -> f64 {
    f64::from(count) / f64::from(SET_COUNT)
}

#[test]
fn slopes_hold_the_truth() {
    let mut random = Random::new(900_001);
    for years in [5, 8, 14] {
        let x: Vec<f64> = (0..years).map(f64::from).collect();
        let mut held = 0;
        for _ in 0..SET_COUNT {
            let y: Vec<f64> = x.iter().map(|x| 9.0 - 0.2 * x + 0.3 * random.normal()).collect();
            let (low, high) = theil_sen(&x, &y, 0.95).unwrap().interval.unwrap();
            held += u32::from(low <= -0.2 && -0.2 <= high);
        }
        // Exact laws in steps hold it more often than asked, never less.
        assert!(share(held) >= 0.95 - allowance(0.95), "{years}: {}", share(held));
    }
}

#[test]
fn crossings_hold_the_truth() {
    let mut random = Random::new(900_002);
    let years: Vec<f64> = (0..6).map(f64::from).collect();
    // At 7.0 in year 10.
    let mut wrong = 0;
    for _ in 0..SET_COUNT {
        let values: Vec<f64> =
            years.iter().map(|year| 9.0 - 0.2 * year + 0.15 * random.normal()).collect();
        let line = fit_line(&years, &values, 0.0).unwrap();
        wrong += match line.falls_to(7.0, 5.0, 0.95).unwrap() {
            Crossing::Between(low, _, high) => u32::from(!(low <= 10.0 && 10.0 <= high)),
            Crossing::NotBefore(late) => u32::from(late > 10.0),
            Crossing::NotFalling | Crossing::Reached => 1,
            Crossing::Untold => 0,
        };
    }
    assert!(share(wrong) <= 0.05 + allowance(0.05), "{}", share(wrong));
    assert!(share(wrong) > 0.02, "a set that is never wrong says too little: {}", share(wrong));
}

#[test]
fn steady_series_raise_few_alarms() {
    let mut random = Random::new(900_003);
    let mut alarms = [0; 4];
    for _ in 0..SET_COUNT {
        let values: Vec<f64> = (0..12).map(|_| random.normal()).collect();
        alarms[0] += u32::from(mann_kendall(&values).unwrap().p < 0.05);
        alarms[1] += u32::from(pettitt(&values).unwrap().p < 0.05);
        alarms[2] += u32::from(signed_rank(&values).unwrap().p < 0.05);
        let (low, high) = hodges_lehmann(&values, 0.95).unwrap().interval.unwrap();
        alarms[3] += u32::from(low > 0.0 || high < 0.0);
    }
    for (index, count) in alarms.into_iter().enumerate() {
        assert!(share(count) <= 0.05 + allowance(0.05), "{index}: {}", share(count));
        assert!(count > 0, "{index} can never speak");
    }
}
