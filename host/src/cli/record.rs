//! `pinhold condition`: what is known of an instrument beside torque, kept with its latest survey.
//!
//! Deliberately not here: which facts there are and what an answer may be (`crate::condition`).

use std::io::{BufRead, IsTerminal};
use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Map, Value as Json, json};

use super::context::{Context, say, shell_quoted};
use super::exit::{CliError, Exit};
use super::files::text_of;
use super::parsers::name_parser;
use crate::analysis::survey::sites_of;
use crate::analysis::zones::place::{section_name, sections};
use crate::condition::facts::find;
use crate::condition::value::listed;
use crate::condition::{ConditionRecord, FACTS, Fact, Group, Kind, Value, file};
use crate::instrument::Instrument;
use crate::report::terminal::wrap;
use crate::text::printable;
use crate::words::{Said, Word, condition as words, pages, plank};

const LONG_HELP: &str = "\
Records what was seen and told: does it hold tune, the plank's edges and joints, pins and coils,
plate, strings, the owner's use and ceiling, the room, and the rest of the instrument. What is not
answered stays unknown, which is not \"no\". Without an option, shows the record and what was not
examined. Answers are kept with the latest survey; the verdict weighs what bears on the pins and
carries the rest into the report without judging it.

Lengths carry their unit (\"7.2 mm\", \"0.282 in\"). What is asked of each section is named with it:
pins.coil_gap@bass.

Do no more than looking needs: support a lid, do not tilt or open an instrument alone, and leave a
cracked plate or a plank that has left the back to a qualified rebuilder.

Examples:
  pinhold condition parlour --template > parlour.toml
  pinhold condition parlour --from parlour.toml
  pinhold condition parlour --set plank.edges=parted --set 'pins.coil_gap@bass=1.5 mm'
  pinhold condition parlour --ask";

/// Arguments of `pinhold condition`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = LONG_HELP)]
pub struct RecordArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Take over the answers of a TOML file; those it does not hold stay
    #[arg(long, value_name = "FILE.toml")]
    pub from: Option<PathBuf>,
    /// Write an answer down
    #[arg(long, value_name = "FACT=ANSWER")]
    pub set: Vec<String>,
    /// Take an answer back: it is not known after all
    #[arg(long, value_name = "FACT")]
    pub forget: Vec<String>,
    /// Ask step by step for what is not known; an empty line passes over, a full stop ends
    #[arg(long, conflicts_with_all = ["template", "json"])]
    pub ask: bool,
    /// Print a TOML file that asks for everything, with what is known filled in; stores nothing
    #[arg(long, conflicts_with_all = ["from", "set", "forget", "json"])]
    pub template: bool,
}

/// Sections of an instrument: number and name.
pub fn sections_of(instrument: &Instrument) -> Vec<(u8, String)> {
    let present = sections(&sites_of(instrument));
    present.iter().map(|section| (*section, section_name(*section, &present))).collect()
}

/// Runs the command.
///
/// # Errors
/// When the instrument has no survey, an answer is refused (nothing is stored then), or the store
/// fails.
pub fn run(context: &Context, arguments: &RecordArguments) -> Result<(), CliError> {
    let text = arguments.from.as_deref().map(text_of).transpose()?;
    let mut store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    let sections = sections_of(&record.instrument);
    let survey = store.latest_survey(record.id)?;
    let before = match &survey {
        Some(survey) => store.condition_record(survey.id)?,
        None => ConditionRecord::default(),
    };
    if arguments.template {
        return context.print(&file::write(&before, &sections, true));
    }
    let Some(survey) = survey else {
        let name = shell_quoted(&arguments.name);
        let sentence = format!(
            "a condition is kept with a survey, and {name} has none yet; begin one with `pinhold \
             survey {name}`"
        );
        return Err(CliError::new(Exit::NotThere, sentence));
    };
    let mut known = before.clone();
    if let (Some(path), Some(text)) = (&arguments.from, text) {
        let read = file::read(&text, &sections).map_err(|error| refused(path, &error))?;
        known = known.with(&read);
    }
    for words in &arguments.set {
        set(&mut known, words, &sections)?;
    }
    for name in &arguments.forget {
        let (fact, section) = named(name, &sections)?;
        known.clear(fact, section);
    }
    if arguments.ask {
        ask(&mut known, &sections);
    }
    if known != before {
        store.set_condition_record(survey.id, &known)?;
    }
    if context.json {
        return context.print_document(&document(&arguments.name, &known, &sections));
    }
    context.print(&shown(&known, &sections, super::show::width()))
}

