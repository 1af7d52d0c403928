//! Installs what the words need and a stock machine lacks: the boards' target and the emulator.

use std::env;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::runner::{TARGET, output, run};

const EMULATOR: &str = "qemu-system-arm";

/// Whether a program is on the path and starts.
fn has(program: &str) -> bool {
    let mut command = Command::new(program);
    command.arg("--version").stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    command.status().is_ok_and(|status| status.success())
}

/// The boards' target.
pub(crate) fn target() -> Result<(), String> {
    let rustc = env::var_os("RUSTC").unwrap_or_else(|| "rustc".into());
    let libraries =
        output(Command::new(rustc).args(["--print", "target-libdir", "--target", TARGET]))?;
    if Path::new(libraries.trim()).is_dir() {
        return Ok(());
    }
    let install = ["target", "add", TARGET];
    if has("rustup") && run(Command::new("rustup").args(install)).is_ok() {
        return Ok(());
    }
    Err(format!(
        "the Rust target {TARGET} is missing and could not be installed; run \
         `rustup target add {TARGET}` with a network connection, then this again"
    ))
}

/// A component of the toolchain, such as the formatter.
pub(crate) fn component(program: &str, component: &str) -> Result<(), String> {
    if has(program) || run(Command::new("rustup").args(["component", "add", component])).is_ok() {
        return Ok(());
    }
    Err(format!(
        "{program} is missing and could not be installed; run `rustup component add {component}`"
    ))
}

/// The emulator.
pub(crate) fn emulator() -> Result<(), String> {
    if has(EMULATOR) {
        return Ok(());
    }
    let wanted = "apt-get install -y --no-install-recommends qemu-system-arm";
    if !has("apt-get") {
        return Err(format!(
            "{EMULATOR} is missing; install QEMU's Arm system emulator (on Debian: `{wanted}`)"
        ));
    }
    if !is_root() {
        return Err(format!(
            "{EMULATOR} is missing and this is not root; run `sudo {wanted}`, then this again"
        ));
    }
    let words: Vec<&str> = wanted.split(' ').collect();
    let apt_get = |words: &[&str]| {
        run(Command::new("apt-get").env("DEBIAN_FRONTEND", "noninteractive").args(words))
    };
    let arguments = words.get(1..).unwrap_or_default();
    // Without package lists, as in a fresh image, the first attempt fails.
    if apt_get(arguments).is_err() {
        apt_get(&["update"])?;
        apt_get(arguments)?;
    }
    if has(EMULATOR) { Ok(()) } else { Err(format!("{EMULATOR} does not start")) }
}

fn is_root() -> bool {
    output(Command::new("id").arg("-u")).is_ok_and(|id| id.trim() == "0")
}
