//! Lever, line, host and disk under one clock.

use pinhold::link::session::{ArrivedRecord, Choice, Event, HeldRecord, Plan, Session};
use pinhold_lever::{Identity, Input, Lamp, Lever, Signals};
use pinhold_protocol::content::Content;
use pinhold_protocol::frame::WIRE_BYTES_MAX;
use pinhold_protocol::message::{Commit, FromHost, Greet};
use pinhold_protocol::record::{Pin, StringPosition, decode_record};
use pinhold_protocol::units::{Angle, DeviceTime};
use pinhold_sim::rng::Random;

use super::{Bug, Trial, Verdict};
use crate::line::Line;
use crate::replayed::{MOTION, Recording, Technician};
use crate::tap::{Tap, commands};

/// Device identity of the trial's lever.
const DEVICE: u64 = 0x51;
/// Survey the host runs.
const SURVEY: u64 = 77;

/// A row of the model disk.
#[derive(Clone, Debug)]
struct Row {
    number: u32,
    checksum: u32,
    bytes: Vec<u8>,
    pin: Pin,
}

/// The host: a session while it is alive, and a disk that outlives it.
struct Host {
    disk: Vec<Row>,
    session: Option<Session>,
    /// Record being written, and when the disk has it.
    writing: Option<(u64, ArrivedRecord)>,
    /// When a dead host is started again.
    starts_ms: u64,
    commits_sent: Vec<u32>,
    damaged_frames: u32,
    finished: bool,
}

/// All of a trial.
pub(super) struct World {
    trial: Trial,
    random: Random,
    now_ms: u64,
    quiet: bool,
    lever: Lever,
    signals: Signals,
    technician: Technician,
    line: Line,
    plugs_ms: Option<u64>,
    tap: Tap,
    /// Bytes on their way from the tap to the line.
    to_line: Vec<u8>,
    host: Host,
    shown_accepted: usize,
    verdict: Verdict,
}

/// Pin number `index` of the trial.
fn pin(index: usize) -> Pin {
    let strings = [StringPosition::Left, StringPosition::Centre, StringPosition::Right];
    Pin { note: 28 + (index / 3) as u8, string: strings[index % 3] }
}

impl World {
    pub(super) fn new(trial: Trial, recording: &Recording) -> World {
        let root = Random::new(trial.seed);
        let identity = Identity { device: DEVICE, epoch: 1, sample_period_ns: 1_000_000 };
        let mut lever = Lever::new(identity);
        let signals = lever.step(DeviceTime::from_microseconds(0), Input::Motion(MOTION));
        World {
            trial,
            random: root.fork("world"),
            now_ms: 0,
            quiet: false,
            lever,
            signals,
            technician: Technician::new(recording.clone(), trial.seed),
            line: Line::new(trial.faults, trial.seed),
            plugs_ms: None,
            tap: Tap::new((DEVICE, 1), trial.meddling, root.fork("tap")),
            to_line: Vec::new(),
            host: Host {
                disk: Vec::new(),
                session: None,
                writing: None,
                starts_ms: 0,
                commits_sent: Vec::new(),
                damaged_frames: 0,
                finished: false,
            },
            shown_accepted: 0,
            verdict: Verdict::default(),
        }
    }

    /// Virtual time, milliseconds.
    pub(super) fn now_ms(&self) -> u64 {
        self.now_ms
    }

    /// Whether the host says that the survey is over.
    pub(super) fn is_finished(&self) -> bool {
        self.host.finished
    }

    fn now(&self) -> DeviceTime {
        DeviceTime::from_microseconds(self.now_ms * 1000)
    }

    fn has(&self, bug: Bug) -> bool {
        self.trial.bug == Some(bug)
    }

    /// Lets a millisecond pass.
    pub(super) fn millisecond(&mut self) {
        self.now_ms += 1;
        if !self.quiet && self.now_ms >= self.trial.faults_until_ms {
            self.quiet = true;
            self.line.make_quiet();
            self.plug();
        }
        self.trouble();
        self.lever_side();
        self.host_side();
    }

    /// Cables pulled and plugged in, hosts killed.
    fn trouble(&mut self) {
        if self.plugs_ms.is_some_and(|plugs_ms| self.now_ms >= plugs_ms) {
            self.line.plug();
            self.plug();
        }
        let happens =
            |random: &mut Random, mean_ms: u64| mean_ms > 0 && random.chance(1.0 / mean_ms as f64);
        if self.quiet {
            return;
        }
        if self.plugs_ms.is_none() && happens(&mut self.random, self.trial.pull_ms) {
            self.line.pull();
            self.verdict.pulls += 1;
            self.plugs_ms = Some(self.now_ms + self.random.whole(50, 9_000) as u64);
        }
        if self.host.session.is_some() && happens(&mut self.random, self.trial.kill_ms) {
            self.kill();
        }
    }

