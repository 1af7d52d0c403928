//! `pinhold lever calibrate`: dead weights on a known arm, step by step, to constants on the lever
//! and a record in the store.
//!
//! `talk` speaks with lever and person, `files` reads and writes, `show` prints what follows. What
//! is decided is in [`crate::calibration`].

mod files;
mod setup;
mod show;
mod talk;

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::json;

use super::history::lever_parser;
use super::typed::{arm_parser, gravity_parser, height_parser, latitude_parser, mass_parser};
use super::{calendar, line};
use crate::bench::{BenchError, BenchLever};
use crate::calibration::bench::{Bench, Gravity, HandPosition, Mass, SeatingReading};
use crate::calibration::procedure::{Procedure, Step};
use crate::calibration::record::{CALIBRATION_VERSION, CalibrationRecord, CalibrationResult};
use crate::calibration::{CalibrationError, Choices, evaluate};
use crate::cli::context::{Context, say};
use crate::cli::exit::{CliError, Exit};
use crate::cli::parsers::fact_parser;
use crate::store::Contact;
use crate::survey::Calendar;
use setup::{Due, due_parser, humidity_parser, names_parser, temperature_parser};
use talk::{Talk, Wish};

/// What must be said before a weight is hung (common sense, no source).
const CAUTIONS: &str = "\
Before you hang a weight:
  Weights fall: feet and fingers clear, nobody beneath, hang them low over the floor and secure
  each by a cord of its own. Clamp the square firmly; head fully on it, handle level and free.
  Never load the lever beyond 25 N·m. Put weights on and take them off without a jerk; still them
  with a finger, then keep clear.
Each step: do it, press Enter, wait until the reading stands still. Before Enter: b goes back a
point, s leaves the point out, q stops; what was read is kept, and --resume goes on with it.
";

/// Arguments of `pinhold lever calibrate`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
The lever sits on a fixed square; weights hang on its handle at two or more places, put on one after
another and taken off again, to the right (sharp) and to the left (flat). What follows: constants on
the lever, a record in the store with its expanded uncertainty, and how sure a reading of this lever
is. Behind ± stands the most a value may be off (half the width of a rectangle). What is not given
is asked for at a terminal. Every point is on disk before the next; an interrupted calibration goes
on with --resume. Nothing is kept of numbers that contradict each other; the sentence says what
looks wrong.

A bench written by hand: --from FILE.csv with the columns arm,direction,leg,masses,code (numbers of
--arm and --masses from 1, masses joined by +; arm 'free' off the square), and if known sd, samples,
along, across, pin, temperature, minute. --from FILE.json takes what --json prints under 'bench'.
Pins seated anew: --seatings FILE.csv with pin,person,round,friction,moment in N·m: ten pins, three
times, two people.

Examples:
  pinhold lever calibrate --masses '0.5 kg ± 0.2 g, 1 kg ± 0.2 g, 2 kg ± 0.5 g, 2 kg ± 0.5 g' \\
    --arm '250 mm ± 0.5 mm' --arm '300 mm ± 0.5 mm' --latitude 47.4 --height 410 --people 'A. Ex'
  pinhold lever calibrate --resume
  pinhold lever calibrate --simulated --dry-run
  pinhold lever calibrate --from bench.csv --masses '1 kg, 2 kg, 3 kg' --arm '25 cm' --arm '30 cm' \\
    --gravity 9.8072")]
