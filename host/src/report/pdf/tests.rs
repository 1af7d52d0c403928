//! What a reader of the file finds in it, by a small reading of our own.

use super::*;
use crate::report::document::{Align, Fact, Paper, Table};
use crate::words::Language;

pub(in crate::report) mod reading;
use reading::Pdf;

fn document(blocks: Vec<Block>) -> Document {
    Document {
        language: Language::English,
        paper: Paper::A4,
        title: "A (tried) document \\ of ours".to_owned(),
        description: "Tried".to_owned(),
        authors: vec!["Zoë".to_owned()],
        program: "pinhold test".to_owned(),
        made_ms: 1_795_603_600_000,
        running_head: "head of pages".to_owned(),
        running_foot: "foot of pages".to_owned(),
        blocks,
    }
}

fn read(blocks: Vec<Block>) -> Pdf {
    Pdf::read(&render(&document(blocks)).unwrap())
}

fn paragraph(text: &str) -> Block {
    Block::Paragraph(text.to_owned())
}

#[test]
fn text_is_found_again() {
    let words = "Grüße, Ωμέγα, Торкетик: 1.5 N·m ± 0.2 − 3² × 10⁻⁵, 20 °C (brackets) \\ back";
    let pdf = read(vec![paragraph(words)]);
    assert!(pdf.text().contains(words), "{}", pdf.text());
}

#[test]
fn a_long_paragraph_keeps_its_words_apart_over_lines_and_pages() {
    let words: Vec<String> = (0..3_000).map(|n| format!("w{n}")).collect();
    let pdf = read(vec![paragraph(&words.join(" "))]);
    let text = pdf.text();
    let found: Vec<&str> = text.split_whitespace().filter(|word| word.starts_with('w')).collect();
    assert_eq!(found, words);
    assert!(pdf.page_count() > 1);
    assert_eq!(text.matches("head of pages").count(), pdf.page_count() - 1);
    assert_eq!(text.matches("foot of pages").count(), pdf.page_count());
}

#[test]
fn structure_language_and_title_are_there() {
    let mut table = Table::new("Numbers", &[("Of", Align::Left, 1.0), ("Is", Align::Right, 1.0)]);
    table.push(["a".to_owned(), "1.0".to_owned()]);
    table.push(["b".to_owned(), String::new()]);
    let pdf = read(vec![
        Block::Title { title: "Name".to_owned(), subtitle: "under".to_owned() },
        Block::Heading("Part".to_owned()),
        Block::Facts(vec![Fact::new("name", "value")]),
        Block::List(vec!["item".to_owned()]),
        Block::Table(table),
    ]);
    let raw = pdf.objects();
    assert!(raw.contains("/StructTreeRoot") && raw.contains("/Marked true"));
    assert!(raw.contains("/Lang(en)") && raw.contains("/DisplayDocTitle true"));
    assert!(raw.contains(r"/Title(A (tried) document \\ of ours)"), "title");
    assert!(raw.contains("D:20261125104640"), "the document's date, not the clock's");
    let count = |tag: &str| pdf.tag_count(tag);
    assert_eq!((count("H1"), count("H2"), count("Table"), count("THead")), (1, 1, 1, 1));
    assert_eq!((count("TR"), count("TH"), count("TD")), (3, 4, 2));
    // A fact and an item, each with a name or bullet and a body.
    assert_eq!((count("L"), count("LI"), count("Lbl"), count("LBody")), (2, 2, 2, 2));
}

#[test]
fn the_same_document_gives_the_same_bytes() {
    let one = || render(&document(vec![paragraph("same"), paragraph("again")])).unwrap();
    assert_eq!(one(), one());
}

#[test]
fn what_the_font_lacks_is_shown_as_a_box_and_told() {
    let pdf = read(vec![paragraph("name 😀 שלום 漢字 end")]);
    let text = pdf.text();
    assert!(text.contains("name □ □□□□ □□ end"), "{text}");
    assert!(text.contains("7 characters of what was typed cannot be shown"), "{text}");
    assert!(!read(vec![paragraph("plain")]).text().contains("cannot be shown"));
}

/// Text of every kind that has no business in a name.
fn hostile() -> String {
    let odd: String = ['\0', '\u{7}', '\u{1b}', '\u{202e}', '\u{feff}', '\u{e000}', '\u{ffff}']
        .into_iter()
        .collect();
    format!("{odd})) Tj ET endstream endobj <</JS (x)>> <script> \u{301}\u{ad}\u{2028}")
}

#[test]
fn hostile_text_is_only_text_wherever_it_stands() {
    let word = hostile();
    let mut table = Table::new(&word, &[(&word, Align::Left, 1.0), (&word, Align::Right, 1.0)]);
    table.push([word.clone(), word.repeat(200)]);
    let mut hostile = document(vec![
        Block::Banner(word.clone()),
        Block::Title { title: word.clone(), subtitle: word.clone() },
        Block::Heading(word.clone()),
        Block::Facts(vec![Fact::new(word.clone(), word.repeat(300))]),
        Block::Result { line: word.repeat(50), under: vec![word.repeat(300)] },
        Block::Table(table),
        Block::Signatures(vec![word.repeat(20)]),
    ]);
    hostile.title = crate::text::printable(&word);
    hostile.authors = vec![crate::text::printable(&word)];
    hostile.running_foot = word.repeat(30);
    let pdf = Pdf::read(&render(&hostile).unwrap());
    assert!(pdf.text().contains(")) Tj ET endstream endobj <</JS (x)>> <script>"));
    // In a string its brackets are escaped, so no such dictionary begins.
    assert!(!pdf.objects().contains("/JS (x)>>"));
}

#[test]
fn thousands_of_rows_turn_pages_under_repeated_headings() {
    let mut table = Table::new("Long", &[("Row", Align::Right, 1.0), ("Is", Align::Right, 1.0)]);
    table.is_dense = true;
    for row in 0..4_000 {
        table.push([format!("r{row}"), "1.0".to_owned()]);
    }
    let pdf = read(vec![Block::Table(table)]);
    let text = pdf.text();
    assert!(text.contains("r3999"));
    assert!(pdf.page_count() > 40);
    assert_eq!(text.matches("Row").count(), pdf.page_count());
    assert_eq!(pdf.tag_count("TR"), 4_001, "repeated headings are no content");
}

#[test]
fn nothing_is_drawn_outside_the_paper() {
    let mut table = Table::new("Wide", &[("Word", Align::Left, 1.0), ("Is", Align::Right, 9.0)]);
    table.push(["unbreakable".repeat(30), "x".repeat(2_000)]);
    let pdf = read(vec![
        Block::Beside(vec![paragraph(&"left ".repeat(900))], vec![paragraph(&"right".repeat(900))]),
        Block::Table(table),
        paragraph(&"long".repeat(3_000)),
    ]);
    for (x, y) in pdf.text_places() {
        // US Letter is 50 points shorter than A4: all stands between 60 and 782 from the top.
        assert!((49.0..546.0).contains(&x) && (60.0..782.0).contains(&y), "{x} {y}");
    }
    assert!(pdf.text_places().len() > 100);
}
