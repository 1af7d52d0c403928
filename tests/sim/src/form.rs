//! Whether a test runs in short, in long, or for tuning: what its variable asks.

/// What was asked: nothing (short), `long`, `bless` (long, and the tables are written anew), or a
/// number of planks, which tunes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Form {
    /// As many as a table is made of.
    pub is_long: bool,
    /// The table is written instead of held against.
    pub is_blessed: bool,
    /// So many, for tuning.
    pub count: Option<u64>,
}

impl Form {
    /// What this variable of the environment asks.
    pub fn asked(variable: &str) -> Form {
        let word = std::env::var(variable).unwrap_or_default();
        let is_blessed = word == "bless";
        Form { is_long: is_blessed || word == "long", is_blessed, count: word.parse().ok() }
    }

    /// First seed and how many: of tuning seeds where a number was asked, else of judging ones.
    pub fn seeds(self, tuning: u64, judging: u64, (short, long): (u64, u64)) -> (u64, u64) {
        match self.count {
            Some(count) => (tuning, count),
            None => (judging, if self.is_long { long } else { short }),
        }
    }
}
