//! `pinhold lever calibrate`: a bench from a file, what is wrong with it, pins seated anew, a
//! simulated lever. Benches are invented.

use std::fmt::Write;

use serde_json::Value;

use crate::run::{Bench, assert_refused};

/// Counts per N·m of the invented lever, and its zero.
const COUNTS_PER_NM: f64 = 144_000.0;
const ZERO: f64 = 1_500.0;
const GRAVITY: f64 = 9.8072;
const MASSES_KG: [f64; 4] = [1.0, 2.0, 3.0, 4.0];
const ARMS_M: [f64; 2] = [0.2, 0.24];
const SETUP: [&str; 10] = [
    "--masses",
    "1 kg ± 0.1 g, 2 kg ± 0.2 g, 3 kg ± 0.3 g, 4 kg ± 0.4 g",
    "--arm",
    "200 mm ± 0.2 mm",
    "--arm",
    "24 cm ± 0.2 mm",
    "--gravity",
    "9.8072 ± 0.0001",
    "--due",
    "12mo",
];

/// A bench as somebody would write it down; `really` gives the kilograms that hung at a point by
/// number (from 1) and kilograms listed.
fn written(really: &dyn Fn(usize, f64) -> f64) -> String {
    let mut text = String::from("arm,direction,leg,masses,code,minute\n");
    let mut number = 0;
    let free = |text: &mut String, number: &mut usize| {
        for (direction, side) in [("sharp", 1.0), ("flat", -1.0)] {
            *number += 1;
            let code = ZERO - 0.6 * side * COUNTS_PER_NM;
            writeln!(text, "free,{direction},,,{code:.0},{number}").unwrap();
        }
    };
    free(&mut text, &mut number);
    for (arm, arm_m) in ARMS_M.iter().enumerate() {
        for (direction, side) in [("sharp", 1.0), ("flat", -1.0)] {
            let up = (0..=4).map(|count| ("up", count));
            let down = (0..4).rev().map(|count| ("down", count));
            for (leg, count) in up.chain(down) {
                number += 1;
                let masses: Vec<String> = (1..=count).map(|mass| mass.to_string()).collect();
                let listed_kg: f64 = MASSES_KG[..count].iter().sum();
                let load_nm = side * really(number, listed_kg) * GRAVITY * arm_m;
                // A ripple of a few hundred counts in place of scatter: 2 mN·m.
                let ripple = 300.0 * libm::sin(2.4 * number as f64);
                let code = ZERO + COUNTS_PER_NM * load_nm + ripple;
                let masses = masses.join("+");
                writeln!(text, "{},{direction},{leg},{masses},{code:.0},{number}", arm + 1)
                    .unwrap();
            }
        }
    }
    free(&mut text, &mut number);
    text
}

pub(crate) fn honest() -> String {
    written(&|_, listed_kg| listed_kg)
}

pub(crate) fn from<'a>(more: &[&'a str]) -> Vec<&'a str> {
    [&["lever", "calibrate", "--from", "bench.csv"][..], &SETUP, more].concat()
}

#[test]
fn a_bench_from_a_file_gives_constants_and_uncertainty() {
    let bench = Bench::new();
    bench.write("bench.csv", honest());
    let outcome = bench.run(&from(&[]));
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    for words in [
        "calibration, only shown: nothing was kept",
        "in-house, not an accredited certificate",
        "weight moment  0.600 N·m",
        "curve          straight line",
        "expanded uncertainty of the lever, k = 2",
        "no pins seated anew",
        "pinhold lever seatings FILE.csv --people 'NAME, NAME'\n",
    ] {
        assert!(outcome.out.contains(words), "{words}: {}", outcome.out);
    }
    let document: Value = serde_json::from_str(&bench.run(&from(&["--json"])).out).unwrap();
    assert_eq!(document["format"], "pinhold.lever.calibrate");
    assert_eq!(document["kept"], false);
    let span = document["result"]["constants"]["span_nm_per_count"].as_f64().unwrap();
    assert!((span * COUNTS_PER_NM - 1.0).abs() < 1e-4, "{span}");
    let arm_u = document["bench"]["positions"][1]["arm_m"]["u"].as_f64().unwrap();
    assert!((arm_u - 0.000_2 / 3.0_f64.sqrt()).abs() < 1e-12);
    // What was printed is a bench again.
    bench.write("again.json", document.to_string());
    let again = bench.run(&["lever", "calibrate", "--from", "again.json", "--json"]);
    let again: Value = serde_json::from_str(&again.out).unwrap();
    assert_eq!(again["result"], document["result"]);
}

