//! Lamp and beeper.

use embedded_hal::digital::{OutputPin as _, PinState};
use nrf52840_hal::gpio::{Output, Pin, PushPull};
use pinhold_lever::{Lamp, Signals};

/// Length of a beep, microseconds.
const BEEP_US: u64 = 80_000;
/// Half a blink, microseconds.
const BLINK_US: u64 = 200_000;

/// Red, green, blue.
type Colour = [bool; 3];

const OFF: Colour = [false, false, false];
const RED: Colour = [true, false, false];
const GREEN: Colour = [false, true, false];
const BLUE: Colour = [false, false, true];
const YELLOW: Colour = [true, true, false];
const MAGENTA: Colour = [true, false, true];
const CYAN: Colour = [false, true, true];
/// Shown when a sensor is missing, and never otherwise.
pub(crate) const WHITE: Colour = [true, true, true];

/// Colour and whether it blinks: no two that call for different actions differ by hue alone.
const fn look(lamp: Lamp) -> (Colour, bool) {
    match lamp {
        Lamp::Idle => (OFF, false),
        Lamp::Seat => (BLUE, true),
        Lamp::Ready => (BLUE, false),
        Lamp::Moving => (YELLOW, false),
        Lamp::Accepted => (GREEN, false),
        Lamp::Repeat => (YELLOW, true),
        Lamp::TooFar => (GREEN, true),
        Lamp::Hard => (RED, false),
        Lamp::Stop => (RED, true),
        Lamp::Zero => (MAGENTA, false),
        Lamp::Full => (MAGENTA, true),
        Lamp::BatteryLow => (CYAN, true),
        // Which one: the host says.
        Lamp::Fault(_) => (WHITE, true),
    }
}

/// The lamp's three pins and the beeper's.
pub(crate) struct Show {
    pub(crate) lamp: [Pin<Output<PushPull>>; 3],
    pub(crate) beeper: Pin<Output<PushPull>>,
    pub(crate) beep_ends_us: u64,
}

impl Show {
    /// Sets the lamp.
    pub(crate) fn colour(&mut self, colour: Colour) {
        for (pin, on) in self.lamp.iter_mut().zip(colour) {
            // Setting a pin of this part cannot fail.
            let _: Result<(), _> = pin.set_state(PinState::from(on));
        }
    }

    /// Shows the core's signals at `now_us`.
    pub(crate) fn signals(&mut self, now_us: u64, signals: Signals) {
        let (colour, blinks) = look(signals.lamp);
        let dark = blinks && (now_us / BLINK_US) % 2 == 1;
        self.colour(if dark { OFF } else { colour });
        if signals.beep {
            self.beep_ends_us = now_us.saturating_add(BEEP_US);
        }
        let _: Result<(), _> = self.beeper.set_state(PinState::from(now_us < self.beep_ends_us));
    }
}
