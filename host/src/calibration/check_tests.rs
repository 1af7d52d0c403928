//! A check against its calibration: three answers, and what is mistyped.

use pinhold_protocol::record::Direction;

use super::bench::{Bench, BenchPoint, Gravity, GravitySource, HandPosition, Leg, Mass, Setting};
use super::check::{Answer, CheckError, Comparison, evaluate};
use super::record::{
    CALIBRATION_VERSION, CalibrationCurve, CalibrationRecord, CalibrationResult, LeverConstants,
};
use super::terms::{Basis, LeverTerms};
use crate::metrology::Estimate;

const SPAN: f64 = 1.0 / 40_000.0;
const ZERO: f64 = 812_000.0;

const fn estimate(value: f64, u: f64) -> Estimate {
    Estimate { value, u }
}

/// A lever of 0.25 % (k = 1) scale.
pub(super) fn calibration() -> CalibrationRecord {
    CalibrationRecord {
        version: CALIBRATION_VERSION,
        program: "test".to_owned(),
        lever: 7,
        number: 3,
        made_ms: 0,
        due_ms: i64::MAX,
        people: vec![],
        place: String::new(),
        relative_humidity: None,
        room_temperature_c: None,
        remark: String::new(),
        simulated: true,
        bench: bench(1.0),
        result: CalibrationResult {
            curve: CalibrationCurve {
                coefficients: vec![ZERO, 1.0 / SPAN],
                covariance: vec![vec![0.0; 2]; 2],
                residual_sd: 0.0,
                degrees_of_freedom: 40,
                r_squared: 1.0,
                degree_reason: String::new(),
            },
            constants: LeverConstants {
                zero_code: ZERO,
                span_nm_per_count: SPAN,
                weight_moment_nm: 0.6,
            },
            terms: LeverTerms {
                basis: Basis::Calibration { number: 3 },
                scale_relative_u: 0.002_5,
                error_curve: [0.0; 3],
                error_covariance: [[0.0; 3]; 3],
                hysteresis_half_width_nm: 0.005,
                repeatability_u_nm: 0.004,
                zero_u_nm: 0.03,
                cross_load_relative_half_width: 0.001,
                temperature_c: Some((20.0, 22.0)),
                range_nm: Some((0.0, 24.0)),
                ..LeverTerms::class()
            },
            remarks: vec![],
            characteristics: Default::default(),
        },
    }
}

fn point(masses: Vec<usize>, mean_code: f64) -> BenchPoint {
    BenchPoint {
        setting: Setting::Loaded { position: 0, direction: Direction::Sharp, leg: Leg::Up, masses },
        mean_code,
        code_sd: 60.0,
        sample_count: 900,
        force_g: [0.0, 1.0, 0.0],
        temperature_c: 21.0,
        at_ms: 0,
    }
}

/// Torque of the weight below, N·m.
const LOAD_NM: f64 = 2.0 * 9.807 * 0.25;

/// 2 kg at 250 mm, read `factor` times as it is.
fn bench(factor: f64) -> Bench {
    let code = ZERO + factor * LOAD_NM / SPAN;
    Bench {
        masses: vec![Mass { name: "2 kg".to_owned(), mass_kg: estimate(2.0, 0.000_5) }],
        positions: vec![HandPosition { name: "near".to_owned(), arm_m: estimate(0.25, 0.000_3) }],
        gravity: Gravity { value_m_s2: estimate(9.807, 0.000_5), source: GravitySource::Typed },
        points: vec![point(vec![], ZERO), point(vec![0], code), point(vec![], ZERO)],
        seatings: vec![],
    }
}

fn answer(bench: &Bench) -> Answer {
    evaluate(&calibration(), bench, false).unwrap().answer
}

