//! Zones on the picture: edge, hatching, letter, and a few words beside it.
//!
//! A zone is told by its edge and its hatching, not by a colour. Deliberately not here: which pins
//! belong to it.

use std::fmt::Write as _;

use super::frame::{Frame, Ground, INNER_WIDTH, MARGIN};
use super::shape::Region;
use super::signs::{Point, frame as dashed, leader, tag};
use super::{CALLOUT, escape, words};
use crate::analysis::zones::{Zone, ZoneShape};
use crate::analysis::{Assessment, PinResult};
use crate::report::zone_letter;

const INK: &str = "#26221f";
/// Pins this near are joined in a zone's edge, m: two places along a row, or the next row.
const REACH_M: f64 = 0.045;
/// From a mark to the edge of its zone, page units.
pub(super) const EDGE_DISTANCE: f64 = 5.0;
/// From hatching line to hatching line, page units.
const HATCH: f64 = 8.0;
/// The edge is traced on a lattice this fine, page units.
const LATTICE: f64 = 2.5;
/// Words about zones stand in so many lines above the field at most.
const LEVEL_COUNT_MAX: usize = 4;
/// From line to line of these words.
const LEVEL_HEIGHT: f64 = 22.0;

/// Whether a zone is a level of section or plank, drawn as a frame round it.
const fn is_level(shape: ZoneShape) -> bool {
    matches!(shape, ZoneShape::Everywhere | ZoneShape::WholeSection)
}

/// Pins of a zone, tight ones inside it included, that a drawing shows.
fn members<'a>(zone: &Zone, pins: &'a [PinResult], part: &[usize]) -> Vec<&'a PinResult> {
    part.iter()
        .filter_map(|i| pins.get(*i))
        .filter(|pin| zone.pins.contains(&pin.pin) || zone.tight_inside.contains(&pin.pin))
        .collect()
}

fn region(frame: &Frame, zone: &Zone, members: &[&PinResult]) -> Region {
    let points: Vec<Point> = members.iter().map(|pin| frame.pin(pin)).collect();
    let mut joints = Vec::new();
    if zone.shape != ZoneShape::Scattered {
        for (i, a) in members.iter().enumerate() {
            for (j, b) in members.iter().enumerate().skip(i + 1) {
                let (dx, dy) = (a.site.x_m - b.site.x_m, a.site.y_m - b.site.y_m);
                if dx * dx + dy * dy <= REACH_M * REACH_M {
                    joints.push((i, j));
                }
            }
        }
    }
    Region::new(&points, &joints, frame.mark_size + EDGE_DISTANCE)
}

/// Hatching of every zone that has an edge, under the pins.
pub(super) fn hatching(body: &mut String, frame: &Frame, assessment: &Assessment, part: &[usize]) {
    for zone in assessment.zones.iter().filter(|zone| !is_level(zone.shape)) {
        let members = members(zone, &assessment.pins, part);
        if members.is_empty() {
            continue;
        }
        let path = hatch(&region(frame, zone, &members));
        for (colour, width) in [("#ffffff", 2.0), (INK, 0.9)] {
            let _ = write!(
                body,
                "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"/>"
            );
        }
    }
}

/// Slanting lines within a region.
fn hatch(region: &Region) -> String {
    let (left, top, right, bottom) = region.bounds();
    let height = bottom - top;
    let mut path = String::new();
    let mut start = ((left - height) / HATCH).floor() * HATCH;
    while start < right {
        // From lower left to upper right, in steps of the lattice.
        let mut from: Option<Point> = None;
        let count = (height / LATTICE).ceil().clamp(1.0, 1_000.0) as usize;
        for k in 0..=count {
            let down = height * k as f64 / count as f64;
            let at = (start + down, bottom - down);
            let inside = region.outside_by(at) < 0.0;
            match (inside, from) {
                (true, None) => from = Some(at),
                (false, Some((x, y))) => {
                    let _ = write!(path, "M{x:.1} {y:.1}L{:.1} {:.1}", at.0, at.1);
                    from = None;
                }
                _ => {}
            }
        }
        start += HATCH;
    }
    path
}

/// Edges of zones, over the pins' ground and round their marks.
pub(super) fn edges(
    body: &mut String,
    frame: &Frame,
    ground: &Ground,
    assessment: &Assessment,
    part: &[usize],
) {
    for zone in &assessment.zones {
        let members = members(zone, &assessment.pins, part);
        if members.is_empty() {
            continue;
        }
        if is_level(zone.shape) {
            for (section, _, hull) in &ground.sections {
                if members.iter().any(|pin| pin.site.section == *section) {
                    let (left, top, right, bottom) = hull.bounds();
                    body.push_str(&dashed((left - 3.0, top - 3.0), (right + 3.0, bottom + 3.0)));
                }
            }
            continue;
        }
        let mut path = String::new();
        for line in region(frame, zone, &members).edges(LATTICE) {
            for (i, (x, y)) in line.iter().enumerate() {
                let _ = write!(path, "{}{x:.1} {y:.1}", if i == 0 { 'M' } else { 'L' });
            }
            path.push('Z');
        }
        for (colour, width) in [("#ffffff", 5.0), (INK, 2.4)] {
            let _ = write!(
                body,
                "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\" \
                 stroke-linejoin=\"round\"/>"
            );
        }
    }
}

