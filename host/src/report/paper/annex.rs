//! The technician's annex: how readings became a verdict, and all of the readings.

use super::{Sheets, chain, customer, say, tables};
use crate::instrument::InstrumentKind;
use crate::report::document::Block;
use crate::report::picture::{self, View};
use crate::report::zone_letter;
use crate::words::{Fixed, Said, Word, plank};

/// All blocks; they begin on a new page.
pub(super) fn blocks(sheets: &Sheets<'_>) -> Vec<Block> {
    let assessment = sheets.model.assessment;
    let verdict = &assessment.verdict;
    let mut blocks = vec![Block::PageBreak, sheets.heading(say::ANNEX_CHAIN)];
    chain::blocks(sheets, &mut blocks);
    blocks.push(Block::PageBreak);
    reasons(sheets, &mut blocks);
    zones(sheets, &mut blocks);
    blocks.push(sheets.heading(say::ANNEX_REMEDIES));
    tables::all_remedies(sheets, &mut blocks);
    if !verdict.parts.is_empty() {
        blocks.push(sheets.heading(say::ANNEX_PARTS));
        tables::parts(sheets, &mut blocks);
    }
    blocks.push(sheets.heading(say::ANNEX_SECTIONS));
    tables::sections(sheets, &mut blocks);
    listed(sheets, say::ANNEX_STRINGS, &assessment.pulls.sentences(), &mut blocks);
    if !sheets.context.retune.is_empty() {
        blocks.push(sheets.heading(say::ANNEX_RETUNE));
        tables::retune(sheets, &mut blocks);
    }
    blocks.push(sheets.heading(say::ANNEX_NAMES));
    let is_grand = sheets.model.instrument.kind == InstrumentKind::Grand;
    let standpoint = say::orientation(is_grand, sheets.model.has_flange(), sheets.setting.language);
    blocks.push(Block::Note(standpoint.to_owned()));
    blocks.push(sheets.drawing(View::Torque, picture::detail));
    blocks.push(sheets.heading(say::ANNEX_VIEWS));
    for view in View::ALL.into_iter().filter(|view| *view != View::Torque) {
        blocks.push(sheets.drawing(view, picture::companion));
    }
    blocks.push(sheets.heading(say::ANNEX_THRESHOLDS));
    tables::thresholds(sheets, &mut blocks);
    if customer::is_cut_short(sheets) {
        customer::recorded(sheets, usize::MAX, say::ANNEX_TOLD, &mut blocks);
    }
    blocks.push(sheets.heading(say::ANNEX_READINGS));
    tables::pins(sheets, &mut blocks);
    blocks
}

fn listed(sheets: &Sheets<'_>, heading: Word, items: &[Said], blocks: &mut Vec<Block>) {
    if !items.is_empty() {
        blocks.push(sheets.heading(heading));
        blocks.push(Block::List(sheets.say_all(items)));
    }
}

fn reasons(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let verdict = &sheets.model.assessment.verdict;
    blocks.push(sheets.heading(say::ANNEX_REASONS));
    for (word, reasons) in [
        (say::FOR, &verdict.reasons_for),
        (say::AGAINST, &verdict.reasons_against),
        (say::WOULD_CHANGE, &verdict.what_would_change_it),
    ] {
        if !reasons.is_empty() {
            blocks.push(sheets.subheading(word));
            blocks.push(Block::List(sheets.say_all(reasons)));
        }
    }
}

fn zones(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    if assessment.zones.is_empty() {
        return;
    }
    blocks.push(sheets.heading(say::ANNEX_ZONES));
    for (index, zone) in assessment.zones.iter().enumerate() {
        let title = say::zone_title(zone_letter(index), plank::shape(zone.shape));
        blocks.push(Block::Subheading(sheets.say(&title)));
        let percent = |share: f64| Fixed(100.0 * share, 0);
        let mut told = vec![
            customer::zone_told(sheets, zone),
            say::zone_depth(percent(zone.depth_share().max(0.0)), percent(zone.depth().u)),
        ];
        if !zone.tight_inside.is_empty() {
            told.push(say::zone_tight(zone.tight_inside.len()));
        }
        if !zone.unread_inside.is_empty() {
            told.push(say::zone_unread(zone.unread_inside.len()));
        }
        told.extend(zone.p_value.map(|p| say::zone_chance(Fixed(100.0 * p, 1))));
        let told = sheets.say(&Said::joined(&told, ""));
        blocks.push(Block::Paragraph(customer::capital(&told)));
        let readings = zone
            .readings
            .iter()
            .map(|reading| format!("{} [{}]", sheets.word(reading.text), reading.grade.mark()));
        blocks.push(Block::List(readings.collect()));
    }
    let rate = Fixed(100.0 * assessment.profile.false_alarm_rate.value, 0);
    blocks.push(sheets.note(&say::zone_rate(rate)));
}
