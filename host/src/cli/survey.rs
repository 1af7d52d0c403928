//! `pinhold survey`: reads pins with a lever, one after the other.

use clap::Args;
use pinhold_protocol::message::ChoosePin;
use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Angle;
use serde_json::json;

use super::condition::ConditionArguments;
use super::context::{Context, say, shell_quoted};
use super::exit::{CliError, Exit};
use super::import::with_free_uid;
use super::lever::words;
use super::parsers::name_parser;
use super::pins::chosen_pins;
use super::plan::{self, PlanKind, confidence, confidence_parser};
use super::show::width;
use super::teller::Teller;
use super::{drift, ports, retune};
use crate::analysis::pulls::{self, Pulls};
use crate::analysis::readings::Drift;
use crate::analysis::sampling::{Settled, append_with_checks, check_pin, close_with_check};
use crate::instrument::Instrument;
use crate::instrument::pitch_cost::PitchCost;
use crate::lever_reads::Levers;
use crate::link::port;
use crate::link::session::Plan;
use crate::report::json::pulls_value;
use crate::report::terminal::wrap;
use crate::store::{InstrumentRecord, NewSurvey, Store, StoredPlan, Survey, SurveySource};
use crate::survey::adaptive::{Adaptive, Grown};
use crate::survey::progress::{Progress, last_planned, unfinished};
use crate::survey::{self, Line, Summary, SurveyError};
use crate::text::printable;
use crate::words::Said;

/// What must be said before the first pin is touched (common practice, no source, but for the
/// stored tension of 150–200 kN, which is common knowledge of the trade).
pub const CAUTIONS: &str = "\
Before you touch a pin:
  The strings store 150 to 200 kN; a breaking wire whips. Eye protection on, face out of the
  string plane, children and pets out of the room, nobody behind an upright.
  Have the owner's written consent that an old string may break. Old wire: flat first, look for
  rust at coil and agraffe.
  Cracked plate, or plank parted from the back: do not raise pitch anywhere; stop here and get a
  rebuilder. Stop as well when notes rise by themselves or a gap opens at the plate.
  Mute, play the named note, move flat by a little: its pitch must fall. If the coil turns and it
  does not, stop: wrong pin. Slow, small moves; fingers clear of struts; never leave the lever on.
  This is no structural or safety certificate; local codes and qualified practice come first.
";

/// Strings to retune that the end of a survey lists.
const RETUNE_COUNT_SHOWN: usize = 20;

/// Arguments of `pinhold survey`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Every reading is on disk before the lever hears of it; pulled cables cost nothing but time. After
a crash or a break, --resume goes on with the same survey; what the lever has read in between is
fetched first. Readings of other surveys that the lever holds go to those, the rest to the inbox
(pinhold assign).
Pins are named by note and string, as in 49L, A4L, or by ranges of notes, as in 1-12,40L.
A quick survey reads runs of neighbours over every section and row; a full one every pin; an
adaptive one goes on from what was read until the rest would hardly change the verdict. With
--resume, --plan goes deeper into the same survey: a quick one can become adaptive or full.

Examples:
  pinhold survey parlour
  pinhold survey parlour --plan adaptive --confidence 95%
  pinhold survey parlour --resume
  pinhold survey parlour --resume --plan full
  pinhold survey parlour --port /dev/ttyACM0 --pins 28-52 --humidity 41")]
pub struct SurveyArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
    /// Pins to read [default: quick; with --pins, those]
    #[arg(long, value_name = "PLAN", value_enum, conflicts_with = "pins")]
    pub plan: Option<PlanKind>,
    /// Pins to read, in order, instead of a plan, such as "A4,49L,12-25,1-20 bass"
    #[arg(long, value_name = "PINS")]
    pub pins: Option<String>,
    /// Confidence at which an adaptive survey may stop [default: 0.9]
    #[arg(long, value_name = "SHARE", value_parser = confidence_parser)]
    pub confidence: Option<f64>,
    /// Go on with the survey begun last: the pins that are not read or passed over yet
    #[arg(long, conflicts_with_all = ["pins", "slip", "notes"])]
    pub resume: bool,
    /// Slip asked of each stroke, degrees
    #[arg(long, value_name = "DEGREES", default_value_t = 0.5)]
    #[arg(value_parser = slip_parser)]
    pub slip: f64,
    /// Do not stream the raw samples
    #[arg(long)]
    pub no_samples: bool,
    /// A note to the survey
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub notes: String,
    /// What is known beside torque.
    #[command(flatten)]
    pub condition: ConditionArguments,
}

pub(super) fn slip_parser(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(slip) if (0.3..=1.0).contains(&slip) => Ok(slip),
        _ => Err("use 0.3 to 1.0 degrees".to_string()),
    }
}

/// What a plan for `pins` asks of the lever.
pub fn plan_for(
    uid: u64,
    pins: &[Pin],
    slip_deg: f64,
    stream_samples: bool,
    calendar_ms: u64,
) -> Plan {
    Plan {
        survey: uid,
        pins: pins.iter().map(|pin| ChoosePin { pin: *pin, unstrung: false }).collect(),
        slip: slip_angle(slip_deg),
        calendar_ms,
        stream_samples,
        zero_first: true,
    }
}

