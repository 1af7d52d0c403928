//! `pinhold lever fetch`: everything the lever has read, onto this disk.

use clap::Args;
use serde_json::json;

use super::words::{fetched_text, fetched_value};
use super::{calendar, line};
use crate::cli::assign::{self, Selection, Target};
use crate::cli::context::{Context, shell_quoted};
use crate::cli::exit::CliError;
use crate::cli::parsers::name_parser;
use crate::cli::teller::Teller;
use crate::store::{Store, SurveyId};
use crate::survey::progress::progress;
use crate::survey::{self, Fetched};
use crate::text::printable;

/// Arguments of `pinhold lever fetch`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Each record is on disk before the lever hears of it; run it as often as you like, nothing is stored
twice. Readings go to the surveys whose plan they name. Readings of no plan, or of a plan another
computer stored, are kept in the inbox: give them to an instrument here with --assign, or later with
'pinhold assign'. What the lever lost, or a pin passed over, is told by its number.

Examples:
  pinhold lever fetch
  pinhold lever fetch --assign parlour --pins 40L,40C,40R,41L")]
pub(super) struct FetchArguments {
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
    /// Instrument the readings of this lever in the inbox belong to
    #[arg(long, value_name = "NAME", value_parser = name_parser)]
    pub assign: Option<String>,
    /// Pins the readings of no plan were taken on, in the order they were read
    #[arg(long, value_name = "PINS", requires = "assign")]
    pub pins: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// When no lever answers, its history is not the one stored, or the store fails; what was fetched
/// until then is stored.
pub(super) fn run(context: &Context, arguments: &FetchArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    // A wrong name or pin is told before the lever is asked.
    let target = match &arguments.assign {
        Some(name) => Some(Target::named(&store, name, arguments.pins.as_ref(), false)?),
        None => None,
    };
    let mut line = line(arguments.port.as_ref())?;
    let mut teller = Teller::new(context.unit, context.json);
    let (heard, fetched) = survey::fetch(&mut store, calendar(context), &mut line, &mut teller)?;
    let device = heard.hello.map(|hello| hello.device);
    let selection = Selection { lever: device, ..Selection::default() };
    let assigned = match target {
        Some(target) if assign::has_any(&store, &selection)? => {
            Some(assign::assign(context, &mut store, &target, &selection, "assigned at fetching"))
        }
        _ => None,
    };
    // What was fetched is told even where it could not be assigned.
    let (assigned, refused) = match assigned {
        Some(Ok(assigned)) => (Some(assigned), None),
        Some(Err(error)) => (None, Some(error)),
        None => (None, None),
    };
    if context.json {
        context.print_document(&json!({
            "format": "pinhold.lever.fetch",
            "version": 1,
            "lever": device.map(|device| format!("{device:016x}")),
            "fetched": fetched_value(&store, &fetched)?,
            "assigned": assigned.as_ref().map(assign::Assigned::document),
            "inbox": store.inbox()?.len(),
        }))?;
    } else {
        context.print(&told(&store, &fetched, assigned.as_ref())?)?;
    }
    refused.map_or(Ok(()), Err)
}

fn told(
    store: &Store,
    fetched: &Fetched,
    assigned: Option<&assign::Assigned>,
) -> Result<String, CliError> {
    let mut text = match fetched.record_count() {
        0 => "nothing new on the lever; all it holds is on this disk\n".to_owned(),
        1 => "1 record fetched and stored:\n".to_owned(),
        count => format!("{count} records fetched and stored:\n"),
    };
    text.push_str(&fetched_text(store, fetched)?);
    for (survey, _) in &fetched.filed {
        text.push_str(&progress_text(store, *survey)?);
    }
    if let Some(assigned) = assigned {
        text.push_str(&assigned.text());
    }
    text.push_str(&assign::inbox_hint(store)?);
    Ok(text)
}

/// How far a survey has come, and the next step.
fn progress_text(store: &Store, survey: SurveyId) -> Result<String, CliError> {
    let record = store.instrument_of(survey)?;
    let name = &record.instrument.name;
    let surveys = store.surveys_of(record.id)?;
    let Some(survey) = surveys.iter().find(|known| known.id == survey) else {
        return Ok(String::new());
    };
    let quoted = shell_quoted(name);
    Ok(match progress(store, survey)? {
        Some(found) => format!(
            "{}: {} of {} pins read, {} passed over, {} left. Every pin measured was moved: it \
             wants a touch-up.\nNext: pinhold map {quoted}; pinhold verdict {quoted}\n",
            printable(name),
            found.read_count,
            found.plan.pins.len(),
            found.skipped.len(),
            found.left.len(),
        ),
        None => format!("Next: pinhold map {quoted}; pinhold verdict {quoted}\n"),
    })
}
