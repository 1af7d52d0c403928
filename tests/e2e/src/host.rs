//! The real host binary, as a process.

use std::path::Path;
use std::process::{Command, ExitStatus};
use std::time::Duration;

use pinhold_protocol::record::Pin;

use crate::Result;
use crate::process::{Watched, guarded};

/// Name of the instrument surveyed.
pub const INSTRUMENT: &str = "emulated";
/// Longest time for a command that needs no lever.
const COMMAND_LIMIT: Duration = Duration::from_secs(60);

/// A running `pinhold survey`. Dropping it kills it, as SIGKILL does.
pub struct Host(Watched);

impl Host {
    /// Enters the instrument into a new store in `data`.
    ///
    /// # Errors
    /// When the command fails.
    pub fn add_instrument(binary: &Path, data: &Path) -> Result<()> {
        let mut command = command(binary, data, &["instrument", "add", INSTRUMENT]);
        let mut adding = Watched::start(&mut command)?;
        let ended = adding.wait_for_end(COMMAND_LIMIT)?;
        if ended.success() { Ok(()) } else { Err(format!("{ended}:\n{}", adding.output()).into()) }
    }

    /// Starts a survey of `pins` on `port`.
    ///
    /// # Errors
    /// When it cannot be started.
    pub fn survey(
        binary: &Path,
        data: &Path,
        port: &Path,
        pins: &[Pin],
        stream_samples: bool,
    ) -> Result<Host> {
        let pins: Vec<String> =
            pins.iter().map(|pin| format!("{}{}", pin.note, pin.string.letter())).collect();
        let mut command = command(binary, data, &["survey", INSTRUMENT, "--pins"]);
        command.arg(pins.join(",")).arg("--port").arg(port);
        if !stream_samples {
            command.arg("--no-samples");
        }
        Watched::start(&mut command).map(Host)
    }

    /// How it ended, if it has.
    ///
    /// # Errors
    /// When the system will not say.
    pub fn ended(&mut self) -> Result<Option<ExitStatus>> {
        self.0.ended()
    }

    /// What it has printed so far.
    pub fn output(&self) -> String {
        self.0.output()
    }
}

/// The binary with its data folder.
fn command(binary: &Path, data: &Path, arguments: &[&str]) -> Command {
    let mut command = guarded(binary);
    command.arg("--data").arg(data).args(arguments);
    command
}
