//! How right verdicts are, and how right they say they are.
//!
//! Deliberately not here: which planks, and bounds; the test states both.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use pinhold::analysis::Assessment;
use pinhold::analysis::verdict::{ConfidenceCap, RemedyKind};
use pinhold_sim::piano::{Fault, Mixed, Severity};

/// Least verdicts in a step of confidence for it to be judged.
pub const STEP_COUNT_MIN: usize = 150;
/// Steps of stated confidence: their lower ends. The last ends at 1.
const STEPS: [f64; 7] = [0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97];

/// A verdict on a plank whose fault is known.
#[derive(Clone, Debug)]
pub struct Judged {
    /// The fault, the first one of several.
    pub fault: Fault,
    /// How plain.
    pub severity: Severity,
    /// A second fault, and how plain.
    pub second: Option<(Fault, Severity)>,
    /// Remedies that could be defended, the best first where the fault is a single one.
    pub accepted: Vec<&'static str>,
    /// Seed of the plank.
    pub seed: u64,
    /// The remedy advised.
    pub remedy: RemedyKind,
    /// Chance stated for it.
    pub confidence: f64,
    /// Why that is a cap, where it is one.
    pub cap: Option<ConfidenceCap>,
}

impl Judged {
    /// What an assessment says.
    pub fn new(fault: Fault, severity: Severity, seed: u64, assessment: &Assessment) -> Judged {
        let verdict = &assessment.verdict;
        Judged {
            fault,
            severity,
            second: None,
            accepted: fault.accepted(severity).to_vec(),
            seed,
            remedy: verdict.remedy.kind(),
            confidence: verdict.confidence,
            cap: verdict.confidence_cap,
        }
    }

    /// What an assessment says of a plank with more than one fault, or hardly any.
    pub fn mixed(mixed: &Mixed, seed: u64, assessment: &Assessment) -> Judged {
        let (fault, severity) = (mixed.piano.fault, mixed.piano.severity);
        let (second, accepted) = (mixed.second, mixed.accepted.clone());
        Judged { second, accepted, ..Judged::new(fault, severity, seed, assessment) }
    }

    /// It names a remedy.
    pub fn is_decided(&self) -> bool {
        self.remedy != RemedyKind::Undecided
    }

    /// The remedy is one that the fault accepts.
    pub fn is_right(&self) -> bool {
        self.accepted.contains(&self.remedy.word())
    }

    /// The remedy is the first that the fault accepts.
    fn is_first(&self) -> bool {
        self.accepted.first() == Some(&self.remedy.word())
    }

    /// A new plank where none is right.
    pub fn is_plank_without_cause(&self) -> bool {
        self.remedy == RemedyKind::Plank && !self.is_right()
    }
}

/// Verdicts of one step of stated confidence.
#[derive(Clone, Copy, Debug, Default)]
pub struct Step {
    /// Verdicts.
    pub count: usize,
    /// Right ones.
    pub right: usize,
    /// Sum of what they state.
    stated_sum: f64,
}

impl Step {
    /// Mean of what they state, 0–1.
    pub fn stated(&self) -> f64 {
        self.stated_sum / self.count.max(1) as f64
    }

    /// Share of right ones, 0–1.
    pub fn right_share(&self) -> f64 {
        self.right as f64 / self.count.max(1) as f64
    }
}

/// Many verdicts.
#[derive(Clone, Debug, Default)]
pub struct Verdicts {
    /// Each.
    pub all: Vec<Judged>,
}

impl Verdicts {
    /// Of these only.
    pub fn of(&self, keep: impl Fn(&Judged) -> bool) -> Verdicts {
        Verdicts { all: self.all.iter().filter(|judged| keep(judged)).cloned().collect() }
    }

    /// How many there are for which this holds.
    pub fn count(&self, holds: impl Fn(&Judged) -> bool) -> usize {
        self.all.iter().filter(|judged| holds(judged)).count()
    }

    /// Share of right ones among the decided, 0–1; 1 of none.
    pub fn right_share(&self) -> f64 {
        let decided = self.count(Judged::is_decided);
        if decided == 0 { 1.0 } else { self.count(Judged::is_right) as f64 / decided as f64 }
    }

    /// Decided verdicts whose confidence is the chance itself, by steps of it. A capped confidence
    /// is lower on purpose.
    pub fn steps(&self) -> Vec<(f64, Step)> {
        let mut steps: Vec<(f64, Step)> = STEPS.map(|low| (low, Step::default())).to_vec();
        for judged in self.all.iter().filter(|j| j.is_decided() && j.cap.is_none()) {
            let at = STEPS.iter().rposition(|low| judged.confidence >= *low).unwrap_or(0);
            let step = &mut steps[at].1;
            step.count += 1;
            step.right += usize::from(judged.is_right());
            step.stated_sum += judged.confidence;
        }
        steps
    }

