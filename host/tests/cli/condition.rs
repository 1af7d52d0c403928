//! `pinhold condition`: answers from a file, from options and from a person.

use std::io::Write;
use std::process::Stdio;

use crate::run::{Bench, assert_refused};

/// An instrument `x` of one section's worth of pins, surveyed by hand.
fn surveyed() -> Bench {
    Bench::surveyed("40,L,12.4,6.6\n40,C,12.1,6.4\n", &["--plank", "parted"])
}

/// What the verdict names as not examined.
fn unknown(bench: &Bench) -> Vec<String> {
    let verdict = bench.document(&["verdict", "x"]);
    let named = verdict["not_examined"].as_array().unwrap().iter();
    named.map(|words| words.as_str().unwrap().to_owned()).collect()
}

#[test]
fn what_a_survey_was_begun_with_is_shown_and_what_was_not_examined() {
    let bench = surveyed();
    let shown = bench.run(&["condition", "x"]);
    assert!(
        shown
            .out
            .starts_with("Pinblock (wrest plank)\n  Its edges as seen: parted\nNot examined\n"),
        "{}",
        shown.out
    );
    assert!(shown.out.contains("tune.holds, tune.last_tuned"), "{}", shown.out);
    let document = bench.document(&["condition", "x"]);
    assert_eq!(document["answers"], serde_json::json!({"plank.edges": "parted"}));
}

#[test]
fn the_template_filled_in_comes_back_and_reaches_the_verdict() {
    let bench = surveyed();
    assert!(unknown(&bench).contains(&"whether it holds its tune".to_owned()));
    let template = bench.run(&["condition", "x", "--template"]).out;
    assert!(template.contains("edges = \"parted\"\n"), "{template}");
    let filled = template.replace("# holds = true  # or false", "holds = false").replacen(
        "# coil_gap = \"\"  # such as",
        "coil_gap = \"1.5 mm\"  # such as",
        1,
    );
    bench.write("x.toml", &filled);
    let taken = bench.run(&["condition", "x", "--from", "x.toml"]);
    assert_eq!(taken.code, 0, "{}", taken.err);
    assert!(taken.out.contains("coil and plank or plate, bass: 1.5 mm\n"), "{}", taken.out);
    assert!(!unknown(&bench).contains(&"whether it holds its tune".to_owned()));
    // The same file again changes nothing.
    assert_eq!(bench.run(&["condition", "x", "--from", "x.toml"]).out, taken.out);
}

#[test]
fn answers_are_set_and_taken_back_one_by_one() {
    let bench = surveyed();
    let set = bench.run(&[
        "condition",
        "x",
        "--set",
        "room.humidity=41 %",
        "--set",
        "pins.coils_touch@treble=yes",
        "--forget",
        "plank.edges",
    ]);
    assert_eq!(set.code, 0, "{}", set.err);
    let document = bench.document(&["condition", "x"]);
    assert_eq!(
        document["answers"],
        serde_json::json!({"room.humidity": "41 %", "pins.coils_touch": {"treble": "yes"}})
    );
}

#[test]
fn refused_answers_are_told_in_a_sentence_and_leave_everything_as_it_was() {
    let bench = surveyed();
    let before = bench.run(&["condition", "x"]).out;
    let refused = |arguments: &[&str], code: i32, sentence: &str| {
        let outcome = bench.run(&[&["condition", "x"], arguments].concat());
        assert_refused(&outcome, code, sentence);
    };
    let good = ["--set", "tune.holds=yes"];
    refused(
        &[&good[..], &["--set", "plank.edges=broken"]].concat(),
        3,
        "plank.edges is 'broken'; use sound, doubtful or parted",
    );
    refused(&["--set", "plank.edges"], 2, "'plank.edges' is no answer; use --set FACT=ANSWER");
    refused(
        &["--set", "plank.colour=red"],
        2,
        "'plank.colour' is no fact; --template lists all of them",
    );
    refused(
        &["--set", "pins.coil_gap=1 mm"],
        2,
        "pins.coil_gap is asked of each section: pins.coil_gap@ and bass, tenor, treble or high \
         treble",
    );
    refused(
        &["--set", "plank.edges@bass=sound"],
        2,
        "plank.edges is asked of the whole instrument, without @",
    );
    bench.write("bad.toml", "format = \"pinhold.condition\"\nversion = 1\n[plank]\nedge = \"x\"\n");
    refused(
        &["--from", "bad.toml"],
        3,
        "bad.toml: 'plank.edge' is not known; did you mean 'plank.edges'?; nothing was taken over",
    );
    bench.write("bytes.toml", [0xff, 0xfe]);
    refused(&["--from", "bytes.toml"], 3, "bytes.toml is no UTF-8 text");
    let missing = bench.run(&["condition", "x", "--from", "missing.toml"]);
    assert_eq!((missing.code, missing.out.as_str()), (1, ""));
    assert_eq!(bench.run(&["condition", "x"]).out, before);
}

#[test]
fn a_record_needs_a_survey_and_its_template_does_not() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "x", "--layout", "upright-85"]);
    let outcome = bench.run(&["condition", "x"]);
    assert_refused(
        &outcome,
        1,
        "a condition is kept with a survey, and x has none yet; begin one with `pinhold survey x`",
    );
    assert!(bench.run(&["condition", "x", "--template"]).out.contains("# Do unisons stay"));
}

#[test]
fn a_person_is_asked_until_a_full_stop() {
    let bench = surveyed();
    let mut child = bench
        .command(&["condition", "x", "--ask"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut input = child.stdin.take().unwrap();
    input.write_all(b"maybe\nno\n\n-12\n.\n").unwrap();
    drop(input);
    let output = child.wait_with_output().unwrap();
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("Do unisons stay together over months? (yes or no)"), "{said}");
    assert!(said.contains("that is 'maybe'; use yes or no"), "{said}");
    let document = bench.document(&["condition", "x"]);
    assert_eq!(
        document["answers"],
        serde_json::json!({"tune.holds": "no", "tune.pitch": "-12 cents", "plank.edges": "parted"})
    );
}

#[test]
fn the_report_carries_what_was_seen_and_not_the_owner_s_money() {
    let bench = surveyed();
    let set = ["condition", "x", "--set", "rest.soundboard=fair", "--set", "owner.ceiling=12345"];
    assert_eq!(bench.run(&set).code, 0);
    let hostile = "rest.remarks=<script>alert(1)</script>";
    assert_eq!(bench.run(&["condition", "x", "--set", hostile]).code, 0);
    assert_eq!(bench.run(&["report", "x", "--out", "x.html"]).code, 0);
    let html = std::fs::read_to_string(bench.path("x.html")).unwrap();
    assert!(
        html.contains("Seen and told") && html.contains("Soundboard: fair; Anything else: "),
        "{html}"
    );
    assert!(html.contains("recorded and not judged") && !html.contains("12345"));
    assert!(html.contains("&lt;script&gt;") && !html.contains("<script"));
}

#[test]
fn words_from_outside_are_kept_and_shown_harmless() {
    let bench = surveyed();
    let hostile = "rest.remarks=<script>alert(1)</script>\u{1b}[31m";
    assert_eq!(bench.run(&["condition", "x", "--set", hostile]).code, 0);
    let shown = bench.run(&["condition", "x"]).out;
    assert!(shown.contains("\\u{1b}[31m") && !shown.contains('\u{1b}'), "{shown}");
    let long = format!("rest.remarks={}", "x".repeat(10_001));
    let refused = bench.run(&["condition", "x", "--set", &long]);
    assert_refused(&refused, 3, "rest.remarks has more than 10000 characters");
}
