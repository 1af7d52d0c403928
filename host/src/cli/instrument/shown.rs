//! Instruments and pins as people and programs read them.

use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use super::CliError;
use crate::instrument::note::note_name;
use crate::instrument::{FieldPin, Instrument, PlateFace, pin_name};
use crate::store::condition::condition_document;
use crate::store::{InstrumentFacts, InstrumentRecord, Store, Survey};
use crate::text::printable;

/// One line: name, kind, compass, pins, surveys.
pub(super) fn headline(record: &InstrumentRecord) -> String {
    let instrument = &record.instrument;
    let surveys = match record.survey_count {
        0 => "no survey".to_string(),
        1 => "1 survey".to_string(),
        count => format!("{count} surveys"),
    };
    // A full plate is the rule and not worth a word.
    let face = match instrument.face {
        PlateFace::Full => String::new(),
        PlateFace::ThreeQuarter => ", three-quarter plate".to_owned(),
        PlateFace::Open => ", open plank".to_owned(),
    };
    format!(
        "{}: {}{face}, {}, {} pins, {surveys}",
        printable(&instrument.name),
        instrument.kind,
        compass_text(instrument),
        instrument.pins.len()
    )
}

/// The compass as text, such as `A0 to C8`.
pub(in super::super) fn compass_text(instrument: &Instrument) -> String {
    let name = |note: u8| note_name(note).unwrap_or_else(|| note.to_string());
    format!("{} to {}", name(instrument.first_note), name(instrument.last_note))
}

/// A line per section: notes, pins, diameters.
pub(super) fn sections_text(instrument: &Instrument) -> String {
    let last = instrument.pins.iter().map(|field| field.section).max().unwrap_or(0);
    let mut text = String::new();
    for section in 0..=last {
        let pins = || instrument.pins.iter().filter(move |field| field.section == section);
        let name = |note: u8| note_name(note).unwrap_or_else(|| note.to_string());
        let (Some(first), Some(last)) = (pins().next(), pins().next_back()) else { continue };
        let smallest = pins().filter_map(|field| field.diameter_um).min();
        let largest = pins().filter_map(|field| field.diameter_um).max();
        let size = match (smallest, largest) {
            (Some(low), Some(high)) if low == high => format!("{:.3} mm", f64::from(low) / 1e3),
            (Some(low), Some(high)) => {
                format!("{:.3} to {:.3} mm", f64::from(low) / 1e3, f64::from(high) / 1e3)
            }
            _ => "size unknown".to_string(),
        };
        text.push_str(&format!(
            "  section {section}: {} to {}, {} pins, {size}\n",
            name(first.pin.note),
            name(last.pin.note),
            pins().count()
        ));
    }
    text
}

pub(super) fn facts_of(facts: &InstrumentFacts) -> [(&'static str, &str); 4] {
    [
        ("serial", &facts.serial),
        ("maker", &facts.maker_text),
        ("owner", &facts.owner_reference),
        ("place", &facts.place),
    ]
}

pub(super) fn reading_count(store: &Store, survey: &Survey) -> Result<usize, CliError> {
    let readings = store.readings_of(survey.id)?;
    Ok(readings.lever.len() + readings.hand.len())
}

/// An instrument as JSON, without its pins.
pub(super) fn summary(record: &InstrumentRecord) -> Value {
    let instrument = &record.instrument;
    let mut facts = serde_json::Map::new();
    for (label, fact) in facts_of(&record.facts) {
        facts.insert(label.to_string(), json!(fact));
    }
    json!({
        "name": instrument.name,
        "kind": instrument.kind.word(),
        "face": instrument.face.word(),
        "first_note": instrument.first_note,
        "last_note": instrument.last_note,
        "pin_count": instrument.pins.len(),
        "survey_count": record.survey_count,
        "created": record.created,
        "facts": facts,
    })
}

/// An instrument as JSON, with pins and surveys.
pub(super) fn document(
    store: &Store,
    record: &InstrumentRecord,
    surveys: &[Survey],
) -> Result<Value, CliError> {
    let pins: Vec<Value> = record.instrument.pins.iter().map(pin_document).collect();
    let mut told = Vec::new();
    for survey in surveys {
        told.push(json!({
            "survey": format!("{:016x}", survey.uid),
            "started": survey.started,
            "source": survey.source.word(),
            "reading_count": reading_count(store, survey)?,
            "notes": survey.notes,
            "condition": condition_document(&store.condition(survey.id)?),
        }));
    }
    let mut instrument = summary(record);
    instrument["pins"] = Value::Array(pins);
    instrument["surveys"] = Value::Array(told);
    Ok(json!({ "format": "pinhold.instrument", "version": 1, "instrument": instrument }))
}

/// A pin as JSON.
pub(super) fn pin_document(field: &FieldPin) -> Value {
    json!({
        "note": field.pin.note,
        "string": field.pin.string.letter().to_string(),
        "section": field.section,
        "row": field.row,
        "x_mm": field.x_m * 1e3,
        "y_mm": field.y_m * 1e3,
        "flange_distance_mm": field.flange_distance_m.map(|distance_m| distance_m * 1e3),
        "pin_um": field.diameter_um,
    })
}

/// A pin in a line: name, section, row, place, size.
pub(super) fn pin_line(field: &FieldPin) -> String {
    let mut line = format!(
        "{}: section {}, row {}, x {:.1} mm, y {:.1} mm",
        pin_name(field.pin),
        field.section,
        field.row,
        field.x_m * 1e3,
        field.y_m * 1e3
    );
    if let Some(distance_m) = field.flange_distance_m {
        line.push_str(&format!(", {:.1} mm from the flange", distance_m * 1e3));
    }
    match field.diameter_um {
        Some(um) => line.push_str(&format!(", {:.3} mm", f64::from(um) / 1e3)),
        None => line.push_str(", size unknown"),
    }
    line
}

/// Readings in an instrument's surveys that count for pins it does not have.
pub(super) fn stray_readings(store: &Store, record: &InstrumentRecord) -> Result<usize, CliError> {
    let stray = |pin: Pin| record.instrument.find_pin(pin).is_none();
    let mut count = 0;
    for survey in store.surveys_of(record.id)? {
        let readings = store.readings_of(survey.id)?;
        let lever = readings.lever.iter().filter_map(|reading| reading.pin);
        let hand = readings.hand.iter().map(|reading| reading.pin);
        count += lever.chain(hand).filter(|pin| stray(*pin)).count();
    }
    Ok(count)
}

/// What becomes of readings whose pin went, as a sentence; nothing when there are none.
pub(super) fn stray_sentence(count: usize) -> String {
    match count {
        0 => String::new(),
        1 => "1 reading counts for a pin it does not have: it stays stored, and counts again when \
              the pin is added\n"
            .to_owned(),
        _ => format!(
            "{count} readings count for pins it does not have: they stay stored, and count again \
             when their pins are added\n"
        ),
    }
}
