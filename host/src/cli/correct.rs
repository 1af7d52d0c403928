//! `pinhold correct`: readings to the pins they were really taken on.

use clap::{ArgGroup, Args};
use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use super::context::{Context, say, shell_quoted};
use super::exit::{CliError, Exit};
use super::parsers::{fact_parser, name_parser, pin_parser};
use crate::correct::{CorrectError, Correction, Planned, Standing, plan};
use crate::instrument::pin_name;
use crate::store::{Batch, BatchKind, Cause, InstrumentRecord, LeverReading, Move, Store, Survey};
use crate::text::printable;

/// Arguments of `pinhold correct`.
#[derive(Args, Clone, Debug)]
#[command(group = ArgGroup::new("what").required(true)
    .args(["from", "pin", "number", "undo", "list"]))]
#[command(after_long_help = "\
For the latest survey of an instrument that a lever took. What the lever wrote is never changed: a
correction stands beside it, the latest one counts, and --undo takes the last one back (again and
again, if need be). Map, verdict and report use the corrected pins, and the report says how many
readings were moved. A run moves along the order the pins were read in: the plan's, else bass to
treble. Two readings of different pins never come to stand on one pin; where a pin was read more
than once, its last usable reading counts.

Examples:
  pinhold correct parlour --from 40L --to 52R --by 1 --reason \"started one pin late\" --preview
  pinhold correct parlour --pin 40L --to-pin 41L
  pinhold correct parlour --number 57 --void --reason \"lever slipped\"
  pinhold correct parlour --list
  pinhold correct parlour --undo")]
pub struct CorrectArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// First pin of a run to be shifted
    #[arg(long, value_name = "PIN", value_parser = pin_parser, requires_all = ["to", "by"])]
    pub from: Option<Pin>,
    /// Last pin of the run
    #[arg(long, value_name = "PIN", value_parser = pin_parser, requires = "from")]
    pub to: Option<Pin>,
    /// Places the run is shifted by: 1 to the next pin, -1 to the one before
    #[arg(long, value_name = "N", requires = "from", allow_negative_numbers = true)]
    #[arg(value_parser = clap::value_parser!(i32).range(-300..=300))]
    pub by: Option<i32>,
    /// A pin whose readings belong elsewhere
    #[arg(long, value_name = "PIN", value_parser = pin_parser)]
    pub pin: Option<Pin>,
    /// One reading, by its record number
    #[arg(long, value_name = "N")]
    pub number: Option<u32>,
    /// The pin they belong to
    #[arg(long, value_name = "PIN", value_parser = pin_parser, conflicts_with = "from")]
    pub to_pin: Option<Pin>,
    /// Set them aside: they count for no pin
    #[arg(long, conflicts_with_all = ["from", "to_pin"])]
    pub void: bool,
    /// Why, for the record
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    #[arg(default_value = "", hide_default_value = true)]
    pub reason: String,
    /// Show what would be moved, and move nothing
    #[arg(long)]
    pub preview: bool,
    /// Take back the last correction
    #[arg(long)]
    pub undo: bool,
    /// List the corrections made
    #[arg(long)]
    pub list: bool,
}

/// The survey to be corrected, with its readings and the order they were read in.
struct Subject {
    record: InstrumentRecord,
    survey: Survey,
    readings: Vec<LeverReading>,
    order: Vec<Pin>,
}

impl Subject {
    fn load(store: &Store, name: &str) -> Result<Subject, CliError> {
        let record = store.find_instrument(name)?;
        let Some(survey) = store.latest_survey(record.id)? else {
            let name = shell_quoted(name);
            let sentence = format!("no pin of {name} has been read yet; nothing to correct");
            return Err(CliError::new(Exit::NotThere, sentence));
        };
        let readings = store.readings_of(survey.id)?.lever;
        let order = match store.plan_of(survey.id)? {
            Some(plan) => plan.pins,
            None => record.instrument.pins.iter().map(|field_pin| field_pin.pin).collect(),
        };
        Ok(Subject { record, survey, readings, order })
    }
}

