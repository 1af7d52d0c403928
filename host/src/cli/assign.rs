//! `pinhold assign`: readings out of the inbox to the instrument they were taken on.

use clap::Args;
use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use super::context::{Context, shell_quoted};
use super::correct::{pin_value, readings_word};
use super::exit::{CliError, Exit};
use super::lever::words::{ranges, taken_at};
use super::parsers::{fact_parser, name_parser};
use super::pins::parse_pins;
use super::teller::reading_line;
use crate::correct::spelled;
use crate::instrument::pin_name;
use crate::store::{
    Cause, InboxReading, InstrumentRecord, NewSurvey, RecordName, Store, StoreError, SurveyId,
    SurveySource,
};
use crate::text::printable;
use crate::units::TorqueUnit;

/// Arguments of `pinhold assign`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
The inbox holds readings that were fetched from a lever and belong to no survey: those made without
a plan, and those of a plan that another computer stored. Without a NAME it is listed.

Readings without a plan get the pins you name, in the order they were read: as many pins as
readings. Readings of a foreign plan bring their pins. A new survey is begun for them, or they go
to the one begun last with --to-latest. What the lever wrote is kept; 'pinhold correct NAME --undo'
puts them back into the inbox.

Examples:
  pinhold assign
  pinhold assign parlour --numbers 12-15 --pins 40L,40C,40R,41L
  pinhold assign parlour --plan 1592590337")]
pub struct AssignArguments {
    /// The instrument; leave it out to list the inbox
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: Option<String>,
    /// Readings of this lever only, by its identity as listed
    #[arg(long, value_name = "LEVER", value_parser = lever_parser)]
    pub lever: Option<u64>,
    /// Readings with these record numbers only, such as 12-15,18
    #[arg(long, value_name = "NUMBERS", value_parser = numbers_parser)]
    pub numbers: Option<Numbers>,
    /// Readings of this foreign plan only
    #[arg(long, value_name = "PLAN", conflicts_with = "pins")]
    pub plan: Option<u64>,
    /// Pins the readings were taken on, in the order they were read
    #[arg(long, value_name = "PINS", requires = "name")]
    pub pins: Option<String>,
    /// Add them to the survey begun last instead of beginning one
    #[arg(long, requires = "name")]
    pub to_latest: bool,
    /// Why, for the record
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    #[arg(default_value = "", hide_default_value = true)]
    pub reason: String,
}

/// Record numbers as ranges, first and last.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Numbers(Vec<(u32, u32)>);

impl Numbers {
    fn has(&self, number: u32) -> bool {
        self.0.iter().any(|(first, last)| (*first..=*last).contains(&number))
    }
}

fn numbers_parser(text: &str) -> Result<Numbers, String> {
    let wrong = || "use record numbers such as 12-15,18".to_string();
    let number = |text: &str| text.trim().parse::<u32>().map_err(|_| wrong());
    let mut ranges = Vec::new();
    for word in text.split(',') {
        let (first, last) = word.split_once('-').unwrap_or((word, word));
        let (first, last) = (number(first)?, number(last)?);
        if last < first {
            return Err(wrong());
        }
        ranges.push((first, last));
    }
    Ok(Numbers(ranges))
}

fn lever_parser(text: &str) -> Result<u64, String> {
    u64::from_str_radix(text, 16).map_err(|_| "use the identity as it is listed".to_string())
}

/// Which readings of the inbox.
#[derive(Clone, Debug, Default)]
pub(super) struct Selection {
    pub(super) lever: Option<u64>,
    pub(super) numbers: Option<Numbers>,
    pub(super) plan: Option<u64>,
}

/// Where they go.
pub(super) struct Target {
    record: InstrumentRecord,
    /// Pins in order, for readings of no plan.
    pins: Option<Vec<Pin>>,
    to_latest: bool,
}

