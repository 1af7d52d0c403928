//! `pinhold import`: readings taken by hand, from a CSV file into the store; what an export wrote
//! goes to `exchange`.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::condition::ConditionArguments;
use super::context::{Context, shell_quoted};
use super::exchange;
use super::exit::{CliError, Exit};
use super::instrument::compass_text;
use super::parsers::{date_parser, kind_parser, name_parser};
use crate::analysis::input::Condition;
use crate::analysis::readings::MeasurementProfile;
use crate::import::field::{foreign_rows, make_instrument, placed};
use crate::import::hand::HandReading;
use crate::import::{HandRow, ImportError, parse_shown_in, read_file};
use crate::instrument::{Instrument, InstrumentKind};
use crate::report::torque;
use crate::store::{
    InstrumentFacts, NewInstrument, NewSurvey, Store, StoreError, SurveyId, SurveySource,
};
use crate::text::printable;
use crate::units::TorqueUnit;

/// Tries for a survey identity that no other process took in the same microsecond.
const UID_TRIES_MAX: u64 = 1000;

const LONG_HELP: &str = "\
What `pinhold export` wrote as a bundle or JSON document is known by its first bytes and imported
whole or not at all: records there are here already are not stored twice; where one differs, what is
here stays, the difference is named and the exit is 6. Files are read a record at a time.

In a CSV file the first line names the columns, each further line is one pin.

Required columns:
  note      1 (A0) to 88 (C8), or a name such as A4
  string    L, C, R, or D for a fourth string; L is the bass side, a single string is C
  at least one torque, with its unit _nm, _inlb or _kgfcm:
    sharp_  turning sharp, as the wrench reads
    flat_   turning flat; negative when the string drives the pin
    friction_  the pin's friction, where it is known already
    torque_  as the wrench read, and nobody wrote down which way: taken to be sharp, flat or
             friction, each as likely, so that its friction is known to about a string's moment
             (2 to 5 N·m) either way; a direction that makes friction negative is left out
  or sharp, flat, friction, torque (and u) without a unit, and in every cell one: 52 in-lb, 5.9 Nm,
  60 kgf-cm. A unit in a cell must not contradict the column's. in-lb is inch times pound-force.

Optional columns:
  kind      running (default), peak, or limit: a bare limit or one written >9 did not move the
            pin, one written <9 did
  state     pitch (default), slack or unstrung
  cents     pitch as found, from target
  u_nm      standard uncertainty of each torque (k = 1, half of a ± that is meant to hold 95 %);
            default: the hand-tool class
  pin_um    pin diameter in micrometres
  section   section between struts, 0 in the bass
  row       0 is the row nearest the plate flange
  x_mm      from the bass end towards the treble
  y_mm      away from the flange
  remark    free text

Cells are separated by commas, semicolons or tabs; where they are not commas, numbers may be
written with one. A faulty row refuses the whole file, and every fault is named. An apostrophe
before =, +, -, @ or another apostrophe is a spreadsheet's and not part of the cell.

Example:
  printf 'note,string,sharp_nm,flat_nm\\nA4,L,9.3,4.1\\n' > readings.csv
  pinhold import readings.csv --instrument parlour --create";

/// Arguments of `pinhold import`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = LONG_HELP)]
pub struct ImportArguments {
    /// The CSV file, or what `pinhold export` wrote: a bundle or a JSON document
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// The instrument a CSV file's readings belong to
    #[arg(long, value_name = "NAME", value_parser = name_parser)]
    pub instrument: Option<String>,
    /// Of a damaged bundle, import what is whole
    #[arg(long)]
    pub rest: bool,
    /// Make the instrument when it is unknown, compass and stringing taken from the file
    #[arg(long)]
    pub create: bool,
    /// Kind of an instrument made by --create: grand or upright
    #[arg(long, value_name = "KIND", value_parser = kind_parser, default_value = "grand")]
    pub kind: InstrumentKind,
    /// When the readings were taken: a date, or date and time [default: now]
    #[arg(long, value_name = "DATE", value_parser = date_parser)]
    pub taken: Option<String>,
    /// A note to the survey
    #[arg(long, value_name = "TEXT", default_value = "", hide_default_value = true)]
    pub notes: String,
    /// What is known beside torque.
    #[command(flatten)]
    pub condition: ConditionArguments,
}

/// What was stored, for telling.
struct Stored {
    instrument: Instrument,
    made: bool,
    filled_count: usize,
    reading_count: usize,
    uid: u64,
}

