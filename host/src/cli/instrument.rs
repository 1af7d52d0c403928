//! `pinhold instrument add|edit|list|show|layout|places|pin`; `strings` has a file of its own.

mod layout;
mod pin;
mod places;
mod shown;

use clap::{Args, Subcommand};
use serde_json::{Value, json};

use super::context::{Context, shell_quoted};
use super::exit::{CliError, Exit};
use super::parsers::{
    face_parser, fact_parser, kind_parser, name_parser, note_parser, pin_size_parser, range_parser,
};
use super::strings::{self, StringsArguments};
use crate::instrument::layout::{Layout, LayoutParameters};
use crate::instrument::places::set_face;
use crate::instrument::stringing::{Stringing, StringingError};
use crate::instrument::{InstrumentKind, PlateFace};
use crate::store::{InstrumentFacts, InstrumentRecord, NewInstrument};
use crate::text::printable;

pub(super) use shown::compass_text;
use shown::{document, facts_of, headline, reading_count, sections_text, summary};

/// Arguments of `pinhold instrument`.
#[derive(Args, Clone, Debug)]
pub struct InstrumentArguments {
    /// What to do.
    #[command(subcommand)]
    pub deed: Deed,
}

/// What to do with instruments.
#[derive(Clone, Debug, Subcommand)]
pub enum Deed {
    /// Enter an instrument, its pins laid out by compass and stringing
    #[command(after_help = "Example:\n  \
        pinhold instrument add parlour --layout upright-85\n  \
        pinhold instrument add parlour --kind upright --highest A7 --stringing 10/17/58\n\n\
        `pinhold instrument layout --help` tells how to describe a layout.")]
    Add(AddArguments),
    /// Change what is known of an instrument
    #[command(after_help = "Example:\n  \
        pinhold instrument edit parlour --place 'town hall' --pin-um 7250 --notes A0..E2")]
    Edit(EditArguments),
    /// List all instruments
    #[command(after_help = "Example:\n  pinhold instrument list --json")]
    List,
    /// Store an instrument's string scale from a CSV file, or show what is known of its strings
    Strings(StringsArguments),
    /// Print how an instrument's pins are laid out, or their positions; lay it out anew
    Layout(layout::LayoutArguments),
    /// Store measured positions of pins from a CSV file
    Places(places::PlacesArguments),
    /// Show, correct, add or remove one pin
    Pin(pin::PinArguments),
    /// Erase its owner and place, for good; pins and readings stay
    #[command(
        after_help = "The old text is overwritten in the store's file and in its log. It is \
        not reached in backups, in\nstores that a restore replaced, in exported files and printed \
        reports, nor where it stands in the\ninstrument's name (edit --rename), in remarks of \
        readings and in what was answered beside torque.\n\nExample:\n  \
        pinhold instrument erase-owner parlour --notes"
    )]
    EraseOwner {
        /// Name of the instrument
        #[arg(value_name = "NAME")]
        name: String,
        /// Erase the notes to its surveys too
        #[arg(long)]
        notes: bool,
    },
    /// Show an instrument: its pins, its surveys
    #[command(after_help = "Example:\n  pinhold instrument show parlour")]
    Show {
        /// Name of the instrument
        #[arg(value_name = "NAME")]
        name: String,
    },
}

/// Facts about an instrument, as typed.
#[derive(Args, Clone, Debug)]
pub struct FactArguments {
    /// Serial number
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    pub serial: Option<String>,
    /// Maker, as written on it
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    pub maker: Option<String>,
    /// Your reference for its owner
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    pub owner: Option<String>,
    /// Where it stands
    #[arg(long, value_name = "TEXT", value_parser = fact_parser)]
    pub place: Option<String>,
}

