//! The map is the same bits everywhere: a digest of everything an assessment says, of planks sound
//! and faulty, read whole and in part, against a committed file.
//!
//! The test command compares an unoptimised-checks build for the oldest x86-64; `cargo xtask bits`
//! compares builds for every x86-64 feature level, and a release build, with the same file. A
//! change of the analysis changes the file (`cargo xtask bless`). The seeds are tuning seeds: what
//! is found in these planks is judged elsewhere.

use std::fmt::Write as _;
use std::path::PathBuf;

use pinhold::analysis::{Assessment, Profile};
use pinhold_sim::piano::Severity;
use pinhold_simtest::planks::judge::assessed;
use pinhold_simtest::planks::reading::{Shown, shown};
use pinhold_simtest::planks::{Generator, Plank, PlankFault};

const CASES: [(Generator, PlankFault, Shown, u64); 6] = [
    (Generator::Own, PlankFault::Sound, Shown::Full, 2000),
    (Generator::Own, PlankFault::SplitInside, Shown::Full, 2001),
    (Generator::Invented, PlankFault::SplitInside, Shown::Quick, 2002),
    (Generator::Invented, PlankFault::FlangeLine, Shown::Full, 2003),
    (Generator::Own, PlankFault::Restrung, Shown::TwoThirds, 2004),
    (Generator::Own, PlankFault::Dry, Shown::Quick, 2005),
];

/// Step of the picture's grid, coarser than a picture's, m.
const GRID_STEP_M: f64 = 0.01;

/// The 64-bit digest of Fowler, Noll and Vo (FNV-1a).
fn digest(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

fn table() -> String {
    let mut table = String::new();
    for (generator, fault, part, seed) in CASES {
        let plank = Plank::drawn(generator, fault, Severity::Plain, seed);
        let profile = Profile::default();
        let assessment = assessed(&plank, &shown(&plank, part, &profile), &profile);
        // All it says, and not how the fit goes about it. Written out, every float stands with the
        // digits that tell it from its neighbours.
        let Assessment { pins, field, zones, verdict, statistics, pulls, .. } = &assessment;
        let grid = assessment.plank.as_ref().map(|plank| plank.grid(GRID_STEP_M));
        let told = (pins, field, zones, verdict, statistics, pulls, grid);
        let told = digest(&format!("{told:?}"));
        let words = (generator, fault.word(), part.word());
        let _ = writeln!(table, "{} {} {}, seed {seed}: {told:016x}", words.0, words.1, words.2);
    }
    table
}

fn path() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../fixtures/map_bits.txt")
}

#[test]
fn the_map_is_the_same_bits_as_the_committed_one() {
    let told = table();
    if std::env::var_os("PINHOLD_BLESS").is_some() {
        std::fs::write(path(), &told).expect("writable");
    }
    let committed = std::fs::read_to_string(path()).expect("tests/fixtures/map_bits.txt");
    assert_eq!(told, committed, "after a change of the analysis: cargo xtask bless");
}

#[test]
fn a_last_bit_changes_the_digest() {
    let next = f64::from_bits(0.1_f64.to_bits() + 1);
    assert_ne!(digest(&format!("{:?}", 0.1)), digest(&format!("{next:?}")));
}
