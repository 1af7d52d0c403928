//! `pinhold lever`: how a lever is, a plan stored on it, and what it has read alone.
//!
//! One file per verb; `words` holds the sentences they share.

mod agree;
mod calibrate;
mod check;
mod check_words;
mod fetch;
mod fit;
mod history;
mod load;
mod record;
mod seatings;
pub(super) mod standing;
mod status;
mod typed;
pub(super) mod words;

use clap::{Args, Subcommand};

use super::context::Context;
use super::exit::CliError;
use super::ports;
use crate::link::port;
use crate::survey::{Calendar, Line};

/// Arguments of `pinhold lever`.
#[derive(Args, Clone, Debug)]
pub struct LeverArguments {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Clone, Debug, Subcommand)]
enum Verb {
    /// How the lever is: self-test, battery, log, calibration, plan
    Status(status::StatusArguments),
    /// Store a plan on the lever, for a survey without a computer
    Load(load::LoadArguments),
    /// Fetch everything the lever has read
    Fetch(fetch::FetchArguments),
    /// Fit a table of loads and readings, to compare with certified data
    Fit(fit::FitArguments),
    /// Calibrate the lever with dead weights on a known arm
    Calibrate(Box<calibrate::CalibrateArguments>),
    /// Seat the lever on the same pins again and again, two people in turn
    Seatings(Box<seatings::SeatingsArguments>),
    /// Check the lever against its calibration with one weight
    Check(Box<check::CheckArguments>),
    /// Calibrations and checks of a lever, in the order of time
    History(history::HistoryArguments),
    /// How levers that read the same pins differ
    Agree(agree::AgreeArguments),
    /// A calibration as a document to print and keep, HTML or PDF
    Record(record::RecordArguments),
}

/// Runs the command.
///
/// # Errors
/// When no lever answers, it cannot do what it is asked, the store fails, or a file is refused.
pub fn run(context: &Context, arguments: &LeverArguments) -> Result<(), CliError> {
    match &arguments.verb {
        Verb::Status(arguments) => status::run(context, arguments),
        Verb::Load(arguments) => load::run(context, arguments),
        Verb::Fetch(arguments) => fetch::run(context, arguments),
        Verb::Fit(arguments) => fit::run(context, arguments),
        Verb::Calibrate(arguments) => calibrate::run(context, arguments),
        Verb::Seatings(arguments) => seatings::run(context, arguments),
        Verb::Check(arguments) => check::run(context, arguments),
        Verb::History(arguments) => history::run(context, arguments),
        Verb::Agree(arguments) => agree::run(context, arguments),
        Verb::Record(arguments) => record::run(context, arguments),
    }
}

/// The port named, else the only likely one, to be opened as often as need be.
fn line(named: Option<&String>) -> Result<Line<'static>, CliError> {
    let name = ports::chosen(named)?;
    let shown = name.clone();
    Ok(Line { name: shown, open: Box::new(move || port::open(&name)) })
}

/// The calendar of a conversation that begins now.
fn calendar(context: &Context) -> Calendar {
    Calendar::starting(context.now_us / 1000)
}
