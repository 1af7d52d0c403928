//! A layout description from TOML text. Lengths in the text are millimetres, the trade's unit.
//!
//! Invariants: every length and list is bounded before it is used; a text is taken whole or
//! refused whole, with the line and the key that is at fault.

use std::ops::RangeInclusive;

use serde::Deserialize;
use toml::Spanned;

use super::Description;
use super::error::LayoutError;
use super::words::{NoteWord, PinWord, RangeWord, Ranges, quoted};
use crate::instrument::places::FLANGE_M_MAX;
use crate::instrument::{InstrumentKind, PlateFace};
use crate::text::printable_short;

/// Longest description read, bytes: one with every pin placed has about 30,000.
pub const TEXT_BYTES_MAX: usize = 500_000;
/// Longest reason of the TOML reader shown, characters.
const REASON_LENGTH_MAX: usize = 300;
/// From the plate flange, mm.
pub(super) const FLANGE_MM: RangeInclusive<f64> = 0.0..=FLANGE_M_MAX * 1e3;

/// A description with the lines its single pins stand on.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Described {
    pub(super) description: Description,
    pub(super) exact_lines: Vec<usize>,
}

/// A value that may be left out, with its place in the text.
pub(super) type Given<T> = Option<Spanned<T>>;

/// The text's beginning, whatever the rest is.
#[derive(Deserialize)]
struct Head {
    format: Option<toml::Value>,
    version: Option<toml::Value>,
}

