//! `pinhold import`: every case with its sentence and its exit code.

use std::process::Stdio;
use std::time::{Duration, Instant};

use crate::run::{Bench, assert_refused};

/// A full field, both ways.
fn full_field() -> String {
    let mut text = String::from("note,string,sharp_nm,flat_nm\n");
    for note in 1..=88 {
        let strings = match note {
            1..=10 => "C",
            11..=27 => "LR",
            _ => "LCR",
        };
        for string in strings.chars() {
            text.push_str(&format!("{note},{string},12.4,6.6\n"));
        }
    }
    text
}

/// Refused with this sentence after the file's name, exit 3, and not even a store left behind.
#[track_caller]
fn assert_file_refused(bytes: impl AsRef<[u8]>, sentence: &str) {
    let bench = Bench::new();
    let outcome = bench.import(bytes);
    assert_refused(&outcome, 3, &format!("readings.csv: {sentence}"));
    assert!(!bench.data().exists(), "a refused file leaves nothing");
}

#[test]
fn a_good_file_makes_its_instrument() {
    let bench = Bench::new();
    let outcome = bench.import(full_field());
    assert_eq!(
        outcome.out,
        "Made x: grand, A0 to C8, 227 pins.\n\
         Stored 227 readings of x.\n\
         Without u_nm a reading counts as hand tool, uncalibrated: standard uncertainty 6 % of \
         the reading, at least 0.3 N·m.\n\
         Next: pinhold verdict x\n"
    );
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    let shown = bench.document(&["instrument", "show", "x"]);
    assert_eq!(shown["instrument"]["pins"].as_array().unwrap().len(), 227);
    assert_eq!(shown["instrument"]["surveys"][0]["reading_count"], 227);
    assert_eq!(shown["instrument"]["surveys"][0]["source"], "import");
}

#[test]
fn a_second_file_becomes_a_second_survey() {
    let bench = Bench::new();
    bench.import(full_field());
    bench.write("later.csv", "note,string,friction_inlb\nA4,C,80\n");
    let told = bench.document(&["import", "later.csv", "--instrument", "x"]);
    assert_eq!((&told["made"], &told["reading_count"]), (&false.into(), &1.into()));
    let shown = bench.document(&["instrument", "show", "x"]);
    assert_eq!(shown["instrument"]["survey_count"], 2);
    assert_eq!(shown["instrument"]["pin_count"], 227);
}

#[test]
fn a_sampled_file_says_what_was_filled_in() {
    let bench = Bench::new();
    let outcome = bench.import("note,string,sharp_nm\n40,L,9\n40,C,9\n40,R,9\n43,C,9\n");
    assert!(outcome.out.starts_with(
        "Made x: grand, C4 to D#4, 12 pins.\n\
         8 of them are not in the file and were filled in from their neighbours.\n\
         Stored 4 readings of x.\n"
    ));
}

#[test]
fn one_bad_row() {
    assert_file_refused(
        "note,string,sharp_nm,flat_nm\n40,L,9,4\n41,L,nine,4\n",
        "1 fault, nothing was stored\n  line 3, column sharp_nm: 'nine' is not a number",
    );
}

#[test]
fn many_bad_rows_are_capped() {
    let mut text = String::from("note,string,sharp_nm\n");
    let mut sentence = String::from("30 faults, nothing was stored");
    for line in 2..32 {
        text.push_str(&format!("40,L,bad{line}\n"));
    }
    for line in 2..22 {
        let fault = format!("\n  line {line}, column sharp_nm: 'bad{line}' is not a number");
        sentence.push_str(&fault);
    }
    sentence.push_str("\n  and 10 more");
    assert_file_refused(text, &sentence);
}

#[test]
fn an_empty_file() {
    let sentence = "it is empty; the first line names the columns, as in \
         note,string,sharp_nm,flat_nm, and each further line is one pin";
    assert_file_refused("", sentence);
    assert_file_refused("\u{feff}\r\n  \r\n", sentence);
}

#[test]
fn a_header_only() {
    assert_file_refused(
        "note,string,sharp_nm,flat_nm\r\n,,,\r\n",
        "it has a header but no readings; each further line is one pin",
    );
}