impl Target {
    /// An instrument by name and pins by their words.
    ///
    /// # Errors
    /// When there is no such instrument or pin.
    pub(super) fn named(
        store: &Store,
        name: &str,
        pins: Option<&String>,
        to_latest: bool,
    ) -> Result<Target, CliError> {
        let record = store.find_instrument(name)?;
        let pins = pins
            .map(|text| parse_pins(text, &record.instrument))
            .transpose()
            .map_err(|sentence| CliError::new(Exit::Usage, format!("--pins: {sentence}")))?;
        Ok(Target { record, pins, to_latest })
    }
}

/// What was assigned.
pub(super) struct Assigned {
    instrument: String,
    uid: u64,
    given: Vec<(RecordName, Pin)>,
}

impl Assigned {
    pub(super) fn text(&self) -> String {
        let mut text = String::new();
        for (name, pin) in &self.given {
            text.push_str(&format!("  record {} -> {}\n", name.number, pin_name(*pin)));
        }
        let name = shell_quoted(&self.instrument);
        text.push_str(&format!(
            "{} assigned to {}; take it back with: pinhold correct {name} --undo\n",
            readings_word(self.given.len()),
            printable(&self.instrument)
        ));
        text
    }

    pub(super) fn document(&self) -> Value {
        let given: Vec<Value> = self
            .given
            .iter()
            .map(|(name, pin)| {
                json!({
                    "lever": format!("{:016x}", name.device),
                    "epoch": name.epoch,
                    "number": name.number,
                    "pin": pin_value(Some(*pin)),
                })
            })
            .collect();
        json!({
            "instrument": self.instrument,
            "survey": self.uid.to_string(),
            "readings": given,
        })
    }
}

/// Runs the command.
///
/// # Errors
/// When nothing of the kind is in the inbox, the pins do not fit, or the store fails.
pub fn run(context: &Context, arguments: &AssignArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let selection = Selection {
        lever: arguments.lever,
        numbers: arguments.numbers.clone(),
        plan: arguments.plan,
    };
    let Some(name) = &arguments.name else {
        return list(context, &store, &selection);
    };
    let target = Target::named(&store, name, arguments.pins.as_ref(), arguments.to_latest)?;
    let assigned = assign(context, &mut store, &target, &selection, &arguments.reason)?;
    if context.json {
        let mut document = assigned.document();
        document["format"] = json!("pinhold.assign");
        document["version"] = json!(1);
        return context.print_document(&document);
    }
    context.print(&assigned.text())
}

/// Assigns what is selected.
///
/// # Errors
/// As [`run`].
pub(super) fn assign(
    context: &Context,
    store: &mut Store,
    target: &Target,
    selection: &Selection,
    reason: &str,
) -> Result<Assigned, CliError> {
    let chosen = choose(selected(store, selection)?, target.pins.is_some())?;
    let given = match &target.pins {
        Some(pins) => paired(&chosen, pins)?,
        None => own_pins(&chosen, target)?,
    };
    let plan = chosen.first().map_or(0, |reading| reading.reading.survey);
    let (uid, survey) = if target.to_latest {
        latest(store, target)?
    } else {
        begin(context, store, target, plan, &chosen)?
    };
    let entries: Vec<(RecordName, Option<Pin>)> =
        given.iter().map(|(name, pin)| (*name, Some(*pin))).collect();
    store.assign(survey, &entries, Cause { made: &context.now, reason })?;
    Ok(Assigned { instrument: target.record.instrument.name.clone(), uid, given })
}

fn selected(store: &Store, selection: &Selection) -> Result<Vec<InboxReading>, CliError> {
    let mut inbox = store.inbox()?;
    inbox.retain(|found| {
        selection.lever.is_none_or(|lever| lever == found.name.device)
            && selection.plan.is_none_or(|plan| plan == found.reading.survey)
            && selection.numbers.as_ref().is_none_or(|numbers| numbers.has(found.name.number))
    });
    Ok(inbox)
}

/// Whether the inbox holds anything of the kind.
///
/// # Errors
/// When the store fails.
pub(super) fn has_any(store: &Store, selection: &Selection) -> Result<bool, CliError> {
    Ok(!selected(store, selection)?.is_empty())
}

