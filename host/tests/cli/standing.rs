//! Calibrations, checks and marks, as the commands show them.

use pinhold::calibration::check::Answer;
use pinhold_protocol::record::Reading;
use pinhold_protocol::units::{DeviceTime, Torque};
use serde_json::Value;

use crate::run::{Bench, assert_refused};
use crate::sample_lever::{calibration, check};
use crate::shelf::{DEVICE, SURVEY, Shelf, pins, reading};

/// The lever was met, and the readings' minute is the one before last, at this time of the
/// calendar.
const READ_MS: i64 = 1_767_225_600_000 - 60_000;

/// A shelf with calibration 3 and a survey of seven pins.
fn shelf(bench: &Bench) -> Shelf {
    let mut shelf = Shelf::new(bench);
    shelf.store.keep_calibration(&calibration(DEVICE, 3)).unwrap();
    shelf.begin(&pins());
    shelf
}

/// A reading under calibration 3, `change`d.
fn read(shelf: &mut Shelf, place: usize, change: impl FnOnce(&mut Reading)) {
    let mut reading = reading(SURVEY, pins()[place], 9);
    reading.calibration = 3;
    change(&mut reading);
    shelf.read(&reading);
}

fn read_all(shelf: &mut Shelf) {
    for place in 0..7 {
        read(shelf, place, |_| {});
    }
}

/// One mark each, and two readings without.
fn read_with_marks(shelf: &mut Shelf) {
    read(shelf, 0, |reading| reading.calibration = 0);
    read(shelf, 1, |reading| reading.calibration = 9);
    read(shelf, 2, |reading| reading.temperature_centi_celsius = 3500);
    read(shelf, 3, |reading| reading.sharp = Torque::from_newton_metres(26.0));
    // Half a year later, and overdue.
    let later_us = 60_000_000 + 200 * 86_400 * 1_000_000;
    read(shelf, 4, |reading| reading.started = DeviceTime::from_microseconds(later_us));
    read(shelf, 5, |_| {});
    read(shelf, 6, |_| {});
}

fn marks_of(document: &Value) -> Vec<Vec<String>> {
    let entries = document.as_array().unwrap();
    let words = |entry: &Value| serde_json::from_value(entry["lever_marks"].clone()).unwrap();
    entries.iter().map(words).collect()
}

#[test]
fn readings_of_a_calibrated_lever_name_it_and_carry_no_mark() {
    let bench = Bench::new();
    let mut shelf = shelf(&bench);
    read_all(&mut shelf);
    shelf.store.keep_check(&check(DEVICE, 3, READ_MS + 5, true)).unwrap();
    let verdict = bench.document(&["verdict", "x"]);
    assert_eq!(verdict["lever_marks"], Value::Array(vec![]));
    assert_eq!(verdict["lever_doubts"], Value::Array(vec![]));
    let used = &verdict["levers"][0];
    assert_eq!((&used["calibration"], &used["readings"]), (&3.into(), &7.into()));
    assert_eq!(used["calibration_due"], "2026-06-15");
    assert!(!bench.run(&["map", "x"]).out.contains("in doubt"));
    assert_eq!(bench.run(&["report", "x", "--out", "x.html"]).code, 0);
    let page = std::fs::read_to_string(bench.data().parent().unwrap().join("x.html")).unwrap();
    let told = "lever 000000000000abcd, calibration 3 of 2025-06-15, due 2026-06-15 (7 readings; \
                in-house, not accredited)";
    assert!(page.contains(told), "{page}");
    assert!(!page.contains("Marked:") && !page.contains("lever in doubt"));
    // What a stored verdict rests on is stored with it.
    let instrument = shelf.store.find_instrument("x").unwrap().id;
    let survey = shelf.store.latest_survey(instrument).unwrap().unwrap();
    let stored = shelf.store.latest_verdict(survey.id).unwrap().unwrap();
    assert_eq!(stored.document["levers"], verdict["levers"]);
}

