//! Tables of report and annex.

use super::{Retune, Sheets, customer, say};
use crate::analysis::verdict::costs::CostComparison;
use crate::analysis::zones::place;
use crate::analysis::{Grade, PinResult, RemedyKind};
use crate::report::document::{Align, Block, Table};
use crate::report::{legend, marks, numbers, zone_letter};
use crate::text::{printable, printable_short};
use crate::words::{Fixed, Said, Word, plank, remarks, remedies as words, thresholds as named};

/// Longest remark printed in a table.
const REMARK_COUNT_MAX: usize = 160;
/// Remedies put before the customer; the annex has all.
const REMEDY_COUNT: usize = 5;
/// What stands for no value.
const NONE: &str = "–";

impl Sheets<'_> {
    fn percent(&self, share: f64) -> String {
        self.say(&say::percent(Fixed(100.0 * share, 0)))
    }

    fn or_none(&self, text: Option<String>) -> String {
        text.unwrap_or_else(|| NONE.to_owned())
    }
}

/// How many pins are in each band.
pub(super) fn bands(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    let statistics = &assessment.statistics;
    let read = statistics.read_count.max(1) as f64;
    let unit = sheets.setting.unit;
    let friction = sheets.say(&say::friction_column(unit.to_string()));
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::BAND), Align::Left, 2.0),
            (&friction, Align::Left, 4.0),
            (&sheets.word(say::PINS), Align::Right, 1.0),
            (&sheets.word(say::OF_THOSE_READ), Align::Right, 1.4),
        ],
    );
    for (band, count) in statistics.band_counts.iter().filter(|(_, count)| *count > 0) {
        table.push([
            sheets.word(legend::name(*band)),
            sheets.say(&legend::range(*band, &assessment.profile, unit)),
            count.to_string(),
            sheets.percent(*count as f64 / read),
        ]);
    }
    let unread = statistics.pin_count - statistics.read_count;
    if unread > 0 {
        let name = sheets.word(say::NOT_READ);
        table.push([name, String::new(), unread.to_string(), String::new()]);
    }
    blocks.push(Block::Table(table));
    let share = statistics.doubtful_share;
    let note = say::share_note(Fixed(100.0 * share.value, 1), Fixed(100.0 * share.u, 1));
    blocks.push(sheets.note(&note));
}

/// What can be done: the likely remedies, with what each needs and risks.
pub(super) fn remedies(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let verdict = &sheets.model.assessment.verdict;
    let chosen = verdict.remedy.kind();
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::REMEDY), Align::Left, 3.6),
            (&sheets.word(say::NEEDS), Align::Left, 3.4),
            (&sheets.word(say::RISKS), Align::Left, 3.2),
            (&sheets.word(say::CHANCE_RIGHT), Align::Right, 1.1),
        ],
    );
    let told = verdict
        .alternatives
        .iter()
        .filter(|alternative| customer::is_told(alternative.remedy, alternative.chance, chosen));
    for alternative in told.take(REMEDY_COUNT) {
        let kind = alternative.remedy;
        table.push([
            sheets.word(words::sentence(kind)),
            sheets.word(words::needs(kind)),
            sheets.word(words::risks(kind)),
            sheets.percent(alternative.chance),
        ]);
    }
    blocks.push(Block::Table(table));
    blocks.push(sheets.note(&say::REMEDIES_NOTE.said()));
}

/// The remedies in the technician's rates, least expected cost first.
pub(super) fn costs(
    sheets: &Sheets<'_>,
    compared: &CostComparison,
    currency: &str,
    blocks: &mut Vec<Block>,
) {
    let with_currency = |word: Word| {
        let text = sheets.word(word);
        if currency.is_empty() { text } else { format!("{text}, {currency}") }
    };
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::REMEDY), Align::Left, 3.6),
            (&with_currency(say::PRICE_NOW), Align::Right, 1.6),
            (&sheets.word(say::CHANCE_HOLDS), Align::Right, 1.6),
            (&with_currency(say::EXPECTED_IN_ALL), Align::Right, 2.0),
        ],
    );
    for row in &compared.remedies {
        table.push([
            sheets.word(words::name(row.remedy)),
            format!("{:.0}", row.price),
            sheets.percent(row.holds),
            format!("{:.0}", row.expected),
        ]);
    }
    blocks.push(Block::Table(table));
}

