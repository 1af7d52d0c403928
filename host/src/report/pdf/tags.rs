//! What each piece of a page is, for who listens to a document or searches it.
//!
//! The tree is built beside the pages, its leaves numbered; the numbers become the PDF's own
//! identifiers once the pages are painted.

use std::num::NonZeroU16;

use krilla::geom::Rect;
use krilla::tagging::{
    BBox, Identifier, ListNumbering, Node as PdfNode, TableHeaderScope, Tag, TagGroup, TagKind,
    TagTree,
};

use crate::words::Language;

/// What a group is.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Kind {
    /// Heading of a level from 1, with its text.
    Heading(u16, String),
    /// Paragraph.
    Paragraph,
    /// List, its items, their bullets and texts.
    List,
    /// List of names, as bullets, and what they are.
    Facts,
    Item,
    Bullet,
    Body,
    /// Table and its parts.
    Table(String),
    Head,
    Rows,
    Row,
    ColumnName,
    RowName,
    Cell,
    /// What stands over a table or under a figure.
    Caption,
    /// A picture, what it shows, and where it stands.
    Figure {
        alternative: String,
        page: usize,
        /// Left, top, right, bottom, points.
        sides: [f32; 4],
    },
}

/// A part of the tree.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Node {
    Group(Kind, Vec<Node>),
    Leaf(usize),
}

impl Node {
    pub(super) fn group(kind: Kind, leaf: usize) -> Node {
        Node::Group(kind, vec![Node::Leaf(leaf)])
    }
}

/// The PDF's tree; `identifiers` by leaf number.
pub(super) fn tree(
    nodes: &[Node],
    identifiers: &[Option<Identifier>],
    language: Language,
) -> TagTree {
    let mut tree = TagTree::new().with_lang(Some(language.code().to_owned()));
    for node in nodes.iter().filter_map(|node| pdf_node(node, identifiers)) {
        tree.push(node);
    }
    tree
}

fn pdf_node(node: &Node, identifiers: &[Option<Identifier>]) -> Option<PdfNode> {
    match node {
        Node::Leaf(leaf) => identifiers.get(*leaf).copied().flatten().map(PdfNode::from),
        Node::Group(kind, children) => {
            let children: Vec<PdfNode> =
                children.iter().filter_map(|child| pdf_node(child, identifiers)).collect();
            Some(PdfNode::from(TagGroup::with_children(tag(kind), children)))
        }
    }
}

fn tag(kind: &Kind) -> TagKind {
    match kind {
        Kind::Heading(level, text) => {
            Tag::Hn(NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN), Some(text.clone())).into()
        }
        Kind::Paragraph => Tag::P.into(),
        Kind::List => Tag::L(ListNumbering::Disc).into(),
        Kind::Facts => Tag::L(ListNumbering::None).into(),
        Kind::Item => Tag::LI.into(),
        Kind::Bullet => Tag::Lbl.into(),
        Kind::Body => Tag::LBody.into(),
        Kind::Table(summary) => {
            Tag::Table.with_summary(Some(summary.clone()).filter(|text| !text.is_empty())).into()
        }
        Kind::Head => Tag::THead.into(),
        Kind::Rows => Tag::TBody.into(),
        Kind::Row => Tag::TR.into(),
        Kind::ColumnName => Tag::TH(TableHeaderScope::Column).into(),
        Kind::RowName => Tag::TH(TableHeaderScope::Row).into(),
        Kind::Cell => Tag::TD.into(),
        Kind::Caption => Tag::Caption.into(),
        Kind::Figure { alternative, page, sides: [left, top, right, bottom] } => {
            let place = Rect::from_ltrb(*left, *top, *right, *bottom);
            let place = place.map(|place| BBox::new(*page, place));
            Tag::Figure(Some(alternative.clone())).with_bbox(place).into()
        }
    }
}
