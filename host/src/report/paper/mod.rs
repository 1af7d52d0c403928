//! The report: what the customer reads, and the technician's annex, as one document.
//!
//! The verdict comes first, then the picture; what was not examined and the cautions are never
//! left out. Deliberately not here: any price but the technician's own, years as fact, whose fault;
//! HTML and PDF; any file.
//!
//! Invariant: every text is in the language asked for, but for what people typed.

mod annex;
mod chain;
mod customer;
mod tables;
#[cfg(test)]
mod tests;

use super::document::{Block, Document, Letterhead, Paper, Photo};
use super::picture::{self, View};
use super::{MapModel, picture_grid};
use crate::analysis::field::grid::FieldGrid;
use crate::analysis::verdict::costs::CostComparison;
use crate::report::document::Drawing;
use crate::text::{printable, printable_short};
use crate::units::TorqueUnit;
use crate::words::{Language, Said, Word, pages as say};

/// Longest name in titles and running heads, characters.
const NAME_COUNT_MAX: usize = 80;

/// What a report says beside the assessment. Text may be untrusted and empty.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReportContext {
    /// Date of the survey, as it shall be printed.
    pub survey_date: String,
    /// Date of the report, as it shall be printed.
    pub report_date: String,
    /// The same for the file's properties, milliseconds since 1970-01-01 UTC.
    pub report_ms: i64,
    /// Who measured.
    pub technician: String,
    /// Whose instrument.
    pub owner: String,
    /// The tool and its calibration.
    pub tool: Said,
    /// What the survey was: number of pins, drift, corrections.
    pub survey: Said,
    /// Serial number, maker and place as the technician noted them.
    pub instrument_note: Said,
    /// Temperature of the room, where it was written down.
    pub temperature: Option<Said>,
    /// The technician's own decision and reason, printed beside the tool's.
    pub own_decision: String,
    /// What was seen and told beside torque: a heading, and each fact with its answer.
    pub recorded: Vec<(Word, Vec<(Said, Said)>)>,
    /// The remedies in the technician's own rates, where a price file was given.
    pub costs: Option<CostComparison>,
    /// Strings to retune after the measurement.
    pub retune: Vec<Retune>,
    /// The data are invented: the report says so at its top.
    pub is_demo: bool,
    /// Who sends it.
    pub letterhead: Option<Letterhead>,
    /// Pictures of the instrument.
    pub photos: Vec<Photo>,
}

/// A string to retune: what measuring did to it. Cents are upper bounds.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Retune {
    /// Its pin.
    pub pin: String,
    /// Net turn of its pin, degrees, sharp positive.
    pub net_deg: f64,
    /// Net change, cents.
    pub net_cents: f64,
    /// Furthest on the way flat, cents.
    pub flat_cents: f64,
    /// Furthest on the way sharp, cents.
    pub sharp_cents: f64,
}

/// How a report is made.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Setting {
    /// Unit of torques.
    pub unit: TorqueUnit,
    /// Its language.
    pub language: Language,
    /// Its paper.
    pub paper: Paper,
    /// Without the technician's annex.
    pub customer_only: bool,
}

/// All that the parts of a report are made of.
#[derive(Clone, Copy)]
struct Sheets<'a> {
    model: &'a MapModel<'a>,
    context: &'a ReportContext,
    grid: Option<&'a FieldGrid>,
    setting: Setting,
}

impl Sheets<'_> {
    fn say(&self, said: &Said) -> String {
        printable(said.to(self.setting.language))
    }

    fn word(&self, word: Word) -> String {
        word.to(self.setting.language).to_owned()
    }

    fn say_all(&self, said: &[Said]) -> Vec<String> {
        said.iter().map(|one| self.say(one)).collect()
    }

    fn heading(&self, word: Word) -> Block {
        Block::Heading(self.word(word))
    }

    fn subheading(&self, word: Word) -> Block {
        Block::Subheading(self.word(word))
    }

    fn note(&self, said: &Said) -> Block {
        Block::Note(self.say(said))
    }

    fn numeral(&self, text: &str) -> String {
        self.setting.language.numeral(text)
    }

    fn torque(&self, value_nm: f64) -> String {
        self.numeral(&super::torque(value_nm, self.setting.unit))
    }

    fn diameter(&self, diameter_um: u32) -> String {
        self.numeral(&super::diameter(diameter_um))
    }

    fn drawing(&self, view: View, draw: Draw) -> Block {
        let Setting { unit, language, .. } = self.setting;
        let svg = draw(self.model, self.grid, view, unit, language);
        let alternative = picture::in_words(self.model.assessment, view, unit, language);
        Block::Drawing(Drawing::new(svg, printable(&alternative)))
    }
}

type Draw = fn(&MapModel<'_>, Option<&FieldGrid>, View, TorqueUnit, Language) -> String;

/// The whole report.
pub fn document(model: &MapModel<'_>, context: &ReportContext, setting: Setting) -> Document {
    let grid = picture_grid(model.assessment);
    let sheets = Sheets { model, context, grid: grid.as_ref(), setting };
    let name = printable_short(&model.instrument.name, NAME_COUNT_MAX);
    let language = setting.language;
    let mut blocks = customer::blocks(&sheets);
    if !setting.customer_only {
        blocks.extend(annex::blocks(&sheets));
    }
    let technician = printable_short(&context.technician, NAME_COUNT_MAX);
    Document {
        language,
        paper: setting.paper,
        title: say::title(&name).to(language).to_owned(),
        description: say::DESCRIPTION.to(language).to_owned(),
        authors: Some(technician).filter(|name| !name.is_empty()).into_iter().collect(),
        program: format!("pinhold {}", env!("CARGO_PKG_VERSION")),
        made_ms: context.report_ms,
        running_head: say::title(&name).to(language).to_owned(),
        running_foot: foot(&sheets),
        blocks,
    }
}

/// Who sent it and when, on every page.
fn foot(sheets: &Sheets<'_>) -> String {
    let context = sheets.context;
    let head = context.letterhead.as_ref();
    let mut parts: Vec<String> = Vec::new();
    parts.extend(head.map(|head| printable(&head.name)).filter(|name| !name.is_empty()));
    if !context.report_date.is_empty() {
        parts.push(sheets.say(&say::report_of(&context.report_date)));
    }
    if context.is_demo {
        parts.push(sheets.word(say::DEMO));
    }
    parts.join(" · ")
}