fn refused(path: &Path, error: &file::ConditionFileError) -> CliError {
    let path = printable(&path.to_string_lossy());
    CliError::new(Exit::Refused, format!("{path}: {error}; nothing was taken over"))
}

/// A fact by its name, with the section where it is asked of each.
fn named(name: &str, sections: &[(u8, String)]) -> Result<(&'static Fact, Option<u8>), CliError> {
    let usage = |sentence: String| CliError::new(Exit::Usage, sentence);
    let (fact_name, section) = match name.split_once('@') {
        Some((fact, section)) => (fact.trim(), Some(section.trim())),
        None => (name.trim(), None),
    };
    let shown = printable(fact_name);
    let fact = find(fact_name)
        .ok_or_else(|| usage(format!("'{shown}' is no fact; --template lists all of them")))?;
    let names: Vec<&str> = sections.iter().map(|(_, name)| name.as_str()).collect();
    let section = match (fact.per_section, section) {
        (false, None) => None,
        (false, Some(_)) => {
            return Err(usage(format!("{shown} is asked of the whole instrument, without @")));
        }
        (true, asked) => {
            let found = asked.and_then(|asked| sections.iter().find(|(_, name)| name == asked));
            let Some((number, _)) = found else {
                let sentence =
                    format!("{shown} is asked of each section: {shown}@ and {}", listed(&names));
                return Err(usage(sentence));
            };
            Some(*number)
        }
    };
    Ok((fact, section))
}

fn set(
    record: &mut ConditionRecord,
    words: &str,
    sections: &[(u8, String)],
) -> Result<(), CliError> {
    let Some((name, answer)) = words.split_once('=') else {
        let sentence = format!("'{}' is no answer; use --set FACT=ANSWER", printable(words));
        return Err(CliError::new(Exit::Usage, sentence));
    };
    let (fact, section) = named(name, sections)?;
    let value = Value::parse(fact.kind, answer)
        .map_err(|why| CliError::new(Exit::Refused, format!("{} {why}", fact.name())))?;
    record.set(fact, section, value);
    Ok(())
}

/// What may be answered, beside a question.
fn choices(kind: Kind) -> String {
    match kind {
        Kind::YesNo => "yes or no".to_owned(),
        Kind::Choice(words) => listed(words),
        Kind::LengthUm(..) => "such as 7.2 mm or 0.282 in".to_owned(),
        Kind::Cents(..) => "cents".to_owned(),
        Kind::Percent => "percent".to_owned(),
        Kind::Celsius => "°C, or such as 68 F".to_owned(),
        Kind::Date => "such as 2026-03-31".to_owned(),
        Kind::Amount => "in your own money".to_owned(),
        Kind::Text => "in words".to_owned(),
    }
}

/// Asks for what is not known until everything was asked, a full stop is typed, or the input ends.
fn ask(record: &mut ConditionRecord, sections: &[(u8, String)]) {
    let mut lines = std::io::stdin().lock().lines();
    if std::io::stdin().is_terminal() {
        say("An empty line passes a question over, a full stop ends.");
    }
    let mut group = None;
    for fact in FACTS {
        let each: Vec<(Option<u8>, String)> = match fact.per_section {
            false => vec![(None, String::new())],
            true => sections.iter().map(|(n, name)| (Some(*n), format!("{name}: "))).collect(),
        };
        for (section, lead) in each {
            if record.get(fact, section).is_some() {
                continue;
            }
            if group != Some(fact.group) {
                say(&format!("\n{}", fact.group.heading()));
                group = Some(fact.group);
            }
            match answer(fact, &lead, &mut lines) {
                Answer::Given(value) => {
                    record.set(fact, section, value);
                }
                Answer::PassedOver => {}
                Answer::End => return,
            }
        }
    }
}

/// What a person says to a question.
enum Answer {
    Given(Value),
    PassedOver,
    End,
}

