//! Two buttons' levels turned into what was pressed.
//!
//! Debounced by time; a long press counts while it is held. Both at once are one press of both:
//! neither counts alone until both are let go. Deliberately not here: what a press does.

use pinhold_protocol::units::DeviceTime;

use crate::Buttons;

/// Time a level must stand before it counts, milliseconds: contacts bounce for a few (MEM).
pub const DEBOUNCE_MS: u32 = 20;
/// Time a button is held for a long press, milliseconds.
pub const LONG_MS: u32 = 800;

/// What was pressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Press {
    /// GO, let go again.
    Go,
    /// GO, held.
    GoLong,
    /// BACK, let go again.
    Back,
    /// BACK, held.
    BackLong,
    /// Both, held.
    BothLong,
}

/// A press under way.
#[derive(Clone, Copy, Debug)]
struct Held {
    which: Buttons,
    since: DeviceTime,
    /// It was taken, or is none: nothing more comes of it.
    spent: bool,
}

/// Watches the buttons.
#[derive(Clone, Copy, Debug, Default)]
pub struct ButtonWatch {
    raw: Buttons,
    raw_since: DeviceTime,
    level: Buttons,
    held: Option<Held>,
}

const NONE: Buttons = Buttons { go: false, back: false };

impl ButtonWatch {
    /// Takes the levels at `now`.
    pub fn set(&mut self, now: DeviceTime, raw: Buttons) {
        if self.raw != raw {
            self.raw = raw;
            self.raw_since = now;
        }
    }

    /// Takes the levels found at power-up: a button held then may be stuck, and is not pressed
    /// before it was let go.
    pub fn set_at_power_up(&mut self, now: DeviceTime, raw: Buttons) {
        self.set(now, raw);
        if raw != NONE {
            self.level = raw;
            self.held = Some(Held { which: raw, since: now, spent: true });
        }
    }

    /// Whether time alone can bring a press about.
    pub fn is_idle(&self) -> bool {
        self.held.is_none() && self.raw == self.level
    }

    /// What was pressed by `now`, at most one press.
    pub fn press(&mut self, now: DeviceTime) -> Option<Press> {
        let raw = self.raw;
        // A level that no longer stands did not last beyond its end.
        let until = if raw == self.level { now } else { self.raw_since };
        if let Some(held) = self.held.as_mut()
            && !held.spent
            && until.milliseconds_since(held.since) >= LONG_MS
        {
            held.spent = true;
            return Some(match held.which {
                Buttons { go: true, back: true } => Press::BothLong,
                Buttons { go: true, .. } => Press::GoLong,
                _ => Press::BackLong,
            });
        }
        if raw == self.level || now.milliseconds_since(self.raw_since) < DEBOUNCE_MS {
            return None;
        }
        self.level = raw;
        self.change(raw)
    }

    /// A level that counts has changed.
    fn change(&mut self, level: Buttons) -> Option<Press> {
        let since = self.raw_since;
        let Some(held) = self.held.as_mut() else {
            self.held = Some(Held { which: level, since, spent: false });
            return None;
        };
        if level == NONE {
            let done = *held;
            self.held = None;
            return match done {
                Held { spent: true, .. } => None,
                Held { which: Buttons { go: true, back: false }, .. } => Some(Press::Go),
                Held { which: Buttons { go: false, back: true }, .. } => Some(Press::Back),
                _ => None,
            };
        }
        if level == (Buttons { go: true, back: true }) {
            held.which = level;
            held.since = since;
        } else {
            // One of both let go, or one for the other.
            held.spent = true;
        }
        None
    }
}
