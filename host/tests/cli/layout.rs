//! `pinhold instrument layout|places|pin`, and instruments added from a layout.

use crate::run::{Bench, assert_refused};

const LAYOUT: &str = "format = \"pinhold.layout\"\nversion = 1\nkind = \"grand\"\n\
                      compass = \"A0..C8\"\nface = \"open\"\nmissing = [\"88R\"]\n\n\
                      [[section]]\nlast = \"E2\"\n\n[[section]]\n";

#[test]
fn an_instrument_is_laid_out_from_a_word_or_a_file() {
    let bench = Bench::new();
    bench.write("mine.toml", LAYOUT);
    for (layout, headline) in [
        ("grand-88", "grand, A0 to C8, 227 pins, no survey"),
        ("upright-88", "upright, A0 to C8, 227 pins, no survey"),
        ("grand-85", "grand, A0 to A7, 218 pins, no survey"),
        ("upright-85", "upright, A0 to A7, 218 pins, no survey"),
        ("mine.toml", "grand, open plank, A0 to C8, 226 pins, no survey"),
    ] {
        let added = bench.run(&["instrument", "add", layout, "--layout", layout]);
        let next = format!("Entered {layout}: {headline}\nNext: pinhold survey {layout}\n");
        assert_eq!((added.out.as_str(), added.err.as_str()), (next.as_str(), ""));
    }
    let shown = bench.document(&["instrument", "show", "mine.toml"]);
    assert_eq!(shown["instrument"]["face"], "open");
    let sized = ["instrument", "add", "s", "--layout", "grand-88", "--pin-um", "7000"];
    let shown = bench.run(&[&sized[..], &["--face", "three-quarter"]].concat());
    assert!(shown.out.starts_with("Entered s: grand, three-quarter plate, "), "{}", shown.out);
    let text = bench.run(&["instrument", "layout", "s"]).out;
    assert!(text.contains("face = \"three-quarter\"\n"), "{text}");
    assert!(text.contains("[pin_sizes]\n\"A0..C8\" = 7\n"), "{text}");
}

#[test]
fn a_layout_is_printed_and_comes_back() {
    let bench = Bench::new();
    bench.write("mine.toml", LAYOUT);
    bench.run(&["instrument", "add", "a", "--layout", "mine.toml"]);
    bench.run(&["instrument", "pin", "a", "40L", "--x-mm", "512", "--y-mm", "1.5"]);
    let text = bench.run(&["instrument", "layout", "a"]).out;
    assert!(
        text.ends_with(
            "[[pin]]\npin = \"40L\"\nx_mm = 512\ny_mm = 1.5\nrow = 0\n\
                            section = 1\n"
        ),
        "{text}"
    );
    bench.write("again.toml", &text);
    bench.run(&["instrument", "add", "b", "--layout", "again.toml"]);
    assert_eq!(bench.run(&["instrument", "layout", "b"]).out, text);
    let positions = |name: &str| bench.run(&["instrument", "layout", name, "--csv"]).out;
    assert_eq!(positions("a"), positions("b"));
    bench.write("positions.csv", positions("a"));
    let placed = bench.run(&["instrument", "places", "b", "positions.csv"]);
    assert!(placed.out.starts_with("Changed 0 of the 226 pins named"), "{}", placed.out);
    let document = bench.document(&["instrument", "layout", "a"]);
    assert_eq!(document["layout"], text);
    assert_eq!(document["pins"].as_array().map(Vec::len), Some(226));
    let builtin = bench.run(&["instrument", "layout", "--builtin", "upright-85"]).out;
    assert!(builtin.contains("kind = \"upright\"\ncompass = \"A0..A7\"\n"), "{builtin}");
}

#[test]
fn an_instrument_without_a_layout_describes_itself_too() {
    let bench = Bench::new();
    bench.import("note,string,sharp_nm,x_mm,y_mm\n40,L,9,500,1\n40,R,9,505,40\n41,L,9,515,1\n");
    let text = bench.run(&["instrument", "layout", "x"]).out;
    bench.write("x.toml", &text);
    bench.run(&["instrument", "add", "y", "--layout", "x.toml"]);
    let positions = |name: &str| bench.run(&["instrument", "layout", name, "--csv"]).out;
    assert_eq!(positions("x"), positions("y"), "{text}");
}

