//! `pinhold repair`: what was done to an instrument when, to which pins.
//!
//! Deliberately not here: how to do it (`pinhold order`), and what it brought (`pinhold compare`).

use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use serde_json::{Value, json};

use super::context::{Context, day_of, say, shell_quoted};
use super::correct::pin_value;
use super::exit::{CliError, Exit};
use super::parsers::{date_parser, fact_parser, name_parser};
use super::pins::parse_pins;
use crate::import::climate::moment_ms;
use crate::instrument::pin_name;
use crate::store::{NewRepair, RepairKind, StoredRepair};
use crate::text::printable;

/// Most pins named in a line.
const NAMED_COUNT_MAX: usize = 12;

/// Arguments of `pinhold repair`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
A repair divides an instrument's history: a trend is fitted from the latest repair of its pins on,
never across one. Kinds: larger-pins, pins-driven, bushings, treatment, restrung, plank-repair,
new-plank, other. Without an option the repairs are listed.

Examples:
  pinhold repair parlour --add larger-pins --pins 12-25,40L --done 2026-02-27 --remark 3/0
  pinhold repair parlour --add new-plank
  pinhold repair parlour
  pinhold repair parlour --remove 2 --reason 'another instrument'")]
pub struct RepairArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Note a repair of this kind
    #[arg(long, value_name = "KIND", group = "deed", value_parser = kind_parser())]
    #[arg(hide_possible_values = true)]
    pub add: Option<RepairKind>,
    /// With --add: its pins, such as 40L,A4C,12-25 [default: all]
    #[arg(long, value_name = "PINS", requires = "add")]
    pub pins: Option<String>,
    /// With --add: when it was done, a date, or date and time [default: now]
    #[arg(long, value_name = "DATE", value_parser = date_parser, requires = "add")]
    pub done: Option<String>,
    /// With --add: anything worth knowing
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, requires = "add")]
    #[arg(default_value = "", hide_default_value = true)]
    pub remark: String,
    /// Withdraw the repair of this number: it stays in the store and counts no more
    #[arg(long, value_name = "N", group = "deed")]
    #[arg(value_parser = clap::value_parser!(i64).range(1..))]
    pub remove: Option<i64>,
    /// With --remove: why, for the record
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, requires = "remove")]
    #[arg(default_value = "", hide_default_value = true)]
    pub reason: String,
}

fn kind_parser() -> impl TypedValueParser<Value = RepairKind> {
    PossibleValuesParser::new(RepairKind::ALL.map(RepairKind::word))
        .map(|word| RepairKind::from_word(&word).unwrap_or(RepairKind::Other))
}

/// Runs the command.
///
/// # Errors
/// When instrument, pin or repair is not there, or the store fails.
pub fn run(context: &Context, arguments: &RepairArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    if let Some(number) = arguments.remove {
        store.withdraw_repair(record.id, number, &context.now, &arguments.reason)?;
        if context.json {
            return context.print_document(&json!({
                "format": "pinhold.repair.remove",
                "version": 1,
                "number": number,
            }));
        }
        return context.print(&format!("repair {number} withdrawn\n"));
    }
    let Some(what) = arguments.add else {
        return list(context, &arguments.name, &store.repairs_of(record.id)?);
    };
    let mut pins = match &arguments.pins {
        None => Vec::new(),
        Some(text) => parse_pins(text, &record.instrument)
            .map_err(|sentence| CliError::new(Exit::Usage, format!("--pins: {sentence}")))?,
    };
    pins.sort_unstable();
    pins.dedup();
    let done = arguments.done.clone().unwrap_or_else(|| context.now.clone());
    let done_ms = moment_ms(&done)
        .ok_or_else(|| CliError::new(Exit::Usage, "--done: use a date such as 2024-11-03"))?;
    let new = NewRepair { what, done, done_ms, pins, remark: arguments.remark.clone() };
    let number = store.keep_repair(record.id, &context.now, &new)?;
    let stored = StoredRepair { number, new };
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.repair.add",
            "version": 1,
            "repair": value(&stored),
        }));
    }
    context.print(&line(&stored))?;
    let name = shell_quoted(&arguments.name);
    say(&format!("read the pins again, then: pinhold compare {name}"));
    Ok(())
}

fn list(context: &Context, name: &str, repairs: &[StoredRepair]) -> Result<(), CliError> {
    if context.json {
        let repairs: Vec<Value> = repairs.iter().map(value).collect();
        return context.print_document(&json!({
            "format": "pinhold.repair.list",
            "version": 1,
            "repairs": repairs,
        }));
    }
    if repairs.is_empty() {
        let name = shell_quoted(name);
        say(&format!("no repair of {name} was noted; note one with 'pinhold repair {name} --add'"));
        return Ok(());
    }
    context.print(&repairs.iter().map(line).collect::<String>())
}

/// A repair in a line.
pub(super) fn line(stored: &StoredRepair) -> String {
    let new = &stored.new;
    let pins = match new.pins.len() {
        0 => "all pins".to_owned(),
        1..=NAMED_COUNT_MAX => {
            new.pins.iter().map(|pin| pin_name(*pin)).collect::<Vec<_>>().join(", ")
        }
        count => format!("{count} pins"),
    };
    let remark = match new.remark.as_str() {
        "" => String::new(),
        remark => format!("; {}", printable(remark)),
    };
    let day = day_of(&new.done);
    format!("{:>4}  {}  {}: {pins}{remark}\n", stored.number, printable(day), new.what.word())
}

/// A repair in a document.
pub(super) fn value(stored: &StoredRepair) -> Value {
    let new = &stored.new;
    let pins: Vec<Value> = new.pins.iter().map(|pin| pin_value(Some(*pin))).collect();
    json!({
        "number": stored.number,
        "what": new.what.word(),
        "done": new.done,
        "pins": pins,
        "remark": new.remark,
    })
}
