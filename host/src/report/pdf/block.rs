//! Each kind of block on the page, tables apart.

use super::layout::{Content, Layout, Look, Role};
use super::tags::{Kind, Node};
use crate::report::document::figure::{Anchor, Figure, Ink, Pen, Shape, Type};
use crate::report::document::{Block, Drawing, Fact, Letterhead, Photo};

const TITLE: Look = Look::new(19.0, true, Ink::Strong);
const SUBTITLE: Look = Look::new(11.0, false, Ink::Soft);
const HEADING: Look = Look::new(11.5, true, Ink::Strong);
const SUBHEADING: Look = Look::new(9.0, true, Ink::Strong);
const BODY: Look = Look::new(9.0, false, Ink::Strong);
pub(super) const SMALL: Look = Look::new(7.6, false, Ink::Soft);
const BANNER: Look = Look::new(9.5, true, Ink::Paper);
const RESULT: Look = Look::new(11.5, true, Ink::Strong);
const SENDER: Look = Look::new(10.5, true, Ink::Strong);
const SENDER_LINE: Look = Look::new(8.2, false, Ink::Soft);
const NAME: Look = Look::new(8.6, false, Ink::Soft);
const VALUE: Look = Look::new(8.6, false, Ink::Strong);

/// Width of the names of facts.
const NAME_WIDTH: f64 = 84.0;
/// Between two columns of facts.
const FACT_GUTTER: f64 = 18.0;
/// Indent of list items.
const INDENT: f64 = 10.0;
/// Largest sign of a letterhead.
const LOGO_WIDTH_MAX: f64 = 170.0;
const LOGO_HEIGHT_MAX: f64 = 56.0;
/// Highest picture.
const PHOTO_HEIGHT_MAX: f64 = 220.0;
/// So far a drawing reaches into each margin: its smallest letters are 6 points then.
const DRAWING_OVERHANG: f64 = 11.0;
/// Room to sign in.
const SIGN_ROOM: f64 = 30.0;

impl Layout<'_> {
    /// One block.
    pub(super) fn block(&mut self, block: &Block) {
        match block {
            Block::Letterhead(head) => self.letterhead(head),
            Block::Drawing(drawing) => self.whole_drawing(drawing),
            Block::Photos(photos) => photos.chunks(2).for_each(|pair| self.photos(pair)),
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
        self.need((height + 2.0 + caption * SMALL.line_height()).min(self.page_room()));
        let at = (self.left, self.y);
        let shapes = figure.shapes.iter().map(|shape| scaled(shape, scale).moved(at)).collect();
        let drawing = self.drawing(Content::Shapes(shapes));
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

    /// Who sends it, at the right; their sign at the left.
    fn letterhead(&mut self, head: &Letterhead) {
        let (left, top, width) = (self.left, self.y, self.width);
        let mut foot = top;
        if let Some(logo) = &head.logo {
            let (wide, high) = (f64::from(logo.width_px), f64::from(logo.height_px));
            let scale = (LOGO_WIDTH_MAX / wide).min(LOGO_HEIGHT_MAX / high);
            let size = (wide * scale, high * scale);
            let drawing = self.drawing(Content::Raster(logo.clone(), (left, top), size));
            let kind = self.figure_kind(&head.name, (left, top), size);
            self.node(Node::Group(kind, vec![Node::Leaf(drawing)]));
            foot = top + size.1;
        }
        let right = left + width;
        let room = width - LOGO_WIDTH_MAX - FACT_GUTTER;
        let name = (&head.name, SENDER);
        for (text, look) in
            std::iter::once(name).chain(head.lines.iter().map(|line| (line, SENDER_LINE)))
        {
            let mut nodes = Vec::new();
            for line in self.broken(text, look, room) {
                let at = (right, self.y + look.ascent());
                let leaf = self.leaf(vec![look.words(at, line.trim_end(), Anchor::End)]);
                nodes.push(Node::Leaf(leaf));
                self.y += look.line_height();
            }
            self.node(Node::Group(Kind::Paragraph, nodes));
        }
        self.y = self.y.max(foot) + 6.0;
        let rule = Shape::rule((left, self.y), (right, self.y), Ink::Rule, 0.7);
        self.put(Role::Ornament, vec![rule]);
        self.y += 14.0;
    }

    fn figure_kind(&self, alternative: &str, at: (f64, f64), size: (f64, f64)) -> Kind {
        let sides = [at.0, at.1, at.0 + size.0, at.1 + size.1].map(|side| side as f32);
        Kind::Figure { alternative: alternative.to_owned(), page: self.page(), sides }
    }

    /// A drawing over the whole width, a little into the margins, on one page.
    fn whole_drawing(&mut self, drawing: &Drawing) {
        let width = self.width + 2.0 * DRAWING_OVERHANG;
        let fits = (self.page_room() - 6.0) / drawing.height;
        let scale = (width / drawing.width).min(fits);
        let size = (drawing.width * scale, drawing.height * scale);
        self.need(size.1);
        let at = (self.left + (self.width - size.0) / 2.0, self.y);
        let leaf = self.drawing(Content::Drawing(drawing.clone(), at, scale));
        let kind = self.figure_kind(&drawing.alternative, at, size);
        self.node(Node::Group(kind, vec![Node::Leaf(leaf)]));
        self.y += size.1 + 4.0;
    }

    /// One or two pictures beside each other.
    fn photos(&mut self, photos: &[Photo]) {
        let width = (self.width - FACT_GUTTER) / 2.0;
        let size = |photo: &Photo| {
            let (wide, high) =
                (f64::from(photo.raster.width_px), f64::from(photo.raster.height_px));
            let scale = (width / wide).min(PHOTO_HEIGHT_MAX / high);
            (wide * scale, high * scale)
        };
        let captions: Vec<Vec<String>> =
            photos.iter().map(|photo| self.broken(&photo.caption, SMALL, width)).collect();
        let heights = photos
            .iter()
            .zip(&captions)
            .map(|(photo, lines)| size(photo).1 + 3.0 + lines.len() as f64 * SMALL.line_height());
        let height = heights.fold(0.0, f64::max);
        self.need(height.min(self.page_room()));
        let (left, top) = (self.left, self.y);
        for (column, (photo, caption)) in photos.iter().zip(&captions).enumerate() {
            self.left = left + column as f64 * (width + FACT_GUTTER);
            let size = size(photo);
            let at = (self.left, top);
            let leaf = self.drawing(Content::Raster(photo.raster.clone(), at, size));
            let kind = self.figure_kind(&photo.caption, at, size);
            self.y = top + size.1 + 3.0;
            let lines = self.framed(caption, SMALL, 0.0);
            let parts = vec![Node::Leaf(leaf), Node::Group(Kind::Caption, lines)];
            self.node(Node::Group(kind, parts));
        }
        (self.left, self.y) = (left, top + height + 8.0);
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
            let leaf = self.leaf(vec![SMALL.words(at, self.date_word, Anchor::Start)]);
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
