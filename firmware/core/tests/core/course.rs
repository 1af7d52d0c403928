//! The trace of a reading against the bins it was made of.

use pinhold_lever::course::Course;
use pinhold_lever::sample::Bin;
use pinhold_protocol::content::{TRACE_BYTES_MAX, TRACE_POINT_COUNT_MAX, Trace, encode_trace};

use crate::numbers::Numbers;

/// Bins that wander, as strokes do, within so many N·m and radians.
fn wander(count: usize, torque_nm: f32, angle_rad: f32, numbers: &mut Numbers) -> Vec<Bin> {
    let mut phase = 0.0f32;
    (0..count)
        .map(|_| {
            phase += numbers.below(100) as f32 / 1_500.0;
            Bin { torque_nm: torque_nm * phase.sin(), angle_rad: angle_rad * (phase * 0.3).cos() }
        })
        .collect()
}

fn trace_of(lead: &[Bin], bins: &[Bin]) -> Trace {
    let mut course = Course::default();
    // What stood there before is forgotten.
    bins.iter().for_each(|bin| course.push(*bin));
    lead.iter().for_each(|bin| course.wait(*bin));
    bins.iter().for_each(|bin| course.push(*bin));
    course.trace(7, 10.0)
}

#[test]
fn every_point_is_the_mean_of_its_bins_to_half_a_step_and_a_unit() {
    let mut numbers = Numbers(5);
    let mut worst = (0.0f64, 0.0f64);
    for count in [1, 60, 78, 79, 80, 200, 777, 3_000, 20_000, 200_000] {
        for (torque_nm, angle_rad) in [(0.3, 0.001), (8.0, 0.02), (25.0, 0.1), (60.0, 0.6)] {
            let bins = wander(count, torque_nm, angle_rad, &mut numbers);
            let lead = wander(30, 0.1, 0.0001, &mut numbers);
            let trace = trace_of(&lead, &bins);
            let all: Vec<Bin> = lead[20..].iter().chain(&bins).copied().collect();
            let merge = trace.interval_ms as usize / 10;
            assert!(merge.is_power_of_two() && trace.interval_ms.is_multiple_of(10));
            assert_eq!(trace.points.len(), all.len() / merge, "{count} bins");
            assert!(merge == 1 || trace.points.len() >= TRACE_POINT_COUNT_MAX / 2);
            let torque_step_nm = trace.torque_step.newton_metres();
            let angle_step_rad = trace.angle_step.radians();
            for (point, bins) in trace.points.iter().zip(all.chunks(merge)) {
                let mean = |of: fn(&Bin) -> f32| {
                    bins.iter().map(|bin| f64::from(of(bin))).sum::<f64>() / merge as f64
                };
                let torque = mean(|bin| bin.torque_nm) / torque_step_nm - f64::from(point.torque);
                let angle = mean(|bin| bin.angle_rad) / angle_step_rad - f64::from(point.angle);
                // Half a step by rounding to it, one more of the finer units between.
                let unit = (0.002 / torque_step_nm, 2e-5 / angle_step_rad);
                assert!(torque.abs() <= 0.5 + 1.5 * unit.0, "{torque} of {torque_step_nm} N·m");
                assert!(angle.abs() <= 0.5 + 1.5 * unit.1, "{angle} of {angle_step_rad} rad");
                worst = (worst.0.max(torque.abs()), worst.1.max(angle.abs()));
            }
            // The steps are no larger than they need be: the largest value comes near the end.
            let largest = trace.points.iter().map(|point| point.torque.unsigned_abs()).max();
            let as_small_as_can_be = trace.torque_step.micronewton_metres() == 2_000;
            assert!(as_small_as_can_be || largest >= Some(60), "{largest:?}");
            let mut record = [0; TRACE_BYTES_MAX];
            assert!(encode_trace(&trace, &mut record).is_ok());
        }
    }
    println!("worst point of a trace: {:.2} steps of torque, {:.2} of angle", worst.0, worst.1);
}

#[test]
fn nothing_begun_is_no_trace() {
    let trace = trace_of(&[Bin::default(); 5], &[]);
    assert!(trace.points.is_empty());
    let mut course = Course::default();
    course.push(Bin { torque_nm: f32::MAX, angle_rad: f32::NAN });
    let wild = course.trace(0, 10.0);
    assert_eq!((wild.points[0].torque, wild.points[0].angle), (127, 0));
}