/// The readings meant: those of no plan when pins are given, else those of one foreign plan; of
/// one log.
fn choose(mut found: Vec<InboxReading>, with_pins: bool) -> Result<Vec<InboxReading>, CliError> {
    let unplanned = |reading: &InboxReading| reading.reading.pin.is_unassigned();
    let (loose_count, all_count) =
        (found.iter().filter(|reading| unplanned(reading)).count(), found.len());
    found.retain(|reading| unplanned(reading) == with_pins);
    let Some(first) = found.first() else {
        let sentence = match (with_pins, loose_count, all_count) {
            (_, _, 0) => "nothing of that kind is in the inbox; 'pinhold assign' lists it",
            (false, _, _) => "say which pins they were taken on, in order, with --pins",
            (true, _, _) => "those readings name their pins; leave --pins out",
        };
        let exit = if all_count == 0 { Exit::NotThere } else { Exit::Usage };
        return Err(CliError::new(exit, sentence));
    };
    let log = |reading: &InboxReading| (reading.name.device, reading.name.epoch);
    if found.iter().any(|reading| log(reading) != log(first)) {
        let sentence = "readings of several levers or logs are meant; choose with --lever and \
                        --numbers";
        return Err(CliError::new(Exit::Usage, sentence));
    }
    if found.iter().any(|reading| reading.reading.survey != first.reading.survey) {
        let sentence = "readings of several plans are meant; choose one with --plan";
        return Err(CliError::new(Exit::Usage, sentence));
    }
    Ok(found)
}

fn paired(chosen: &[InboxReading], pins: &[Pin]) -> Result<Vec<(RecordName, Pin)>, CliError> {
    if chosen.len() != pins.len() {
        let numbers: Vec<u32> = chosen.iter().map(|reading| reading.name.number).collect();
        return Err(CliError::new(
            Exit::Usage,
            format!(
                "{} (record {}) but {} pins are named; name a pin for each, in the order they \
                 were read, or choose some with --numbers",
                readings_word(chosen.len()),
                ranges(&numbers),
                pins.len()
            ),
        ));
    }
    Ok(chosen.iter().map(|reading| reading.name).zip(pins.iter().copied()).collect())
}

/// The pins the readings of a foreign plan name, all of which the instrument must have.
fn own_pins(chosen: &[InboxReading], target: &Target) -> Result<Vec<(RecordName, Pin)>, CliError> {
    let instrument = &target.record.instrument;
    let mut given = Vec::new();
    for reading in chosen {
        let pin = reading.reading.pin;
        if instrument.find_pin(pin).is_none() {
            return Err(CliError::new(
                Exit::Refused,
                format!(
                    "record {} is of pin {}, which {} does not have; nothing was assigned",
                    reading.name.number,
                    pin_name(pin),
                    printable(&instrument.name)
                ),
            ));
        }
        given.push((reading.name, pin));
    }
    Ok(given)
}

fn latest(store: &Store, target: &Target) -> Result<(u64, SurveyId), CliError> {
    match store.latest_survey(target.record.id)? {
        Some(survey) if survey.source == SurveySource::Lever => Ok((survey.uid, survey.id)),
        _ => Err(CliError::new(
            Exit::NotThere,
            "its last survey is not one of a lever; leave --to-latest out to begin one",
        )),
    }
}

/// Begins a survey for them: under the foreign plan's name, so that later readings of that plan
/// find it, else under a new one.
fn begin(
    context: &Context,
    store: &mut Store,
    target: &Target,
    plan: u64,
    chosen: &[InboxReading],
) -> Result<(u64, SurveyId), CliError> {
    let logs = store.known_logs()?;
    let started = chosen
        .first()
        .and_then(|reading| taken_at(&logs, reading))
        .unwrap_or_else(|| context.now.clone());
    let new = |uid| NewSurvey {
        uid,
        started: started.clone(),
        source: SurveySource::Lever,
        temperature_centi_celsius: None,
        humidity_permille: None,
        notes: String::new(),
        condition: Default::default(),
    };
    if plan != 0 {
        match store.begin_survey(target.record.id, &new(plan)) {
            Ok(survey) => return Ok((plan, survey)),
            Err(StoreError::SurveyExists { .. }) => {}
            Err(error) => return Err(error.into()),
        }
    }
    let begun = super::import::with_free_uid(context, |uid| {
        store.begin_survey(target.record.id, &new(uid))
    })?;
    Ok(begun)
}

