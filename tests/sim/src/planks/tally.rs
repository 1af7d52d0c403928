//! Counts over many planks, and their tables.
//!
//! Deliberately not here: bounds; the tests state theirs.

use std::collections::BTreeMap;
use std::fmt;

use pinhold::analysis::ZoneShape;
use pinhold_sim::piano::Severity;

use super::judge::{Alarms, Judged};
use super::law::expected_counts;
use super::{Generator, PlankFault};

/// Confidence of the printed bounds.
const CONFIDENCE: f64 = 0.99;

/// Alarms on sound planks.
#[derive(Clone, Debug, Default)]
pub struct AlarmTally {
    /// Planks.
    pub count: u64,
    /// Sum over planks of the share of pins read.
    read_sum: f64,
    /// Planks with an alarm without reason, at 5 % and at 1 %.
    pub false_at: [u64; 2],
    /// Planks with a zone by comparison.
    pub compared_at: [u64; 2],
    /// Planks with any zone.
    pub any_at: [u64; 2],
    /// Shapes at 5 %; of those by comparison and of the others.
    pub shapes: BTreeMap<(ZoneShape, bool), u64>,
    /// The planks with an alarm at 5 %: seed, shape and what they are made from.
    pub planks: Vec<String>,
}

impl AlarmTally {
    /// The stated rates, in the order of the counts.
    pub const RATES: [f64; 2] = [0.05, 0.01];

    /// Counts planks.
    pub fn of(all: &[Alarms]) -> AlarmTally {
        let mut tally = AlarmTally::default();
        for alarms in all {
            tally.count += 1;
            tally.read_sum += alarms.read_share;
            for (index, alarm) in [alarms.at_five, alarms.at_one].into_iter().enumerate() {
                tally.false_at[index] += u64::from(alarm.is_false());
                tally.compared_at[index] += u64::from(alarm.compared);
                tally.any_at[index] += u64::from(alarm.any);
            }
            for shape in &alarms.shapes {
                *tally.shapes.entry(*shape).or_default() += 1;
            }
            if alarms.at_five.is_false() {
                let at_one = if alarms.at_one.is_false() { "also at 1 %, " } else { "" };
                let words: Vec<&str> =
                    alarms.shapes.iter().map(|(shape, _)| shape.word()).collect();
                let Alarms { seed, recipe, .. } = alarms;
                tally.planks.push(format!("{seed}: {at_one}{}: {recipe}", words.join(", ")));
            }
        }
        tally
    }

    /// Adds another's.
    pub fn merge(&mut self, other: &AlarmTally) {
        self.count += other.count;
        self.read_sum += other.read_sum;
        for index in 0..2 {
            self.false_at[index] += other.false_at[index];
            self.compared_at[index] += other.compared_at[index];
            self.any_at[index] += other.any_at[index];
        }
        for (shape, count) in &other.shapes {
            *self.shapes.entry(*shape).or_default() += count;
        }
        self.planks.extend(other.planks.iter().cloned());
    }

    /// Bounds of the count at each rate that the rate allows.
    pub fn bounds(&self) -> [(u64, u64); 2] {
        AlarmTally::RATES.map(|rate| expected_counts(self.count, rate, CONFIDENCE))
    }

    /// Both stated rates are kept: neither more alarms nor fewer than they allow.
    pub fn keeps_its_word(&self) -> bool {
        let pairs = self.bounds().into_iter().zip(self.false_at);
        pairs.into_iter().all(|((low, high), count)| (low..=high).contains(&count))
    }

    /// One line of a table.
    pub fn line(&self, title: &str) -> String {
        let [five, one] = self.bounds();
        let mut shapes = String::new();
        for ((shape, compared), count) in &self.shapes {
            let mark = if *compared { "" } else { "*" };
            shapes.push_str(&format!(" {}{mark} {count}", shape.word()));
        }
        format!(
            "{title:<28}{:>6} {:>3.0} %  {:>4} ({:>3}–{:<3}) {:>4} ({:>2}–{:<2})  {:>4} {:>4}  \
             {:>4} {:>4} {shapes}",
            self.count,
            100.0 * self.read_sum / self.count.max(1) as f64,
            self.false_at[0],
            five.0,
            five.1,
            self.false_at[1],
            one.0,
            one.1,
            self.compared_at[0],
            self.compared_at[1],
            self.any_at[0],
            self.any_at[1],
        )
    }

