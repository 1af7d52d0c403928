//! `pinhold instrument strings`: a string scale into the store, and what follows for every pin.

use std::path::{Path, PathBuf};

use clap::Args;
use pinhold_protocol::record::Pin;
use serde_json::{Value, json};

use super::context::{Context, shell_quoted};
use super::exit::CliError;
use super::parsers::name_parser;
use crate::analysis::input::Estimate;
use crate::import::read_file;
use crate::import::strings::{ScaleRow, StringsError, foreign_rows, parse};
use crate::instrument::moment::{PinString, string_on_pin};
use crate::instrument::note::note_name;
use crate::instrument::pitch::A4_HZ_ISO16;
use crate::instrument::pitch_cost::PitchBound;
use crate::instrument::scale::neighbours::{SuspectRow, suspects};
use crate::instrument::scale::{StringScale, StringSource};
use crate::instrument::strings::NEWTONS_PER_LBF;
use crate::instrument::{FieldPin, Instrument};
use crate::store::StoredScale;
use crate::text::{printable, printable_short};
use crate::units::TorqueUnit;

/// Longest name of a file kept, characters.
const ORIGIN_LENGTH_MAX: usize = 200;

const LONG_HELP: &str = "\
Without a file: what is known of every string at target pitch: tension, its moment about the pin
with the standard uncertainty, how many cents one degree of the pin can be at most, and whether
that rests on data, on neighbours that were measured, or on what such strings usually have.

A file has one row for a note, or for one of its strings. The first line names the columns; lines
that begin with # are comments.

Required columns:
  note             1 (A0) to 88 (C8), or a name such as A4
  speaking_length  with its unit: speaking_length_mm, _cm, _m, _in (inches may have fractions)
  wire             wire_gauge (American, 12 to 22), or a diameter: wire_mm, wire_in; the core of a
                   wound string

Optional columns:
  string           L, C, R or D; empty for all strings of the note
  wound_mass_g_per_m   mass per length of the wound part, core included
  winding          copper or iron, with outer_mm (diameter over the winding) or wrap_mm (of the
                   winding wire)
  packing          share of the winding's ring that is metal; default 0.84, round wire 0.785
  total_length     the whole wire from hitch to pin; default: as short as it may be
  pin              pin diameter: pin_mm, pin_um, pin_in
  u_length, u_wire, u_mass_percent, u_packing   standard uncertainties; default: usual care

Columns without a unit in their name take it from the cell, as in 398 mm. Strings without a row
follow those like them, never across the bass break or from plain to wound wire. A faulty row
refuses the whole file, and every fault is named.

Examples:
  printf 'note,speaking_length_mm,wire_gauge\\nC4,652,17\\nA4,398,16\\n' > strings.csv
  pinhold instrument strings parlour strings.csv --preview
  pinhold instrument strings parlour";

/// Arguments of `pinhold instrument strings`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = LONG_HELP)]
pub struct StringsArguments {
    /// Name of the instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// The CSV file to store
    #[arg(value_name = "FILE.csv")]
    pub file: Option<PathBuf>,
    /// Show what the file would give, and store nothing
    #[arg(long, requires = "file")]
    pub preview: bool,
    /// Target pitch of A4, Hz [default: 440]
    #[arg(long, value_name = "HZ", value_parser = pitch_parser, requires = "file")]
    pub a4: Option<f64>,
    /// Forget the string scale stored before
    #[arg(long, conflicts_with = "file")]
    pub forget: bool,
}

/// A pitch of A4 that pianos have or had, to a thousandth of a hertz.
fn pitch_parser(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(hertz) if (380.0..=480.0).contains(&hertz) => Ok((hertz * 1e3).round() / 1e3),
        _ => Err("use 380 to 480 Hz".to_string()),
    }
}

