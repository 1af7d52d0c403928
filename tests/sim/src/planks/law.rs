//! The binomial law: between which counts a stated rate keeps its word.
//!
//! Deliberately not here: any count.

/// Natural logarithm of the chance of `hits` of `count` at `rate`, 0 < rate < 1.
fn log_chance(count: u64, hits: u64, rate: f64) -> f64 {
    let factorial = |n: u64| libm::lgamma(n as f64 + 1.0);
    factorial(count) - factorial(hits) - factorial(count - hits)
        + hits as f64 * libm::log(rate)
        + (count - hits) as f64 * libm::log1p(-rate)
}

/// Chance of at most `hits` of `count` at `rate`.
pub fn chance_at_most(count: u64, hits: u64, rate: f64) -> f64 {
    (0..=hits.min(count)).map(|hits| libm::exp(log_chance(count, hits, rate))).sum()
}

/// Counts, both included, outside which at most `(1 − confidence)/2` lies on each side.
pub fn expected_counts(count: u64, rate: f64, confidence: f64) -> (u64, u64) {
    let tail = 0.5 * (1.0 - confidence);
    let low = (0..=count).find(|hits| chance_at_most(count, *hits, rate) > tail);
    let high = (0..=count).find(|hits| chance_at_most(count, *hits, rate) >= 1.0 - tail);
    (low.unwrap_or(0), high.unwrap_or(count))
}

/// Fewest hits of `count` that a true rate of `rate` gives with chance `confidence`: fewer speak
/// against it.
pub fn fewest(count: u64, rate: f64, confidence: f64) -> u64 {
    let tail = 1.0 - confidence;
    (0..=count).find(|hits| chance_at_most(count, *hits, rate) > tail).unwrap_or(count)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_are_those_of_the_law() {
        // By hand: 0.99^100 = 0.366, 100·0.01·0.99^99 = 0.370.
        assert!((chance_at_most(100, 0, 0.01) - 0.366_03).abs() < 1e-5);
        assert!((chance_at_most(100, 1, 0.01) - 0.735_76).abs() < 1e-5);
        assert!((chance_at_most(20, 20, 0.3) - 1.0).abs() < 1e-12);
        let (low, high) = expected_counts(1_000, 0.05, 0.99);
        // The normal law would say 50 ± 2.576·6.89.
        assert!((32..=34).contains(&low) && (67..=69).contains(&high), "{low} {high}");
        assert_eq!(expected_counts(10, 0.01, 0.99).0, 0);
        assert_eq!(fewest(20, 0.95, 0.99), 16);
    }
}