/// The text as it stands.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct File {
    #[serde(rename = "format")]
    _format: String,
    #[serde(rename = "version")]
    _version: i64,
    pub(super) kind: Spanned<String>,
    pub(super) compass: Spanned<RangeWord>,
    pub(super) face: Given<String>,
    pub(super) stringing: Given<String>,
    #[serde(default)]
    pub(super) strings: Ranges<i64>,
    pub(super) pin_mm: Given<f64>,
    #[serde(default)]
    pub(super) pin_sizes: Ranges<f64>,
    pub(super) pitch_mm: Given<f64>,
    pub(super) row_spacing_mm: Given<f64>,
    pub(super) slant_mm: Given<f64>,
    pub(super) gap_mm: Given<f64>,
    pub(super) rows_of: Option<RowsFile>,
    pub(super) flange: Option<FlangeFile>,
    #[serde(default)]
    pub(super) missing: Vec<Spanned<PinWord>>,
    #[serde(default)]
    pub(super) section: Vec<Spanned<SectionFile>>,
    #[serde(default)]
    pub(super) pin: Vec<Spanned<PinFile>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RowsFile {
    pub(super) single: Given<Vec<i64>>,
    pub(super) bichord: Given<Vec<i64>>,
    pub(super) trichord: Given<Vec<i64>>,
    pub(super) four: Given<Vec<i64>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct FlangeFile {
    pub(super) distance_mm: Spanned<f64>,
    pub(super) curve_mm: Given<Vec<[f64; 2]>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SectionFile {
    pub(super) last: Given<NoteWord>,
    pub(super) arrangement: Given<String>,
    pub(super) rows: Given<i64>,
    pub(super) deal: Given<Vec<i64>>,
    pub(super) rows_of: Option<RowsFile>,
    pub(super) pitch_mm: Given<f64>,
    pub(super) row_spacing_mm: Given<f64>,
    pub(super) row0_mm: Given<f64>,
    pub(super) slant_mm: Given<f64>,
    pub(super) gap_mm: Given<f64>,
    pub(super) flange_mm: Given<f64>,
    pub(super) pin_mm: Given<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PinFile {
    pub(super) pin: Spanned<PinWord>,
    pub(super) x_mm: Given<f64>,
    pub(super) y_mm: Given<f64>,
    pub(super) row: Given<i64>,
    pub(super) section: Given<i64>,
    pub(super) flange_mm: Given<f64>,
    pub(super) pin_mm: Given<f64>,
}

/// Reads a description; what its pins do to each other is not looked at.
pub(super) fn read(text: &str) -> Result<Described, LayoutError> {
    if text.len() > TEXT_BYTES_MAX {
        return Err(LayoutError::TooLarge { bytes: text.len(), limit: TEXT_BYTES_MAX });
    }
    // Byte order marks come from spreadsheets and editors alike.
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let reader = Reader { text };
    let head: Head = toml::from_str(text).map_err(|error| reader.syntax(&error))?;
    if head.format != Some(toml::Value::String("pinhold.layout".to_owned())) {
        return Err(LayoutError::OtherFormat);
    }
    match head.version {
        Some(toml::Value::Integer(1)) => {}
        Some(toml::Value::Integer(version)) => return Err(LayoutError::OtherVersion { version }),
        _ => return Err(LayoutError::OtherFormat),
    }
    let file: File = toml::from_str(text).map_err(|error| reader.shape(&error))?;
    reader.describe(&file)
}

/// Turns the file's facts into ours, knowing the text for line numbers.
pub(super) struct Reader<'a> {
    text: &'a str,
}

impl Reader<'_> {
    fn describe(&self, file: &File) -> Result<Described, LayoutError> {
        let kind = file.kind.get_ref();
        let kind = InstrumentKind::from_word(kind).ok_or_else(|| {
            let reason = format!("{} is neither grand nor upright", quoted(kind));
            self.fault(&file.kind, "kind", reason)
        })?;
        let face = match &file.face {
            None => PlateFace::Full,
            Some(word) => PlateFace::from_word(word.get_ref()).ok_or_else(|| {
                let reason = "use full, three-quarter or open".to_owned();
                self.fault(word, "face", reason)
            })?,
        };
        let stringing = self.stringing(file)?;
        let sections = self.sections(file, &stringing)?;
        let sizes = self.sizes(file, &stringing, &sections)?;
        let flange = match &file.flange {
            None => None,
            Some(flange) => Some(self.flange(flange)?),
        };
        if face == PlateFace::Open {
            let of_section = file.section.iter().find_map(|s| s.get_ref().flange_mm.as_ref());
            let given = file.flange.as_ref().map(|flange| &flange.distance_mm).or(of_section);
            if let Some(given) = given {
                let reason = "an open plank has no plate flange; leave it out, or set face";
                return Err(self.fault(given, "flange", reason.to_owned()));
            }
        }
        let missing = self.missing(file, &stringing)?;
        let (exact, exact_lines) = self.exact(file, &missing)?;
        let description =
            Description { kind, face, stringing, sections, flange, sizes, missing, exact };
        Ok(Described { description, exact_lines })
    }

    pub(super) fn metres(
        &self,
        given: &Given<f64>,
        field: &'static str,
        possible_mm: RangeInclusive<f64>,
    ) -> Result<Option<f64>, LayoutError> {
        given.as_ref().map(|given| self.length(given, field, possible_mm)).transpose()
    }

    pub(super) fn length(
        &self,
        given: &Spanned<f64>,
        field: &'static str,
        possible_mm: RangeInclusive<f64>,
    ) -> Result<f64, LayoutError> {
        if possible_mm.contains(given.get_ref()) {
            return Ok(metres_of(*given.get_ref()));
        }
        let (least, most) = (possible_mm.start(), possible_mm.end());
        let reason = format!("{} mm is not within {least} to {most} mm", given.get_ref());
        Err(self.fault(given, field, reason))
    }

    pub(super) fn whole(
        &self,
        given: &Spanned<i64>,
        field: &'static str,
        least: u8,
        most: u8,
    ) -> Result<u8, LayoutError> {
        let number = u8::try_from(*given.get_ref()).ok();
        number.filter(|number| (least..=most).contains(number)).ok_or_else(|| {
            let reason = format!("{} is not within {least} to {most}", given.get_ref());
            self.fault(given, field, reason)
        })
    }

    pub(super) fn fault<T>(
        &self,
        at: &Spanned<T>,
        field: &'static str,
        reason: String,
    ) -> LayoutError {
        LayoutError::Fact { line: self.line(at.span().start), field, reason }
    }

    fn syntax(&self, error: &toml::de::Error) -> LayoutError {
        let (line, reason) = self.told(error);
        LayoutError::Syntax { line, reason }
    }

    fn shape(&self, error: &toml::de::Error) -> LayoutError {
        let (line, reason) = self.told(error);
        LayoutError::Shape { line, reason }
    }

    /// Where and what, in the reader's words made one printable line.
    fn told(&self, error: &toml::de::Error) -> (usize, String) {
        let reason = error.message().split_whitespace().collect::<Vec<_>>().join(" ");
        let start = error.span().map_or(0, |span| span.start);
        (self.line(start), printable_short(&reason, REASON_LENGTH_MAX))
    }

    /// Line of a byte, from 1.
    pub(super) fn line(&self, byte: usize) -> usize {
        let before = self.text.as_bytes().iter().take(byte);
        1 + before.filter(|byte| **byte == b'\n').count()
    }
}

/// A length in mm to metres, a whole number of micrometres.
pub(super) fn metres_of(mm: f64) -> f64 {
    (mm * 1e3).round() / 1e6
}
