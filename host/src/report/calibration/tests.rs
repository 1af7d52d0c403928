//! The record of benches, of one worked by hand, and of a hostile one.

use super::*;
use crate::calibration::bench::{HandPosition, SeatingReading};
use crate::calibration::evaluate::{Choices, evaluate};
use crate::calibration::record::CALIBRATION_VERSION;
use crate::calibration::test_benches::honest;
use crate::report::document::html;

/// A record of a practice bench; tuning seeds.
fn record(seed: u64) -> CalibrationRecord {
    let (_, mut bench) = honest(seed);
    for (index, pin) in (0..10).flat_map(|pin| [pin; 6]).enumerate() {
        let friction_nm = 5.0 + 0.3 * pin as f64 + 0.01 * ((index * 7) % 5) as f64;
        let (person, round) = (index % 2, index / 2 % 3);
        bench.seatings.push(SeatingReading { pin, person, round, friction_nm, moment_nm: 3.0 });
    }
    let result = evaluate(&bench, &Choices { number: 3, insist: false }).unwrap();
    CalibrationRecord {
        version: CALIBRATION_VERSION,
        program: "0.1.0".to_owned(),
        lever: 0x2a7,
        number: 3,
        made_ms: 1_795_603_600_000,
        due_ms: 1_795_603_600_000 + 365 * 86_400_000,
        people: vec!["Invented Person".to_owned(), "Another Person".to_owned()],
        place: "Workshop, bench 2".to_owned(),
        relative_humidity: Some(0.45),
        room_temperature_c: Some(21.4),
        remark: "Weights from a balance, invented".to_owned(),
        simulated: true,
        bench,
        result,
    }
}

fn page(record: &CalibrationRecord) -> String {
    html::render(&document(record, TorqueUnit::NewtonMetre))
}

/// All cells of the table a caption or first heading names.
fn rows(record: &CalibrationRecord, unit: TorqueUnit, named: &str) -> Vec<Vec<String>> {
    fn search(blocks: &[Block], named: &str) -> Option<Vec<Vec<String>>> {
        blocks.iter().find_map(|block| match block {
            Block::Table(table)
                if table.caption.starts_with(named)
                    || table.columns.iter().any(|column| column.name.starts_with(named)) =>
            {
                Some(table.rows.clone())
            }
            Block::Beside(left, right) => search(left, named).or_else(|| search(right, named)),
            _ => None,
        })
    }
    search(&document(record, unit).blocks, named).unwrap_or_else(|| panic!("no table {named}"))
}

fn number(text: &str) -> f64 {
    text.trim_end_matches(" %").replace('−', "-").parse().unwrap_or_else(|_| panic!("{text}"))
}

#[test]
fn it_says_what_it_is_and_what_not() {
    let text = page(&record(5));
    for said in [
        "In-house calibration record",
        "Not an accredited certificate",
        "Simulated: lever, weights and readings are invented",
        "00000000000002a7",
        "number 3",
        "2026-11-25 10:46 UTC",
        "2027-11-25",
        "Invented Person, Another Person",
        "Workshop, bench 2",
        "21.4 °C, 45 % RH",
        "computed for latitude 48.00°, 400 m above the sea",
        "Weights from a balance, invented",
        "JCGM 100",
        "Signature (Invented Person)",
    ] {
        assert!(text.contains(said), "{said}");
    }
    let real = CalibrationRecord { simulated: false, ..record(5) };
    assert!(!page(&real).to_lowercase().contains("simulated"));
}

#[test]
fn every_point_stands_there_and_its_numbers_agree() {
    let record = record(6);
    let rows = rows(&record, TorqueUnit::NewtonMetre, "Points on the square");
    assert_eq!(rows.len(), record.result.characteristics.points.len());
    let curve = &record.result.curve.coefficients;
    for (row, result) in rows.iter().zip(&record.result.characteristics.points) {
        let (load, code, by_curve, residual) =
            (number(&row[5]), number(&row[7]), number(&row[8]), number(&row[9]));
        assert!((load - result.load_nm).abs() <= 0.000_501);
        assert!((by_curve - load - residual).abs() <= 0.001_1, "{row:?}");
        // The printed code less the printed curve is the printed residual.
        let bend = curve.get(2).copied().unwrap_or(0.0);
        let from_code =
            (code - curve[0] - curve[1] * result.load_nm - bend * result.load_nm * result.load_nm)
                / curve[1];
        assert!((from_code - residual).abs() < 0.000_06, "{row:?} {from_code}");
    }
}

