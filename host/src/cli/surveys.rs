//! Surveys of an instrument as commands name and load them.
//!
//! Deliberately not here: what any of them says.

use super::context::{Context, day_of, shell_quoted};
use super::exit::{CliError, Exit};
use crate::analysis::input::PinReading;
use crate::lever_reads::uses_of;
use crate::report::comparison::Side;
use crate::store::{InstrumentRecord, Store, Survey, SurveySource};
use crate::survey::taken::taken;
use crate::text::printable;

/// A survey with readings, as it counts among the instrument's.
#[derive(Clone, Debug)]
pub(super) struct Numbered {
    /// From 1, the oldest.
    pub(super) number: usize,
    /// The survey.
    pub(super) survey: Survey,
    /// What each pin says.
    pub(super) readings: Vec<PinReading>,
    /// Relative humidity, 0–1: of the last weeks where that was told, else of the hour.
    pub(super) humidity: Option<f64>,
    /// Levers and calibrations, each once; empty for a hand tool.
    pub(super) tools: Vec<(u64, u32)>,
}

impl Numbered {
    /// Day it began.
    pub(super) fn date(&self) -> String {
        day_of(&self.survey.started).to_owned()
    }

    /// As it is told.
    pub(super) fn side(&self) -> Side {
        Side { number: self.number, date: self.date(), humidity: self.humidity }
    }
}

/// Whether one lever with one calibration took all these surveys.
pub(super) fn one_tool(surveys: &[&Numbered]) -> bool {
    let Some(first) = surveys.first() else { return false };
    let is_lever = |survey: &&&Numbered| survey.survey.source != SurveySource::Import;
    first.tools.len() == 1
        && surveys.iter().all(|survey| survey.tools == first.tools)
        && surveys.iter().filter(is_lever).count() == surveys.len()
}

/// All surveys of an instrument with a reading, oldest first.
///
/// # Errors
/// When the store fails.
pub(super) fn all(store: &Store, record: &InstrumentRecord) -> Result<Vec<Numbered>, CliError> {
    let mut surveys = Vec::new();
    for survey in store.surveys_of(record.id)? {
        let taken = taken(store, &record.instrument, &survey)?;
        if taken.readings.is_empty() {
            continue;
        }
        let of_hour = survey.humidity_permille.map(|permille| f64::from(permille) / 1000.0);
        let mut tools: Vec<(u64, u32)> = uses_of(store, &taken.stored.lever)?
            .iter()
            .map(|used| (used.device, used.calibration))
            .collect();
        tools.sort_unstable();
        tools.dedup();
        surveys.push(Numbered {
            number: surveys.len() + 1,
            humidity: taken.condition.relative_humidity.or(of_hour),
            readings: taken.readings,
            tools,
            survey,
        });
    }
    Ok(surveys)
}

/// The survey meant by a number as listed, or by the beginning of its date.
///
/// # Errors
/// When none or several are meant.
pub(super) fn named<'a>(
    surveys: &'a [Numbered],
    word: &str,
    option: &str,
    name: &str,
) -> Result<&'a Numbered, CliError> {
    let by_number = word.parse::<usize>().ok().filter(|_| word.len() < 4);
    let found: Vec<&Numbered> = surveys
        .iter()
        .filter(|survey| match by_number {
            Some(number) => survey.number == number,
            None => survey.survey.started.starts_with(word),
        })
        .collect();
    match found.as_slice() {
        [one] => Ok(one),
        [] => Err(CliError::new(
            Exit::NotThere,
            format!(
                "{option}: {} has no survey {}; it has {}",
                shell_quoted(name),
                printable(word),
                listed(surveys)
            ),
        )),
        several => Err(CliError::new(
            Exit::Usage,
            format!(
                "{option}: {} surveys began on {}; name one by its number: {}",
                several.len(),
                printable(word),
                listed(surveys)
            ),
        )),
    }
}

/// Numbers and days, such as "1 (2024-03-01), 2 (2025-03-02)".
fn listed(surveys: &[Numbered]) -> String {
    let words: Vec<String> =
        surveys.iter().map(|survey| format!("{} ({})", survey.number, survey.date())).collect();
    if words.is_empty() { "none".to_owned() } else { printable(&words.join(", ")) }
}

/// Milliseconds since 1970 of a day or moment; `None` when it is neither.
pub(super) fn ms_of(text: &str) -> Option<i64> {
    let moment = text.parse::<jiff::Timestamp>().ok();
    let day = || format!("{}T00:00:00Z", text.parse::<jiff::civil::Date>().ok()?).parse().ok();
    moment.or_else(day).map(jiff::Timestamp::as_millisecond)
}

/// Milliseconds in a day.
pub(super) const DAY_MS: i64 = 86_400_000;

/// The instrument and its surveys, at least so many.
///
/// # Errors
/// When the instrument is not there, or has too few surveys.
pub(super) fn of_instrument(
    context: &Context,
    name: &str,
    needed: usize,
) -> Result<(Store, InstrumentRecord, Vec<Numbered>), CliError> {
    let store = context.open_store()?;
    let record = store.find_instrument(name)?;
    let surveys = all(&store, &record)?;
    if surveys.len() < needed {
        let name = shell_quoted(name);
        let sentence = match (surveys.len(), needed) {
            (0, 1) => format!(
                "no pin of {name} has been read yet; take a survey with `pinhold survey {name}`, \
                 or `pinhold import FILE.csv --instrument {name}`"
            ),
            (found, _) => format!(
                "{name} has {found} of the {needed} surveys with readings this needs; take the \
                 next with `pinhold survey {name}`, or `pinhold import FILE.csv --instrument \
                 {name}`"
            ),
        };
        return Err(CliError::new(Exit::NotThere, sentence));
    }
    Ok((store, record, surveys))
}
