//! Lamp, beeper and buttons on six pins.
//!
//! Deliberately not here: what is shown ([`crate::lamp`]) and what a press means (the core, which
//! also debounces).
//!
//! Invariant: a pin that cannot be read counts as not pressed.

use embedded_hal::digital::{InputPin, OutputPin, PinState};
use pinhold_lever::Buttons;

use crate::lamp::Colour;

/// The pins: outputs high when lit or sounding, inputs low when pressed.
pub struct Panel<Out, In> {
    /// Red of the lamp.
    pub red: Out,
    /// Green of the lamp.
    pub green: Out,
    /// Blue of the lamp.
    pub blue: Out,
    /// The beeper.
    pub beeper: Out,
    /// The button GO, pulled up.
    pub go: In,
    /// The button BACK, pulled up.
    pub back: In,
}

impl<Out: OutputPin, In: InputPin> Panel<Out, In> {
    /// Lights the lamp and sounds the beeper, or not.
    pub fn show(&mut self, colour: Colour, beeps: bool) {
        let Panel { red, green, blue, beeper, .. } = self;
        let levels = [colour.red, colour.green, colour.blue, beeps];
        for (pin, level) in [red, green, blue, beeper].into_iter().zip(levels) {
            // A pin that cannot be set leaves the others to be set; there is no one to tell.
            let _: Result<(), _> = pin.set_state(PinState::from(level));
        }
    }

    /// The buttons' levels as they are, bouncing included.
    pub fn buttons(&mut self) -> Buttons {
        Buttons { go: self.go.is_low().unwrap_or(false), back: self.back.is_low().unwrap_or(false) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use embedded_hal_mock::eh1::MockError;
    use embedded_hal_mock::eh1::digital::{Mock, State, Transaction};
    use std::io::ErrorKind;

    #[test]
    fn shows_colours_and_reads_presses() {
        let broken = || MockError::Io(ErrorKind::Other);
        let mut panel = Panel {
            red: Mock::new(&[Transaction::set(State::High).with_error(broken())]),
            green: Mock::new(&[Transaction::set(State::High)]),
            blue: Mock::new(&[Transaction::set(State::Low)]),
            beeper: Mock::new(&[Transaction::set(State::High)]),
            go: Mock::new(&[Transaction::get(State::Low)]),
            back: Mock::new(&[Transaction::get(State::Low).with_error(broken())]),
        };
        panel.show(Colour::YELLOW, true);
        assert_eq!(panel.buttons(), Buttons { go: true, back: false });
        for pin in [
            &mut panel.red,
            &mut panel.green,
            &mut panel.blue,
            &mut panel.beeper,
            &mut panel.go,
            &mut panel.back,
        ] {
            pin.done();
        }
    }
}
