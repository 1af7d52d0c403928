//! Every cut of a short history: each word and each erase, with every kind of subset, and a second
//! cut at each step of the recovery.

use pinhold_flashmodel::bench::{Bench, Finding, Tally};
use pinhold_flashmodel::flash::{SUBSETS, Subset, TORN_KINDS, Torn};
use pinhold_lever::log::RecordLog;
use pinhold_lever::log::flash::care::Careful;

type ShortBench = Bench<16, 1024, Careful>;

/// Steps of the recovery after which power goes again.
const SECOND_CUTS: [Option<u64>; 6] = [None, Some(0), Some(1), Some(2), Some(5), Some(9)];

fn bench(torn: Torn) -> ShortBench {
    Bench::new(6, torn, false, 7)
}

/// Records that fill a page and begin the next, a commit in between, settings, and records again.
fn short_history(bench: &mut ShortBench) -> Result<(), Finding> {
    bench.store_settings(40)?;
    for byte_count in [200, 30, 376] {
        bench.keep_record(byte_count)?;
    }
    bench.sync_host(2)?;
    bench.keep_record(300)?;
    bench.store_settings(20)?;
    bench.keep_record(100)?;
    bench.sync_host(9)?;
    bench.keep_record(64)
}

fn cut_at(step: u64, subset: Subset, second: Option<u64>, torn: Torn) -> Result<Tally, Finding> {
    let mut bench = bench(torn);
    bench.flash().cut_after(step, subset);
    short_history(&mut bench)?;
    if let Some(second) = second {
        bench.flash().cut_after(second, subset);
    }
    bench.keep_record(150)?;
    bench.flash().cancel_cut();
    bench.sync_host(99)?;
    bench.keep_record(150)?;
    bench.restart()?;
    if bench.log().next_number() == 0 {
        return Err("nothing was kept at all".to_owned());
    }
    Ok(bench.tally)
}

#[test]
fn every_cut_of_a_short_history_costs_nothing() {
    let mut quiet = bench(Torn::Settled);
    short_history(&mut quiet).expect("no fault, no finding");
    let step_count = quiet.flash().step_count();
    assert!(step_count > 100, "{step_count} steps");
    let (mut tally, mut history_count) = (Tally::default(), 0u64);
    for torn in TORN_KINDS {
        for subset in SUBSETS {
            for second in SECOND_CUTS {
                for step in 0..step_count {
                    let one = cut_at(step, subset, second, torn).unwrap_or_else(|finding| {
                        panic!("{finding}: {torn:?}, {subset:?} at {step}, then {second:?}")
                    });
                    tally.add(&one);
                    history_count += 1;
                }
            }
        }
    }
    println!("exhaustive: {history_count} histories of {step_count} steps, {tally:?}");
    assert!(tally.cut_count >= history_count);
}