#[test]
fn every_mark_stands_in_readings_map_verdict_and_report() {
    let bench = Bench::new();
    let mut shelf = shelf(&bench);
    read_with_marks(&mut shelf);
    let readings = bench.document(&["readings", "x"]);
    let expected: [&[&str]; 7] = [
        &["lever-uncalibrated"],
        &["calibration-unknown"],
        &["out-of-temperature"],
        &["out-of-range"],
        &["calibration-overdue"],
        &[],
        &[],
    ];
    assert_eq!(marks_of(&readings["readings"]), expected);
    let lines = bench.run(&["readings", "x"]).out;
    assert!(lines.contains("; ! lever's calibration 9 is not in this store\n"), "{lines}");
    assert_eq!(lines.matches("; ! ").count(), 5, "{lines}");

    let map = bench.run(&["map", "x"]).out;
    let legend: String = map.split("  ! in doubt: ").nth(1).unwrap().split_whitespace().collect();
    assert!(
        legend.starts_with(
            &"lever not calibrated (1); lever's calibration 9 is not in this store (1); lever's \
              calibration was overdue (1); lever out of its temperature (1); beyond the loads of \
              the calibration (1)"
                .split_whitespace()
                .collect::<String>()
        ),
        "{map}"
    );
    let field = map.split("friction in").next().unwrap();
    assert_eq!(field.matches('!').count(), 5, "{map}");

    let verdict = bench.document(&["verdict", "x"]);
    assert_eq!(verdict["lever_marks"].as_array().unwrap().len(), 5);
    assert_eq!(verdict["lever_marks"][1]["calibration"], 9);
    assert_eq!(verdict["lever_doubts"].as_array().unwrap().len(), 5);
    let pins = marks_of(&verdict["pins"]);
    assert_eq!(pins.iter().filter(|marks| marks.is_empty()).count(), 2);
    let told = bench.run(&["verdict", "x"]).out;
    assert!(
        told.contains("\nthe torques come from a lever in doubt\n  - 1 of 7 torques: "),
        "{told}"
    );

    assert_eq!(bench.run(&["report", "x", "--out", "x.html"]).code, 0);
    let page = std::fs::read_to_string(bench.data().parent().unwrap().join("x.html")).unwrap();
    assert_eq!(page.matches("<li>Marked: ").count(), 5);
    assert!(page.contains("Marked: lever out of its temperature, 1 of 7 readings: "), "{page}");
    assert!(page.contains("The torques come from a lever in doubt"));
    assert_eq!(bench.run(&["map", "x", "--svg", "x.svg"]).code, 0);
    let picture = std::fs::read_to_string(bench.data().parent().unwrap().join("x.svg")).unwrap();
    assert!(picture.contains(">in doubt: lever not calibrated (1)<"), "{picture}");
}

#[test]
fn a_failed_check_marks_the_readings_since_the_last_pass() {
    let bench = Bench::new();
    let mut shelf = shelf(&bench);
    read_all(&mut shelf);
    let answered = |made_ms, answer| {
        let mut made = check(DEVICE, 3, made_ms, answer == Answer::Pass);
        made.result.answer = answer;
        made
    };
    let of = |bench: &Bench| {
        let document = bench.document(&["readings", "x"]);
        let marks = marks_of(&document["readings"]);
        marks.iter().filter(|marks| *marks == &["check-failed"]).count()
    };
    shelf.store.keep_check(&answered(READ_MS + 10, Answer::CannotTell)).unwrap();
    assert_eq!(of(&bench), 0);
    shelf.store.keep_check(&answered(READ_MS + 20, Answer::Fail)).unwrap();
    assert_eq!(of(&bench), 7);
    let told = bench.run(&["verdict", "x"]).out;
    assert!(told.contains("  - every torque: the lever failed a check"), "{told}");
    let verdict = bench.document(&["verdict", "x"]);
    assert!(verdict["confidence"].as_f64().is_some_and(|confidence| confidence <= 0.7));
    let first = verdict["confirm_before_acting"][0].as_str().unwrap();
    assert!(first.starts_with("the lever, which failed a check: calibrate it"), "{first}");
    let against = verdict["reasons_against"].to_string();
    assert!(against.contains("every torque of a lever that failed its check"), "{against}");
    // The same for every pin: said once, no sign at each.
    let map = bench.run(&["map", "x"]).out;
    assert!(map.contains("(every pin read)"), "{map}");
    assert!(!map.split("friction in").next().unwrap().contains('!'), "{map}");
    // A pass between the readings and the failure, found later in another's notebook.
    shelf.store.keep_check(&answered(READ_MS + 5, Answer::Pass)).unwrap();
    assert_eq!(of(&bench), 0);
}

