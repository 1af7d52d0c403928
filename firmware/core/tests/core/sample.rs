//! The sampling pipeline: bins, bias, saturation, and when a new attitude takes force.

use pinhold_lever::calibration::{
    NOMINAL_SPAN_NM_PER_COUNT, NOMINAL_WEIGHT_MOMENT_NM, RATE_RADIANS_PER_SECOND_PER_COUNT,
};
use pinhold_lever::sample::{
    BIN_SAMPLE_COUNT, FinishedBin, MOTION_SAMPLE_COUNT, Pipeline, rounded,
};
use pinhold_lever::{RawMotion, RawSample};
use pinhold_protocol::block::{BRIDGE_CODE_MAX, BRIDGE_CODE_MIN};

fn sample(bridge_code: i32, rate_count: i16) -> RawSample {
    RawSample { bridge_code, rate_count }
}

fn push_all(
    pipeline: &mut Pipeline,
    samples: impl IntoIterator<Item = RawSample>,
) -> Vec<FinishedBin> {
    samples.into_iter().filter_map(|sample| pipeline.push(sample)).collect()
}

#[test]
fn ten_samples_make_a_bin_with_the_means() {
    let mut pipeline = Pipeline::new(1_000_000);
    assert!((pipeline.bin_ms() - 10.0).abs() < 1e-5);
    let bins = push_all(&mut pipeline, (0..25).map(|i| sample(i * 1000, 8)));
    assert_eq!(bins.len(), 2);
    // Codes 0 to 9000, then 10000 to 19000.
    assert_eq!((bins[0].code_sum, bins[1].code_sum), (45_000, 145_000));
    assert_eq!((bins[0].rate_sum, bins[1].rate_sum), (80, 80));
    let torque_nm = 14_500.0 * NOMINAL_SPAN_NM_PER_COUNT;
    assert!((bins[1].bin.torque_nm - torque_nm).abs() < 1e-7);
    // 8 counts are 35 mdeg/s; the second bin's middle is 15 ms on.
    let turned_rad = 15.0 * 0.001 * 8.0 * RATE_RADIANS_PER_SECOND_PER_COUNT;
    assert!((bins[1].bin.angle_rad - turned_rad).abs() < 1e-9, "{:?}", bins[1]);
    assert_eq!(pipeline.sample_index(), 25);
}

#[test]
fn the_bias_is_taken_off_and_nudged_a_quarter_of_the_way() {
    let mut pipeline = Pipeline::new(1_000_000);
    // 500 samples at rest that show 10.5 counts.
    pipeline.set_bias(5_250, 500);
    let bins = push_all(&mut pipeline, (0..1000).map(|i| sample(0, 10 + (i % 2) as i16)));
    let drift_rad = bins.last().unwrap().bin.angle_rad.abs();
    assert!(drift_rad < 1e-7, "{drift_rad}");
    assert!(pipeline.rate_radians_per_second(5_250, 500).abs() < 1e-9);
    // Rest now shows 14.5: the bias goes to 11.5, so 3 counts are left.
    pipeline.nudge_bias(1_450, 100);
    let left = pipeline.rate_radians_per_second(1_450, 100) / RATE_RADIANS_PER_SECOND_PER_COUNT;
    assert!((left - 3.0).abs() < 1e-3, "{left}");
    pipeline.reset_angle();
    let bins = push_all(&mut pipeline, (0..10).map(|_| sample(0, 0)));
    assert!(bins[0].bin.angle_rad < 0.0, "a bias of 11.5 makes rest look like turning flat");
}

#[test]
fn a_code_at_the_end_of_its_range_spoils_its_bin_and_is_counted() {
    let mut pipeline = Pipeline::new(1_000_000);
    for (code, saturated) in [
        (BRIDGE_CODE_MAX, true),
        (BRIDGE_CODE_MIN, true),
        (i32::MAX, true),
        (BRIDGE_CODE_MAX - 1, false),
        (BRIDGE_CODE_MIN + 1, false),
    ] {
        let before = pipeline.saturated_sample_count;
        let bins = push_all(
            &mut pipeline,
            (0..BIN_SAMPLE_COUNT).map(|i| sample(if i == 3 { code } else { 0 }, 0)),
        );
        assert_eq!(bins.len(), 1);
        assert_eq!(bins[0].saturated, saturated, "{code}");
        assert_eq!(pipeline.saturated_sample_count - before, u32::from(saturated), "{code}");
    }
}

