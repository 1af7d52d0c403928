//! Marks of levers in doubt, as words: which, how many pins, which pins, and what it means.
//!
//! Invariant: what is said here stands wherever torques of such a lever are shown.

use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use crate::analysis::zones::place;
use crate::analysis::{Assessment, PinResult};
use crate::calibration::mark::LeverMark;
use crate::words::{Said, findings, pages, pictures, plank as say};

/// Pins named one by one at most; of more their number is told.
const NAMED_COUNT_MAX: usize = 40;

/// The pins that carry one mark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MarkGroup {
    /// The mark.
    pub mark: LeverMark,
    /// Its pins, in the instrument's order.
    pub pins: Vec<Pin>,
}

/// Every mark there is, with its pins.
pub fn groups(assessment: &Assessment) -> Vec<MarkGroup> {
    let mut groups: Vec<MarkGroup> = Vec::new();
    for pin in &assessment.pins {
        for mark in &pin.marks {
            match groups.iter_mut().find(|group| group.mark == *mark) {
                Some(group) => group.pins.push(pin.pin),
                None => groups.push(MarkGroup { mark: *mark, pins: vec![pin.pin] }),
            }
        }
    }
    groups.sort_by_key(|group| group.mark);
    groups
}

/// Pins read that carry any mark.
pub fn marked_count(assessment: &Assessment) -> usize {
    assessment.pins.iter().filter(|pin| !pin.marks.is_empty()).count()
}

/// Whether signs at single pins tell anything: where every pin read carries the same marks, the
/// legend says it once.
pub fn tells_pins_apart(assessment: &Assessment) -> bool {
    let mut read = assessment.pins.iter().filter(|pin| pin.read);
    let first = read.next().map(|pin| &pin.marks);
    read.any(|pin| Some(&pin.marks) != first)
}

/// What a mark means for the numbers, after the count of pins.
pub fn meaning(mark: LeverMark) -> Said {
    say::mark_meaning(mark)
}

/// The verdict's words on the lever: one sentence per mark; none when nothing is marked.
pub fn doubts(assessment: &Assessment) -> Vec<Said> {
    let read = assessment.pins.iter().filter(|pin| pin.read).count();
    groups(assessment)
        .iter()
        .map(|group| say::doubt(counted(group.pins.len(), read), meaning(group.mark)))
        .collect()
}

fn counted(count: usize, read: usize) -> Said {
    if count == read { findings::EVERY_TORQUE.said() } else { findings::of_torques(count, read) }
}

/// A legend's line: marks with their counts; `None` when nothing is marked.
pub fn legend_line(assessment: &Assessment) -> Option<Said> {
    let entries = legend_entries(assessment);
    (!entries.is_empty()).then(|| Said::joined(&entries, "; "))
}

/// The same, mark by mark.
pub fn legend_entries(assessment: &Assessment) -> Vec<Said> {
    let read = assessment.pins.iter().filter(|pin| pin.read).count();
    groups(assessment)
        .iter()
        .map(|group| match group.pins.len() {
            count if count == read => pictures::all_marked(say::mark(group.mark)),
            count => pictures::so_many_marked(say::mark(group.mark), count),
        })
        .collect()
}

/// The pins of a group by name; of many their number.
pub fn pins_text(group: &MarkGroup, read_count: usize) -> Said {
    if group.pins.len() == read_count {
        return pages::EVERY_PIN_READ.said();
    }
    let named: Vec<String> =
        group.pins.iter().take(NAMED_COUNT_MAX).map(|pin| place::pin_name(*pin)).collect();
    let named = named.join(", ");
    match group.pins.len().saturating_sub(NAMED_COUNT_MAX) {
        0 => Said::same(named),
        count => pages::more_in_annex(named, count),
    }
}

/// A pin's marks for its line in a table.
pub fn of_pin(pin: &PinResult) -> Option<Said> {
    let told: Vec<Said> = pin.marks.iter().map(|mark| say::mark(*mark)).collect();
    (!told.is_empty()).then(|| Said::joined(&told, "; "))
}

/// A pin's marks for documents.
pub fn words(marks: &[LeverMark]) -> Value {
    marks.iter().map(|mark| mark.word()).collect()
}

/// The groups for documents.
pub fn document(assessment: &Assessment) -> Value {
    groups(assessment)
        .iter()
        .map(|group| {
            let calibration = match group.mark {
                LeverMark::CalibrationUnknown { number } => Some(number),
                _ => None,
            };
            let pins: Vec<Value> = group
                .pins
                .iter()
                .map(|pin| json!({ "note": pin.note, "string": pin.string.letter().to_string() }))
                .collect();
            json!({
                "mark": group.mark.word(),
                "calibration": calibration,
                "meaning": meaning(group.mark),
                "pins": pins,
            })
        })
        .collect()
}
