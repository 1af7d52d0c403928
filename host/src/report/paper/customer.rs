//! What the customer reads: two or three pages in plain words.
//!
//! Deliberately not here: single pins and how evidence is weighed (`annex`).

use super::tables;
use super::{Sheets, say};
use crate::analysis::verdict::ConfidenceCap;
use crate::analysis::zones::Zone;
use crate::analysis::{PinResult, RemedyKind};
use crate::instrument::note::note_name;
use crate::report::document::{Block, Fact};
use crate::report::picture::{self, View};
use crate::report::{marks, remedy_said, zone_letter};
use crate::text::{printable, printable_short};
use crate::words::{Fixed, Numeral, Said, Word, findings, plank, remedies};

/// Reasons told of each side; the annex has all.
const REASON_COUNT: usize = 3;
/// Longest answer told before the annex, characters.
const ANSWER_COUNT_MAX: usize = 300;
/// Items from which a list stands in two columns.
const COLUMN_COUNT_MIN: usize = 5;
/// Zones told with what they usually mean, and meanings of each; the annex has all.
const ZONE_COUNT: usize = 2;
const MEANING_COUNT: usize = 2;
/// Least chance of being right with which a remedy is put before the customer.
const TOLD_CHANCE_MIN: f64 = 0.08;

/// All blocks.
pub(super) fn blocks(sheets: &Sheets<'_>) -> Vec<Block> {
    let mut blocks = Vec::new();
    blocks.extend(sheets.context.letterhead.clone().map(Block::Letterhead));
    if sheets.context.is_demo {
        blocks.push(Block::Banner(sheets.word(say::DEMO)));
    }
    blocks.push(Block::Title { title: sheets.word(say::REPORT), subtitle: subtitle(sheets) });
    verdict(sheets, &mut blocks);
    blocks.push(sheets.heading(say::PIN_FIELD));
    blocks.push(sheets.drawing(View::Torque, picture::overview));
    if !sheets.setting.customer_only {
        blocks.push(sheets.note(&say::MORE_VIEWS.said()));
    }
    let confirm = &sheets.model.assessment.verdict.confirm_before_acting;
    if !confirm.is_empty() {
        blocks.push(sheets.heading(say::CONFIRM));
        blocks.push(Block::List(sheets.say_all(confirm)));
    }
    why(sheets, &mut blocks);
    zones(sheets, &mut blocks);
    blocks.push(sheets.heading(say::BANDS));
    tables::bands(sheets, &mut blocks);
    blocks.push(sheets.heading(say::REMEDIES));
    tables::remedies(sheets, &mut blocks);
    costs(sheets, &mut blocks);
    blocks.push(sheets.heading(say::NOT_CHECKED));
    not_examined(sheets, &mut blocks);
    conditions(sheets, &mut blocks);
    let length_max = if sheets.setting.customer_only { usize::MAX } else { ANSWER_COUNT_MAX };
    recorded(sheets, length_max, say::SEEN_AND_TOLD, &mut blocks);
    if !sheets.context.photos.is_empty() {
        blocks.push(sheets.heading(say::PHOTOS));
        blocks.push(Block::Photos(sheets.context.photos.clone()));
    }
    blocks.push(sheets.heading(say::CAUTIONS));
    // That it is an opinion stands over the signature.
    let cautions = sheets.model.assessment.verdict.cautions.iter();
    let cautions = cautions.filter(|caution| **caution != remedies::OPINION);
    blocks.push(Block::List(cautions.map(|caution| sheets.word(*caution)).collect()));
    signature(sheets, &mut blocks);
    blocks
}

/// What was not examined; a long list in two columns.
fn not_examined(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let items = sheets.say_all(&sheets.model.assessment.verdict.not_examined);
    if items.len() < COLUMN_COUNT_MIN {
        blocks.push(Block::List(items));
        return;
    }
    let (left, right) = items.split_at(items.len().div_ceil(2));
    blocks.push(Block::Beside(vec![Block::List(left.to_vec())], vec![Block::List(right.to_vec())]));
}