/// Each zone's letter at its upper left, where pins carry their names.
pub(super) fn letters(
    body: &mut String,
    frame: &Frame,
    ground: &Ground,
    assessment: &Assessment,
    part: &[usize],
) {
    for (index, zone) in assessment.zones.iter().enumerate() {
        let members = members(zone, &assessment.pins, part);
        if is_level(zone.shape) {
            for (section, _, hull) in &ground.sections {
                if members.iter().any(|pin| pin.site.section == *section) {
                    let (_, top, right, _) = hull.bounds();
                    body.push_str(&tag((right - 12.0, top - 4.0), zone_letter(index)));
                }
            }
            continue;
        }
        let first = members.iter().map(|pin| frame.pin(pin));
        if let Some((x, y)) = first.min_by(|a, b| a.0.total_cmp(&b.0)) {
            let at = (x - frame.mark_size - 3.0, y - frame.mark_size - 11.0);
            body.push_str(&tag(at, zone_letter(index)));
        }
    }
}

/// Where the words about zones stand above the field.
pub(super) struct Callouts {
    /// Zone, line counted from the field up, x where it begins, words.
    placed: Vec<(usize, usize, f64, String)>,
    /// Lines used.
    pub(super) level_count: usize,
}

impl Callouts {
    /// Finds room for each zone's words, near the zone; where there is none its letter alone.
    pub(super) fn place(frame: &Frame, assessment: &Assessment, part: &[usize]) -> Callouts {
        let mut taken: [Vec<(f64, f64)>; LEVEL_COUNT_MAX] = Default::default();
        let mut placed = Vec::new();
        for (index, zone) in assessment.zones.iter().enumerate() {
            let members = members(zone, &assessment.pins, part);
            let left = members.iter().map(|pin| frame.pin(pin).0).fold(f64::MAX, f64::min);
            if members.is_empty() {
                continue;
            }
            let told = words::callout(zone).to(frame.language).to_owned();
            for words in [told, String::new()] {
                let length = words::width(&words, CALLOUT) + 24.0;
                let x = left.min(MARGIN + INNER_WIDTH - length).max(MARGIN);
                let free = |level: &Vec<(f64, f64)>| {
                    level.iter().all(|(from, to)| x > *to + 8.0 || x + length < *from - 8.0)
                };
                if let Some(level) = taken.iter().position(free) {
                    taken[level].push((x, x + length));
                    placed.push((index, level, x, words));
                    break;
                }
            }
        }
        let level_count = placed.iter().map(|(_, level, ..)| level + 1).max().unwrap_or(0);
        Callouts { placed, level_count }
    }

    /// Height they take above the drawing.
    pub(super) fn height(&self) -> f64 {
        LEVEL_HEIGHT * self.level_count as f64
    }

    /// Writes them, the lowest line at `base`, each with a line to its zone.
    pub(super) fn draw(
        &self,
        body: &mut String,
        frame: &Frame,
        ground: &Ground,
        assessment: &Assessment,
        part: &[usize],
        base: f64,
    ) {
        for (index, level, x, words) in &self.placed {
            let Some(zone) = assessment.zones.get(*index) else { continue };
            let members = members(zone, &assessment.pins, part);
            let y = base - LEVEL_HEIGHT * *level as f64;
            // To the member nearest above which the letter stands.
            let from = (x + 8.0, y - 5.0);
            let near = members.iter().map(|pin| frame.pin(pin)).min_by(|a, b| {
                (a.0 - from.0).abs().total_cmp(&(b.0 - from.0).abs()).then(a.1.total_cmp(&b.1))
            });
            let Some((to_x, to_y)) = near else { continue };
            let to_y = if is_level(zone.shape) {
                ground.bounds().1 - 3.0
            } else {
                to_y - frame.mark_size - 5.0
            };
            for (colour, width) in [("#ffffff", 4.5), (INK, 1.5)] {
                body.push_str(&leader(from, (to_x, to_y), colour, width));
            }
            body.push_str(&tag(from, zone_letter(*index)));
            if !words.is_empty() {
                let _ = write!(
                    body,
                    "<text x=\"{:.1}\" y=\"{y:.1}\" font-size=\"{CALLOUT}\" \
                     font-weight=\"bold\">{}</text>",
                    x + 20.0,
                    escape(words)
                );
            }
        }
    }
}
