//! A two-way stream of bytes within one process, for platforms without pseudo-terminals and for
//! tests. Bounded, like a line: a writer waits while the reader is behind.

use std::collections::VecDeque;
use std::io::{self, Read, Write};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Bytes one direction holds before the writer waits.
pub const PIPE_BYTES_MAX: usize = 64 * 1024;
/// Longest time a read waits for bytes or a write for room.
pub const PIPE_TIMEOUT: Duration = Duration::from_millis(5);

#[derive(Default)]
struct State {
    bytes: VecDeque<u8>,
    closed: bool,
}

#[derive(Default)]
struct Channel {
    state: Mutex<State>,
    changed: Condvar,
}

impl Channel {
    fn lock(&self) -> MutexGuard<'_, State> {
        // A panic on the other side leaves bytes in order all the same.
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// One end.
pub struct PipeEnd {
    incoming: Arc<Channel>,
    outgoing: Arc<Channel>,
}

/// Both ends of a new pipe.
pub fn pair() -> (PipeEnd, PipeEnd) {
    let (a, b) = (Arc::new(Channel::default()), Arc::new(Channel::default()));
    let first = PipeEnd { incoming: Arc::clone(&a), outgoing: Arc::clone(&b) };
    (first, PipeEnd { incoming: b, outgoing: a })
}

impl Drop for PipeEnd {
    fn drop(&mut self) {
        for channel in [&self.incoming, &self.outgoing] {
            channel.lock().closed = true;
            channel.changed.notify_all();
        }
    }
}

impl Read for PipeEnd {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let state = self.incoming.lock();
        let (mut state, _) = self
            .incoming
            .changed
            .wait_timeout_while(state, PIPE_TIMEOUT, |s| s.bytes.is_empty() && !s.closed)
            .unwrap_or_else(PoisonError::into_inner);
        if state.bytes.is_empty() {
            return if state.closed { Ok(0) } else { Err(io::ErrorKind::TimedOut.into()) };
        }
        let count = state.bytes.read(buffer)?;
        self.incoming.changed.notify_all();
        Ok(count)
    }
}

impl Write for PipeEnd {
    fn write(&mut self, buffer: &[u8]) -> io::Result<usize> {
        let state = self.outgoing.lock();
        let full = |s: &mut State| s.bytes.len() >= PIPE_BYTES_MAX && !s.closed;
        let (mut state, _) = self
            .outgoing
            .changed
            .wait_timeout_while(state, PIPE_TIMEOUT, full)
            .unwrap_or_else(PoisonError::into_inner);
        if state.closed {
            return Err(io::ErrorKind::BrokenPipe.into());
        }
        let room = PIPE_BYTES_MAX.saturating_sub(state.bytes.len());
        if room == 0 {
            return Err(io::ErrorKind::TimedOut.into());
        }
        let count = room.min(buffer.len());
        state.bytes.extend(&buffer[..count]);
        self.outgoing.changed.notify_all();
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_arrive_in_order_and_closing_ends_the_stream() {
        let (mut near, mut far) = pair();
        near.write_all(b"breakaway").unwrap();
        let mut buffer = [0; 5];
        assert_eq!(far.read(&mut buffer).unwrap(), 5);
        assert_eq!(&buffer, b"break");
        drop(near);
        assert_eq!(far.read(&mut buffer).unwrap(), 4);
        assert_eq!(far.read(&mut buffer).unwrap(), 0);
        assert_eq!(far.write(b"x").unwrap_err().kind(), io::ErrorKind::BrokenPipe);
    }

    #[test]
    fn a_reader_with_nothing_to_read_is_told_so() {
        let (_near, mut far) = pair();
        assert_eq!(far.read(&mut [0; 1]).unwrap_err().kind(), io::ErrorKind::TimedOut);
    }
}
