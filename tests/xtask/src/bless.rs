//! Writes snapshots and goldens anew, and shows what changed.

use std::fs;
use std::process::Command;

use crate::runner::{Runner, run};
use crate::{instructions, panics, setup, size, test};

/// `bless`: sizes, and the goldens of every test that heeds `PINHOLD_BLESS`.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    setup::target()?;
    test::build_boards(runner)?;
    setup::emulator()?;
    for (path, text) in [
        (size::snapshot_path(runner), size::measure(runner)?),
        (panics::list_path(runner), panics::list(runner)?),
        (instructions::table_path(runner), instructions::measure(runner)?),
    ] {
        fs::write(&path, text).map_err(|error| format!("{}: {error}", path.display()))?;
    }
    // One test at a time: each writes its own files.
    runner.cargo_with(&["test", "-p", "pinhold-protocol"], "PINHOLD_BLESS", "1")?;
    // One at a time: the others read the file.
    let one = ["--", "--test-threads=1"];
    let signal = [&["test", "-p", "pinhold-simtest", "--test", "signal_file"][..], &one].concat();
    runner.cargo_with(&signal, "PINHOLD_BLESS", "1")?;
    let map = ["test", "-p", "pinhold-simtest", "--test", "map_bits"];
    runner.cargo_with(&map, "PINHOLD_BLESS", "1")?;
    show(runner, "tests/fixtures")
}

/// `bless-tables`: the tables of the long run, which take long.
pub(crate) fn tables(runner: &Runner) -> Result<(), String> {
    let planks = ["test", "-p", "pinhold-simtest", "--test", "planks", "--", "--nocapture"];
    runner.cargo_with(&planks, "PINHOLD_PLANKS", "bless")?;
    let adaptive = ["test", "-p", "pinhold-simtest", "--test", "adaptive", "--", "--nocapture"];
    runner.cargo_with(&adaptive, "PINHOLD_ADAPTIVE", "bless")?;
    let trials = ["test", "-p", "pinhold-simtest", "--test", "trials"];
    runner.cargo_with(&trials, "PINHOLD_TRIALS", "bless")?;
    let verdicts = ["test", "-p", "pinhold-simtest", "--test", "verdicts"];
    runner.cargo_with(&verdicts, "PINHOLD_VERDICTS", "bless")?;
    show(runner, "tests/sim/tables")
}

fn show(runner: &Runner, folder: &str) -> Result<(), String> {
    println!("\nwhat changed, to be looked at before it is committed:");
    let folder = runner.root.join(folder);
    run(Command::new("git").current_dir(&folder).args(["status", "--short", "."]))?;
    run(Command::new("git").current_dir(&folder).args(["--no-pager", "diff", "--stat", "-p", "."]))
}
