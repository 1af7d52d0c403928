//! The worked chain on one page: from one pin's readings to the verdict, in numbers that another
//! technician can follow by hand.
//!
//! Every number printed is one that the verdict used; none is worked out anew but the sums.

use super::Sheets;
use crate::analysis::verdict::remedy::suitability;
use crate::analysis::verdict::{Findings, PlankState, circumstances};
use crate::analysis::zones::place;
use crate::analysis::{Assessment, PinResult, RemedyKind};
use crate::report::document::{Align, Block, Table};
use crate::report::legend;
use crate::text::printable;
use crate::words::{Fixed, Numeral, chain as say, plank, remedies};

/// States shown as columns; the rest are added up.
const STATE_COUNT_SHOWN: usize = 5;
/// Remedies shown.
const REMEDY_COUNT_SHOWN: usize = 3;

pub(super) fn blocks(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    blocks.push(sheets.subheading(say::STEP_PIN));
    blocks.push(Block::Paragraph(match example(assessment) {
        Some(pin) => one_pin(sheets, pin),
        None => sheets.word(say::NO_PIN),
    }));
    blocks.push(sheets.subheading(say::STEP_ALL));
    let chances = assessment.pins.iter().map(|pin| pin.judgement.doubtful_chance);
    let sum = chances.fold(0.0, |sum, chance| sum + chance);
    let share = assessment.statistics.doubtful_share.value;
    let all = say::all_pins(Fixed(sum, 2), assessment.pins.len(), Fixed(100.0 * share, 1));
    blocks.push(Block::Paragraph(sheets.say(&all)));
    evidence(sheets, blocks);
    remedies_weighed(sheets, blocks);
    choice(sheets, blocks);
    blocks.push(sheets.note(&say::OURS.said()));
}

/// The pin the chain begins with: the loosest one read both ways.
fn example(assessment: &Assessment) -> Option<&PinResult> {
    let both = |pin: &&PinResult| {
        pin.read && pin.sharp_nm.is_some() && pin.flat_nm.is_some() && pin.holding_factor.is_some()
    };
    let friction = |pin: &PinResult| pin.friction_nm.map_or(f64::MAX, |friction| friction.value);
    let read = assessment.pins.iter().filter(both);
    read.min_by(|a, b| friction(a).total_cmp(&friction(b)))
}

fn one_pin(sheets: &Sheets<'_>, pin: &PinResult) -> String {
    let unit = sheets.setting.unit;
    let decimals = unit.decimals() + 1;
    // What is printed is what is worked with: rounded first.
    let rounded = |nm: f64| {
        let text = format!("{:.decimals$}", unit.from_newton_metres(nm));
        text.parse().unwrap_or(0.0)
    };
    let shown = |value: f64| Numeral(format!("{value:.decimals$}"));
    let finer = |value: f64| Numeral(format!("{value:.*}", decimals + 1));
    let of = |estimate: Option<crate::analysis::input::Estimate>| {
        estimate.map_or(0.0, |estimate| rounded(estimate.value))
    };
    let (sharp, flat, friction) = (of(pin.sharp_nm), of(pin.flat_nm), of(pin.friction_nm));
    let half: f64 = (sharp + flat) / 2.0;
    let mut text = sheets.say(&say::one_pin(
        place::pin_name(pin.pin),
        shown(sharp),
        shown(flat),
        unit.to_string(),
        finer(half),
        finer((sharp - flat) / 2.0),
    ));
    let last_digit = libm::pow(10.0, -(decimals as f64));
    if (half - friction).abs() > last_digit {
        text.push_str(&sheets.say(&say::matched(shown(friction), unit.to_string())));
    }
    let moment = rounded(pin.moment_at_pitch_nm.value);
    let factor = pin.holding_factor.map_or(0.0, |factor| factor.value);
    let band = legend::name(pin.judgement.band);
    let factor = Fixed(factor, 2);
    let unit = unit.to_string();
    text.push_str(&sheets.say(&say::factor(shown(friction), shown(moment), unit, factor, band)));
    text
}

fn index(state: PlankState) -> usize {
    PlankState::ALL.iter().position(|other| *other == state).unwrap_or(0)
}

/// A state's logarithms, prior first.
fn logarithms(assessment: &Assessment, state: PlankState) -> Vec<f64> {
    let fits = assessment.verdict.evidence.iter().map(|item| item.log_fit[index(state)]);
    std::iter::once(libm::log(state.prior())).chain(fits).collect()
}