    /// The cable is in again; half the time the host notices, as with a port that comes and goes.
    fn plug(&mut self) {
        let was_out = self.plugs_ms.take().is_some();
        let notices = self.random.chance(0.5);
        if let Some(session) = self.host.session.as_mut().filter(|_| was_out && notices) {
            session.reconnected(self.now_ms);
        }
    }

    fn kill(&mut self) {
        if let Some(session) = self.host.session.take() {
            self.host.damaged_frames += session.counters().error_count();
        }
        self.host.writing = None;
        self.host.starts_ms = self.now_ms + self.random.whole(100, 4_000) as u64;
        self.host.commits_sent.clear();
        self.verdict.kills += 1;
    }

    fn lever_side(&mut self) {
        let (now, now_us) = (self.now(), self.now_ms * 1000);
        let mut arrived = Vec::new();
        self.line.arrived_at_lever(now_us, &mut arrived);
        if !arrived.is_empty() {
            self.signals = self.lever.step(now, Input::Received(&arrived));
        }
        let sample = self.technician.next_sample(&self.signals);
        let had_pin = self.signals.pin.is_some();
        self.signals = self.lever.step(now, Input::Sample(sample));
        if had_pin && self.signals.pin.is_none() && self.signals.lamp == Lamp::Accepted {
            self.shown_accepted += 1;
        }
        // A board's sender holds some bytes; the rest waits in the core.
        let count = 256usize.saturating_sub(self.to_line.len()).min(self.lever.pending().len());
        if count > 0 {
            let (tap, lever) = (&mut self.tap, &mut self.lever);
            tap.pass(&lever.pending()[..count], &mut self.to_line);
            lever.sent(count);
        }
        let taken = self.line.send_to_host(now_us, &self.to_line);
        self.to_line.drain(..taken);
        if let Some(number) = self.tap.fresh.take()
            && self.has(Bug::LeverForgetsOnSending)
            && self.tap.records.len() > number as usize
        {
            self.forget_on_lever(number + 1);
        }
        if (self.tap.committed_floor as usize) > self.host.disk.len() {
            self.verdict.commit_ahead += 1;
        }
    }

    /// A commit from nowhere.
    fn forget_on_lever(&mut self, floor: u32) {
        let commit = Commit { epoch: 1, floor, chain: self.tap.chain_below(floor) };
        let mut frame = [0u8; WIRE_BYTES_MAX];
        let len = FromHost::Commit(commit).encode(0, &mut frame).expect("a commit fits");
        let now = self.now();
        self.signals = self.lever.step(now, Input::Received(&frame[..len]));
    }

    fn host_side(&mut self) {
        let now_us = self.now_ms * 1000;
        let mut arrived = Vec::new();
        self.line.arrived_at_host(now_us, &mut arrived);
        if self.host.session.is_none() {
            // What comes while nobody listens is gone.
            if self.now_ms >= self.host.starts_ms {
                self.host.session = Some(Session::new(self.plan(), self.now_ms));
            }
            return;
        }
        self.finish_writing();
        let Some(session) = self.host.session.as_mut() else { return };
        session.receive(self.now_ms, &arrived);
        while let Some(event) = self.host.session.as_mut().and_then(Session::next_event) {
            match event {
                Event::Record(record) => self.take_record(*record),
                Event::Greeted(_) | Event::LeverChanged(_) => self.say_what_is_held(),
                _ => {}
            }
        }
        let Some(session) = self.host.session.as_mut() else { return };
        session.tick(self.now_ms);
        let outgoing = session.take_outgoing();
        self.host.finished = session.is_finished();
        if !outgoing.is_empty() {
            let outgoing = self.filtered(outgoing);
            self.line.send_to_lever(now_us, &outgoing);
        }
    }

    fn plan(&self) -> Plan {
        let on_disk = |pin: Pin| self.host.disk.iter().any(|row| row.pin == pin);
        let keep_all = self.has(Bug::PlanNotReduced);
        let pins = (0..self.trial.pin_count)
            .map(pin)
            .filter(|pin| keep_all || !on_disk(*pin))
            .map(|pin| Choice { pin, unstrung: false })
            .collect();
        Plan {
            survey: SURVEY,
            pins,
            slip: Angle::from_microradians(8_727),
            calendar_ms: 0,
            stream_samples: self.trial.stream_samples,
            zero_first: true,
        }
    }

