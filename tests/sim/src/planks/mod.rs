//! The map judged on planks nobody tuned on: false alarms on sound ones, faults found and named
//! on others, and what it says of pins it was not shown.
//!
//! The way through: [`Plank::drawn`] invents a plank, by the physics simulator's generator or by
//! one of this harness's own (`layout`, `sound`, `fault`); [`reading`] shows some or all of its
//! pins to the host; [`judge`] holds what the host says against the truth; [`tally`] counts,
//! with the binomial law of [`law`]; [`unread`] looks at pins that were not shown.
//!
//! Invariant: nothing here knows a parameter of the analysis. Every instrument is invented.
//! Deliberately not here: the verdict (remedies have tables of their own).

mod fault;
mod invented;
pub mod judge;
pub mod law;
mod layout;
pub mod reading;
mod sound;
pub mod tally;
pub mod unread;

use std::fmt;
use std::sync::atomic::{AtomicU64, Ordering};

use pinhold::analysis::input::Condition;
use pinhold::instrument::Instrument;
use pinhold_sim::piano::Severity;
use pinhold_sim::rng::Random;

pub use fault::PlankFault;
use sound::{Recipe, Restrung};

/// Who draws a plank.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Generator {
    /// This harness.
    Own,
    /// The physics simulator's invented pianos.
    Invented,
}

impl Generator {
    /// Both.
    pub const ALL: [Generator; 2] = [Generator::Own, Generator::Invented];

    /// Whether it has such planks.
    pub const fn has(self, fault: PlankFault) -> bool {
        match self {
            Generator::Own => true,
            Generator::Invented => invented::has(fault),
        }
    }
}

impl fmt::Display for Generator {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.pad(match self {
            Generator::Own => "own",
            Generator::Invented => "invented",
        })
    }
}

/// What a pin is in truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// Nothing ails it.
    Sound,
    /// A bad hole of its own, as sound planks have a few.
    SingleHole,
    /// Loosened by the plank's fault.
    Loose,
    /// Inside the fault and spared.
    TightInRun,
}

/// One pin in truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TruePin {
    /// Friction of the smooth plank there, scatter left out, N·m; not known of invented pianos
    /// (then the friction).
    pub smooth_nm: f64,
    /// Friction without the fault, N·m; not known of invented pianos (then the friction).
    pub sound_nm: f64,
    /// Friction, N·m.
    pub friction_nm: f64,
    /// String moment at target pitch, N·m.
    pub moment_at_pitch_nm: f64,
    /// What it is.
    pub role: Role,
}

/// A plank in truth, and the instrument as the host is told of it.
#[derive(Clone, Debug)]
pub struct Plank {
    /// What it was drawn from.
    pub seed: u64,
    /// By whom.
    pub generator: Generator,
    /// What is wrong with it.
    pub fault: PlankFault,
    /// How plainly.
    pub severity: Severity,
    /// Its pins' names and places.
    pub instrument: Instrument,
    /// What is known beside torque: mostly nothing, it is the map that is judged.
    pub condition: Condition,
    /// The truth, in the instrument's order.
    pub pins: Vec<TruePin>,
    /// What the sound plank was made from, in words; empty for invented pianos.
    pub recipe: String,
}

impl Plank {
    /// Draws a plank.
    pub fn drawn(generator: Generator, fault: PlankFault, severity: Severity, seed: u64) -> Plank {
        match generator {
            Generator::Own => own(fault, severity, seed),
            Generator::Invented => invented::drawn(fault, severity, seed),
        }
    }

    /// Places of the pins that the fault loosened.
    pub fn loose(&self) -> impl Iterator<Item = usize> + '_ {
        (0..self.pins.len()).filter(|at| self.pins[*at].role == Role::Loose)
    }

    /// Whether a section, or the whole, is weak in truth: half of its pins under `weak_nm` or
    /// under `factor` times the pull of their string. The bands then call it low with reason.
    pub fn is_low_by_bands(&self, weak_nm: f64, factor: f64) -> bool {
        let last = self.instrument.pins.iter().map(|pin| pin.section).max().unwrap_or(0);
        (0..=last).any(|section| {
            let inside = || {
                let pairs = self.instrument.pins.iter().zip(&self.pins);
                pairs.filter(move |(place, _)| place.section == section).map(|(_, pin)| pin)
            };
            let is_weak = |pin: &&TruePin| {
                pin.friction_nm < weak_nm || pin.friction_nm < factor * pin.moment_at_pitch_nm
            };
            2 * inside().filter(is_weak).count() >= inside().count().max(1)
        })
    }
}

fn own(fault: PlankFault, severity: Severity, seed: u64) -> Plank {
    let root = Random::new(seed).fork("planks").fork(fault.word());
    let mut instrument = layout::drawn(&mut root.fork("layout"));
    let sections = instrument.pins.iter().map(|pin| pin.section).max().unwrap_or(0) + 1;
    let restrung = match fault {
        PlankFault::Restrung => Restrung::Surely,
        PlankFault::RespunBass => Restrung::Never,
        _ => Restrung::Perhaps,
    };
    let recipe = Recipe::drawn(sections, restrung, &mut root.fork("recipe"));
    let mut pins = sound::drawn(&mut instrument, &recipe, &mut root.fork("pins"));
    let hand = &mut fault::Hand {
        instrument: &mut instrument,
        pins: &mut pins,
        is_plain: severity == Severity::Plain,
        random: root.fork("fault"),
    };
    hand.inflict(fault);
    let condition = Condition::default();
    let recipe = recipe.words();
    Plank { seed, generator: Generator::Own, fault, severity, instrument, condition, pins, recipe }
}

/// Does `work` for each number of `range` on `thread_count` threads; results in order.
///
/// # Panics
/// If a thread does.
pub fn each<T: Send>(
    range: std::ops::Range<u64>,
    thread_count: usize,
    work: impl Fn(u64) -> T + Sync,
) -> Vec<T> {
    let next = AtomicU64::new(range.start);
    let worker = || {
        let mut done = Vec::new();
        loop {
            let number = next.fetch_add(1, Ordering::Relaxed);
            if number >= range.end {
                return done;
            }
            done.push((number, work(number)));
        }
    };
    let mut all = Vec::new();
    std::thread::scope(|scope| {
        let threads: Vec<_> = (0..thread_count).map(|_| scope.spawn(worker)).collect();
        for thread in threads {
            all.extend(thread.join().expect("a thread did its planks"));
        }
    });
    all.sort_by_key(|(number, _)| *number);
    all.into_iter().map(|(_, result)| result).collect()
}
