//! Two surveys beside each other, as sentences for the terminal and as a document.
//!
//! Deliberately not here: the comparison itself ([`crate::analysis::history::compare`]).

use super::document::figure::{Anchor, Figure, Ink, Pen, Shape, Type};
use super::document::{Align, Block, Document, Paper, Table};
use super::numbers;
use crate::analysis::history::compare::{Change, Comparison, Level};
use crate::analysis::zones::place::section_name;
use crate::instrument::{Instrument, pin_name};
use crate::text::{printable, printable_short};
use crate::units::TorqueUnit;
use crate::words::{Fixed, Language, Numeral, Said, Word, comparison as say, plank};

/// Longest name in a heading.
const NAME_COUNT_MAX: usize = 70;
/// Points of relative humidity within which two surveys are in like air; common practice, no
/// source.
pub const HUMIDITY_ALIKE_POINTS: f64 = 5.0;
/// Width of the picture, points.
const FIGURE_WIDTH: f64 = 500.0;
/// Half a mark, points.
const MARK: f64 = 2.6;
/// What stands for no value.
const NONE: &str = "–";

/// A survey as it is told.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    /// Its number among the instrument's, oldest first.
    pub number: usize,
    /// Day it began.
    pub date: String,
    /// Relative humidity, 0–1, when known.
    pub humidity: Option<f64>,
}

impl Side {
    fn said(&self) -> Said {
        say::of_survey(self.number, printable(&self.date))
    }
}

/// All that is told.
#[derive(Clone, Copy, Debug)]
pub struct CompareModel<'a> {
    /// The instrument.
    pub instrument: &'a Instrument,
    /// What its surveys say.
    pub comparison: &'a Comparison,
    /// The earlier survey.
    pub before: &'a Side,
    /// The later one.
    pub after: &'a Side,
    /// Their humidity is the mean of the weeks before, as logged; else as told at each.
    pub humidity_is_of_weeks: bool,
    /// Days between them, when both dates are known.
    pub days: Option<i64>,
    /// Unit of torques.
    pub unit: TorqueUnit,
}