#[test]
fn measured_positions_change_the_pins_named() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "a", "--layout", "grand-88"]);
    let before = bench.run(&["instrument", "layout", "a", "--csv"]).out;
    bench.write(
        "p.csv",
        "note,string,x_mm,y_mm,flange_mm\nC4,L,525,43,57\n40,C,520,22,36\n\
                          40,R,516,1,15\n",
    );
    let preview = bench.run(&["instrument", "places", "a", "p.csv", "--preview"]).out;
    assert!(preview.starts_with("Would change 3 of the 3 pins named, 227 pins in all of a\n"));
    assert_eq!(bench.run(&["instrument", "layout", "a", "--csv"]).out, before);
    let told = bench.document(&["instrument", "places", "a", "p.csv"]);
    assert_eq!(told["rows_changed"], serde_json::json!(["C4 L", "C4 R"]));
    let after = bench.run(&["instrument", "layout", "a", "--csv"]).out;
    let changed: Vec<&str> =
        after.lines().filter(|line| !before.lines().any(|old| old == *line)).collect();
    assert_eq!(changed, ["40,L,1,2,525,43,57,", "40,C,1,1,520,22,36,", "40,R,1,0,516,1,15,"]);

    bench.write("bad.csv", "note,string,x_mm,y_mm\n41,L,700,1\n41,R,4000,1\n40,D,600,90\n");
    let refused = bench.run(&["instrument", "places", "a", "bad.csv"]);
    assert_refused(
        &refused,
        3,
        "bad.csv: 1 fault, nothing was stored\n  line 3, column x_mm: '4000' is not within -3000 \
         to 3000",
    );
    assert_eq!(bench.run(&["instrument", "layout", "a", "--csv"]).out, after);
    bench.write("bad.csv", "note,string,x_mm,y_mm\n41,L,525,43\n40,D,600,90\n");
    let refused = bench.run(&["instrument", "places", "a", "bad.csv"]);
    assert_eq!(refused.code, 3);
    assert!(refused.err.contains("line 2, column x_mm: pins C#4 L and C4 L would stand 0.0 mm"));
    assert!(refused.err.contains("line 3, column string: the instrument has no pin C4 D"));
    let gone = bench.run(&["instrument", "places", "a", "none.csv"]);
    assert_refused(&gone, 1, "there is no file none.csv; check its name and folder");
}

#[test]
fn one_pin_is_shown_corrected_added_and_removed() {
    let bench = Bench::new();
    bench.import("note,string,sharp_nm\n40,L,9\n40,C,8\n40,R,9\n41,L,9\n41,C,9\n41,R,9\n");
    let run = |arguments: &[&str]| bench.run(&[&["instrument", "pin", "x"], arguments].concat());
    assert_eq!(run(&["C4C"]).out, "C4 C: section 0, row 1, x 4.5 mm, y 21.0 mm, size unknown\n");
    let corrected = run(&["40C", "--diameter", "7.1 mm", "--row", "2", "--x-mm", "0"]);
    assert_eq!(corrected.out, "Corrected C4 C: section 0, row 2, x 0.0 mm, y 42.0 mm, 7.100 mm\n");
    let crowded = run(&["40C", "--x-mm", "0", "--y-mm", "3"]);
    assert_refused(
        &crowded,
        3,
        "pins C4 C and C4 L would stand 3.0 mm apart, less than 7.0 mm; check the positions of \
         both",
    );
    let added = run(&["40D", "--add", "--x-mm", "13", "--y-mm", "63", "--row", "3"]);
    assert!(added.out.starts_with("Added C4 D: section 0, row 3, x 13.0 mm"), "{}", added.out);
    let removed = run(&["40C", "--remove"]);
    assert_eq!(
        removed.out,
        "Removed C4 C of x, 6 pins left\n1 reading counts for a pin it does not have: it stays \
         stored, and counts again when the pin is added\n"
    );
    let map = bench.run(&["map", "x"]).out;
    assert!(map.contains("1 reading is of a pin the instrument does not have"), "{map}");
    let again = run(&["40C", "--add", "--x-mm", "4.5", "--y-mm", "21"]);
    assert!(!again.out.contains("reading"), "{}", again.out);
    assert_refused(
        &run(&["40C", "--add", "--x-mm", "4.5", "--y-mm", "21"]),
        3,
        "the instrument has a pin C4 C already; correct it instead of adding it",
    );
    assert_refused(
        &run(&["42C"]),
        1,
        "the instrument has no pin D4 C; its note has no pin; --add adds it",
    );
    for arguments in [&["40C", "--add"][..], &["40C", "--remove", "--row", "1"], &["40"]] {
        assert_eq!(run(arguments).code, 2, "{arguments:?}");
    }
}

