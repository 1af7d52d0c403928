//! `pinhold instrument pin`: one pin shown, corrected, added or removed.

use clap::Args;
use pinhold_protocol::record::Pin;
use serde_json::json;

use super::super::context::Context;
use super::super::exit::{CliError, Exit};
use super::super::parsers::{pin_parser, pin_size_parser};
use super::shown::{pin_document, pin_line, stray_readings, stray_sentence};
use crate::instrument::pin_name;
use crate::instrument::places::{self, Correction, PLACE_NUMBER_MAX, PlaceError};
use crate::text::printable;

/// Arguments of `pinhold instrument pin`.
#[derive(Args, Clone, Debug)]
#[command(after_help = "Examples:\n  \
    pinhold instrument pin parlour 40L\n  \
    pinhold instrument pin parlour 40L --x-mm 512.5 --y-mm 1.5\n  \
    pinhold instrument pin parlour 40D --add --x-mm 530 --y-mm 63\n  \
    pinhold instrument pin parlour 88R --remove")]
pub struct PinArguments {
    /// Name of the instrument
    #[arg(value_name = "NAME")]
    pub name: String,
    /// The pin: note and string, such as 40L or C4L
    #[arg(value_name = "PIN", value_parser = pin_parser)]
    pub pin: Pin,
    /// From the bass end of the field towards the treble, mm
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    pub x_mm: Option<f64>,
    /// Away from the plate flange side, mm
    #[arg(long, value_name = "MM", allow_negative_numbers = true)]
    pub y_mm: Option<f64>,
    /// Row, 0 nearest the plate flange; without --y-mm the pin goes to that row's line
    #[arg(long, value_name = "N", value_parser = number_parser())]
    pub row: Option<u8>,
    /// Section between plate struts, 0 in the bass
    #[arg(long, value_name = "N", value_parser = number_parser())]
    pub section: Option<u8>,
    /// From the plate flange, mm
    #[arg(long, value_name = "MM")]
    pub flange_mm: Option<f64>,
    /// Pin diameter: micrometres, or such as "7.16 mm"
    #[arg(long, value_name = "SIZE", value_parser = pin_size_parser)]
    pub diameter: Option<u32>,
    /// Add the pin; it needs --x-mm and --y-mm
    #[arg(long, requires_all = ["x_mm", "y_mm"])]
    pub add: bool,
    /// Remove the pin; readings of it stay stored
    #[arg(long)]
    #[arg(conflicts_with_all = ["add", "x_mm", "y_mm", "row", "section", "flange_mm", "diameter"])]
    pub remove: bool,
}

/// A section or row.
fn number_parser() -> clap::builder::RangedI64ValueParser<u8> {
    clap::value_parser!(u8).range(0..=i64::from(PLACE_NUMBER_MAX))
}

impl PinArguments {
    fn correction(&self) -> Correction {
        let metres = |mm: Option<f64>| mm.map(|mm| mm / 1e3);
        Correction {
            x_m: metres(self.x_mm),
            y_m: metres(self.y_mm),
            row: self.row,
            section: self.section,
            flange_distance_m: metres(self.flange_mm),
            diameter_um: self.diameter,
        }
    }
}

/// Runs the command.
///
/// # Errors
/// When instrument or pin is unknown, the place cannot be, or the store fails.
pub(super) fn run(context: &Context, arguments: &PinArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let mut record = store.find_instrument(&arguments.name)?;
    let (pin, correction) = (arguments.pin, arguments.correction());
    let instrument = &mut record.instrument;
    let deed = match (arguments.add, arguments.remove) {
        (true, _) => {
            places::add(instrument, pin, &correction).map_err(refused)?;
            "added"
        }
        (_, true) => {
            places::remove(instrument, pin).map_err(refused)?;
            "removed"
        }
        _ => {
            places::correct(instrument, pin, &correction).map_err(refused)?;
            if correction.is_empty() { "shown" } else { "corrected" }
        }
    };
    if correction.moves()
        && let Some(fault) = places::faults(instrument, &[pin], None).into_iter().next()
    {
        return Err(refused(fault));
    }
    if deed != "shown" {
        store.edit_instrument(&record)?;
    }
    let strays = stray_readings(&store, &record)?;
    let field = record.instrument.find_pin(pin);
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.instrument.pin",
            "version": 1,
            "instrument": record.instrument.name,
            "deed": deed,
            "pin": field.map(pin_document),
            "pin_count": record.instrument.pins.len(),
            "stray_reading_count": strays,
        }));
    }
    let told = match (deed, field) {
        ("shown", Some(field)) => format!("{}\n", pin_line(field)),
        ("added", Some(field)) => format!("Added {}\n", pin_line(field)),
        (_, Some(field)) => format!("Corrected {}\n", pin_line(field)),
        (_, None) => format!(
            "Removed {} of {}, {} pins left\n",
            pin_name(pin),
            printable(&record.instrument.name),
            record.instrument.pins.len()
        ),
    };
    context.print(&format!("{told}{}", stray_sentence(strays)))
}

fn refused(error: PlaceError) -> CliError {
    let exit = match error {
        PlaceError::Absent { .. } => Exit::NotThere,
        _ => Exit::Refused,
    };
    let hint = match error {
        PlaceError::Absent { .. } => "; --add adds it",
        _ => "",
    };
    CliError::new(exit, format!("{error}{hint}"))
}
