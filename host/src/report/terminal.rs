//! Map and verdict as plain text for a terminal, readable without colour.
//!
//! Deliberately not here: cursor movement, width detection, and any decision about colour.

use super::{
    MapModel, confidence_words, diameter, legend, marks, remedy_line, torque, zone_letter,
};
use crate::analysis::verdict::ConfidenceCap;
use crate::analysis::zones::place;
use crate::analysis::{Assessment, Band, PinResult};
use crate::instrument::InstrumentKind;
use crate::text::{printable, printable_short};
use crate::units::TorqueUnit;

/// Columns in front of each row of pins.
const MARGIN: usize = 7;
/// Narrowest map drawn; below it lines are longer than asked.
const WIDTH_MIN: usize = 40;
/// Longest name printed.
const NAME_COUNT_MAX: usize = 60;

/// One column block: notes of one section, each some cells wide.
struct Column {
    note: u8,
    section: u8,
    /// Pins side by side in one row of this note.
    cells: usize,
}

impl Column {
    /// A glyph and the zone's letter for each pin.
    const fn width(&self) -> usize {
        2 * self.cells
    }
}

/// The pin field: one glyph per pin, the letter of its zone behind it, rows as they lie.
pub fn map(model: &MapModel<'_>, unit: TorqueUnit, width: usize, colour: bool) -> String {
    let assessment = model.assessment;
    let width = width.max(WIDTH_MIN);
    let name = printable_short(&model.instrument.name, NAME_COUNT_MAX);
    let mut text = format!("{name}: {} pins, seen from the player\n", assessment.pins.len());
    let columns = columns(&assessment.pins);
    let mut rows: Vec<u8> = assessment.pins.iter().map(|pin| pin.site.row).collect();
    rows.sort_unstable();
    rows.dedup();
    if model.instrument.kind == InstrumentKind::Upright {
        // On an upright the flange lies below the field.
        rows.reverse();
    }
    let flange =
        if model.has_flange() { "-- plate flange this side --" } else { "-- string side --" };
    let upright = model.instrument.kind == InstrumentKind::Upright;
    for block in blocks(&columns, width - MARGIN) {
        text.push('\n');
        text.push_str(&section_line(block, assessment));
        if !upright {
            text.push_str(&format!("{:MARGIN$}{flange}\n", ""));
        }
        for row in rows.iter().filter(|row| has_row(**row, block, &assessment.pins)) {
            text.push_str(&row_line(*row, block, assessment, signs(assessment, colour)));
        }
        if upright {
            text.push_str(&format!("{:MARGIN$}{flange}\n", ""));
        }
        text.push_str(&ruler(block));
    }
    text.push('\n');
    text.push_str(&bands(assessment, unit, width, colour));
    text.push_str(&zones(assessment, unit, width));
    for sentence in assessment.pulls.sentences() {
        text.push_str(&wrap(&sentence, "strings: ", width));
    }
    if let Some(strays) = super::strays(assessment.statistics.stray_count) {
        text.push_str(&wrap(&strays, "note: ", width));
    }
    text
}

/// Whether a row has pins in this block.
fn has_row(row: u8, block: &[Column], pins: &[PinResult]) -> bool {
    pins.iter()
        .filter(|pin| pin.site.row == row)
        .any(|pin| block.iter().any(|c| c.note == pin.pin.note && c.section == pin.site.section))
}

fn columns(pins: &[PinResult]) -> Vec<Column> {
    let mut columns: Vec<Column> = Vec::new();
    for pin in pins {
        let (note, section) = (pin.pin.note, pin.site.section);
        let beside = pins.iter().filter(|other| {
            other.pin.note == note
                && other.site.section == section
                && other.site.row == pin.site.row
        });
        let cells = beside.count();
        match columns.iter_mut().find(|c| c.note == note && c.section == section) {
            Some(column) => column.cells = column.cells.max(cells),
            None => columns.push(Column { note, section, cells }),
        }
    }
    columns.sort_by_key(|column| (column.section, column.note));
    columns
}

/// Breaks the columns where a new section would not fit any more, or where one section is too
/// long by itself.
fn blocks(columns: &[Column], width: usize) -> Vec<&[Column]> {
    let mut blocks = Vec::new();
    let mut from = 0;
    while from < columns.len() {
        let mut to = from;
        let mut used = 0;
        let mut last_section_end = from;
        while to < columns.len() {
            let gap = usize::from(to > from && columns[to].section != columns[to - 1].section) * 2;
            if used + gap + columns[to].width() > width {
                break;
            }
            if gap > 0 {
                last_section_end = to;
            }
            used += gap + columns[to].width();
            to += 1;
        }
        // A section is kept whole unless it would leave a nearly empty line.
        let cuts_section =
            to < columns.len() && to > from && columns[to].section == columns[to - 1].section;
        if cuts_section && last_section_end > from && 2 * (last_section_end - from) > to - from {
            to = last_section_end;
        }
        let to = to.max(from + 1);
        blocks.push(&columns[from..to]);
        from = to;
    }
    blocks
}

