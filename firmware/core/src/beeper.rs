//! Beeps: one or two at a time, never while a pin turns or is loaded.
//!
//! Deliberately not here: how long a beep sounds (the board's), and whether the pin is at rest
//! (asked of the caller at each step).

use pinhold_protocol::units::DeviceTime;

/// From one beep of a signal to the next, milliseconds.
pub const BEEP_GAP_MS: u32 = 150;
/// From the last beep of a signal to the first of another, milliseconds.
pub const SIGNAL_GAP_MS: u32 = 450;
/// A signal not given by then is no longer of use, milliseconds.
pub const STALE_MS: u32 = 2_000;

/// What a signal says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Beeps {
    /// Seated and ready, or accepted.
    One = 1,
    /// Repeat please, or refused.
    Two = 2,
}

/// Beeps to be given.
#[derive(Clone, Copy, Debug, Default)]
pub struct Beeper {
    waiting_count: u8,
    asked: DeviceTime,
    last: Option<DeviceTime>,
    gap_ms: u32,
}

impl Beeper {
    /// Asks for a signal; one still waiting is given up for it.
    pub fn ask(&mut self, now: DeviceTime, beeps: Beeps) {
        self.waiting_count = beeps as u8;
        self.asked = now;
        self.gap_ms = SIGNAL_GAP_MS;
    }

    /// Gives up what waits: the pin turns.
    pub fn drop_all(&mut self) {
        self.waiting_count = 0;
    }

    /// Whether a beep starts now. `quiet`: no pin turns or is loaded.
    pub fn step(&mut self, now: DeviceTime, quiet: bool) -> bool {
        if self.waiting_count == 0 {
            return false;
        }
        if now.milliseconds_since(self.asked) > STALE_MS {
            self.waiting_count = 0;
            return false;
        }
        let too_soon = self.last.is_some_and(|last| now.milliseconds_since(last) < self.gap_ms);
        if too_soon || !quiet {
            return false;
        }
        self.waiting_count -= 1;
        self.last = Some(now);
        self.gap_ms = BEEP_GAP_MS;
        true
    }
}
