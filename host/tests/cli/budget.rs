//! `pinhold readings --budget`.

use crate::run::{Bench, assert_refused};
use crate::shelf::{SURVEY, Shelf, pins, reading};

#[test]
fn a_lever_reading_is_told_line_by_line() {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins());
    shelf.read(&reading(SURVEY, pins()[0], 10));
    let told = bench.run(&["readings", "x", "--pin", "40L", "--budget"]);
    assert_eq!((told.code, told.err.as_str()), (0, ""));
    for words in ["Friction F", "zero drift", "bearing friction", "place of the hand", "together"] {
        assert!(told.out.contains(words), "{words}: {}", told.out);
    }
    assert!(told.out.lines().all(|line| line.chars().count() <= 100), "{}", told.out);
    let document = bench.document(&["readings", "x", "--pin", "40L", "--budget"]);
    assert_eq!((&document["format"], &document["version"]), (&"pinhold.budget".into(), &1.into()));
    let pin = &document["pins"][0];
    let square = |value: &serde_json::Value| value.as_f64().unwrap() * value.as_f64().unwrap();
    for quantity in ["friction", "moment", "holding_factor"] {
        let lines = pin["lines"].as_array().unwrap();
        let sum: f64 = lines.iter().map(|line| square(&line[quantity]["u"])).sum();
        let name = if quantity == "holding_factor" { quantity } else { &format!("{quantity}_nm") };
        let whole = square(&pin[name]["u"]);
        assert!((sum / whole - 1.0).abs() < 1e-9, "{quantity}: {sum} {whole}");
        let value = pin[name]["value"].as_f64().unwrap();
        let end = |at: usize| pin[name]["interval"][at].as_f64().unwrap();
        assert!(end(0) < value && value < end(1));
    }
    let zero = pin["lines"].as_array().unwrap().iter().find(|line| line["term"] == "zero").unwrap();
    assert_eq!((zero["friction"]["u"].as_f64(), &zero["acts"]), (Some(0.0), &"opposite".into()));
}

#[test]
fn readings_by_hand_have_budgets_in_the_unit_asked_for() {
    let bench = Bench::new();
    bench.import(
        "note,string,sharp_inlb,flat_inlb,torque_inlb,kind\n40,L,80,40,,running\n\
         40,C,,,60,running\n40,R,,200,,limit\n",
    );
    let both = bench.run(&["--unit", "inlb", "readings", "x", "--pin", "40L", "--budget"]).out;
    assert!(both.contains("torques in in·lbf") && both.contains("one hand reading"), "{both}");
    let either = bench.run(&["readings", "x", "--pin", "40C", "--budget"]).out;
    assert!(either.contains("direction not known"), "{either}");
    let limit = bench.run(&["readings", "x", "--pin", "40R", "--budget"]).out;
    assert!(limit.contains("95 % at least"), "{limit}");
    let survey = bench.run(&["readings", "x", "--budget"]).out;
    assert!(survey.starts_with("3 pins with a friction, 1 of them read both ways"), "{survey}");
    let summary = &bench.document(&["readings", "x", "--budget"])["summary"];
    let shares: f64 = summary["terms"]
        .as_array()
        .unwrap()
        .iter()
        .map(|term| term["mean_share"]["friction"].as_f64().unwrap())
        .sum();
    assert!((shares - 1.0).abs() < 1e-9, "{shares}");
    let none = bench.run(&["readings", "x", "--pin", "50L", "--budget"]);
    assert_refused(&none, 1, "the latest survey has no reading of A#4 L");
}

#[test]
fn a_torque_without_direction_stands_alone() {
    let bench = Bench::new();
    let refused = bench.import("note,string,sharp_nm,torque_nm\n40,L,9,9\n");
    assert_eq!(refused.code, 3);
    assert!(refused.err.contains("a torque without direction stands beside"), "{}", refused.err);
}
