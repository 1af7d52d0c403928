//! Which pins of a survey are read or passed over, and which are still to be read.
//!
//! Deliberately not here: the conversation; it is given what is left.

use std::collections::{BTreeMap, BTreeSet};

use pinhold_protocol::record::Pin;

use crate::store::{InstrumentId, Store, StoreError, StoredPlan, Survey, SurveySource};

/// A survey with a plan, and how far it has come.
#[derive(Clone, Debug, PartialEq)]
pub struct Progress {
    /// The survey.
    pub survey: Survey,
    /// Its plan.
    pub plan: StoredPlan,
    /// Places of the plan that have a reading.
    pub read_count: usize,
    /// Pins of the plan passed over without one.
    pub skipped: Vec<Pin>,
    /// Pins of the plan that have neither, in its order.
    pub left: Vec<Pin>,
}

/// How far a survey has come; `None` when it was begun without a plan.
///
/// A pin that stands in the plan more than once is to be read as often.
///
/// # Errors
/// When the store fails.
pub fn progress(store: &Store, survey: &Survey) -> Result<Option<Progress>, StoreError> {
    let Some(plan) = store.plan_of(survey.id)? else { return Ok(None) };
    let mut read: BTreeMap<Pin, usize> = BTreeMap::new();
    for pin in store.readings_of(survey.id)?.lever.iter().filter_map(|reading| reading.pin) {
        *read.entry(pin).or_default() += 1;
    }
    let passed: BTreeSet<Pin> =
        store.skips_of(survey.uid)?.iter().map(|skip| skip.content.pin).collect();
    let (mut read_count, mut skipped, mut left) = (0, Vec::new(), Vec::new());
    for pin in &plan.pins {
        match read.get_mut(pin) {
            Some(count) if *count > 0 => {
                *count -= 1;
                read_count += 1;
            }
            _ if passed.contains(pin) => {
                // A check pin passed over once is passed over each time.
                if !skipped.contains(pin) && !read.contains_key(pin) {
                    skipped.push(*pin);
                }
            }
            _ => left.push(*pin),
        }
    }
    Ok(Some(Progress { survey: survey.clone(), read_count, skipped, left, plan }))
}

/// The lever survey of an instrument begun last, when it has a plan with pins left.
///
/// # Errors
/// When the store fails.
pub fn unfinished(store: &Store, instrument: InstrumentId) -> Result<Option<Progress>, StoreError> {
    Ok(last_planned(store, instrument)?.filter(|found| !found.left.is_empty()))
}

/// The lever survey of an instrument begun last, when it has a plan.
///
/// # Errors
/// When the store fails.
pub fn last_planned(
    store: &Store,
    instrument: InstrumentId,
) -> Result<Option<Progress>, StoreError> {
    let surveys = store.surveys_of(instrument)?;
    let last = surveys.iter().rev().find(|survey| survey.source == SurveySource::Lever);
    last.map_or(Ok(None), |survey| progress(store, survey))
}
