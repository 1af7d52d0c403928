//! A simulated lever behind a port of its own.
//!
//! Deliberately not here: what it does; that is the virtual board's.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use pinhold_board_virtual::{Pace, Practice, serve};

use crate::link::port::{self, Port, PortError};

/// A simulated lever on a port, in a thread of its own.
pub(in crate::cli) struct VirtualLever {
    pub(in crate::cli) name: String,
    host_end: Option<Box<dyn Port>>,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<std::io::Result<()>>>,
}

impl VirtualLever {
    /// Starts it on a pseudo-terminal.
    #[cfg(unix)]
    pub(in crate::cli) fn start(practice: Practice) -> std::io::Result<VirtualLever> {
        let mut pty = pinhold_board_virtual::pty::Pty::open()?;
        let name = pty.name().unwrap_or_default();
        let stop = Arc::new(AtomicBool::new(false));
        let thread = Self::spawn(practice, Arc::clone(&stop), move |practice, stop| {
            serve(practice, &mut pty, Pace::Fast, stop)
        });
        Ok(VirtualLever { name, host_end: None, stop, thread: Some(thread) })
    }

    /// Starts it on a pipe within the process: this platform has no pseudo-terminals.
    #[cfg(not(unix))]
    pub(in crate::cli) fn start(practice: Practice) -> std::io::Result<VirtualLever> {
        let (mut lever_end, host_end) = pinhold_board_virtual::pipe::pair();
        let stop = Arc::new(AtomicBool::new(false));
        let thread = Self::spawn(practice, Arc::clone(&stop), move |practice, stop| {
            serve(practice, &mut lever_end, Pace::Fast, stop)
        });
        let name = "pipe".to_owned();
        Ok(VirtualLever { name, host_end: Some(Box::new(host_end)), stop, thread: Some(thread) })
    }

    fn spawn(
        mut practice: Practice,
        stop: Arc<AtomicBool>,
        mut run: impl FnMut(&mut Practice, &AtomicBool) -> std::io::Result<()> + Send + 'static,
    ) -> JoinHandle<std::io::Result<()>> {
        std::thread::spawn(move || run(&mut practice, &stop))
    }

    /// Opens the host's end.
    pub(in crate::cli) fn open(&mut self) -> Result<Box<dyn Port>, PortError> {
        match self.host_end.take() {
            Some(end) => Ok(end),
            None => port::open(&self.name),
        }
    }
}

impl Drop for VirtualLever {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // Its port may be gone by now, which is no news when stopping.
            let _ = thread.join();
        }
    }
}
