//! A lever's calibration as a document: the in-house record.
//!
//! Shows what was read and what follows so that someone else can check it. Deliberately not here:
//! any evaluation beyond sums of what the record holds ([`crate::calibration`]).
//!
//! Invariant: it says that it is no accredited certificate, and when its lever was simulated.

mod data;
mod figures;
mod parts;
mod result;
#[cfg(test)]
mod tests;

use super::document::{Block, Document, Fact, Paper};
use super::numbers::fixed;
use crate::calibration::bench::{GravitySource, Setting};
use crate::calibration::record::CalibrationRecord;
use crate::calibration::terms::LeverTerms;
use crate::text::{printable, printable_short};
use crate::units::TorqueUnit;
use crate::words::Language;

/// Coverage factor of every expanded uncertainty here.
const COVERAGE_FACTOR: f64 = 2.0;
/// Characters of a weight's name that stands for it in every row.
const SHORT_NAME_LENGTH: usize = 4;
/// Characters of a hand position's name in every row.
const PLACE_LENGTH_MAX: usize = 12;
/// Characters of a name shown in a list.
const NAME_LENGTH_MAX: usize = 60;
/// Characters of a longer text.
const TEXT_LENGTH_MAX: usize = 2_000;
/// People who get a line to sign on.
const SIGNATURE_COUNT_MAX: usize = 4;
const NOT_RECORDED: &str = "not recorded";
const TITLE: &str = "In-house calibration record";

/// The larger of what a function says for both directions.
fn larger(terms: &LeverTerms, load_nm: f64, of: fn(&LeverTerms, f64) -> f64) -> f64 {
    of(terms, load_nm).max(of(terms, -load_nm))
}

/// What every section takes.
#[derive(Clone, Copy)]
struct Sheet<'a> {
    record: &'a CalibrationRecord,
    unit: TorqueUnit,
}

impl Sheet<'_> {
    /// Digits after the point of a load.
    const fn decimals(self) -> usize {
        match self.unit {
            TorqueUnit::NewtonMetre => 3,
            TorqueUnit::InchPoundForce | TorqueUnit::KilogramForceCentimetre => 2,
        }
    }

    /// A torque in the user's unit, as a number.
    fn show(self, torque_nm: f64) -> f64 {
        self.unit.from_newton_metres(torque_nm)
    }

    /// A load without its unit.
    fn load(self, torque_nm: f64) -> String {
        fixed(self.show(torque_nm), self.decimals())
    }

    /// A load in a sentence, without its unit: a digit less.
    fn rough(self, torque_nm: f64) -> String {
        fixed(self.show(torque_nm), self.decimals() - 1)
    }

    /// A small torque without its unit: a digit more.
    fn fine(self, torque_nm: f64) -> String {
        fixed(self.show(torque_nm), self.decimals() + 1)
    }

    /// Smallest and largest load, N·m.
    fn range_nm(self) -> (f64, f64) {
        self.record.result.terms.range_nm.unwrap_or((0.0, 0.0))
    }

    /// What hung: the names of masses where all are short, else their numbers in the list.
    fn masses(self, masses: &[usize]) -> String {
        if masses.is_empty() {
            return "none".to_owned();
        }
        let all = &self.record.bench.masses;
        let is_short = |text: &str| (1..=SHORT_NAME_LENGTH).contains(&text.trim().chars().count());
        let are_short = all.iter().all(|mass| is_short(&mass.name));
        let named = |at: &usize| match all.get(*at).filter(|_| are_short) {
            Some(mass) => name(&mass.name),
            None => (at + 1).to_string(),
        };
        let list = masses.iter().map(named).collect::<Vec<_>>().join(" + ");
        if are_short { list } else { format!("no.\u{a0}{list}") }
    }

    /// Name of a hand position, where there is little room.
    fn position(self, position: usize) -> String {
        match self.record.bench.positions.get(position) {
            Some(place) => printable_short(&name(&place.name), PLACE_LENGTH_MAX),
            None => format!("#{}", position + 1),
        }
    }
}

/// A name from outside, for a table.
fn name(text: &str) -> String {
    let shown = printable_short(text.trim(), NAME_LENGTH_MAX);
    if shown.is_empty() { "–".to_owned() } else { shown }
}

/// A longer text from outside.
fn text(text: &str) -> String {
    printable_short(text.trim(), TEXT_LENGTH_MAX)
}

