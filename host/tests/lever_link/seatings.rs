//! `pinhold lever seatings` with a lever on a port: people who press Enter, a pin that gives
//! nothing at first, a host that is killed, another lever.
//!
//! Seeds 81201 and following belong to this file.

use std::io::Write;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use pinhold_protocol::record::Pin;
use pinhold_sim::hand::Gesture;
use tempfile::TempDir;

use super::Bench;

/// Longest wait for the program to get somewhere.
const WAIT_MAX: Duration = Duration::from_secs(60);

fn names(pins: &[Pin]) -> String {
    let name = |pin: &Pin| format!("{}{}", pin.note, pin.string.letter());
    pins.iter().map(name).collect::<Vec<_>>().join(",")
}

fn started(folder: &Path, port: &str, more: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_pinhold"))
        .current_dir(folder)
        .args(["--data", "data", "lever", "seatings", "s.csv", "--port", port])
        .args(more)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Lets the people press these keys; exit, standard output and standard error.
fn finished(mut child: Child, keys: &str) -> (i32, String, String) {
    // A program that refuses ends without reading them.
    let _ = child.stdin.take().unwrap().write_all(keys.as_bytes());
    let output = child.wait_with_output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

/// Pin, person and round of each reading in the file.
fn places(folder: &Path) -> Vec<String> {
    let text = std::fs::read_to_string(folder.join("s.csv")).unwrap_or_default();
    let rows = text.lines().filter(|line| !line.starts_with('#')).skip(1);
    rows.map(|row| row.split(',').take(3).collect::<Vec<_>>().join(" ")).collect()
}

/// The first pin is turned only one way the first time it is met.
fn one_way_at_first(index: usize, tries: u32) -> Gesture {
    static ONE_WAY: AtomicUsize = AtomicUsize::new(0);
    if index == 0 && tries == 0 && ONE_WAY.fetch_add(1, Ordering::Relaxed) == 0 {
        return Gesture::FlatOnly { slip_deg: 0.5 };
    }
    Gesture::micro_stroke()
}

#[test]
fn a_pin_that_gives_nothing_comes_again_and_people_may_stop_between_turns() {
    let folder = TempDir::new().unwrap();
    let path = folder.path();
    let bench = Bench::start_with(81_201, 1, one_way_at_first);
    let pins = names(&bench.pins[..2]);
    let begin = ["--people", "A. Ex, B. Ex", "--pins", &pins, "--rounds", "2"];
    let (code, out, err) = finished(started(path, &bench.port, &begin), "\nq\n");
    assert_eq!((code, out.as_str()), (7, ""), "{err}");
    for words in [
        "Before you touch a pin:",
        "Seating anew:",
        "turn 1 of 4: A. Ex, round 1 of 2, 2 pins to read; A. Ex takes the lever and presses Enter",
        "no friction and string moment for the file; the pin comes again",
        "once more, for friction and string moment: ",
        "turn 2 of 4: B. Ex",
        "error: stopped with 2 of 8 readings; they are kept, go on with 'pinhold lever seatings \
         s.csv'\n",
    ] {
        assert!(err.contains(words), "{words}: {err}");
    }
    assert_eq!(places(path), ["2 1 1", "1 1 1"]);
    // The end of the input stops as well; keys for what is left finish it.
    let (code, _, err) = finished(started(path, &bench.port, &[]), "");
    assert_eq!(code, 7, "{err}");
    let (code, out, err) = finished(started(path, &bench.port, &[]), "\n\n\n");
    assert_eq!(code, 0, "{err}");
    assert!(err.contains("going on: 2 of 8 readings are there\n"), "{err}");
    assert!(out.contains("8 of 8 readings"), "{out}");
    assert!(!out.contains("SIMULATED") && out.ends_with("they want a touch-up.\n"), "{out}");
    let places = places(path);
    assert_eq!(places[2..], ["1 2 1", "2 2 1", "1 1 2", "2 1 2", "1 2 2", "2 2 2"]);
}

#[test]
fn a_killed_host_reads_no_pin_twice_and_another_lever_is_refused() {
    let folder = TempDir::new().unwrap();
    let path = folder.path();
    let bench = Bench::start(81_202, 1);
    let pins = names(&bench.pins[..6]);
    let begin = ["--people", "A. Ex", "--pins", &pins, "--rounds", "2"];
    let mut child = started(path, &bench.port, &begin);
    child.stdin.as_mut().unwrap().write_all(b"\n\n").unwrap();
    let waiting = Instant::now();
    while places(path).len() < 2 {
        assert!(waiting.elapsed() < WAIT_MAX, "nothing came of it");
        std::thread::sleep(Duration::from_millis(1));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let before = places(path);
    assert!(before.len() < 12, "killed too late to tell anything");
    let (code, out, err) = finished(started(path, &bench.port, &["--json"]), "\n\n");
    assert_eq!(code, 0, "{err}");
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(document["lever"], format!("{:016x}", 81_202));
    assert_eq!(document["readings"].as_array().unwrap().len(), 12);
    assert_eq!(places(path)[..before.len()], before);
    // Every record of the lever is in the store once: a fetch finds nothing, the inbox is empty.
    let run = |arguments: &[&str]| {
        let mut command = Command::new(env!("CARGO_BIN_EXE_pinhold"));
        command.current_dir(path).args(["--data", "data", "--json"]).args(arguments);
        serde_json::from_slice::<serde_json::Value>(&command.output().unwrap().stdout).unwrap()
    };
    let fetched = run(&["lever", "fetch", "--port", &bench.port]);
    assert_eq!((&fetched["fetched"]["records"], &fetched["inbox"]), (&0.into(), &0.into()));
    let name = format!("seatings-{:016x}", 81_202);
    let readings = run(&["readings", &name]);
    assert_eq!(readings["readings"].as_array().unwrap().len(), 6, "the last round's");

    let other = Bench::start(81_203, 1);
    let (code, _, err) = finished(started(path, &other.port, &[]), "\n\n");
    assert_eq!(code, 3, "{err}");
    let words = format!("it is of lever {:016x}, and {:016x} answers", 81_202, 81_203);
    assert!(err.contains(&words), "{words}: {err}");
}
