//! The marks of pins, letters of zones and signs of doubt, as SVG fragments.
//!
//! Deliberately not here: where things stand on the page.

use std::fmt::Write as _;

use crate::report::legend::{Look, Mark};

/// A point on the page.
pub(crate) type Point = (f64, f64);

/// Outline of a mark.
const INK: &str = "#26221f";

/// Text made safe inside SVG and HTML.
pub(crate) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            // Not allowed in XML at all.
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => safe.push('\u{fffd}'),
            c => safe.push(c),
        }
    }
    safe
}

/// A pin's mark at a point, `r` half its size.
pub(crate) fn mark(look: Look, (x, y): Point, r: f64) -> String {
    let fill = look.colour;
    let thin = (0.16 * r).max(0.5);
    let outline = format!("stroke=\"{INK}\" stroke-width=\"{thin:.2}\"");
    match look.mark {
        Mark::Disc => {
            let r = 0.8 * r;
            format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\" fill=\"{fill}\" {outline}/>")
        }
        Mark::Ring => format!(
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" fill=\"{fill}\" {outline}/>\
             <circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" fill=\"{INK}\"/>",
            0.8 * r,
            0.2 * r
        ),
        Mark::HalfDisc => format!(
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\" fill=\"{fill}\" {outline}/>\
             <path d=\"M{:.1} {y:.1}A{r:.1} {r:.1} 0 0 0 {:.1} {y:.1}Z\" fill=\"{INK}\"/>",
            x - r,
            x + r
        ),
        Mark::Dot => {
            format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" fill=\"#8a8580\"/>", 0.22 * r)
        }
        Mark::Question => format!(
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{r:.1}\" fill=\"{fill}\" {outline} \
             stroke-dasharray=\"{:.1}\"/><path d=\"{}\" fill=\"none\" stroke=\"{INK}\" \
             stroke-width=\"{:.2}\"/>",
            0.5 * r,
            question((x, y), r),
            0.24 * r
        ),
        Mark::Fork => {
            let points = [(x, y + 1.1 * r), (x + r, y - 0.8 * r), (x - r, y - 0.8 * r)];
            polygon(&points, fill, &outline)
        }
        Mark::Wheel => format!(
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{:.1}\" fill=\"{fill}\" \
             stroke=\"{INK}\" stroke-width=\"{:.2}\"/>",
            0.7 * r,
            0.4 * r
        ),
        Mark::Square => polygon(&corners((x, y), 0.8 * r, 0.8 * r), fill, &outline),
        Mark::CrossedSquare => {
            let e = 0.6 * r;
            let square = polygon(&corners((x, y), r, r), fill, &outline);
            format!("{square}{}", cross((x, y), e, "#ffffff", 0.3 * r))
        }
        Mark::Triangle => {
            let points = [(x, y - 1.1 * r), (x + r, y + 0.8 * r), (x - r, y + 0.8 * r)];
            polygon(&points, fill, &outline)
        }
        Mark::Diamond => {
            let e = 1.15 * r;
            polygon(&[(x, y - e), (x + e, y), (x, y + e), (x - e, y)], fill, &outline)
        }
        Mark::Cross => {
            // A light edge first keeps the cross apart from what lies under it.
            let under = cross((x, y), 0.95 * r, "#ffffff", 0.85 * r);
            format!("{under}{}", cross((x, y), 0.9 * r, fill, 0.5 * r))
        }
    }
}

/// A question mark as a line: its size must not count as that of letters to be read.
fn question((x, y): Point, r: f64) -> String {
    format!(
        "M{:.1} {:.1}a{a:.1} {a:.1} 0 1 1 {:.1} {:.1}V{:.1}M{x:.1} {:.1}v{:.1}",
        x - 0.35 * r,
        y - 0.3 * r,
        0.35 * r,
        0.36 * r,
        y + 0.3 * r,
        y + 0.5 * r,
        0.18 * r,
        a = 0.36 * r
    )
}

fn corners((x, y): Point, half_width: f64, half_height: f64) -> [Point; 4] {
    let (w, h) = (half_width, half_height);
    [(x - w, y - h), (x + w, y - h), (x + w, y + h), (x - w, y + h)]
}

fn polygon(points: &[Point], fill: &str, outline: &str) -> String {
    let mut list = String::new();
    for (x, y) in points {
        let _ = write!(list, "{x:.1},{y:.1} ");
    }
    format!("<polygon points=\"{}\" fill=\"{fill}\" {outline}/>", list.trim_end())
}

fn cross((x, y): Point, e: f64, colour: &str, width: f64) -> String {
    format!(
        "<path d=\"M{:.1} {:.1}L{:.1} {:.1}M{:.1} {:.1}L{:.1} {:.1}\" stroke=\"{colour}\" \
         stroke-width=\"{width:.1}\" stroke-linecap=\"round\" fill=\"none\"/>",
        x - e,
        y - e,
        x + e,
        y + e,
        x - e,
        y + e,
        x + e,
        y - e
    )
}

/// A dashed frame.
pub(crate) fn frame((left, top): Point, (right, bottom): Point) -> String {
    format!(
        "<rect x=\"{left:.1}\" y=\"{top:.1}\" width=\"{:.1}\" height=\"{:.1}\" rx=\"6\" \
         fill=\"none\" stroke=\"{INK}\" stroke-width=\"2\" stroke-dasharray=\"7 4\"/>",
        right - left,
        bottom - top
    )
}

/// A thin line from a tag to what it names.
pub(crate) fn leader(
    (from_x, from_y): Point,
    (to_x, to_y): Point,
    colour: &str,
    width: f64,
) -> String {
    format!(
        "<path d=\"M{from_x:.1} {from_y:.1}L{to_x:.1} {to_y:.1}\" stroke=\"{colour}\" \
         stroke-width=\"{width}\"/>"
    )
}

/// The sign of a lever in doubt: an exclamation mark in a small flag at the mark's upper right.
pub(crate) fn doubt((x, y): Point, r: f64) -> String {
    let half = (0.62 * r).max(2.2);
    let (x, y) = (x + 0.95 * r, y - 0.95 * r);
    format!(
        "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{half:.1}\" fill=\"#ffffff\" stroke=\"{INK}\" \
         stroke-width=\"{:.2}\"/><path d=\"M{x:.1} {:.1}V{:.1}M{x:.1} {:.1}v0.01\" \
         stroke=\"{INK}\" stroke-width=\"{:.1}\" stroke-linecap=\"round\" fill=\"none\"/>",
        0.18 * half,
        y - 0.6 * half,
        y + 0.1 * half,
        y + 0.55 * half,
        0.36 * half
    )
}

/// A zone's letter on a dark tag.
pub(crate) fn tag((x, y): Point, letter: char) -> String {
    format!(
        "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"8.6\" fill=\"{INK}\" stroke=\"#ffffff\"/>\
         <text x=\"{x:.1}\" y=\"{:.1}\" font-size=\"13.2\" font-weight=\"bold\" fill=\"#ffffff\" \
         text-anchor=\"middle\">{letter}</text>",
        y + 4.7
    )
}
