//! A document as one HTML file that stands by itself: no script, no link, no font file.
//!
//! Every text is escaped by the templates. Deliberately not here: what it says.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::{Align, Block, Document, Letterhead, Paper, Photo, Table};
use crate::words::{Language, pages as say};

/// No page size is set unless US Letter is asked for: A4 and Letter both hold it.
const STYLE: &str = "\
:root{color:#26221f;background:#fff;font:15px/1.45 'DejaVu Sans Condensed','DejaVu Sans',Verdana,\
sans-serif;font-stretch:condensed;font-variant-numeric:tabular-nums lining-nums}\
body{max-width:54rem;margin:1.5rem auto;padding:0 1rem;overflow-wrap:anywhere}\
h1{font-size:1.65rem;margin:.3rem 0 0;line-height:1.2}\
.sub{font-size:1.05rem;color:#57504a;margin:.1rem 0 1rem}\
h2{font-size:1.1rem;margin:1.5rem 0 .4rem;border-bottom:2px solid #6f665d;padding-bottom:.15rem}\
h3{font-size:.95rem;margin:.9rem 0 .2rem}p,ul{margin:.35rem 0}ul{padding-left:1.2rem}\
li{margin:.15rem 0}.small{font-size:.8rem;color:#57504a}\
table{border-collapse:collapse;width:100%;font-size:.86rem;margin:.5rem 0}\
caption{text-align:left;font-weight:bold;font-size:.95em;padding:.1rem 0 .25rem}\
th,td{border-bottom:1px solid #cfc8c0;padding:.2rem .45rem;text-align:left;vertical-align:top}\
thead th{background:#f1ede7;vertical-align:bottom}tbody th{font-weight:normal}\
.n{text-align:right;white-space:nowrap}thead .n{white-space:normal}thead th{overflow-wrap:normal}\
.sum{font-weight:bold}.sum th{font-weight:bold}.dense{font-size:.76rem}\
.dense th,.dense td{padding:.06rem .4rem}\
.facts{display:grid;grid-template-columns:1fr 1fr;gap:0 1.6rem;margin:.5rem 0}\
.facts div{display:grid;grid-template-columns:8.5rem 1fr;gap:.6rem;\
border-bottom:1px solid #cfc8c0;padding:.2rem 0;font-size:.9rem}\
.facts dt{color:#57504a}.facts dd{margin:0}\
.result{border:2px solid #26221f;border-radius:6px;padding:.6rem 1rem;margin:.9rem 0}\
.result p:first-child{font-size:1.15rem;font-weight:bold}\
.banner{background:#26221f;color:#fff;padding:.4rem .8rem;font-weight:bold}\
figure{margin:.7rem 0}figcaption{font-size:.8rem;color:#57504a}svg{width:100%;height:auto}\
.two{display:grid;grid-template-columns:1fr 1fr;gap:0 1.6rem}\
.two>div{min-width:0}\
.letterhead{display:flex;gap:1.2rem;align-items:center;justify-content:space-between;\
border-bottom:1px solid #cfc8c0;padding-bottom:.7rem;margin-bottom:1.1rem}\
.letterhead img{max-height:4.2rem;max-width:16rem}.letterhead div{text-align:right;\
font-size:.86rem;margin-left:auto;min-width:0}.letterhead strong{font-size:1.05rem}\
.photos{display:grid;grid-template-columns:1fr 1fr;gap:.8rem 1.6rem}\
.photos img{max-width:100%;max-height:18rem}\
.sign{display:grid;grid-template-columns:2fr 1fr;gap:2.6rem 2rem;margin-top:3.2rem}\
.sign div{border-top:1px solid #26221f;padding-top:.2rem;font-size:.86rem}\
@page{margin:14mm}\
@media(max-width:40rem){.two,.facts,.photos{display:block}}\
@media print{:root{font-size:9.2pt;line-height:1.34}th,td{padding:.13rem .4rem}\
.dense{font-size:.74rem}.dense th,.dense td{padding:.02rem .35rem}.sign{margin-top:2.4rem}\
body{margin:0;max-width:none;padding:0}\
*{print-color-adjust:exact;-webkit-print-color-adjust:exact}\
h2,h3,caption{break-after:avoid}li,tr,.facts div{break-inside:avoid}\
figure,.result,.sign,.two,.letterhead{break-inside:avoid}.page{break-before:page}}";

