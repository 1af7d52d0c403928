//! Labelled attempts at single pins: what the lever makes of good, spoiled and odd ones.
//!
//! An attempt is one pin out of a wide population and one gesture of some hand, through the
//! lever's whole core. What the attempt really was is decided by the simulation's truth alone
//! ([`truth`], [`judge`]): a gesture meant to be spoiled that turned out good is a good one.
//!
//! Deliberately not here: thresholds of the lever. The definitions in [`judge`] are written from
//! what a running torque is, not from what the finder looks at.

pub mod attempt;
pub mod judge;
pub mod tally;
pub mod truth;
pub mod workshop;

use std::sync::atomic::{AtomicU64, Ordering};

use tally::Tally;

/// Attempts drawn from one seed.
pub const ATTEMPTS_PER_SEED: u64 = 16;

/// Judges the attempts of `seeds` on `thread_count` threads.
///
/// # Panics
/// If a thread does.
pub fn judge_all(seeds: std::ops::Range<u64>, thread_count: usize) -> Tally {
    let next = AtomicU64::new(seeds.start * ATTEMPTS_PER_SEED);
    let work = || {
        let mut tally = Tally::default();
        loop {
            let work = next.fetch_add(1, Ordering::Relaxed);
            let (seed, number) = (work / ATTEMPTS_PER_SEED, work % ATTEMPTS_PER_SEED);
            if seed >= seeds.end {
                return tally;
            }
            let attempt = attempt::Attempt::drawn(seed, number as usize);
            let story = workshop::perform(&attempt);
            tally.add(&attempt, &story, &judge::judge(&attempt, &story));
        }
    };
    let mut all = Tally::default();
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..thread_count).map(|_| scope.spawn(work)).collect();
        for thread in threads {
            all.merge(thread.join().expect("a thread judged its share"));
        }
    });
    all
}