impl CompareModel<'_> {
    fn number(&self, value_nm: f64) -> String {
        numbers::signed(self.unit.from_newton_metres(value_nm), self.unit.decimals())
    }

    fn with_unit(&self, value_nm: f64) -> Numeral {
        Numeral(format!("{} {}", self.number(value_nm), self.unit))
    }

    fn plain(&self, value_nm: f64) -> Numeral {
        let value = numbers::fixed(self.unit.from_newton_metres(value_nm), self.unit.decimals());
        Numeral(format!("{value} {}", self.unit))
    }

    /// The two surveys, in a line.
    pub fn surveys(&self) -> Said {
        say::surveys(self.before.said(), self.after.said())
    }

    /// The main sentence.
    pub fn result(&self) -> Said {
        let comparison = self.comparison;
        let count = comparison.pairs.len();
        let (Some(shift), Some((low, high))) = (comparison.shift, comparison.interval_nm) else {
            return say::too_few(count);
        };
        if !comparison.shift_is_clear() {
            return say::no_clear_shift(self.with_unit(low), self.with_unit(high), count);
        }
        let (size, near, far) =
            (shift.shift.abs(), low.abs().min(high.abs()), low.abs().max(high.abs()));
        let (size, near, far) = (self.plain(size), self.plain(near), self.plain(far));
        if shift.shift > 0.0 {
            say::rises(size, near, far, count)
        } else {
            say::falls(size, near, far, count)
        }
    }

    /// What the air was, beside each other.
    pub fn humidity(&self) -> Said {
        let (Some(before), Some(after)) = (self.before.humidity, self.after.humidity) else {
            return say::HUMIDITY_UNKNOWN.said();
        };
        let (one, other) = (Fixed(100.0 * before, 0), Fixed(100.0 * after, 0));
        let points = 100.0 * (after - before).abs();
        // A hair for what is stored in thousandths.
        if points <= HUMIDITY_ALIKE_POINTS + 1e-9 {
            say::humidity_alike(one, other)
        } else {
            say::humidity_differs(one, other, Fixed(points, 0))
        }
    }

    /// What the reader is to know beside the result.
    pub fn beside(&self) -> Vec<Said> {
        let mut told = vec![self.humidity()];
        if self.before.humidity.is_some() && self.after.humidity.is_some() {
            let of = if self.humidity_is_of_weeks { say::OF_WEEKS } else { say::OF_SURVEY };
            told.push(of.said());
        }
        told.extend(self.days.map(|days| say::repeat_after(days.to_string())));
        told
    }

    /// Which pins changed.
    pub fn marked(&self) -> Said {
        let count = |change| self.comparison.count(change);
        say::marked(count(Change::Tighter), count(Change::Looser), count(Change::NotClear))
    }

    /// How it was compared.
    pub fn how(&self) -> Vec<Said> {
        let comparison = self.comparison;
        let mut told = Vec::new();
        told.extend(
            comparison
                .test
                .map(|test| say::test(Fixed(test.v, 1), test.count, Numeral(chance(test.p)))),
        );
        told.push(if comparison.same_tool { say::SAME_TOOL } else { say::OTHER_TOOL }.said());
        if !comparison.pairs.is_empty() {
            told.push(say::common(self.plain_fine(comparison.common_u_nm)));
        }
        let out = comparison.left_out;
        told.push(say::left_out(out.once, out.otherwise, out.limits));
        told
    }

    fn plain_fine(&self, value_nm: f64) -> Numeral {
        let decimals = self.unit.decimals() + 1;
        let value = numbers::fixed(self.unit.from_newton_metres(value_nm), decimals);
        Numeral(format!("{value} {}", self.unit))
    }

    /// Before and after, line by line: name, before, after.
    pub fn levels(&self) -> Vec<(Word, Said, Said)> {
        let (before, after) = (&self.comparison.before, &self.comparison.after);
        let line = |name: Word, of: &dyn Fn(&Level) -> Said| (name, of(before), of(after));
        let numeral = |text: Numeral| say::figure(text);
        let mut lines = vec![
            line(say::MEDIAN, &|level| numeral(self.plain(level.median_nm))),
            line(say::LOWEST_DECILE, &|level| numeral(self.plain(level.lowest_decile_nm))),
        ];
        if before.bass_count > 0 && after.bass_count > 0 {
            let factor = |value: f64| numeral(Numeral(numbers::fixed(value, 2)));
            lines.push(line(say::BASS_FACTOR, &|level| factor(level.bass_factor)));
            lines.push(line(say::BASS_LOWEST, &|level| factor(level.bass_lowest_factor)));
        }
        let doubtful = |level: &Level| say::doubtful(level.doubtful_count, level.count);
        lines.push(line(say::DOUBTFUL, &doubtful));
        lines
    }

    /// Sections: name, pins, before, after, change, interval.
    pub fn sections(&self) -> Vec<(Said, [Said; 5])> {
        let mut present: Vec<u8> = self.instrument.pins.iter().map(|pin| pin.section).collect();
        present.sort_unstable();
        present.dedup();
        let row = |section: &crate::analysis::history::compare::SectionChange| {
            let name = plank::section(&section_name(section.section, &present));
            let numeral = |text: Numeral| say::figure(text);
            let interval = section.interval_nm.map_or_else(
                || Said::same(NONE),
                |(low, high)| {
                    say::section_shift(Numeral(self.number(low)), Numeral(self.number(high)))
                },
            );
            let cells = [
                Said::same(section.count.to_string()),
                numeral(self.plain(section.before_nm)),
                numeral(self.plain(section.after_nm)),
                numeral(self.with_unit(section.shift_nm)),
                interval,
            ];
            (name, cells)
        };
        self.comparison.sections.iter().map(row).collect()
    }
}

/// A chance as it is printed, with its sign of comparison.
pub fn chance(p: f64) -> String {
    if p < 0.001 { "< 0.001".to_owned() } else { format!("= {p:.3}") }
}

