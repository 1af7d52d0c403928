//! `pinhold lever fit`: certified data to nine digits, and every refusal with its sentence.

use std::path::Path;

use serde_json::Value;

use crate::run::{Bench, assert_refused};

/// Refused with this sentence after the file's name, exit 3.
#[track_caller]
fn assert_table_refused(bytes: impl AsRef<[u8]>, degree: &str, sentence: &str) {
    let bench = Bench::new();
    bench.write("loads.csv", bytes);
    let outcome = bench.run(&["lever", "fit", "loads.csv", "--degree", degree]);
    assert_refused(&outcome, 3, &format!("loads.csv: {sentence}"));
    assert!(!bench.data().exists(), "nothing is stored");
}

/// A file of the published cases.
fn published(name: &str) -> String {
    let package = std::env::var_os("CARGO_MANIFEST_DIR").expect("run the tests with cargo");
    let folder = Path::new(&package).join("../tests/checks/data/01_calibration");
    std::fs::read_to_string(folder.join(name)).unwrap()
}

/// Expected values of a published case.
fn expected(id: &str) -> Value {
    let document: Value = serde_json::from_str(&published("cases.json")).unwrap();
    let cases = document["cases"].as_array().unwrap();
    cases.iter().find(|case| case["id"] == id).unwrap()["expected"].clone()
}

/// Fits a certified table whose header is renamed; nine digits of every certified value.
#[track_caller]
fn assert_certified(id: &str, file: &str, header: &str, degree: &str) {
    let table = published(file);
    let (_, rows) = table.split_once('\n').unwrap();
    let bench = Bench::new();
    bench.write("loads.csv", format!("{header}\n{rows}"));
    let document = bench.document(&["lever", "fit", "loads.csv", "--degree", degree]);
    let want = expected(id);
    let size = document["coefficients"].as_array().unwrap().len();
    let mut pairs = vec![
        (document["residual_sd"].clone(), want["residual_sd"].clone()),
        (document["r_squared"].clone(), want["r_squared"].clone()),
    ];
    for power in 0..size {
        let (b, sd) = (format!("b{power}"), format!("sd_b{power}"));
        pairs.push((document["coefficients"][power].clone(), want[b].clone()));
        pairs.push((document["standard_errors"][power].clone(), want[sd.clone()].clone()));
        let square = want[sd].as_f64().unwrap().powi(2);
        pairs.push((document["covariance"][power][power].clone(), square.into()));
    }
    for (got, want) in pairs {
        let (got, want) = (got.as_f64().unwrap(), want.as_f64().unwrap());
        assert!(((got - want) / want).abs() < 5e-10, "{id}: {got:e} is not {want:e}");
    }
}

#[test]
fn certified_data_to_nine_digits() {
    assert_certified("CAL-P01", "nist_pontius.csv", "load,reading", "2");
    assert_certified("CAL-P03", "nist_norris.csv", "reading,load", "1");
}

#[test]
fn the_document_holds_what_it_says_and_no_more() {
    let bench = Bench::new();
    // Through (0, 1), (1, 3), (2, 5), (3, 7), the third moved up by 1.
    bench.write("loads.csv", "load,reading\n0,1\n1,3\n2,6\n3,7\n");
    let document = bench.document(&["lever", "fit", "loads.csv", "--degree", "1"]);
    let keys: Vec<&str> = document.as_object().unwrap().keys().map(String::as_str).collect();
    let mut want = [
        "format",
        "version",
        "degree",
        "count",
        "coefficients",
        "standard_errors",
        "covariance",
        "residual_sd",
        "r_squared",
        "degrees_of_freedom",
    ];
    want.sort_unstable();
    assert_eq!(keys, want);
    assert_eq!(document["format"], "pinhold.lever.fit");
    assert_eq!((&document["version"], &document["degree"]), (&1.into(), &1.into()));
    assert_eq!((&document["count"], &document["degrees_of_freedom"]), (&4.into(), &2.into()));
    // Normal equations by hand: b = 1.1, 2.1; residuals −0.1, −0.2, 0.7, −0.4.
    let number = |pointer: &str| document.pointer(pointer).unwrap().as_f64().unwrap();
    let close = |got: f64, want: f64| assert!((got - want).abs() < 1e-15, "{got} is not {want}");
    close(number("/coefficients/0"), 1.1);
    close(number("/coefficients/1"), 2.1);
    close(number("/residual_sd"), 0.35_f64.sqrt());
    // s²·(1/4 + 2.25/5), s²/5, −s²·1.5/5.
    close(number("/covariance/0/0"), 0.35 * 0.7);
    close(number("/covariance/1/1"), 0.07);
    close(number("/covariance/0/1"), -0.105);
    assert_eq!(number("/covariance/0/1"), number("/covariance/1/0"));
    close(number("/standard_errors/1"), 0.07_f64.sqrt());
    close(number("/r_squared"), 1.0 - 0.7 / 22.75);
    let with = bench.document(&["lever", "fit", "loads.csv", "--residuals"]);
    let residuals = with["residuals"].as_array().unwrap();
    close(residuals[2].as_f64().unwrap(), 0.7);
    assert_eq!(residuals.len(), 4);
}

