//! Seeded pseudo-random numbers for tests.

/// A small generator of pseudo-random numbers (splitmix64).
pub(crate) struct Numbers(pub(crate) u64);

impl Numbers {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }

    pub(crate) fn odd_u32(&mut self, near: u32) -> u32 {
        match self.below(4) {
            0 => self.next() as u32,
            1 => u32::MAX - self.below(3) as u32,
            _ => near.wrapping_add(self.below(5) as u32).wrapping_sub(2),
        }
    }
}
