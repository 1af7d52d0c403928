//! `pinhold lever load`: a plan onto the lever, for a survey without a computer.

use clap::Args;
use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Angle;
use serde_json::json;

use super::words::{counted, fault, faults_of};
use super::{calendar, line};
use crate::analysis::sampling::check_pin;
use crate::cli::condition::ConditionArguments;
use crate::cli::context::{Context, say, shell_quoted};
use crate::cli::exit::{CliError, Exit};
use crate::cli::import::with_free_uid;
use crate::cli::parsers::name_parser;
use crate::cli::pins::chosen_pins;
use crate::cli::plan::PlanKind;
use crate::cli::survey::{CAUTIONS, slip_angle, slip_parser};
use crate::cli::teller::Teller;
use crate::instrument::{Instrument, pin_name};
use crate::lever_reads::Levers;
use crate::link::session::{LeverPlan, Request};
use crate::store::{InstrumentRecord, NewSurvey, Store, StoredPlan, SurveySource};
use crate::survey::progress::unfinished;
use crate::survey::{self, Heard, SurveyError};
use crate::text::printable;

/// How the lever works alone.
const ALONE: &str = "\
Working alone:
  GO, short: begin (hold the lever still and off the pin: it takes its zero), then the next pin.
  GO, long: pass this pin over.  BACK, short: read this pin again.  BACK, long: the pin before.
  Both, long: take the zero anew, off the pin.
  The lamp tells seated, moving, accepted, once more, too hard and too far; the beeper speaks only
  before and after a move, never while the pin turns. After an accepted reading the lever goes on
  to the next pin by itself: say its name before you turn it.
";

/// Arguments of `pinhold lever load`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Begins a survey and stores its plan on the lever: carry the lever to the piano, read the pins by its
buttons, and fetch the readings later with 'pinhold lever fetch'. Every reading is in the lever's
memory before it says accepted. A plan that was on the lever before is replaced; readings made under
it stay.

Examples:
  pinhold lever load parlour
  pinhold lever load parlour --plan full
  pinhold lever load parlour --pins 28-52 --humidity 41
  pinhold lever load parlour --resume")]
pub(super) struct LoadArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
    /// Pins to read: quick or full; adaptive needs the host at the piano [default: quick]
    #[arg(long, value_name = "PLAN", value_enum, conflicts_with_all = ["pins", "resume"])]
    pub plan: Option<PlanKind>,
    /// Pins to read, in order, at most 256, instead of a plan, such as "A4,49L,12-25,1-20 bass"
    #[arg(long, value_name = "PINS")]
    pub pins: Option<String>,
    /// Go on with the survey begun last: the pins that are not read or passed over yet
    #[arg(long, conflicts_with_all = ["pins", "slip", "notes"])]
    pub resume: bool,
    /// Replace a plan the lever is at work on
    #[arg(long)]
    pub replace: bool,
    /// Slip asked of each stroke, degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 0.5)]
    #[arg(value_parser = slip_parser)]
    pub slip: f64,
    /// A note to the survey
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub notes: String,
    /// What is known beside torque.
    #[command(flatten)]
    pub condition: ConditionArguments,
}

/// Runs the command.
///
/// # Errors
/// When the instrument is unknown, the lever cannot work alone, or the store fails.
pub(super) fn run(context: &Context, arguments: &LoadArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    let resumed = if arguments.resume { Some(going_on(&store, &record)?) } else { None };
    let pins = match &resumed {
        Some((_, plan)) => plan.pins.clone(),
        None => pins_asked(&record.instrument, arguments)?,
    };
    let slip = resumed.as_ref().map_or(slip_angle(arguments.slip), |(_, plan)| plan.slip);
    // Refused before anything is begun.
    lever_plan(1, slip, &pins)?;
    let mut line = line(arguments.port.as_ref())?;
    let calendar = calendar(context);
    let mut teller =
        Teller::new(context.unit, context.json).doubting(Levers::of_all(&store)?, context.now_ms());
    let heard = survey::status(&mut store, calendar, &mut line, &mut teller)?;
    check_ready(&heard, arguments)?;
    if !context.json {
        say(CAUTIONS);
    }
    let uid = match resumed {
        Some((uid, _)) => uid,
        None => begin(context, &mut store, &record, &pins, arguments)?,
    };
    let plan = lever_plan(uid, slip, &pins)?;
    let loaded = survey::load(&mut store, calendar, plan, &mut line, &mut teller)?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.lever.load",
            "version": 1,
            "survey": uid.to_string(),
            "pins": pins.len(),
            "plan": plan_word(arguments),
            "lever": loaded.hello.map(|hello| format!("{:016x}", hello.device)),
            "checksum": loaded.plan.map(|plan| plan.checksum),
            "waiting_records": heard.health.map(|health| health.uncommitted_count),
            "room": heard.health.map(|health| health.room_count),
        }));
    }
    context.print(&format!(
        "{} of {} stored on the lever, read back and compared.\n{}{}{ALONE}\
         Afterwards: pinhold lever fetch\n",
        counted(pins.len() as u32, "pin"),
        printable(&record.instrument.name),
        check_text(&record.instrument, arguments),
        room_text(&heard, pins.len())
    ))
}

