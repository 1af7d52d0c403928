//! `pinhold compare`: two surveys of one instrument, pin by pin.
//!
//! Deliberately not here: the comparison (`analysis::history::compare`) and how it is told
//! (`report::comparison`).

use std::path::PathBuf;

use clap::Args;
use serde_json::{Value, json};

use super::context::Context;
use super::correct::pin_value;
use super::exit::{CliError, Exit};
use super::form::Files;
use super::history::climate::humidity_before;
use super::parsers::{fact_parser, name_parser};
use super::report::{language_parser, paper_parser};
use super::show::width;
use super::surveys::{DAY_MS, Numbered, ms_of, named, of_instrument, one_tool};
use crate::analysis::history::compare::{Comparison, Level, compare};
use crate::report::comparison::{CompareModel, CompareSetting, Side, document, mark};
use crate::report::document::Paper;
use crate::report::terminal::wrap;
use crate::store::InstrumentRecord;
use crate::words::{Language, comparison as say};

/// What a file is said to be that ends in no form's name.
const FORM: &str = "comparison";

/// Arguments of `pinhold compare`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Holds two surveys of one instrument against each other, by the pins both read in the same
directions, as the same kind of torque and with the string in the same state: the shift of friction
with its 95 % interval, a test of pairs, medians and lowest decile before and after, the holding
factor in the bass, how many pins are doubtful, and which pins changed clearly. What all readings of
a survey share enters the interval once. After a repair this is its proof; new fits relax, so repeat
it after some weeks and after a season, in like air.

A survey is named by its number, oldest first, or by its date, as `pinhold history NAME` lists them.
The end of a file's name after --out says its form: .html or .pdf.

Examples:
  pinhold compare parlour
  pinhold compare parlour --before 1 --after 2026-03-14 --out proof.pdf --lang de
  pinhold --json compare parlour")]
pub struct CompareArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// The earlier survey: its number or date [default: the one before the later]
    #[arg(long, value_name = "SURVEY", value_parser = fact_parser)]
    pub before: Option<String>,
    /// The later survey: its number or date [default: the latest]
    #[arg(long, value_name = "SURVEY", value_parser = fact_parser)]
    pub after: Option<String>,
    /// Write the report to this file, a name ending in .html or .pdf; may be given more than once
    #[arg(long, value_name = "FILE")]
    pub out: Vec<PathBuf>,
    /// Language of the report: en or de
    #[arg(long, value_name = "LANG", default_value = "en", hide_possible_values = true)]
    #[arg(value_parser = language_parser())]
    pub lang: Language,
    /// Paper it is printed on: a4 or letter
    #[arg(long, value_name = "PAPER", default_value = "a4", hide_possible_values = true)]
    #[arg(value_parser = paper_parser())]
    pub paper: Paper,
}

/// Runs the command.
///
/// # Errors
/// When there are no two surveys, one is not there, or a file cannot be written.
pub fn run(context: &Context, arguments: &CompareArguments) -> Result<(), CliError> {
    let files = Files::of(&arguments.out, FORM)?;
    let (store, record, surveys) = of_instrument(context, &arguments.name, 2)?;
    let (before, after) = chosen(&surveys, arguments)?;
    let comparison = compared(context, &record, before, after);
    let (mut one, mut other) = (before.side(), after.side());
    let log = store.climate_of(record.id)?;
    let weeks =
        |survey: &Numbered| ms_of(&survey.survey.started).and_then(|ms| humidity_before(&log, ms));
    // Like with like: of the weeks before for both, or of neither.
    let weeks_before = weeks(before).zip(weeks(after));
    if let Some((earlier, later)) = weeks_before {
        (one.humidity, other.humidity) = (Some(earlier), Some(later));
    }
    let days = ms_of(&before.survey.started)
        .zip(ms_of(&after.survey.started))
        .map(|(from, to)| (to - from) / DAY_MS);
    let model = CompareModel {
        instrument: &record.instrument,
        comparison: &comparison,
        before: &one,
        after: &other,
        humidity_is_of_weeks: weeks_before.is_some(),
        days,
        unit: context.unit,
    };
    let setting = CompareSetting {
        language: arguments.lang,
        paper: arguments.paper,
        made_ms: context.now_ms(),
    };
    let written = files.write(&document(&model, &setting))?;
    if context.json {
        return context.print_document(&value(&arguments.name, &model, &written));
    }
    let mut told = text(&model);
    told.extend(written.iter().map(|path| format!("report written to {path}\n")));
    context.print(&told)
}