/// The remedies in the technician's own rates, where a price file was given.
fn costs(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let Some(compared) = &sheets.context.costs else { return };
    let currency = printable_short(&compared.currency, super::NAME_COUNT_MAX);
    let amount = |amount: f64| match currency.is_empty() {
        true => Said::same(format!("{amount:.0}")),
        false => Said::same(format!("{amount:.0} {currency}")),
    };
    blocks.push(sheets.subheading(say::COSTS));
    tables::costs(sheets, compared, &currency, blocks);
    let mut lines = Vec::new();
    if let Some(best) = compared.best() {
        lines.push(say::least_expected(remedies::name(best.remedy), amount(best.expected)));
    }
    for (remedy, why) in &compared.ruled_out {
        lines.push(say::ruled_out(remedies::name(*remedy), *why));
    }
    let unpriced: Vec<Said> =
        compared.unpriced.iter().map(|remedy| remedies::name(*remedy).said()).collect();
    if !unpriced.is_empty() {
        lines.push(say::unpriced(Said::joined(&unpriced, ", ")));
    }
    lines.push(match compared.look_first() {
        Some(first) => say::pays_first(first.look.question(), amount(first.net)),
        None => say::NOTHING_PAYS_FIRST.said(),
    });
    blocks.push(Block::List(sheets.say_all(&lines)));
    let years = Fixed(compared.horizon_years, 0);
    blocks.push(sheets.note(&say::costs_note(years)));
}

/// Which instrument and how much of it was read.
fn subtitle(sheets: &Sheets<'_>) -> String {
    let instrument = sheets.model.instrument;
    let statistics = &sheets.model.assessment.statistics;
    let note = |note: u8| note_name(note).unwrap_or_else(|| note.to_string());
    let compass = say::compass(
        note(instrument.first_note),
        note(instrument.last_note),
        statistics.pin_count,
        statistics.read_count,
    );
    let name = printable_short(&instrument.name, super::NAME_COUNT_MAX);
    format!("{name}: {}", sheets.say(&compass))
}

fn verdict(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let verdict = &sheets.model.assessment.verdict;
    let capped = match verdict.confidence_cap {
        Some(ConfidenceCap::PliesUnseen) => say::CAPPED_PLIES.said(),
        Some(ConfidenceCap::LeverInDoubt) => say::CAPPED_LEVER.said(),
        None => Said::default(),
    };
    let confidence = say::confidence(
        Fixed(100.0 * verdict.confidence, 0),
        say::confidence_word(verdict.confidence),
        capped,
    );
    let mut under = vec![sheets.say(&confidence)];
    if verdict.remedy.kind().is_irreversible() {
        under.push(sheets.word(say::IRREVERSIBLE));
    }
    blocks.push(Block::Result { line: sheets.say(&remedy_said(verdict.remedy)), under });
    blocks.push(sheets.subheading(say::OWN_DECISION));
    let own = &sheets.context.own_decision;
    let nothing = sheets.word(say::NO_OWN_DECISION);
    blocks.push(Block::Paragraph(if own.is_empty() { nothing } else { printable(own) }));
    let doubts = marks::doubts(sheets.model.assessment);
    if !doubts.is_empty() {
        blocks.push(sheets.subheading(say::LEVER_IN_DOUBT));
        blocks.push(Block::List(sheets.say_all(&doubts)));
    }
}

fn why(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let verdict = &sheets.model.assessment.verdict;
    let first = |reasons: &[Said]| sheets.say_all(&reasons[..reasons.len().min(REASON_COUNT)]);
    let against = match verdict.reasons_against.is_empty() {
        true => Block::Paragraph(sheets.word(say::NOTHING_OF_WEIGHT)),
        false => Block::List(first(&verdict.reasons_against)),
    };
    blocks.push(sheets.heading(say::WHY));
    blocks.push(Block::Beside(
        vec![sheets.subheading(say::FOR), Block::List(first(&verdict.reasons_for))],
        vec![sheets.subheading(say::AGAINST), against],
    ));
    if let Some(next) = &verdict.next_observation {
        blocks.push(Block::Paragraph(sheets.say(&say::next(next))));
    }
}

