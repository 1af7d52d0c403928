//! Check, back up, move: what people see.

use std::io::Write;

use crate::run::{Bench, Outcome, assert_refused};
use crate::shelf::{DEVICE, SURVEY, Shelf, pins, reading};

const LINES: &str = "49,L,9.3,4.1\n49,C,9.1,4.0\n49,R,5.5,-0.8\n";

fn bench() -> Bench {
    let bench = Bench::surveyed(LINES, &["--taken", "2026-01-02"]);
    let edited =
        bench.run(&["instrument", "edit", "x", "--owner", "Mx Invented", "--place", "hall"]);
    assert_eq!(edited.code, 0);
    bench
}

fn ok(outcome: &Outcome) -> &str {
    assert_eq!((outcome.code, outcome.err.as_str()), (0, ""));
    &outcome.out
}

/// Flips a byte of the store where a text stands; the lengths of both stay.
fn rot(bench: &Bench, file: &std::path::Path, text: &str) {
    let mut bytes = std::fs::read(file).unwrap();
    let at = bytes.windows(text.len()).rposition(|window| window == text.as_bytes()).unwrap();
    bytes[at] ^= 0x10;
    std::fs::write(file, bytes).unwrap();
    assert!(bench.data().exists());
}

#[test]
fn a_store_is_checked_and_damage_named_with_what_to_do() {
    let bench = Bench::new();
    let none = bench.run(&["verify"]);
    let sentence = format!(
        "there is no store in {} yet; any command that stores something makes it",
        bench.data().display()
    );
    assert_refused(&none, 1, &sentence);
    let bench = self::bench();
    let path = bench.data().join("pinhold.db");
    let shown = path.display().to_string();
    let checked = bench.run(&["verify"]);
    assert_eq!(
        ok(&checked),
        format!(
            "{shown}: nothing wrong\n  1 instrument, 1 survey, 0 readings by levers, 3 by hand, 0 \
             other records\n  checked: structure, schema, references; 5 rows against their seals, \
             0 records against the lever's own checksums\n"
        )
    );
    assert_eq!(ok(&bench.run(&["backup", "b.db"])).lines().count(), 4);
    rot(&bench, &path, "9.3");
    let damaged = bench.run(&["verify"]);
    assert_eq!(damaged.code, 6);
    let named = "  the reading by hand of pin 49L in the survey of 2026-01-02 of instrument 'x' is \
                 not as it was stored: it does not match its seal\n";
    assert!(damaged.out.contains(named), "{}", damaged.out);
    assert!(damaged.err.contains("is damaged in one place"), "{}", damaged.err);
    assert!(damaged.err.contains("`pinhold restore FILE`"), "{}", damaged.err);
    // The rest is read as before, and the command says what it leaves out.
    let map = bench.run(&["map", "x"]);
    assert_eq!(map.code, 0, "{}", map.err);
    assert!(map.err.starts_with("warning: the reading by hand of pin 49L"), "{}", map.err);
    let document = bench.run(&["verify", "--json"]);
    let document: serde_json::Value = serde_json::from_str(&document.out).unwrap();
    assert_eq!((&document["clean"], &document["finding_count"]), (&false.into(), &1.into()));
    let restored = bench.run(&["restore", "b.db"]);
    assert!(ok(&restored).starts_with("Restored from b.db:\n"), "{}", restored.out);
    assert!(restored.out.contains("The store that was in use is kept as "), "{}", restored.out);
    assert_eq!(bench.run(&["verify"]).code, 0);
    assert_eq!(bench.run(&["map", "x"]).err, "");
}

#[test]
fn a_damaged_or_missing_backup_is_refused() {
    let bench = bench();
    ok(&bench.run(&["backup", "b.db"]));
    rot(&bench, &bench.path("b.db"), "9.3");
    let refused = bench.run(&["restore", "b.db"]);
    assert_eq!((refused.code, refused.out.as_str()), (6, ""));
    assert!(refused.err.starts_with("error: b.db is damaged, nothing was changed: 1 fault found"));
    let missing = bench.run(&["restore", "c.db"]);
    assert_eq!(missing.code, 1);
    let own = bench.run(&["backup", "data/pinhold.db"]);
    assert_refused(&own, 2, "data/pinhold.db is the store itself; name another file");
}

