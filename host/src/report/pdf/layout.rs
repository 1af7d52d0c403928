//! Blocks put on pages: lines broken, pages turned, pieces tagged.
//!
//! Deliberately not here: PDF. What comes out is shapes on pages and the tree of what they are.

use super::font::Faces;
use super::tags::{Kind, Node};
use crate::report::document::figure::{Anchor, Ink, Shape, Type};
use crate::report::document::{Block, Document, Drawing, Paper, Raster};
use crate::words::pages as say;

/// Left and right of what is printed, points.
const MARGIN: f64 = 50.0;

/// The paper, points.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sheet {
    pub(super) width: f64,
    pub(super) height: f64,
    /// Where text begins and ends, from the top.
    top: f64,
    bottom: f64,
    /// Base lines of head and foot.
    head_y: f64,
    foot_y: f64,
}

impl Sheet {
    /// Margins of a paper. US Letter is 50 points shorter than A4: printed on it, an A4 page loses
    /// nothing, whether printers keep the top, the foot or the middle.
    pub(super) const fn of(paper: Paper) -> Sheet {
        match paper {
            Paper::A4 => Sheet {
                width: 595.276,
                height: 841.89,
                top: 72.0,
                bottom: 752.0,
                head_y: 61.0,
                foot_y: 771.0,
            },
            Paper::Letter => Sheet {
                width: 612.0,
                height: 792.0,
                top: 54.0,
                bottom: 728.0,
                head_y: 43.0,
                foot_y: 747.0,
            },
        }
    }
}
/// Between the columns of blocks side by side.
const GUTTER: f64 = 22.0;

/// Where a piece belongs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    /// A leaf of the tree, words alone.
    Words(usize),
    /// A leaf of the tree, drawn.
    Drawing(usize),
    /// Rules, frames, tints.
    Ornament,
    /// Repeated at the top of pages.
    Head,
    /// Repeated at their foot.
    Foot,
}

/// What is put on a page with one role.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Piece {
    pub(super) role: Role,
    pub(super) content: Content,
}

/// What a piece is made of.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Content {
    Shapes(Vec<Shape>),
    /// A drawing with its upper left corner there, made larger so many times.
    Drawing(Drawing, (f64, f64), f64),
    /// A picture with its upper left corner there, so wide and high.
    Raster(Raster, (f64, f64), (f64, f64)),
}

/// A heading, for the outline.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Mention {
    pub(super) text: String,
    pub(super) page: usize,
    pub(super) y: f64,
}

/// A document on pages.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Laid {
    pub(super) pages: Vec<Vec<Piece>>,
    pub(super) nodes: Vec<Node>,
    pub(super) leaf_count: usize,
    pub(super) outline: Vec<Mention>,
}

/// Lays a document out.
pub(super) fn lay(document: &Document, faces: &Faces) -> Laid {
    let sheet = Sheet::of(document.paper);
    let mut layout =
        Layout::new(faces, (MARGIN, sheet.width - 2.0 * MARGIN), (sheet.top, sheet.bottom));
    layout.date_word = say::DATE.to(document.language);
    layout.blocks(&document.blocks);
    let mut laid = layout.laid;
    let page_count = laid.pages.len();
    for (index, page) in laid.pages.iter_mut().enumerate() {
        let (left, right) = (MARGIN, sheet.width - MARGIN);
        let word = |at: (f64, f64), text: String, anchor: Anchor| {
            let font = Type { size: 7.5, is_bold: false, ink: Ink::Soft, anchor };
            Shape::Words { at, text, font }
        };
        if index > 0 && !document.running_head.is_empty() {
            let head = fitted(faces, &document.running_head, 7.5, right - left);
            let shapes = vec![word((left, sheet.head_y), head, Anchor::Start)];
            page.push(Piece { role: Role::Head, content: Content::Shapes(shapes) });
        }
        let number = say::page_of(index + 1, page_count);
        let number = number.to(document.language).to_owned();
        let room = right - left - faces.width(&number, 7.5, false) - 12.0;
        let foot = fitted(faces, &document.running_foot, 7.5, room);
        let rule = (sheet.foot_y - 10.0, Ink::Rule);
        let shapes = vec![
            Shape::rule((left, rule.0), (right, rule.0), rule.1, 0.5),
            word((left, sheet.foot_y), foot, Anchor::Start),
            word((right, sheet.foot_y), number, Anchor::End),
        ];
        page.push(Piece { role: Role::Foot, content: Content::Shapes(shapes) });
    }
    laid
}

