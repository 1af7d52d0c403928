//! The runner: `cargo xtask <word>`, one word for each thing that is done to this house.
//!
//! CI and people call the same words. Deliberately not here: the tests themselves, and anything a
//! user of the tool needs.
//!
//! Invariants: no dependency but the standard library; a failed part is never the last word but
//! one: the closing line and the exit code both count it. Exit codes: 0 all well, 1 something
//! failed, 2 not a word or the machine lacks something.

mod bench;
mod bits;
mod bless;
mod elf;
mod features;
mod instructions;
mod panics;
mod reference;
mod report;
mod runner;
mod setup;
mod size;
mod soak;
mod test;
mod tidy;

use std::process::ExitCode;

use runner::Runner;

/// Word, what it does, and the function that does it.
type Word = (&'static str, &'static str, fn(&Runner) -> Result<(), String>);

const WORDS: &[Word] = &[
    (
        "test",
        "everything: lints, boards, tests, emulator, sizes; a table and a count at the end",
        test::everything,
    ),
    ("check", "formatting and lints, host crates and boards", test::check),
    ("e2e", "the emulated lever and the real binary", test::end_to_end),
    (
        "reference",
        "our statistics beside those of pinned Python libraries, in an environment it makes",
        reference::word,
    ),
    ("size", "flash and RAM of both boards, against the committed snapshot", size::word),
    (
        "panics",
        "that core and protocol cannot, and where the boards' vendor code can",
        panics::word,
    ),
    ("instructions", "instructions and stack on the emulated board", instructions::word),
    (
        "features",
        "no `std` and no foreign maths in the firmware's dependency graph",
        features::word,
    ),
    ("tidy", "module headers, file lengths, banned words and calls, links", tidy::word),
    ("bits", "that the map is the same bits at every x86-64 feature level", bits::word),
    ("bless", "write snapshots and goldens anew, and show what changed", bless::word),
    ("bless-tables", "write the long run's tables anew: minutes, not seconds", bless::tables),
    (
        "soak",
        "the long run: hours of what the tests do in short; goes on where it stopped",
        soak::word,
    ),
    ("bench", "our time beside another library's, for the same result; by hand", bench::word),
    ("demo-table", "the fault table: every fault, twenty seeds", test::demo_table),
];

fn main() -> ExitCode {
    let mut arguments = std::env::args().skip(1);
    let asked = arguments.next();
    let word = WORDS.iter().find(|(name, ..)| Some(*name) == asked.as_deref());
    let (Some((_, _, run)), None) = (word, arguments.next()) else {
        eprintln!("usage: cargo xtask <word>");
        for (name, what, _) in WORDS {
            eprintln!("  {name:<12} {what}");
        }
        return ExitCode::from(2);
    };
    match Runner::new().and_then(|runner| run(&runner)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            if !why.is_empty() {
                eprintln!("xtask: {why}");
            }
            ExitCode::FAILURE
        }
    }
}