    /// The head over [`AlarmTally::line`]s.
    pub fn head() -> String {
        format!(
            "{:<28}{:>6} {:<7}{:<15}{:<13}{:<11}{:<11}shapes at 5 % (* by bands)",
            "sound planks, survey",
            "planks",
            "read",
            "false at 5 %",
            "at 1 %",
            "compared",
            "any zone"
        )
    }
}

/// Faulty planks of one kind.
#[derive(Clone, Debug)]
pub struct FaultTally {
    /// Who drew them.
    pub generator: Generator,
    /// What was wrong.
    pub fault: PlankFault,
    /// How plainly.
    pub severity: Severity,
    /// Planks.
    pub all: Vec<Judged>,
}

impl FaultTally {
    /// Planks.
    pub fn count(&self) -> u64 {
        self.all.len() as u64
    }

    /// Planks of which something holds.
    pub fn count_of(&self, is: impl Fn(&Judged) -> bool) -> u64 {
        self.all.iter().filter(|judged| is(judged)).count() as u64
    }

    /// Planks by the shape of the zone with most of the fault's pins; `None` found none.
    pub fn shapes(&self) -> BTreeMap<Option<ZoneShape>, u64> {
        let mut shapes = BTreeMap::new();
        for judged in &self.all {
            *shapes.entry(judged.main().map(|zone| zone.shape)).or_default() += 1;
        }
        shapes
    }

    /// Mean over planks of a share.
    pub fn mean(&self, share: impl Fn(&Judged) -> f64) -> f64 {
        self.all.iter().map(share).sum::<f64>() / self.all.len().max(1) as f64
    }

    /// Middle and middle size of the depth's error, where it is known.
    pub fn depth_errors(&self) -> Option<(f64, f64)> {
        let mut errors: Vec<f64> =
            self.all.iter().filter_map(|judged| judged.main()?.depth_error).collect();
        errors.sort_by(f64::total_cmp);
        let middle = *errors.get(errors.len() / 2)?;
        errors.iter_mut().for_each(|error| *error = error.abs());
        errors.sort_by(f64::total_cmp);
        Some((middle, errors[errors.len() / 2]))
    }

    /// The head over the lines of a table.
    pub fn head() -> String {
        let mut line = format!("{:<38}{:>4} {:>5}", "fault", "of", "none");
        for shape in ZoneShape::ALL {
            line.push_str(&format!(" {:>8.8}", shape.word()));
        }
        line + "   found  pure beside depth error (bias, size)"
    }
}

impl fmt::Display for FaultTally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let shapes = self.shapes();
        let of = |shape: Option<ZoneShape>| shapes.get(&shape).copied().unwrap_or(0);
        let title =
            format!("{:<9}{:<18}{:<9}", self.generator, self.fault, self.severity.to_string());
        write!(f, "{title:<38}{:>4} {:>5}", self.count(), of(None))?;
        for shape in ZoneShape::ALL {
            write!(f, " {:>8}", of(Some(shape)))?;
        }
        // Of the fault's pins, those in its main zone; and of that zone, those of the fault.
        let found = self.mean(|judged| {
            let hits = judged.main().map_or(0, |zone| zone.hit_count);
            hits as f64 / judged.loose_count.max(1) as f64
        });
        let hits: usize = self.all.iter().filter_map(|j| Some(j.main()?.hit_count)).sum();
        let pins: usize = self.all.iter().filter_map(|j| Some(j.main()?.pin_count)).sum();
        let pure = hits as f64 / pins.max(1) as f64;
        let beside = self.mean(|judged| judged.beside_count() as f64);
        write!(f, "  {:>4.0} % {:>3.0} % {beside:>5.2}", 100.0 * found, 100.0 * pure)?;
        match self.depth_errors() {
            Some((bias, size)) => write!(f, "  {:>+5.1} % {:>4.1} %", 100.0 * bias, 100.0 * size),
            None => Ok(()),
        }
    }
}

/// Holds a table of the long run against the committed one under `tables/`; when `is_blessed` it
/// becomes that.
///
/// # Panics
/// If the table differs or cannot be written.
pub fn hold_table(name: &str, table: &str, is_blessed: bool) {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tables");
    let place = folder.join(name);
    if is_blessed {
        std::fs::create_dir_all(&folder).expect("a folder for tables");
        std::fs::write(&place, table).expect("a table written");
    }
    let committed = std::fs::read_to_string(&place).unwrap_or_default();
    assert!(committed == table, "{name} is not the committed table");
}
