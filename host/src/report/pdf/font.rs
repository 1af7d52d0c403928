//! The two faces a document is set in, what they hold, and how wide a text is.
//!
//! One glyph for each character, left to right, without kerning: enough for Latin, Greek and
//! Cyrillic. Scripts written from right to left need more, so their characters count as not held,
//! like those the font lacks; [`Faces::held`] puts [`REPLACEMENT`] for each and counts them.

use std::cell::Cell;

use krilla::text::{Font, GlyphId, KrillaGlyph};
use skrifa::instance::{LocationRef, Size};
use skrifa::metrics::GlyphMetrics;
use skrifa::{FontRef, MetadataProvider};

use super::PdfError;
use crate::report::fonts::{BOLD, REGULAR};

/// Shown for a character the font does not hold.
pub(super) const REPLACEMENT: char = '□';

/// One face.
struct Face {
    font: Font,
    reader: FontRef<'static>,
    units_per_em: f32,
}

impl Face {
    fn read(data: &'static [u8]) -> Result<Face, PdfError> {
        let reader = FontRef::new(data).map_err(|_| PdfError::Font)?;
        let font = Font::new(data.into(), 0).ok_or(PdfError::Font)?;
        let units_per_em = font.units_per_em();
        Ok(Face { font, reader, units_per_em })
    }

    fn metrics(&self) -> GlyphMetrics<'static> {
        self.reader.glyph_metrics(Size::unscaled(), LocationRef::default())
    }
}

/// Both faces.
pub(super) struct Faces {
    regular: Face,
    bold: Face,
    replaced_count: Cell<usize>,
}

impl Faces {
    /// Reads the faces.
    pub(super) fn new() -> Result<Faces, PdfError> {
        let replaced_count = Cell::new(0);
        Ok(Faces { regular: Face::read(REGULAR)?, bold: Face::read(BOLD)?, replaced_count })
    }

    fn face(&self, is_bold: bool) -> &Face {
        if is_bold { &self.bold } else { &self.regular }
    }

    /// The font of a face.
    pub(super) fn font(&self, is_bold: bool) -> Font {
        self.face(is_bold).font.clone()
    }

    /// The text with [`REPLACEMENT`] for what is not held by both faces.
    pub(super) fn held(&self, text: &str) -> String {
        let (regular, bold) = (self.regular.reader.charmap(), self.bold.reader.charmap());
        let is_held = |c: char| {
            let both = [&regular, &bold];
            !needs_shaping(c) && both.iter().all(|map| map.map(c).is_some_and(|id| id.to_u32() > 0))
        };
        let one = |c: char| {
            if is_held(c) {
                return c;
            }
            self.replaced_count.set(self.replaced_count.get() + 1);
            REPLACEMENT
        };
        text.chars().map(one).collect()
    }

    /// Characters replaced so far.
    pub(super) fn replaced_count(&self) -> usize {
        self.replaced_count.get()
    }

    /// Width of a text, points.
    pub(super) fn width(&self, text: &str, size: f64, is_bold: bool) -> f64 {
        let face = self.face(is_bold);
        let (map, metrics) = (face.reader.charmap(), face.metrics());
        let units: f32 = text
            .chars()
            .map(|c| metrics.advance_width(map.map(c).unwrap_or_default()).unwrap_or(0.0))
            .sum();
        f64::from(units / face.units_per_em) * size
    }

    /// The glyphs of a text.
    pub(super) fn glyphs(&self, text: &str, is_bold: bool) -> Vec<KrillaGlyph> {
        let face = self.face(is_bold);
        let (map, metrics) = (face.reader.charmap(), face.metrics());
        let glyph = |(at, c): (usize, char)| {
            let id = map.map(c).unwrap_or_default();
            let advance = metrics.advance_width(id).unwrap_or(0.0) / face.units_per_em;
            let range = at..at + c.len_utf8();
            KrillaGlyph::new(GlyphId::new(id.to_u32()), advance, 0.0, 0.0, 0.0, range, None)
        };
        text.char_indices().map(glyph).collect()
    }
}

/// Scripts from right to left, characters without a look, and private ones.
const fn needs_shaping(c: char) -> bool {
    matches!(
        c,
        '\u{590}'..='\u{8ff}'
            | '\u{fb1d}'..='\u{fdff}'
            | '\u{fe00}'..='\u{fe0f}'
            | '\u{fe70}'..='\u{feff}'
            | '\u{200b}'..='\u{200f}'
            | '\u{2028}'..='\u{202e}'
            | '\u{2060}'..='\u{206f}'
            | '\u{e000}'..='\u{f8ff}'
            | '\u{fff0}'..='\u{ffff}'
            | '\u{10800}'..
    ) || (c as u32) < 0x20
        || matches!(c, '\u{7f}'..='\u{9f}')
}