/// The two surveys meant, the earlier first.
fn chosen<'a>(
    surveys: &'a [Numbered],
    arguments: &CompareArguments,
) -> Result<(&'a Numbered, &'a Numbered), CliError> {
    let find = |word: &Option<String>, option: &str| {
        word.as_ref().map(|word| named(surveys, word, option, &arguments.name)).transpose()
    };
    let (before, after) =
        (find(&arguments.before, "--before")?, find(&arguments.after, "--after")?);
    let after = match (after, before) {
        (Some(after), _) => after,
        (None, _) => &surveys[surveys.len() - 1],
    };
    let before = match before {
        Some(before) => before,
        None => {
            surveys.iter().rev().find(|survey| survey.number < after.number).ok_or_else(|| {
                let sentence = "--after: that is the oldest survey, there is none before it";
                CliError::new(Exit::Usage, sentence)
            })?
        }
    };
    if before.number >= after.number {
        let sentence = format!(
            "survey {} is not before survey {}; exchange --before and --after",
            before.number, after.number
        );
        return Err(CliError::new(Exit::Usage, sentence));
    }
    Ok((before, after))
}

fn compared(
    context: &Context,
    record: &InstrumentRecord,
    before: &Numbered,
    after: &Numbered,
) -> Comparison {
    let section = |pin| record.instrument.find_pin(pin).map_or(0, |field| field.section);
    let same_tool = one_tool(&[before, after]);
    compare(&before.readings, &after.readings, section, same_tool, &context.profile)
}

/// For reading.
fn text(model: &CompareModel<'_>) -> String {
    let width = width();
    let mut text = wrap(&model.surveys(), "", width);
    text.push_str(&wrap(&model.result(), "", width));
    if !model.comparison.pairs.is_empty() {
        text.push('\n');
        for (name, before, after) in model.levels() {
            text.push_str(&format!("  {name:<40} {before:>12} -> {after:>12}\n"));
        }
        text.push('\n');
        for (name, [count, before, after, change, interval]) in model.sections() {
            let line = format!(
                "{name}: {count} pins, {before} -> {after}, {change} ({interval})",
                name = &*name
            );
            text.push_str(&wrap(&line, "  ", width));
        }
        text.push_str(&wrap(&model.marked(), "", width));
    }
    for said in model.beside().iter().chain(&model.how()) {
        text.push_str(&wrap(said, "", width));
    }
    text.push_str(&wrap(&say::OPINION, "", width));
    text
}

fn level_value(level: &Level) -> Value {
    let factor = |value: f64| (level.bass_count > 0).then_some(value);
    json!({
        "pins": level.count,
        "median_nm": level.median_nm,
        "lowest_decile_nm": level.lowest_decile_nm,
        "doubtful_or_worse": level.doubtful_count,
        "bass_pins": level.bass_count,
        "bass_holding_factor": factor(level.bass_factor),
        "bass_holding_factor_lowest_decile": factor(level.bass_lowest_factor),
    })
}

fn side_value(side: &Side) -> Value {
    json!({
        "number": side.number,
        "date": side.date,
        "relative_humidity": side.humidity,
    })
}

/// For a program; torque in N·m.
fn value(name: &str, model: &CompareModel<'_>, files: &[String]) -> Value {
    let comparison = model.comparison;
    let pins: Vec<Value> = comparison
        .pairs
        .iter()
        .map(|pair| {
            json!({
                "pin": pin_value(Some(pair.pin)),
                "before_nm": pair.before_nm.value,
                "before_u_nm": pair.before_nm.u,
                "after_nm": pair.after_nm.value,
                "after_u_nm": pair.after_nm.u,
                "change_nm": pair.change_nm.value,
                "change_u_nm": pair.change_nm.u,
                "clear": mark(pair.change),
            })
        })
        .collect();
    let sections: Vec<Value> = comparison
        .sections
        .iter()
        .map(|section| {
            json!({
                "section": section.section,
                "pins": section.count,
                "before_nm": section.before_nm,
                "after_nm": section.after_nm,
                "shift_nm": section.shift_nm,
                "interval_nm": section.interval_nm,
            })
        })
        .collect();
    json!({
        "format": "pinhold.compare",
        "version": 1,
        "instrument": name,
        "before": side_value(model.before),
        "after": side_value(model.after),
        "days": model.days,
        "same_tool": comparison.same_tool,
        "pins_compared": comparison.pairs.len(),
        "not_compared": {
            "read_once": comparison.left_out.once,
            "read_otherwise": comparison.left_out.otherwise,
            "without_friction": comparison.left_out.limits,
        },
        "shift_nm": comparison.shift.map(|shift| shift.shift),
        "interval_nm": comparison.interval_nm,
        "common_u_nm": comparison.common_u_nm,
        "is_clear": comparison.shift_is_clear(),
        "signed_rank_v": comparison.test.map(|test| test.v),
        "signed_rank_p": comparison.test.map(|test| test.p),
        "level_before": level_value(&comparison.before),
        "level_after": level_value(&comparison.after),
        "sections": sections,
        "pins": pins,
        "result": model.result(),
        "humidity": model.humidity(),
        "humidity_is_of_weeks_before": model.humidity_is_of_weeks,
        "files": files,
    })
}
