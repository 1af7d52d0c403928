//! What happens to a log, made up from a seed.
//!
//! Faults first, then quiet: at the end, with good power and a willing host, a log must take
//! records again.

use pinhold_lever::log::RecordLog;
use pinhold_lever::log::flash::care::Care;

use crate::bench::{Bench, Finding, Tally};
use crate::flash::{SUBSETS, TORN_KINDS, Torn};
use crate::random::Random;

/// Which faults a history may have beside power cuts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trouble {
    /// None.
    Power,
    /// Words that take less than they were told.
    Flaws,
    /// Bits that turn over by themselves.
    Rot,
}

/// Kinds of torn bits that read the same every time.
const STEADY_KINDS: [Torn; 2] = [Torn::Settled, Torn::Reported];
/// Operations of a history.
const OPERATION_COUNT: u64 = 14;
/// Records tried at the end.
const QUIET_RECORD_COUNT: u32 = 3;

/// A history of a chip of `WORD`-byte words.
///
/// # Errors
/// The first finding, with the seed.
pub fn run<const WORD: usize, const PAGE: usize, C: Care + Clone>(
    seed: u64,
    trouble: Trouble,
) -> Result<Tally, Finding> {
    let mut random = Random::new(seed);
    // Bits that rot where others are weak are two faults at once, and more than is promised.
    let kinds = if trouble == Trouble::Rot { &STEADY_KINDS[..] } else { &TORN_KINDS[..] };
    let torn = kinds[random.below(kinds.len() as u64) as usize];
    run_with::<WORD, PAGE, C>(&mut random, trouble, torn)
        .map_err(|finding| format!("{finding} (seed {seed}, {WORD}-byte words, {torn:?})"))
}

fn run_with<const WORD: usize, const PAGE: usize, C: Care + Clone>(
    random: &mut Random,
    trouble: Trouble,
    torn: Torn,
) -> Result<Tally, Finding> {
    let page_count = 5 + random.below(4) as usize;
    let mut bench: Bench<WORD, PAGE, C> =
        Bench::new(page_count, torn, random.one_in(8), random.bits());
    for _ in 0..OPERATION_COUNT {
        // A torn page and a rotten one at once are more than is promised.
        if random.one_in(3) && !bench.is_rotten() {
            let reach = [3, 30, 300][random.below(3) as usize] / WORD as u64 + 2;
            let subset = SUBSETS[random.below(SUBSETS.len() as u64) as usize];
            bench.flash().cut_after(random.below(reach), subset);
        }
        let flaws = trouble == Trouble::Flaws && random.one_in(3);
        bench.flash().set_flaws(flaws.then(|| 1 + random.below(600 / WORD as u64)));
        operate(&mut bench, random, trouble)?;
        if bench.is_given_up {
            return Ok(bench.tally);
        }
    }
    quiet(&mut bench)?;
    Ok(bench.tally)
}

fn operate<const WORD: usize, const PAGE: usize, C: Care + Clone>(
    bench: &mut Bench<WORD, PAGE, C>,
    random: &mut Random,
    trouble: Trouble,
) -> Result<(), Finding> {
    match random.below(40) {
        0..=23 => {
            let byte_count = match random.below(4) {
                0 => 5 + random.below(30),
                1 => 340 + random.below(40),
                _ => 100 + random.below(160),
            };
            bench.keep_record(byte_count as usize)
        }
        24..=29 => bench.sync_host(random.below(9) as u32),
        30..=31 => bench.store_settings(random.below(513) as usize),
        32 => bench.warn(),
        33..=37 => {
            if trouble == Trouble::Rot && random.one_in(2) {
                bench.rot();
            }
            bench.restart()
        }
        38 if random.one_in(4) => bench.wipe(),
        _ => bench.pull_again(),
    }
}

/// With power good and the flash sound, the host takes everything and the log takes records.
fn quiet<const WORD: usize, const PAGE: usize, C: Care + Clone>(
    bench: &mut Bench<WORD, PAGE, C>,
) -> Result<(), Finding> {
    bench.flash().set_flaws(None);
    bench.restart()?;
    for _ in 0..QUIET_RECORD_COUNT {
        bench.sync_host(u32::MAX)?;
        let before = bench.tally.kept_count;
        bench.keep_record(200)?;
        if bench.tally.kept_count == before {
            return Err("a log that has everything committed takes no record".to_owned());
        }
    }
    bench.sync_host(u32::MAX)?;
    let (floor, _) = bench.log().committed();
    if floor != bench.log().next_number() {
        return Err("a willing host cannot commit everything".to_owned());
    }
    bench.restart()
}
