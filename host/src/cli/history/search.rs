//! Instruments searched by what is written about them.

use serde_json::{Value, json};

use crate::cli::context::{Context, day_of, say};
use crate::cli::exit::CliError;
use crate::store::InstrumentRecord;
use crate::text::{printable, printable_short};

/// Longest name in the list.
const NAME_COUNT_MAX: usize = 40;

/// Runs the search.
///
/// # Errors
/// When the store fails.
pub(super) fn run(context: &Context, wanted: &str) -> Result<(), CliError> {
    let store = context.open_store()?;
    let words: Vec<String> = wanted.split_whitespace().map(str::to_lowercase).collect();
    let mut found = store.list_instruments()?;
    found.retain(|record| {
        let facts = facts(record);
        words.iter().all(|word| facts.iter().any(|fact| fact.to_lowercase().contains(word)))
    });
    let mut lines = Vec::new();
    for record in &found {
        let started: Option<String> =
            store.surveys_of(record.id)?.pop().map(|survey| survey.started);
        lines.push((record, started));
    }
    if context.json {
        let instruments: Vec<Value> = lines
            .iter()
            .map(|(record, latest)| {
                json!({
                    "name": record.instrument.name,
                    "serial": record.facts.serial,
                    "maker": record.facts.maker_text,
                    "owner_reference": record.facts.owner_reference,
                    "place": record.facts.place,
                    "surveys": record.survey_count,
                    "latest": latest,
                })
            })
            .collect();
        return context.print_document(&json!({
            "format": "pinhold.history.search",
            "version": 1,
            "instruments": instruments,
        }));
    }
    if lines.is_empty() {
        say(match words.is_empty() {
            true => "there is no instrument yet; enter one with 'pinhold instrument add'",
            false => "no instrument has these words in its name, serial, maker, owner or place",
        });
        return Ok(());
    }
    let text: String = lines.iter().map(|(record, latest)| line(record, latest.as_ref())).collect();
    context.print(&text)
}

fn facts(record: &InstrumentRecord) -> [&str; 5] {
    let facts = &record.facts;
    [
        &record.instrument.name,
        &facts.serial,
        &facts.maker_text,
        &facts.owner_reference,
        &facts.place,
    ]
}

fn line(record: &InstrumentRecord, latest: Option<&String>) -> String {
    let [name, rest @ ..] = facts(record);
    let noted: Vec<String> =
        rest.into_iter().filter(|fact| !fact.is_empty()).map(printable).collect();
    let noted = if noted.is_empty() { String::new() } else { format!("; {}", noted.join(", ")) };
    let surveys = match (record.survey_count, latest) {
        (0, _) | (_, None) => "no survey".to_owned(),
        (1, Some(latest)) => format!("1 survey, {}", day(latest)),
        (count, Some(latest)) => format!("{count} surveys, latest {}", day(latest)),
    };
    format!("{}: {surveys}{noted}\n", printable_short(name, NAME_COUNT_MAX))
}

fn day(time: &str) -> String {
    printable(day_of(time))
}
