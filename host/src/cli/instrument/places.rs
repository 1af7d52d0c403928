//! `pinhold instrument places`: measured positions into the store.

use std::path::{Path, PathBuf};

use clap::Args;
use pinhold_protocol::record::Pin;
use serde_json::json;

use super::super::context::{Context, shell_quoted};
use super::super::exit::{CliError, Exit};
use crate::import::places::{Placed, PlacesError, apply, parse};
use crate::import::read_file;
use crate::instrument::pin_name;
use crate::text::printable;

/// Most pins named one by one.
const NAME_COUNT_SHOWN: usize = 12;

const LONG_HELP: &str = "\
The first line names the columns; lines that begin with # are comments. One row for a pin, as few
or as many as were measured: pins without a row, and empty cells, stay as they are.

Columns:
  note, string   1 (A0) to 88 (C8) or a name such as A4; L, C, R, or D for a fourth string
  x_mm           from the bass end of the field towards the treble
  y_mm           away from the plate flange side
  flange_mm      from the plate flange
  section        between plate struts, 0 in the bass
  row            0 is the row nearest the plate flange
  pin_um, pin_mm pin diameter

Where all strings of a unison have a y and no row, they take the rows of that unison in the order
of y. A faulty row refuses the whole file, and every fault is named.

Examples:
  printf 'note,string,x_mm,y_mm\\nC4,L,512.5,1.5\\n' > positions.csv
  pinhold instrument places parlour positions.csv --preview
  pinhold instrument layout parlour --csv > positions.csv";

/// Arguments of `pinhold instrument places`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = LONG_HELP)]
pub struct PlacesArguments {
    /// Name of the instrument
    #[arg(value_name = "NAME")]
    pub name: String,
    /// The CSV file
    #[arg(value_name = "FILE.csv")]
    pub file: PathBuf,
    /// Add pins that the instrument does not have; they need x and y
    #[arg(long)]
    pub add: bool,
    /// Say what would change, and store nothing
    #[arg(long)]
    pub preview: bool,
}

/// Runs the command.
///
/// # Errors
/// When the instrument is unknown, the file is refused, or the store fails.
pub(super) fn run(context: &Context, arguments: &PlacesArguments) -> Result<(), CliError> {
    let refused = |error: PlacesError| refused(&arguments.file, &error);
    // The file comes first: one that is refused leaves not even an empty store behind.
    let bytes = read_file(&arguments.file).map_err(|error| refused(error.into()))?;
    let rows = parse(&bytes).map_err(refused)?;
    let mut store = context.open_store()?;
    let mut record = store.find_instrument(&arguments.name)?;
    let placed = apply(&record.instrument, &rows, arguments.add).map_err(refused)?;
    record.instrument = placed.instrument.clone();
    if !arguments.preview {
        store.edit_instrument(&record)?;
    }
    let names = |pins: &[Pin]| pins.iter().map(|pin| pin_name(*pin)).collect::<Vec<String>>();
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.instrument.places",
            "version": 1,
            "instrument": record.instrument.name,
            "stored": !arguments.preview,
            "row_count": rows.len(),
            "changed": names(&placed.changed),
            "added": names(&placed.added),
            "rows_changed": names(&placed.rows_changed),
        }));
    }
    context.print(&told(arguments, rows.len(), &placed))
}

fn told(arguments: &PlacesArguments, row_count: usize, placed: &Placed) -> String {
    let name = &placed.instrument.name;
    let verb = if arguments.preview { "Would change" } else { "Changed" };
    let mut text = format!(
        "{verb} {} of the {row_count} pins named, {} pins in all of {}\n",
        placed.changed.len(),
        placed.instrument.pins.len(),
        printable(name)
    );
    for (label, pins) in [("added", &placed.added), ("row by position", &placed.rows_changed)] {
        if !pins.is_empty() {
            let shown: Vec<String> =
                pins.iter().take(NAME_COUNT_SHOWN).map(|pin| pin_name(*pin)).collect();
            let more = pins.len().saturating_sub(NAME_COUNT_SHOWN);
            let more = if more > 0 { format!(" and {more} more") } else { String::new() };
            text.push_str(&format!("  {label}: {}{more}\n", shown.join(", ")));
        }
    }
    if !arguments.preview {
        text.push_str(&format!("Next: pinhold map {}\n", shell_quoted(name)));
    }
    text
}

fn refused(path: &Path, error: &PlacesError) -> CliError {
    let exit = match error {
        PlacesError::NotFound { .. } => return CliError::new(Exit::NotThere, error.to_string()),
        PlacesError::Unreadable { .. } => Exit::InputOutput,
        _ => Exit::Refused,
    };
    CliError::new(exit, format!("{}: {error}", printable(&path.to_string_lossy())))
}
