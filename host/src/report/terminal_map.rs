//! The pin field in characters: a glyph per pin, rows as they lie, in one of five views.
//!
//! Deliberately not here: the plank between the pins; a terminal has no room for it, so each pin
//! stands for the plank round it.

use super::picture::{self, CLASS_GLYPHS, SHADES_RGB, View, ViewScale};
use super::terminal::{WIDTH_MIN, wrap};
use super::{MapModel, legend, marks, torque, zone_letter};
use crate::analysis::zones::place;
use crate::analysis::{Assessment, Band, PinResult};
use crate::instrument::InstrumentKind;
use crate::text::printable_short;
use crate::units::TorqueUnit;

/// Columns in front of each row of pins.
const MARGIN: usize = 7;
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

/// The pin field: one glyph per pin for its band, the letter of its zone behind it, rows as they
/// lie.
pub fn map(model: &MapModel<'_>, unit: TorqueUnit, width: usize, colour: bool) -> String {
    map_view(model, View::Torque, unit, width, colour)
}

/// The pin field in one of its views.
pub fn map_view(
    model: &MapModel<'_>,
    view: View,
    unit: TorqueUnit,
    width: usize,
    colour: bool,
) -> String {
    let assessment = model.assessment;
    let width = width.max(WIDTH_MIN);
    let name = printable_short(&model.instrument.name, NAME_COUNT_MAX);
    let mut text = format!("{name}: {} pins, seen from the player\n", assessment.pins.len());
    if view != View::Torque {
        text.push_str(&wrap(view.title(), "", width));
    }
    let glyphs = Glyphs::new(assessment, view, unit, colour);
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
            text.push_str(&row_line(*row, block, assessment, &glyphs));
        }
        if upright {
            text.push_str(&format!("{:MARGIN$}{flange}\n", ""));
        }
        text.push_str(&ruler(block));
    }
    text.push('\n');
    text.push_str(&glyphs.legend(assessment, unit, width));
    text.push_str(&zones(assessment, unit, width));
    for sentence in assessment.pulls.sentences() {
        text.push_str(&wrap(&sentence, "strings: ", width));
    }
    if let Some(check) = assessment.leftovers() {
        text.push_str(&wrap(&check.sentence, "check of the map: ", width));
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

/// How pins are written in a view.
struct Glyphs {
    view: View,
    scale: ViewScale,
    colour: bool,
    /// A sign at each pin whose lever is in doubt.
    doubts: bool,
}

/// A glyph and its colour.
type Glyph = (char, (u8, u8, u8));

impl Glyphs {
    fn new(assessment: &Assessment, view: View, unit: TorqueUnit, colour: bool) -> Glyphs {
        let scale = view.scale(&assessment.profile, unit);
        Glyphs { view, scale, colour, doubts: marks::tells_pins_apart(assessment) }
    }

    /// Whether a glyph is a class of the view's scale, and not a band or a mark.
    const fn is_scaled(&self) -> bool {
        matches!(self.view, View::Holding | View::Loose | View::Uncertainty)
    }

    /// The class of the plank at a pin.
    fn class(&self, assessment: &Assessment, index: usize) -> Option<usize> {
        self.scale.class(picture::pin_value(assessment, index, self.view)?)
    }

    fn of(&self, assessment: &Assessment, index: usize) -> Glyph {
        if !self.is_scaled() {
            let look = picture::look(assessment, index, self.view);
            return (look.glyph, look.rgb);
        }
        match self.class(assessment, index) {
            Some(class) => (CLASS_GLYPHS[class], SHADES_RGB[class]),
            None => (legend::UNREAD.glyph, legend::UNREAD.rgb),
        }
    }

    /// The pin's glyph, then its zone's letter; a small letter or `!` where the lever is in doubt,
    /// a comma where a class is no reading but the field's.
    fn pin(&self, assessment: &Assessment, index: usize) -> String {
        let Some(pin) = assessment.pins.get(index) else { return "  ".to_owned() };
        let in_doubt = self.doubts && !pin.marks.is_empty();
        let beside = match (pin.zone.map(zone_letter), in_doubt) {
            (Some(letter), true) => letter.to_ascii_lowercase(),
            (Some(letter), false) => letter,
            (None, true) => '!',
            (None, false) if self.is_scaled() && !pin.read => ',',
            (None, false) => ' ',
        };
        format!("{}{beside}", painted(self.of(assessment, index), self.colour))
    }

    /// What the glyphs mean, and how many there are of each.
    fn legend(&self, assessment: &Assessment, unit: TorqueUnit, width: usize) -> String {
        let mut text = match self.view {
            View::Torque => format!("friction in {unit} (bands are ours and can be set):\n"),
            View::Residual => {
                wrap("each pin against what all others lead to expect there:", "", width)
            }
            view => wrap(&format!("{}:", view.quantity(unit)), "", width),
        };
        if self.is_scaled() {
            let of = |class| {
                let all = (0..assessment.pins.len()).map(|index| self.class(assessment, index));
                all.filter(|c| *c == class).count()
            };
            for (class, label) in self.scale.labels.iter().enumerate() {
                let glyph = painted((CLASS_GLYPHS[class], SHADES_RGB[class]), self.colour);
                text.push_str(&format!("  {glyph} {:>3}  {label}\n", of(Some(class))));
            }
            let unknown = of(None);
            if unknown > 0 {
                let glyph = legend::UNREAD.glyph;
                text.push_str(&format!("  {glyph} {unknown:>3}  nothing known\n"));
            }
            if assessment.pins.iter().any(|pin| !pin.read) {
                text.push_str("  a comma behind a glyph: not read, what the field expects\n");
            }
        } else if self.view == View::Torque {
            text.push_str(&bands(assessment, unit, self.colour));
        } else {
            for (look, words) in picture::entries(assessment, self.view, unit) {
                let glyph = painted((look.glyph, look.rgb), self.colour);
                text.push_str(&format!("  {glyph} {words}\n"));
            }
        }
        text.push_str(&letters(assessment, width));
        text
    }
}

fn row_line(row: u8, block: &[Column], assessment: &Assessment, glyphs: &Glyphs) -> String {
    let mut line = format!("row {row:<3}");
    for (gap, column) in with_gaps(block) {
        line.push_str(gap);
        let here: Vec<usize> = (0..assessment.pins.len())
            .filter(|index| {
                let pin = &assessment.pins[*index];
                let site = &pin.site;
                pin.pin.note == column.note && site.section == column.section && site.row == row
            })
            .collect();
        for cell in 0..column.cells {
            match here.get(cell) {
                Some(index) => line.push_str(&glyphs.pin(assessment, *index)),
                None => line.push_str("  "),
            }
        }
    }
    format!("{}\n", line.trim_end())
}

fn painted((glyph, (r, g, b)): Glyph, colour: bool) -> String {
    if !colour {
        return glyph.to_string();
    }
    // Dark colours would vanish on a dark ground: paint the ground, write in black or white.
    let ink = if u32::from(r) + u32::from(g) + u32::from(b) > 330 { "30" } else { "97" };
    format!("\u{1b}[48;2;{r};{g};{b}m\u{1b}[{ink}m{glyph}\u{1b}[0m")
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

/// Bands with their counts and ranges.
fn bands(assessment: &Assessment, unit: TorqueUnit, colour: bool) -> String {
    let mut text = String::new();
    for (band, count) in &assessment.statistics.band_counts {
        if *count == 0 && *band == Band::CannotTell {
            continue;
        }
        let look = legend::look(*band);
        let glyph = painted((look.glyph, look.rgb), colour);
        let range = legend::range(*band, &assessment.profile, unit);
        text.push_str(&format!("  {glyph} {count:>3}  {:<12} {range}\n", legend::name(*band)));
    }
    let unread = assessment.statistics.pin_count - assessment.statistics.read_count;
    if unread > 0 {
        text.push_str(&format!("  {} {unread:>3}  not read\n", legend::UNREAD.glyph));
    }
    text
}

/// What stands behind glyphs.
fn letters(assessment: &Assessment, width: usize) -> String {
    let mut text = String::new();
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
        if let Some(reading) = zone.readings.first() {
            text.push_str(&wrap(&format!("read as: {}", reading.text), "     ", width));
        }
    }
    text
}
