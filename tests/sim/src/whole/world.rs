//! Levers, line and hosts under one clock, and the judgement at the end.

use pinhold_lever::log::flash::care::Care;
use pinhold_protocol::content::{Content, decode_content};
use pinhold_protocol::record::{Pin, record_checksum};
use pinhold_sim::rng::Random;

use super::host::{Errand, Host, Row};
use super::lever::LeverSide;
use super::{Conditions, Verdict};
use crate::line::Line;
use crate::replayed::Recording;
use crate::ruler::SAMPLE_PERIOD_NS;

/// Milliseconds of a step: one sample.
const STEP_MS: u64 = SAMPLE_PERIOD_NS as u64 / 1_000_000;
/// Milliseconds between two looks of the host at its clock when nothing arrives.
const HOST_TICK_MS: u64 = 5 * STEP_MS;

/// Where the history is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Part {
    /// The hosts survey.
    Surveys,
    /// What is left on this lever is fetched.
    Fetch(usize),
    Over,
}

/// All of a history.
pub(super) struct World<const WORD: usize, const PAGE: usize, C> {
    conditions: Conditions,
    random: Random,
    now_ms: u64,
    quiet: bool,
    part: Part,
    levers: Vec<LeverSide<WORD, PAGE, C>>,
    plugged: usize,
    line: Line,
    /// When the cable is plugged in again.
    plugs_ms: Option<u64>,
    hosts: Vec<Host>,
    active: usize,
    verdict: Verdict,
}

impl<const WORD: usize, const PAGE: usize, C: Care + Clone> World<WORD, PAGE, C> {
    pub(super) fn new(conditions: Conditions) -> Self {
        let root = Random::new(conditions.seed);
        let lever = |index: usize| {
            let random = root.fork(["first lever", "second lever"][index % 2]);
            LeverSide::new(0x51 + index as u64, &conditions, Recording::drawn(), random)
        };
        let host = |index: usize| {
            let random = root.fork(["first host", "second host"][index % 2]);
            Host::new(index, conditions, random)
        };
        World {
            conditions,
            random: root.fork("world"),
            now_ms: 0,
            quiet: false,
            part: Part::Surveys,
            levers: (0..conditions.lever_count).map(lever).collect(),
            plugged: 0,
            line: Line::new(conditions.faults, conditions.seed),
            plugs_ms: None,
            hosts: (0..conditions.host_count).map(host).collect(),
            active: 0,
            verdict: Verdict::default(),
        }
    }

    /// Virtual time, milliseconds.
    pub(super) fn now_ms(&self) -> u64 {
        self.now_ms
    }

    /// Whether everything that was to be done is done.
    pub(super) fn is_over(&self) -> bool {
        self.part == Part::Over
    }

    /// Lets a sample's time pass.
    pub(super) fn step(&mut self) {
        self.now_ms += STEP_MS;
        if !self.quiet && self.now_ms >= self.conditions.faults_until_ms {
            self.make_quiet();
        }
        if !self.quiet {
            self.trouble();
        }
        self.lever_side();
        self.host_side();
    }

    fn make_quiet(&mut self) {
        self.quiet = true;
        self.line.make_quiet();
        for lever in &mut self.levers {
            lever.make_quiet(self.now_ms);
        }
        for host in &mut self.hosts {
            host.make_quiet(self.now_ms);
        }
        if self.plugs_ms.take().is_some() {
            self.hosts[self.active].reconnected(self.now_ms);
        }
    }

    fn happens(&mut self, mean_ms: u64) -> bool {
        mean_ms > 0 && self.random.chance(STEP_MS as f64 / mean_ms as f64)
    }

    /// Cables pulled and plugged in, hosts killed, brown-outs.
    fn trouble(&mut self) {
        if self.plugs_ms.is_some_and(|plugs_ms| self.now_ms >= plugs_ms) {
            self.plugs_ms = None;
            self.line.plug();
            if self.part == Part::Surveys {
                self.plugged = self.random.whole(0, self.levers.len() - 1);
            }
            // Half the time the host notices, as with a port that comes and goes.
            if self.random.chance(0.5) {
                self.hosts[self.active].reconnected(self.now_ms);
            }
        }
        if self.happens(self.conditions.pull_ms) && self.plugs_ms.is_none() {
            self.line.pull();
            self.verdict.tally.pulls += 1;
            self.plugs_ms = Some(self.now_ms + self.random.whole(50, 9_000) as u64);
        }
        if self.happens(self.conditions.kill_ms) && self.hosts[self.active].is_running() {
            self.verdict.tally.kills_elsewhere += 1;
            self.hosts[self.active].stop(self.now_ms, &mut self.verdict);
            self.take_turns();
        }
        if self.happens(self.conditions.cut_ms) {
            self.levers[self.plugged].brown_out(self.now_ms, &mut self.verdict.tally);
        }
    }

    /// Any host that is not done yet may be the next at the cable.
    fn take_turns(&mut self) {
        if self.part != Part::Surveys || self.hosts[self.active].is_running() {
            return;
        }
        let waiting: Vec<usize> =
            (0..self.hosts.len()).filter(|index| !self.hosts[*index].has_surveyed).collect();
        match waiting[..] {
            [] => self.fetch_from(0),
            _ => self.active = waiting[self.random.whole(0, waiting.len() - 1)],
        }
    }

    /// The first host fetches what is left on a lever.
    fn fetch_from(&mut self, lever: usize) {
        self.active = 0;
        if lever >= self.levers.len() {
            self.part = Part::Over;
            return;
        }
        self.part = Part::Fetch(lever);
        if self.plugged != lever {
            self.line.pull();
            self.plugged = lever;
            if self.plugs_ms.is_none() {
                self.line.plug();
            }
        }
    }

