//! A condition record: answers to some of the facts, and what they tell the verdict.
//!
//! Unknown is not "no": what was not answered is listed as not examined. Deliberately not here:
//! files (`file`) and pages (`report`).

use std::collections::BTreeMap;

use serde_json::{Map, Value as Json};

use super::facts::{FACTS, Fact, Kind, find};
use super::value::Value;
use crate::analysis::input::{Condition, PlankSight, TuneStability};

/// A ply gap from which plies count as parted, micrometres: a saw's or a glue line's width is none
/// (ours).
const PARTED_GAP_UM: u32 = 200;

/// Where an answer belongs: the fact by its place in the table, and the section where it is asked
/// of each.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Place {
    fact: usize,
    section: Option<u8>,
}

/// Answers, in the order of the facts.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ConditionRecord {
    answers: BTreeMap<Place, Value>,
}

fn place(fact: &Fact, section: Option<u8>) -> Option<Place> {
    let at = FACTS.iter().position(|other| other == fact)?;
    (fact.per_section == section.is_some()).then_some(Place { fact: at, section })
}

impl ConditionRecord {
    /// Writes an answer down, in place of an earlier one. An answer of another kind than the
    /// fact's, or with a section where the fact has none, or without where it has, is refused.
    pub fn set(&mut self, fact: &Fact, section: Option<u8>, value: Value) -> bool {
        match place(fact, section).filter(|_| is_of(&value, fact.kind)) {
            Some(place) => {
                self.answers.insert(place, value);
                true
            }
            None => false,
        }
    }

    /// Takes an answer back: it is not known after all.
    pub fn clear(&mut self, fact: &Fact, section: Option<u8>) -> Option<Value> {
        self.answers.remove(&place(fact, section)?)
    }

    /// An answer.
    pub fn get(&self, fact: &Fact, section: Option<u8>) -> Option<&Value> {
        self.answers.get(&place(fact, section)?)
    }

    /// Nothing is known.
    pub fn is_empty(&self) -> bool {
        self.answers.is_empty()
    }

    /// All answers, in the order of the facts, sections from bass to treble.
    pub fn answers(&self) -> impl Iterator<Item = (&'static Fact, Option<u8>, &Value)> {
        self.answers.iter().map(|(place, value)| (&FACTS[place.fact], place.section, value))
    }