/// Runs the command.
///
/// # Errors
/// When there is nothing to correct, the correction cannot be made, or the store fails.
pub fn run(context: &Context, arguments: &CorrectArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let subject = Subject::load(&store, &arguments.name)?;
    if arguments.list {
        return list(context, &store, &subject);
    }
    let cause = Cause { made: &context.now, reason: &arguments.reason };
    if arguments.undo {
        if arguments.preview {
            let sentence = "--preview goes with a correction; --list shows what --undo takes back";
            return Err(CliError::new(Exit::Usage, sentence));
        }
        store.undo_correction(subject.survey.id, cause)?;
        let batches = store.corrections_of(subject.survey.id)?;
        return tell_undone(context, &subject, batches.last());
    }
    let standing: Vec<Standing> = subject
        .readings
        .iter()
        .map(|reading| Standing { number: reading.number, pin: reading.pin })
        .collect();
    let correction = asked(arguments)?;
    let mut planned =
        plan(&standing, &subject.order, correction).map_err(|error| refused(&error, arguments))?;
    planned.sort_by_key(|planned| (planned.before, planned.index));
    if !arguments.preview {
        let moves: Vec<Move> = planned
            .iter()
            .map(|planned| Move { reading: subject.readings[planned.index].id, pin: planned.after })
            .collect();
        store.correct(subject.survey.id, &moves, cause)?;
    }
    tell_moved(context, &subject, &planned, arguments)
}

/// The correction as meant.
fn asked(arguments: &CorrectArguments) -> Result<Correction, CliError> {
    if let (Some(from), Some(to), Some(by)) = (arguments.from, arguments.to, arguments.by) {
        return Ok(Correction::Shift { from, to, by });
    }
    if arguments.to_pin.is_none() && !arguments.void {
        let sentence = "say where they belong with --to-pin PIN, or set them aside with --void";
        return Err(CliError::new(Exit::Usage, sentence));
    }
    let to = arguments.to_pin;
    match (arguments.pin, arguments.number) {
        (Some(from), None) => Ok(Correction::Pin { from, to }),
        (_, Some(number)) => Ok(Correction::Number { number, to }),
        (None, None) => Err(CliError::new(Exit::Usage, "name a run, a pin or a record number")),
    }
}

fn refused(error: &CorrectError, arguments: &CorrectArguments) -> CliError {
    let exit = match error {
        CorrectError::NothingThere => Exit::NotThere,
        CorrectError::NoSuchPin { .. } | CorrectError::Backwards { .. } => Exit::Usage,
        CorrectError::OutOfOrder { .. }
        | CorrectError::Collision { .. }
        | CorrectError::Ambiguous { .. }
        | CorrectError::Nothing => Exit::Refused,
    };
    let sentence = error.to_string().replace("NAME", &shell_quoted(&arguments.name));
    CliError::new(exit, sentence)
}

/// A pin as shown, or that there is none.
pub(super) fn shown(pin: Option<Pin>) -> String {
    pin.map_or("set aside".to_owned(), pin_name)
}

/// A pin in a document: its note and string, or null.
pub(super) fn pin_value(pin: Option<Pin>) -> Value {
    pin.map_or(
        Value::Null,
        |pin| json!({ "note": pin.note, "string": pin.string.letter().to_string() }),
    )
}

