//! `pinhold lever calibrate`: dead weights on a known arm, step by step, to constants on the lever
//! and a record in the store.
//!
//! `talk` speaks with lever and person, `files` reads and writes, `show` prints what follows. What
//! is decided is in [`crate::calibration`]. A little long: the ways through the command, read in
//! order.

mod arguments;
pub(super) mod files;
pub(super) mod setup;
mod show;
pub(super) mod talk;

use std::path::Path;

use serde_json::json;

use super::{calendar, line};
use crate::bench::{BenchError, BenchLever};
use crate::calibration::bench::{Bench, SeatingReading};
use crate::calibration::facts::Facts;
use crate::calibration::procedure::{Procedure, Setup, Step};
use crate::calibration::record::{CALIBRATION_VERSION, CalibrationRecord, CalibrationResult};
use crate::calibration::{CalibrationError, Choices, evaluate};
use crate::cli::context::{Context, say, shell_quoted};
use crate::cli::exit::{CliError, Exit};
use crate::store::Contact;
use crate::survey::Calendar;
pub(super) use arguments::{CalibrateArguments, Names};
use talk::{Talk, Wish};

/// What must be said before a weight is hung (common sense, no source).
const CAUTIONS: &str = "\
Before you hang a weight:
  Weights fall: feet and fingers clear, nobody beneath, hang them low over the
  floor and secure each by a cord of its own. Clamp the square firmly; head
  fully on it, handle level and free. Never load the lever beyond 25 N·m. Put
  weights on and take them off without a jerk; still them with a finger, then
  keep clear.
Each step: do it, press Enter, wait until the reading stands still. Instead of
Enter: b goes back a point, s leaves the point out, q stops; what was read is
kept, and --resume goes on with it.
";

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
        look_at_seatings(context, arguments, arguments.lever, false)?;
        return from_file(context, arguments, path, seatings);
    }
    let mut store = context.open_store()?;
    let calendar = calendar(context);
    let asks = talk::somebody_is_there() && setup::given(arguments).is_none();
    if asks && !arguments.simulated && !arguments.resume {
        look_first(context, arguments, calendar)?;
    }
    let known = if arguments.resume { None } else { Some(setup::given_or_asked(arguments)?) };
    let mut talk = if arguments.simulated {
        let setup = known.clone().unwrap_or_else(setup::practice);
        Talk::simulated(&setup, arguments.seed, calendar, context.unit, context.json)?
    } else {
        Talk::at_port(line(arguments.port.as_ref())?, calendar, context.unit)?
    };
    let hello = *talk.lever.hello();
    look_at_seatings(context, arguments, Some(hello.device), talk.is_simulated())?;
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
    talk.know_zero(&procedure.bench().points);
    procedure.facts = setup::facts(arguments).or(&procedure.facts);
    // A date that has passed is said before anything is hung, not after.
    setup::due_ms(&procedure.facts, talk.now_ms())?;
    // Whoever hangs weights must read it; a simulated lever with --json has nobody.
    let hangs = procedure.next().is_some();
    if hangs && !(context.json && talk.is_simulated()) {
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
    let result = evaluated(context, &procedure.bench(), arguments, number)?;
    let made_ms = talk.now_ms();
    let source = Made { lever: hello.device, number, made_ms, simulated: procedure.simulated };
    let record = record(&procedure.facts, &source, procedure.bench(), result)?;
    if !arguments.dry_run {
        // On this disk first: a lever must not name what nobody holds.
        store.keep_calibration(&record)?;
        talk.lever.store(&record.result.constants, number).map_err(|error| kept(error, number))?;
    }
    let closed = talk.lever.close();
    if let Err(error) = closed {
        say(&format!("note: {error}"));
    }
    if !arguments.dry_run {
        files::forget(&path)?;
    }
    show::tell(context, &record, arguments.dry_run)
}

