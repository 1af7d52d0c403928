//! What every command is given: settings as meant, the clock's one reading, the way to print,
//! and the way from an instrument's name to its readings.

use std::ffi::OsStr;
use std::io::{ErrorKind, IsTerminal, Write};
use std::path::PathBuf;

use etcetera::BaseStrategy;
use serde_json::Value;

use super::exit::{CliError, Exit};
use super::{GlobalArguments, profile, retune};
use crate::analysis::Profile;
use crate::analysis::input::{Condition, PinReading};
use crate::analysis::readings::Drift;
use crate::condition::ConditionRecord;
use crate::instrument::pitch_cost::PitchCost;
use crate::lever_reads::{LeverUse, uses_of};
use crate::report;
use crate::store::{Finding, InstrumentRecord, Store, Survey};
use crate::survey::taken::{Taken, taken};
use crate::units::TorqueUnit;

/// Name of the folder within the platform's data folder.
const FOLDER_NAME: &str = "pinhold";

/// Environment variable with the user's unit of torque.
pub const UNIT_VARIABLE: &str = "PINHOLD_UNIT";

/// Settings of one run.
#[derive(Clone, Debug)]
pub struct Context {
    /// Folder of the store.
    pub data: PathBuf,
    /// Whether the user named that folder.
    pub data_was_named: bool,
    /// Unit torque is shown in.
    pub unit: TorqueUnit,
    /// Thresholds everything is judged by.
    pub profile: Profile,
    /// One JSON document instead of text.
    pub json: bool,
    /// Whether standard output may be coloured.
    pub color: bool,
    /// When the program was started, ISO 8601 in UTC.
    pub now: String,
    /// The same in microseconds since 1970: the seed of a survey's identity.
    pub now_us: u64,
}

/// An instrument with its latest survey, ready for the analysis.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded {
    /// The instrument.
    pub record: InstrumentRecord,
    /// Its latest survey.
    pub survey: Survey,
    /// What the survey's pins say.
    pub readings: Vec<PinReading>,
    /// Readings of the survey that stand under another pin or survey than they were taken under.
    pub corrected_count: usize,
    /// What reading did to the tuning, of every pin a lever read.
    pub pitch_costs: Vec<PitchCost>,
    /// What is known beside torque; mean pitch taken from the readings where nobody gave it.
    pub condition: Condition,
    /// Everything recorded beside torque.
    pub recorded: ConditionRecord,
    /// Thresholds it is judged by.
    pub profile: Profile,
    /// Levers and calibrations its readings were taken with.
    pub lever_uses: Vec<LeverUse>,
    /// What pins read more than once say of the lever's drift.
    pub drift: Option<Drift>,
}

impl Context {
    /// From the arguments as typed, the environment and the clock.
    ///
    /// # Errors
    /// When no folder is given and the platform names none, or the environment names a unit there
    /// is not.
    pub fn new(arguments: &GlobalArguments) -> Result<Context, CliError> {
        let now = jiff::Timestamp::now();
        let data = match &arguments.data {
            Some(folder) => folder.clone(),
            None => default_folder()?,
        };
        Ok(Context {
            profile: profile::of_run(arguments.profile.as_deref(), &data)?,
            data,
            data_was_named: arguments.data.is_some(),
            unit: match arguments.unit {
                Some(unit) => unit,
                None => unit_of(std::env::var_os(UNIT_VARIABLE).as_deref())?,
            },
            json: arguments.json,
            color: color_wanted(arguments),
            now: format!("{now:.3}"),
            now_us: u64::try_from(now.as_microsecond()).unwrap_or(1).max(1),
        })
    }

    /// Opens the store, making it where there is none.
    ///
    /// # Errors
    /// When the store cannot be opened.
    pub fn open_store(&self) -> Result<Store, CliError> {
        Ok(Store::open(&self.data)?)
    }

    /// An instrument by name, with its latest survey.
    ///
    /// # Errors
    /// When there is no such instrument, or no survey of it yet.
    pub fn load(&self, store: &Store, name: &str) -> Result<Loaded, CliError> {
        let record = store.find_instrument(name)?;
        let Some(survey) = store.latest_survey(record.id)? else {
            let name = shell_quoted(name);
            return Err(CliError::new(
                Exit::NotThere,
                format!(
                    "no pin of {name} has been read yet; take a survey with `pinhold survey \
                     {name}`, or `pinhold import FILE.csv --instrument {name}`"
                ),
            ));
        };
        let Taken { stored, readings, condition, drift } =
            taken(store, &record.instrument, &survey)?;
        for Finding { place, fault } in store.damage_of(survey.id)? {
            say(&format!(
                "warning: {place} {fault}; a reading that does not match is left out. `pinhold \
                 verify` names all there is, `pinhold restore FILE` puts a backup in its place"
            ));
        }
        let recorded = store.condition_record(survey.id)?;
        let lever_uses = uses_of(store, &stored.lever)?;
        let corrected_count = store.corrected_count(survey.id)?;
        let pitch_costs = retune::costs(&record.instrument, &stored.lever);
        Ok(Loaded {
            record,
            survey,
            readings,
            corrected_count,
            pitch_costs,
            condition,
            recorded,
            profile: self.profile.clone(),
            lever_uses,
            drift,
        })
    }

