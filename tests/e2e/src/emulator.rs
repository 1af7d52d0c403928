//! QEMU with the firmware in it: the link as a pseudo-terminal or a socket, the feed as a socket.
//!
//! The board's flash is a file in the folder the emulator runs in, and outlives it. Deliberately
//! not here: what the flash holds ([`crate::ledger`]).

use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use pinhold_board_qemu::feed::{FeedReader, Frame, FromBoard, SYNC, SyncFinder, ToBoard};
use pinhold_lever::{Identity, Signals};
use tempfile::TempDir;

use crate::Result;
use crate::process::{Watched, guarded};
use crate::qmp::Qmp;

/// The emulator's program.
pub const QEMU: &str = "qemu-system-arm";
/// Longest time QEMU may take to open its lines, and the board to start.
const START_LIMIT: Duration = Duration::from_secs(20);
/// Time between two looks for a connection.
const LOOK_EVERY: Duration = Duration::from_millis(10);
/// Longest the harness blocks for one byte of the feed.
const READ_SLICE: Duration = Duration::from_millis(20);

/// What the board said on the feed. Counts are of inputs handed to the core before.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// The board started.
    Ready,
    /// A batch is consumed.
    Credit(u32),
    /// Signals changed.
    Signals(u32, Signals),
    /// The core was handed these bytes from the host.
    Received(u32, Vec<u8>),
    /// The core was told that this many bytes are sent.
    Sent(u32, u16),
}

/// What the board's link is, outside.
#[derive(Clone, Copy, Debug)]
pub enum Link<'a> {
    /// A pseudo-terminal of the emulator's own.
    Pty,
    /// A socket somebody listens on.
    Socket(&'a Path),
}

/// How the feed is being read.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Reading {
    /// Nothing counts until the board says that it started.
    Skipping,
    /// Frames count, but the board may start anew at any byte.
    Restarting,
    /// Frames count.
    Steady,
}

/// The emulated lever. Dropping it kills the emulator, as SIGKILL does.
pub struct Emulator {
    qemu: Watched,
    qmp: Qmp,
    port: Option<String>,
    identity: Identity,
    feed: UnixStream,
    reading: Reading,
    finder: SyncFinder,
    reader: FeedReader,
    /// Its answer to the introduction, not handed out yet.
    first_word: Option<Event>,
    unread: Vec<u8>,
    unread_from: usize,
    _folder: Option<TempDir>,
}

impl Emulator {
    /// Boots the firmware on a flash fresh from the maker and introduces it as `identity`; its
    /// link is a pseudo-terminal.
    ///
    /// # Errors
    /// When QEMU is missing, its lines do not open in time or the board does not start.
    pub fn boot(elf: &Path, identity: Identity) -> Result<Emulator> {
        let folder = TempDir::new()?;
        let mut emulator = Emulator::boot_in(folder.path(), elf, identity, Link::Pty)?;
        emulator._folder = Some(folder);
        Ok(emulator)
    }

    /// Boots the firmware with its flash in `folder` and introduces it as `identity`.
    ///
    /// # Errors
    /// As [`Emulator::boot`].
    pub fn boot_in(
        folder: &Path,
        elf: &Path,
        identity: Identity,
        link: Link<'_>,
    ) -> Result<Emulator> {
        let feed = Waiting::bind(&folder.join("feed"))?;
        let control = Waiting::bind(&folder.join("control"))?;
        let mut command = guarded(QEMU);
        command.current_dir(folder);
        command.args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"]);
        command.args(["-semihosting-config", "enable=on,target=native", "-serial"]);
        match link {
            Link::Pty => command.arg("pty"),
            Link::Socket(path) => command.arg(format!("unix:{}", path.display())),
        };
        command.args(["-serial", "unix:feed", "-qmp", "unix:control"]);
        command.arg("-kernel").arg(elf);
        let mut qemu = Watched::start(&mut command)?;
        let port = match link {
            Link::Pty => Some(qemu.wait_for(START_LIMIT, pty_name)?),
            Link::Socket(_) => None,
        };
        let accepted = feed.accept().and_then(|feed| Ok((feed, Qmp::greet(control.accept()?)?)));
        let (feed, qmp) =
            accepted.map_err(|error| format!("{error}; it printed:\n{}", qemu.output()))?;
        feed.set_read_timeout(Some(READ_SLICE))?;
        let mut emulator = Emulator {
            qemu,
            qmp,
            port,
            identity,
            feed,
            reading: Reading::Skipping,
            finder: SyncFinder::default(),
            reader: FeedReader::new(),
            first_word: None,
            unread: Vec::new(),
            unread_from: 0,
            _folder: None,
        };
        let before = emulator.introduce()?;
        if before.is_empty() { Ok(emulator) } else { Err(format!("first came {before:?}").into()) }
    }

    /// Resets the machine and introduces it again. What it said before is returned.
    ///
    /// # Errors
    /// When the emulator is gone or the board does not start.
    pub fn reset(&mut self) -> Result<Vec<Event>> {
        self.reading = Reading::Restarting;
        self.qmp.system_reset()?;
        self.introduce()
    }

    /// Waits until the board has started, says who it is to be and waits until it has heard: a
    /// reset before that would leave a second such word on its way. Returns what it said before.
    fn introduce(&mut self) -> Result<Vec<Event>> {
        let started = Instant::now();
        let mut before = Vec::new();
        while started.elapsed() < START_LIMIT {
            match self.next_event()? {
                Some(Event::Ready) => {
                    let mut bytes = SYNC.to_vec();
                    let Identity { device, epoch, sample_period_ns } = self.identity;
                    let hello = ToBoard::Hello { device, epoch, sample_period_ns };
                    hello.write(|byte| bytes.push(byte));
                    self.send_bytes(&bytes)?;
                    self.first_word = Some(self.next_event_within(START_LIMIT)?);
                    return Ok(before);
                }
                Some(event) => before.push(event),
                None => {}
            }
        }
        Err(self.gone("the board never started"))
    }

