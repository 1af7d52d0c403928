//! The binary's `lever check` at a simulated bench: somebody hangs what it asks for and presses
//! Enter.
//!
//! Lever, weights and calibration are invented. Seed 81171.

use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;

use pinhold::bench::BenchLever;
use pinhold::calibration::bench::{Gravity, GravitySource, HandPosition, Mass};
use pinhold::calibration::practice::{Model, PracticeLever};
use pinhold::calibration::procedure::{Procedure, Setup};
use pinhold::calibration::record::{CALIBRATION_VERSION, CalibrationRecord, LeverConstants};
use pinhold::calibration::{Choices, evaluate};
use pinhold::link::port;
use pinhold::metrology::Estimate;
use pinhold::store::Store;
use pinhold::survey::{Calendar, Line};
use pinhold_board_virtual::chip::Chip;
use pinhold_board_virtual::pty::Pty;
use pinhold_board_virtual::{BenchHands, BenchPractice, BenchSetup, Pace, Placing, serve};
use pinhold_sim::deadweight::{Equipment, Stated};
use pinhold_sim::friction::Turn;
use pinhold_sim::sensors::{LeverModel, NM_PER_BRIDGE_COUNT, Posture};
use tempfile::TempDir;

use super::CALENDAR_MS;

const SEED: u64 = 81_171;
/// Which of the equipment's masses hangs in a check: the heaviest.
const HEAVIEST: usize = 4;

/// A lever on a bench behind a port, gone when dropped.
struct Weights {
    port: String,
    hands: BenchHands,
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<BenchPractice>>,
}

impl Weights {
    fn start(practice: BenchPractice) -> Weights {
        let mut practice = practice;
        let hands = practice.hands();
        let mut pty = Pty::open().unwrap();
        let port = pty.name().unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let told = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            while !told.load(Ordering::Relaxed) {
                let _ = serve(&mut practice, &mut pty, Pace::Fast, &told);
            }
            practice
        });
        Weights { port, hands, stop, thread: Some(thread) }
    }

    fn line(&self) -> Line<'_> {
        Line { name: self.port.clone(), open: Box::new(|| port::open(&self.port)) }
    }

    /// Runs the binary; whenever it asks for a load, hangs it and presses Enter. `masses` hang
    /// when it asks for the weight.
    fn check(&self, folder: &Path, masses: &[usize], more: &[&str]) -> (i32, String, String) {
        let mut child = Command::new(env!("CARGO_BIN_EXE_pinhold"))
            .arg("--data")
            .arg(folder)
            .args(["lever", "check", "--port", &self.port])
            .args(more)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut enter = child.stdin.take().unwrap();
        let mut told = String::new();
        for line in BufReader::new(child.stderr.take().unwrap()).lines() {
            let line = line.unwrap();
            if line.ends_with("; then press Enter") {
                let hung = if line.starts_with("2 of 3") { masses.to_vec() } else { vec![] };
                self.hands.put(Placing::OnSquare { place: 1, turn: Turn::Sharp, masses: hung });
                enter.write_all(b"\n").unwrap();
            }
            told.push_str(&line);
            told.push('\n');
        }
        let mut out = String::new();
        child.stdout.take().unwrap().read_to_string(&mut out).unwrap();
        (child.wait().unwrap().code().unwrap(), out, told)
    }
}