/// A slip the parser has bounded, as the lever takes it.
pub(super) fn slip_angle(slip_deg: f64) -> Angle {
    Angle::from_radians(slip_deg.to_radians()).unwrap_or_default()
}

/// A survey about to be taken.
struct Begun {
    survey: Survey,
    /// Pins to be read now.
    pins: Vec<Pin>,
    /// Pins done before, of how many.
    done: (usize, usize),
    slip: Angle,
}

/// Runs the command.
///
/// # Errors
/// When the instrument is unknown, no lever answers, or the store fails.
pub fn run(context: &Context, arguments: &SurveyArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    let confidence = confidence(arguments.plan, arguments.confidence)?;
    let (pins, text) = planned(&record.instrument, arguments)?;
    let resumed = resumed(context, &store, &record, arguments)?;
    let port_name = ports::chosen(arguments.port.as_ref())?;
    // The port comes before the survey: a wrong one leaves nothing behind.
    let first = port::open(&port_name).map_err(SurveyError::from)?;
    if !context.json {
        say(CAUTIONS);
    }
    let mut begun = match resumed {
        Some(open) => going_on(deepened(&mut store, &record, open, arguments)?),
        None => {
            if !context.json && !text.is_empty() {
                say(&text);
            }
            begin(context, &mut store, &record, pins, arguments)?
        }
    };
    let survey = begun.survey.clone();
    let is_adaptive = arguments.plan == Some(PlanKind::Adaptive);
    let growing = Adaptive {
        instrument: &record.instrument,
        survey: &survey,
        profile: &context.profile,
        confidence,
    };
    let mut steps: Vec<Grown> = Vec::new();
    let mut go_on = |store: &mut Store| -> Result<Vec<Pin>, SurveyError> {
        if !is_adaptive {
            return Ok(Vec::new());
        }
        plan::grow(&growing, store, &mut steps, context.json)
    };
    if begun.pins.is_empty() {
        begun.pins = go_on(&mut store)?;
        begun.done.1 += begun.pins.len();
    }
    if begun.pins.is_empty() {
        // Settled before a pin was turned: the lever need not be asked.
        let nothing = Summary::default();
        return tell_summary(context, &store, &survey, &nothing, &steps, &arguments.name);
    }
    let mut plan = plan_for(
        survey.uid,
        &begun.pins,
        arguments.slip,
        !arguments.no_samples,
        context.now_us / 1000,
    );
    plan.slip = begun.slip;
    let mut first = Some(first);
    let mut line = Line {
        name: port_name.clone(),
        open: Box::new(|| match first.take() {
            Some(port) => Ok(port),
            None => port::open(&port_name),
        }),
    };
    let levers = Levers::of_all(&store)?;
    let mut teller = Teller::new(context.unit, context.json)
        .going_on(begun.done.0, begun.done.1)
        .doubting(levers, context.now_ms());
    let summary =
        survey::take_growing(&mut store, survey.id, plan, &mut line, &mut teller, &mut go_on)?;
    tell_summary(context, &store, &survey, &summary, &steps, &arguments.name)
}

/// The pins to begin a survey with, and what is said of them.
fn planned(
    instrument: &Instrument,
    arguments: &SurveyArguments,
) -> Result<(Vec<Pin>, String), CliError> {
    match arguments.pins.as_ref() {
        Some(text) => Ok((chosen_pins(instrument, text)?, String::new())),
        None => Ok(arguments.plan.unwrap_or(PlanKind::Quick).pins(instrument)),
    }
}

/// The survey to go on with; a plan of its own may go on with one that is through.
fn resumed(
    context: &Context,
    store: &Store,
    record: &InstrumentRecord,
    arguments: &SurveyArguments,
) -> Result<Option<Progress>, CliError> {
    if !arguments.resume {
        if let Some(open) = unfinished(store, record.id)? {
            note_unfinished(context, &open, &arguments.name);
        }
        return Ok(None);
    }
    let open = match arguments.plan {
        Some(_) => last_planned(store, record.id)?,
        None => unfinished(store, record.id)?,
    };
    open.map_or_else(|| Err(nothing_to_resume(&arguments.name)), |open| Ok(Some(open)))
}

/// Adds to a survey's plan what a quick or full one has beyond it; an adaptive one grows by itself.
fn deepened(
    store: &mut Store,
    record: &InstrumentRecord,
    open: Progress,
    arguments: &SurveyArguments,
) -> Result<Progress, CliError> {
    let Some(kind) = arguments.plan.filter(|kind| *kind != PlanKind::Adaptive) else {
        return Ok(open);
    };
    let known = |pin: &Pin| open.plan.pins.contains(pin);
    let missing: Vec<Pin> =
        kind.design(&record.instrument).pins.into_iter().filter(|pin| !known(pin)).collect();
    let mut plan = open.plan.pins.clone();
    match check_pin(&record.instrument, &open.skipped) {
        Some(check) if !missing.is_empty() => {
            append_with_checks(&mut plan, &missing, check);
            close_with_check(&mut plan, check);
        }
        _ => plan.extend(missing),
    }
    store.append_to_plan(open.survey.id, &plan[open.plan.pins.len()..])?;
    let open = last_planned(store, record.id)?.filter(|open| !open.left.is_empty());
    open.map_or_else(|| Err(nothing_to_resume(&arguments.name)), Ok)
}

