//! Calibrations and checks to store.

use pinhold::calibration::bench::{
    Bench, BenchPoint, Gravity, GravitySource, HandPosition, Leg, Mass, SeatingReading, Setting,
};
use pinhold::calibration::check::{Answer, CHECK_VERSION, CheckRecord, CheckResult, Comparison};
use pinhold::calibration::record::{
    CALIBRATION_VERSION, CalibrationCurve, CalibrationRecord, CalibrationResult, LeverConstants,
};
use pinhold::calibration::terms::{Basis, LeverTerms};
use pinhold::metrology::Estimate;
use pinhold_protocol::record::Direction;

/// A calibration with something in every field; `number` also moves its numbers about.
pub(crate) fn calibration(lever: u64, number: u32) -> CalibrationRecord {
    let at = f64::from(number);
    let point = |setting, at_ms| BenchPoint {
        setting,
        mean_code: 812_345.678_9 + at / 3.0,
        code_sd: 12.5,
        sample_count: 2000,
        force_g: [0.001, -0.999_87, 0.01],
        temperature_c: 21.37,
        at_ms,
    };
    let loaded = Setting::Loaded {
        position: 0,
        direction: Direction::Flat,
        leg: Leg::Down,
        masses: vec![0],
    };
    CalibrationRecord {
        version: CALIBRATION_VERSION,
        program: "0.1.0".to_owned(),
        lever,
        number,
        made_ms: 1_750_000_000_000 + i64::from(number) * 1000,
        due_ms: 1_781_536_000_000 + i64::from(number) * 1000,
        people: vec!["A. Person".to_owned(), "näh \u{1b}[31m\"<b>".to_owned()],
        place: "workshop".to_owned(),
        relative_humidity: Some(0.45),
        room_temperature_c: None,
        remark: "invented".to_owned(),
        simulated: true,
        bench: Bench {
            masses: vec![Mass {
                name: "2 kg".to_owned(),
                mass_kg: Estimate { value: 2.000_1, u: 0.000_5 },
            }],
            positions: vec![HandPosition {
                name: "near".to_owned(),
                arm_m: Estimate { value: 0.25, u: 0.000_3 },
            }],
            gravity: Gravity {
                value_m_s2: Estimate { value: 9.807_123_4, u: 0.000_2 },
                source: GravitySource::Place { latitude_deg: 47.5, height_m: 400.0 },
            },
            points: vec![point(loaded, 1_750_000_000_000), point(Setting::Free, 1_750_000_060_000)],
            seatings: vec![SeatingReading {
                pin: 3,
                person: 1,
                round: 2,
                friction_nm: 9.1 / 3.0,
                moment_nm: 2.9,
            }],
        },
        result: CalibrationResult {
            curve: CalibrationCurve {
                coefficients: vec![812_000.1, 33_000.7 / 7.0],
                covariance: vec![vec![1.0, 0.1], vec![0.1, 2.0]],
                residual_sd: 3.2,
                degrees_of_freedom: 46,
                r_squared: 0.999_999,
                degree_reason: "straight".to_owned(),
            },
            constants: LeverConstants {
                zero_code: 812_000.1,
                span_nm_per_count: 1.0 / 4_714.385_7,
                weight_moment_nm: 0.61,
            },
            terms: LeverTerms {
                basis: Basis::Calibration { number },
                temperature_c: Some((20.126, 22.5)),
                range_nm: Some((2.4, 24.9)),
                ..LeverTerms::class()
            },
            remarks: vec!["none".to_owned()],
            characteristics: Default::default(),
        },
    }
}

/// A check of that calibration.
pub(crate) fn check(
    lever: u64,
    calibration_number: u32,
    made_ms: i64,
    passed: bool,
) -> CheckRecord {
    let mut bench = calibration(lever, calibration_number).bench;
    bench.points.truncate(1);
    bench.seatings.clear();
    let answer = if passed { Answer::Pass } else { Answer::CannotTell };
    let estimate = |value, u| Estimate { value, u };
    let comparison = Comparison { difference_nm: estimate(0.01, 0.004), limit_nm: 0.05, answer };
    CheckRecord {
        version: CHECK_VERSION,
        program: "0.1.0".to_owned(),
        lever,
        calibration: calibration_number,
        made_ms,
        simulated: true,
        bench,
        result: CheckResult {
            load_nm: estimate(-4.903, 0.006),
            read_nm: estimate(-4.893_211_7, 0.004),
            weight: comparison,
            zero_return: comparison,
            zero: comparison,
            same_weight: true,
            answer,
        },
    }
}