#[test]
fn the_parts_of_the_uncertainty_add_up_to_it() {
    for seed in [7, 8, 9] {
        let record = record(seed);
        let sheet = Sheet { record: &record, unit: TorqueUnit::NewtonMetre };
        let terms = &record.result.terms;
        let (low, high) = sheet.range_nm();
        for (combined, load) in parts::combined_nm(sheet).into_iter().zip([low, high]) {
            let standard = terms.standard_u_nm(load).max(terms.standard_u_nm(-load));
            assert!((combined / standard - 1.0).abs() < 1e-9, "{seed}: {combined} {standard}");
        }
    }
}

#[test]
fn expanded_uncertainty_is_twice_the_standard_one_in_every_unit() {
    let record = record(10);
    for unit in
        [TorqueUnit::NewtonMetre, TorqueUnit::InchPoundForce, TorqueUnit::KilogramForceCentimetre]
    {
        let rows = rows(&record, unit, "Expanded, k = 2");
        assert_eq!(rows.len(), record.result.characteristics.expanded.len());
        for (row, one) in rows.iter().zip(&record.result.characteristics.expanded) {
            let load_nm = number(&row[0]) * unit.newton_metres();
            assert!((load_nm - one.load_nm).abs() < 0.001, "{row:?}");
            let (standard, expanded) = (number(&row[2]), number(&row[3]));
            assert!((2.0 * standard - expanded).abs() < 0.002, "{row:?}");
            let share = number(&row[4]) / 100.0;
            assert!((share - one.expanded_nm / one.load_nm).abs() < 0.000_051);
            let nm = terms_expanded(&record, one.load_nm);
            assert!((expanded * unit.newton_metres() - nm).abs() < 0.000_1, "{row:?} {nm}");
        }
    }
}

fn terms_expanded(record: &CalibrationRecord, load_nm: f64) -> f64 {
    let terms = &record.result.terms;
    terms.expanded_u_nm(load_nm).max(terms.expanded_u_nm(-load_nm))
}

#[test]
fn what_was_not_done_is_told() {
    let mut record = record(11);
    record.bench.seatings.clear();
    record.remark.clear();
    (record.relative_humidity, record.room_temperature_c) = (None, None);
    record.result = evaluate(&record.bench, &Choices { number: 3, insist: false }).unwrap();
    let text = page(&record);
    for said in [
        "No pins seated anew: seating and person are the class",
        "class: not measured",
        "no traceability was noted",
        "Temperature and humidity of the room were not recorded",
        "nothing was calibrated while turning",
    ] {
        assert!(text.contains(said), "{said}");
    }
}

/// A record whose texts are hostile, and long.
fn hostile() -> CalibrationRecord {
    let mut hostile = record(12);
    let word = "<script>alert(1)</script>\"'&\u{1b}[31m\u{202e})endobj 😀".to_owned();
    hostile.people = vec![word.clone(), word.repeat(50), String::new()];
    (hostile.place, hostile.remark) = (word.repeat(200), word.clone());
    hostile.program = word.clone();
    for mass in &mut hostile.bench.masses {
        mass.name = word.repeat(9);
    }
    for position in &mut hostile.bench.positions {
        *position = HandPosition { name: word.repeat(9), arm_m: position.arm_m };
    }
    hostile.result.remarks.push(word.clone());
    hostile.result.curve.degree_reason = word.clone();
    hostile
}

#[test]
fn hostile_names_are_only_text_in_html() {
    let text = page(&hostile());
    assert!(text.contains("&lt;script&gt;alert(1)&lt;/script&gt;&quot;"));
    assert!(!text.contains("<script"));
    assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'));
    for outside in ["http:", "https:", "src=", "href=", "url(", "@import"] {
        // The name of SVG's namespace is an address nobody opens.
        let text = text.replace("xmlns=\"http://www.w3.org/2000/svg\"", "");
        assert!(!text.contains(outside), "{outside}");
    }
}

#[test]
fn a_record_with_nothing_in_it_is_still_a_page() {
    let mut empty = record(13);
    empty.bench.points.clear();
    (empty.bench.masses, empty.bench.positions) = (Vec::new(), Vec::new());
    empty.people.clear();
    empty.result.characteristics = Default::default();
    empty.result.curve.coefficients.clear();
    empty.result.curve.covariance.clear();
    empty.result.terms.range_nm = None;
    (empty.made_ms, empty.due_ms) = (i64::MAX, i64::MIN);
    let text = page(&empty);
    assert!(text.contains("not recorded") && !text.contains("NaN"));
    #[cfg(feature = "pdf")]
    crate::report::pdf::render(&document(&empty, TorqueUnit::NewtonMetre)).unwrap();
}

