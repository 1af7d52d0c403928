//! Counts over many attempts, with their denominators and how sure they are.

use std::collections::BTreeMap;
use std::fmt;

use super::attempt::{Attempt, PinKind};
use super::judge::{Dealt, Judged, Label, Verdict, WORDS, Word};
use super::workshop::Story;

/// A count out of a number, with the 95 % bounds of Wilson's score interval (E. B. Wilson,
/// *J. American Statistical Association* 22, 1927).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Share {
    /// How many.
    pub count: u64,
    /// Out of how many.
    pub of: u64,
}

impl Share {
    /// Counts one more.
    pub fn add(&mut self, hit: bool) {
        self.of += 1;
        self.count += u64::from(hit);
    }

    /// Adds another's.
    pub fn merge(&mut self, other: Share) {
        self.count += other.count;
        self.of += other.of;
    }

    /// The share; 0 of nothing.
    pub fn value(self) -> f64 {
        if self.of == 0 { 0.0 } else { self.count as f64 / self.of as f64 }
    }

    /// Bounds between which the true share lies with 95 %.
    pub fn bounds(self) -> (f64, f64) {
        if self.of == 0 {
            return (0.0, 1.0);
        }
        let z = 1.959_964;
        let n = self.of as f64;
        let p = self.value();
        let middle = (p + z * z / (2.0 * n)) / (1.0 + z * z / n);
        let half = z / (1.0 + z * z / n) * (p * (1.0 - p) / n + z * z / (4.0 * n * n)).sqrt();
        ((middle - half).max(0.0), (middle + half).min(1.0))
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (low, high) = self.bounds();
        write!(
            f,
            "{} of {} ({:.2} %, {:.2} to {:.2} %)",
            self.count,
            self.of,
            100.0 * self.value(),
            100.0 * low,
            100.0 * high
        )
    }
}

/// How often the lever dealt how with something.
pub type Dealings = BTreeMap<Dealt, u64>;

/// The counts.
#[derive(Clone, Debug, Default)]
pub struct Tally {
    /// Attempts.
    pub attempt_count: u64,
    /// Slips of the foot, as they really were.
    pub stroke_count: u64,
    /// Simulated samples.
    pub sample_count: u64,
    /// Attempts at which the lever never got ready.
    pub never_ready: Share,
    /// Gestures by what they were.
    pub gestures: BTreeMap<Label, Dealings>,
    /// Good gestures by the sort of pin.
    pub good_by_pin: BTreeMap<PinKind, Dealings>,
    /// Proper tries behind a gesture that gave nothing.
    pub tries: BTreeMap<Label, Dealings>,
    /// Errors of F over what is allowed, of good measured gestures.
    pub friction_of_allowed: Vec<f64>,
    /// The same of M.
    pub moment_of_allowed: Vec<f64>,
    /// Words due: said, out of those that gave a reading.
    pub said: BTreeMap<Word, Share>,
    /// Words due: no reading, out of all.
    pub refused: BTreeMap<Word, Share>,
    /// Words not due: said all the same.
    pub said_wrongly: BTreeMap<Word, Share>,
    /// Seeds to look at, with what happened.
    pub failures: Vec<(u64, usize, String)>,
}

fn count(dealings: &mut Dealings, dealt: Dealt) {
    *dealings.entry(dealt).or_default() += 1;
}

fn share_of(dealings: &Dealings, wanted: &[Dealt]) -> Share {
    let sum = |wanted: &dyn Fn(&Dealt) -> bool| {
        dealings.iter().filter(|(dealt, _)| wanted(dealt)).map(|(_, n)| n).sum()
    };
    Share { count: sum(&|dealt| wanted.contains(dealt)), of: sum(&|_| true) }
}

