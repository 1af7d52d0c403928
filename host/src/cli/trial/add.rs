//! `pinhold trial add`: a larger pin that was fitted.

use clap::Args;
use pinhold_protocol::record::Pin;
use serde_json::json;

use super::list::{line, trial_value};
use crate::analysis::gain::Trial;
use crate::analysis::input::{Estimate, StringState, TorqueKind};
use crate::analysis::readings::{MeasurementProfile, pin_readings};
use crate::cli::context::{Context, say, shell_quoted};
use crate::cli::exit::{CliError, Exit};
use crate::cli::parsers::{date_parser, fact_parser, name_parser, pin_parser, pin_size_parser};
use crate::import::hand::{HandReading, HandTorque};
use crate::instrument::{Instrument, pin_name};
use crate::store::{InstrumentRecord, NewTrial, Store, StoredTrial, TrialSource};
use crate::survey::taken::taken;
use crate::units::{TorqueUnit, parse_typed};

/// Largest step that can be a trial, micrometres: some seven sizes (ours).
const STEP_UM_MAX: u32 = 900;
/// Longest torque as typed, characters.
const TORQUE_LENGTH_MAX: usize = 80;

/// Arguments of `pinhold trial add`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Fit a few larger pins, in bad and in ordinary holes, before a whole order: a larger pin cannot be
undone, and neither can reaming. Read each before and after, at pitch, the same way. A torque is
what the wrench read going sharp, a stroke, and going flat, such as 70/10, or one of them as in
'sharp 70', or a friction known already, such as 40; in the unit of --unit unless it carries its
own. Left out, a torque is taken from the surveys: after from the latest that read the pin, before
from the one before it, or from the latest where only --after is given.

New fits relax: read the pin again after some weeks, and add that as a trial pin of its own once the
first is removed. Protect the eyes, keep the face out of the plane of the strings; support a grand's
plank before any pin is driven.

Examples:
  pinhold --unit inlb trial add parlour 40L --to '7.30 mm' --before 70/10 --after 105/45
  pinhold trial add parlour 52C --to 7390 --label 4/0 --reamed --after 9.1/3.5
  pinhold trial add parlour 12L --to '.291 in'")]
pub struct AddArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// The pin: note and string, such as 40L or A4L
    #[arg(value_name = "PIN", value_parser = pin_parser)]
    pub pin: Pin,
    /// Diameter fitted: micrometres, or such as "7.40 mm" or ".291 in"
    #[arg(long, value_name = "SIZE", value_parser = pin_size_parser)]
    pub to: u32,
    /// Diameter before [default: the one entered for the pin]
    #[arg(long, value_name = "SIZE", value_parser = pin_size_parser)]
    pub from: Option<u32>,
    /// The maker's label of the size, such as 4/0
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    #[arg(default_value = "", hide_default_value = true)]
    pub label: String,
    /// Torque before, SHARP/FLAT or a friction [default: from a survey]
    #[arg(long, value_name = "TORQUE", allow_hyphen_values = true)]
    pub before: Option<String>,
    /// Torque after, SHARP/FLAT or a friction [default: from a survey]
    #[arg(long, value_name = "TORQUE", allow_hyphen_values = true)]
    pub after: Option<String>,
    /// The hole was reamed first
    #[arg(long)]
    pub reamed: bool,
    /// When it was fitted [default: now]
    #[arg(long, value_name = "DATE", value_parser = date_parser)]
    pub fitted: Option<String>,
    /// Anything worth knowing: a bad hole or an ordinary one, how it felt
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    #[arg(default_value = "", hide_default_value = true)]
    pub remark: String,
}

/// Runs the command.
///
/// # Errors
/// When the pin is not there, the size is no larger one, a torque is none or missing, or the store
/// fails.
pub(super) fn run(context: &Context, arguments: &AddArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    let from_um = fitted_before(&record.instrument, arguments)?;
    let (before, before_nm, after, after_nm) = readings(context, &store, &record, arguments)?;
    let trial = Trial {
        pin: arguments.pin,
        from_um,
        to_um: arguments.to,
        reamed: arguments.reamed,
        before_nm,
        after_nm,
    };
    let new = NewTrial {
        trial,
        entered: context.now.clone(),
        fitted: arguments.fitted.clone().unwrap_or_else(|| context.now.clone()),
        label: arguments.label.clone(),
        before,
        after,
        remark: arguments.remark.clone(),
    };
    let id = store.keep_trial(record.id, &new)?;
    let stored = StoredTrial { id, new, withdrawn: None };
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.trial.add",
            "version": 1,
            "trial": trial_value(&stored),
        }));
    }
    context.print(&line(&stored, context.unit))?;
    let name = shell_quoted(&arguments.name);
    say(&format!("what it teaches: pinhold trial advice {name}"));
    say(&format!(
        "where it stays in: pinhold instrument pin {name} {} --diameter {}",
        pin_name(arguments.pin).replace(" ", ""),
        arguments.to
    ));
    Ok(())
}

