//! `pinhold report`: both forms, languages, letterhead and photos, and what happens without them.

use crate::run::{Bench, assert_refused};

/// An instrument `x` surveyed by hand, its name and remarks as bad as they get.
fn surveyed() -> Bench {
    let bench = Bench::new();
    let mut rows = String::from("note,string,sharp_nm,flat_nm,remark\n");
    for note in 40..=60 {
        for string in ["L", "C", "R"] {
            rows.push_str(&format!("{note},{string},12.{},6.4,<script>x</script>\n", note % 10));
        }
    }
    bench.import(rows);
    bench
}

fn written(bench: &Bench, name: &str) -> Vec<u8> {
    std::fs::read(bench.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

fn page(bench: &Bench, name: &str) -> String {
    String::from_utf8(written(bench, name)).unwrap()
}

#[test]
fn both_forms_are_written_by_the_end_of_their_names() {
    let bench = surveyed();
    let told = bench.run(&["report", "x", "--out", "x.html", "--out", "x.pdf", "--lang", "de"]);
    assert_eq!(told.code, 0, "{}", told.err);
    assert_eq!(told.out, "report written to x.html\nreport written to x.pdf\n");
    let html = page(&bench, "x.html");
    assert!(html.contains("<html lang=\"de\">") && html.contains("Was man tun kann"));
    assert!(!html.contains("<script"));
    assert!(written(&bench, "x.pdf").starts_with(b"%PDF-1.7"));
    let document = bench.document(&["report", "x", "--out", "x.pdf", "--paper", "letter"]);
    assert_eq!(document["file"], "x.pdf");
    let letter = written(&bench, "x.pdf");
    assert!(letter.windows(18).any(|window| window == b"/MediaBox[0 0 612 "));
}

#[test]
fn the_annex_is_left_out_when_asked() {
    let bench = surveyed();
    assert_eq!(bench.run(&["report", "x", "--out", "a.html"]).code, 0);
    assert_eq!(bench.run(&["report", "x", "--out", "b.html", "--customer-only"]).code, 0);
    assert!(page(&bench, "a.html").contains("Annex: every reading"));
    assert!(!page(&bench, "b.html").contains("Annex"));
}

#[test]
fn a_letterhead_is_taken_from_the_data_folder_or_a_named_file() {
    let bench = surveyed();
    let example = bench.run(&["report", "--letterhead-example"]);
    assert_eq!(example.code, 0, "{}", example.err);
    let mine = example.out.replace("Your name or workshop", "Pins & <Planks>");
    bench.write("mine.toml", mine.replace("# logo = \"logo.png\"", "logo = \"logo.svg\""));
    bench.write("logo.svg", "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 9 9'/>");
    let named = bench.run(&["report", "x", "--out", "a.html", "--letterhead", "mine.toml"]);
    assert_eq!(named.code, 0, "{}", named.err);
    let html = page(&bench, "a.html");
    assert!(html.contains("Pins &amp; &lt;Planks&gt;") && html.contains("data:image/png;base64,"));
    std::fs::write(bench.data().join("letterhead.toml"), mine).unwrap();
    assert_eq!(bench.run(&["report", "x", "--out", "b.pdf", "--out", "b.html"]).code, 0);
    assert!(page(&bench, "b.html").contains("Pins &amp; &lt;Planks&gt;"));
}

#[test]
fn what_is_missing_is_told_and_nothing_is_half_written() {
    let bench = surveyed();
    let all = ["report", "x", "--out", "x.html"];
    let run = |more: &[&str]| bench.run(&[&all[..], more].concat());
    assert_refused(
        &run(&["--photo", "gone.jpg=Bass end"]),
        1,
        "the photo gone.jpg is not there; check its name",
    );
    assert_refused(
        &run(&["--letterhead", "gone.toml"]),
        1,
        "the letterhead gone.toml is not there; check its name",
    );
    bench.write("text.jpg", "no picture");
    assert_refused(
        &run(&["--photo", "text.jpg"]),
        3,
        "text.jpg: the file is no JPEG or PNG picture",
    );
    let head = "format = \"pinhold.letterhead\"\nversion = 1\nname = \"a\"\nlogo = \"no.png\"\n";
    bench.write("head.toml", head);
    assert_refused(
        &run(&["--letterhead", "head.toml"]),
        1,
        "the letterhead's logo no.png is not there; check its name",
    );
    bench.write("head.toml", "name = 7");
    let refused = run(&["--letterhead", "head.toml"]);
    assert_eq!(refused.code, 3, "{}", refused.err);
    assert!(!bench.path("x.html").exists());
    assert_refused(
        &bench.run(&["report", "x", "--out", "x.html", "--out", "x.txt"]),
        2,
        "a report is an HTML or a PDF file; end the name after --out in .html or .pdf",
    );
    assert!(!bench.path("x.html").exists());
}
