//! A condition record as a TOML file, and a template that asks for everything.
//!
//! Tables are named after the groups; what is asked of each section stands under
//! `[sections.NAME.GROUP]`. Deliberately not here: which sections an instrument has (the caller
//! names them).

use std::fmt::Write as _;

use thiserror::Error;
use toml::{Table, Value as Toml};

use super::facts::{FACTS, Fact, Group, Kind, find};
use super::record::ConditionRecord;
use super::value::{TEXT_CHARACTERS_MAX, Value, listed};
use crate::text::{edit_distance, printable_short};
use crate::toml_file;

/// What a file says it is.
const FORMAT: &str = "pinhold.condition";
/// Version of the format that is written and read.
const VERSION: i64 = 1;
/// A file is no longer than every fact at its longest would make it, bytes.
const BYTES_MAX: usize = 4 * TEXT_CHARACTERS_MAX * 64;
/// Words no further from a known one than this are taken for a slip.
const SLIP_MAX: usize = 3;
/// Characters of a wrong word that are shown.
const SHOWN_CHARACTERS_MAX: usize = 40;

/// Why a file is no condition record.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ConditionFileError {
    /// Longer than any record.
    #[error("the file is longer than any condition record; is it another file?")]
    TooLong,
    /// Not TOML.
    #[error("line {line}: {what}")]
    Syntax {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// Another format, or none named.
    #[error("the first lines do not say format = \"{FORMAT}\" and version = 1")]
    OtherFormat,
    /// A table or key that nobody knows.
    #[error("'{name}' is not known{}", did_you_mean(.meant.as_deref()))]
    Unknown {
        /// Its name.
        name: String,
        /// What may be meant.
        meant: Option<String>,
    },
    /// An answer that is none, or in the wrong place.
    #[error("{name} {why}")]
    Answer {
        /// Name of the fact.
        name: String,
        /// What is wrong, and what would do or where it belongs.
        why: String,
    },
    /// A section the instrument does not have.
    #[error("the instrument has no section '{name}'; it has {known}")]
    NoSection {
        /// Its name.
        name: String,
        /// Those it has.
        known: String,
    },
}

fn did_you_mean(meant: Option<&str>) -> String {
    meant.map_or(String::new(), |word| format!("; did you mean '{word}'?"))
}

/// Reads a record. `sections` are the instrument's: number and name.
///
/// # Errors
/// The first thing that is wrong; nothing is taken over then.
pub fn read(text: &str, sections: &[(u8, String)]) -> Result<ConditionRecord, ConditionFileError> {
    if text.len() > BYTES_MAX {
        return Err(ConditionFileError::TooLong);
    }
    let mut table: Table = text.parse().map_err(|error: toml::de::Error| {
        let (line, what) = toml_file::fault(text, &error);
        ConditionFileError::Syntax { line, what }
    })?;
    if !toml_file::take_head(&mut table, FORMAT, VERSION) {
        return Err(ConditionFileError::OtherFormat);
    }
    let mut record = ConditionRecord::default();
    for (name, value) in &table {
        if name == "sections" {
            read_sections(value, sections, &mut record)?;
        } else {
            read_group(name, value, None, &mut record)?;
        }
    }
    Ok(record)
}

fn read_sections(
    value: &Toml,
    sections: &[(u8, String)],
    record: &mut ConditionRecord,
) -> Result<(), ConditionFileError> {
    for (name, groups) in as_table("sections", value)? {
        let Some((number, _)) = sections.iter().find(|(_, known)| known == name) else {
            let known: Vec<&str> = sections.iter().map(|(_, known)| known.as_str()).collect();
            let name = printable_short(name, SHOWN_CHARACTERS_MAX);
            return Err(ConditionFileError::NoSection { name, known: listed(&known) });
        };
        for (group, value) in as_table(&format!("sections.{name}"), groups)? {
            read_group(group, value, Some(*number), record)?;
        }
    }
    Ok(())
}

