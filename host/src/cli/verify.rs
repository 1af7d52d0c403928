//! `pinhold verify`: everything in the store, a backup or a bundle, held against its checksums.

use std::path::{Path, PathBuf};

use clap::Args;
use serde_json::{Value, json};

use super::context::Context;
use super::exchange;
use super::exit::{CliError, Exit};
use crate::store::{Checked, FILE_NAME, verify};
use crate::text::printable;

const LONG_HELP: &str = "\
Checked are the file's structure, its schema, what points to what, the seal of every row, and the
checksum the lever itself made of every record. A fault is named by instrument, survey and pin, and
the exit is 6. Nothing is changed. What is not named can be read as before; a reading that does not
match its seal is left out of maps and verdicts, which say so.

Rows written by another program carry no seal and are named as well.

Example:
  pinhold verify
  pinhold verify /media/stick/pinhold-backup.db";

/// Arguments of `pinhold verify`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = LONG_HELP)]
pub struct VerifyArguments {
    /// A backup or bundle [default: the store]
    #[arg(value_name = "FILE")]
    pub file: Option<PathBuf>,
}

/// Runs the command.
///
/// # Errors
/// [`Exit::DataSuspect`] when anything is wrong; when there is no such file or it is another
/// program's.
pub fn run(context: &Context, arguments: &VerifyArguments) -> Result<(), CliError> {
    let store = context.data.join(FILE_NAME);
    let path = arguments.file.as_ref().unwrap_or(&store);
    if arguments.file.is_none() && !store.exists() {
        let sentence = format!(
            "there is no store in {} yet; any command that stores something makes it",
            context.data.display()
        );
        return Err(CliError::new(Exit::NotThere, sentence));
    }
    if exchange::form_of(path) == Some(exchange::Form::Bundle) {
        return exchange::verify_bundle(context, path);
    }
    let checked = verify(path)?;
    if context.json {
        context.print_document(&document(&checked))?;
    } else {
        context.print(&text(&checked))?;
    }
    if checked.is_clean() { Ok(()) } else { Err(damaged(path, checked.finding_count)) }
}

/// What to do about a damaged file.
pub(super) fn damaged(path: &Path, count: u64) -> CliError {
    let places = if count == 1 { "one place".to_owned() } else { format!("{count} places") };
    let sentence = format!(
        "{} is damaged in {places}; what is not named can be read as before. Check a backup with \
         `pinhold verify FILE` and put it in the store's place with `pinhold restore FILE`, which \
         keeps the damaged one beside it; then fetch what the lever still has with `pinhold lever \
         fetch`, and copy the disk before you trust it again",
        path.display()
    );
    CliError::new(Exit::DataSuspect, sentence)
}

fn text(checked: &Checked) -> String {
    let path = printable(&checked.path.to_string_lossy());
    let mut text = match checked.finding_count {
        0 => format!("{path}: nothing wrong\n"),
        1 => format!("{path}: 1 fault\n"),
        count => format!("{path}: {count} faults\n"),
    };
    for finding in &checked.findings {
        text.push_str(&format!("  {} {}\n", finding.place, finding.fault));
    }
    let named = checked.findings.len() as u64;
    if checked.finding_count > named {
        text.push_str(&format!("  and {} more\n", checked.finding_count - named));
    }
    text.push_str(&what_was_checked(checked));
    text
}

/// What is in the file, and what it was held against.
pub(super) fn what_was_checked(checked: &Checked) -> String {
    let [instruments, surveys, readings, by_hand, others] = checked.counts;
    let mut text = format!(
        "  {}, {}, {} by levers, {by_hand} by hand, {}\n",
        counted(instruments, "instrument"),
        counted(surveys, "survey"),
        counted(readings, "reading"),
        counted(others, "other record"),
    );
    text.push_str(&if checked.has_seals() {
        format!(
            "  checked: structure, schema, references; {} against their seals, {} against the \
             lever's own checksums\n",
            counted(checked.sealed_count, "row"),
            counted(checked.record_count, "record"),
        )
    } else {
        format!(
            "  checked: structure, schema, references; {} against the lever's own checksums; \
             schema {} has no seals yet: any command that opens the store makes them\n",
            counted(checked.record_count, "record"),
            checked.schema
        )
    });
    text
}

fn counted(count: u64, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

fn document(checked: &Checked) -> Value {
    let [instruments, surveys, readings, by_hand, others] = checked.counts;
    let findings: Vec<Value> = checked
        .findings
        .iter()
        .map(|finding| json!({ "place": finding.place, "fault": finding.fault }))
        .collect();
    json!({
        "format": "pinhold.verify",
        "version": 1,
        "file": checked.path.to_string_lossy(),
        "schema": checked.schema,
        "clean": checked.is_clean(),
        "finding_count": checked.finding_count,
        "findings": findings,
        "sealed_row_count": checked.sealed_count,
        "record_count": checked.record_count,
        "instrument_count": instruments,
        "survey_count": surveys,
        "lever_reading_count": readings,
        "hand_reading_count": by_hand,
        "other_record_count": others,
    })
}
