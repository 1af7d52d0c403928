//! Our time beside another library's, in the same run, for the same result. By hand, never in the
//! tests: a time is no test.
//!
//! Deliberately not here: what is timed (`tests/checks/benches`, `tests/sim/benches`,
//! `tests/reference/bench.py`).

use std::process::Command;

use crate::reference;
use crate::runner::{Runner, output};

/// Threads of the libraries beneath NumPy, and the words for them.
const THREADS: [(&str, Option<&str>); 2] =
    [("one thread each", Some("1")), ("theirs with all its threads", None)];
/// What chooses kernels for another machine than this one: the other library is to run at its best.
const SLOWING: [&str; 2] = ["OPENBLAS_CORETYPE", "OPENBLAS_L2_SIZE"];

/// `bench`: a fine grid with its uncertainty.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    let python = reference::environment(runner)?;
    let file = runner.target_dir().join("bench.json");
    // Both at once: shared crates keep their features and are built once.
    let packages = ["-p", "pinhold-checks", "-p", "pinhold-simtest"];
    let bench = [&["bench"][..], &packages, &["--bench", "grid", "--bench", "assess"]].concat();
    runner.cargo_with(&bench, "PINHOLD_BENCH", &file.to_string_lossy())?;
    let head = ("230 pins, 50,000 cells with sd", "ours", "PyKrige", "ratio");
    let mut table =
        format!("\n{:34}  {:>10}  {:>22}  {:>5}  goal\n", head.0, head.1, head.2, head.3);
    for (words, threads) in THREADS {
        let mut command = Command::new(&python);
        command.arg(runner.root.join("tests/reference/bench.py")).arg(&file).arg(words);
        for name in SLOWING {
            command.env_remove(name);
        }
        for name in ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"] {
            match threads {
                Some(count) => command.env(name, count),
                None => command.env_remove(name),
            };
        }
        table += &output(&mut command)?;
    }
    println!("{table}");
    Ok(())
}
