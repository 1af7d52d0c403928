//! The command line: arguments as typed, dispatch, and how the program ends.
//!
//! One file per command. Deliberately not here: anything a command decides; that is in the
//! library's other modules, which know no terminal.
//!
//! Invariants: an error is one sentence on standard error and an exit of [`exit::Exit::TABLE`];
//! standard output holds results alone, with `--json` exactly one document.

pub mod assign;
pub mod backup;
mod budget;
pub mod climate;
pub mod compare;
pub mod condition;
pub mod context;
pub mod correct;
mod costs;
pub mod demo;
mod drift;
pub mod exchange;
pub mod exit;
pub mod files;
mod form;
pub mod history;
pub mod import;
pub mod instrument;
pub mod lever;
mod order;
mod parsers;
pub mod pins;
pub mod plan;
pub mod ports;
mod profile;
pub mod readings;
pub mod record;
pub mod repair;
pub mod report;
mod retune;
pub mod show;
pub mod strings;
pub mod survey;
mod surveys;
mod teller;
pub mod trial;
pub mod verify;

use std::panic::{UnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, CommandFactory, FromArgMatches, Parser, Subcommand};

use crate::units::TorqueUnit;
use context::Context;
use exit::{CliError, Exit, exit_help};

/// Torque of every tuning pin, a map of the pinblock, and an honest verdict.
#[derive(Debug, Parser)]
#[command(name = "pinhold", version, propagate_version = true, max_term_width = 100)]
pub struct Arguments {
    /// For every command.
    #[command(flatten)]
    pub global: GlobalArguments,
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// Heading of the options every command takes.
const HEADING: &str = "For every command";

/// Arguments every command takes, as typed.
#[derive(Args, Clone, Debug)]
pub struct GlobalArguments {
    /// Folder of the store [default: pinhold in the platform's data folder]
    #[arg(long, global = true, value_name = "DIR", help_heading = HEADING)]
    pub data: Option<PathBuf>,
    /// Unit torque is shown in: nm, inlb or kgfcm [default: nm, or what PINHOLD_UNIT says]
    #[arg(long, global = true, value_name = "UNIT", help_heading = HEADING)]
    pub unit: Option<TorqueUnit>,
    /// Thresholds to judge by [default: profile.toml in the data folder, where there is one]
    #[arg(long, global = true, value_name = "FILE.toml", help_heading = HEADING)]
    pub profile: Option<PathBuf>,
    /// Print one JSON document instead of text; torque in it is always in N·m
    #[arg(long, global = true, help_heading = HEADING)]
    pub json: bool,
    /// Never colour (NO_COLOR does the same)
    #[arg(long, global = true, help_heading = HEADING)]
    pub no_color: bool,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Survey an invented grand with a simulated lever, from pin to report
    Demo(demo::DemoArguments),
    /// List the ports a lever may be on
    Ports(ports::PortsArguments),
    /// Enter, change, list or show instruments
    Instrument(instrument::InstrumentArguments),
    /// Store readings taken by hand with any torque wrench, or what an export wrote
    Import(Box<import::ImportArguments>),
    /// Read pins with a lever
    Survey(Box<survey::SurveyArguments>),
    /// How a lever is, a plan stored on it, what it has read alone
    Lever(Box<lever::LeverArguments>),
    /// Give readings in the inbox to an instrument, or list the inbox
    Assign(assign::AssignArguments),
    /// Give readings to the pins they were really taken on, or take that back
    Correct(correct::CorrectArguments),
    /// List every reading of the latest survey, as written and as it counts
    Readings(readings::ReadingsArguments),
    /// Record what is known beside torque, or show it
    Condition(record::RecordArguments),
    /// Store larger pins fitted in trial, and tell which size they bear out
    Trial(trial::TrialArguments),
    /// Draw the pin field of the latest survey
    Map(show::MapArguments),
    /// Weigh the remedies, with reasons
    Verdict(show::VerdictArguments),
    /// Print the thresholds everything is judged by, as a file to change
    Profile(profile::ProfileArguments),
    /// Surveys in time and their trends; search or watch all instruments
    History(history::HistoryArguments),
    /// Log the air an instrument stands in, or list the log
    Climate(climate::ClimateArguments),
    /// Note a repair of an instrument, or list them
    Repair(repair::RepairArguments),
    /// Hold two surveys against each other: what changed, and the proof of a repair
    Compare(compare::CompareArguments),
    /// List what to order and the work, step by step
    Order(order::OrderArguments),
    /// Write the report for the customer
    Report(report::ReportArguments),
    /// Write an instrument, or its latest readings, into a file
    Export(exchange::ExportArguments),
    /// Take everything another workshop's store has, nothing twice
    Merge(exchange::MergeArguments),
    /// Check the whole store, a backup or a bundle, byte by byte
    Verify(verify::VerifyArguments),
    /// Copy the whole store into one file, and check the copy
    Backup(backup::BackupArguments),
    /// Put a backup in the place of the store, which is kept beside
    Restore(backup::RestoreArguments),
}

/// Runs the program on the process's arguments.
pub fn main() -> ExitCode {
    guarded(run).into()
}

/// Runs `work`; a panic is a bug, told in a sentence and by its own exit.
fn guarded(work: impl FnOnce() -> Exit + UnwindSafe) -> Exit {
    catch_unwind(work).unwrap_or_else(|_| {
        context::say(
            "error: this is a fault of pinhold, not of your data; what was reported as stored is \
             safe. Please report the lines above with the command that led to them",
        );
        Exit::Bug
    })
}

/// Parses, dispatches, and tells an error in one sentence.
fn run() -> Exit {
    let parsed = Arguments::command()
        .after_long_help(exit_help())
        .try_get_matches()
        .and_then(|matches| Arguments::from_arg_matches(&matches));
    let arguments = match parsed {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version come this way too. A closed pipe is nobody's fault.
            let _ = error.print();
            return if error.use_stderr() { Exit::Usage } else { Exit::Done };
        }
    };
    match Context::new(&arguments.global).and_then(|context| dispatch(&context, arguments.command))
    {
        Ok(()) => Exit::Done,
        Err(CliError { exit, sentence }) => {
            if !sentence.is_empty() {
                context::say(&format!("error: {sentence}"));
            }
            exit
        }
    }
}

