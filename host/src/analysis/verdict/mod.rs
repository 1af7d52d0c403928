//! The verdict: states of the plank weighed on all evidence, remedies ranked by the chance of
//! being a right answer, and an account of it that another technician can argue with.
//!
//! Invariants: `plank` without parted plies seen never exceeds the profile's cap and always
//! names what to confirm first; with too little evidence the verdict is `undecided` and names
//! the observation that would tell most for its trouble. Torque neither proves nor clears a
//! split (one split plank had evenly tight pins in and out of the split, ONE).
//!
//! Deliberately not here: prices, years left, and whose fault it is.

mod caution;
pub mod costs;
pub mod evidence;
mod explain;
mod lever_doubt;
mod lineup;
pub mod look;
mod parts;
pub mod prices;
pub mod remedy;
pub mod size;
#[cfg(test)]
mod size_tests;
pub mod state;

pub use lever_doubt::ConfidenceCap;
pub use parts::{PartsLine, spares};
pub use remedy::{Remedy, RemedyKind};
pub use size::PlaceSizes;
pub use state::PlankState;

use super::input::{Condition, PlankSight, TuneStability};
use super::profile::Profile;
use super::stats::probability_below;
use super::zones::Zone;
use super::{FieldEstimate, PinResult, Statistics};
use crate::instrument::Instrument;
use crate::words::{Said, Word, findings as say};
use evidence::{Evidence, EvidenceKind, diameters, gather, weigh};
use remedy::{Circumstances, largest_um, rank, share_chances};
use size::Sizing;

/// What the verdict is made from.
#[derive(Clone, Copy, Debug)]
pub struct Findings<'a> {
    /// The instrument.
    pub instrument: &'a Instrument,
    /// Every pin.
    pub pins: &'a [PinResult],
    /// The field.
    pub field: &'a FieldEstimate,
    /// Zones, gravest first.
    pub zones: &'a [Zone],
    /// The plank in numbers.
    pub statistics: &'a Statistics,
    /// What is known beside torque.
    pub condition: &'a Condition,
    /// Thresholds.
    pub profile: &'a Profile,
}

/// A remedy and its chance of being a right answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Alternative {
    /// The remedy.
    pub remedy: RemedyKind,
    /// Chance of being a right answer, 0–1. Several can be right: these do not add up to 1.
    pub chance: f64,
}

/// What to do, how sure that is, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    /// The remedy.
    pub remedy: Remedy,
    /// Chance that it is a right answer, 0–1, capped for a plank without physical evidence and
    /// for a lever in doubt; for `undecided` the chance of the best remedy, at most the least
    /// chance that decides.
    pub confidence: f64,
    /// The confidence is a cap and not the chance itself.
    pub confidence_is_capped: bool,
    /// Why it is, when it is: the cap that is lowest.
    pub confidence_cap: Option<ConfidenceCap>,
    /// All remedies by rank, the chosen one included.
    pub alternatives: Vec<Alternative>,
    /// States of the plank with their chances, likeliest first.
    pub states: Vec<(PlankState, f64)>,
    /// What bears on remedies beside the states.
    pub circumstances: Circumstances,
    /// What was known beside torque.
    pub condition: Condition,
    /// All evidence, for the worked chain.
    pub evidence: Vec<Evidence>,
    /// To confirm before acting.
    pub confirm_before_acting: Vec<Said>,
    /// What speaks for it, strongest first.
    pub reasons_for: Vec<Said>,
    /// What speaks against it, strongest first.
    pub reasons_against: Vec<Said>,
    /// What was not examined.
    pub not_examined: Vec<Said>,
    /// Observations that would change it.
    pub what_would_change_it: Vec<Said>,
    /// The observation that would tell most for its trouble, when any is open.
    pub next_observation: Option<Said>,
    /// Pins by size and number, per zone.
    pub parts: Vec<PartsLine>,
    /// What larger pins would do, per section and size fitted; whatever the remedy.
    pub sizes: Vec<PlaceSizes>,
    /// Cautions that apply.
    pub cautions: Vec<Word>,
}