/// How the document is made.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CompareSetting {
    /// Its language.
    pub language: Language,
    /// Its paper.
    pub paper: Paper,
    /// When it is made, milliseconds since 1970-01-01 UTC.
    pub made_ms: i64,
}

/// The whole document.
pub fn document(model: &CompareModel<'_>, setting: &CompareSetting) -> Document {
    let language = setting.language;
    let said = |said: &Said| printable(said.to(language));
    let word = |word: Word| word.to(language).to_owned();
    let name = printable_short(&model.instrument.name, NAME_COUNT_MAX);
    let title = said(&say::title(&name));
    let mut under = vec![said(&model.marked())];
    under.extend(model.beside().iter().map(said));
    let mut blocks = vec![
        Block::Title { title: title.clone(), subtitle: said(&model.surveys()) },
        Block::Result { line: said(&model.result()), under },
        Block::Heading(word(say::PROOF)),
        Block::Table(levels_table(model, language)),
    ];
    if !model.comparison.pairs.is_empty() {
        blocks.push(Block::Heading(word(say::BY_SECTION)));
        blocks.push(Block::Table(sections_table(model, language)));
        blocks.push(Block::Heading(word(say::MAP)));
        blocks.push(Block::Figure(figure(model, language)));
    }
    blocks.push(Block::Heading(word(say::HOW)));
    blocks.push(Block::List(model.how().iter().map(said).collect()));
    blocks.push(Block::Note(word(say::OPINION)));
    if !model.comparison.pairs.is_empty() {
        blocks.push(Block::Heading(word(say::EVERY_PIN)));
        blocks.push(Block::Table(pins_table(model, language)));
    }
    Document {
        language,
        paper: setting.paper,
        description: word(say::DESCRIPTION),
        authors: Vec::new(),
        program: format!("pinhold {}", env!("CARGO_PKG_VERSION")),
        made_ms: setting.made_ms,
        running_head: title.clone(),
        running_foot: said(&model.surveys()),
        title,
        blocks,
    }
}

fn levels_table(model: &CompareModel<'_>, language: Language) -> Table {
    let word = |word: Word| word.to(language).to_owned();
    let mut table = Table::new(
        "",
        &[
            (&word(say::MEASURE), Align::Left, 4.0),
            (&word(say::BEFORE), Align::Right, 2.0),
            (&word(say::AFTER), Align::Right, 2.0),
        ],
    );
    for (name, before, after) in model.levels() {
        table.push([
            name.to(language).to_owned(),
            before.to(language).to_owned(),
            after.to(language).to_owned(),
        ]);
    }
    table
}

fn sections_table(model: &CompareModel<'_>, language: Language) -> Table {
    let word = |word: Word| word.to(language).to_owned();
    let mut table = Table::new(
        "",
        &[
            (&word(say::SECTION), Align::Left, 2.2),
            (&word(say::MEASURE), Align::Right, 1.6),
            (&word(say::BEFORE), Align::Right, 1.6),
            (&word(say::AFTER), Align::Right, 1.6),
            (&word(say::CHANGE), Align::Right, 1.6),
            (&word(say::INTERVAL), Align::Right, 2.0),
        ],
    );
    for (name, cells) in model.sections() {
        let cells = cells.iter().map(|cell| cell.to(language).to_owned());
        table.push(std::iter::once(name.to(language).to_owned()).chain(cells));
    }
    table
}

fn pins_table(model: &CompareModel<'_>, language: Language) -> Table {
    let word = |word: Word| word.to(language).to_owned();
    let with_unit = |text: Word| format!("{}, {}", word(text), model.unit);
    let mut table = Table::new(
        "",
        &[
            (&word(say::PIN), Align::Left, 1.4),
            (&with_unit(say::BEFORE), Align::Right, 2.0),
            (&with_unit(say::AFTER), Align::Right, 2.0),
            (&with_unit(say::CHANGE), Align::Right, 2.0),
            ("", Align::Left, 1.4),
        ],
    );
    table.is_dense = true;
    for pair in &model.comparison.pairs {
        let estimate = |value| language.numeral(&super::estimate(value, model.unit));
        table.push([
            pin_name(pair.pin),
            estimate(pair.before_nm),
            estimate(pair.after_nm),
            estimate(pair.change_nm),
            mark(pair.change).map_or(String::new(), word),
        ]);
    }
    table
}

