//! Join counts: are marked places next to marked places more often than chance would have it?
//!
//! Moments when which places are marked is drawn without replacement (non-free sampling), after
//! A. D. Cliff and J. K. Ord, *Spatial Processes: Models and Applications* (1981), section 1.4.
//! For pins: loose ones together are a zone, loose ones apart are bad holes.

use serde::Serialize;

use super::permutation::{Rank, shuffle};
use super::weights::Weights;
use crate::analysis::random::Random;

/// Shuffles behind a p-value.
const DRAW_COUNT: usize = 999;
/// Loose pins from which there is something to be together.
const MARKED_COUNT_MIN: usize = 2;

/// Pairs of neighbours that are both marked.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct JoinCount {
    /// Sum of their weights, each pair once: a count when weights are 1.
    pub count: f64,
    /// What chance would give.
    pub expected: f64,
    /// Its variance.
    pub variance: f64,
}

impl JoinCount {
    /// Above expectation, in standard deviations.
    pub fn z(&self) -> f64 {
        (self.count - self.expected) / self.variance.sqrt()
    }
}

/// Counts pairs of marked neighbours.
///
/// `None` when marks and weights are not of one count, nobody has a neighbour, or there are
/// fewer than four places.
pub fn joins(marked: &[bool], weights: &Weights) -> Option<JoinCount> {
    let sums = weights.sums();
    if marked.len() != weights.count() || marked.len() < 4 || sums.s0 <= 0.0 {
        return None;
    }
    let n = marked.len() as f64;
    let m = marked.iter().filter(|mark| **mark).count() as f64;
    // Chance that two, three, four given places are all marked.
    let pair = m * (m - 1.0) / (n * (n - 1.0));
    let triple = pair * (m - 2.0) / (n - 2.0);
    let four = triple * (m - 3.0) / (n - 3.0);
    let expected = 0.5 * sums.s0 * pair;
    let square = 0.25
        * (sums.s1 * pair
            + (sums.s2 - 2.0 * sums.s1) * triple
            + (sums.s0 * sums.s0 + sums.s1 - sums.s2) * four);
    let count = joined(marked, weights);
    Some(JoinCount { count, expected, variance: (square - expected * expected).max(0.0) })
}

fn joined(marked: &[bool], weights: &Weights) -> f64 {
    let from = marked.iter().enumerate().filter(|(_, mark)| **mark);
    let sum = from.fold(0.0, |sum, (from, _)| {
        let row = weights.neighbours(from).iter().filter(|(to, _)| marked[*to]);
        row.fold(sum, |sum, (_, weight)| sum + weight)
    });
    0.5 * sum
}

/// Whether loose pins stand together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Together {
    /// Pins judged.
    pub pin_count: usize,
    /// Loose ones among them.
    pub loose_count: usize,
    /// How far neighbours reach, metres.
    pub reach_m: f64,
    /// Pairs of loose neighbours.
    pub joins: JoinCount,
    /// Among shuffled fields.
    pub rank: Rank,
    /// The finding in a sentence.
    pub sentence: String,
}

/// Whether the loose pins of a field, read at `places` in metres, stand together.
///
/// `None` with fewer than two loose pins, or when nobody has a neighbour. Places that are not
/// finite are nobody's neighbour.
pub fn together(places: &[[f64; 2]], loose: &[bool], seed: u64) -> Option<Together> {
    let kept: Vec<([f64; 2], bool)> = places
        .iter()
        .zip(loose)
        .filter(|(place, _)| place.iter().all(|coordinate| coordinate.is_finite()))
        .map(|(place, loose)| (*place, *loose))
        .collect();
    let (places, mut marks): (Vec<[f64; 2]>, Vec<bool>) = kept.into_iter().unzip();
    let loose_count = marks.iter().filter(|mark| **mark).count();
    if loose_count < MARKED_COUNT_MIN {
        return None;
    }
    let (weights, reach_m) = Weights::of_pin_field(&places);
    let seen = joins(&marks, &weights)?;
    let mut random = Random::new(seed);
    let draws: Vec<f64> = (0..DRAW_COUNT)
        .map(|_| {
            shuffle(&mut marks, &mut random);
            joined(&marks, &weights)
        })
        .collect();
    let rank = Rank::of(seen.count, &draws);
    let sentence = say(loose_count, seen, rank);
    Some(Together { pin_count: marks.len(), loose_count, reach_m, joins: seen, rank, sentence })
}

fn say(loose_count: usize, seen: JoinCount, rank: Rank) -> String {
    let found = if rank.p_high < 0.01 {
        "they stand together"
    } else if rank.p_high < 0.05 {
        "they may stand together"
    } else {
        "they stand no closer than chance would put them"
    };
    format!(
        "{loose_count} loose pins make {:.0} pairs of neighbours where {:.1} are expected by \
         chance: {found} (p {:.3})",
        seen.count, seen.expected, rank.p_high
    )
}

#[cfg(test)]
mod tests {
    use super::super::centre_of;
    use super::super::permutation::every_order;
    use super::*;

    fn field() -> Vec<[f64; 2]> {
        (0..90).map(|i| [f64::from(i % 30) * 0.0135, f64::from(i / 30) * 0.021]).collect()
    }

    #[test]
    fn moments_are_those_of_every_order() {
        let places: Vec<[f64; 2]> = (0..6).map(|i| [f64::from(i), 0.0]).collect();
        let weights = Weights::within(&places, 1.0);
        let marks = [1.0, 0.0, 1.0, 1.0, 0.0, 0.0];
        let seen = joins(&marks.map(|mark| mark > 0.5), &weights).expect("neighbours");
        let all: Vec<f64> = every_order(&marks)
            .iter()
            .map(|order| {
                joined(&order.iter().map(|mark| *mark > 0.5).collect::<Vec<_>>(), &weights)
            })
            .collect();
        let (mean, squares) = centre_of(&all);
        assert_eq!(seen.count, 1.0);
        assert!((mean - seen.expected).abs() < 1e-12);
        assert!((squares / all.len() as f64 - seen.variance).abs() < 1e-12);
    }

    #[test]
    fn a_line_of_loose_pins_stands_together_and_scattered_ones_do_not() {
        let line: Vec<bool> = (0..90).map(|i| (40..50).contains(&i) && i != 44).collect();
        let found = together(&field(), &line, 5).expect("loose pins");
        assert!(found.rank.p_high < 0.005, "{found:?}");
        assert!(found.sentence.contains("they stand together"), "{}", found.sentence);
        let scattered: Vec<bool> = (0..90).map(|i| i % 10 == 3).collect();
        let found = together(&field(), &scattered, 5).expect("loose pins");
        assert!(found.rank.p_high > 0.05, "{found:?}");
    }

    #[test]
    fn nothing_to_join_is_no_answer() {
        assert_eq!(together(&field(), &[false; 90], 1), None);
        assert_eq!(together(&[[f64::NAN, 0.0]; 5], &[true; 5], 1), None);
        assert_eq!(together(&[], &[], 1), None);
        let same = together(&[[0.0, 0.0]; 5], &[true, true, false, false, false], 1);
        assert_eq!(same.map(|found| found.rank.p_high), Some(1.0));
    }
}
