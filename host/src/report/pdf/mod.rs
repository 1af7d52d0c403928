//! A document as PDF: tagged, searchable, its fonts inside, and the same bytes for the same
//! document.
//!
//! Written to PDF/A-2a and PDF/UA-1 as far as the library checks them. Deliberately not here:
//! what a document says, and files.
//!
//! Invariants: nothing comes from the clock or the machine; a text is never lost for want of a
//! glyph ([`REPLACEMENT`](font) is shown and told at the end); what is drawn stands within both A4
//! and US Letter.

mod block;
mod drawing;
mod font;
mod layout;
mod paint;
mod table;
mod tags;
#[cfg(test)]
pub(super) mod tests;

use thiserror::Error;

use super::document::figure::{Figure, Shape};
use super::document::{Block, Document, Drawing, Fact, Letterhead, Photo, Table};
use crate::words::pages as say;
use font::{Faces, REPLACEMENT};

/// Why no PDF came of a document.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum PdfError {
    /// The program's own font cannot be read.
    #[error("the program's own font cannot be read")]
    Font,
    /// The library refuses what it was given.
    #[error("the PDF cannot be written: {0}")]
    Refused(String),
}

/// The document as the bytes of a PDF file.
///
/// # Errors
/// When the library refuses it: a fault of the program.
pub fn render(document: &Document) -> Result<Vec<u8>, PdfError> {
    let faces = Faces::new()?;
    let mut held = held_document(document, &faces);
    if faces.replaced_count() > 0 {
        let count = faces.replaced_count();
        let note = match count {
            1 => say::character_replaced(REPLACEMENT),
            count => say::characters_replaced(count, REPLACEMENT),
        };
        held.blocks.push(Block::Note(note.to(document.language).to_owned()));
    }
    let laid = layout::lay(&held, &faces);
    paint::paint(&held, &laid, &faces)
}

/// The document with every text as the fonts hold it.
fn held_document(document: &Document, faces: &Faces) -> Document {
    Document {
        running_head: faces.held(&document.running_head),
        running_foot: faces.held(&document.running_foot),
        blocks: held_blocks(&document.blocks, faces),
        ..document.clone()
    }
}

fn held_blocks(blocks: &[Block], faces: &Faces) -> Vec<Block> {
    blocks.iter().map(|block| held_block(block, faces)).collect()
}

fn held_block(block: &Block, faces: &Faces) -> Block {
    let held = |text: &String| faces.held(text);
    let all = |texts: &[String]| texts.iter().map(held).collect();
    match block {
        Block::Letterhead(head) => Block::Letterhead(Letterhead {
            logo: head.logo.clone(),
            name: held(&head.name),
            lines: all(&head.lines),
        }),
        // Its words are the program's own and in the font.
        Block::Drawing(drawing) => {
            Block::Drawing(Drawing { alternative: held(&drawing.alternative), ..drawing.clone() })
        }
        Block::Photos(photos) => {
            let photo =
                |one: &Photo| Photo { caption: held(&one.caption), raster: one.raster.clone() };
            Block::Photos(photos.iter().map(photo).collect())
        }
        Block::Banner(text) => Block::Banner(held(text)),
        Block::Title { title, subtitle } => {
            Block::Title { title: held(title), subtitle: held(subtitle) }
        }
        Block::Heading(text) => Block::Heading(held(text)),
        Block::Subheading(text) => Block::Subheading(held(text)),
        Block::Paragraph(text) => Block::Paragraph(held(text)),
        Block::Note(text) => Block::Note(held(text)),
        Block::Result { line, under } => Block::Result { line: held(line), under: all(under) },
        Block::List(items) => Block::List(all(items)),
        Block::Facts(facts) => {
            let fact = |fact: &Fact| Fact::new(held(&fact.name), held(&fact.value));
            Block::Facts(facts.iter().map(fact).collect())
        }
        Block::Table(table) => {
            let mut held_table: Table = table.clone();
            held_table.caption = held(&table.caption);
            for column in &mut held_table.columns {
                column.name = held(&column.name);
            }
            for cell in held_table.rows.iter_mut().flatten() {
                *cell = held(cell);
            }
            Block::Table(held_table)
        }
        Block::Figure(figure) => Block::Figure(held_figure(figure, faces)),
        Block::Beside(left, right) => {
            Block::Beside(held_blocks(left, faces), held_blocks(right, faces))
        }
        Block::Signatures(lines) => Block::Signatures(all(lines)),
        Block::PageBreak => Block::PageBreak,
    }
}

fn held_figure(figure: &Figure, faces: &Faces) -> Figure {
    let shape = |shape: &Shape| match shape {
        Shape::Words { at, text, font } => {
            Shape::Words { at: *at, text: faces.held(text), font: *font }
        }
        other => other.clone(),
    };
    Figure {
        caption: faces.held(&figure.caption),
        alternative: faces.held(&figure.alternative),
        shapes: figure.shapes.iter().map(shape).collect(),
        ..figure.clone()
    }
}