fn with_gaps(block: &[Column]) -> impl Iterator<Item = (&'static str, &Column)> {
    block.iter().enumerate().map(|(i, column)| {
        let starts = i > 0 && block[i - 1].section != column.section;
        (if starts { "| " } else { "" }, column)
    })
}

fn section_line(block: &[Column], assessment: &Assessment) -> String {
    let sites: Vec<_> = assessment.pins.iter().map(|pin| pin.site).collect();
    let present = place::sections(&sites);
    let mut names: Vec<String> = Vec::new();
    for column in block {
        let name = place::section_name(column.section, &present);
        if names.last() != Some(&name) {
            names.push(name);
        }
    }
    format!("{:MARGIN$}{}\n", "", names.join(" | "))
}

/// What a glyph shows beside its band.
#[derive(Clone, Copy)]
struct Signs {
    colour: bool,
    /// A sign at each pin whose lever is in doubt.
    doubts: bool,
}

fn signs(assessment: &Assessment, colour: bool) -> Signs {
    Signs { colour, doubts: marks::tells_pins_apart(assessment) }
}

fn row_line(row: u8, block: &[Column], assessment: &Assessment, signs: Signs) -> String {
    let mut line = format!("row {row:<3}");
    for (gap, column) in with_gaps(block) {
        line.push_str(gap);
        let here: Vec<&PinResult> = assessment
            .pins
            .iter()
            .filter(|pin| {
                let site = &pin.site;
                pin.pin.note == column.note && site.section == column.section && site.row == row
            })
            .collect();
        for cell in 0..column.cells {
            match here.get(cell) {
                Some(pin) => line.push_str(&glyph(pin, signs)),
                None => line.push_str("  "),
            }
        }
    }
    format!("{}\n", line.trim_end())
}

/// The band's glyph, then the zone's letter; a small letter or `!` where the lever is in doubt.
fn glyph(pin: &PinResult, signs: Signs) -> String {
    let look = if pin.read { legend::look(pin.judgement.band) } else { legend::UNREAD };
    let in_doubt = signs.doubts && !pin.marks.is_empty();
    let beside = match (pin.zone.map(zone_letter), in_doubt) {
        (Some(letter), true) => letter.to_ascii_lowercase(),
        (Some(letter), false) => letter,
        (None, true) => '!',
        (None, false) => ' ',
    };
    format!("{}{beside}", painted(look, signs.colour))
}

fn painted(look: legend::Look, colour: bool) -> String {
    if !colour {
        return look.glyph.to_string();
    }
    let (r, g, b) = look.rgb;
    // Dark colours would vanish on a dark ground: paint the ground, write in black or white.
    let ink = if u32::from(r) + u32::from(g) + u32::from(b) > 330 { "30" } else { "97" };
    format!("\u{1b}[48;2;{r};{g};{b}m\u{1b}[{ink}m{}\u{1b}[0m", look.glyph)
}

/// Note numbers, every fifth and the first of the block.
fn ruler(block: &[Column]) -> String {
    let mut line = "note   ".to_owned();
    let mut at = MARGIN;
    for (i, (gap, column)) in with_gaps(block).enumerate() {
        at += gap.len();
        let label = column.note.to_string();
        let wanted = i == 0 || column.note.is_multiple_of(5);
        if wanted && line.len() <= at && (i == 0 || line.len() < at || line.ends_with(' ')) {
            line.push_str(&" ".repeat(at - line.len()));
            line.push_str(&label);
            line.push(' ');
        }
        at += column.width();
    }
    format!("{}\n", line.trim_end())
}

fn bands(assessment: &Assessment, unit: TorqueUnit, width: usize, colour: bool) -> String {
    let mut text = format!("friction in {unit} (bands are ours and can be set):\n");
    for (band, count) in &assessment.statistics.band_counts {
        if *count == 0 && *band == Band::CannotTell {
            continue;
        }
        let glyph = painted(legend::look(*band), colour);
        let range = legend::range(*band, &assessment.profile, unit);
        text.push_str(&format!("  {glyph} {count:>3}  {:<12} {range}\n", legend::name(*band)));
    }
    let unread = assessment.statistics.pin_count - assessment.statistics.read_count;
    if unread > 0 {
        text.push_str(&format!("  {} {unread:>3}  not read\n", legend::UNREAD.glyph));
    }
    let letters = "a letter behind a glyph names the pin's zone";
    if !assessment.zones.is_empty() && letters.len() <= width {
        text.push_str(&format!("  {letters}\n"));
    }
    if let Some(line) = marks::legend_line(assessment) {
        text.push_str(&wrap(&format!("in doubt: {line}"), "  ! ", width));
        if marks::tells_pins_apart(assessment) {
            let signs = "! behind a glyph marks such a pin, in a zone a small letter does";
            text.push_str(&wrap(signs, "    ", width));
        }
    }
    text
}

