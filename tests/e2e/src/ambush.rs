//! Kills a process in the middle of what it writes to a file.
//!
//! A thread looks at the file's time of change without a pause, since a record is written in less
//! than a thousandth of a second. Deliberately not here: who is killed, and when that is wanted
//! ([`crate::campaign`]).

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use crate::Result;

/// A thread lying in wait. Dropping it calls it off.
pub struct Ambush {
    called_off: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Ambush {
    /// Waits for a change of `file` and kills the process `delay` later. The caller owns the
    /// process and has not waited for it, so that its number is nobody else's.
    ///
    /// # Errors
    /// When there is no such process or file.
    pub fn lay(pid: u32, file: &Path, delay: Duration) -> Result<Ambush> {
        let pid = Pid::from_raw(i32::try_from(pid)?).ok_or("no such process")?;
        let file = std::fs::File::open(file)?;
        let before = file.metadata()?.modified()?;
        let called_off = Arc::new(AtomicBool::new(false));
        let stop = Arc::clone(&called_off);
        let thread = thread::spawn(move || {
            while !stop.load(Ordering::Acquire) {
                let now = file.metadata().and_then(|metadata| metadata.modified());
                if now.is_ok_and(|now| now != before) {
                    let changed = Instant::now();
                    while changed.elapsed() < delay {}
                    // Fails only for a process that has ended.
                    let _: rustix::io::Result<()> = kill_process(pid, Signal::KILL);
                    return;
                }
            }
        });
        Ok(Ambush { called_off, thread: Some(thread) })
    }

    /// Whether it has struck.
    pub fn has_struck(&self) -> bool {
        self.thread.as_ref().is_none_or(JoinHandle::is_finished)
    }
}

impl Drop for Ambush {
    fn drop(&mut self) {
        self.called_off.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            // Fails only where the thread panicked, which it has said on standard error.
            let _: thread::Result<()> = thread.join();
        }
    }
}
