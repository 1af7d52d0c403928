//! Events waiting for the caller, in bounded memory.
//!
//! Whatever a lever sends and however slowly the caller fetches, no more than [`EVENT_COUNT_MAX`]
//! events are held. Room is made by discarding what will be said again or is only for show; a
//! record is never discarded once it is in the queue.

use std::collections::VecDeque;

use super::{EVENT_COUNT_MAX, Event};

/// The queue.
#[derive(Debug, Default)]
pub(super) struct Events {
    waiting: VecDeque<Event>,
    discarded_count: u32,
}

/// Events that may be thrown away to make room: a later one says the same, or they are for show.
fn is_droppable(event: &Event) -> bool {
    matches!(
        event,
        Event::Samples(_)
            | Event::Live(_)
            | Event::Status(_)
            | Event::Health(_)
            | Event::PlanState(_)
            | Event::PinRefused(..)
            | Event::Refused(..)
            | Event::ZeroNotStill
    )
}

impl Events {
    /// Events thrown away so far.
    pub(super) fn discarded_count(&self) -> u32 {
        self.discarded_count
    }

    /// Takes the oldest.
    pub(super) fn pop(&mut self) -> Option<Event> {
        self.waiting.pop_front()
    }

    /// Appends an event; `false` when there was no room and it was not taken.
    pub(super) fn push(&mut self, event: Event) -> bool {
        if self.waiting.len() >= EVENT_COUNT_MAX {
            self.discarded_count = self.discarded_count.saturating_add(1);
            match self.waiting.iter().position(is_droppable) {
                Some(index) => drop(self.waiting.remove(index)),
                None => return false,
            }
        }
        self.waiting.push_back(event);
        true
    }

    /// Events held now.
    #[cfg(test)]
    pub(super) fn len(&self) -> usize {
        self.waiting.len()
    }
}
