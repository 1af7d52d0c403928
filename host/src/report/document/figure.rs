//! Pictures of lines, marks and words, the same in SVG and PDF.
//!
//! Coordinates are points (1/72 inch), y downwards, from the figure's upper left corner.

use std::fmt::Write;

use maud::{Markup, PreEscaped, html};

/// A picture with what it shows in words.
#[derive(Clone, Debug, PartialEq)]
pub struct Figure {
    /// Under it.
    pub caption: String,
    /// What it shows, for who cannot see it.
    pub alternative: String,
    /// Width in points.
    pub width: f64,
    /// Height in points.
    pub height: f64,
    /// Drawn in this order.
    pub shapes: Vec<Shape>,
}

/// Colours of every document. Nothing is told by colour alone.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Ink {
    /// Text and marks.
    Strong,
    /// Small print, axes.
    Soft,
    /// Rules in tables, grid.
    Rule,
    /// Heads of tables, bands.
    Tint,
    /// The curve that matters.
    Accent,
    /// On dark ground.
    Paper,
}

impl Ink {
    /// Red, green, blue.
    pub const fn rgb(self) -> [u8; 3] {
        match self {
            Ink::Strong => [0x26, 0x22, 0x1f],
            Ink::Soft => [0x57, 0x50, 0x4a],
            Ink::Rule => [0xcf, 0xc8, 0xc0],
            Ink::Tint => [0xf1, 0xed, 0xe7],
            Ink::Accent => [0x1f, 0x5a, 0x6b],
            Ink::Paper => [0xff, 0xff, 0xff],
        }
    }

    fn css(self) -> String {
        let [red, green, blue] = self.rgb();
        format!("#{red:02x}{green:02x}{blue:02x}")
    }
}

/// Where a word stands to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// Ends there.
    End,
}

/// A line drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pen {
    /// Colour.
    pub ink: Ink,
    /// Width in points.
    pub width: f64,
    /// Broken.
    pub is_dashed: bool,
}

/// Words drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Type {
    /// Size in points.
    pub size: f64,
    /// Bold.
    pub is_bold: bool,
    /// Colour.
    pub ink: Ink,
    /// Where they stand.
    pub anchor: Anchor,
}

/// One thing drawn.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A line through points.
    Line {
        /// Points.
        points: Vec<(f64, f64)>,
        /// How.
        pen: Pen,
    },
    /// An area, filled, outlined, or both.
    Area {
        /// Corners.
        points: Vec<(f64, f64)>,
        /// Filled with.
        fill: Option<Ink>,
        /// Outlined with.
        pen: Option<Pen>,
    },
    /// Words on one line.
    Words {
        /// Point of the base line.
        at: (f64, f64),
        /// Text.
        text: String,
        /// How.
        font: Type,
    },
}

impl Shape {
    /// The same elsewhere.
    #[must_use]
    pub fn moved(&self, by: (f64, f64)) -> Shape {
        let move_point = |(x, y): (f64, f64)| (x + by.0, y + by.1);
        let move_all = |points: &[(f64, f64)]| points.iter().copied().map(move_point).collect();
        match self {
            Shape::Line { points, pen } => Shape::Line { points: move_all(points), pen: *pen },
            Shape::Area { points, fill, pen } => {
                Shape::Area { points: move_all(points), fill: *fill, pen: *pen }
            }
            Shape::Words { at, text, font } => {
                Shape::Words { at: move_point(*at), text: text.clone(), font: *font }
            }
        }
    }

    /// A filled rectangle.
    pub fn block(left: f64, top: f64, width: f64, height: f64, ink: Ink) -> Shape {
        let (right, bottom) = (left + width, top + height);
        Shape::Area {
            points: vec![(left, top), (right, top), (right, bottom), (left, bottom)],
            fill: Some(ink),
            pen: None,
        }
    }

    /// A straight line.
    pub fn rule(from: (f64, f64), to: (f64, f64), ink: Ink, width: f64) -> Shape {
        Shape::Line { points: vec![from, to], pen: Pen { ink, width, is_dashed: false } }
    }
}

impl Figure {
    /// As inline SVG.
    pub fn svg(&self) -> Markup {
        let view = format!("0 0 {} {}", short(self.width), short(self.height));
        html! {
            svg viewBox=(view) role="img" aria-label=(self.alternative)
                xmlns="http://www.w3.org/2000/svg" {
                @for shape in &self.shapes { (svg_shape(shape)) }
            }
        }
    }
}

fn svg_shape(shape: &Shape) -> Markup {
    match shape {
        Shape::Line { points, pen } => html! {
            path d=(path(points, false)) fill="none" stroke=(pen.ink.css())
                stroke-width=(short(pen.width)) stroke-linejoin="round"
                stroke-dasharray=[pen.is_dashed.then_some(DASHES_CSS)] {}
        },
        Shape::Area { points, fill, pen } => html! {
            path d=(path(points, true)) fill=(fill.map_or("none".to_owned(), Ink::css))
                stroke=[pen.map(|pen| pen.ink.css())]
                stroke-width=[pen.map(|pen| short(pen.width))] {}
        },
        Shape::Words { at, text, font } => {
            let anchor = match font.anchor {
                Anchor::Start => "start",
                Anchor::Middle => "middle",
                Anchor::End => "end",
            };
            html! {
                text x=(short(at.0)) y=(short(at.1)) font-size=(short(font.size))
                    fill=(font.ink.css()) text-anchor=(anchor)
                    font-weight=[font.is_bold.then_some("bold")] { (text) }
            }
        }
    }
}

/// Dashes of a broken line: on, off, in points.
pub const DASHES: [f32; 2] = [3.0, 2.0];
const DASHES_CSS: &str = "3 2";

fn path(points: &[(f64, f64)], is_closed: bool) -> PreEscaped<String> {
    let mut text = String::new();
    for (index, (x, y)) in points.iter().enumerate() {
        let letter = if index == 0 { 'M' } else { 'L' };
        let _ = write!(text, "{letter}{} {}", short(*x), short(*y));
    }
    if is_closed {
        text.push('Z');
    }
    PreEscaped(text)
}

/// Hundredths of a point are fine enough.
fn short(value: f64) -> String {
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}