#[test]
fn a_lever_that_reads_its_weight_passes() {
    let result = evaluate(&calibration(), &bench(1.000_5), false).unwrap();
    assert_eq!(result.answer, Answer::Pass);
    assert!((result.load_nm.value - LOAD_NM).abs() < 1e-12);
    assert!((result.weight.difference_nm.value - 0.000_5 * LOAD_NM).abs() < 1e-9);
    // Mass 0.025 %, arm 0.12 %, gravity 0.005 %, air 0.009 %, level handle 0.009 %, and
    // repeatability 4 mN·m, hysteresis 2.9 mN·m, a tenth of a millinewton-metre of noise.
    let load_u = LOAD_NM
        * [0.000_25_f64, 0.001_2, 0.000_05, 0.000_087, 0.000_094]
            .map(|part| part * part)
            .iter()
            .sum::<f64>()
            .sqrt();
    assert!((result.load_nm.u / load_u - 1.0).abs() < 0.01, "{} {load_u}", result.load_nm.u);
    let read_u = (0.004_f64.powi(2) + 0.005_f64.powi(2) / 3.0).sqrt();
    assert!((result.read_nm.u / read_u - 1.0).abs() < 0.01, "{} {read_u}", result.read_nm.u);
    assert!(result.same_weight);
    // The limit is 1 %, for the calibration claims 2·√(0.25² + 0.1²/3 + …) % = 0.53 %.
    assert!((result.weight.limit_nm - 0.01 * LOAD_NM).abs() < 1e-12);
}

#[test]
fn three_answers_stand_on_either_side_of_the_guard_band() {
    for (percent, expected) in [
        (-0.5, Answer::Pass),
        (0.7, Answer::Pass),
        (0.9, Answer::CannotTell),
        (-1.1, Answer::CannotTell),
        (1.4, Answer::Fail),
        (-3.0, Answer::Fail),
    ] {
        assert_eq!(answer(&bench(1.0 + percent / 100.0)), expected, "{percent} %");
    }
    let of = |value, u| Comparison::of(estimate(value, u), 1.0).answer;
    assert_eq!(of(1.0, 0.0), Answer::Pass, "at the limit");
    assert_eq!(of(0.0, 0.6), Answer::Pass);
    assert_eq!(of(0.0, 0.7), Answer::CannotTell, "an unsure check never passes");
    assert_eq!(of(f64::NAN, 0.1), Answer::CannotTell);
}

#[test]
fn a_rough_weight_cannot_tell() {
    let mut rough = bench(1.0);
    rough.positions[0].arm_m.u = 0.003;
    assert_eq!(answer(&rough), Answer::CannotTell);
    assert!(!evaluate(&calibration(), &rough, false).unwrap().same_weight);
}

#[test]
fn a_calibration_less_sure_of_itself_allows_more() {
    let mut unsure = calibration();
    unsure.result.terms.scale_relative_u = 0.015;
    let result = evaluate(&unsure, &bench(1.02), false).unwrap();
    assert_eq!(result.answer, Answer::Pass);
    assert!(result.weight.limit_nm > 0.03 * LOAD_NM);
}

#[test]
fn the_error_curve_of_the_calibration_is_taken_off() {
    let mut curved = calibration();
    curved.result.terms.error_curve = [0.2, 0.02, 0.0];
    assert_eq!(evaluate(&curved, &bench(1.0204), false).unwrap().answer, Answer::Pass);
    assert_eq!(evaluate(&curved, &bench(1.0), false).unwrap().answer, Answer::Fail);
}

#[test]
fn a_zero_that_moved_is_told() {
    let mut overloaded = bench(1.0);
    for point in &mut overloaded.points {
        point.mean_code += 0.7 / SPAN;
    }
    let result = evaluate(&calibration(), &overloaded, false).unwrap();
    assert_eq!((result.weight.answer, result.zero.answer), (Answer::Pass, Answer::Fail));
    assert_eq!(result.answer, Answer::Fail);
    let mut drifting = bench(1.0);
    drifting.points[2].mean_code += 0.2 / SPAN;
    let result = evaluate(&calibration(), &drifting, false).unwrap();
    assert_eq!((result.zero_return.answer, result.answer), (Answer::Fail, Answer::Fail));
}

