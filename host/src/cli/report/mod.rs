//! `pinhold report`: the report for the customer with the technician's annex, as HTML and PDF.
//!
//! Deliberately not here: what it says (`crate::report::paper`).
//!
//! Invariant: everything is read and made before the first file is written.

mod sender;

use std::path::{Path, PathBuf};

use clap::Args;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use serde_json::json;

use super::context::{Context, Loaded, day_of, day_of_ms};
use super::exit::CliError;
use super::form::{Files, Form};
use super::parsers::{fact_parser, name_parser};
use super::show::{assessed, document, keep_verdict};
use super::{costs, record, retune};
use crate::analysis::Assessment;
use crate::lever_reads::LeverUse;
use crate::report::document::{Document, Paper};
use crate::report::paper::{self, Setting};
use crate::report::{MapModel, ReportContext, letterhead};
use crate::store::SurveySource;
use crate::words::{Language, Said, pages as say};

/// What a file is said to be that ends in no form's name.
const FORM: &str = "report";

/// Arguments of `pinhold report`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
The verdict first, then the picture, how the pins hold, what can be done with what it needs and
risks, what was not examined, and under which conditions was measured; after it the technician's
annex with the chain from readings to verdict, every pin and every threshold. The end of a file's
name says its form: .html stands by itself without script or link, .pdf is tagged and searchable.

Your letterhead is taken from letterhead.toml in the data folder, or from the file you name.
Photos are embedded small, without the place and time a camera writes into them.

Examples:
  pinhold report parlour --out parlour.pdf --technician 'A. Person'
  pinhold report parlour --out parlour.html --out parlour.pdf --lang de --paper a4
  pinhold report parlour --out short.pdf --customer-only --photo edge.jpg='Bass end of the plank'
  pinhold report --letterhead-example > letterhead.toml")]
pub struct ReportArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    #[arg(required_unless_present = "letterhead_example")]
    pub name: Option<String>,
    /// Where to write it: a name ending in .html or .pdf; may be given more than once
    #[arg(long, value_name = "FILE", required_unless_present = "letterhead_example")]
    pub out: Vec<PathBuf>,
    /// Who measured
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, default_value = "")]
    #[arg(hide_default_value = true)]
    pub technician: String,
    /// Your own decision and its reason, printed beside the tool's
    #[arg(long, value_name = "TEXT", value_parser = fact_parser, default_value = "")]
    #[arg(hide_default_value = true)]
    pub decision: String,
    /// Language of the report: en or de
    #[arg(long, value_name = "LANG", default_value = "en", hide_possible_values = true)]
    #[arg(value_parser = language_parser())]
    pub lang: Language,
    /// Paper it is printed on: a4 or letter
    #[arg(long, value_name = "PAPER", default_value = "a4", hide_possible_values = true)]
    #[arg(value_parser = paper_parser())]
    pub paper: Paper,
    /// Without the technician's annex
    #[arg(long)]
    pub customer_only: bool,
    /// Compare what can be done in your own rates; `pinhold verdict --price-template` prints a file
    /// to fill in
    #[arg(long, value_name = "FILE.toml")]
    pub prices: Option<PathBuf>,
    /// Your letterhead [default: letterhead.toml in the data folder, where there is one]
    #[arg(long, value_name = "FILE.toml")]
    pub letterhead: Option<PathBuf>,
    /// Print a letterhead to fill in, and do nothing else
    #[arg(long)]
    pub letterhead_example: bool,
    /// Embed a photo (JPEG or PNG), with a caption after '='; may be given more than once
    #[arg(long, value_name = "FILE[=CAPTION]")]
    pub photo: Vec<String>,
}

pub(super) fn language_parser() -> impl TypedValueParser<Value = Language> {
    PossibleValuesParser::new(Language::ALL.map(Language::code))
        .map(|code| Language::from_code(&code).unwrap_or_default())
}

pub(super) fn paper_parser() -> impl TypedValueParser<Value = Paper> {
    PossibleValuesParser::new(["a4", "letter"])
        .map(|word| if word == "letter" { Paper::Letter } else { Paper::A4 })
}

/// Runs the command.
///
/// # Errors
/// When there is nothing to report, a letterhead or photo cannot be read, or a file not written.
pub fn run(context: &Context, arguments: &ReportArguments) -> Result<(), CliError> {
    let (false, Some(name)) = (arguments.letterhead_example, &arguments.name) else {
        return context.print(&letterhead::example());
    };
    let files = Files::of(&arguments.out, FORM)?;
    let mut store = context.open_store()?;
    let loaded = context.load(&store, name)?;
    let assessment = assessed(&loaded);
    let sheet = sheet(context, &loaded, &assessment, arguments)?;
    let written = files.write(&sheet)?;
    let model = MapModel { instrument: &loaded.record.instrument, assessment: &assessment };
    keep_verdict(&mut store, context, &loaded, &document(&loaded, &model))?;
    if context.json {
        return context.print_document(&json!({
            "format": "pinhold.report",
            "version": 1,
            "file": written.first(),
            "files": written,
            "language": arguments.lang.code(),
        }));
    }
    let lines = written.iter().map(|path| format!("report written to {path}\n"));
    context.print(&lines.collect::<String>())
}

