//! `pinhold lever record`: a calibration as a document to print and keep.

use std::path::PathBuf;

use clap::Args;
use serde_json::json;

use super::history::lever_parser;
use crate::calibration::record::CalibrationRecord;
use crate::cli::context::Context;
use crate::cli::exit::{CliError, Exit};
use crate::cli::files::write_whole;
use crate::cli::form::Form;
use crate::report::calibration;
use crate::store::Store;
use crate::text::printable;

/// Arguments of `pinhold lever record`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
The in-house calibration record: data, residuals, constants, expanded uncertainty (k = 2) over the
range, conditions, date and next due. It is not an accredited certificate, and says so.

Examples:
  pinhold lever record --out lever.pdf
  pinhold lever record 00000000000002a7 --number 3 --out lever-3.html")]
pub(super) struct RecordArguments {
    /// The lever's identity, as 'pinhold lever status' shows it [default: the only calibrated one]
    #[arg(value_name = "LEVER", value_parser = lever_parser)]
    pub lever: Option<u64>,
    /// Number of the calibration [default: the latest]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..))]
    pub number: Option<u32>,
    /// Where to write it: a name ending in .html or .pdf
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
}

/// Runs the command.
///
/// # Errors
/// When there is no such calibration, or the file cannot be written.
pub(super) fn run(context: &Context, arguments: &RecordArguments) -> Result<(), CliError> {
    let form = Form::of(&arguments.out, "record")?;
    let store = context.open_store()?;
    let device = match arguments.lever {
        Some(device) => device,
        None => only_lever(&store)?,
    };
    let record = chosen(&store, device, arguments.number)?;
    write_whole(&arguments.out, &form.bytes(&calibration::document(&record, context.unit))?)?;
    let path = printable(&arguments.out.to_string_lossy());
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.lever.record",
            "version": 1,
            "lever": format!("{device:016x}"),
            "calibration": record.number,
            "file": path,
        }));
    }
    let number = record.number;
    context.print(&format!("calibration {number} of lever {device:016x} written to {path}\n"))
}

fn only_lever(store: &Store) -> Result<u64, CliError> {
    match store.calibrated_levers()?[..] {
        [device] => Ok(device),
        [] => Err(CliError::new(
            Exit::NotThere,
            "no lever was calibrated with this store yet; calibrate one with 'pinhold lever \
             calibrate'",
        )),
        ref several => {
            let names: Vec<String> = several.iter().map(|one| format!("{one:016x}")).collect();
            let names = names.join(", ");
            let sentence = format!("several levers are calibrated; name one of {names}");
            Err(CliError::new(Exit::Usage, sentence))
        }
    }
}

fn chosen(store: &Store, device: u64, number: Option<u32>) -> Result<CalibrationRecord, CliError> {
    let found = match number {
        Some(number) => store.calibration(device, number)?,
        None => store.calibrations_of(device)?.pop(),
    };
    found.ok_or_else(|| {
        let which = number.map_or("no calibration".to_owned(), |n| format!("no calibration {n}"));
        let sentence = format!(
            "lever {device:016x} has {which} in this store; 'pinhold lever history' lists them"
        );
        CliError::new(Exit::NotThere, sentence)
    })
}
