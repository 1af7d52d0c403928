//! `pinhold lever check`: a zero, one weight, a zero again, against the calibration.

use clap::Args;
use pinhold_protocol::message::Hello;
use pinhold_protocol::record::Direction;
use serde_json::json;

use super::calibrate::talk::{SIMULATED_LEVER, Talk, Wish};
use super::check_words::{after, text};
use super::history::check_value;
use super::typed::{
    arm_parser, gravity_at, gravity_parser, height_parser, latitude_parser, mass_parser,
};
use super::{calendar, line};
use crate::bench::Settled;
use crate::calibration::bench::{Bench, BenchPoint, Gravity, HandPosition, Leg, Mass, Setting};
use crate::calibration::check::{CHECK_VERSION, CheckError, CheckRecord, across, evaluate};
use crate::calibration::diagnose::LOAD_MAX_NM;
use crate::calibration::procedure::{Setup, Step};
use crate::calibration::record::CalibrationRecord;
use crate::cli::context::{Context, say};
use crate::cli::exit::{CliError, Exit};
use crate::store::{Contact, Store};
use crate::survey::Calendar;
use crate::text::printable;

/// What must be said before a weight is hung (common sense, no source).
const CAUTIONS: &str = "\
Before you hang a weight:
  Clamp the square firmly; head fully on it, handle level and free. Hang the
  weight by a cord that holds ten times as much, low over the floor; feet and
  fingers clear of where it may fall. Never load the lever beyond 25 N·m. Still
  the weight with a finger, then keep clear of it.
";

/// Arguments of `pinhold lever check`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
A quick check before a survey: the lever on a fixed square, a zero, one known weight, a zero again.
It passes when the lever reads the weight within 1 % (or within what its calibration claims, if that
is wider), beyond the doubt of weight and reading. A failed check marks every reading since the last
one that passed. Mass and arm are those of the calibration unless given; what stands behind ± is the
most they may be off. Each step waits for Enter, then until the reading stands still.

Ends with exit code 8 when the check does not pass.

Examples:
  pinhold lever check
  pinhold lever check --simulated
  pinhold lever check --mass '2 kg ± 1 g' --arm '250 mm ± 0.5 mm'")]
pub(super) struct CheckArguments {
    /// Port the lever is on [default: the only likely one]
    #[arg(long, value_name = "PORT")]
    pub port: Option<String>,
    /// The weight [default: the heaviest fit one of the calibration]
    #[arg(long, value_name = "MASS", value_parser = mass_parser)]
    pub mass: Option<Mass>,
    /// Its distance from the axis of the pin [default: an arm of the calibration]
    #[arg(long, value_name = "ARM", value_parser = arm_parser)]
    pub arm: Option<HandPosition>,
    /// Local gravity, m/s² [default: that of the calibration]
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
    /// Practise on the simulated lever, as 'pinhold lever calibrate --simulated' left it
    #[arg(long, conflicts_with_all = ["port", "mass", "arm", "gravity", "latitude", "height"])]
    pub simulated: bool,
    /// Seed of the simulated lever, that of its calibration
    #[arg(long, value_name = "SEED", default_value_t = 1, requires = "simulated")]
    pub seed: u64,
    /// Mass and arm are right, however far off the lever reads
    #[arg(long)]
    pub typed_is_right: bool,
}

/// Runs the command.
///
/// # Errors
/// When no lever answers, it has no calibration here, what was read is no check, the check does not
/// pass, or the store fails.
pub(super) fn run(context: &Context, arguments: &CheckArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let calendar = calendar(context);
    let mut talk = if arguments.simulated {
        simulated(context, &store, arguments, calendar)?
    } else {
        Talk::at_port(line(arguments.port.as_ref())?, calendar, context.unit)?
    };
    let hello = *talk.lever.hello();
    note_met(&mut store, &hello, calendar)?;
    let calibration = calibration_of(&store, &hello)?;
    let weight = Weight::chosen(&calibration, arguments)?;
    if !arguments.simulated {
        say(CAUTIONS);
    }
    let bench = take(&mut talk, &weight)?;
    // The simulated lever's clock may have run ahead while it was calibrated.
    let made_ms = talk.now_ms().max(calibration.made_ms);
    // What was read counts, whether or not the lever hears that it is over.
    let closed = talk.lever.close();
    let result = evaluate(&calibration, &bench, arguments.typed_is_right).map_err(refused)?;
    let record = CheckRecord {
        version: CHECK_VERSION,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        lever: hello.device,
        calibration: calibration.number,
        made_ms,
        simulated: calibration.simulated,
        bench,
        result,
    };
    let last_pass_ms = last_pass_ms(&store, &record)?;
    store.keep_check(&record)?;
    if let Err(error) = closed {
        say(&format!("note: {error}"));
    }
    tell(context, &record, last_pass_ms)
}