/// What all evidence comes to, before it is explained.
struct Choice {
    items: Vec<Evidence>,
    /// Chances of the states.
    chances: Vec<f64>,
    circumstances: Circumstances,
    ranked: Vec<(RemedyKind, f64)>,
    /// It hangs on diameters nobody measured.
    guessed: bool,
    kind: RemedyKind,
}

fn choose(findings: &Findings<'_>) -> Choice {
    let items = gather(findings);
    let chances = weigh(&items);
    let circumstances = circumstances(findings);
    let ranked = rank(&chances, &circumstances);
    let best = ranked[0];
    let seen_parted = findings.condition.plank == Some(PlankSight::PliesParted);
    let few = (findings.statistics.used_count as f64) < findings.profile.pins_min.value;
    let guessed =
        best.0 == RemedyKind::Plank && !seen_parted && size_is_guessed(findings, &chances);
    let undecided =
        best.1 < findings.profile.undecided_below.value || (few && !seen_parted) || guessed;
    let kind = if undecided { RemedyKind::Undecided } else { best.0 };
    Choice { items, chances, circumstances, ranked, guessed, kind }
}

/// The remedy alone, without the account of it: what [`decide`] would choose.
pub fn remedy_kind(findings: &Findings<'_>) -> RemedyKind {
    choose(findings).kind
}

/// Weighs everything.
pub fn decide(findings: &Findings<'_>) -> Verdict {
    let Choice { items, chances, circumstances, ranked, guessed, kind } = choose(findings);
    let seen_parted = findings.condition.plank == Some(PlankSight::PliesParted);
    let open = match kind {
        RemedyKind::Undecided => ranked[0].1.min(findings.profile.undecided_below.value),
        _ => ranked[0].1,
    };
    let (confidence, cap) = capped(findings, open, kind == RemedyKind::Plank && !seen_parted);
    let mut states: Vec<(PlankState, f64)> =
        PlankState::ALL.into_iter().zip(chances.iter().copied()).collect();
    states.sort_by(|a, b| b.1.total_cmp(&a.1).then(a.0.cmp(&b.0)));
    let mut explained = explain::Explanation::new(findings, &items, &chances, &circumstances, kind);
    if guessed {
        explained.reasons_for.insert(0, say::HANGS_ON_SIZE.said());
        explained.next_observation = Some(say::MEASURE_DIAMETERS.said());
    }
    let sizing = Sizing::new(findings, no_grip_chance(&items));
    let (resting_on, resting_against) = size::reasons(findings, kind, &sizing);
    explained.reasons_for.extend(resting_on);
    explained.reasons_against.extend(resting_against);
    let remedy = sized(kind, findings, &sizing);
    Verdict {
        remedy,
        confidence,
        confidence_is_capped: cap.is_some(),
        confidence_cap: cap,
        alternatives: ranked
            .iter()
            .map(|(remedy, chance)| Alternative { remedy: *remedy, chance: *chance })
            .collect(),
        states,
        confirm_before_acting: explain::confirm(findings, kind),
        reasons_for: explained.reasons_for,
        reasons_against: explained.reasons_against,
        not_examined: explain::not_examined(findings),
        what_would_change_it: explained.what_would_change_it,
        next_observation: explained.next_observation,
        parts: parts::parts(findings, remedy, &sizing),
        sizes: size::places(&sizing),
        cautions: caution::cautions(findings, kind),
        circumstances,
        condition: findings.condition.clone(),
        evidence: items,
    }
}

/// A chance under the lowest cap that applies, and which one that is.
fn capped(
    findings: &Findings<'_>,
    chance: f64,
    plies_unseen: bool,
) -> (f64, Option<ConfidenceCap>) {
    let mut caps = vec![(lever_doubt::confidence_max(findings), ConfidenceCap::LeverInDoubt)];
    if plies_unseen {
        let cap = findings.profile.plank_confidence_cap.value;
        caps.insert(0, (cap, ConfidenceCap::PliesUnseen));
    }
    let lowest = caps.into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
    match lowest {
        Some((cap, why)) if chance > cap => (cap, Some(why)),
        _ => (chance, None),
    }
}

