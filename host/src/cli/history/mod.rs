//! `pinhold history`: an instrument's surveys in time, or instruments searched and watched.
//!
//! Deliberately not here: what a trend is (`analysis::history::trend`).

pub(super) mod climate;
mod search;
mod told;
mod watch;

use clap::Args;
use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use super::context::Context;
use super::exit::{CliError, Exit};
use super::parsers::{fact_parser, name_parser};
use super::pins::parse_pins;
use super::surveys::{Numbered, ms_of, of_instrument, one_tool};
use super::{repair, show};
use crate::analysis::history::trend::{Measure, SurveyAt, Trend, trend};
use crate::analysis::zones::place::section_name;
use crate::instrument::{Instrument, pin_name};
use crate::store::{StoredClimate, StoredRepair};

/// Milliseconds in a year of 365.25 days.
const YEAR_MS: f64 = 31_557_600_000.0;
/// Pins of a group from which its lowest decile is followed too.
const DECILE_PIN_COUNT_MIN: usize = 10;

/// Arguments of `pinhold history`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
With a name: its surveys in time, repairs, and the trend of friction of the plank, each section, or
the pins of --pin. A trend is of the pins that every survey used read in the same way; it starts
anew at a repair of most of them, and leaves single repaired pins out. Its slope is through medians,
with a 95 % interval; the year friction reaches the limit of doubtful (`pinhold profile`) is an
interval too, or 'not enough history'. Surveys are in like air where the logged climate of the eight
weeks before, or else the season, is alike; moisture is taken out only where this instrument's own
surveys show what it does.

Without a name: the instruments whose name, serial number, maker, owner's reference or place holds
the words of --search, all without it; or, with --watch, which are due for a check and which fall
fastest.

Examples:
  pinhold history
  pinhold history --search 'town hall'
  pinhold history parlour
  pinhold history parlour --pin 40L,41L
  pinhold history --watch --due-months 24")]
pub struct HistoryArguments {
    /// The instrument [default: search all]
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: Option<String>,
    /// The trend of these pins, such as 40L,A4C,12-25, each by itself
    #[arg(long, value_name = "PINS", requires = "name")]
    pub pin: Option<String>,
    /// Instruments with these words in what is written about them
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    #[arg(conflicts_with_all = ["name", "watch"])]
    pub search: Option<String>,
    /// Which instruments are due for a check, and which fall fastest
    #[arg(long, conflicts_with = "name")]
    pub watch: bool,
    /// With --watch: months after which an instrument is due
    #[arg(long, value_name = "N", default_value_t = 12, requires = "watch")]
    #[arg(value_parser = clap::value_parser!(u16).range(1..=600))]
    pub due_months: u16,
}

/// Runs the command.
///
/// # Errors
/// When an instrument or pin is not there, or the store fails.
pub fn run(context: &Context, arguments: &HistoryArguments) -> Result<(), CliError> {
    match &arguments.name {
        Some(name) => of_one(context, name, arguments.pin.as_deref()),
        None if arguments.watch => watch::run(context, arguments.due_months),
        None => search::run(context, arguments.search.as_deref().unwrap_or_default()),
    }
}

/// An instrument's history, as loaded.
pub(super) struct History<'a> {
    instrument: &'a Instrument,
    surveys: &'a [Numbered],
    repairs: &'a [StoredRepair],
    climate: &'a [StoredClimate],
    limit_nm: f64,
    now_years: f64,
}

/// A trend of some pins.
pub(super) struct Group {
    /// Whose.
    name: String,
    measure: Measure,
    trend: Trend,
    /// Numbers of the surveys used.
    numbers: Vec<usize>,
    /// The repair it starts after.
    since: Option<String>,
    /// Pins left out because they were repaired.
    repaired_count: usize,
    /// What is said of the air.
    air: String,
    /// Year it was asked in.
    now_years: f64,
}

fn years_of(ms: i64) -> f64 {
    1970.0 + ms as f64 / YEAR_MS
}