fn zones(assessment: &Assessment, unit: TorqueUnit, width: usize) -> String {
    let mut text = String::from("\n");
    if assessment.zones.is_empty() {
        text.push_str("zones: none stands out\n");
    }
    for (index, zone) in assessment.zones.iter().enumerate() {
        let depth = torque(zone.friction_median_nm, unit);
        let round = torque(zone.surroundings_nm, unit);
        let line = format!(
            "{} {}: {}; {} loose pins, middle {depth}, {} {round}",
            zone_letter(index),
            zone.shape.word(),
            zone.place,
            zone.pins.len(),
            zone.surroundings_words(),
        );
        text.push_str(&wrap(&line, "zone ", width));
    }
    text
}

/// The verdict: what to do, how sure, why, why not, and what to look at first.
pub fn verdict(model: &MapModel<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.max(WIDTH_MIN);
    let verdict = &model.assessment.verdict;
    let statistics = &model.assessment.statistics;
    let mut text = wrap(
        &format!("{}. {}", verdict.remedy.word(), remedy_line(verdict.remedy)),
        "verdict: ",
        width,
    );
    let capped = match verdict.confidence_cap {
        Some(ConfidenceCap::PliesUnseen) => ", capped until plies were seen",
        Some(ConfidenceCap::LeverInDoubt) => ", capped: the lever is in doubt",
        None => "",
    };
    let confidence = format!(
        "confidence {:.0} % ({}{capped})",
        100.0 * verdict.confidence,
        confidence_words(verdict.confidence)
    );
    text.push_str(&wrap(&confidence, "", width));
    let share = statistics.doubtful_share;
    let median = statistics.friction_median_nm.map_or("none".to_owned(), |nm| torque(nm, unit));
    text.push_str(&wrap(
        &format!(
            "{} of {} pins read; middle friction {median}; {:.1} ± {:.1} % doubtful or worse",
            statistics.read_count,
            statistics.pin_count,
            100.0 * share.value,
            100.0 * share.u
        ),
        "",
        width,
    ));
    let doubts = marks::doubts(model.assessment);
    let mut list = |title: &str, items: &[String]| {
        if !items.is_empty() {
            text.push_str(&format!("\n{title}\n"));
        }
        for item in items {
            text.push_str(&wrap(&printable(item), "  - ", width));
        }
    };
    list("the torques come from a lever in doubt", &doubts);
    list("confirm before acting", &verdict.confirm_before_acting);
    list("for", &verdict.reasons_for);
    list("against", &verdict.reasons_against);
    list("strings that stand out", &model.assessment.pulls.sentences());
    list("what would change it", &verdict.what_would_change_it);
    list("not examined", &verdict.not_examined);
    let next: Vec<String> = verdict.next_observation.iter().cloned().collect();
    list("most worth finding out next", &next);
    let parts: Vec<String> = verdict.parts.iter().map(parts_line).collect();
    list("pins to order", &parts);
    let cautions: Vec<String> = verdict.cautions.iter().map(|c| (*c).to_owned()).collect();
    list("cautions", &cautions);
    text
}

fn parts_line(line: &crate::analysis::verdict::PartsLine) -> String {
    let from = line.from_um.map_or("size unknown".to_owned(), diameter);
    let to = line.to_um.map_or("to be decided at the pin".to_owned(), diameter);
    format!(
        "{}: {} pins + {} spare, {from} now, order {to}; {}",
        line.place, line.pin_count, line.spare_count, line.note
    )
}

/// Breaks at blanks so that lines fit; further lines are set in under the first.
pub fn wrap(text: &str, lead: &str, width: usize) -> String {
    let indent = " ".repeat(lead.chars().count());
    let mut wrapped = String::new();
    let mut line = lead.to_owned();
    let mut is_empty = true;
    for word in text.split_whitespace() {
        let needed = line.chars().count() + word.chars().count() + usize::from(!is_empty);
        if needed > width && !is_empty {
            wrapped.push_str(line.trim_end());
            wrapped.push('\n');
            line.clone_from(&indent);
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
        is_empty = false;
    }
    wrapped.push_str(line.trim_end());
    wrapped.push('\n');
    wrapped
}
