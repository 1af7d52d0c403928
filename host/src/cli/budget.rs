//! `pinhold readings --budget`: where the uncertainty of a reading comes from, line by line.

use pinhold_protocol::record::Pin;
use serde_json::json;

use super::context::Context;
use super::exit::{CliError, Exit};
use crate::instrument::pin_name;
use crate::report::budget;
use crate::text::printable;

/// Runs the command: one pin's lines, or the whole survey term by term.
///
/// # Errors
/// When the instrument has no such reading, or the store fails.
pub(super) fn run(context: &Context, name: &str, pin: Option<Pin>) -> Result<(), CliError> {
    let store = context.open_store()?;
    let loaded = context.load(&store, name)?;
    let profile = &context.profile;
    let mut pins = loaded.readings;
    if let Some(pin) = pin {
        pins.retain(|reading| reading.pin == pin);
        if pins.is_empty() {
            let sentence = format!("the latest survey has no reading of {}", pin_name(pin));
            return Err(CliError::new(Exit::NotThere, sentence));
        }
    }
    if context.json {
        let values: Vec<_> = pins.iter().map(|pin| budget::pin_value(pin, profile)).collect();
        return context.print_document(&json!({
            "format": "pinhold.budget",
            "version": 1,
            "survey": loaded.survey.uid.to_string(),
            "started": printable(&loaded.survey.started),
            "summary": budget::summary_value(&pins),
            "pins": values.into_iter().filter(|value| !value.is_null()).collect::<Vec<_>>(),
        }));
    }
    let text = match (pin, pins.first()) {
        (Some(_), Some(reading)) => budget::pin_text(reading, profile, context.unit),
        _ => budget::summary_text(&pins, profile, context.unit),
    };
    context.print(&text)
}