#[test]
fn an_attitude_takes_force_at_the_next_multiple_of_64() {
    let upright = RawMotion { acceleration_milli_g: [0, 1000, 0], temperature_centi_celsius: 2000 };
    let mut pipeline = Pipeline::new(1_000_000);
    let still = |count: u32| (0..count).map(|_| sample(0, 0));
    push_all(&mut pipeline, still(1));
    pipeline.set_motion(upright);
    let bins = push_all(&mut pipeline, still(MOTION_SAMPLE_COUNT - 1));
    assert!(bins.iter().all(|finished| finished.bin.torque_nm == 0.0));
    assert_eq!(pipeline.motion, RawMotion::default());
    let bins = push_all(&mut pipeline, still(10));
    assert_eq!(pipeline.motion, upright);
    assert!((bins[0].bin.torque_nm - NOMINAL_WEIGHT_MOMENT_NM).abs() < 1e-6, "{:?}", bins[0]);
}

/// Published case SIG-P07: 30·sin(πt) degrees per second for a second with a bias of 0.8 turn by
/// 30·(1 − cos π)/π = 19.0986 degrees, and by 0.8 more where the bias is left in. The lever sums
/// whole counts, so the trapezoids' 1e-6 is out of its reach; the case allows 0.002 to the exact
/// value.
#[test]
fn the_angle_of_a_half_wave_with_and_without_its_bias() {
    const EXACT_DEG: f32 = 19.098_593;
    const TOLERANCE_DEG: f32 = 0.002;
    let counts = |t_s: f64| {
        let deg_s = 0.8 + 30.0 * libm::sin(core::f64::consts::PI * t_s);
        (deg_s / 4.375e-3 + 0.5) as i16
    };
    let bias_count = 0.8 / 4.375e-3;
    for (bias_sum, sample_count, expected_deg) in [
        (0, 1, EXACT_DEG + 0.8),
        // Half a million samples at rest know the bias to a fraction of a count.
        ((bias_count * 500_000.0) as i64, 500_000, EXACT_DEG),
    ] {
        let mut pipeline = Pipeline::new(1_000_000);
        pipeline.set_bias(bias_sum, sample_count);
        // A sample is the rate at the middle of its millisecond.
        let turning = (0..1000).map(|i| sample(0, counts((f64::from(i) + 0.5) / 1000.0)));
        push_all(&mut pipeline, turning);
        // A bin's angle is that at its middle: one more, at the bias, reads the end.
        let rest = (bias_sum / i64::from(sample_count)) as i16;
        let at_end = push_all(&mut pipeline, (0..BIN_SAMPLE_COUNT).map(|_| sample(0, rest)));
        let turned_deg = at_end[0].bin.angle_rad.to_degrees();
        assert!((turned_deg - expected_deg).abs() < TOLERANCE_DEG, "{turned_deg}");
    }
}

/// Rounding goes to the nearest step, of two as near to the even one, and not again.
#[test]
fn samples_are_rounded_once_and_without_bias() {
    let round = |bridge_code, rate_count| rounded(RawSample { bridge_code, rate_count });
    let (mut bridge_sum, mut rate_sum) = (0i64, 0i64);
    for code in -320..320 {
        let once = round(code, code as i16);
        assert_eq!(rounded(once), once);
        assert_eq!((once.bridge_code % 16, once.rate_count % 4), (0, 0));
        assert!((once.bridge_code - code).abs() <= 8);
        assert!((i32::from(once.rate_count) - code).abs() <= 2);
        bridge_sum += i64::from(once.bridge_code - code);
        rate_sum += i64::from(once.rate_count) - i64::from(code);
    }
    assert_eq!((bridge_sum, rate_sum), (0, 0));
    assert_eq!(round(8, 2), RawSample { bridge_code: 0, rate_count: 0 });
    assert_eq!(round(24, 6), RawSample { bridge_code: 32, rate_count: 8 });
}

/// Only what was at the end of its range is there afterwards; nothing leaves its range.
#[test]
fn rounding_keeps_the_ends_of_the_range() {
    for code in [BRIDGE_CODE_MIN, BRIDGE_CODE_MAX, i32::MIN, i32::MAX] {
        assert_eq!(rounded(RawSample { bridge_code: code, rate_count: 0 }).bridge_code, code);
    }
    for code in [BRIDGE_CODE_MIN + 1, BRIDGE_CODE_MIN + 7, BRIDGE_CODE_MAX - 1, BRIDGE_CODE_MAX - 9]
    {
        let once = rounded(RawSample { bridge_code: code, rate_count: 0 });
        assert!(once.bridge_code > BRIDGE_CODE_MIN && once.bridge_code < BRIDGE_CODE_MAX);
        assert!((once.bridge_code - code).abs() < 16);
        assert_eq!(rounded(once), once);
    }
    for rate_count in [i16::MIN, i16::MAX] {
        assert_eq!(rounded(RawSample { bridge_code: 0, rate_count }).rate_count, rate_count);
    }
    for rate_count in [i16::MIN + 1, i16::MAX - 1, i16::MAX - 2] {
        let once = rounded(RawSample { bridge_code: 0, rate_count });
        assert!(once.rate_count > i16::MIN && once.rate_count < i16::MAX);
        assert!((i32::from(once.rate_count) - i32::from(rate_count)).abs() < 4);
    }
}
