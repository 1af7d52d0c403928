//! `pinhold instrument strings` and what follows from it.

use pinhold_protocol::units::Angle;

use crate::run::{Bench, assert_refused};
use crate::shelf::{SURVEY, Shelf, pins, reading};

/// Invented: a few strings of an instrument that does not exist.
const SCALE: &str = "# invented\nnote,string,speaking_length_mm,wire_gauge,wound_mass_g_per_m,\
    total_length_mm,pin_um\n\
    A0,,1400,20,160,,\nE1,,1330,20,80,,\n\
    C4,,652,17,,980,7163\nE4,,530,16.5,,,\nA4,,402,16,,,\nA4,R,402,16.5,,,\nC5,,340,15.5,,,\n";

fn entered() -> Bench {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "x"]);
    bench.write("strings.csv", SCALE);
    bench
}

#[test]
fn a_scale_is_stored_and_shown_with_where_each_number_comes_from() {
    let bench = entered();
    let before = bench.run(&["instrument", "strings", "x"]);
    assert!(before.out.starts_with("x: strings at A4 = 440 Hz, none of them measured\n"));
    assert!(before.out.contains("227 pins: 0 from data, 0 from neighbours, 227 by what"));
    let stored = bench.run(&["instrument", "strings", "x", "strings.csv"]);
    assert_eq!((stored.code, stored.err.as_str()), (0, ""));
    assert!(stored.out.starts_with("Stored 7 rows of the string scale of x.\n"), "{}", stored.out);
    let shown = bench.run(&["instrument", "strings", "x"]).out;
    assert!(shown.lines().next().unwrap().contains("from strings.csv ("), "{shown}");
    let line = |name: &str| shown.lines().find(|line| line.starts_with(name)).unwrap().to_owned();
    assert!(line("A0 ").contains("wound") && line("A0 ").ends_with("data"), "{shown}");
    assert!(line("A4 L").ends_with("data") && line("A4 R").ends_with("data"), "{shown}");
    assert!(line("D4 ×3").ends_with("neighbours, 2 notes away"), "{shown}");
    assert!(line("A#0").ends_with("neighbours, 1 note away"), "{shown}");
    assert!(line("A1 ×2").ends_with("class"), "no bichord was measured: {shown}");
    assert!(shown.lines().all(|line| line.chars().count() <= 110), "{shown}");
    let document = bench.document(&["instrument", "strings", "x"]);
    let of = |note: u64, string: &str| {
        let strings = document["strings"].as_array().unwrap();
        let found = |entry: &&serde_json::Value| entry["note"] == note && entry["string"] == string;
        strings.iter().find(found).unwrap().clone()
    };
    let c4 = of(40, "L");
    // T = ρ·(πd²/4)·(2Lf)² of gauge 17, 652 mm, 261.63 Hz: 698 N; M₀ = T·(7.163 + 0.9906)/2.
    let tension_n = c4["tension_n"].as_f64().unwrap();
    assert!((tension_n - 704.1).abs() < 1.0, "{tension_n}");
    let moment_nm = c4["moment_at_pitch_nm"].as_f64().unwrap();
    assert!((moment_nm / (tension_n * 0.004_076_8) - 1.0).abs() < 1e-4);
    assert_eq!((&c4["source"], &c4["total_length_m"]), (&"data".into(), &0.98.into()));
    let shown = bench.document(&["instrument", "show", "x"]);
    let pins = shown["instrument"]["pins"].as_array().unwrap();
    let of_c4 = pins.iter().filter(|pin| pin["note"] == 40).map(|pin| &pin["pin_um"]);
    assert_eq!(of_c4.collect::<Vec<_>>(), [7163, 7163, 7163]);
}

#[test]
fn a_preview_stores_nothing_and_a_scale_can_be_forgotten() {
    let bench = entered();
    let preview = bench.run(&["instrument", "strings", "x", "strings.csv", "--preview"]);
    assert!(preview.out.contains("A4 L") && preview.out.contains("from strings.csv"));
    let row_count = |bench: &Bench| {
        bench.document(&["instrument", "strings", "x"])["row_count"].as_u64().unwrap()
    };
    assert_eq!(row_count(&bench), 0);
    bench.run(&["instrument", "strings", "x", "strings.csv", "--a4", "435"]);
    assert_eq!(bench.document(&["instrument", "strings", "x"])["a4_hz"], 435.0);
    let forgotten = bench.run(&["instrument", "strings", "x", "--forget"]);
    assert!(forgotten.out.starts_with("The string scale of x is forgotten.\n"));
    assert_eq!(row_count(&bench), 0);
}