    /// When the program was started, milliseconds since 1970-01-01 UTC.
    pub fn now_ms(&self) -> i64 {
        i64::try_from(self.now_us / 1000).unwrap_or(i64::MAX)
    }

    /// Prints text to standard output; what comes from outside was made printable before.
    ///
    /// # Errors
    /// When it cannot be written. A closed pipe ends the program quietly.
    pub fn print(&self, text: &str) -> Result<(), CliError> {
        let mut out = std::io::stdout().lock();
        out.write_all(text.as_bytes()).and_then(|()| out.flush()).map_err(|source| {
            match source.kind() {
                ErrorKind::BrokenPipe => CliError::closed(),
                _ => CliError::new(
                    Exit::InputOutput,
                    format!("standard output cannot be written ({source})"),
                ),
            }
        })
    }

    /// Prints one JSON document, as `--json` asks.
    ///
    /// # Errors
    /// As [`Context::print`].
    pub fn print_document(&self, document: &Value) -> Result<(), CliError> {
        self.print(&format!("{document:#}\n"))
    }
}

/// Writes a note to standard error; text is printable already. At a terminal, lines too long for
/// it break between words. Failing to is no failure.
pub fn say(text: &str) {
    let mut to = std::io::stderr();
    let _ = if to.is_terminal() {
        write!(to, "{}", broken(text, super::show::width()))
    } else {
        writeln!(to, "{text}")
    };
}

/// Lines longer than `width` broken between words, each going on under its own beginning.
fn broken(text: &str, width: usize) -> String {
    let mut shown = String::new();
    for line in text.split('\n') {
        if line.chars().count() <= width {
            shown.push_str(line);
            shown.push('\n');
        } else {
            let lead: String = line.chars().take_while(|c| *c == ' ').collect();
            shown.push_str(&report::terminal::wrap(line, &lead, width));
        }
    }
    shown
}

/// A word as a shell takes it back: quoted where it holds more than plain characters.
pub fn shell_quoted(word: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || matches!(c, '-' | '_' | '.' | '/');
    let shown = crate::text::printable(word);
    if !shown.is_empty() && !shown.starts_with('-') && shown.chars().all(plain) {
        shown
    } else {
        format!("'{}'", shown.replace('\'', r"'\''"))
    }
}

/// The day of an ISO 8601 time, as it is written.
pub fn day_of(time: &str) -> &str {
    time.split('T').next().unwrap_or(time)
}

/// The day of a moment, by UTC; `None` beyond what a calendar holds.
pub fn day_of_ms(ms: i64) -> Option<String> {
    let time = jiff::Timestamp::from_millisecond(ms).ok()?;
    Some(day_of(&format!("{time:.0}")).to_owned())
}

/// The platform's data folder.
fn default_folder() -> Result<PathBuf, CliError> {
    etcetera::choose_base_strategy().map(|strategy| strategy.data_dir().join(FOLDER_NAME)).map_err(
        |_| {
            CliError::new(
                Exit::Usage,
                "this system names no folder for data; choose one with --data DIR",
            )
        },
    )
}

/// The unit the environment asks for; N·m where it says nothing.
fn unit_of(variable: Option<&OsStr>) -> Result<TorqueUnit, CliError> {
    let Some(text) = variable.filter(|text| !text.is_empty()) else {
        return Ok(TorqueUnit::default());
    };
    text.to_string_lossy()
        .parse()
        .map_err(|error| CliError::new(Exit::Usage, format!("{UNIT_VARIABLE}: {error}")))
}

/// Whether to colour: a terminal, and nobody asked not to (no-color.org).
fn color_wanted(arguments: &GlobalArguments) -> bool {
    let refused = arguments.no_color
        || arguments.json
        || std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty())
        || std::env::var_os("TERM").is_some_and(|value| value == "dumb");
    !refused && std::io::stdout().is_terminal()
}

#[cfg(test)]
mod tests {
    use super::shell_quoted;

    #[test]
    fn names_are_quoted_for_the_shell_when_they_need_it() {
        assert_eq!(shell_quoted("parlour"), "parlour");
        assert_eq!(shell_quoted("Flügel-7"), "Flügel-7");
        assert_eq!(shell_quoted("Anna's grand"), r"'Anna'\''s grand'");
        assert_eq!(shell_quoted("--data"), "'--data'");
        assert_eq!(shell_quoted(""), "''");
    }
}