/// All remedies weighed, briefly.
pub(super) fn all_remedies(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::REMEDY), Align::Left, 2.0),
            (&sheets.word(say::MEANING), Align::Left, 6.0),
            (&sheets.word(say::CHANCE_OF_RIGHT), Align::Right, 1.8),
        ],
    );
    for alternative in &sheets.model.assessment.verdict.alternatives {
        let kind: RemedyKind = alternative.remedy;
        table.push([
            sheets.word(words::name(kind)),
            sheets.word(words::sentence(kind)),
            sheets.percent(alternative.chance),
        ]);
    }
    blocks.push(Block::Table(table));
}

/// Pins to order.
pub(super) fn parts(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::WHERE), Align::Left, 3.2),
            (&sheets.word(say::PINS), Align::Right, 0.8),
            (&sheets.word(say::SPARE), Align::Right, 1.0),
            (&sheets.word(say::NOW), Align::Right, 1.1),
            (&sheets.word(say::ORDER), Align::Right, 1.2),
            (&sheets.word(say::MIND), Align::Left, 3.4),
        ],
    );
    for line in &sheets.model.assessment.verdict.parts {
        table.push([
            sheets.say(&line.place),
            line.pin_count.to_string(),
            line.spare_count.to_string(),
            sheets.or_none(line.from_um.map(|um| sheets.diameter(um))),
            line.to_um.map_or_else(|| sheets.word(say::AT_THE_PIN), |um| sheets.diameter(um)),
            sheets.word(line.note),
        ]);
    }
    blocks.push(Block::Table(table));
}

/// The sections in numbers.
pub(super) fn sections(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let assessment = sheets.model.assessment;
    let show = |nm: Option<f64>| sheets.or_none(nm.map(|nm| sheets.torque(nm)));
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::SECTION), Align::Left, 1.5),
            (&sheets.word(say::READ), Align::Right, 1.3),
            (&sheets.word(say::MIDDLE), Align::Right, 1.2),
            (&sheets.word(say::LEAST), Align::Right, 1.2),
            (&sheets.word(say::GREATEST), Align::Right, 1.2),
            (&sheets.word(say::HOLDING_FACTOR), Align::Right, 1.2),
            (&sheets.word(say::SPREAD), Align::Right, 1.1),
            (&sheets.word(say::DOUBTFUL_OR_WORSE), Align::Right, 1.4),
        ],
    );
    for section in &assessment.statistics.sections {
        let factor = section.factor_median.map(|f| sheets.numeral(&format!("{f:.1}")));
        table.push([
            sheets.say(&plank::section(&section.name)),
            sheets.say(&say::of_read(section.read_count, section.pin_count)),
            show(section.friction_median_nm),
            show(section.friction_min_nm),
            show(section.friction_max_nm),
            sheets.or_none(factor),
            sheets.or_none(section.variation.map(|share| sheets.percent(share))),
            section.doubtful_count.to_string(),
        ]);
    }
    blocks.push(Block::Table(table));
    blocks.push(sheets.note(&say::spread_note(Fixed(100.0 * assessment.field.scatter, 0))));
}

/// Strings to retune, two beside each other.
pub(super) fn retune(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let of_string = [
        (sheets.word(say::STRING), Align::Left, 1.2),
        (sheets.word(say::NET_DEG), Align::Right, 1.1),
        (sheets.word(say::NET_CENTS), Align::Right, 1.0),
        (sheets.word(say::ON_THE_WAY), Align::Right, 1.8),
    ];
    // An empty column keeps the two apart.
    let gap = [(String::new(), Align::Left, 0.3)];
    let columns: Vec<(&str, Align, f64)> = of_string
        .iter()
        .chain(&gap)
        .chain(&of_string)
        .map(|(name, align, share)| (name.as_str(), *align, *share))
        .collect();
    let mut table = Table::new("", &columns);
    table.is_dense = true;
    let signed = |value: f64, decimals| sheets.numeral(&numbers::signed(value, decimals));
    let cells = |one: &Retune| {
        let way = format!("{} … {}", signed(one.flat_cents, 0), signed(one.sharp_cents, 0));
        [printable(&one.pin), signed(one.net_deg, 2), signed(one.net_cents, 0), way]
    };
    let all = &sheets.context.retune;
    let (left, right) = all.split_at(all.len().div_ceil(2));
    for (at, one) in left.iter().enumerate() {
        let beside = right.get(at).into_iter().flat_map(cells);
        table.push(cells(one).into_iter().chain([String::new()]).chain(beside));
    }
    blocks.push(Block::Table(table));
    blocks.push(sheets.note(&say::RETUNE_BOUNDS.said()));
}

