//! Moves bytes between a port and a session.
//!
//! Deliberately not here: decisions; a port that fails is reported and the caller says whether to
//! open it again.

use std::io;
use std::time::Instant;

use super::port::Port;
use super::session::Session;

/// Bytes read in one go.
const READ_BYTES_MAX: usize = 16 * 1024;

/// A session on a port.
pub struct Pump {
    port: Box<dyn Port>,
    started: Instant,
    buffer: Vec<u8>,
}

impl Pump {
    /// Takes over a port. `started` is the moment the session's clock counts from.
    pub fn new(port: Box<dyn Port>, started: Instant) -> Pump {
        Pump { port, started, buffer: vec![0; READ_BYTES_MAX] }
    }

    /// Milliseconds on the session's clock.
    pub fn now_ms(&self) -> u64 {
        u64::try_from(self.started.elapsed().as_millis()).unwrap_or(u64::MAX)
    }

    /// Sends what is due and takes what has arrived, waiting a few milliseconds at most.
    ///
    /// # Errors
    /// Whatever the port reports, other than that nothing arrived in time.
    pub fn turn(&mut self, session: &mut Session) -> io::Result<()> {
        session.tick(self.now_ms());
        self.flush(session)?;
        match self.port.read(&mut self.buffer) {
            Ok(0) => return Err(io::Error::from(io::ErrorKind::UnexpectedEof)),
            Ok(count) => session.receive(self.now_ms(), &self.buffer[..count]),
            Err(error) if is_nothing_yet(&error) => {}
            Err(error) => return Err(error),
        }
        self.flush(session)
    }

    fn flush(&mut self, session: &mut Session) -> io::Result<()> {
        let bytes = session.take_outgoing();
        if bytes.is_empty() {
            return Ok(());
        }
        match self.port.write_all(&bytes) {
            Ok(()) => Ok(()),
            // What could not be sent is lost like any damaged frame and repeated in time.
            Err(error) if is_nothing_yet(&error) => Ok(()),
            Err(error) => Err(error),
        }
    }
}

fn is_nothing_yet(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted
    )
}
