//! What was found, put as evidence: how well each state of the plank would explain it.
//!
//! Each item of evidence is a sentence and one log-likelihood per state. Torque and condition
//! count alike. Unknown is not "no": what was not looked at makes no item.

use super::super::PinResult;
use super::super::input::{Condition, PlankSight, TuneStability};
use super::super::stats::{mean, median, softmax};
use super::super::survey::FRICTION_FLOOR_NM;
use super::super::zones::{Zone, ZoneShape};
use super::state::{PlankState, STATE_COUNT};
use super::{Findings, lineup, size as sizes};
use crate::words::{Fixed, Said, Word, findings as say, plank as words};

/// Pins after whose reading a zone would have been found in about two of three planks (DER).
const POWER_PINS: f64 = 45.0;
/// Share, level, scatter and pattern come from the same readings and agree more than independent
/// evidence would: the first three count less than fully (DER).
const SHARED_WEIGHT: f64 = 0.75;
/// What was measured, torques and diameters, counts up to this much more than the states' tables
/// have it, all of it once enough pins are read. The tables are coarse and wide; held against
/// invented instruments (tuning seeds 2000–2899 mixed, 3000–3399 single faults), chances stated and
/// shares right agree at this weight, where unweighted they were far too modest. What people say
/// and see counts once: it can be wrong in ways no reading is.
const MEASURED_MORE: f64 = 1.0;
/// Number of pins that all together tell at most as much as this many independent ones (DER).
const INDEPENDENT_PINS: f64 = 100.0;
/// Steps between sections, natural-log units, that a level from few sections may be off by.
const SECTION_STEP_SD: f64 = 0.15;
/// Doubtful pins from which a ragged line overrides a general weakness, and how rare it must be
/// among planks as scattered as this one.
const LINE_DOUBTFUL_MIN: f64 = 4.0;
const LINE_P_VALUE_MAX: f64 = 0.005;
/// Weight left to a general weakness beside such a line, in pins.
const LEVEL_WEIGHT_BESIDE_LINE: f64 = 3.0;
/// Difference to the other pins from which loose pins are the larger ones, µm: half a size.
const LARGER_THAN_REST_UM: f64 = 80.0;
/// Share of loose pins feeling spongy that makes the feel a finding.
const SPONGY_SHARE_MIN: f64 = 0.4;

/// What kind of evidence an item is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EvidenceKind {
    /// Shape of the zones, or that there is none.
    Pattern,
    /// Single loose pins that line up.
    Lineup,
    /// Share of pins doubtful or worse.
    Share,
    /// Level outside zones.
    Level,
    /// Scatter of ordinary pins.
    Scatter,
    /// Whether it holds tune.
    Tune,
    /// What was seen of the plank.
    Sight,
    /// Oil, stain or glue at the pins.
    Stain,
    /// Spongy feel.
    Feel,
    /// Diameters of the loose pins.
    Size,
    /// Humidity of the room.
    Room,
    /// What trial pins gained.
    Trials,
}

/// One item of evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct Evidence {
    /// Its kind.
    pub kind: EvidenceKind,
    /// The finding in a sentence.
    pub text: Said,
    /// Logarithm of how likely the finding is in each state, in the order of
    /// [`PlankState::ALL`].
    pub log_fit: [f64; STATE_COUNT],
}

impl Evidence {
    pub(super) fn of(kind: EvidenceKind, text: Said, fit: impl Fn(PlankState) -> f64) -> Evidence {
        Evidence { kind, text, log_fit: PlankState::ALL.map(fit) }
    }

    /// The same evidence with its best fit set to 0: only differences between states count.
    fn relative(mut self) -> Evidence {
        let best = self.log_fit.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        self.log_fit = self.log_fit.map(|fit| fit - best);
        self
    }

    /// How much it speaks for a state against the others as they otherwise stand: natural
    /// logarithm of a Bayes factor, negative when it speaks against.
    pub fn weight_for(&self, state: usize, chances: &[f64]) -> f64 {
        let others = 1.0 - chances[state];
        if others <= 0.0 {
            return 0.0;
        }
        let sum = (0..STATE_COUNT)
            .filter(|i| *i != state)
            .fold(0.0, |sum, i| sum + chances[i] / others * libm::exp(self.log_fit[i]));
        self.log_fit[state] - libm::log(sum.max(1e-12))
    }
}

