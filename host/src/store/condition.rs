//! What is known beside torque, as the JSON text a survey carries.
//!
//! Invariant: an absent key means unknown, and an unknown key or word is passed over, so that an
//! older pinhold reads a newer one's facts.

use serde_json::{Map, Value, json};

use super::error::StoreError;
use crate::analysis::input::{Condition, PlankSight, TuneStability};
use crate::condition::ConditionRecord;

/// The stored word for how it holds tune.
pub fn tune_word(tune: TuneStability) -> &'static str {
    match tune {
        TuneStability::Stable => "stable",
        TuneStability::Unstable => "unstable",
    }
}

/// Back from [`tune_word`].
pub fn tune_from_word(word: &str) -> Option<TuneStability> {
    [TuneStability::Stable, TuneStability::Unstable]
        .into_iter()
        .find(|tune| tune_word(*tune) == word)
}

/// The stored word for what was seen of the plank.
pub fn plank_word(plank: PlankSight) -> &'static str {
    match plank {
        PlankSight::SeenSound => "seen-sound",
        PlankSight::PliesParted => "plies-parted",
        PlankSight::OffBack => "off-back",
    }
}

/// Back from [`plank_word`].
pub fn plank_from_word(word: &str) -> Option<PlankSight> {
    [PlankSight::SeenSound, PlankSight::PliesParted, PlankSight::OffBack]
        .into_iter()
        .find(|plank| plank_word(*plank) == word)
}

/// The condition as a JSON object, known facts only.
pub fn condition_document(condition: &Condition) -> Value {
    let mut facts = Map::new();
    let mut put = |key: &str, value: Option<Value>| {
        if let Some(value) = value {
            facts.insert(key.to_string(), value);
        }
    };
    put("tune", condition.tune.map(|tune| json!(tune_word(tune))));
    put("plank", condition.plank.map(|plank| json!(plank_word(plank))));
    put("contamination", condition.contamination.map(|seen| json!(seen)));
    put("relative_humidity", condition.relative_humidity.map(|rh| json!(rh)));
    put("pitch_cents", condition.pitch_cents.map(|cents| json!(cents)));
    put("largest_pin_um", condition.largest_pin_um.map(|um| json!(um)));
    put("bushed_plate", condition.bushed_plate.map(|bushed| json!(bushed)));
    put("worth_repair", condition.worth_repair.map(|worth| json!(worth)));
    Value::Object(facts)
}

/// A record as a survey carries it: what of it the verdict weighs, as [`condition_document`] has
/// it, with the answers under `record`.
pub(super) fn record_document(record: &ConditionRecord) -> Value {
    let mut document = condition_document(&record.condition());
    document["record"] = record.document();
    document
}

/// Back from either document's text: without a record, the one that tells the same.
pub(super) fn record_from_text(text: &str) -> Result<ConditionRecord, StoreError> {
    let document = document_from_text(text)?;
    Ok(match &document["record"] {
        record @ Value::Object(_) => ConditionRecord::from_document(record),
        _ => ConditionRecord::of_condition(&condition_of(&document)),
    })
}

/// Back from [`condition_document`]'s text.
pub(super) fn condition_from_text(text: &str) -> Result<Condition, StoreError> {
    document_from_text(text).map(|document| condition_of(&document))
}

fn document_from_text(text: &str) -> Result<Value, StoreError> {
    serde_json::from_str(text).map_err(|_| StoreError::Corrupt {
        what: "a survey's condition",
        value: text.chars().take(80).collect(),
    })
}

fn condition_of(document: &Value) -> Condition {
    let truth = |key: &str| document[key].as_bool();
    let number = |key: &str| document[key].as_f64();
    let word = |key: &str| document[key].as_str();
    Condition {
        tune: word("tune").and_then(tune_from_word),
        plank: word("plank").and_then(plank_from_word),
        contamination: truth("contamination"),
        relative_humidity: number("relative_humidity"),
        pitch_cents: number("pitch_cents"),
        largest_pin_um: document["largest_pin_um"].as_u64().and_then(|um| u32::try_from(um).ok()),
        bushed_plate: truth("bushed_plate"),
        worth_repair: truth("worth_repair"),
        // They have a table of their own.
        trials: Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_and_unknown_facts_come_back() {
        let full = Condition {
            tune: Some(TuneStability::Unstable),
            plank: Some(PlankSight::OffBack),
            contamination: Some(false),
            relative_humidity: Some(0.41),
            pitch_cents: Some(-12.5),
            largest_pin_um: Some(7391),
            bushed_plate: Some(true),
            worth_repair: Some(true),
            trials: Vec::new(),
        };
        for condition in [full, Condition::default()] {
            let text = condition_document(&condition).to_string();
            assert_eq!(condition_from_text(&text).unwrap(), condition);
        }
        let newer = r#"{"tune":"sings","new_fact":[1],"bushed_plate":false}"#;
        let read = condition_from_text(newer).unwrap();
        assert_eq!(read, Condition { bushed_plate: Some(false), ..Condition::default() });
        assert!(condition_from_text("{").is_err());
    }
}