/// The report as a document.
fn sheet(
    context: &Context,
    loaded: &Loaded,
    assessment: &Assessment,
    arguments: &ReportArguments,
) -> Result<Document, CliError> {
    let mut told = told(context, loaded, assessment);
    told.technician.clone_from(&arguments.technician);
    told.own_decision.clone_from(&arguments.decision);
    told.letterhead = sender::letterhead(context, arguments.letterhead.as_deref())?;
    told.photos = sender::photos(&arguments.photo)?;
    told.costs = match &arguments.prices {
        Some(path) => Some(costs::wanted(path, assessment, &loaded.profile)?),
        None => None,
    };
    let setting = Setting {
        unit: context.unit,
        language: arguments.lang,
        paper: arguments.paper,
        customer_only: arguments.customer_only,
    };
    let model = MapModel { instrument: &loaded.record.instrument, assessment };
    Ok(paper::document(&model, &told, setting))
}

/// The bytes of the demo's report, which nobody signs: by the end of its name PDF or HTML.
///
/// # Errors
/// When the name ends otherwise.
pub fn demo_bytes(
    context: &Context,
    loaded: &Loaded,
    assessment: &Assessment,
    out: &Path,
) -> Result<Vec<u8>, CliError> {
    let form = Form::of(out, FORM)?;
    let setting = Setting { unit: context.unit, ..Setting::default() };
    let model = MapModel { instrument: &loaded.record.instrument, assessment };
    form.bytes(&paper::document(&model, &told(context, loaded, assessment), setting))
}

/// What is said beside the assessment, as far as the store knows it.
fn told(context: &Context, loaded: &Loaded, assessment: &Assessment) -> ReportContext {
    let facts = &loaded.record.facts;
    let noted: Vec<Said> = [
        (facts.serial.is_empty(), say::serial(&facts.serial)),
        (facts.maker_text.is_empty(), say::maker(&facts.maker_text)),
        (facts.place.is_empty(), say::place(&facts.place)),
    ]
    .into_iter()
    .filter(|(is_empty, _)| !is_empty)
    .map(|(_, said)| said)
    .collect();
    let tool = match loaded.survey.source {
        SurveySource::Import => say::ANY_WRENCH.said(),
        SurveySource::Lever => say::lever_tool(calibrations(loaded)),
        SurveySource::Simulated => say::simulated_tool(calibrations(loaded)),
    };
    ReportContext {
        survey_date: day_of(&loaded.survey.started).to_owned(),
        report_date: day_of(&context.now).to_owned(),
        report_ms: context.now_ms(),
        owner: facts.owner_reference.clone(),
        tool,
        survey: survey_line(loaded, assessment.pins.len()),
        instrument_note: Said::joined(&noted, ", "),
        temperature: record::temperature(&loaded.recorded),
        recorded: record::report_lines(&loaded.recorded, &loaded.record.instrument),
        retune: retune::for_report(&loaded.pitch_costs),
        is_demo: loaded.survey.source == SurveySource::Simulated,
        ..ReportContext::default()
    }
}

/// Which lever with which calibration took how many of the readings.
fn calibrations(loaded: &Loaded) -> Said {
    let told: Vec<Said> = loaded.lever_uses.iter().map(calibration_text).collect();
    if told.is_empty() { say::NO_READING_COUNTS.said() } else { Said::joined(&told, "; ") }
}

fn calibration_text(used: &LeverUse) -> Said {
    let day =
        |ms: Option<i64>| ms.and_then(day_of_ms).map_or_else(|| say::UNKNOWN.said(), Said::same);
    let lever = format!("{:016x}", used.device);
    let count = used.reading_count;
    match (used.calibration, used.made_ms) {
        (0, _) => say::lever_uncalibrated(lever, count),
        (number, None) => say::lever_unknown(lever, number, count),
        (number, Some(_)) => {
            say::lever_calibrated(lever, number, day(used.made_ms), day(used.due_ms), count)
        }
    }
}

/// What the survey was, corrections included.
fn survey_line(loaded: &Loaded, pin_count: usize) -> Said {
    let mut read = say::pins_in_all(pin_count, loaded.readings.len());
    if let Some(drift) = loaded.drift.as_ref().filter(|drift| drift.is_significant) {
        read = say::drift_of_lever(read, drift.sentence());
    }
    match loaded.corrected_count {
        0 => read,
        count => say::reassigned(read, count),
    }
}
