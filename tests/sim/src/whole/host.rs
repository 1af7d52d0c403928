//! A host: a session while it is alive, and a disk that outlives it.

use pinhold::link::session::{ArrivedRecord, Choice, Event, HeldRecord, Plan, Session};
use pinhold_protocol::content::Content;
use pinhold_protocol::lost::decode_lost;
use pinhold_protocol::message::FromHost;
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_protocol::units::Angle;
use pinhold_sim::rng::Random;

use super::{Bug, Conditions, Verdict};
use crate::tap::commands;

/// Survey of the first host; the others follow.
const SURVEY: u64 = 77;

/// A row of the model disk.
#[derive(Clone, Debug)]
pub(super) struct Row {
    pub(super) device: u64,
    pub(super) epoch: u32,
    pub(super) number: u32,
    pub(super) checksum: u32,
    pub(super) bytes: Vec<u8>,
    /// Chain value of a loss told for this number, if one was told last.
    lost_chain: Option<u32>,
    /// The pin it settles, where it is a reading.
    pub(super) reading: Option<(u64, Pin)>,
    /// It came by a fetch, which fills in what others committed before.
    fetched: bool,
}

impl Row {
    fn key(&self) -> (u64, u32, u32) {
        (self.device, self.epoch, self.number)
    }

    /// Whether it says that a record is lost.
    pub(super) fn is_loss(&self) -> bool {
        decode_lost(&self.bytes).is_ok()
    }
}

/// What a session is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Errand {
    Survey,
    Fetch,
}

/// The host.
pub(super) struct Host {
    conditions: Conditions,
    pub(super) survey: u64,
    random: Random,
    pub(super) disk: Vec<Row>,
    session: Option<(Errand, Session)>,
    /// Record being written, and when the disk has it.
    writing: Option<(u64, ArrivedRecord)>,
    /// When it is started again.
    starts_ms: u64,
    /// When its session was begun.
    pub(super) started_ms: u64,
    commits_sent: Vec<u32>,
    pub(super) has_surveyed: bool,
    quiet: bool,
}

/// Pin number `index` of the survey.
fn pin(index: usize) -> Pin {
    let strings = [StringPosition::Left, StringPosition::Centre, StringPosition::Right];
    Pin { note: 28 + (index / 3) as u8, string: strings[index % 3] }
}

impl Host {
    pub(super) fn new(index: usize, conditions: Conditions, random: Random) -> Host {
        Host {
            conditions,
            survey: SURVEY + index as u64,
            random,
            disk: Vec::new(),
            session: None,
            writing: None,
            starts_ms: 0,
            started_ms: 0,
            commits_sent: Vec::new(),
            has_surveyed: false,
            quiet: false,
        }
    }

    fn has(&self, bug: Bug) -> bool {
        self.conditions.bug == Some(bug)
    }

    pub(super) fn is_running(&self) -> bool {
        self.session.is_some()
    }

    /// From now on it does not die any more.
    pub(super) fn make_quiet(&mut self, now_ms: u64) {
        self.quiet = true;
        self.starts_ms = self.starts_ms.min(now_ms);
    }

    /// It is started `after_ms` from now.
    pub(super) fn start_later(&mut self, now_ms: u64, after_ms: u64) {
        self.starts_ms = now_ms + after_ms;
    }

    pub(super) fn reconnected(&mut self, now_ms: u64) {
        if let Some((_, session)) = self.session.as_mut() {
            session.reconnected(now_ms);
        }
    }

    /// The process is gone; the disk stays.
    pub(super) fn stop(&mut self, now_ms: u64, verdict: &mut Verdict) {
        if let Some((_, session)) = self.session.take() {
            verdict.tally.damaged_frames += u64::from(session.counters().error_count());
        }
        self.writing = None;
        self.commits_sent.clear();
        let after_ms = self.random.whole(100, 4_000) as u64;
        self.start_later(now_ms, after_ms);
    }

