//! `pinhold instrument strings` and what follows from it.

use crate::run::{Bench, assert_refused};

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
