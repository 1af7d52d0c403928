//! The pins of lamp, beeper and buttons.

use embedded_hal::digital::{InputPin as _, OutputPin as _, PinState};
use nrf52840_hal::gpio::{Input, Output, Pin, PullUp, PushPull};
use pinhold_drivers::lamp::Colour;
use pinhold_lever::Buttons;

/// The lamp's three pins and the beeper's.
pub(crate) struct Show {
    pub(crate) red: Pin<Output<PushPull>>,
    pub(crate) green: Pin<Output<PushPull>>,
    pub(crate) blue: Pin<Output<PushPull>>,
    pub(crate) beeper: Pin<Output<PushPull>>,
}

impl Show {
    /// Lights the lamp and sounds the beeper, or not.
    pub(crate) fn set(&mut self, colour: Colour, beeps: bool) {
        let Show { red, green, blue, beeper } = self;
        let pins = [red, green, blue, beeper];
        for (pin, on) in pins.into_iter().zip([colour.red, colour.green, colour.blue, beeps]) {
            // Setting a pin of this part cannot fail.
            let _: Result<(), _> = pin.set_state(PinState::from(on));
        }
    }
}

/// The buttons' pins: pulled up, low when pressed.
pub(crate) struct ButtonPins {
    pub(crate) go: Pin<Input<PullUp>>,
    pub(crate) back: Pin<Input<PullUp>>,
}

impl ButtonPins {
    /// Their levels as they are, bouncing included.
    pub(crate) fn read(&mut self) -> Buttons {
        // Reading a pin of this part cannot fail.
        Buttons { go: self.go.is_low().unwrap_or(false), back: self.back.is_low().unwrap_or(false) }
    }
}
