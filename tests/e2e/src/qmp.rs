//! The emulator's control socket, as far as a reset needs it.
//!
//! Commands and answers are lines of JSON (QEMU Machine Protocol, PUB); the few words used here are
//! looked for as they stand, nothing is parsed.

use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;

use crate::Result;

/// Longest wait for an answer.
const ANSWER_LIMIT: Duration = Duration::from_secs(20);
/// Lines read before giving up on an answer: events come in between.
const LINE_COUNT_MAX: u32 = 100;

/// The control socket.
pub(crate) struct Qmp {
    lines: BufReader<UnixStream>,
}

impl Qmp {
    /// Takes the emulator's greeting.
    pub(crate) fn greet(stream: UnixStream) -> Result<Qmp> {
        stream.set_read_timeout(Some(ANSWER_LIMIT))?;
        let mut qmp = Qmp { lines: BufReader::new(stream) };
        qmp.wait_for("\"QMP\"")?;
        qmp.ask("qmp_capabilities")?;
        Ok(qmp)
    }

    /// Has the machine reset, at once or in a moment: what tells is the board's own start.
    pub(crate) fn system_reset(&mut self) -> Result<()> {
        self.ask("system_reset")
    }

    fn ask(&mut self, command: &str) -> Result<()> {
        let line = format!("{{\"execute\": \"{command}\"}}\n");
        self.lines.get_mut().write_all(line.as_bytes())?;
        self.wait_for("\"return\"")
    }

    fn wait_for(&mut self, word: &str) -> Result<()> {
        for _ in 0..LINE_COUNT_MAX {
            let mut line = String::new();
            if self.lines.read_line(&mut line)? == 0 {
                return Err("the emulator closed its control socket".into());
            }
            if line.contains("\"error\"") {
                return Err(format!("the emulator refuses: {line}").into());
            }
            if line.contains(word) {
                return Ok(());
            }
        }
        Err(format!("no {word} from the emulator").into())
    }
}
