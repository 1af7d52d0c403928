//! Why this verdict: evidence for and against, what was not looked at, what would change it.
//!
//! *What would change it* is computed, not written by hand: each open observation is supposed to
//! have come out each way, and the verdict is taken again.

use super::super::input::{PlankSight, TorqueKind, TuneStability};
use super::evidence::{self, Evidence, diameters, loose_pins, weigh};
use super::remedy::{Circumstances, rank, suitability};
use super::state::{PlankState, STATE_COUNT};
use super::{Findings, RemedyKind, lever_doubt};
use crate::instrument::InstrumentKind;

/// Evidence that shifts the odds less than this (natural logarithm) is no reason.
const REASON_WEIGHT_MIN: f64 = 0.25;
const REASON_COUNT_MAX: usize = 4;
/// The observation that tells whether loose pins are larger ones already.
pub(super) const MEASURE_DIAMETERS: &str =
    "measure the diameter of some loose pins and of their neighbours";
/// Outcomes less likely than this are not worth a sentence.
const OUTCOME_CHANCE_MIN: f64 = 0.02;
/// Share of pins read below which reading more is the first advice.
const SAMPLE_SHARE_LOW: f64 = 0.5;

const LOOK_AT_PLANK: &str = "look at the plank's edges and joints with a light, and draw a pin";

pub(super) struct Explanation {
    pub(super) reasons_for: Vec<String>,
    pub(super) reasons_against: Vec<String>,
    pub(super) what_would_change_it: Vec<String>,
    pub(super) next_observation: Option<String>,
}

impl Explanation {
    pub(super) fn new(
        findings: &Findings<'_>,
        items: &[Evidence],
        chances: &[f64],
        circumstances: &Circumstances,
        kind: RemedyKind,
    ) -> Explanation {
        let (mut reasons_for, mut reasons_against) = reasons(items, chances, circumstances, kind);
        add_plain_reasons(findings, circumstances, kind, &mut reasons_for, &mut reasons_against);
        let (what_would_change_it, told) =
            suppose(findings, items, circumstances, rank(chances, circumstances)[0]);
        Explanation {
            reasons_for,
            reasons_against,
            what_would_change_it,
            next_observation: next(findings, kind, told),
        }
    }
}

/// Evidence for the states in which the remedy is right, and against them.
fn reasons(
    items: &[Evidence],
    chances: &[f64],
    circumstances: &Circumstances,
    kind: RemedyKind,
) -> (Vec<String>, Vec<String>) {
    // The state that gives the remedy most of its chance; for `undecided` the likeliest.
    let share = |i: usize| match kind {
        RemedyKind::Undecided => chances[i],
        _ => chances[i] * suitability(kind, PlankState::ALL[i], circumstances),
    };
    let main = (0..STATE_COUNT).max_by(|a, b| share(*a).total_cmp(&share(*b))).unwrap_or(0);
    let mut weights: Vec<(f64, &Evidence)> =
        items.iter().map(|item| (weight_without(item, items, main), item)).collect();
    weights.sort_by(|a, b| b.0.total_cmp(&a.0));
    let sentence = |(weight, item): &(f64, &Evidence)| {
        let times = libm::exp(weight.abs()).min(99.0);
        format!("{} (weighs {times:.1} : 1)", item.text)
    };
    let mut reasons_for = vec![format!(
        "the likeliest explanation is a plank {} ({:.0} %)",
        PlankState::ALL[main].words(),
        100.0 * chances[main]
    )];
    reasons_for.extend(
        weights
            .iter()
            .filter(|(weight, _)| *weight >= REASON_WEIGHT_MIN)
            .take(REASON_COUNT_MAX)
            .map(sentence),
    );
    let against = weights.iter().rev().filter(|(weight, _)| *weight <= -REASON_WEIGHT_MIN);
    let mut reasons_against: Vec<String> = against.take(REASON_COUNT_MAX).map(sentence).collect();
    let rival = (0..STATE_COUNT)
        .filter(|i| *i != main)
        .max_by(|a, b| chances[*a].total_cmp(&chances[*b]))
        .filter(|i| chances[*i] >= 0.05);
    if let Some(rival) = rival {
        reasons_against.push(format!(
            "the plank may as well be {} ({:.0} %)",
            PlankState::ALL[rival].words(),
            100.0 * chances[rival]
        ));
    }
    (reasons_for, reasons_against)
}

/// Weight of an item against the states as they stand without it.
fn weight_without(item: &Evidence, items: &[Evidence], state: usize) -> f64 {
    let rest: Vec<Evidence> = items.iter().filter(|other| *other != item).cloned().collect();
    item.weight_for(state, &weigh(&rest))
}