#[test]
fn an_open_plank_has_no_flange() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "a", "--layout", "grand-88"]);
    bench.run(&["instrument", "pin", "a", "40L", "--flange-mm", "14"]);
    bench.run(&["instrument", "edit", "a", "--face", "open"]);
    let refused = bench.run(&["instrument", "pin", "a", "40L", "--flange-mm", "14"]);
    assert_refused(
        &refused,
        3,
        "pin C4 L has a distance from the plate flange, but the plank is open and has none",
    );
    let pin = bench.document(&["instrument", "pin", "a", "40L"]);
    assert_eq!(pin["pin"]["flange_distance_mm"], serde_json::Value::Null);
    bench.write("r.csv", "note,string,sharp_nm\n40,L,9\n41,L,9\n");
    bench.run(&["import", "r.csv", "--instrument", "a"]);
    let map = bench.run(&["map", "a"]).out;
    assert!(map.contains("-- string side --") && !map.contains("flange"), "{map}");
    bench.run(&["instrument", "edit", "a", "--face", "full"]);
    let map = bench.run(&["map", "a"]).out;
    assert!(map.contains("-- plate flange this side --"), "{map}");
}

#[test]
fn an_instrument_is_laid_out_anew() {
    let bench = Bench::new();
    bench.import("note,string,sharp_nm,pin_um\n40,L,9,7100\n40,C,9,\n40,R,9,\n40,D,9,\n");
    let told = bench.run(&["instrument", "layout", "x", "--set", "upright-85"]).out;
    assert_eq!(
        told,
        "Laid out anew x: upright, A0 to A7, 218 pins, 1 survey\n1 reading counts for a pin it \
         does not have: it stays stored, and counts again when the pin is added\n\
         Next: pinhold map x\n"
    );
    let pin = bench.document(&["instrument", "pin", "x", "40L"]);
    assert_eq!(pin["pin"]["pin_um"], 7100);
}

#[test]
fn layouts_that_are_none_are_refused() {
    let bench = Bench::new();
    let unknown = bench.run(&["instrument", "add", "a", "--layout", "grand-89"]);
    assert_refused(
        &unknown,
        1,
        "there is no layout or file named grand-89; built in are grand-88, upright-88, grand-85, \
         upright-85",
    );
    bench.write("bad.toml", LAYOUT.replace("88R", "88D"));
    let refused = bench.run(&["instrument", "add", "a", "--layout", "bad.toml"]);
    assert_refused(
        &refused,
        3,
        "bad.toml: line 6, missing: pin C8 D is not there anyway: its note has 3 strings",
    );
    bench.write("bad.toml", b"\xff\xfe");
    let refused = bench.run(&["instrument", "add", "a", "--layout", "bad.toml"]);
    assert_refused(&refused, 3, "bad.toml is not UTF-8 text; save it as UTF-8");
    let folder = bench.run(&["instrument", "add", "a", "--layout", "."]);
    assert_refused(&folder, 3, ". is a folder, not a layout");
    assert!(bench.instruments().is_empty());
    let both = bench.run(&["instrument", "add", "a", "--layout", "grand-88", "--kind", "grand"]);
    assert_eq!(both.code, 2);
}