/// A text cut to a width, with … for the rest.
fn fitted(faces: &Faces, text: &str, size: f64, width: f64) -> String {
    if faces.width(text, size, false) <= width {
        return text.to_owned();
    }
    let mut kept = String::new();
    for c in text.chars() {
        kept.push(c);
        if faces.width(&kept, size, false) + size > width {
            break;
        }
    }
    kept.push('…');
    kept
}

/// Size and look of a run of text.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Look {
    pub(super) size: f64,
    pub(super) is_bold: bool,
    pub(super) ink: Ink,
}

impl Look {
    pub(super) const fn new(size: f64, is_bold: bool, ink: Ink) -> Look {
        Look { size, is_bold, ink }
    }

    /// From one base line to the next.
    pub(super) fn line_height(self) -> f64 {
        self.size * 1.34
    }

    /// From the top of a line to its base line.
    pub(super) fn ascent(self) -> f64 {
        self.size * 1.0
    }

    pub(super) fn words(self, at: (f64, f64), text: &str, anchor: Anchor) -> Shape {
        let font = Type { size: self.size, is_bold: self.is_bold, ink: self.ink, anchor };
        Shape::Words { at, text: text.to_owned(), font }
    }
}

/// A layout under way.
pub(super) struct Layout<'a> {
    pub(super) faces: &'a Faces,
    pub(super) left: f64,
    pub(super) width: f64,
    pub(super) y: f64,
    top: f64,
    bottom: f64,
    /// Over the line for the date.
    pub(super) date_word: &'static str,
    page: usize,
    pub(super) laid: Laid,
}

