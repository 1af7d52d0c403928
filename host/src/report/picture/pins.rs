//! The pins on the picture: a mark each, whose form tells its band, and its name where there is
//! room.
//!
//! Deliberately not here: the marks themselves (`signs`) and which look a band has (`legend`).

use std::fmt::Write as _;

use super::frame::Frame;
use super::signs::{doubt, mark};
use super::view::View;
use super::{LABEL, escape, words};
use crate::analysis::zones::place;
use crate::analysis::{Assessment, PinResult};
use crate::report::legend::{self, Look};
use crate::report::{marks, torque};
use crate::units::TorqueUnit;

/// A pin this many standard deviations from what the others lead to expect stands out (ours; one
/// sound pin in a hundred does by chance).
const STANDS_OUT_SD: f64 = 2.6;

/// How a pin is drawn in a view.
pub(crate) fn look(pin: &PinResult, view: View) -> Look {
    if !pin.read {
        return if view == View::Uncertainty { legend::MISSING } else { legend::UNREAD };
    }
    match view {
        View::Torque | View::Holding | View::Loose => legend::look(pin.judgement.band),
        View::Uncertainty => legend::READ,
        View::Residual => match pin.leave_one_out {
            Some(z) if z <= -STANDS_OUT_SD && pin.zone.is_some() => legend::BAD_PLACE,
            Some(z) if z <= -STANDS_OUT_SD => legend::BAD_HOLE,
            Some(z) if z >= STANDS_OUT_SD => legend::ABOVE,
            _ => legend::ORDINARY,
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
            _ => point.map(|point| point.expected_nm.value / pin.moment_at_pitch_nm.value),
        },
        View::Loose => (pin.read || point.is_some()).then_some(pin.judgement.doubtful_chance),
        View::Uncertainty => point.map(|point| point.sound_nm.u),
        View::Residual => pin.leave_one_out,
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
    let pins: Vec<&PinResult> = part.iter().filter_map(|i| assessment.pins.get(*i)).collect();
    collars(body, frame, &pins, view);
    let signs = marks::tells_pins_apart(assessment);
    for pin in &pins {
        let (x, y) = frame.pin(pin);
        body.push_str("<g>");
        let _ = write!(body, "<title>{}</title>", escape(&tip(pin, unit)));
        body.push_str(&mark(look(pin, view), (x, y), frame.mark_size));
        if signs && !pin.marks.is_empty() {
            body.push_str(&doubt((x, y), frame.mark_size));
        }
        body.push_str("</g>");
    }
    if frame.labels {
        names(body, frame, &pins);
    }
}

/// A light collar under every mark, so that it shows on any shade.
fn collars(body: &mut String, frame: &Frame, pins: &[&PinResult], view: View) {
    let wide = 2.0 * frame.mark_size + if frame.labels { 5.0 } else { 2.4 };
    for (is_dot, width) in [(false, wide), (true, 0.9 * frame.mark_size)] {
        let mut path = String::new();
        for pin in pins.iter().filter(|pin| (look(pin, view) == legend::UNREAD) == is_dot) {
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
fn tip(pin: &PinResult, unit: TorqueUnit) -> String {
    let name = place::pin_name(pin.pin);
    let friction = match (pin.read, pin.friction_nm) {
        (false, _) => ": not read".to_owned(),
        (true, Some(friction)) => {
            format!(": {}, {}", torque(friction.value, unit), legend::name(pin.judgement.band))
        }
        (true, None) => format!(": {}", legend::name(pin.judgement.band)),
    };
    let why = marks::of_pin(pin).map_or(String::new(), |why| format!(": {why}"));
    format!("{name}{friction}{why}")
}

/// Names under their marks; where one would run into the name before it in its row, above.
fn names(body: &mut String, frame: &Frame, pins: &[&PinResult]) {
    let mut order: Vec<&&PinResult> = pins.iter().collect();
    order.sort_by(|a, b| frame.pin(a).0.total_cmp(&frame.pin(b).0));
    // Boxes written so far: left, right and baseline.
    let mut written: Vec<(f64, f64, f64)> = Vec::new();
    let mut text = String::new();
    for pin in order {
        let (x, y) = frame.pin(pin);
        let name = place::pin_name(pin.pin);
        let half = 0.5 * words::width(&name, LABEL);
        let below = y + frame.mark_size + LABEL;
        let above = y - frame.mark_size - 4.0;
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
