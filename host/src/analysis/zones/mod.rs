//! Zones: pins that are loose together, where they lie, what shape they make, and what that
//! shape usually means.
//!
//! Two kinds of evidence make a zone. *Relative*: the pins stand below the field round them, at
//! a stated rate of false alarms (`search`, `candidates`). *Absolute*: a section or the whole plank
//! is low, or many single holes are bad; no neighbour shows that, only the bands do (`levels`).
//! What a shape means is the trade's reading and only evidence (`reading`).

mod candidates;
mod levels;
pub mod place;
mod reading;
pub mod search;
mod shape;

use pinhold_protocol::record::Pin;

use super::PinResult;
use super::field::SoundField;
use super::input::{Condition, Estimate};
use super::profile::{Grade, Profile};
use super::survey::Survey;
use crate::instrument::InstrumentKind;
use crate::words::{Said, Word, plank as say};

pub use reading::LikelyReading;

/// Share of a low level's pins that lie in other zones, from which those explain it (ours).
const EXPLAINED_SHARE_MIN: f64 = 0.7;
/// Depth from which a zone inside a loose section is one of its own, as a share (ours).
const OWN_DEPTH_MIN: f64 = 0.4;

/// The shape a zone makes on the plank.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ZoneShape {
    /// Part of a row inside the field; some pins in it are still tight.
    RaggedLineInside,
    /// A whole row of a section, evenly low.
    WholeRow,
    /// A line along the plate flange.
    AlongFlange,
    /// Neighbours over several rows.
    Patch,
    /// The last notes of the treble, over all rows.
    HighTreble,
    /// Single bad holes here and there.
    Scattered,
    /// A whole section.
    WholeSection,
    /// The whole plank.
    Everywhere,
}

impl ZoneShape {
    /// All shapes.
    pub const ALL: [ZoneShape; 8] = [
        ZoneShape::RaggedLineInside,
        ZoneShape::WholeRow,
        ZoneShape::AlongFlange,
        ZoneShape::Patch,
        ZoneShape::HighTreble,
        ZoneShape::Scattered,
        ZoneShape::WholeSection,
        ZoneShape::Everywhere,
    ];

    /// The word in reports and in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            ZoneShape::RaggedLineInside => "ragged-line-inside",
            ZoneShape::WholeRow => "whole-row",
            ZoneShape::AlongFlange => "along-flange",
            ZoneShape::Patch => "patch",
            ZoneShape::HighTreble => "high-treble",
            ZoneShape::Scattered => "scattered",
            ZoneShape::WholeSection => "whole-section",
            ZoneShape::Everywhere => "everywhere",
        }
    }

    /// What such a shape usually means, with the grade of each reading.
    pub fn usual_readings(self) -> Vec<(Word, Grade)> {
        match self {
            ZoneShape::RaggedLineInside => {
                vec![(say::USUALLY_SPLIT, Grade::OneReport), (say::PLAIN_HOLES_TOO, Grade::Derived)]
            }
            ZoneShape::WholeRow => vec![(say::ONE_DRILLING, Grade::Memory)],
            ZoneShape::AlongFlange => vec![
                (say::CRUSHED_FIBRE, Grade::OneReport),
                (say::DOES_NOT_CLEAR, Grade::OneReport),
            ],
            ZoneShape::HighTreble => vec![
                (say::LAST_NOTES_TOGETHER, Grade::Practice),
                (say::DRYING_FROM_END, Grade::Derived),
            ],
            ZoneShape::Patch => {
                vec![(say::CONTAMINATION, Grade::Practice), (say::UNSUPPORTED, Grade::Memory)]
            }
            ZoneShape::Scattered => vec![(say::HOLES_HERE_AND_THERE, Grade::OneReport)],
            ZoneShape::WholeSection => vec![
                (say::RESTRUNG_BEFORE, Grade::Practice),
                (say::BASS_FIRST, Grade::OneReport),
                (say::ONE_BAD_PLY, Grade::OneReport),
            ],
            ZoneShape::Everywhere => {
                vec![(say::DRYING, Grade::Practice), (say::WORN_OUT, Grade::Memory)]
            }
        }
    }
}

