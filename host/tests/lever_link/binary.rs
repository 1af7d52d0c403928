//! The binary's lever verbs against a lever that works alone.

use std::path::Path;
use std::process::Command;

use tempfile::TempDir;

use super::alone::Alone;

/// Runs the binary on a store; its exit, standard output and standard error.
pub(super) fn pinhold(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_pinhold"))
        .arg("--data")
        .arg(folder)
        .args(arguments)
        .output()
        .unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn a_plan_is_loaded_read_alone_and_fetched() {
    let folder = TempDir::new().unwrap();
    let path = folder.path();
    assert_eq!(pinhold(path, &["instrument", "add", "x"]).0, 0);
    let mut alone = Alone::new(81_161);
    alone.work_for(5000);
    let list = alone.pin_list(2);
    let (code, out, err) = alone.with_host(|line| {
        pinhold(path, &["lever", "load", "x", "--pins", &list, "--port", &line.name])
    });
    assert_eq!(code, 0, "{err}");
    assert!(out.starts_with("2 pins of x stored on the lever, read back and compared.\n"), "{out}");
    assert!(out.contains("Working alone:\n") && out.ends_with("pinhold lever fetch\n"), "{out}");
    assert!(err.contains("Before you touch a pin:"), "{err}");
    let doubt = "  ! the lever is not calibrated: it runs on the values of its design";
    assert_eq!(err.matches(doubt).count(), 1, "{err}");

    alone.press_go(200);
    alone.work(|alone| alone.accepted_count == 2);
    alone.work_for(2000);
    let (code, out, err) =
        alone.with_host(|line| pinhold(path, &["lever", "status", "--port", &line.name]));
    assert_eq!((code, err.as_str()), (0, ""));
    assert!(out.contains("records 0 to 3 readable, 4 not fetched by any computer yet\n"), "{out}");
    assert!(out.contains("  self-test: passed\n"), "{out}");
    assert!(out.contains("  plan: x, 2 pins: 2 read, 0 passed over"), "{out}");

    let (code, out, _) =
        alone.with_host(|line| pinhold(path, &["lever", "fetch", "--port", &line.name]));
    assert_eq!(code, 0);
    assert_eq!(
        out,
        "4 records fetched and stored:\n  2 readings to x\n  2 traces for looking at\nx: 2 of 2 \
         pins read, 0 passed over, 0 left. Every pin measured was moved: it wants a touch-up.\n\
         Next: pinhold map x; pinhold verdict x\n"
    );
    let (code, out, err) =
        alone.with_host(|line| pinhold(path, &["lever", "fetch", "--json", "--port", &line.name]));
    assert_eq!((code, err.as_str()), (0, ""));
    let again: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((&again["fetched"]["records"], &again["inbox"]), (&0.into(), &0.into()));
    let (code, out, _) = pinhold(path, &["readings", "x"]);
    assert_eq!((code, out.matches("no raw samples, trace kept").count()), (0, 2), "{out}");
}
