//! Where the field lies, and from metres on the plank to units on the page.
//!
//! Invariants: a grand's flange is at the top, an upright's below; every page number is finite for
//! finite places.

use super::LABEL;
use super::shape::Hull;
use super::signs::Point;
use super::zones::EDGE_DISTANCE;
use crate::analysis::PinResult;
use crate::analysis::zones::place;
use crate::instrument::InstrumentKind;
use crate::words::Language;

/// Width of the page, in page units.
pub(super) const PAGE_WIDTH: f64 = 1120.0;
/// Margin left and right.
pub(super) const MARGIN: f64 = 40.0;
/// What lies between the margins.
pub(super) const INNER_WIDTH: f64 = PAGE_WIDTH - 2.0 * MARGIN;
/// Page units per metre at most: pins 13.5 mm apart stand 36 units apart.
pub(super) const SCALE_MAX: f64 = 2_650.0;
/// Half size of a pin's mark at that scale.
pub(super) const MARK_SIZE: f64 = 8.5;
/// Plank shown round the outermost pins of a section, m: as far as pins stand from the flange.
const EDGE_M: f64 = 0.010;
/// No drawing of the field is deeper, page units.
const DEPTH_MAX: f64 = 700.0;
/// The field at a glance is drawn this deep, page units, …
const GLANCE_DEPTH: f64 = 110.0;
/// … but its depth no more than so many times its length's scale.
const STRETCH_MAX: f64 = 2.5;

/// Where the field lies: its box in metres and which way the flange is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Field {
    pub(super) left_m: f64,
    pub(super) right_m: f64,
    top_m: f64,
    bottom_m: f64,
    pub(super) flange_below: bool,
}

impl Field {
    pub(super) fn new(pins: &[PinResult], kind: InstrumentKind) -> Field {
        let span = |value: fn(&PinResult) -> f64| {
            let all = pins.iter().map(value);
            all.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)))
        };
        let (left_m, right_m) = span(|pin| pin.site.x_m);
        let (top_m, bottom_m) = span(|pin| pin.site.y_m);
        Field { left_m, right_m, top_m, bottom_m, flange_below: kind == InstrumentKind::Upright }
    }

    fn depth_m(&self) -> f64 {
        (self.bottom_m - self.top_m).max(0.02)
    }
}

/// One drawing of a part of the field.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame {
    pub(super) field: Field,
    /// Leftmost metre shown, at the margin.
    from_m: f64,
    /// Page y of the outermost row at the drawing's top.
    pub(super) top: f64,
    /// Page units per metre along the plank.
    scale: f64,
    /// Depth's scale over length's.
    pub(super) stretch: f64,
    pub(super) mark_size: f64,
    /// Pins carry their names.
    pub(super) labels: bool,
    /// Of its words.
    pub(super) language: Language,
}

impl Frame {
    /// The whole field at a glance, its depth drawn larger where that helps.
    pub(super) fn glance(field: Field, top: f64, language: Language) -> Frame {
        let fill = INNER_WIDTH / (field.right_m - field.left_m + 2.0 * EDGE_M).max(0.02);
        let scale = fill.min(SCALE_MAX).min(DEPTH_MAX / field.depth_m());
        let stretch = (GLANCE_DEPTH / (field.depth_m() * scale)).clamp(1.0, STRETCH_MAX);
        let mark_size = (fill * 0.0135 * 0.42).clamp(2.0, MARK_SIZE);
        let from_m = field.left_m - EDGE_M;
        Frame { field, from_m, top, scale, stretch, mark_size, labels: false, language }
    }

    /// A strip of it, to scale, wide enough for the pins' names.
    pub(super) fn strip(
        field: Field,
        from_m: f64,
        width_m: f64,
        top: f64,
        language: Language,
    ) -> Frame {
        let fill = INNER_WIDTH / (width_m + 2.0 * EDGE_M).max(0.02);
        let scale = fill.min(DEPTH_MAX / field.depth_m());
        let mark_size = (MARK_SIZE * scale / SCALE_MAX).clamp(2.0, 1.2 * MARK_SIZE);
        let from_m = from_m - EDGE_M;
        Frame { field, from_m, top, scale, stretch: 1.0, mark_size, labels: true, language }
    }

    /// A place on the plank, on the page.
    pub(super) fn at(&self, x_m: f64, y_m: f64) -> Point {
        let field = &self.field;
        let down_m = if field.flange_below { field.bottom_m - y_m } else { y_m - field.top_m };
        let x = MARGIN + (x_m - self.from_m) * self.scale;
        (x, self.top + down_m * self.scale * self.stretch)
    }

    /// A pin on the page.
    pub(super) fn pin(&self, pin: &PinResult) -> Point {
        self.at(pin.site.x_m, pin.site.y_m)
    }

    /// A point of the page, on the plank.
    pub(super) fn back(&self, (x, y): Point) -> (f64, f64) {
        let field = &self.field;
        let down_m = (y - self.top) / (self.scale * self.stretch);
        let y_m = if field.flange_below { field.bottom_m - down_m } else { field.top_m + down_m };
        ((x - MARGIN) / self.scale + self.from_m, y_m)
    }

    /// Plank shown round a section's outermost pins, page units; their names lie on it too.
    pub(super) fn pad(&self) -> f64 {
        let room = if self.labels { EDGE_DISTANCE + LABEL + 5.0 } else { 4.0 };
        let least = self.mark_size + room;
        (EDGE_M * self.scale).clamp(least, least.max(30.0))
    }
}

/// The sections of a drawing.
pub(super) struct Ground {
    /// Number, name and the plank under its pins, from bass to treble.
    pub(super) sections: Vec<(u8, String, Hull)>,
}

impl Ground {
    /// The plank under some of the pins.
    pub(super) fn new(frame: &Frame, pins: &[PinResult], part: &[usize]) -> Ground {
        let sites: Vec<_> = pins.iter().map(|pin| pin.site).collect();
        let present = place::sections(&sites);
        let of = |section: u8| {
            let here = part.iter().map(|i| &pins[*i]).filter(|pin| pin.site.section == section);
            here.map(|pin| frame.pin(pin)).collect::<Vec<Point>>()
        };
        let sections = present
            .iter()
            .map(|section| (*section, of(*section)))
            .filter(|(_, points)| !points.is_empty())
            .map(|(section, points)| {
                let name = place::section_name(section, &present);
                (section, name, Hull::round(&points, frame.pad()))
            });
        Ground { sections: sections.collect() }
    }

    /// Left, top, right and bottom of all sections.
    pub(super) fn bounds(&self) -> (f64, f64, f64, f64) {
        let start = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
        self.sections
            .iter()
            .map(|(_, _, hull)| hull.bounds())
            .fold(start, |a, b| (a.0.min(b.0), a.1.min(b.1), a.2.max(b.2), a.3.max(b.3)))
    }
}
