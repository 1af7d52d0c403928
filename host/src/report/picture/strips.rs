//! Cutting the field into strips for the printed picture: whole sections where they fit, and so
//! few metres in each that the names of pins beside each other in a row keep apart.

use super::LABEL;
use super::frame::INNER_WIDTH;
use super::words;
use crate::analysis::{Assessment, PinResult};

/// Strips drawn, unless the names of pins need more.
const STRIP_COUNT: usize = 4;
/// Most strips drawn.
const STRIP_COUNT_MAX: usize = 16;
/// The longest name drawn under a pin.
const NAME: &str = "88C";
/// From name to name at least, page units.
const NAME_GAP: f64 = 3.0;
/// Sections longer than this are cut, metres.
const PIECE_WIDTH_MAX_M: f64 = 0.45;
/// A strip is drawn at least this wide, metres: a few pins are not blown up.
const STRIP_WIDTH_MIN_M: f64 = 0.30;

/// Pins in strips, and the width of the widest in metres: whole sections where they fit, as
/// even as can be.
pub(super) fn strips(assessment: &Assessment) -> (Vec<Vec<usize>>, f64) {
    let room_m = room_m(&assessment.pins);
    let pieces = pieces(&assessment.pins, PIECE_WIDTH_MAX_M.min(room_m));
    let x_m = |i: &usize| assessment.pins[*i].site.x_m;
    let left_m = |piece: &Vec<usize>| piece.iter().map(x_m).fold(f64::MAX, f64::min);
    let right_m = |piece: &Vec<usize>| piece.iter().map(x_m).fold(f64::MIN, f64::max);
    let pack = |width_m: f64| {
        let mut packed: Vec<Vec<usize>> = Vec::new();
        let mut from_m = f64::MAX;
        for piece in &pieces {
            match packed.last_mut() {
                Some(strip) if right_m(piece) - from_m <= width_m => strip.extend(piece),
                _ => {
                    from_m = left_m(piece);
                    packed.push(piece.clone());
                }
            }
        }
        packed
    };
    // The narrowest strips that still make at most so many: try every width that matters.
    let mut widths: Vec<f64> = pieces
        .iter()
        .flat_map(|from| pieces.iter().map(move |to| (from, to)))
        .map(|(from, to)| right_m(to) - left_m(from))
        .filter(|width| *width >= 0.0)
        .collect();
    widths.sort_by(f64::total_cmp);
    let widest = pieces.iter().map(|p| right_m(p) - left_m(p)).fold(0.0, f64::max);
    let packed = |count_max: usize| {
        let fits = |width: &&f64| **width >= widest && pack(**width).len() <= count_max;
        widths.iter().find(fits).copied()
    };
    let narrow = (STRIP_COUNT..=STRIP_COUNT_MAX).filter_map(packed).find(|w| *w <= room_m);
    let width_m = narrow.or_else(|| packed(STRIP_COUNT_MAX)).unwrap_or(widest);
    let width_m = width_m.max(STRIP_WIDTH_MIN_M.min(room_m));
    (pack(width_m), width_m)
}

/// Metres a strip may show so that names in a row keep apart: after the nearest tenth of the pins
/// that stand beside each other, so that two pins set close do not shrink the rest.
fn room_m(pins: &[PinResult]) -> f64 {
    let mut order: Vec<&PinResult> = pins.iter().collect();
    order.sort_by(|a, b| {
        let row = |pin: &PinResult| (pin.site.section, pin.site.row);
        row(a).cmp(&row(b)).then(a.site.x_m.total_cmp(&b.site.x_m))
    });
    let beside = order.windows(2).filter(|pair| {
        pair[0].site.section == pair[1].site.section && pair[0].site.row == pair[1].site.row
    });
    let mut gaps: Vec<f64> = beside.map(|pair| pair[1].site.x_m - pair[0].site.x_m).collect();
    gaps.sort_by(f64::total_cmp);
    let gap_m = gaps.get(gaps.len() / 10).copied().unwrap_or(f64::MAX).max(0.004);
    INNER_WIDTH * gap_m / (words::width(NAME, LABEL) + NAME_GAP)
}

/// Sections from bass to treble, those too long for one strip cut.
fn pieces(pins: &[PinResult], width_max_m: f64) -> Vec<Vec<usize>> {
    let mut order: Vec<usize> = (0..pins.len()).collect();
    order.sort_by(|a, b| {
        let (a, b) = (&pins[*a].site, &pins[*b].site);
        a.section.cmp(&b.section).then(a.x_m.total_cmp(&b.x_m))
    });
    let mut pieces: Vec<Vec<usize>> = Vec::new();
    let mut from_m = 0.0;
    for index in order {
        let site = &pins[index].site;
        let goes_on = pieces.last().is_some_and(|piece| {
            let last = piece.last().map(|i| pins[*i].site.section);
            last == Some(site.section) && site.x_m - from_m <= width_max_m
        });
        match pieces.last_mut() {
            Some(piece) if goes_on => piece.push(index),
            _ => {
                from_m = site.x_m;
                pieces.push(vec![index]);
            }
        }
    }
    let left = |piece: &Vec<usize>| piece.first().map_or(0.0, |i| pins[*i].site.x_m);
    pieces.sort_by(|a, b| left(a).total_cmp(&left(b)));
    pieces
}
