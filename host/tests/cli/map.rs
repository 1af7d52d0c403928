//! The map's views and pictures from the command line.

use crate::run::Bench;

/// A row of loose pins inside a sound field.
fn split() -> String {
    let mut text = String::from("note,string,sharp_nm,flat_nm\n");
    for note in 28..=70u32 {
        for string in ["L", "C", "R"] {
            let is_loose = string == "C" && (40..52).contains(&note) && !note.is_multiple_of(5);
            let sound = 9.5 + 0.3 * f64::from((note * 7 + string.len() as u32) % 5);
            let friction = if is_loose { 2.4 } else { sound };
            text.push_str(&format!("{note},{string},{},{}\n", friction + 2.9, friction - 2.9));
        }
    }
    text
}

#[test]
fn every_view_is_drawn_in_characters_and_as_a_picture() {
    let bench = Bench::new();
    bench.import(split());
    let file = |name: &str| bench.data().with_file_name(name);
    let mut shown = Vec::new();
    for view in ["torque", "holding", "loose", "uncertainty", "residual"] {
        let outcome = bench.run(&["map", "x", "--show", view, "--svg", "x.svg"]);
        assert_eq!(outcome.code, 0, "{view}: {}", outcome.err);
        assert!(outcome.err.contains("map written to x.svg"), "{}", outcome.err);
        assert!(outcome.out.contains("row 1"), "{}", outcome.out);
        let picture = std::fs::read_to_string(file("x.svg")).expect("a picture");
        assert!(picture.starts_with("<svg") && picture.len() < 300_000);
        shown.push((outcome.out, picture));
    }
    for (i, (out, picture)) in shown.iter().enumerate() {
        assert!(shown[..i].iter().all(|(other, drawn)| out != other && picture != drawn));
    }
    assert_eq!(bench.run(&["map", "x"]).out, shown[0].0, "torque unless told otherwise");
}

#[test]
fn a_png_is_a_png_and_an_unknown_view_is_refused() {
    let bench = Bench::new();
    bench.import(split());
    let outcome = bench.run(&["map", "x", "--png", "x.png"]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
    let bytes = std::fs::read(bench.data().with_file_name("x.png")).expect("a picture");
    assert_eq!(&bytes[..8], b"\x89PNG\r\n\x1a\n");
    // Width of the header chunk: 300 dots to the inch on a page.
    assert_eq!(&bytes[16..20], 2244u32.to_be_bytes());
    let outcome = bench.run(&["map", "x", "--show", "colour"]);
    assert_eq!(outcome.code, 2);
    assert!(outcome.err.contains("torque, holding, loose, uncertainty, residual"));
    let outcome = bench.run(&["map", "x", "--png", "nowhere/x.png"]);
    assert_eq!(outcome.code, 7, "{}", outcome.err);
}
