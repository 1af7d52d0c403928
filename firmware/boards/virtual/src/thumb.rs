//! The technician's thumb: which button is pressed when no host runs the survey.
//!
//! Knows what a person would: the lamp, the pin asked for, which pins to pass over. Deliberately
//! not here: the hand on the lever ([`crate::practice`]).

use pinhold_lever::{Buttons, Lamp, Signals};

/// Samples a short press lasts.
const SHORT_SAMPLES: u32 = 120;
/// Samples a long press lasts.
const LONG_SAMPLES: u32 = 900;
/// Samples after a press in which the lever is looked at before anything else is done.
const LOOK_SAMPLES: u32 = 60;
/// Samples before the first press: the hand settles.
const PATIENCE_SAMPLES: u32 = 300;
/// Samples that a refusal is looked at before the technician believes it.
const REFUSED_SAMPLES: u32 = 2_000;

const GO: Buttons = Buttons { go: true, back: false };
const NONE: Buttons = Buttons { go: false, back: false };

/// What the thumb does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Doing {
    /// Nothing, for so many samples more.
    Rests(u32),
    /// GO is held for so many samples more.
    Holds(u32),
}

/// The thumb.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Thumb {
    doing: Doing,
    /// GO was pressed to begin.
    begun: bool,
    done: bool,
    had_pin: bool,
    idle_samples: u32,
    /// Readings accepted so far.
    pub(crate) read_count: usize,
    /// Pins passed over, by their place in the piano.
    pub(crate) passes_over: fn(usize) -> bool,
}

impl Default for Thumb {
    fn default() -> Thumb {
        Thumb {
            doing: Doing::Rests(PATIENCE_SAMPLES),
            begun: false,
            done: false,
            had_pin: false,
            idle_samples: 0,
            read_count: 0,
            passes_over: |_| false,
        }
    }
}

impl Thumb {
    /// The power was out.
    pub(crate) fn begin_again(&mut self) {
        self.doing = Doing::Rests(PATIENCE_SAMPLES);
        self.begun = false;
        self.done = false;
        self.had_pin = false;
        self.idle_samples = 0;
    }

    /// Whether it presses a button, or looks what came of it.
    pub(crate) fn is_busy(&self) -> bool {
        self.doing != Doing::Rests(0)
    }

    /// Whether there is nothing more to do.
    pub(crate) fn is_done(&self) -> bool {
        self.done
    }

    /// Sees what the lever shows.
    pub(crate) fn watch(&mut self, signals: &Signals) {
        // One beep and green: accepted, whatever the lever asks for next.
        if self.had_pin && signals.beep && signals.lamp == Lamp::Accepted {
            self.read_count += 1;
        }
        self.had_pin = signals.pin.is_some() || (self.had_pin && signals.lamp == Lamp::Accepted);
        let quiet = signals.pin.is_none() && signals.lamp != Lamp::Zero;
        self.idle_samples = if quiet && self.begun { self.idle_samples + 1 } else { 0 };
        self.done = self.idle_samples > REFUSED_SAMPLES;
    }

    /// The buttons' levels where they change. `place` is the piano's place of the pin asked for,
    /// `free` that the hand has nothing under way, `gives_up` that the pin was tried often enough.
    pub(crate) fn buttons(
        &mut self,
        signals: &Signals,
        place: Option<usize>,
        free: bool,
        gives_up: bool,
    ) -> Option<Buttons> {
        match self.doing {
            Doing::Holds(0) => {
                self.doing = Doing::Rests(LOOK_SAMPLES);
                return Some(NONE);
            }
            Doing::Holds(left) => self.doing = Doing::Holds(left - 1),
            Doing::Rests(0) => return self.decide(signals, place, free, gives_up),
            Doing::Rests(left) => self.doing = Doing::Rests(left - 1),
        }
        None
    }

    fn decide(
        &mut self,
        signals: &Signals,
        place: Option<usize>,
        free: bool,
        gives_up: bool,
    ) -> Option<Buttons> {
        if !free {
            return None;
        }
        if !self.begun && signals.pin.is_none() {
            self.begun = true;
            self.doing = Doing::Holds(SHORT_SAMPLES);
            return Some(GO);
        }
        // No pin is left where the lever still asks for one that nobody has assigned.
        let ends = signals.pin.is_some_and(|pin| pin.is_unassigned()) && place.is_none();
        let passes = place.is_some_and(self.passes_over) && signals.lamp == Lamp::Seat;
        if ends || passes || (gives_up && signals.pin.is_some()) {
            self.doing = Doing::Holds(LONG_SAMPLES);
            return Some(GO);
        }
        None
    }
}
