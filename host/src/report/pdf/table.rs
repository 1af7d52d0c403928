//! Tables: rows that stay whole, headings on every page.

use super::layout::{Layout, Look, Role};
use super::tags::{Kind, Node};
use crate::report::document::figure::{Anchor, Ink, Shape};
use crate::report::document::{Align, Table};

/// How a table is set.
#[derive(Clone, Copy, Debug)]
struct Setting {
    head: Look,
    cell: Look,
    /// Left and right of a cell's text.
    side: f64,
    /// Above and below it.
    above: f64,
}

const NORMAL: Setting = Setting {
    head: Look::new(8.0, true, Ink::Strong),
    cell: Look::new(8.4, false, Ink::Strong),
    side: 4.0,
    above: 1.1,
};
const DENSE: Setting = Setting {
    head: Look::new(7.0, true, Ink::Strong),
    cell: Look::new(7.1, false, Ink::Strong),
    side: 3.5,
    above: 0.4,
};
const CAPTION: Look = Look::new(8.6, true, Ink::Strong);
/// Rows kept with the headings of a long table, and a height from which fewer are enough, points.
const ROWS_KEPT: usize = 3;
const KEPT_HEIGHT: f64 = 36.0;
/// A table of so many rows, of no more lines each in the mean, is short: it stays whole where a
/// page holds it. One of long texts may break between rows.
const SHORT_ROW_COUNT_MAX: usize = 14;
const SHORT_LINE_COUNT_MAX: f64 = 2.5;

/// A row as lines by cell, its look and height.
struct Row {
    look: Look,
    cells: Vec<Vec<String>>,
    height: f64,
}

/// A table with its lines broken.
struct Broken {
    setting: Setting,
    widths: Vec<f64>,
    head: Row,
    rows: Vec<Row>,
    /// Height of caption, headings and the rows that stay with them.
    beginning: f64,
}