/// "Oversize and loose again" leads, but nobody measured the loose pins: a new plank is not advised
/// on a size that is only inferred, when a calliper would tell.
fn size_is_guessed(findings: &Findings<'_>, chances: &[f64]) -> bool {
    let leading = PlankState::ALL.into_iter().zip(chances).max_by(|a, b| a.1.total_cmp(b.1));
    leading.is_some_and(|(state, _)| state == PlankState::OversizeLoose)
        && diameters(findings.pins).0.is_none()
}

/// What bears on remedies beside the state of the plank.
pub fn circumstances(findings: &Findings<'_>) -> Circumstances {
    let profile = findings.profile;
    let read = || findings.pins.iter().filter(|pin| pin.read);
    // A pin's own chances count, near a limit or not; two doubtful pins are left and watched.
    let failing = read().fold(0.0, |sum, pin| sum + pin.judgement.failing_chance);
    let doubtful = read().fold(0.0, |sum, pin| sum + pin.judgement.doubtful_chance);
    let treat_chance = 1.0 - libm::exp(-(0.6 * failing + 0.25 * (doubtful - 2.0).max(0.0)));
    let room_um = room_um(findings);
    let step_um = profile.size_step_um.value;
    let room = match room_um {
        None => 0.8,
        Some(room) if room >= step_um => 1.0,
        Some(room) if room >= 0.5 * step_um => 0.5,
        Some(_) => 0.0,
    };
    let (larger_success, larger_hope) = size::larger_success(findings);
    Circumstances {
        share_chances: share_chances(findings.statistics.doubtful_share, profile),
        treat_chance,
        room,
        larger_success,
        larger_hope,
        only_weak: findings.statistics.friction_median_nm.map_or(0.0, |median_nm| {
            let doubtful = libm::log(profile.doubtful_nm.value);
            // A tenth, natural-log units, for the median's own error.
            1.0 - probability_below(doubtful, libm::log(median_nm.max(0.1)), 0.1)
        }),
        dry_room: findings
            .condition
            .relative_humidity
            .filter(|h| (0.0..=1.0).contains(h))
            .map(|humidity| humidity < profile.dry_relative_humidity.value),
        bushed: findings.condition.bushed_plate,
        worth: findings.condition.worth_repair,
        unstable: findings.condition.tune.map(|tune| tune == TuneStability::Unstable),
    }
}

/// Chance that larger pins gain next to nothing, from everything but what trial pins gained.
fn no_grip_chance(items: &[Evidence]) -> f64 {
    let beside: Vec<Evidence> =
        items.iter().filter(|item| item.kind != EvidenceKind::Trials).cloned().collect();
    size::no_grip_over(&weigh(&beside))
}

/// Diameter of the loose pins, else of all pins, micrometres.
fn fitted_um(findings: &Findings<'_>) -> Option<f64> {
    let (loose, rest) = diameters(findings.pins);
    loose.or(rest)
}

fn room_um(findings: &Findings<'_>) -> Option<f64> {
    Some(largest_um(findings.condition, findings.profile) - fitted_um(findings)?)
}

fn sized(kind: RemedyKind, findings: &Findings<'_>, sizing: &Sizing<'_>) -> Remedy {
    let fitted = fitted_um(findings);
    let members = || match kind {
        RemedyKind::Larger => parts::larger_sites(findings),
        _ => (0..findings.pins.len()).collect(),
    };
    let to_um = fitted.and_then(|fitted| sizing.at(&members(), fitted)?.to_um());
    match kind {
        RemedyKind::Leave => Remedy::Leave,
        RemedyKind::Climate => Remedy::Climate,
        RemedyKind::Treat => Remedy::Treat,
        RemedyKind::Larger => Remedy::Larger {
            from_um: fitted.map(|um| um.round() as u32),
            to_um,
            pin_count: parts::larger_sites(findings).len(),
        },
        RemedyKind::Restring => Remedy::Restring { to_um },
        RemedyKind::Rebush => Remedy::Rebush,
        RemedyKind::RepairBlock => Remedy::RepairBlock,
        RemedyKind::Plank => Remedy::Plank,
        RemedyKind::Elsewhere => Remedy::Elsewhere,
        RemedyKind::NotWorth => Remedy::NotWorth,
        RemedyKind::Undecided => Remedy::Undecided,
    }
}