    /// Mean squared error of the stated chances (G. W. Brier, *Monthly Weather Review* 78, 1950),
    /// and that of stating the share of right ones every time. Capped ones left out.
    pub fn brier(&self) -> (f64, f64) {
        let plain = self.of(|judged| judged.is_decided() && judged.cap.is_none());
        let count = plain.all.len().max(1) as f64;
        let rate = plain.count(Judged::is_right) as f64 / count;
        let square = |stated: f64, judged: &Judged| {
            let off = stated - f64::from(u8::from(judged.is_right()));
            off * off
        };
        let each = plain.all.iter();
        let own = each.fold(0.0, |sum, judged| sum + square(judged.confidence, judged)) / count;
        (own, rate * (1.0 - rate))
    }

    /// The table of single faults: by fault and severity, by confidence, and what went wrong.
    pub fn table(&self, title: &str) -> String {
        let mut text = format!(
            "{title}\nfault          severity   right   first  undecided  remedies (accepted)\n"
        );
        for fault in Fault::ALL {
            for severity in [Severity::Plain, Severity::Marginal] {
                self.of(|j| j.fault == fault && j.severity == severity)
                    .line(fault, severity, &mut text);
            }
        }
        text + &self.account()
    }

    /// The table of mixed planks: by confidence, and what went wrong.
    pub fn mixed_table(&self, title: &str) -> String {
        format!("{title}\n{}", self.account())
    }

    fn account(&self) -> String {
        let mut text = String::new();
        let decided = self.count(Judged::is_decided);
        let _ = writeln!(
            text,
            "all: {} of {decided} decided verdicts right ({:.1} %), undecided {} of {} ({} plain), \
             new plank without cause {}",
            self.count(Judged::is_right),
            100.0 * self.right_share(),
            self.count(|j| !j.is_decided()),
            self.all.len(),
            self.count(|j| !j.is_decided() && j.severity == Severity::Plain),
            self.count(Judged::is_plank_without_cause),
        );
        text += &self.chances();
        for judged in self.all.iter().filter(|j| j.is_decided() && !j.is_right()) {
            let Judged { fault, severity, seed, confidence, .. } = judged;
            let second = match judged.second {
                Some((fault, severity)) => format!(" and {fault} {severity}"),
                None => String::new(),
            };
            let word = judged.remedy.word();
            let _ = writeln!(text, "  {fault} {severity}{second} {seed}: {word} ({confidence:.2})");
        }
        text
    }

    /// The table of stated chances alone.
    pub fn chances_table(&self, title: &str) -> String {
        format!("{title}\n{}", self.chances())
    }

    fn chances(&self) -> String {
        let mut text = String::from("stated          verdicts   mean stated   right\n");
        for (i, (low, step)) in self.steps().iter().enumerate().filter(|(_, s)| s.1.count > 0) {
            let high = STEPS.get(i + 1).copied().unwrap_or(1.0);
            let _ = writeln!(
                text,
                "{:>3.0}–{:<3.0} % {:>14} {:>11.1} % {:>6.1} %",
                100.0 * low,
                100.0 * high,
                step.count,
                100.0 * step.stated(),
                100.0 * step.right_share()
            );
        }
        let (own, base) = self.brier();
        let capped = self.of(|j| j.is_decided() && j.cap.is_some());
        let _ = writeln!(
            text,
            "capped: {} verdicts, {:.1} % right\nBrier score {own:.4}, of the base rate {base:.4}",
            capped.all.len(),
            100.0 * capped.right_share()
        );
        text
    }

    fn line(&self, fault: Fault, severity: Severity, text: &mut String) {
        let mut remedies = BTreeMap::<&str, usize>::new();
        for judged in &self.all {
            *remedies.entry(judged.remedy.word()).or_default() += 1;
        }
        let listed: Vec<String> =
            remedies.iter().map(|(remedy, count)| format!("{remedy} {count}")).collect();
        let _ = writeln!(
            text,
            "{:<14} {:<9} {:>3} of {:<3} {:>5} {:>9}  {} ({})",
            fault.name(),
            severity.to_string(),
            self.count(Judged::is_right),
            self.all.len(),
            self.count(Judged::is_first),
            self.count(|j| !j.is_decided()),
            listed.join(", "),
            fault.accepted(severity).join(", ")
        );
    }
}