#[test]
fn the_load_follows_the_tilt() {
    // 5 degrees off level: 0.4 % less.
    let mut tilted = bench(0.996_2);
    let (sin, cos) = (libm::sin(5.0_f64.to_radians()), libm::cos(5.0_f64.to_radians()));
    tilted.points[1].force_g = [sin, cos, 0.0];
    let result = evaluate(&calibration(), &tilted, false).unwrap();
    assert!((result.load_nm.value / LOAD_NM - 0.996_195).abs() < 1e-6);
    assert!(result.weight.difference_nm.value.abs() < 0.001);
    // The other way round, the load is flat and so is the reading.
    let mut flat = bench(-1.0);
    flat.points[1].force_g = [0.0, -1.0, 0.0];
    let result = evaluate(&calibration(), &flat, false).unwrap();
    assert!(result.load_nm.value < 0.0 && result.answer == Answer::Pass);
}

#[test]
fn what_is_mistyped_is_told_apart_from_a_broken_lever() {
    let refused = |factor: f64| evaluate(&calibration(), &bench(factor), false).unwrap_err();
    for (factor, words) in [
        (10.0, "centimetres typed as millimetres"),
        (25.4, "inches typed as millimetres"),
        (0.4536, "pounds typed as kilograms"),
        (2.0, "two weights hung"),
        (0.0, "does the weight hang?"),
        (1.4, "1.40 times what this mass at this arm gives; check both"),
        (-1.0, "pulling flat, its motion sensor says it pulls sharp"),
    ] {
        let told = refused(factor).to_string();
        assert!(told.contains(words), "{factor}: {told}");
    }
    // Whoever is sure may say so: then it is the lever.
    let result = evaluate(&calibration(), &bench(1.4), true).unwrap();
    assert_eq!(result.answer, Answer::Fail);
}

#[test]
fn what_is_no_check_is_refused() {
    let refused = |change: &dyn Fn(&mut Bench)| {
        let mut changed = bench(1.0);
        change(&mut changed);
        evaluate(&calibration(), &changed, false).unwrap_err()
    };
    assert_eq!(refused(&|bench| bench.points.truncate(2)), CheckError::Incomplete);
    assert_eq!(refused(&|bench| bench.points.swap(0, 1)), CheckError::Incomplete);
    assert_eq!(refused(&|bench| bench.masses.clear()), CheckError::Incomplete);
    assert_eq!(refused(&|bench| bench.masses[0].mass_kg.value = 0.0), CheckError::NoLoad);
    assert_eq!(refused(&|bench| bench.positions[0].arm_m.value = f64::NAN), CheckError::NoLoad);
    assert_eq!(refused(&|bench| bench.positions[0].arm_m.u = 1.0), CheckError::NoLoad);
    for force_g in [[0.0, 1.3, 0.0], [0.0; 3], [f64::NAN; 3]] {
        let told = refused(&|bench| bench.points[1].force_g = force_g);
        assert!(matches!(told, CheckError::NotAtRest { .. }), "{told}");
    }
    let told = refused(&|bench| bench.points[1].force_g = [0.5, 0.866, 0.0]);
    assert!(told.to_string().contains("30 degrees off level"), "{told}");
}

#[test]
fn hardly_an_honest_check_of_a_good_lever_fails() {
    // The lever's own error and the weight's drawn from what they claim.
    let mut state = 1_u64;
    let mut normal = || {
        // Sum of twelve uniform numbers, a normal one nearly enough for this.
        let sum: f64 = (0..12)
            .map(|_| {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                (state >> 11) as f64 / (1_u64 << 53) as f64
            })
            .sum();
        sum - 6.0
    };
    let mut counts = [0_u32; 3];
    for _ in 0..2000 {
        let factor = 1.0 + 0.002_5 * normal() + 0.001_3 * normal();
        match answer(&bench(factor)) {
            Answer::Pass => counts[0] += 1,
            Answer::CannotTell => counts[1] += 1,
            Answer::Fail => counts[2] += 1,
        }
    }
    assert!(counts[2] <= 2 && counts[0] >= 1940, "{counts:?}");
}