impl History<'_> {
    /// The trend of a group of pins.
    fn group(&self, name: String, pins: &[Pin], measure: Measure) -> Option<Group> {
        let first_ms = self.surveys.iter().filter_map(|s| ms_of(&s.survey.started)).min()?;
        let last_ms = self.surveys.iter().filter_map(|s| ms_of(&s.survey.started)).max()?;
        let within = |repair: &&StoredRepair| (first_ms..=last_ms).contains(&repair.new.done_ms);
        let mut since: Option<&StoredRepair> = None;
        let mut single: Vec<Pin> = Vec::new();
        for repair in self.repairs.iter().filter(within) {
            let of: Vec<Pin> = pins.iter().copied().filter(|pin| repair.new.is_of(*pin)).collect();
            if of.len() * 2 > pins.len() {
                since = Some(repair);
            } else {
                single.extend(of);
            }
        }
        single.sort_unstable();
        single.dedup();
        let was_read = |pin: &Pin| {
            self.surveys.iter().any(|s| s.readings.iter().any(|reading| reading.pin == *pin))
        };
        let repaired_count = single.iter().filter(|pin| was_read(pin)).count();
        let kept: Vec<&Numbered> = self
            .surveys
            .iter()
            .filter(|survey| {
                let started = ms_of(&survey.survey.started);
                started.is_some_and(|ms| since.is_none_or(|repair| ms >= repair.new.done_ms))
            })
            .collect();
        let at: Vec<SurveyAt<'_>> = kept
            .iter()
            .map(|survey| {
                let ms = ms_of(&survey.survey.started).unwrap_or_default();
                SurveyAt {
                    years: years_of(ms),
                    readings: &survey.readings,
                    moisture_percent: climate::weeks_before(self.climate, ms),
                }
            })
            .collect();
        let wanted = |pin: Pin| pins.contains(&pin) && single.binary_search(&pin).is_err();
        let tool = one_tool(&kept);
        let trend = trend(&at, wanted, measure, tool, self.limit_nm, self.now_years)?;
        let used: Vec<&Numbered> = trend.used.iter().map(|index| kept[*index]).collect();
        Some(Group {
            air: climate::told(&used, &trend),
            name,
            measure,
            numbers: used.iter().map(|survey| survey.number).collect(),
            since: since.map(|repair| repair.new.done.clone()),
            repaired_count,
            now_years: self.now_years,
            trend,
        })
    }

    /// The trends of the plank and its sections.
    fn groups(&self) -> Vec<Group> {
        let all: Vec<Pin> = self.instrument.pins.iter().map(|field| field.pin).collect();
        let mut groups = Vec::new();
        let plank = self.group("plank, median".to_owned(), &all, Measure::Median);
        let is_many =
            plank.as_ref().is_some_and(|group| group.trend.pins.len() >= DECILE_PIN_COUNT_MIN);
        groups.extend(plank);
        if is_many {
            let name = "plank, a tenth below".to_owned();
            groups.extend(self.group(name, &all, Measure::LowestDecile));
        }
        let mut present: Vec<u8> = self.instrument.pins.iter().map(|f| f.section).collect();
        present.sort_unstable();
        present.dedup();
        for section in present.iter().filter(|_| present.len() > 1) {
            let pins: Vec<Pin> = self
                .instrument
                .pins
                .iter()
                .filter(|field| field.section == *section)
                .map(|field| field.pin)
                .collect();
            let name = format!("{}, median", section_name(*section, &present));
            groups.extend(self.group(name, &pins, Measure::Median));
        }
        groups
    }
}

fn of_one(context: &Context, name: &str, pins: Option<&str>) -> Result<(), CliError> {
    let (store, record, surveys) = of_instrument(context, name, 1)?;
    let pins = pins
        .map(|text| parse_pins(text, &record.instrument))
        .transpose()
        .map_err(|sentence| CliError::new(Exit::Usage, format!("--pin: {sentence}")))?;
    let repairs = store.repairs_of(record.id)?;
    let air = store.climate_of(record.id)?;
    let history = History {
        instrument: &record.instrument,
        surveys: &surveys,
        repairs: &repairs,
        climate: &air,
        limit_nm: context.profile.doubtful_nm.value,
        now_years: years_of(context.now_ms()),
    };
    let groups = match pins {
        None => history.groups(),
        Some(pins) => pins
            .iter()
            .filter_map(|pin| history.group(pin_name(*pin), &[*pin], Measure::Median))
            .collect(),
    };
    if context.json {
        let of = |survey: &Numbered| told::survey_value(survey, &air);
        return context.print_document(&json!({
            "format": "pinhold.history",
            "version": 1,
            "instrument": name,
            "limit_nm": history.limit_nm,
            "surveys": surveys.iter().map(of).collect::<Vec<Value>>(),
            "repairs": repairs.iter().map(repair::value).collect::<Vec<Value>>(),
            "trends": groups.iter().map(told::group_value).collect::<Vec<Value>>(),
        }));
    }
    let mut text = String::new();
    for survey in &surveys {
        text.push_str(&told::survey_line(survey, context.unit));
    }
    if !repairs.is_empty() {
        text.push_str("repairs:\n");
        text.extend(repairs.iter().map(repair::line));
    }
    text.push_str("trends:\n");
    if groups.is_empty() {
        text.push_str("  no pin was read in every survey since the latest repair\n");
    }
    for group in &groups {
        text.push_str(&told::group_text(group, history.limit_nm, context.unit, show::width()));
    }
    text.push_str(&told::airs(&groups, show::width()));
    context.print(&text)
}