#[test]
fn a_bench_is_kept_under_its_lever_unless_it_is_only_tried() {
    let bench = Bench::new();
    bench.write("bench.csv", honest());
    let tried = bench.run(&from(&["--lever", "2a7", "--dry-run"]));
    assert_eq!(tried.code, 0, "{}", tried.err);
    assert_eq!(bench.run(&["lever", "history", "2a7"]).code, 1);
    for number in 1..=2 {
        let kept = bench.run(&from(&["--lever", "2a7", "--people", "A, B", "--place", "bench 1"]));
        assert!(kept.out.starts_with(&format!("calibration {number} of lever 00000000000002a7\n")));
        assert!(kept.err.contains(&format!("pinhold lever calibrate --put {number}")));
    }
    let history = bench.run(&["lever", "history", "2a7"]);
    assert!(history.out.contains("calibration 2: "), "{}", history.out);
    assert!(history.out.contains("by A, B"), "{}", history.out);
}

#[test]
fn wrong_numbers_are_told_in_a_sentence() {
    let bench = Bench::new();
    bench.write("bench.csv", honest());
    let with = |at: usize, text: &'static str| {
        let mut arguments = from(&[]);
        arguments[4 + at] = text;
        bench.run(&arguments)
    };
    for (outcome, words) in [
        (with(5, "240 cm"), "was it typed in centimetres instead of millimetres?"),
        (with(1, "1 kg, 2.2 kg, 3 kg, 4 kg"), "the mass '2.2 kg' looks wrong: typed 2.200 kg"),
        (with(1, "1 kg, 3 kg, 2 kg, 4 kg"), "the masses '3 kg' and '2 kg' look swapped"),
        (with(1, "1 lb, 2 lb, 3 lb, 4 lb"), "typed in pounds that are kilograms"),
    ] {
        assert_eq!((outcome.code, outcome.out.as_str()), (3, ""), "{words}");
        assert!(outcome.err.contains(words), "{words}: {}", outcome.err);
        assert!(outcome.err.contains("add --insist"), "{}", outcome.err);
    }
    let swung = written(&|number, kg| if number == 6 { kg + 0.5 } else { kg });
    bench.write("bench.csv", &swung);
    let outcome = bench.run(&from(&[]));
    assert_eq!(outcome.code, 3);
    assert!(outcome.err.contains("point 6 (200 mm, sharp, 1 kg + 2 kg + 3 kg)"), "{}", outcome.err);
    let insisted = bench.run(&from(&["--insist"]));
    assert_eq!(insisted.code, 0, "{}", insisted.err);
    assert!(insisted.out.contains("remarks\n  point 6 (200 mm, sharp"), "{}", insisted.out);
    // Stops at 12 N·m.
    let ceiling_nm = 12.0;
    let capped = |number: usize, kg: f64| {
        let arm_m = ARMS_M[usize::from(number > 20)];
        kg.min(ceiling_nm / (GRAVITY * arm_m))
    };
    bench.write("bench.csv", written(&capped));
    let outcome = bench.run(&from(&[]));
    assert!(outcome.err.contains("the lever stops rising at about 12.07 N·m"), "{}", outcome.err);
}

#[test]
fn a_file_that_is_no_bench_is_told() {
    let bench = Bench::new();
    let head = "arm,direction,leg,masses,code\n";
    for (text, sentence) in [
        ("", "no column 'arm'; the header is arm,direction,leg,masses,code"),
        ("arm,direction,leg,masses,code,x\n", "unknown column 'x'"),
        (&format!("{head}1,up,up,,1\n"), "line 2: direction is 'up'; use sharp or flat"),
        (&format!("{head}1,sharp,up,5,1\n"), "line 2: masses is '5'; use numbers from 1 to 4"),
        (&format!("{head}3,sharp,up,1,1\n"), "line 2: arm is '3'; use numbers from 1 to 2"),
        (&format!("{head}1,sharp,up,1,1;2\n"), "line 2: code is '1;2'; use a number"),
        (&format!("{head}1,sharp,up\n"), "line 2 has not as many columns as the header"),
        (&format!("{head}1,sharp,up,,0\n"), "0 hand positions with weights"),
    ] {
        bench.write("bench.csv", text);
        let outcome = bench.run(&from(&[]));
        assert_eq!(outcome.code, 3, "{}", outcome.err);
        assert!(outcome.err.contains(sentence), "{sentence}: {}", outcome.err);
    }
    let gone = bench.run(&["lever", "calibrate", "--from", "none.json"]);
    assert_refused(&gone, 1, "there is no file none.json");
    bench.write("broken.json", "{\"masses\": 3}");
    let broken = bench.run(&["lever", "calibrate", "--from", "broken.json"]);
    assert_eq!(broken.code, 3);
    let bare = bench.run(&["lever", "calibrate", "--from", "bench.csv"]);
    assert_eq!(bare.code, 2, "{}", bare.err);
}

