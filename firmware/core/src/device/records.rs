//! The lever and its log: room for a record, records told again.
//!
//! Deliberately not here: how a record comes to be ([`super`]) and how it is kept ([`crate::log`]).

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{FromLever, Pull, Record};
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX};
use pinhold_protocol::units::DeviceTime;

use super::Lever;
use crate::log::{RecordBuffer, RecordLog, Stored};

impl<L: RecordLog> Lever<L> {
    /// Lets the log erase, which may stop everything for a moment: only between pins.
    pub(super) fn make_room(&mut self) {
        if self.session.is_none() {
            self.log.make_room();
            self.room_wanted = false;
        }
    }

    /// Whether `pin` was read just now and no host has said that it has the record. A host that
    /// chooses it all the same does not know of the record yet; taken at its word the pin would be
    /// turned twice.
    pub(super) fn awaits_commit(&self, pin: Pin) -> bool {
        self.last_read.is_some_and(|(survey, last, number)| {
            (survey, last) == (self.survey, pin) && number >= self.log.committed().0
        })
    }

    /// Between two pins: what may stop everything for a moment, then the next pin.
    pub(super) fn between_pins(&mut self, now: DeviceTime) {
        self.make_room();
        self.go_on(now);
    }

    /// Keeps a record and sends it to a host that listens; `None` when it was not kept, and then
    /// nobody is told.
    pub(super) fn keep_record(&mut self, bytes: &[u8]) -> Option<Stored> {
        if bytes.is_empty() {
            return None;
        }
        let stored = self.log.push(bytes)?;
        let (epoch, number, checksum) = (self.log.epoch(), stored.number, stored.checksum);
        if self.survey != 0 || self.is_heard(self.now) {
            // Where there is no room now the host pulls it, told by the next live message.
            let _ = self.link.send(&FromLever::Record(Record { epoch, number, checksum, bytes }));
        }
        Some(stored)
    }

    pub(super) fn send_again(&mut self, pull: Pull) -> CommandResult {
        if pull.from > self.log.next_number() || pull.from < self.log.oldest_number() {
            return CommandResult::NoSuchRecord;
        }
        let mut record: RecordBuffer = [0; RECORD_BYTES_MAX];
        for number in pull.from..pull.from.saturating_add(u32::from(pull.count_max)) {
            let Some(stored) = self.log.get(number, &mut record) else { break };
            let sent = self.link.send(&FromLever::Record(Record {
                epoch: self.log.epoch(),
                number,
                checksum: stored.checksum,
                bytes: record.get(..stored.byte_count).unwrap_or(&[]),
            }));
            if !sent {
                break;
            }
        }
        CommandResult::Done
    }
}
