//! Random numbers whose stream never changes: SplitMix64 (G. L. Steele, D. Lea & C. H. Flood,
//! OOPSLA 2014).

/// A stream of random numbers.
#[derive(Clone, Debug)]
pub struct Random {
    state: u64,
}

impl Random {
    /// The stream of a seed.
    pub fn new(seed: u64) -> Random {
        Random { state: seed }
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// 0 to `bound` − 1; `bound` is not 0.
    pub fn below(&mut self, bound: u64) -> u64 {
        self.bits() % bound
    }

    /// True once in `count` times.
    pub fn one_in(&mut self, count: u64) -> bool {
        self.below(count) == 0
    }
}
