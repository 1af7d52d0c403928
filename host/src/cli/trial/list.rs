//! `pinhold trial list` and `pinhold trial remove`.

use serde_json::{Value, json};

use super::{RemoveArguments, with_unit};
use crate::cli::context::{Context, day_of, say, shell_quoted};
use crate::cli::correct::pin_value;
use crate::cli::exit::CliError;
use crate::instrument::pin_name;
use crate::report;
use crate::store::{StoredTrial, TrialId, TrialSource};
use crate::text::printable;
use crate::units::TorqueUnit;

/// Runs `pinhold trial list`.
///
/// # Errors
/// When the instrument is not there, or the store fails.
pub(super) fn run(context: &Context, name: &str) -> Result<(), CliError> {
    let store = context.open_store()?;
    let record = store.find_instrument(name)?;
    let trials = store.trials_of(record.id)?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.trial.list",
            "version": 1,
            "trials": trials.iter().map(trial_value).collect::<Vec<_>>(),
        }));
    }
    if trials.is_empty() {
        let name = shell_quoted(name);
        say(&format!("no trial pin of {name} was stored yet; store one with 'pinhold trial add'"));
        return Ok(());
    }
    let lines: String = trials.iter().map(|stored| line(stored, context.unit)).collect();
    context.print(&lines)
}

/// Runs `pinhold trial remove`.
///
/// # Errors
/// When the instrument has no such trial pin that counts, or the store fails.
pub(super) fn remove(context: &Context, arguments: &RemoveArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    let id = TrialId::of_number(arguments.number);
    store.withdraw_trial(record.id, id, &context.now, &arguments.reason)?;
    let stored = store.trials_of(record.id)?.into_iter().find(|stored| stored.id == id);
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.trial.remove",
            "version": 1,
            "trial": stored.as_ref().map(trial_value),
        }));
    }
    context.print(&stored.map_or(String::new(), |stored| line(&stored, context.unit)))
}

/// A trial pin in a line.
pub(super) fn line(stored: &StoredTrial, unit: TorqueUnit) -> String {
    let new = &stored.new;
    let trial = &new.trial;
    let label = match new.label.as_str() {
        "" => String::new(),
        label => format!(" ({})", printable(label)),
    };
    let day = day_of(&new.fitted);
    let mut text = format!(
        "{:>4}  {:<7} {}  {} -> {}{label}{}: friction {} -> {}, gained {}",
        stored.id.number(),
        pin_name(trial.pin),
        printable(day),
        report::diameter(trial.from_um),
        report::diameter(trial.to_um),
        if trial.reamed { ", reamed" } else { "" },
        report::estimate(trial.before_nm, unit),
        report::estimate(trial.after_nm, unit),
        with_unit(trial.gain_nm(), unit),
    );
    if !new.remark.is_empty() {
        text.push_str(&format!("; {}", printable(&new.remark)));
    }
    if let Some((_, reason)) = &stored.withdrawn {
        let reason = if reason.is_empty() { String::new() } else { format!(": {reason}") };
        text.push_str(&format!("; withdrawn{}", printable(&reason)));
    }
    text.push('\n');
    text
}

/// A trial pin in a document; torque in N·m.
pub(super) fn trial_value(stored: &StoredTrial) -> Value {
    let new = &stored.new;
    let trial = &new.trial;
    let gain = trial.gain_nm();
    let typed = |source: &TrialSource| match source {
        TrialSource::Typed(text) => Some(text.clone()),
        TrialSource::Survey(_) => None,
    };
    json!({
        "number": stored.id.number(),
        "pin": pin_value(Some(trial.pin)),
        "entered": new.entered,
        "fitted": new.fitted,
        "from_um": trial.from_um,
        "to_um": trial.to_um,
        "label": new.label,
        "reamed": trial.reamed,
        "before_nm": trial.before_nm.value,
        "before_u_nm": trial.before_nm.u,
        "before_typed": typed(&new.before),
        "after_nm": trial.after_nm.value,
        "after_u_nm": trial.after_nm.u,
        "after_typed": typed(&new.after),
        "gain_nm": gain.value,
        "gain_u_nm": gain.u,
        "remark": new.remark,
        "withdrawn": stored.withdrawn.as_ref().map(|(made, reason)| {
            json!({ "made": made, "reason": reason })
        }),
    })
}
