//! `pinhold instrument`, and what holds for every command.

use std::io::Write;
use std::process::Stdio;

use crate::run::{Bench, assert_refused};

#[test]
fn an_instrument_is_entered_listed_and_shown() {
    let bench = Bench::new();
    let outcome = bench.run(&[
        "instrument",
        "add",
        "parlour",
        "--kind",
        "upright",
        "--highest",
        "A7",
        "--place",
        "town hall",
    ]);
    assert_eq!(
        outcome.out,
        "Entered parlour: upright, A0 to A7, 218 pins, no survey\nNext: pinhold survey parlour\n"
    );
    bench.run(&["instrument", "add", "Big one", "--stringing", "8/5/75"]);
    assert_eq!(
        bench.run(&["instrument", "list"]).out,
        "Big one: grand, A0 to C8, 243 pins, no survey\n\
         parlour: upright, A0 to A7, 218 pins, no survey\n"
    );
    let shown = bench.run(&["instrument", "show", "parlour"]).out;
    assert!(shown.contains("  place: town hall\n"), "{shown}");
    assert!(shown.contains("  section 0: A0 to B2, 44 pins, size unknown\n"), "{shown}");
    assert!(shown.ends_with("  no survey yet\n"), "{shown}");
}

#[test]
fn an_instrument_is_changed() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "a", "--serial", "1", "--pin-um", "7000"]);
    let changed = bench.run(&[
        "instrument",
        "edit",
        "a",
        "--rename",
        "b",
        "--kind",
        "upright",
        "--place",
        "hall",
        "--pin-um",
        "7250",
        "--notes",
        "A0..A#0",
    ]);
    assert_eq!((changed.code, changed.err.as_str()), (0, ""));
    let shown = bench.document(&["instrument", "show", "b"]);
    let instrument = &shown["instrument"];
    assert_eq!((&instrument["kind"], &instrument["name"]), (&"upright".into(), &"b".into()));
    assert_eq!(instrument["facts"]["serial"], "1");
    assert_eq!(instrument["facts"]["place"], "hall");
    let sizes: Vec<u64> = instrument["pins"].as_array().unwrap()[..3]
        .iter()
        .map(|pin| pin["pin_um"].as_u64().unwrap())
        .collect();
    assert_eq!(sizes, [7250, 7250, 7000]);
    let gone = bench.run(&["instrument", "show", "a"]);
    assert_refused(&gone, 1, "there is no instrument named 'a'; did you mean 'b'?");
}

#[test]
fn names_are_taken_once() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "a"]);
    bench.run(&["instrument", "add", "other"]);
    let again = bench.run(&["instrument", "add", "a"]);
    assert_refused(&again, 3, "an instrument named 'a' exists already");
    let renamed = bench.run(&["instrument", "edit", "other", "--rename", "a"]);
    assert_refused(&renamed, 3, "an instrument named 'a' exists already");
}

#[test]
fn documents_are_versioned() {
    let bench = Bench::new();
    let changed = bench.document(&["instrument", "add", "a"]);
    assert_eq!(changed["format"], "pinhold.instrument.changed");
    for (arguments, format) in [
        (&["instrument", "list"][..], "pinhold.instrument.list"),
        (&["instrument", "show", "a"][..], "pinhold.instrument"),
    ] {
        let document = bench.document(arguments);
        assert_eq!((&document["format"], &document["version"]), (&format.into(), &1.into()));
    }
}

#[test]
fn nothing_there_yet_is_said() {
    let bench = Bench::new();
    assert_eq!(
        bench.run(&["instrument", "list"]).out,
        "No instruments yet. Enter one with `pinhold instrument add NAME`.\n"
    );
    let outcome = bench.run(&["instrument", "show", "x"]);
    assert_refused(&outcome, 1, "there is no instrument named 'x'");
}

#[test]
fn faulty_command_lines_end_with_two() {
    let bench = Bench::new();
    for arguments in [
        &["instrument", "add", ""][..],
        &["instrument", "add", "a\u{1b}[2J"],
        &["instrument", "add", "a", "--kind", "organ"],
        &["instrument", "add", "a", "--lowest", "H4"],
        &["instrument", "add", "a", "--lowest", "C4", "--highest", "A3"],
        &["instrument", "add", "a", "--stringing", "10/17/60"],
        &["instrument", "edit", "a", "--notes", "A0..C1"],
        &["instrument", "list", "--unit", "stone"],
        &["import", "x.csv"],
        &["nonsense"],
        &[],
    ] {
        let outcome = bench.run(arguments);
        assert_eq!((outcome.code, outcome.out.as_str()), (2, ""), "{arguments:?}");
        assert!(!outcome.err.contains('\u{1b}'), "{}", outcome.err);
    }
    let sentence = "88 notes are strung but the compass has 85";
    let outcome =
        bench.run(&["instrument", "add", "a", "--highest", "A7", "--stringing", "10/17/61"]);
    assert_refused(&outcome, 2, sentence);
}

#[test]
fn help_shows_exit_codes_and_examples() {
    let bench = Bench::new();
    let help = bench.run(&["--help"]);
    assert_eq!(help.code, 0);
    assert!(help.out.contains("   3  the data handed in was refused, nothing of it stored\n"));
    for arguments in [
        &["import", "--help"][..],
        &["instrument", "add", "--help"],
        &["instrument", "edit", "--help"],
        &["instrument", "list", "--help"],
        &["instrument", "show", "--help"],
    ] {
        let help = bench.run(arguments);
        assert!(help.out.contains("Example:\n  p"), "{arguments:?}");
    }
}

#[test]
fn stores_that_cannot_be_used_end_with_four() {
    let bench = Bench::new();
    bench.write("data", "a file where the folder should be");
    let outcome = bench.run(&["instrument", "list"]);
    assert_eq!(outcome.code, 4);
    assert!(outcome.err.starts_with("error: the data folder "), "{}", outcome.err);

    let bench = Bench::new();
    std::fs::create_dir(bench.data()).unwrap();
    let file = bench.data().join("pinhold.db");
    std::fs::write(&file, "these are the accounts, kept since 1998, please do not touch").unwrap();
    let outcome = bench.run(&["instrument", "list"]);
    assert_refused(
        &outcome,
        4,
        &format!(
            "{} is not a pinhold store; nothing was changed: move it away, or choose another \
             folder with --data",
            file.display()
        ),
    );
    assert!(std::fs::read_to_string(&file).unwrap().starts_with("these are the accounts"));
}

#[cfg(target_os = "linux")]
#[test]
fn output_that_cannot_be_written() {
    let bench = Bench::new();
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
    let output = bench.command(&["instrument", "list"]).stdout(full).output().unwrap();
    assert_eq!(output.status.code(), Some(7));
    assert!(String::from_utf8_lossy(&output.stderr).contains("standard output cannot be written"));
}

#[test]
fn a_reader_that_left_is_no_failure() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "a"]);
    let mut child = bench
        .command(&["instrument", "show", "a", "--json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    child.stdin.take().unwrap().flush().unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!((output.status.code(), output.stderr.as_slice()), (Some(0), &b""[..]));
}