/// Arguments of `pinhold instrument add`.
#[derive(Args, Clone, Debug)]
pub struct AddArguments {
    /// Name of the instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Built-in layout (grand-88, upright-88, grand-85, upright-85), or a file that describes one
    #[arg(long, value_name = "WORD|FILE.toml")]
    #[arg(conflicts_with_all = ["kind", "lowest", "highest", "stringing", "sections"])]
    pub layout: Option<String>,
    /// How far the plate covers the plank: full, three-quarter or open [default: full, or what the
    /// layout says]
    #[arg(long, value_name = "FACE", value_parser = face_parser)]
    pub face: Option<PlateFace>,
    /// grand or upright
    #[arg(long, value_name = "KIND", value_parser = kind_parser, default_value = "grand")]
    pub kind: InstrumentKind,
    /// Lowest note
    #[arg(long, value_name = "NOTE", value_parser = note_parser, default_value = "A0")]
    pub lowest: u8,
    /// Highest note: C8 of 88 notes, A7 of 85
    #[arg(long, value_name = "NOTE", value_parser = note_parser, default_value = "C8")]
    pub highest: u8,
    /// Singles/bichords/trichords from the bass up [default: 10 singles, 17 bichords, the rest
    /// trichords]
    #[arg(long, value_name = "S/B/T")]
    pub stringing: Option<String>,
    /// Sections above the bass block, between plate struts
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u8).range(1..=7))]
    pub sections: Option<u8>,
    /// Pin diameter of all pins: micrometres, or such as "7.16 mm"
    #[arg(long, value_name = "SIZE", value_parser = pin_size_parser)]
    pub pin_um: Option<u32>,
    /// Facts.
    #[command(flatten)]
    pub facts: FactArguments,
}

/// Arguments of `pinhold instrument edit`.
#[derive(Args, Clone, Debug)]
pub struct EditArguments {
    /// Name of the instrument
    #[arg(value_name = "NAME")]
    pub name: String,
    /// A new name
    #[arg(long, value_name = "NAME", value_parser = name_parser)]
    pub rename: Option<String>,
    /// grand or upright
    #[arg(long, value_name = "KIND", value_parser = kind_parser)]
    pub kind: Option<InstrumentKind>,
    /// How far the plate covers the plank: full, three-quarter, or open, which forgets all
    /// distances from a flange
    #[arg(long, value_name = "FACE", value_parser = face_parser)]
    pub face: Option<PlateFace>,
    /// Pin diameter, micrometres or such as "7.16 mm", of all pins or those of --notes
    #[arg(long, value_name = "SIZE", value_parser = pin_size_parser)]
    pub pin_um: Option<u32>,
    /// Notes --pin-um is for
    #[arg(long, value_name = "FROM..TO", value_parser = range_parser, requires = "pin_um")]
    pub notes: Option<(u8, u8)>,
    /// Facts.
    #[command(flatten)]
    pub facts: FactArguments,
}

/// Runs the command.
///
/// # Errors
/// When an instrument is unknown or exists already, or the store fails.
pub fn run(context: &Context, arguments: InstrumentArguments) -> Result<(), CliError> {
    match arguments.deed {
        Deed::Add(arguments) => add(context, arguments),
        Deed::Edit(arguments) => edit(context, arguments),
        Deed::List => list(context),
        Deed::Strings(arguments) => strings::run(context, &arguments),
        Deed::Layout(arguments) => layout::run(context, &arguments),
        Deed::Places(arguments) => places::run(context, &arguments),
        Deed::Pin(arguments) => pin::run(context, &arguments),
        Deed::EraseOwner { name, notes } => erase_owner(context, &name, notes),
        Deed::Show { name } => show(context, &name),
    }
}

fn add(context: &Context, arguments: AddArguments) -> Result<(), CliError> {
    let layout = layout_of(&arguments)?;
    let new = NewInstrument {
        instrument: layout.instrument(&arguments.name),
        facts: arguments.facts.over(&InstrumentFacts::default()),
        created: context.now.clone(),
    };
    let mut store = context.open_store()?;
    let id = store.create_laid_out(&new, &layout.to_text())?;
    tell_changed(context, "Entered", &store.instrument(id)?)
}

fn edit(context: &Context, arguments: EditArguments) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let mut record = store.find_instrument(&arguments.name)?;
    record.facts = arguments.facts.over(&record.facts);
    let instrument = &mut record.instrument;
    instrument.kind = arguments.kind.unwrap_or(instrument.kind);
    instrument.name = arguments.rename.unwrap_or_else(|| instrument.name.clone());
    if let Some(face) = arguments.face {
        set_face(instrument, face);
    }
    if let Some(diameter_um) = arguments.pin_um {
        let (from, to) = arguments.notes.unwrap_or((1, 88));
        let within = |note: u8| (from..=to).contains(&note);
        for field in instrument.pins.iter_mut().filter(|field| within(field.pin.note)) {
            field.diameter_um = Some(diameter_um);
        }
    }
    store.edit_instrument(&record)?;
    tell_changed(context, "Changed", &record)
}