#[test]
fn the_text_is_aligned_and_lists_residuals_when_asked() {
    let bench = Bench::new();
    bench.write("loads.csv", "load,reading\n0,1\n1,3\n\n2,6\n3,7\n");
    let outcome = bench.run(&["lever", "fit", "loads.csv"]);
    let plain = "\
Straight line through 4 points of loads.csv: reading = c0 + c1·load

            coefficient     standard error
  c0    1.10000000000e0   4.94974746831e-1
  c1    2.10000000000e0   2.64575131106e-1

Covariance
                     c0                 c1
  c0   2.45000000000e-1  -1.05000000000e-1
  c1  -1.05000000000e-1   7.00000000000e-2

Residual standard deviation  5.91607978310e-1, 2 degrees of freedom
r²  0.969230769231
";
    assert_eq!((outcome.code, outcome.out.as_str(), outcome.err.as_str()), (0, plain, ""));
    let listed = bench.run(&["lever", "fit", "loads.csv", "--residuals"]).out;
    assert!(listed.starts_with(plain));
    let row = "        5    2.00000000000e0    6.00000000000e0    5.30000000000e0   \
               7.00000000000e-1\n";
    assert!(listed.contains(row), "{listed}");
    let quadratic = bench.run(&["lever", "fit", "loads.csv", "--degree", "2"]).out;
    assert!(quadratic.contains("reading = c0 + c1·load + c2·load²\n"), "{quadratic}");
    // Equal readings leave nothing to explain: said, and no number in the document.
    bench.write("flat.csv", "load,reading\n0,5\n1,5\n2,5\n");
    let flat = bench.run(&["lever", "fit", "flat.csv"]);
    assert!(flat.out.ends_with("r²  not defined: all readings are equal\n"), "{}", flat.out);
    assert!(bench.document(&["lever", "fit", "flat.csv"])["r_squared"].is_null());
}

#[test]
fn what_spreadsheets_write_is_understood() {
    let bench = Bench::new();
    for text in [
        "\u{feff}load,reading\r\n0,1\r\n1.5,3\r\n,\r\n2,6\r\n",
        " Reading ; LOAD \n1;0\n3;1,5\n6;2\n",
        "load\treading\n0\t1\n1,5\t3\n2\t6\n",
        "\"load\",\"reading\",,\n0,1,,\n1.5,3,,\n2,6,,\n",
        "load,reading\r\u{2212}0,1\r+1.50,3e0\r2.0,6.\r",
    ] {
        bench.write("loads.csv", text);
        let document = bench.document(&["lever", "fit", "loads.csv"]);
        // Loads 0, 3/2, 2 and readings 1, 3, 6 about their means: 29/6 over 13/6.
        let slope = document["coefficients"][1].as_f64().unwrap();
        assert!((slope - 29.0 / 13.0).abs() < 1e-15, "{text:?}: {slope}");
    }
}

#[test]
fn headers_that_are_none() {
    let sentence = |line: u32, found: &str| {
        format!(
            "line {line}: '{found}' is not the header; the first line is load,reading and each \
             further line is one point"
        )
    };
    for (header, found) in [
        ("0,0.1", "0,0.1"),
        ("load", "load"),
        ("load,load", "load,load"),
        ("load,reading,remark", "load,reading,remark"),
        ("Load nm,Reading", "Load nm,Reading"),
        ("a\u{1b}[2J,b", "a\\u{1b}[2J,b"),
    ] {
        let bytes = format!("{header}\n1,2\n3,4\n5,6\n");
        if header.contains('\u{1b}') {
            // Control characters make it no text at all.
            let sentence = "it is not text; export the readings as CSV and import that file";
            assert_table_refused(bytes, "1", sentence);
        } else {
            assert_table_refused(bytes, "1", &sentence(1, found));
        }
    }
    assert_table_refused("\n\nx,y\n1,2\n", "1", &sentence(3, "x,y"));
    let empty = "it is empty; its first line is load,reading and each further line is one point";
    assert_table_refused("", "1", empty);
    assert_table_refused("\u{feff} \r\n", "1", empty);
}

