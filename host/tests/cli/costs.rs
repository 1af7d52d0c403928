//! `pinhold verdict --prices`: remedies in the user's own rates.

use crate::run::Bench;

const PRICES: &str = "format = \"pinhold.prices\"\nversion = 1\ncurrency = \"<b>\"\ntuning = 100\n\
                      extra_tunings_a_year = 2\n[remedy]\nrestring = 3500\nplank = 9000\n";

fn surveyed() -> Bench {
    Bench::surveyed("40,L,5.4,-0.6\n40,C,5.1,-0.4\n", &["--plank", "parted"])
}

#[test]
fn without_prices_no_currency_and_no_amount_appears() {
    let bench = surveyed();
    assert_eq!(bench.document(&["verdict", "x"])["costs"], serde_json::Value::Null);
    assert!(!bench.run(&["verdict", "x"]).out.contains("rates"));
}

#[test]
fn remedies_are_compared_in_the_files_rates() {
    let bench = surveyed();
    bench.write("p.toml", PRICES);
    bench.run(&["condition", "x", "--set", "owner.ceiling=500"]);
    let costs = &bench.document(&["verdict", "x", "--prices", "p.toml"])["costs"];
    let rows = costs["remedies"].as_array().unwrap();
    // Plies were seen to have parted: larger pins are no way out at any price.
    assert_eq!(rows.len(), 2, "{costs}");
    assert_eq!(costs["ruled_out"][1]["remedy"], "restring");
    let expected: Vec<f64> = rows.iter().map(|row| row["expected"].as_f64().unwrap()).collect();
    assert!(expected.windows(2).all(|pair| pair[0] <= pair[1]), "{expected:?}");
    // Five years of two more tunings cost 1000, and no more than that is left to chance.
    let leave = rows.iter().find(|row| row["remedy"] == "leave").unwrap();
    let holds = leave["holds"].as_f64().unwrap();
    assert!((leave["expected"].as_f64().unwrap() - 1000.0 * (1.0 - holds)).abs() < 1e-6, "{leave}");
    let text = bench.run(&["verdict", "x", "--prices", "p.toml"]).out;
    for part in ["In your rates, looking 5 years ahead", "Least expected cost", "not compared"] {
        assert!(text.contains(part), "{part}: {text}");
    }
}

#[test]
fn the_customers_report_compares_them_in_both_languages() {
    let bench = surveyed();
    bench.write("p.toml", PRICES);
    let plain = bench.run(&["report", "x", "--out", "plain.html"]);
    assert_eq!(plain.code, 0, "{}", plain.err);
    let page = |name: &str| std::fs::read_to_string(bench.path(name)).expect("the page");
    assert!(!page("plain.html").contains("rates"));
    let rows = bench.document(&["verdict", "x", "--prices", "p.toml"])["costs"].clone();
    let expected = rows["remedies"][0]["expected"].as_f64().expect("an amount");
    for (language, parts) in [
        ("en", ["In the technician's rates", "Out of the question", "Expected in all"]),
        ("de", ["In den Sätzen der Fachkraft", "Nicht in Frage", "Erwartet insgesamt"]),
    ] {
        let file = format!("{language}.html");
        let told = ["report", "x", "--out", &file, "--lang", language, "--prices", "p.toml"];
        let told = bench.run(&told);
        assert_eq!(told.code, 0, "{}", told.err);
        let html = page(&file).replace("&#39;", "'");
        for part in parts {
            assert!(html.contains(part), "{part}");
        }
        // The currency is the user's own text.
        assert!(html.contains(&format!("{expected:.0} &lt;b&gt;")) && !html.contains("<b>"));
    }
    let refused = bench.run(&["report", "x", "--out", "no.html", "--prices", "none.toml"]);
    assert_eq!(refused.code, 1, "{}", refused.err);
    assert!(!bench.path("no.html").exists());
}

#[test]
fn a_file_that_is_none_is_refused_in_a_sentence() {
    let bench = surveyed();
    let template = bench.run(&["verdict", "--price-template"]);
    assert_eq!(template.code, 0, "{}", template.err);
    bench.write("blank.toml", &template.out);
    bench.write("slip.toml", "format = \"pinhold.prices\"\nversion = 1\n[remedy]\nplonk = 1\n");
    bench.write("other.toml", "a = 1\n");
    for (file, words) in [
        ("blank.toml", "no remedy has a price"),
        ("slip.toml", "line 4"),
        ("other.toml", "format = \"pinhold.prices\""),
    ] {
        let refused = bench.run(&["verdict", "x", "--prices", file]);
        assert_eq!((refused.code, refused.out.as_str()), (3, ""), "{file}: {}", refused.err);
        assert!(refused.err.contains(words), "{file}: {}", refused.err);
        assert_eq!(refused.err.lines().count(), 1, "{}", refused.err);
    }
    let none = bench.run(&["verdict", "x", "--prices", "none.toml"]);
    assert_eq!(none.code, 1, "{}", none.err);
}
