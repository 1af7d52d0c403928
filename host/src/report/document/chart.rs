//! Axes, grid and marks of a chart, as shapes.
//!
//! Deliberately not here: what is plotted.

use super::figure::{Anchor, Figure, Ink, Pen, Shape, Type};
use crate::report::numbers::fixed;

/// Room for numbers left of the axis, and below it, points.
const LEFT: f64 = 46.0;
const BELOW: f64 = 30.0;
const ABOVE: f64 = 8.0;
const RIGHT: f64 = 8.0;
/// Size of numbers and words, points.
const TYPE_SIZE: f64 = 7.5;
/// Half the size of a mark, points.
const MARK: f64 = 2.1;

/// Sizes an axis shows; beyond, something is broken, and a mark stands at the edge.
const SENSIBLE_MAX: f64 = 1e12;
const SENSIBLE_MIN: f64 = 1e-9;

/// An axis: its range and what it shows.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// From.
    pub low: f64,
    /// To, greater than `low`.
    pub high: f64,
    /// Such as "Load (N·m), sharp positive".
    pub name: String,
}

impl Axis {
    /// An axis that holds all sensible values given, widened to round numbers.
    pub fn around(values: impl IntoIterator<Item = f64>, name: impl Into<String>) -> Axis {
        let finite = values.into_iter().filter(|value| value.abs() < SENSIBLE_MAX);
        let (low, high) = finite.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        });
        let (low, high) = if low <= high { (low, high) } else { (0.0, 1.0) };
        let least = 1e-9 * low.abs().max(high.abs()).max(SENSIBLE_MIN);
        let (low, high) =
            if high - low > least { (low, high) } else { (low - 0.5, high + 0.5 + least) };
        let step = step_of(low, high);
        let name = name.into();
        Axis { low: (low / step).floor() * step, high: (high / step).ceil() * step, name }
    }

    fn share(&self, value: f64) -> f64 {
        ((value - self.low) / (self.high - self.low)).clamp(0.0, 1.0)
    }

    fn ticks(&self) -> (Vec<f64>, usize) {
        let step = step_of(self.low, self.high);
        let decimals = (-libm::log10(step)).ceil().clamp(0.0, 12.0) as usize;
        let first = (self.low / step - 1e-6).ceil();
        let ticks = (0..=TICK_COUNT_MAX)
            .map(|index| (first + index as f64) * step)
            .take_while(|tick| *tick <= self.high + step * 1e-6);
        (ticks.collect(), decimals)
    }
}

/// Ticks aimed at, and most drawn.
const TICK_COUNT: f64 = 6.0;
const TICK_COUNT_MAX: usize = 14;

/// A round step: 1, 2 or 5 times a power of ten.
fn step_of(low: f64, high: f64) -> f64 {
    let rough = (high - low) / TICK_COUNT;
    let power = libm::pow(10.0, libm::log10(rough).floor());
    let steps = [1.0, 2.0, 5.0, 10.0];
    let step = steps.into_iter().find(|step| step * power >= rough * 0.999).unwrap_or(10.0);
    let step = step * power;
    if step.is_finite() && step > 0.0 { step } else { 1.0 }
}

/// How a mark looks: shapes differ, so that they can be told apart without colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// A circle.
    Circle,
    /// A square.
    Square,
    /// A triangle on its base.
    Triangle,
    /// A square on its corner.
    Diamond,
}

impl Mark {
    /// The mark of the n-th kind.
    pub const fn nth(index: usize) -> Mark {
        match index % 4 {
            0 => Mark::Circle,
            1 => Mark::Square,
            2 => Mark::Triangle,
            _ => Mark::Diamond,
        }
    }

