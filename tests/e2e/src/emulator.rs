//! QEMU with the firmware in it: the link as a pseudo-terminal, the feed as a socket.

use std::io::{ErrorKind, Read, Write};
use std::os::unix::net::{UnixListener, UnixStream};
use std::path::Path;
use std::process::Command;
use std::thread;
use std::time::{Duration, Instant};

use pinhold_board_qemu::feed::{FeedReader, Frame, FromBoard, ToBoard};
use pinhold_lever::{Identity, Signals};
use tempfile::TempDir;

use crate::Result;
use crate::process::Watched;

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

/// The emulated lever. Dropping it kills the emulator.
pub struct Emulator {
    qemu: Watched,
    port: String,
    feed: UnixStream,
    reader: FeedReader,
    unread: Vec<u8>,
    unread_from: usize,
    _folder: TempDir,
}

impl Emulator {
    /// Boots the firmware and introduces it as `identity`.
    ///
    /// # Errors
    /// When QEMU is missing, its lines do not open in time or the board does not start.
    pub fn boot(elf: &Path, identity: Identity) -> Result<Emulator> {
        let folder = TempDir::new()?;
        let socket = folder.path().join("feed");
        let listener = UnixListener::bind(&socket)?;
        listener.set_nonblocking(true)?;
        let mut command = Command::new(QEMU);
        command.args(["-M", "mps2-an386", "-display", "none", "-monitor", "none"]);
        command.args(["-serial", "pty", "-serial"]).arg(format!("unix:{}", socket.display()));
        command.arg("-kernel").arg(elf);
        let mut qemu = Watched::start(&mut command)?;
        let port = qemu.wait_for(START_LIMIT, pty_name)?;
        let feed = accept(&listener)?;
        feed.set_read_timeout(Some(READ_SLICE))?;
        let mut emulator = Emulator {
            qemu,
            port,
            feed,
            reader: FeedReader::new(),
            unread: Vec::new(),
            unread_from: 0,
            _folder: folder,
        };
        let started = emulator.next_event_within(START_LIMIT)?;
        if started != Event::Ready {
            return Err(format!("the board's first word was {started:?}").into());
        }
        let Identity { device, epoch, sample_period_ns } = identity;
        emulator.send(&ToBoard::Hello { device, epoch, sample_period_ns })?;
        Ok(emulator)
    }

    /// Name of the pseudo-terminal that is the link.
    pub fn port(&self) -> &str {
        &self.port
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
        loop {
            while let Some(byte) = self.unread.get(self.unread_from).copied() {
                self.unread_from += 1;
                let frame = self.reader.push(byte);
                let frame = frame.map_err(|error| format!("feed from the board: {error:?}"))?;
                match frame {
                    None => {}
                    Some(Frame::FromBoard(frame)) => return event(frame).map(Some),
                    Some(Frame::ToBoard(frame)) => {
                        return Err(format!("the board sent {frame:?}").into());
                    }
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
    ///
    /// # Errors
    /// As [`Emulator::next_event`], and when the limit passes.
    pub fn next_event_within(&mut self, limit: Duration) -> Result<Event> {
        let started = Instant::now();
        while started.elapsed() < limit {
            if let Some(event) = self.next_event()? {
                return Ok(event);
            }
        }
        Err(self.gone("the board said nothing in time"))
    }

    fn gone(&self, why: &str) -> Box<dyn std::error::Error + Send + Sync> {
        format!("{why}; the emulator printed:\n{}", self.qemu.output()).into()
    }
}

const fn is_a_pause(kind: ErrorKind) -> bool {
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

fn accept(listener: &UnixListener) -> Result<UnixStream> {
    let started = Instant::now();
    while started.elapsed() < START_LIMIT {
        match listener.accept() {
            Ok((stream, _)) => {
                stream.set_nonblocking(false)?;
                return Ok(stream);
            }
            Err(error) if is_a_pause(error.kind()) => thread::sleep(LOOK_EVERY),
            Err(error) => return Err(error.into()),
        }
    }
    Err("the emulator never connected to the feed".into())
}
