//! The program's own SVG drawings as lines, areas and words of a page, so that a reader can
//! enlarge them and search their words.
//!
//! Deliberately not here: gradients, clips, masks, filters and pictures in pictures, which our
//! drawings do not have; whatever of that another SVG held would be left out.

use krilla::color::rgb;
use krilla::geom::{Path, PathBuilder, Point, Transform};
use krilla::num::NormalizedF32;
use krilla::paint::{Fill, FillRule, LineCap, LineJoin, Stroke, StrokeDash};
use krilla::surface::Surface;
use resvg::usvg;
use resvg::usvg::tiny_skia_path::PathSegment;

use super::PdfError;
use super::font::Faces;
use crate::report::document::Drawing;
use crate::report::raster;

/// Weight of letters from which the bold face is taken (CSS: 400 normal, 700 bold).
const BOLD_WEIGHT: u16 = 600;

/// Draws it with its upper left corner at `at`, so many times its own size.
pub(super) fn paint(
    surface: &mut Surface<'_>,
    drawing: &Drawing,
    (x, y): (f64, f64),
    scale: f64,
    faces: &Faces,
) -> Result<(), PdfError> {
    let tree = raster::tree(&drawing.svg).map_err(|error| PdfError::Refused(error.to_string()))?;
    let (scale, x, y) = (scale as f32, x as f32, y as f32);
    surface.push_transform(&Transform::from_row(scale, 0.0, 0.0, scale, x, y));
    paint_group(surface, tree.root(), faces);
    surface.pop();
    Ok(())
}

fn paint_group(surface: &mut Surface<'_>, group: &usvg::Group, faces: &Faces) {
    for node in group.children() {
        match node {
            usvg::Node::Group(inner) => paint_group(surface, inner, faces),
            usvg::Node::Path(path) if path.is_visible() => paint_path(surface, path),
            usvg::Node::Text(text) => paint_text(surface, text, faces),
            usvg::Node::Path(_) | usvg::Node::Image(_) => {}
        }
    }
}

fn transform_of(t: usvg::Transform) -> Transform {
    Transform::from_row(t.sx, t.ky, t.kx, t.sy, t.tx, t.ty)
}

fn paint_path(surface: &mut Surface<'_>, path: &usvg::Path) {
    let Some(outline) = outline(path.data()) else { return };
    let placed = path.abs_transform();
    if !placed.is_identity() {
        surface.push_transform(&transform_of(placed));
    }
    surface.set_fill(path.fill().and_then(fill));
    surface.set_stroke(path.stroke().and_then(stroke));
    surface.draw_path(&outline);
    if !placed.is_identity() {
        surface.pop();
    }
}

fn outline(path: &usvg::tiny_skia_path::Path) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for segment in path.segments() {
        match segment {
            PathSegment::MoveTo(p) => builder.move_to(p.x, p.y),
            PathSegment::LineTo(p) => builder.line_to(p.x, p.y),
            PathSegment::QuadTo(a, p) => builder.quad_to(a.x, a.y, p.x, p.y),
            PathSegment::CubicTo(a, b, p) => builder.cubic_to(a.x, a.y, b.x, b.y, p.x, p.y),
            PathSegment::Close => builder.close(),
        }
    }
    builder.finish()
}

/// A plain colour; `None` for what is none.
fn color(paint: &usvg::Paint) -> Option<rgb::Color> {
    match paint {
        usvg::Paint::Color(color) => Some(rgb::Color::new(color.red, color.green, color.blue)),
        _ => None,
    }
}

fn opacity(value: usvg::Opacity) -> NormalizedF32 {
    NormalizedF32::new(value.get()).unwrap_or(NormalizedF32::ONE)
}

fn fill(fill: &usvg::Fill) -> Option<Fill> {
    let rule = match fill.rule() {
        usvg::FillRule::NonZero => FillRule::NonZero,
        usvg::FillRule::EvenOdd => FillRule::EvenOdd,
    };
    Some(Fill { paint: color(fill.paint())?.into(), opacity: opacity(fill.opacity()), rule })
}

fn stroke(stroke: &usvg::Stroke) -> Option<Stroke> {
    let line_cap = match stroke.linecap() {
        usvg::LineCap::Butt => LineCap::Butt,
        usvg::LineCap::Round => LineCap::Round,
        usvg::LineCap::Square => LineCap::Square,
    };
    let line_join = match stroke.linejoin() {
        usvg::LineJoin::Miter | usvg::LineJoin::MiterClip => LineJoin::Miter,
        usvg::LineJoin::Round => LineJoin::Round,
        usvg::LineJoin::Bevel => LineJoin::Bevel,
    };
    Some(Stroke {
        paint: color(stroke.paint())?.into(),
        width: stroke.width().get(),
        opacity: opacity(stroke.opacity()),
        line_cap,
        line_join,
        dash: stroke
            .dasharray()
            .map(|dashes| StrokeDash { array: dashes.to_vec(), offset: stroke.dashoffset() }),
        ..Stroke::default()
    })
}

/// Words as words, in the document's own faces, so that they can be found. A light edge round them
/// is drawn as an outline, not as words again.
fn paint_text(surface: &mut Surface<'_>, text: &usvg::Text, faces: &Faces) {
    surface.push_transform(&transform_of(text.abs_transform()));
    for chunk in text.chunks() {
        let spans: Vec<(String, f32, bool, &usvg::TextSpan)> = chunk
            .spans()
            .iter()
            .filter_map(|span| {
                let words = chunk.text().get(span.start()..span.end())?;
                let is_bold = span.font().weight() >= BOLD_WEIGHT;
                Some((faces.held(words), span.font_size().get(), is_bold, span))
            })
            .collect();
        let width_of = |words: &str, size: f32, is_bold: bool| {
            faces.width(words, f64::from(size), is_bold) as f32
        };
        let width: f32 =
            spans.iter().map(|(words, size, bold, _)| width_of(words, *size, *bold)).sum();
        let from = match chunk.anchor() {
            usvg::TextAnchor::Start => 0.0,
            usvg::TextAnchor::Middle => -width / 2.0,
            usvg::TextAnchor::End => -width,
        };
        let (mut x, y) = (chunk.x().unwrap_or(0.0) + from, chunk.y().unwrap_or(0.0));
        for (words, size, is_bold, span) in &spans {
            paint_span(surface, (x, y), (words, *size, *is_bold), span, faces);
            x += width_of(words, *size, *is_bold);
        }
    }
    surface.pop();
}

fn paint_span(
    surface: &mut Surface<'_>,
    (x, y): (f32, f32),
    (words, size, is_bold): (&str, f32, bool),
    span: &usvg::TextSpan,
    faces: &Faces,
) {
    if words.is_empty() {
        return;
    }
    let glyphs = faces.glyphs(words, is_bold);
    let start = Point::from_xy(x, y);
    if let Some(edge) = span.stroke().and_then(stroke) {
        surface.set_fill(None);
        surface.set_stroke(Some(edge));
        surface.draw_glyphs(start, &glyphs, faces.font(is_bold), words, size, true);
    }
    surface.set_stroke(None);
    surface.set_fill(span.fill().and_then(fill));
    surface.draw_glyphs(start, &glyphs, faces.font(is_bold), words, size, false);
}
