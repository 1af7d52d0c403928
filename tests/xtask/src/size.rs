//! Flash and RAM of both boards, and the committed snapshot of them.
//!
//! The snapshot names the compiler: with another one the sizes are shown and not judged.

use std::fmt::Write as _;
use std::fs;
use std::path::PathBuf;
use std::process::Command;

use crate::runner::{BOARDS, Runner, TARGET, output};
use crate::{elf, setup, test};

/// Flash and RAM each board has, bytes, in the order of [`BOARDS`].
const ROOM: [(u64, u64); 2] = [(4 << 20, 4 << 20), (1 << 20, 256 << 10)];

/// Where the snapshot lies.
pub(crate) fn snapshot_path(runner: &Runner) -> PathBuf {
    runner.root.join("tests/fixtures/size.txt")
}

/// `size`: builds, prints and compares.
pub(crate) fn word(runner: &Runner) -> Result<(), String> {
    setup::target()?;
    test::build_boards(runner)?;
    compare(runner)
}

/// The snapshot as it would be now, after a build.
pub(crate) fn measure(runner: &Runner) -> Result<String, String> {
    let compiler = output(Command::new("rustc").arg("--version"))?;
    let mut text = format!("{compiler}{:<24}{:>10}{:>10}\n", "board", "flash", "RAM");
    for (board, (flash_room, ram_room)) in BOARDS.iter().zip(ROOM) {
        let path = runner.target_dir().join(TARGET).join("firmware").join(board);
        let bytes = fs::read(&path).map_err(|error| format!("{}: {error}", path.display()))?;
        let not_elf = || format!("{} is no 32-bit ELF", path.display());
        let usage = elf::usage(&bytes).ok_or_else(not_elf)?;
        if usage.flash_bytes > flash_room || usage.ram_bytes > ram_room {
            return Err(format!("{board} does not fit: {usage:?}"));
        }
        let (flash, ram) = (usage.flash_bytes, usage.ram_bytes);
        writeln!(text, "{board:<24}{flash:>10}{ram:>10}").map_err(|error| error.to_string())?;
    }
    Ok(text)
}

/// Prints the sizes and compares them with the snapshot.
pub(crate) fn compare(runner: &Runner) -> Result<(), String> {
    let now = measure(runner)?;
    println!("{now}(bytes; the stack takes what RAM is left)");
    let path = snapshot_path(runner);
    let before = fs::read_to_string(&path)
        .map_err(|error| format!("{}: {error}; `cargo xtask bless` writes it", path.display()))?;
    if now == before {
        return Ok(());
    }
    if now.lines().next() != before.lines().next() {
        println!("another compiler than the snapshot's, so not compared");
        return Ok(());
    }
    Err(format!("sizes changed; if that is meant, `cargo xtask bless`. They were:\n{before}"))
}
