//! What could be found out beside torque, how it may come out, and what each outcome would say.
//!
//! Deliberately not here: what finding out is worth, in chances of being right (`explain`) or in
//! the user's money (`costs`).

use super::super::PinResult;
use super::super::input::{Condition, PlankSight, TuneStability};
use super::evidence::{self, Evidence, EvidenceKind, diameters, loose_pins};
use super::remedy::Circumstances;
use super::size;
use crate::words::{Word, findings as say};

/// Something that could be found out first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Look {
    /// Whether it holds its tune.
    Tune,
    /// Diameters of loose pins and their neighbours.
    Diameters,
    /// Oil, stain and glue.
    Stain,
    /// Humidity of the room.
    Room,
    /// Edges, joints, a drawn pin.
    Plank,
    /// A few larger pins fitted in bad holes and read again.
    Trials,
}

/// A way in which a look may come out.
#[derive(Clone, Debug)]
pub(super) struct Outcome {
    /// "Oil or stain was found at the pins".
    pub(super) words: Word,
    pub(super) evidence: Evidence,
    /// What it says of the room, where it does.
    pub(super) dry_room: Option<bool>,
    /// Whether larger pins hold here, where it says so.
    pub(super) larger_holds: Option<bool>,
}

impl Outcome {
    /// The circumstances once it has come out so.
    pub(super) fn then(&self, before: Circumstances) -> Circumstances {
        let (larger_success, larger_hope) = match self.larger_holds {
            Some(true) => (PROVEN_SUCCESS, before.larger_hope),
            Some(false) => (0.0, 0.0),
            None => (before.larger_success, before.larger_hope),
        };
        let dry_room = self.dry_room.or(before.dry_room);
        Circumstances { dry_room, larger_success, larger_hope, ..before }
    }
}

/// Chance that larger pins bring loose ones back where trial pins did (DER).
const PROVEN_SUCCESS: f64 = 0.95;

impl Look {
    /// All of them.
    pub const ALL: [Look; 6] =
        [Look::Tune, Look::Diameters, Look::Stain, Look::Room, Look::Plank, Look::Trials];

    /// What to do, in words.
    pub(crate) const fn question(self) -> Word {
        match self {
            Look::Tune => say::ASK_TUNE,
            Look::Diameters => say::MEASURE_DIAMETERS,
            Look::Stain => say::LOOK_FOR_STAIN,
            Look::Room => say::LOG_HUMIDITY,
            Look::Plank => say::LOOK_AT_PLANK,
            Look::Trials => say::FIT_TRIALS,
        }
    }

    /// The word in documents.
    pub const fn word(self) -> &'static str {
        match self {
            Look::Tune => "tune",
            Look::Diameters => "diameters",
            Look::Stain => "stain",
            Look::Room => "room",
            Look::Plank => "plank",
            Look::Trials => "trials",
        }
    }

    /// Trouble of it, as a chance of being right that it must gain (DER).
    pub(super) const fn trouble(self) -> f64 {
        match self {
            Look::Tune => 0.01,
            Look::Diameters | Look::Stain => 0.02,
            Look::Room => 0.04,
            Look::Plank => 0.03,
            Look::Trials => 0.06,
        }
    }

    /// Nobody knows yet. `sized`: see [`is_sized`]; trial pins need room for a larger size, and
    /// cannot be undone, so that what is fitted is measured first.
    pub(super) fn is_open(self, condition: &Condition, sized: bool, room: f64) -> bool {
        match self {
            Look::Tune => condition.tune.is_none(),
            Look::Diameters => !sized,
            Look::Stain => condition.contamination.is_none(),
            Look::Room => condition.relative_humidity.is_none(),
            Look::Plank => condition.plank.is_none(),
            Look::Trials => sized && condition.trials.is_empty() && room > 0.0,
        }
    }

    /// How it may come out.
    pub(super) fn outcomes(self) -> Vec<Outcome> {
        let plain =
            |words, evidence| Outcome { words, evidence, dry_room: None, larger_holds: None };
        let room = |words, dry| Outcome {
            words,
            evidence: evidence::room_evidence(dry, None),
            dry_room: Some(dry),
            larger_holds: None,
        };
        let trials = |words: Word, holds: bool| Outcome {
            words,
            evidence: Evidence::of(EvidenceKind::Trials, words.said(), |state| {
                let none = size::no_grip_chance(state);
                libm::log(if holds { 1.0 - none } else { none })
            }),
            dry_room: None,
            larger_holds: Some(holds),
        };
        match self {
            Look::Tune => vec![
                plain(say::TURNED_OUT_STABLE, evidence::tune_evidence(TuneStability::Stable)),
                plain(say::TURNED_OUT_UNSTABLE, evidence::tune_evidence(TuneStability::Unstable)),
            ],
            Look::Diameters => vec![
                plain(say::TURNED_OUT_LARGER, evidence::size_supposed(true)),
                plain(say::TURNED_OUT_FIRST_SIZE, evidence::size_supposed(false)),
            ],
            Look::Stain => vec![
                plain(say::TURNED_OUT_STAINED, evidence::stain_evidence(true)),
                plain(say::TURNED_OUT_CLEAN, evidence::stain_evidence(false)),
            ],
            Look::Room => {
                vec![room(say::TURNED_OUT_DRY, true), room(say::TURNED_OUT_NOT_DRY, false)]
            }
            Look::Plank => vec![
                plain(say::TURNED_OUT_PARTED, evidence::sight_evidence(PlankSight::PliesParted)),
                plain(say::TURNED_OUT_SOUND, evidence::sight_evidence(PlankSight::SeenSound)),
                plain(say::TURNED_OUT_OFF_BACK, evidence::sight_evidence(PlankSight::OffBack)),
            ],
            Look::Trials => {
                vec![trials(say::TURNED_OUT_GRIPPING, true), trials(say::TURNED_OUT_SLACK, false)]
            }
        }
    }
}

/// The loose pins' diameters are known, or there are none to measure.
pub fn is_sized(pins: &[PinResult]) -> bool {
    diameters(pins).0.is_some() || loose_pins(pins).count() == 0
}
