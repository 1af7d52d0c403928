//! Verdicts on planks nobody tuned on, with and without what is known beside torque.
//!
//! Ten faults, plain and marginal, and mixed planks: two faults, hardly any, a record that is
//! wrong. The test command takes a few; `PINHOLD_VERDICTS=long` takes 60 of each fault and severity
//! and 1200 mixed ones, asks how true the stated chances are, and holds the tables against those
//! committed (`tests/sim/tables/verdicts.txt`); `=bless` writes them; a number tunes: so many of
//! each and twenty times as many mixed ones, from seed 1000, without a bound.
//! Seeds from 860 000 judge; those below 6000 served while tuning.
//!
//! How sure a verdict may be is asked of all planks together: of single faults alone nearly every
//! verdict is right, and any chance stated would be too modest.
//!
//! Torques are the truth with a lever's noise; strokes are simulated in `fault_table`.

use pinhold::analysis::input::Condition;
use pinhold_sim::piano::{Fault, Piano, Severity};
use pinhold_simtest::form::Form;
use pinhold_simtest::planks::each;
use pinhold_simtest::planks::tally::hold_table;
use pinhold_simtest::sampled::Plank;
use pinhold_simtest::verdicts::{Judged, STEP_COUNT_MIN, Verdicts};

const JUDGING_SEED: u64 = 860_000;
/// Mixed planks have seeds of their own, so far after the others.
const MIXED_SEED_OFFSET: u64 = 2_000;
/// Of them there are so many for each one of a fault and severity.
const MIXED_FACTOR: u64 = 20;
const TUNING_SEED: u64 = 1_000;
/// Planks of each fault and severity.
const SHORT_COUNT: u64 = 3;
const LONG_COUNT: u64 = 60;
const THREAD_COUNT: usize = 2;
/// Of decided verdicts so many are right.
const RIGHT_SHARE_MIN: f64 = 0.95;
/// And of mixed ones, in which a fault can be hidden behind another.
const MIXED_RIGHT_SHARE_MIN: f64 = 0.85;
const UNDECIDED_SHARE_MAX: f64 = 0.10;
const PLANK_WITHOUT_CAUSE_MAX: f64 = 0.01;
/// A stated chance may be off by this much.
const CALIBRATION_SLACK: f64 = 0.05;

/// Verdicts with the condition record and without it.
fn judged(first_seed: u64, count: u64) -> (Verdicts, Verdicts) {
    let mut jobs = Vec::new();
    for (f, fault) in (0..).zip(Fault::ALL) {
        for (s, severity) in (0..).zip([Severity::Plain, Severity::Marginal]) {
            let first = first_seed + (2 * f + s) * count;
            jobs.extend((first..first + count).map(|seed| (fault, severity, seed)));
        }
    }
    let pairs = each(0..jobs.len() as u64, THREAD_COUNT, |at| {
        let (fault, severity, seed) = jobs[at as usize];
        let mut plank = Plank::new(seed, fault, severity);
        let given = Judged::new(fault, severity, seed, &plank.full());
        plank.condition = Condition::default();
        (given, Judged::new(fault, severity, seed, &plank.full()))
    });
    both(pairs)
}

/// The same of mixed planks.
fn judged_mixed(first_seed: u64, count: u64) -> (Verdicts, Verdicts) {
    let pairs = each(first_seed..first_seed + count, THREAD_COUNT, |seed| {
        let mixed = Piano::invent_mixed(seed);
        let mut plank = Plank::of_piano(seed, &mixed.piano);
        let given = Judged::mixed(&mixed, seed, &plank.full());
        plank.condition = Condition::default();
        (given, Judged::mixed(&mixed, seed, &plank.full()))
    });
    both(pairs)
}

fn both(pairs: Vec<(Judged, Judged)>) -> (Verdicts, Verdicts) {
    let (given, withheld) = pairs.into_iter().unzip();
    (Verdicts { all: given }, Verdicts { all: withheld })
}

