//! A lever whose power can go at any moment, and what it was seen to accept.
//!
//! What counts is what the operator sees: the lamp says accepted while the power is good.

use std::collections::{BTreeMap, BTreeSet};

use pinhold_flashmodel::flash::{Flash, HeadWritten, SUBSETS};
use pinhold_lever::log::flash::care::Care;
use pinhold_lever::log::{FlashLog, RecordBuffer, RecordLog};
use pinhold_lever::{Identity, Input, Lamp, Lever, Signals};
use pinhold_protocol::record::RECORD_BYTES_MAX;
use pinhold_protocol::units::DeviceTime;
use pinhold_sim::rng::Random;

use super::{Tally, Verdict};
use crate::replayed::{MOTION, Recording, Technician};
use crate::ruler::SAMPLE_PERIOD_NS;

/// Pages of records a log can keep track of here.
const PAGES: usize = 30;
/// Bytes a board's sender holds; the rest waits in the core.
const SENDER_BYTES: usize = 256;

type Log<const WORD: usize, const PAGE: usize, C> = FlashLog<Flash<WORD, PAGE>, PAGES, C>;

/// A record as it was accepted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Accepted {
    pub(super) checksum: u32,
    /// Unknown where a bug had it shown too early.
    pub(super) bytes: Option<Vec<u8>>,
    pub(super) at_ms: u64,
}

/// Lever, flash and the hand on it.
pub(super) struct LeverSide<const WORD: usize, const PAGE: usize, C> {
    pub(super) device: u64,
    /// `None` while the power is off.
    lever: Option<Lever<Log<WORD, PAGE, C>>>,
    /// The flash while the power is off.
    chip: Option<Flash<WORD, PAGE>>,
    /// When power comes back.
    on_ms: u64,
    /// Power was said to be failing until then.
    warned_until_ms: Option<u64>,
    signals: Signals,
    technician: Technician,
    random: Random,
    to_line: Vec<u8>,
    /// The log has taken a record since power-up.
    recovered: bool,
    shows_too_early: bool,
    ignores_warning: bool,
    /// The flash at power-up, where a bug sets it back to that.
    set_back_to: Option<Flash<WORD, PAGE>>,
    sets_back: bool,
    /// By epoch and number.
    pub(super) accepted: BTreeMap<(u32, u32), Accepted>,
    /// Checksum of every record whose head was sent to the flash, by epoch and number.
    pub(super) written: BTreeSet<(u32, u32, u32)>,
    /// Epoch and floor last seen.
    floor: (u32, u32),
    /// The floor found at power-up: it may be weak, until a commit says it again.
    floor_found: u32,
    /// Epoch and highest floor that a commit was answered with.
    floor_firm: (u32, u32),
}

fn time(now_ms: u64) -> DeviceTime {
    DeviceTime::from_microseconds(now_ms * 1000)
}

