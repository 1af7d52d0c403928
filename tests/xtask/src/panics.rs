//! What can still panic: nothing in core and protocol, and in the boards only the vendor's code.
//!
//! Deliberately not here: reading the ELF ([`crate::elf`]).

use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

use crate::runner::{BOARDS, Runner, TARGET, output};
use crate::{elf, setup, test};

/// Packages whose panics are theirs: the vendor's HAL and what starts the processor. As their
/// folders are called, up to the version.
const VENDOR: [&str; 5] =
    ["nrf-hal-common", "nrf52840-hal", "nrf52840-pac", "cortex-m", "cortex-m-rt"];
/// What the linker misses when a panic is reachable.
const MISSING: &str = "a_panic_is_reachable";
/// Code that is certainly in the proof's ELF when its entries are: less, and it proves nothing.
const PROOF_BYTES_MIN: u64 = 32 * 1024;

/// Where the list of the boards' places lies.
pub(crate) fn list_path(runner: &Runner) -> PathBuf {
    runner.root.join("tests/fixtures/panics.txt")
}

/// `panics`: both, after a build.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    setup::target()?;
    proof(runner)?;
    test::build_boards(runner)?;
    compare(runner)
}

/// Core and protocol link without a panic handler, and would not with one panic in them.
pub(crate) fn proof(runner: &Runner) -> Result<(), String> {
    let build = [
        "build",
        "-p",
        "pinhold-proof",
        "--bin",
        "panic_free",
        "--target",
        TARGET,
        "--profile",
        "firmware",
    ];
    runner.cargo(&build).map_err(|why| {
        format!(
            "{why}\n{MISSING}: something in core or protocol can panic; `#[inline(never)]` \
                 on suspects and the linker's `referenced by` tell which"
        )
    })?;
    let path = runner.target_dir().join(TARGET).join("firmware/panic_free");
    let bytes = fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    let not_elf = || format!("{} is no 32-bit ELF", path.display());
    let usage = elf::usage(&bytes).ok_or_else(not_elf)?;
    if usage.flash_bytes < PROOF_BYTES_MIN {
        return Err(format!("the proof holds only {} bytes: not every entry", usage.flash_bytes));
    }
    let symbols = elf::panic_symbols(&bytes).ok_or_else(not_elf)?;
    if !symbols.is_empty() {
        return Err(format!("panics in the proof: {symbols:?}"));
    }
    let said = runner.cargo_failure(&[&build[..], &["--features", "one-panic"]].concat())?;
    if !said.contains(MISSING) {
        return Err(format!("a panic in the proof is not what kept it from linking:\n{said}"));
    }
    println!(
        "core and protocol: {} bytes, no panic reachable; with one it does not link",
        usage.flash_bytes
    );
    Ok(())
}

/// The boards' places that can panic, as they would be listed now.
pub(crate) fn list(runner: &Runner) -> Result<String, String> {
    let compiler = output(Command::new("rustc").arg("--version"))?;
    let mut text = compiler;
    let mut strangers = Vec::new();
    for board in BOARDS {
        let path = runner.target_dir().join(TARGET).join("firmware").join(board);
        let bytes = fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
        let not_elf = || format!("{} is no 32-bit ELF", path.display());
        let sites = elf::panic_sites(&bytes).ok_or_else(not_elf)?;
        let symbols = elf::panic_symbols(&bytes).ok_or_else(not_elf)?;
        if sites.is_empty() && !symbols.is_empty() {
            return Err(format!("{board} can panic and does not say where: {symbols:?}"));
        }
        writeln!(text, "{board}: {}", sites.len()).map_err(|error| error.to_string())?;
        for site in sites {
            writeln!(text, "  {site}").map_err(|error| error.to_string())?;
            if !is_vendors(&site.file) {
                strangers.push(format!("{board}: {site}"));
            }
        }
    }
    if strangers.is_empty() {
        Ok(text)
    } else {
        Err(format!("can panic and is not the vendor's code:\n{}", strangers.join("\n")))
    }
}

/// Whether a file is of one of the [`VENDOR`] packages: `/crates/<package>-<version>/…`.
fn is_vendors(file: &str) -> bool {
    let folder = file.strip_prefix("/crates/").and_then(|rest| rest.split('/').next());
    folder
        .and_then(|folder| folder.rsplit_once('-'))
        .is_some_and(|(name, _)| VENDOR.contains(&name))
}

/// Prints the boards' places and compares them with the committed list.
pub(crate) fn compare(runner: &Runner) -> Result<(), String> {
    let now = list(runner)?;
    println!("places that can panic, all the vendor's:\n{now}");
    let path = list_path(runner);
    let before = fs::read_to_string(&path)
        .map_err(|error| format!("{}: {error}; `cargo xtask bless` writes it", path.display()))?;
    if now == before {
        return Ok(());
    }
    if now.lines().next() != before.lines().next() {
        println!("another compiler than the list's: only judged by whose they are");
        return Ok(());
    }
    Err(format!("the list changed; if that is meant, `cargo xtask bless`. It was:\n{before}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vendors_are_told_by_package_and_not_by_prefix() {
        assert!(is_vendors("/crates/nrf-hal-common-0.19.0/src/spim.rs"));
        assert!(is_vendors("/crates/cortex-m-0.7.10/src/peripheral/mod.rs"));
        assert!(!is_vendors("/crates/cortex-m-semihosting-0.5.0/src/lib.rs"));
        assert!(!is_vendors("firmware/core/src/device.rs"));
        assert!(!is_vendors("/crates/postcard-1.2.0/src/ser/flavors.rs"));
        assert!(!is_vendors("/rustc/0123/library/core/src/fmt/mod.rs"));
    }
}
