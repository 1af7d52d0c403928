//! The binary's `lever calibrate` at a simulated bench: somebody does what it asks for, makes a
//! mistake, and the program is killed on the way.
//!
//! Lever and weights are invented. Seed 604001.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use pinhold::bench::BenchLever;
use pinhold::calibration::bench::{Gravity, GravitySource, HandPosition, Mass, Setting};
use pinhold::calibration::procedure::{Procedure, Setup, Step};
use pinhold::metrology::Estimate;
use pinhold::store::Store;
use pinhold::survey::Calendar;
use pinhold_board_virtual::chip::Chip;
use pinhold_board_virtual::{BenchPractice, BenchSetup, Placing};
use pinhold_protocol::record::Direction;
use pinhold_sim::deadweight::{Equipment, Stated};
use pinhold_sim::friction::Turn;
use pinhold_sim::sensors::{LeverModel, NM_PER_BRIDGE_COUNT, Posture};
use tempfile::TempDir;

use super::CALENDAR_MS;
use super::checked::Weights;

const SEED: u64 = 604_001;
const MASSES_KG: [f64; 3] = [1.0, 2.0, 4.0];
const ARMS_M: [f64; 2] = [0.25, 0.3];
const SPAN_ERROR: f64 = 0.02;
const TYPED: [&str; 12] = [
    "--masses",
    "1 kg ± 0.1 g, 2 kg ± 0.2 g, 4 kg ± 0.4 g",
    "--arm",
    "250 mm ± 0.2 mm",
    "--arm",
    "300 mm ± 0.2 mm",
    "--gravity",
    "9.81",
    "--people",
    "A, B",
    "--due",
    "6mo",
];

/// What somebody does at a prompt.
struct Deeds {
    /// Steps by number, from 1, at which they hang one weight too few, once.
    forgotten: Option<usize>,
    /// Step at which they go back one, once.
    back: Option<usize>,
    /// Step at which the program is killed as they press Enter.
    killed: Option<usize>,
}

const NONE: Deeds = Deeds { forgotten: None, back: None, killed: None };

/// What the program asked for and left behind.
struct Ran {
    code: Option<i32>,
    asked: Vec<usize>,
    out: String,
    err: String,
}

fn steps() -> Vec<Step> {
    let known = |value| Estimate { value, u: 0.0 };
    let setup = Setup {
        masses: MASSES_KG.map(|kg| Mass { name: kg.to_string(), mass_kg: known(kg) }).to_vec(),
        positions: ARMS_M.map(|m| HandPosition { name: m.to_string(), arm_m: known(m) }).to_vec(),
        gravity: Gravity { value_m_s2: known(9.81), source: GravitySource::Typed },
    };
    Procedure::new(setup, SEED, true).unwrap().steps()
}

fn placing(step: &Step, one_too_few: bool) -> Placing {
    let turn = if step.side == Direction::Sharp { Turn::Sharp } else { Turn::Flat };
    match &step.setting {
        Setting::Free => Placing::Held { turn },
        Setting::Loaded { position, masses, .. } => {
            let mut masses = masses.clone();
            if one_too_few {
                masses.pop();
            }
            Placing::OnSquare { place: *position, turn, masses }
        }
    }
}

/// Runs the binary and does what it asks for.
fn calibrate(weights: &Weights, folder: &Path, more: &[&str], mut deeds: Deeds) -> Ran {
    let mut child = Command::new(env!("CARGO_BIN_EXE_pinhold"))
        .arg("--data")
        .arg(folder)
        .args(["lever", "calibrate", "--port", &weights.port])
        .args(more)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let steps = steps();
    let mut keys = child.stdin.take().unwrap();
    let (mut asked, mut err) = (Vec::new(), String::new());
    for line in BufReader::new(child.stderr.take().unwrap()).lines() {
        let line = line.unwrap();
        if line.ends_with("; then press Enter") {
            let number: usize = line.split(' ').next().unwrap().parse().unwrap();
            asked.push(number);
            if deeds.back == Some(number) {
                deeds.back = None;
                keys.write_all(b"b\n").unwrap();
                continue;
            }
            weights.hands.put(placing(&steps[number - 1], deeds.forgotten == Some(number)));
            keys.write_all(b"\n").unwrap();
            if deeds.killed == Some(number) {
                child.kill().unwrap();
            }
        } else if line.contains("a reads it again") {
            // Only the mistake is doubted, and then put right.
            assert_eq!(deeds.forgotten.take(), asked.last().copied(), "{err}");
            weights.hands.put(placing(&steps[asked.last().unwrap() - 1], false));
            keys.write_all(b"a\n").unwrap();
        }
        err.push_str(&line);
        err.push('\n');
    }
    let mut out = String::new();
    child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
    Ran { code: child.wait().unwrap().code(), asked, out, err }
}

