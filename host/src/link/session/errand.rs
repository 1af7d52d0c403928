//! What a conversation is for, and where it stands in that.
//!
//! Deliberately not here: greeting, retries and records, which every errand shares.

use pinhold_protocol::error::CommandResult;
use pinhold_protocol::message::{
    FromHost, PLAN_PART_PIN_COUNT, PLAN_PIN_COUNT_MAX, PlanPart, PlanState, plan_checksum,
};
use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Angle;

/// Times a plan is begun again from its first part before giving up.
const LOAD_RESTART_COUNT_MAX: u32 = 8;
/// Refusals of a part of a plan, half a second apart, before giving up.
const LOAD_REFUSAL_COUNT_MAX: u32 = 40;

/// A plan to be stored on the lever.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeverPlan {
    name: u64,
    slip: Angle,
    pins: Vec<Pin>,
}

/// Why a plan cannot be stored on a lever.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LeverPlanError {
    /// Its name is 0.
    #[error("a plan on the lever needs a name other than 0")]
    Unnamed,
    /// More pins than a lever stores.
    #[error("{count} pins are more than the {PLAN_PIN_COUNT_MAX} a lever stores")]
    TooLong {
        /// Its pins.
        count: usize,
    },
    /// A pin stands in it twice.
    #[error("note {} {} stands in the plan twice", .pin.note, .pin.string.letter())]
    Twice {
        /// The pin.
        pin: Pin,
    },
    /// A pin that no piano has.
    #[error("there is no note {}", .pin.note)]
    Unknown {
        /// The pin.
        pin: Pin,
    },
}

impl LeverPlan {
    /// The plan of this name, which the readings will carry as their survey. Without pins it takes
    /// the stored plan off the lever.
    ///
    /// # Errors
    /// [`LeverPlanError`] for what a lever would refuse.
    pub fn new(name: u64, slip: Angle, pins: Vec<Pin>) -> Result<LeverPlan, LeverPlanError> {
        if name == 0 {
            return Err(LeverPlanError::Unnamed);
        }
        if pins.len() > PLAN_PIN_COUNT_MAX {
            return Err(LeverPlanError::TooLong { count: pins.len() });
        }
        for (index, pin) in pins.iter().enumerate() {
            if !pin.is_known() {
                return Err(LeverPlanError::Unknown { pin: *pin });
            }
            if pins[..index].contains(pin) {
                return Err(LeverPlanError::Twice { pin: *pin });
            }
        }
        Ok(LeverPlan { name, slip, pins })
    }

    fn part_count(&self) -> usize {
        self.pins.len().div_ceil(PLAN_PART_PIN_COUNT).max(1)
    }

    fn part(&self, index: usize) -> PlanPart {
        let first = index * PLAN_PART_PIN_COUNT;
        let mut pins = [None; PLAN_PART_PIN_COUNT];
        for (slot, pin) in pins.iter_mut().zip(self.pins.iter().skip(first)) {
            *slot = Some(*pin);
        }
        PlanPart {
            plan: self.name,
            slip: self.slip,
            pin_count: self.pins.len() as u16,
            first: first as u16,
            pins,
        }
    }

    /// Whether the lever holds this plan.
    fn is_stored(&self, state: &PlanState) -> bool {
        if self.pins.is_empty() {
            return state.plan == 0 || state.pin_count == 0;
        }
        (state.plan, usize::from(state.pin_count)) == (self.name, self.pins.len())
            && state.checksum == plan_checksum(self.pins.iter().copied())
    }
}

/// A plan on its way to the lever.
#[derive(Debug)]
pub(super) struct Load {
    plan: LeverPlan,
    /// Parts the lever has.
    part: usize,
    restart_count: u32,
    refusal_count: u32,
}

/// What follows from an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// The next command, at once.
    Next,
    /// The same again, later.
    Later,
    /// All is done.
    Done,
    /// It will not come to anything.
    GiveUp,
}

impl Load {
    pub(super) fn new(plan: LeverPlan) -> Load {
        Load { plan, part: 0, restart_count: 0, refusal_count: 0 }
    }

    /// The lever may have forgotten the parts it had: it was greeted anew.
    pub(super) fn begin_again(&mut self) {
        self.part = 0;
    }

    pub(super) fn command(&self) -> FromHost {
        if self.part < self.plan.part_count() {
            FromHost::PlanPart(self.plan.part(self.part))
        } else {
            FromHost::AskPlan(())
        }
    }

    /// Takes what became of a part, or that the lever does not know the question for its plan.
    pub(super) fn answered(&mut self, result: CommandResult) -> Step {
        match result {
            CommandResult::Done => {
                self.part += 1;
                Step::Next
            }
            CommandResult::OutOfRange => self.restart(),
            _ if self.refusal_count >= LOAD_REFUSAL_COUNT_MAX => Step::GiveUp,
            _ => {
                self.refusal_count += 1;
                Step::Later
            }
        }
    }

    /// Takes what the lever says of its plan.
    pub(super) fn check(&mut self, state: &PlanState) -> Option<Step> {
        if self.part < self.plan.part_count() {
            return None;
        }
        Some(if self.plan.is_stored(state) { Step::Done } else { self.restart() })
    }

    fn restart(&mut self) -> Step {
        if self.restart_count >= LOAD_RESTART_COUNT_MAX {
            return Step::GiveUp;
        }
        self.restart_count += 1;
        self.part = 0;
        Step::Later
    }
}
