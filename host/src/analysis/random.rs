//! A small seeded generator for the bootstrap: the same numbers on every machine, for ever.
//!
//! Deliberately not here: entropy from the system. The seed is always an argument.

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014).
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
    spare_normal: Option<f64>,
}

impl Random {
    /// A generator that starts from `seed`.
    pub const fn new(seed: u64) -> Random {
        Random { state: seed, spare_normal: None }
    }

    /// The next 64 bits.
    pub fn next_u64(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Uniform in (0, 1): never 0 and never 1, so that its logarithm is finite.
    pub fn uniform(&mut self) -> f64 {
        ((self.next_u64() >> 12) as f64 + 0.5) / (1u64 << 52) as f64
    }

    /// Standard normal (Box and Muller, 1958).
    pub fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare_normal.take() {
            return spare;
        }
        let radius = (-2.0 * libm::log(self.uniform())).sqrt();
        let angle = 2.0 * std::f64::consts::PI * self.uniform();
        self.spare_normal = Some(radius * libm::sin(angle));
        radius * libm::cos(angle)
    }

    /// The numbers 0 to `count` − 1 in a random order, each order equally likely (Fisher and
    /// Yates; Durstenfeld, "Algorithm 235", *Commun. ACM* 7, 1964).
    pub fn shuffled(&mut self, count: usize) -> Vec<usize> {
        let mut order: Vec<usize> = (0..count).collect();
        for last in (1..count).rev() {
            // Of 64 random bits the remainder favours no number by more than count/2⁶⁴.
            let from = (self.next_u64() % (last as u64 + 1)) as usize;
            order.swap(last, from);
        }
        order
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_stream_is_the_published_one() {
        // First outputs of SplitMix64 for seed 1234567, as printed in the Rosetta Code task
        // "Pseudo-random numbers/Splitmix64".
        let mut random = Random::new(1_234_567);
        let expected = [
            6_457_827_717_110_365_317,
            3_203_168_211_198_807_973,
            9_817_491_932_198_370_423,
            4_593_380_528_125_082_431,
            16_408_922_859_458_223_821,
        ];
        for value in expected {
            assert_eq!(random.next_u64(), value);
        }
    }

    #[test]
    fn every_order_comes_as_often() {
        let mut random = Random::new(11);
        let mut counts = std::collections::BTreeMap::new();
        for _ in 0..6_000 {
            *counts.entry(random.shuffled(3)).or_insert(0u32) += 1;
        }
        // Six orders, 1000 each: four standard errors are 116.
        assert_eq!(counts.len(), 6);
        assert!(counts.values().all(|count| (884..=1116).contains(count)), "{counts:?}");
        assert!(random.shuffled(0).is_empty());
    }

    #[test]
    fn normals_have_zero_mean_and_unit_variance() {
        let mut random = Random::new(7);
        let count = 20_000;
        let (mut sum, mut squares) = (0.0, 0.0);
        for _ in 0..count {
            let z = random.normal();
            sum += z;
            squares += z * z;
        }
        let mean = sum / f64::from(count);
        // Four standard errors: 4/sqrt(20000) and 4·sqrt(2/20000).
        assert!(mean.abs() < 0.0283, "{mean}");
        assert!((squares / f64::from(count) - 1.0).abs() < 0.04);
    }
}