impl Tally {
    /// Takes an attempt.
    pub fn add(&mut self, attempt: &Attempt, story: &Story, judged: &Judged) {
        self.attempt_count += 1;
        self.sample_count += story.sample_count;
        let parts = std::iter::once(&story.gesture).chain(&story.tries);
        self.stroke_count += parts.map(|part| part.slips.len() as u64).sum::<u64>();
        self.never_ready.add(story.never_ready);
        if let Some(verdict) = judged.gesture {
            count(self.gestures.entry(verdict.label).or_default(), verdict.dealt);
            if verdict.label == Label::Good {
                count(self.good_by_pin.entry(attempt.pin).or_default(), verdict.dealt);
            }
            if verdict.dealt == Dealt::Measured && verdict.label == Label::Good {
                self.friction_of_allowed.extend(verdict.friction_of_allowed);
                self.moment_of_allowed.extend(verdict.moment_of_allowed);
            }
            if is_failure(&verdict) {
                self.failures.push((attempt.seed, attempt.number, describe(attempt, &verdict)));
            }
        } else {
            self.failures.push((
                attempt.seed,
                attempt.number,
                format!("{:?}: never ready", attempt.pin),
            ));
        }
        for verdict in &judged.tries {
            count(self.tries.entry(verdict.label).or_default(), verdict.dealt);
            if is_failure(verdict) {
                let what = format!("try: {}", describe(attempt, verdict));
                self.failures.push((attempt.seed, attempt.number, what));
            }
        }
        for spoken in &judged.words {
            if !spoken.due {
                self.said_wrongly.entry(spoken.word).or_default().add(spoken.said);
            } else {
                self.refused.entry(spoken.word).or_default().add(spoken.refused);
                if !spoken.refused {
                    self.said.entry(spoken.word).or_default().add(spoken.said);
                }
            }
            if spoken.due != spoken.said {
                let what = format!("{:?}: {:?} due {}", attempt.pin, spoken.word, spoken.due);
                self.failures.push((attempt.seed, attempt.number, what));
            }
        }
    }

    /// Takes another tally's counts.
    pub fn merge(&mut self, other: Tally) {
        self.attempt_count += other.attempt_count;
        self.stroke_count += other.stroke_count;
        self.sample_count += other.sample_count;
        self.never_ready.count += other.never_ready.count;
        self.never_ready.of += other.never_ready.of;
        merge_dealings(&mut self.gestures, other.gestures);
        merge_dealings(&mut self.good_by_pin, other.good_by_pin);
        merge_dealings(&mut self.tries, other.tries);
        self.friction_of_allowed.extend(other.friction_of_allowed);
        self.moment_of_allowed.extend(other.moment_of_allowed);
        merge_shares(&mut self.said, other.said);
        merge_shares(&mut self.refused, other.refused);
        merge_shares(&mut self.said_wrongly, other.said_wrongly);
        self.failures.extend(other.failures);
        self.failures.sort();
    }

    /// Spoiled gestures reported as readings.
    pub fn false_accepts(&self) -> Share {
        let mut all = Dealings::new();
        for (label, dealings) in &self.gestures {
            if label.is_spoiled() {
                for (dealt, n) in dealings {
                    *all.entry(*dealt).or_default() += n;
                }
            }
        }
        share_of(&all, &[Dealt::Wrong])
    }

    /// Gestures of a sort that were reported wrongly, and all of them.
    pub fn wrong_of(&self, label: Label) -> (u64, u64) {
        let share = self
            .gestures
            .get(&label)
            .map_or(Share::default(), |dealings| share_of(dealings, &[Dealt::Wrong]));
        (share.count, share.of)
    }

    /// 95th percentile of the magnitude of `errors`.
    pub fn p95_of_allowed(errors: &[f64]) -> f64 {
        spread(errors).1
    }

    /// Good gestures not accepted as such.
    pub fn false_refusals(&self) -> Share {
        self.gestures
            .get(&Label::Good)
            .map_or(Share::default(), |good| share_of(good, &[Dealt::Lesser, Dealt::Refused]))
    }

    /// Good gestures reported with a wrong value.
    pub fn false_reports(&self) -> Share {
        let good = self.gestures.get(&Label::Good);
        good.map_or(Share::default(), |good| share_of(good, &[Dealt::Wrong]))
    }
}