/// What is wrong with the verdicts given the record.
fn faults_of(given: &Verdicts) -> Vec<String> {
    let mut wrong = Vec::new();
    let count = given.all.len() as f64;
    if given.right_share() < RIGHT_SHARE_MIN {
        wrong.push(format!("right {:.3}", given.right_share()));
    }
    let undecided = given.count(|j| !j.is_decided());
    if undecided as f64 > UNDECIDED_SHARE_MAX * count {
        wrong.push(format!("undecided {undecided}"));
    }
    let plain = given.count(|j| !j.is_decided() && j.severity == Severity::Plain);
    if plain > 0 {
        wrong.push(format!("undecided on plain faults {plain}"));
    }
    let planks = given.count(Judged::is_plank_without_cause);
    if planks as f64 > PLANK_WITHOUT_CAUSE_MAX * count {
        wrong.push(format!("new planks without cause {planks}"));
    }
    wrong
}

/// What is wrong with the confidences stated.
fn miscalibrated(verdicts: &Verdicts) -> Vec<String> {
    let judged = verdicts.steps().into_iter().filter(|(_, step)| step.count >= STEP_COUNT_MIN);
    let off = judged.filter(|(_, s)| (s.stated() - s.right_share()).abs() > CALIBRATION_SLACK);
    let mut wrong: Vec<String> = off
        .map(|(low, s)| format!("from {low}: {:.3} stated, {:.3}", s.stated(), s.right_share()))
        .collect();
    let (own, base) = verdicts.brier();
    if own >= base {
        wrong.push(format!("Brier score {own:.4}, of the base rate {base:.4}"));
    }
    wrong
}

#[test]
fn verdicts_are_right_and_as_sure_as_they_say() {
    let form = Form::asked("PINHOLD_VERDICTS");
    let (first_seed, count) = form.seeds(TUNING_SEED, JUDGING_SEED, (SHORT_COUNT, LONG_COUNT));
    let (given, withheld) = judged(first_seed, count);
    let first_mixed = first_seed + MIXED_SEED_OFFSET;
    let (mixed, mixed_withheld) = judged_mixed(first_mixed, MIXED_FACTOR * count);
    let together = |a: &Verdicts, b: &Verdicts| Verdicts { all: [&a.all[..], &b.all].concat() };
    let all_given = together(&given, &mixed);
    let all_withheld = together(&withheld, &mixed_withheld);
    let head = format!("{} planks of one fault, seeds from {first_seed}", given.all.len());
    let mixed_head = format!("{} mixed planks, seeds from {first_mixed}", mixed.all.len());
    let tables = [
        given.table(&format!("{head}, the condition record given")),
        withheld.table(&format!("{head}, the condition record withheld")),
        mixed.mixed_table(&format!("{mixed_head}, the condition record given")),
        mixed_withheld.mixed_table(&format!("{mixed_head}, the condition record withheld")),
        all_given.chances_table("All of them, the condition record given"),
        all_withheld.chances_table("All of them, the condition record withheld"),
    ]
    .join("\n");
    println!("{tables}");
    if form.is_long {
        hold_table("verdicts.txt", &tables, form.is_blessed);
    }
    if form.count.is_none() {
        // What torque cannot show is no verdict's fault: a plank off its back holds its pins.
        let shown = withheld.of(|judged| judged.fault != Fault::OffBack);
        let mut wrong = faults_of(&given);
        wrong.extend(faults_of(&shown).into_iter().map(|fault| format!("withheld: {fault}")));
        if mixed.right_share() < MIXED_RIGHT_SHARE_MIN {
            wrong.push(format!("mixed, right {:.3}", mixed.right_share()));
        }
        if form.is_long {
            wrong.extend(miscalibrated(&all_given));
            let withheld = miscalibrated(&all_withheld);
            wrong.extend(withheld.into_iter().map(|fault| format!("withheld: {fault}")));
        }
        assert!(wrong.is_empty(), "{wrong:#?}");
    }
}
