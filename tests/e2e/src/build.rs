//! Makes what the tests run: the firmware for the emulated board, and the host binary.
//!
//! Cargo is asked each time, with the environment the test runs in, so that a stale binary is never
//! tested; when the runner has built them already this takes a moment.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::Result;

/// The target the boards are built for.
pub const TARGET: &str = "thumbv7em-none-eabihf";

/// The workspace's root, as the cargo that runs the test names it: a clone that shares its target
/// folder with another must not build the other's code.
fn root() -> Result<PathBuf> {
    let package = std::env::var_os("CARGO_MANIFEST_DIR").ok_or("run the tests with cargo")?;
    Ok(Path::new(&package).join("../.."))
}

fn cargo(arguments: &[&str]) -> Result<()> {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let output = Command::new(cargo).current_dir(root()?).args(arguments).output()?;
    if output.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&output.stderr);
    Err(format!("cargo {} failed:\n{said}", arguments.join(" ")).into())
}

/// Where cargo puts what it makes: beside this very test, two folders up from `deps`.
fn target_dir() -> Result<PathBuf> {
    let test = std::env::current_exe()?;
    let profile_dir = test.ancestors().nth(2).ok_or("the test lies in no target folder")?;
    let target_dir = profile_dir.parent().ok_or("the test lies in no target folder")?;
    Ok(target_dir.to_path_buf())
}

/// The release firmware for the emulated board.
///
/// # Errors
/// When cargo fails, as it does where the target is not installed.
pub fn firmware_elf() -> Result<PathBuf> {
    let package = "pinhold-board-qemu";
    cargo(&["build", "--quiet", "-p", package, "--target", TARGET, "--profile", "firmware"])?;
    existing(target_dir()?.join(TARGET).join("firmware").join(package))
}

/// The host binary, as the tests' profile builds it.
///
/// # Errors
/// When cargo fails.
pub fn host_binary() -> Result<PathBuf> {
    // The whole workspace and a test are named, so that shared crates keep the features the tests
    // have them in and nothing is built twice.
    let with_tests_features = ["--workspace", "--test", "emulated_lever"];
    cargo(&[&["build", "--quiet", "--bin", "pinhold"][..], &with_tests_features].concat())?;
    existing(target_dir()?.join("debug").join("pinhold"))
}

fn existing(path: PathBuf) -> Result<PathBuf> {
    if path.is_file() { Ok(path) } else { Err(format!("no file {}", path.display()).into()) }
}
