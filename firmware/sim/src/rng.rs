//! Seeded random numbers that never change between machines or versions.
//!
//! xoshiro256++ for the bits, the polar method over `libm` for the normal law. Deliberately not
//! here: any distribution that only one module needs.
//!
//! Invariant: a stream forked by label depends on the seed and the label alone, never on how
//! many numbers were drawn before, so adding a draw in one place moves nothing elsewhere.

use rand_core::{Rng, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

/// A deterministic stream of random numbers.
#[derive(Clone, Debug)]
pub struct Random {
    seed: u64,
    generator: Xoshiro256PlusPlus,
    spare_normal: Option<f64>,
}

/// One step of splitmix64, the seeding generator recommended with xoshiro256++.
fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut mixed = *state;
    mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    mixed ^ (mixed >> 31)
}

impl Random {
    /// A stream from a seed; every seed is good, zero included.
    pub fn new(seed: u64) -> Random {
        let mut state = seed;
        let mut bytes = [0u8; 32];
        for chunk in bytes.chunks_exact_mut(8) {
            chunk.copy_from_slice(&split_mix(&mut state).to_le_bytes());
        }
        let generator = Xoshiro256PlusPlus::from_seed(bytes);
        Random { seed, generator, spare_normal: None }
    }

    /// An independent stream for the part named `label`.
    pub fn fork(&self, label: &str) -> Random {
        // FNV-1a over the label, then mixed with the seed.
        let mut hash = 0xcbf2_9ce4_8422_2325u64;
        for byte in label.bytes() {
            hash = (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        let mut state = self.seed ^ hash;
        Random::new(split_mix(&mut state) ^ hash.rotate_left(32))
    }

    /// An independent stream for the part numbered `index` under `label`.
    pub fn fork_index(&self, label: &str, index: usize) -> Random {
        let parent = self.fork(label);
        let mut state = parent.seed ^ (index as u64).wrapping_mul(0xd134_2543_de82_ef95);
        Random::new(split_mix(&mut state))
    }

    /// The next 64 random bits.
    pub fn bits(&mut self) -> u64 {
        self.generator.next_u64()
    }

    /// Uniform in [0, 1), 53 bits.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 * (1.0 / 9_007_199_254_740_992.0)
    }

    /// Uniform between `low` and `high`.
    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// True with probability `probability`.
    pub fn chance(&mut self, probability: f64) -> bool {
        self.unit() < probability
    }

    /// A whole number from `low` to `high`, both included; `low` when the range is empty.
    pub fn whole(&mut self, low: usize, high: usize) -> usize {
        if high <= low {
            return low;
        }
        let span = (high - low + 1) as f64;
        low + ((self.unit() * span) as usize).min(high - low)
    }

    /// Normal law with mean 0 and standard deviation 1 (polar method of Marsaglia).
    pub fn standard_normal(&mut self) -> f64 {
        if let Some(spare) = self.spare_normal.take() {
            return spare;
        }
        loop {
            let u = 2.0 * self.unit() - 1.0;
            let v = 2.0 * self.unit() - 1.0;
            let s = u * u + v * v;
            if s > 0.0 && s < 1.0 {
                let factor = (-2.0 * libm::log(s) / s).sqrt();
                self.spare_normal = Some(v * factor);
                return u * factor;
            }
        }
    }

    /// Normal law.
    pub fn normal(&mut self, mean: f64, standard_deviation: f64) -> f64 {
        mean + standard_deviation * self.standard_normal()
    }

    /// Normal law, redrawn to stay within `limit` standard deviations.
    pub fn normal_within(&mut self, mean: f64, standard_deviation: f64, limit: f64) -> f64 {
        // Bounded: for any sensible limit one of sixteen draws is inside.
        for _ in 0..16 {
            let z = self.standard_normal();
            if z.abs() <= limit {
                return mean + standard_deviation * z;
            }
        }
        mean
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn normal_has_the_moments_of_the_normal_law() {
        let mut random = Random::new(1);
        let count = 200_000;
        let (mut sum, mut sum2, mut sum4) = (0.0, 0.0, 0.0);
        for _ in 0..count {
            let z = random.standard_normal();
            sum += z;
            sum2 += z * z;
            sum4 += z * z * z * z;
        }
        let n = f64::from(count);
        // Five standard errors of each moment.
        assert!((sum / n).abs() < 5.0 / n.sqrt());
        assert!((sum2 / n - 1.0).abs() < 5.0 * (2.0 / n).sqrt());
        assert!((sum4 / n - 3.0).abs() < 5.0 * (96.0 / n).sqrt());
    }

    #[test]
    fn forks_do_not_depend_on_draws_and_differ_by_label() {
        let mut drawn = Random::new(9);
        drawn.bits();
        assert_eq!(Random::new(9).fork("plank").bits(), drawn.fork("plank").bits());
        assert_ne!(Random::new(9).fork("plank").bits(), Random::new(9).fork("hand").bits());
        let base = Random::new(9);
        assert_ne!(base.fork_index("pin", 1).bits(), base.fork_index("pin", 2).bits());
    }

    #[test]
    fn whole_numbers_cover_their_range_and_nothing_else() {
        let mut random = Random::new(3);
        let mut seen = [0u32; 5];
        for _ in 0..5000 {
            seen[random.whole(2, 6) - 2] += 1;
        }
        assert!(seen.iter().all(|count| *count > 850));
        assert_eq!(random.whole(4, 4), 4);
    }
}
