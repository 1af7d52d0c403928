//! Instructions and stack, counted on the emulated board, against ceilings and a committed table.
//!
//! The emulator counts virtual time by instructions, so the table is exact as long as the compiler
//! is the one it names; with another one only the ceilings judge. Deliberately not here: what is
//! counted (`tests/proof`).

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use crate::runner::{Runner, TARGET, output};
use crate::setup;

/// Longest the emulator may take; it needs seconds.
const WALL_LIMIT: Duration = Duration::from_secs(180);
/// What no compiler and no change may pass: line of the table, and its ceiling.
const CEILINGS: [(&str, f64); 3] = [
    ("block coding, a sample", 200.0),
    ("sample, streaming", 800.0),
    ("sample, not streaming", 800.0),
];

/// Lines that together say what RAM a lever needs whose log is in flash, the board's own aside: the
/// lever and the deeper of its two stacks.
const RAM_LINES: [&str; 3] = [
    "log in flash, lever, bytes",
    "log in flash, stack while it is built, bytes",
    "log in flash, stack at work, bytes",
];
/// RAM there may be in use, stack included.
const RAM_BYTES_MAX: f64 = 16.0 * 1024.0;

/// Where the table lies.
pub(crate) fn table_path(runner: &Runner) -> PathBuf {
    runner.root.join("tests/fixtures/instructions.txt")
}

/// `instructions`: builds, counts, compares.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    setup::target()?;
    setup::emulator()?;
    compare(runner)
}

/// The table as it would be now.
pub(crate) fn measure(runner: &Runner) -> Result<String, String> {
    let package = ["-p", "pinhold-proof", "--bin", "bench"];
    let target = ["--target", TARGET, "--profile", "firmware"];
    runner.cargo(&[&["build"][..], &package, &target].concat())?;
    let elf = runner.target_dir().join(TARGET).join("firmware/bench");
    let compiler = output(Command::new("rustc").arg("--version"))?;
    let table = run(&elf)?;
    judge(&table)?;
    Ok(compiler + &table)
}

/// Runs the bench; its lines, without the last one that says it is whole.
fn run(elf: &Path) -> Result<String, String> {
    let mut command = Command::new("qemu-system-arm");
    command
        .args(["-M", "mps2-an386", "-display", "none", "-monitor", "none", "-serial", "none"])
        .args(["-icount", "shift=6,sleep=off"])
        .args(["-semihosting-config", "enable=on,target=native", "-kernel"])
        .arg(elf)
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let mut child = command.spawn().map_err(|error| format!("cannot run the emulator: {error}"))?;
    let said = Arc::new(Mutex::new(Vec::new()));
    let outputs: [Option<Box<dyn Read + Send>>; 2] = [
        child.stdout.take().map(|pipe| Box::new(pipe) as _),
        child.stderr.take().map(|pipe| Box::new(pipe) as _),
    ];
    for mut pipe in outputs.into_iter().flatten() {
        let said = Arc::clone(&said);
        thread::spawn(move || {
            let mut part = [0; 4096];
            while let Ok(count @ 1..) = pipe.read(&mut part) {
                if let (Ok(mut said), Some(part)) = (said.lock(), part.get(..count)) {
                    said.extend_from_slice(part);
                }
            }
        });
    }
    // Now and then the emulator says all and does not end: what it said counts.
    let started = Instant::now();
    let text = loop {
        let so_far = said.lock().map(|said| String::from_utf8_lossy(&said).into_owned());
        let so_far = so_far.unwrap_or_default().replace('\r', "");
        let ended = matches!(child.try_wait(), Ok(Some(_)) | Err(_));
        if so_far.ends_with("\nend\n") || started.elapsed() > WALL_LIMIT {
            break so_far;
        }
        if ended && started.elapsed() > Duration::from_secs(5) {
            break so_far;
        }
        thread::sleep(Duration::from_millis(20));
    };
    let _ = child.kill();
    let _ = child.wait();
    match text.strip_suffix("end\n") {
        Some(table) => Ok(table.to_owned()),
        None => Err(format!("the bench did not come to its end; it said:\n{text}")),
    }
}

/// Value of a line of the table.
fn value(table: &str, name: &str) -> Option<f64> {
    table.lines().find_map(|line| line.strip_prefix(name)?.trim().parse().ok())
}

/// Holds the table against the ceilings.
fn judge(table: &str) -> Result<(), String> {
    for (name, ceiling) in CEILINGS {
        match value(table, name) {
            None => return Err(format!("no line '{name}' in\n{table}")),
            Some(count) if count > ceiling => {
                return Err(format!("{name}: {count} instructions, at most {ceiling}\n{table}"));
            }
            Some(_) => {}
        }
    }
    match RAM_LINES.map(|name| value(table, name)) {
        [Some(lever), Some(build), Some(work)] if lever + build.max(work) <= RAM_BYTES_MAX => {
            println!("RAM with stack, log in flash: {} bytes", lever + build.max(work));
            Ok(())
        }
        found => Err(format!("RAM with stack {found:?}, together at most {RAM_BYTES_MAX} bytes")),
    }
}

/// Prints the table and compares it with the committed one.
pub(crate) fn compare(runner: &Runner) -> Result<(), String> {
    let now = measure(runner)?;
    println!("{now}(instructions, unless it says bytes)");
    let path = table_path(runner);
    let before = fs::read_to_string(&path)
        .map_err(|error| format!("{}: {error}; `cargo xtask bless` writes it", path.display()))?;
    if now == before {
        return Ok(());
    }
    let compilers =
        [&now, &before].map(|table| table.lines().next().unwrap_or_default().to_owned());
    if compilers[0] != compilers[1] {
        println!(
            "the committed table is for {}, this is {}: held against the ceilings only",
            compilers[1], compilers[0]
        );
        return Ok(());
    }
    Err(format!("the counts changed; if that is meant, `cargo xtask bless`. They were:\n{before}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &str = "block coding, a sample      180.7\nsample, streaming     764.3\n\
                         sample, streaming, longest step  109974.0\nsample, not streaming  506.2\n\
                         log in flash, lever, bytes  10456.0\n\
                         log in flash, stack while it is built, bytes  3604.0\n\
                         log in flash, stack at work, bytes  4048.0\n";

    #[test]
    fn a_table_within_its_ceilings_passes() {
        assert_eq!(judge(TABLE), Ok(()));
        assert_eq!(value(TABLE, "sample, streaming"), Some(764.3));
    }

    #[test]
    fn a_count_above_its_ceiling_or_missing_fails() {
        assert!(judge(&TABLE.replace("180.7", "200.1")).is_err());
        assert!(judge(&TABLE.replace("764.3", "800.1")).is_err());
        assert!(judge(&TABLE.replace("block", "black")).is_err());
        assert!(judge(&TABLE.replace("4048.0", "5929.0")).is_err());
        assert!(judge(&TABLE.replace("at work", "at rest")).is_err());
    }
}
