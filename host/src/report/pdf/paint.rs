//! Laid pages as a PDF file: the only place that speaks to the library.

use krilla::color::rgb;
use krilla::configure::ConfigurationBuilder;
use krilla::configure::validate::{Accessibility, Archival};
use krilla::destination::XyzDestination;
use krilla::geom::{Path, PathBuilder, Point, Size, Transform};
use krilla::image::Image;
use krilla::metadata::{DateTime, Metadata};
use krilla::num::NormalizedF32;
use krilla::outline::{Outline, OutlineNode};
use krilla::page::PageSettings;
use krilla::paint::{Fill, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, Identifier, SpanTag};
use krilla::{Document as PdfDocument, SerializeSettings};

use super::PdfError;
use super::font::Faces;
use super::layout::{Content, Laid, Piece, Role, Sheet};
use super::{drawing, tags};
use crate::report::document::figure::{Anchor, DASHES, Ink, Pen, Shape, Type};
use crate::report::document::{Document, Raster};

/// Paints the pages and closes the file.
pub(super) fn paint(document: &Document, laid: &Laid, faces: &Faces) -> Result<Vec<u8>, PdfError> {
    let refused = |what: &dyn std::fmt::Debug| PdfError::Refused(format!("{what:?}"));
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A2_A)
        .with_accessibility_validator(Accessibility::UA1)
        .finish()
        .map_err(|error| refused(&error))?;
    let settings = SerializeSettings { configuration, ..SerializeSettings::default() };
    let mut pdf = PdfDocument::new_with(settings);
    let mut identifiers: Vec<Option<Identifier>> = vec![None; laid.leaf_count];
    let sheet = Sheet::of(document.paper);
    for pieces in &laid.pages {
        let size = PageSettings::from_wh(sheet.width as f32, sheet.height as f32);
        let mut page = pdf.start_page_with(size.ok_or_else(|| refused(&"page size"))?);
        let mut surface = page.surface();
        for piece in pieces {
            paint_piece(&mut surface, piece, faces, &mut identifiers)?;
        }
        surface.finish();
        page.finish();
    }
    pdf.set_tag_tree(tags::tree(&laid.nodes, &identifiers, document.language));
    pdf.set_outline(outline(laid));
    pdf.set_metadata(metadata(document));
    pdf.finish().map_err(|error| refused(&error))
}

fn paint_piece(
    surface: &mut Surface<'_>,
    piece: &Piece,
    faces: &Faces,
    identifiers: &mut [Option<Identifier>],
) -> Result<(), PdfError> {
    let artifact = |kind| ContentTag::Artifact(Artifact::with_kind(kind));
    let (tag, leaf) = match piece.role {
        Role::Words(leaf) => (ContentTag::Span(SpanTag::empty()), Some(leaf)),
        Role::Drawing(leaf) => (ContentTag::Other, Some(leaf)),
        Role::Ornament => (artifact(ArtifactType::Layout), None),
        Role::Head => (artifact(ArtifactType::Header), None),
        Role::Foot => (artifact(ArtifactType::Footer), None),
    };
    let identifier = surface.start_tagged(tag);
    let painted = match &piece.content {
        Content::Shapes(shapes) => {
            shapes.iter().for_each(|shape| paint_shape(surface, shape, faces));
            Ok(())
        }
        Content::Drawing(picture, at, scale) => {
            drawing::paint(surface, picture, *at, *scale, faces)
        }
        Content::Raster(raster, at, size) => paint_raster(surface, raster, *at, *size),
    };
    surface.end_tagged();
    if let Some(slot) = leaf.and_then(|leaf| identifiers.get_mut(leaf)) {
        *slot = Some(identifier);
    }
    painted
}

fn paint_raster(
    surface: &mut Surface<'_>,
    raster: &Raster,
    (x, y): (f64, f64),
    (width, height): (f64, f64),
) -> Result<(), PdfError> {
    // PDF/A allows no smoothing.
    let image = Image::from_png(raster.png.to_vec().into(), false).map_err(PdfError::Refused)?;
    let size = Size::from_wh(width as f32, height as f32);
    let size = size.ok_or_else(|| PdfError::Refused("a picture without size".to_owned()))?;
    surface.push_transform(&Transform::from_translate(x as f32, y as f32));
    surface.draw_image(image, size);
    surface.pop();
    Ok(())
}

