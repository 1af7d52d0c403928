//! Every instrument of the store: which are due for a check, and which fall fastest.

use serde_json::{Value, json};

use super::{History, YEAR_MS, years_of};
use crate::analysis::history::trend::Measure;
use crate::cli::context::{Context, say, shell_quoted};
use crate::cli::exit::CliError;
use crate::cli::surveys::{all, ms_of};
use crate::units::TorqueUnit;

/// Days in a month, on average.
const MONTH_DAYS: f64 = 30.4375;

/// An instrument watched.
struct Watched {
    name: String,
    /// Day of the latest survey with a reading.
    latest: Option<String>,
    /// Months since.
    months: Option<f64>,
    is_due: bool,
    slope_nm: Option<f64>,
    interval_nm: Option<(f64, f64)>,
    falls: bool,
}

/// Runs the watch list.
///
/// # Errors
/// When the store fails.
pub(super) fn run(context: &Context, due_months: u16) -> Result<(), CliError> {
    let mut watched = all_watched(context, due_months)?;
    // What clearly falls first, the fastest of it at the top; then what was not seen for longest.
    watched.sort_by(|one, other| {
        let fall = |entry: &Watched| if entry.falls { entry.slope_nm.unwrap_or(0.0) } else { 0.0 };
        let unseen = |entry: &Watched| entry.months.unwrap_or(f64::INFINITY);
        fall(one)
            .total_cmp(&fall(other))
            .then(unseen(other).total_cmp(&unseen(one)))
            .then(one.name.cmp(&other.name))
    });
    if context.json {
        let instruments: Vec<Value> = watched.iter().map(value).collect();
        return context.print_document(&json!({
            "format": "pinhold.history.watch",
            "version": 1,
            "due_months": due_months,
            "instruments": instruments,
        }));
    }
    watched.retain(|entry| entry.is_due || entry.falls);
    if watched.is_empty() {
        say(&format!("no instrument falls clearly, and none is due after {due_months} months"));
        return Ok(());
    }
    let text: String = watched.iter().map(|entry| line(entry, context.unit)).collect();
    context.print(&text)
}

fn all_watched(context: &Context, due_months: u16) -> Result<Vec<Watched>, CliError> {
    let store = context.open_store()?;
    let mut watched = Vec::new();
    for record in store.list_instruments()? {
        let surveys = all(&store, &record)?;
        let latest_ms = surveys.iter().filter_map(|survey| ms_of(&survey.survey.started)).max();
        let months =
            latest_ms.map(|ms| (context.now_ms() - ms) as f64 / YEAR_MS * 365.25 / MONTH_DAYS);
        let (repairs, climate) = (store.repairs_of(record.id)?, store.climate_of(record.id)?);
        let history = History {
            instrument: &record.instrument,
            surveys: &surveys,
            repairs: &repairs,
            climate: &climate,
            limit_nm: context.profile.doubtful_nm.value,
            now_years: years_of(context.now_ms()),
        };
        let pins: Vec<_> = record.instrument.pins.iter().map(|field| field.pin).collect();
        let group = history.group(String::new(), &pins, Measure::Median);
        watched.push(Watched {
            latest: surveys.last().map(super::super::surveys::Numbered::date),
            is_due: months.is_none_or(|months| months >= f64::from(due_months)),
            months,
            slope_nm: group.as_ref().and_then(|group| group.trend.slope_nm),
            interval_nm: group.as_ref().and_then(|group| group.trend.interval_nm),
            falls: group.is_some_and(|group| group.trend.falls()),
            name: record.instrument.name,
        });
    }
    Ok(watched)
}

fn line(entry: &Watched, unit: TorqueUnit) -> String {
    let seen = match (&entry.latest, entry.months) {
        (Some(latest), Some(months)) => format!("last read {latest}, {months:.0} months ago"),
        (Some(latest), None) => format!("last read {latest}"),
        (None, _) => "never read".to_owned(),
    };
    let fall = match (entry.falls, entry.slope_nm, entry.interval_nm) {
        (true, Some(slope), Some(interval)) => {
            format!(
                "; falls {} a year",
                super::told::rate(-slope, (-interval.1, -interval.0), unit)
            )
        }
        _ => String::new(),
    };
    let due = if entry.is_due { "due: " } else { "" };
    format!("{due}{}: {seen}{fall}\n", shell_quoted(&entry.name))
}

fn value(entry: &Watched) -> Value {
    json!({
        "name": entry.name,
        "latest": entry.latest,
        "months": entry.months,
        "is_due": entry.is_due,
        "slope_nm_per_year": entry.slope_nm,
        "slope_interval_nm_per_year": entry.interval_nm,
        "falls_clearly": entry.falls,
    })
}
