//! Each kind of block on the page, tables apart.

use super::layout::{Layout, Look, PAGE_HEIGHT, Role};
use super::tags::{Kind, Node};
use crate::report::document::figure::{Anchor, Figure, Ink, Pen, Shape, Type};
use crate::report::document::{Block, Fact};

const TITLE: Look = Look::new(19.0, true, Ink::Strong);
const SUBTITLE: Look = Look::new(11.0, false, Ink::Soft);
const HEADING: Look = Look::new(11.5, true, Ink::Strong);
const SUBHEADING: Look = Look::new(9.0, true, Ink::Strong);
const BODY: Look = Look::new(9.0, false, Ink::Strong);
pub(super) const SMALL: Look = Look::new(7.6, false, Ink::Soft);
const BANNER: Look = Look::new(9.5, true, Ink::Paper);
const RESULT: Look = Look::new(11.5, true, Ink::Strong);
const NAME: Look = Look::new(8.6, false, Ink::Soft);
const VALUE: Look = Look::new(8.6, false, Ink::Strong);

/// Width of the names of facts.
const NAME_WIDTH: f64 = 84.0;
/// Between two columns of facts.
const FACT_GUTTER: f64 = 18.0;
/// Indent of list items.
const INDENT: f64 = 10.0;
/// Room to sign in.
const SIGN_ROOM: f64 = 30.0;

