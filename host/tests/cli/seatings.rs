//! `pinhold lever seatings` with a simulated lever: what it keeps, going on after a kill, files at
//! fault. People are invented.

use std::path::PathBuf;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use pinhold_sim::lever::{LeverModel, LeverSpec, Posture};
use serde_json::Value;

use crate::calibrate::{from, honest};
use crate::run::{Bench, assert_refused};
use crate::shelf::{SURVEY, Shelf, pins};

const PEOPLE: [&str; 3] = ["--simulated", "--people", "A. Ex, B. Ex"];
/// Seeds of whole sets.
const JUDGING_SEEDS: [u64; 2] = [81_221, 81_222];
/// What a simulated reading scatters by where the lever sits alike, relative; seen with tuning
/// seeds.
const READING_RELATIVE_SD: f64 = 0.002;
/// Longest wait for a program to get somewhere.
const WAIT_MAX: Duration = Duration::from_secs(60);

fn begin<'a>(file: &'a str, more: &[&'a str]) -> Vec<&'a str> {
    [&["lever", "seatings", file][..], &PEOPLE, more].concat()
}

fn folder(bench: &Bench) -> PathBuf {
    bench.data().parent().unwrap().to_path_buf()
}

/// Lines of readings of a file; none when it is not there.
fn rows(bench: &Bench, file: &str) -> Vec<String> {
    let text = std::fs::read_to_string(folder(bench).join(file)).unwrap_or_default();
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.map(str::to_owned).collect()
}

fn started(bench: &Bench, arguments: &[&str]) -> Child {
    let mut command = bench.command(arguments);
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap()
}

#[track_caller]
fn wait_until(mut is_so: impl FnMut() -> bool) {
    let started = Instant::now();
    while !is_so() {
        assert!(started.elapsed() < WAIT_MAX, "nothing came of it");
        std::thread::sleep(Duration::from_millis(2));
    }
}

#[test]
fn two_people_read_every_pin_in_turn_and_a_calibration_takes_what_follows() {
    let bench = Bench::new();
    let outcome = bench.run(&begin("s.csv", &["--count", "3", "--rounds", "2"]));
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    for words in [
        "SIMULATED: an invented piano, simulated people and lever; nothing here is real.\n",
        "turn 1 of 4: A. Ex, round 1 of 2, 3 pins to read\n",
        "turn 2 of 4: B. Ex, round 1 of 2, 3 pins to read\n",
        "turn 3 of 4: A. Ex, round 2 of 2, 3 pins to read\n",
    ] {
        assert!(outcome.err.contains(words), "{words}: {}", outcome.err);
    }
    for words in [
        "seatings of lever 0000000000000051: 12 of 12 readings in s.csv\n  SIMULATED",
        " %, on 6 degrees of freedom\n",
        " degrees of freedom\nNext: ",
        "pinhold lever calibrate --simulated --seatings s.csv\n",
    ] {
        assert!(outcome.out.contains(words), "{words}: {}", outcome.out);
    }
    // Person by person, round by round, pin by pin.
    let places: Vec<String> = rows(&bench, "s.csv")
        .iter()
        .map(|row| row.split(',').take(3).collect::<Vec<_>>().join(" "))
        .collect();
    let expected = ["1 1 1", "2 1 1", "3 1 1", "1 2 1", "2 2 1", "3 2 1", "1 1 2", "2 1 2"];
    assert_eq!(places[..8], expected);
    // Each reading is in the store as in the file, and none elsewhere.
    let readings = bench.document(&["readings", "seatings-0000000000000051"]);
    assert_eq!(bench.instruments(), ["seatings-0000000000000051"]);
    let last: Vec<String> = readings["readings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|reading| format!("{:.6}", reading["friction_nm"].as_f64().unwrap()))
        .collect();
    let of_last_turn: Vec<String> = rows(&bench, "s.csv")[9..]
        .iter()
        .map(|row| row.split(',').nth(3).unwrap().to_owned())
        .collect();
    assert_eq!(last, of_last_turn);
    // Run again there is nothing to do, and the figures are those of the file.
    let again = bench.run(&["lever", "seatings", "s.csv", "--json"]);
    assert_eq!((again.code, again.err.as_str()), (0, ""));
    let again: Value = serde_json::from_str(&again.out).unwrap();
    assert_eq!(again["format"], "pinhold.lever.seatings");
    assert_eq!((&again["simulated"], &again["wanted"]), (&true.into(), &12.into()));
    assert_eq!(again["readings"].as_array().unwrap().len(), 12);
    assert_eq!(again["result"]["within_degrees_of_freedom"], 6);
    assert_eq!(again["result"]["between_degrees_of_freedom"], 3);
    let within = again["result"]["within_relative"].as_f64().unwrap();
    assert!((0.0005..0.03).contains(&within), "{within}");
    assert_eq!(rows(&bench, "s.csv").len(), 12);
    bench.write("bench.csv", honest());
    let calibrated = bench.run(&from(&["--seatings", "s.csv", "--json"]));
    assert_eq!(calibrated.code, 0, "{}", calibrated.err);
    let calibrated: Value = serde_json::from_str(&calibrated.out).unwrap();
    assert_eq!(calibrated["result"]["characteristics"]["seating"], again["result"]);
}

/// The scatter found is the one the lever sits with, and what a reading alone scatters by.
#[test]
fn ten_pins_three_times_by_two_people_find_how_the_lever_sits() {
    let bench = Bench::new();
    for seed in JUDGING_SEEDS {
        let file = format!("{seed}.csv");
        let document = bench.document(&begin(&file, &["--seed", &seed.to_string()]));
        let result = &document["result"];
        assert_eq!((&result["pin_count"], &result["reading_count"]), (&10.into(), &60.into()));
        assert_eq!(result["within_degrees_of_freedom"], 40);
        assert_eq!(result["between_degrees_of_freedom"], 10);
        let spec = LeverSpec::uncalibrated();
        let lever = LeverModel::drawn_within(seed, Posture::level_grand(), &spec);
        let sits = lever.cell.seating_relative_sd;
        let found = result["within_relative"].as_f64().unwrap();
        let expected = (sits * sits + READING_RELATIVE_SD * READING_RELATIVE_SD).sqrt();
        // Four standard errors, 1/√(2·40) each, about the value on 40 degrees of freedom.
        assert!((found / expected - 1.0).abs() < 4.0 / 80.0_f64.sqrt(), "{seed}: {found} {sits}");
    }
}

#[test]
fn a_seed_stands_for_a_piano_and_a_lever() {
    let bench = Bench::new();
    for (file, seed) in [("a.csv", "4"), ("b.csv", "4"), ("c.csv", "5")] {
        let outcome =
            bench.run(&begin(file, &["--pins", "40L,41L", "--rounds", "2", "--seed", seed]));
        assert_eq!(outcome.code, 0, "{}", outcome.err);
    }
    // What hand and lever do between two commands hangs on when those come: not the same bits.
    let frictions_nm = |file: &str| {
        let of = |row: &String| row.split(',').nth(3).unwrap().parse::<f64>().unwrap();
        rows(&bench, file).iter().map(of).collect::<Vec<f64>>()
    };
    let apart = |one: &str, other: &str| {
        let pairs = frictions_nm(one).into_iter().zip(frictions_nm(other));
        pairs.map(|(one, other)| (one / other - 1.0).abs()).fold(0.0, f64::max)
    };
    assert_eq!((rows(&bench, "a.csv").len(), rows(&bench, "c.csv").len()), (8, 8));
    let (same, other) = (apart("a.csv", "b.csv"), apart("a.csv", "c.csv"));
    assert!(same < 0.01 && other > 0.05, "{same} {other}");
}

#[test]
fn a_killed_run_goes_on_where_it_stood() {
    let bench = Bench::new();
    let mut child = started(&bench, &begin("s.csv", &["--count", "6", "--rounds", "2"]));
    wait_until(|| rows(&bench, "s.csv").len() >= 2);
    child.kill().unwrap();
    child.wait().unwrap();
    let before = rows(&bench, "s.csv");
    assert!(before.len() < 24, "killed too late to tell anything");
    let outcome = bench.run(&["lever", "seatings", "s.csv"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    assert!(outcome.err.contains(" of 24 readings are there\n"), "{}", outcome.err);
    let after = rows(&bench, "s.csv");
    assert_eq!((after.len(), &after[..before.len()]), (24, &before[..]));
    assert!(outcome.out.contains("24 of 24 readings"), "{}", outcome.out);
}

#[test]
fn what_the_file_misses_comes_from_the_store_and_is_not_read_again() {
    let bench = Bench::new();
    let outcome = bench.run(&begin("s.csv", &["--count", "2", "--rounds", "2"]));
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let path = folder(&bench).join("s.csv");
    let whole = std::fs::read_to_string(&path).unwrap();
    // As a crash between store and file leaves it, beside a torn file that was not renamed.
    let lines: Vec<&str> = whole.lines().collect();
    std::fs::write(&path, format!("{}\n", lines[..lines.len() - 3].join("\n"))).unwrap();
    bench.write("s.csv.new", "# Pins seat");
    let again = bench.run(&["lever", "seatings", "s.csv"]);
    assert_eq!(again.code, 0, "{}", again.err);
    assert!(again.err.contains("3 readings of the store were not in the file"), "{}", again.err);
    assert!(!again.err.contains("turn "), "{}", again.err);
    assert_eq!(std::fs::read_to_string(&path).unwrap(), whole);
    assert!(!folder(&bench).join("s.csv.new").exists());
}

#[test]
fn a_file_that_cannot_be_written_costs_no_reading() {
    let bench = Bench::new();
    let child = started(&bench, &begin("s.csv", &["--count", "8", "--rounds", "2"]));
    wait_until(|| !rows(&bench, "s.csv").is_empty());
    // A folder in the place of the file beside it: every write fails from now on.
    let beside = folder(&bench).join("s.csv.new");
    wait_until(|| std::fs::create_dir(&beside).is_ok());
    let output = child.wait_with_output().unwrap();
    let err = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(7), "{err}");
    for words in ["tried again with the next reading", "error: s.csv cannot be written", "added\n"]
    {
        assert!(err.contains(words), "{words}: {err}");
    }
    let written_count = rows(&bench, "s.csv").len();
    std::fs::remove_dir(&beside).unwrap();
    let again = bench.run(&["lever", "seatings", "s.csv"]);
    assert_eq!(again.code, 0, "{}", again.err);
    assert!(again.err.contains("readings of the store were not in the file"), "{}", again.err);
    assert!(written_count < 32 && rows(&bench, "s.csv").len() == 32, "{written_count}");
}

#[test]
fn another_set_than_the_file_holds_is_refused() {
    let bench = Bench::new();
    let outcome = bench.run(&begin("s.csv", &["--pins", "40L,41L", "--rounds", "2"]));
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let before = rows(&bench, "s.csv");
    for (arguments, words) in [
        (&["--people", "B. Ex, A. Ex"][..], "the people are A. Ex, B. Ex"),
        (&["--pins", "41L,40L"], "the pins are 40L,41L"),
        (&["--count", "3"], "the pins are 40L,41L"),
        (&["--rounds", "3"], "the rounds are 2"),
        (&["--simulated", "--seed", "9"], "the seed is 1"),
        (&["--port", "/dev/none"], "it is of a simulated lever"),
    ] {
        let outcome = bench.run(&[&["lever", "seatings", "s.csv"], arguments].concat());
        let sentence =
            format!("s.csv: it was begun otherwise: {words}; go on so, or name a new file");
        assert_refused(&outcome, 3, &sentence);
    }
    assert_eq!(rows(&bench, "s.csv"), before);
    // A file that was changed does not reach into a survey of something else.
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins()[..3]);
    let head = std::fs::read_to_string(folder(&bench).join("s.csv")).unwrap();
    let set = head.lines().find(|line| line.starts_with("# set ")).unwrap();
    bench.write("mixed.csv", head.replace(set, &format!("# set {SURVEY}")));
    let mixed = bench.run(&["lever", "seatings", "mixed.csv"]);
    assert_eq!(mixed.code, 3, "{}", mixed.err);
    assert!(mixed.err.contains("none of pins seated anew"), "{}", mixed.err);
    // A calibration of another lever does not take them, nor a real one simulated ones.
    bench.write("real.csv", head.replace("# simulated 1\n", ""));
    for (file, words) in [
        ("s.csv", "s.csv: these seatings are simulated, the lever is not"),
        (
            "real.csv",
            "real.csv: these seatings are of lever 0000000000000051, not 00000000000002a7",
        ),
    ] {
        let arguments =
            ["lever", "calibrate", "--from", "none.csv", "--lever", "2a7", "--seatings", file];
        assert_refused(&bench.run(&arguments), 3, words);
    }
    // One that is not complete is told.
    let lines: Vec<&str> = head.lines().collect();
    bench.write("part.csv", format!("{}\n", lines[..lines.len() - 3].join("\n")));
    bench.write("bench.csv", honest());
    let part = bench.run(&from(&["--seatings", "part.csv"]));
    assert_eq!(part.code, 0, "{}", part.err);
    let words = "note: part.csv holds 5 of 8 readings; go on with: pinhold lever seatings part.csv";
    assert!(part.err.contains(words), "{}", part.err);
}

#[test]
fn a_file_or_order_at_fault_is_told_before_anything_is_begun() {
    let bench = Bench::new();
    let head = "# set 5\n# lever 51\n# simulated 1\n# rounds 2\n# person A\n# pins 40L\n\
                pin,person,round,friction,moment\n";
    for (text, sentence) in [
        ("pin,person,round,friction,moment\n1,1,1,6,3\n".to_owned(), "it has no line '# set'"),
        (head.replace("# set 5", "# set x"), "line 1: '# set x' is not understood"),
        (head.replace("# pins 40L", "# pins 40L 40L"), "pin 40L is named twice"),
        (format!("{head}2,1,1,6,3\n"), "a line counts a pin, person or round"),
        (format!("{head}1,1,1,6,3\n1,1,1,6,3\n"), "use each pin, person and round once"),
        (format!("{head}1,1,1,-6,3\n"), "friction is '-6'; use a torque above zero"),
        (format!("{head}1,1,1,6\n"), "has not as many columns"),
    ] {
        bench.write("s.csv", &text);
        let outcome = bench.run(&["lever", "seatings", "s.csv"]);
        assert_eq!((outcome.code, outcome.out.as_str()), (3, ""), "{}", outcome.err);
        assert!(outcome.err.contains(sentence), "{sentence}: {}", outcome.err);
        let left = std::fs::read_to_string(folder(&bench).join("s.csv")).unwrap();
        assert_eq!(left, text, "a file that was refused stays as it was");
    }
    bench.write("s.csv", [0xff, 0xfe, 0x00]);
    assert_eq!(bench.run(&["lever", "seatings", "s.csv"]).code, 3);
    std::fs::create_dir(folder(&bench).join("folder.csv")).unwrap();
    assert_eq!(bench.run(&begin("folder.csv", &[])).code, 7);
    let nowhere = bench.run(&begin("none/s.csv", &["--count", "2"]));
    assert_eq!(nowhere.code, 7, "{}", nowhere.err);
    for (arguments, code, words) in [
        (&["--simulated"][..], 2, "add --people 'A. Ex, B. Ex'"),
        (&["--simulated", "--people", "A, A"], 2, "'A' is named twice"),
        (&["--simulated", "--people", "A,B,C,D,E"], 2, "1 to 4 people are possible"),
        (&["--simulated", "--people", "A, B", "--pins", "40X"], 2, "--pins: '40X' is no pin"),
        (&["--people", "A, B", "--rounds", "1"], 2, "1 is not in 2..=10"),
        (&["--people", "A, B", "--port", "/dev/none"], 5, "there is no port '/dev/none'"),
    ] {
        let outcome = bench.run(&[&["lever", "seatings", "new.csv"], arguments].concat());
        assert_eq!((outcome.code, outcome.out.as_str()), (code, ""), "{}", outcome.err);
        assert!(outcome.err.contains(words), "{words}: {}", outcome.err);
    }
    assert!(!folder(&bench).join("new.csv").exists());
    assert!(bench.instruments().is_empty());
}

#[test]
fn one_person_is_told_what_stays_unknown_and_help_shows_the_way() {
    let bench = Bench::new();
    let alone = ["lever", "seatings", "s.csv", "--simulated", "--people", "A. Ex"];
    let outcome = bench.run(&[&alone[..], &["--count", "2", "--rounds", "2"]].concat());
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    assert!(outcome.err.contains("note: one person alone"), "{}", outcome.err);
    assert!(outcome.out.contains("not known from one person"), "{}", outcome.out);
    let help = bench.run(&["lever", "seatings", "--help"]);
    assert!(help.out.contains("Examples:\n  pinhold lever seatings"), "{}", help.out);
}