#[test]
fn rows_at_fault() {
    let with = |row: &str| format!("load,reading\n0,1\n{row}\n5,6\n7,8\n");
    for (row, fault) in [
        ("five,2", ", column load: 'five' is not a number; write digits alone, as in 9.5"),
        ("5 N·m,2", ", column load: '5 N·m' is not a number; write digits alone, as in 9.5"),
        ("5,nan", ", column reading: 'nan' is not a number; write digits alone, as in 9.5"),
        ("5,-inf", ", column reading: '-inf' is not a number; write digits alone, as in 9.5"),
        ("1e999,2", ", column load: '1e999' is not a number; write digits alone, as in 9.5"),
        ("\u{9b}2J,2", ", column load: '\\u{9b}2J' is not a number; write digits alone, as in 9.5"),
        ("5", ", column reading: nothing is given; fill it in, or remove the line"),
        (",5", ", column load: nothing is given; fill it in, or remove the line"),
        ("5,2,5", ": 3 cells where the header has 2; write 9.5 rather than 9,5"),
    ] {
        assert_table_refused(with(row), "1", &format!("line 3{fault}"));
    }
    assert_table_refused(
        "load;reading\n0;1\n1;2;3\n",
        "1",
        "line 3: 3 cells where the header has 2; remove the extra ones",
    );
    assert_table_refused(
        "load,reading\n0,1\nx,1\n2,y\n3,\n",
        "1",
        "line 3, column load: 'x' is not a number; write digits alone, as in 9.5 (and 2 more \
         lines are at fault)",
    );
}

#[test]
fn too_few_points_or_loads() {
    let why = "one more than it has coefficients, so that scatter shows; add points";
    for (bytes, degree, sentence) in [
        (
            "load,reading\n",
            "1",
            format!("it has a header and no points, and a straight line needs at least 3: {why}"),
        ),
        (
            "load,reading\n1,2\n2,3\n",
            "1",
            format!("it has 2 points, and a straight line needs at least 3: {why}"),
        ),
        (
            "load,reading\n1,2\n2,3\n3,4\n",
            "2",
            format!(
                "it has 3 points, and a quadratic needs at least 4: {why}, or fit a straight line \
                 with --degree 1"
            ),
        ),
        (
            "load,reading\n5,2\n5,3\n5.0,4\n5,4\n",
            "1",
            "all its loads are equal (5), and a straight line needs at least 2; add points at \
             other loads"
                .to_string(),
        ),
        (
            "load,reading\n5,2\n0,3\n5.0,4\n0,4\n",
            "2",
            "it has only 2 different loads (0 and 5), and a quadratic needs at least 3; add points \
             at other loads, or fit a straight line with --degree 1"
                .to_string(),
        ),
        (
            "load,reading\n1,1e300\n2,-1e300\n3,1e300\n",
            "1",
            "it cannot be fitted: the values are too large, too small or too far apart in size; \
             choose other units, or check the values"
                .to_string(),
        ),
    ] {
        assert_table_refused(bytes, degree, &sentence);
    }
}

#[test]
fn files_that_are_no_table() {
    assert_table_refused(
        b"load,reading\n1,2\n\xFC,3\n",
        "1",
        "line 3 is not UTF-8 text; save the file as \"CSV UTF-8\"",
    );
    assert_table_refused(b"\xFF\xFEl\0", "1", "it is UTF-16 text; save the file as \"CSV UTF-8\"");
    let bench = Bench::new();
    let outcome = bench.run(&["lever", "fit", "gone.csv"]);
    assert_refused(&outcome, 1, "there is no file gone.csv; check its name and folder");
    let outcome = bench.run(&["lever", "fit", "."]);
    assert_refused(&outcome, 3, ".: it is a folder, not a file of readings");
    bench.write("big.csv", "");
    let path = bench.data().with_file_name("big.csv");
    std::fs::OpenOptions::new().write(true).open(path).unwrap().set_len(100_000_000).unwrap();
    assert_refused(
        &bench.run(&["lever", "fit", "big.csv"]),
        3,
        "big.csv: it is larger than 16 MB, and a file of readings has a few hundred lines; check \
         that this is the right file",
    );
    let mut many = String::from("load,reading\n");
    many.push_str(&"1,2\n".repeat(1_000_001));
    assert_table_refused(
        many,
        "1",
        "it has more than 1000000 rows; split it, or check that it is right",
    );
    for degree in ["0", "3", "two"] {
        let outcome = bench.run(&["lever", "fit", "gone.csv", "--degree", degree]);
        assert_eq!(outcome.code, 2, "{}", outcome.err);
    }
}