impl Layout<'_> {
    /// One block.
    pub(super) fn block(&mut self, block: &Block) {
        match block {
            Block::Banner(text) => self.banner(text),
            Block::Title { title, subtitle } => {
                self.text(Kind::Heading(1, title.clone()), title, TITLE);
                self.text(Kind::Paragraph, subtitle, SUBTITLE);
                self.y += 6.0;
            }
            Block::Heading(text) => self.heading(text),
            Block::Subheading(text) => {
                self.space(5.0);
                self.text(Kind::Heading(3, text.clone()), text, SUBHEADING);
                self.y += 1.0;
            }
            Block::Paragraph(text) => self.paragraph(text, BODY),
            Block::Note(text) => self.paragraph(text, SMALL),
            Block::Result { line, under } => self.result(line, under),
            Block::List(items) => self.list(items),
            Block::Facts(facts) => self.facts(facts),
            Block::Table(table) => self.table(table),
            Block::Figure(figure) => self.figure(figure),
            Block::Beside(left, right) => self.beside(left, right),
            Block::Signatures(lines) => self.signatures(lines),
            Block::PageBreak => self.turn(),
        }
    }

    fn paragraph(&mut self, text: &str, look: Look) {
        self.text(Kind::Paragraph, text, look);
        self.y += 3.0;
    }

    fn heading(&mut self, text: &str) {
        self.space(11.0);
        self.mention(text);
        self.text(Kind::Heading(2, text.to_owned()), text, HEADING);
        let (left, right, y) = (self.left, self.left + self.width, self.y + 0.5);
        let rule = Shape::rule((left, y), (right, y), Ink::Soft, 1.2);
        self.put(Role::Ornament, vec![rule]);
        self.y += 5.0;
    }

    fn banner(&mut self, text: &str) {
        let lines = self.broken(text, BANNER, self.width - 16.0);
        let height = lines.len() as f64 * BANNER.line_height() + 9.0;
        self.need(height);
        let ground = Shape::block(self.left, self.y, self.width, height, Ink::Strong);
        self.put(Role::Ornament, vec![ground]);
        let foot = self.y + height;
        self.y += 4.0;
        let nodes = self.framed(&lines, BANNER, 8.0);
        self.node(Node::Group(Kind::Paragraph, nodes));
        self.y = foot + 8.0;
    }

    /// Lines within a frame: the page was seen to hold them.
    fn framed(&mut self, lines: &[String], look: Look, indent: f64) -> Vec<Node> {
        let mut nodes = Vec::new();
        for line in lines {
            let at = (self.left + indent, self.y + look.ascent());
            let leaf = self.leaf(vec![look.words(at, line, Anchor::Start)]);
            nodes.push(Node::Leaf(leaf));
            self.y += look.line_height();
        }
        nodes
    }

    fn result(&mut self, line: &str, under: &[String]) {
        let inner = self.width - 24.0;
        let first = self.broken(line, RESULT, inner);
        let rest: Vec<Vec<String>> =
            under.iter().map(|text| self.broken(text, BODY, inner)).collect();
        let rest_count: usize = rest.iter().map(Vec::len).sum();
        let height = first.len() as f64 * RESULT.line_height()
            + rest_count as f64 * BODY.line_height()
            + rest.len() as f64 * 2.0
            + 15.0;
        self.space(6.0);
        if height > self.page_room() {
            self.paragraph(line, BODY);
            under.iter().for_each(|text| self.paragraph(text, BODY));
            return;
        }
        self.need(height);
        let (left, right, top, foot) =
            (self.left + 0.8, self.left + self.width - 0.8, self.y, self.y + height);
        let points = vec![(left, top), (right, top), (right, foot), (left, foot)];
        let pen = Some(Pen { ink: Ink::Strong, width: 1.4, is_dashed: false });
        self.put(Role::Ornament, vec![Shape::Area { points, fill: None, pen }]);
        self.y += 7.0;
        let nodes = self.framed(&first, RESULT, 12.0);
        self.node(Node::Group(Kind::Paragraph, nodes));
        for lines in &rest {
            self.y += 2.0;
            let nodes = self.framed(lines, BODY, 12.0);
            self.node(Node::Group(Kind::Paragraph, nodes));
        }
        self.y = foot + 6.0;
    }

    fn list(&mut self, items: &[String]) {
        let mut nodes = Vec::new();
        for item in items {
            self.need(BODY.line_height());
            let at = (self.left + 1.0, self.y + BODY.ascent());
            let bullet = self.leaf(vec![BODY.words(at, "•", Anchor::Start)]);
            let body = self.lines(item, BODY, INDENT);
            let parts = vec![Node::group(Kind::Bullet, bullet), Node::Group(Kind::Body, body)];
            nodes.push(Node::Group(Kind::Item, parts));
            self.y += 1.5;
        }
        if !nodes.is_empty() {
            self.node(Node::Group(Kind::List, nodes));
        }
        self.y += 2.0;
    }

    fn facts(&mut self, facts: &[Fact]) {
        let width = (self.width - FACT_GUTTER) / 2.0;
        let mut nodes = Vec::new();
        for pair in facts.chunks(2) {
            let texts: Vec<(Vec<String>, Vec<String>)> = pair
                .iter()
                .map(|fact| {
                    let name = self.broken(&fact.name, NAME, NAME_WIDTH - 6.0);
                    let mut value = self.broken(&fact.value, VALUE, width - NAME_WIDTH);
                    value.truncate((self.page_room() / VALUE.line_height()) as usize);
                    (name, value)
                })
                .collect();
            let longest = texts.iter().map(|(name, value)| name.len().max(value.len())).max();
            let height = longest.unwrap_or(1) as f64 * VALUE.line_height() + 5.0;
            self.need(height.min(self.page_room()));
            let (page_left, top) = (self.left, self.y);
            for (column, (name, value)) in texts.iter().enumerate() {
                self.left = page_left + column as f64 * (width + FACT_GUTTER);
                self.y = top + 2.0;
                let name = self.framed(name, NAME, 0.0);
                self.y = top + 2.0;
                let value = self.framed(value, VALUE, NAME_WIDTH);
                let foot = top + height - 0.5;
                let rule =
                    Shape::rule((self.left, foot), (self.left + width, foot), Ink::Rule, 0.5);
                self.put(Role::Ornament, vec![rule]);
                let parts = vec![Node::Group(Kind::Bullet, name), Node::Group(Kind::Body, value)];
                nodes.push(Node::Group(Kind::Item, parts));
            }
            (self.left, self.y) = (page_left, top + height);
        }
        if !nodes.is_empty() {
            self.node(Node::Group(Kind::Facts, nodes));
        }
        self.y += 4.0;
    }

    fn figure(&mut self, figure: &Figure) {
        let scale = (self.width / figure.width).min(1.0);
        let height = figure.height * scale;
        let caption = self.broken(&figure.caption, SMALL, self.width).len() as f64;
        self.space(3.0);
        self.need((height + 2.0 + caption * SMALL.line_height()).min(PAGE_HEIGHT));
        let at = (self.left, self.y);
        let shapes = figure.shapes.iter().map(|shape| scaled(shape, scale).moved(at)).collect();
        let drawing = self.drawing(shapes);
        let right = self.left + figure.width * scale;
        let kind = Kind::Figure {
            alternative: figure.alternative.clone(),
            page: self.page(),
            sides: [self.left, self.y, right, self.y + height].map(|side| side as f32),
        };
        self.y += height + 2.0;
        let lines = self.lines(&figure.caption, SMALL, 0.0);
        let parts = vec![Node::Leaf(drawing), Node::Group(Kind::Caption, lines)];
        self.node(Node::Group(kind, parts));
        self.y += 5.0;
    }

    fn signatures(&mut self, lines: &[String]) {
        for line in lines {
            self.need(SIGN_ROOM + 2.0 * SMALL.line_height());
            self.y += SIGN_ROOM;
            let (name_width, gap) = (self.width * 0.62, 24.0);
            let date = self.left + name_width + gap;
            let rules = vec![
                Shape::rule(
                    (self.left, self.y),
                    (self.left + name_width, self.y),
                    Ink::Strong,
                    0.7,
                ),
                Shape::rule((date, self.y), (self.left + self.width, self.y), Ink::Strong, 0.7),
            ];
            self.put(Role::Ornament, rules);
            self.y += 3.0;
            let top = self.y;
            let mut broken = self.broken(line, SMALL, name_width);
            broken.truncate(3);
            let nodes = self.framed(&broken, SMALL, 0.0);
            self.node(Node::Group(Kind::Paragraph, nodes));
            let at = (date, top + SMALL.ascent());
            let leaf = self.leaf(vec![SMALL.words(at, "Date", Anchor::Start)]);
            self.node(Node::group(Kind::Paragraph, leaf));
        }
    }
}

/// A shape made smaller; lines keep their width.
fn scaled(shape: &Shape, scale: f64) -> Shape {
    let all = |points: &[(f64, f64)]| points.iter().map(|(x, y)| (x * scale, y * scale)).collect();
    match shape {
        Shape::Line { points, pen } => Shape::Line { points: all(points), pen: *pen },
        Shape::Area { points, fill, pen } => {
            Shape::Area { points: all(points), fill: *fill, pen: *pen }
        }
        Shape::Words { at, text, font } => {
            let font = Type { size: font.size * scale, ..*font };
            Shape::Words { at: (at.0 * scale, at.1 * scale), text: text.clone(), font }
        }
    }
}
