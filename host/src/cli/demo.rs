//! `pinhold demo`: a whole survey with no hardware, through a real port.
//!
//! A simulated technician reads an invented grand with a simulated lever that runs the firmware's
//! own code; the host's side is the same as with a lever in the hand. Everything is invented and
//! the report says so.

mod calibrated;
mod virtual_lever;

use std::path::PathBuf;

use clap::Args;
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use pinhold_board_virtual::practice::pin_names;
use pinhold_board_virtual::{Practice, Setup};
use pinhold_protocol::error::CommandResult;
use pinhold_protocol::record::{Pin, Reading};
use pinhold_sim::hand::Hand;
use pinhold_sim::piano::{Facts, Fault, Piano, PlankSight as SimulatedSight, Severity};
use pinhold_sim::sensors::{LeverModel, Posture};
use serde_json::json;

use super::context::{Context, say};
use super::exit::{CliError, Exit};
use super::files::write_whole;
use super::import::with_free_uid;
use super::plan::{self, PlanKind, confidence, confidence_parser};
use super::report::demo_bytes;
use super::show;
use super::survey::{plan_for, slip_angle};
use crate::analysis::input::{Condition, PlankSight, TuneStability};
use crate::instrument::scale::StringScale;
use crate::instrument::{FieldPin, Instrument, InstrumentKind, pin_name};
use crate::report::{self, MapModel};
use crate::store::{
    InstrumentFacts, InstrumentId, NewInstrument, NewSurvey, Store, StoreError, StoredPlan,
    SurveySource,
};
use crate::survey::adaptive::{Adaptive, Grown};
use crate::survey::{self, Line, Observer, SurveyError};
use crate::text::printable;

pub use calibrated::bench_of;
pub(super) use virtual_lever::VirtualLever;

/// Slip the simulated technician aims at, degrees.
const SLIP_DEG: f64 = 0.5;
/// First half of the invented levers' identities; the seed is the second.
const DEVICE_PREFIX: u64 = 0x0073_696d_0000_0000;

/// Arguments of `pinhold demo`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Faults: none, dry, split, flange, scattered, contaminated, respun-bass, flat-pitch, tight-new,
off-back. All of it is invented. The same seed gives the same instrument, fault, lever and hand; the
readings then agree to their noise, since commands reach the lever at moments of their own.
What is stored goes to the folder 'demo' within the data folder, unless --data names another.

Examples:
  pinhold demo
  pinhold demo --plan adaptive
  pinhold demo --fault flange --seed 12 --marginal")]
pub struct DemoArguments {
    /// Fault hidden in the invented instrument
    #[arg(long, value_name = "NAME", default_value = "split")]
    #[arg(value_parser = |name: &str| name.parse::<Fault>())]
    pub fault: Fault,
    /// Seed of instrument, hand and lever
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// The fault near the limit of deciding instead of plain
    #[arg(long)]
    pub marginal: bool,
    /// Pins to read
    #[arg(long, value_name = "PLAN", value_enum, default_value_t = PlanKind::Full)]
    pub plan: PlanKind,
    /// Confidence at which an adaptive survey may stop [default: 0.9]
    #[arg(long, value_name = "SHARE", value_parser = confidence_parser)]
    pub confidence: Option<f64>,
    /// Where to write the report [default: demo-FAULT-N.html in the data folder]
    #[arg(long, value_name = "FILE.html")]
    pub out: Option<PathBuf>,
}

/// The instrument as the host sees an invented piano.
pub fn instrument_of(piano: &Piano, name: &str) -> Instrument {
    let pins: Vec<FieldPin> = pin_names(piano)
        .into_iter()
        .zip(&piano.pins)
        .map(|(pin, simulated)| FieldPin {
            pin,
            section: simulated.section,
            row: simulated.row,
            x_m: simulated.x_m,
            y_m: simulated.y_m,
            flange_distance_m: Some(simulated.flange_distance_m),
            diameter_um: Some(simulated.diameter_um),
        })
        .collect();
    Instrument {
        name: name.to_owned(),
        kind: match piano.plan.kind {
            pinhold_sim::piano::Kind::Grand => InstrumentKind::Grand,
            pinhold_sim::piano::Kind::Upright => InstrumentKind::Upright,
        },
        face: crate::instrument::PlateFace::Full,
        first_note: pins.first().map_or(1, |field_pin| field_pin.pin.note),
        last_note: pins.last().map_or(88, |field_pin| field_pin.pin.note),
        pins,
        strings: StringScale::default(),
    }
}