impl<'a> Layout<'a> {
    fn new(faces: &'a Faces, (left, width): (f64, f64), (top, bottom): (f64, f64)) -> Layout<'a> {
        let laid = Laid { pages: vec![Vec::new()], ..Laid::default() };
        Layout { faces, left, width, y: top, top, bottom, date_word: "", page: 0, laid }
    }

    /// All blocks, one under the other.
    pub(super) fn blocks(&mut self, blocks: &[Block]) {
        for (index, block) in blocks.iter().enumerate() {
            let kept = self.kept_from(&blocks[index..]);
            if kept > 0.0 {
                self.need(kept.min(self.page_room()));
            }
            self.block(block);
        }
    }

    /// Room that the first block wants to stay with what follows it; none where it may stand alone.
    fn kept_from(&self, blocks: &[Block]) -> f64 {
        let whole = |count: usize| {
            SPACE_BETWEEN + blocks[..count].iter().map(|block| self.height_of(block)).sum::<f64>()
        };
        match blocks {
            // Nobody signs a page that says nothing.
            [Block::Heading(_), Block::List(_), Block::Note(_), Block::Signatures(_), ..]
                if whole(4) <= self.page_room() =>
            {
                whole(4)
            }
            [Block::Note(_), Block::Signatures(_), ..] => whole(2),
            [Block::Heading(_) | Block::Subheading(_), Block::Note(_), Block::Drawing(_), ..]
                if whole(3) <= self.page_room() =>
            {
                whole(3)
            }
            [Block::Heading(_) | Block::Subheading(_), next, ..] => {
                whole(1) + self.beginning_of(next)
            }
            _ => 0.0,
        }
    }

    /// Height of what a block begins with: it stays with the heading above it.
    fn beginning_of(&self, block: &Block) -> f64 {
        match block {
            Block::Table(table) => self.beginning_of_table(table),
            Block::Drawing(_) | Block::Figure(_) | Block::Beside(..) => self.height_of(block),
            // These break after any line.
            Block::List(_) | Block::Paragraph(_) | Block::Note(_) => {
                self.height_of(block).min(LINES_WITH_HEADING)
            }
            _ => self.height_of(block).min(KEEP_WITH_HEADING),
        }
    }

    /// Height of a block here, were pages endless.
    pub(super) fn height_of(&self, block: &Block) -> f64 {
        self.height_of_all(std::slice::from_ref(block), self.width)
    }

    fn height_of_all(&self, blocks: &[Block], width: f64) -> f64 {
        let mut scratch = Layout::new(self.faces, (self.left, width), (self.top, f64::INFINITY));
        for block in blocks {
            scratch.block(block);
        }
        scratch.y - self.top
    }

    /// What is left of a page at most.
    pub(super) fn page_room(&self) -> f64 {
        self.bottom - self.top
    }

    /// Turns the page unless so much room is left on it; true when it was turned.
    pub(super) fn need(&mut self, height: f64) -> bool {
        let is_turned = self.y > self.top && self.y + height > self.bottom;
        if is_turned {
            self.turn();
        }
        is_turned
    }

    /// Begins a new page, unless this one is empty.
    pub(super) fn turn(&mut self) {
        if self.y > self.top && self.bottom.is_finite() {
            self.page += 1;
            if self.page >= self.laid.pages.len() {
                self.laid.pages.push(Vec::new());
            }
            self.y = self.top;
        }
    }

    /// Room below the last block.
    pub(super) fn space(&mut self, height: f64) {
        if self.y > self.top {
            self.y += height;
        }
    }

    pub(super) fn put(&mut self, role: Role, shapes: Vec<Shape>) {
        self.put_content(role, Content::Shapes(shapes));
    }

    fn put_content(&mut self, role: Role, content: Content) {
        if let Some(page) = self.laid.pages.get_mut(self.page) {
            page.push(Piece { role, content });
        }
    }

    /// Index of the page under way.
    pub(super) const fn page(&self) -> usize {
        self.page
    }

    /// Words that become a new leaf.
    pub(super) fn leaf(&mut self, shapes: Vec<Shape>) -> usize {
        let leaf = self.laid.leaf_count;
        self.laid.leaf_count += 1;
        self.put(Role::Words(leaf), shapes);
        leaf
    }

    /// A drawing that becomes a new leaf.
    pub(super) fn drawing(&mut self, content: Content) -> usize {
        let leaf = self.laid.leaf_count;
        self.laid.leaf_count += 1;
        self.put_content(Role::Drawing(leaf), content);
        leaf
    }

    pub(super) fn node(&mut self, node: Node) {
        self.laid.nodes.push(node);
    }

    /// Lines of a text at the layout's left, each a leaf; the page turns where it must.
    pub(super) fn lines(&mut self, text: &str, look: Look, indent: f64) -> Vec<Node> {
        let mut nodes = Vec::new();
        for line in self.broken(text, look, self.width - indent) {
            self.need(look.line_height());
            let at = (self.left + indent, self.y + look.ascent());
            let leaf = self.leaf(vec![look.words(at, &line, Anchor::Start)]);
            nodes.push(Node::Leaf(leaf));
            self.y += look.line_height();
        }
        nodes
    }

    /// A text in lines no wider than `width`; a line's last word keeps its space, so that words
    /// stay apart when the text is copied.
    pub(super) fn broken(&self, text: &str, look: Look, width: f64) -> Vec<String> {
        let wide = |text: &str| self.faces.width(text, look.size, look.is_bold);
        let mut lines = Vec::new();
        let (mut line, mut line_width) = (String::new(), 0.0);
        for word in text.split_inclusive(' ') {
            let bare = wide(word.trim_end_matches(' '));
            if !line.is_empty() && line_width + bare > width {
                lines.push(std::mem::take(&mut line));
                line_width = 0.0;
            }
            if bare <= width {
                line.push_str(word);
                line_width += wide(word);
                continue;
            }
            for c in word.chars() {
                let one = wide(c.encode_utf8(&mut [0; 4]));
                if !line.is_empty() && line_width + one > width {
                    lines.push(std::mem::take(&mut line));
                    line_width = 0.0;
                }
                line.push(c);
                line_width += one;
            }
        }
        lines.push(line);
        lines
    }

    /// Notes a heading for the outline.
    pub(super) fn mention(&mut self, text: &str) {
        let mention = Mention { text: text.to_owned(), page: self.page, y: self.y };
        self.laid.outline.push(mention);
    }

    /// Two columns of blocks; where they do not fit one page side by side, one under the other.
    pub(super) fn beside(&mut self, left: &[Block], right: &[Block]) {
        let width = (self.width - GUTTER) / 2.0;
        let height = self.height_of_all(left, width).max(self.height_of_all(right, width));
        if height > self.page_room() {
            self.blocks(left);
            self.blocks(right);
            return;
        }
        self.need(height);
        let (page_left, page_width, top) = (self.left, self.width, self.y);
        self.width = width;
        let mut foot = top;
        for (column, blocks) in [left, right].into_iter().enumerate() {
            self.left = page_left + column as f64 * (width + GUTTER);
            self.y = top;
            for block in blocks {
                self.block(block);
            }
            foot = foot.max(self.y);
        }
        (self.left, self.width, self.y) = (page_left, page_width, foot);
    }

    /// A group about lines.
    pub(super) fn text(&mut self, kind: Kind, text: &str, look: Look) {
        let nodes = self.lines(text, look, 0.0);
        self.node(Node::Group(kind, nodes));
    }
}

/// Above a heading and between it and what follows, points, at most.
const SPACE_BETWEEN: f64 = 17.0;
/// A heading stays with so much of text below it, some three lines, points.
const LINES_WITH_HEADING: f64 = 40.0;
/// A heading stays with so much of what follows, points.
const KEEP_WITH_HEADING: f64 = 110.0;