    /// The host has fetched all there was when it began. A pin in hand may have been accepted
    /// since.
    fn end_fetch(&mut self, lever: usize) {
        let (side, started_ms) = (&self.levers[lever], self.hosts[self.active].started_ms);
        let missed_count = side
            .accepted
            .iter()
            .filter(|(_, accepted)| accepted.at_ms < started_ms)
            .filter(|((epoch, number), _)| self.row((side.device, *epoch), *number).is_none())
            .count();
        self.verdict.not_fetched += missed_count as u64;
        if !self.levers[lever].may_hold_more() {
            self.fetch_from(lever + 1);
        }
    }

    fn lever_side(&mut self) {
        let now_us = self.now_ms * 1000;
        let mut arrived = Vec::new();
        self.line.arrived_at_lever(now_us, &mut arrived);
        let lever = &mut self.levers[self.plugged];
        let cut_again = if self.quiet { 0.0 } else { self.conditions.cut_again };
        lever.step(self.now_ms, &arrived, cut_again, &mut self.verdict);
        let taken = self.line.send_to_host(now_us, lever.bytes_for_line());
        lever.bytes_for_line().drain(..taken);
        if let Some((epoch, numbers)) = lever.newly_committed() {
            let log = (lever.device, epoch);
            let on_no_disk = |number: &u32| self.row(log, *number).is_none();
            self.verdict.commit_ahead += numbers.filter(on_no_disk).count() as u64;
        }
    }

    /// A record's row on any disk; the true one first.
    fn row(&self, log: (u64, u32), number: u32) -> Option<&Row> {
        let rows = || {
            self.hosts
                .iter()
                .flat_map(|host| &host.disk)
                .filter(|row| (row.device, row.epoch, row.number) == (log.0, log.1, number))
        };
        rows().find(|row| !row.is_loss()).or_else(|| rows().next())
    }

    fn host_side(&mut self) {
        let now_us = self.now_ms * 1000;
        let mut arrived = Vec::new();
        self.line.arrived_at_host(now_us, &mut arrived);
        let host = &mut self.hosts[self.active];
        if !host.is_running() {
            let errand = if self.part == Part::Surveys { Errand::Survey } else { Errand::Fetch };
            host.start_if_due(self.now_ms, errand);
            return;
        }
        if arrived.is_empty() && !self.now_ms.is_multiple_of(HOST_TICK_MS) {
            return;
        }
        let mut outgoing = Vec::new();
        let done = host.step(self.now_ms, &arrived, &mut outgoing, &mut self.verdict);
        self.line.send_to_lever(now_us, &outgoing);
        match (done, self.part) {
            (Some(_), Part::Fetch(lever)) => self.end_fetch(lever),
            _ => self.take_turns(),
        }
    }

    /// Compares disks and levers.
    pub(super) fn judge(mut self) -> Verdict {
        let mut verdict = self.verdict;
        verdict.unfinished += u64::from(self.part != Part::Over);
        for lever in &mut self.levers {
            verdict.offences += lever.offence_count();
            verdict.uncommitted += lever.uncommitted_count();
        }
        for host in &self.hosts {
            let (doubled, reordered) = host.disorder();
            verdict.doubled += doubled;
            verdict.reordered += reordered;
            verdict.unread += host.unread().len() as u64;
            for row in &host.disk {
                verdict.altered += u64::from(!self.is_true(row));
                verdict.tally.losses += u64::from(row.is_loss());
            }
        }
        for lever in &self.levers {
            let mut pins: Vec<(u64, Pin)> = Vec::new();
            for ((epoch, number), accepted) in &lever.accepted {
                let kept = self.row((lever.device, *epoch), *number);
                verdict.lost += u64::from(kept.is_none_or(Row::is_loss));
                let bytes = accepted.bytes.as_deref().unwrap_or(&[]);
                if let Ok(Content::Reading(reading)) = decode_content(bytes) {
                    pins.push((reading.survey, reading.pin));
                }
            }
            // A second lever cannot know what the first one holds, nor a host what another one has
            // committed and the lever has erased since.
            if self.levers.len() == 1 && self.hosts.len() == 1 {
                let count = pins.len();
                pins.sort_unstable();
                pins.dedup();
                verdict.read_twice += (count - pins.len()) as u64;
            }
            verdict.tally.accepted += lever.accepted.len() as u64;
        }
        verdict.tally.histories = 1;
        verdict.tally.elapsed_ms = self.now_ms;
        verdict.tally.unasked = self.unasked_count();
        verdict
    }

    fn lever(&self, device: u64) -> Option<&LeverSide<WORD, PAGE, C>> {
        self.levers.iter().find(|lever| lever.device == device)
    }

    /// Whether a row is what its lever wrote under that number, or says that it is lost.
    fn is_true(&self, row: &Row) -> bool {
        let Some(lever) = self.lever(row.device) else { return false };
        if record_checksum(row.epoch, row.number, &row.bytes) != row.checksum {
            return false;
        }
        if row.is_loss() {
            return true;
        }
        let accepted = lever.accepted.get(&(row.epoch, row.number));
        let is_as_accepted = accepted.is_none_or(|accepted| {
            accepted.checksum == row.checksum
                && accepted.bytes.as_ref().is_none_or(|bytes| *bytes == row.bytes)
        });
        is_as_accepted && lever.written.contains(&(row.epoch, row.number, row.checksum))
    }

    /// True records on the first disk that no lamp ever announced.
    fn unasked_count(&self) -> u64 {
        let is_unasked = |row: &&Row| {
            let lever = self.lever(row.device);
            !row.is_loss()
                && lever.is_some_and(|l| !l.accepted.contains_key(&(row.epoch, row.number)))
        };
        self.hosts[0].disk.iter().filter(is_unasked).count() as u64
    }
}
