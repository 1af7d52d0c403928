//! Adaptive surveys against full ones of the same invented planks: the same verdict, fewer pins.
//!
//! Ten fault classes, plain and marginal in turn; seeds from 822 000 judge, those from 1000 to 1999
//! served while the steps were chosen. `PINHOLD_ADAPTIVE=long` takes ten times as many planks and
//! holds their table against the committed one (`tests/sim/tables/adaptive.txt`), `=bless` writes
//! it; a number tunes: that many planks of each fault, from seed 1000, without a bound. The same
//! verdict means the same remedy; how right a full survey's remedy is, is another matter
//! (`fault_table`). These are `Piano::invent`'s planks alone.

use std::fmt::Write as _;

use pinhold::analysis::sampling::{Step, Why};
use pinhold_sim::piano::{Fault, Severity};
use pinhold_simtest::form::Form;
use pinhold_simtest::planks::each;
use pinhold_simtest::planks::tally::hold_table;
use pinhold_simtest::sampled::Plank;

/// First judging seed.
const JUDGING_SEED: u64 = 822_000;
/// First of the seeds that served while tuning.
const TUNING_SEED: u64 = 1_000;
/// Planks of each fault in the short run.
const PLANK_COUNT: u64 = 7;
/// Share of planks whose verdict a full survey would not change.
const SAME_SHARE_MIN: f64 = 0.95;
/// Median share of pins read.
const MEDIAN_SHARE_MAX: f64 = 0.40;
const THREAD_COUNT: usize = 2;

/// One plank, surveyed both ways.
struct Outcome {
    fault: Fault,
    severity: Severity,
    seed: u64,
    full: &'static str,
    adaptive: &'static str,
    read_count: usize,
    pin_count: usize,
    /// Steps that measured a zone through.
    through_count: usize,
    /// Zones against the surroundings at the moment of stopping.
    zone_count: usize,
}

fn survey(fault: Fault, severity: Severity, seed: u64) -> Outcome {
    let plank = Plank::new(seed, fault, severity);
    let full = plank.full().verdict.remedy.word();
    let mut through_count = 0;
    let (pins, settled) = plank.adaptive(|step, _| {
        if let Step::Read(proposal) = step {
            through_count += usize::from(proposal.why == Why::MeasureThrough);
        }
    });
    let stopped = plank.assess(&plank.readings_of(&pins));
    assert_eq!(settled.remedy, stopped.verdict.remedy.kind(), "{fault} {seed}");
    assert_eq!(settled.read_count, pins.len());
    Outcome {
        fault,
        severity,
        seed,
        full,
        adaptive: settled.remedy.word(),
        read_count: pins.len(),
        pin_count: plank.instrument.pins.len(),
        through_count,
        zone_count: stopped.zones.iter().filter(|zone| zone.p_value.is_some()).count(),
    }
}

fn all(first_seed: u64, count: u64) -> Vec<Outcome> {
    let mut jobs = Vec::new();
    for (f, fault) in (0..).zip(Fault::ALL) {
        for k in 0..count {
            let severity = if k % 2 == 0 { Severity::Plain } else { Severity::Marginal };
            jobs.push((fault, severity, first_seed + f * count + k));
        }
    }
    each(0..jobs.len() as u64, THREAD_COUNT, |at| {
        let (fault, severity, seed) = jobs[at as usize];
        survey(fault, severity, seed)
    })
}

fn middle(mut counts: Vec<usize>) -> usize {
    counts.sort_unstable();
    counts[counts.len() / 2]
}

fn table(outcomes: &[Outcome], first_seed: u64) -> String {
    let mut text = format!(
        "Adaptive against full surveys of {} invented planks, seeds from {first_seed}\n\
         fault          same verdict   pins read: median   least  most   zones measured through\n",
        outcomes.len()
    );
    let mut differing = String::new();
    for fault in Fault::ALL {
        let of: Vec<&Outcome> = outcomes.iter().filter(|o| o.fault == fault).collect();
        let same = of.iter().filter(|o| o.full == o.adaptive).count();
        let counts: Vec<usize> = of.iter().map(|o| o.read_count).collect();
        let _ = writeln!(
            text,
            "{:<14} {same:>4} of {:<4} {:>17} {:>12} {:>5} {:>10}",
            fault.name(),
            of.len(),
            middle(counts.clone()),
            counts.iter().min().copied().unwrap_or(0),
            counts.iter().max().copied().unwrap_or(0),
            of.iter().filter(|o| o.through_count > 0).count()
        );
        for o in of.iter().filter(|o| o.full != o.adaptive) {
            let _ = writeln!(
                differing,
                "  {fault} {} {}: full {}, adaptive {} after {} pins",
                o.seed, o.severity, o.full, o.adaptive, o.read_count
            );
        }
    }
    let same = outcomes.iter().filter(|o| o.full == o.adaptive).count();
    let sound = [Fault::None, Fault::FlatPitch, Fault::TightNew];
    let of_sound = || outcomes.iter().filter(|o| sound.contains(&o.fault));
    let alarms = of_sound().filter(|o| o.zone_count > 0).count();
    let median = middle(outcomes.iter().map(|o| o.read_count).collect());
    let share = 100.0 * median as f64 / outcomes[0].pin_count as f64;
    let _ = writeln!(
        text,
        "all            {same:>4} of {:<4} {median:>17}  ({share:.1} % of {} pins)\n\
         sound planks with a zone at the moment of stopping: {alarms} of {}\n{differing}",
        outcomes.len(),
        outcomes[0].pin_count,
        of_sound().count()
    );
    text
}

#[test]
fn an_adaptive_survey_reaches_the_full_ones_verdict_with_fewer_pins() {
    let form = Form::asked("PINHOLD_ADAPTIVE");
    let counts = (PLANK_COUNT, 10 * PLANK_COUNT);
    let (first_seed, count) = form.seeds(TUNING_SEED, JUDGING_SEED, counts);
    let outcomes = all(first_seed, count);
    let text = table(&outcomes, first_seed);
    println!("{text}");
    if form.count.is_some() {
        return;
    }
    if form.is_long {
        hold_table("adaptive.txt", &text, form.is_blessed);
    }
    let same = outcomes.iter().filter(|o| o.full == o.adaptive).count();
    assert!(same as f64 >= SAME_SHARE_MIN * outcomes.len() as f64, "{same} the same");
    let shares: Vec<f64> =
        outcomes.iter().map(|o| o.read_count as f64 / o.pin_count as f64).collect();
    let below = shares.iter().filter(|share| **share <= MEDIAN_SHARE_MAX).count();
    assert!(2 * below >= shares.len(), "{below} of {} within the share", shares.len());
}
