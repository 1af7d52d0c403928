//! The legend: what the shades mean in the user's unit, and what the marks mean.
//!
//! Deliberately not here: the classes (`view`) and the looks (`legend`).

use std::fmt::Write as _;

use super::frame::{INNER_WIDTH, MARGIN};
use super::pins::look;
use super::signs::{doubt, mark, tag};
use super::view::{CLASS_COUNT, SHADES, Scale, View};
use super::{NORMAL, SMALL, escape, text, words};
use crate::analysis::{Assessment, Band};
use crate::report::legend::{self, Look, Mark};
use crate::report::marks;
use crate::units::TorqueUnit;

const INK: &str = "#26221f";
/// From line to line.
const LINE: f64 = 21.0;
/// Height of a swatch.
const SWATCH: f64 = 16.0;

/// Shades and marks; gives back where it ends.
pub(super) fn draw(
    body: &mut String,
    assessment: &Assessment,
    view: View,
    scale: Option<&Scale>,
    unit: TorqueUnit,
    top: f64,
) -> f64 {
    let y = shades(body, view, scale, unit, top);
    let y = signs(body, assessment, view, unit, y);
    doubts(body, assessment, y)
}

/// The scale of the shading, from light to dark.
fn shades(body: &mut String, view: View, scale: Option<&Scale>, unit: TorqueUnit, top: f64) -> f64 {
    let Some(scale) = scale else {
        text(body, (MARGIN, top), NORMAL, "Too few comparable readings to shade the plank.");
        return top + LINE;
    };
    let heading = format!("Shading, from all the pins around: {}", view.quantity(unit));
    bold(body, (MARGIN, top), &heading);
    let top = top + 8.0;
    let width = INNER_WIDTH / CLASS_COUNT as f64;
    let mut deepest = 1;
    for (class, (shade, label)) in SHADES.iter().zip(&scale.labels).enumerate() {
        let x = MARGIN + width * class as f64;
        let _ = write!(
            body,
            "<rect x=\"{x:.1}\" y=\"{top:.1}\" width=\"{width:.1}\" height=\"{SWATCH}\" \
             fill=\"{shade}\" stroke=\"{INK}\" stroke-width=\"0.8\"/>"
        );
        let lines = words::fitted(label, NORMAL, width - 4.0);
        deepest = deepest.max(lines.len());
        for (i, line) in lines.iter().enumerate() {
            text(body, (x + 2.0, top + SWATCH + 16.0 + 16.0 * i as f64), NORMAL, line);
        }
    }
    top + SWATCH + 16.0 * deepest as f64 + 24.0
}

/// Marks that occur, with what they mean and how many there are.
fn signs(
    body: &mut String,
    assessment: &Assessment,
    view: View,
    unit: TorqueUnit,
    top: f64,
) -> f64 {
    let entries = entries(assessment, view, unit);
    let heading = match view {
        View::Torque | View::Holding | View::Loose => format!(
            "Marks: the pins as read, friction in {unit}; the worse of friction and holding \
             factor counts (bands are ours and can be set)"
        ),
        View::Uncertainty => "Marks: the pins".to_owned(),
        View::Residual => {
            "Marks: each pin against what all other pins lead to expect there".to_owned()
        }
    };
    bold(body, (MARGIN, top), &heading);
    let (mut x, mut y) = (MARGIN, top + 23.0);
    for (look, words) in entries {
        let width = words::width(&words, NORMAL) + 40.0;
        if x + width > MARGIN + INNER_WIDTH && x > MARGIN {
            (x, y) = (MARGIN, y + LINE);
        }
        body.push_str(&mark(look, (x + 8.0, y - 4.8), 7.0));
        text(body, (x + 22.0, y), NORMAL, &words);
        x += width;
    }
    y + LINE + 4.0
}

/// Looks in the order of the scale, with their words.
pub(crate) fn entries(
    assessment: &Assessment,
    view: View,
    unit: TorqueUnit,
) -> Vec<(Look, String)> {
    let marks: Vec<Mark> =
        (0..assessment.pins.len()).map(|index| look(assessment, index, view).mark).collect();
    let count = |of: Look| marks.iter().filter(|mark| **mark == of.mark).count();
    let fixed: &[(Look, &str)] = match view {
        View::Torque | View::Holding | View::Loose => &[],
        View::Uncertainty => &[(legend::READ, "read"), (legend::MISSING, "not read")],
        View::Residual => &[
            (legend::ORDINARY, "as expected"),
            (legend::ABOVE, "tighter than its neighbours"),
            (legend::BAD_HOLE, "looser than its own neighbours: a bad hole"),
            (legend::BAD_PLACE, "loose with its neighbours: a bad place"),
            (legend::look(Band::CannotTell), "without a friction to compare"),
            (legend::UNREAD, "not read"),
        ],
    };
    let fixed = fixed.iter().map(|(look, words)| (*look, (*words).to_owned()));
    let mut all: Vec<(Look, String)> = fixed.collect();
    if all.is_empty() {
        all.extend(assessment.statistics.band_counts.iter().map(|(band, _)| {
            let range = legend::range(*band, &assessment.profile, unit);
            (legend::look(*band), format!("{}: {range}", legend::name(*band)))
        }));
        all.push((legend::UNREAD, "not read".to_owned()));
    }
    all.into_iter()
        .map(|(look, words)| (look, count(look), words))
        .filter(|(_, count, _)| *count > 0)
        .map(|(look, count, words)| (look, format!("{count} {words}")))
        .collect()
}

/// What is to be doubted of the lever, where anything is: a line for each mark.
fn doubts(body: &mut String, assessment: &Assessment, top: f64) -> f64 {
    let mut y = top;
    for entry in marks::legend_entries(assessment) {
        // The sign stands at the upper right of what it is given: here in the marks' column.
        body.push_str(&doubt((MARGIN + 1.4, y + 2.2), 7.0));
        text(body, (MARGIN + 22.0, y), NORMAL, &format!("in doubt: {entry}"));
        y += LINE;
    }
    y
}

fn bold(body: &mut String, (x, y): (f64, f64), words: &str) {
    let _ = write!(
        body,
        "<text x=\"{x:.1}\" y=\"{y:.1}\" font-size=\"{NORMAL}\" font-weight=\"bold\">{}</text>",
        escape(words)
    );
}

/// The zones in words, a paragraph each; gives back where it ends.
pub(super) fn zones(body: &mut String, assessment: &Assessment, unit: TorqueUnit, top: f64) -> f64 {
    let captions = words::captions(assessment, unit);
    let mut y = top;
    for (letter, caption) in &captions {
        body.push_str(&tag((MARGIN + 8.0, y - 4.5), *letter));
        for line in words::fitted(caption, NORMAL, INNER_WIDTH - 24.0) {
            text(body, (MARGIN + 24.0, y), NORMAL, &line);
            y += 18.0;
        }
        y += 5.0;
    }
    if captions.is_empty() {
        let words = if assessment.field.points.is_empty() {
            "Too few comparable readings to look for zones."
        } else {
            "No zone stands out: nowhere are pins loose together."
        };
        text(body, (MARGIN, y), NORMAL, words);
        y += 23.0;
    } else {
        let legend = "Edged and hatched: a zone, the tight pins among its loose ones included.";
        let caution = "Readings of the pattern, not findings: torque alone neither proves nor \
                       clears a split.";
        for line in [legend, caution] {
            text(body, (MARGIN + 24.0, y - 3.0), SMALL, line);
            y += 17.0;
        }
        y += 3.0;
    }
    y
}