#[test]
fn refused_files_are_told_by_line_and_exit() {
    let bench = entered();
    let missing = bench.run(&["instrument", "strings", "x", "none.csv"]);
    assert_refused(&missing, 1, "there is no file none.csv; check its name and folder");
    bench.write("bad.csv", "note,speaking_length_mm,wire_gauge\nA4,40,16\nB9,400,16\n");
    let bad = bench.run(&["instrument", "strings", "x", "bad.csv"]);
    assert_eq!(bad.code, 3);
    assert!(bad.err.starts_with("error: bad.csv: 2 faults, nothing was stored\n"), "{}", bad.err);
    assert!(bad.err.contains("line 2, column speaking_length_mm: it gives a tension of 7 N"));
    assert!(bad.err.contains("line 3, column note: 'B9' is no note"));
    bench.run(&["instrument", "add", "short", "--highest", "C4", "--stringing", "10/17/13"]);
    let foreign = bench.run(&["instrument", "strings", "short", "strings.csv"]);
    assert!(foreign.err.contains("the instrument has no note A4; it goes from A0 to C4"));
    let folder = bench.run(&["instrument", "strings", "x", "."]);
    assert_refused(&folder, 3, ".: it is a folder, not a file of strings");
}

#[test]
fn strings_to_retune_are_those_whose_net_change_can_exceed_five_cents() {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins());
    let turned = |at: usize, flat_deg: f64, net_deg: f64| {
        let angle = |degrees: f64| Angle::from_radians(degrees.to_radians()).unwrap();
        let mut turned = reading(SURVEY, pins()[at], 9);
        (turned.excursion_flat, turned.net_rotation) = (angle(flat_deg), angle(net_deg));
        turned
    };
    shelf.read(&turned(0, -1.5, 0.02));
    shelf.read(&turned(1, -0.8, -0.6));
    let shown = bench.run(&["readings", "x", "--retune"]);
    assert_eq!((shown.code, shown.err.as_str()), (0, ""));
    let lines: Vec<&str> = shown.out.lines().collect();
    assert_eq!(lines[0], "To retune, 1 of 2 that can have changed by more than 5 cents:");
    assert!(lines[1].starts_with("  C4 C: net -0.60° (up to -"), "{}", shown.out);
    assert!(shown.out.ends_with("All 2 pins measured were moved and want a touch-up.\n"));
    let document = bench.document(&["readings", "x"]);
    let costs = document["pitch_costs"].as_array().unwrap();
    let retune: Vec<_> = costs.iter().map(|cost| cost["retune"].as_bool().unwrap()).collect();
    assert_eq!(retune, [false, true]);
    let of_first = |name: &str| costs[0][name].as_f64().unwrap();
    assert!((of_first("excursion_flat_deg") + 1.5).abs() < 1e-3);
    assert!(of_first("excursion_flat_cents_max") < -15.0);
    assert!((0.0..1.0).contains(&of_first("net_cents_max")));
    let one = bench.run(&["readings", "x", "--pin", "40C"]).out;
    assert!(one.contains("net -0.60° (up to -"), "{one}");
    bench.run(&["report", "x", "--out", "x.html"]);
    let page = std::fs::read_to_string(bench.data().parent().unwrap().join("x.html")).unwrap();
    assert!(page.contains("strings to retune after the measurement"), "no list in the report");
    assert!(page.contains(">C4 C<") && page.contains(">−0.60<"));
}

#[test]
fn a_slack_string_is_told_by_map_verdict_and_report() {
    let bench = Bench::new();
    let mut rows = String::from("note,string,sharp_nm,flat_nm\n");
    for note in 50..=60 {
        for string in ["L", "C", "R"] {
            // Friction 9, pull 2.9 N·m; of 55C only 0.6.
            let pull = if (note, string) == (55, "C") { 0.6 } else { 2.9 };
            rows.push_str(&format!("{note},{string},{},{}\n", 9.0 + pull, 9.0 - pull));
        }
    }
    bench.import(rows);
    let words = "slack strings, pull far below what it should be: D#5 C (0.2";
    for command in ["map", "verdict"] {
        let told = bench.run(&[command, "x"]).out;
        let unwrapped = told.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(unwrapped.contains(words), "{told}");
        assert!(unwrapped.contains("does not show that every pin was the right one"), "{told}");
    }
    let document = bench.document(&["verdict", "x"]);
    let slack = document["pulls"]["slack"].as_array().unwrap();
    assert_eq!(slack.len(), 1);
    assert_eq!((&slack[0]["note"], &slack[0]["string"]), (&55.into(), &"C".into()));
    let pins = document["pins"].as_array().unwrap();
    let pin = pins.iter().find(|pin| pin["note"] == 55 && pin["string"] == "C").unwrap();
    let remarks = pin["remarks"].as_array().unwrap();
    assert!(remarks.iter().any(|remark| remark.as_str().unwrap().starts_with("slack string:")));
    bench.run(&["report", "x", "--out", "x.html"]);
    let page = std::fs::read_to_string(bench.data().parent().unwrap().join("x.html")).unwrap();
    assert!(page.contains("strings that stand out") && page.contains("D#5 C (0.2"));
}