    /// Drawn about a point.
    pub fn shape(self, (x, y): (f64, f64), is_filled: bool, ink: Ink) -> Shape {
        let m = MARK;
        let points = match self {
            Mark::Circle => (0..16)
                .map(|step| {
                    let angle = f64::from(step) * std::f64::consts::TAU / 16.0;
                    (x + m * 1.1 * libm::cos(angle), y + m * 1.1 * libm::sin(angle))
                })
                .collect(),
            Mark::Square => vec![(x - m, y - m), (x + m, y - m), (x + m, y + m), (x - m, y + m)],
            Mark::Triangle => {
                vec![(x, y - 1.3 * m), (x + 1.2 * m, y + m), (x - 1.2 * m, y + m)]
            }
            Mark::Diamond => {
                let r = 1.4 * m;
                vec![(x, y - r), (x + r, y), (x, y + r), (x - r, y)]
            }
        };
        let fill = if is_filled { ink } else { Ink::Paper };
        let pen = Pen { ink, width: 0.7, is_dashed: false };
        Shape::Area { points, fill: Some(fill), pen: Some(pen) }
    }
}

/// A chart being drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    x: Axis,
    y: Axis,
    width: f64,
    height: f64,
    behind: Vec<Shape>,
    before: Vec<Shape>,
    legend: Vec<Shape>,
    legend_right: f64,
}

impl Chart {
    /// An empty chart of a size in points.
    pub fn new(width: f64, height: f64, x: Axis, y: Axis) -> Chart {
        let (behind, before, legend) = (Vec::new(), Vec::new(), Vec::new());
        Chart { x, y, width, height, behind, before, legend, legend_right: LEFT }
    }

    fn at(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let wide = self.width - LEFT - RIGHT;
        let high = self.height - ABOVE - BELOW;
        let (share_x, share_y) = (self.x.share(x), self.y.share(y));
        (LEFT + share_x * wide, ABOVE + (1.0 - share_y) * high)
    }

    fn places(&self, points: &[(f64, f64)]) -> Vec<(f64, f64)> {
        let finite = points.iter().filter(|(x, y)| x.is_finite() && y.is_finite());
        finite.map(|point| self.at(*point)).collect()
    }

    /// A filled band behind the grid.
    pub fn band(&mut self, corners: &[(f64, f64)]) {
        let points = self.places(corners);
        self.behind.push(Shape::Area { points, fill: Some(Ink::Tint), pen: None });
    }

    /// A line through points.
    pub fn line(&mut self, points: &[(f64, f64)], pen: Pen) {
        let points = self.places(points);
        self.before.push(Shape::Line { points, pen });
    }

    /// A mark.
    pub fn mark(&mut self, at: (f64, f64), mark: Mark, is_filled: bool, ink: Ink) {
        if at.0.is_finite() && at.1.is_finite() {
            self.before.push(mark.shape(self.at(at), is_filled, ink));
        }
    }

    /// An entry of the legend above the plot: a mark, or a piece of line, and its word.
    pub fn legend_mark(&mut self, mark: Mark, is_filled: bool, ink: Ink, word: &str) {
        let x = self.legend_right + 4.0;
        self.legend.push(mark.shape((x, LEGEND_Y - 2.6), is_filled, ink));
        self.legend_word(word, x + 6.0);
    }

    /// A piece of line, or of a band where no pen is given.
    pub fn legend_line(&mut self, pen: Option<Pen>, word: &str) {
        let x = self.legend_right + 2.0;
        let (from, to) = ((x, LEGEND_Y - 2.6), (x + 16.0, LEGEND_Y - 2.6));
        self.legend.push(match pen {
            Some(pen) => Shape::Line { points: vec![from, to], pen },
            None => Shape::block(x, LEGEND_Y - 6.0, 16.0, 7.0, Ink::Tint),
        });
        self.legend_word(word, x + 20.0);
    }

    fn legend_word(&mut self, word: &str, x: f64) {
        self.legend.push(words((x, LEGEND_Y), word.to_owned(), Anchor::Start, false));
        // Room by count: the widths of letters are known to the renderings alone.
        self.legend_right = x + word.chars().count() as f64 * TYPE_SIZE * 0.55 + 10.0;
    }

