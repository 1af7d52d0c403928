//! Why this verdict: evidence for and against, what was not looked at, what would change it.
//!
//! *What would change it* is computed, not written by hand: each open observation is supposed to
//! have come out each way, and the verdict is taken again.

use super::super::input::{PlankSight, TorqueKind};
use super::evidence::{Evidence, weigh};
use super::look::{Look, is_sized};
use super::remedy::{Circumstances, rank, suitability};
use super::state::{PlankState, STATE_COUNT};
use super::{Findings, RemedyKind, lever_doubt};
use crate::instrument::InstrumentKind;
use crate::words::{Fixed, Said, Word, findings as say, plank, remedies};

/// Evidence that shifts the odds less than this (natural logarithm) is no reason.
const REASON_WEIGHT_MIN: f64 = 0.25;
const REASON_COUNT_MAX: usize = 4;
/// Outcomes less likely than this are not worth a sentence.
const OUTCOME_CHANCE_MIN: f64 = 0.02;
/// Share of pins read below which reading more is the first advice.
const SAMPLE_SHARE_LOW: f64 = 0.5;

pub(super) struct Explanation {
    pub(super) reasons_for: Vec<Said>,
    pub(super) reasons_against: Vec<Said>,
    pub(super) what_would_change_it: Vec<Said>,
    pub(super) next_observation: Option<Said>,
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
) -> (Vec<Said>, Vec<Said>) {
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
        say::weighs(&item.text, Fixed(times, 1))
    };
    let state = |index: usize| plank::state(PlankState::ALL[index]);
    let mut reasons_for = vec![say::likeliest(state(main), Fixed(100.0 * chances[main], 0))];
    reasons_for.extend(
        weights
            .iter()
            .filter(|(weight, _)| *weight >= REASON_WEIGHT_MIN)
            .take(REASON_COUNT_MAX)
            .map(sentence),
    );
    let against = weights.iter().rev().filter(|(weight, _)| *weight <= -REASON_WEIGHT_MIN);
    let mut reasons_against: Vec<Said> = against.take(REASON_COUNT_MAX).map(sentence).collect();
    let rival = (0..STATE_COUNT)
        .filter(|i| *i != main)
        .max_by(|a, b| chances[*a].total_cmp(&chances[*b]))
        .filter(|i| chances[*i] >= 0.05);
    if let Some(rival) = rival {
        reasons_against.push(say::rival(state(rival), Fixed(100.0 * chances[rival], 0)));
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
    reasons_for: &mut Vec<Said>,
    reasons_against: &mut Vec<Said>,
) {
    let condition = findings.condition;
    if let Some(cents) = condition.pitch_cents.filter(|cents| cents.is_finite() && *cents <= -30.0)
    {
        // String tension goes with the square of frequency (DER).
        let lower = 1.0 - libm::exp2(cents / 600.0);
        reasons_for.push(say::flat_pitch(Fixed(-cents, 0), Fixed(100.0 * lower, 0)));
    }
    reasons_against.extend(lever_doubt::against(findings));
    if circumstances.room <= 0.0 && kind != RemedyKind::Leave {
        reasons_for.push(say::NO_SIZE_LEFT.said());
    }
    if kind == RemedyKind::Plank && condition.plank != Some(PlankSight::PliesParted) {
        reasons_against.push(say::TORQUE_PROVES_NOTHING.said());
    }
    if findings.statistics.used_count < findings.statistics.pin_count {
        let statistics = findings.statistics;
        reasons_against.push(say::not_all_read(statistics.used_count, statistics.pin_count));
    }
    let peaks = findings.pins.iter().filter(|pin| pin.kind == Some(TorqueKind::Peak)).count();
    if peaks > 0 {
        reasons_against.push(say::peaks(peaks));
    }
}

/// Each open observation each way: sentences where the verdict would change, and the question
/// with the greatest expected gain in the chance of being right, less its trouble.
fn suppose(
    findings: &Findings<'_>,
    items: &[Evidence],
    circumstances: &Circumstances,
    current: (RemedyKind, f64),
) -> (Vec<Said>, Option<Word>) {
    let chances = weigh(items);
    let mut sentences = Vec::new();
    let mut best: Option<(f64, Word)> = None;
    let sized = is_sized(findings.pins);
    for look in Look::ALL {
        if !look.is_open(findings.condition, sized, circumstances.room) {
            continue;
        }
        let outcomes = look.outcomes();
        let likely: Vec<f64> = outcomes
            .iter()
            .map(|outcome| {
                let fits = chances.iter().zip(outcome.evidence.log_fit);
                fits.fold(0.0, |sum, (chance, fit)| sum + chance * libm::exp(fit))
            })
            .collect();
        let total = likely.iter().fold(0.0, |sum, chance| sum + chance).max(1e-12);
        let mut gain = -current.1;
        for (outcome, chance) in outcomes.into_iter().zip(&likely) {
            let chance = chance / total;
            let mut supposed = items.to_vec();
            let then = outcome.then(*circumstances);
            supposed.push(outcome.evidence);
            let top = rank(&weigh(&supposed), &then)[0];
            gain += chance * top.1;
            if top.0 != current.0 && chance >= OUTCOME_CHANCE_MIN {
                let (chance, then) = (Fixed(100.0 * chance, 0), Fixed(100.0 * top.1, 0));
                sentences.push(say::supposed(outcome.words, chance, remedies::name(top.0), then));
            }
        }
        let worth = gain - look.trouble();
        if best.is_none_or(|(most, _)| worth > most) {
            best = Some((worth, look.question()));
        }
    }
    (sentences, best.map(|(_, question)| question))
}

