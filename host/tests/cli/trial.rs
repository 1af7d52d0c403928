//! `pinhold trial`: larger pins fitted in trial, and the size they bear out.

use pinhold::instrument::InstrumentKind;
use pinhold::instrument::layout::modern_88;

use crate::run::{Bench, assert_refused};

/// A grand whose last section is loose, every pin of it read by hand.
fn weak_treble() -> Bench {
    let bench = Bench::new();
    let added = bench.run(&["instrument", "add", "x", "--kind", "grand", "--pin-um", "7160"]);
    assert_eq!(added.code, 0, "{}", added.err);
    let pins = modern_88("x", InstrumentKind::Grand).pins;
    let last = pins.iter().map(|pin| pin.section).max();
    let mut file = String::from("note,string,friction_nm\n");
    for (place, field) in (0_u32..).zip(&pins) {
        let ordinary_nm = 10.0 + 0.3 * f64::from(place % 5);
        let is_loose = Some(field.section) == last;
        let friction_nm = if is_loose { 0.42 * ordinary_nm } else { ordinary_nm };
        let (note, string) = (field.pin.note, field.pin.string.letter());
        file.push_str(&format!("{note},{string},{friction_nm:.2}\n"));
    }
    bench.write("readings.csv", file);
    let imported = bench.run(&["import", "readings.csv", "--instrument", "x"]);
    assert_eq!(imported.code, 0, "{}", imported.err);
    bench
}

/// Fits a trial pin of 7.28 mm in a bad hole.
fn fit(bench: &Bench, pin: &str, before: &str, after: &str) {
    let arguments =
        ["trial", "add", "x", pin, "--to", "7.28 mm", "--before", before, "--after", after];
    let outcome = bench.run(&arguments);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
}

#[test]
fn a_trial_pin_is_stored_listed_and_withdrawn() {
    let bench = weak_treble();
    let added = bench.run(&[
        "--unit",
        "inlb",
        "trial",
        "add",
        "x",
        "80L",
        "--to",
        "7300",
        "--before",
        "70/10",
        "--after",
        "105/45",
        "--label",
        "3/0",
        "--reamed",
        "--fitted",
        "2026-02-27",
        "--remark",
        "bad hole",
    ]);
    assert_eq!(added.code, 0, "{}", added.err);
    assert!(
        added.out.contains("E7 L    2026-02-27  7.16 mm -> 7.30 mm (3/0), reamed"),
        "{}",
        added.out
    );
    assert!(
        added.out.contains(": friction 40 ± ") && added.out.contains(" -> 75 ± "),
        "{}",
        added.out
    );
    assert!(added.out.ends_with("in·lbf; bad hole\n"), "{}", added.out);
    assert_eq!(
        added.err,
        "what it teaches: pinhold trial advice x\n\
         where it stays in: pinhold instrument pin x E7L --diameter 7300\n"
    );
    let document = bench.document(&["trial", "list", "x"]);
    assert_eq!(
        (&document["format"], &document["version"]),
        (&"pinhold.trial.list".into(), &1.into())
    );
    let trial = &document["trials"][0];
    assert_eq!((&trial["from_um"], &trial["to_um"]), (&7160.into(), &7300.into()));
    assert_eq!(
        (&trial["before_typed"], &trial["withdrawn"]),
        (&"70/10".into(), &serde_json::Value::Null)
    );
    // Half the sum of sharp and flat: 40 and 75 in·lbf.
    let (before_nm, gain_nm) =
        (trial["before_nm"].as_f64().unwrap(), trial["gain_nm"].as_f64().unwrap());
    assert!(
        (before_nm - 40.0 * 0.112_984_8).abs() < 1e-5
            && (gain_nm - 35.0 * 0.112_984_8).abs() < 1e-5
    );
    let removed = bench.run(&["trial", "remove", "x", "1", "--reason", "it was 81L"]);
    assert_eq!(removed.code, 0, "{}", removed.err);
    assert!(removed.out.ends_with("; withdrawn: it was 81L\n"), "{}", removed.out);
    assert!(bench.run(&["trial", "list", "x"]).out.contains("withdrawn: it was 81L"));
    assert_refused(
        &bench.run(&["trial", "remove", "x", "1"]),
        1,
        "the instrument has no trial pin 1 that counts; 'pinhold trial list' lists those there are",
    );
    assert_eq!(bench.document(&["trial", "advice", "x"])["trial_count"], 0);
}