    /// Facts without an answer; of those asked by section, without one for any.
    pub fn not_examined(&self) -> Vec<&'static Fact> {
        let known = |at: usize| self.answers.keys().any(|place| place.fact == at);
        FACTS.iter().enumerate().filter(|(at, _)| !known(*at)).map(|(_, fact)| fact).collect()
    }

    /// This record with another's answers over its own.
    pub fn with(mut self, newer: &ConditionRecord) -> ConditionRecord {
        self.answers.extend(newer.answers.iter().map(|(place, value)| (*place, value.clone())));
        self
    }

    fn plain(&self, name: &str) -> Option<&Value> {
        self.get(find(name)?, None)
    }

    fn yes(&self, name: &str) -> Option<bool> {
        match self.plain(name)? {
            Value::YesNo(yes) => Some(*yes),
            _ => None,
        }
    }

    fn word(&self, name: &str) -> Option<&'static str> {
        match self.plain(name)? {
            Value::Word(word) => Some(*word),
            _ => None,
        }
    }

    fn length_um(&self, name: &str) -> Option<u32> {
        as_length(self.plain(name)?)
    }

    /// A length answered for one section, µm.
    pub fn length_in_section_um(&self, name: &str, section: u8) -> Option<u32> {
        as_length(self.get(find(name)?, Some(section))?)
    }

    /// A length's answers, of the whole or of each section, µm.
    pub fn lengths_um(&self, name: &str) -> impl Iterator<Item = u32> {
        let of_fact = self.answers().filter(move |(fact, ..)| fact.name() == name);
        of_fact.filter_map(|(_, _, value)| as_length(value))
    }

    /// An answer in words.
    pub fn text(&self, name: &str) -> Option<&str> {
        match self.plain(name)? {
            Value::Text(text) => Some(text),
            _ => None,
        }
    }

    /// An amount of money, in whatever currency it was told.
    pub fn amount(&self, name: &str) -> Option<f64> {
        match self.plain(name)? {
            Value::Amount(amount) => Some(*amount),
            _ => None,
        }
    }

    /// What of it the verdict weighs.
    pub fn condition(&self) -> Condition {
        Condition {
            tune: self.yes("tune.holds").map(TuneStability::of),
            plank: self.sight(),
            contamination: self.contamination(),
            relative_humidity: match self.plain("room.humidity") {
                Some(Value::Share(share)) => Some(*share),
                _ => None,
            },
            pitch_cents: match self.plain("tune.pitch") {
                Some(Value::Cents(cents)) => Some(*cents),
                _ => None,
            },
            largest_pin_um: self.length_um("pins.largest_that_fits"),
            bushed_plate: self.yes("pins.bushed"),
            worth_repair: self.yes("owner.worth_repair"),
            trials: Vec::new(),
        }
    }

    /// The record that tells the verdict this and nothing else: of a survey that was begun with a
    /// few facts.
    pub fn of_condition(condition: &Condition) -> ConditionRecord {
        let mut record = ConditionRecord::default();
        let mut put = |name: &str, value: Option<Value>| {
            if let Some((fact, value)) = find(name).zip(value) {
                record.set(fact, None, value);
            }
        };
        let holds = |tune| Value::YesNo(tune == TuneStability::Stable);
        put("tune.holds", condition.tune.map(holds));
        put("tune.pitch", condition.pitch_cents.map(Value::Cents));
        let (edges, joint) = match condition.plank {
            Some(PlankSight::SeenSound) => (Some("sound"), Some("tight")),
            Some(PlankSight::PliesParted) => (Some("parted"), None),
            Some(PlankSight::OffBack) => (None, Some("open")),
            None => (None, None),
        };
        put("plank.edges", edges.map(Value::Word));
        put("plank.joint_to_back", joint.map(Value::Word));
        put("plank.liquid_or_oil", condition.contamination.map(Value::YesNo));
        put("plank.glue_traces", condition.contamination.filter(|seen| !seen).map(Value::YesNo));
        put("pins.largest_that_fits", condition.largest_pin_um.map(Value::LengthUm));
        put("pins.bushed", condition.bushed_plate.map(Value::YesNo));
        put("owner.worth_repair", condition.worth_repair.map(Value::YesNo));
        put("room.humidity", condition.relative_humidity.map(Value::Share));
        record
    }

    /// The gravest thing seen; sound only where the edges and the joint were both looked at, since
    /// a clean underside clears little (one report: pins stop short of it).
    fn sight(&self) -> Option<PlankSight> {
        let edges = self.word("plank.edges");
        let underside = self.word("plank.underside");
        let joint = self.word("plank.joint_to_back");
        let parted = [edges, underside].contains(&Some("parted"))
            || self.length_um("plank.ply_gap").is_some_and(|um| um >= PARTED_GAP_UM);
        match (parted, joint, edges) {
            (true, ..) => Some(PlankSight::PliesParted),
            (false, Some("open"), _) => Some(PlankSight::OffBack),
            (false, Some("tight"), Some("sound")) if underside != Some("doubtful") => {
                Some(PlankSight::SeenSound)
            }
            _ => None,
        }
    }

    /// One sign is enough; none only where both were looked for.
    fn contamination(&self) -> Option<bool> {
        match (self.yes("plank.liquid_or_oil"), self.yes("plank.glue_traces")) {
            (Some(true), _) | (_, Some(true)) => Some(true),
            (Some(false), Some(false)) => Some(false),
            _ => None,
        }
    }

    /// As a JSON object: names to answers as they are typed; of sections `name@number`.
    pub fn document(&self) -> Json {
        let key = |place: &Place| match place.section {
            Some(section) => format!("{}@{section}", FACTS[place.fact].name()),
            None => FACTS[place.fact].name(),
        };
        let each = self.answers.iter().map(|(place, value)| (key(place), value.to_string().into()));
        Json::Object(each.collect::<Map<String, Json>>())
    }

    /// Back from [`ConditionRecord::document`]. What this version does not know is passed over, so
    /// that an older pinhold reads a newer one's record.
    pub fn from_document(document: &Json) -> ConditionRecord {
        let mut record = ConditionRecord::default();
        for (key, answer) in document.as_object().into_iter().flatten() {
            let (name, section) = match key.split_once('@') {
                Some((name, number)) => (name, number.parse().ok()),
                None => (key.as_str(), None),
            };
            let value = find(name).zip(answer.as_str()).and_then(|(fact, text)| {
                Value::parse(fact.kind, text).ok().map(|value| (fact, value))
            });
            if let Some((fact, value)) = value {
                record.set(fact, section, value);
            }
        }
        record
    }
}

fn as_length(value: &Value) -> Option<u32> {
    match value {
        Value::LengthUm(um) => Some(*um),
        _ => None,
    }
}