fn zones(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    blocks.push(sheets.heading(say::ZONES));
    if assessment.zones.is_empty() {
        blocks.push(Block::Paragraph(sheets.word(say::NO_ZONE)));
    }
    let title = |index: usize| {
        let shape = plank::shape(assessment.zones[index].shape);
        sheets.say(&say::zone_title(zone_letter(index), shape))
    };
    for (index, zone) in assessment.zones.iter().enumerate().take(ZONE_COUNT) {
        blocks.push(Block::Subheading(title(index)));
        blocks.push(Block::Paragraph(capital(&sheets.say(&zone_told(sheets, zone)))));
        let meanings =
            zone.readings.iter().take(MEANING_COUNT).map(|reading| {
                sheets.say(&say::graded(reading.text, say::plain_grade(reading.grade)))
            });
        if !zone.readings.is_empty() {
            blocks.push(sheets.note(&say::USUALLY_MEANS.said()));
            blocks.push(Block::List(meanings.collect()));
        }
    }
    let rest =
        assessment.zones.iter().enumerate().skip(ZONE_COUNT).map(|(index, zone)| {
            format!("{}: {}", title(index), sheets.say(&zone_told(sheets, zone)))
        });
    let rest: Vec<String> = rest.collect();
    if !rest.is_empty() {
        blocks.push(Block::List(rest));
    }
    blocks.push(sheets.note(&findings::ZONES_ARE_NO_PROOF.said()));
}

/// A sentence with a capital at its beginning.
pub(super) fn capital(text: &str) -> String {
    let mut characters = text.chars();
    let first = characters.next().into_iter().flat_map(char::to_uppercase);
    first.chain(characters).collect()
}

/// A zone's place, its pins, and what they hold beside their surroundings.
pub(super) fn zone_told(sheets: &Sheets<'_>, zone: &Zone) -> Said {
    let shown = |nm: f64| Numeral(crate::report::torque(nm, sheets.setting.unit));
    say::zone_told(
        &zone.place,
        picture::words::loose_of(zone),
        shown(zone.friction_median_nm),
        zone.surroundings_words(),
        shown(zone.surroundings_nm),
    )
}

/// Under which conditions the readings were taken, and what measuring did to the tuning.
fn conditions(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let context = sheets.context;
    let condition = &sheets.model.assessment.verdict.condition;
    let missing = || say::NOT_RECORDED.said();
    let humidity = condition.relative_humidity.filter(|h| h.is_finite());
    let humidity = humidity.map_or_else(missing, |h| say::percent(Fixed(100.0 * h, 0)));
    let pitch = condition.pitch_cents.filter(|cents| cents.is_finite());
    let pitch = pitch.map_or_else(missing, |cents| {
        say::cents(Numeral(crate::report::numbers::signed(cents, 0)))
    });
    let temperature = context.temperature.clone().unwrap_or_else(missing);
    let typed = |text: &str| {
        if text.is_empty() { missing() } else { Said::same(text) }
    };
    let facts = [
        (say::MEASURED_ON, typed(&context.survey_date)),
        (say::MEASURED_BY, typed(&context.technician)),
        (say::FOR_WHOM, Said::same(&*context.owner)),
        (say::INSTRUMENT, context.instrument_note.clone()),
        (say::SURVEY, context.survey.clone()),
        (say::TOOL, context.tool.clone()),
        (say::HUMIDITY, humidity),
        (say::TEMPERATURE, temperature),
        (say::PITCH, pitch),
        (say::DIRECTIONS, directions(&sheets.model.assessment.pins)),
    ];
    let facts = facts.iter().filter(|(_, value)| !value.is_empty());
    blocks.push(sheets.heading(say::CONDITIONS));
    blocks.push(Block::Facts(
        facts.map(|(name, value)| Fact::new(sheets.word(*name), sheets.say(value))).collect(),
    ));
    let sections: Vec<Said> = sheets
        .model
        .assessment
        .statistics
        .sections
        .iter()
        .map(|section| {
            say::read_in(plank::section(&section.name), section.read_count, section.pin_count)
        })
        .collect();
    if sections.len() > 1 {
        let list = Said::joined(&sections, ", ");
        blocks.push(Block::Paragraph(sheets.say(&say::read_by_section(list))));
    }
    marked(sheets, blocks);
    blocks.push(sheets.note(&say::WHAT_FRICTION_IS.said()));
}

