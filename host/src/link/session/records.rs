//! Which records the host has, which the lever has, and what follows from that.
//!
//! One record at a time is with the caller. Until the caller says that it is on the disk nothing
//! further is handed out and no commit covers it. At every greeting the caller says what its store
//! holds of the log; the chain values of the two sides are compared where that can be done. Where
//! they differ the records themselves are compared (the host is *in doubt*): one of the two may
//! have been lost on the lever, which is no fault; two true ones under one number are.
//!
//! Invariants: `wanted` only passes a number when the store holds it, the caller has said that it
//! is kept, or another host has committed it; the chain value is the one behind `wanted − 1`, and
//! nothing is committed while it is unknown or once the sides are found to disagree.

use pinhold_protocol::content::Content;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::lost::{chain_behind, decode_lost};
use pinhold_protocol::message::{Commit, Hello, Pull, Record};
use pinhold_protocol::record::Pin;

use super::held::{Comparison, HeldRecord, HeldRecords};
use super::{MISMATCH_COUNT_MAX, RETRY_MS};

/// Records asked for in one pull: as many as a lever with a small log holds.
const PULL_COUNT_MAX: u8 = 8;

/// What the caller wants of records that other hosts have committed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) enum Scope {
    /// All that the lever still has and the store does not.
    #[default]
    All,
    /// Those of this survey only.
    Survey(u64),
    /// Records are of no interest.
    Nothing,
}

/// A record that is with the caller.
#[derive(Clone, Copy, Debug)]
struct HandedOut {
    number: u32,
    /// Chain value below it, when it was handed out.
    below: Option<u32>,
    /// Chain value behind it.
    chain: Option<u32>,
    pin: Option<Pin>,
    /// The log is another one by now, or stands elsewhere: the caller keeps it all the same, but
    /// it says nothing about the log as it is now.
    stale: bool,
}

/// A command about records, waiting for its reply.
#[derive(Clone, Copy, Debug)]
struct Asked<T> {
    sequence: u16,
    sent_ms: u64,
    what: T,
}

/// What a reply to a pull or commit means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Answer {
    /// It was to another command.
    NotMine,
    /// Nothing to do.
    Fine,
    /// The lever's log is not what it was thought to be: greet it anew.
    Disagreement,
}

/// What is to be done with a record that came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Taken {
    /// Not the one that is wanted now.
    NotWanted,
    /// The store has it, or it is of no interest.
    Passed,
    /// It goes to the caller.
    ForCaller,
}

/// Both sides' place in the log.
#[derive(Debug, Default)]
pub(super) struct Records {
    scope: Scope,
    /// Device and epoch of the log.
    log: Option<(u64, u32)>,
    oldest: u32,
    /// Floor and chain value of the last greeting.
    floor: u32,
    floor_chain: u32,
    /// What the caller said it holds; `None` until it has said so.
    held: Option<HeldRecords>,
    /// First number the lever did not have at the greeting.
    greeted_next: u32,
    wanted: u32,
    chain: Option<u32>,
    handed_out: Option<HandedOut>,
    lever_next: u32,
    lever_floor: u32,
    pull: Option<Asked<Pull>>,
    commit: Option<Asked<Commit>>,
    /// Records the store holds are pulled and compared as well.
    in_doubt: bool,
    /// A loss was found that accounts for different chain values.
    explained: bool,
    mismatch_count: u32,
    /// The two sides hold different logs; the first number known to differ.
    disagrees_at: Option<u32>,
    /// The last reading of this survey among those other hosts have committed.
    own_reading: Option<u32>,
}

impl Records {
    /// Nothing known yet.
    pub(super) fn new(scope: Scope) -> Records {
        Records { scope, ..Records::default() }
    }

    /// Device and epoch of the log.
    pub(super) fn log(&self) -> Option<(u64, u32)> {
        self.log
    }

    /// First number the host does not have.
    #[cfg(test)]
    pub(super) fn wanted(&self) -> u32 {
        self.wanted
    }

    /// First number at which the two sides are known to hold different logs.
    pub(super) fn disagrees_at(&self) -> Option<u32> {
        self.disagrees_at
    }

    /// Takes the lever's greeting; whether it is the same log as before. Nothing is pulled or
    /// committed until the caller has said what it holds.
    pub(super) fn greeted(&mut self, hello: &Hello) -> bool {
        let log = Some((hello.device, hello.epoch));
        let same = self.log == log;
        if !same {
            (self.in_doubt, self.mismatch_count) = (false, 0);
            if let Some(handed) = self.handed_out.as_mut() {
                handed.stale = true;
            }
        }
        self.log = log;
        self.held = None;
        self.oldest = hello.oldest_record;
        self.floor = hello.committed_floor;
        self.floor_chain = hello.committed_chain;
        self.greeted_next = hello.next_record;
        self.lever_next = hello.next_record;
        self.lever_floor = hello.committed_floor;
        self.forget_asked();
        same
    }

