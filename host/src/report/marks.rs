//! Marks of levers in doubt, as words: which, how many pins, which pins, and what it means.
//!
//! Invariant: what is said here stands wherever torques of such a lever are shown.

use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use crate::analysis::zones::place;
use crate::analysis::{Assessment, PinResult};
use crate::calibration::mark::LeverMark;

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
pub fn meaning(mark: LeverMark) -> String {
    match mark {
        LeverMark::Uncalibrated => {
            "the lever was not calibrated; the wide uncertainty of its class stands in the numbers"
                .to_owned()
        }
        LeverMark::CalibrationUnknown { number } => format!(
            "the lever's calibration {number} is not in this store; the wide uncertainty of its \
             class stands in the numbers"
        ),
        LeverMark::Overdue => {
            "the lever's calibration was overdue; the uncertainty is what it was when calibrated"
                .to_owned()
        }
        LeverMark::OutOfTemperature => {
            "the lever was colder or warmer than its calibration allows".to_owned()
        }
        LeverMark::CheckFailed => "the lever failed a check beside these readings: do not act on \
             them before it is calibrated and the pins are read again"
            .to_owned(),
        LeverMark::OutOfRange => {
            "the torque was beyond the loads the lever was calibrated with".to_owned()
        }
    }
}

/// The verdict's words on the lever: one sentence per mark; none when nothing is marked.
pub fn doubts(assessment: &Assessment) -> Vec<String> {
    let read = assessment.pins.iter().filter(|pin| pin.read).count();
    groups(assessment)
        .iter()
        .map(|group| format!("{}: {}", counted(group.pins.len(), read), meaning(group.mark)))
        .collect()
}

fn counted(count: usize, read: usize) -> String {
    if count == read { "every torque".to_owned() } else { format!("{count} of {read} torques") }
}

/// A legend's line: marks with their counts.
pub fn legend_line(assessment: &Assessment) -> Option<String> {
    let groups = groups(assessment);
    if groups.is_empty() {
        return None;
    }
    let read = assessment.pins.iter().filter(|pin| pin.read).count();
    let told: Vec<String> = groups
        .iter()
        .map(|group| match group.pins.len() {
            count if count == read => format!("{} (every pin read)", group.mark),
            count => format!("{} ({count})", group.mark),
        })
        .collect();
    Some(told.join("; "))
}

/// The pins of a group by name; of many their number.
pub fn pins_text(group: &MarkGroup, read_count: usize) -> String {
    if group.pins.len() == read_count {
        return "every pin read".to_owned();
    }
    let named: Vec<String> =
        group.pins.iter().take(NAMED_COUNT_MAX).map(|pin| place::pin_name(*pin)).collect();
    let more = match group.pins.len().saturating_sub(NAMED_COUNT_MAX) {
        0 => String::new(),
        count => format!(" and {count} more (annex, every reading)"),
    };
    format!("{}{more}", named.join(", "))
}

/// A pin's marks for its line in a table.
pub fn of_pin(pin: &PinResult) -> Option<String> {
    let told: Vec<String> = pin.marks.iter().map(ToString::to_string).collect();
    (!told.is_empty()).then(|| told.join("; "))
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