/// How many pins were read which way.
fn directions(pins: &[PinResult]) -> Said {
    let count =
        |test: fn(&PinResult) -> bool| pins.iter().filter(|pin| pin.read && test(pin)).count();
    say::directions(
        count(|pin| pin.sharp_nm.is_some() && pin.flat_nm.is_some()),
        count(|pin| pin.sharp_nm.is_some() && pin.flat_nm.is_none()),
        count(|pin| pin.sharp_nm.is_none() && pin.flat_nm.is_some()),
    )
}

/// Readings of a lever in doubt, counted and by name, and readings of no pin.
fn marked(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    let read_count = assessment.statistics.read_count;
    let mut lines: Vec<Said> = marks::groups(assessment)
        .iter()
        .map(|group| {
            let pins = marks::pins_text(group, read_count);
            say::marked(plank::mark(group.mark), group.pins.len(), read_count, pins)
        })
        .collect();
    match assessment.statistics.stray_count {
        0 => {}
        1 => lines.push(say::ONE_STRAY.said()),
        count => lines.push(say::stray(count)),
    }
    if !lines.is_empty() {
        blocks.push(Block::List(sheets.say_all(&lines)));
    }
}

/// What was seen and told beside torque: an item for each thing it is about.
pub(super) fn recorded(
    sheets: &Sheets<'_>,
    length_max: usize,
    heading: Word,
    blocks: &mut Vec<Block>,
) {
    if sheets.context.recorded.is_empty() {
        return;
    }
    blocks.push(sheets.heading(heading));
    let items = sheets.context.recorded.iter().map(|(group, facts)| {
        let answers = facts.iter().map(|(fact, answer)| {
            let answer = answer.to(sheets.setting.language);
            if answer.chars().count() <= length_max {
                return sheets.say(&say::answered(fact, answer));
            }
            let begun: String = answer.chars().take(length_max).collect();
            sheets.say(&say::answered(fact, say::cut_short(begun)))
        });
        let answers: Vec<String> = answers.collect();
        sheets.say(&say::answered(*group, answers.join("; ")))
    });
    blocks.push(Block::List(items.collect()));
}

/// Whether an answer is longer than the customer's part tells.
pub(super) fn is_cut_short(sheets: &Sheets<'_>) -> bool {
    let answers = sheets.context.recorded.iter().flat_map(|(_, facts)| facts);
    let language = sheets.setting.language;
    let mut lengths = answers.map(|(_, answer)| answer.to(language).chars().count());
    lengths.any(|length| length > ANSWER_COUNT_MAX)
}

fn signature(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let technician = printable_short(&sheets.context.technician, super::NAME_COUNT_MAX);
    let line = match technician.is_empty() {
        true => sheets.word(say::SIGNATURE),
        false => sheets.say(&say::signature_of(technician)),
    };
    blocks.push(sheets.note(&say::OPINION.said()));
    blocks.push(Block::Signatures(vec![line]));
}

/// Whether a remedy is worth a line before the customer: likely enough, or the chosen one.
pub(super) fn is_told(kind: RemedyKind, chance: f64, chosen: RemedyKind) -> bool {
    chance >= TOLD_CHANCE_MIN || kind == chosen
}
