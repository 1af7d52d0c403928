//! What outlives the power: calibration, plan, and how far the plan is.
//!
//! How far it is stands in the log itself, as readings and skips of that plan. Deliberately not
//! here: the bytes ([`crate::settings`]).
//!
//! Invariant: settings that this firmware cannot read are not overwritten; those of its own
//! version that are broken give way once the host takes the plan off.

use pinhold_protocol::content::peek_pin;
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{PlanPart, PlanState, StoreCalibration, plan_checksum};
use pinhold_protocol::record::{Pin, RECORD_BYTES_MAX};

use super::Lever;
use crate::calibration::Calibration;
use crate::log::{RecordBuffer, RecordLog, SETTINGS_BYTES_MAX};
use crate::plan::{Incoming, Plan, Progress};
use crate::settings::{self, SettingsBuffer, SettingsError};

/// Records looked through for what was done of a plan: more than a log of 512 KiB holds.
const RECORD_COUNT_MAX: u32 = 4_096;

/// What became of the settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum SettingsState {
    /// Read, or there are none.
    Fine {
        /// A calibration is kept.
        has_calibration: bool,
    },
    /// Written by a later firmware.
    Newer,
    /// Not to be understood.
    Broken,
}

impl<L: RecordLog> Lever<L> {
    /// At power-up: takes what is kept, once.
    pub(super) fn recall(&mut self) {
        if !core::mem::replace(&mut self.recalled, true) {
            self.recall_settings();
        }
    }

    // Never inlined: what it needs of the stack is needed once.
    #[inline(never)]
    fn recall_settings(&mut self) {
        let mut buffer: SettingsBuffer = [0; SETTINGS_BYTES_MAX];
        let Some(byte_count) = self.log.settings(&mut buffer) else { return };
        match settings::decode(buffer.get(..byte_count).unwrap_or(&[])) {
            Ok(kept) => {
                if let Some(calibration) = kept.calibration {
                    self.use_calibration(calibration);
                }
                self.plan = kept.plan;
                self.find_progress();
            }
            Err(SettingsError::Newer) => self.settings = SettingsState::Newer,
            Err(SettingsError::Broken) => self.settings = SettingsState::Broken,
        }
    }

    fn use_calibration(&mut self, calibration: Calibration) {
        self.settings = SettingsState::Fine { has_calibration: true };
        self.reference = calibration;
        self.pipeline.calibration = calibration;
    }

    /// Keeps a calibration made on the bench, from now on and at every power-up; unless the answer
    /// is [`CommandResult::Done`] nothing is changed. The zero must be taken anew.
    pub fn keep_calibration(&mut self, calibration: &Calibration) -> CommandResult {
        self.recall();
        if self.session.is_some() || self.zeroing.is_some() || self.alone.is_some() {
            return CommandResult::PinMoving;
        }
        let SettingsState::Fine { has_calibration } = self.settings else {
            return CommandResult::NotFit;
        };
        if has_calibration && *calibration == self.reference {
            // Its answer was lost.
            return CommandResult::Done;
        }
        if calibration.number == 0
            || (has_calibration && calibration.number == self.reference.number)
            || !settings::is_possible(calibration)
        {
            return CommandResult::OutOfRange;
        }
        if !self.store(Some(calibration), None) {
            return CommandResult::NotFit;
        }
        self.use_calibration(*calibration);
        self.zeroed = false;
        self.needs_zero = true;
        CommandResult::Done
    }

    /// The host stores a calibration.
    pub(super) fn take_calibration(&mut self, command: &StoreCalibration) -> CommandResult {
        self.keep_calibration(&Calibration {
            number: command.number,
            zero_code_q8: command.zero_code_q8,
            span_nm_per_count: command.span_newton_metres_per_count_f32(),
            weight_moment_nm: command.weight_moment.newton_metres_f32(),
        })
    }

    /// Writes calibration and plan: the plan that came, or else the one that is.
    fn store(&mut self, calibration: Option<&Calibration>, plan: Option<&Plan>) -> bool {
        let mut buffer: SettingsBuffer = [0; SETTINGS_BYTES_MAX];
        let byte_count = settings::encode(calibration, plan.unwrap_or(&self.plan), &mut buffer);
        self.log.store_settings(buffer.get(..byte_count).unwrap_or(&[]))
    }