#[test]
fn pins_seated_anew_come_from_a_file() {
    let bench = Bench::new();
    bench.write("bench.csv", honest());
    let mut text = String::from("pin,person,round,friction,moment\n");
    for pin in 1..=10 {
        for person in 1..=2 {
            for round in 1..=3 {
                let nm = 6.0
                    + 0.2 * f64::from(pin)
                    + 0.1 * f64::from(person)
                    + 0.05 * libm::sin(f64::from(7 * pin + 3 * round + person));
                writeln!(text, "{pin},{person},{round},{nm:.3},3.1").unwrap();
            }
        }
    }
    bench.write("seatings.csv", &text);
    let outcome = bench.run(&from(&["--seatings", "seatings.csv"]));
    assert!(outcome.out.contains("(60 readings, 10 pins)"), "{}", outcome.out);
    assert!(!outcome.out.contains("of the class"), "{}", outcome.out);
    assert!(!outcome.out.contains("pinhold lever seatings"), "{}", outcome.out);
    bench.write("seatings.csv", "pin,person,round,friction\n1,1,1,6\n1,1,1,6\n");
    let twice = bench.run(&from(&["--seatings", "seatings.csv"]));
    assert_eq!(twice.code, 3);
    assert!(twice.err.contains("line 3: round is '1'; use each pin, person and round once"));
}

#[test]
fn a_mass_typed_wrong_is_put_right_without_hanging_it_again() {
    let bench = Bench::new();
    bench.write("bench.csv", honest());
    let shown = bench.run(&from(&["--json"]));
    bench.write("kept.json", &shown.out);
    // A bench as JSON has masses and arms of its own; what is typed beside it goes before.
    let wrong = "1 kg ± 0.1 g, 2 kg ± 0.2 g, 3.3 kg ± 0.3 g, 4 kg ± 0.4 g";
    let file = ["lever", "calibrate", "--from", "kept.json", "--masses"];
    let mistyped = bench.run(&[&file[..], &[wrong]].concat());
    assert_eq!(mistyped.code, 3, "{}", mistyped.err);
    assert!(mistyped.err.contains("the mass '3.3 kg' looks wrong"), "{}", mistyped.err);
    let right = bench.run(&[&file[..], &[SETUP[1]]].concat());
    assert_eq!(right.code, 0, "{}", right.err);
    let few = bench.run(&[&file[..], &["1 kg, 2 kg, 3 kg"]].concat());
    assert_eq!(few.code, 3, "{}", few.err);
    assert!(few.err.contains("names a mass or hand position that is not listed"), "{}", few.err);
}

#[test]
fn an_arm_a_little_off_is_told_as_a_remark() {
    let bench = Bench::new();
    bench.write("bench.csv", honest());
    let plain = bench.run(&from(&[]));
    assert!(!plain.out.contains("hand positions read"), "{}", plain.out);
    let mut typed = SETUP;
    typed[3] = "203 mm ± 0.2 mm";
    let off = bench.run(&[&["lever", "calibrate", "--from", "bench.csv"][..], &typed].concat());
    assert_eq!(off.code, 0, "{}", off.err);
    assert!(off.out.contains("measure the arms again"), "{}", off.out);
}

#[test]
fn what_is_left_out_is_asked_for_only_at_a_terminal() {
    let bench = Bench::new();
    let outcome = bench.run(&["lever", "calibrate", "--port", "/dev/none"]);
    assert_eq!(outcome.code, 2);
    assert!(outcome.err.contains("add --masses"), "{}", outcome.err);
    let absent = bench.run(&[&["lever", "calibrate", "--port", "/dev/none"][..], &SETUP].concat());
    assert_eq!(absent.code, 5, "{}", absent.err);
    let nothing = bench.run(&["lever", "calibrate", "--resume", "--port", "/dev/none"]);
    assert_eq!(nothing.code, 5, "{}", nothing.err);
    let help = bench.run(&["lever", "calibrate", "--help"]);
    assert!(help.out.contains("Examples:\n  pinhold lever calibrate"), "{}", help.out);
}

#[test]
fn a_simulated_lever_is_calibrated_and_its_record_says_so() {
    let bench = Bench::new();
    let outcome = bench.run(&[
        "lever",
        "calibrate",
        "--simulated",
        "--json",
        "--masses",
        "1 kg, 2 kg, 4 kg",
        "--arm",
        "25 cm",
        "--arm",
        "30 cm",
        "--gravity",
        "9.81",
    ]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let document: Value = serde_json::from_str(&outcome.out).unwrap();
    assert_eq!((&document["simulated"], &document["kept"]), (&true.into(), &true.into()));
    assert_eq!(document["bench"]["points"].as_array().unwrap().len(), 4 + 4 * 7);
    let history = bench.run(&["lever", "history"]);
    assert!(history.out.contains("simulated"), "{}", history.out);
    // Nothing unfinished is left behind.
    let left = std::fs::read_dir(bench.data()).unwrap();
    let names: Vec<String> =
        left.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    assert!(names.iter().all(|name| !name.starts_with("calibration-")), "{names:?}");
}