    /// Takes what the caller's store holds of the log just greeted; numbers that neither side has
    /// any more, if there are any.
    pub(super) fn take_held(&mut self, records: &[HeldRecord]) -> Option<(u32, u32)> {
        let log = self.log.filter(|_| self.scope != Scope::Nothing)?;
        let held = HeldRecords::new(log, records);
        let end = held.last().map_or(0, |last| last.saturating_add(1));
        let own_chain = held.chain_below(self.floor);
        let differs = own_chain.is_some_and(|chain| chain != self.floor_chain);
        self.in_doubt |= differs;
        self.explained = false;
        self.own_reading = None;
        let start = match self.scope {
            _ if differs => held.run_start(self.floor),
            _ if self.in_doubt => self.floor,
            Scope::All => self.oldest,
            // Up to its last one the survey has seen everything.
            Scope::Survey(_) if held.last().is_some() => end.min(self.floor),
            Scope::Survey(_) | Scope::Nothing => self.floor,
        };
        self.wanted = start.max(self.oldest);
        self.chain = match self.wanted == self.floor {
            true if !differs => Some(self.floor_chain),
            _ => held.chain_below(self.wanted),
        };
        // One record that was never acknowledged may be gone again after a power cut; no more.
        let is_ahead = end > self.lever_next.saturating_add(1);
        let missing = (end > 0 && end < self.oldest).then_some((end, self.oldest));
        // No lever erases what nobody has committed.
        let is_torn = self.oldest > self.floor && held.run_start(self.oldest) > self.floor;
        self.held = Some(held);
        if is_ahead || is_torn {
            self.disagrees_at = Some(if is_torn { self.floor } else { self.lever_next });
        }
        self.pass_held();
        if let Some(handed) = self.handed_out.as_mut() {
            handed.stale |= (handed.number, handed.below) != (self.wanted, self.chain);
        }
        missing
    }

    /// Passes what the store holds, and looks at the chain value where the lever told one.
    fn pass_held(&mut self) {
        self.meet_floor();
        while !self.in_doubt
            && self.wanted < self.greeted_next
            && let Some(held) = self.held.as_ref()
            && held.has(self.wanted)
        {
            self.chain = held.chain_behind(self.wanted, self.chain);
            self.wanted += 1;
            self.meet_floor();
        }
    }

    fn meet_floor(&mut self) {
        if self.wanted != self.floor {
            return;
        }
        let differs = self.chain.is_some_and(|chain| chain != self.floor_chain);
        if differs && !self.explained {
            // Every record that is still there was compared, or there is none.
            self.disagrees_at = self.disagrees_at.or(Some(self.floor));
        }
        self.chain = Some(self.floor_chain);
    }

    /// The lever is to be greeted: until then nothing it says of its log counts.
    pub(super) fn suspend(&mut self) {
        self.held = None;
        self.forget_asked();
    }

    /// Commands under way got lost with the connection.
    fn forget_asked(&mut self) {
        self.pull = None;
        self.commit = None;
    }

    /// Notes where the lever says its log stands; `false` when it was further before, so that
    /// this cannot be the lever that was greeted, or not in the same life.
    pub(super) fn heard(&mut self, next: u32, floor: u32) -> bool {
        let is_same = next >= self.lever_next && floor >= self.lever_floor;
        self.lever_next = next;
        self.lever_floor = floor;
        is_same
    }

    fn is_standing(&self) -> bool {
        self.held.is_some() && self.disagrees_at.is_none()
    }

    /// What becomes of a record, whose checksum is right. One from further on shows that some are
    /// missing.
    pub(super) fn take(&mut self, record: &Record<'_>, content: Option<&Content>) -> Taken {
        let number = record.number;
        let Some(next) = number.checked_add(1) else { return Taken::NotWanted };
        self.lever_next = self.lever_next.max(next);
        if !self.is_standing() || number != self.wanted || self.handed_out.is_some() {
            return Taken::NotWanted;
        }
        let Some(held) = self.held.as_ref() else { return Taken::NotWanted };
        let comparison = held.compare(record);
        let chain = self.chain_behind(record);
        match comparison {
            Comparison::Conflict => {
                self.disagrees_at = Some(number);
                return Taken::Passed;
            }
            Comparison::OneIsLost => {
                self.explained = true;
                return Taken::ForCaller;
            }
            Comparison::New if self.is_of_interest(number, content) => return Taken::ForCaller,
            Comparison::New | Comparison::Same => {}
        }
        self.chain = chain;
        self.wanted = next;
        self.pass_held();
        Taken::Passed
    }

    fn chain_behind(&self, record: &Record<'_>) -> Option<u32> {
        match self.chain {
            Some(chain) => Some(chain_behind(chain, record.checksum, record.bytes)),
            None => decode_lost(record.bytes).ok(),
        }
    }