/// Chances of the states after all evidence.
pub fn weigh(items: &[Evidence]) -> Vec<f64> {
    let logs: Vec<f64> = PlankState::ALL
        .iter()
        .enumerate()
        .map(|(i, state)| {
            items.iter().fold(libm::log(state.prior()), |sum, item| sum + item.log_fit[i])
        })
        .collect();
    softmax(&logs)
}

/// All evidence of a survey and its condition record.
pub fn gather(findings: &Findings<'_>) -> Vec<Evidence> {
    let mut items = Vec::new();
    if findings.statistics.used_count > 0 {
        items.push(pattern(findings));
        items.extend(lineup::evidence(findings));
        items.push(share(findings));
        items.extend(level(findings));
        items.extend(scatter(findings));
        let weight = measured_weight(findings);
        for item in &mut items {
            item.log_fit = item.log_fit.map(|fit| weight * fit);
        }
        items.extend(feel(findings));
        items.extend(size(findings));
    }
    items.extend(from_condition(findings.condition, findings));
    items.extend(sizes::evidence(findings));
    items
}

/// How much a zone matters in absolute terms, 0–1: a line below its surroundings whose pins all
/// hold well says little about what to do.
fn materiality(zone: &Zone) -> f64 {
    let by_bands = 1.0 - libm::exp(-zone.doubtful_count / 1.5);
    // A general or sectional weakness matters before pins are doubtful.
    let by_level = match zone.shape {
        ZoneShape::Everywhere | ZoneShape::WholeSection => 0.6,
        ZoneShape::RaggedLineInside => 0.35,
        _ => 0.2,
    };
    by_bands.max(by_level)
}

/// How much the readings show of what there is, 0–1.
fn power(findings: &Findings<'_>) -> f64 {
    1.0 - libm::exp(-(findings.statistics.used_count as f64) / POWER_PINS)
}

/// How many times what was measured counts: a few readings once, a whole field's more.
fn measured_weight(findings: &Findings<'_>) -> f64 {
    1.0 + MEASURED_MORE * power(findings)
}

fn pattern(findings: &Findings<'_>) -> Evidence {
    let power = power(findings);
    let none = |state: PlankState| {
        // Few readings miss most zones, so finding none says little.
        state.shape_chance(None) + (1.0 - power) * (1.0 - state.shape_chance(None))
    };
    let total =
        findings.zones.iter().fold(0.0, |sum, zone| sum + zone_weight(zone, findings.zones));
    let Some(gravest) = findings.zones.first().filter(|_| total > 0.0) else {
        let text = say::no_zone(findings.statistics.used_count);
        return Evidence::of(EvidenceKind::Pattern, text, |state| libm::log(none(state)));
    };
    let matter = findings.zones.iter().map(materiality).fold(0.0, f64::max);
    let fit = |state: PlankState| {
        let shapes = findings.zones.iter().fold(0.0, |sum, zone| {
            let share = zone_weight(zone, findings.zones) / total;
            sum + share * libm::log(state.shape_chance(Some(zone.shape)))
        });
        matter * shapes + (1.0 - matter) * libm::log(none(state))
    };
    Evidence::of(EvidenceKind::Pattern, pattern_words(gravest), fit)
}

/// Weight of a zone among several. A ragged line inside the field counts most beside a general
/// weakness, whatever its share of the pins: the weakness has its say in share and level.
fn zone_weight(zone: &Zone, all: &[Zone]) -> f64 {
    let weight = zone.doubtful_count + 0.05 * zone.pins.len() as f64;
    let beside_line = all.iter().any(|other| {
        other.shape == ZoneShape::RaggedLineInside
            && other.doubtful_count >= LINE_DOUBTFUL_MIN
            && other.p_value.is_some_and(|p| p <= LINE_P_VALUE_MAX)
    });
    match zone.shape {
        ZoneShape::RaggedLineInside | ZoneShape::AlongFlange | ZoneShape::Patch => 3.0 * weight,
        ZoneShape::Scattered => 0.7 * weight,
        ZoneShape::Everywhere | ZoneShape::WholeSection if beside_line => {
            weight.min(LEVEL_WEIGHT_BESIDE_LINE)
        }
        _ => weight,
    }
}