#[test]
fn a_lever_never_calibrated_says_so_everywhere() {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins());
    for pin in pins() {
        shelf.read(&reading(SURVEY, pin, 9));
    }
    assert!(
        bench.run(&["map", "x"]).out.contains("in doubt: lever not calibrated (every pin read)")
    );
    assert_eq!(bench.run(&["report", "x", "--out", "x.html"]).code, 0);
    let page = std::fs::read_to_string(bench.data().parent().unwrap().join("x.html")).unwrap();
    assert!(page.contains("lever 000000000000abcd, not calibrated individually (7 readings)"));
    assert!(page.contains("<li>the lever, which was not calibrated: "), "{page}");
}

#[test]
fn history_tells_calibrations_and_checks_in_the_order_of_time() {
    let bench = Bench::new();
    let nothing = bench.run(&["lever", "history"]);
    assert_refused(
        &nothing,
        1,
        "no lever was calibrated with this store yet; calibrate one with 'pinhold lever calibrate'",
    );
    let mut shelf = Shelf::new(&bench);
    let first = calibration(DEVICE, 3);
    let mut second = calibration(DEVICE, 4);
    second.made_ms = first.made_ms + 200 * 86_400_000;
    second.result.constants.span_nm_per_count = 1.02 * first.result.constants.span_nm_per_count;
    for record in [&first, &second] {
        shelf.store.keep_calibration(record).unwrap();
    }
    shelf.store.keep_check(&check(DEVICE, 3, first.made_ms + 86_400_000, true)).unwrap();
    shelf.store.keep_check(&check(DEVICE, 4, second.made_ms + 86_400_000, false)).unwrap();
    let told = bench.run(&["lever", "history"]);
    let lines: Vec<&str> = told.out.lines().collect();
    assert_eq!(lines[0], "lever 000000000000abcd");
    assert!(lines[1].starts_with("  calibration 3: 2025-06-15, due 2026-06-15; scale ± 5.77 %"));
    assert!(lines[2].starts_with("  check of calibration 3: 2025-06-16 passed; "), "{}", told.out);
    // The class's scale, 2.9 %, twice over and k = 2.
    assert!(lines[3].contains("; span +2.00 ± 8.16 % from the one before; by A. Person"));
    assert!(
        lines[4].contains("check of calibration 4: 2026-01-02 not passed, cannot tell; +0.010 ")
    );
    assert!(!told.out.contains('\u{1b}'), "a name reached the terminal raw");
    let document = bench.document(&["lever", "history", "abcd"]);
    let lever = &document["levers"][0];
    assert_eq!(lever["calibrations"][0]["span_change"], Value::Null);
    let change = lever["calibrations"][1]["span_change"]["relative"].as_f64().unwrap();
    assert!((change - 0.02).abs() < 1e-12);
    assert_eq!(lever["checks"][1]["answer"], "cannot-tell");
    let other = bench.run(&["lever", "history", "abce"]);
    assert_eq!(other.code, 1);
    assert_eq!(bench.run(&["lever", "history", "no"]).code, 2);
}

#[test]
fn a_calibration_that_was_tampered_with_is_told_and_relied_upon_by_nothing() {
    let bench = Bench::new();
    let mut shelf = shelf(&bench);
    read_all(&mut shelf);
    let connection = rusqlite_of(&shelf);
    connection
        .execute_batch(
            "DROP TRIGGER calibration_stays;
             UPDATE calibration SET document = '{\"x\u{1b}[2J\":1}'",
        )
        .unwrap();
    let outcome = bench.run(&["map", "x"]);
    assert_eq!((outcome.code, outcome.out.as_str()), (6, ""));
    assert!(outcome.err.contains("the store holds a value it never wrote: a calibration is"));
    assert!(!outcome.err.contains('\u{1b}'));
}

fn rusqlite_of(shelf: &Shelf) -> rusqlite::Connection {
    rusqlite::Connection::open(shelf.store.path()).unwrap()
}
