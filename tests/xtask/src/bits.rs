//! That the map comes out the same, bit for bit, whatever the compiler may use of the processor.
//!
//! The snapshot test of the map's bits is built for each x86-64 feature level and once as a release
//! and run against the same committed file. A level this processor lacks is named and left out.

use crate::runner::Runner;

/// Feature levels of the x86-64 psABI, with a processor flag that tells whether this machine has
/// the level.
const LEVELS: [(&str, &str); 4] =
    [("x86-64", "sse2"), ("x86-64-v2", "sse4_2"), ("x86-64-v3", "avx2"), ("x86-64-v4", "avx512vl")];

/// `bits`: every level, then a release build.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    if !cfg!(target_arch = "x86_64") {
        return Err("feature levels are those of x86-64; this machine is another".to_owned());
    }
    let cpu = std::fs::read_to_string("/proc/cpuinfo")
        .map_err(|error| format!("/proc/cpuinfo, for the processor's features: {error}"))?;
    let mut seen = Vec::new();
    for (level, flag) in LEVELS {
        if !cpu.split_whitespace().any(|word| word == flag) {
            println!("{level}: this processor lacks {flag}; left out");
            continue;
        }
        test(runner, level, &[])?;
        seen.push(level);
    }
    test(runner, "x86-64-v3", &["--release"]).map_err(|why| format!("release build: {why}"))?;
    println!("the map's bits are the committed ones at {} and in a release", seen.join(", "));
    Ok(())
}

fn test(runner: &Runner, level: &str, more: &[&str]) -> Result<(), String> {
    // A folder of their own: other flags would throw away the build of the other words.
    let folder = runner.target_dir().join("bits");
    let folder = folder.to_string_lossy();
    let mut arguments = vec!["test", "-p", "pinhold-simtest", "--test", "map_bits"];
    arguments.extend(["--target-dir", &folder]);
    arguments.extend(more);
    runner
        .cargo_with_flags(&arguments, &format!("-Ctarget-cpu={level}"))
        .map_err(|why| format!("{level}: {why}"))
}