impl<const WORD: usize, const PAGE: usize, C: Care + Clone> LeverSide<WORD, PAGE, C> {
    pub(super) fn new(
        device: u64,
        conditions: &super::Conditions,
        recording: Recording,
        mut random: Random,
    ) -> Self {
        let mut chip = Flash::new(conditions.page_count, conditions.torn, random.bits());
        if random.chance(0.1) {
            chip.fill_with_junk();
        }
        let signals = Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false };
        let mut side = LeverSide {
            device,
            lever: None,
            chip: Some(chip),
            on_ms: 0,
            warned_until_ms: None,
            signals,
            technician: Technician::new(recording, random.bits()),
            random,
            to_line: Vec::new(),
            recovered: false,
            shows_too_early: conditions.bug == Some(super::Bug::AcceptedBeforeFlash),
            ignores_warning: conditions.bug == Some(super::Bug::WarningIgnored),
            set_back_to: None,
            sets_back: conditions.bug == Some(super::Bug::FlashSetBack),
            accepted: BTreeMap::new(),
            written: BTreeSet::new(),
            floor: (0, 0),
            floor_found: 0,
            floor_firm: (0, 0),
        };
        side.switch_on(0);
        side
    }

    fn switch_on(&mut self, now_ms: u64) {
        let Some(mut chip) = self.chip.take() else { return };
        chip.power_up();
        self.set_back_to = self.sets_back.then(|| chip.clone());
        let epoch = self.random.bits() as u32 >> 1;
        let identity = Identity { device: self.device, epoch, sample_period_ns: SAMPLE_PERIOD_NS };
        let log = FlashLog::mount(chip, self.device, epoch);
        let mut lever = Lever::with_log(identity, log);
        self.signals = lever.step(time(now_ms), Input::Motion(MOTION));
        self.lever = Some(lever);
        self.recovered = false;
    }

    /// Power is gone: what is in RAM is lost, and all that was to be sent.
    fn switch_off(&mut self, now_ms: u64) {
        let Some(mut lever) = self.lever.take() else { return };
        let old = self.set_back_to.take().filter(|_| self.random.chance(0.5));
        self.chip = Some(old.unwrap_or_else(|| lever.log_mut().flash_mut().clone()));
        self.on_ms = now_ms + self.random.whole(20, 2_000) as u64;
        self.warned_until_ms = None;
        self.signals = Signals { lamp: Lamp::Idle, beep: false, pin: None, asleep: false };
        self.technician.lift();
        self.to_line.clear();
    }

    fn flash(&mut self) -> Option<&mut Flash<WORD, PAGE>> {
        self.lever.as_mut().map(|lever| lever.log_mut().flash_mut())
    }

    /// Lets power go: at once, at one of the next words or erases, or after a warning.
    pub(super) fn brown_out(&mut self, now_ms: u64, tally: &mut Tally) {
        if self.lever.is_none() {
            return;
        }
        match self.random.whole(0, 9) {
            0 => {
                tally.cuts_elsewhere += 1;
                tally.cuts_in_recovery += u64::from(!self.recovered);
                self.switch_off(now_ms);
            }
            1..=2 => self.warn(now_ms, tally),
            _ => self.arm(),
        }
    }

    /// Power goes in the middle of one of the next words or erases.
    pub(super) fn arm(&mut self) {
        let reach = [3, 30, 300][self.random.whole(0, 2)] / WORD as u64 + 2;
        let count = self.random.bits() % reach;
        let subset = SUBSETS[self.random.whole(0, SUBSETS.len() - 1)];
        if let Some(flash) = self.flash() {
            flash.cut_after(count, subset);
        }
    }

    /// The board's comparator says that power is about to fail.
    fn warn(&mut self, now_ms: u64, tally: &mut Tally) {
        tally.warnings += 1;
        self.warned_until_ms = Some(now_ms + self.random.whole(4, 4_000) as u64);
        let heeded = !self.ignores_warning;
        if let Some(lever) = self.lever.as_mut() {
            lever.log_mut().set_power_failing(heeded);
            lever.log_mut().flash_mut().warned = true;
        }
    }

    /// The end of a warning: power goes, or does not after all.
    fn end_warning(&mut self, now_ms: u64, tally: &mut Tally) {
        self.warned_until_ms = None;
        if self.random.chance(0.5) {
            tally.cuts_elsewhere += 1;
            tally.cuts_in_recovery += u64::from(!self.recovered);
            self.switch_off(now_ms);
        } else if let Some(lever) = self.lever.as_mut() {
            lever.log_mut().set_power_failing(false);
            lever.log_mut().flash_mut().warned = false;
        }
    }

    /// From now on power is good.
    pub(super) fn make_quiet(&mut self, now_ms: u64) {
        self.on_ms = self.on_ms.min(now_ms + 20);
        if let Some(lever) = self.lever.as_mut() {
            lever.log_mut().set_power_failing(false);
            lever.log_mut().flash_mut().warned = false;
            lever.log_mut().flash_mut().cancel_cut();
        }
        self.warned_until_ms = None;
    }

    /// One sample's time with these bytes from the line.
    pub(super) fn step(
        &mut self,
        now_ms: u64,
        received: &[u8],
        cut_again: f64,
        verdict: &mut Verdict,
    ) {
        if self.lever.is_none() && now_ms >= self.on_ms {
            self.switch_on(now_ms);
            self.check_floor_at_power_up(verdict);
            if self.random.chance(cut_again) {
                self.arm();
            }
        }
        if self.warned_until_ms.is_some_and(|until_ms| now_ms >= until_ms) {
            self.end_warning(now_ms, &mut verdict.tally);
        }
        let Some(lever) = self.lever.as_mut() else { return };
        lever.log_mut().flash_mut().pin_turning = self.signals.lamp == Lamp::Moving;
        if !received.is_empty() {
            self.signals = lever.step(time(now_ms), Input::Received(received));
        }
        let had_pin = self.signals.pin.is_some();
        let sample = self.technician.next_sample(&self.signals);
        self.signals = lever.step(time(now_ms), Input::Sample(sample));
        let is_shown = had_pin && self.signals.pin.is_none() && self.signals.lamp == Lamp::Accepted;
        let flash = lever.log_mut().flash_mut();
        let heads = flash.take_heads();
        for head in &heads {
            self.written.insert((head.epoch, head.number, head.checksum));
        }
        if !flash.is_powered() {
            self.power_went(now_ms, verdict, &heads);
        } else {
            if is_shown {
                self.note_accepted(now_ms);
            }
            self.hand_to_sender();
        }
    }

    fn power_went(&mut self, now_ms: u64, verdict: &mut Verdict, heads: &[HeadWritten]) {
        let erasing = self.flash().is_some_and(|flash| flash.was_cut_erasing());
        let tally = &mut verdict.tally;
        let cuts = if erasing { &mut tally.cuts_in_erase } else { &mut tally.cuts_in_word };
        *cuts += 1;
        tally.cuts_in_recovery += u64::from(!self.recovered);
        if let (true, Some(head)) = (self.shows_too_early, heads.last()) {
            let shown = Accepted { checksum: head.checksum, bytes: None, at_ms: now_ms };
            self.accepted.entry((head.epoch, head.number)).or_insert(shown);
        }
        self.switch_off(now_ms);
    }

    fn note_accepted(&mut self, now_ms: u64) {
        let Some(lever) = self.lever.as_mut() else { return };
        // A copy, for looking may change how weak bits read.
        let mut log = lever.log_mut().clone();
        let number = log.next_number() - 1;
        let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
        let accepted = match log.get(number, &mut buffer) {
            Some(stored) => Accepted {
                checksum: stored.checksum,
                bytes: Some(buffer[..stored.byte_count].to_vec()),
                at_ms: now_ms,
            },
            // Nothing that a disk could hold: it will be found lost.
            None => Accepted { checksum: 0, bytes: Some(Vec::new()), at_ms: now_ms },
        };
        self.accepted.insert((log.epoch(), number), accepted);
        self.recovered = true;
    }

    fn hand_to_sender(&mut self) {
        let Some(lever) = self.lever.as_mut() else { return };
        let count = SENDER_BYTES.saturating_sub(self.to_line.len()).min(lever.pending().len());
        if count > 0 {
            self.to_line.extend_from_slice(&lever.pending()[..count]);
            lever.sent(count);
        }
    }

    /// Bytes on their way to the line.
    pub(super) fn bytes_for_line(&mut self) -> &mut Vec<u8> {
        &mut self.to_line
    }

    /// Epoch and committed floor, while the power is on.
    fn committed(&mut self) -> Option<(u32, u32)> {
        let log = self.lever.as_mut()?.log_mut();
        Some((log.epoch(), log.committed().0))
    }

    /// Epoch and numbers taken for committed since this was last asked.
    pub(super) fn newly_committed(&mut self) -> Option<(u32, std::ops::Range<u32>)> {
        let now = self.committed().filter(|now| *now != self.floor)?;
        let from = if now.0 == self.floor.0 { self.floor.1 } else { 0 };
        self.floor = now;
        if now.1 > self.floor_found {
            self.floor_firm = now;
        }
        Some((now.0, from..now.1))
    }

    fn check_floor_at_power_up(&mut self, verdict: &mut Verdict) {
        let Some((epoch, floor)) = self.committed() else { return };
        self.floor_found = floor;
        let (firm_epoch, firm) = self.floor_firm;
        let is_other_log = self.accepted.keys().any(|(accepted_in, _)| *accepted_in != epoch);
        verdict.floor_back += u64::from(is_other_log || (epoch == firm_epoch && floor < firm));
    }

    /// Whether a fetch that has just ended may have left something: a pin in hand may have been
    /// accepted since.
    pub(super) fn may_hold_more(&mut self) -> bool {
        self.lever.is_none() || self.uncommitted_count() > 0
    }

    /// Records that the log does not know to be kept; switches a lever on that lies about without
    /// power.
    pub(super) fn uncommitted_count(&mut self) -> u64 {
        self.switch_on(self.on_ms);
        let Some(lever) = self.lever.as_mut() else { return 1 };
        let log = lever.log_mut();
        u64::from(log.next_number().saturating_sub(log.committed().0))
    }

    /// What was done to the flash that must never be done.
    pub(super) fn offence_count(&mut self) -> u64 {
        let in_use = self.flash().map_or(0, |flash| flash.offences().len());
        (in_use + self.chip.as_ref().map_or(0, |chip| chip.offences().len())) as u64
    }
}