/// The whole file.
pub fn render(document: &Document) -> String {
    let page = html! {
        (DOCTYPE)
        html lang=(document.language.code()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="description" content=(document.description);
                meta name="generator" content=(document.program);
                @for author in &document.authors { meta name="author" content=(author); }
                title { (document.title) }
                style { (PreEscaped(STYLE)) }
                @if document.paper == Paper::Letter { style { "@page{size:letter}" } }
            }
            body {
                (blocks(&document.blocks, document.language))
                p.small { (document.running_foot) }
            }
        }
    };
    page.into_string()
}

fn blocks(blocks: &[Block], language: Language) -> Markup {
    html! { @for part in blocks { (block(part, language)) } }
}

fn block(block: &Block, language: Language) -> Markup {
    html! {
        @match block {
            Block::Letterhead(head) => { (letterhead(head)) },
            // The program's own drawing, every text in it escaped.
            Block::Drawing(drawing) => { figure { (PreEscaped(&*drawing.svg)) } },
            Block::Photos(photos) => {
                div.photos { @for one in photos { (photo(one)) } }
            },
            Block::Banner(text) => { p.banner { (text) } },
            Block::Title { title, subtitle } => { h1 { (title) } p.sub { (subtitle) } },
            Block::Heading(text) => { h2 { (text) } },
            Block::Subheading(text) => { h3 { (text) } },
            Block::Paragraph(text) => { p { (text) } },
            Block::Note(text) => { p.small { (text) } },
            Block::Result { line, under } => {
                div.result { p { (line) } @for text in under { p { (text) } } }
            },
            Block::List(items) => { ul { @for item in items { li { (item) } } } },
            Block::Facts(facts) => {
                dl.facts {
                    @for fact in facts { div { dt { (fact.name) } dd { (fact.value) } } }
                }
            },
            Block::Table(one) => { (table(one)) },
            Block::Figure(figure) => {
                figure { (figure.svg()) figcaption { (figure.caption) } }
            },
            Block::Beside(left, right) => {
                div.two { div { (blocks(left, language)) } div { (blocks(right, language)) } }
            },
            Block::Signatures(lines) => {
                div.sign { @for line in lines { div { (line) } div { (say::DATE.to(language)) } } }
            },
            Block::PageBreak => { div.page {} },
        }
    }
}

fn letterhead(head: &Letterhead) -> Markup {
    html! {
        div.letterhead {
            @if let Some(logo) = &head.logo { img src=(data_uri(&logo.png)) alt=(head.name); }
            div {
                strong { (head.name) }
                @for line in &head.lines { br; (line) }
            }
        }
    }
}

fn photo(photo: &Photo) -> Markup {
    html! {
        figure {
            img src=(data_uri(&photo.raster.png)) alt=(photo.caption);
            figcaption { (photo.caption) }
        }
    }
}

/// A PNG file within the page (RFC 2397).
fn data_uri(png: &[u8]) -> String {
    format!("data:image/png;base64,{}", base64(png))
}

/// Bytes in 64 letters (RFC 4648, section 4).
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let at = |index: usize| u32::from(group.get(index).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for place in 0..4 {
            let letter = LETTERS[(bits >> (18 - 6 * place)) as usize & 63];
            text.push(if place > group.len() { '=' } else { char::from(letter) });
        }
    }
    text
}

fn table(table: &Table) -> Markup {
    let class = |at: usize| match table.columns.get(at).map(|column| column.align) {
        Some(Align::Right) => Some("n"),
        _ => None,
    };
    let whole: f64 = table.columns.iter().map(|column| column.share).sum();
    html! {
        table class=[table.is_dense.then_some("dense")] {
            @if !table.caption.is_empty() { caption { (table.caption) } }
            colgroup {
                @for column in &table.columns {
                    col style=(format!("width:{:.1}%", 100.0 * column.share / whole));
                }
            }
            thead {
                tr {
                    @for (at, column) in table.columns.iter().enumerate() {
                        th scope="col" class=[class(at)] { (column.name) }
                    }
                }
            }
            tbody {
                @for (index, row) in table.rows.iter().enumerate() {
                    tr class=[(index + table.sum_row_count >= table.rows.len()).then_some("sum")] {
                        @for (at, cell) in row.iter().enumerate() {
                            @if at == 0 {
                                th scope="row" class=[class(at)] { (cell) }
                            } @else {
                                td class=[class(at)] { (cell) }
                            }
                        }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_in_letters_as_the_standard_has_them() {
        // RFC 4648, section 10.
        for (bytes, text) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(bytes.as_bytes()), text);
        }
    }
}
