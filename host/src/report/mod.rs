//! From an assessment to what a person or another program reads: terminal, SVG, HTML, JSON.
//!
//! Invariants: pure functions from model to text, no file and no clock; everything that came from
//! outside (names, remarks) is escaped for where it goes; a band never shows by colour alone; no
//! reading is ever called "the standard".

pub mod budget;
pub mod calibration;
pub mod comparison;
pub mod document;
#[cfg(any(feature = "pdf", feature = "png"))]
mod fonts;
pub mod json;
pub mod legend;
pub mod letterhead;
pub mod marks;
pub mod numbers;
pub mod paper;
#[cfg(feature = "pdf")]
pub mod pdf;
pub mod picture;
#[cfg(any(feature = "pdf", feature = "png"))]
pub mod pixels;
#[cfg(any(feature = "pdf", feature = "png"))]
pub mod raster;
pub mod terminal;
mod terminal_map;
#[cfg(test)]
mod tests;

pub use paper::ReportContext;
pub use picture::View;

use crate::analysis::field::grid::FieldGrid;
use crate::analysis::input::Estimate;
use crate::analysis::{Assessment, Remedy};
use crate::instrument::Instrument;
use crate::units::TorqueUnit;
use crate::words::{Language, Numeral, Said, remedies as say};

/// What a map is drawn from.
#[derive(Clone, Copy, Debug)]
pub struct MapModel<'a> {
    /// The instrument; its name is untrusted text.
    pub instrument: &'a Instrument,
    /// What the analysis says.
    pub assessment: &'a Assessment,
}

impl MapModel<'_> {
    /// Whether any pin lines a plate flange; on an open plank none does.
    pub fn has_flange(&self) -> bool {
        self.assessment.pins.iter().any(|pin| pin.site.at_flange)
    }
}

/// Readings of pins the instrument does not have, as a sentence.
fn strays(count: usize) -> Option<String> {
    match count {
        0 => None,
        1 => {
            Some("1 reading is of a pin the instrument does not have and is not judged.".to_owned())
        }
        _ => Some(format!(
            "{count} readings are of pins the instrument does not have and are not judged."
        )),
    }
}

/// Cell of the plank drawn between the pins, m: a fifth of the distance between pins.
const PICTURE_STEP_M: f64 = 0.003;

/// The plank between the pins as the pictures need it; `None` where nothing could be fitted.
///
/// Pictures of several views share one.
pub fn picture_grid(assessment: &Assessment) -> Option<FieldGrid> {
    assessment.plank.as_ref().map(|plank| plank.grid(PICTURE_STEP_M))
}

/// The map as an SVG picture: the same in report, file and live view.
pub fn map_picture(model: &MapModel<'_>, view: View, unit: TorqueUnit) -> String {
    picture::map(model, picture_grid(model.assessment).as_ref(), view, unit)
}

/// Digits after the point an estimate is shown with at most.
const ESTIMATE_DIGITS_MAX: usize = 3;

/// A torque in the user's unit with its unit.
pub fn torque(value_nm: f64, unit: TorqueUnit) -> String {
    format!("{:.*} {unit}", unit.decimals(), unit.from_newton_metres(value_nm))
}

/// A torque with its standard uncertainty in the user's unit, without the unit; digits enough
/// that an uncertainty never reads as none.
pub fn estimate(value: Estimate, unit: TorqueUnit) -> String {
    let mut digits = unit.decimals();
    let mut shown = unit.from_newton_metres(value.u) * if digits == 0 { 1.0 } else { 10.0 };
    while shown > 0.0 && shown < 0.5 && digits < ESTIMATE_DIGITS_MAX {
        shown *= 10.0;
        digits += 1;
    }
    format!(
        "{:.digits$} ± {:.digits$}",
        unit.from_newton_metres(value.value),
        unit.from_newton_metres(value.u),
    )
}

/// A diameter in millimetres.
pub fn diameter(diameter_um: u32) -> String {
    format!("{:.2} mm", f64::from(diameter_um) / 1000.0)
}

/// Letter of a zone in maps and lists: A, B, C, …
pub fn zone_letter(index: usize) -> char {
    u8::try_from(index).ok().filter(|i| *i < 26).map_or('*', |i| char::from(b'A' + i))
}

/// The remedy with its size, in a line.
pub fn remedy_line(remedy: Remedy) -> String {
    remedy_said(remedy).to(Language::English).to_owned()
}

/// The same in every language.
pub fn remedy_said(remedy: Remedy) -> Said {
    match remedy {
        Remedy::Larger { from_um, to_um, pin_count } => {
            let from = from_um.map(|um| say::from(Numeral(diameter(um)))).unwrap_or_default();
            let to = to_um.map_or_else(
                || say::SIZE_AT_THE_PIN.said(),
                |um| say::to_about(Numeral(diameter(um))),
            );
            say::larger(pin_count, from, to)
        }
        Remedy::Restring { to_um: Some(um) } => say::restring_to(Numeral(diameter(um))),
        _ => say::sentence(remedy.kind()).said(),
    }
}

/// Confidence in words beside its number.
pub fn confidence_words(confidence: f64) -> &'static str {
    crate::words::pages::confidence_word(confidence).to(Language::English)
}
