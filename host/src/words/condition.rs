//! The condition record in words: headings, questions and answers.
//!
//! The English of questions stands in [`crate::condition::facts`]; the table here has as many
//! lines, in the same order, and a test sees that they are the same facts.

use super::{Language, Said, Word};
use crate::condition::{FACTS, Fact, Group, Value};

/// A group's heading.
pub(crate) const fn heading(group: Group) -> Word {
    let de = match group {
        Group::Tune => "Hält es die Stimmung",
        Group::Plank => "Stimmstock",
        Group::Pins => "Wirbel, Windungen und Dübel",
        Group::Plate => "Platte",
        Group::Strings => "Saiten",
        Group::Owner => "Besitzer, Gebrauch und Wert",
        Group::Room => "Raum",
        Group::Rest => "Das übrige Instrument, aufgenommen und nicht beurteilt",
    };
    Word::new(group.heading(), de)
}

/// What each fact is, in German, by its name.
const GERMAN: [(&str, &str); FACTS.len()] = [
    ("tune.holds", "Bleiben die Chöre über Monate beisammen"),
    ("tune.last_tuned", "Zuletzt gestimmt"),
    ("tune.pitch", "Mittlere Tonhöhe, Abweichung vom Soll"),
    ("tune.unison_spread", "Weitester Chor vor dem Berühren, von Saite zu Saite"),
    ("plank.type", "Massiv, wenige dicke oder viele dünne Lagen"),
    ("plank.thickness", "Dicke"),
    ("plank.fixing", "Eingeleimt, an die Platte geschraubt oder beides"),
    ("plank.edges", "Seine Kanten, wie gesehen"),
    ("plank.underside", "Unterseite (Flügel) oder Oberkante (Klavier), wie gesehen"),
    ("plank.ply_gap", "Weitester Spalt zwischen Lagen"),
    ("plank.joint_to_back", "Fuge zu Rast, Spreizen oder Gehäuse"),
    ("plank.flange_gap", "Spalt zwischen Stimmstock und Flansch"),
    ("plank.liquid_or_oil", "Spuren von Flüssigkeit oder Öl"),
    ("plank.glue_traces", "Leimspuren an den Wirbeln"),
    ("plank.replaced_before", "Zeichen eines früheren neuen Stimmstocks"),
    ("pins.diameter", "Durchmesser der Wirbel"),
    ("pins.label", "Ihre Bezeichnung, und wessen Zählung"),
    ("pins.length", "Länge der Wirbel"),
    ("pins.finish", "Oberfläche der Wirbel"),
    ("pins.originality", "Sind sie original"),
    ("pins.coil_gap", "Kleinster Abstand von Windung zu Stimmstock oder Platte"),
    ("pins.coils_touch", "Berühren Windungen die Platte oder einander"),
    ("pins.seating_depth", "Wie weit sinkt der Hebelkopf auf einen Wirbel"),
    ("pins.largest_that_fits", "Stärkster Wirbel, den Platte, Dübel und Kopf noch zulassen"),
    ("pins.bushed", "Holzdübel um die Wirbel in der Platte"),
    ("plate.cracks", "Risse in der Platte, vor allem an den Spreizen"),
    ("plate.cracks_where", "Wo"),
    ("strings.originality", "Sind die Saiten original"),
    ("strings.rust", "Rost an Windungen und Auflagen"),
    ("owner.use", "Wofür es dient"),
    ("owner.value", "Was es dem Besitzer repariert wert ist"),
    ("owner.ceiling", "Was die Reparatur höchstens kosten darf"),
    ("owner.worth_repair", "Lohnt die Reparatur bis zur Grenze des Besitzers"),
    ("owner.wishes", "Was der Besitzer wünscht"),
    ("room.humidity", "Relative Feuchte, möglichst Mittel der letzten Wochen"),
    ("room.temperature", "Temperatur"),
    ("room.heating", "Heizung, Sonne, Zugluft, Befeuchter"),
    ("rest.soundboard", "Resonanzboden"),
    ("rest.soundboard_words", "Wölbung, Risse, Rippen"),
    ("rest.bridges", "Stege und Stegdruck"),
    ("rest.bridges_words", "Risse, Stifte, Auflage"),
    ("rest.action", "Mechanik"),
    ("rest.action_words", "Hämmer, Dämpfer, Achsen, Regulierung"),
    ("rest.keys", "Tasten"),
    ("rest.case", "Gehäuse, Deckel und Pedale"),
    ("rest.remarks", "Sonst noch etwas"),
];

