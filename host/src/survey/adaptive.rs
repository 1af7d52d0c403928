//! A survey that grows: after each run of pins the next is proposed, stored in the plan and read.
//!
//! The plan in the store is what the survey set out to read so far; a run is appended before it is
//! handed out, so a crash loses nothing: what is left is read first, and the next proposal starts
//! from what is on the disk. Deliberately not here: how pins are chosen (`analysis::sampling`).

use pinhold_protocol::record::Pin;

use super::progress::{Progress, progress};
use super::taken::taken;
use crate::analysis::sampling::{
    Asked, Settled, Step, append_with_checks, check_pin, close_with_check, propose,
};
use crate::analysis::{BOOTSTRAP_SEED, Profile};
use crate::instrument::Instrument;
use crate::store::{Store, StoreError, Survey};

/// A survey that grows.
#[derive(Clone, Copy, Debug)]
pub struct Adaptive<'a> {
    /// The instrument.
    pub instrument: &'a Instrument,
    /// The survey.
    pub survey: &'a Survey,
    /// Thresholds its verdict is judged by.
    pub profile: &'a Profile,
    /// Confidence at which it stops, 0.5–0.999.
    pub confidence: f64,
}

/// How a survey went on.
#[derive(Clone, Debug, PartialEq)]
pub struct Grown {
    /// What was proposed.
    pub step: Step,
    /// Pins that were added to the plan, the check pin where it was due; none ends the survey.
    pub pins: Vec<Pin>,
}

impl Grown {
    /// How it was settled, where it is over.
    pub fn settled(&self) -> Option<&Settled> {
        match &self.step {
            Step::Settled(settled) if self.pins.is_empty() => Some(settled),
            _ => None,
        }
    }
}

impl Adaptive<'_> {
    /// Chooses what comes next and stores it in the plan.
    ///
    /// # Errors
    /// When the store fails.
    pub fn go_on(&self, store: &mut Store) -> Result<Grown, StoreError> {
        let taken = taken(store, self.instrument, self.survey)?;
        let (planned, passed_over) = match progress(store, self.survey)? {
            Some(Progress { plan, skipped, .. }) => (plan.pins, skipped),
            None => (Vec::new(), Vec::new()),
        };
        let step = propose(&Asked {
            instrument: self.instrument,
            readings: &taken.readings,
            condition: &taken.condition,
            profile: self.profile,
            confidence: self.confidence,
            at: planned.last().copied(),
            passed_over: &passed_over,
            seed: BOOTSTRAP_SEED,
        });
        let mut plan = planned.clone();
        match (&step, check_pin(self.instrument, &passed_over)) {
            (Step::Read(proposal), Some(check)) => {
                append_with_checks(&mut plan, &proposal.pins, check);
            }
            (Step::Read(proposal), None) => plan.extend(&proposal.pins),
            (Step::Settled(_), Some(check)) => close_with_check(&mut plan, check),
            (Step::Settled(_), None) => {}
        }
        let pins = plan.split_off(planned.len());
        if !pins.is_empty() {
            store.append_to_plan(self.survey.id, &pins)?;
        }
        Ok(Grown { step, pins })
    }
}