fn add_plain_reasons(
    findings: &Findings<'_>,
    circumstances: &Circumstances,
    kind: RemedyKind,
    reasons_for: &mut Vec<String>,
    reasons_against: &mut Vec<String>,
) {
    let condition = findings.condition;
    if let Some(cents) = condition.pitch_cents.filter(|cents| cents.is_finite() && *cents <= -30.0)
    {
        // String tension goes with the square of frequency (DER).
        let lower = 1.0 - libm::exp2(cents / 600.0);
        reasons_for.push(format!(
            "the piano stands {:.0} cents flat: its strings pull {:.0} % less than at pitch; \
             holding factors are taken at target pitch",
            -cents,
            100.0 * lower
        ));
    }
    reasons_against.extend(lever_doubt::against(findings));
    if circumstances.room <= 0.0 && kind != RemedyKind::Leave {
        reasons_for.push("no larger practical pin size is left".to_owned());
    }
    if kind == RemedyKind::Plank && condition.plank != Some(PlankSight::PliesParted) {
        reasons_against.push(
            "torque neither proves nor clears a split, and parted plies were not seen".to_owned(),
        );
    }
    if findings.statistics.used_count < findings.statistics.pin_count {
        reasons_against.push(format!(
            "{} of {} pins were read; the rest is estimated",
            findings.statistics.used_count, findings.statistics.pin_count
        ));
    }
    let peaks = findings.pins.iter().filter(|pin| pin.kind == Some(TorqueKind::Peak)).count();
    if peaks > 0 {
        reasons_against.push(format!(
            "{peaks} readings are peaks, which include the break and flatter the pin"
        ));
    }
}