/// Thresholds with grade and source.
pub(super) fn thresholds(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::THRESHOLD), Align::Left, 3.6),
            (&sheets.word(say::VALUE), Align::Right, 1.5),
            (&sheets.word(say::GRADE), Align::Left, 0.8),
            (&sheets.word(say::SOURCE), Align::Left, 4.2),
        ],
    );
    table.is_dense = true;
    for (name, unit, threshold) in sheets.model.assessment.profile.thresholds() {
        let value = match unit {
            "N·m" => sheets.torque(threshold.value),
            "N·m/mm" => format!("{}/mm", sheets.torque(threshold.value)),
            _ => {
                let unit = sheets.say(&named::name(unit));
                format!("{} {unit}", sheets.numeral(&threshold.value.to_string()))
            }
        };
        table.push([
            sheets.say(&named::name(name)),
            value.trim_end().to_owned(),
            threshold.grade.mark().to_owned(),
            sheets.say(&named::source(threshold.source)),
        ]);
    }
    blocks.push(Block::Table(table));
    let grades: Vec<String> = Grade::ALL
        .into_iter()
        .map(|grade| {
            let meaning = plank::grade(grade, sheets.setting.language);
            sheets.say(&say::grade_meaning(grade.mark(), meaning))
        })
        .collect();
    blocks.push(Block::Note(grades.join(" ")));
}

/// Every pin read.
pub(super) fn pins(sheets: &Sheets<'_>, blocks: &mut Vec<Block>) {
    let unit = sheets.setting.unit;
    let show = |value: Option<_>| {
        let text = value.map(|estimate| crate::report::estimate(estimate, unit));
        sheets.or_none(text.map(|text| sheets.numeral(&text)))
    };
    let of_unit = |said: Said| sheets.say(&said);
    let mut table = Table::new(
        "",
        &[
            (&sheets.word(say::PIN), Align::Left, 0.8),
            (&sheets.word(say::ROW), Align::Right, 0.65),
            (&of_unit(say::friction_column(unit.to_string())), Align::Right, 1.45),
            (&of_unit(say::sharp_column(unit.to_string())), Align::Right, 1.45),
            (&of_unit(say::flat_column(unit.to_string())), Align::Right, 1.45),
            (&sheets.word(say::HOLDING_FACTOR), Align::Right, 1.35),
            (&sheets.word(say::BAND), Align::Left, 1.6),
            (&sheets.word(say::ZONE), Align::Left, 0.65),
            (&sheets.word(say::REMARKS), Align::Left, 3.2),
        ],
    );
    table.is_dense = true;
    for pin in sheets.model.assessment.pins.iter().filter(|pin| pin.read) {
        let over = if pin.friction_is_lower_limit { "> " } else { "" };
        let factor = pin.holding_factor.map(|f| format!("{:.2} ± {:.2}", f.value, f.u));
        let unsettled = match pin.judgement.settled {
            true => String::new(),
            false => sheets.word(say::CANNOT_TELL_YET),
        };
        table.push([
            place::pin_name(pin.pin),
            pin.site.row.to_string(),
            format!("{over}{}", show(pin.friction_nm)),
            show(pin.sharp_nm),
            show(pin.flat_nm),
            sheets.or_none(factor.map(|text| sheets.numeral(&text))),
            format!("{}{unsettled}", sheets.word(legend::name(pin.judgement.band))),
            pin.zone.map_or(String::new(), |z| zone_letter(z).to_string()),
            remarks_of(sheets, pin),
        ]);
    }
    blocks.push(Block::Table(table));
    blocks.push(sheets.note(&say::READINGS_NOTE.said()));
}

fn remarks_of(sheets: &Sheets<'_>, pin: &PinResult) -> String {
    let language = sheets.setting.language;
    let all: Vec<String> =
        pin.remarks.iter().map(|remark| remarks::said(remark, language)).collect();
    let said = printable_short(&all.join("; "), REMARK_COUNT_MAX);
    match marks::of_pin(pin) {
        Some(marked) if said.is_empty() => sheets.say(&marked),
        Some(marked) => format!("{}; {said}", printable(marked.to(language))),
        None => said,
    }
}