/// The words an answer may be.
const ANSWERS: &[Word] = &[
    Word::new("solid", "massiv"),
    Word::new("few-plies", "wenige Lagen"),
    Word::new("many-plies", "viele Lagen"),
    Word::new("glued", "eingeleimt"),
    Word::new("screwed", "geschraubt"),
    Word::new("both", "beides"),
    Word::new("sound", "gesund"),
    Word::new("doubtful", "zweifelhaft"),
    Word::new("parted", "gelöst"),
    Word::new("tight", "dicht"),
    Word::new("open", "offen"),
    Word::new("original", "original"),
    Word::new("replaced", "ersetzt"),
    Word::new("mixed", "gemischt"),
    Word::new("none", "keiner"),
    Word::new("light", "leicht"),
    Word::new("heavy", "stark"),
    Word::new("home", "zu Hause"),
    Word::new("teaching", "Unterricht"),
    Word::new("stage", "Bühne"),
    Word::new("studio", "Studio"),
    Word::new("sale", "Verkauf"),
    Word::new("ornament", "Zierde"),
    Word::new("good", "gut"),
    Word::new("fair", "mäßig"),
    Word::new("poor", "schlecht"),
];

/// What a fact is, without its question mark.
pub(crate) fn fact(fact: &Fact) -> Said {
    let en = fact.question.trim_end_matches('?').to_owned();
    let name = fact.name();
    let de = GERMAN.iter().find(|(known, _)| *known == name);
    Said { de: de.map_or_else(|| en.clone(), |(_, de)| (*de).to_owned()), en }
}

/// An answer; what a person wrote stays as it is.
pub(crate) fn answer(value: &Value) -> Said {
    Said { en: answer_in(value, Language::English), de: answer_in(value, Language::German) }
}

fn answer_in(value: &Value, language: Language) -> String {
    match value {
        Value::YesNo(true) => Word::new("yes", "ja").to(language).to_owned(),
        Value::YesNo(false) => Word::new("no", "nein").to(language).to_owned(),
        Value::Word(word) => {
            let known = ANSWERS.iter().find(|known| known.en == *word);
            known.map_or(*word, |known| known.to(language)).to_owned()
        }
        Value::Cents(cents) => {
            let unit = Word::new("cents", "Cent").to(language);
            format!("{} {unit}", language.numeral(&cents.to_string()))
        }
        Value::Text(text) => text.clone(),
        Value::Date(date) => date.to_string(),
        number => language.numeral(&number.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::condition::Kind;

    #[test]
    fn every_fact_and_answer_is_here() {
        for (fact, (name, german)) in FACTS.iter().zip(GERMAN) {
            assert_eq!(fact.name(), name);
            assert!(!german.ends_with('?'), "{german}");
            if let Kind::Choice(words) = fact.kind {
                for word in words {
                    assert!(ANSWERS.iter().any(|known| known.en == *word), "{word}");
                }
            }
        }
    }

    #[test]
    fn what_a_person_wrote_stays() {
        let text = Value::Text("yes, 1.5 mm".to_owned());
        assert_eq!(answer(&text).to(Language::German), "yes, 1.5 mm");
        assert_eq!(answer(&Value::LengthUm(1_500)).to(Language::German), "1,5 mm");
    }
}
