//! `pinhold map` and `pinhold verdict`: what the latest survey says.
//!
//! One file, because both are the same assessment shown two ways.

use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use serde_json::{Value, json};

use super::context::{Context, Loaded, day_of_ms, say};
use super::exit::{CliError, Exit};
use super::files::write_whole;
use super::parsers::name_parser;
use super::{costs, drift};
use crate::analysis::verdict::prices;
use crate::analysis::{Assessment, AssessmentInput, BOOTSTRAP_SEED, Profile, assess};
use crate::lever_reads::LeverUse;
use crate::report::{self, MapModel, View};
use crate::store::{Store, StoredVerdict};
use crate::text::printable;

/// Columns assumed where the terminal does not say.
const WIDTH_DEFAULT: usize = 80;
/// Widest map worth drawing.
const WIDTH_MAX: usize = 120;

/// Arguments of `pinhold map`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Draws the pin field as seen from the player, one glyph per pin, readable without colour. As a
picture the plank between the pins is shaded too, dark where it is loose; greyscale prints tell the
same. Five views: torque (friction of the plank), holding (holding factor), loose (chance of a
loose pin), uncertainty (where more readings would help), residual (single bad holes against bad
places).

Examples:
  pinhold map parlour
  pinhold map parlour --show loose
  pinhold --unit inlb map parlour --svg parlour.svg --png parlour.png")]
pub struct MapArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// What to show: torque, holding, loose, uncertainty or residual
    #[arg(long, value_name = "VIEW", default_value = "torque", hide_possible_values = true)]
    #[arg(value_parser = view_parser())]
    pub show: View,
    /// Write the map as an SVG picture to this file
    #[arg(long, value_name = "FILE.svg")]
    pub svg: Option<PathBuf>,
    /// Write the map as a PNG picture to this file, 2244 pixels wide
    #[arg(long, value_name = "FILE.png")]
    pub png: Option<PathBuf>,
}

/// Arguments of `pinhold verdict`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
Weighs the remedies on torque, pattern and what is known beside torque, and gives its reasons.
The verdict is stored beside the survey with the version that gave it.

With --prices the remedies are compared in your own rates too: what each is expected to cost to the
horizon, work done over and extra tunings included, and whether it pays to find out more before
acting. pinhold has no prices of its own; --price-template prints a file to fill in.

Examples:
  pinhold verdict parlour
  pinhold --json verdict parlour
  pinhold verdict --price-template > prices.toml
  pinhold verdict parlour --prices prices.toml")]
pub struct VerdictArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    #[arg(required_unless_present = "price_template")]
    pub name: Option<String>,
    /// Compare the remedies in the rates of this file
    #[arg(long, value_name = "FILE.toml", conflicts_with = "price_template")]
    pub prices: Option<PathBuf>,
    /// Print a price file to fill in; stores nothing
    #[arg(long)]
    pub price_template: bool,
}

/// The assessment of what was loaded.
pub fn assessed(loaded: &Loaded) -> Assessment {
    let input = AssessmentInput {
        instrument: &loaded.record.instrument,
        readings: &loaded.readings,
        condition: &loaded.condition,
        seed: BOOTSTRAP_SEED,
    };
    assess(&input, &loaded.profile)
}

/// Columns to print in: what the shell says, else 80, at most 120.
pub fn width() -> usize {
    let told = std::env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    told.unwrap_or(WIDTH_DEFAULT).min(WIDTH_MAX)
}

/// `pinhold map`.
///
/// # Errors
/// When there is nothing to draw, or the picture cannot be written.
pub fn map(context: &Context, arguments: &MapArguments) -> Result<(), CliError> {
    let loaded = context.load(&context.open_store()?, &arguments.name)?;
    let assessment = assessed(&loaded);
    let model = MapModel { instrument: &loaded.record.instrument, assessment: &assessment };
    if arguments.svg.is_some() || arguments.png.is_some() {
        let picture = report::map_picture(&model, arguments.show, context.unit);
        if let Some(path) = &arguments.svg {
            write_picture(context, path, picture.as_bytes())?;
        }
        if let Some(path) = &arguments.png {
            write_picture(context, path, &png(&picture)?)?;
        }
    }
    if context.json {
        return context.print_document(&document(&loaded, &model));
    }
    let (view, unit) = (arguments.show, context.unit);
    context.print(&report::terminal::map_view(&model, view, unit, width(), context.color))?;
    context.print(&drift::text(loaded.drift.as_ref(), width()))
}

