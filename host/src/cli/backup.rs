//! `pinhold backup` and `pinhold restore`.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::context::{Context, shell_quoted};
use super::exit::CliError;
use super::verify::what_was_checked;
use crate::store;
use crate::text::printable;

const BACKUP_HELP: &str = "\
The copy is of one moment, also while a survey runs. It gets its name only after it was checked and
is on the disk; until then, and when anything fails, an earlier backup of that name stays. It is a
store like the one in use, and any SQLite program opens it. Keep one on another disk.

A backup holds customers' data. Erasing them from the store does not reach it.

Example:
  pinhold backup /media/stick/pinhold-2026-11-30.db";

const RESTORE_HELP: &str = "\
The backup is checked first; one that is damaged is refused. The store that was in use is kept
beside the new one, with the time in its name. A backup of an older pinhold is brought to the newest
schema by the next command that opens the store.

Example:
  pinhold restore /media/stick/pinhold-2026-11-30.db";

/// Arguments of `pinhold backup`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = BACKUP_HELP)]
pub struct BackupArguments {
    /// The file to make
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
}

/// Arguments of `pinhold restore`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = RESTORE_HELP)]
pub struct RestoreArguments {
    /// The backup
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
}

/// Runs `pinhold backup`.
///
/// # Errors
/// When the store or the file fails, or the copy does not check.
pub fn backup(context: &Context, arguments: &BackupArguments) -> Result<(), CliError> {
    let checked = context.open_store()?.backup(&arguments.file)?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.backup",
            "version": 1,
            "file": checked.path.to_string_lossy(),
            "sealed_row_count": checked.sealed_count,
            "record_count": checked.record_count,
        }));
    }
    let file = printable(&checked.path.to_string_lossy());
    let again = shell_quoted(&checked.path.to_string_lossy());
    context.print(&format!(
        "Backed up to {file}, and checked:\n{}Back again: pinhold restore {again}\n",
        what_was_checked(&checked)
    ))
}

/// Runs `pinhold restore`.
///
/// # Errors
/// When the backup is damaged or another program's, the store is in use, or a file fails; the
/// store is then as it was.
pub fn restore(context: &Context, arguments: &RestoreArguments) -> Result<(), CliError> {
    let stamp = format!("replaced-{}", context.now.replace(':', "-"));
    let restored = store::restore(&context.data, &arguments.file, &stamp)?;
    let aside = restored.aside.as_ref().map(|path| path.to_string_lossy().into_owned());
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.restore",
            "version": 1,
            "file": restored.checked.path.to_string_lossy(),
            "replaced_store": aside,
            "sealed_row_count": restored.checked.sealed_count,
            "record_count": restored.checked.record_count,
        }));
    }
    let file = printable(&arguments.file.to_string_lossy());
    let mut text = format!("Restored from {file}:\n{}", what_was_checked(&restored.checked));
    if let Some(aside) = aside {
        text.push_str(&format!("The store that was in use is kept as {}\n", printable(&aside)));
    }
    context.print(&text)
}