/// What the simulated technician could tell beside torque.
pub fn condition_of(facts: &Facts) -> Condition {
    Condition {
        tune: facts.tune_stable.map(TuneStability::of),
        plank: facts.plank_sight.map(|sight| match sight {
            SimulatedSight::SeenSound => PlankSight::SeenSound,
            SimulatedSight::PliesParted => PlankSight::PliesParted,
            SimulatedSight::OffBack => PlankSight::OffBack,
        }),
        contamination: facts.contamination_seen,
        // A hygrometer shows whole percents.
        relative_humidity: facts.relative_humidity.map(|share| (100.0 * share).round() / 100.0),
        pitch_cents: facts.pitch_cents,
        largest_pin_um: facts.largest_pin_um,
        bushed_plate: facts.bushed_plate,
        worth_repair: None,
        trials: Vec::new(),
    }
}

/// Shows progress as a bar on a terminal, as a line per quarter elsewhere.
struct Progress {
    bar: ProgressBar,
    quarter: usize,
    silent: bool,
}

impl Progress {
    fn new(pin_count: usize, silent: bool) -> Progress {
        let style = ProgressStyle::with_template("  [{bar:40}] {pos}/{len} pins  {msg}")
            .unwrap_or_else(|_| ProgressStyle::default_bar());
        let target =
            if silent { ProgressDrawTarget::hidden() } else { ProgressDrawTarget::stderr() };
        let bar = ProgressBar::with_draw_target(Some(pin_count as u64), target);
        Progress { bar: bar.with_style(style.progress_chars("=> ")), quarter: 0, silent }
    }
}

impl Observer for Progress {
    fn pin_chosen(&mut self, pin: Pin) {
        self.bar.set_message(pin_name(pin));
    }

    fn reading_kept(&mut self, _reading: &Reading, position: usize, count: usize) {
        self.bar.set_length(count as u64);
        self.bar.set_position(position as u64);
        let quarter = 4 * position / count.max(1);
        if self.bar.is_hidden() && !self.silent && quarter > self.quarter {
            say(&format!("  {position}/{count} pins"));
        }
        self.quarter = quarter;
    }
}

/// Runs the command.
///
/// # Errors
/// When the port, the store or a file fails.
pub fn run(context: &Context, arguments: &DemoArguments) -> Result<(), CliError> {
    let context = &in_demo_folder(context);
    let severity = if arguments.marginal { Severity::Marginal } else { Severity::Plain };
    let piano = Piano::invent(arguments.seed, arguments.fault, severity);
    let mark = if arguments.marginal { "-marginal" } else { "" };
    let name = format!("demo-{}-{}{mark}", arguments.fault, arguments.seed);
    let mut store = context.open_store()?;
    let instrument = instrument_of(&piano, &name);
    let id = instrument_id(&mut store, context, &instrument)?;
    let new = |uid| NewSurvey {
        uid,
        started: context.now.clone(),
        source: SurveySource::Simulated,
        temperature_centi_celsius: None,
        humidity_permille: None,
        notes: "invented by the demo".to_owned(),
        condition: condition_of(&piano.facts),
    };
    let confidence = confidence(Some(arguments.plan), arguments.confidence)?;
    let (pins, plan_text) = arguments.plan.pins(&instrument);
    let stored_plan = StoredPlan { slip: slip_angle(SLIP_DEG), pins: pins.clone() };
    let (uid, survey_id) =
        with_free_uid(context, |uid| store.begin_planned_survey(id, &new(uid), &stored_plan))?;
    let survey = store.find_survey(uid)?;
    if !context.json {
        say(&format!(
            "Demo: an invented {} of {} pins, a simulated lever and hand; nothing here is real.",
            instrument.kind.word(),
            instrument.pins.len()
        ));
        say(&plan_text);
    }
    let practice = calibrated_practice(context, &mut store, arguments.seed, uid, piano)?;
    let mut lever = VirtualLever::start(practice).map_err(|error| {
        CliError::new(Exit::InputOutput, format!("no port for the simulated lever ({error})"))
    })?;
    if !context.json {
        say(&format!("Lever on {}", printable(&lever.name)));
    }
    let started = std::time::Instant::now();
    let plan = plan_for(uid, &pins, SLIP_DEG, true, context.now_us / 1000);
    let mut progress = Progress::new(pins.len(), context.json);
    let mut line = Line { name: lever.name.clone(), open: Box::new(|| lever.open()) };
    let mut steps: Vec<Grown> = Vec::new();
    let mut more = |store: &mut Store| -> Result<Vec<Pin>, SurveyError> {
        let adaptive = arguments.plan == PlanKind::Adaptive;
        let Some(survey) = survey.as_ref().filter(|_| adaptive) else { return Ok(Vec::new()) };
        let growing =
            Adaptive { instrument: &instrument, survey, profile: &context.profile, confidence };
        plan::grow(&growing, store, &mut steps, context.json)
    };
    let taken =
        survey::take_growing(&mut store, survey_id, plan, &mut line, &mut progress, &mut more);
    progress.bar.finish_and_clear();
    drop(line);
    drop(lever);
    let summary = taken.map_err(|error: SurveyError| CliError::from(error))?;
    if !context.json {
        say(&format!(
            "{} pins in {:.1} s; {} samples, {:.2} bytes each on the wire, {} blocks dropped",
            summary.reading_count,
            started.elapsed().as_secs_f64(),
            summary.sample_count,
            summary.sample_byte_count as f64 / summary.sample_count.max(1) as f64,
            summary.dropped_block_count,
        ));
    }
    conclude(context, &mut store, &name, arguments, severity, &steps)
}

