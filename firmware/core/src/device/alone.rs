//! A survey without a host: the plan worked through by two buttons.
//!
//! | press | does |
//! |---|---|
//! | GO | begin (with the zero, held still off the pin); then: next pin |
//! | GO, long | pass this pin over: a record says so |
//! | BACK | this pin once more; where nothing was done on it yet, the one accepted before |
//! | BACK, long | the pin before in the plan |
//! | both, long | take the zero anew |
//!
//! After an accepted reading the lever goes on by itself, to the next pin that is neither read nor
//! skipped. Without a plan it takes readings that nobody has assigned yet, one after the other;
//! then GO, long, ends them. While a host runs a survey the buttons only wake the lever.
//!
//! Deliberately not here: what a press is ([`crate::buttons`]); how a reading comes about
//! ([`super::pin`]).
//!
//! Invariant: no press does anything to a pin that is turning.

use pinhold_protocol::content::{Skip, UNASSIGNED, encode_skip};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::Phase;
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX};
use pinhold_protocol::units::DeviceTime;

use super::zero::Asker;
use super::{Lever, SLIP_DEFAULT_RAD};
use crate::beeper::Beeps;
use crate::buttons::Press;
use crate::log::{RecordBuffer, RecordLog};

/// Times a zero is tried before the lever gives up: half a minute of a hand that is not still.
const ZERO_TRY_COUNT_MAX: u8 = 60;

/// A survey run by the buttons.
#[derive(Clone, Copy, Debug)]
pub(super) struct Alone {
    /// Place of the pin in hand, or of the one that comes once the zero is taken; 0 without a
    /// plan.
    pub(super) place: u16,
    /// Place of the pin accepted just before.
    accepted: Option<u16>,
    /// Zeros tried for want of stillness.
    zero_try_count: u8,
    /// The pin in hand is done: go on at the next sample.
    goes_on: bool,
}

impl<L: RecordLog> Lever<L> {
    /// A button was pressed.
    pub(super) fn press(&mut self, now: DeviceTime, press: Press) {
        let was_asleep = self.asleep;
        self.wake(now);
        // The press that wakes does nothing else, and a host's survey is the host's.
        if was_asleep || self.survey != 0 || self.is_moving() {
            return;
        }
        self.told_full = false;
        match (press, self.alone) {
            (Press::BothLong, _) => self.zero_again(),
            // While the zero is taken, only holding still helps.
            _ if self.zeroing.is_some() => {}
            (Press::Go, None) => self.begin(now, 0),
            (Press::Back, None) => self.begin(now, 1),
            (Press::BackLong, None) => self.begin(now, 2),
            (Press::Go, Some(alone)) => self.next(now, alone),
            (Press::GoLong, Some(alone)) => self.pass_over(now, alone),
            (Press::Back, Some(alone)) => self.once_more(now, alone),
            (Press::BackLong, Some(alone)) => self.before(now, alone),
            (Press::GoLong, None) => self.refuse(CommandResult::NoSurvey),
        }
    }

    /// Begins: at the pin that is next, or so many done pins back from it.
    fn begin(&mut self, now: DeviceTime, back_count: u16) {
        let place = if self.plan.is_none() && back_count == 0 {
            0
        } else if let Some(last) = self.progress.last.filter(|_| back_count > 0) {
            last.saturating_sub(back_count - 1)
        } else if back_count > 0 {
            self.refuse(CommandResult::NoSurvey);
            return;
        } else {
            let next = self.progress.next_undone(self.progress.position, self.plan.pin_count());
            let Some(next) = next else {
                // All are done; BACK takes them up again.
                self.refuse(CommandResult::NoSurvey);
                return;
            };
            next
        };
        self.alone = Some(Alone { place, accepted: None, zero_try_count: 0, goes_on: false });
        if self.needs_zero || !self.zeroed {
            if let Err(refusal) = self.check_fit_to_zero().and_then(|()| self.check_room()) {
                self.refuse(refusal);
            } else {
                self.begin_zero(Asker::Buttons);
            }
        } else {
            self.take_up(now, place, true);
        }
    }

    /// Takes up the pin at `place`.
    fn take_up(&mut self, now: DeviceTime, place: u16, needs_lift: bool) {
        let pin = self.plan.pin(place).unwrap_or(UNASSIGNED);
        let slip_rad = self.plan.slip.radians_f32();
        self.slip_asked_rad = if self.plan.is_none() { SLIP_DEFAULT_RAD } else { slip_rad };
        if let Some(alone) = self.alone.as_mut() {
            alone.place = place;
            alone.goes_on = false;
        }
        self.progress.position = place;
        // What was in hand is given up: nothing of it is kept, and the log may erase.
        self.put_down();
        if let Err(refusal) = self.check_room() {
            self.refuse(refusal);
            return;
        }
        if let Err(refusal) = self.begin_pin(now, pin, false, needs_lift) {
            self.refuse(refusal);
        }
    }

    /// Between two pins: on to the next one, if the buttons run a survey.
    pub(super) fn go_on(&mut self, now: DeviceTime) {
        let Some(alone) = self.alone.filter(|alone| alone.goes_on) else { return };
        if self.zeroing.is_some() {
            return;
        }
        if self.plan.is_none() {
            self.take_up(now, 0, true);
            return;
        }
        let behind = alone.place.saturating_add(1);
        match self.progress.next_undone(behind, self.plan.pin_count()) {
            Some(place) => self.take_up(now, place, true),
            None => {
                self.progress.position = self.plan.pin_count();
                self.alone = None;
            }
        }
    }

