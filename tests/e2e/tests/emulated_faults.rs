//! Emulator kills and resets, host kills and cable cuts at random moments: nothing accepted is
//! lost, doubled, reordered or changed on its way from the lever's flash to the host's disk.
//!
//! Several levers at once, each with its own flash, cable, host and store, since most of the time
//! is spent waiting. `PINHOLD_E2E_KILLS=n` does n times as many of each.

use std::path::Path;
use std::thread;

use pinhold_e2e::Result;
use pinhold_e2e::build::{firmware_elf, host_binary};
use pinhold_e2e::campaign::{self, BLOWS, Outcome, Plan, READING_COUNT_MIN};
use pinhold_e2e::ledger::Complaints;

/// Seeds: nothing was tuned to them.
const SEED_FIRST: u64 = 110_000;
/// Levers at once.
const LEVER_COUNT: usize = 4;
/// Blows of each kind on each lever.
const BLOW_COUNT: usize = 3;
/// Of each kind at least, all levers together.
const BLOW_COUNT_MIN: usize = 10;

fn times() -> Result<usize> {
    match std::env::var("PINHOLD_E2E_KILLS") {
        Err(std::env::VarError::NotPresent) => Ok(1),
        Ok(text) => Ok(text.parse::<usize>()?.max(1)),
        Err(error) => Err(error.into()),
    }
}

fn all_levers(elf: &Path, binary: &Path, blow_count: usize) -> Result<Vec<Outcome>> {
    thread::scope(|scope| {
        let levers: Vec<_> = (SEED_FIRST..)
            .take(LEVER_COUNT)
            .map(|seed| scope.spawn(move || campaign::run(elf, binary, Plan { seed, blow_count })))
            .collect();
        let outcomes = levers.into_iter().map(|lever| match lever.join() {
            Ok(outcome) => outcome,
            Err(panic) => std::panic::resume_unwind(panic),
        });
        outcomes.collect()
    })
}

#[test]
fn kills_resets_and_cuts_lose_nothing_and_double_nothing() -> Result<()> {
    let times = times()?;
    let (elf, binary) = (firmware_elf()?, host_binary()?);
    let outcomes = all_levers(&elf, &binary, BLOW_COUNT * times)?;
    for (seed, outcome) in (SEED_FIRST..).zip(&outcomes) {
        println!("seed {seed}: {outcome}");
    }
    for blow in BLOWS {
        let count: usize = outcomes.iter().map(|outcome| outcome.blows[&blow]).sum();
        println!("{blow:?}: {count}");
        assert!(count >= BLOW_COUNT_MIN * times, "{blow:?}: {count}");
    }
    for outcome in &outcomes {
        assert_eq!(outcome.complaints, Complaints::default(), "{outcome}");
        // Each campaign had something to lose, and hosts that came and went were noticed.
        assert!(outcome.reading_count >= READING_COUNT_MIN, "{outcome}");
        assert_eq!(outcome.reading_count, outcome.stored_count, "{outcome}");
        assert!(outcome.hung_up_count > 0, "{outcome}");
    }
    Ok(())
}