    /// Whether the caller wants a record that its store does not hold: what nobody has committed
    /// must be kept in any case.
    fn is_of_interest(&mut self, number: u32, content: Option<&Content>) -> bool {
        let Scope::Survey(own) = self.scope else { return true };
        if number >= self.floor {
            return true;
        }
        match content {
            Some(Content::Reading(reading)) if reading.survey == own => {
                self.own_reading = Some(number);
                true
            }
            Some(Content::Skip(skip)) => skip.survey == own,
            Some(Content::Trace(trace)) => self.own_reading == Some(trace.reading),
            _ => false,
        }
    }

    /// The record is with the caller now; `pin` when it is a reading of this survey.
    pub(super) fn hand_out(&mut self, record: &Record<'_>, pin: Option<Pin>) {
        self.handed_out = Some(HandedOut {
            number: record.number,
            below: self.chain,
            chain: self.chain_behind(record),
            pin,
            stale: false,
        });
    }

    /// The caller has the record on its disk: `None` when it was not asked for, else the pin it
    /// settles in this survey, if any.
    pub(super) fn kept(&mut self, number: u32) -> Option<Option<Pin>> {
        let handed = self.handed_out.filter(|handed| handed.number == number)?;
        self.handed_out = None;
        // While nobody has said what the store holds, the store will say it.
        if !handed.stale && self.held.is_some() {
            self.chain = handed.chain;
            // `take` refuses the last number there is.
            self.wanted = number.saturating_add(1);
            self.pass_held();
        }
        Some(handed.pin)
    }

    /// The caller has everything that the lever is known to have.
    pub(super) fn is_caught_up(&self) -> bool {
        self.is_standing() && self.handed_out.is_none() && self.lever_next <= self.wanted
    }

    /// … and the lever knows it.
    pub(super) fn is_settled(&self) -> bool {
        self.is_caught_up() && self.lever_floor >= self.wanted
    }

    /// A pull, when one is due.
    pub(super) fn due_pull(&self, now_ms: u64) -> Option<Pull> {
        let missing = self.handed_out.is_none() && self.lever_next > self.wanted;
        let waited = |asked: &Asked<Pull>| {
            asked.what.from != self.wanted || now_ms.saturating_sub(asked.sent_ms) >= RETRY_MS
        };
        (self.is_standing() && missing && self.pull.as_ref().is_none_or(waited))
            .then_some(Pull { from: self.wanted, count_max: PULL_COUNT_MAX })
    }

    /// A commit, when one is due.
    pub(super) fn due_commit(&self, now_ms: u64) -> Option<Commit> {
        let (_, epoch) = self.log?;
        let chain = self.chain.filter(|_| self.is_standing())?;
        let behind = self.lever_floor < self.wanted && self.wanted > self.floor;
        let waited = |asked: &Asked<Commit>| {
            asked.what.floor != self.wanted || now_ms.saturating_sub(asked.sent_ms) >= RETRY_MS
        };
        (behind && self.commit.as_ref().is_none_or(waited)).then_some(Commit {
            epoch,
            floor: self.wanted,
            chain,
        })
    }

    /// The pull went out.
    pub(super) fn pulled(&mut self, now_ms: u64, sequence: u16, pull: Pull) {
        self.pull = Some(Asked { sequence, sent_ms: now_ms, what: pull });
    }

    /// The commit went out.
    pub(super) fn committed(&mut self, now_ms: u64, sequence: u16, commit: Commit) {
        self.commit = Some(Asked { sequence, sent_ms: now_ms, what: commit });
    }

    /// Takes a reply to the last pull or commit.
    pub(super) fn answered(&mut self, to: u16, result: CommandResult) -> Answer {
        let floor = self.commit.filter(|asked| asked.sequence == to).map(|asked| asked.what.floor);
        let Some(floor) = floor else {
            return match self.pull {
                Some(asked) if asked.sequence == to && result == CommandResult::Done => {
                    Answer::Fine
                }
                Some(asked) if asked.sequence == to => Answer::Disagreement,
                _ => Answer::NotMine,
            };
        };
        match result {
            CommandResult::Done => {
                self.lever_floor = self.lever_floor.max(floor);
                (self.in_doubt, self.mismatch_count) = (false, 0);
                Answer::Fine
            }
            CommandResult::CommitMismatch => {
                self.in_doubt = true;
                self.mismatch_count += 1;
                if self.mismatch_count >= MISMATCH_COUNT_MAX {
                    self.disagrees_at = Some(self.floor);
                }
                Answer::Disagreement
            }
            CommandResult::NoSuchRecord => Answer::Disagreement,
            // Not between pins, or its flash has to be tidied first: the commit is sent again.
            _ => Answer::Fine,
        }
    }
}
