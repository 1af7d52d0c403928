//! `pinhold climate`: the air an instrument stands in, as logged.
//!
//! Deliberately not here: what it means for a trend (`pinhold history`).

use std::path::PathBuf;

use clap::Args;
use serde_json::{Value, json};

use super::condition::{celsius, percent};
use super::context::{Context, say, shell_quoted};
use super::exit::{CliError, Exit};
use super::parsers::{date_parser, fact_parser, name_parser};
use crate::analysis::history::wood::{Air, equilibrium_moisture_percent};
use crate::import::climate::{moment_ms, parse};
use crate::import::read_file;
use crate::store::{NewClimate, StoredClimate};
use crate::text::printable;

/// Temperature taken where none was read, °C.
const ROOM_CELSIUS: f64 = 20.0;

/// Arguments of `pinhold climate`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Wood follows the air of the weeks before, not of the hour. Log relative humidity and temperature
where the instrument stands, or import a logger's file: CSV with the columns date (2026-01-31, or a
time such as 2026-01-31T08:00Z; without a zone it is UTC) and rh_percent, and perhaps temp_c and
source. `pinhold history` then tells which surveys were taken in like air. Of one moment one reading
counts: what is there already is not stored again.

Without an option the log is listed, with the moisture wood would tend to (Wood Handbook, equation
4-5; 20 °C where no temperature was read).

Examples:
  pinhold climate parlour --add 41 --celsius 20.5
  pinhold climate parlour --import logger.csv
  pinhold climate parlour
  pinhold climate parlour --remove 3 --reason 'typing error'")]
pub struct ClimateArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Log this relative humidity, percent
    #[arg(long, value_name = "PERCENT", value_parser = percent, group = "deed")]
    pub add: Option<f64>,
    /// With --add: the temperature
    #[arg(long, value_name = "DEGREES", value_parser = celsius, allow_negative_numbers = true)]
    #[arg(requires = "add")]
    pub celsius: Option<f64>,
    /// With --add: when it was read, a date, or date and time [default: now]
    #[arg(long, value_name = "DATE", value_parser = date_parser, requires = "add")]
    pub taken: Option<String>,
    /// With --add: what read it
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, requires = "add")]
    #[arg(default_value = "", hide_default_value = true)]
    pub source: String,
    /// Log every reading of a CSV file
    #[arg(long, value_name = "FILE.csv", group = "deed")]
    pub import: Option<PathBuf>,
    /// Withdraw the reading of this number: it stays in the store and counts no more
    #[arg(long, value_name = "N", group = "deed")]
    #[arg(value_parser = clap::value_parser!(i64).range(1..))]
    pub remove: Option<i64>,
    /// With --remove: why, for the record
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, requires = "remove")]
    #[arg(default_value = "", hide_default_value = true)]
    pub reason: String,
}

/// Runs the command.
///
/// # Errors
/// When the instrument or reading is not there, a file is no climate log, or the store fails.
pub fn run(context: &Context, arguments: &ClimateArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let id = store.find_instrument(&arguments.name)?.id;
    if let Some(number) = arguments.remove {
        store.withdraw_climate(id, number, &context.now, &arguments.reason)?;
        return told(context, "remove", 1, 0, || format!("climate reading {number} withdrawn\n"));
    }
    let readings = match (&arguments.add, &arguments.import) {
        (Some(humidity), _) => vec![typed(context, arguments, *humidity)?],
        (None, Some(path)) => {
            let bytes = read_file(path).map_err(|error| CliError::refused(path, &error))?;
            parse(&bytes).map_err(|error| {
                let path = printable(&path.to_string_lossy());
                CliError::new(Exit::Refused, format!("{path}: {error}"))
            })?
        }
        (None, None) => return list(context, &arguments.name, &store.climate_of(id)?),
    };
    let kept = store.keep_climate(id, &context.now, &readings)?;
    let known = readings.len() - kept;
    told(context, "add", kept, known, || {
        let known = match known {
            0 => String::new(),
            count => format!(", {count} of moments that have one already left out"),
        };
        let word = if kept == 1 { "reading" } else { "readings" };
        format!("{kept} climate {word} stored{known}\n")
    })
}

fn told(
    context: &Context,
    deed: &str,
    count: usize,
    known: usize,
    text: impl FnOnce() -> String,
) -> Result<(), CliError> {
    if !context.json {
        return context.print(&text());
    }
    context.print_document(&json!({
        "format": format!("pinhold.climate.{deed}"),
        "version": 1,
        "readings": count,
        "already_there": known,
    }))
}

fn typed(
    context: &Context,
    arguments: &ClimateArguments,
    humidity: f64,
) -> Result<NewClimate, CliError> {
    let taken = arguments.taken.clone().unwrap_or_else(|| context.now.clone());
    let taken_ms = moment_ms(&taken)
        .ok_or_else(|| CliError::new(Exit::Usage, "--taken: use a date such as 2024-11-03"))?;
    Ok(NewClimate {
        taken,
        taken_ms,
        humidity_permille: NewClimate::permille_of(humidity),
        temperature_centi_celsius: arguments.celsius.map(NewClimate::centi_of),
        source: arguments.source.clone(),
    })
}

/// Moisture wood would tend to in that air, percent; `None` outside what is tabled.
pub(super) fn moisture(new: &NewClimate) -> Option<f64> {
    let air = Air { celsius: new.celsius().unwrap_or(ROOM_CELSIUS), humidity: new.humidity() };
    equilibrium_moisture_percent(air).ok()
}

fn list(context: &Context, name: &str, readings: &[StoredClimate]) -> Result<(), CliError> {
    if context.json {
        let readings: Vec<Value> = readings.iter().map(value).collect();
        return context.print_document(&json!({
            "format": "pinhold.climate.list",
            "version": 1,
            "readings": readings,
        }));
    }
    if readings.is_empty() {
        let name = shell_quoted(name);
        say(&format!(
            "no air of {name} was logged yet; log it with 'pinhold climate {name} --add'"
        ));
        return Ok(());
    }
    context.print(&readings.iter().map(line).collect::<String>())
}

fn line(stored: &StoredClimate) -> String {
    let new = &stored.new;
    let celsius = new.celsius().map_or(String::new(), |celsius| format!(", {celsius:.1} °C"));
    let moisture =
        moisture(new).map_or(String::new(), |percent| format!(", wood tends to {percent:.1} %"));
    let source = match new.source.as_str() {
        "" => String::new(),
        source => format!("; {}", printable(source)),
    };
    format!(
        "{:>4}  {}  {:.1} %{celsius}{moisture}{source}\n",
        stored.number,
        printable(&new.taken),
        f64::from(new.humidity_permille) / 10.0,
    )
}

fn value(stored: &StoredClimate) -> Value {
    let new = &stored.new;
    json!({
        "number": stored.number,
        "taken": new.taken,
        "relative_humidity": new.humidity(),
        "celsius": new.celsius(),
        "wood_moisture_percent": moisture(new),
        "source": new.source,
    })
}
