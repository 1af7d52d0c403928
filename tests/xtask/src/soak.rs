//! The long run: what the tests do in short, for hours. Parts already done are not done again.
//!
//! The record stands in `soak/record.txt` under cargo's target folder: version, toolchain, and
//! for each part what it printed. A record of another version is begun anew. Deliberately not
//! here: what the parts do, and their seeds; each prints its own.
//!
//! Invariant: a part that failed is not in the record, so the next run does it again.

use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;
use std::time::Instant;

use crate::runner::{Runner, TARGET};
use crate::{setup, test};

/// A test of the short run made long by a variable of its own.
struct Part {
    name: &'static str,
    arguments: &'static [&'static str],
    variable: &'static str,
    value: &'static str,
}

/// Test binaries in the same build as the test word's.
const PARTS: [Part; 12] = [
    Part {
        name: "power cuts: 10 million histories of the log in flash (125 times the short run)",
        arguments: &["-p", "pinhold-flashmodel", "--test", "power_cuts"],
        variable: "PINHOLD_HISTORIES",
        value: "125",
    },
    Part {
        name: "link: 10 million readings under all faults",
        arguments: &["-p", "pinhold-simtest", "--test", "whole"],
        variable: "PINHOLD_LINK_READINGS",
        value: "10000000",
    },
    Part {
        name: "strokes: ten times as many",
        arguments: &["-p", "pinhold-simtest", "--test", "strokes"],
        variable: "PINHOLD_STROKES",
        value: "10",
    },
    Part {
        name: "adaptive surveys: 700 planks",
        arguments: &["-p", "pinhold-simtest", "--test", "adaptive"],
        variable: "PINHOLD_ADAPTIVE",
        value: "long",
    },
    Part {
        name: "the map: a thousand sound planks of a kind, a hundred of each fault",
        arguments: &["-p", "pinhold-simtest", "--test", "planks"],
        variable: "PINHOLD_PLANKS",
        value: "long",
    },
    Part {
        name: "trial pins: a thousand planks of each law",
        arguments: &["-p", "pinhold-simtest", "--test", "trials"],
        variable: "PINHOLD_TRIALS",
        value: "long",
    },
    Part {
        name: "years of surveys: twenty thousand instruments of each kind",
        arguments: &["-p", "pinhold-simtest", "--test", "years"],
        variable: "PINHOLD_YEARS",
        value: "long",
    },
    Part {
        name: "verdicts: 2400 planks, the condition record given and withheld",
        arguments: &["-p", "pinhold-simtest", "--test", "verdicts"],
        variable: "PINHOLD_VERDICTS",
        value: "long",
    },
    Part {
        name: "verdicts stroke by stroke: 400 instruments",
        arguments: &["-p", "pinhold-simtest", "--test", "fault_table"],
        variable: "PINHOLD_FAULT_TABLE",
        value: "long",
    },
    Part {
        name: "the store: a thousand kills of the binary",
        arguments: &["-p", "pinhold", "--test", "store", "kills"],
        variable: "PINHOLD_KILLS",
        value: "10",
    },
    Part {
        name: "the store: cuts of the power, forty times the short run",
        arguments: &["-p", "pinhold-crashtest", "--test", "torn_writes"],
        variable: "PINHOLD_STORE_CUTS",
        value: "40",
    },
    Part {
        name: "emulated lever: kills, resets, cut cables, 100 of each and more",
        arguments: &["-p", "pinhold-e2e", "--test", "emulated_faults"],
        variable: "PINHOLD_E2E_KILLS",
        value: "9",
    },
];

/// Seconds each fuzz target runs.
const FUZZ_SECONDS: &str = "60";
/// What cargo-fuzz would pass for coverage guidance without a sanitizer: all stable options.
const COVERAGE_FLAGS: &str = "-Cpasses=sancov-module -Cllvm-args=-sanitizer-coverage-level=4 \
     -Cllvm-args=-sanitizer-coverage-inline-8bit-counters \
     -Cllvm-args=-sanitizer-coverage-pc-table -Cllvm-args=-sanitizer-coverage-trace-compares \
     -Ccodegen-units=1 -Cdebug-assertions=on -Coverflow-checks=on --cfg fuzzing";
/// Lines of a part's output kept in the record.
const LINE_COUNT_MAX: usize = 100;

