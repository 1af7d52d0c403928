//! What a zone usually means: the trade's readings of patterns, ordered by what is known of this
//! zone and this instrument.
//!
//! Readings are evidence and no proof, and several are named for every zone. Where the trade has
//! no source that is said. Deliberately not here: how they are weighed (`verdict`).
//!
//! Numbers without a source beside them are ours (DER).

use std::collections::BTreeMap;

use pinhold_protocol::record::Pin;

use super::super::input::Condition;
use super::super::profile::{Grade, Profile};
use super::super::stats::{mean, standard_deviation};
use super::shape::Context;
use super::{Zone, ZoneShape};
use crate::instrument::InstrumentKind;
use crate::words::{Word, plank as say};

/// Difference to the other pins from which a zone's pins are the larger ones, µm: half a size.
const LARGER_THAN_REST_UM: f64 = 80.0;
/// Unisons from which it is told that one string of each is loose and the others stay.
const UNISON_COUNT_MIN: usize = 4;
/// Share of them in which it must be so.
const UNISON_SHARE_MIN: f64 = 0.8;
/// Spread inside, over the sound scatter, from which torque is erratic (ours).
const ERRATIC_SPREAD_MIN: f64 = 1.8;

/// One likely reading of a zone and what supports it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LikelyReading {
    /// The reading in words.
    pub text: Word,
    /// What stands behind it.
    pub grade: Grade,
}

const fn reading(text: Word, grade: Grade) -> LikelyReading {
    LikelyReading { text, grade }
}

const STAIN_SEEN: LikelyReading = reading(say::STAIN_SEEN, Grade::Practice);
const LARGER_PINS: LikelyReading = reading(say::LARGER_PINS, Grade::Practice);
const ONE_OF_A_UNISON: LikelyReading = reading(say::ONE_OF_A_UNISON, Grade::OneReport);
const ERRATIC: LikelyReading = reading(say::ERRATIC, Grade::OneReport);
const LOWEST_BASS_ROW: LikelyReading = reading(say::LOWEST_BASS_ROW, Grade::OneReport);
const ROW_AT_FLANGE: LikelyReading = reading(say::FLANGE_LOOKS_ALIKE, Grade::Derived);
const HIGH_TREBLE: LikelyReading = reading(say::HIGH_TREBLE, Grade::Practice);

impl Context<'_> {
    /// Likely readings of a zone, the likeliest first.
    pub(super) fn readings(
        &self,
        zone: &Zone,
        condition: &Condition,
        profile: &Profile,
    ) -> Vec<LikelyReading> {
        let mut found = Vec::new();
        if condition.contamination == Some(true) && zone.shape != ZoneShape::Everywhere {
            found.push(STAIN_SEEN);
        }
        if self.is_on_larger_pins(zone, profile) {
            found.push(LARGER_PINS);
        }
        if zone.shape == ZoneShape::WholeSection && self.is_erratic(zone) {
            found.push(ERRATIC);
        }
        if zone.shape == ZoneShape::AlongFlange
            && self.kind == InstrumentKind::Upright
            && zone.sections == [0]
        {
            found.push(LOWEST_BASS_ROW);
        }
        if zone.shape == ZoneShape::HighTreble {
            found.push(HIGH_TREBLE);
        }
        let usual = zone.shape.usual_readings().into_iter();
        found.extend(usual.map(|(text, grade)| reading(text, grade)));
        // A line along one row takes one string of each unison: it strengthens what a line says.
        if self.is_one_of_each_unison(zone) && zone.shape == ZoneShape::RaggedLineInside {
            found.push(ONE_OF_A_UNISON);
        }
        let lined =
            |pin: &Pin| self.survey.sites.iter().any(|site| site.pin == *pin && site.at_flange);
        if zone.shape == ZoneShape::WholeRow && zone.pins.iter().all(lined) {
            found.push(ROW_AT_FLANGE);
        }
        found
    }

    fn is_on_larger_pins(&self, zone: &Zone, profile: &Profile) -> bool {
        let outside = self.survey.sites.iter().filter(|site| !zone.pins.contains(&site.pin));
        let rest: Vec<f64> = outside.filter_map(|s| s.diameter_um).map(f64::from).collect();
        zone.diameter_um.is_some_and(|inside| {
            inside >= profile.oversize_um.value
                || mean(&rest).is_some_and(|rest| inside >= rest + LARGER_THAN_REST_UM)
        })
    }

    /// Whether in nearly every unison with a pin in the zone that is the only loose one of
    /// several read.
    fn is_one_of_each_unison(&self, zone: &Zone) -> bool {
        let mut unisons: BTreeMap<u8, (usize, usize)> = BTreeMap::new();
        for observation in &self.survey.observations {
            let pin = self.survey.sites[observation.site].pin;
            let (loose, read) = unisons.entry(pin.note).or_default();
            *read += 1;
            *loose += usize::from(zone.pins.contains(&pin));
        }
        let touched: Vec<_> =
            unisons.values().filter(|(loose, read)| *loose > 0 && *read > 1).collect();
        let single = touched.iter().filter(|(loose, _)| *loose == 1).count();
        touched.len() >= UNISON_COUNT_MIN
            && single as f64 >= UNISON_SHARE_MIN * touched.len() as f64
    }

    fn is_erratic(&self, zone: &Zone) -> bool {
        let inside: Vec<f64> = self
            .survey
            .observations
            .iter()
            .zip(&self.field.residuals)
            .filter(|(o, _)| zone.sections.contains(&self.survey.sites[o.site].section))
            .map(|(_, residual)| *residual)
            .collect();
        standard_deviation(&inside)
            .is_some_and(|spread| spread >= ERRATIC_SPREAD_MIN * self.field.scatter.sd)
    }
}