impl Layout<'_> {
    /// Height of what stays together at a table's beginning.
    pub(super) fn beginning_of_table(&self, table: &Table) -> f64 {
        self.broken_table(table).beginning
    }

    fn broken_table(&self, table: &Table) -> Broken {
        let setting = if table.is_dense { DENSE } else { NORMAL };
        let widths = self.widths(table);
        let names: Vec<String> = table.columns.iter().map(|column| column.name.clone()).collect();
        let head = self.row(&names, &widths, setting.head, setting);
        let sums_from = table.rows.len().saturating_sub(table.sum_row_count);
        let look_of = |index: usize| Look { is_bold: index >= sums_from, ..setting.cell };
        let rows: Vec<Row> = table
            .rows
            .iter()
            .enumerate()
            .map(|(index, row)| self.row(row, &widths, look_of(index), setting))
            .collect();
        let first = |count: usize| rows.iter().take(count).map(|row| row.height).sum::<f64>();
        let line_height = setting.cell.line_height();
        let is_short = rows.len() <= SHORT_ROW_COUNT_MAX
            && first(rows.len()) <= rows.len() as f64 * SHORT_LINE_COUNT_MAX * line_height;
        let enough = (1..=ROWS_KEPT).find(|count| first(*count) >= KEPT_HEIGHT);
        let kept = first(if is_short { rows.len() } else { enough.unwrap_or(ROWS_KEPT) });
        let caption_height = if table.caption.is_empty() { 0.0 } else { CAPTION.line_height() };
        let beginning = (4.0 + caption_height + head.height + kept).min(self.page_room());
        Broken { setting, widths, head, rows, beginning }
    }

    /// A table.
    pub(super) fn table(&mut self, table: &Table) {
        let Broken { setting, widths, head, rows, beginning } = self.broken_table(table);
        self.need(beginning);
        self.space(4.0);
        let mut parts = Vec::new();
        if !table.caption.is_empty() {
            let lines = self.lines(&table.caption, CAPTION, 0.0);
            parts.push(Node::Group(Kind::Caption, lines));
            self.y += 1.5;
        }
        let leaves = self.head(table, &head, &widths, setting, true);
        let cells = leaves.into_iter().map(|leaf| Node::group(Kind::ColumnName, leaf)).collect();
        parts.push(Node::Group(Kind::Head, vec![Node::Group(Kind::Row, cells)]));
        let mut body = Vec::new();
        for row in &rows {
            if self.need(row.height) {
                self.head(table, &head, &widths, setting, false);
            }
            body.push(self.body_row(table, row, &widths, setting));
        }
        if !body.is_empty() {
            parts.push(Node::Group(Kind::Rows, body));
        }
        self.node(Node::Group(Kind::Table(table.caption.clone()), parts));
        self.y += 6.0;
    }

    fn widths(&self, table: &Table) -> Vec<f64> {
        let whole: f64 = table.columns.iter().map(|column| column.share).sum();
        table.columns.iter().map(|column| self.width * column.share / whole.max(1e-9)).collect()
    }

    fn row(&self, texts: &[String], widths: &[f64], look: Look, setting: Setting) -> Row {
        // A row fits a page under its headings, or is cut: a name may be as long as a book.
        let count_max = (self.page_room() / look.line_height() / 2.0).clamp(1.0, 1e6) as usize;
        let cell = |(text, width): (&String, &f64)| {
            let mut lines = self.broken(text, look, width - 2.0 * setting.side);
            if lines.len() > count_max {
                lines.truncate(count_max);
                if let Some(last) = lines.last_mut() {
                    last.pop();
                    last.push('…');
                }
            }
            lines
        };
        let cells: Vec<Vec<String>> = texts.iter().zip(widths).map(cell).collect();
        let count = cells.iter().map(Vec::len).max().unwrap_or(1);
        Row { look, cells, height: count as f64 * look.line_height() + 2.0 * setting.above }
    }

    /// The cells of a row as shapes; the page was seen to hold it.
    fn cells(&self, table: &Table, row: &Row, widths: &[f64], setting: Setting) -> Vec<Vec<Shape>> {
        let look = row.look;
        let mut left = self.left;
        let mut all = Vec::new();
        for ((cell, width), column) in row.cells.iter().zip(widths).zip(&table.columns) {
            let shape = |(index, line): (usize, &String)| {
                let y = self.y + setting.above + index as f64 * look.line_height() + look.ascent();
                match column.align {
                    Align::Left => look.words((left + setting.side, y), line, Anchor::Start),
                    Align::Right => {
                        let at = (left + width - setting.side, y);
                        look.words(at, line.trim_end(), Anchor::End)
                    }
                }
            };
            all.push(cell.iter().enumerate().map(shape).collect());
            left += width;
        }
        all
    }

    /// The headings; leaves the first time, repeated ones are no content.
    fn head(
        &mut self,
        table: &Table,
        head: &Row,
        widths: &[f64],
        setting: Setting,
        is_first: bool,
    ) -> Vec<usize> {
        let ground = Shape::block(self.left, self.y, self.width, head.height, Ink::Tint);
        self.put(Role::Ornament, vec![ground]);
        let cells = self.cells(table, head, widths, setting);
        let leaves = if is_first {
            cells.into_iter().map(|shapes| self.leaf(shapes)).collect()
        } else {
            self.put(Role::Ornament, cells.into_iter().flatten().collect());
            Vec::new()
        };
        self.y += head.height;
        leaves
    }

    fn body_row(&mut self, table: &Table, row: &Row, widths: &[f64], setting: Setting) -> Node {
        let cells = self.cells(table, row, widths, setting);
        let mut nodes = Vec::new();
        for (column, shapes) in cells.into_iter().enumerate() {
            let kind = if column == 0 { Kind::RowName } else { Kind::Cell };
            let leaf = self.leaf(shapes);
            nodes.push(Node::group(kind, leaf));
        }
        self.y += row.height;
        let rule =
            Shape::rule((self.left, self.y), (self.left + self.width, self.y), Ink::Rule, 0.4);
        self.put(Role::Ornament, vec![rule]);
        Node::Group(Kind::Row, nodes)
    }
}