/// The diameter before, checked against the one fitted.
fn fitted_before(instrument: &Instrument, arguments: &AddArguments) -> Result<u32, CliError> {
    let pin = arguments.pin;
    let Some(field) = instrument.find_pin(pin) else {
        let sentence = format!("the instrument has no pin {}", pin_name(pin));
        return Err(CliError::new(Exit::NotThere, sentence));
    };
    let Some(from_um) = arguments.from.or(field.diameter_um) else {
        let sentence = format!(
            "nobody entered the diameter of {}; give the one before with --from SIZE",
            pin_name(pin)
        );
        return Err(CliError::new(Exit::Usage, sentence));
    };
    let to_um = arguments.to;
    if to_um <= from_um {
        let sentence = format!(
            "{} is not larger than the {} before; give the two with --from and --to",
            crate::report::diameter(to_um),
            crate::report::diameter(from_um)
        );
        return Err(CliError::new(Exit::Refused, sentence));
    }
    if to_um - from_um > STEP_UM_MAX {
        let sentence = format!(
            "{} is {:.2} mm more than before; no trial pin is {:.1} mm larger at once",
            crate::report::diameter(to_um),
            f64::from(to_um - from_um) / 1000.0,
            f64::from(STEP_UM_MAX) / 1000.0
        );
        return Err(CliError::new(Exit::Refused, sentence));
    }
    Ok(from_um)
}

/// Where both frictions come from, and what they are.
fn readings(
    context: &Context,
    store: &Store,
    record: &InstrumentRecord,
    arguments: &AddArguments,
) -> Result<(TrialSource, Estimate, TrialSource, Estimate), CliError> {
    let typed = |text: &Option<String>, option: &str, pin_um: Option<u32>| {
        let Some(text) = text else { return Ok(None) };
        friction_typed(text, &record.instrument, arguments.pin, pin_um, context.unit)
            .map(|friction| Some((TrialSource::Typed(text.trim().to_owned()), friction)))
            .map_err(|sentence| CliError::new(Exit::Usage, format!("{option}: {sentence}")))
    };
    let after = typed(&arguments.after, "--after", Some(arguments.to))?;
    let before = typed(&arguments.before, "--before", arguments.from)?;
    let mut surveyed = match (&before, &after) {
        (Some(_), Some(_)) => Vec::new(),
        _ => surveyed(store, record, arguments.pin)?,
    }
    .into_iter();
    let mut next = |option: &str| {
        surveyed.next().ok_or_else(|| {
            let sentence = format!(
                "no survey has a friction of {} to take for it; give {option} TORQUE",
                pin_name(arguments.pin)
            );
            CliError::new(Exit::NotThere, sentence)
        })
    };
    let (after, after_nm) = match after {
        Some(typed) => typed,
        None => next("--after")?,
    };
    let (before, before_nm) = match before {
        Some(typed) => typed,
        None => next("--before")?,
    };
    Ok((before, before_nm, after, after_nm))
}

/// Frictions of a pin at its string's pull, the latest survey first.
fn surveyed(
    store: &Store,
    record: &InstrumentRecord,
    pin: Pin,
) -> Result<Vec<(TrialSource, Estimate)>, CliError> {
    let mut found = Vec::new();
    for survey in store.surveys_of(record.id)?.into_iter().rev() {
        let taken = taken(store, &record.instrument, &survey)?;
        let reading = taken.readings.into_iter().find(|reading| {
            let comparable = reading.state != StringState::Unstrung;
            reading.pin == pin && comparable && !reading.friction_is_lower_limit
        });
        if let Some(friction) = reading.and_then(|reading| reading.friction_nm) {
            found.push((TrialSource::Survey(survey.id), friction));
        }
        // After and before: nobody asks for more.
        if found.len() == 2 {
            break;
        }
    }
    Ok(found)
}

/// Friction of a torque as typed, with the uncertainty a hand reading of its kind gets.
fn friction_typed(
    text: &str,
    instrument: &Instrument,
    pin: Pin,
    pin_um: Option<u32>,
    unit: TorqueUnit,
) -> Result<Estimate, String> {
    let mut reading = HandReading {
        pin,
        source_line: 1,
        kind: TorqueKind::Running,
        limit_side: None,
        state: StringState::AtPitch,
        sharp: None,
        flat: None,
        friction: None,
        torque: None,
        u: None,
        cents_milli: None,
        pin_um,
        remark: String::new(),
    };
    let text = text.trim();
    if text.chars().count() > TORQUE_LENGTH_MAX || crate::text::printable(text) != text {
        return Err("that is no torque; write it as in 70/10, 'sharp 70' or 40".to_owned());
    }
    if let Some((sharp, flat)) = text.split_once('/') {
        // The unit behind the second is the first's as well.
        let of_flat = parse_typed::<TorqueUnit>(flat).map_err(|error| error.to_string())?;
        reading.sharp = Some(torque(sharp, of_flat.unit.unwrap_or(unit))?);
        reading.flat = Some(torque(flat, unit)?);
    } else if let Some(sharp) = text.strip_prefix("sharp ") {
        reading.sharp = Some(torque(sharp, unit)?);
    } else if let Some(flat) = text.strip_prefix("flat ") {
        reading.flat = Some(torque(flat, unit)?);
    } else {
        reading.friction = Some(torque(text, unit)?);
    }
    let profile = MeasurementProfile::default();
    let read = pin_readings(instrument, &[], &[reading], None, &profile);
    read.first()
        .and_then(|reading| reading.friction_nm)
        .filter(|friction| friction.value >= 0.0)
        .ok_or_else(|| format!("'{text}' comes to no friction; write SHARP/FLAT, sharp first"))
}

fn torque(text: &str, bare: TorqueUnit) -> Result<HandTorque, String> {
    let typed = parse_typed::<TorqueUnit>(text).map_err(|error| error.to_string())?;
    HandTorque::parse(&typed.number_text, typed.unit.unwrap_or(bare))
        .ok_or_else(|| "that torque is beyond any pin".to_owned())
}
