//! Random histories: power cuts at any word and erase, during recovery too, and words of every
//! size.

use std::sync::Mutex;
use std::thread;

use pinhold_flashmodel::bench::{Finding, Tally};
use pinhold_flashmodel::history::{Trouble, run};
use pinhold_lever::log::flash::care::Careful;

/// Runs histories on as many threads as there are cores; the findings and the sum.
fn histories(name: &str, count: u64, one: impl Fn(u64) -> Result<Tally, Finding> + Sync) -> Tally {
    let factor = std::env::var("PINHOLD_HISTORIES").ok().and_then(|text| text.parse().ok());
    let count = count * factor.unwrap_or(1);
    let thread_count = thread::available_parallelism().map_or(1, |count| count.get() as u64);
    let sum = Mutex::new((Tally::default(), Vec::new()));
    thread::scope(|scope| {
        for first in 0..thread_count {
            let (sum, one) = (&sum, &one);
            scope.spawn(move || {
                for seed in (first..count).step_by(thread_count as usize) {
                    let result = one(seed);
                    let mut sum = sum.lock().expect("no thread panics");
                    match result {
                        Ok(tally) => sum.0.add(&tally),
                        Err(finding) => sum.1.push(finding),
                    }
                }
            });
        }
    });
    let (tally, findings) = sum.into_inner().expect("no thread panics");
    println!("{name}: {count} histories, {tally:?}");
    for finding in findings.iter().take(10) {
        println!("  {finding}");
    }
    assert!(findings.is_empty(), "{} findings of {count}", findings.len());
    tally
}

fn one_of_any_word(seed: u64, trouble: Trouble) -> Result<Tally, Finding> {
    // Each seed meets another word size in each round of the seeds.
    match (seed + seed / 5) % 5 {
        0 => run::<1, 1024, Careful>(seed, trouble),
        1 => run::<4, 1024, Careful>(seed, trouble),
        2 => run::<8, 2048, Careful>(seed, trouble),
        3 => run::<16, 1024, Careful>(seed, trouble),
        _ => run::<32, 1024, Careful>(seed, trouble),
    }
}

#[test]
fn nothing_is_lost_doubled_or_reordered_by_power_cuts() {
    let tally = histories("power", 50_000, |seed| one_of_any_word(seed, Trouble::Power));
    assert!(tally.cut_count > tally.kept_count / 10, "too few cuts to mean anything");
}

#[test]
fn nor_by_words_that_do_not_take() {
    histories("flaws", 15_000, |seed| one_of_any_word(seed, Trouble::Flaws));
}

#[test]
fn what_rots_is_told() {
    let tally = histories("rot", 15_000, |seed| one_of_any_word(seed, Trouble::Rot));
    assert!(tally.lost_count > 0, "nothing ever rotted");
}