/// What is in the inbox and the command that empties it; empty when it is empty.
///
/// # Errors
/// When the store fails.
pub(super) fn inbox_hint(store: &Store) -> Result<String, CliError> {
    let inbox = store.inbox()?;
    let Some(first) = inbox.first() else { return Ok(String::new()) };
    let with_pins = first.reading.pin.is_unassigned();
    let numbers: Vec<u32> = inbox
        .iter()
        .filter(|reading| reading.reading.pin.is_unassigned() == with_pins)
        .map(|reading| reading.name.number)
        .collect();
    let example = if with_pins {
        format!("pinhold assign NAME --numbers {} --pins 40L,40C,...", numbers_text(&numbers))
    } else {
        format!("pinhold assign NAME --plan {}", first.reading.survey)
    };
    Ok(format!(
        "{} in the inbox ('pinhold assign' lists them); give them to an instrument, such as\n  \
         {example}\n",
        readings_word(inbox.len())
    ))
}

/// Numbers as `--numbers` takes them.
fn numbers_text(numbers: &[u32]) -> String {
    ranges(numbers).replace(" to ", "-").replace(", ", ",")
}

fn list(context: &Context, store: &Store, selection: &Selection) -> Result<(), CliError> {
    let inbox = selected(store, selection)?;
    let logs = store.known_logs()?;
    if context.json {
        let readings: Vec<Value> = inbox
            .iter()
            .map(|found| {
                let pin = Some(found.reading.pin).filter(|pin| !pin.is_unassigned());
                json!({
                    "lever": format!("{:016x}", found.name.device),
                    "epoch": found.name.epoch,
                    "number": found.name.number,
                    "plan": found.reading.survey.to_string(),
                    "pin": pin_value(pin),
                    "taken": taken_at(&logs, found),
                    "received": found.received,
                })
            })
            .collect();
        return context.print_document(&json!({
            "format": "pinhold.inbox",
            "version": 1,
            "readings": readings,
        }));
    }
    if inbox.is_empty() {
        return context.print("The inbox is empty.\n");
    }
    let mut text = String::new();
    let mut last = None;
    for found in &inbox {
        let group = (found.name.device, found.name.epoch, found.reading.survey);
        if last.replace(group) != Some(group) {
            text.push_str(&group_text(found));
        }
        text.push_str(&entry_text(found, taken_at(&logs, found), context.unit));
    }
    text.push_str(&inbox_hint(store)?);
    context.print(&text)
}

fn group_text(found: &InboxReading) -> String {
    let plan = match found.reading.survey {
        0 => "no plan".to_owned(),
        plan => format!("plan {plan}, of another computer"),
    };
    format!("lever {:016x}, epoch {}, {plan}:\n", found.name.device, found.name.epoch)
}

fn entry_text(found: &InboxReading, taken: Option<String>, unit: TorqueUnit) -> String {
    let line = reading_line(&found.reading, unit);
    let what = if found.reading.pin.is_unassigned() {
        line.split_once(": ").map_or("", |(_, rest)| rest).to_owned()
    } else {
        format!("{} {line}", spelled(found.reading.pin))
    };
    let taken = taken.unwrap_or_else(|| "time unknown".to_owned());
    format!("  {:>6}  {taken}  {what}\n", found.name.number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_and_written_alike() {
        let numbers = numbers_parser("3, 7-9,4294967295").unwrap();
        let has: Vec<u32> = (0..20).filter(|number| numbers.has(*number)).collect();
        assert_eq!(has, [3, 7, 8, 9]);
        assert!(numbers.has(u32::MAX));
        assert_eq!(numbers_parser(&numbers_text(&[3, 7, 8, 9, u32::MAX])).unwrap(), numbers);
        for wrong in ["", "x", "9-7", "1-", "-1", "4294967296"] {
            assert!(numbers_parser(wrong).is_err(), "{wrong}");
        }
    }
}