/// Day and minute, by UTC.
fn moment(ms: i64) -> String {
    match jiff::Timestamp::from_millisecond(ms) {
        Ok(time) => time.strftime("%Y-%m-%d %H:%M UTC").to_string(),
        Err(_) => NOT_RECORDED.to_owned(),
    }
}

/// Day, by UTC.
fn day(ms: i64) -> String {
    match jiff::Timestamp::from_millisecond(ms) {
        Ok(time) => time.strftime("%Y-%m-%d").to_string(),
        Err(_) => NOT_RECORDED.to_owned(),
    }
}

/// A sentence as it stands in a list.
fn sentence(words: &str) -> String {
    let words = printable(words.trim());
    let mut letters = words.chars();
    let first: String = letters.next().map(|c| c.to_uppercase().collect()).unwrap_or_default();
    let end = if words.ends_with(['.', '!', '?', '…']) { "" } else { "." };
    format!("{first}{}{end}", letters.as_str())
}

/// The record as a document, torque in the user's unit.
pub fn document(record: &CalibrationRecord, unit: TorqueUnit) -> Document {
    let sheet = Sheet { record, unit };
    let mut blocks = Vec::new();
    if record.simulated {
        blocks.push(Block::Banner(
            "Simulated: lever, weights and readings are invented. Nothing here is real.".to_owned(),
        ));
    }
    blocks.push(Block::Title {
        title: format!("{TITLE}: torque lever"),
        subtitle: "Made by the lever's user. Not an accredited certificate.".to_owned(),
    });
    blocks.push(Block::Facts(facts(sheet)));
    blocks.extend(result::first(sheet));
    blocks.push(signatures(record));
    blocks.push(Block::PageBreak);
    blocks.extend(result::blocks(sheet));
    blocks.extend(data::bench(sheet));
    blocks.extend(closing(sheet));
    blocks.push(Block::PageBreak);
    blocks.extend(data::readings(sheet));
    let (lever, number, date) = (record.lever, record.number, day(record.made_ms));
    let simulated = if record.simulated { "SIMULATED · " } else { "" };
    Document {
        language: Language::English,
        paper: Paper::A4,
        title: format!("{TITLE} {number} of lever {lever:016x}, {date}"),
        description: "Calibration of a torque-sensing tuning lever with dead weights. In-house \
                      record, not an accredited certificate."
            .to_owned(),
        authors: record.people.iter().take(SIGNATURE_COUNT_MAX).map(|who| name(who)).collect(),
        program: format!("pinhold {}", name(&record.program)),
        made_ms: record.made_ms,
        running_head: format!(
            "{simulated}{TITLE} {number} · lever {lever:016x} · {date} · not an accredited \
             certificate"
        ),
        running_foot: format!(
            "{simulated}Lever {lever:016x}, calibration {number}, {date}. Computed by pinhold {}.",
            name(&record.program)
        ),
        blocks,
    }
}

fn facts(sheet: Sheet<'_>) -> Vec<Fact> {
    let record = sheet.record;
    let or_not = |text: String| if text.is_empty() { NOT_RECORDED.to_owned() } else { text };
    let people = text(&record.people.join(", "));
    let temperature = match record.result.terms.temperature_c {
        Some((low, high)) => format!("{} to {} °C", fixed(low, 1), fixed(high, 1)),
        None => NOT_RECORDED.to_owned(),
    };
    let room = match (record.room_temperature_c, record.relative_humidity) {
        (None, None) => NOT_RECORDED.to_owned(),
        (temperature, humidity) => {
            let temperature = temperature.map(|c| format!("{} °C", fixed(c, 1)));
            let humidity = humidity.map(|share| format!("{} % RH", fixed(100.0 * share, 0)));
            temperature.into_iter().chain(humidity).collect::<Vec<_>>().join(", ")
        }
    };
    let (low, high) = sheet.range_nm();
    let loaded = record.bench.points.iter().filter(|p| matches!(p.setting, Setting::Loaded { .. }));
    vec![
        Fact::new("Lever", format!("{:016x}", record.lever)),
        Fact::new("Calibration", format!("number {}", record.number)),
        Fact::new("Made", moment(record.made_ms)),
        Fact::new("Next due", day(record.due_ms)),
        Fact::new("Made by", or_not(people)),
        Fact::new("Place", or_not(text(&record.place))),
        Fact::new("Lever was at", temperature),
        Fact::new("Room", room),
        Fact::new("Local gravity", gravity(sheet)),
        Fact::new(
            "Loads",
            format!(
                "{} points, {} to {} {}, sharp and flat",
                loaded.count(),
                sheet.rough(low),
                sheet.rough(high),
                sheet.unit
            ),
        ),
    ]
}

