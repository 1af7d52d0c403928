//! Bytes in and out: frames received, frames waiting to be sent.
//!
//! The send buffer is bounded. Sample blocks only take room that leaves a reserve for everything
//! else; a block that finds none is dropped and counted. A record that finds none stays in the log
//! and is pulled later. Deliberately not here: what a command does ([`crate::device`]).

use heapless::Vec;
use pinhold_protocol::error::{DecodeError, LinkCounters};
use pinhold_protocol::frame::{FrameReader, SequenceWatch, WIRE_BYTES_MAX};
use pinhold_protocol::message::{FromHost, FromLever};

/// Bytes the send buffer holds.
pub const SEND_BYTES_MAX: usize = 2304;
/// Bytes kept free for everything but sample blocks: a record, a greeting and some replies.
pub const SEND_RESERVE_BYTES: usize = 2 * WIRE_BYTES_MAX;

const _: () = assert!(SEND_RESERVE_BYTES + WIRE_BYTES_MAX <= SEND_BYTES_MAX);

/// Both directions of the link.
#[derive(Clone, Debug)]
pub struct Link {
    reader: FrameReader,
    watch: SequenceWatch,
    counters: LinkCounters,
    waiting: Vec<u8, SEND_BYTES_MAX>,
    sent: usize,
    next_sequence: u16,
}

impl Default for Link {
    fn default() -> Self {
        Link::new()
    }
}

impl Link {
    /// An idle link.
    pub fn new() -> Link {
        Link {
            reader: FrameReader::new(),
            watch: SequenceWatch::default(),
            counters: LinkCounters::default(),
            waiting: Vec::new(),
            sent: 0,
            next_sequence: 0,
        }
    }

    /// Counters since power-up.
    pub fn counters(&self) -> LinkCounters {
        self.counters
    }

    /// Takes one received byte; a whole command comes with its sequence number.
    pub fn receive(&mut self, byte: u8) -> Option<(u16, FromHost)> {
        let outcome = self.reader.push(byte)?;
        let command = outcome.and_then(|frame| {
            let sequence = frame.sequence;
            FromHost::try_from(frame).map(|command| (sequence, command))
        });
        match command {
            Ok((sequence, command)) => {
                // A greeting opens a new conversation with numbers of its own.
                if matches!(command, FromHost::Greet(_)) {
                    self.watch = SequenceWatch::default();
                }
                if self.watch.skipped_before(sequence) != 0 {
                    self.counters.sequence_count = self.counters.sequence_count.saturating_add(1);
                }
                self.counters.accepted_count = self.counters.accepted_count.saturating_add(1);
                Some((sequence, command))
            }
            Err(error) => {
                self.count(error);
                None
            }
        }
    }

    fn count(&mut self, error: DecodeError) {
        self.counters.count_error(error);
    }

    /// Room left in the send buffer, bytes.
    pub fn room(&self) -> usize {
        SEND_BYTES_MAX - (self.waiting.len() - self.sent)
    }

    /// Queues a message; `false` when there was no room and nothing was queued.
    pub fn send(&mut self, message: &FromLever<'_>) -> bool {
        if self.room() < WIRE_BYTES_MAX {
            return false;
        }
        self.compact();
        // Written where it waits; a frame of its own would be 411 bytes of stack.
        let before = self.waiting.len();
        if self.waiting.resize(before.saturating_add(WIRE_BYTES_MAX), 0).is_err() {
            return false;
        }
        let room = self.waiting.get_mut(before..).unwrap_or_default();
        let encoded = message.encode(self.next_sequence, room);
        self.waiting.truncate(before.saturating_add(encoded.unwrap_or(0)));
        if encoded.is_ok() {
            self.next_sequence = self.next_sequence.wrapping_add(1);
        }
        encoded.is_ok()
    }

    /// Queues a message that may be dropped: only while the reserve stays free.
    pub fn send_droppable(&mut self, message: &FromLever<'_>) -> bool {
        self.room() >= SEND_RESERVE_BYTES + WIRE_BYTES_MAX && self.send(message)
    }

    /// Moves what is still to be sent to the front.
    fn compact(&mut self) {
        if self.sent > 0 {
            let len = self.waiting.len();
            let sent = self.sent.min(len);
            // Mostly nothing is left to be moved. `copy_within` would be 1.5 KB of flash.
            for index in 0..len - sent {
                let byte = self.waiting.get(index + sent).copied();
                if let (Some(slot), Some(byte)) = (self.waiting.get_mut(index), byte) {
                    *slot = byte;
                }
            }
            self.waiting.truncate(len - sent);
            self.sent = 0;
        }
    }

    /// Bytes waiting to be sent, oldest first.
    pub fn pending(&self) -> &[u8] {
        self.waiting.get(self.sent..).unwrap_or(&[])
    }

    /// The board sent this many of them.
    pub fn sent(&mut self, byte_count: usize) {
        self.sent = (self.sent + byte_count).min(self.waiting.len());
        if self.sent == self.waiting.len() {
            self.waiting.clear();
            self.sent = 0;
        }
    }
}
