//! Whether intervals contain the truth as often as they say: many levers with flaws, each
//! calibrated on its own bench by the host, then ten readings each through the lever's core.
//!
//! The way through: [`population`] draws a lever's day, [`bench`] has the host calibrate it,
//! [`desk`] reads pins and watches what was true, [`tally`] counts.
//!
//! Deliberately not here: any interval. They are the host's.

pub mod bench;
pub mod desk;
pub mod own;
pub mod population;
pub mod tally;

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use pinhold::analysis::readings::{LeverRead, MeasurementProfile, pin_readings};

use pinhold_sim::deadweight::Equipment;

use desk::Desk;
use population::Day;
use tally::{Case, Tally};

/// Directions a pin was read in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Direction {
    /// Both, to matched angles.
    TwoWay,
    /// Flat alone.
    FlatOnly,
    /// Sharp alone.
    SharpOnly,
}

/// Kind of string.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum StringKind {
    /// Plain wire, three to a note.
    Plain,
    /// Wound, two to a note.
    Bichord,
    /// Wound, one to a note.
    Monochord,
}

impl StringKind {
    /// Strings of its notes.
    pub const fn string_count(self) -> u8 {
        match self {
            StringKind::Plain => 3,
            StringKind::Bichord => 2,
            StringKind::Monochord => 1,
        }
    }
}

/// One lever: calibrated, then read with.
pub fn live(seed: u64, tally: &mut Tally) {
    let day = Day::drawn(seed);
    let Some(result) = bench::calibrate(&day, &Equipment::careful(), tally) else { return };
    own::judge(&day, &result, &mut tally.own);
    let terms = Arc::new(result.terms.clone());
    let mut desk = Desk::new(&day, bench::on_the_lever(&result.constants));
    let profile = MeasurementProfile::default();
    for (index, task) in day.tasks.iter().enumerate() {
        let Some(read) = desk.read(index, task) else {
            tally.unread_count += 1;
            continue;
        };
        let lever = LeverRead {
            reading: read.reading.clone(),
            terms: Arc::clone(&terms),
            marks: Vec::new(),
        };
        let pins = pin_readings(&day.instrument, &[lever], &[], None, &profile);
        let Some(pin) = pins.first() else {
            tally.unread_count += 1;
            continue;
        };
        tally.add(&Case { direction: read.direction, kind: task.kind, truth: read.truth, pin });
    }
}

/// Lives the days of `seeds` on `thread_count` threads.
///
/// # Panics
/// If a thread does.
pub fn live_all(seeds: std::ops::Range<u64>, thread_count: usize) -> Tally {
    let next = AtomicU64::new(seeds.start);
    let work = || {
        let mut tally = Tally::default();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= seeds.end {
                return tally;
            }
            live(seed, &mut tally);
        }
    };
    let mut all = Tally::default();
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..thread_count).map(|_| scope.spawn(work)).collect();
        for thread in threads {
            all.merge(thread.join().expect("a thread lived its days"));
        }
    });
    all
}
