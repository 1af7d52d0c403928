//! Which records the host has, which the lever has, and what follows from that.
//!
//! One record at a time is with the caller. Until the caller says that it is on the disk nothing
//! further is handed out and no commit covers it.
//!
//! Invariants: `wanted` only passes a number when the caller has said it is kept; the chain value
//! is the one behind `wanted − 1`.

use pinhold_protocol::lost::chain_behind;
use pinhold_protocol::message::{Commit, Hello, Pull, Record};
use pinhold_protocol::record::Pin;

use super::RETRY_MS;

/// Records asked for in one pull: as many as a lever with a small log holds.
const PULL_COUNT_MAX: u8 = 8;

/// A record that is with the caller.
#[derive(Clone, Copy, Debug)]
struct HandedOut {
    number: u32,
    /// Chain value behind it.
    chain: u32,
    pin: Option<Pin>,
    /// The lever has started a new log, or another host has committed past it: the caller keeps
    /// it all the same, but it says nothing about the log as it is now.
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

/// Both sides' place in the log.
#[derive(Debug, Default)]
pub(super) struct Records {
    /// Device and epoch of the log.
    log: Option<(u64, u32)>,
    wanted: u32,
    chain: u32,
    handed_out: Option<HandedOut>,
    lever_next: u32,
    lever_floor: u32,
    pull: Option<Asked<Pull>>,
    commit: Option<Asked<Commit>>,
    /// Take the lever's word for where the log stands at the next greeting.
    start_over: bool,
}

impl Records {
    /// Device and epoch of the log.
    pub(super) fn log(&self) -> Option<(u64, u32)> {
        self.log
    }

    /// First number the host does not have.
    pub(super) fn wanted(&self) -> u32 {
        self.wanted
    }

    /// Takes the lever's greeting; whether it is the same log as before.
    ///
    /// After a reconnect to the same log this side knows where it stands, unless another host has
    /// committed more in between; a new log is taken from where its last host left it.
    pub(super) fn greeted(&mut self, hello: &Hello) -> bool {
        let log = Some((hello.device, hello.epoch));
        let same = self.log == log;
        let start_over = std::mem::take(&mut self.start_over);
        if !same || start_over || hello.committed_floor > self.wanted {
            self.wanted = hello.committed_floor;
            self.chain = hello.committed_chain;
            if let Some(handed) = self.handed_out.as_mut() {
                handed.stale = true;
            }
        }
        self.log = log;
        self.lever_next = hello.next_record;
        self.lever_floor = hello.committed_floor;
        self.forget_asked();
        same
    }

    /// Commands under way got lost with the connection.
    pub(super) fn forget_asked(&mut self) {
        self.pull = None;
        self.commit = None;
    }

    /// Notes where the lever says its log stands.
    pub(super) fn heard(&mut self, next: u32, floor: u32) {
        self.lever_next = next;
        self.lever_floor = floor;
    }

    /// Whether a record with this number is to be handed out now. One from further on shows that
    /// some are missing.
    pub(super) fn wants(&mut self, number: u32) -> bool {
        let Some(next) = number.checked_add(1) else { return false };
        self.lever_next = self.lever_next.max(next);
        number == self.wanted && self.handed_out.is_none()
    }

    /// The record with this number is with the caller now; `pin` when it belongs to this survey.
    pub(super) fn hand_out(&mut self, record: &Record<'_>, pin: Option<Pin>) {
        let chain = chain_behind(self.chain, record.checksum, record.bytes);
        self.handed_out = Some(HandedOut { number: record.number, chain, pin, stale: false });
    }

    /// The caller has the record on its disk: `None` when it was not asked for, else the pin it
    /// settles in this survey, if any.
    pub(super) fn kept(&mut self, number: u32) -> Option<Option<Pin>> {
        let handed = self.handed_out.filter(|handed| handed.number == number)?;
        self.handed_out = None;
        if !handed.stale {
            self.chain = handed.chain;
            // `wants` refuses the last number there is.
            self.wanted = number.saturating_add(1);
        }
        Some(handed.pin)
    }

    /// The caller has everything that the lever is known to have.
    pub(super) fn is_caught_up(&self) -> bool {
        self.handed_out.is_none() && self.lever_next <= self.wanted
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
        (missing && self.pull.as_ref().is_none_or(waited))
            .then_some(Pull { from: self.wanted, count_max: PULL_COUNT_MAX })
    }

    /// A commit, when one is due.
    pub(super) fn due_commit(&self, now_ms: u64) -> Option<Commit> {
        let (_, epoch) = self.log?;
        let behind = self.lever_floor < self.wanted;
        let waited = |asked: &Asked<Commit>| {
            asked.what.floor != self.wanted || now_ms.saturating_sub(asked.sent_ms) >= RETRY_MS
        };
        (behind && self.commit.as_ref().is_none_or(waited)).then_some(Commit {
            epoch,
            floor: self.wanted,
            chain: self.chain,
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
    pub(super) fn answered(&mut self, to: u16, done: bool) -> Answer {
        let floor = self.commit.filter(|asked| asked.sequence == to).map(|asked| asked.what.floor);
        if floor.is_none() && self.pull.is_none_or(|asked| asked.sequence != to) {
            return Answer::NotMine;
        }
        if !done {
            return Answer::Disagreement;
        }
        if let Some(floor) = floor {
            self.lever_floor = self.lever_floor.max(floor);
        }
        Answer::Fine
    }

    /// Where the log stands is not agreed: the lever's next greeting decides. Records it still
    /// holds come again, and the disk tells those it has.
    pub(super) fn start_over(&mut self) {
        self.start_over = true;
        self.forget_asked();
    }
}
