//! The map as a picture: the plank shaded between its pins, the pins on it, zones edged and
//! lettered, struts and flange to find the way by; in one of five views.
//!
//! At the top the whole field at a glance with its legend, then the same field in strips to
//! scale, large enough that every pin's name can be read on a printed page. A grand is seen from
//! the player, so the plate flange is at the top; on an upright it lies below. Shades are one ramp
//! of lightness and marks differ by form, so a greyscale print tells the same.
//!
//! Deliberately not here: scripts, links, font files, clip paths or patterns (a report holds
//! several pictures, whose names would clash), and any file: pure functions from model to text.

mod frame;
mod key;
mod pins;
mod plate;
mod shading;
mod shape;
pub(crate) mod signs;
mod strips;
#[cfg(test)]
mod tests;
mod view;
pub(crate) mod words;
mod zones;

use std::fmt::Write as _;

pub use view::View;

use self::frame::{Field, Frame, Ground, INNER_WIDTH, MARGIN, PAGE_WIDTH};
use self::signs::{Point, escape};
use self::view::Scale;
use self::zones::Callouts;
use super::MapModel;
use crate::analysis::Assessment;
use crate::analysis::field::grid::FieldGrid;
use crate::instrument::InstrumentKind;
use crate::text::printable_short;
use crate::units::TorqueUnit;
use crate::words::{Fixed, Language, Said, pictures as say};

pub(crate) use self::key::entries;
pub(crate) use self::pins::{look, pin_value};
pub(crate) use self::view::{CLASS_GLYPHS, SHADES_RGB, Scale as ViewScale};

/// Longest name drawn.
const NAME_COUNT_MAX: usize = 70;
/// Sizes of letters, page units. The page is 1120 wide: printed 182 mm wide, as a report's figure
/// is, a unit is 0.46 pt, so that the smallest here is 6 pt.
const LABEL: f64 = 13.2;
const SMALL: f64 = 13.2;
const NORMAL: f64 = 14.0;
const CALLOUT: f64 = 15.0;
const HEADING: f64 = 21.0;

/// Everything a picture is drawn from.
struct Sheet<'a> {
    model: &'a MapModel<'a>,
    grid: Option<&'a FieldGrid>,
    view: View,
    unit: TorqueUnit,
    language: Language,
    scale: Scale,
}

impl<'a> Sheet<'a> {
    fn new(
        model: &'a MapModel<'a>,
        grid: Option<&'a FieldGrid>,
        view: View,
        unit: TorqueUnit,
        language: Language,
    ) -> Sheet<'a> {
        let grid = grid.filter(|grid| grid.cells.iter().any(Option::is_some));
        let scale = view.scale(&model.assessment.profile, unit);
        Sheet { model, grid, view, unit, language, scale }
    }
}

/// The whole picture as SVG: title, the field at a glance, what its zones are, legend, then every
/// pin by name. `grid` is the plank between the pins; without it the plank stays unshaded and the
/// legend says so.
pub fn map(model: &MapModel<'_>, grid: Option<&FieldGrid>, view: View, unit: TorqueUnit) -> String {
    let sheet = Sheet::new(model, grid, view, unit, Language::English);
    let mut body = String::new();
    let y = title(&mut body, &sheet);
    let y = glance(&mut body, &sheet, y, true);
    let y = by_name(&mut body, &sheet, y);
    page(&body, &sheet, y)
}

/// The field at a glance, with what its zones are and the legend.
pub fn overview(
    model: &MapModel<'_>,
    grid: Option<&FieldGrid>,
    view: View,
    unit: TorqueUnit,
    language: Language,
) -> String {
    at_a_glance(&Sheet::new(model, grid, view, unit, language), true)
}

/// The same beside another picture that says already what the zones are.
pub fn companion(
    model: &MapModel<'_>,
    grid: Option<&FieldGrid>,
    view: View,
    unit: TorqueUnit,
    language: Language,
) -> String {
    at_a_glance(&Sheet::new(model, grid, view, unit, language), false)
}

fn at_a_glance(sheet: &Sheet<'_>, with_captions: bool) -> String {
    let mut body = String::new();
    bold(&mut body, (MARGIN, 20.0), 16.0, say::title(sheet.view).to(sheet.language));
    let y = glance(&mut body, sheet, 30.0, with_captions);
    page(&body, sheet, y)
}

/// Every pin by name, in strips.
pub fn detail(
    model: &MapModel<'_>,
    grid: Option<&FieldGrid>,
    view: View,
    unit: TorqueUnit,
    language: Language,
) -> String {
    let sheet = Sheet::new(model, grid, view, unit, language);
    let mut body = String::new();
    let y = by_name(&mut body, &sheet, 0.0);
    page(&body, &sheet, y)
}

fn title(body: &mut String, sheet: &Sheet<'_>) -> f64 {
    let instrument = sheet.model.instrument;
    let name = printable_short(&instrument.name, NAME_COUNT_MAX);
    bold(body, (MARGIN, 32.0), HEADING, say::title(sheet.view).to(sheet.language));
    let statistics = &sheet.model.assessment.statistics;
    let line = say::tuning_pins(name, statistics.read_count, statistics.pin_count);
    let mut y = 55.0;
    for line in words::fitted(line.to(sheet.language), NORMAL, INNER_WIDTH) {
        text(body, (MARGIN, y), NORMAL, &line);
        y += 18.0;
    }
    y - 6.0
}