/// Runs the command.
///
/// # Errors
/// When the file is refused, the instrument is unknown, or the store fails; nothing is stored.
pub fn run(context: &Context, arguments: &ImportArguments) -> Result<(), CliError> {
    if let Some(form) = exchange::form_of(&arguments.file) {
        return exchange::import(context, &arguments.file, form, arguments.rest);
    }
    let Some(instrument) = &arguments.instrument else {
        let sentence = "--instrument NAME says whose readings a CSV file holds; a new instrument \
             is made with --create";
        return Err(CliError::new(Exit::Usage, sentence));
    };
    let refused = |error: ImportError| CliError::refused(&arguments.file, &error);
    // The file comes first: one that is refused leaves not even an empty store behind.
    let rows = read_file(&arguments.file)
        .and_then(|bytes| parse_shown_in(&bytes, context.unit))
        .map_err(refused)?;
    let mut store = context.open_store()?;
    let stored = match store.find_instrument(instrument) {
        Ok(record) => {
            let faults = foreign_rows(&record.instrument, &rows);
            if !faults.is_empty() {
                return Err(refused(ImportError::Rows { faults }));
            }
            let pins = placed(&record.instrument, &rows);
            let (uid, _) = with_free_uid(context, |uid| {
                let survey = new_survey(context, arguments, uid);
                store.import_readings(record.id, &survey, &pins, &readings_of(&rows))
            })?;
            let instrument = Instrument { pins, ..record.instrument };
            Stored { instrument, made: false, filled_count: 0, reading_count: rows.len(), uid }
        }
        Err(StoreError::NoSuchInstrument { .. }) if arguments.create => {
            create(context, (instrument, arguments), &mut store, &rows)?
        }
        Err(error @ StoreError::NoSuchInstrument { .. }) => {
            let sentence = format!("{error}; --create makes it from the file");
            return Err(CliError::new(Exit::NotThere, printable(&sentence)));
        }
        Err(error) => return Err(error.into()),
    };
    tell(context, &stored)
}

/// Makes the instrument of the file and stores it with its survey.
fn create(
    context: &Context,
    (name, arguments): (&str, &ImportArguments),
    store: &mut Store,
    rows: &[HandRow],
) -> Result<Stored, CliError> {
    // A file without rows was refused when it was parsed.
    let made = make_instrument(name, arguments.kind, rows)
        .ok_or_else(|| CliError::refused(&arguments.file, &ImportError::HeaderOnly))?;
    let new = NewInstrument {
        instrument: made.instrument,
        facts: InstrumentFacts::default(),
        created: context.now.clone(),
    };
    let (uid, _) = with_free_uid(context, |uid| {
        let survey = new_survey(context, arguments, uid);
        store.import_new_instrument(&new, &survey, &readings_of(rows))
    })?;
    Ok(Stored {
        instrument: new.instrument,
        made: true,
        filled_count: made.filled_count,
        reading_count: rows.len(),
        uid,
    })
}

/// Stores under the first identity that is free, starting from the clock.
pub(super) fn with_free_uid(
    context: &Context,
    mut store: impl FnMut(u64) -> Result<SurveyId, StoreError>,
) -> Result<(u64, SurveyId), StoreError> {
    let mut uid = context.now_us;
    loop {
        match store(uid) {
            Err(StoreError::SurveyExists { .. }) if uid < context.now_us + UID_TRIES_MAX => {
                uid += 1;
            }
            other => return other.map(|id| (uid, id)),
        }
    }
}

fn new_survey(context: &Context, arguments: &ImportArguments, uid: u64) -> NewSurvey {
    NewSurvey {
        uid,
        started: arguments.taken.clone().unwrap_or_else(|| context.now.clone()),
        source: SurveySource::Import,
        temperature_centi_celsius: arguments.condition.temperature_centi_celsius(),
        humidity_permille: arguments.condition.humidity_permille(),
        notes: arguments.notes.clone(),
        condition: arguments.condition.over(&Condition::default()),
    }
}

fn readings_of(rows: &[HandRow]) -> Vec<HandReading> {
    rows.iter().map(|row| row.reading.clone()).collect()
}

/// Says what was stored.
fn tell(context: &Context, stored: &Stored) -> Result<(), CliError> {
    let instrument = &stored.instrument;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.import",
            "version": 1,
            "instrument": instrument.name,
            "made": stored.made,
            "kind": instrument.kind.word(),
            "pin_count": instrument.pins.len(),
            "filled_in_pin_count": stored.filled_count,
            "reading_count": stored.reading_count,
            "survey": format!("{:016x}", stored.uid),
        }));
    }
    let name = printable(&instrument.name);
    let mut text = String::new();
    if stored.made {
        text.push_str(&format!(
            "Made {name}: {}, {}, {} pins.\n",
            instrument.kind,
            compass_text(instrument),
            instrument.pins.len()
        ));
        if stored.filled_count > 0 {
            text.push_str(&format!(
                "{} of them are not in the file and were filled in from their neighbours.\n",
                stored.filled_count
            ));
        }
    }
    let noun = if stored.reading_count == 1 { "reading" } else { "readings" };
    text.push_str(&format!("Stored {} {noun} of {name}.\n", stored.reading_count));
    text.push_str(&format!("Without u_nm a reading counts as {}.\n", hand_tool(context.unit)));
    text.push_str(&format!("Next: pinhold verdict {}\n", shell_quoted(&instrument.name)));
    context.print(&text)
}

/// The class a hand tool is in where nothing is said of it.
fn hand_tool(unit: TorqueUnit) -> String {
    let class = MeasurementProfile::default();
    let relative =
        libm::hypot(class.hand_scale_relative_u.value, class.hand_single_relative_u.value);
    format!(
        "hand tool, uncalibrated: standard uncertainty {:.0} % of the reading, at least {}",
        100.0 * relative,
        torque(class.hand_single_least_u_nm.value, unit)
    )
}