#[test]
fn an_instrument_goes_to_another_store_and_back() {
    let (one, other) = (bench(), Bench::new());
    for (file, form) in [("x.pinhold", "bundle"), ("x.json", "json")] {
        let exported = one.run(&["export", "x", "--out", file]);
        assert!(ok(&exported).starts_with("Wrote 5 records to"), "{}", exported.out);
        let path = one.path(file).display().to_string();
        let imported = other.run(&["import", &path]);
        let expected = if form == "bundle" {
            "Stored 5 new records of x; 0 were here already.\n  3 hand reading\n  1 \
             instrument\n  1 survey\nNext: pinhold instrument show x\n"
        } else {
            "Stored 0 new records of x; 5 were here already.\nNext: pinhold instrument show x\n"
        };
        assert_eq!(ok(&imported), expected);
        let again = other.run(&["export", "x", "--as", form]);
        assert_eq!(ok(&again), std::fs::read_to_string(one.path(file)).unwrap());
    }
    let checked = one.run(&["verify", "x.pinhold"]);
    assert_eq!(ok(&checked), "x.pinhold: nothing wrong\n  5 records match their checksums\n");
    rot(&one, &one.path("x.pinhold"), "\"string\":\"R\"");
    let damaged = one.run(&["verify", "x.pinhold"]);
    assert_eq!(damaged.code, 6);
    assert!(damaged.out.contains("  line 6 is damaged: it does"), "{}", damaged.out);
    let path = one.path("x.pinhold").display().to_string();
    let third = Bench::new();
    let refused = third.run(&["import", &path]);
    assert_eq!((refused.code, third.data().exists()), (6, false));
    let rest = third.run(&["import", &path, "--rest"]);
    assert_eq!(rest.code, 0);
    assert!(rest.err.contains("warning: line 6"), "{}", rest.err);
    assert!(rest.out.starts_with("Stored 4 new records of x;"), "{}", rest.out);
    let schema: serde_json::Value =
        serde_json::from_str(ok(&one.run(&["export", "--schema"]))).unwrap();
    assert!(schema["$defs"]["instrument"].is_object());
}

#[test]
fn a_table_goes_out_and_comes_in_again() {
    let bench = bench();
    ok(&bench.run(&["export", "x", "--out", "first.csv"]));
    let first = std::fs::read_to_string(bench.path("first.csv")).unwrap();
    assert_eq!(
        first,
        "note,string,sharp,flat,friction,torque,u_nm,kind,state,cents,pin_um,remark\n\
         49,L,9.3 nm,4.1 nm,,,,running,pitch,,,\n49,C,9.1 nm,4.0 nm,,,,running,pitch,,,\n\
         49,R,5.5 nm,'-0.8 nm,,,,running,pitch,,,\n"
    );
    assert_eq!(bench.run(&["import", "first.csv", "--instrument", "x"]).code, 0);
    assert_eq!(ok(&bench.run(&["export", "x", "--as", "csv"])), first);
    let nameless = bench.run(&["import", "first.csv"]);
    assert_refused(
        &nameless,
        2,
        "--instrument NAME says whose readings a CSV file holds; a new instrument is made with \
         --create",
    );
}

#[test]
fn two_workshops_are_merged_without_doubles_and_differences_named() {
    let (one, other) = (bench(), Bench::new());
    let path = one.path("x.pinhold").display().to_string();
    ok(&one.run(&["export", "x", "--out", &path]));
    ok(&other.run(&["import", &path]));
    ok(&other.run(&["instrument", "add", "y", "--layout", "upright-85"]));
    let theirs = other.data().display().to_string();
    let merged = one.run(&["merge", &theirs]);
    assert!(ok(&merged).starts_with("Stored 1 new records of 2 instruments; 5 were"));
    ok(&other.run(&["instrument", "edit", "x", "--place", "elsewhere"]));
    let differs = one.run(&["merge", &theirs]);
    assert_eq!(differs.code, 6);
    let named = "Differs: instrument 'x' or one of its pins: differs in place\n";
    assert!(differs.out.contains(named), "{}", differs.out);
    let listed = one.document(&["instrument", "list"]);
    assert_eq!(listed["instruments"][0]["facts"]["place"], "hall");
    let left: Vec<_> = std::fs::read_dir(one.data()).unwrap().collect();
    assert_eq!(left.len(), 1, "{left:?}");
    let own = one.run(&["merge", "data"]);
    assert_refused(&own, 2, "data/pinhold.db is the store itself; name another file");
}

