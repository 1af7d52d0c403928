//! Inputs made from inputs, from a seed: for runs without coverage guidance.

/// Longest input made.
pub const INPUT_BYTES_MAX: usize = 4_096;
/// Numbers that stand at ends of ranges.
const ODD_BYTES: [u8; 8] = [0x00, 0x01, 0x7f, 0x80, 0x81, 0xfe, 0xff, 0x0a];

/// A stream of mutated inputs.
pub struct Mutator {
    seeds: Vec<Vec<u8>>,
    state: u64,
}

impl Mutator {
    /// Mutations of `seeds`, the same for the same `seed`.
    pub fn new(seeds: Vec<Vec<u8>>, seed: u64) -> Mutator {
        Mutator { seeds, state: seed }
    }

    /// splitmix64.
    fn number(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    fn below(&mut self, end: usize) -> usize {
        (self.number() % end.max(1) as u64) as usize
    }

    fn any_seed(&mut self) -> Vec<u8> {
        let index = self.below(self.seeds.len());
        self.seeds.get(index).cloned().unwrap_or_default()
    }

    /// The next input: one in eight is random through and through.
    pub fn input(&mut self) -> Vec<u8> {
        if self.below(8) == 0 {
            let count = self.below(300);
            return (0..count).map(|_| self.number() as u8).collect();
        }
        let mut bytes = self.any_seed();
        for _ in 0..=self.below(6) {
            self.change(&mut bytes);
        }
        bytes.truncate(INPUT_BYTES_MAX);
        bytes
    }

    fn change(&mut self, bytes: &mut Vec<u8>) {
        let at = self.below(bytes.len() + 1);
        match self.below(8) {
            0 => {
                let byte = self.number() as u8;
                bytes.insert(at, byte);
            }
            1 if at < bytes.len() => drop(bytes.remove(at)),
            2 => bytes.truncate(at),
            3 if at < bytes.len() => bytes[at] ^= 1 << self.below(8),
            4 if at < bytes.len() => bytes[at] = ODD_BYTES[self.below(ODD_BYTES.len())],
            5 => {
                // The front of one, the back of another.
                let other = self.any_seed();
                let from = self.below(other.len() + 1);
                bytes.truncate(at);
                bytes.extend_from_slice(&other[from..]);
            }
            6 => {
                let count = self.below(40);
                let end = (at + count).min(bytes.len());
                let part = bytes[at..end].to_vec();
                let to = self.below(bytes.len() + 1);
                bytes.splice(to..to, part);
            }
            _ if at < bytes.len() => bytes[at] = self.number() as u8,
            _ => {}
        }
    }
}