fn erase_owner(context: &Context, name: &str, notes: bool) -> Result<(), CliError> {
    let mut store = context.open_store()?;
    let id = store.find_instrument(name)?.id;
    store.erase_owner(id, notes)?;
    tell_changed(context, "Erased owner and place of", &store.instrument(id)?)
}

fn list(context: &Context) -> Result<(), CliError> {
    let records = context.open_store()?.list_instruments()?;
    if context.json {
        let instruments: Vec<Value> = records.iter().map(summary).collect();
        return context.print_document(&json!({
            "format": "pinhold.instrument.list",
            "version": 1,
            "instruments": instruments,
        }));
    }
    if records.is_empty() {
        return context
            .print("No instruments yet. Enter one with `pinhold instrument add NAME`.\n");
    }
    let text: String = records.iter().map(|record| format!("{}\n", headline(record))).collect();
    context.print(&text)
}

fn show(context: &Context, name: &str) -> Result<(), CliError> {
    let store = context.open_store()?;
    let record = store.find_instrument(name)?;
    let surveys = store.surveys_of(record.id)?;
    if context.json {
        return context.print_document(&document(&store, &record, &surveys)?);
    }
    let mut text = format!("{}\n", headline(&record));
    for (label, fact) in facts_of(&record.facts) {
        if !fact.is_empty() {
            text.push_str(&format!("  {label}: {}\n", printable(fact)));
        }
    }
    text.push_str(&format!("  entered {}\n", printable(&record.created)));
    text.push_str(&sections_text(&record.instrument));
    if surveys.is_empty() {
        text.push_str("  no survey yet\n");
    }
    for survey in &surveys {
        let count = reading_count(&store, survey)?;
        text.push_str(&format!(
            "  survey of {} ({}): {count} readings\n",
            printable(&survey.started),
            survey.source.word()
        ));
    }
    context.print(&text)
}

impl FactArguments {
    /// The facts given here over those known before.
    fn over(&self, known: &InstrumentFacts) -> InstrumentFacts {
        let pick = |new: &Option<String>, old: &String| new.as_ref().unwrap_or(old).clone();
        InstrumentFacts {
            serial: pick(&self.serial, &known.serial),
            maker_text: pick(&self.maker, &known.maker_text),
            owner_reference: pick(&self.owner, &known.owner_reference),
            place: pick(&self.place, &known.place),
        }
    }
}

/// The layout the arguments speak of.
fn layout_of(arguments: &AddArguments) -> Result<Layout, CliError> {
    let mut made = match &arguments.layout {
        Some(word) => layout::named(word)?,
        None => {
            let stringing = stringing_of(arguments)
                .map_err(|error| CliError::new(Exit::Usage, error.to_string()))?;
            let parameters = LayoutParameters {
                treble_section_count: arguments.sections,
                ..LayoutParameters::default()
            };
            Layout::new(arguments.kind, &stringing, &parameters)
        }
    };
    if let Some(diameter_um) = arguments.pin_um {
        made = made.with_diameter(diameter_um);
    }
    Ok(match arguments.face {
        Some(face) => made.with_face(face),
        None => made,
    })
}

fn stringing_of(arguments: &AddArguments) -> Result<Stringing, StringingError> {
    let (first, last) = (arguments.lowest, arguments.highest);
    match &arguments.stringing {
        Some(text) => Stringing::from_text(text, first, last),
        None => Stringing::common_over(first, last),
    }
}

fn tell_changed(context: &Context, verb: &str, record: &InstrumentRecord) -> Result<(), CliError> {
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.instrument.changed",
            "version": 1,
            "instrument": summary(record),
        }));
    }
    let name = shell_quoted(&record.instrument.name);
    context.print(&format!("{verb} {}\nNext: pinhold survey {name}\n", headline(record)))
}
