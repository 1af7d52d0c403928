//! What a person finds the way by: struts, the plate flange, sections and notes.
//!
//! Deliberately not here: pins and zones.

use std::fmt::Write as _;

use super::frame::{Frame, Ground};
use super::signs::Point;
use super::{SMALL, words};
use crate::analysis::PinResult;
use crate::instrument::Instrument;
use crate::words::{pictures as say, plank};

const IRON: &str = "#bdb7b0";
const INK: &str = "#26221f";
/// A gap narrower than this shows no strut, page units.
const STRUT_WIDTH_MIN: f64 = 5.0;
/// Notes named along the edge are at least so far apart, page units.
const NOTE_DISTANCE_MIN: f64 = 34.0;
/// Distance from the flange assumed where it is not known, m: the pins nearest it stand about so
/// far from it (MEM).
const FLANGE_M: f64 = 0.010;

/// Plate struts in the gaps between sections.
pub(super) fn struts(body: &mut String, frame: &Frame, ground: &Ground) {
    let (_, top, _, bottom) = ground.bounds();
    let mut boxes: Vec<_> = ground.sections.iter().map(|(_, _, hull)| hull.bounds()).collect();
    boxes.sort_by(|a, b| a.0.total_cmp(&b.0));
    for pair in boxes.windows(2) {
        let (from, to) = (pair[0].2, pair[1].0);
        if to - from < STRUT_WIDTH_MIN {
            continue;
        }
        let width = (0.5 * (to - from)).min(26.0);
        let x = 0.5 * (from + to - width);
        let _ = write!(
            body,
            "<rect x=\"{x:.1}\" y=\"{:.1}\" width=\"{width:.1}\" height=\"{:.1}\" fill=\"{IRON}\" \
             stroke=\"{INK}\" stroke-width=\"0.8\"/>",
            top - 2.0,
            bottom - top + 4.0
        );
        if frame.labels && width > 14.0 {
            let (x, y) = (x + 0.5 * width + 0.35 * SMALL, 0.5 * (top + bottom));
            let _ = write!(
                body,
                "<text transform=\"rotate(-90 {x:.1} {y:.1})\" x=\"{x:.1}\" y=\"{y:.1}\" \
                 font-size=\"{SMALL}\" text-anchor=\"middle\">{}</text>",
                say::STRUT.to(frame.language)
            );
        }
    }
}

/// The plate flange beside the pins that line it.
pub(super) fn flange(
    body: &mut String,
    frame: &Frame,
    ground: &Ground,
    instrument: &Instrument,
    pins: &[PinResult],
) {
    let below = frame.field.flange_below;
    for (section, _, hull) in &ground.sections {
        let mut line: Vec<Point> = pins
            .iter()
            .filter(|pin| pin.site.section == *section && pin.site.at_flange)
            .filter_map(|pin| {
                let known = instrument.find_pin(pin.pin)?.flange_distance_m;
                let distance_m = known.filter(|m| m.is_finite() && (0.0..0.1).contains(m))?;
                Some(frame.at(pin.site.x_m, pin.site.y_m - distance_m.max(FLANGE_M)))
            })
            .collect();
        let any = pins.iter().any(|pin| pin.site.section == *section && pin.site.at_flange);
        if !any {
            continue;
        }
        let (from, upper, to, lower) = hull.bounds();
        line.retain(|(x, _)| (from..=to).contains(x));
        line.sort_by(|a, b| a.0.total_cmp(&b.0));
        let edge = if below { lower } else { upper };
        let outer = |y: f64| if below { y.max(edge) } else { y.min(edge) };
        let first = line.first().map_or(edge, |point| point.1);
        let last = line.last().map_or(edge, |point| point.1);
        let mut path = format!("M{from:.1} {:.1}", outer(first));
        for (x, y) in &line {
            let _ = write!(path, "L{x:.1} {:.1}", outer(*y));
        }
        let _ = write!(path, "L{to:.1} {:.1}", outer(last));
        for (colour, width) in [(INK, 7.0), (IRON, 5.0)] {
            let _ = write!(
                body,
                "<path d=\"{path}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"{width}\"/>"
            );
        }
    }
}

/// Note numbers and section names below the field, and the flange's name beside it. Gives back
/// where the drawing ends.
pub(super) fn edge(
    body: &mut String,
    frame: &Frame,
    ground: &Ground,
    pins: &[PinResult],
    part: &[usize],
) -> f64 {
    let (left, top, _, bottom) = ground.bounds();
    let below = frame.field.flange_below;
    let notes_y = if below { bottom + 22.0 } else { bottom + 17.0 };
    let names_y = notes_y + 17.0;
    if pins.iter().any(|pin| pins.first().is_some_and(|p| p.site.section != pin.site.section)) {
        for (_, name, hull) in &ground.sections {
            let (left, ..) = hull.bounds();
            let name = plank::section(name);
            let name = format!("<tspan font-weight=\"bold\">{}</tspan>", name.to(frame.language));
            raw_text(body, (left, names_y), "start", &name);
        }
    }
    let has_flange = pins.iter().any(|pin| pin.site.at_flange);
    let words = if has_flange { say::FLANGE } else { say::NO_FLANGE };
    let words = words.to(frame.language);
    if below {
        raw_text(body, (left, names_y + 17.0), "start", words);
    } else {
        raw_text(body, (left, top - 9.0), "start", words);
    }
    let mut notes: Vec<(f64, u8, u8)> = Vec::new();
    for pin in part.iter().map(|i| &pins[*i]) {
        let x = frame.pin(pin).0;
        let note = (pin.pin.note, pin.site.section);
        match notes.iter_mut().find(|(_, n, s)| (*n, *s) == note) {
            // The first string of a note carries its number.
            Some(found) => found.0 = found.0.min(x),
            None => notes.push((x, note.0, note.1)),
        }
    }
    notes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let first_words = |note: u8| say::note(note).to(frame.language).to_owned();
    let mut section = None;
    let mut last_x = f64::MIN;
    for (i, (x, note, of)) in notes.iter().enumerate() {
        let is_last = i + 1 == notes.len();
        let is_first = section != Some(*of);
        section = Some(*of);
        let wanted = is_first || is_last || note.is_multiple_of(5);
        if wanted && x - last_x >= NOTE_DISTANCE_MIN {
            last_x = *x;
            let words = if is_first { first_words(*note) } else { note.to_string() };
            raw_text(body, (*x, notes_y), if is_first { "start" } else { "middle" }, &words);
        }
        if is_first {
            // These words begin at the pin; the next number stands about the middle of its own.
            last_x = x + words::width(&first_words(*note), SMALL) - 0.5 * NOTE_DISTANCE_MIN;
        }
    }
    if below { names_y + 25.0 } else { names_y + 8.0 }
}

fn raw_text(body: &mut String, (x, y): Point, anchor: &str, markup: &str) {
    let _ = write!(
        body,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{SMALL}\" text-anchor=\"{anchor}\" \
         paint-order=\"stroke\" stroke=\"#ffffff\" stroke-width=\"4\">{markup}</text>"
    );
}
