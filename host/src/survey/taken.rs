//! What was taken so far in a survey: its stored readings as the analysis takes them.
//!
//! Deliberately not here: what they mean.

use crate::analysis::input::{Condition, PinReading};
use crate::analysis::readings::{
    Drift, LeverRead, MeasurementProfile, mean_pitch_cents, pin_readings_and_drift,
};
use crate::instrument::Instrument;
use crate::lever_reads::Levers;
use crate::store::{Store, StoreError, Survey, SurveyReadings};

/// A survey's readings, as stored and as the analysis takes them.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    /// As stored.
    pub stored: SurveyReadings,
    /// What each pin says, one entry a pin.
    pub readings: Vec<PinReading>,
    /// What is known beside torque, the instrument's trial pins with it; mean pitch taken from the
    /// readings where nobody gave it.
    pub condition: Condition,
    /// What pins read more than once say of the lever.
    pub drift: Option<Drift>,
}

/// What was taken so far.
///
/// # Errors
/// When the store fails.
pub fn taken(store: &Store, instrument: &Instrument, survey: &Survey) -> Result<Taken, StoreError> {
    let stored = store.readings_of(survey.id)?;
    let mut condition = store.condition(survey.id)?;
    condition.pitch_cents = condition.pitch_cents.or(mean_pitch_cents(&stored.hand));
    condition.trials = store.counting_trials(survey.instrument)?;
    let levers = Levers::behind(store, &stored.lever)?;
    let lever: Vec<LeverRead> =
        stored.lever.iter().filter_map(|reading| levers.read(reading, survey)).collect();
    let profile = MeasurementProfile::default();
    let cents = condition.pitch_cents;
    let (readings, drift) =
        pin_readings_and_drift(instrument, &lever, &stored.hand, cents, &profile);
    Ok(Taken { stored, readings, condition, drift })
}