/// `soak`: every part that is not in the record of this version.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    setup::target()?;
    setup::emulator()?;
    let mut record = Record::open(runner)?;
    let mut failed = Vec::new();
    test::build_boards(runner)?;
    for part in &PARTS {
        let mut arguments = vec!["test"];
        arguments.extend(part.arguments);
        arguments.extend(["--", "--nocapture"]);
        let variable = Some((part.variable, part.value));
        if let Err(why) =
            record.part(part.name, |take| runner.cargo_lines_with(&arguments, variable, take))
        {
            failed.push(why);
        }
    }
    if let Err(why) = fuzz(runner, &mut record) {
        failed.push(why);
    }
    println!("\n{}\nthe record: {}", record.text, record.place.display());
    if failed.is_empty() { Ok(()) } else { Err(failed.join("; ")) }
}

fn fuzz(runner: &Runner, record: &mut Record) -> Result<(), String> {
    let corpus = runner.target_dir().join("soak/corpus");
    let corpus = corpus.to_string_lossy();
    let seeds = ["run", "--quiet", "-p", "pinhold-fuzz", "--bin", "seeds", "--", &corpus];
    let names = runner.cargo_output(&seeds)?;
    let host = runner.host_triple()?;
    let built = runner.target_dir().join("soak/build");
    let folder = built.to_string_lossy();
    let build = [
        "build",
        "--release",
        "-p",
        "pinhold-fuzz",
        "--features",
        "guided",
        "--bin",
        "guided",
        // With a target named, the flags are for what runs and not for what builds.
        "--target",
        &host,
        "--target-dir",
        &folder,
    ];
    runner.cargo_with_flags(&build, COVERAGE_FLAGS)?;
    let binary = built.join(&host).join("release/guided");
    let mut failed = Vec::new();
    for name in names.lines() {
        let arguments = [
            format!("-max_total_time={FUZZ_SECONDS}"),
            "-max_len=4096".to_owned(),
            "-timeout=10".to_owned(),
            "-rss_limit_mb=1024".to_owned(),
            "-verbosity=0".to_owned(),
            "-print_final_stats=1".to_owned(),
            format!("-artifact_prefix={corpus}-{name}-"),
            format!("{corpus}/{name}"),
        ];
        let title = format!("fuzz {name}, {FUZZ_SECONDS} s, guided by coverage");
        let run = |take: &mut dyn FnMut(&str)| {
            runner.program_lines(&binary, &arguments, ("PINHOLD_FUZZ_TARGET", name), take)
        };
        failed.extend(record.part(&title, run).err());
    }
    if failed.is_empty() { Ok(()) } else { Err(failed.join("; ")) }
}

/// What is done, kept between runs.
struct Record {
    place: PathBuf,
    text: String,
}

impl Record {
    /// The record of this version; a new one where there is none.
    fn open(runner: &Runner) -> Result<Record, String> {
        let place = runner.target_dir().join("soak/record.txt");
        let folder = place.parent().ok_or("a record without a folder")?;
        fs::create_dir_all(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
        let head = format!("soak of {}, {}, {TARGET}\n", runner.version()?, runner.toolchain()?);
        let text = match fs::read_to_string(&place) {
            Ok(text) if text.starts_with(&head) => text,
            _ => head,
        };
        Ok(Record { place, text })
    }

    /// Does a part that is not in the record, and puts it there when it succeeds.
    fn part(
        &mut self,
        name: &str,
        work: impl FnOnce(&mut dyn FnMut(&str)) -> Result<bool, String>,
    ) -> Result<(), String> {
        let heading = format!("\n## {name}\n");
        if self.text.contains(&heading) {
            println!("done before: {name}");
            return Ok(());
        }
        println!("\n== {name}");
        let started = Instant::now();
        let mut lines = Vec::new();
        let all_well = work(&mut |line| {
            let line = line.trim_end();
            let harness = ["running ", "test ", "stat::peak", "stat::slowest"];
            let noise = harness.iter().any(|start| line.starts_with(start));
            if !line.is_empty() && (!noise || line.starts_with("test result")) {
                lines.push(line.to_owned());
            }
        })?;
        if !all_well {
            return Err(format!("{name}: failed"));
        }
        let kept = lines.len().saturating_sub(LINE_COUNT_MAX);
        self.text.push_str(&heading);
        // Writing to a string cannot fail.
        let _ = writeln!(self.text, "{:.1} minutes", started.elapsed().as_secs_f64() / 60.0);
        lines.iter().skip(kept).for_each(|line| {
            let _ = writeln!(self.text, "{line}");
        });
        fs::write(&self.place, &self.text)
            .map_err(|error| format!("{}: {error}", self.place.display()))
    }
}
