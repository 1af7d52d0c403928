//! The cable between the emulated lever and the host: a pseudo-terminal that can be pulled.
//!
//! The emulator connects to a socket; the host opens a name that leads to a pseudo-terminal. A
//! thread moves the bytes between them. Pulled, the terminal is gone: the host's side is hung up,
//! the name leads nowhere and what the lever sends is lost, as on a serial port nobody has open.
//! Plugged in again there is a new terminal under the same name.
//!
//! Deliberately not here: when that happens ([`crate::campaign`]).
//!
//! Invariants: a terminal is in raw mode before its name is there and before the first byte; that
//! nobody has it open (EIO) is no fault; no child process inherits it.

use std::fs::{self, File};
use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::symlink;
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::fs::{Mode, OFlags, fcntl_setfl};
use rustix::io::Errno;
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};

use crate::Result;
use crate::emulator::is_a_pause;

/// Pause of a thread that found nothing to move.
const NOTHING_PAUSE: Duration = Duration::from_millis(1);
/// Bytes kept for a side that takes none; beyond that the lever's are lost, the host's wait.
const WAITING_BYTES_MAX: usize = 16 * 1024;

#[derive(Default)]
struct Shared {
    pulled: AtomicBool,
    renew: AtomicBool,
    stop: AtomicBool,
    hung_up_count: AtomicU32,
}

/// The cable. Dropping it takes both ends away.
pub struct Cable {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
    socket: PathBuf,
    port: PathBuf,
}

impl Cable {
    /// A cable whose ends are in `folder`, plugged in.
    ///
    /// # Errors
    /// When the socket cannot be made.
    pub fn new(folder: &Path) -> Result<Cable> {
        let (socket, port) = (folder.join("link"), folder.join("port"));
        let listener = UnixListener::bind(&socket)?;
        listener.set_nonblocking(true)?;
        let shared = Arc::new(Shared::default());
        let carrier = Carrier {
            shared: Arc::clone(&shared),
            listener,
            port: port.clone(),
            lever: None,
            terminal: None,
            to_lever: Vec::new(),
            to_host: Vec::new(),
        };
        let thread = thread::spawn(move || carrier.run());
        Ok(Cable { shared, thread: Some(thread), socket, port })
    }

    /// Socket the emulator connects to.
    pub fn socket(&self) -> &Path {
        &self.socket
    }

    /// Name the host opens.
    pub fn port(&self) -> &Path {
        &self.port
    }

    /// Pulls the cable, or plugs it in.
    pub fn set_pulled(&self, pulled: bool) {
        self.shared.pulled.store(pulled, Ordering::Release);
    }

    /// Whether it is pulled.
    pub fn is_pulled(&self) -> bool {
        self.shared.pulled.load(Ordering::Acquire)
    }

    /// A new terminal: a host that was killed left its lock on the old one.
    pub fn renew(&self) {
        self.shared.renew.store(true, Ordering::Release);
    }

    /// Reads that found nobody at the other end of the terminal.
    pub fn hung_up_count(&self) -> u32 {
        self.shared.hung_up_count.load(Ordering::Acquire)
    }
}

impl Drop for Cable {
    fn drop(&mut self) {
        self.shared.stop.store(true, Ordering::Release);
        if let Some(thread) = self.thread.take() {
            // Fails only where the thread panicked, which it has said on standard error.
            let _: thread::Result<()> = thread.join();
        }
    }
}

/// What moves the bytes.
struct Carrier {
    shared: Arc<Shared>,
    listener: UnixListener,
    port: PathBuf,
    lever: Option<UnixStream>,
    terminal: Option<File>,
    to_lever: Vec<u8>,
    to_host: Vec<u8>,
}

impl Carrier {
    fn run(mut self) {
        while !self.shared.stop.load(Ordering::Acquire) {
            self.connect();
            let moved = [self.hear_lever(), self.hear_host(), self.deliver()];
            if moved == [false; 3] {
                thread::sleep(NOTHING_PAUSE);
            }
        }
        self.unplug();
    }