    /// GO: the next pin, whether or not it was done; at the end the first that was not.
    fn next(&mut self, now: DeviceTime, alone: Alone) {
        let behind = alone.place.saturating_add(1);
        if self.plan.is_none() || behind < self.plan.pin_count() {
            self.set_accepted(None);
            let place = if self.plan.is_none() { 0 } else { behind };
            self.take_up(now, place, true);
            return;
        }
        match self.progress.next_undone(0, self.plan.pin_count()) {
            Some(place) if place != alone.place => {
                self.set_accepted(None);
                self.take_up(now, place, true);
            }
            _ => self.beep(Beeps::Two),
        }
    }

    /// BACK: strokes in hand are given up and the pin begun anew; where there are none, the pin
    /// accepted before is read again.
    fn once_more(&mut self, now: DeviceTime, alone: Alone) {
        let begun =
            self.repeat_asked || self.session.as_ref().is_some_and(|session| session.has_strokes());
        match alone.accepted {
            _ if begun => self.ask_repeat(),
            Some(place) => {
                self.set_accepted(None);
                self.take_up(now, place, false);
            }
            // The reading before is kept, and a second one would shift the run by a pin.
            None if self.plan.is_none() => self.beep(Beeps::Two),
            None => self.take_up(now, alone.place, false),
        }
    }

    /// BACK, long: the pin before.
    fn before(&mut self, now: DeviceTime, alone: Alone) {
        match alone.place.checked_sub(1) {
            Some(place) => {
                self.set_accepted(None);
                self.take_up(now, place, true);
            }
            None => self.beep(Beeps::Two),
        }
    }

    /// GO, long: a record says that the pin was passed over.
    fn pass_over(&mut self, now: DeviceTime, alone: Alone) {
        let Some(pin) = self.plan.pin(alone.place) else {
            // Readings without a plan end so.
            self.stop_alone();
            self.beep(Beeps::One);
            return;
        };
        let skip = Skip { survey: self.plan.name, pin, at: now };
        let mut record: RecordBuffer = [0; RECORD_BYTES_MAX];
        let byte_count = encode_skip(&skip, &mut record).unwrap_or(0);
        if self.keep_record(record.get(..byte_count).unwrap_or(&[])).is_none() {
            self.refuse(CommandResult::LogFull);
            return;
        }
        self.progress.note_skipped(alone.place);
        self.put_down();
        self.finish_alone(None);
        self.beep(Beeps::One);
    }

    /// Both, long: what is in hand is put down and the zero taken; then the survey goes on.
    fn zero_again(&mut self) {
        if let Err(refusal) = self.check_fit_to_zero() {
            self.refuse(refusal);
            return;
        }
        self.put_down();
        if let Some(alone) = self.alone.as_mut() {
            alone.zero_try_count = 0;
        }
        self.begin_zero(Asker::Buttons);
    }

    /// A zero asked for by the buttons was taken.
    pub(super) fn zero_taken(&mut self, now: DeviceTime) {
        self.needs_zero = false;
        self.beep(Beeps::One);
        match self.alone {
            Some(alone) if alone.goes_on => self.go_on(now),
            Some(alone) => self.take_up(now, alone.place, true),
            None => {}
        }
    }

    /// A zero asked for by the buttons failed.
    pub(super) fn zero_failed(&mut self, result: CommandResult) {
        let try_count = self.alone.map_or(ZERO_TRY_COUNT_MAX, |alone| alone.zero_try_count);
        if result == CommandResult::NotAtRest && try_count < ZERO_TRY_COUNT_MAX {
            if let Some(alone) = self.alone.as_mut() {
                alone.zero_try_count += 1;
            }
            self.begin_zero(Asker::Buttons);
        } else {
            self.refuse(result);
        }
    }

    /// The pin in hand is done; `accepted` where it was read.
    pub(super) fn finish_alone(&mut self, accepted: Option<Pin>) {
        self.room_wanted = true;
        let has_plan = !self.plan.is_none();
        if let Some(alone) = self.alone.as_mut() {
            alone.goes_on = true;
            alone.accepted = accepted.filter(|_| has_plan).map(|_| alone.place);
        }
    }

    fn set_accepted(&mut self, accepted: Option<u16>) {
        if let Some(alone) = self.alone.as_mut() {
            alone.accepted = accepted;
        }
    }

    /// No pin in hand any more.
    pub(super) fn put_down(&mut self) {
        self.session = None;
        self.phase = Phase::Idle;
        self.repeat_asked = false;
    }

    /// The buttons' survey ends or pauses; GO takes it up where it was.
    pub(super) fn stop_alone(&mut self) {
        if self.zeroing.as_ref().is_some_and(|zeroing| zeroing.is_for_buttons()) {
            self.zeroing = None;
            self.phase = Phase::Idle;
        }
        if self.alone.take().is_some() {
            self.put_down();
        }
    }

    /// Says no, and why.
    fn refuse(&mut self, refusal: CommandResult) {
        self.stop_alone();
        self.phase = Phase::Idle;
        // Faults and the battery are shown while they stand.
        self.told_full = refusal == CommandResult::LogFull;
        self.fault_shown = self.fault_lamp();
        self.beep(Beeps::Two);
    }

    /// Room for a reading and its trace.
    fn check_room(&mut self) -> Result<(), CommandResult> {
        // Mostly there is room already.
        self.log.make_room();
        if self.log.has_room_for_pin() { Ok(()) } else { Err(CommandResult::LogFull) }
    }
}
