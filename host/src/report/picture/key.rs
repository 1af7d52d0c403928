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
use crate::words::{Language, Said, Word, pictures as say};

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
    (unit, language): (TorqueUnit, Language),
    top: f64,
) -> f64 {
    let y = shades(body, view, scale, (unit, language), top);
    let y = signs(body, assessment, view, (unit, language), y);
    doubts(body, assessment, language, y)
}

/// The scale of the shading, from light to dark.
fn shades(
    body: &mut String,
    view: View,
    scale: Option<&Scale>,
    (unit, language): (TorqueUnit, Language),
    top: f64,
) -> f64 {
    let Some(scale) = scale else {
        text(body, (MARGIN, top), NORMAL, say::UNSHADED.to(language));
        return top + LINE;
    };
    bold(body, (MARGIN, top), say::shading(view.quantity(unit)).to(language));
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
        let lines = words::fitted(label.to(language), NORMAL, width - 4.0);
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
    (unit, language): (TorqueUnit, Language),
    top: f64,
) -> f64 {
    let entries = entries(assessment, view, unit);
    let heading = match view {
        View::Torque | View::Holding | View::Loose => say::marks_of_bands(unit.to_string()),
        View::Uncertainty => say::MARKS_OF_PINS.said(),
        View::Residual => say::MARKS_OF_RESIDUALS.said(),
    };
    let mut top = top;
    for line in words::fitted(heading.to(language), NORMAL, INNER_WIDTH) {
        bold(body, (MARGIN, top), &line);
        top += 18.0;
    }
    top -= 18.0;
    let (mut x, mut y) = (MARGIN, top + 23.0);
    for (look, words) in entries {
        let words = words.to(language);
        let width = words::width(words, NORMAL) + 40.0;
        if x + width > MARGIN + INNER_WIDTH && x > MARGIN {
            (x, y) = (MARGIN, y + LINE);
        }
        body.push_str(&mark(look, (x + 8.0, y - 4.8), 7.0));
        text(body, (x + 22.0, y), NORMAL, words);
        x += width;
    }
    y + LINE + 4.0
}

/// Looks in the order of the scale, with their words.
pub(crate) fn entries(assessment: &Assessment, view: View, unit: TorqueUnit) -> Vec<(Look, Said)> {
    let marks: Vec<Mark> =
        (0..assessment.pins.len()).map(|index| look(assessment, index, view).mark).collect();
    let count = |of: Look| marks.iter().filter(|mark| **mark == of.mark).count();
    let fixed: &[(Look, Word)] = match view {
        View::Torque | View::Holding | View::Loose => &[],
        View::Uncertainty => &[(legend::READ, say::READ), (legend::MISSING, say::NOT_READ)],
        View::Residual => &[
            (legend::ORDINARY, say::AS_EXPECTED),
            (legend::ABOVE, say::TIGHTER),
            (legend::BAD_HOLE, say::BAD_HOLE),
            (legend::BAD_PLACE, say::BAD_PLACE),
            (legend::look(Band::CannotTell), say::NO_FRICTION),
            (legend::UNREAD, say::NOT_READ),
        ],
    };
    let mut all: Vec<(Look, Said)> =
        fixed.iter().map(|(look, words)| (*look, words.said())).collect();
    if all.is_empty() {
        all.extend(assessment.statistics.band_counts.iter().map(|(band, _)| {
            let range = legend::range(*band, &assessment.profile, unit);
            (legend::look(*band), say::band_of(legend::name(*band), range))
        }));
        all.push((legend::UNREAD, say::NOT_READ.said()));
    }
    all.into_iter()
        .map(|(look, words)| (look, count(look), words))
        .filter(|(_, count, _)| *count > 0)
        .map(|(look, count, words)| (look, say::counted(count, words)))
        .collect()
}

/// What is to be doubted of the lever, where anything is: a line for each mark.
fn doubts(body: &mut String, assessment: &Assessment, language: Language, top: f64) -> f64 {
    let mut y = top;
    for entry in marks::legend_entries(assessment) {
        // The sign stands at the upper right of what it is given: here in the marks' column.
        body.push_str(&doubt((MARGIN + 1.4, y + 2.2), 7.0));
        text(body, (MARGIN + 22.0, y), NORMAL, say::in_doubt(entry).to(language));
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
pub(super) fn zones(
    body: &mut String,
    assessment: &Assessment,
    (unit, language): (TorqueUnit, Language),
    top: f64,
) -> f64 {
    let captions = words::captions(assessment, unit);
    let mut y = top;
    for (letter, caption) in &captions {
        body.push_str(&tag((MARGIN + 8.0, y - 4.5), *letter));
        for line in words::fitted(caption.to(language), NORMAL, INNER_WIDTH - 24.0) {
            text(body, (MARGIN + 24.0, y), NORMAL, &line);
            y += 18.0;
        }
        y += 5.0;
    }
    if captions.is_empty() {
        let words =
            if assessment.field.points.is_empty() { say::NO_ZONES_SOUGHT } else { say::NO_ZONE };
        text(body, (MARGIN, y), NORMAL, words.to(language));
        y += 23.0;
    } else {
        for line in [say::ZONE_EDGES, say::READINGS_NOT_FINDINGS] {
            text(body, (MARGIN + 24.0, y - 3.0), SMALL, line.to(language));
            y += 17.0;
        }
        y += 3.0;
    }
    y
}
