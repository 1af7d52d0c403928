//! From what was stored (lever records, hand readings) to [`PinReading`]s, each with its budget of
//! uncertainty, its standard uncertainties and its 95 % coverage intervals.
//!
//! What a lever's budget holds is in `lever_lines`, a hand tool's in `hand`, what every reading
//! has once friction is formed (string, kind) in `combine`, the wire in its bearing in `bearing`,
//! what pins read more than once say of the lever in `drift`.
//! Terms come from the lever's calibration or class and from the classes stated in
//! [`MeasurementProfile`]. Errors that can only make a reading high are not corrected but carried
//! whole, on their own side.
//!
//! What is measured: F, the plank's friction while the foot runs; M, the moment of the speaking
//! length's tension about the pin; H = F over that moment at target pitch. Deliberately not here:
//! bands and verdicts.
//!
//! Invariant: with both directions, friction is exactly `(sharp + flat) / 2` of the torques told,
//! unless a profile sets a bearing friction to take off.

mod bearing;
mod combine;
mod drift;
mod hand;
mod lever;
mod lever_lines;
mod profile;

use std::sync::Arc;

use pinhold_protocol::record::Reading;

pub use drift::Drift;
pub use profile::{HAND_TOOL_CLASS, MeasurementProfile};

use super::input::PinReading;
use crate::calibration::mark::LeverMark;
use crate::calibration::terms::LeverTerms;
use crate::import::hand::HandReading;
use crate::instrument::Instrument;
use combine::Strung;

/// A lever's reading, with what is known of the lever behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct LeverRead {
    /// What the lever said, under the pin it counts for.
    pub reading: Reading,
    /// Terms of its calibration, else of its class.
    pub terms: Arc<LeverTerms>,
    /// Why the lever is to be doubted.
    pub marks: Vec<LeverMark>,
}

impl LeverRead {
    /// A reading of a lever of which nothing is known but its class.
    pub fn of_class(reading: Reading) -> LeverRead {
        let terms = Arc::new(LeverTerms::class());
        LeverRead { reading, terms, marks: vec![LeverMark::Uncalibrated] }
    }
}

/// All pins of a survey that were read, in order of note, then string; the last usable reading of
/// a pin counts.
///
/// `pitch_cents` is the instrument's mean pitch as found, for pins without a pitch of their own.
/// `lever` in the order the readings were taken. A significant [`Drift`] is taken out of them.
pub fn pin_readings(
    instrument: &Instrument,
    lever: &[LeverRead],
    hand: &[HandReading],
    pitch_cents: Option<f64>,
    profile: &MeasurementProfile,
) -> Vec<PinReading> {
    pin_readings_and_drift(instrument, lever, hand, pitch_cents, profile).0
}

/// As [`pin_readings`], and what pins read more than once say of the lever's drift: `None` where
/// no pin was read often enough, over long enough, by one calibration.
pub fn pin_readings_and_drift(
    instrument: &Instrument,
    lever: &[LeverRead],
    hand: &[HandReading],
    pitch_cents: Option<f64>,
    profile: &MeasurementProfile,
) -> (Vec<PinReading>, Option<Drift>) {
    let mut readings: Vec<PinReading> = Vec::new();
    for reading in hand {
        let pin = Strung::of(instrument, reading.pin, reading.pin_um);
        let cents = reading.cents().or(pitch_cents);
        keep(&mut readings, hand::read(reading, pin, cents, profile));
    }
    let records: Vec<&Reading> = lever.iter().map(|read| &read.reading).collect();
    let times_ms = drift::clock_ms(&records);
    let drifted = drift::estimate(&records, &times_ms);
    for (reading, at_ms) in lever.iter().zip(times_ms) {
        let pin = Strung::of(instrument, reading.reading.pin, None);
        let correction = drifted.as_ref().map_or((1.0, 0.0), |drift| drift.correction(at_ms));
        keep(&mut readings, lever::read(reading, pin, pitch_cents, correction, profile));
    }
    readings.sort_by_key(|reading| reading.pin);
    (readings, drifted)
}

/// Mean pitch as found over the readings that carry one, cents; `None` when none does.
pub fn mean_pitch_cents(hand: &[HandReading]) -> Option<f64> {
    let cents: Vec<f64> = hand.iter().filter_map(HandReading::cents).collect();
    (!cents.is_empty()).then(|| cents.iter().sum::<f64>() / cents.len() as f64)
}

/// Puts a reading in the place of an earlier one of its pin, unless it says less.
fn keep(readings: &mut Vec<PinReading>, new: PinReading) {
    match readings.iter_mut().find(|old| old.pin == new.pin) {
        None => readings.push(new),
        Some(old) => {
            if new.friction_nm.is_some() || old.friction_nm.is_none() {
                *old = new;
            }
            note(&mut old.remarks, "read more than once: the last usable reading counts");
        }
    }
}

/// Adds a remark once.
fn note(remarks: &mut Vec<String>, remark: &str) {
    if !remarks.iter().any(|known| known == remark) {
        remarks.push(remark.to_string());
    }
}
