//! `pinhold export` and `pinhold merge`, and `pinhold import` of what an export wrote.

use std::fs::File;
use std::io::{BufReader, Read, Write};
use std::path::{Path, PathBuf};

use clap::{Args, ValueEnum};
use serde_json::{Value, json};

use super::context::{Context, say, shell_quoted};
use super::exit::{CliError, Exit};
use super::files::write_whole_with;
use super::verify::damaged;
use crate::exchange::bundle::{self, looks_like_ours};
use crate::exchange::{ExchangeError, csv, json as document};
use crate::store::moving::{Received, Receiver};
use crate::store::{self, FILE_NAME, Finding, InstrumentId, Store, StoreError};
use crate::text::printable;

const EXPORT_HELP: &str = "\
  bundle  everything that belongs to the instrument, a checksum for every record (.pinhold)
  json    the same as one JSON document; its schema is printed by --schema (.json)
  csv     the latest survey's readings, a line a pin, in the columns `pinhold import` reads (.csv);
          readings of a lever come back from it as taken by hand, so move them in a bundle. A cell
          that a spreadsheet would run as a formula gets an apostrophe before it.

Bundle and JSON hold the owner's reference and place; --without-owner leaves them out. Exported,
imported and exported again they are the same bytes.

Example:
  pinhold export parlour --out parlour.pinhold
  pinhold export parlour --out parlour.csv";

const MERGE_HELP: &str = "\
The other store, or a backup of it, is checked first and never changed. Instruments, surveys, levers
and records are known by identities of their own, so that nothing is stored twice, however often
stores are merged. Where both hold the same thing with other content, what is here stays, the
difference is named, and the exit is 6. An instrument whose name another one has here gets a number
behind it.

Example:
  pinhold merge /media/stick/other-workshop.db";

/// Arguments of `pinhold export`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = EXPORT_HELP)]
pub struct ExportArguments {
    /// The instrument
    #[arg(value_name = "NAME", required_unless_present = "schema")]
    pub instrument: Option<String>,
    /// The file to make [default: standard output]
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
    /// bundle, json or csv [default: as the file is named, else bundle]
    #[arg(long = "as", value_name = "FORM", value_enum)]
    pub form: Option<Form>,
    /// Leave out the owner's reference and the place
    #[arg(long)]
    pub without_owner: bool,
    /// Print the schema of the JSON document
    #[arg(long)]
    pub schema: bool,
}

/// Arguments of `pinhold merge`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = MERGE_HELP)]
pub struct MergeArguments {
    /// The other store's file, its folder, or a backup of it
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
}

/// Forms of an exported file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Form {
    /// A checksum for every record.
    Bundle,
    /// One document.
    Json,
    /// A table of readings.
    Csv,
}

/// What a file is by its first bytes: a bundle, a JSON document; `None` for anything else.
pub(super) fn form_of(path: &Path) -> Option<Form> {
    let mut start = Vec::new();
    File::open(path).and_then(|file| file.take(100).read_to_end(&mut start)).ok()?;
    if looks_like_ours(&start) {
        return Some(Form::Bundle);
    }
    let first = start.iter().find(|byte| !byte.is_ascii_whitespace());
    (first == Some(&b'{')).then_some(Form::Json)
}

/// Runs `pinhold export`.
///
/// # Errors
/// When the instrument is unknown, the store fails, or the file cannot be written.
pub fn export(context: &Context, arguments: &ExportArguments) -> Result<(), CliError> {
    let Some(name) = arguments.instrument.as_ref().filter(|_| !arguments.schema) else {
        return context.print(document::SCHEMA);
    };
    let by_name = |path: &PathBuf| match path.extension()?.to_str()? {
        "json" => Some(Form::Json),
        "csv" => Some(Form::Csv),
        _ => None,
    };
    let form = arguments.form.or_else(|| arguments.out.as_ref().and_then(by_name));
    let form = form.unwrap_or(Form::Bundle);
    let store = context.open_store()?;
    let id = store.find_instrument(name)?.id;
    let options = (form, arguments.without_owner);
    match &arguments.out {
        Some(path) => {
            let told = write_whole_with(path, |to| write(&store, id, options, to, path))?;
            tell_exported(context, path, form, &told)
        }
        None => {
            let mut text = Vec::new();
            write(&store, id, options, &mut text, Path::new("standard output"))?;
            context.print(&String::from_utf8_lossy(&text))
        }
    }
}

/// What an export holds, in words.
struct Told {
    count: u64,
    left_out_count: u64,
}

