//! Counts to torque, and the lever's weight at an attitude: size and sign.

use pinhold_lever::calibration::{
    Calibration, NOMINAL_SPAN_NM_PER_COUNT, NOMINAL_WEIGHT_MOMENT_NM,
};

/// Specific force across the handle, thousandths of standard gravity. On an upright the pins are
/// horizontal; seen from the pin's head, x runs along the handle, z towards the eye, y = z × x.
/// At 3 o'clock x is to the right, so y is up, along the force that holds the lever up.
const AT_3_O_CLOCK: i16 = 1000;
/// At 9 o'clock y points down.
const AT_9_O_CLOCK: i16 = -1000;
/// On a grand, and on an upright with the handle up or down, none is across it.
const NONE_ACROSS: i16 = 0;

#[test]
fn the_levers_weight_by_the_clock() {
    // 0.4 kg at 150 mm: 0.4 · 0.15 · 9.80665 = 0.588 N·m. Hanging to the right the weight turns
    // clockwise, which is sharp and positive.
    let nominal = Calibration::NOMINAL;
    assert!((nominal.weight_nm(AT_3_O_CLOCK) - 0.588_4).abs() < 1e-4);
    assert!((nominal.weight_nm(AT_9_O_CLOCK) + 0.588_4).abs() < 1e-4);
    assert_eq!(nominal.weight_nm(NONE_ACROSS), 0.0);
    // Half way down, at half past four: sin 45°.
    assert!((nominal.weight_nm(707) - 0.416).abs() < 1e-3);
}

#[test]
fn torque_is_span_times_code_plus_weight() {
    // 58.59375 N·m over 2^23 counts: 2 mV/V are 30 N·m, and full scale is 3.90625 mV/V.
    let counts_of_10_nm = 10.0 / NOMINAL_SPAN_NM_PER_COUNT;
    assert!((counts_of_10_nm - 1_431_655.8).abs() < 1.0, "{counts_of_10_nm}");
    let nominal = Calibration::NOMINAL;
    let at = |across| nominal.mean_torque_nm(10 * 1_431_656, 10, across);
    assert!((at(NONE_ACROSS) - 10.0).abs() < 1e-5);
    assert!((at(AT_3_O_CLOCK) - 10.588_4).abs() < 1e-5);
    assert!((at(AT_9_O_CLOCK) - 9.411_6).abs() < 1e-5);
}

#[test]
fn zero_taken_off_the_pin_holds_at_every_attitude() {
    for across in [AT_3_O_CLOCK, AT_9_O_CLOCK, NONE_ACROSS, 500] {
        // Off the pin nothing acts on the head: the hand carries the weight, and the cell reads
        // the bridge's own offset less that.
        let offset = 12_345.0;
        let carried = NOMINAL_WEIGHT_MOMENT_NM * f32::from(across) / 1000.0;
        let code = (offset - carried / NOMINAL_SPAN_NM_PER_COUNT).round() as i64;
        let mut lever = Calibration::NOMINAL;
        lever.take_zero(code * 500, 500, across);
        let there = lever.mean_torque_nm(code * 10, 10, across);
        assert!(there.abs() < 2.0 * NOMINAL_SPAN_NM_PER_COUNT, "{across}: {there}");
        // The zero found is the bridge's own offset, whatever the attitude was.
        let zero = lever.zero_code_q8 as f32 / 256.0;
        assert!((zero - offset).abs() < 2.0, "{across}: {zero}");
        // So on a level plank, with the same offset, torque is right too.
        let code_5_nm = (offset + 5.0 / NOMINAL_SPAN_NM_PER_COUNT).round() as i64;
        let level = lever.mean_torque_nm(code_5_nm * 10, 10, NONE_ACROSS);
        assert!((level - 5.0).abs() < 5e-5, "{across}: {level}");
    }
}

#[test]
fn a_span_error_scales_and_a_zero_error_shifts() {
    let wide = Calibration { span_nm_per_count: 2.0 * NOMINAL_SPAN_NM_PER_COUNT, ..nominal() };
    let shifted = Calibration { zero_code_q8: 1000 << 8, ..nominal() };
    let (plain, code) = (nominal().mean_torque_nm(50_000, 1, 0), 50_000);
    assert_eq!(wide.mean_torque_nm(code, 1, 0), 2.0 * plain);
    let shift = plain - shifted.mean_torque_nm(code, 1, 0);
    assert!((shift - 1000.0 * NOMINAL_SPAN_NM_PER_COUNT).abs() < 1e-6, "{shift}");
    // No samples, no division by zero.
    assert!(nominal().mean_torque_nm(0, 0, 0).is_finite());
}

fn nominal() -> Calibration {
    Calibration::NOMINAL
}
