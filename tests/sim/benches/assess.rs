//! How long a whole analysis, a step of an adaptive survey and the picture's grid take, for
//! `cargo xtask bench` to print.
//!
//! One thread, invented planks: a sound one, whose search for zones may stop early, and a split
//! one, which asks for every drawn plank. Of each the least disturbed run. Times are printed, never
//! judged.

use std::time::Instant;

use pinhold::analysis::sampling::Step;
use pinhold_sim::piano::{Fault, Severity};
use pinhold_simtest::sampled::Plank;

/// Tuning seeds: what is found in these planks is judged elsewhere.
const SEED: u64 = 1_000;
const REPEAT_COUNT: usize = 7;
/// Cells that a picture of the plank has about as many of.
const CELL_COUNT: usize = 50_000;

/// Shortest time of several, milliseconds.
fn shortest_ms(mut work: impl FnMut()) -> f64 {
    let time = |_| {
        let started = Instant::now();
        work();
        1e3 * started.elapsed().as_secs_f64()
    };
    (0..REPEAT_COUNT).map(time).fold(f64::INFINITY, f64::min)
}

fn line(words: &str, ms: f64, goal_ms: f64) {
    let met = if ms <= goal_ms { "met" } else { "NOT MET" };
    println!("{words:58} {ms:7.0} ms   {goal_ms:.0} ms: {met}");
}

fn main() {
    println!("{:58} {:>10}   goal", "one thread", "ours");
    for fault in [Fault::None, Fault::Split] {
        let plank = Plank::new(SEED, fault, Severity::Plain);
        let ms = shortest_ms(|| drop(plank.full()));
        let words =
            format!("{fault}: fit, leave-one-out, zones, verdict of {} pins", plank.count());
        line(&words, ms, 1000.0);
    }
    let plank = Plank::new(SEED, Fault::Split, Severity::Plain);
    let assessment = plank.full();
    let field = assessment.plank.as_ref().expect("readings");
    let rough = field.grid(0.01).cells.len();
    let step_m = 0.01 * (rough as f64 / CELL_COUNT as f64).sqrt();
    let count = field.grid(step_m).cells.len();
    let ms = shortest_ms(|| drop(field.grid(step_m)));
    line(&format!("the plank's own field, {count} cells with sd and chance"), ms, 150.0);
    let mut slowest_ms = 0.0_f64;
    let mut step_count = 0;
    for fault in Fault::ALL {
        let plank = Plank::new(SEED, fault, Severity::Marginal);
        let mut started = Instant::now();
        plank.adaptive(|step, _| {
            slowest_ms = slowest_ms.max(1e3 * started.elapsed().as_secs_f64());
            step_count += usize::from(matches!(step, Step::Read(_)));
            started = Instant::now();
        });
    }
    line(&format!("adaptive step, slowest of {step_count}"), slowest_ms, 500.0);
}