/// Asks until the answer is one.
fn answer(
    fact: &Fact,
    lead: &str,
    lines: &mut impl Iterator<Item = std::io::Result<String>>,
) -> Answer {
    loop {
        say(&format!("  {lead}{} ({})", fact.question, choices(fact.kind)));
        let Some(Ok(line)) = lines.next() else { return Answer::End };
        match line.trim() {
            "." => return Answer::End,
            "" => return Answer::PassedOver,
            words => match Value::parse(fact.kind, words) {
                Ok(value) => return Answer::Given(value),
                Err(why) => say(&format!("  that {why}")),
            },
        }
    }
}

/// One answer in a line.
fn line((fact, section, value): (&Fact, Option<u8>, &Value), sections: &[(u8, String)]) -> String {
    let name = section.and_then(|number| sections.iter().find(|(n, _)| *n == number));
    let place = name.map_or(String::new(), |(_, name)| format!(", {name}"));
    let question = fact.question.trim_end_matches('?');
    format!("{question}{place}: {}", printable(&value.to_string()))
}

/// Headings and lines of those groups that have an answer.
fn groups(
    record: &ConditionRecord,
    sections: &[(u8, String)],
    wanted: impl Fn(&Fact) -> bool,
) -> Vec<(&'static str, Vec<String>)> {
    let of = |group: Group| {
        let answers = record.answers().filter(|(fact, ..)| fact.group == group && wanted(fact));
        answers.map(|answer| line(answer, sections)).collect::<Vec<String>>()
    };
    let all = Group::ALL.into_iter().map(|group| (group.heading(), of(group)));
    all.filter(|(_, lines)| !lines.is_empty()).collect()
}

/// For the report: everything but the owner's money, which is between owner and technician.
pub fn report_lines(
    record: &ConditionRecord,
    instrument: &Instrument,
) -> Vec<(Word, Vec<(Said, Said)>)> {
    let sections = sections_of(instrument);
    let line = |(fact, section, value): (&Fact, Option<u8>, &Value)| {
        let place = section.and_then(|number| sections.iter().find(|(n, _)| *n == number));
        let name = words::fact(fact);
        let name = match place {
            Some((_, place)) => pages::at_section(name, plank::section(place)),
            None => name,
        };
        (name, words::answer(value))
    };
    let of = |group: Group| {
        let answers =
            record.answers().filter(|(fact, ..)| fact.group == group && fact.kind != Kind::Amount);
        answers.map(line).collect::<Vec<(Said, Said)>>()
    };
    let all = Group::ALL.into_iter().map(|group| (words::heading(group), of(group)));
    all.filter(|(_, lines)| !lines.is_empty()).collect()
}

/// Temperature of the room as written down, for the report.
pub fn temperature(record: &ConditionRecord) -> Option<Said> {
    let mut answers = record.answers();
    let (.., value) = answers.find(|(fact, ..)| fact.name() == "room.temperature")?;
    Some(words::answer(value))
}

/// The record by groups, and what was not examined.
fn shown(record: &ConditionRecord, sections: &[(u8, String)], width: usize) -> String {
    let mut text = String::new();
    for (heading, lines) in groups(record, sections, |_| true) {
        text += &format!("{heading}\n");
        for line in lines {
            text += &wrap(&line, "  ", width);
        }
    }
    if record.is_empty() {
        text += "Nothing is recorded beside torque.\n";
    }
    let open: Vec<String> = record.not_examined().iter().map(|fact| fact.name()).collect();
    if !open.is_empty() {
        text += "Not examined\n";
        text += &wrap(&open.join(", "), "  ", width);
    }
    text
}

fn document(name: &str, record: &ConditionRecord, sections: &[(u8, String)]) -> Json {
    let mut answers = Map::new();
    for (fact, section, value) in record.answers() {
        let answer = json!(value.to_string());
        match section.and_then(|n| sections.iter().find(|(number, _)| *number == n)) {
            None => {
                answers.insert(fact.name(), answer);
            }
            Some((_, section)) => {
                let of_fact = answers.entry(fact.name()).or_insert_with(|| json!({}));
                of_fact[section.as_str()] = answer;
            }
        }
    }
    let open: Vec<String> = record.not_examined().iter().map(|fact| fact.name()).collect();
    json!({
        "format": "pinhold.condition",
        "version": 1,
        "instrument": name,
        "answers": answers,
        "not_examined": open,
    })
}