#[test]
fn numbers_out_of_all_measure_are_drawn_at_the_edge() {
    for odd in [f64::INFINITY, f64::NAN, 1e308, -1e308, 1e-320, 1e300, 0.0] {
        let mut record = record(16);
        let characteristics = &mut record.result.characteristics;
        for point in characteristics.points.iter_mut().step_by(3) {
            (point.load_nm, point.residual_nm, point.code) = (odd, -odd, odd);
        }
        characteristics.expanded[0].expanded_nm = odd;
        record.result.terms.error_covariance[1][1] = odd;
        record.result.curve.residual_sd = odd;
        record.result.terms.range_nm = Some((odd, odd));
        record.bench.masses[0].mass_kg.u = odd;
        let text = page(&record);
        assert!(!text.contains("NaN") && !text.contains("inf "), "{odd}");
        #[cfg(feature = "pdf")]
        crate::report::pdf::render(&document(&record, TorqueUnit::NewtonMetre)).unwrap();
    }
}

/// Every text of blocks, in order, figures' words apart.
#[cfg(feature = "pdf")]
fn texts(blocks: &[Block]) -> Vec<String> {
    let one = |block: &Block| match block {
        Block::Banner(text) | Block::Heading(text) | Block::Subheading(text) => vec![text.clone()],
        Block::Paragraph(text) | Block::Note(text) => vec![text.clone()],
        Block::Title { title, subtitle } => vec![title.clone(), subtitle.clone()],
        Block::Result { line, under } => [std::slice::from_ref(line), under].concat(),
        Block::List(items) | Block::Signatures(items) => items.clone(),
        Block::Facts(facts) => {
            facts.iter().flat_map(|fact| [fact.name.clone(), fact.value.clone()]).collect()
        }
        Block::Table(table) => {
            let names = table.columns.iter().map(|column| column.name.clone());
            let cells = table.rows.iter().flatten().cloned();
            std::iter::once(table.caption.clone()).chain(names).chain(cells).collect()
        }
        Block::Figure(figure) => vec![figure.caption.clone()],
        Block::Beside(left, right) => [texts(left), texts(right)].concat(),
        Block::Letterhead(_) | Block::Drawing(_) | Block::Photos(_) | Block::PageBreak => {
            Vec::new()
        }
    };
    blocks.iter().flat_map(one).collect()
}

#[cfg(feature = "pdf")]
#[test]
fn html_and_pdf_show_the_same_text() {
    use crate::report::pdf::tests::reading::Pdf;

    let bare = |text: &str| text.split_whitespace().collect::<String>();
    for seed in [17, 18] {
        let sheet = document(&record(seed), TorqueUnit::KilogramForceCentimetre);
        let page = html::render(&sheet).replace("&gt;", ">").replace("&lt;", "<");
        let page = bare(&page.replace("&quot;", "\"").replace("&amp;", "&"));
        let pdf = Pdf::read(&crate::report::pdf::render(&sheet).unwrap());
        let shown = bare(&pdf.text());
        let texts = texts(&sheet.blocks);
        assert!(texts.len() > 700, "{}", texts.len());
        for text in texts {
            assert!(shown.contains(&bare(&text)), "PDF lacks {text}");
            assert!(page.contains(&bare(&text)), "HTML lacks {text}");
        }
        assert!((4..=5).contains(&pdf.page_count()), "{}", pdf.page_count());
        assert_eq!((pdf.tag_count("Figure"), pdf.tag_count("H1")), (2, 1));
    }
}

#[cfg(feature = "pdf")]
#[test]
fn the_pdf_is_the_same_each_time_and_takes_whatever_is_typed() {
    use crate::report::pdf::render;

    for record in [record(14), hostile()] {
        let sheet = document(&record, TorqueUnit::InchPoundForce);
        let bytes = render(&sheet).unwrap();
        assert_eq!(bytes, render(&sheet).unwrap());
        assert!(bytes.starts_with(b"%PDF-1.7") && bytes.len() < 400_000, "{}", bytes.len());
    }
    let mut long = record(15);
    let points = long.result.characteristics.points.clone();
    long.result.characteristics.points = points.into_iter().cycle().take(5_000).collect();
    render(&document(&long, TorqueUnit::NewtonMetre)).unwrap();
}