fn evidence(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    let verdict = &assessment.verdict;
    let number = |value: f64, decimals: usize| {
        sheets.numeral(&crate::report::numbers::fixed(value, decimals))
    };
    let sums: Vec<(PlankState, Vec<f64>, f64)> = verdict
        .states
        .iter()
        .map(|(state, _)| {
            let column = logarithms(assessment, *state);
            let sum = column.iter().fold(0.0, |sum, one| sum + one);
            (*state, column, sum)
        })
        .collect();
    let (shown, rest) = sums.split_at(sums.len().min(STATE_COUNT_SHOWN));
    let heads: Vec<String> =
        shown.iter().map(|(state, ..)| sheets.word(plank::state_short(*state))).collect();
    let finding = sheets.word(say::FINDING);
    let mut columns = vec![(finding.as_str(), Align::Left, 4.0)];
    columns.extend(heads.iter().map(|head| (head.as_str(), Align::Right, 1.0)));
    let mut table = Table::new("", &columns);
    table.is_dense = true;
    let mut row = |name: String, cell: &dyn Fn(usize) -> String| {
        table.push(std::iter::once(name).chain((0..shown.len()).map(cell)));
    };
    row(sheets.word(say::BEFORE), &|at| number(shown[at].1[0], 3));
    for (item_at, item) in verdict.evidence.iter().enumerate() {
        row(sheets.say(&item.text), &|at| number(shown[at].1[item_at + 1], 3));
    }
    row(sheets.word(say::SUM), &|at| number(shown[at].2, 3));
    row(sheets.word(say::POWER), &|at| power(sheets, libm::exp(shown[at].2)));
    row(sheets.word(say::CHANCE), &|at| number(verdict.states[at].1, 3));
    table.sum_row_count = 3;
    blocks.push(sheets.subheading(say::STEP_EVIDENCE));
    blocks.push(sheets.note(&say::EVIDENCE_NOTE.said()));
    blocks.push(Block::Table(table));
    let others = rest.iter().fold(0.0, |sum, (.., log)| sum + libm::exp(*log));
    blocks.push(sheets.note(&say::others(power(sheets, others))));
}

/// A power of e, small or large, to three digits.
fn power(sheets: &Sheets<'_>, value: f64) -> String {
    sheets.numeral(&crate::report::numbers::scientific(value, 3))
}

fn remedies_weighed(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    let verdict = &assessment.verdict;
    let findings = Findings {
        instrument: sheets.model.instrument,
        pins: &assessment.pins,
        field: &assessment.field,
        zones: &assessment.zones,
        statistics: &assessment.statistics,
        condition: &verdict.condition,
        profile: &assessment.profile,
    };
    let circumstances = circumstances(&findings);
    let shown: Vec<RemedyKind> =
        verdict.alternatives.iter().take(REMEDY_COUNT_SHOWN).map(|a| a.remedy).collect();
    let names: Vec<String> = shown.iter().map(|kind| sheets.word(remedies::name(*kind))).collect();
    let (state, chance) = (sheets.word(say::STATE), sheets.word(say::CHANCE));
    let mut columns =
        vec![(state.as_str(), Align::Left, 3.6), (chance.as_str(), Align::Right, 1.5)];
    columns.extend(names.iter().map(|name| (name.as_str(), Align::Right, 1.4)));
    let mut table = Table::new("", &columns);
    table.is_dense = true;
    let number = |value: f64| sheets.numeral(&format!("{value:.3}"));
    for (state, chance) in &verdict.states {
        let suits = shown.iter().map(|kind| number(suitability(*kind, *state, &circumstances)));
        let name = printable(&sheets.word(plank::state(*state)));
        table.push([name, number(*chance)].into_iter().chain(suits));
    }
    let sums = verdict.alternatives.iter().take(shown.len()).map(|a| number(a.chance));
    table.push([sheets.word(say::ADDED_UP), String::new()].into_iter().chain(sums));
    table.sum_row_count = 1;
    blocks.push(sheets.subheading(say::STEP_REMEDIES));
    blocks.push(sheets.note(&say::SUITS_NOTE.said()));
    blocks.push(Block::Table(table));
}

fn choice(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let verdict = &sheets.model.assessment.verdict;
    let profile = &sheets.model.assessment.profile;
    let number = |value: f64| Fixed(value, 3);
    blocks.push(sheets.subheading(say::STEP_CHOICE));
    let lines = verdict.alternatives.iter().take(REMEDY_COUNT_SHOWN).map(|a| {
        let burden = a.remedy.burden();
        let name = remedies::name(a.remedy);
        sheets.say(&say::less_burden(
            name,
            number(a.chance),
            number(burden),
            number(a.chance - burden),
        ))
    });
    let lines: Vec<String> = lines.collect();
    let mut text = format!("{} {}.", sheets.word(say::BURDEN_NOTE), lines.join("; "));
    let least = Fixed(profile.undecided_below.value, 2);
    if let Some(first) = verdict.alternatives.first() {
        let decides = say::decides(remedies::name(first.remedy), least);
        text = format!("{text} {}", sheets.say(&decides));
    }
    if verdict.remedy.kind() == RemedyKind::Undecided {
        text = format!("{text} {}", sheets.say(&say::undecided(least)));
    } else if verdict.confidence_is_capped {
        text = format!("{text} {}", sheets.say(&say::capped_at(Fixed(verdict.confidence, 2))));
    }
    blocks.push(Block::Paragraph(text));
}
