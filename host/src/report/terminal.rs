//! Map and verdict as plain text for a terminal, readable without colour.
//!
//! Deliberately not here: cursor movement, width detection, any decision about colour, and how the
//! field is laid out in characters (`terminal_map`).

pub use super::terminal_map::{map, map_view};
use super::{MapModel, confidence_words, diameter, marks, remedy_line, torque};
use crate::analysis::verdict::ConfidenceCap;
use crate::text::printable;
use crate::units::TorqueUnit;
use crate::words::Said;

/// Narrowest text written; below it lines are longer than asked.
pub(super) const WIDTH_MIN: usize = 40;

/// The verdict: what to do, how sure, why, why not, and what to look at first.
pub fn verdict(model: &MapModel<'_>, unit: TorqueUnit, width: usize) -> String {
    let width = width.max(WIDTH_MIN);
    let verdict = &model.assessment.verdict;
    let statistics = &model.assessment.statistics;
    let mut text = wrap(
        &format!("{}. {}", verdict.remedy.word(), remedy_line(verdict.remedy)),
        "verdict: ",
        width,
    );
    let capped = match verdict.confidence_cap {
        Some(ConfidenceCap::PliesUnseen) => ", capped until plies were seen",
        Some(ConfidenceCap::LeverInDoubt) => ", capped: the lever is in doubt",
        None => "",
    };
    let confidence = format!(
        "confidence {:.0} % ({}{capped})",
        100.0 * verdict.confidence,
        confidence_words(verdict.confidence)
    );
    text.push_str(&wrap(&confidence, "", width));
    let share = statistics.doubtful_share;
    let median = statistics.friction_median_nm.map_or("none".to_owned(), |nm| torque(nm, unit));
    text.push_str(&wrap(
        &format!(
            "{} of {} pins read; middle friction {median}; {:.1} ± {:.1} % doubtful or worse",
            statistics.read_count,
            statistics.pin_count,
            100.0 * share.value,
            100.0 * share.u
        ),
        "",
        width,
    ));
    let doubts = marks::doubts(model.assessment);
    let mut list = |title: &str, items: &[Said]| {
        if !items.is_empty() {
            text.push_str(&format!("\n{title}\n"));
        }
        for item in items {
            text.push_str(&wrap(&printable(item), "  - ", width));
        }
    };
    list("the torques come from a lever in doubt", &doubts);
    list("confirm before acting", &verdict.confirm_before_acting);
    list("for", &verdict.reasons_for);
    list("against", &verdict.reasons_against);
    list("strings that stand out", &model.assessment.pulls.sentences());
    list("what would change it", &verdict.what_would_change_it);
    list("not examined", &verdict.not_examined);
    let next: Vec<Said> = verdict.next_observation.iter().cloned().collect();
    list("most worth finding out next", &next);
    let parts: Vec<Said> = verdict.parts.iter().map(|line| Said::same(parts_line(line))).collect();
    list("pins to order", &parts);
    let cautions: Vec<Said> = verdict.cautions.iter().map(|caution| caution.said()).collect();
    list("cautions", &cautions);
    text
}

fn parts_line(line: &crate::analysis::verdict::PartsLine) -> String {
    let from = line.from_um.map_or("size unknown".to_owned(), diameter);
    let to = line.to_um.map_or("to be decided at the pin".to_owned(), diameter);
    format!(
        "{}: {} pins + {} spare, {from} now, order {to}; {}",
        line.place, line.pin_count, line.spare_count, line.note
    )
}

/// Breaks at blanks so that lines fit; further lines are set in under the first.
pub fn wrap(text: &str, lead: &str, width: usize) -> String {
    let indent = " ".repeat(lead.chars().count());
    let mut wrapped = String::new();
    let mut line = lead.to_owned();
    let mut is_empty = true;
    for word in text.split_whitespace() {
        let needed = line.chars().count() + word.chars().count() + usize::from(!is_empty);
        if needed > width && !is_empty {
            wrapped.push_str(line.trim_end());
            wrapped.push('\n');
            line.clone_from(&indent);
            is_empty = true;
        }
        if !is_empty {
            line.push(' ');
        }
        line.push_str(word);
        is_empty = false;
    }
    wrapped.push_str(line.trim_end());
    wrapped.push('\n');
    wrapped
}