#[test]
fn torques_left_out_come_from_the_surveys() {
    let bench = weak_treble();
    // One survey read the pin: before is its reading.
    let one = bench.document(&["trial", "add", "x", "80L", "--to", "7280", "--after", "7.5 Nm"]);
    assert_eq!(one["trial"]["after_nm"], 7.5);
    assert_eq!(
        (&one["trial"]["before_typed"], &one["trial"]["after_typed"]),
        (&serde_json::Value::Null, &"7.5 Nm".into())
    );
    let before_nm = one["trial"]["before_nm"].as_f64().unwrap();
    assert!((4.0..5.0).contains(&before_nm), "{before_nm}");
    assert_refused(
        &bench.run(&["trial", "add", "x", "80C", "--to", "7280"]),
        1,
        "no survey has a friction of E7 C to take for it; give --before TORQUE",
    );
    // Two did: the later is after.
    bench.write("after.csv", "note,string,friction_nm\n80,C,8.1\n");
    assert_eq!(bench.run(&["import", "after.csv", "--instrument", "x"]).code, 0);
    let two = bench.document(&["trial", "add", "x", "80C", "--to", "7280"]);
    assert_eq!(two["trial"]["after_nm"], 8.1);
    assert!(two["trial"]["before_nm"].as_f64().unwrap() < 5.0);
    assert_eq!(two["trial"]["before_typed"], serde_json::Value::Null);
}

#[test]
fn before_any_trial_advice_is_to_fit_some_and_after_them_it_follows_them() {
    let bench = weak_treble();
    let first = bench.run(&["trial", "advice", "x"]);
    assert_eq!((first.code, first.err.as_str()), (0, ""));
    let flowed = first.out.split_whitespace().collect::<Vec<_>>().join(" ");
    let begins = "no trial pin yet: what a larger pin gains rests on one documented case in \
                  another plank; fit trial pins before a whole order";
    assert!(flowed.starts_with(begins), "{flowed}");
    assert!(
        flowed.contains("worth their trouble: 2 more trial pins, 7.28 mm in bad holes there"),
        "{flowed}"
    );
    assert!(flowed.contains("can split a dry, thick-ply plank (one report)"), "{flowed}");
    assert!(
        flowed.contains("protect the eyes") && flowed.contains("Support the plank"),
        "{flowed}"
    );
    let before = bench.document(&["trial", "advice", "x"]);
    let verdict = bench.run(&["verdict", "x"]).out;
    assert!(verdict.contains("trial pins"), "{verdict}");

    for (pin, after) in [("80L", "8.9"), ("81C", "8.4"), ("82R", "9.3"), ("84L", "8.8")] {
        fit(&bench, pin, "4.4", after);
    }
    let after = bench.document(&["trial", "advice", "x"]);
    let (old, new) = (&before["places"][0], &after["places"][0]);
    assert_eq!((&new["trials_here"], &new["trials_elsewhere"]), (&4.into(), &0.into()));
    assert_eq!((&new["advised_um"], &new["more_trials"]["count"]), (&7280.into(), &0.into()));
    let risk = |place: &serde_json::Value| place["wrong_size_risk"].as_f64().unwrap();
    assert!(risk(new) < 0.1 && risk(old) > 2.0 * risk(new), "{} {}", risk(old), risk(new));
    let size = &new["sizes"][0];
    let friction_nm = size["friction_nm"].as_f64().unwrap();
    assert!((8.0..9.6).contains(&friction_nm), "{friction_nm}");
    let verdict = bench.run(&["verdict", "x"]).out;
    let flowed = verdict.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flowed.contains("trial pins in 4 bad holes gained 91 to 111 % on what was there"),
        "{flowed}"
    );
    assert!(flowed.contains("to about 7.28 mm"), "{flowed}");
}

