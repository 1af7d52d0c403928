//! The host's advice on a size, before and after trial pins, against the truth.

use std::collections::BTreeMap;

use pinhold::analysis::Profile;
use pinhold::analysis::gain::{Gain, Outlook, more_trials};

use super::{Law, Plank};

/// Chance of wood that no longer grips that the host is told of: it does not know that one law in
/// eight is cracked wood and another half so.
const NO_GRIP_CHANCE: f64 = 0.15;
/// Trial pins at most, and how many before the host may say that no more are worth it.
const TRIAL_COUNT_MAX: usize = 6;
const TRIAL_COUNT_MIN: usize = 4;

/// What was advised, held against the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Judged {
    /// The smallest size that does, or rightly none.
    Right,
    /// Misses its target, though an allowed larger one would not.
    TooSmall,
    /// Larger than needed.
    TooLarge,
    /// A size where none helps.
    Futile,
    /// None, though one would do.
    Missed,
}

impl Judged {
    /// All.
    pub const ALL: [Judged; 5] =
        [Judged::Right, Judged::TooSmall, Judged::TooLarge, Judged::Futile, Judged::Missed];

    fn of(advised: Option<u32>, right: Option<u32>) -> Judged {
        match (advised, right) {
            (None, None) => Judged::Right,
            (Some(_), None) => Judged::Futile,
            (None, Some(_)) => Judged::Missed,
            (Some(advised), Some(right)) if advised < right => Judged::TooSmall,
            (Some(advised), Some(right)) if advised > right => Judged::TooLarge,
            _ => Judged::Right,
        }
    }
}

/// One plank.
#[derive(Clone, Copy, Debug)]
pub struct Verdicts {
    /// Its law.
    pub law: Law,
    /// Advice before any trial.
    pub before: Judged,
    /// The size that risks least, were one ordered before any trial.
    pub before_ordered: Judged,
    /// Advice after the trials.
    pub after: Judged,
    /// Trials fitted.
    pub trial_count: usize,
    /// Chance stated that the advice after the trials is wrong.
    pub stated_risk: f64,
}

/// Advice on one plank: four to six trial pins, the sizes the host asks for; the first two of
/// different sizes and one in an ordinary hole, as a technician would.
pub fn judge(plank: &Plank) -> Verdicts {
    let place = plank.place();
    let right = plank.right_size();
    let mut gain = Gain::before_trials(&Profile::default(), NO_GRIP_CHANCE);
    let advised = |gain: &Gain| Outlook::new(gain, &place).advised_size().map(|size| size.to_um);
    let outlook = Outlook::new(&gain, &place);
    let before = Judged::of(advised(&gain), right);
    let before_ordered = Judged::of(outlook.best_size().map(|size| size.to_um), right);
    let mut trial_count = 0;
    while trial_count < TRIAL_COUNT_MAX {
        let Some(next) = more_trials(&gain, &place) else { break };
        if next.count == 0 && trial_count >= TRIAL_COUNT_MIN {
            break;
        }
        let ordinary = trial_count == 2;
        let trial = plank.fit(trial_count, next.to_um, ordinary);
        gain = gain.after(&trial.fitting(ordinary), trial.gain_nm());
        trial_count += 1;
    }
    Verdicts {
        law: plank.law,
        before,
        before_ordered,
        after: Judged::of(advised(&gain), right),
        trial_count,
        stated_risk: Outlook::new(&gain, &place).wrong_size_risk,
    }
}

/// Counts of one law, or of all.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Planks.
    pub count: u64,
    before: BTreeMap<Judged, u64>,
    before_ordered: BTreeMap<Judged, u64>,
    after: BTreeMap<Judged, u64>,
    trial_sum: usize,
    risk_sum: f64,
}

impl Tally {
    /// Counts planks.
    pub fn of<'a>(all: impl IntoIterator<Item = &'a Verdicts>) -> Tally {
        let mut tally = Tally::default();
        for verdicts in all {
            tally.count += 1;
            *tally.before.entry(verdicts.before).or_default() += 1;
            *tally.before_ordered.entry(verdicts.before_ordered).or_default() += 1;
            *tally.after.entry(verdicts.after).or_default() += 1;
            tally.trial_sum += verdicts.trial_count;
            tally.risk_sum += verdicts.stated_risk;
        }
        tally
    }

    /// Share of wrong advice before any trial.
    pub fn wrong_before(&self) -> f64 {
        self.wrong(&self.before)
    }

    /// Share of wrong sizes, were one ordered everywhere before any trial.
    pub fn wrong_before_ordered(&self) -> f64 {
        self.wrong(&self.before_ordered)
    }

    /// Share of wrong advice after the trials.
    pub fn wrong_after(&self) -> f64 {
        self.wrong(&self.after)
    }

    /// Mean chance stated that the advice after the trials is wrong.
    pub fn stated_risk(&self) -> f64 {
        self.risk_sum / self.count.max(1) as f64
    }

    fn wrong(&self, counts: &BTreeMap<Judged, u64>) -> f64 {
        let right = counts.get(&Judged::Right).copied().unwrap_or(0);
        (self.count - right) as f64 / self.count.max(1) as f64
    }

    /// A line of the table: shares wrong, then kinds before and after.
    pub fn line(&self, name: &str) -> String {
        let kinds = |counts: &BTreeMap<Judged, u64>| {
            let of = |kind: &Judged| counts.get(kind).copied().unwrap_or(0).to_string();
            Judged::ALL[1..].iter().map(of).collect::<Vec<_>>().join("/")
        };
        format!(
            "{name:<13} {:>6} {:>8.1} {:>8.1} {:>7.1} {:>7.1} {:>7.1}   {:<18} {}\n",
            self.count,
            100.0 * self.wrong_before_ordered(),
            100.0 * self.wrong_before(),
            100.0 * self.wrong_after(),
            100.0 * self.stated_risk(),
            self.trial_sum as f64 / self.count.max(1) as f64,
            kinds(&self.before),
            kinds(&self.after),
        )
    }

    /// The table's head: wrong when one is ordered and when advised before any trial, wrong after
    /// trials and what was stated of that, percent; trials in the mean; kinds of wrong advice.
    pub fn head() -> String {
        let kinds = "too small/too large/futile/missed";
        format!(
            "{:<13} {:>6} {:>8} {:>8} {:>7} {:>7} {:>7}   {kinds}: before, after\n",
            "law", "planks", "ordered", "advised", "after", "stated", "trials"
        )
    }
}