/// The pins named, or the plan's. The lever holds each pin once.
fn pins_asked(instrument: &Instrument, arguments: &LoadArguments) -> Result<Vec<Pin>, CliError> {
    if let Some(text) = arguments.pins.as_ref() {
        return chosen_pins(instrument, text);
    }
    match arguments.plan.unwrap_or(PlanKind::Quick) {
        PlanKind::Adaptive => Err(CliError::new(
            Exit::Usage,
            "an adaptive survey is chosen step by step by this program, and the lever alone \
             cannot: load --plan quick or --plan full, or take it at the piano with \
             'pinhold survey NAME --plan adaptive'",
        )),
        kind => Ok(kind.design(instrument).pins),
    }
}

/// What the pins were chosen by, for a program.
fn plan_word(arguments: &LoadArguments) -> &'static str {
    match (&arguments.pins, arguments.resume) {
        (Some(_), _) => "list",
        (None, true) => "resumed",
        (None, false) => arguments.plan.unwrap_or(PlanKind::Quick).word(),
    }
}

/// Which pin to read again by hand: a plan on the lever holds each pin once.
fn check_text(instrument: &Instrument, arguments: &LoadArguments) -> String {
    let check = check_pin(instrument, &[]);
    let is_listed = arguments.pins.is_some() || arguments.resume;
    check.filter(|_| !is_listed).map_or(String::new(), |check| {
        format!(
            "The lever holds each pin once, so it repeats no check pin, and drift cannot be told \
             from a gradient. Where that matters read {} first, after every twenty and last, with \
             'pinhold survey NAME' at the piano.\n",
            pin_name(check)
        )
    })
}

fn lever_plan(uid: u64, slip: Angle, pins: &[Pin]) -> Result<LeverPlan, CliError> {
    LeverPlan::new(uid, slip, pins.to_vec()).map_err(|error| {
        CliError::new(Exit::Usage, format!("{error}; choose the pins with --pins"))
    })
}

/// Whether the lever can work alone now.
fn check_ready(heard: &Heard, arguments: &LoadArguments) -> Result<(), CliError> {
    if heard.not_understood.contains(&Request::Plan) || heard.plan.is_none() {
        let error = SurveyError::GivenUp { request: Request::Load, result: None };
        return Err(CliError::from(error));
    }
    if heard.plan.is_some_and(|plan| plan.running) && !arguments.replace {
        let sentence = "the lever is at work on the plan it holds; fetch its readings with \
                        'pinhold lever fetch', or replace the plan with --replace (readings made \
                        under it stay)";
        return Err(CliError::new(Exit::Refused, sentence));
    }
    if let Some(health) = &heard.health {
        for found in faults_of(health.faults).0 {
            let (what, deed) = fault(found);
            say(&format!("note: fault {} of the lever: {what}; {deed}", found.code()));
        }
    }
    Ok(())
}

/// Identity of the survey begun last and what is left of its plan.
fn going_on(store: &Store, record: &InstrumentRecord) -> Result<(u64, StoredPlan), CliError> {
    match unfinished(store, record.id)? {
        Some(open) => Ok((open.survey.uid, StoredPlan { slip: open.plan.slip, pins: open.left })),
        None => {
            let name = shell_quoted(&record.instrument.name);
            Err(CliError::new(
                Exit::NotThere,
                format!("there is no unfinished survey of {name} to go on with"),
            ))
        }
    }
}

fn begin(
    context: &Context,
    store: &mut Store,
    record: &InstrumentRecord,
    pins: &[Pin],
    arguments: &LoadArguments,
) -> Result<u64, CliError> {
    let new = |uid| NewSurvey {
        uid,
        started: context.now.clone(),
        source: SurveySource::Lever,
        temperature_centi_celsius: arguments.condition.temperature_centi_celsius(),
        humidity_permille: arguments.condition.humidity_permille(),
        notes: arguments.notes.clone(),
        condition: arguments.condition.over(&Default::default()),
    };
    let plan = StoredPlan { slip: slip_angle(arguments.slip), pins: pins.to_vec() };
    let (uid, _) =
        with_free_uid(context, |uid| store.begin_planned_survey(record.id, &new(uid), &plan))?;
    Ok(uid)
}

/// Whether the log has room for the plan.
fn room_text(heard: &Heard, pin_count: usize) -> String {
    let Some(health) = heard.health else { return String::new() };
    let mut text = String::new();
    if (health.room_count as usize) < pin_count {
        text.push_str(&format!(
            "The log has room for {} readings now, fewer than the plan has pins: fetch what waits \
             on the lever first (pinhold lever fetch).\n",
            health.room_count
        ));
    }
    if let Some(minutes) = health.battery_minutes.filter(|_| !health.external_power) {
        text.push_str(&format!(
            "The battery lasts about {} h {:02} min.\n",
            minutes / 60,
            minutes % 60
        ));
    }
    text
}