    /// Brings both ends to where they are to be.
    fn connect(&mut self) {
        if let Ok((stream, _)) = self.listener.accept()
            && stream.set_nonblocking(true).is_ok()
        {
            self.unplug();
            self.lever = Some(stream);
        }
        let pulled = self.shared.pulled.load(Ordering::Acquire) || self.lever.is_none();
        let renew = self.shared.renew.swap(false, Ordering::AcqRel);
        if self.terminal.is_some() && (pulled || renew) {
            self.unplug();
        }
        if self.terminal.is_none() && !pulled {
            // Where the system has none to give, the next round asks again.
            self.terminal = terminal(&self.port).ok();
        }
    }

    fn unplug(&mut self) {
        // The name goes first, so that nobody opens a terminal about to hang up. It may be gone.
        let _: std::io::Result<()> = fs::remove_file(&self.port);
        self.terminal = None;
        self.to_lever.clear();
        self.to_host.clear();
    }

    fn hear_lever(&mut self) -> bool {
        let Some(lever) = self.lever.as_mut() else { return false };
        let mut buffer = [0; 4096];
        match lever.read(&mut buffer) {
            Ok(byte_count @ 1..) => {
                let bytes = buffer.get(..byte_count).unwrap_or(&[]);
                let is_heard = self.terminal.as_ref().is_some_and(is_open);
                if is_heard && self.to_host.len() < WAITING_BYTES_MAX {
                    self.to_host.extend_from_slice(bytes);
                }
                true
            }
            Err(error) if is_a_pause(error.kind()) => false,
            // The emulator is gone, and its port with it.
            _ => {
                self.lever = None;
                self.unplug();
                false
            }
        }
    }

    fn hear_host(&mut self) -> bool {
        let Some(terminal) = self.terminal.as_mut() else { return false };
        if self.to_lever.len() >= WAITING_BYTES_MAX {
            return false;
        }
        let mut buffer = [0; 4096];
        match terminal.read(&mut buffer) {
            Ok(byte_count @ 1..) => {
                self.to_lever.extend(buffer.iter().take(byte_count));
                true
            }
            Err(error) if error.raw_os_error() == Some(Errno::IO.raw_os_error()) => {
                self.shared.hung_up_count.fetch_add(1, Ordering::AcqRel);
                self.to_host.clear();
                false
            }
            _ => false,
        }
    }

    fn deliver(&mut self) -> bool {
        let to_lever = self.lever.as_mut().map(|lever| hand_over(lever, &mut self.to_lever));
        let to_host = self.terminal.as_mut().map(|port| hand_over(port, &mut self.to_host));
        to_lever.unwrap_or(false) | to_host.unwrap_or(false)
    }
}

/// Writes what is taken now.
fn hand_over(to: &mut impl Write, bytes: &mut Vec<u8>) -> bool {
    if bytes.is_empty() {
        return false;
    }
    match to.write(bytes) {
        Ok(byte_count @ 1..) => {
            bytes.drain(..byte_count);
            true
        }
        _ => false,
    }
}

/// Whether somebody has the other end open.
fn is_open(terminal: &File) -> bool {
    let mut fds = [PollFd::new(terminal, PollFlags::IN)];
    let now = Timespec { tv_sec: 0, tv_nsec: 0 };
    poll(&mut fds, Some(&now)).is_ok() && !fds[0].revents().contains(PollFlags::HUP)
}

/// A new pseudo-terminal in raw mode, `name` leading to its other end.
fn terminal(name: &Path) -> Result<File> {
    let near = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC)?;
    grantpt(&near)?;
    unlockpt(&near)?;
    let far_name = ptsname(&near, Vec::new())?;
    let far_flags = OFlags::RDWR | OFlags::NOCTTY | OFlags::CLOEXEC;
    let far = rustix::fs::open(far_name.as_c_str(), far_flags, Mode::empty())?;
    let mut settings = tcgetattr(&far)?;
    settings.make_raw();
    tcsetattr(&far, OptionalActions::Now, &settings)?;
    drop(far);
    fcntl_setfl(&near, OFlags::NONBLOCK)?;
    match fs::remove_file(name) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(error.into()),
        _ => {}
    }
    symlink(far_name.to_str()?, name)?;
    Ok(File::from(near))
}
