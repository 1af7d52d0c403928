//! A real pseudo-terminal: the lever's end here, the other end opened by name like any port.

use std::io::{self, Read, Write};
use std::time::Duration;

use serialport::{SerialPort, TTYPort};

/// Longest time a read waits for bytes, or a write for room.
pub const PTY_TIMEOUT: Duration = Duration::from_millis(2);

/// The lever's end of a pseudo-terminal.
pub struct Pty {
    near: TTYPort,
    /// Kept open so that the terminal, set to raw mode, outlives a host that comes and goes.
    far: TTYPort,
}

impl Pty {
    /// Opens a new pseudo-terminal in raw mode.
    ///
    /// # Errors
    /// Whatever the system says.
    pub fn open() -> io::Result<Pty> {
        // Neither end is locked, so the host opens the far one by name, as it would any port.
        let (mut near, far) = TTYPort::pair().map_err(io::Error::from)?;
        near.set_timeout(PTY_TIMEOUT).map_err(io::Error::from)?;
        Ok(Pty { near, far })
    }

    /// Name to open the other end by.
    pub fn name(&self) -> Option<String> {
        self.far.name()
    }
}

impl Read for Pty {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        self.near.read(buffer)
    }
}

impl Write for Pty {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        self.near.write(buffer)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