    /// The finished picture.
    pub fn finish(self, caption: impl Into<String>, alternative: impl Into<String>) -> Figure {
        let mut shapes = self.behind.clone();
        self.grid(&mut shapes);
        shapes.extend(self.before.clone());
        let shift = if self.legend.is_empty() { 0.0 } else { LEGEND_HEIGHT };
        let mut shapes: Vec<Shape> = shapes.iter().map(|s| s.moved((0.0, shift))).collect();
        shapes.extend(self.legend);
        Figure {
            caption: caption.into(),
            alternative: alternative.into(),
            width: self.width,
            height: self.height + shift,
            shapes,
        }
    }

    fn grid(&self, shapes: &mut Vec<Shape>) {
        let (ticks, decimals) = self.x.ticks();
        for tick in ticks {
            let (x, foot) = self.at((tick, self.y.low));
            let top = self.at((tick, self.y.high)).1;
            shapes.push(Shape::rule((x, top), (x, foot), Ink::Rule, 0.4));
            shapes.push(words((x, foot + 10.0), fixed(tick, decimals), Anchor::Middle, false));
        }
        let (ticks, decimals) = self.y.ticks();
        for tick in ticks {
            let (left, y) = self.at((self.x.low, tick));
            let right = self.at((self.x.high, tick)).0;
            shapes.push(Shape::rule((left, y), (right, y), Ink::Rule, 0.4));
            shapes.push(words((left - 4.0, y + 2.6), fixed(tick, decimals), Anchor::End, false));
        }
        let (left, foot) = self.at((self.x.low, self.y.low));
        let (right, top) = self.at((self.x.high, self.y.high));
        let pen = Pen { ink: Ink::Soft, width: 0.7, is_dashed: false };
        shapes.push(Shape::Line { points: vec![(left, top), (left, foot), (right, foot)], pen });
        if self.y.low < 0.0 && self.y.high > 0.0 {
            let y = self.at((self.x.low, 0.0)).1;
            shapes.push(Shape::rule((left, y), (right, y), Ink::Soft, 0.7));
        }
        let below = self.height - 8.0;
        shapes.push(words(
            ((left + right) / 2.0, below),
            self.x.name.clone(),
            Anchor::Middle,
            true,
        ));
    }
}

/// Base line of the legend, and the room it takes, points.
const LEGEND_Y: f64 = 8.0;
const LEGEND_HEIGHT: f64 = 14.0;

fn words(at: (f64, f64), text: String, anchor: Anchor, is_bold: bool) -> Shape {
    let ink = if is_bold { Ink::Strong } else { Ink::Soft };
    Shape::Words { at, text, font: Type { size: TYPE_SIZE, is_bold, ink, anchor } }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_hold_their_values_with_round_ticks() {
        for (low, high, first, last, count) in [
            (-24.5, 24.5, -30.0, 30.0, 7),
            (0.0, 0.033, 0.0, 0.04, 5),
            (0.0, 217.0, 0.0, 250.0, 6),
            (3.0, 3.0, 2.4, 3.6, 7),
        ] {
            let axis = Axis::around([low, f64::NAN, high], "x");
            let (ticks, _) = axis.ticks();
            assert!(axis.low <= low && axis.high >= high);
            let near = |a: f64, b: f64| (a - b).abs() < 1e-9;
            assert!(near(axis.low, first) && near(axis.high, last), "{axis:?}");
            assert!(near(ticks[0], first) && near(ticks[ticks.len() - 1], last), "{ticks:?}");
            assert_eq!(ticks.len(), count, "{ticks:?}");
        }
    }

    #[test]
    fn marks_stand_where_their_values_are() {
        let axis = || Axis { low: 0.0, high: 10.0, name: String::new() };
        let chart = Chart::new(LEFT + RIGHT + 100.0, ABOVE + BELOW + 50.0, axis(), axis());
        assert_eq!(chart.at((0.0, 0.0)), (LEFT, ABOVE + 50.0));
        assert_eq!(chart.at((5.0, 10.0)), (LEFT + 50.0, ABOVE));
        assert_eq!(chart.at((99.0, -99.0)), (LEFT + 100.0, ABOVE + 50.0), "at the edge");
    }
}
