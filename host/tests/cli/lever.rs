//! `pinhold lever` and `pinhold survey` where no lever is: sentences, exits, help.

use crate::run::{Bench, assert_refused};
use crate::shelf::{SURVEY, Shelf, pins, reading};

#[test]
fn a_port_that_is_not_there_is_said_by_every_verb() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "x"]);
    for arguments in
        [&["lever", "status"][..], &["lever", "fetch"], &["lever", "load", "x"], &["survey", "x"]]
    {
        let outcome = bench.run(&[arguments, &["--port", "/dev/none"]].concat());
        let sentence = "there is no port '/dev/none'; 'pinhold ports' lists those there are";
        assert_refused(&outcome, 5, sentence);
    }
    // Nothing was begun for it.
    assert!(bench.run(&["instrument", "show", "x"]).out.ends_with("  no survey yet\n"));
}

#[test]
fn a_wrong_name_or_pin_is_told_before_the_lever_is_asked() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "x"]);
    let port = ["--port", "/dev/none"];
    for (arguments, code, sentence) in [
        (&["lever", "load", "y"][..], 1, "there is no instrument named 'y'; did you mean 'x'?"),
        (
            &["lever", "fetch", "--assign", "y"],
            1,
            "there is no instrument named 'y'; did you mean 'x'?",
        ),
        (
            &["lever", "load", "x", "--plan", "adaptive"],
            2,
            "an adaptive survey is chosen step by step by this program, and the lever alone \
             cannot: load --plan quick or --plan full, or take it at the piano with 'pinhold \
             survey NAME --plan adaptive'",
        ),
        (
            &["survey", "x", "--plan", "full", "--confidence", "0.95"],
            2,
            "--confidence says when an adaptive survey may stop; add --plan adaptive",
        ),
        (
            &["survey", "x", "--resume", "--plan", "adaptive"],
            1,
            "there is nothing to go on with: the last survey of x is finished, or was begun \
             without a list of pins; begin one with: pinhold survey x",
        ),
        (&["lever", "load", "x", "--pins", "1L"], 2, "--pins: the instrument has no pin '1L'"),
        (
            &["lever", "fetch", "--assign", "x", "--pins", "99"],
            2,
            "--pins: '99' is no pin; use 49L, A4L, or a range as in 12-25",
        ),
        (
            &["lever", "load", "x", "--resume"],
            1,
            "there is no unfinished survey of x to go on with",
        ),
        (
            &["survey", "x", "--resume"],
            1,
            "there is nothing to go on with: the last survey of x is finished, or was begun \
             without a list of pins; begin one with: pinhold survey x",
        ),
    ] {
        let outcome = bench.run(&[arguments, &port].concat());
        assert_refused(&outcome, code, sentence);
    }
    for arguments in [
        &["lever"][..],
        &["lever", "load"],
        &["lever", "fetch", "--pins", "40"],
        &["lever", "load", "x", "--slip", "2"],
        &["survey", "x", "--resume", "--pins", "40"],
        &["survey", "x", "--plan", "quick", "--pins", "40"],
        &["survey", "x", "--plan", "half"],
        &["survey", "x", "--plan", "adaptive", "--confidence", "0.3"],
        &["lever", "load", "x", "--plan", "quick", "--resume"],
    ] {
        let outcome = bench.run(arguments);
        assert_eq!((outcome.code, outcome.out.as_str()), (2, ""), "{arguments:?}");
    }
}

#[test]
fn an_unfinished_survey_is_mentioned_and_a_finished_one_not_resumed() {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins()[..3]);
    shelf.read(&reading(SURVEY, pins()[0], 10));
    let outcome = bench.run(&["survey", "x", "--port", "/dev/none"]);
    assert_eq!(outcome.code, 5);
    assert_eq!(
        outcome.err.lines().next().unwrap(),
        "note: the survey begun 2026-01-01T00:00:00.000Z has 1 of 3 pins read; to go on with that \
         one stop here (Ctrl-C) and use: pinhold survey x --resume"
    );
    // A pin passed over is done; so is one read.
    shelf.skip(pins()[1]);
    let going_on = bench.run(&["survey", "x", "--resume", "--port", "/dev/none"]);
    assert_eq!(going_on.code, 5);
    shelf.read(&reading(SURVEY, pins()[2], 10));
    let finished = bench.run(&["survey", "x", "--resume", "--port", "/dev/none"]);
    assert_eq!(finished.code, 1);
    assert!(finished.err.contains("the last survey of x is finished"), "{}", finished.err);
}

#[test]
fn every_verb_shows_an_example_and_its_cautions() {
    let bench = Bench::new();
    for arguments in [
        &["lever", "status", "--help"][..],
        &["lever", "load", "--help"],
        &["lever", "fetch", "--help"],
        &["assign", "--help"],
        &["correct", "--help"],
        &["readings", "--help"],
        &["survey", "--help"],
    ] {
        let help = bench.run(arguments);
        assert_eq!(help.code, 0);
        assert!(help.out.contains("Example"), "{arguments:?}");
        assert!(help.out.contains("  pinhold "), "{arguments:?}");
    }
}
