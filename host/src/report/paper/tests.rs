//! The report's promises: complete, the same in both forms, in every language, whatever is typed.

use super::*;
use crate::analysis::verdict::PlankState;
use crate::analysis::verdict::costs::RemedyCost;
use crate::analysis::{Assessment, RemedyKind};
use crate::instrument::Instrument;
use crate::report::document::{Table, html};
use crate::report::tests::{HOSTILE, all_planks, split_plank};
use crate::words::banned::said_in;
use crate::words::remedies;

const PLAIN: Setting = Setting {
    unit: TorqueUnit::NewtonMetre,
    language: Language::English,
    paper: Paper::A4,
    customer_only: false,
};

fn german() -> Setting {
    Setting { language: Language::German, ..PLAIN }
}

fn hostile_costs() -> CostComparison {
    let row = RemedyCost { remedy: RemedyKind::Plank, price: 9e3, holds: 0.9, expected: 9_900.0 };
    CostComparison {
        currency: HOSTILE.to_owned(),
        horizon_years: 5.0,
        remedies: vec![row],
        unpriced: vec![RemedyKind::Treat],
        ruled_out: vec![(RemedyKind::Larger, crate::words::remedies::NO_SIZE_LEFT)],
        looks: Vec::new(),
        certainty_worth: 10.0,
    }
}

/// Everything that can be typed, hostile and long.
pub(in crate::report) fn hostile_context() -> ReportContext {
    let hostile = || Said::same(HOSTILE);
    let long = Said::same("Bemerkung ".repeat(1_000));
    ReportContext {
        recorded: vec![(
            crate::words::condition::heading(crate::condition::Group::Rest),
            vec![(hostile(), hostile()), (Said::same("remark"), long)],
        )],
        costs: Some(hostile_costs()),
        retune: vec![Retune { pin: HOSTILE.to_owned(), ..Retune::default() }; 3],
        survey_date: HOSTILE.to_owned(),
        report_date: "2031-05-04".to_owned(),
        report_ms: 1_935_619_200_000,
        technician: HOSTILE.to_owned(),
        owner: HOSTILE.to_owned(),
        tool: hostile(),
        survey: hostile(),
        instrument_note: hostile(),
        temperature: Some(hostile()),
        own_decision: HOSTILE.to_owned(),
        is_demo: true,
        letterhead: Some(Letterhead {
            logo: None,
            name: printable(HOSTILE),
            lines: vec![printable(HOSTILE)],
        }),
        photos: Vec::new(),
    }
}

fn of(plank: &(Instrument, Assessment), context: &ReportContext, setting: Setting) -> Document {
    let model = MapModel { instrument: &plank.0, assessment: &plank.1 };
    document(&model, context, setting)
}

/// Every text of a document in reading order, drawings' words included.
fn texts(blocks: &[Block]) -> Vec<String> {
    blocks.iter().flat_map(texts_of).collect()
}

fn texts_of(block: &Block) -> Vec<String> {
    match block {
        Block::Banner(text)
        | Block::Heading(text)
        | Block::Subheading(text)
        | Block::Paragraph(text)
        | Block::Note(text) => vec![text.clone()],
        Block::Title { title, subtitle } => vec![title.clone(), subtitle.clone()],
        Block::Result { line, under } => std::iter::once(line).chain(under).cloned().collect(),
        Block::List(items) | Block::Signatures(items) => items.clone(),
        Block::Facts(facts) => {
            facts.iter().flat_map(|fact| [fact.name.clone(), fact.value.clone()]).collect()
        }
        Block::Table(table) => {
            let names = table.columns.iter().map(|column| column.name.clone());
            names.chain(table.rows.iter().flatten().cloned()).collect()
        }
        Block::Drawing(drawing) => svg_words(&drawing.svg),
        Block::Beside(left, right) => [texts(left), texts(right)].concat(),
        Block::Letterhead(head) => {
            std::iter::once(&head.name).chain(&head.lines).cloned().collect()
        }
        Block::Photos(photos) => photos.iter().map(|photo| photo.caption.clone()).collect(),
        Block::Figure(_) | Block::PageBreak => Vec::new(),
    }
}

/// The words of a drawing.
fn svg_words(svg: &str) -> Vec<String> {
    let bare = |text: &str| put_back(text.rsplit('>').next().unwrap_or_default());
    let inner = svg.split("</text>").map(|part| part.split("</tspan>").next().unwrap_or(part));
    inner.map(bare).filter(|text| !text.trim().is_empty()).collect()
}

