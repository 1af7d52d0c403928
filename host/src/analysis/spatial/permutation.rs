//! Reference distributions by shuffling values over places: seeded, so the same on every run.
//!
//! A p-value counts the order that was seen among the shuffled ones, (1 + r)/(1 + N), and so is
//! never zero and never too small (B. Phipson and G. K. Smyth, *Stat. Appl. Genet. Mol. Biol.* 9,
//! 2010, article 39). Deliberately not here: whether shuffling is the right null; for what a field
//! model leaves over it is not quite ([`super::check`]).

use serde::Serialize;

use super::autocorrelation::{geary_value, moran, moran_value};
use super::weights::Weights;
use crate::analysis::random::Random;

/// A statistic among its values under a null.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Rank {
    /// Share of draws at least as high, the seen one counted among them.
    pub p_high: f64,
    /// Share of draws at least as low, the seen one counted among them.
    pub p_low: f64,
    /// Mean of the draws.
    pub mean: f64,
    /// Draws.
    pub draw_count: usize,
}

impl Rank {
    /// Ranks `seen` among `draws`.
    pub fn of(seen: f64, draws: &[f64]) -> Rank {
        let share = |count: usize| (count + 1) as f64 / (draws.len() + 1) as f64;
        Rank {
            p_high: share(draws.iter().filter(|draw| **draw >= seen).count()),
            p_low: share(draws.iter().filter(|draw| **draw <= seen).count()),
            mean: draws.iter().fold(0.0, |sum, draw| sum + draw) / draws.len().max(1) as f64,
            draw_count: draws.len(),
        }
    }

    /// For either side: twice the smaller, at most 1.
    pub fn p_either(&self) -> f64 {
        (2.0 * self.p_high.min(self.p_low)).min(1.0)
    }
}

/// Ranks of Moran's I and Geary's C among `draw_count` shuffles of the values.
///
/// `None` as in [`moran`].
pub fn shuffled(
    values: &[f64],
    weights: &Weights,
    draw_count: usize,
    random: &mut Random,
) -> Option<(Rank, Rank)> {
    moran(values, weights)?;
    let s0 = weights.sums().s0;
    let mut order = values.to_vec();
    let (mut i, mut c) = (Vec::with_capacity(draw_count), Vec::with_capacity(draw_count));
    for _ in 0..draw_count {
        shuffle(&mut order, random);
        i.push(moran_value(&order, weights, s0));
        c.push(geary_value(&order, weights, s0));
    }
    let seen = [moran_value(values, weights, s0), geary_value(values, weights, s0)];
    Some((Rank::of(seen[0], &i), Rank::of(seen[1], &c)))
}

/// Puts values in random order, every order alike likely (Fisher and Yates; Durstenfeld 1964).
pub fn shuffle<T>(values: &mut [T], random: &mut Random) {
    for last in (1..values.len()).rev() {
        values.swap(last, below(last + 1, random));
    }
}

/// A whole number below `count`, each alike likely to within 2⁻⁵⁶ for a few hundred.
fn below(count: usize, random: &mut Random) -> usize {
    let product = u128::from(random.next_u64()) * count as u128;
    (product >> 64) as usize
}

/// All orders of a few values.
#[cfg(test)]
pub(super) fn every_order(values: &[f64]) -> Vec<Vec<f64>> {
    let Some((first, rest)) = values.split_first() else { return vec![Vec::new()] };
    let shorter = every_order(rest);
    let places = 0..values.len();
    places
        .flat_map(|at| {
            shorter.iter().map(move |order| {
                let mut order = order.clone();
                order.insert(at, *first);
                order
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shuffles_reach_every_order_alike() {
        let mut random = Random::new(11);
        let mut counts = [0_i32; 6];
        for _ in 0..6000 {
            let mut three = [0, 1, 2];
            shuffle(&mut three, &mut random);
            counts[three[0] * 2 + usize::from(three[1] > three[2])] += 1;
        }
        // Four standard deviations of a binomial count: 4·√(6000·(1/6)·(5/6)) = 115.
        assert!(counts.iter().all(|count| (count - 1000).abs() < 115), "{counts:?}");
    }

    #[test]
    fn shuffled_p_values_are_those_of_every_order() {
        let places: Vec<[f64; 2]> = (0..7).map(|i| [f64::from(i), 0.0]).collect();
        let weights = Weights::within(&places, 1.0);
        let values = [0.3, 0.1, 0.2, 0.9, 1.4, 1.1, 0.7];
        let s0 = weights.sums().s0;
        let seen = moran_value(&values, &weights, s0);
        let all = every_order(&values);
        let at_least = all.iter().filter(|o| moran_value(o, &weights, s0) >= seen - 1e-12).count();
        let exact = at_least as f64 / all.len() as f64;
        let (i, c) = shuffled(&values, &weights, 9999, &mut Random::new(12)).expect("varies");
        let error = (exact * (1.0 - exact) / 9999.0).sqrt();
        assert!((i.p_high - exact).abs() < 4.0 * error, "{} {exact}", i.p_high);
        assert!(c.p_low < 0.1 && i.p_either() <= 1.0);
        assert_eq!(shuffled(&[1.0; 7], &weights, 9, &mut Random::new(1)), None);
    }

    #[test]
    fn the_seen_order_counts() {
        let rank = Rank::of(5.0, &[1.0, 2.0, 3.0]);
        assert_eq!((rank.p_high, rank.p_low, rank.mean), (0.25, 1.0, 2.0));
        assert_eq!(rank.p_either(), 0.5);
    }
}