/// Before anybody is asked for anything: that the lever is there, and not half calibrated.
fn look_first(
    context: &Context,
    arguments: &CalibrateArguments,
    calendar: Calendar,
) -> Result<(), CliError> {
    let lever = BenchLever::open(line(arguments.port.as_ref())?, calendar)?;
    let path = files::progress_path(&context.data, lever.hello().device);
    // Whether it hears that this was all matters to nobody: it is opened again.
    let _ = lever.close();
    refuse_unfinished(&path, arguments)
}

/// Refuses seatings of another lever; says so where some are missing.
fn look_at_seatings(
    context: &Context,
    arguments: &CalibrateArguments,
    lever: Option<u64>,
    simulated: bool,
) -> Result<(), CliError> {
    let Some(path) = &arguments.seatings else { return Ok(()) };
    let lacking = files::look_at_seatings(path, lever, simulated)?;
    if let Some((done, all)) = lacking.filter(|_| !context.json) {
        let file = shell_quoted(&path.to_string_lossy());
        say(&format!(
            "note: {file} holds {done} of {all} readings; go on with: pinhold lever seatings {file}"
        ));
    }
    Ok(())
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
            match talk.ask("  a reads it again, Enter keeps it, s leaves it out, q stops")? {
                Wish::Again => continue,
                Wish::Stop => return Err(stopped(procedure)),
                // Only Enter keeps what is doubted.
                Wish::Skip => {
                    procedure.skip();
                    return Ok(());
                }
                Wish::Back => {
                    procedure.redo();
                    return Ok(());
                }
                Wish::Go => {}
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
    procedure.setup = setup::amended(arguments, procedure.setup);
    procedure.check().map_err(|error| {
        let sentence = format!(
            "{error} with the --masses and --arm typed now: give as many as before, in the same \
             order, or begin with --anew"
        );
        CliError::new(Exit::Usage, sentence)
    })?;
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
    facts: &Facts,
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
        due_ms: setup::due_ms(facts, made.made_ms)?,
        people: facts.people.clone(),
        place: facts.place.clone().unwrap_or_default(),
        relative_humidity: facts.relative_humidity,
        room_temperature_c: facts.room_temperature_c,
        remark: facts.remark.clone().unwrap_or_default(),
        simulated: made.simulated,
        bench,
        result,
    })
}

fn evaluated(
    context: &Context,
    bench: &Bench,
    arguments: &CalibrateArguments,
    number: u32,
) -> Result<CalibrationResult, CliError> {
    let choices = Choices { number, insist: arguments.insist };
    evaluate(bench, &choices).map_err(|error| {
        let hint = match (&error, &arguments.from) {
            (CalibrationError::Suspect { .. }, None) => {
                "\nNothing is kept on the lever; the readings are, on this disk. Was a mass or an \
                 arm typed wrong: --resume with all --masses or every --arm as they are. To take \
                 a series again: --resume --again POINT. If all is right: --resume --insist"
            }
            (CalibrationError::Suspect { .. }, Some(_)) => {
                "\nNothing was kept. If all is right, add --insist"
            }
            _ => "",
        };
        let told = match &error {
            CalibrationError::Suspect { found } => {
                let sentences = found.iter().map(|one| one.sentence(context.unit));
                sentences.collect::<Vec<_>>().join("\n")
            }
            _ => error.to_string(),
        };
        CliError::new(Exit::Refused, format!("{told}{hint}"))
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
    let typed = Setup { masses: bench.masses, positions: bench.positions, gravity: bench.gravity };
    let Setup { masses, positions, gravity } = setup::amended(arguments, typed);
    bench = Bench { masses, positions, gravity, ..bench };
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
    let result = evaluated(context, &bench, arguments, number)?;
    let made_ms = i64::try_from(context.now_us / 1000).unwrap_or(i64::MAX);
    let made = Made { lever, number, made_ms, simulated: false };
    let record = record(&setup::facts(arguments), &made, bench, result)?;
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
