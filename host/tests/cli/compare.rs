//! `pinhold compare`: two surveys of one instrument.

use crate::run::{Bench, assert_refused};

/// Friction of some fifty pins of an instrument `x`, this much more than ordinary.
fn survey(bench: &Bench, date: &str, humidity: &str, gain_nm: f64, notes: std::ops::Range<u32>) {
    let mut file = String::from("note,string,sharp_nm,flat_nm\n");
    for note in notes {
        let friction = 5.0 + 0.2 * f64::from(note * 7 % 5) + gain_nm;
        let string = if note <= 10 { "C" } else { "L" };
        file.push_str(&format!("{note},{string},{:.2},{:.2}\n", friction + 3.0, friction - 3.0));
    }
    bench.write("survey.csv", file);
    let arguments =
        ["import", "survey.csv", "--instrument", "x", "--taken", date, "--humidity", humidity];
    let outcome = bench.run(&arguments);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
}

fn laid_out() -> Bench {
    let bench = Bench::new();
    let added = bench.run(&["instrument", "add", "x", "--layout", "grand-88"]);
    assert_eq!(added.code, 0, "{}", added.err);
    bench
}

#[test]
fn the_proof_of_a_repair_is_told_written_and_printed_as_a_document() {
    let bench = laid_out();
    survey(&bench, "2031-02-01", "41", 0.0, 1..60);
    survey(&bench, "2031-03-03", "44", 4.0, 5..70);
    let told = bench.run(&["compare", "x", "--out", "proof.html", "--out", "proof.pdf"]);
    assert_eq!(told.code, 0, "{}", told.err);
    for part in [
        "survey 1, 2031-02-01 and survey 2, 2031-03-03",
        "Friction rose by 4.0 N·m (",
        "Clearly tighter: 55 pins",
        "within five points",
        "Both are as told at the survey",
        "30 days lie between the two. New fits relax",
        "14 pins read once only",
        "report written to proof.html",
    ] {
        // Lines break where the terminal ends.
        let flat = told.out.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(part), "{part}: {}", told.out);
    }
    let page = std::fs::read_to_string(bench.path("proof.html")).unwrap();
    assert!(page.contains("Before and after") && page.contains("<svg"));
    assert!(std::fs::read(bench.path("proof.pdf")).unwrap().starts_with(b"%PDF"));
    let document = bench.document(&["compare", "x"]);
    assert_eq!(document["format"], "pinhold.compare");
    assert_eq!((&document["pins_compared"], &document["days"]), (&55.into(), &30.into()));
    let shift = document["shift_nm"].as_f64().unwrap();
    let low = document["interval_nm"][0].as_f64().unwrap();
    assert!((shift - 4.0).abs() < 1e-6 && low > 0.0 && low < shift, "{document}");
    // Of two hand tools each scale is its own: it is in the interval, however many pins there are.
    assert!(document["common_u_nm"].as_f64().unwrap() > 0.05, "{document}");
    assert_eq!(document["same_tool"], false);
}

#[test]
fn the_report_speaks_german() {
    let bench = laid_out();
    survey(&bench, "2031-02-01", "41", 0.0, 1..40);
    survey(&bench, "2031-08-01", "62", 0.0, 1..40);
    let told = bench.run(&["compare", "x", "--out", "x.html", "--lang", "de"]);
    assert_eq!(told.code, 0, "{}", told.err);
    let page = std::fs::read_to_string(bench.path("x.html")).unwrap();
    assert!(page.contains("Keine klare Änderung") && page.contains("21 Punkte auseinander"));
}

#[test]
fn surveys_are_named_by_number_or_date() {
    let bench = laid_out();
    survey(&bench, "2031-02-01", "41", 0.0, 1..40);
    survey(&bench, "2032-02-01", "41", -1.0, 1..40);
    survey(&bench, "2033-02-01", "41", 3.0, 1..40);
    let chosen = |more: &[&str]| {
        let document = bench.document(&[&["compare", "x"], more].concat());
        (document["before"]["number"].clone(), document["after"]["number"].clone())
    };
    assert_eq!(chosen(&[]), (2.into(), 3.into()));
    assert_eq!(chosen(&["--before", "2031"]), (1.into(), 3.into()));
    assert_eq!(chosen(&["--after", "2"]), (1.into(), 2.into()));
    assert_refused(
        &bench.run(&["compare", "x", "--before", "3", "--after", "1"]),
        2,
        "survey 3 is not before survey 1; exchange --before and --after",
    );
    assert_refused(
        &bench.run(&["compare", "x", "--before", "9"]),
        1,
        "--before: x has no survey 9; it has 1 (2031-02-01), 2 (2032-02-01), 3 (2033-02-01)",
    );
    assert_refused(
        &bench.run(&["compare", "x", "--after", "203"]),
        1,
        "--after: x has no survey 203; it has 1 (2031-02-01), 2 (2032-02-01), 3 (2033-02-01)",
    );
    assert_refused(
        &bench.run(&["compare", "x", "--after", "1"]),
        2,
        "--after: that is the oldest survey, there is none before it",
    );
}

#[test]
fn one_survey_is_not_enough() {
    let bench = laid_out();
    survey(&bench, "2031-02-01", "41", 0.0, 1..40);
    let told = bench.run(&["compare", "x"]);
    assert_eq!((told.code, told.out.as_str()), (1, ""));
    assert!(told.err.starts_with("error: x has 1 of the 2 surveys"), "{}", told.err);
}