    /// Name of the pseudo-terminal that is the link; empty where it is a socket.
    pub fn port(&self) -> &str {
        self.port.as_deref().unwrap_or_default()
    }

    /// Number of the emulator's process.
    pub fn pid(&self) -> u32 {
        self.qemu.pid()
    }

    /// Sends one frame on the feed.
    ///
    /// # Errors
    /// When the emulator is gone.
    pub fn send(&mut self, frame: &ToBoard<'_>) -> Result<()> {
        let mut bytes = Vec::new();
        frame.write(|byte| bytes.push(byte));
        self.send_bytes(&bytes)
    }

    /// Sends bytes on the feed as they are.
    ///
    /// # Errors
    /// When the emulator is gone.
    pub fn send_bytes(&mut self, bytes: &[u8]) -> Result<()> {
        self.feed.write_all(bytes).map_err(|error| self.gone(&error.to_string()))
    }

    /// What the board said next; `None` when it says nothing for a moment.
    ///
    /// # Errors
    /// When the board halted, spoke nonsense or is gone.
    pub fn next_event(&mut self) -> Result<Option<Event>> {
        if let Some(event) = self.first_word.take() {
            return Ok(Some(event));
        }
        loop {
            while let Some(byte) = self.unread.get(self.unread_from).copied() {
                self.unread_from += 1;
                if let Some(event) = self.take(byte)? {
                    return Ok(Some(event));
                }
            }
            let mut buffer = [0; 4096];
            match self.feed.read(&mut buffer) {
                Ok(0) => return Err(self.gone("the feed was closed")),
                Ok(byte_count) => {
                    self.unread = buffer.into_iter().take(byte_count).collect();
                    self.unread_from = 0;
                }
                Err(error) if is_a_pause(error.kind()) => return Ok(None),
                Err(error) => return Err(self.gone(&error.to_string())),
            }
        }
    }

    /// What the board says next, within a limit.
    fn next_event_within(&mut self, limit: Duration) -> Result<Event> {
        let started = Instant::now();
        while started.elapsed() < limit {
            if let Some(event) = self.next_event()? {
                return Ok(event);
            }
        }
        Err(self.gone("the board said nothing in time"))
    }

    /// Takes one byte of the feed; gives the event that it ends.
    fn take(&mut self, byte: u8) -> Result<Option<Event>> {
        if self.finder.push(byte) && self.reading != Reading::Steady {
            self.reading = Reading::Steady;
            self.reader = FeedReader::new();
            return Ok(None);
        }
        let frame = match self.reading {
            Reading::Skipping => return Ok(None),
            Reading::Restarting => match self.reader.push(byte) {
                Ok(frame) => frame,
                // Cut short by the reset.
                Err(_) => {
                    self.reading = Reading::Skipping;
                    return Ok(None);
                }
            },
            Reading::Steady => {
                let frame = self.reader.push(byte);
                frame.map_err(|error| format!("feed from the board: {error:?}"))?
            }
        };
        match frame {
            None => Ok(None),
            Some(Frame::FromBoard(frame)) => event(frame).map(Some),
            Some(Frame::ToBoard(frame)) => Err(format!("the board sent {frame:?}").into()),
        }
    }

    fn gone(&self, why: &str) -> Box<dyn std::error::Error + Send + Sync> {
        format!("{why}; the emulator printed:\n{}", self.qemu.output()).into()
    }
}

pub(crate) const fn is_a_pause(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted)
}

fn event(frame: FromBoard<'_>) -> Result<Event> {
    Ok(match frame {
        FromBoard::Ready => Event::Ready,
        FromBoard::Credit { input_count } => Event::Credit(input_count),
        FromBoard::Signals { input_count, signals } => Event::Signals(input_count, signals),
        FromBoard::Received { input_count, bytes } => Event::Received(input_count, bytes.to_vec()),
        FromBoard::Sent { input_count, byte_count } => Event::Sent(input_count, byte_count),
        FromBoard::Halted(why) => return Err(format!("the board halted: {why:?}").into()),
    })
}

/// `char device redirected to /dev/pts/7 (label serial0)`.
fn pty_name(printed: &str) -> Option<String> {
    let rest = printed.split_once("redirected to ")?.1;
    rest.split_once(" (label serial0)").map(|(name, _)| name.to_owned())
}

/// A socket the emulator is about to connect to.
struct Waiting(UnixListener);

impl Waiting {
    fn bind(path: &Path) -> Result<Waiting> {
        match std::fs::remove_file(path) {
            Err(error) if error.kind() != ErrorKind::NotFound => return Err(error.into()),
            _ => {}
        }
        let listener = UnixListener::bind(path)?;
        listener.set_nonblocking(true)?;
        Ok(Waiting(listener))
    }

    fn accept(&self) -> Result<UnixStream> {
        let started = Instant::now();
        while started.elapsed() < START_LIMIT {
            match self.0.accept() {
                Ok((stream, _)) => {
                    stream.set_nonblocking(false)?;
                    return Ok(stream);
                }
                Err(error) if is_a_pause(error.kind()) => thread::sleep(LOOK_EVERY),
                Err(error) => return Err(error.into()),
            }
        }
        Err("the emulator never connected".into())
    }
}
