//! Loads the published cases under `data/` and judges values by their own tolerances.
//!
//! Each topic is a folder with `cases.json`, tables and a README that names source, method and
//! grade of every case. A check takes inputs, expected values and tolerance from there and types
//! none of them by hand. Deliberately not here: the code under check (`tests/published`).
//!
//! Invariant: whatever is missing or malformed fails the test that asked for it.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use serde_json::Value;

/// Folder of the cases, as the cargo that runs the test names it.
fn data_dir() -> PathBuf {
    let package = std::env::var_os("CARGO_MANIFEST_DIR").expect("run the tests with cargo");
    Path::new(&package).join("data")
}

/// Text of a file under `data/`.
///
/// # Panics
/// If it cannot be read.
pub fn read_data(name: &str) -> String {
    let path = data_dir().join(name);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

/// Names of the topics present, in order.
///
/// # Panics
/// If the folder cannot be listed.
pub fn topics() -> Vec<String> {
    let entries = fs::read_dir(data_dir()).expect("data folder");
    let mut names: Vec<String> = entries
        .map(|entry| entry.expect("entry").file_name().to_string_lossy().into_owned())
        .collect();
    names.sort();
    names
}

/// All cases of a topic, in the file's order.
///
/// # Panics
/// If `cases.json` is not what it should be.
pub fn cases(topic: &str) -> Vec<Case> {
    let text = read_data(&format!("{topic}/cases.json"));
    let document: Value = serde_json::from_str(&text).expect("cases.json is JSON");
    let list = document["cases"].as_array().expect("cases[]");
    list.iter().map(|case| Case { topic: topic.to_owned(), document: case.clone() }).collect()
}

/// One case by its id.
///
/// # Panics
/// If the topic has no such case.
pub fn case(topic: &str, id: &str) -> Case {
    let mut all = cases(topic).into_iter();
    all.find(|case| case.id() == id).unwrap_or_else(|| panic!("no case {id} in {topic}"))
}

/// A published case.
#[derive(Clone, Debug)]
pub struct Case {
    topic: String,
    document: Value,
}

impl Case {
    /// Its id, such as `UNI-P01`.
    ///
    /// # Panics
    /// If it has none.
    pub fn id(&self) -> &str {
        self.document["id"].as_str().expect("id")
    }

    fn at(&self, pointer: &str) -> &Value {
        let value = self.document.pointer(pointer);
        value.unwrap_or_else(|| panic!("{}: nothing at {pointer}", self.id()))
    }

    /// The number at a JSON pointer, such as `/inputs/length_m`.
    ///
    /// # Panics
    /// If there is none.
    pub fn number(&self, pointer: &str) -> f64 {
        let number = self.at(pointer).as_f64();
        number.unwrap_or_else(|| panic!("{}: no number at {pointer}", self.id()))
    }

    /// The number at a JSON pointer; `None` where something else stands.
    ///
    /// # Panics
    /// If nothing stands there.
    pub fn maybe_number(&self, pointer: &str) -> Option<f64> {
        self.at(pointer).as_f64()
    }

    /// The text at a JSON pointer.
    ///
    /// # Panics
    /// If there is none.
    pub fn text(&self, pointer: &str) -> &str {
        let text = self.at(pointer).as_str();
        text.unwrap_or_else(|| panic!("{}: no text at {pointer}", self.id()))
    }

    /// Whether what stands at a JSON pointer is true.
    ///
    /// # Panics
    /// If it is neither true nor false.
    pub fn truth(&self, pointer: &str) -> bool {
        let truth = self.at(pointer).as_bool();
        truth.unwrap_or_else(|| panic!("{}: neither true nor false at {pointer}", self.id()))
    }

    /// How many elements the list at a JSON pointer has; never none.
    ///
    /// # Panics
    /// If there is no list, or an empty one.
    pub fn count(&self, pointer: &str) -> usize {
        let count = self.at(pointer).as_array().map_or(0, Vec::len);
        assert!(count > 0, "{}: no list at {pointer}", self.id());
        count
    }

    /// The bytes written as hexadecimal at a JSON pointer.
    ///
    /// # Panics
    /// If there are none.
    pub fn bytes(&self, pointer: &str) -> Vec<u8> {
        hex(self.text(pointer))
    }

    /// Rows of the table named at `/inputs/data_file`.
    ///
    /// # Panics
    /// If there is no table or no row.
    pub fn rows(&self) -> Vec<Row> {
        self.table("/inputs/data_file")
    }

    /// Rows of the table named at a JSON pointer.
    ///
    /// # Panics
    /// If there is no table or no row.
    pub fn table(&self, pointer: &str) -> Vec<Row> {
        let name = format!("{}/{}", self.topic, self.text(pointer));
        let text = read_data(&name);
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let header: Vec<String> =
            reader.headers().expect("header").iter().map(str::to_owned).collect();
        let rows: Vec<Row> = reader
            .records()
            .map(|record| {
                let record = record.expect("row");
                let cells = record.iter().map(str::to_owned);
                Row { table: name.clone(), cells: header.iter().cloned().zip(cells).collect() }
            })
            .collect();
        assert!(!rows.is_empty(), "{name} is empty");
        rows
    }

    /// The tolerance at a JSON pointer below `/tolerance`; an empty one is the case's only.
    ///
    /// # Panics
    /// If it is of no known kind.
    pub fn tolerance(&self, pointer: &str) -> Tolerance {
        let pointer = format!("/tolerance{pointer}");
        let value = self.at(&pointer);
        let limit = match (&value["abs"], &value["rel"], &value["exact"], &value["rule"]) {
            (Value::Number(abs), ..) => Limit::Absolute(abs.as_f64().expect("abs")),
            (_, Value::Number(rel), ..) => Limit::Relative(rel.as_f64().expect("rel")),
            (_, _, Value::Bool(true), _) => Limit::Exact,
            (.., Value::String(rule)) => {
                let limit = Limit::of_rule(rule);
                limit.unwrap_or_else(|| panic!("{}: unknown rule at {pointer}", self.id()))
            }
            _ => panic!("{}: unknown tolerance at {pointer}", self.id()),
        };
        Tolerance { id: self.id().to_owned(), limit }
    }

    /// Asserts that `got` is the number at `expected` within the tolerance at `tolerance`.
    ///
    /// # Panics
    /// If it is not.
    pub fn check(&self, got: f64, expected: &str, tolerance: &str) {
        let printed = self.at(expected).to_string();
        self.tolerance(tolerance).check_printed(got, &printed);
    }
}

/// A row of a table.
#[derive(Clone, Debug)]
pub struct Row {
    table: String,
    cells: BTreeMap<String, String>,
}

impl Row {
    /// The text in a column.
    ///
    /// # Panics
    /// If there is no such column.
    pub fn text(&self, column: &str) -> &str {
        let cell = self.cells.get(column);
        cell.unwrap_or_else(|| panic!("{}: no column {column}", self.table))
    }

    /// The number in a column.
    ///
    /// # Panics
    /// If there is none.
    pub fn number(&self, column: &str) -> f64 {
        let text = self.text(column);
        text.parse().unwrap_or_else(|_| panic!("{}: '{text}' is no number", self.table))
    }

    /// The bytes written as hexadecimal in a column.
    ///
    /// # Panics
    /// If they are not hexadecimal.
    pub fn bytes(&self, column: &str) -> Vec<u8> {
        hex(self.text(column))
    }
}

/// Bytes from hexadecimal pairs set apart by spaces.
///
/// # Panics
/// If they are not.
pub fn hex(text: &str) -> Vec<u8> {
    let pair = |pair| u8::from_str_radix(pair, 16).unwrap_or_else(|_| panic!("not hex: {pair}"));
    text.split_whitespace().map(pair).collect()
}

#[derive(Clone, Copy, Debug)]
enum Limit {
    Absolute(f64),
    Relative(f64),
    Exact,
    /// Rounded to as many decimals as are printed, it is the printed number.
    Printed,
    /// Rounded so, its last digit is within one of the printed number's.
    PrintedWithinOne,
}

impl Limit {
    /// The limit a rule in words stands for.
    fn of_rule(rule: &str) -> Option<Limit> {
        match rule {
            "round to printed digits" | "round to the printed digits" => Some(Limit::Printed),
            // Expected values of these cases are printed with one decimal.
            "round to 1 decimal" => Some(Limit::Printed),
            "to printed digits +-1 in the last (book rounds intermediates)" => {
                Some(Limit::PrintedWithinOne)
            }
            _ => None,
        }
    }
}

/// How many decimals a number was printed with.
fn decimal_count(printed: &str) -> usize {
    printed.split_once('.').map_or(0, |(_, after)| after.len())
}

/// How far a value may be from what is expected.
#[derive(Clone, Debug)]
pub struct Tolerance {
    id: String,
    limit: Limit,
}

impl Tolerance {
    /// Asserts that `got` is within this tolerance of a number that is printed as `expected`: as
    /// [`Tolerance::check_printed`], with half a unit of the last printed decimal besides.
    ///
    /// # Panics
    /// If it is not, or if `expected` is no number.
    pub fn check_rounded(&self, got: f64, expected: &str) {
        let half = 0.5 * 10_f64.powi(-(decimal_count(expected) as i32));
        let want: f64 = expected.parse().unwrap_or(f64::NAN);
        let nearest = got.clamp(want - half, want + half);
        if nearest.is_nan() || nearest != got {
            // Beyond what rounding explains: as far as the tolerance goes from there.
            self.check_printed(got - (nearest - want), expected);
        }
    }

    /// Asserts that `got` is the number printed as `expected`, within this tolerance.
    ///
    /// # Panics
    /// If it is not, or if `expected` is no number.
    pub fn check_printed(&self, got: f64, expected: &str) {
        let Tolerance { id, limit } = self;
        let want: f64 =
            expected.parse().unwrap_or_else(|_| panic!("{id}: '{expected}' is no number"));
        let close = match *limit {
            Limit::Absolute(abs) => (got - want).abs() <= abs,
            Limit::Relative(rel) => (got - want).abs() <= rel * want.abs(),
            Limit::Exact => got == want,
            Limit::Printed if expected.contains('e') => {
                let mantissa = expected.split('e').next().unwrap_or_default();
                let decimals = decimal_count(mantissa);
                format!("{got:.decimals$e}") == format!("{want:.decimals$e}")
            }
            Limit::Printed => {
                let decimals = decimal_count(expected);
                format!("{got:.decimals$}") == format!("{want:.decimals$}")
            }
            Limit::PrintedWithinOne => {
                let decimals = decimal_count(expected);
                let unit = 10_f64.powi(-(decimals as i32));
                let steps = (got / unit).round() - (want / unit).round();
                steps.abs() <= 1.0
            }
        };
        assert!(close, "{id}: {got} is not {expected} within {limit:?}");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn accepts(limit: Limit, got: f64, expected: &str) -> bool {
        let tolerance = Tolerance { id: "made up".into(), limit };
        std::panic::catch_unwind(|| tolerance.check_printed(got, expected)).is_ok()
    }

    #[test]
    fn a_tolerance_refuses_what_lies_beyond_it() {
        assert!(accepts(Limit::Absolute(0.5), 10.5, "10"));
        assert!(!accepts(Limit::Absolute(0.5), 10.6, "10"));
        assert!(accepts(Limit::Relative(0.01), -99.0, "-100"));
        assert!(!accepts(Limit::Relative(0.01), -98.9, "-100"));
        assert!(accepts(Limit::Exact, 0.1, "0.1"));
        assert!(!accepts(Limit::Exact, 0.1 + 0.2, "0.3"));
        assert!(accepts(Limit::Printed, 1.6239, "1.62"));
        assert!(!accepts(Limit::Printed, 1.6251, "1.62"));
        assert!(accepts(Limit::Printed, 1.7554e-6, "1.76e-6"));
        assert!(!accepts(Limit::Printed, 1.7546e-6, "1.76e-6"));
        assert!(accepts(Limit::PrintedWithinOne, 1.6349, "1.62"));
        assert!(!accepts(Limit::PrintedWithinOne, 1.6351, "1.62"));
        assert!(!accepts(Limit::PrintedWithinOne, f64::NAN, "1.62"));
        assert!(!accepts(Limit::Absolute(1.0), f64::NAN, "10"));
    }
}