/// A zone in a sentence.
pub fn pattern_words(zone: &Zone) -> Said {
    let tight = match zone.tight_inside.len() {
        0 => say::nothing(),
        tight if matches!(zone.shape, ZoneShape::Everywhere | ZoneShape::WholeSection) => {
            say::better_there(tight)
        }
        1 => say::ONE_TIGHT_INSIDE.said(),
        tight => say::tight_inside(tight),
    };
    let chance = zone.p_value.map_or_else(say::nothing, |p| say::sound_shows(Fixed(100.0 * p, 1)));
    let below: Word = match zone.shape {
        ZoneShape::Everywhere => say::AS_NEW_BEGINS,
        ZoneShape::WholeSection => say::OTHER_SECTIONS,
        _ => say::ROUND_THEM,
    };
    say::zone_found(
        words::shape_found(zone.shape),
        &zone.place,
        zone.pins.len(),
        Fixed(100.0 * zone.depth_share().max(0.0), 0),
        below,
        tight,
        chance,
    )
}

fn share(findings: &Findings<'_>) -> Evidence {
    let share = findings.statistics.doubtful_share;
    let used = findings.statistics.used_count as f64;
    let read = findings.pins.iter().filter(|pin| pin.read && pin.friction_nm.is_some());
    let doubtful = read.fold(0.0, |sum, pin| sum + pin.judgement.doubtful_chance);
    // Neighbours share their wood: a hundred pins tell as much as some fifty independent ones.
    let worth = 1.0 / (1.0 + used / INDEPENDENT_PINS);
    let text = say::share(Fixed(100.0 * share.value, 1), Fixed(100.0 * share.u, 1));
    Evidence::of(EvidenceKind::Share, text, |state| {
        SHARED_WEIGHT * state.log_share_fit(doubtful * worth, used * worth)
    })
    .relative()
}

fn outside_zones<'a>(findings: &'a Findings<'_>) -> impl Iterator<Item = &'a PinResult> {
    findings.pins.iter().filter(|pin| {
        pin.read && !findings.zones.iter().any(|z| z.p_value.is_some() && z.pins.contains(&pin.pin))
    })
}

fn level(findings: &Findings<'_>) -> Option<Evidence> {
    let logs: Vec<f64> = outside_zones(findings)
        .filter_map(|pin| pin.friction_nm)
        .map(|friction| libm::log(friction.value.max(FRICTION_FLOOR_NM)))
        .collect();
    let log_level = median(&logs)?;
    let spread = findings.field.scatter.max(0.1);
    // A median has 1.57 times the variance of a mean; 5 % stands for the instrument's own error.
    let mut sections: Vec<u8> = outside_zones(findings).map(|pin| pin.site.section).collect();
    sections.sort_unstable();
    sections.dedup();
    let variance = 1.57 * spread * spread / logs.len() as f64
        + SECTION_STEP_SD * SECTION_STEP_SD / sections.len().max(1) as f64
        + 0.05 * 0.05;
    let profile = findings.profile;
    let level_nm = libm::exp(log_level);
    let text = say::level(words::band(super::super::band::friction_band(level_nm, profile)));
    Some(
        Evidence::of(EvidenceKind::Level, text, |state| {
            SHARED_WEIGHT * state.log_level_fit(log_level, variance)
        })
        .relative(),
    )
}

fn scatter(findings: &Findings<'_>) -> Option<Evidence> {
    let scatter = findings.field.scatter;
    let count = findings.statistics.used_count;
    if scatter <= 0.0 || count < 8 {
        return None;
    }
    let suspicious = scatter > findings.profile.suspicious_variation.value;
    let much = if suspicious { say::SUSPICIOUSLY.said() } else { say::nothing() };
    let text = say::scatter(Fixed(100.0 * scatter, 0), much);
    Some(
        Evidence::of(EvidenceKind::Scatter, text, |state| {
            SHARED_WEIGHT * state.log_scatter_fit(scatter, count)
        })
        .relative(),
    )
}

/// Read pins that are doubtful or worse, more likely than not.
pub fn loose_pins(pins: &[PinResult]) -> impl Iterator<Item = &PinResult> {
    pins.iter().filter(|pin| pin.read && pin.judgement.doubtful_chance > 0.5)
}

fn feel(findings: &Findings<'_>) -> Option<Evidence> {
    let spongy = |pin: &&PinResult| {
        let word = |remark: &String| remark.to_lowercase().contains("spongy");
        pin.remarks.iter().any(word)
    };
    let loose = loose_pins(findings.pins).count();
    let count = loose_pins(findings.pins).filter(spongy).count();
    let found = loose >= 3 && count as f64 >= SPONGY_SHARE_MIN * loose as f64;
    found.then(|| {
        let text = say::spongy(count, loose);
        Evidence::of(EvidenceKind::Feel, text, |state| libm::log(state.spongy_chance()))
    })
}