fn write(
    store: &Store,
    id: InstrumentId,
    (form, without_owner): (Form, bool),
    to: &mut dyn Write,
    path: &Path,
) -> Result<Told, CliError> {
    let failed = |error: ExchangeError| refused(path, error);
    let whole = |count| Told { count, left_out_count: 0 };
    match form {
        Form::Bundle => bundle::write(store, id, without_owner, to).map(whole).map_err(failed),
        Form::Json => document::write(store, id, without_owner, to).map(whole).map_err(failed),
        Form::Csv => {
            let Some(survey) = store.latest_survey(id)? else {
                let sentence = "no pin of it has been read yet, so there is no table to write";
                return Err(CliError::new(Exit::NotThere, sentence));
            };
            let written = csv::write(&store.readings_of(survey.id)?, to).map_err(failed)?;
            Ok(Told {
                count: written.row_count as u64,
                left_out_count: written.left_out_count as u64,
            })
        }
    }
}

fn tell_exported(context: &Context, path: &Path, form: Form, told: &Told) -> Result<(), CliError> {
    let file = path.to_string_lossy();
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.export",
            "version": 1,
            "file": file,
            "record_count": told.count,
            "left_out_count": told.left_out_count,
        }));
    }
    let what = if form == Form::Csv { "pins" } else { "records" };
    let mut text = format!("Wrote {} {what} to {}\n", told.count, printable(&file));
    if told.left_out_count > 0 {
        text.push_str(&format!(
            "{} readings are not in the table: set aside, without a torque, or read again later\n",
            told.left_out_count
        ));
    }
    if form == Form::Bundle {
        text.push_str(&format!("Check it anywhere: pinhold verify {}\n", shell_quoted(&file)));
    }
    context.print(&text)
}

/// Imports a bundle or document.
///
/// # Errors
/// When the file is refused or the store fails; nothing is stored then. [`Exit::DataSuspect`] when
/// something here differs.
pub(super) fn import(
    context: &Context,
    path: &Path,
    form: Form,
    rest: bool,
) -> Result<(), CliError> {
    let failed = |error: ExchangeError| refused(path, error);
    let mut skipped = Vec::new();
    if form == Form::Bundle {
        // To the end first: a damaged file is refused before anything is written.
        let report = bundle::read(&mut open(path)?, &mut |_, _| Ok(())).map_err(failed)?;
        skipped = if rest { report.findings } else { report.sound().map_err(failed)?.findings };
    }
    let mut store = context.open_store()?;
    let mut receiver = store.receive()?;
    match form {
        Form::Bundle => {
            let mut take = |line, record| match receiver.take(record) {
                Err(error @ StoreError::NotTaken { .. }) if rest => {
                    let fault = printable(&error.to_string());
                    skipped.push(Finding { place: format!("line {line}"), fault });
                    Ok(())
                }
                Err(source) => Err(ExchangeError::Refused { line, source }),
                Ok(()) => Ok(()),
            };
            bundle::read(&mut open(path)?, &mut take).map_err(failed)?;
        }
        _ => {
            let mut take = |record| receiver.take(record).map_err(ExchangeError::Store);
            document::read(&mut open(path)?, &mut take).map_err(failed)?;
        }
    }
    finish(context, receiver, &skipped)
}

/// Checks a bundle.
///
/// # Errors
/// [`Exit::DataSuspect`] when anything is wrong; when it cannot be read.
pub(super) fn verify_bundle(context: &Context, path: &Path) -> Result<(), CliError> {
    let report =
        bundle::read(&mut open(path)?, &mut |_, _| Ok(())).map_err(|error| refused(path, error))?;
    let shown = path.to_string_lossy();
    if context.json {
        let findings: Vec<Value> = report
            .findings
            .iter()
            .map(|finding| json!({ "place": finding.place, "fault": finding.fault }))
            .collect();
        context.print_document(&json!({
            "format": "pinhold.verify.bundle",
            "version": 1,
            "file": shown,
            "clean": report.finding_count == 0,
            "finding_count": report.finding_count,
            "findings": findings,
            "record_count": report.record_count,
        }))?;
    } else {
        let mut text = match report.finding_count {
            0 => format!("{}: nothing wrong\n", printable(&shown)),
            1 => format!("{}: 1 fault\n", printable(&shown)),
            count => format!("{}: {count} faults\n", printable(&shown)),
        };
        for Finding { place, fault } in &report.findings {
            text.push_str(&format!("  {place} {fault}\n"));
        }
        text.push_str(&format!("  {} records match their checksums\n", report.record_count));
        context.print(&text)?;
    }
    if report.finding_count == 0 {
        return Ok(());
    }
    let CliError { exit, .. } = damaged(path, report.finding_count);
    let sentence = format!(
        "{shown} is damaged; export it again where it came from, or import what is whole with \
         `pinhold import {} --rest`",
        shell_quoted(&shown)
    );
    Err(CliError::new(exit, sentence))
}

