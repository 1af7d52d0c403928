//! Cutting the field into strips for the printed picture: whole sections where they fit.

use crate::analysis::{Assessment, PinResult};

/// Most strips drawn.
const STRIP_COUNT_MAX: usize = 4;
/// Sections longer than this are cut, metres.
const PIECE_WIDTH_MAX_M: f64 = 0.45;
/// A strip is drawn at least this wide, metres: a few pins are not blown up.
const STRIP_WIDTH_MIN_M: f64 = 0.30;

/// Pins in strips, and the width of the widest in metres: whole sections where they fit, as
/// even as can be.
pub(super) fn strips(assessment: &Assessment) -> (Vec<Vec<usize>>, f64) {
    let pieces = pieces(&assessment.pins);
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
    let fitting = widths
        .iter()
        .copied()
        .find(|width| *width >= widest && pack(*width).len() <= STRIP_COUNT_MAX);
    let width_m = fitting.unwrap_or(widest).max(STRIP_WIDTH_MIN_M);
    (pack(width_m), width_m)
}

/// Sections from bass to treble, those too long for one strip cut.
fn pieces(pins: &[PinResult]) -> Vec<Vec<usize>> {
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
            last == Some(site.section) && site.x_m - from_m <= PIECE_WIDTH_MAX_M
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