pub(super) struct CalibrateArguments {
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT", conflicts_with = "simulated")]
    pub port: Option<String>,
    /// Dead weights in the order they are put on, each with what it may be off
    #[arg(long, value_name = "MASSES", value_delimiter = ',', value_parser = mass_parser)]
    pub masses: Vec<Mass>,
    /// Distance from the axis of the pin to where weights hang; twice or more
    #[arg(long = "arm", value_name = "ARM", value_parser = arm_parser)]
    pub arms: Vec<HandPosition>,
    /// Local gravity, m/s²
    #[arg(long, value_name = "M/S2", value_parser = gravity_parser)]
    #[arg(conflicts_with_all = ["latitude", "height"])]
    pub gravity: Option<Gravity>,
    /// Latitude of the place, degrees, north positive
    #[arg(long, value_name = "DEGREES", value_parser = latitude_parser)]
    #[arg(requires = "height", allow_negative_numbers = true)]
    pub latitude: Option<f64>,
    /// Height of the place above the sea, metres
    #[arg(long, value_name = "METRES", value_parser = height_parser)]
    #[arg(requires = "latitude", allow_negative_numbers = true)]
    pub height: Option<f64>,
    /// Who calibrates, separated by commas
    #[arg(long, value_name = "NAMES", value_parser = names_parser)]
    pub people: Option<Names>,
    /// Where
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, default_value = "")]
    #[arg(hide_default_value = true)]
    pub place: String,
    /// Relative humidity of the room, percent
    #[arg(long, value_name = "PERCENT", value_parser = humidity_parser)]
    pub humidity: Option<f64>,
    /// Temperature of the room, such as '21 °C'
    #[arg(long, value_name = "TEMPERATURE", value_parser = temperature_parser)]
    pub room_temperature: Option<f64>,
    /// A note to the record
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, default_value = "")]
    #[arg(hide_default_value = true)]
    pub remark: String,
    /// When the next one is due: 12mo, 1y, 90d or a date
    #[arg(long, value_name = "WHEN", value_parser = due_parser, default_value = "12mo")]
    pub due: Due,
    /// Pins seated anew, from a CSV file
    #[arg(long, value_name = "FILE")]
    pub seatings: Option<PathBuf>,
    /// Evaluate a bench from a file instead of reading one
    #[arg(long, value_name = "FILE", conflicts_with_all = ["resume", "anew", "simulated"])]
    pub from: Option<PathBuf>,
    /// The lever --from was read with: keep its calibration in the store
    #[arg(long, value_name = "LEVER", value_parser = lever_parser, requires = "from")]
    pub lever: Option<u64>,
    /// Go on with the unfinished calibration of this lever
    #[arg(long, conflicts_with = "anew")]
    pub resume: bool,
    /// With --resume: take the series of this point again
    #[arg(long, value_name = "POINT", requires = "resume")]
    pub again: Option<usize>,
    /// Begin anew, whatever was left unfinished
    #[arg(long)]
    pub anew: bool,
    /// Show what follows; keep nothing
    #[arg(long)]
    pub dry_run: bool,
    /// Make it although something looks wrong; the record says what
    #[arg(long)]
    pub insist: bool,
    /// Store calibration NUMBER of the store on the lever again
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["from", "resume", "simulated"])]
    pub put: Option<u32>,
    /// Practise: a simulated lever whose weights hang themselves
    #[arg(long)]
    pub simulated: bool,
    /// Seed of the simulated lever
    #[arg(long, value_name = "SEED", default_value_t = 1, requires = "simulated")]
    pub seed: u64,
}

/// Names of people.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(in crate::cli::lever) struct Names(Vec<String>);

/// Runs the command.
///
/// # Errors
/// When something is missing or looks wrong, no lever answers or takes it, or the store fails.
pub(super) fn run(context: &Context, arguments: &CalibrateArguments) -> Result<(), CliError> {
    if let Some(number) = arguments.put {
        return put(context, arguments, number);
    }
    let seatings = match &arguments.seatings {
        Some(path) => files::seatings(path)?,
        None => Vec::new(),
    };
    if let Some(path) = &arguments.from {
        return from_file(context, arguments, path, seatings);
    }
    let mut store = context.open_store()?;
    let calendar = calendar(context);
    let known = if arguments.resume { None } else { Some(setup::given_or_asked(arguments)?) };
    let mut talk = if arguments.simulated {
        let setup = known.clone().unwrap_or_else(setup::practice);
        Talk::simulated(&setup, arguments.seed, calendar, context.unit, context.json)?
    } else {
        Talk::at_port(line(arguments.port.as_ref())?, calendar, context.unit, context.json)?
    };
    let hello = *talk.lever.hello();
    let path = files::progress_path(&context.data, hello.device);
    let mut procedure = match known {
        Some(setup) => {
            refuse_unfinished(&path, arguments)?;
            Procedure::new(setup, hello.device, talk.is_simulated()).map_err(unplanned)?
        }
        None => resumed(&path, hello.device, arguments)?,
    };
    if !seatings.is_empty() {
        procedure.seatings = seatings;
    }
    if !context.json {
        say(CAUTIONS);
    }
    let keep = |procedure: &Procedure| {
        if procedure.simulated { Ok(()) } else { files::remember(&path, procedure) }
    };
    keep(&procedure)?;
    take(&mut talk, &mut procedure, context, &keep)?;
    let seen = calendar.now_text();
    store.note_lever(&Contact { hello: &hello, seen: &seen, calendar_ms: calendar.now_ms() })?;
    let number = store.next_calibration_number(hello.device)?;
    let result = evaluated(&procedure.bench(), arguments, number)?;
    let made_ms = talk.now_ms();
    let source = Made { lever: hello.device, number, made_ms, simulated: procedure.simulated };
    let record = record(arguments, &source, procedure.bench(), result)?;
    if !arguments.dry_run {
        // On this disk first: a lever must not name what nobody holds.
        store.keep_calibration(&record)?;
        talk.lever.store(&record.result.constants, number).map_err(|error| kept(error, number))?;
    }
    let closed = talk.lever.close();
    if let Err(error) = closed {
        say(&format!("note: {error}"));
    }
    files::forget(&path)?;
    show::tell(context, &record, arguments.dry_run)
}

