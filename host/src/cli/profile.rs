//! `pinhold profile`, and the profile every command judges by.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Map, json};

use super::context::Context;
use super::exit::{CliError, Exit};
use super::files::text_of;
use crate::analysis::Profile;
use crate::text::printable;

/// The profile in the data folder.
const FILE: &str = "profile.toml";

/// Arguments of `pinhold profile`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Every threshold the analysis uses, with its grade and source, as a file: those of yours set, ours as
remarks. Put into the data folder as profile.toml it holds for every command; --profile takes
another. A verdict is stored with what was set.

Examples:
  pinhold profile > profile.toml
  pinhold --profile profile.toml verdict parlour")]
pub struct ProfileArguments {}

/// Runs the command.
///
/// # Errors
/// When standard output cannot be written.
pub(super) fn run(context: &Context) -> Result<(), CliError> {
    if context.json {
        let set: Map<_, _> =
            context.profile.set_by_user().into_iter().map(|(k, v)| (k.into(), v.into())).collect();
        return context.print_document(&json!({
            "format": "pinhold.profile",
            "version": 1,
            "set": set,
            "thresholds": context.profile.thresholds().into_iter().map(|(name, unit, graded)| {
                json!({
                    "name": name, "unit": unit, "value": graded.value,
                    "grade": graded.grade.mark(), "source": graded.source,
                })
            }).collect::<Vec<_>>(),
        }));
    }
    context.print(&context.profile.file())
}

/// The named profile, else the one in the data folder, else ours.
///
/// # Errors
/// When the file is named and not there, or is no profile.
pub(super) fn of_run(named: Option<&Path>, data: &Path) -> Result<Profile, CliError> {
    let kept = data.join(FILE);
    let path: PathBuf = match named {
        Some(path) => path.to_owned(),
        None if kept.is_file() => kept,
        None => return Ok(Profile::default()),
    };
    let refused = |why: String| {
        let path = printable(&path.to_string_lossy());
        CliError::new(Exit::Refused, format!("{path} is no profile: {why}"))
    };
    Profile::read(&text_of(&path)?).map_err(|error| refused(printable(&error.to_string())))
}
