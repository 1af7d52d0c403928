//! `pinhold instrument layout`: the description of a field, printed or laid out anew.

use std::path::Path;

use clap::Args;
use serde_json::{Value, json};

use super::super::context::{Context, shell_quoted};
use super::super::exit::{CliError, Exit};
use super::shown::{headline, pin_document, stray_readings, stray_sentence};
use crate::import::{ImportError, places, read_file};
use crate::instrument::Instrument;
use crate::instrument::layout::{BUILTIN_WORDS, Layout, builtin, describe};
use crate::text::{printable, printable_short};

/// Characters of a word shown in a message.
const WORD_LENGTH_SHOWN: usize = 60;

const LONG_HELP: &str = "\
A layout is a short TOML text. Lengths are in millimetres; notes are numbers or names, pins are
such as \"40L\". Row 0 is the row nearest the plate flange: on a grand the one farthest from the
keyboard, on an upright the lowest. x counts from the bass end, y away from the flange side.

  format = \"pinhold.layout\"
  version = 1
  kind = \"grand\"                # or upright; with the compass, all that must be said
  compass = \"A0..C8\"
  face = \"full\"                 # three-quarter: flange only where measured; open: no flange
  stringing = \"10/17/61\"        # singles/bichords/trichords
  pin_mm = 7.0                   # also per section, by [pin_sizes], by pin
  pitch_mm = 13.5                # these four also per section
  row_spacing_mm = 21
  slant_mm = 4.5                 # shift of each row towards the treble
  gap_mm = 45                    # free plank at a strut
  missing = [\"88R\"]

  [strings]                      # strings of single notes, four-string unisons too
  \"A7..C8\" = 4
  [pin_sizes]
  \"A0..E2\" = 7.25
  [rows_of]                      # rows of left, centre, right, fourth string
  bichord = [0, 1]
  trichord = [0, 1, 2]
  [flange]
  distance_mm = 14               # from the flange to y = 0
  curve_mm = [[0, 20], [300, 0]] # [x, how much farther it is there]

  [[section]]                    # between plate struts, from the bass up
  last = \"B2\"
  rows = 2                       # pins dealt over rows in turn; deal = [1, 0] for another order
  row0_mm = 10                   # from y = 0 to its row 0
  [[section]]
  last = \"C8\"
  rows_of.trichord = [2, 1, 0]
  flange_mm = 18                 # a flange of its own

  [[pin]]                        # one pin as it really is, or an extra one
  pin = \"40L\"
  x_mm = 512.5
  y_mm = 1.5
  row = 0

Examples:
  pinhold instrument layout --builtin grand-88 > mine.toml
  pinhold instrument add parlour --layout mine.toml
  pinhold instrument layout parlour --csv > positions.csv";

/// Arguments of `pinhold instrument layout`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = LONG_HELP)]
pub struct LayoutArguments {
    /// Name of the instrument
    #[arg(value_name = "NAME", required_unless_present = "builtin")]
    pub name: Option<String>,
    /// Print a built-in layout instead of an instrument's
    #[arg(long, value_name = "WORD", value_parser = BUILTIN_WORDS, conflicts_with = "name")]
    pub builtin: Option<String>,
    /// Print the positions of all pins as CSV, as `pinhold instrument places` reads them
    #[arg(long, conflicts_with = "set")]
    pub csv: bool,
    /// Lay the instrument out anew: a built-in layout or a file; measured positions are forgotten
    #[arg(long, value_name = "WORD|FILE.toml", requires = "name")]
    pub set: Option<String>,
}

/// Runs the command.
///
/// # Errors
/// When the instrument is unknown, the layout is refused, or the store fails.
pub(super) fn run(context: &Context, arguments: &LayoutArguments) -> Result<(), CliError> {
    if let Some(set) = &arguments.set {
        // The file comes first: one that is refused leaves not even an empty store behind.
        let layout = named(set)?;
        return lay_out_anew(context, arguments.name.as_deref().unwrap_or_default(), &layout);
    }
    let (instrument, text) = match (&arguments.builtin, &arguments.name) {
        (Some(word), _) => {
            let (layout, text) = builtin(word).ok_or_else(|| unknown(word))?;
            (layout.instrument(word), text.to_owned())
        }
        (None, name) => {
            let store = context.open_store()?;
            let record = store.find_instrument(name.as_deref().unwrap_or_default())?;
            let text = describe(&record.instrument, &store.layout_of(record.id)?);
            (record.instrument, text.unwrap_or_default())
        }
    };
    if context.json {
        return context.print_document(&document(&instrument, &text));
    }
    if arguments.csv {
        return context.print(&places::table(&instrument.pins));
    }
    context.print(&text)
}

/// The layout of a built-in's word, or of a file.
pub(super) fn named(word: &str) -> Result<Layout, CliError> {
    if let Some((layout, _)) = builtin(word) {
        return Ok(layout);
    }
    let path = Path::new(word);
    let shown = printable(&path.to_string_lossy());
    let bytes = read_file(path).map_err(|error| match error {
        ImportError::NotFound { .. } => unknown(word),
        ImportError::Unreadable { source } => CliError::new(
            Exit::InputOutput,
            format!("{shown} cannot be read ({source}); check its permissions"),
        ),
        ImportError::NotAFile => {
            CliError::new(Exit::Refused, format!("{shown} is a folder, not a layout"))
        }
        _ => CliError::new(Exit::Refused, format!("{shown} is too large to be a layout")),
    })?;
    let text = String::from_utf8(bytes).map_err(|_| {
        CliError::new(Exit::Refused, format!("{shown} is not UTF-8 text; save it as UTF-8"))
    })?;
    Layout::parse(&text).map_err(|error| CliError::new(Exit::Refused, format!("{shown}: {error}")))
}

fn unknown(word: &str) -> CliError {
    CliError::new(
        Exit::NotThere,
        format!(
            "there is no layout or file named {}; built in are {}",
            printable_short(word, WORD_LENGTH_SHOWN),
            BUILTIN_WORDS.join(", ")
        ),
    )
}

fn lay_out_anew(context: &Context, name: &str, layout: &Layout) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let mut record = store.find_instrument(name)?;
    let mut old = record.instrument;
    let strings = std::mem::take(&mut old.strings);
    record.instrument = Instrument { strings, ..layout.instrument(&old.name) };
    // A size that was entered is still the pin's, unless the layout gives one.
    for field in &mut record.instrument.pins {
        let entered = || old.find_pin(field.pin)?.diameter_um;
        field.diameter_um = field.diameter_um.or_else(entered);
    }
    store.lay_out_anew(&record, &layout.to_text())?;
    let strays = stray_readings(&store, &record)?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.instrument.laid-out",
            "version": 1,
            "instrument": record.instrument.name,
            "pin_count": record.instrument.pins.len(),
            "pin_count_before": old.pins.len(),
            "stray_reading_count": strays,
        }));
    }
    let next = shell_quoted(&record.instrument.name);
    context.print(&format!(
        "Laid out anew {}\n{}Next: pinhold map {next}\n",
        headline(&record),
        stray_sentence(strays)
    ))
}

fn document(instrument: &Instrument, text: &str) -> Value {
    let pins: Vec<Value> = instrument.pins.iter().map(pin_document).collect();
    json!({
        "format": "pinhold.instrument.layout",
        "version": 1,
        "instrument": instrument.name,
        "layout": text,
        "pins": pins,
    })
}
