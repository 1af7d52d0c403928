//! The words that build and test.

use crate::report::{Count, Report};
use crate::runner::{BOARDS, Runner, TARGET};
use crate::{features, instructions, panics, reference, setup, size};

/// The package whose tests need the emulator.
const END_TO_END: &str = "pinhold-e2e";
/// Its tests, by name: with the whole workspace named as well, shared crates keep their features
/// and nothing is built twice.
const END_TO_END_TESTS: [&str; 5] =
    ["test", "--workspace", "--no-fail-fast", "--test", "emulated_*"];

/// `test`: everything.
pub(crate) fn everything(runner: &Runner) -> Result<(), String> {
    let mut report = Report::default();
    report.part("install what is missing", |_| {
        setup::target()?;
        setup::emulator()?;
        reference::environment(runner).map(|_| ())
    });
    report.part("format", |_| format(runner));
    report.part("firmware", |_| build_boards(runner));
    report.part("firmware sizes", |_| size::compare(runner));
    report.part("proof: no panic", |_| panics::proof(runner));
    report.part("panics in the boards", |_| panics::compare(runner));
    report.part("instructions", |_| instructions::compare(runner));
    report.part("firmware features", |_| features::word(runner));
    report.part("lints", |_| lints(runner));
    report.part("build tests", |_| runner.cargo(&["test", "--workspace", "--no-run"]));
    report.part("tests", |count| {
        let without = ["test", "--workspace", "--exclude", END_TO_END, "--no-fail-fast"];
        test(runner, &without, count)
    });
    report.part("other libraries", |_| reference::compare(runner));
    report.part("end to end", |count| test(runner, &END_TO_END_TESTS, count));
    report.close()
}

/// `check`: formatting and lints.
pub(crate) fn check(runner: &Runner) -> Result<(), String> {
    let mut report = Report::default();
    report.part("install what is missing", |_| setup::target());
    report.part("format", |_| format(runner));
    report.part("lints", |_| lints(runner));
    report.close()
}

/// `e2e`: the emulated lever and the real binary.
pub(crate) fn end_to_end(runner: &Runner) -> Result<(), String> {
    let mut report = Report::default();
    report.part("install what is missing", |_| {
        setup::target()?;
        setup::emulator()
    });
    report.part("firmware", |_| build_boards(runner));
    report.part("end to end", |count| test(runner, &END_TO_END_TESTS, count));
    report.close()
}

/// `demo-table`: every fault, twenty seeds.
pub(crate) fn demo_table(runner: &Runner) -> Result<(), String> {
    let table = ["test", "-p", "pinhold-simtest", "--test", "fault_table", "--", "--nocapture"];
    runner.cargo_with(&table, "PINHOLD_FAULT_TABLE", "long")
}

/// Builds both boards' release firmware.
pub(crate) fn build_boards(runner: &Runner) -> Result<(), String> {
    // One at a time: built together they would share features.
    BOARDS.iter().try_for_each(|board| {
        runner.cargo(&["build", "-p", board, "--target", TARGET, "--profile", "firmware"])
    })
}

fn format(runner: &Runner) -> Result<(), String> {
    setup::component("rustfmt", "rustfmt")?;
    runner.cargo(&["fmt", "--all", "--check"])
}

fn lints(runner: &Runner) -> Result<(), String> {
    setup::component("cargo-clippy", "clippy")?;
    runner.cargo(&["clippy", "--workspace", "--all-targets", "--", "-D", "warnings"])?;
    BOARDS.iter().chain(&["pinhold-proof"]).try_for_each(|board| {
        runner.cargo(&["clippy", "-p", board, "--target", TARGET, "--", "-D", "warnings"])
    })
}

/// Runs tests with one more variable in the environment; an error when one fails or none ran.
pub(crate) fn with_variable(
    runner: &Runner,
    arguments: &[&str],
    variable: (&str, &str),
) -> Result<(), String> {
    let mut count = Count::default();
    let mut take = |line: &str| count.take_line(line);
    let all_well = runner.cargo_lines_with(arguments, Some(variable), &mut take)?;
    match (all_well, count.passed) {
        (true, 0) => Err("no test ran".to_owned()),
        (true, _) => Ok(()),
        (false, _) => Err("tests failed".to_owned()),
    }
}

fn test(runner: &Runner, arguments: &[&str], count: &mut Count) -> Result<(), String> {
    let all_well = runner.cargo_lines(arguments, |line| count.take_line(line))?;
    match (all_well, *count) {
        (true, Count { passed: 0, .. }) => Err("no test ran".to_owned()),
        (true, _) => Ok(()),
        (false, _) => Err("tests failed".to_owned()),
    }
}