    /// A record has come: it is written, sooner or later, unless the host dies.
    fn take_record(&mut self, record: ArrivedRecord) {
        let (before, after) = match self.quiet {
            true => (0.0, 0.0),
            false => (self.trial.kill_before_disk, self.trial.kill_after_disk),
        };
        let number = record.number;
        let slow_ms = if self.random.chance(0.3) { self.random.whole(1, 900) as u64 } else { 0 };
        if self.has(Bug::CommitBeforeDisk)
            && let Some(session) = self.host.session.as_mut()
        {
            session.kept(self.now_ms, number);
        }
        if self.random.chance(before) {
            self.kill();
            return;
        }
        if self.random.chance(after) {
            self.store(record);
            self.kill();
            return;
        }
        self.host.writing = Some((self.now_ms + slow_ms, record));
        if slow_ms == 0 {
            self.finish_writing();
        }
    }

    fn say_what_is_held(&mut self) {
        let row =
            |row: &Row| HeldRecord { number: row.number, checksum: row.checksum, lost_chain: None };
        // A store that does not know its records does not say them either.
        let knows = !self.has(Bug::StoredTwice);
        let held: Vec<HeldRecord> = self.host.disk.iter().filter(|_| knows).map(row).collect();
        if let Some(session) = self.host.session.as_mut() {
            session.held(self.now_ms, &held);
        }
    }

    fn finish_writing(&mut self) {
        let Some((due_ms, record)) = self.host.writing.take() else { return };
        if due_ms > self.now_ms {
            self.host.writing = Some((due_ms, record));
            return;
        }
        let number = record.number;
        let dropped = self.has(Bug::KeptNotStored) && number % 5 == 3;
        if !dropped {
            self.store(record);
        }
        if let Some(session) = self.host.session.as_mut() {
            session.kept(self.now_ms, number);
        }
    }

    /// What the store does: a record it has is left as it is.
    fn store(&mut self, record: ArrivedRecord) {
        let known = self.host.disk.iter().any(|row| row.number == record.number);
        if known && !self.has(Bug::StoredTwice) {
            return;
        }
        let Some(Content::Reading(reading)) = record.content else { return };
        let row = Row {
            number: record.number,
            checksum: record.checksum,
            bytes: record.bytes,
            pin: reading.pin,
        };
        let place = if self.has(Bug::StoredInReverse) { 0 } else { self.host.disk.len() };
        self.host.disk.insert(place, row);
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
                    let again = self.host.commits_sent.contains(&commit.floor);
                    self.host.commits_sent.push(commit.floor);
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

    /// Asks the lever where its log stands, past the line.
    fn ask_lever(&mut self) {
        let greet = FromHost::Greet(Greet { protocol_min: 1, protocol_max: 1, calendar_ms: 0 });
        let mut frame = [0u8; WIRE_BYTES_MAX];
        let len = greet.encode(0, &mut frame).expect("a greeting fits");
        // Twice: the first makes room if there is none.
        for _ in 0..2 {
            let now = self.now();
            self.lever.step(now, Input::Received(&frame[..len]));
            self.tap.pass(self.lever.pending(), &mut Vec::new());
            self.lever.sent(self.lever.pending().len());
        }
    }

    /// Compares disk and lever.
    pub(super) fn judge(mut self) -> Verdict {
        self.ask_lever();
        // All that the lever accepted must be known here, sent or not.
        let accepted = self.tap.next_record as usize;
        let disk = &self.host.disk;
        let count = |number: u32| disk.iter().filter(|row| row.number == number).count();
        let numbers = 0..self.tap.next_record;
        let wrong = |row: &&Row| {
            self.tap
                .records
                .get(&row.number)
                .is_none_or(|truth| truth.checksum != row.checksum || truth.bytes != row.bytes)
        };
        let pins: Vec<Pin> = self
            .tap
            .records
            .values()
            .filter_map(|truth| decode_record(&truth.bytes).ok())
            .map(|reading| reading.pin)
            .collect();
        let readings_of = |wanted: Pin| pins.iter().filter(|pin| **pin == wanted).count();
        let verdict = &mut self.verdict;
        verdict.accepted = accepted;
        verdict.lost = numbers.clone().filter(|number| count(*number) == 0).count();
        verdict.doubled = numbers.filter(|number| count(*number) > 1).count();
        verdict.reordered = disk.windows(2).filter(|pair| pair[0].number > pair[1].number).count();
        verdict.altered = disk.iter().filter(wrong).count();
        verdict.read_twice =
            (0..self.trial.pin_count).filter(|index| readings_of(pin(*index)) > 1).count();
        verdict.unrecorded = self.shown_accepted.abs_diff(accepted);
        verdict.unfinished = !self.host.finished
            || self.tap.committed_floor as usize != accepted
            || (0..self.trial.pin_count).any(|index| readings_of(pin(index)) == 0);
        verdict.damaged_frames = self.host.damaged_frames
            + self.host.session.as_ref().map_or(0, |session| session.counters().error_count());
        verdict.elapsed_ms = self.now_ms;
        self.verdict
    }
}