fn read_group(
    group: &str,
    value: &Toml,
    section: Option<u8>,
    record: &mut ConditionRecord,
) -> Result<(), ConditionFileError> {
    if !Group::ALL.iter().any(|known| known.word() == group) {
        let words: Vec<String> = Group::ALL.iter().map(|known| known.word().to_owned()).collect();
        return Err(unknown(group, &words));
    }
    for (key, answer) in as_table(group, value)? {
        let name = format!("{group}.{key}");
        let Some(fact) = find(&name) else {
            let words: Vec<String> = FACTS.iter().map(Fact::name).collect();
            return Err(unknown(&name, &words));
        };
        let value = Value::parse(fact.kind, &typed(&name, fact.kind, answer)?)
            .map_err(|why| ConditionFileError::Answer { name: name.clone(), why })?;
        if !record.set(fact, section, value) {
            let why = if fact.per_section {
                format!("is asked of each section: [sections.NAME.{group}]")
            } else {
                format!("is asked of the whole instrument: [{group}]")
            };
            return Err(ConditionFileError::Answer { name, why });
        }
    }
    Ok(())
}

/// A TOML value as it would be typed.
fn typed(name: &str, kind: Kind, value: &Toml) -> Result<String, ConditionFileError> {
    match (value, kind) {
        (Toml::String(text), _) => Ok(text.clone()),
        (Toml::Boolean(yes), Kind::YesNo) => Ok(if *yes { "yes" } else { "no" }.to_owned()),
        (Toml::Integer(number), _) => Ok(number.to_string()),
        (Toml::Float(number), _) => Ok(number.to_string()),
        (Toml::Datetime(day), Kind::Date) => Ok(day.to_string()),
        _ => {
            let why = "is not of the kind asked for; see the template".to_owned();
            Err(ConditionFileError::Answer { name: name.to_owned(), why })
        }
    }
}

fn as_table<'a>(name: &str, value: &'a Toml) -> Result<&'a Table, ConditionFileError> {
    value.as_table().ok_or_else(|| ConditionFileError::Answer {
        name: printable_short(name, SHOWN_CHARACTERS_MAX),
        why: "must be a table".to_owned(),
    })
}

fn unknown(name: &str, words: &[String]) -> ConditionFileError {
    let short: String = name.chars().take(SHOWN_CHARACTERS_MAX).collect();
    let nearest = words.iter().min_by_key(|word| edit_distance(&short, word));
    let meant = nearest.filter(|word| edit_distance(&short, word) <= SLIP_MAX).cloned();
    ConditionFileError::Unknown { name: printable_short(name, SHOWN_CHARACTERS_MAX), meant }
}

/// A file of this record; with `asks` every fact that is not known stands in it as a comment, with
/// its question and what may be answered.
pub fn write(record: &ConditionRecord, sections: &[(u8, String)], asks: bool) -> String {
    let mut text = format!("format = \"{FORMAT}\"\nversion = {VERSION}\n");
    if asks {
        text += "\n# What is not known stays out: unknown is not \"no\".\n";
    }
    for group in Group::ALL {
        let facts = || FACTS.iter().filter(|fact| fact.group == group && !fact.per_section);
        push_table(&mut text, group.word(), facts(), None, record, asks);
    }
    for (number, name) in sections {
        for group in Group::ALL {
            let facts = FACTS.iter().filter(|fact| fact.group == group && fact.per_section);
            let heading = format!("sections.{}.{}", quoted_key(name), group.word());
            push_table(&mut text, &heading, facts, Some(*number), record, asks);
        }
    }
    text
}

fn push_table<'a>(
    text: &mut String,
    heading: &str,
    facts: impl Iterator<Item = &'a Fact>,
    section: Option<u8>,
    record: &ConditionRecord,
    asks: bool,
) {
    let mut body = String::new();
    for fact in facts {
        if asks {
            let _ = writeln!(body, "# {}", fact.question);
        }
        match record.get(fact, section) {
            Some(value) => {
                let _ = writeln!(body, "{} = {}", fact.key, quoted(&value.to_string()));
            }
            None if asks => {
                let _ = writeln!(body, "# {} = {}", fact.key, example(fact.kind));
            }
            None => {}
        }
    }
    if !body.is_empty() {
        let _ = write!(text, "\n[{heading}]\n{body}");
    }
}

/// What may be answered, as a comment beside the key.
fn example(kind: Kind) -> String {
    match kind {
        Kind::YesNo => "true  # or false".to_owned(),
        Kind::Choice(words) => format!("\"{}\"  # {}", words[0], listed(words)),
        Kind::LengthUm(..) => "\"\"  # such as \"7.2 mm\" or \"0.282 in\"".to_owned(),
        Kind::Cents(least, most) => format!("0  # cents, {least} to {most}"),
        Kind::Percent => "45  # percent".to_owned(),
        Kind::Celsius => "20  # degrees Celsius, or \"68 F\"".to_owned(),
        Kind::Date => "2026-03-31".to_owned(),
        Kind::Amount => "0  # in your own money".to_owned(),
        Kind::Text => "\"\"".to_owned(),
    }
}