#[test]
fn a_calibration_survives_a_mistake_and_a_kill() {
    let folder = TempDir::new().unwrap();
    let stated = |value: f64| Stated { value, u: 1e-4 * value };
    let equipment = Equipment {
        masses_kg: MASSES_KG.map(stated).to_vec(),
        arms_m: ARMS_M.map(stated).to_vec(),
        gravity_m_s2: Stated { value: 9.81, u: 0.000_5 },
        ..Equipment::careful()
    };
    let lever = LeverModel { span_error: SPAN_ERROR, ..LeverModel::ideal(Posture::level_grand()) };
    let setup = BenchSetup { lever, equipment, seed: SEED, device: SEED };
    let weights = Weights::start(BenchPractice::new(setup, Chip::new(8)));

    let killed = calibrate(&weights, folder.path(), &TYPED, Deeds { killed: Some(12), ..NONE });
    assert_eq!(killed.code, None);
    assert_eq!(killed.asked, (1..=12).collect::<Vec<_>>());
    let again = calibrate(&weights, folder.path(), &TYPED, NONE);
    assert_eq!(again.code, Some(3));
    assert!(again.err.contains("unfinished, 11 points read; go on with it with --resume"));

    let deeds = Deeds { forgotten: Some(15), back: Some(20), killed: None };
    let few = calibrate(&weights, folder.path(), &["--resume", "--masses", "1 kg, 2 kg"], NONE);
    assert_eq!((few.code, few.asked.len()), (Some(2), 0), "{}", few.err);
    assert!(few.err.contains("give as many as before"), "{}", few.err);
    // A weight is known better by now; nothing is hung again for it.
    let better = ["--resume", "--masses", "1 kg ± 0.1 g, 2 kg ± 0.2 g, 4.000 kg ± 0.3 g"];
    let whole = calibrate(&weights, folder.path(), &better, deeds);
    assert_eq!(whole.code, Some(0), "{}", whole.err);
    assert_eq!(whole.asked[..2], [12, 13]);
    assert_eq!(whole.asked.last(), Some(&steps().len()));
    assert!(whole.asked.windows(3).any(|three| three == [20, 19, 20]), "{:?}", whole.asked);
    assert!(whole.err.contains("should hang there, and the lever shows"), "{}", whole.err);
    assert!(whole.out.starts_with("calibration 1 of lever"), "{}", whole.out);

    let store = Store::open(folder.path()).unwrap();
    let record = store.calibration(SEED, 1).unwrap().unwrap();
    let span = record.result.constants.span_nm_per_count;
    let off = span / (NM_PER_BRIDGE_COUNT / (1.0 + SPAN_ERROR)) - 1.0;
    assert!(off.abs() < 2.0 * record.result.terms.scale_relative_u + 2e-4, "{off}");
    assert_eq!(record.bench.points.len(), steps().len());
    assert_eq!(record.bench.masses[2].name, "4.000 kg");
    // Who and until when were typed once, before the program was killed.
    assert_eq!(record.people, ["A", "B"]);
    let days = (record.due_ms - record.made_ms) / 86_400_000;
    assert!((180..=185).contains(&days), "{days}");
    let lever = BenchLever::open(weights.line(), Calendar::starting(CALENDAR_MS)).unwrap();
    assert_eq!(lever.hello().calibration, 1);
    lever.close().unwrap();
    let none = calibrate(&weights, folder.path(), &["--resume"], NONE);
    assert_eq!(none.code, Some(1), "{}", none.err);

    // The same constants on a lever that lost them, and a number nobody has.
    let put = calibrate(&weights, folder.path(), &["--put", "1"], NONE);
    assert_eq!(put.code, Some(0), "{}", put.err);
    assert_eq!(calibrate(&weights, folder.path(), &["--put", "9"], NONE).code, Some(1));
}
