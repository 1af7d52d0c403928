//! `pinhold history`, `pinhold climate`, `pinhold repair`: an instrument over the years.

use crate::run::{Bench, assert_refused};

fn laid_out() -> Bench {
    let bench = Bench::new();
    let added = bench.run(&["instrument", "add", "x", "--layout", "grand-88"]);
    assert_eq!(added.code, 0, "{}", added.err);
    bench
}

/// A survey of notes 1 to 30 at this level.
fn survey(bench: &Bench, date: &str, level_nm: f64) {
    let mut file = String::from("note,string,sharp_nm,flat_nm\n");
    for note in 1..=30 {
        let friction = level_nm + 0.2 * f64::from(note * 7 % 5);
        let string = if note <= 10 { "C" } else { "L" };
        file.push_str(&format!("{note},{string},{:.3},{:.3}\n", friction + 3.0, friction - 3.0));
    }
    bench.write("survey.csv", file);
    let outcome = bench.run(&["import", "survey.csv", "--instrument", "x", "--taken", date]);
    assert_eq!(outcome.code, 0, "{}", outcome.err);
}

/// Seven years, half a newton-metre less in each.
fn falling() -> Bench {
    let bench = laid_out();
    for year in 0..7 {
        let wobble = if year % 2 == 0 { 0.03 } else { -0.03 };
        survey(&bench, &format!("{}-02-01", 2019 + year), 9.0 - 0.5 * f64::from(year) + wobble);
    }
    bench
}

fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn a_fall_over_years_is_told_with_interval_and_year() {
    let bench = falling();
    let told = bench.run(&["history", "x"]);
    assert_eq!((told.code, told.err.as_str()), (0, ""));
    let text = flat(&told.out);
    assert!(text.contains("1 2019-02-01 import 30 pins median 9.4 N·m"), "{}", told.out);
    assert!(text.contains("plank, median: −0.5"), "{}", told.out);
    assert!(text.contains("30 pins of surveys 1 to 7"), "{}", told.out);
    assert!(text.contains("surveys of the same season"), "{}", told.out);
    let document = bench.document(&["history", "x"]);
    assert_eq!(document["format"], "pinhold.history");
    let trend = &document["trends"][0];
    let slope = trend["slope_nm_per_year"].as_f64().unwrap();
    assert!((slope + 0.5).abs() < 0.02, "{trend}");
    let interval = &trend["slope_interval_nm_per_year"];
    assert!(interval[0].as_f64().unwrap() < slope && interval[1].as_f64().unwrap() < 0.0);
    assert_eq!(trend["slope_by"], "ranks");
    assert!(
        ["between", "not-before", "cannot-be-told", "reached"]
            .iter()
            .any(|word| trend["limit"] == *word)
    );
    let one = bench.document(&["history", "x", "--pin", "5C"]);
    assert_eq!(one["trends"].as_array().unwrap().len(), 1);
    assert_eq!(one["trends"][0]["pins"].as_array().unwrap().len(), 1);
}

#[test]
fn two_surveys_are_not_enough_history() {
    let bench = laid_out();
    survey(&bench, "2025-02-01", 8.0);
    survey(&bench, "2026-02-01", 7.0);
    let told = bench.run(&["history", "x"]);
    let text = flat(&told.out);
    assert!(text.contains("not enough history for a trend"), "{}", told.out);
    assert!(text.contains("not enough history surveys"), "{}", told.out);
    assert_eq!(bench.document(&["history", "x"])["trends"][0]["limit"], "not-enough-history");
    let wrong = bench.run(&["history", "x", "--pin", "99"]);
    assert_eq!((wrong.code, wrong.out.as_str()), (2, ""));
    assert!(wrong.err.starts_with("error: --pin: "), "{}", wrong.err);
}

#[test]
fn a_repair_divides_the_history() {
    let bench = falling();
    survey(&bench, "2026-02-01", 11.0);
    let before = bench.document(&["history", "x"]);
    assert_eq!(before["trends"][0]["surveys"].as_array().unwrap().len(), 8);
    let noted = bench.run(&[
        "repair",
        "x",
        "--add",
        "larger-pins",
        "--done",
        "2025-09-01",
        "--remark",
        "3/0",
    ]);
    assert_eq!(noted.out, "   1  2025-09-01  larger-pins: all pins; 3/0\n");
    assert_eq!(noted.err, "read the pins again, then: pinhold compare x\n");
    let after = bench.document(&["history", "x"]);
    assert_eq!(after["trends"][0]["surveys"], serde_json::json!([8]));
    assert_eq!(after["trends"][0]["since_repair"], "2025-09-01");
    // Few pins of many are left out, and the history goes on.
    assert_eq!(
        bench.run(&["repair", "x", "--remove", "1", "--reason", "test"]).out,
        "repair 1 withdrawn\n"
    );
    let few =
        bench.run(&["repair", "x", "--add", "bushings", "--pins", "1C,2C", "--done", "2022-09-01"]);
    assert_eq!(few.code, 0, "{}", few.err);
    let left_out = bench.document(&["history", "x"]);
    assert_eq!(left_out["trends"][0]["repaired_pins_left_out"], 2);
    assert_eq!(left_out["trends"][0]["pins"].as_array().unwrap().len(), 28);
    assert_eq!(bench.document(&["repair", "x"])["repairs"][0]["what"], "bushings");
    assert_refused(
        &bench.run(&["repair", "x", "--remove", "1"]),
        1,
        "the instrument has no repair 1 that counts; list those there are",
    );
}

