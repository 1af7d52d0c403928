//! A child process that is watched while it runs and killed when it is let go of.

use std::ffi::OsStr;
use std::io::Read;
use std::path::Path;
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use crate::Result;

/// Time between two looks at a child.
const LOOK_EVERY: Duration = Duration::from_millis(10);
/// Most output kept of a child, bytes; the rest is read and dropped.
const OUTPUT_BYTES_MAX: usize = 1 << 20;

/// A command whose process the system kills when the thread that started it is gone, so that a
/// harness killed itself leaves nothing running. Where the system has no such tool, the process is
/// only killed by its owner.
pub fn guarded(program: impl AsRef<OsStr>) -> Command {
    const GUARD: &str = "setpriv";
    let is_there = |folder: &Path| folder.join(GUARD).is_file();
    let path = std::env::var_os("PATH").unwrap_or_default();
    if std::env::split_paths(&path).any(|folder| is_there(&folder)) {
        let mut command = Command::new(GUARD);
        command.args(["--pdeathsig", "KILL"]).arg(program);
        command
    } else {
        Command::new(program)
    }
}

/// A running child with its output collected.
pub struct Watched {
    name: String,
    child: Child,
    output: Arc<Mutex<Vec<u8>>>,
}

impl Watched {
    /// Starts a command without input, its two outputs collected together.
    ///
    /// # Errors
    /// When it cannot be started.
    pub fn start(command: &mut Command) -> Result<Watched> {
        let name = command.get_program().to_string_lossy().into_owned();
        command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        let mut child = command.spawn().map_err(|error| format!("cannot start {name}: {error}"))?;
        let output = Arc::new(Mutex::new(Vec::new()));
        if let Some(stream) = child.stdout.take() {
            collect(stream, Arc::clone(&output));
        }
        if let Some(stream) = child.stderr.take() {
            collect(stream, Arc::clone(&output));
        }
        Ok(Watched { name, child, output })
    }

    /// Its number, while it is not waited for.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// What it has printed so far.
    pub fn output(&self) -> String {
        let bytes = self.output.lock().unwrap_or_else(PoisonError::into_inner);
        String::from_utf8_lossy(&bytes).into_owned()
    }

    /// How it ended, if it has.
    ///
    /// # Errors
    /// When the system will not say.
    pub fn ended(&mut self) -> Result<Option<ExitStatus>> {
        Ok(self.child.try_wait()?)
    }

    /// Waits until it has ended.
    ///
    /// # Errors
    /// When the limit passes first; the text has what it printed.
    pub fn wait_for_end(&mut self, limit: Duration) -> Result<ExitStatus> {
        let started = Instant::now();
        while started.elapsed() < limit {
            if let Some(status) = self.ended()? {
                return Ok(status);
            }
            thread::sleep(LOOK_EVERY);
        }
        Err(format!("{} did not end; it printed:\n{}", self.name, self.output()).into())
    }

    /// Waits until `find` finds something in the output.
    ///
    /// # Errors
    /// When the limit passes or the process ends first; the text has what it printed.
    pub fn wait_for<T>(&mut self, limit: Duration, find: impl Fn(&str) -> Option<T>) -> Result<T> {
        let started = Instant::now();
        loop {
            if let Some(found) = find(&self.output()) {
                return Ok(found);
            }
            let ended = self.ended()?;
            if ended.is_some() || started.elapsed() > limit {
                let how = ended.map_or("said nothing of the kind".into(), |s| s.to_string());
                return Err(format!("{}: {how}; it printed:\n{}", self.name, self.output()).into());
            }
            thread::sleep(LOOK_EVERY);
        }
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        // Fails only for a process that has ended.
        let _: std::io::Result<()> = self.child.kill();
        let _: std::io::Result<ExitStatus> = self.child.wait();
    }
}

fn collect(mut stream: impl Read + Send + 'static, into: Arc<Mutex<Vec<u8>>>) {
    thread::spawn(move || {
        let mut buffer = [0; 4096];
        while let Ok(byte_count @ 1..) = stream.read(&mut buffer) {
            let mut output = into.lock().unwrap_or_else(PoisonError::into_inner);
            let room = OUTPUT_BYTES_MAX.saturating_sub(output.len());
            output.extend(buffer.iter().take(byte_count.min(room)));
        }
    });
}
