//! `pinhold lever record`: the calibration record as a file.

use std::fs;
use std::path::{Path, PathBuf};

use pinhold::store::Store;

use crate::run::{Bench, assert_refused};
use crate::sample_lever::calibration;

const LEVER: u64 = 0x2a7;

/// A bench whose store holds calibrations 3 and 4 of one lever.
fn bench() -> Bench {
    let bench = Bench::new();
    let mut store = Store::open(&bench.data()).unwrap();
    for number in [3, 4] {
        store.keep_calibration(&calibration(LEVER, number)).unwrap();
    }
    bench
}

fn folder(bench: &Bench) -> PathBuf {
    bench.data().parent().unwrap().to_path_buf()
}

fn names(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).unwrap();
    let mut names: Vec<String> =
        entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[test]
fn the_latest_or_the_one_named_is_written() {
    let bench = bench();
    let latest = bench.run(&["lever", "record", "--out", "a.html"]);
    assert_eq!((latest.code, latest.err.as_str()), (0, ""));
    assert_eq!(latest.out, "calibration 4 of lever 00000000000002a7 written to a.html\n");
    let page = fs::read_to_string(folder(&bench).join("a.html")).unwrap();
    assert!(page.contains("number 4") && page.contains("Not an accredited certificate"));
    assert!(page.contains("näh \\u{1b}[31m&quot;&lt;b&gt;"), "names are only text");
    let document = bench.document(&["lever", "record", "2a7", "--number", "3", "--out", "b.HTML"]);
    assert_eq!(document["format"], "pinhold.lever.record");
    assert_eq!((&document["calibration"], &document["file"]), (&3.into(), &"b.HTML".into()));
    let page = fs::read_to_string(folder(&bench).join("b.HTML")).unwrap();
    assert!(page.contains("number 3"));
    assert_eq!(names(&folder(&bench)), ["a.html", "b.HTML", "data"]);
}

#[cfg(feature = "pdf")]
#[test]
fn a_pdf_is_written_the_same_each_time() {
    let bench = bench();
    let written = |name: &str| {
        assert_eq!(bench.run(&["lever", "record", "--out", name]).code, 0);
        fs::read(folder(&bench).join(name)).unwrap()
    };
    let first = written("a.pdf");
    assert!(first.starts_with(b"%PDF-1.7") && first.ends_with(b"%%EOF"));
    assert_eq!(first, written("b.pdf"));
}

#[test]
fn the_unit_is_the_users() {
    let bench = bench();
    let arguments = ["--unit", "inlb", "lever", "record", "--out", "a.html"];
    assert_eq!(bench.run(&arguments).code, 0);
    let page = fs::read_to_string(folder(&bench).join("a.html")).unwrap();
    // 24.9 N·m are 220.4 in·lbf.
    assert!(page.contains("21.2 to 220.4 in·lbf"), "{page}");
}

#[test]
fn what_cannot_be_done_is_one_sentence_and_no_file() {
    let bench = bench();
    let refused = |arguments: &[&str], code: i32, sentence: &str| {
        let outcome = bench.run(&[&["lever", "record"], arguments].concat());
        assert_refused(&outcome, code, sentence);
    };
    refused(
        &["--out", "a.txt"],
        2,
        "a record is an HTML or a PDF file; end the name after --out in .html or .pdf",
    );
    refused(
        &["--number", "9", "--out", "a.html"],
        1,
        "lever 00000000000002a7 has no calibration 9 in this store; 'pinhold lever history' lists \
         them",
    );
    refused(
        &["abc", "--out", "a.html"],
        1,
        "lever 0000000000000abc has no calibration in this store; 'pinhold lever history' lists \
         them",
    );
    let outcome = bench.run(&["lever", "record", "--out", "none/a.html"]);
    assert_eq!((outcome.code, outcome.out.as_str()), (7, ""));
    assert!(outcome.err.starts_with("error: none/a.html cannot be written"), "{}", outcome.err);
    let mut store = Store::open(&bench.data()).unwrap();
    store.keep_calibration(&calibration(0xabc, 1)).unwrap();
    refused(
        &["--out", "a.html"],
        2,
        "several levers are calibrated; name one of 00000000000002a7, 0000000000000abc",
    );
    assert_eq!(names(&folder(&bench)), ["data"]);
}

#[test]
fn without_a_calibration_there_is_nothing_to_write() {
    let bench = Bench::new();
    assert_refused(
        &bench.run(&["lever", "record", "--out", "a.html"]),
        1,
        "no lever was calibrated with this store yet; calibrate one with 'pinhold lever calibrate'",
    );
}
