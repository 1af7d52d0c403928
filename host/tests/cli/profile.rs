//! `pinhold profile`: thresholds of the user's own.

use serde_json::Value;

use crate::run::Bench;

/// A pin of 6 N·m among strong ones.
fn surveyed() -> Bench {
    Bench::surveyed("40,L,9.4,2.6\n40,C,12.1,6.4\n", &[])
}

fn doubtful(verdict: &Value) -> f64 {
    verdict["statistics"]["doubtful_share"].as_f64().unwrap_or_else(|| panic!("{verdict}"))
}

#[test]
fn a_profile_changes_what_is_judged_and_is_kept_with_the_verdict() {
    let bench = surveyed();
    let printed = bench.run(&["profile"]);
    assert_eq!(printed.code, 0, "{}", printed.err);
    assert!(printed.out.contains("# doubtful_nm = 5.6  # PRAC: "), "{}", printed.out);
    let strict = printed.out.replace("# doubtful_nm = 5.6", "doubtful_nm = 6.9");
    bench.write("strict.toml", &strict);
    let ours = bench.document(&["verdict", "x"]);
    let theirs = bench.document(&["--profile", "strict.toml", "verdict", "x"]);
    assert!(doubtful(&theirs) > doubtful(&ours), "{} {}", doubtful(&theirs), doubtful(&ours));
    let set = bench.document(&["--profile", "strict.toml", "profile"]);
    assert_eq!(set["set"]["doubtful_nm"], 6.9);
}

#[test]
fn a_profile_that_is_none_is_refused_in_a_sentence() {
    let bench = surveyed();
    bench.write("slip.toml", "format = \"pinhold.profile\"\nversion = 1\ndoubtfull_nm = 5\n");
    let refused = bench.run(&["--profile", "slip.toml", "verdict", "x"]);
    assert_eq!((refused.code, refused.out.as_str()), (3, ""), "{}", refused.err);
    assert!(refused.err.contains("'doubtfull_nm' is no threshold"), "{}", refused.err);
    let none = bench.run(&["--profile", "none.toml", "verdict", "x"]);
    assert_eq!(none.code, 1, "{}", none.err);
}
