//! The pin field as a picture: to scale, zones outlined and lettered, readable in greyscale.
//!
//! At the top the whole field, then the same field in strips large enough that every pin's name
//! can be read on a printed page. A grand is seen from the player, so the plate flange is at the
//! top; on an upright it lies below. No script, no font file, no link.

use std::fmt::Write as _;

use super::svg_marks::{Point, doubt, escape, frame, leader, mark, outline, tag};
use super::svg_strips::strips;
use super::{MapModel, legend, marks, torque, zone_letter};
use crate::analysis::zones::{ZoneShape, place};
use crate::analysis::{Assessment, PinResult};
use crate::instrument::InstrumentKind;
use crate::text::printable_short;
use crate::units::TorqueUnit;

const PAGE_WIDTH: f64 = 1120.0;
const MARGIN: f64 = 40.0;
/// Longest name drawn.
const NAME_COUNT_MAX: usize = 70;
/// Page units per metre in the strips: pins 13.5 mm apart stand 36 units apart. The scale of an
/// instrument's strips is near this one.
const STRIP_SCALE: f64 = 2_650.0;
/// Half size of a mark in the strips.
const STRIP_MARK: f64 = 8.5;
/// Pins this near are joined in a zone's outline, metres: two places along a row.
const REACH_M: f64 = 0.045;

/// Where the field lies: its box in metres and which way the flange is.
struct Field {
    left_m: f64,
    right_m: f64,
    top_m: f64,
    bottom_m: f64,
    flange_below: bool,
    has_flange: bool,
}

impl Field {
    fn new(pins: &[PinResult], kind: InstrumentKind) -> Field {
        let span = |value: fn(&PinResult) -> f64| {
            let all = pins.iter().map(value);
            all.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)))
        };
        let (left_m, right_m) = span(|pin| pin.site.x_m);
        let (top_m, bottom_m) = span(|pin| pin.site.y_m);
        let flange_below = kind == InstrumentKind::Upright;
        let has_flange = pins.iter().any(|pin| pin.site.at_flange);
        Field { left_m, right_m, top_m, bottom_m, flange_below, has_flange }
    }

    fn width_m(&self) -> f64 {
        (self.right_m - self.left_m).max(0.02)
    }

    fn depth_m(&self) -> f64 {
        (self.bottom_m - self.top_m).max(0.02)
    }
}

/// One drawing of a part of the field.
struct View<'a> {
    field: &'a Field,
    /// Leftmost metre shown, at the page's margin.
    from_m: f64,
    /// Page y of the field's upper edge.
    top: f64,
    scale: f64,
    mark_size: f64,
    labels: bool,
}

impl View<'_> {
    fn at(&self, pin: &PinResult) -> Point {
        let down_m = if self.field.flange_below {
            self.field.bottom_m - pin.site.y_m
        } else {
            pin.site.y_m - self.field.top_m
        };
        let x = MARGIN + (pin.site.x_m - self.from_m) * self.scale;
        (x, self.top + down_m * self.scale)
    }

    fn depth(&self) -> f64 {
        self.field.depth_m() * self.scale
    }

    /// The ground under some pins, their names included, up to the flange.
    fn ground(&self, points: &[Point]) -> Box {
        let span = |pick: fn(&Point) -> f64| {
            points.iter().map(pick).fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)))
        };
        let ((left, right), (top, bottom)) = (span(|p| p.0), span(|p| p.1));
        let pad = self.mark_size + if self.labels { 9.0 } else { 5.0 };
        let foot = if self.labels { 11.0 } else { 0.0 };
        let (top, bottom) = if self.field.flange_below {
            (top, self.top + self.depth())
        } else {
            (self.top, bottom)
        };
        Box { left: left - pad, top: top - pad, right: right + pad, bottom: bottom + pad + foot }
    }
}