/// The simulated lever as it was calibrated last, with the weights of that bench.
fn simulated(
    context: &Context,
    store: &Store,
    arguments: &CheckArguments,
    calendar: Calendar,
) -> Result<Talk<'static>, CliError> {
    let Some(kept) = store.latest_calibration(SIMULATED_LEVER)? else {
        let sentence = "the simulated lever is not calibrated yet; do that first: pinhold lever \
                        calibrate --simulated";
        return Err(CliError::new(Exit::NotThere, sentence));
    };
    let setup = Setup {
        masses: kept.bench.masses,
        positions: kept.bench.positions,
        gravity: kept.bench.gravity,
    };
    let quiet = context.json;
    let mut talk = Talk::simulated(&setup, arguments.seed, calendar, context.unit, quiet)?;
    // It is made anew each time, so what it had learnt is told it first.
    talk.lever.store(&kept.result.constants, kept.number)?;
    Ok(talk)
}

/// Prints the check; one that did not pass ends as an error.
fn tell(
    context: &Context,
    record: &CheckRecord,
    last_pass_ms: Option<i64>,
) -> Result<(), CliError> {
    if context.json {
        let mut document = check_value(record);
        document["format"] = json!("pinhold.lever.check");
        document["version"] = json!(1);
        document["lever"] = json!(format!("{:016x}", record.lever));
        context.print_document(&document)?;
    } else {
        context.print(&text(record, context.unit))?;
    }
    match after(record, last_pass_ms) {
        None => Ok(()),
        Some(sentence) => Err(CliError::new(Exit::CheckFailed, sentence)),
    }
}

fn note_met(store: &mut Store, hello: &Hello, calendar: Calendar) -> Result<(), CliError> {
    let seen = calendar.now_text();
    let contact = Contact { hello, seen: &seen, calendar_ms: calendar.now_ms() };
    Ok(store.note_lever(&contact)?)
}

/// The calibration the lever names.
fn calibration_of(store: &Store, hello: &Hello) -> Result<CalibrationRecord, CliError> {
    let (device, number) = (hello.device, hello.calibration);
    if number == 0 {
        let sentence = format!(
            "lever {device:016x} is not calibrated, so there is nothing to check it against; \
             calibrate it with 'pinhold lever calibrate'"
        );
        return Err(CliError::new(Exit::NotThere, sentence));
    }
    store.calibration(device, number)?.ok_or_else(|| {
        let sentence = format!(
            "calibration {number} of lever {device:016x} is not in this store; use the store it \
             was calibrated with (--data), or calibrate it here with 'pinhold lever calibrate'"
        );
        CliError::new(Exit::NotThere, sentence)
    })
}

/// When the last check of that calibration passed, else when it was made.
fn last_pass_ms(store: &Store, record: &CheckRecord) -> Result<Option<i64>, CliError> {
    let checks = store.checks_of(record.lever)?;
    let passed = checks
        .iter()
        .rev()
        .find(|check| check.calibration == record.calibration && check.passed())
        .map(|check| check.made_ms);
    let made = store.calibration(record.lever, record.calibration)?.map(|kept| kept.made_ms);
    Ok(passed.or(made))
}

fn refused(error: CheckError) -> CliError {
    let more = match error {
        CheckError::Mistyped { .. } | CheckError::WrongWay { .. } => {
            "; nothing was stored. If both are right, add --typed-is-right: then it is the lever"
        }
        _ => "; nothing was stored",
    };
    CliError::new(Exit::Refused, format!("{error}{more}"))
}

/// What is hung where.
struct Weight {
    mass: Mass,
    position: HandPosition,
    gravity: Gravity,
    /// Their places among those of the calibration, where they are from there.
    place: (usize, usize),
}

