//! A document before it is HTML or PDF: headings, paragraphs, tables, figures, in reading order.
//!
//! Both renderings show the same text. Deliberately not here: pages, fonts, files, and what any
//! document says.
//!
//! Invariant: every text in it is printable already ([`crate::text::printable`]); escaping for
//! HTML or PDF is the rendering's business.

pub mod chart;
pub mod figure;
pub mod html;

use std::sync::Arc;

use figure::Figure;

use crate::words::Language;

/// A whole document.
#[derive(Clone, Debug, PartialEq)]
pub struct Document {
    /// Of all its text.
    pub language: Language,
    /// Printed on.
    pub paper: Paper,
    /// Title, for the window and the file's properties.
    pub title: String,
    /// What it is, in a sentence, for the file's properties.
    pub description: String,
    /// Who made it, for the file's properties.
    pub authors: Vec<String>,
    /// Program and version.
    pub program: String,
    /// Date in the file's properties, milliseconds since 1970-01-01 UTC; never the clock's.
    pub made_ms: i64,
    /// Top of every page but the first.
    pub running_head: String,
    /// Foot of every page.
    pub running_foot: String,
    /// What it says.
    pub blocks: Vec<Block>,
}

/// Size of the paper.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum Paper {
    /// ISO 216 A4, 210 by 297 mm.
    #[default]
    A4,
    /// US Letter, 8.5 by 11 in.
    Letter,
}

/// Who sends a document: at the head of its first page.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Letterhead {
    /// Their sign.
    pub logo: Option<Raster>,
    /// Their name.
    pub name: String,
    /// Address and what else they print, a line each.
    pub lines: Vec<String>,
}

/// A picture of pixels, as the bytes of a PNG file that we wrote: nothing is in it but pixels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Raster {
    /// The file.
    pub png: Arc<[u8]>,
    /// Width, pixels, at least 1.
    pub width_px: u32,
    /// Height, pixels, at least 1.
    pub height_px: u32,
}

/// A picture with what is to be said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Photo {
    /// The picture.
    pub raster: Raster,
    /// Under it, and for who cannot see it.
    pub caption: String,
}

/// A drawing as the program's own SVG: no script, link, clip, gradient or picture in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawing {
    /// The SVG element.
    pub svg: Arc<str>,
    /// Width, in its own units.
    pub width: f64,
    /// Height, in its own units.
    pub height: f64,
    /// What it shows, for who cannot see it.
    pub alternative: String,
}

impl Drawing {
    /// A drawing; its size is read from its view box.
    pub fn new(svg: String, alternative: String) -> Drawing {
        let view_box = svg.split_once("viewBox=\"").and_then(|(_, rest)| rest.split_once('"'));
        let numbers: Vec<f64> = view_box
            .map(|(inside, _)| inside.split(' ').filter_map(|n| n.parse().ok()).collect())
            .unwrap_or_default();
        let (width, height) = match numbers[..] {
            [_, _, width, height] if width > 0.0 && height > 0.0 => (width, height),
            _ => (1.0, 1.0),
        };
        Drawing { svg: svg.into(), width, height, alternative }
    }
}

/// A part of a document.
#[derive(Clone, Debug, PartialEq)]
pub enum Block {
    /// Who sends it.
    Letterhead(Letterhead),
    /// A drawing over the whole width.
    Drawing(Drawing),
    /// Pictures, two beside each other.
    Photos(Vec<Photo>),
    /// A warning across the page.
    Banner(String),
    /// The document's title and what stands under it.
    Title {
        /// Title.
        title: String,
        /// Line under it.
        subtitle: String,
    },
    /// Heading of a section.
    Heading(String),
    /// Heading within a section.
    Subheading(String),
    /// A paragraph.
    Paragraph(String),
    /// A paragraph in small type.
    Note(String),
    /// What the reader must not miss: a line in large type and lines under it, in a frame.
    Result {
        /// The line.
        line: String,
        /// Under it.
        under: Vec<String>,
    },
    /// Items.
    List(Vec<String>),
    /// Names with what they are, side by side.
    Facts(Vec<Fact>),
    /// A table.
    Table(Table),
    /// A picture.
    Figure(Figure),
    /// Two columns of blocks.
    Beside(Vec<Block>, Vec<Block>),
    /// Lines to sign on.
    Signatures(Vec<String>),
    /// What follows begins on a new page.
    PageBreak,
}

/// A name and what it is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fact {
    /// Such as "Next due".
    pub name: String,
    /// Such as "2027-11-25".
    pub value: String,
}

impl Fact {
    /// A fact.
    pub fn new(name: impl Into<String>, value: impl Into<String>) -> Fact {
        Fact { name: name.into(), value: value.into() }
    }
}

/// Where a column's text stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers of one column have the same decimals and digits are equally wide: points align.
    Right,
}

/// A column of a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Column {
    /// Heading.
    pub name: String,
    /// Where its text stands.
    pub align: Align,
    /// Share of the table's width, beside the others.
    pub share: f64,
}

/// A table; its first column names its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    /// Over it.
    pub caption: String,
    /// Columns.
    pub columns: Vec<Column>,
    /// Rows, each with a cell per column.
    pub rows: Vec<Vec<String>>,
    /// Many rows: small type.
    pub is_dense: bool,
    /// So many rows at the end are sums, in bold.
    pub sum_row_count: usize,
}

impl Table {
    /// An empty table; columns as (name, alignment, share).
    pub fn new(caption: impl Into<String>, columns: &[(&str, Align, f64)]) -> Table {
        let column = |(name, align, share): &(&str, Align, f64)| Column {
            name: (*name).to_owned(),
            align: *align,
            share: *share,
        };
        Table {
            caption: caption.into(),
            columns: columns.iter().map(column).collect(),
            rows: Vec::new(),
            is_dense: false,
            sum_row_count: 0,
        }
    }

    /// Adds a row; cells beyond the columns are dropped, missing ones empty.
    pub fn push(&mut self, cells: impl IntoIterator<Item = String>) {
        let mut row: Vec<String> = cells.into_iter().take(self.columns.len()).collect();
        row.resize(self.columns.len(), String::new());
        self.rows.push(row);
    }
}