/// Takes every step that is left.
fn take(
    talk: &mut Talk<'_>,
    procedure: &mut Procedure,
    context: &Context,
    keep: &dyn Fn(&Procedure) -> Result<(), CliError>,
) -> Result<(), CliError> {
    let count = procedure.steps().len();
    while let Some(step) = procedure.next() {
        let sentence = procedure.sentence(&step, context.unit);
        let number = procedure.position() + 1;
        match talk.ask(&format!("{number} of {count}: {sentence}; then press Enter"))? {
            Wish::Go | Wish::Again => read(talk, procedure, &step, context)?,
            Wish::Back => {
                if !procedure.redo() {
                    say("  this is the first point");
                }
            }
            Wish::Skip => procedure.skip(),
            Wish::Stop => return Err(stopped(procedure)),
        }
        keep(procedure)?;
    }
    Ok(())
}

/// Reads one step until it is kept or given up.
fn read(
    talk: &mut Talk<'_>,
    procedure: &mut Procedure,
    step: &Step,
    context: &Context,
) -> Result<(), CliError> {
    loop {
        let settled = match talk.settled(step) {
            Ok(settled) => settled,
            Err(error) if error.exit == Exit::LeverAbsent && !talk.is_simulated() => {
                say(&format!("  {}", error.sentence));
                match talk.ask("  Enter tries it again, q stops")? {
                    Wish::Stop => return Err(stopped(procedure)),
                    _ => continue,
                }
            }
            Err(error) => return Err(error),
        };
        let doubts = procedure.look(&settled);
        for doubt in &doubts {
            say(&format!("  note: {}", doubt.sentence(context.unit)));
        }
        if !doubts.is_empty() {
            match talk.ask("  a reads it again, Enter keeps it, q stops")? {
                Wish::Again => continue,
                Wish::Stop => return Err(stopped(procedure)),
                Wish::Go | Wish::Back | Wish::Skip => {}
            }
        }
        procedure.take(&settled, talk.now_ms());
        return Ok(());
    }
}

fn stopped(procedure: &Procedure) -> CliError {
    let sentence = format!(
        "stopped with {} of {} points read; they are kept, go on with 'pinhold lever calibrate \
         --resume'",
        procedure.taken_count(),
        procedure.steps().len()
    );
    CliError::new(Exit::InputOutput, sentence)
}

fn unplanned(error: crate::calibration::procedure::PlanError) -> CliError {
    CliError::new(Exit::Usage, error.to_string())
}

fn refuse_unfinished(path: &Path, arguments: &CalibrateArguments) -> Result<(), CliError> {
    if arguments.anew || arguments.simulated {
        return Ok(());
    }
    match files::progress(path)? {
        Some(procedure) if procedure.taken_count() > 0 => {
            let sentence = format!(
                "a calibration of this lever is unfinished, {} points read; go on with it with \
                 --resume, or begin anew with --anew",
                procedure.taken_count()
            );
            Err(CliError::new(Exit::Refused, sentence))
        }
        _ => Ok(()),
    }
}

fn resumed(
    path: &Path,
    device: u64,
    arguments: &CalibrateArguments,
) -> Result<Procedure, CliError> {
    let found = files::progress(path)?.filter(|procedure| procedure.lever == device);
    let Some(mut procedure) = found else {
        let sentence = "there is no unfinished calibration of this lever to go on with";
        return Err(CliError::new(Exit::NotThere, sentence));
    };
    if let Some(point) = arguments.again {
        let step = point.checked_sub(1).and_then(|point| procedure.step_of(point));
        let Some(step) = step else {
            let count = procedure.taken_count();
            let sentence = format!("--again: there is no point {point} among the {count} read");
            return Err(CliError::new(Exit::Usage, sentence));
        };
        procedure.reopen(step);
    }
    Ok(procedure)
}

