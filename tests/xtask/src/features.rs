//! Looks at the firmware's dependency graph: no `std`, and no maths but the libm crate's.
//!
//! A feature switched on by one crate is on for all, so one careless dependency could give the
//! core another arithmetic on the host than on the lever, or fail to link.

use crate::runner::{BOARDS, Runner, TARGET};
use crate::setup;

/// Graphs that are looked at besides the boards'.
const CORES: [&str; 2] = ["pinhold-protocol", "pinhold-lever"];

/// Features no crate of the firmware may have on.
const BANNED_FEATURES: [&str; 2] = ["std", "alloc"];

/// Crates that route arithmetic to whatever library the target has.
const BANNED_CRATES: [&str; 2] = ["num-traits", "micromath"];

/// `features`: looks at each graph.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    setup::target()?;
    let mut faults = Vec::new();
    for package in CORES.iter().chain(&BOARDS) {
        let graph = runner.cargo_output(&[
            "tree",
            "-p",
            package,
            "--target",
            TARGET,
            "-e",
            "normal,no-proc-macro",
            "--prefix",
            "none",
            "--format",
            "{p}|{f}",
        ])?;
        let found = graph_faults(&graph);
        let crate_count = graph.lines().filter(|line| !line.contains("(*)")).count();
        println!("{package}: {crate_count} crates, {} faults", found.len());
        faults.extend(found.iter().map(|fault| format!("{package}: {fault}")));
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.join("\n")) }
}

/// What is wrong with a graph, one line `name version (where)|feature,feature` for each crate.
fn graph_faults(graph: &str) -> Vec<String> {
    let mut faults = Vec::new();
    // Crates used by macros run on the host, and cargo lists their features by themselves.
    for line in graph.lines().filter(|line| !line.contains("(proc-macro)")) {
        let Some((krate, features)) = line.split_once('|') else {
            faults.push(format!("cannot read '{line}'"));
            continue;
        };
        let name = krate.split(' ').next().unwrap_or_default();
        if BANNED_CRATES.contains(&name) {
            faults.push(format!("{name} must not be in the firmware"));
        }
        let features = features.trim_end_matches("(*)").trim();
        for feature in features.split(',').filter(|feature| BANNED_FEATURES.contains(feature)) {
            faults.push(format!("{name} has feature {feature} on"));
        }
    }
    if graph.lines().count() == 0 {
        faults.push("an empty graph".to_owned());
    }
    faults
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_std_by_crate_and_feature() {
        let clean = "serde v1.0.2|derive,serde_derive\nlibm v0.2.16|arch,default\nstd-like v1|\n";
        assert_eq!(graph_faults(clean), Vec::<String>::new());
        let faults =
            graph_faults("serde v1.0.2|derive,std (*)\nnum-traits v0.2|libm\nx v1|stdio\n");
        assert_eq!(faults, ["serde has feature std on", "num-traits must not be in the firmware"]);
        assert_eq!(graph_faults("").len(), 1);
    }
}
