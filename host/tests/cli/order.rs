//! `pinhold order`: what the verdict needs, and the work.

use crate::run::{Bench, assert_refused};

/// A grand whose plank was seen parted, one unison read by hand.
fn parted() -> Bench {
    Bench::surveyed("40,L,5.4,-0.6\n40,C,5.1,-0.4\n", &["--plank", "parted"])
}

#[test]
fn a_new_plank_is_listed_pin_by_pin_and_step_by_step() {
    let bench = parted();
    let set = ["condition", "x", "--set", "pins.bushed=yes", "--set", "plank.thickness=29 mm"];
    let recorded = bench.run(&set);
    assert_eq!(recorded.code, 0, "{}", recorded.err);
    let order = bench.document(&["order", "x"]);
    assert_eq!(order["remedy"], "plank");
    let pins = |key: &str| {
        order[key]
            .as_array()
            .unwrap()
            .iter()
            .map(|line| line["pins"].as_u64().unwrap())
            .sum::<u64>()
    };
    // Of 88 notes with 10 singles, 17 pairs and 61 threes: 227 pins.
    let all = 227_u64;
    assert_eq!((pins("pins"), pins("totals")), (all, all));
    assert_eq!(order["bushings"], all + all.div_ceil(20));
    assert_eq!(order["drilling"][0]["least_um"], 6_100);
    let shown = bench.run(&["order", "x"]).out;
    let text = shown.split_whitespace().collect::<Vec<_>>().join(" ");
    for part in ["would come through", "try bits from", "Caution: ", "! 4. "] {
        assert!(text.contains(part), "{part}: {text}");
    }
    assert!(shown.lines().all(|line| line.chars().count() <= 80), "{shown}");
    let torque = bench.run(&["--unit", "inlb", "order", "x"]).out;
    let torque = torque.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(torque.contains("100–120 in·lbf"), "{torque}");
}

#[test]
fn spares_are_as_asked_and_odd_shares_are_refused() {
    let bench = parted();
    let spare = |order: &serde_json::Value| {
        let lines = order["pins"].as_array().unwrap().iter();
        lines.map(|line| line["spare"].as_u64().unwrap()).sum::<u64>()
    };
    assert_eq!(spare(&bench.document(&["order", "x", "--spares", "0"])), 0);
    let many = bench.document(&["order", "x", "--spares", "100"]);
    let all = many["pins"].as_array().unwrap().iter().map(|line| line["pins"].as_u64().unwrap());
    assert_eq!(spare(&many), all.sum::<u64>());
    for odd in ["-1", "101", "many", "NaN"] {
        let refused = bench.run(&["order", "x", &format!("--spares={odd}")]);
        assert_eq!(refused.code, 2, "{odd}: {}", refused.err);
        assert!(refused.err.contains("0 to 100"), "{odd}: {}", refused.err);
    }
}

#[test]
fn without_a_survey_there_is_nothing_to_order() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "x", "--layout", "grand-88"]);
    let sentence = "no pin of x has been read yet; take a survey with `pinhold survey x`, or \
                    `pinhold import FILE.csv --instrument x`";
    assert_refused(&bench.run(&["order", "x"]), 1, sentence);
}
