//! Torque in the user's unit: typed in any, shown in one, always N·m for programs.

use serde_json::Value;

use crate::run::{Bench, assert_refused};

/// A pin that is soft beside sound ones, so that zones and bands have something to say.
fn field() -> String {
    let mut text = String::from("note,string,sharp_nm,flat_nm\n");
    for note in 30..=60 {
        for string in ["L", "C", "R"] {
            let friction = if (40..46).contains(&note) { 3.0 } else { 9.5 };
            text.push_str(&format!("{note},{string},{},{}\n", friction + 2.9, friction - 2.9));
        }
    }
    text
}

/// Sharp torque of the pins read, by name of the pin, N·m.
fn sharp_nm(bench: &Bench) -> Vec<f64> {
    let document = bench.document(&["map", "x"]);
    let pins = document["pins"].as_array().expect("pins").iter();
    pins.filter_map(|pin| pin["sharp_nm"].as_f64()).collect()
}

#[test]
fn a_cell_carries_its_unit() {
    let bench = Bench::new();
    let outcome = bench.import(
        "note,string,sharp,flat,u\n40,L,80 in-lb,3 Nm,2 in-lb\n40,C,9.04 N·m,31 kgf·cm,\n\
         40,R,80inlb,,\n",
    );
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    // NIST SP 811: 1 in·lbf is 0.112 984 8 N·m.
    let got = sharp_nm(&bench);
    for (got, expected) in got.iter().zip([80.0 * 0.112_984_8, 9.04, 80.0 * 0.112_984_8]) {
        assert!((got - expected).abs() < 1e-4, "{got} {expected}");
    }
    assert_eq!(got.len(), 3);
    bench.write("limits.csv", "note,string,sharp,kind\n40,L,> 160 in-lb,limit\n40,C,<5 Nm,limit\n");
    let outcome = bench.run(&["import", "limits.csv", "--instrument", "x"]);
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    let document = bench.document(&["map", "x"]);
    let pins = document["pins"].as_array().expect("pins").iter();
    let lower: Vec<&Value> = pins
        .filter(|pin| pin["friction_is_lower_limit"] == true)
        .map(|pin| &pin["string"])
        .collect();
    assert_eq!(lower, ["L"]);
}

#[test]
fn a_unit_in_a_cell_agrees_with_its_column_and_takes_a_decimal_comma() {
    let bench = Bench::new();
    let outcome = bench.import("note;string;sharp_nm;flat\n40;L;9,3 N.m;35,5 in.lb\n");
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    assert!((sharp_nm(&bench)[0] - 9.3).abs() < 1e-6);
}

#[test]
fn cells_without_a_unit_or_with_another_are_refused() {
    let refused = |text: &str, faults: &str| {
        let bench = Bench::new();
        let outcome = bench.import(text);
        let count = faults.matches("line ").count();
        let noun = if count == 1 { "fault" } else { "faults" };
        let sentence = format!("readings.csv: {count} {noun}, nothing was stored{faults}");
        assert_refused(&outcome, 3, &sentence);
    };
    refused(
        "note,string,sharp,u\n40,L,80,2\n",
        "\n  line 2, column sharp: '80' has no unit; write it behind the number, or name the \
         column sharp_nm\
         \n  line 2, column u: '2' has no unit; write it behind the number, or name the \
         column u_nm",
    );
    refused(
        "note,string,sharp_nm\n40,L,80 in-lb\n",
        "\n  line 2, column sharp_nm: '80 in-lb' is not in N·m, as the column's name says; name it \
         sharp and write the unit in every cell",
    );
    refused(
        "note,string,sharp\n40,L,80 ft-lb\n",
        "\n  line 2, column sharp: 'ft-lb' is no unit of torque; use nm, inlb or kgfcm",
    );
    refused(
        "note,string,sharp\n40,L,\"9,3 Nm\"\n",
        "\n  line 2, column sharp: '9,3 Nm' is not a number; write a decimal point",
    );
    refused(
        "note,string,sharp_nm,u\n40,L,9,400 in-lb\n",
        "\n  line 2, column u: '400 in-lb' is not within 0 to 177",
    );
}