/// Hands a command to its file.
fn dispatch(context: &Context, command: Command) -> Result<(), CliError> {
    match command {
        Command::Demo(arguments) => demo::run(context, &arguments),
        Command::Ports(arguments) => ports::run(context, &arguments),
        Command::Survey(arguments) => survey::run(context, &arguments),
        Command::Lever(arguments) => lever::run(context, &arguments),
        Command::Assign(arguments) => assign::run(context, &arguments),
        Command::Correct(arguments) => correct::run(context, &arguments),
        Command::Readings(arguments) => readings::run(context, &arguments),
        Command::Condition(arguments) => record::run(context, &arguments),
        Command::Trial(arguments) => trial::run(context, &arguments),
        Command::Map(arguments) => show::map(context, &arguments),
        Command::Verdict(arguments) => show::verdict(context, &arguments),
        Command::History(arguments) => history::run(context, &arguments),
        Command::Climate(arguments) => climate::run(context, &arguments),
        Command::Repair(arguments) => repair::run(context, &arguments),
        Command::Compare(arguments) => compare::run(context, &arguments),
        Command::Profile(_) => profile::run(context),
        Command::Order(arguments) => order::run(context, &arguments),
        Command::Report(arguments) => report::run(context, &arguments),
        Command::Export(arguments) => exchange::export(context, &arguments),
        Command::Merge(arguments) => exchange::merge(context, &arguments),
        Command::Verify(arguments) => verify::run(context, &arguments),
        Command::Backup(arguments) => backup::backup(context, &arguments),
        Command::Restore(arguments) => backup::restore(context, &arguments),
        Command::Instrument(arguments) => instrument::run(context, arguments),
        Command::Import(arguments) => import::run(context, &arguments),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn arguments_are_consistent() {
        Arguments::command().debug_assert();
    }

    #[test]
    fn a_panic_ends_as_a_bug() {
        assert_eq!(guarded(|| panic!("seen by the test only")), Exit::Bug);
        assert_eq!(guarded(|| Exit::Refused), Exit::Refused);
    }
}
