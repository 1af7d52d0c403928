//! Straight lines and order statistics, against values worked out by hand.

use pinhold_lever::math::{Line, QUANTILE_COUNT_MAX, quantile};

fn close(value: f32, expected: f32) -> bool {
    (value - expected).abs() <= 1e-5 * expected.abs().max(1.0)
}

#[test]
fn a_line_through_four_points() {
    // Means 1.5 and 4.25; Σxx 5, Σxy 11.5; residuals 0.2, −0.1, −0.4, 0.3: Σrr 0.30 over 2.
    let points = [(0.0, 1.0), (1.0, 3.0), (2.0, 5.0), (3.0, 8.0)];
    let line = Line::fit(points.into_iter()).unwrap();
    assert!(close(line.mean_x, 1.5) && close(line.mean_y, 4.25), "{line:?}");
    assert!(close(line.slope, 2.3) && close(line.sum_xx, 5.0), "{line:?}");
    assert!(close(line.scatter, 0.387_298_3), "{line:?}");
    assert_eq!(line.count, 4);
    assert!(close(line.at(0.0), 0.8) && close(line.at(3.0), 7.7));
}

#[test]
fn too_few_points_give_no_line_and_a_column_gives_slope_0() {
    assert_eq!(Line::fit([(0.0, 1.0), (1.0, 2.0)].into_iter()), None);
    assert_eq!(Line::fit([].into_iter()), None);
    let column = Line::fit([(2.0, 1.0), (2.0, 5.0), (2.0, 9.0)].into_iter()).unwrap();
    assert_eq!((column.slope, column.mean_y, column.sum_xx), (0.0, 5.0, 0.0));
}

#[test]
fn a_robust_line_sets_the_outlier_aside() {
    let points = (0u8..10).map(|x| (f32::from(x), if x == 5 { 30.0 } else { 2.0 * f32::from(x) }));
    let plain = Line::fit(points.clone()).unwrap();
    // One point 20 too high: mean 11 in place of 9, and Σxy 165 + 20 · 0.5 over Σxx 82.5.
    assert!(close(plain.mean_y, 11.0) && close(plain.slope, 175.0 / 82.5), "{plain:?}");
    let robust = Line::fit_robust(points, 2.0).unwrap();
    assert!(close(robust.slope, 2.0) && robust.scatter < 1e-4, "{robust:?}");
    assert_eq!(robust.count, 9);
}

#[test]
fn a_robust_line_that_would_keep_too_little_stays_the_plain_one() {
    let points = [(0.0, 0.0), (1.0, 9.0), (2.0, 0.0)];
    let robust = Line::fit_robust(points.into_iter(), 0.1);
    assert_eq!(robust, Line::fit(points.into_iter()));
}

#[test]
fn quantiles_by_counting() {
    let five = [4.0, 1.0, 5.0, 3.0, 2.0].into_iter();
    // Place share · 4, to the nearest.
    for (share, expected) in [(0.0, 1.0), (0.05, 1.0), (0.3, 2.0), (0.5, 3.0), (1.0, 5.0)] {
        assert_eq!(quantile(five.clone(), share), Some(expected), "{share}");
    }
    assert_eq!(quantile([].into_iter(), 0.5), None);
    assert_eq!(quantile([7.0].into_iter(), 0.95), Some(7.0));
    // A share beyond 1 stays within the values.
    assert_eq!(quantile(five, 3.0), Some(5.0));
}

#[test]
fn many_values_are_picked_evenly() {
    // 256 values, every second one looked at: 0, 2, … 254; place 63.5 + 0.5 is the 65th.
    assert_eq!(QUANTILE_COUNT_MAX, 128);
    let many = (0u16..256).map(f32::from);
    assert_eq!(quantile(many.clone(), 0.5), Some(128.0));
    assert_eq!(quantile(many, 1.0), Some(254.0));
}

/// The same value as a sorted list has at that place, whatever the values are.
#[test]
fn quantiles_equal_those_of_a_sorted_list() {
    let mut state = 0x9E37_79B9_u32;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f32::from_bits(state)
    };
    for count in 1..=QUANTILE_COUNT_MAX {
        // Any bits at all: both zeros, infinities and NaNs among them.
        let mut values: Vec<f32> = (0..count).map(|_| next()).collect();
        values[count / 2] = [0.0, -0.0, f32::INFINITY, f32::NAN][count % 4];
        for share in [0.0, 0.05, 0.25, 0.5, 0.95, 1.0] {
            let ours = quantile(values.iter().copied(), share).unwrap();
            let mut sorted = values.clone();
            sorted.sort_by(f32::total_cmp);
            let place = (share * (count - 1) as f32 + 0.5) as usize;
            assert_eq!(ours.to_bits(), sorted[place].to_bits(), "{count} values, {share}");
        }
    }
}
