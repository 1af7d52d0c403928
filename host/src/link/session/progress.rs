//! Which of the plan's pins are read.

use pinhold_protocol::message::ChoosePin;
use pinhold_protocol::record::Pin;

/// The plan's pins and which of them have a reading on the disk.
///
/// A pin counts when its record is kept, whenever that is: a record fetched after a reconnect
/// settles its pin as well as one that comes while its pin is in hand.
#[derive(Debug)]
pub(super) struct Progress {
    choices: Vec<ChoosePin>,
    read: Vec<bool>,
    /// First pin not read.
    next: usize,
    read_count: usize,
}

impl Progress {
    pub(super) fn new(choices: Vec<ChoosePin>) -> Progress {
        let read = vec![false; choices.len()];
        Progress { choices, read, next: 0, read_count: 0 }
    }

    /// Adds pins behind those there are.
    pub(super) fn append(&mut self, choices: &[ChoosePin]) {
        self.choices.extend_from_slice(choices);
        self.read.resize(self.choices.len(), false);
    }

    /// Pins read.
    pub(super) fn read_count(&self) -> usize {
        self.read_count
    }

    /// The pin to be read now, `None` when all are.
    pub(super) fn wanted(&self) -> Option<ChoosePin> {
        self.choices.get(self.next).copied()
    }

    /// A record of `pin` is kept: settles the first place in the plan that waits for it.
    pub(super) fn settle(&mut self, pin: Pin) {
        let waiting = self
            .choices
            .iter()
            .zip(&self.read)
            .position(|(choice, read)| choice.pin == pin && !read);
        if let Some(slot) = waiting.and_then(|index| self.read.get_mut(index)) {
            *slot = true;
            self.read_count += 1;
        }
        while self.read.get(self.next) == Some(&true) {
            self.next += 1;
        }
    }
}
