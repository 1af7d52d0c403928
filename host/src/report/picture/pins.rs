//! The pins on the picture: a mark each, whose form tells its band, and its name where there is
//! room.
//!
//! Deliberately not here: the marks themselves (`signs`) and which look a band has (`legend`).

use std::fmt::Write as _;

use super::frame::Frame;
use super::signs::{doubt, mark};
use super::view::View;
use super::zones::EDGE_DISTANCE;
use super::{LABEL, escape, words};
use crate::analysis::field::PinStanding;
use crate::analysis::zones::place;
use crate::analysis::{Assessment, Band, PinResult};
use crate::report::legend::{self, Look};
use crate::report::{marks, torque};
use crate::units::TorqueUnit;
use crate::words::{Language, pictures as say};

/// How a pin is drawn in a view.
pub(crate) fn look(assessment: &Assessment, index: usize, view: View) -> Look {
    let Some(pin) = assessment.pins.get(index).filter(|pin| pin.read) else {
        return if view == View::Uncertainty { legend::MISSING } else { legend::UNREAD };
    };
    match view {
        View::Torque | View::Holding | View::Loose => legend::look(pin.judgement.band),
        View::Uncertainty => legend::READ,
        View::Residual => match assessment.field.points.get(index).map(|point| point.standing) {
            Some(PinStanding::BadHole) => legend::BAD_HOLE,
            Some(PinStanding::InBadPlace) => legend::BAD_PLACE,
            Some(PinStanding::Above) => legend::ABOVE,
            Some(PinStanding::Ordinary) => legend::ORDINARY,
            // Read, but without a friction to compare.
            None => legend::look(Band::CannotTell),
        },
    }
}

/// What a view says at a pin, in the scale's unit: its reading, else what the field expects.
pub(crate) fn pin_value(assessment: &Assessment, index: usize, view: View) -> Option<f64> {
    let pin = assessment.pins.get(index)?;
    let point = assessment.field.points.get(index);
    match view {
        View::Torque => match pin.friction_nm {
            Some(friction) if pin.read => Some(friction.value),
            _ => point.map(|point| point.expected_nm.value),
        },
        View::Holding => match pin.holding_factor {
            Some(factor) if pin.read => Some(factor.value),
            _ => point.map(|point| point.holding_factor.value),
        },
        View::Loose => (pin.read || point.is_some()).then_some(pin.judgement.doubtful_chance),
        View::Uncertainty => point.map(|point| point.plank_nm.u),
        View::Residual => point.and_then(|point| point.residual_sd),
    }
}

/// Marks of a drawing's pins, with names where the frame says so.
pub(super) fn draw(
    body: &mut String,
    frame: &Frame,
    assessment: &Assessment,
    part: &[usize],
    view: View,
    unit: TorqueUnit,
) {
    let pins: Vec<(&PinResult, Look)> = part
        .iter()
        .filter_map(|i| Some((assessment.pins.get(*i)?, look(assessment, *i, view))))
        .collect();
    collars(body, frame, &pins);
    let signs = marks::tells_pins_apart(assessment);
    for (pin, look) in &pins {
        let (x, y) = frame.pin(pin);
        body.push_str("<g>");
        let _ = write!(body, "<title>{}</title>", escape(&tip(pin, unit, frame.language)));
        body.push_str(&mark(*look, (x, y), frame.mark_size));
        if signs && !pin.marks.is_empty() {
            body.push_str(&doubt((x, y), frame.mark_size));
        }
        body.push_str("</g>");
    }
    if frame.labels {
        names(body, frame, pins.iter().map(|(pin, _)| *pin).collect());
    }
}

/// A light collar under every mark, so that it shows on any shade.
fn collars(body: &mut String, frame: &Frame, pins: &[(&PinResult, Look)]) {
    let wide = 2.0 * frame.mark_size + if frame.labels { 5.0 } else { 2.4 };
    for (is_dot, width) in [(false, wide), (true, 0.9 * frame.mark_size)] {
        let mut path = String::new();
        for (pin, _) in pins.iter().filter(|(_, look)| (*look == legend::UNREAD) == is_dot) {
            let (x, y) = frame.pin(pin);
            let _ = write!(path, "M{x:.1} {y:.1}h0.01");
        }
        let _ = write!(
            body,
            "<path d=\"{path}\" fill=\"none\" stroke=\"#ffffff\" stroke-width=\"{width:.1}\" \
             stroke-linecap=\"round\"/>"
        );
    }
}

/// What a pointer held over a pin tells.
fn tip(pin: &PinResult, unit: TorqueUnit, language: Language) -> String {
    let name = place::pin_name(pin.pin);
    let band = legend::name(pin.judgement.band).to(language);
    let friction = match (pin.read, pin.friction_nm) {
        (false, _) => format!(": {}", say::NOT_READ.to(language)),
        (true, Some(friction)) => {
            format!(": {}, {band}", language.numeral(&torque(friction.value, unit)))
        }
        (true, None) => format!(": {band}"),
    };
    let why = marks::of_pin(pin).map_or(String::new(), |why| format!(": {}", why.to(language)));
    format!("{name}{friction}{why}")
}

/// Names under their marks; where one would run into the name before it in its row, above.
fn names(body: &mut String, frame: &Frame, mut pins: Vec<&PinResult>) {
    pins.sort_by(|a, b| frame.pin(a).0.total_cmp(&frame.pin(b).0));
    // Boxes written so far: left, right and baseline.
    let mut written: Vec<(f64, f64, f64)> = Vec::new();
    let mut text = String::new();
    for pin in pins {
        let (x, y) = frame.pin(pin);
        let name = place::pin_name(pin.pin);
        let half = 0.5 * words::width(&name, LABEL);
        // Clear of the edge of a zone that runs between mark and name.
        let below = y + frame.mark_size + EDGE_DISTANCE + LABEL;
        let above = y - frame.mark_size - EDGE_DISTANCE - 3.0;
        let free = |base: f64| {
            written.iter().rev().take(60).all(|(left, right, other)| {
                (base - other).abs() >= LABEL || x - half >= *right || x + half <= *left
            })
        };
        // Where neither place is free the name gives way; the tables name every pin.
        let Some(base) = [below, above].into_iter().find(|base| free(*base)) else { continue };
        written.push((x - half, x + half, base));
        let _ = write!(text, "<text x=\"{x:.1}\" y=\"{base:.1}\">{name}</text>");
    }
    let _ = write!(
        body,
        "<g font-size=\"{LABEL}\" text-anchor=\"middle\" stroke=\"#ffffff\" stroke-width=\"3.2\" \
         stroke-linejoin=\"round\" paint-order=\"stroke\">{text}</g>"
    );
}
