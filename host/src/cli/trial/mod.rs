//! `pinhold trial`: larger pins fitted in a few holes and read again, and what size follows.
//!
//! Deliberately not here: what a gain is ([`crate::analysis::gain`]).

mod add;
mod advice;
mod list;

use clap::{Args, Subcommand};

use super::context::Context;
use super::exit::CliError;
use super::parsers::{fact_parser, name_parser};
use crate::report;
use crate::units::TorqueUnit;

/// Arguments of `pinhold trial`.
#[derive(Args, Clone, Debug)]
pub struct TrialArguments {
    /// What to do.
    #[command(subcommand)]
    pub deed: Deed,
}

/// What to do with trial pins.
#[derive(Clone, Debug, Subcommand)]
pub enum Deed {
    /// Store a larger pin that was fitted, with its friction before and after
    Add(Box<add::AddArguments>),
    /// List the trial pins of an instrument, withdrawn ones too
    #[command(after_long_help = "Example:\n  pinhold trial list parlour")]
    List {
        /// The instrument
        #[arg(value_name = "NAME", value_parser = name_parser)]
        name: String,
    },
    /// Withdraw a trial pin that was a mistake: it stays in the store and counts no more
    #[command(after_long_help = "Example:\n  \
        pinhold trial remove parlour 3 --reason 'it was 41L'")]
    Remove(RemoveArguments),
    /// Which size where, by what is known of the gain, and whether more trial pins are worth it
    Advice(advice::AdviceArguments),
}

/// Arguments of `pinhold trial remove`.
#[derive(Args, Clone, Debug)]
pub struct RemoveArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Number of the trial pin, as listed
    #[arg(value_name = "N", value_parser = clap::value_parser!(i64).range(1..))]
    pub number: i64,
    /// Why, for the record
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    #[arg(default_value = "", hide_default_value = true)]
    pub reason: String,
}

/// Runs the command.
///
/// # Errors
/// When instrument, pin or trial pin is not there, a torque is none, or the store fails.
pub fn run(context: &Context, arguments: &TrialArguments) -> Result<(), CliError> {
    match &arguments.deed {
        Deed::Add(arguments) => add::run(context, arguments),
        Deed::List { name } => list::run(context, name),
        Deed::Remove(arguments) => list::remove(context, arguments),
        Deed::Advice(arguments) => advice::run(context, arguments),
    }
}

/// A torque with its uncertainty and unit.
fn with_unit(value: crate::analysis::input::Estimate, unit: TorqueUnit) -> String {
    format!("{} {unit}", report::estimate(value, unit))
}