/// Where one looks from.
fn standpoint(kind: InstrumentKind, stretch: f64) -> Said {
    let seen = match kind {
        InstrumentKind::Grand => say::SEEN_GRAND,
        InstrumentKind::Upright => say::SEEN_UPRIGHT,
    };
    if stretch > 1.05 { say::stretched(seen, Fixed(stretch, 1)) } else { say::to_scale(seen) }
}

fn glance(body: &mut String, sheet: &Sheet<'_>, top: f64, with_captions: bool) -> f64 {
    let assessment = sheet.model.assessment;
    if assessment.pins.is_empty() {
        text(body, (MARGIN, top + 20.0), NORMAL, say::NO_PINS.to(sheet.language));
        return top + 60.0;
    }
    let kind = sheet.model.instrument.kind;
    let field = Field::new(&assessment.pins, kind);
    let all: Vec<usize> = (0..assessment.pins.len()).collect();
    let mut frame = Frame::glance(field, top, sheet.language);
    let callouts = Callouts::place(&frame, assessment, &all);
    let above = if field.flange_below { 8.0 } else { ABOVE };
    frame.top = top + 24.0 + callouts.height() + above + frame.pad();
    let standpoint = standpoint(kind, frame.stretch);
    text(body, (MARGIN, top + 14.0), NORMAL, standpoint.to(sheet.language));
    let bottom = draw(body, &frame, sheet, &all, Some((&callouts, above)));
    let mut y = bottom + 28.0;
    if with_captions {
        y = key::zones(body, assessment, (sheet.unit, sheet.language), y);
    }
    let scale = sheet.grid.map(|_| &sheet.scale);
    key::draw(body, assessment, sheet.view, scale, (sheet.unit, sheet.language), y + 8.0)
}

fn by_name(body: &mut String, sheet: &Sheet<'_>, top: f64) -> f64 {
    let assessment = sheet.model.assessment;
    if assessment.pins.is_empty() {
        return top + 20.0;
    }
    let field = Field::new(&assessment.pins, sheet.model.instrument.kind);
    let (parts, width_m) = strips::strips(assessment);
    let mut y = top;
    for part in parts {
        let left_m = part.iter().map(|i| assessment.pins[*i].site.x_m).fold(f64::MAX, f64::min);
        let mut frame = Frame::strip(field, left_m, width_m, y, sheet.language);
        let above = if field.flange_below { 16.0 } else { ABOVE };
        // A part of the rows only may stand in a strip: the drawing begins at its own uppermost.
        let first = part.iter().map(|i| frame.pin(&assessment.pins[*i]).1 - y);
        let first = first.fold(f64::MAX, f64::min);
        frame.top = y + above + frame.pad() - first;
        y = draw(body, &frame, sheet, &part, None) + 14.0;
    }
    y
}

/// Room above a drawing for the flange and its name.
const ABOVE: f64 = 28.0;

/// One drawing of a part of the field, words about its zones so far above it where they are wanted;
/// gives back where it ends.
fn draw(
    body: &mut String,
    frame: &Frame,
    sheet: &Sheet<'_>,
    part: &[usize],
    callouts: Option<(&Callouts, f64)>,
) -> f64 {
    let assessment = sheet.model.assessment;
    let ground = &Ground::new(frame, &assessment.pins, part);
    plate::struts(body, frame, ground);
    shading::draw(body, frame, ground, sheet.grid, sheet.view, &sheet.scale);
    plate::flange(body, frame, ground, sheet.model.instrument, &assessment.pins);
    zones::hatching(body, frame, assessment, part);
    if let Some((callouts, above)) = callouts {
        let base = ground.bounds().1 - above - 4.0;
        callouts.draw(body, frame, ground, assessment, part, base);
    }
    zones::edges(body, frame, ground, assessment, part);
    pins::draw(body, frame, assessment, part, sheet.view, sheet.unit);
    if frame.labels {
        zones::letters(body, frame, ground, assessment, part);
    }
    plate::edge(body, frame, ground, &assessment.pins, part)
}

/// What a picture shows, for who cannot see it.
pub fn in_words(
    assessment: &Assessment,
    view: View,
    unit: TorqueUnit,
    language: Language,
) -> String {
    let mut said = say::title(view).to(language).to_owned();
    for (letter, caption) in words::captions(assessment, unit) {
        let _ = write!(said, ". {letter}: {}", caption.to(language));
    }
    said
}

fn page(body: &str, sheet: &Sheet<'_>, height: f64) -> String {
    let said = in_words(sheet.model.assessment, sheet.view, sheet.unit, sheet.language);
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {PAGE_WIDTH} {height:.0}\" \
         width=\"{PAGE_WIDTH}\" height=\"{height:.0}\" role=\"img\" \
         font-family=\"'DejaVu Sans Condensed', 'DejaVu Sans', Verdana, sans-serif\" \
         font-size=\"{NORMAL}\" fill=\"#26221f\"><title>{}</title><desc>{}</desc>\
         <rect width=\"{PAGE_WIDTH}\" height=\"{height:.0}\" fill=\"#ffffff\"/>{body}</svg>",
        say::PIN_FIELD.to(sheet.language),
        escape(&said)
    )
}

/// Words at a place.
fn text(body: &mut String, (x, y): Point, size: f64, words: &str) {
    let _ = write!(
        body,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\">{}</text>",
        escape(words)
    );
}

fn bold(body: &mut String, (x, y): Point, size: f64, words: &str) {
    let _ = write!(
        body,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{size}\" font-weight=\"bold\">{}</text>",
        escape(words)
    );
}
