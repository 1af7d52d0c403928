//! Constants on their way to the wire, and those that no lever takes.

use super::*;

fn constants() -> LeverConstants {
    LeverConstants {
        zero_code: -277.199,
        span_nm_per_count: 6.985_21e-6,
        weight_moment_nm: 0.588_4,
    }
}

#[test]
fn constants_go_over_as_whole_numbers() {
    let sent = on_the_wire(&constants(), 7).unwrap();
    assert_eq!((sent.number, sent.zero_code_q8), (7, -70_963));
    assert_eq!(sent.span_femtonewton_metres_per_count, 6_985_210_000);
    assert_eq!(sent.weight_moment, Torque::from_micronewton_metres(588_400));
    let span = f64::from(sent.span_newton_metres_per_count_f32());
    assert!((span / 6.985_21e-6 - 1.0).abs() < 1e-7, "{span}");
}

#[test]
fn what_no_lever_takes_is_refused_here() {
    let good = constants();
    let wrong = |constants: LeverConstants, number, told: &str| {
        let error = on_the_wire(&constants, number).unwrap_err().to_string();
        assert!(error.contains(told), "{error}");
    };
    wrong(good, 0, "the number of 0");
    wrong(LeverConstants { zero_code: 9e6, ..good }, 1, "a zero of 9000000 counts");
    wrong(LeverConstants { zero_code: f64::NAN, ..good }, 1, "a zero of NaN");
    wrong(LeverConstants { span_nm_per_count: -7e-6, ..good }, 1, "a span of -7e-6 N·m");
    wrong(LeverConstants { span_nm_per_count: f64::INFINITY, ..good }, 1, "a span of inf");
    wrong(LeverConstants { weight_moment_nm: -0.1, ..good }, 1, "a weight moment of -0.100 N·m");
}