fn gravity(sheet: Sheet<'_>) -> String {
    let gravity = &sheet.record.bench.gravity;
    let value = super::numbers::with_u(gravity.value_m_s2.value, gravity.value_m_s2.u);
    match gravity.source {
        GravitySource::Typed => format!("{value} m/s² (k = 1), typed in"),
        GravitySource::Place { latitude_deg, height_m } => format!(
            "{value} m/s² (k = 1), computed for latitude {}°, {} m above the sea",
            fixed(latitude_deg, 2),
            fixed(height_m, 0)
        ),
    }
}

/// Method, remarks, cautions, signatures.
fn closing(sheet: Sheet<'_>) -> Vec<Block> {
    let record = sheet.record;
    let mut blocks = vec![
        Block::Heading("Method".to_owned()),
        Block::Note(METHOD.to_owned()),
        Block::Note(METHOD_UNCERTAINTY.to_owned()),
        Block::Heading("Remarks, and what was not done".to_owned()),
    ];
    let mut remarks: Vec<String> =
        record.result.remarks.iter().map(|remark| sentence(&text(remark))).collect();
    remarks.extend(not_done(record));
    blocks.push(Block::List(remarks));
    if !record.remark.trim().is_empty() {
        blocks.push(Block::Paragraph(format!("Noted by who made it: {}", text(&record.remark))));
    }
    blocks.push(Block::Heading("Use".to_owned()));
    blocks.push(Block::List(USE.iter().map(|line| (*line).to_owned()).collect()));
    blocks
}

fn signatures(record: &CalibrationRecord) -> Block {
    let names: Vec<String> = record
        .people
        .iter()
        .take(SIGNATURE_COUNT_MAX)
        .map(|who| format!("Signature ({})", name(who)))
        .collect();
    let names = if names.is_empty() { vec!["Signature".to_owned()] } else { names };
    Block::Signatures(names)
}

const METHOD: &str = "\
Dead weights hung on the handle at measured arms while the head sat on a fixed square, one after \
another on and off again, sharp and flat. Load = mass × local gravity × arm × the share of gravity \
across the handle, from the lever's accelerometer. Each series' zero is taken to move evenly in \
time and is taken out. The bridge code is regressed on the load by least squares; an F test \
decides between straight line and quadratic. The lever's own weight follows from readings off the \
square with the handle to the left and to the right.";
const METHOD_UNCERTAINTY: &str = "\
Uncertainty after JCGM 100:2008 (GUM). Masses, arms, gravity and tilt are each moved by their \
standard uncertainty and the fit repeated; hysteresis, place of the hand and resolution count as \
rectangles, repeatability as the standard deviation of one loading. Independent parts add as \
squares. Expanded uncertainty is the combined standard uncertainty times k\u{a0}=\u{a0}2, about \
95\u{a0}% coverage.";

const USE: [&str; 3] = [
    "The uncertainty holds for the loads, temperatures and hand positions listed, after a zero \
     taken just before, with the remaining error taken off by the program.",
    "Calibrate again after a fall, an overload or a repair, and whenever \
     'pinhold lever check' does not pass.",
    "It covers the lever. The uncertainty of a pin's reading, with zero drift, seating and the \
     string, stands beside each reading.",
];

fn not_done(record: &CalibrationRecord) -> Vec<String> {
    let mut lines = vec![
        "Masses, arms and gravity are as typed, with the uncertainties typed: the program saw no \
         certificate of theirs, and traceability goes as far as the remark below says."
            .to_owned(),
        "Loads stood still: nothing was calibrated while turning.".to_owned(),
        "Dependence on temperature was not measured; away from the temperatures above, the class \
         of the cell is taken."
            .to_owned(),
    ];
    if record.remark.trim().is_empty() {
        lines[0] = "Masses, arms and gravity are as typed, with the uncertainties typed: the \
                    program saw no certificate of theirs, and no traceability was noted."
            .to_owned();
    }
    if record.room_temperature_c.is_none() && record.relative_humidity.is_none() {
        lines.push("Temperature and humidity of the room were not recorded.".to_owned());
    }
    lines
}