#[test]
fn faults_are_told_in_the_users_unit() {
    let bench = Bench::new();
    bench.write("a.csv", "note,string,sharp_nm,flat_nm,friction_nm\n40,L,80,,\n40,C,9,3,8\n");
    let outcome =
        bench.run(&["import", "a.csv", "--instrument", "x", "--create", "--unit", "inlb"]);
    assert_refused(
        &outcome,
        3,
        "a.csv: 2 faults, nothing was stored\
         \n  line 2, column sharp_nm: '80' is 708 in·lbf, more than any pin takes; check the unit\
         \n  line 3, column sharp_nm: friction is 70.8 in·lbf, but sharp and flat give 53.1 \
         in·lbf; correct one or leave friction out",
    );
}

#[test]
fn the_unit_governs_everything_that_is_shown_but_no_document() {
    let bench = Bench::new();
    let told = |unit: &str, arguments: &[&str]| {
        let outcome = bench.run(&[arguments, &["--unit", unit]].concat());
        assert_eq!(outcome.code, 0, "{arguments:?}");
        outcome.out + &outcome.err
    };
    bench.write("a.csv", field());
    bench.write("b.csv", "note,string,sharp_nm,flat_nm\n40,L,9,3\n");
    let mut all = told("inlb", &["import", "a.csv", "--instrument", "x", "--create"]);
    for arguments in [
        &["map", "x"][..],
        &["map", "x", "--svg", "x.svg"],
        &["verdict", "x"],
        &["report", "x", "--out", "x.html"],
    ] {
        all.push_str(&told("inlb", arguments));
    }
    for file in ["x.svg", "x.html"] {
        all.push_str(&std::fs::read_to_string(bench.data().with_file_name(file)).expect(file));
    }
    assert!(all.contains("in·lbf") && all.contains("in·lbf/mm"));
    assert!(!all.contains("N·m") && !all.contains("kgf·cm"));
    let documents: Vec<Value> = ["nm", "inlb", "kgfcm"]
        .iter()
        .map(|unit| bench.document(&["map", "x", "--unit", unit]))
        .collect();
    assert!(documents.iter().all(|document| *document == documents[0]));
}

#[test]
fn the_environment_gives_the_unit_unless_the_command_line_does() {
    let bench = Bench::new();
    bench.import(field());
    let map = |variable: &str, arguments: &[&str]| {
        let output = bench.command(arguments).env("PINHOLD_UNIT", variable).output().expect("run");
        let text = |bytes| String::from_utf8(bytes).expect("text");
        (output.status.code(), text(output.stdout), text(output.stderr))
    };
    assert!(map("in-lb", &["map", "x"]).1.contains("friction in in·lbf"));
    assert!(map("kgfcm", &["map", "x", "--unit", "nm"]).1.contains("friction in N·m"));
    assert!(map("", &["map", "x"]).1.contains("friction in N·m"));
    let sentence =
        "error: PINHOLD_UNIT: 'stone\\u{1b}' is no unit of torque; use nm, inlb or kgfcm\n";
    let expected = (Some(2), String::new(), sentence.to_string());
    assert_eq!(map("stone\u{1b}", &["map", "x"]), expected);
}

#[test]
fn temperatures_and_pin_sizes_take_units() {
    let bench = Bench::new();
    bench.run(&["instrument", "add", "y", "--pin-um", "7.16 mm"]);
    let shown = bench.document(&["instrument", "show", "y"]);
    assert_eq!(shown["instrument"]["pins"][0]["pin_um"], 7160);
    bench.write("b.csv", "note,string,sharp_nm,flat_nm\n40,L,9,3\n");
    let import = ["import", "b.csv", "--instrument", "y", "--temperature"];
    assert_eq!(bench.run(&[&import[..], &["70 F"]].concat()).code, 0);
    for bad in ["700 F", "70 K", "warm"] {
        assert_eq!(bench.run(&[&import[..], &[bad]].concat()).code, 2, "{bad}");
    }
}