    /// Looks through the log for what was done of the plan; goes on behind the last of it.
    fn find_progress(&mut self) {
        self.progress = Progress::default();
        if self.plan.is_none() {
            return;
        }
        let mut buffer: RecordBuffer = [0; RECORD_BYTES_MAX];
        let next = self.log.next_number();
        let from = self.log.oldest_number().max(next.saturating_sub(RECORD_COUNT_MAX));
        for number in from..next {
            let Some(stored) = self.log.get(number, &mut buffer) else { continue };
            let bytes = buffer.get(..stored.byte_count).unwrap_or(&[]);
            let Some((survey, pin, is_skip)) = peek_pin(bytes) else { continue };
            match self.plan.place(pin).filter(|_| survey == self.plan.name) {
                Some(place) if is_skip => self.progress.note_skipped(place),
                Some(place) => self.progress.note_read(place),
                None => {}
            }
        }
        let pin_count = self.plan.pin_count();
        let behind = self.progress.last.map_or(0, |last| last.saturating_add(1));
        self.progress.position = self.progress.next_undone(behind, pin_count).unwrap_or(pin_count);
    }

    /// A reading of this plan's `pin` is kept.
    pub(super) fn note_read(&mut self, pin: Pin) {
        if let Some(place) = self.plan.place(pin) {
            self.progress.note_read(place);
        }
    }

    /// The host stores a plan, part by part, or takes it off.
    pub(super) fn take_plan_part(&mut self, part: &PlanPart) -> CommandResult {
        if self.session.is_some() || self.zeroing.is_some() {
            return CommandResult::PinMoving;
        }
        if self.settings == SettingsState::Newer {
            return CommandResult::NotFit;
        }
        if part.pin_count == 0 {
            return self.remove_plan(part);
        }
        if self.settings == SettingsState::Broken {
            return CommandResult::NotFit;
        }
        // Taken apart for the while, so that the parts can be looked at beside everything else.
        let mut incoming = core::mem::replace(&mut self.incoming, Incoming::NOTHING);
        let result = match incoming.take(part) {
            Err(refusal) => refusal,
            Ok(None) => CommandResult::Done,
            Ok(Some(plan)) => self.take_plan(plan),
        };
        if result != CommandResult::NotFit {
            self.incoming = incoming;
        }
        result
    }

    fn take_plan(&mut self, plan: &Plan) -> CommandResult {
        if *plan == self.plan {
            return CommandResult::Done;
        }
        let calibration = self.kept_calibration();
        if !self.store(calibration.as_ref(), Some(plan)) {
            return CommandResult::NotFit;
        }
        self.plan = plan.clone();
        self.stop_alone();
        self.find_progress();
        CommandResult::Done
    }

    fn remove_plan(&mut self, part: &PlanPart) -> CommandResult {
        if part.first != 0 || part.pins.iter().any(|pin| pin.is_some()) {
            return CommandResult::OutOfRange;
        }
        let calibration = self.kept_calibration();
        let broken = self.settings == SettingsState::Broken;
        let nothing_to_do = self.plan.is_none() && !broken;
        if !nothing_to_do && !self.store(calibration.as_ref(), Some(&Plan::NONE)) {
            return CommandResult::NotFit;
        }
        if broken {
            self.settings = SettingsState::Fine { has_calibration: false };
        }
        self.stop_alone();
        self.plan = Plan::NONE;
        self.incoming = Incoming::NOTHING;
        self.progress = Progress::default();
        CommandResult::Done
    }

    /// The calibration kept, without the zeros taken since.
    fn kept_calibration(&self) -> Option<Calibration> {
        let has = self.settings == (SettingsState::Fine { has_calibration: true });
        has.then_some(self.reference)
    }

    /// Where the plan stands.
    pub(super) fn plan_state(&self) -> PlanState {
        PlanState {
            plan: self.plan.name,
            pin_count: self.plan.pin_count(),
            checksum: if self.plan.is_none() { 0 } else { plan_checksum(self.plan.pins()) },
            position: self.progress.position,
            read_count: self.progress.read_count(),
            skipped_count: self.progress.skipped_count(),
            running: self.alone.is_some() && !self.plan.is_none(),
        }
    }
}