#[test]
fn an_owner_is_erased_and_the_pins_stay() {
    let bench = bench();
    let erased = bench.run(&["instrument", "erase-owner", "x"]);
    assert!(ok(&erased).starts_with("Erased owner and place of x: "), "{}", erased.out);
    let document = bench.document(&["instrument", "list"]);
    let facts = &document["instruments"][0]["facts"];
    assert_eq!((&facts["owner"], &facts["place"]), (&"".into(), &"".into()));
    for entry in std::fs::read_dir(bench.data()).unwrap() {
        let bytes = std::fs::read(entry.unwrap().path()).unwrap();
        assert!(!bytes.windows(11).any(|window| window == b"Mx Invented"));
    }
    assert_eq!(bench.run(&["verify"]).code, 0);
}

#[test]
fn levers_that_read_nothing_in_common_say_so() {
    let bench = bench();
    let none = bench.run(&["lever", "agree", "x"]);
    assert_eq!(ok(&none), "No two levers have read 3 pins in common both ways.\n");
}

/// Differences 1, 0, 1, 0 N·m: mean 0.5, standard deviation √(1/3); Student's t of 3 degrees of
/// freedom at 97.5 % is 3.182 (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2).
#[test]
fn levers_that_read_the_same_pins_are_compared() {
    let bench = Bench::new();
    let mut shelf = Shelf::new(&bench);
    shelf.begin(&pins());
    for (pin, friction_nm) in pins().into_iter().zip([5, 6, 7, 8]) {
        shelf.read(&reading(SURVEY, pin, friction_nm));
    }
    shelf.device = DEVICE + 1;
    for (pin, friction_nm) in pins().into_iter().zip([4, 6, 6, 8]) {
        shelf.read(&reading(SURVEY, pin, friction_nm));
    }
    drop(shelf);
    let document = bench.document(&["lever", "agree"]);
    let [pair] = &document["pairs"].as_array().unwrap()[..] else { panic!("{document}") };
    assert_eq!((&pair["pin_count"], &pair["mean_difference_nm"]), (&4.into(), &0.5.into()));
    let half = 3.182 * (1.0_f64 / 3.0).sqrt() / 2.0;
    assert!((pair["interval_nm"][0].as_f64().unwrap() - (0.5 - half)).abs() < 5e-4, "{pair}");
    assert!((pair["interval_nm"][1].as_f64().unwrap() - (0.5 + half)).abs() < 5e-4, "{pair}");
    let told = bench.run(&["lever", "agree", "x"]);
    assert!(ok(&told).contains("no difference shows at this count of pins"), "{}", told.out);
    assert!(told.out.starts_with("lever 000000000000abcd less 000000000000abce: +0.5"));
}

/// Highest memory of a child process of ours so far, bytes.
#[cfg(target_os = "linux")]
fn peak_bytes(child: &mut std::process::Child) -> u64 {
    let place = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    while child.try_wait().unwrap().is_none() {
        let status = std::fs::read_to_string(&place).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"));
        let kib = line.and_then(|rest| rest.trim().trim_end_matches(" kB").parse::<u64>().ok());
        peak = peak.max(kib.unwrap_or(0) * 1024);
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    peak
}

/// A thousand megabytes in every form: refused or read within 64 MB.
#[cfg(target_os = "linux")]
#[test]
fn a_hostile_file_of_a_gigabyte_takes_little_memory() {
    let bench = Bench::new();
    let head = "{\"format\":\"pinhold.instrument.export\",\"version\":1,\"records\":[";
    let entry = "{\"kind\":\"instrument\",\"row\":{\"name\":\"";
    for (name, start) in [
        ("table.csv", "note,string,sharp_nm\n".to_owned()),
        ("line.pinhold", "0123456789abcdef {".to_owned()),
        ("text.json", format!("{head}{entry}")),
        ("nested.json", format!("{head}{}", "[".repeat(100_000))),
    ] {
        let mut file = std::fs::File::create(bench.path(name)).unwrap();
        file.write_all(start.as_bytes()).unwrap();
        // A hole: as long as it says, and nothing on the disk.
        file.set_len(1_000_000_000).unwrap();
        let mut child = bench
            .command(&["import", name, "--instrument", "x", "--create"])
            .stdout(std::process::Stdio::null())
            .stderr(std::process::Stdio::piped())
            .spawn()
            .unwrap();
        let peak = peak_bytes(&mut child);
        let output = child.wait_with_output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(3), "{name}: {said}");
        assert!(peak < 64_000_000, "{name}: {peak} bytes");
    }
}