#[test]
fn a_binary_file() {
    let sentence = "it is not text; export the readings as CSV and import that file";
    assert_file_refused(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", sentence);
    assert_file_refused(b"PK\x03\x04\x14\0\x06\0", sentence);
}

#[test]
fn other_encodings() {
    assert_file_refused(
        b"note,string,sharp_nm,remark\n40,L,9,ge\xF6lt\n",
        "line 2 is not UTF-8 text; save the file as \"CSV UTF-8\"",
    );
    assert_file_refused(
        b"\xFF\xFEn\0o\0t\0e\0",
        "it is UTF-16 text; save the file as \"CSV UTF-8\"",
    );
}

#[test]
fn a_hundred_megabytes_are_refused_unread() {
    let bench = Bench::new();
    bench.write("big.csv", "");
    let file = std::fs::OpenOptions::new()
        .write(true)
        .open(bench.data().with_file_name("big.csv"))
        .unwrap();
    file.set_len(100_000_000).unwrap();
    let start = Instant::now();
    let outcome = bench.run(&["import", "big.csv", "--instrument", "x", "--create"]);
    assert_refused(
        &outcome,
        3,
        "big.csv: it is larger than 16 MB, and a file of readings has a few hundred lines; check \
         that this is the right file",
    );
    assert!(start.elapsed() < Duration::from_secs(2), "{:?}", start.elapsed());
}

#[cfg(unix)]
#[test]
fn an_endless_device_is_refused_too() {
    let outcome = Bench::new().run(&["import", "/dev/zero", "--instrument", "x", "--create"]);
    assert_eq!(outcome.code, 3);
    assert!(outcome.err.starts_with("error: /dev/zero: it is larger than 16 MB"));
}

#[test]
fn a_duplicate_pin() {
    assert_file_refused(
        "note,string,sharp_nm\n40,L,9\n41,L,9\nC4,l,8\n",
        "1 fault, nothing was stored\n  line 4, column string: pin C4 L stands on line 2 already",
    );
}

#[test]
fn an_unknown_column() {
    assert_file_refused(
        "note,string,shapr_nm\n40,L,9\n",
        "line 1: unknown column 'shapr_nm'; did you mean sharp_nm?",
    );
    assert_file_refused(
        "note,string,sharp_nm,weather\n40,L,9,wet\n",
        "line 1: unknown column 'weather'; remove it, or see `pinhold import --help` for the names",
    );
}

#[test]
fn a_note_outside_the_compass() {
    assert_file_refused(
        "note,string,sharp_nm\n89,L,9\n0,L,9\nH4,L,9\n,L,9\n",
        "4 faults, nothing was stored\n  \
         line 2, column note: '89' is outside 1 (A0) to 88 (C8)\n  \
         line 3, column note: '0' is outside 1 (A0) to 88 (C8)\n  \
         line 4, column note: 'H4' is no note: a number 1 to 88 or a name such as A4\n  \
         line 5, column note: no note is given",
    );
}

#[test]
fn pins_the_instrument_does_not_have() {
    let bench = Bench::new();
    let made = bench.run(&["instrument", "add", "x", "--highest", "A7"]);
    assert_eq!(made.code, 0);
    let outcome = bench.import("note,string,sharp_nm\n88,C,9\n40,D,9\n40,L,9\n");
    assert_refused(
        &outcome,
        3,
        "readings.csv: 2 faults, nothing was stored\n  \
         line 2, column note: note 88 (C8) is outside the instrument's compass, 1 (A0) to 85 (A7)\
         \n  line 3, column string: the instrument has no pin C4 D; that note has L C R",
    );
    assert_eq!(bench.document(&["instrument", "show", "x"])["instrument"]["survey_count"], 0);
}

#[test]
fn columns_missing_or_twice() {
    let cases = [
        ("note,sharp_nm", "there is no column string; columns note and string are required"),
        ("string,sharp_nm", "there is no column note; columns note and string are required"),
        (
            "note,string,cents",
            "there is no column with a torque; add sharp_, flat_ or friction_ with the unit nm, \
             inlb or kgfcm, as in sharp_nm, or sharp with the unit in each cell",
        ),
        ("note,string,note,sharp_nm", "column note stands there twice; remove one"),
        (
            "note,string,sharp_nm,sharp_inlb",
            "columns sharp_nm and sharp_inlb give the same torque twice; keep one",
        ),
    ];
    for (header, sentence) in cases {
        assert_file_refused(format!("{header}\n40,L,9,9\n"), &format!("line 1: {sentence}"));
    }
}

#[test]
fn rows_without_torque_or_with_impossible_ones() {
    let header = "note,string,sharp_nm,flat_nm,friction_nm,kind,state,u_nm,pin_um,row";
    let cases = [
        ("40,L,,", "sharp_nm", "no torque is given; fill sharp_nm or flat_nm or friction_nm"),
        ("40,L,inf,", "sharp_nm", "'inf' is not a number"),
        ("40,L,nan,", "sharp_nm", "'nan' is not a number"),
        ("40,L,1e999,", "sharp_nm", "'1e999' is not a number"),
        ("40,L,85,", "sharp_nm", "'85' is 85.0 N·m, more than any pin takes; check the unit"),
        ("40,L,-9,", "sharp_nm", "'-9' is negative; only a flat torque may be"),
        (
            "40,L,2,-5",
            "sharp_nm",
            "sharp and flat give a friction of -1.50 N·m, and none is below zero",
        ),
        (
            "40,L,10,6,12",
            "sharp_nm",
            "friction is 12.00 N·m, but sharp and flat give 8.00 N·m; correct one or leave \
             friction out",
        ),
        (
            "40,L,5,,9",
            "sharp_nm",
            "sharp is below the friction given; correct one or leave one out",
        ),
        ("40,L,,9,5", "sharp_nm", "flat is above the friction given; correct one or leave one out"),
        ("40,L,>9,", "sharp_nm", "'>9' is a limit; set its kind to limit"),
        (
            "40,L,9,-1,,,unstrung",
            "state",
            "flat is negative, but no string is there to drive the pin",
        ),
        ("40,L,9,,,click", "kind", "'click' is not one of running, peak or limit"),
        ("40,L,9,,,,loose", "state", "'loose' is not one of pitch, slack or unstrung"),
        ("40,L,9,,,,,0", "u_nm", "an uncertainty is above zero; leave it empty when unknown"),
        ("40,L,9,,,,,-1", "u_nm", "'-1' is not within 0 to 20"),
        ("40,L,9,,,,,,7.1", "pin_um", "'7.1' is not a whole number 5000 to 9000"),
        ("40,L,9,,,,,,,99", "row", "'99' is not a whole number 0 to 15"),
        ("40,E,9,", "string", "'E' is no string: L, C or R, or D for a fourth string"),
        ("40,,9,", "string", "no string is given: L, C or R, or D for a fourth string"),
    ];
    for (row, column, reason) in cases {
        assert_file_refused(
            format!("{header}\n{row}\n"),
            &format!("1 fault, nothing was stored\n  line 2, column {column}: {reason}"),
        );
    }
}

#[test]
fn decimal_commas_and_open_quotes() {
    assert_file_refused(
        "note,string,sharp_nm,flat_nm\n40,L,9,5,4,1\n",
        "1 fault, nothing was stored\n  line 2, column flat_nm: 6 cells where the header has 4; \
         write 9.5 rather than 9,5, and put a remark with commas in quotes",
    );
    assert_file_refused(
        "note,string,sharp_nm\n40,L,\"9,5\"\n",
        "1 fault, nothing was stored\n  line 2, column sharp_nm: '9,5' is not a number; write a \
         decimal point",
    );
    let open = format!("note,string,sharp_nm,remark\n40,L,9,\"{}\n", "x".repeat(600));
    assert_file_refused(
        open,
        "1 fault, nothing was stored\n  line 2, column remark: 600 characters where at most 500 \
         are possible; a quote may be open",
    );
}

#[test]
fn too_many_rows() {
    let text = format!("note,string,sharp_nm\n{}", "40,L,9\n".repeat(10_001));
    assert_file_refused(
        text,
        "it has more than 10000 rows; one survey is one file, one row per pin",
    );
}

#[test]
fn what_spreadsheets_write_is_understood() {
    for text in [
        "\u{feff}note,string,sharp_nm,flat_nm\r\n40,L,9.5,4.5\r\n,,,\r\n",
        "note;string;sharp_nm;flat_nm\n40;L;9,5;4,5\n",
        "note\tstring\tsharp_nm\tflat_nm\n40\tL\t9,5\t4.5\n",
        "note,string,sharp_nm,flat_nm\r40,L,9.5,4.5\r",
        "Note, String, Sharp_nm, Flat_nm,,\n C4 , l , 9.5 , 4.5 ,,\n",
        "note,string,sharp_nm,flat_nm\n40,L,9.5,\u{2212}0.5",
    ] {
        let bench = Bench::new();
        let outcome = bench.import(text);
        assert_eq!((outcome.code, outcome.err.as_str()), (0, ""), "{text:?}");
        assert!(outcome.out.contains("Stored 1 reading of x."), "{}", outcome.out);
    }
}

#[test]
fn a_file_that_is_not_there_and_a_folder() {
    let bench = Bench::new();
    let outcome = bench.run(&["import", "gone.csv", "--instrument", "x", "--create"]);
    assert_refused(&outcome, 1, "there is no file gone.csv; check its name and folder");
    let outcome = bench.run(&["import", ".", "--instrument", "x", "--create"]);
    assert_refused(&outcome, 3, ".: it is a folder, not a file of readings");
}

#[test]
fn an_unknown_instrument_is_not_made_unasked() {
    let bench = Bench::new();
    bench.import("note,string,sharp_nm\n40,L,9\n");
    bench.run(&["instrument", "add", "parlour"]);
    let outcome = bench.run(&["import", "readings.csv", "--instrument", "parlor"]);
    assert_refused(
        &outcome,
        1,
        "there is no instrument named 'parlor'; did you mean 'parlour'?; --create makes it from \
         the file",
    );
    assert_eq!(bench.instruments(), ["parlour", "x"]);
}

#[test]
fn hostile_text_is_never_printed_raw() {
    let bench = Bench::new();
    // U+009B starts a terminal command and is text to any other eye.
    let outcome = bench.import("note,string,sharp_nm\n40,L,\u{9b}2J\u{202e}\n");
    assert_eq!(outcome.code, 3);
    assert!(outcome.err.contains("'\\u{9b}2J\\u{202e}' is not a number"), "{}", outcome.err);
}

#[test]
fn conditions_are_kept_with_the_survey() {
    let bench = Bench::new();
    bench.write("readings.csv", "note,string,sharp_nm\n40,L,9\n");
    let arguments = [
        "import",
        "readings.csv",
        "--instrument",
        "x",
        "--create",
        "--kind",
        "upright",
        "--taken",
        "2024-11-03",
        "--holds-tune",
        "no",
        "--plank",
        "off-back",
        "--humidity",
        "41",
        "--pitch-cents",
        "-12.5",
        "--contamination",
        "no",
        "--notes",
        "before repair",
    ];
    assert_eq!(bench.run(&arguments).code, 0);
    let shown = bench.document(&["instrument", "show", "x"]);
    let survey = &shown["instrument"]["surveys"][0];
    assert_eq!(shown["instrument"]["kind"], "upright");
    assert_eq!(
        (&survey["started"], &survey["notes"]),
        (&"2024-11-03".into(), &"before repair".into())
    );
    let expected = serde_json::json!({
        "tune": "unstable", "plank": "off-back", "relative_humidity": 0.41,
        "pitch_cents": -12.5, "contamination": false,
    });
    assert_eq!(survey["condition"], expected);
}

#[test]
fn two_processes_at_once_both_store_their_survey() {
    let bench = Bench::new();
    bench.import(full_field());
    let start = || {
        let arguments = ["import", "readings.csv", "--instrument", "x"];
        bench.command(&arguments).stdout(Stdio::null()).spawn().unwrap()
    };
    let children: Vec<_> = (0..6).map(|_| start()).collect();
    for mut child in children {
        assert!(child.wait().unwrap().success());
    }
    let shown = bench.document(&["instrument", "show", "x"]);
    assert_eq!(shown["instrument"]["survey_count"], 7);
}