/// Runs the command.
///
/// # Errors
/// When the instrument is unknown, the file is refused, or the store fails.
pub fn run(context: &Context, arguments: &StringsArguments) -> Result<(), CliError> {
    let a4_hz = arguments.a4.unwrap_or(A4_HZ_ISO16);
    let refused = |path: &Path, error: &StringsError| CliError::refused_strings(path, error);
    // The file comes first: one that is refused leaves not even an empty store behind.
    let rows = match &arguments.file {
        Some(path) => {
            let bytes = read_file(path).map_err(StringsError::from);
            let rows = bytes.and_then(|bytes| parse(&bytes, a4_hz));
            Some((path, rows.map_err(|error| refused(path, &error))?))
        }
        None => None,
    };
    let mut store = context.open_store()?;
    let mut record = store.find_instrument(&arguments.name)?;
    let mut new = StoredScale {
        entered: context.now.clone(),
        origin: "forgotten".to_owned(),
        scale: StringScale::default(),
    };
    if let Some((path, rows)) = rows {
        let faults = foreign_rows(&record.instrument, &rows);
        if !faults.is_empty() {
            return Err(refused(path, &StringsError::Rows { faults }));
        }
        take_sizes(&mut record.instrument, &rows);
        new.origin = origin_of(path);
        let rows = rows.iter().map(|row| row.row).collect();
        new.scale = StringScale { a4_hz, rows };
        record.instrument.strings = new.scale.clone();
        if !arguments.preview {
            store.keep_string_scale(record.id, &new, &record.instrument.pins)?;
        }
    } else if arguments.forget {
        record.instrument.strings = new.scale.clone();
        store.keep_string_scale(record.id, &new, &record.instrument.pins)?;
    } else {
        return tell(context, &record.instrument, store.string_scale(record.id)?.as_ref());
    }
    if arguments.preview || context.json {
        return tell(context, &record.instrument, Some(&new));
    }
    tell_stored(context, &record.instrument)
}

/// Pin sizes that the rows give, a string's own before its note's.
fn take_sizes(instrument: &mut Instrument, rows: &[ScaleRow]) {
    for field in &mut instrument.pins {
        let sizes = || rows.iter().filter_map(ScaleRow::size);
        let sizes = || sizes().filter(|size| size.note == field.pin.note);
        let size = sizes()
            .find(|size| size.string == Some(field.pin.string))
            .or_else(|| sizes().find(|size| size.string.is_none()));
        field.diameter_um = size.map(|size| size.diameter_um).or(field.diameter_um);
    }
}

/// A file's name, as kept.
fn origin_of(path: &Path) -> String {
    let name = path.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
    printable_short(&name, ORIGIN_LENGTH_MAX)
}

/// How many pins rest on what: data, neighbours, class.
fn counts(instrument: &Instrument) -> [usize; 3] {
    let mut counts = [0; 3];
    for field in &instrument.pins {
        counts[match string_on_pin(instrument, field.pin, None).source {
            StringSource::Data => 0,
            StringSource::Neighbours { .. } => 1,
            StringSource::Class => 2,
        }] += 1;
    }
    counts
}

fn counts_line(instrument: &Instrument) -> String {
    let [data, neighbours, class] = counts(instrument);
    format!(
        "{} pins: {data} from data, {neighbours} from neighbours, {class} by what their kind \
         usually has\n",
        instrument.pins.len()
    )
}

fn suspects_text(found: &[SuspectRow]) -> String {
    let line = |row: &SuspectRow| {
        format!(
            "{} pulls {:.2} of what all others lead to expect: check its length and wire\n",
            note_name(row.note).unwrap_or_default(),
            row.ratio
        )
    };
    found.iter().map(line).collect()
}

fn tell_stored(context: &Context, instrument: &Instrument) -> Result<(), CliError> {
    let name = printable(&instrument.name);
    let stored = match instrument.strings.rows.len() {
        0 => format!("The string scale of {name} is forgotten.\n"),
        1 => format!("Stored 1 row of the string scale of {name}.\n"),
        count => format!("Stored {count} rows of the string scale of {name}.\n"),
    };
    let (counts, odd) = (counts_line(instrument), suspects_text(&suspects(instrument)));
    let next = shell_quoted(&instrument.name);
    context.print(&format!("{stored}{counts}{odd}Next: pinhold instrument strings {next}\n"))
}

fn tell(
    context: &Context,
    instrument: &Instrument,
    stored: Option<&StoredScale>,
) -> Result<(), CliError> {
    if context.json {
        return context.print_document(&document(instrument, stored));
    }
    let mut text = format!("{}: strings at A4 = ", printable(&instrument.name));
    text.push_str(&format!("{} Hz", instrument.strings.a4_hz));
    match stored.filter(|stored| !stored.scale.is_empty()) {
        Some(stored) => text.push_str(&format!(
            ", from {} ({})\n",
            printable(&stored.origin),
            printable(&stored.entered)
        )),
        None => text.push_str(", none of them measured\n"),
    }
    text.push_str(&table(instrument, context.unit));
    text.push_str(&counts_line(instrument));
    text.push_str(&suspects_text(&suspects(instrument)));
    text.push_str(
        "moment: about the pin at target pitch, ± its standard uncertainty\n\
         cents/°: one degree of the pin changes the pitch by at most that\n",
    );
    context.print(&text)
}

/// What a line of the table says of its strings.
type Shown = (PinString, f64);