fn next(findings: &Findings<'_>, kind: RemedyKind, told: Option<Word>) -> Option<Said> {
    let statistics = findings.statistics;
    let used = statistics.used_count as f64;
    if used < SAMPLE_SHARE_LOW * statistics.pin_count as f64 && used < 40.0 {
        return Some(say::read_more(statistics.used_count, statistics.pin_count));
    }
    if let Some(lever) = lever_doubt::next(findings) {
        return Some(lever);
    }
    // The gravest steps wait for eyes, whatever the odds say.
    let grave = matches!(kind, RemedyKind::Plank | RemedyKind::RepairBlock);
    if grave && findings.condition.plank.is_none() {
        return Some(say::LOOK_AT_PLANK.said());
    }
    told.map(Word::said)
}

/// What to confirm before a remedy is begun.
pub(super) fn confirm(findings: &Findings<'_>, kind: RemedyKind) -> Vec<Said> {
    use RemedyKind::{Climate, Elsewhere, Larger, Leave, NotWorth, Plank, Rebush, RepairBlock};
    use RemedyKind::{Restring, Treat, Undecided};
    let place = findings.zones.first().map(|zone| zone.place.clone());
    let place = place.unwrap_or_else(|| say::LOOSEST_PLACE.said());
    let mut list = lever_doubt::confirm(findings);
    match kind {
        Plank | RepairBlock | NotWorth => {
            match findings.instrument.kind {
                InstrumentKind::Grand => list.extend(
                    [say::CONFIRM_ENDS, say::CONFIRM_UNDERSIDE, say::CONFIRM_JOINT].map(Word::said),
                ),
                InstrumentKind::Upright => {
                    list.extend([say::CONFIRM_TOP_EDGE, say::CONFIRM_POSTS].map(Word::said));
                }
            }
            list.push(say::draw_a_pin(&place));
            list.push(say::CONFIRM_AGAIN.said());
        }
        Larger | Restring => {
            // One trial pin is no trial yet.
            if findings.condition.trials.len() < 2 {
                list.push(say::CONFIRM_TRIAL.said());
            }
            list.push(say::CONFIRM_SIZES.said());
        }
        Treat => {
            list.push(say::no_oil(&place));
            list.push(say::CONFIRM_ROOM.said());
        }
        Rebush => list.push(say::CONFIRM_BUSHINGS.said()),
        Elsewhere => list.push(say::CONFIRM_ELSEWHERE.said()),
        Climate => list.push(say::CONFIRM_CLIMATE.said()),
        Leave | Undecided => {}
    }
    list
}

/// What was not examined, as far as the record tells.
pub(super) fn not_examined(findings: &Findings<'_>) -> Vec<Said> {
    let condition = findings.condition;
    let statistics = findings.statistics;
    let mut list = Vec::new();
    let mut unless = |known: bool, words: Word| {
        if !known {
            list.push(words.said());
        }
    };
    unless(condition.plank.is_some(), say::UNSEEN_PLANK);
    unless(condition.tune.is_some(), say::UNKNOWN_TUNE);
    unless(condition.contamination.is_some(), say::UNSEEN_STAIN);
    unless(condition.relative_humidity.is_some(), say::UNKNOWN_HUMIDITY);
    unless(condition.pitch_cents.is_some(), say::UNKNOWN_PITCH);
    unless(condition.bushed_plate.is_some(), say::UNSEEN_BUSHINGS);
    let sized = findings.pins.iter().filter(|pin| pin.site.diameter_um.is_some()).count();
    unless(sized == findings.pins.len(), say::UNKNOWN_DIAMETERS);
    unless(condition.largest_pin_um.is_some(), say::UNKNOWN_LARGEST);
    unless(false, say::UNKNOWN_LENGTH);
    unless(false, say::UNSEEN_INSIDE);
    let unread = statistics.pin_count - statistics.read_count;
    if unread > 0 {
        list.push(say::unread(unread, statistics.pin_count));
    }
    let one_way = findings
        .pins
        .iter()
        .filter(|pin| pin.read && (pin.sharp_nm.is_none() || pin.flat_nm.is_none()))
        .count();
    if one_way > 0 {
        list.push(say::one_way(one_way));
    }
    if statistics.incomparable_count > 0 {
        list.push(say::unstrung(statistics.incomparable_count));
    }
    list
}