fn note_unfinished(context: &Context, open: &Progress, name: &str) {
    if !context.json && open.read_count > 0 {
        let name = shell_quoted(name);
        say(&format!(
            "note: the survey begun {} has {} of {} pins read; to go on with that one stop here \
             (Ctrl-C) and use: pinhold survey {name} --resume",
            printable(&open.survey.started),
            open.read_count,
            open.plan.pins.len()
        ));
    }
}

fn nothing_to_resume(name: &str) -> CliError {
    let name = shell_quoted(name);
    CliError::new(
        Exit::NotThere,
        format!(
            "there is nothing to go on with: the last survey of {name} is finished, or was begun \
             without a list of pins; begin one with: pinhold survey {name}"
        ),
    )
}

/// Goes on with a survey: the pins that have neither a reading nor a skip.
fn going_on(open: Progress) -> Begun {
    let pin_count = open.plan.pins.len();
    Begun {
        survey: open.survey,
        done: (pin_count - open.left.len(), pin_count),
        pins: open.left,
        slip: open.plan.slip,
    }
}

fn begin(
    context: &Context,
    store: &mut Store,
    record: &InstrumentRecord,
    pins: Vec<Pin>,
    arguments: &SurveyArguments,
) -> Result<Begun, CliError> {
    let new = |uid| NewSurvey {
        uid,
        started: context.now.clone(),
        source: SurveySource::Lever,
        temperature_centi_celsius: arguments.condition.temperature_centi_celsius(),
        humidity_permille: arguments.condition.humidity_permille(),
        notes: arguments.notes.clone(),
        condition: arguments.condition.over(&Default::default()),
    };
    let plan = StoredPlan { slip: slip_angle(arguments.slip), pins };
    let (uid, _) =
        with_free_uid(context, |uid| store.begin_planned_survey(record.id, &new(uid), &plan))?;
    let Some(survey) = store.find_survey(uid)? else {
        return Err(CliError::new(Exit::Bug, "a survey just begun is not in the store"));
    };
    Ok(Begun { survey, done: (0, plan.pins.len()), pins: plan.pins, slip: plan.slip })
}

fn tell_summary(
    context: &Context,
    store: &Store,
    survey: &Survey,
    summary: &Summary,
    steps: &[Grown],
    name: &str,
) -> Result<(), CliError> {
    let end = end_of(context, store, name)?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.survey",
            "version": 1,
            "survey": survey.uid.to_string(),
            "readings": summary.reading_count,
            "samples": summary.sample_count,
            "dropped_blocks": summary.dropped_block_count,
            "damaged_frames": summary.damaged_frame_count,
            "fetched": words::fetched_value(store, &summary.fetched)?,
            "pitch_costs": retune::value(&end.costs),
            "pulls": pulls_value(&end.pulls),
            "steps": steps.iter().map(plan::step_value).collect::<Vec<_>>(),
            "settled": settled(steps).map(plan::settled_value),
            "drift": end.drift.as_ref().map(drift::value),
        }));
    }
    let lost = match summary.dropped_block_count {
        0 => String::new(),
        count => format!("; {count} blocks of raw samples were dropped on the way"),
    };
    let beside = words::fetched_text(store, &summary.fetched)?;
    let name = shell_quoted(name);
    context.print(&format!(
        "{} readings stored{lost}.\n{}{}{beside}{}{}\
         Next: pinhold map {name}; pinhold verdict {name}\n",
        summary.reading_count,
        settled(steps).map(plan::settled_text).unwrap_or_default(),
        retune::text(&end.costs, RETUNE_COUNT_SHOWN),
        end.pulls_text(),
        drift::text(end.drift.as_ref(), width()),
    ))
}

/// How an adaptive survey was settled.
fn settled(steps: &[Grown]) -> Option<&Settled> {
    steps.last().and_then(Grown::settled)
}

/// What a survey did to the tuning, the strings that stand out, and the lever's drift.
#[derive(Default)]
struct End {
    costs: Vec<PitchCost>,
    pulls: Pulls,
    drift: Option<Drift>,
}

impl End {
    fn pulls_text(&self) -> String {
        let wrapped = |sentence: &Said| wrap(sentence, "strings: ", width());
        self.pulls.sentences().iter().map(wrapped).collect()
    }
}

/// What the survey just ended shows so far; nothing where no pin was read.
fn end_of(context: &Context, store: &Store, name: &str) -> Result<End, CliError> {
    let loaded = match context.load(store, name) {
        Err(error) if error.exit == Exit::NotThere => return Ok(End::default()),
        other => other?,
    };
    let instrument = &loaded.record.instrument;
    let pulls = pulls::compare(instrument, &loaded.readings, loaded.condition.pitch_cents);
    Ok(End { costs: loaded.pitch_costs, pulls, drift: loaded.drift })
}