/// What the record is of.
struct Made {
    lever: u64,
    number: u32,
    made_ms: i64,
    simulated: bool,
}

fn record(
    arguments: &CalibrateArguments,
    made: &Made,
    bench: Bench,
    result: CalibrationResult,
) -> Result<CalibrationRecord, CliError> {
    Ok(CalibrationRecord {
        version: CALIBRATION_VERSION,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        lever: made.lever,
        number: made.number,
        made_ms: made.made_ms,
        due_ms: arguments.due.after_ms(made.made_ms)?,
        people: arguments.people.clone().unwrap_or_default().0,
        place: arguments.place.clone(),
        relative_humidity: arguments.humidity,
        room_temperature_c: arguments.room_temperature,
        remark: arguments.remark.clone(),
        simulated: made.simulated,
        bench,
        result,
    })
}

fn evaluated(
    bench: &Bench,
    arguments: &CalibrateArguments,
    number: u32,
) -> Result<CalibrationResult, CliError> {
    let choices = Choices { number, insist: arguments.insist };
    evaluate(bench, &choices).map_err(|error| {
        let hint = match (&error, &arguments.from) {
            (CalibrationError::Suspect { .. }, None) => {
                "\nNothing is kept on the lever. Take a series again with --resume --again POINT, \
                 or, if all is right, --resume --insist"
            }
            (CalibrationError::Suspect { .. }, Some(_)) => {
                "\nNothing was kept. If all is right, add --insist"
            }
            _ => "",
        };
        CliError::new(Exit::Refused, format!("{error}{hint}"))
    })
}

/// A bench from a file: evaluated, and kept where its lever is named.
fn from_file(
    context: &Context,
    arguments: &CalibrateArguments,
    path: &Path,
    seatings: Vec<SeatingReading>,
) -> Result<(), CliError> {
    let mut bench = files::bench(path, setup::given(arguments))?;
    if !seatings.is_empty() {
        bench.seatings = seatings;
    }
    let keeps = arguments.lever.is_some() && !arguments.dry_run;
    let mut store = if keeps { Some(context.open_store()?) } else { None };
    let lever = arguments.lever.unwrap_or_default();
    let number = match &store {
        Some(store) => store.next_calibration_number(lever)?,
        None => 1,
    };
    let result = evaluated(&bench, arguments, number)?;
    let made_ms = i64::try_from(context.now_us / 1000).unwrap_or(i64::MAX);
    let made = Made { lever, number, made_ms, simulated: false };
    let record = record(arguments, &made, bench, result)?;
    if let Some(store) = &mut store {
        store.keep_calibration(&record)?;
    }
    show::tell(context, &record, !keeps)?;
    if keeps && !context.json {
        say(&format!(
            "kept in the store; put it on the lever with: pinhold lever calibrate --put {number}"
        ));
    }
    Ok(())
}

/// Stores a kept calibration on its lever again.
fn put(context: &Context, arguments: &CalibrateArguments, number: u32) -> Result<(), CliError> {
    let store = context.open_store()?;
    let calendar: Calendar = calendar(context);
    let mut lever = BenchLever::open(line(arguments.port.as_ref())?, calendar)?;
    let device = lever.hello().device;
    let Some(record) = store.calibration(device, number)? else {
        let sentence = format!(
            "calibration {number} of lever {device:016x} is not in this store; 'pinhold lever \
             history' lists those that are"
        );
        return Err(CliError::new(Exit::NotThere, sentence));
    };
    lever.store(&record.result.constants, number)?;
    if let Err(error) = lever.close() {
        say(&format!("note: {error}"));
    }
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.lever.calibrate.put",
            "version": 1,
            "lever": format!("{device:016x}"),
            "number": number,
        }));
    }
    context.print(&format!(
        "calibration {number} stored on lever {device:016x}; take its zero anew before measuring\n"
    ))
}

fn kept(error: BenchError, number: u32) -> CliError {
    let mut error = CliError::from(error);
    error.sentence.push_str(&format!(
        "\nThe calibration is in the store as number {number}; once the lever can take it: pinhold \
         lever calibrate --put {number}"
    ));
    error
}
