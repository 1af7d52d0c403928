//! `pinhold correct` and `pinhold readings`.

use crate::run::{Bench, assert_refused};
use crate::shelf::{SURVEY, Shelf, pins, reading};

/// A survey of the first six of seven pins, friction 10, 11, … in order; started one pin late.
fn surveyed() -> Bench {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins());
    for (friction_nm, pin) in (10..).zip(&pins()[..6]) {
        shelf.read(&reading(SURVEY, *pin, friction_nm));
    }
    bench
}

/// Note and string, with friction, of every pin the verdict knows as read.
fn frictions(bench: &Bench) -> Vec<(String, f64)> {
    let document = bench.document(&["verdict", "x"]);
    let pins = document["pins"].as_array().unwrap().iter();
    pins.map(|pin| {
        let name = format!("{}{}", pin["note"], pin["string"].as_str().unwrap());
        (name, pin["friction_nm"].as_f64().unwrap())
    })
    .collect()
}

#[test]
fn a_run_is_shifted_previewed_and_taken_back() {
    let bench = surveyed();
    let shift = ["correct", "x", "--from", "40L", "--to", "41R", "--by", "1"];
    let before = frictions(&bench);
    assert_eq!(before[0], ("40L".to_owned(), 10.0));
    let preview = bench.run(&[&shift[..], &["--preview"]].concat());
    assert_eq!((preview.code, preview.err.as_str()), (0, ""));
    assert!(preview.out.starts_with("  C4 L -> C4 C  (record 0)\n"), "{}", preview.out);
    assert!(preview.out.contains("  C#4 R -> D4 L  (record 5)\n"), "{}", preview.out);
    assert!(
        preview.out.ends_with(
            "6 readings would move; nothing was changed. Without --preview it is done.\n"
        )
    );
    assert_eq!(frictions(&bench), before);

    let done = bench.run(&[&shift[..], &["--reason", "started one pin late"]].concat());
    assert!(
        done.out.ends_with("6 readings moved; take it back with: pinhold correct x --undo\n"),
        "{}",
        done.out
    );
    let after = frictions(&bench);
    let names: Vec<&str> = after.iter().map(|(name, _)| name.as_str()).collect();
    assert_eq!(names, ["40C", "40R", "41L", "41C", "41R", "42L"]);
    assert_eq!(after[0].1, 10.0);

    let list = bench.run(&["correct", "x", "--list"]).out;
    assert!(list.contains("corrected: started one pin late\n"), "{list}");
    assert!(list.contains("  C4 L -> C4 C  (record 0, taken as C4 L)\n"), "{list}");
    let report = bench.data().join("x.html");
    let written = bench.run(&["report", "x", "--out", report.to_str().unwrap()]);
    assert_eq!(written.code, 0, "{}", written.err);
    let html = std::fs::read_to_string(report).unwrap();
    let sentence = "6 readings reassigned to another pin after the measurement";
    assert!(html.contains(sentence), "the report says so");

    let undone = bench.run(&["correct", "x", "--undo"]);
    assert!(undone.out.ends_with("6 readings put back\n"), "{}", undone.out);
    assert_eq!(frictions(&bench), before);
    let again = bench.run(&["correct", "x", "--undo"]);
    assert_refused(&again, 1, "there is no correction of this survey left to undo");
}

#[test]
fn one_reading_is_moved_or_set_aside() {
    let bench = surveyed();
    let moved = bench.run(&["correct", "x", "--pin", "40L", "--to-pin", "D4L"]);
    assert!(moved.out.starts_with("  C4 L -> D4 L  (record 0)\n1 reading moved"), "{}", moved.out);
    let aside = bench.document(&["correct", "x", "--number", "1", "--void"]);
    assert_eq!((&aside["format"], &aside["stored"]), (&"pinhold.correct".into(), &true.into()));
    assert!(aside["moved"][0]["after"].is_null());
    let names: Vec<String> = frictions(&bench).into_iter().map(|(name, _)| name).collect();
    assert_eq!(names, ["40R", "41L", "41C", "41R", "42L"]);
    let listed = bench.run(&["readings", "x"]).out;
    assert!(listed.starts_with("     0  D4 L       friction 10.0 N·m"), "{listed}");
    assert!(listed.contains("taken as C4 L\n     1  set aside  friction 11.0 N·m"), "{listed}");
    assert!(listed.contains("2 readings of this survey stand under another pin"), "{listed}");
}