fn paint_shape(surface: &mut Surface<'_>, shape: &Shape, faces: &Faces) {
    match shape {
        Shape::Line { points, pen } => {
            if let Some(path) = path(points, false) {
                surface.set_fill(None);
                surface.set_stroke(Some(stroke(*pen)));
                surface.draw_path(&path);
            }
        }
        Shape::Area { points, fill, pen } => {
            if let Some(path) = path(points, true) {
                surface.set_fill(fill.map(filled));
                surface.set_stroke(pen.map(stroke));
                surface.draw_path(&path);
            }
        }
        Shape::Words { at, text, font } => paint_words(surface, *at, text, *font, faces),
    }
}

fn paint_words(
    surface: &mut Surface<'_>,
    (x, y): (f64, f64),
    text: &str,
    font: Type,
    faces: &Faces,
) {
    if text.is_empty() {
        return;
    }
    let width = faces.width(text, font.size, font.is_bold);
    let left = match font.anchor {
        Anchor::Start => x,
        Anchor::Middle => x - width / 2.0,
        Anchor::End => x - width,
    };
    surface.set_stroke(None);
    surface.set_fill(Some(filled(font.ink)));
    surface.draw_glyphs(
        Point::from_xy(left as f32, y as f32),
        &faces.glyphs(text, font.is_bold),
        faces.font(font.is_bold),
        text,
        font.size as f32,
        false,
    );
}

fn path(points: &[(f64, f64)], is_closed: bool) -> Option<Path> {
    let mut builder = PathBuilder::new();
    let (first, rest) = points.split_first()?;
    builder.move_to(first.0 as f32, first.1 as f32);
    for (x, y) in rest {
        builder.line_to(*x as f32, *y as f32);
    }
    if is_closed {
        builder.close();
    }
    builder.finish()
}

fn color(ink: Ink) -> rgb::Color {
    let [red, green, blue] = ink.rgb();
    rgb::Color::new(red, green, blue)
}

fn filled(ink: Ink) -> Fill {
    Fill { paint: color(ink).into(), opacity: NormalizedF32::ONE, rule: Default::default() }
}

fn stroke(pen: Pen) -> Stroke {
    Stroke {
        paint: color(pen.ink).into(),
        width: pen.width as f32,
        line_cap: LineCap::Butt,
        line_join: LineJoin::Round,
        dash: pen.is_dashed.then(|| StrokeDash { array: DASHES.to_vec(), offset: 0.0 }),
        ..Stroke::default()
    }
}

fn outline(laid: &Laid) -> Outline {
    let mut outline = Outline::new();
    for mention in &laid.outline {
        let point = Point::from_xy(0.0, (mention.y - 10.0).max(0.0) as f32);
        let destination = XyzDestination::new(mention.page, point);
        outline.push_child(OutlineNode::new(mention.text.clone(), destination));
    }
    outline
}

fn metadata(document: &Document) -> Metadata {
    let metadata = Metadata::new()
        .title(document.title.clone())
        .description(document.description.clone())
        .authors(document.authors.clone())
        .creator(document.program.clone())
        .language(document.language.code().to_owned());
    // PDF/A wants a date: the first of the calendar stands for none.
    metadata.creation_date(date(document.made_ms).unwrap_or(DateTime::new(0)))
}

/// The moment, by UTC; `None` beyond the calendar's and the format's years.
fn date(ms: i64) -> Option<DateTime> {
    let time = jiff::tz::Offset::UTC.to_datetime(jiff::Timestamp::from_millisecond(ms).ok()?);
    let part = |value: i8| u8::try_from(value).ok();
    let date = DateTime::new(u16::try_from(time.year()).ok()?)
        .month(part(time.month())?)
        .day(part(time.day())?)
        .hour(part(time.hour())?)
        .minute(part(time.minute())?)
        .second(part(time.second())?)
        .utc_offset_hour(0);
    Some(date)
}