/// Whether a value is of this kind.
fn is_of(value: &Value, kind: Kind) -> bool {
    match (value, kind) {
        (Value::Word(word), Kind::Choice(words)) => words.contains(word),
        (Value::YesNo(_), Kind::YesNo)
        | (Value::LengthUm(_), Kind::LengthUm(..))
        | (Value::Cents(_), Kind::Cents(..))
        | (Value::Share(_), Kind::Percent)
        | (Value::Celsius(_), Kind::Celsius)
        | (Value::Date(_), Kind::Date)
        | (Value::Amount(_), Kind::Amount)
        | (Value::Text(_), Kind::Text) => true,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(answers: &[(&str, &str)]) -> ConditionRecord {
        let mut record = ConditionRecord::default();
        for (name, text) in answers {
            let fact = find(name).expect(name);
            let value = Value::parse(fact.kind, text).expect(text);
            assert!(record.set(fact, fact.per_section.then_some(1), value), "{name}");
        }
        record
    }

    #[test]
    fn the_gravest_thing_seen_counts_and_little_clears() {
        let sight = |answers: &[(&str, &str)]| of(answers).condition().plank;
        let parted = [("plank.edges", "sound"), ("plank.underside", "parted")];
        assert_eq!(sight(&parted), Some(PlankSight::PliesParted));
        assert_eq!(sight(&[("plank.ply_gap", "0.5 mm")]), Some(PlankSight::PliesParted));
        assert_eq!(sight(&[("plank.ply_gap", "0.1 mm")]), None);
        assert_eq!(sight(&[("plank.joint_to_back", "open")]), Some(PlankSight::OffBack));
        // A clean underside alone, or edges alone, clear nothing.
        assert_eq!(sight(&[("plank.underside", "sound")]), None);
        assert_eq!(sight(&[("plank.edges", "sound")]), None);
        let both = [("plank.edges", "sound"), ("plank.joint_to_back", "tight")];
        assert_eq!(sight(&both), Some(PlankSight::SeenSound));
    }

    #[test]
    fn unknown_is_not_no() {
        let seen = |answers: &[(&str, &str)]| of(answers).condition().contamination;
        assert_eq!(seen(&[]), None);
        assert_eq!(seen(&[("plank.liquid_or_oil", "no")]), None);
        assert_eq!(seen(&[("plank.glue_traces", "yes")]), Some(true));
        let both = [("plank.liquid_or_oil", "no"), ("plank.glue_traces", "no")];
        assert_eq!(seen(&both), Some(false));
        assert_eq!(ConditionRecord::default().condition(), Condition::default());
        assert_eq!(ConditionRecord::default().not_examined().len(), FACTS.len());
    }

    #[test]
    fn a_record_comes_back_from_its_document() {
        let record = of(&[
            ("tune.holds", "no"),
            ("tune.last_tuned", "2026-03-31"),
            ("plank.thickness", "38 mm"),
            ("pins.coil_gap", "1.5 mm"),
            ("pins.label", "2/0, in inches"),
            ("room.humidity", "41 %"),
            ("owner.ceiling", "1500"),
        ]);
        assert_eq!(ConditionRecord::from_document(&record.document()), record);
        assert_eq!(record.document()["pins.coil_gap@1"], "1.5 mm");
        let newer =
            serde_json::json!({"tune.holds": "yes", "moon.phase": "full", "plank.edges": 7});
        assert_eq!(ConditionRecord::from_document(&newer), of(&[("tune.holds", "yes")]));
        assert!(ConditionRecord::from_document(&Json::Null).is_empty());
    }

    #[test]
    fn answers_where_they_do_not_belong_are_refused() {
        let mut record = ConditionRecord::default();
        let (holds, gap) = (find("tune.holds").unwrap(), find("pins.coil_gap").unwrap());
        assert!(!record.set(holds, Some(1), Value::YesNo(true)));
        assert!(!record.set(gap, None, Value::LengthUm(1_000)));
        assert!(!record.set(holds, None, Value::LengthUm(1_000)));
        assert!(record.is_empty());
        assert!(record.set(gap, Some(2), Value::LengthUm(1_000)));
        assert_eq!(record.clear(gap, Some(2)), Some(Value::LengthUm(1_000)));
        assert!(record.is_empty());
    }

    #[test]
    fn what_a_survey_was_begun_with_is_a_record_too() {
        for plank in [PlankSight::SeenSound, PlankSight::PliesParted, PlankSight::OffBack] {
            for contamination in [true, false] {
                let condition = Condition {
                    tune: Some(TuneStability::Unstable),
                    plank: Some(plank),
                    contamination: Some(contamination),
                    relative_humidity: Some(0.41),
                    pitch_cents: Some(-12.5),
                    largest_pin_um: Some(7391),
                    bushed_plate: Some(true),
                    worth_repair: Some(true),
                    trials: Vec::new(),
                };
                assert_eq!(ConditionRecord::of_condition(&condition).condition(), condition);
            }
        }
        let nothing = Condition::default();
        assert!(ConditionRecord::of_condition(&nothing).is_empty());
    }

    #[test]
    fn a_newer_answer_stands_over_an_older_one() {
        let older = of(&[("tune.holds", "no"), ("plank.edges", "sound")]);
        let both = older.with(&of(&[("tune.holds", "yes")]));
        assert_eq!(both, of(&[("tune.holds", "yes"), ("plank.edges", "sound")]));
    }
}