/// A box on the page.
struct Box {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

/// The whole picture: the field at a glance with its legend, then every pin by name.
pub fn map(model: &MapModel<'_>, unit: TorqueUnit) -> String {
    let mut body = String::new();
    let y = title(&mut body, model);
    let y = glance(&mut body, model, unit, y);
    let y = by_name(&mut body, model, y);
    page(&body, y)
}

/// The field at a glance, with legend and zones.
pub fn overview(model: &MapModel<'_>, unit: TorqueUnit) -> String {
    let mut body = String::new();
    let y = glance(&mut body, model, unit, 10.0);
    page(&body, y)
}

/// Every pin by name, in strips.
pub fn detail(model: &MapModel<'_>) -> String {
    let mut body = String::new();
    let y = by_name(&mut body, model, -10.0);
    page(&body, y)
}

const INNER_WIDTH: f64 = PAGE_WIDTH - 2.0 * MARGIN;

fn glance(body: &mut String, model: &MapModel<'_>, unit: TorqueUnit, top: f64) -> f64 {
    let assessment = model.assessment;
    if assessment.pins.is_empty() {
        let _ = write!(body, "<text x=\"{MARGIN}\" y=\"{:.1}\">no pins</text>", top + 20.0);
        return top + 60.0;
    }
    let field = Field::new(&assessment.pins, model.instrument.kind);
    let fill = INNER_WIDTH / field.width_m();
    let view = View {
        field: &field,
        from_m: field.left_m,
        top: top + 44.0,
        scale: fill.min(STRIP_SCALE),
        mark_size: (fill * 0.0135 * 0.40).clamp(2.0, STRIP_MARK),
        labels: false,
    };
    let all: Vec<usize> = (0..assessment.pins.len()).collect();
    draw(body, &view, model, &all);
    let y = view.top + view.depth() + 52.0;
    let y = legend_block(body, assessment, unit, y);
    zone_block(body, assessment, unit, y)
}

fn by_name(body: &mut String, model: &MapModel<'_>, top: f64) -> f64 {
    let assessment = model.assessment;
    if assessment.pins.is_empty() {
        return top + 20.0;
    }
    let field = Field::new(&assessment.pins, model.instrument.kind);
    let (parts, width_m) = strips(assessment);
    let scale = INNER_WIDTH / width_m;
    let mut y = top;
    for part in parts {
        let left_m = part.iter().map(|i| assessment.pins[*i].site.x_m).fold(f64::MAX, f64::min);
        let strip = View {
            field: &field,
            from_m: left_m,
            top: y + 40.0,
            scale,
            mark_size: (STRIP_MARK * scale / STRIP_SCALE).clamp(2.0, 1.2 * STRIP_MARK),
            labels: true,
        };
        draw(body, &strip, model, &part);
        let lowest = part.iter().map(|i| strip.at(&assessment.pins[*i]).1).fold(y, f64::max);
        y = lowest + 64.0;
    }
    y
}

fn page(body: &str, height: f64) -> String {
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {PAGE_WIDTH} {height:.0}\" \
         width=\"{PAGE_WIDTH}\" height=\"{height:.0}\" role=\"img\" \
         font-family=\"'DejaVu Sans', Verdana, sans-serif\" font-size=\"13\" fill=\"#26221f\">\
         <title>Pin field</title>\
         <rect width=\"{PAGE_WIDTH}\" height=\"{height:.0}\" fill=\"#ffffff\"/>{body}</svg>"
    )
}

fn title(body: &mut String, model: &MapModel<'_>) -> f64 {
    let name = printable_short(&model.instrument.name, NAME_COUNT_MAX);
    let seen = model.orientation();
    let statistics = &model.assessment.statistics;
    let _ = write!(
        body,
        "<text x=\"{MARGIN}\" y=\"34\" font-size=\"20\" font-weight=\"bold\">{}</text>\
         <text x=\"{MARGIN}\" y=\"56\">{seen} · {} of {} pins read · to scale</text>",
        escape(&name),
        statistics.read_count,
        statistics.pin_count
    );
    72.0
}