/// Pins that are loose together.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// Shape on the plank.
    pub shape: ZoneShape,
    /// The loose pins, in order of note.
    pub pins: Vec<Pin>,
    /// Pins read inside the zone that are still tight.
    pub tight_inside: Vec<Pin>,
    /// Pins inside the zone that were not read.
    pub unread_inside: Vec<Pin>,
    /// Where, in a technician's words.
    pub place: Said,
    /// Sections touched.
    pub sections: Vec<u8>,
    /// Rows touched.
    pub rows: Vec<u8>,
    /// Median friction of the loose pins, N·m.
    pub friction_median_nm: f64,
    /// What the sound field expects there, N·m.
    pub surroundings_nm: f64,
    /// Share of sound planks that would show as striking a zone; `None` for zones that rest on
    /// the bands and not on a comparison with the surroundings.
    pub p_value: Option<f64>,
    /// Share of read pins inside that are loose, 0–1.
    pub loose_share: f64,
    /// Expected number of pins doubtful or worse among those read.
    pub doubtful_count: f64,
    /// Mean diameter of its pins where known, micrometres.
    pub diameter_um: Option<f64>,
    /// Standard uncertainty of the logarithm of friction over surroundings.
    pub log_depth_u: f64,
    /// What it usually means, the likeliest first.
    pub readings: Vec<LikelyReading>,
}

impl Zone {
    /// What `surroundings_nm` is, in words.
    pub const fn surroundings_words(&self) -> Word {
        say::surroundings(self.shape)
    }

    /// Friction below the surroundings, N·m.
    pub fn depth_nm(&self) -> f64 {
        self.surroundings_nm - self.friction_median_nm
    }

    /// Friction below the surroundings as a share of them, 0–1.
    pub fn depth_share(&self) -> f64 {
        if self.surroundings_nm > 0.0 { self.depth_nm() / self.surroundings_nm } else { 0.0 }
    }

    /// The same with its standard uncertainty: scatter of the loose pins and what is not known of
    /// their surroundings.
    pub fn depth(&self) -> Estimate {
        let share = self.depth_share();
        Estimate { value: share, u: (1.0 - share) * self.log_depth_u }
    }
}

/// All zones, those with the most doubtful pins first.
pub fn find(
    survey: &Survey<'_>,
    field: &SoundField,
    pins: &[PinResult],
    (kind, condition): (InstrumentKind, &Condition),
    profile: &Profile,
    seed: u64,
) -> Vec<Zone> {
    let rate = profile.false_alarm_rate.value;
    let found = search::search(survey, field, rate, profile.bootstrap_count, seed);
    let context = shape::Context { survey, field, pins, kind };
    let mut zones = context.zones_from(found);
    let mut low = levels::low_levels(&context, profile);
    // What a line or patch explains is not a level: those pins stand out from good neighbours.
    low.retain(|level| {
        let explained = level.pins.iter().filter(|pin| zones.iter().any(|z| z.pins.contains(pin)));
        (explained.count() as f64) < EXPLAINED_SHARE_MIN * level.pins.len() as f64
    });
    // Within a section that is loose as a whole, mild unevenness is no zone of its own.
    zones.retain(|zone| {
        let inside = low.iter().any(|level| {
            level.shape == ZoneShape::WholeSection
                && zone.pins.iter().all(|pin| level.pins.contains(pin))
        });
        !inside || zone.depth_share() >= OWN_DEPTH_MIN
    });
    zones.extend(low);
    zones.extend(levels::scattered(&context, &zones));
    for zone in &mut zones {
        zone.readings = context.readings(zone, condition, profile);
    }
    zones.sort_by(|a, b| {
        b.doubtful_count.total_cmp(&a.doubtful_count).then_with(|| a.place.cmp(&b.place))
    });
    zones
}