    /// Pins of the survey without a reading on the disk.
    pub(super) fn unread(&self) -> Vec<Pin> {
        let on_disk =
            |pin: Pin| self.disk.iter().any(|row| row.reading == Some((self.survey, pin)));
        (0..self.conditions.pin_count).map(pin).filter(|pin| !on_disk(*pin)).collect()
    }

    /// Starts a dead host when it is time; what comes while nobody listens is gone.
    pub(super) fn start_if_due(&mut self, now_ms: u64, errand: Errand) {
        if self.session.is_some() || now_ms < self.starts_ms {
            return;
        }
        let errand = if !self.quiet && self.random.chance(0.1) { Errand::Fetch } else { errand };
        let session = match errand {
            Errand::Fetch => Session::fetch(0, now_ms),
            Errand::Survey => Session::new(self.plan(), now_ms),
        };
        self.session = Some((errand, session));
        self.started_ms = now_ms;
    }

    fn plan(&self) -> Plan {
        let pins = match self.has(Bug::PlanNotReduced) {
            true => (0..self.conditions.pin_count).map(pin).collect(),
            false => self.unread(),
        };
        Plan {
            survey: self.survey,
            pins: pins.into_iter().map(|pin| Choice { pin, unstrung: false }).collect(),
            slip: Angle::from_microradians(8_727),
            calendar_ms: 0,
            stream_samples: self.conditions.stream_samples,
            zero_first: true,
        }
    }

    /// Takes what arrived and says what goes to the lever; the errand that came to its end.
    pub(super) fn step(
        &mut self,
        now_ms: u64,
        arrived: &[u8],
        outgoing: &mut Vec<u8>,
        verdict: &mut Verdict,
    ) -> Option<Errand> {
        self.finish_writing(now_ms, verdict);
        let (errand, session) = self.session.as_mut()?;
        let errand = *errand;
        session.receive(now_ms, arrived);
        while let Some(event) = self.session.as_mut().and_then(|(_, s)| s.next_event()) {
            match event {
                Event::Record(record) => self.take_record(now_ms, *record, verdict),
                Event::Greeted(hello) | Event::LeverChanged(hello) => {
                    let held = self.held((hello.device, hello.epoch));
                    if let Some((_, session)) = self.session.as_mut() {
                        session.held(now_ms, &held);
                    }
                }
                Event::LogDisagrees { .. } => verdict.disagreements += 1,
                _ => {}
            }
        }
        let (_, session) = self.session.as_mut()?;
        session.tick(now_ms);
        let bytes = session.take_outgoing();
        let is_finished = session.is_finished();
        if !bytes.is_empty() {
            outgoing.extend(self.filtered(bytes));
        }
        if !is_finished {
            return None;
        }
        self.has_surveyed |= errand == Errand::Survey;
        self.stop(now_ms, verdict);
        Some(errand)
    }

    fn held(&self, log: (u64, u32)) -> Vec<HeldRecord> {
        // A store that does not know its records does not say them either.
        let knows = !self.has(Bug::StoredTwice);
        let rows = self.disk.iter().filter(|row| knows && (row.device, row.epoch) == log);
        let mut held: Vec<HeldRecord> = rows
            .map(|row| HeldRecord {
                number: row.number,
                checksum: row.checksum,
                lost_chain: row.lost_chain,
            })
            .collect();
        if let (true, Some(last)) = (self.has(Bug::HoldsTooMuch), held.last().copied()) {
            held.push(HeldRecord { number: last.number + 1, ..last });
        }
        held
    }

    /// A record has come: it is written, sooner or later, unless the host dies.
    fn take_record(&mut self, now_ms: u64, record: ArrivedRecord, verdict: &mut Verdict) {
        let (before, after) = match self.quiet {
            true => (0.0, 0.0),
            false => (self.conditions.kill_before_disk, self.conditions.kill_after_disk),
        };
        let number = record.number;
        if self.has(Bug::CommitBeforeDisk)
            && let Some((_, session)) = self.session.as_mut()
        {
            session.kept(now_ms, number);
        }
        if self.random.chance(before) {
            // What the session has not handed over yet may still get out.
            verdict.tally.kills_before_disk += 1;
            self.stop(now_ms, verdict);
            return;
        }
        if self.random.chance(after) {
            verdict.tally.kills_after_disk += 1;
            self.store(record, verdict);
            self.stop(now_ms, verdict);
            return;
        }
        let slow_ms = if self.random.chance(0.3) { self.random.whole(1, 900) as u64 } else { 0 };
        self.writing = Some((now_ms + slow_ms, record));
        self.finish_writing(now_ms, verdict);
    }

