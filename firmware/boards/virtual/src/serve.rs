//! Puts a simulated lever on a port until told to stop.

use std::io::{self, Read, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crate::practice::SAMPLE_PERIOD_NS;

/// A simulated lever that a port can be put on.
pub trait Served {
    /// Bytes the lever wants to send.
    fn pending(&self) -> &[u8];
    /// Says that this many were sent.
    fn sent(&mut self, byte_count: usize);
    /// Hands bytes from the host to the lever.
    fn receive(&mut self, bytes: &[u8]);
    /// One sample period passes.
    fn step(&mut self);
    /// Whether nothing happens until the host says something.
    fn is_waiting(&self) -> bool;
}

/// How fast the simulated time runs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pace {
    /// As fast as the machine and the line allow; nothing is dropped because of it.
    Fast,
    /// As fast as a clock.
    Real,
}

/// Samples between two looks at the port.
const BATCH_SAMPLE_COUNT: u32 = 64;
/// Waiting bytes above which simulated time stands still until the line has taken them: few enough
/// that a batch's blocks still find room.
const BACKLOG_BYTES_MAX: usize = 512;
/// Pause while nothing is asked of the lever.
const IDLE_PAUSE: Duration = Duration::from_millis(1);

/// Runs `practice` on `port` until `stop` is set or the port is closed.
///
/// # Errors
/// Whatever the port reports, other than that nothing arrived or there was no room in time.
pub fn serve(
    practice: &mut impl Served,
    port: &mut (impl Read + Write),
    pace: Pace,
    stop: &AtomicBool,
) -> io::Result<()> {
    let started = Instant::now();
    let mut sample_count: u64 = 0;
    let mut buffer = [0u8; 4096];
    let mut idle = false;
    while !stop.load(Ordering::Relaxed) {
        send(practice, port)?;
        // Reading waits for a moment; that is only worth it when there is nothing else to do.
        if idle || practice.is_waiting() || sample_count.is_multiple_of(1024) {
            match port.read(&mut buffer) {
                Ok(0) => return Ok(()),
                Ok(count) => practice.receive(&buffer[..count]),
                Err(error) if is_nothing_yet(&error) => {}
                Err(error) => return Err(error),
            }
        }
        if practice.pending().len() > BACKLOG_BYTES_MAX {
            idle = true;
            continue;
        }
        for _ in 0..BATCH_SAMPLE_COUNT {
            practice.step();
        }
        sample_count += u64::from(BATCH_SAMPLE_COUNT);
        idle = practice.is_waiting();
        match pace {
            Pace::Fast if idle => std::thread::sleep(IDLE_PAUSE),
            Pace::Fast => {}
            Pace::Real => {
                let due = Duration::from_nanos(sample_count * u64::from(SAMPLE_PERIOD_NS));
                std::thread::sleep(due.saturating_sub(started.elapsed()));
            }
        }
    }
    send(practice, port)
}

/// Sends what waits, as far as the line takes it.
fn send(practice: &mut impl Served, port: &mut impl Write) -> io::Result<()> {
    while !practice.pending().is_empty() {
        match port.write(practice.pending()) {
            Ok(0) => return Err(io::ErrorKind::WriteZero.into()),
            Ok(count) => practice.sent(count),
            Err(error) if is_nothing_yet(&error) => return Ok(()),
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

fn is_nothing_yet(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::TimedOut | io::ErrorKind::WouldBlock | io::ErrorKind::Interrupted
    )
}