/// Mean diameter of the loose pins and of the others, where known.
pub fn diameters(pins: &[PinResult]) -> (Option<f64>, Option<f64>) {
    let known = |pin: &PinResult| pin.site.diameter_um.map(f64::from);
    let loose: Vec<f64> = loose_pins(pins).filter_map(known).collect();
    let rest: Vec<f64> = pins
        .iter()
        .filter(|pin| !(pin.read && pin.judgement.doubtful_chance > 0.5))
        .filter_map(known)
        .collect();
    (mean(&loose), mean(&rest))
}

fn size(findings: &Findings<'_>) -> Option<Evidence> {
    let (loose, rest) = diameters(findings.pins);
    let loose = loose?;
    let count = loose_pins(findings.pins).filter(|pin| pin.site.diameter_um.is_some()).count();
    let oversize = loose >= findings.profile.oversize_um.value
        || rest.is_some_and(|rest| loose >= rest + LARGER_THAN_REST_UM);
    // Two or three loose pins among large ones are no pattern.
    let matter = 1.0 - libm::exp(-(count as f64) / 3.0);
    let mm = Fixed(loose / 1000.0, 2);
    let text = if oversize { say::oversize(mm) } else { say::first_size(mm) };
    Some(Evidence::of(EvidenceKind::Size, text, |state| size_fit(state, oversize, matter)))
}

fn size_fit(state: PlankState, oversize: bool, matter: f64) -> f64 {
    let chance = state.oversize_chance();
    let weight = matter * (1.0 + MEASURED_MORE * matter);
    weight * libm::log(if oversize { chance } else { 1.0 - chance })
}

/// Evidence that the condition record gives.
pub fn from_condition(condition: &Condition, findings: &Findings<'_>) -> Vec<Evidence> {
    let mut items = Vec::new();
    if let Some(tune) = condition.tune {
        items.push(tune_evidence(tune));
    }
    if let Some(sight) = condition.plank {
        items.push(sight_evidence(sight));
    }
    if let Some(stained) = condition.contamination {
        items.push(stain_evidence(stained));
    }
    if let Some(humidity) = condition.relative_humidity.filter(|h| (0.0..=1.0).contains(h)) {
        let dry = humidity < findings.profile.dry_relative_humidity.value;
        items.push(room_evidence(dry, Some(humidity)));
    }
    items
}

pub(super) fn tune_evidence(tune: TuneStability) -> Evidence {
    let unstable = tune == TuneStability::Unstable;
    let text = if unstable { say::UNSTABLE } else { say::STABLE };
    Evidence::of(EvidenceKind::Tune, text.said(), |state| {
        let chance = state.unstable_chance();
        libm::log(if unstable { chance } else { 1.0 - chance })
    })
}

pub(super) fn sight_evidence(sight: PlankSight) -> Evidence {
    let (index, text) = match sight {
        PlankSight::SeenSound => (0, say::SEEN_SOUND),
        PlankSight::PliesParted => (1, say::PLIES_PARTED),
        PlankSight::OffBack => (2, say::OFF_BACK),
    };
    Evidence::of(EvidenceKind::Sight, text.said(), |state| libm::log(state.sight_chances()[index]))
}

pub(super) fn stain_evidence(stained: bool) -> Evidence {
    let text = if stained { say::STAINED } else { say::CLEAN };
    Evidence::of(EvidenceKind::Stain, text.said(), |state| {
        let chance = state.stain_chance();
        libm::log(if stained { chance } else { 1.0 - chance })
    })
}

pub(super) fn size_supposed(oversize: bool) -> Evidence {
    let text = if oversize { say::LARGER_ONES } else { say::OF_FIRST_SIZE };
    Evidence::of(EvidenceKind::Size, text.said(), |state| size_fit(state, oversize, 0.9))
}

pub(super) fn room_evidence(dry: bool, humidity: Option<f64>) -> Evidence {
    let measured = humidity.map_or_else(say::nothing, |h| say::humidity(Fixed(100.0 * h, 0)));
    let text = if dry { say::room_dry(measured) } else { say::room_not_dry(measured) };
    Evidence::of(EvidenceKind::Room, text, |state| {
        let chance = state.dry_room_chance();
        libm::log(if dry { chance } else { 1.0 - chance })
    })
}