impl Weight {
    /// As typed, else the heaviest the calibration had that the lever may carry.
    fn chosen(
        calibration: &CalibrationRecord,
        arguments: &CheckArguments,
    ) -> Result<Weight, CliError> {
        let known = &calibration.bench;
        let gravity = match (arguments.gravity, arguments.latitude, arguments.height) {
            (Some(gravity), _, _) => gravity,
            (None, Some(latitude_deg), Some(height_m)) => gravity_at(latitude_deg, height_m),
            _ => known.gravity,
        };
        let masses = arguments.mass.as_ref().map_or(&known.masses[..], std::slice::from_ref);
        let arms = arguments.arm.as_ref().map_or(&known.positions[..], std::slice::from_ref);
        let load_nm = |mass: &Mass, arm: &HandPosition| {
            mass.mass_kg.value * arm.arm_m.value * gravity.value_m_s2.value
        };
        let arms_of = |mass: usize| (0..arms.len()).map(move |arm| (mass, arm));
        let load_at = |place: &(usize, usize)| load_nm(&masses[place.0], &arms[place.1]);
        let every = (0..masses.len()).flat_map(arms_of);
        let fit = every.filter(|place| load_at(place) <= LOAD_MAX_NM);
        let Some(place) = fit.max_by(|a, b| load_at(a).total_cmp(&load_at(b))) else {
            let sentence = format!(
                "that weight at that arm is beyond the {LOAD_MAX_NM:.0} N·m a lever may be loaded \
                 with; hang less with --mass, and check the units"
            );
            return Err(CliError::new(Exit::Usage, sentence));
        };
        let (mass, position) = (masses[place.0].clone(), arms[place.1].clone());
        Ok(Weight { mass, position, gravity, place })
    }

    /// What a simulated bench is asked for.
    fn step(&self, loaded: bool) -> Step {
        let (mass, position) = self.place;
        let (leg, masses) = if loaded { (Leg::Up, vec![mass]) } else { (Leg::Down, vec![]) };
        let setting = Setting::Loaded { position, direction: Direction::Sharp, leg, masses };
        let load_nm = self.mass.mass_kg.value
            * self.position.arm_m.value
            * self.gravity.value_m_s2.value
            * f64::from(u8::from(loaded));
        Step { setting, side: Direction::Sharp, load_nm }
    }

    fn words(&self) -> String {
        format!(
            "{} at {} ({:.4} kg, {:.1} mm from the axis of the pin)",
            printable(&self.mass.name),
            printable(&self.position.name),
            self.mass.mass_kg.value,
            1e3 * self.position.arm_m.value
        )
    }
}

/// Reads zero, weight and zero.
fn take(talk: &mut Talk<'_>, weight: &Weight) -> Result<Bench, CliError> {
    let mut points = Vec::new();
    let tasks = [
        ("1 of 3: the lever on the square, nothing on the handle".to_owned(), false),
        (format!("2 of 3: hang {}", weight.words()), true),
        ("3 of 3: take the weight off again".to_owned(), false),
    ];
    for (task, loaded) in tasks {
        let wish = talk.ask(&format!("{task}; then press Enter, q stops"))?;
        if !matches!(wish, Wish::Go | Wish::Again) {
            return Err(stopped());
        }
        let settled = talk.settled(&weight.step(loaded))?;
        let point = point(settled, loaded, talk.now_ms());
        across(&point).map_err(refused)?;
        points.push(point);
    }
    Ok(Bench {
        masses: vec![weight.mass.clone()],
        positions: vec![weight.position.clone()],
        gravity: weight.gravity,
        points,
        seatings: vec![],
    })
}

fn stopped() -> CliError {
    let sentence = "the check was ended before it was done; nothing was stored. Run it again where \
                    somebody can press Enter";
    CliError::new(Exit::InputOutput, sentence)
}

/// A point as it is kept: the one mass at the one position, the way the handle points.
fn point(settled: Settled, loaded: bool, at_ms: i64) -> BenchPoint {
    let is_sharp = settled.force_g[1] > 0.0;
    let direction = if is_sharp { Direction::Sharp } else { Direction::Flat };
    let (leg, masses) = if loaded { (Leg::Up, vec![0]) } else { (Leg::Down, vec![]) };
    BenchPoint {
        setting: Setting::Loaded { position: 0, direction, leg, masses },
        mean_code: settled.mean_code,
        code_sd: settled.code_sd,
        sample_count: settled.sample_count,
        force_g: settled.force_g,
        temperature_c: settled.temperature_c,
        at_ms,
    }
}