/// A clear change in a word.
pub fn mark(change: Change) -> Option<Word> {
    match change {
        Change::Tighter => Some(say::TIGHTER),
        Change::Looser => Some(say::LOOSER),
        Change::NotClear => None,
    }
}

/// The pins where they stand, marked by how they changed.
fn figure(model: &CompareModel<'_>, language: Language) -> Figure {
    let places: Vec<(f64, f64, Change)> = model
        .comparison
        .pairs
        .iter()
        .filter_map(|pair| {
            let field = model.instrument.find_pin(pair.pin)?;
            Some((field.x_m, field.y_m, pair.change))
        })
        .filter(|(x, y, _)| x.is_finite() && y.is_finite())
        .collect();
    let range = |of: fn(&(f64, f64, Change)) -> f64| {
        places.iter().map(of).fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| {
            (low.min(value), high.max(value))
        })
    };
    let ((left, right), (top, bottom)) = (range(|place| place.0), range(|place| place.1));
    let margin = 14.0;
    let across = FIGURE_WIDTH - 2.0 * margin;
    let scale = |low: f64, high: f64, room: f64| {
        move |value: f64| {
            if high > low { (value - low) / (high - low) * room } else { room / 2.0 }
        }
    };
    // Rows are drawn twice as far apart as they stand, so that marks keep apart.
    let height = if right > left {
        (2.0 * across * (bottom - top) / (right - left)).clamp(30.0, 220.0)
    } else {
        60.0
    };
    let (at_x, at_y) = (scale(left, right, across), scale(top, bottom, height));
    let pen = Pen { ink: Ink::Strong, width: 0.8, is_dashed: false };
    let mut shapes: Vec<Shape> = places
        .iter()
        .map(|(x, y, change)| {
            let (x, y) = (margin + at_x(*x), margin + at_y(*y));
            let corners = |size: f64, up: f64| {
                vec![(x - size, y + up * size), (x + size, y + up * size), (x, y - up * size)]
            };
            let (points, fill, pen) = match change {
                Change::Tighter => (corners(MARK, 1.0), Some(Ink::Accent), None),
                Change::Looser => (corners(MARK, -1.0), Some(Ink::Paper), Some(pen)),
                Change::NotClear => {
                    let half = 0.8;
                    let box_of = vec![
                        (x - half, y - half),
                        (x + half, y - half),
                        (x + half, y + half),
                        (x - half, y + half),
                    ];
                    (box_of, Some(Ink::Soft), None)
                }
            };
            Shape::Area { points, fill, pen }
        })
        .collect();
    let font = Type { size: 7.5, is_bold: false, ink: Ink::Soft, anchor: Anchor::Start };
    let below = 2.0 * margin + height;
    let mut present: Vec<u8> = model.instrument.pins.iter().map(|pin| pin.section).collect();
    present.sort_unstable();
    present.dedup();
    for section in &present {
        let start = model
            .comparison
            .pairs
            .iter()
            .filter(|pair| pair.section == *section)
            .filter_map(|pair| model.instrument.find_pin(pair.pin))
            .map(|field| field.x_m)
            .fold(f64::INFINITY, f64::min);
        if start.is_finite() {
            let text = plank::section(&section_name(*section, &present));
            let text = text.to(language).to_owned();
            shapes.push(Shape::Words { at: (margin + at_x(start), below), text, font });
        }
    }
    Figure {
        caption: say::MAP_CAPTION.to(language).to_owned(),
        alternative: printable(model.marked().to(language)),
        width: FIGURE_WIDTH,
        height: below + 6.0,
        shapes,
    }
}
