//! Which pins of a survey are read or passed over, and which are still to be read.
//!
//! Deliberately not here: the conversation; it is given what is left.

use std::collections::BTreeSet;

use pinhold_protocol::record::Pin;

use crate::store::{InstrumentId, Store, StoreError, StoredPlan, Survey, SurveySource};

/// A survey with a plan, and how far it has come.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// The survey.
    pub survey: Survey,
    /// Its plan.
    pub plan: StoredPlan,
    /// Pins of the plan that have a reading.
    pub read_count: usize,
    /// Pins of the plan passed over without one.
    pub skipped: Vec<Pin>,
    /// Pins of the plan that have neither, in its order.
    pub left: Vec<Pin>,
}

/// How far a survey has come; `None` when it was begun without a plan.
///
/// # Errors
/// When the store fails.
pub fn progress(store: &Store, survey: &Survey) -> Result<Option<Progress>, StoreError> {
    let Some(plan) = store.plan_of(survey.id)? else { return Ok(None) };
    let readings = store.readings_of(survey.id)?.lever;
    let read: BTreeSet<Pin> = readings.iter().filter_map(|reading| reading.pin).collect();
    let passed: BTreeSet<Pin> =
        store.skips_of(survey.uid)?.iter().map(|skip| skip.content.pin).collect();
    let is_skipped = |pin: &Pin| passed.contains(pin) && !read.contains(pin);
    Ok(Some(Progress {
        survey: survey.clone(),
        read_count: plan.pins.iter().filter(|pin| read.contains(pin)).count(),
        skipped: plan.pins.iter().copied().filter(is_skipped).collect(),
        left: plan
            .pins
            .iter()
            .copied()
            .filter(|pin| !read.contains(pin) && !passed.contains(pin))
            .collect(),
        plan,
    }))
}

/// The lever survey of an instrument begun last, when it has a plan with pins left.
///
/// # Errors
/// When the store fails.
pub fn unfinished(store: &Store, instrument: InstrumentId) -> Result<Option<Progress>, StoreError> {
    let surveys = store.surveys_of(instrument)?;
    let last = surveys.iter().rev().find(|survey| survey.source == SurveySource::Lever);
    let Some(survey) = last else { return Ok(None) };
    Ok(progress(store, survey)?.filter(|found| !found.left.is_empty()))
}