/// Runs `pinhold merge`.
///
/// # Errors
/// When the other store is damaged, newer or no store, or either fails; nothing is stored then.
/// [`Exit::DataSuspect`] when something here differs.
pub fn merge(context: &Context, arguments: &MergeArguments) -> Result<(), CliError> {
    let given = &arguments.file;
    let file = if given.is_dir() { given.join(FILE_NAME) } else { given.clone() };
    // A copy, so that the other one is not brought to a newer schema.
    let mut store = context.open_store()?;
    let beside = context.data.join(format!(".merge-{}", std::process::id()));
    let merged = copied(&beside, &file, store.path()).and_then(|other| store.merge(&other));
    // Gone with or without success; what stays behind after a crash is a copy and does no harm.
    let _ = std::fs::remove_dir_all(&beside);
    tell_received(context, &merged?, &[])
}

fn copied(folder: &Path, file: &Path, own: &Path) -> Result<Store, StoreError> {
    let same = |one: &Path| std::fs::canonicalize(one).ok();
    if same(file).is_some() && same(file) == same(own) {
        return Err(StoreError::OwnFile { path: file.to_path_buf() });
    }
    store::restore(folder, file, "replaced")?;
    Store::open(folder)
}

fn finish(context: &Context, receiver: Receiver<'_>, skipped: &[Finding]) -> Result<(), CliError> {
    let received = receiver.finish()?;
    tell_received(context, &received, skipped)
}

fn tell_received(
    context: &Context,
    received: &Received,
    skipped: &[Finding],
) -> Result<(), CliError> {
    for Finding { place, fault } in skipped {
        say(&format!("warning: {place} {fault}; left out"));
    }
    if context.json {
        let renamed: Vec<Value> =
            received.renamed.iter().map(|(from, to)| json!({ "from": from, "to": to })).collect();
        context.print_document(&json!({
            "format": "pinhold.received",
            "version": 1,
            "instruments": received.instruments,
            "stored": received.stored,
            "known_count": received.known_count,
            "renamed": renamed,
            "left_out_count": skipped.len(),
            "conflict_count": received.conflict_count,
            "conflicts": received.conflicts,
        }))?;
    } else {
        context.print(&received_text(received))?;
    }
    if received.conflict_count == 0 {
        return Ok(());
    }
    let sentence = format!(
        "{} records are here with other content; what is here was kept, the rest is stored. Look \
         at the places named: two stores say different things about them",
        received.conflict_count
    );
    Err(CliError::new(Exit::DataSuspect, sentence))
}

fn received_text(received: &Received) -> String {
    let mut text = String::new();
    let names: Vec<String> = received.instruments.iter().map(|name| printable(name)).collect();
    let total: u64 = received.stored.values().sum();
    text.push_str(&match names.len() {
        0 => format!("Stored {total} new records; "),
        1 => format!("Stored {total} new records of {}; ", names[0]),
        count => format!("Stored {total} new records of {count} instruments; "),
    });
    text.push_str(&format!("{} were here already.\n", received.known_count));
    for (kind, count) in &received.stored {
        text.push_str(&format!("  {count} {}\n", kind.replace('_', " ")));
    }
    for (from, to) in &received.renamed {
        text.push_str(&format!(
            "Another instrument is called {} here: the new one is now {}\n",
            printable(from),
            printable(to)
        ));
    }
    for conflict in &received.conflicts {
        text.push_str(&format!("Differs: {}\n", printable(conflict)));
    }
    let named = received.conflicts.len() as u64;
    if received.conflict_count > named {
        text.push_str(&format!("and {} more\n", received.conflict_count - named));
    }
    if let [name] = &received.instruments[..] {
        text.push_str(&format!("Next: pinhold instrument show {}\n", shell_quoted(name)));
    }
    text
}

fn open(path: &Path) -> Result<BufReader<File>, CliError> {
    File::open(path).map(BufReader::new).map_err(|source| refused(path, source.into()))
}

fn refused(path: &Path, error: ExchangeError) -> CliError {
    let exit = match error {
        ExchangeError::Store(inner) => return CliError::from(inner),
        ExchangeError::File(_) => Exit::InputOutput,
        ExchangeError::Damaged { .. } => Exit::DataSuspect,
        _ => Exit::Refused,
    };
    CliError::new(exit, format!("{}: {error}", path.display()))
}