fn merge_dealings<K: Ord>(into: &mut BTreeMap<K, Dealings>, other: BTreeMap<K, Dealings>) {
    for (key, dealings) in other {
        let kept = into.entry(key).or_default();
        for (dealt, n) in dealings {
            *kept.entry(dealt).or_default() += n;
        }
    }
}

fn merge_shares(into: &mut BTreeMap<Word, Share>, other: BTreeMap<Word, Share>) {
    for (word, share) in other {
        let kept = into.entry(word).or_default();
        kept.count += share.count;
        kept.of += share.of;
    }
}

fn is_failure(verdict: &Verdict) -> bool {
    match verdict.label {
        Label::Good => verdict.dealt != Dealt::Measured,
        label if label.is_odd() => matches!(verdict.dealt, Dealt::Refused | Dealt::Wrong),
        Label::Borderline => verdict.dealt == Dealt::Wrong,
        _ => verdict.dealt == Dealt::Wrong,
    }
}

fn describe(attempt: &Attempt, verdict: &Verdict) -> String {
    format!(
        "{:?} {:?}: {:?} dealt {:?} (F {:?}, M {:?} of allowed)",
        attempt.pin,
        attempt.intention,
        verdict.label,
        verdict.dealt,
        verdict.friction_of_allowed,
        verdict.moment_of_allowed
    )
}

/// Mean, and 95th percentile of magnitude.
fn spread(errors: &[f64]) -> (f64, f64) {
    let mut sorted: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
    sorted.sort_by(f64::total_cmp);
    let mean = errors.iter().sum::<f64>() / errors.len().max(1) as f64;
    (mean, sorted.get(sorted.len() * 95 / 100).copied().unwrap_or(0.0))
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(
            f,
            "{} attempts, {} strokes of the foot, {:.1} h of lever time",
            self.attempt_count,
            self.stroke_count,
            self.sample_count as f64 / 3.6e6
        )?;
        let line = |f: &mut fmt::Formatter<'_>, name: String, dealings: &Dealings| {
            let of = share_of(dealings, &[]).of;
            write!(f, "  {name:<22}{of:>6}")?;
            for dealt in [Dealt::Measured, Dealt::Lesser, Dealt::Refused, Dealt::Wrong] {
                write!(f, "{:>10}", dealings.get(&dealt).copied().unwrap_or(0))?;
            }
            writeln!(f)
        };
        let head = |f: &mut fmt::Formatter<'_>, name: &str| {
            writeln!(f, "{name:<24}    of  measured    lesser   refused     wrong")
        };
        head(f, "gestures, as they were")?;
        for (label, dealings) in &self.gestures {
            line(f, format!("{label:?}"), dealings)?;
        }
        head(f, "good ones, by pin")?;
        for (pin, dealings) in &self.good_by_pin {
            line(f, format!("{pin:?}"), dealings)?;
        }
        head(f, "proper tries after that")?;
        for (label, dealings) in &self.tries {
            line(f, format!("{label:?}"), dealings)?;
        }
        writeln!(f, "false accepts of spoiled: {}", self.false_accepts())?;
        writeln!(f, "false refusals of good: {}", self.false_refusals())?;
        writeln!(f, "false values of good: {}", self.false_reports())?;
        writeln!(f, "never ready: {}", self.never_ready)?;
        let (friction, friction_p95) = spread(&self.friction_of_allowed);
        let (moment, moment_p95) = spread(&self.moment_of_allowed);
        writeln!(
            f,
            "error over allowed: F mean {friction:+.2} p95 {friction_p95:.2}, M mean \
             {moment:+.2} p95 {moment_p95:.2}"
        )?;
        for word in WORDS {
            let get = |map: &BTreeMap<Word, Share>| map.get(&word).copied().unwrap_or_default();
            writeln!(
                f,
                "  {:<16} said {}; refused {}; said wrongly {}",
                format!("{word:?}"),
                get(&self.said),
                get(&self.refused),
                get(&self.said_wrongly)
            )?;
        }
        Ok(())
    }
}