struct Observation {
    question: &'static str,
    trouble: f64,
    outcomes: Vec<(&'static str, Evidence, Option<bool>)>,
}

fn open_observations(findings: &Findings<'_>) -> Vec<Observation> {
    let condition = findings.condition;
    let mut open = Vec::new();
    if condition.tune.is_none() {
        open.push(Observation {
            question: "ask whether it holds its tune, and when it was last tuned",
            trouble: 0.01,
            outcomes: vec![
                (
                    "it turned out to stay in tune",
                    evidence::tune_evidence(TuneStability::Stable),
                    None,
                ),
                (
                    "it turned out not to stay in tune",
                    evidence::tune_evidence(TuneStability::Unstable),
                    None,
                ),
            ],
        });
    }
    if diameters(findings.pins).0.is_none() && loose_pins(findings.pins).count() > 0 {
        open.push(Observation {
            question: MEASURE_DIAMETERS,
            trouble: 0.02,
            outcomes: vec![
                ("the loose pins were larger ones", evidence::size_supposed(true), None),
                ("the loose pins were of a first size", evidence::size_supposed(false), None),
            ],
        });
    }
    if condition.contamination.is_none() {
        open.push(Observation {
            question: "look for oil, stain and glue round the pins",
            trouble: 0.02,
            outcomes: vec![
                ("oil or stain was found at the pins", evidence::stain_evidence(true), None),
                ("the pins were found clean", evidence::stain_evidence(false), None),
            ],
        });
    }
    if condition.relative_humidity.is_none() {
        open.push(Observation {
            question: "log the room's humidity for some weeks and read the same pins again",
            trouble: 0.04,
            outcomes: vec![
                ("the room had been dry", evidence::room_evidence(true, None), Some(true)),
                ("the room had not been dry", evidence::room_evidence(false, None), Some(false)),
            ],
        });
    }
    if condition.plank.is_none() {
        open.push(Observation {
            question: LOOK_AT_PLANK,
            trouble: 0.03,
            outcomes: vec![
                (
                    "plies were seen to have parted",
                    evidence::sight_evidence(PlankSight::PliesParted),
                    None,
                ),
                (
                    "the plank looked sound where it can be seen",
                    evidence::sight_evidence(PlankSight::SeenSound),
                    None,
                ),
                (
                    "the plank was seen to have left its seat",
                    evidence::sight_evidence(PlankSight::OffBack),
                    None,
                ),
            ],
        });
    }
    open
}

/// Each open observation each way: sentences where the verdict would change, and the question
/// with the greatest expected gain in the chance of being right, less its trouble.
fn suppose(
    findings: &Findings<'_>,
    items: &[Evidence],
    circumstances: &Circumstances,
    current: (RemedyKind, f64),
) -> (Vec<String>, Option<&'static str>) {
    let chances = weigh(items);
    let mut sentences = Vec::new();
    let mut best: Option<(f64, &'static str)> = None;
    for observation in open_observations(findings) {
        let likely: Vec<f64> = observation
            .outcomes
            .iter()
            .map(|(_, item, _)| {
                let fits = chances.iter().zip(item.log_fit);
                fits.fold(0.0, |sum, (chance, fit)| sum + chance * libm::exp(fit))
            })
            .collect();
        let total = likely.iter().fold(0.0, |sum, chance| sum + chance).max(1e-12);
        let mut gain = -current.1;
        for ((words, item, dry), chance) in observation.outcomes.into_iter().zip(&likely) {
            let chance = chance / total;
            let mut supposed = items.to_vec();
            supposed.push(item);
            let mut then = *circumstances;
            then.dry_room = dry.or(then.dry_room);
            let top = rank(&weigh(&supposed), &then)[0];
            gain += chance * top.1;
            if top.0 != current.0 && chance >= OUTCOME_CHANCE_MIN {
                sentences.push(format!(
                    "if {words} (chance {:.0} %): {} ({:.0} %)",
                    100.0 * chance,
                    top.0.word(),
                    100.0 * top.1
                ));
            }
        }
        let worth = gain - observation.trouble;
        if best.is_none_or(|(most, _)| worth > most) {
            best = Some((worth, observation.question));
        }
    }
    (sentences, best.map(|(_, question)| question))
}

fn next(findings: &Findings<'_>, kind: RemedyKind, told: Option<&'static str>) -> Option<String> {
    let statistics = findings.statistics;
    let used = statistics.used_count as f64;
    if used < SAMPLE_SHARE_LOW * statistics.pin_count as f64 && used < 40.0 {
        return Some(format!(
            "read more pins, some in every row of every section: {} of {} is few",
            statistics.used_count, statistics.pin_count
        ));
    }
    if let Some(lever) = lever_doubt::next(findings) {
        return Some(lever);
    }
    // The gravest steps wait for eyes, whatever the odds say.
    let grave = matches!(kind, RemedyKind::Plank | RemedyKind::RepairBlock);
    if grave && findings.condition.plank.is_none() {
        return Some(LOOK_AT_PLANK.to_owned());
    }
    told.map(str::to_owned)
}

/// What to confirm before a remedy is begun.
pub(super) fn confirm(findings: &Findings<'_>, kind: RemedyKind) -> Vec<String> {
    use RemedyKind::{Climate, Elsewhere, Larger, Leave, NotWorth, Plank, Rebush, RepairBlock};
    use RemedyKind::{Restring, Treat, Undecided};
    let place = findings.zones.first().map_or("the loosest place", |zone| zone.place.as_str());
    let mut list = lever_doubt::confirm(findings);
    match kind {
        Plank | RepairBlock | NotWorth => {
            match findings.instrument.kind {
                InstrumentKind::Grand => list.extend([
                    "the plank's ends and front edge: open glue lines, parted plies".to_owned(),
                    "its underside, with a light (a clean one clears little: pins stop short of it)"
                        .to_owned(),
                    "the joint to case and plate flange: a gap?".to_owned(),
                ]),
                InstrumentKind::Upright => list.extend([
                    "the plank's top edge under the lid: open glue lines, parted plies".to_owned(),
                    "the joint to the back posts, and a hollow knock".to_owned(),
                ]),
            }
            list.push(format!("one pin drawn at {place}: a light down the hole, stain, grain"));
            list.push("the same pins read again on another day".to_owned());
        }
        Larger | Restring => {
            // One trial pin is no trial yet.
            if findings.condition.trials.len() < 2 {
                list.push(
                    "two or three trial pins of the new size, in bad and ordinary holes, read \
                     again before the whole order"
                        .to_owned(),
                );
            }
            list.push("diameters and lengths fitted now, and that plate and tip take more".into());
        }
        Treat => {
            list.push(format!("at {place}: no oil round the pins before any glue"));
            list.push("coil gap and room to drive, before tapping".to_owned());
        }
        Rebush => list.push("that bushings, not the plank, are worn: one drawn pin".to_owned()),
        Elsewhere => list.push(
            "the joint of plank and back, the gap at the flange, plate and struts, bridges and \
             strings' bearing"
                .to_owned(),
        ),
        Climate => list.push("humidity logged for six to eight weeks, then the same pins".into()),
        Leave | Undecided => {}
    }
    list
}

/// What was not examined, as far as the record tells.
pub(super) fn not_examined(findings: &Findings<'_>) -> Vec<String> {
    let condition = findings.condition;
    let statistics = findings.statistics;
    let mut list = Vec::new();
    let mut unless = |known: bool, words: &str| {
        if !known {
            list.push(words.to_owned());
        }
    };
    unless(condition.plank.is_some(), "the plank's edges, underside and joints");
    unless(condition.tune.is_some(), "whether it holds its tune");
    unless(condition.contamination.is_some(), "oil, stain or glue at the pins");
    unless(condition.relative_humidity.is_some(), "the room's humidity over the last weeks");
    unless(condition.pitch_cents.is_some(), "its pitch as found");
    unless(condition.bushed_plate.is_some(), "the plate's bushings");
    let sized = findings.pins.iter().filter(|pin| pin.site.diameter_um.is_some()).count();
    unless(sized == findings.pins.len(), "the diameter of some or all pins");
    unless(condition.largest_pin_um.is_some(), "the largest pin that plate and tip take");
    unless(false, "the length of the pins and their grip");
    unless(false, "the inside of the plank: no pin was drawn, no plate lifted");
    let unread = statistics.pin_count - statistics.read_count;
    if unread > 0 {
        list.push(format!("{unread} of {} pins", statistics.pin_count));
    }
    let one_way = findings
        .pins
        .iter()
        .filter(|pin| pin.read && (pin.sharp_nm.is_none() || pin.flat_nm.is_none()))
        .count();
    if one_way > 0 {
        list.push(format!("{one_way} pins in both directions: friction rests on the string scale"));
    }
    if statistics.incomparable_count > 0 {
        list.push(format!(
            "{} pins under string pull: they were read unstrung",
            statistics.incomparable_count
        ));
    }
    list
}