#[test]
fn what_cannot_be_corrected_is_said() {
    let bench = surveyed();
    for (arguments, code, sentence) in [
        (
            &["--pin", "40L", "--to-pin", "40C"][..],
            3,
            "C4 C has a reading already and would get that of C4 L; take its own into the run, \
             or set that aside first (--pin 40C --void)",
        ),
        (
            &["--from", "40L", "--to", "40C", "--by", "-1"],
            3,
            "the reading of C4 L would come to stand beyond the first pin of this survey; leave \
             it out of the run, or set it aside first (--pin 40L --void)",
        ),
        (
            &["--pin", "42L", "--to-pin", "40L"],
            1,
            "no reading stands there; 'pinhold readings x' lists those there are",
        ),
        (&["--pin", "40L", "--to-pin", "60L"], 2, "pin G#5 L is not of this survey's pins"),
        (
            &["--pin", "40L"],
            2,
            "say where they belong with --to-pin PIN, or set them aside with --void",
        ),
    ] {
        let outcome = bench.run(&[&["correct", "x"], arguments].concat());
        assert_refused(&outcome, code, sentence);
    }
    for arguments in [
        &[][..],
        &["--from", "40L", "--by", "1"],
        &["--from", "40L", "--to", "40C"],
        &["--from", "40L", "--to", "40C", "--by", "1", "--undo"],
        &["--pin", "H4L", "--void"],
        &["--pin", "40L", "--void", "--to-pin", "40C"],
    ] {
        let outcome = bench.run(&[&["correct", "x"], arguments].concat());
        assert_eq!((outcome.code, outcome.out.as_str()), (2, ""), "{arguments:?}");
    }
    let unread = Bench::new();
    unread.run(&["instrument", "add", "y"]);
    let outcome = unread.run(&["correct", "y", "--list"]);
    assert_refused(&outcome, 1, "no pin of y has been read yet; nothing to correct");
}

#[test]
fn readings_are_shown_with_coverage_trace_skips_and_losses() {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins());
    let first = shelf.read(&reading(SURVEY, pins()[0], 10));
    shelf.trace(first);
    shelf.skip(pins()[1]);
    shelf.lose();
    let listed = bench.run(&["readings", "x"]);
    assert_eq!(
        listed.out,
        "     0  C4 L       friction 10.0 N·m, string moment 3.0 N·m; raw samples with gaps, \
         trace kept\n! lever not calibrated (every reading above)\n     2  C4 C       passed over\n     3  ?          LOST on lever \
         000000000000abcd, or never accepted\n"
    );
    let drawn = bench.run(&["readings", "x", "--pin", "40L"]).out;
    assert!(drawn.contains("      9.0 N·m |  *\n"), "{drawn}");
    let document = bench.document(&["readings", "x"]);
    let entry = &document["readings"][0];
    assert_eq!(entry["samples"], "with-gaps");
    assert_eq!(entry["trace"]["interval_ms"], 80);
    // A minute before the lever was met, by its own clock.
    assert_eq!(entry["taken_ms"], 1_767_225_540_000_u64);
    assert_eq!(document["skipped"][0]["pin"]["string"], "C");
    assert_eq!(document["lost"][0]["number"], 3);
    let none = bench.run(&["readings", "x", "--pin", "50L"]);
    assert_refused(&none, 1, "the latest survey has no reading of A#4 L");
}