/// One line a note, or a string where they differ.
fn table(instrument: &Instrument, unit: TorqueUnit) -> String {
    let tension_unit = tension_in(unit).1;
    let mut text = format!(
        "{:<8} {:<5} {:>9} {:>7} {:>11} {:>15} {:>8}  from\n",
        "string",
        "kind",
        "length mm",
        "wire mm",
        format!("tension {tension_unit}"),
        format!("moment {unit}"),
        "cents/°"
    );
    for note in instrument.first_note..=instrument.last_note {
        let of_note = instrument.pins.iter().filter(|field| field.pin.note == note);
        let shown: Vec<(&FieldPin, Shown)> =
            of_note.map(|field| (field, shown(instrument, field.pin))).collect();
        let name = note_name(note).unwrap_or_default();
        match shown.split_first() {
            Some((first, rest)) if rest.iter().all(|(_, other)| *other == first.1) => {
                let label = match rest.len() {
                    0 => name,
                    more => format!("{name} ×{}", more + 1),
                };
                text.push_str(&line(&label, &first.1, unit));
            }
            _ => {
                for (field, shown) in &shown {
                    let label = format!("{name} {}", field.pin.string.letter());
                    text.push_str(&line(&label, shown, unit));
                }
            }
        }
    }
    text
}

fn shown(instrument: &Instrument, pin: Pin) -> Shown {
    let string = string_on_pin(instrument, pin, None);
    (string, PitchBound::of(instrument, pin).cents_per_degree)
}

fn line(label: &str, (string, cents): &Shown, unit: TorqueUnit) -> String {
    // A neighbour's length is not this string's.
    let own = string.speaking_length_m.filter(|_| string.source == StringSource::Data);
    let length = own.map_or("–".to_owned(), |length_m| format!("{:.1}", length_m * 1e3));
    let from = match string.source {
        StringSource::Neighbours { distance_notes: 1 } => "neighbours, 1 note away".to_owned(),
        StringSource::Neighbours { distance_notes } => {
            format!("neighbours, {distance_notes} notes away")
        }
        source => source.word().to_owned(),
    };
    format!(
        "{label:<8} {:<5} {length:>9} {:>7.3} {:>11.0} {:>15} {cents:>8.0}  {from}\n",
        string.kind.word(),
        string.wire_m * 1e3,
        string.tension_n.value / tension_in(unit).0,
        moment_text(string.moment_nm, unit),
    )
}

/// A moment with a digit more than a hand reading, since its uncertainty is that small.
fn moment_text(moment_nm: Estimate, unit: TorqueUnit) -> String {
    let digits = unit.decimals() + 1;
    format!(
        "{:.digits$} ± {:.digits$}",
        unit.from_newton_metres(moment_nm.value),
        unit.from_newton_metres(moment_nm.u)
    )
}

/// Newtons in the unit of force that goes with a unit of torque, and its name.
fn tension_in(unit: TorqueUnit) -> (f64, &'static str) {
    match unit {
        TorqueUnit::NewtonMetre => (1.0, "N"),
        TorqueUnit::InchPoundForce => (NEWTONS_PER_LBF, "lbf"),
        TorqueUnit::KilogramForceCentimetre => (9.806_65, "kgf"),
    }
}

fn document(instrument: &Instrument, stored: Option<&StoredScale>) -> Value {
    let strings: Vec<Value> = instrument
        .pins
        .iter()
        .map(|field| {
            let (string, cents) = shown(instrument, field.pin);
            let distance = match string.source {
                StringSource::Neighbours { distance_notes } => Some(distance_notes),
                _ => None,
            };
            let own = string.speaking_length_m.filter(|_| string.source == StringSource::Data);
            json!({
                "note": field.pin.note,
                "string": field.pin.string.letter().to_string(),
                "kind": string.kind.word(),
                "speaking_length_m": own,
                "total_length_m": string.total_length_m,
                "wire_m": string.wire_m,
                "tension_n": string.tension_n.value,
                "u_tension_n": string.tension_n.u,
                "moment_at_pitch_nm": string.moment_nm.value,
                "u_moment_at_pitch_nm": string.moment_nm.u,
                "cents_per_degree_max": cents,
                "source": string.source.word(),
                "nearest_row_notes": distance,
            })
        })
        .collect();
    let odd: Vec<Value> = suspects(instrument)
        .iter()
        .map(|row| json!({ "note": row.note, "moment_ratio": row.ratio }))
        .collect();
    json!({
        "format": "pinhold.instrument.strings",
        "version": 1,
        "instrument": instrument.name,
        "a4_hz": instrument.strings.a4_hz,
        "row_count": instrument.strings.rows.len(),
        "origin": stored.map(|stored| printable(&stored.origin)),
        "entered": stored.map(|stored| printable(&stored.entered)),
        "strings": strings,
        "suspect_rows": odd,
    })
}