fn draw(body: &mut String, view: &View<'_>, model: &MapModel<'_>, part: &[usize]) {
    let pins = &model.assessment.pins;
    sections(body, view, pins, part);
    zones_under(body, view, model.assessment, part);
    let signs = marks::tells_pins_apart(model.assessment);
    for index in part {
        let pin = &pins[*index];
        let look = if pin.read { legend::look(pin.judgement.band) } else { legend::UNREAD };
        let (x, y) = view.at(pin);
        let name = place::pin_name(pin.pin);
        body.push_str("<g>");
        let why = marks::of_pin(pin).map_or(String::new(), |why| format!(": {}", escape(&why)));
        let _ = write!(body, "<title>{name}{why}</title>");
        body.push_str(&mark(look, (x, y), view.mark_size));
        if signs && !pin.marks.is_empty() {
            body.push_str(&doubt((x, y), view.mark_size));
        }
        if view.labels {
            let below = y + view.mark_size + 15.5;
            let _ = write!(
                body,
                "<text x=\"{x:.1}\" y=\"{below:.1}\" font-size=\"10.5\" \
                 text-anchor=\"middle\">{name}</text>"
            );
        }
        body.push_str("</g>");
    }
    zone_tags(body, view, model.assessment, part);
}

/// Each section's ground, so that the gaps at the struts show, with its name.
fn sections(body: &mut String, view: &View<'_>, pins: &[PinResult], part: &[usize]) {
    let sites: Vec<_> = pins.iter().map(|pin| pin.site).collect();
    let present = place::sections(&sites);
    for section in &present {
        let here: Vec<Point> = part
            .iter()
            .filter(|i| pins[**i].site.section == *section)
            .map(|i| view.at(&pins[*i]))
            .collect();
        if here.is_empty() {
            continue;
        }
        let Box { left, top, right, bottom } = view.ground(&here);
        let flange = if view.field.flange_below { bottom } else { top };
        let name_y = if view.field.flange_below { top - 8.0 } else { bottom + 19.0 };
        let edge = if view.field.has_flange {
            format!(
                "<path d=\"M{left:.1} {flange:.1}H{right:.1}\" stroke=\"#6f665d\" \
                 stroke-width=\"4\"/>"
            )
        } else {
            String::new()
        };
        let _ = write!(
            body,
            "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{:.1}\" rx=\"5\" \
             fill=\"#f4f1ec\"/>{edge}<text x=\"{:.1}\" y=\"{name_y:.1}\" font-size=\"12\" \
             fill=\"#57504a\">{}</text>",
            right - left,
            bottom - top,
            left + 4.0,
            place::section_name(*section, &present),
        );
    }
}

fn is_level(shape: ZoneShape) -> bool {
    matches!(shape, ZoneShape::Everywhere | ZoneShape::WholeSection)
}

fn zone_points(
    view: &View<'_>,
    assessment: &Assessment,
    index: usize,
    part: &[usize],
) -> Vec<Point> {
    let zone = &assessment.zones[index];
    part.iter()
        .map(|i| &assessment.pins[*i])
        .filter(|pin| zone.pins.contains(&pin.pin) || zone.tight_inside.contains(&pin.pin))
        .map(|pin| view.at(pin))
        .collect()
}

fn zones_under(body: &mut String, view: &View<'_>, assessment: &Assessment, part: &[usize]) {
    for (index, zone) in assessment.zones.iter().enumerate() {
        let points = zone_points(view, assessment, index, part);
        if points.is_empty() || is_level(zone.shape) {
            continue;
        }
        let reach = if zone.shape == ZoneShape::Scattered { 0.0 } else { REACH_M * view.scale };
        body.push_str(&outline(&points, reach, 2.0 * view.mark_size + 8.0));
    }
}

fn zone_tags(body: &mut String, view: &View<'_>, assessment: &Assessment, part: &[usize]) {
    let mut used: Vec<Point> = Vec::new();
    for (index, zone) in assessment.zones.iter().enumerate() {
        let points = zone_points(view, assessment, index, part);
        let Some((x, y)) = points.iter().copied().min_by(|a, b| a.0.total_cmp(&b.0)) else {
            continue;
        };
        let field_top = view.top - view.mark_size - if view.labels { 9.0 } else { 5.0 };
        let mut at = if is_level(zone.shape) {
            let ground = view.ground(&points);
            let bottom = ground.bottom + 4.0;
            body.push_str(&frame(
                (ground.left - 3.0, ground.top - 4.0),
                (ground.right + 3.0, bottom),
            ));
            (ground.right - 12.0, ground.top - 6.0)
        } else if view.labels {
            // In the gap to the pin on the left.
            (x - 2.15 * view.mark_size, y)
        } else {
            // No room among the pins: above the field, with a line to the zone.
            (x, field_top - 12.0)
        };
        let apart = |a: &Point, b: &Point| (a.0 - b.0).abs() > 19.0 || (a.1 - b.1).abs() > 19.0;
        while used.iter().any(|other| !apart(other, &at)) {
            at.0 += 20.0;
        }
        used.push(at);
        if !view.labels && !is_level(zone.shape) {
            body.push_str(&leader(at, (x, y - view.mark_size)));
        }
        body.push_str(&tag(at, zone_letter(index)));
    }
}