fn write_picture(context: &Context, path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    write_whole(path, bytes)?;
    if !context.json {
        say(&format!("map written to {}", printable(&path.to_string_lossy())));
    }
    Ok(())
}

#[cfg(feature = "png")]
fn png(picture: &str) -> Result<Vec<u8>, CliError> {
    use crate::report::raster;
    raster::png(picture, raster::WIDTH_PX)
        .map_err(|error| CliError::new(Exit::Bug, error.to_string()))
}

#[cfg(not(feature = "png"))]
fn png(_picture: &str) -> Result<Vec<u8>, CliError> {
    let sentence = "this program was built without PNG; write the picture with --svg";
    Err(CliError::new(Exit::Usage, sentence))
}

/// The words of the views, and no others.
fn view_parser() -> impl TypedValueParser<Value = View> {
    PossibleValuesParser::new(View::ALL.map(View::word))
        .map(|word| View::from_word(&word).unwrap_or_default())
}

/// `pinhold verdict`.
///
/// # Errors
/// When there is nothing to judge, or the verdict cannot be stored.
pub fn verdict(context: &Context, arguments: &VerdictArguments) -> Result<(), CliError> {
    // Without a name only the template was asked for.
    let Some(name) = arguments.name.as_ref().filter(|_| !arguments.price_template) else {
        return context.print(prices::TEMPLATE);
    };
    let rates = arguments.prices.as_deref().map(costs::read).transpose()?;
    let mut store = context.open_store()?;
    let loaded = context.load(&store, name)?;
    let assessment = assessed(&loaded);
    let model = MapModel { instrument: &loaded.record.instrument, assessment: &assessment };
    let compared = rates.and_then(|rates| costs::compared(&assessment, &rates, &loaded.profile));
    let mut document = document(&loaded, &model);
    document["costs"] = compared.as_ref().map_or(Value::Null, costs::value);
    keep_verdict(&mut store, context, &loaded, &document)?;
    if context.json {
        return context.print_document(&document);
    }
    context.print(&report::terminal::verdict(&model, context.unit, width()))?;
    if let Some(compared) = &compared {
        context.print(&costs::text(compared, &loaded.recorded, width()))?;
    }
    context.print(&drift::text(loaded.drift.as_ref(), width()))
}

/// The verdict's document, with the levers its readings were taken with.
pub fn document(loaded: &Loaded, model: &MapModel<'_>) -> Value {
    let mut document = report::json::verdict(model);
    document["drift"] = loaded.drift.as_ref().map_or(Value::Null, drift::value);
    document["levers"] = loaded.lever_uses.iter().map(lever_use_value).collect();
    document
}

fn lever_use_value(used: &LeverUse) -> Value {
    json!({
        "lever": format!("{:016x}", used.device),
        "calibration": used.calibration,
        "calibration_made": used.made_ms.and_then(day_of_ms),
        "calibration_due": used.due_ms.and_then(day_of_ms),
        "readings": used.reading_count,
    })
}

/// What a verdict was judged by: ours, or ours with what the user set.
fn profile_value(profile: &Profile) -> Value {
    let set = profile.set_by_user();
    match set.is_empty() {
        true => "default".into(),
        false => Value::Object(set.into_iter().map(|(k, v)| (k.into(), v.into())).collect()),
    }
}

/// Stores a verdict with the version and inputs that gave it.
///
/// # Errors
/// When the store fails.
pub fn keep_verdict(
    store: &mut Store,
    context: &Context,
    loaded: &Loaded,
    document: &serde_json::Value,
) -> Result<(), CliError> {
    let verdict = StoredVerdict {
        created: context.now.clone(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        inputs: json!({
            "profile": profile_value(&loaded.profile),
            "bootstrap_seed": BOOTSTRAP_SEED,
        }),
        document: document.clone(),
    };
    Ok(store.store_verdict(loaded.survey.id, &verdict)?)
}
