//! Our results for inputs that independent libraries are given too.
//!
//! The runner (`cargo xtask reference`) names a file in `PINHOLD_REFERENCE`; inputs and results go
//! there, and `tests/reference/compare.py` sets its own beside them. Run by itself this test looks
//! only at what needs no other library: all numbers finite, the same seed the same bits.
//!
//! Seeds of the invented pianos: 830000–830003 (judging: not looked at while anything was tuned).

mod fields;
mod processes;

use serde_json::{Value, json};

fn everything() -> Value {
    json!({ "neighbours": fields::neighbours(), "processes": processes::processes() })
}

/// How many numbers there are, all of them finite (JSON has no others: they would be null).
fn numbers(value: &Value) -> usize {
    match value {
        Value::Number(_) => 1,
        Value::Array(list) => list.iter().map(numbers).sum(),
        Value::Object(map) => map.values().map(numbers).sum(),
        Value::Null => panic!("a number is missing"),
        _ => 0,
    }
}

#[test]
fn results_are_whole_and_the_same_twice() {
    let first = everything();
    assert!(numbers(&first) > 10_000);
    assert_eq!(first.to_string(), everything().to_string());
    if let Some(path) = std::env::var_os("PINHOLD_REFERENCE") {
        std::fs::write(&path, first.to_string()).expect("the file the runner named");
    }
}