fn squeezed(text: &str) -> String {
    text.chars().filter(|c| !c.is_whitespace()).collect()
}

#[cfg(feature = "pdf")]
fn pdf_of(document: &Document) -> crate::report::pdf::tests::reading::Pdf {
    let bytes = crate::report::pdf::render(document).expect("a PDF");
    crate::report::pdf::tests::reading::Pdf::read(&bytes)
}

/// Characters put back that were escaped.
fn put_back(text: &str) -> String {
    [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#39;", "'"), ("&amp;", "&")]
        .iter()
        .fold(text.to_owned(), |text, (from, to)| text.replace(from, to))
}

/// HTML as a reader sees it: tags out, characters put back.
fn seen(page: &str) -> String {
    let body = page.split_once("<body>").expect("a body").1;
    let mut text = String::new();
    for part in body.split('<') {
        text.push_str(part.split_once('>').map_or("", |(_, rest)| rest));
        text.push(' ');
    }
    put_back(&text)
}

#[test]
#[cfg(feature = "pdf")]
fn both_forms_say_every_text_of_the_document() {
    for setting in [PLAIN, german()] {
        let plank = split_plank();
        let document = of(&plank, &hostile_context(), setting);
        let page = squeezed(&seen(&html::render(&document)));
        let pdf = squeezed(&pdf_of(&document).text());
        let all = texts(&document.blocks);
        assert!(all.len() > 1_000);
        for text in all {
            let text = squeezed(&text);
            assert!(page.contains(&text), "HTML lacks {text}");
            // A long text is broken over pages, between which head and foot stand.
            let begins: String = text.chars().take(40).collect();
            assert!(pdf.contains(&begins), "PDF lacks {text}");
        }
    }
}

#[test]
fn the_report_says_what_it_must() {
    for plank in all_planks() {
        let document = of(&plank, &hostile_context(), PLAIN);
        let all = texts(&document.blocks).join("\n");
        for words in [
            "What was not examined",
            "Conditions of the measurement",
            "read both ways",
            "Pitch as found",
            "Relative humidity",
            "Temperature",
            "want a touch-up",
            "Cautions",
            "Signature",
            "What can be done",
            "What it needs",
            "What it risks",
            "torque neither",
            "invented",
            "own decision",
            "Read by section",
            "[DER]",
        ] {
            assert!(all.contains(words), "{words} is missing");
        }
        let at = |test: fn(&Block) -> bool| document.blocks.iter().position(test);
        let verdict = at(|block| matches!(block, Block::Result { .. }));
        assert!(verdict < at(|block| matches!(block, Block::Drawing(_))), "verdict before picture");
        assert!(document.running_foot.contains("2031-05-04"));
    }
}

#[test]
fn the_customers_part_stands_alone_when_asked() {
    let plank = split_plank();
    let setting = Setting { customer_only: true, ..PLAIN };
    let document = of(&plank, &hostile_context(), setting);
    let all = texts(&document.blocks).join("\n");
    assert!(!all.contains("Annex") && !all.contains("in the annex"), "{all}");
    assert!(all.contains(&"Bemerkung ".repeat(999)), "nothing is cut where no annex has it");
    let with_annex = texts(&of(&plank, &hostile_context(), PLAIN).blocks).join("\n");
    assert!(with_annex.contains("in full in the annex"));
    assert!(with_annex.contains(&"Bemerkung ".repeat(999)));
}

#[test]
#[cfg(feature = "pdf")]
fn the_customers_part_has_three_pages_on_a4_and_four_on_letter_at_most() {
    for plank in all_planks() {
        for paper in [Paper::A4, Paper::Letter] {
            for language in Language::ALL {
                let setting = Setting { customer_only: true, paper, language, ..PLAIN };
                let context = ReportContext {
                    technician: "A. Person".to_owned(),
                    ..ReportContext::default()
                };
                let count = pdf_of(&of(&plank, &context, setting)).page_count();
                let remedy = plank.1.verdict.remedy;
                // Letter is 18 mm shorter: long verdicts spill over.
                let most = if paper == Paper::A4 { 3 } else { 4 };
                assert!(count <= most, "{count} pages, {paper:?} {language:?} {remedy:?}");
            }
        }
    }
}

#[test]
fn nothing_is_said_that_must_not_be() {
    for plank in all_planks() {
        for language in Language::ALL {
            let setting = Setting { language, unit: TorqueUnit::InchPoundForce, ..PLAIN };
            let document = of(&plank, &ReportContext::default(), setting);
            let page = seen(&html::render(&document));
            assert_eq!(said_in(&page, language), Vec::<&str>::new());
            assert_eq!(said_in(&document.description, language), Vec::<&str>::new());
        }
    }
}

/// Words that stand in every English report and in no German one.
const ENGLISH_ONLY: [&str; 12] = [
    " the ", " pins ", " plank", " of ", " read ", "notes ", " with ", " loose", " row", "section",
    " and ", "Doubtful",
];

#[test]
fn a_german_report_is_german() {
    for plank in all_planks() {
        let mut named = plank.clone();
        named.0.name = "Flügel".to_owned();
        for pin in &mut named.1.pins {
            pin.remarks.retain(|remark| !remark.contains("script"));
        }
        let document = of(&named, &ReportContext::default(), german());
        for text in texts(&document.blocks) {
            let padded = format!(" {text} ");
            let found: Vec<&&str> =
                ENGLISH_ONLY.iter().filter(|word| padded.contains(**word)).collect();
            assert!(found.is_empty(), "{found:?} in {text}");
        }
        let page = html::render(&document);
        assert!(page.contains("<html lang=\"de\">") && page.contains("Stimmstock"));
        assert!(page.contains(" N·m") && !page.contains(".0 N·m"), "decimal comma");
    }
}

#[test]
fn hostile_text_does_no_harm() {
    let plank = split_plank();
    for setting in [PLAIN, german()] {
        let document = of(&plank, &hostile_context(), setting);
        let page = html::render(&document);
        assert!(!page.contains("<script") && page.contains("&lt;script&gt;"));
        assert!(!page.contains('\u{1b}') && !page.contains('\u{202e}'));
        for outside in ["src=", "href=", "url(", "@import"] {
            assert!(!page.contains(outside), "the page must stand by itself: {outside}");
        }
        assert!(page.len() < 3_000_000);
        #[cfg(feature = "pdf")]
        {
            let pdf = pdf_of(&document);
            assert!(pdf.text().contains("<script>alert"));
            for (x, y) in pdf.text_places() {
                assert!((38.0..560.0).contains(&x) && (49.0..780.0).contains(&y), "{x} {y}");
            }
        }
    }
}

#[test]
#[cfg(feature = "pdf")]
fn pages_have_the_paper_asked_for() {
    let plank = split_plank();
    for (paper, size, css) in [
        (Paper::A4, "/MediaBox[0 0 595.276 841.89]", false),
        (Paper::Letter, "/MediaBox[0 0 612 792]", true),
    ] {
        let document = of(&plank, &hostile_context(), Setting { paper, ..PLAIN });
        let pdf = pdf_of(&document);
        let objects = pdf.objects();
        assert_eq!(objects.matches("/MediaBox").count(), pdf.page_count());
        assert_eq!(objects.matches(size).count(), pdf.page_count(), "{paper:?}");
        assert_eq!(html::render(&document).contains("size:letter"), css);
        let height = if css { 792.0 } else { 841.89 };
        assert!(pdf.text_places().iter().all(|(_, y)| *y > 40.0 && *y < height - 40.0));
    }
}

#[test]
#[cfg(feature = "pdf")]
fn names_of_pins_are_found_in_the_picture() {
    let plank = split_plank();
    let pdf = pdf_of(&of(&plank, &ReportContext::default(), PLAIN));
    let text = pdf.text();
    let lines: Vec<&str> = text.lines().collect();
    for pin in &plank.1.pins {
        let name = crate::analysis::zones::place::pin_name(pin.pin);
        assert!(lines.contains(&name.as_str()), "{name}");
    }
    assert!(pdf.tag_count("Figure") >= 6);
    // Filled and stroked lines, no picture of pixels.
    assert!(!pdf.objects().contains("/Subtype/Image"));
}

#[test]
#[cfg(any(feature = "pdf", feature = "png"))]
fn a_logo_and_photos_are_embedded_as_clean_pictures() {
    let svg = "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 40 20\">\
               <rect width=\"40\" height=\"20\" fill=\"#123456\"/></svg>";
    let raster = crate::report::pixels::sign(svg.as_bytes()).unwrap();
    let photo = Photo { raster: raster.clone(), caption: printable(HOSTILE) };
    let context = ReportContext {
        letterhead: Some(Letterhead {
            logo: Some(raster),
            name: "Workshop".to_owned(),
            lines: vec!["Street".to_owned()],
        }),
        photos: vec![photo.clone(), photo.clone(), photo],
        ..ReportContext::default()
    };
    let document = of(&split_plank(), &context, PLAIN);
    let page = html::render(&document);
    assert_eq!(page.matches("<img src=\"data:image/png;base64,iVBOR").count(), 4);
    assert_eq!(page.matches("src=").count(), 4);
    #[cfg(feature = "pdf")]
    {
        let pdf = pdf_of(&document);
        assert!(pdf.objects().contains("/Subtype/Image"));
        assert!(pdf.text().contains("Workshop"));
    }
}

/// Tables of the chain, by their number of summed rows.
fn chain_tables(document: &Document) -> (Table, Table) {
    let tables = document.blocks.iter().filter_map(|block| match block {
        Block::Table(table) if table.sum_row_count > 0 => Some(table.clone()),
        _ => None,
    });
    let all: Vec<Table> = tables.collect();
    (all[0].clone(), all[1].clone())
}

fn number(cell: &str) -> f64 {
    let plain = cell.replace('−', "-").replace('\u{a0}', "");
    if let Some((mantissa, power)) = plain.split_once("×10") {
        let power: String = power
            .chars()
            .map(|c| match c {
                '⁻' => '-',
                '¹' => '1',
                '²' => '2',
                '³' => '3',
                c => char::from_digit(c as u32 - '⁰' as u32, 10).unwrap(),
            })
            .collect();
        return mantissa.parse::<f64>().unwrap() * 10_f64.powi(power.parse().unwrap());
    }
    plain.parse().unwrap_or_else(|_| panic!("{cell} is no number"))
}

/// What another technician does with pencil and paper, from what is printed alone.
#[test]
fn the_chain_worked_by_hand_gives_the_same_verdict() {
    for plank in all_planks() {
        let document = of(&plank, &ReportContext::default(), PLAIN);
        let (evidence, suits) = chain_tables(&document);
        let rows = evidence.rows.len();
        let mut powers = Vec::new();
        for column in 1..evidence.columns.len() {
            let cell = |row: usize| number(&evidence.rows[row][column]);
            let sum: f64 = (0..rows - 3).map(cell).sum();
            assert!((sum - cell(rows - 3)).abs() < 0.0006 * rows as f64, "{sum}");
            let power = cell(rows - 3).exp();
            assert!((power / cell(rows - 2) - 1.0).abs() < 0.006, "{power}");
            powers.push(cell(rows - 2));
        }
        let others = texts(&document.blocks);
        let others = others.iter().find(|text| text.starts_with("The five states")).unwrap();
        let others = others.split("add up to ").nth(1).unwrap();
        let others = number(others.split(". The chance").next().unwrap());
        let all: f64 = powers.iter().sum::<f64>() + others;
        for (at, power) in powers.iter().enumerate() {
            let chance = number(&evidence.rows[rows - 1][at + 1]);
            assert!((power / all - chance).abs() < 0.006, "{} {chance}", power / all);
            assert!((chance - number(&suits.rows[at][1])).abs() < 1e-9);
        }
        let last = suits.rows.len() - 1;
        assert_eq!(last, PlankState::ALL.len());
        for column in 2..suits.columns.len() {
            let product =
                |row: usize| number(&suits.rows[row][1]) * number(&suits.rows[row][column]);
            let sum: f64 = (0..last).map(product).sum();
            let shown = number(&suits.rows[last][column]);
            assert!((sum - shown).abs() < 0.006, "{sum} {shown}");
        }
        let best = &suits.columns[2].name;
        let verdict = plank.1.verdict.remedy.kind();
        let open = verdict == RemedyKind::Undecided;
        assert!(open || *best == *remedies::name(verdict), "{best} {verdict:?}");
    }
}

#[test]
fn an_empty_instrument_makes_an_empty_but_whole_report() {
    let (mut instrument, _) = split_plank();
    instrument.pins.clear();
    let condition = crate::analysis::input::Condition::default();
    let input = crate::analysis::AssessmentInput {
        instrument: &instrument,
        readings: &[],
        condition: &condition,
        seed: 1,
    };
    let assessment = crate::analysis::assess(&input, &crate::analysis::Profile::default());
    for setting in [PLAIN, german()] {
        let document = of(&(instrument.clone(), assessment.clone()), &hostile_context(), setting);
        assert!(html::render(&document).contains("class=\"result\""));
        #[cfg(feature = "pdf")]
        assert!(pdf_of(&document).page_count() > 2);
    }
}