    fn finish_writing(&mut self, now_ms: u64, verdict: &mut Verdict) {
        let Some((due_ms, record)) = self.writing.take() else { return };
        if due_ms > now_ms {
            self.writing = Some((due_ms, record));
            return;
        }
        let number = record.number;
        let dropped = (self.has(Bug::KeptNotStored) && number % 5 == 3)
            || (self.has(Bug::LossDropped) && decode_lost(&record.bytes).is_ok());
        if !dropped {
            self.store(record, verdict);
        }
        if let Some((_, session)) = self.session.as_mut() {
            session.kept(now_ms, number);
        }
    }

    /// What the store does: a record it has is left as it is, a loss never takes the place of a
    /// true record, a true record takes that of a loss.
    fn store(&mut self, mut record: ArrivedRecord, verdict: &mut Verdict) {
        if self.has(Bug::DamageStored) && self.random.chance(0.2) {
            let index = self.random.whole(0, record.bytes.len() - 1);
            record.bytes[index] ^= 1 << self.random.whole(0, 7);
        }
        let reading = match &record.content {
            Some(Content::Reading(reading)) => Some((reading.survey, reading.pin)),
            _ => None,
        };
        let new = Row {
            device: record.device,
            epoch: record.epoch,
            number: record.number,
            checksum: record.checksum,
            lost_chain: decode_lost(&record.bytes).ok(),
            bytes: record.bytes,
            reading,
            fetched: matches!(self.session, Some((Errand::Fetch, _))),
        };
        let known = self.disk.iter_mut().find(|row| row.key() == new.key());
        match known {
            Some(row) if self.conditions.bug != Some(Bug::StoredTwice) => {
                row.lost_chain = new.lost_chain;
                if row.is_loss() {
                    *row = Row { fetched: row.fetched, ..new };
                } else if !new.is_loss() && row.checksum != new.checksum {
                    verdict.disagreements += 1;
                }
            }
            _ => {
                let place = if self.has(Bug::StoredInReverse) { 0 } else { self.disk.len() };
                self.disk.insert(place, new);
            }
        }
    }

    /// What a buggy host does not send.
    fn filtered(&mut self, outgoing: Vec<u8>) -> Vec<u8> {
        if !(self.has(Bug::NeverPulls) || self.has(Bug::CommitSentOnce)) {
            return outgoing;
        }
        let mut kept = Vec::new();
        for (command, bytes) in commands(&outgoing) {
            let held_back = match command {
                FromHost::Pull(_) => self.has(Bug::NeverPulls),
                FromHost::Commit(commit) if self.has(Bug::CommitSentOnce) => {
                    let again = self.commits_sent.contains(&commit.floor);
                    self.commits_sent.push(commit.floor);
                    again
                }
                _ => false,
            };
            if !held_back {
                kept.extend(bytes);
            }
        }
        kept
    }

    /// Records on the disk more than once, and behind one with a higher number.
    pub(super) fn disorder(&self) -> (u64, u64) {
        let (mut doubled, mut reordered) = (0, 0);
        for (index, row) in self.disk.iter().enumerate() {
            let before = &self.disk[..index];
            doubled += u64::from(before.iter().any(|other| other.key() == row.key()));
            let is_behind = |other: &&Row| {
                (other.device, other.epoch) == (row.device, row.epoch)
                    && other.number > row.number
                    && !row.fetched
            };
            reordered += u64::from(before.iter().any(|other| is_behind(&other)));
        }
        (doubled, reordered)
    }
}