#[test]
fn the_climate_is_logged_imported_listed_and_withdrawn() {
    let bench = laid_out();
    let added =
        bench.run(&["climate", "x", "--add", "41", "--celsius", "20", "--taken", "2026-01-05"]);
    assert_eq!((added.code, added.out.as_str()), (0, "1 climate reading stored\n"));
    bench.write("log.csv", "date;rh_percent;temp_c\n2026-01-05;41,0;20,0\n2026-01-06;42,5;\n");
    let imported = bench.run(&["climate", "x", "--import", "log.csv"]);
    assert_eq!(
        imported.out,
        "1 climate reading stored, 1 of moments that have one already left out\n"
    );
    let listed = bench.run(&["climate", "x"]);
    // Wood Handbook, equation 4-5: 7.9 % at 41 % and 20 °C.
    assert_eq!(
        listed.out.lines().next(),
        Some("   1  2026-01-05  41.0 %, 20.0 °C, wood tends to 7.9 %"),
        "{}",
        listed.out
    );
    assert_eq!(bench.run(&["climate", "x", "--remove", "1"]).out, "climate reading 1 withdrawn\n");
    assert_eq!(bench.document(&["climate", "x"])["readings"].as_array().unwrap().len(), 1);
    bench.write("bad.csv", "date,rh_percent\n2026-01-07,41\n2026-01-08,410\n");
    assert_refused(
        &bench.run(&["climate", "x", "--import", "bad.csv"]),
        3,
        "bad.csv: line 3: rh_percent '410' is not a number from 0 to 100",
    );
    assert_eq!(bench.document(&["climate", "x"])["readings"].as_array().unwrap().len(), 1);
}

#[test]
fn like_air_is_told_from_the_log() {
    let bench = laid_out();
    let mut log = String::from("date,rh_percent\n");
    for (year, level) in [(2024, 9.0), (2025, 8.5)] {
        survey(&bench, &format!("{year}-06-01"), level);
        for day in ["04-10", "04-25", "05-10", "05-28"] {
            log.push_str(&format!("{year}-{day},{}\n", if year == 2024 { 40 } else { 43 }));
        }
    }
    bench.write("log.csv", log);
    assert_eq!(bench.run(&["climate", "x", "--import", "log.csv"]).code, 0);
    let told = bench.run(&["history", "x"]);
    assert!(flat(&told.out).contains("surveys in like air: over the eight weeks"), "{}", told.out);
    let compared = bench.document(&["compare", "x"]);
    assert_eq!(compared["humidity_is_of_weeks_before"], true);
    assert_eq!(compared["before"]["relative_humidity"], 0.4);
    let document = bench.document(&["history", "x"]);
    let moisture = document["surveys"][0]["wood_moisture_percent_weeks_before"].as_f64().unwrap();
    assert!((moisture - 7.7).abs() < 0.1, "{moisture}");
}

#[test]
fn instruments_are_searched_and_watched() {
    let bench = falling();
    let edited =
        bench.run(&["instrument", "edit", "x", "--place", "Town Hall", "--serial", "A 77"]);
    assert_eq!(edited.code, 0, "{}", edited.err);
    assert_eq!(bench.run(&["instrument", "add", "quiet", "--layout", "grand-88"]).code, 0);
    let found = bench.run(&["history", "--search", "hall town"]);
    assert_eq!(found.out, "x: 7 surveys, latest 2025-02-01; A 77, Town Hall\n");
    assert_eq!(bench.run(&["history"]).out.lines().count(), 2);
    let nothing = bench.run(&["history", "--search", "elsewhere"]);
    assert_eq!((nothing.code, nothing.out.as_str()), (0, ""));
    let watch = bench.run(&["history", "--watch", "--due-months", "600"]);
    let lines: Vec<&str> = watch.out.lines().collect();
    assert!(lines[0].starts_with("x: last read 2025-02-01"), "{}", watch.out);
    assert!(lines[0].contains("; falls 0.5"), "{}", watch.out);
    assert_eq!(lines[1], "due: quiet: never read");
    let document = bench.document(&["history", "--watch"]);
    assert_eq!(document["instruments"][0]["falls_clearly"], true);
}