/// Marks, names, ranges and counts in three columns.
fn legend_block(body: &mut String, assessment: &Assessment, unit: TorqueUnit, top: f64) -> f64 {
    let _ = write!(
        body,
        "<text x=\"{MARGIN}\" y=\"{:.1}\" font-weight=\"bold\">Friction of the pin, {unit}</text>\
         <text x=\"{:.1}\" y=\"{:.1}\" font-size=\"11\" fill=\"#57504a\">bands are ours and can \
         be set; the worse of friction and holding factor counts</text>",
        top,
        MARGIN + 260.0,
        top
    );
    let unread = assessment.statistics.pin_count - assessment.statistics.read_count;
    let mut entries: Vec<(legend::Look, String)> = assessment
        .statistics
        .band_counts
        .iter()
        .map(|(band, count)| {
            let range = legend::range(*band, &assessment.profile, unit);
            (legend::look(*band), format!("{count} {}: {range}", legend::name(*band)))
        })
        .collect();
    entries.push((legend::UNREAD, format!("{unread} not read")));
    // The middle column is wide: its entries name a holding factor too.
    let lefts = [MARGIN + 8.0, MARGIN + 250.0, MARGIN + 690.0];
    for (i, (look, words)) in entries.iter().enumerate() {
        let (column, row) = (i / 4, i % 4);
        let x = lefts[column.min(2)];
        let y = top + 24.0 + 22.0 * row as f64;
        body.push_str(&mark(*look, (x, y - 4.5), 7.0));
        let _ = write!(body, "<text x=\"{:.1}\" y=\"{y:.1}\">{}</text>", x + 16.0, escape(words));
    }
    doubt_lines(body, assessment, top + 24.0 + 22.0 * 4.0 + 10.0)
}

/// What is to be doubted of the lever, where anything is: a line for each mark.
fn doubt_lines(body: &mut String, assessment: &Assessment, top: f64) -> f64 {
    let mut y = top;
    for entry in marks::legend_entries(assessment) {
        // The sign stands at the upper right of what it is given: here in the marks' column.
        body.push_str(&doubt((MARGIN + 1.4, y + 2.2), 7.0));
        let (x, words) = (MARGIN + 24.0, escape(&entry));
        let _ = write!(body, "<text x=\"{x:.1}\" y=\"{y:.1}\">in doubt: {words}</text>");
        y += 22.0;
    }
    y
}

fn zone_block(body: &mut String, assessment: &Assessment, unit: TorqueUnit, top: f64) -> f64 {
    let mut y = top;
    for (index, zone) in assessment.zones.iter().enumerate() {
        body.push_str(&tag((MARGIN + 8.0, y - 4.5), zone_letter(index)));
        let words = format!(
            "{}: {} · {} loose pins, middle {}, {} {}",
            zone.shape.word().replace('-', " "),
            zone.place,
            zone.pins.len(),
            torque(zone.friction_median_nm, unit),
            zone.surroundings_words(),
            torque(zone.surroundings_nm, unit)
        );
        let _ =
            write!(body, "<text x=\"{:.1}\" y=\"{y:.1}\">{}</text>", MARGIN + 26.0, escape(&words));
        y += 24.0;
    }
    if assessment.zones.is_empty() {
        let _ = write!(body, "<text x=\"{MARGIN}\" y=\"{y:.1}\">No zone stands out.</text>");
        y += 24.0;
    }
    y
}