#[test]
fn trial_pins_that_gain_nothing_advise_no_larger_one() {
    let bench = weak_treble();
    let alternatives = |bench: &Bench| {
        let document = bench.document(&["verdict", "x"]);
        let all = document["alternatives"].as_array().unwrap().clone();
        let larger = all.iter().find(|one| one["remedy"] == "larger").unwrap();
        larger["chance"].as_f64().unwrap()
    };
    let hoped = alternatives(&bench);
    for (pin, after) in [("80L", "4.5"), ("81C", "4.3"), ("82R", "4.8"), ("84L", "4.2")] {
        fit(&bench, pin, "4.4", after);
    }
    let document = bench.document(&["trial", "advice", "x"]);
    let place = &document["places"][0];
    assert_eq!(place["advised_um"], serde_json::Value::Null);
    assert!(place["no_grip_chance"].as_f64().unwrap() > 0.9, "{place}");
    let text = bench.run(&["trial", "advice", "x"]).out;
    assert!(text.contains("advised: no larger pin"), "{text}");
    assert!(alternatives(&bench) < 0.5 * hoped, "{} {hoped}", alternatives(&bench));
}

#[test]
fn reaming_is_told_apart_and_warned_of() {
    let bench = weak_treble();
    let text = bench.run(&["trial", "advice", "x", "--reamed"]).out;
    assert!(text.contains("Reaming cannot be undone"), "{text}");
    let spread = |arguments: &[&str]| {
        let document = bench.document(arguments);
        document["places"][0]["sizes"][0]["friction_u_nm"].as_f64().unwrap()
    };
    // Nobody knows what reaming does: it is less sure.
    assert!(spread(&["trial", "advice", "x", "--reamed"]) > spread(&["trial", "advice", "x"]));
}

#[test]
fn what_is_no_trial_pin_is_one_sentence() {
    let bench = weak_treble();
    let refused = |rest: &[&str], code: i32, sentence: &str| {
        assert_refused(&bench.run(&[&["trial", "add", "x"], rest].concat()), code, sentence);
    };
    refused(&["80D", "--to", "7280"], 1, "the instrument has no pin E7 D");
    refused(
        &["80L", "--to", "7.1 mm"],
        3,
        "7.10 mm is not larger than the 7.16 mm before; give the two with --from and --to",
    );
    refused(
        &["80L", "--to", "8.5 mm"],
        3,
        "8.50 mm is 1.34 mm more than before; no trial pin is 0.9 mm larger at once",
    );
    refused(
        &["80L", "--to", "7280", "--before", "7,5", "--after", "9"],
        2,
        "--before: '7,5' has a comma in its number; write a decimal point, and no sign between \
         thousands",
    );
    refused(
        &["80L", "--to", "7280", "--before", "10/70", "--after", "-9"],
        2,
        "--after: '-9' comes to no friction; write SHARP/FLAT, sharp first",
    );
    refused(
        &["80L", "--to", "7280", "--before", "4", "--after", "9 \u{1b}[2J"],
        2,
        "--after: that is no torque; write it as in 70/10, 'sharp 70' or 40",
    );
    let nobody = Bench::new();
    let outcome = nobody.run(&["trial", "advice", "y"]);
    assert_eq!((outcome.code, outcome.out.as_str()), (1, ""));
    assert_eq!(bench.document(&["trial", "list", "x"])["trials"].as_array().unwrap().len(), 0);
    let empty = bench.run(&["trial", "list", "x"]);
    assert_eq!((empty.code, empty.out.as_str()), (0, ""));
    assert!(empty.err.starts_with("no trial pin of x was stored yet"), "{}", empty.err);
}

#[test]
fn a_pin_whose_size_nobody_entered_needs_one() {
    let bench = Bench::new();
    assert_eq!(bench.import("note,string,friction_nm\n40,L,4\n40,C,4.5\n").code, 0);
    let add = ["trial", "add", "x", "40L", "--to", "7280", "--after", "8"];
    assert_refused(
        &bench.run(&add),
        2,
        "nobody entered the diameter of C4 L; give the one before with --from SIZE",
    );
    let done = bench.run(&[&add[..], &["--from", "7163"]].concat());
    assert_eq!(done.code, 0, "{}", done.err);
    let advice = bench.run(&["trial", "advice", "x"]);
    assert!(advice.out.contains("have no diameter: measure and enter it"), "{}", advice.out);
}