fn tell_moved(
    context: &Context,
    subject: &Subject,
    planned: &[Planned],
    arguments: &CorrectArguments,
) -> Result<(), CliError> {
    if context.json {
        let moved: Vec<Value> = planned
            .iter()
            .map(|planned| {
                json!({
                    "number": subject.readings[planned.index].number,
                    "before": pin_value(planned.before),
                    "after": pin_value(planned.after),
                })
            })
            .collect();
        return context.print_document(&json!({
            "format": "pinhold.correct",
            "version": 1,
            "survey": subject.survey.uid.to_string(),
            "stored": !arguments.preview,
            "moved": moved,
        }));
    }
    let mut text = String::new();
    for planned in planned {
        let (before, after) = (shown(planned.before), shown(planned.after));
        let number = subject.readings[planned.index].number;
        text.push_str(&format!("  {before} -> {after}  (record {number})\n"));
    }
    let name = shell_quoted(&subject.record.instrument.name);
    let count = readings_word(planned.len());
    text.push_str(&if arguments.preview {
        format!("{count} would move; nothing was changed. Without --preview it is done.\n")
    } else {
        format!("{count} moved; take it back with: pinhold correct {name} --undo\n")
    });
    context.print(&text)
}

/// `1 reading` or `n readings`.
pub(super) fn readings_word(count: usize) -> String {
    if count == 1 { "1 reading".to_owned() } else { format!("{count} readings") }
}

fn tell_undone(
    context: &Context,
    subject: &Subject,
    batch: Option<&Batch>,
) -> Result<(), CliError> {
    let entries = batch.map_or(&[][..], |batch| &batch.entries);
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.correct.undo",
            "version": 1,
            "survey": subject.survey.uid.to_string(),
            "batch": batch.map(batch_value),
        }));
    }
    let mut text = String::new();
    for entry in entries {
        let (before, after) = (shown(entry.before), shown(entry.after));
        text.push_str(&format!("  {before} -> {after}  (record {})\n", entry.name.number));
    }
    text.push_str(&format!("{} put back\n", readings_word(entries.len())));
    context.print(&text)
}

fn batch_value(batch: &Batch) -> Value {
    let (kind, undoes) = match batch.kind {
        BatchKind::Assign => ("assign", None),
        BatchKind::Correct => ("correct", None),
        BatchKind::Undo(undone) => ("undo", Some(undone.number())),
    };
    let moved: Vec<Value> = batch
        .entries
        .iter()
        .map(|entry| {
            json!({
                "lever": format!("{:016x}", entry.name.device),
                "epoch": entry.name.epoch,
                "number": entry.name.number,
                "taken_as": pin_value(entry.taken_as),
                "before": pin_value(entry.before),
                "after": pin_value(entry.after),
            })
        })
        .collect();
    json!({
        "batch": batch.id.number(),
        "kind": kind,
        "undoes": undoes,
        "undone_by": batch.undone_by.map(|id| id.number()),
        "made": batch.made,
        "reason": batch.reason,
        "moved": moved,
    })
}

fn list(context: &Context, store: &Store, subject: &Subject) -> Result<(), CliError> {
    let batches = store.corrections_of(subject.survey.id)?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.correct.list",
            "version": 1,
            "survey": subject.survey.uid.to_string(),
            "corrected_count": store.corrected_count(subject.survey.id)?,
            "batches": batches.iter().map(batch_value).collect::<Vec<_>>(),
        }));
    }
    if batches.is_empty() {
        say("no correction was made");
        return Ok(());
    }
    let mut text = String::new();
    for batch in &batches {
        let what = match batch.kind {
            BatchKind::Assign => "assigned".to_owned(),
            BatchKind::Correct => "corrected".to_owned(),
            BatchKind::Undo(undone) => format!("took back {}", undone.number()),
        };
        let undone =
            batch.undone_by.map_or(String::new(), |id| format!(", taken back by {}", id.number()));
        let reason = match batch.reason.as_str() {
            "" => String::new(),
            reason => format!(": {}", printable(reason)),
        };
        text.push_str(&format!(
            "{} {} {}{undone}{reason}\n",
            batch.id.number(),
            printable(&batch.made),
            what
        ));
        for entry in &batch.entries {
            let taken = entry.taken_as.map_or("no pin".to_owned(), pin_name);
            text.push_str(&format!(
                "  {} -> {}  (record {}, taken as {taken})\n",
                shown(entry.before),
                shown(entry.after),
                entry.name.number
            ));
        }
    }
    context.print(&text)
}