/// Text as a TOML string: JSON's escapes are TOML's too, but for the one character JSON lets stand.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string().replace('\u{7f}', "\\u007f")
}

/// A section's name as a key.
fn quoted_key(name: &str) -> String {
    let is_bare = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    if !name.is_empty() && name.chars().all(is_bare) { name.to_owned() } else { quoted(name) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sections() -> Vec<(u8, String)> {
        vec![(0, "bass".to_owned()), (1, "low tenor".to_owned()), (2, "treble".to_owned())]
    }

    #[test]
    fn odd_characters_come_back() {
        let mut record = ConditionRecord::default();
        let remarks = find("rest.remarks").expect("a fact");
        let text = "a \"b\" \\ c\u{7f}\u{1}\n\u{2028}<d> ü".to_owned();
        record.set(remarks, None, Value::Text(text));
        let written = write(&record, &sections(), false);
        assert_eq!(read(&written, &sections()).expect(&written), record);
    }

    const HEAD: &str = "format = \"pinhold.condition\"\nversion = 1\n";

    fn refused(body: &str) -> String {
        read(&format!("{HEAD}{body}"), &sections()).expect_err(body).to_string()
    }

    #[test]
    fn a_file_is_read_and_written_back() {
        let body = "[tune]\nholds = false\nlast_tuned = 2026-03-31\npitch = -12.5\n\
                    [plank]\nedges = \"parted\"\nthickness = \"38 mm\"\n\
                    [room]\nhumidity = 41\n\
                    [sections.\"low tenor\".pins]\ncoil_gap = \"1.5 mm\"\ncoils_touch = true\n";
        let record = read(&format!("{HEAD}{body}"), &sections()).expect("a record");
        let coil_gap = find("pins.coil_gap").expect("a fact");
        assert_eq!(record.get(coil_gap, Some(1)), Some(&Value::LengthUm(1_500)));
        assert_eq!(record.answers().count(), 8);
        for asks in [false, true] {
            let written = write(&record, &sections(), asks);
            assert_eq!(read(&written, &sections()).expect(&written), record);
        }
    }

    #[test]
    fn the_template_asks_for_everything_and_is_a_file() {
        let text = write(&ConditionRecord::default(), &sections(), true);
        assert!(read(&text, &sections()).expect(&text).is_empty());
        for fact in FACTS {
            let count = if fact.per_section { sections().len() } else { 1 };
            assert_eq!(text.matches(&format!("# {}\n", fact.question)).count() % count, 0);
            assert!(text.contains(&format!("# {} = ", fact.key)), "{}", fact.name());
        }
    }

    #[test]
    fn what_is_wrong_is_said_with_what_would_do() {
        assert_eq!(
            refused("[plank]\nedges = \"broken\"\n"),
            "plank.edges is 'broken'; use sound, doubtful or parted"
        );
        assert_eq!(
            refused("[plank]\nedgse = \"sound\"\n"),
            "'plank.edgse' is not known; did you mean 'plank.edges'?"
        );
        assert_eq!(refused("[plnak]\n"), "'plnak' is not known; did you mean 'plank'?");
        assert_eq!(
            refused("[pins]\ncoil_gap = \"1 mm\"\n"),
            "pins.coil_gap is asked of each section: [sections.NAME.pins]"
        );
        assert_eq!(
            refused("[sections.bass.plank]\nedges = \"sound\"\n"),
            "plank.edges is asked of the whole instrument: [plank]"
        );
        assert_eq!(
            refused("[sections.alto.pins]\n"),
            "the instrument has no section 'alto'; it has bass, low tenor or treble"
        );
        assert_eq!(
            refused("[plank]\nedges = [1]\n"),
            "plank.edges is not of the kind asked for; see the template"
        );
        assert_eq!(refused("plank = 3\n"), "plank must be a table");
        assert!(refused("[plank]\nedges = \n").starts_with("line 4: "));
        let other = read("format = \"pinhold.layout\"\nversion = 1\n", &sections());
        assert_eq!(other, Err(ConditionFileError::OtherFormat));
        let long = "#".repeat(BYTES_MAX + 1);
        assert_eq!(read(&long, &sections()), Err(ConditionFileError::TooLong));
    }
}