/// The simulated technician with the lever of this seed, which carries the calibration an invented
/// bench gave it.
fn calibrated_practice(
    context: &Context,
    store: &mut Store,
    seed: u64,
    uid: u64,
    piano: Piano,
) -> Result<Practice, CliError> {
    let device = DEVICE_PREFIX | (seed & 0xffff_ffff);
    let lever = LeverModel::drawn(seed, Posture::level_grand());
    let calibration = calibrated::calibration_of(store, context, device, lever, seed)?;
    let hand = Hand::default();
    let setup = Setup { piano, lever, hand, seed, device, epoch: epoch_of(uid) };
    let mut practice = Practice::new(setup);
    let stored = practice.calibrate(&calibrated::sent(&calibration)?);
    if stored != CommandResult::Done {
        let sentence = format!("the simulated lever takes no calibration ({stored:?})");
        return Err(CliError::new(Exit::Bug, sentence));
    }
    if !context.json {
        say(&format!(
            "Lever calibrated on an invented bench: calibration {}, U (k = 2) {:.2} % at 10 N·m",
            calibration.number,
            100.0 * calibration.result.terms.expanded_u_nm(10.0) / 10.0
        ));
    }
    Ok(practice)
}

/// Shows map, zones and verdict, writes the report, and tells what was hidden.
fn conclude(
    context: &Context,
    store: &mut Store,
    name: &str,
    arguments: &DemoArguments,
    severity: Severity,
    steps: &[Grown],
) -> Result<(), CliError> {
    let loaded = context.load(store, name)?;
    let assessment = show::assessed(&loaded);
    let model = MapModel { instrument: &loaded.record.instrument, assessment: &assessment };
    let document = show::document(&loaded, &model);
    show::keep_verdict(store, context, &loaded, &document)?;
    let out = match &arguments.out {
        Some(path) => path.clone(),
        None => context.data.join(format!("{name}.html")),
    };
    write_whole(&out, &demo_bytes(context, &loaded, &assessment, &out)?)?;
    let accepted = arguments.fault.accepted(severity);
    let remedy = document["remedy"].as_str().unwrap_or_default();
    let is_accepted = accepted.contains(&remedy);
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.demo",
            "version": 1,
            "fault": arguments.fault.name(),
            "accepted": accepted,
            "is_accepted": is_accepted,
            "report": out.to_string_lossy(),
            "plan": arguments.plan.word(),
            "steps": steps.iter().map(plan::step_value).collect::<Vec<_>>(),
            "verdict": document,
        }));
    }
    context.print(&report::terminal::map(&model, context.unit, show::width(), context.color))?;
    context.print(&report::terminal::verdict(&model, context.unit, show::width()))?;
    context.print(&format!(
        "\nHidden in the invented instrument: {}{}. Remedies one could defend: {}. This verdict \
         is {} them.\nStored as '{name}' in {}\nReport: {}\n",
        arguments.fault,
        if severity == Severity::Marginal { " (marginal)" } else { "" },
        accepted.join(", "),
        if is_accepted { "among" } else { "not among" },
        printable(&context.data.to_string_lossy()),
        printable(&out.to_string_lossy()),
    ))
}

/// The demo keeps to a folder of its own unless the user named one.
fn in_demo_folder(context: &Context) -> Context {
    let mut context = context.clone();
    if !context.data_was_named {
        context.data = context.data.join("demo");
    }
    context
}

/// The demo's instrument, made when this demo has not run before.
fn instrument_id(
    store: &mut Store,
    context: &Context,
    instrument: &Instrument,
) -> Result<InstrumentId, CliError> {
    match store.find_instrument(&instrument.name) {
        Ok(record) => Ok(record.id),
        Err(StoreError::NoSuchInstrument { .. }) => {
            Ok(store.create_instrument(&NewInstrument {
                instrument: instrument.clone(),
                facts: InstrumentFacts {
                    serial: "invented".to_owned(),
                    maker_text: "invented".to_owned(),
                    ..InstrumentFacts::default()
                },
                created: context.now.clone(),
            })?)
        }
        Err(error) => Err(error.into()),
    }
}

/// A log epoch no earlier run of the same seed had: the virtual lever's log is in RAM, so every
/// power-up starts a new one.
pub(super) fn epoch_of(uid: u64) -> u32 {
    ((uid >> 16) ^ uid) as u32
}