impl Drop for Weights {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn estimate(stated: &Stated) -> Estimate {
    Estimate { value: stated.value, u: stated.u }
}

/// A calibration with the equipment's weights, its constants those of a lever without error.
fn calibration() -> CalibrationRecord {
    let equipment = Equipment::careful();
    let named = |kind: &str, at: usize| format!("{kind} {at}");
    let masses = equipment.masses_kg.iter().enumerate();
    let arms = equipment.arms_m.iter().enumerate();
    let setup = Setup {
        masses: masses
            .map(|(at, mass)| Mass { name: named("mass", at), mass_kg: estimate(mass) })
            .collect(),
        positions: arms
            .map(|(at, arm)| HandPosition { name: named("place", at), arm_m: estimate(arm) })
            .collect(),
        gravity: Gravity {
            value_m_s2: estimate(&equipment.gravity_m_s2),
            source: GravitySource::Typed,
        },
    };
    let mut procedure = Procedure::new(setup.clone(), SEED, true).unwrap();
    PracticeLever::new(Model::drawn(&setup, 5), 5).finish(&mut procedure, 0);
    let bench = procedure.bench();
    let mut result = evaluate(&bench, &Choices { number: 1, insist: false }).unwrap();
    result.constants = LeverConstants {
        zero_code: 0.0,
        span_nm_per_count: NM_PER_BRIDGE_COUNT,
        weight_moment_nm: 0.588,
    };
    result.terms.error_curve = [0.0; 3];
    CalibrationRecord {
        version: CALIBRATION_VERSION,
        program: "0.1.0".to_owned(),
        lever: SEED,
        number: 1,
        made_ms: 1_767_225_600_000,
        due_ms: 4_102_444_800_000,
        people: vec!["A. Person".to_owned()],
        place: String::new(),
        relative_humidity: None,
        room_temperature_c: None,
        remark: "invented".to_owned(),
        simulated: true,
        bench,
        result,
    }
}

fn bench(lever: LeverModel) -> Weights {
    let equipment = Equipment::careful();
    let setup = BenchSetup { lever, equipment, seed: SEED, device: SEED };
    let weights = Weights::start(BenchPractice::new(setup, Chip::new(8)));
    let mut on_bench = BenchLever::open(weights.line(), Calendar::starting(CALENDAR_MS)).unwrap();
    on_bench.store(&calibration().result.constants, 1).unwrap();
    on_bench.close().unwrap();
    weights
}

#[test]
fn a_lever_in_order_passes_and_one_that_drifted_does_not() {
    let folder = TempDir::new().unwrap();
    let good = bench(LeverModel::ideal(Posture::upright()));
    let (code, _, err) = good.check(folder.path(), &[HEAVIEST], &[]);
    assert_eq!(code, 1);
    assert!(err.contains("error: calibration 1 of lever 0000000000013d13 is not in this"), "{err}");

    Store::open(folder.path()).unwrap().keep_calibration(&calibration()).unwrap();
    let (code, out, err) = good.check(folder.path(), &[HEAVIEST], &[]);
    assert_eq!(code, 0, "{out}{err}");
    assert!(err.contains("Clamp the square firmly"), "{err}");
    assert!(err.contains("2 of 3: hang mass 4 at place 1 (2.5000 kg, 300.0 mm"), "{err}");
    assert!(
        out.contains("  hung: mass 4 at place 1, 7.3") && out.contains("allowed ± 0.0"),
        "{out}"
    );
    assert!(out.contains("mass and arm are those of the calibration"), "{out}");
    assert!(out.ends_with("passed: the lever reads as it was calibrated\n"), "{out}");

    // Half the weight: the typing is doubted before the lever, and nothing is stored.
    let (code, out, err) = good.check(folder.path(), &[1], &[]);
    assert_eq!((code, out.as_str()), (3, ""));
    assert!(err.contains("0.40 times what this mass at this arm gives") && err.contains("typed"));
    assert_eq!(Store::open(folder.path()).unwrap().checks_of(SEED).unwrap().len(), 1);
    drop(good);

    let drifted = bench(LeverModel { span_error: 0.03, ..LeverModel::ideal(Posture::upright()) });
    let (code, out, err) = drifted.check(folder.path(), &[HEAVIEST], &["--json"]);
    assert_eq!(code, 8, "{out}{err}");
    let document: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((&document["answer"], &document["passed"]), (&"fail".into(), &false.into()));
    let off = document["weight"]["difference_nm"].as_f64().unwrap();
    assert!((off - 0.03 * 2.5 * 9.81 * 0.3).abs() < 0.02, "{off}");
    let told = err.lines().last().unwrap();
    assert!(told.starts_with("error: the lever failed its check. Every reading since"), "{told}");
    let checks = Store::open(folder.path()).unwrap().checks_of(SEED).unwrap();
    assert_eq!(checks.iter().map(|check| check.passed()).collect::<Vec<_>>(), [true, false]);
    assert!(checks[1].simulated && checks[1].made_ms > checks[0].made_ms);
}
