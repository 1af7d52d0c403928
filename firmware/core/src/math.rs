//! Small fixed-order sums: straight-line fits and order statistics over bounded slices.
//!
//! `f32` throughout, one order of operations, so that the lever and the host's replay agree bit
//! for bit. Deliberately not here: anything that allocates or recurses.

use heapless::binary_heap::{BinaryHeap, Min};
use pinhold_protocol::division::divided_signed;

/// The mean of `count` numbers that add up to `sum`, towards zero; of none 0, and 0 beyond
/// [`DIVISOR_MAX`] numbers, hours of samples.
///
/// [`DIVISOR_MAX`]: pinhold_protocol::division::DIVISOR_MAX
pub fn mean_of(sum: i64, count: u32) -> i64 {
    divided_signed(sum, count)
}

/// A straight line y = mean_y + slope·(x − mean_x) fitted by least squares.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Mean of x.
    pub mean_x: f32,
    /// Mean of y.
    pub mean_y: f32,
    /// Slope; 0 when x does not vary.
    pub slope: f32,
    /// Sum of squared deviations of x.
    pub sum_xx: f32,
    /// Standard deviation of y about the line, `count − 2` in the denominator.
    pub scatter: f32,
    /// Points used.
    pub count: u32,
}

impl Line {
    /// Fits the points; `None` for fewer than three.
    pub fn fit(points: impl Iterator<Item = (f32, f32)> + Clone) -> Option<Line> {
        let (mut count, mut sum_x, mut sum_y) = (0u32, 0.0f32, 0.0f32);
        for (x, y) in points.clone() {
            count += 1;
            sum_x += x;
            sum_y += y;
        }
        if count < 3 {
            return None;
        }
        let (mean_x, mean_y) = (sum_x / count as f32, sum_y / count as f32);
        let (mut sum_xx, mut sum_xy) = (0.0f32, 0.0f32);
        for (x, y) in points.clone() {
            sum_xx += (x - mean_x) * (x - mean_x);
            sum_xy += (x - mean_x) * (y - mean_y);
        }
        let slope = if sum_xx > 0.0 { sum_xy / sum_xx } else { 0.0 };
        let mut sum_rr = 0.0f32;
        for (x, y) in points {
            let residual = y - mean_y - slope * (x - mean_x);
            sum_rr += residual * residual;
        }
        let scatter = libm::sqrtf(sum_rr / (count - 2) as f32);
        Some(Line { mean_x, mean_y, slope, sum_xx, scatter, count })
    }

    /// Value of the line at `x`.
    pub fn at(&self, x: f32) -> f32 {
        self.mean_y + self.slope * (x - self.mean_x)
    }

    /// Fits, sets aside points farther than `reject` scatters from the line, and fits again.
    pub fn fit_robust(
        points: impl Iterator<Item = (f32, f32)> + Clone,
        reject: f32,
    ) -> Option<Line> {
        let first = Line::fit(points.clone())?;
        let limit = reject * first.scatter;
        Line::fit(points.filter(|(x, y)| (y - first.at(*x)).abs() <= limit)).or(Some(first))
    }
}

/// Largest number of values [`quantile`] looks at.
pub const QUANTILE_COUNT_MAX: usize = 128;

/// Value below which `share` (0 to 1) of the values lie, from at most [`QUANTILE_COUNT_MAX`]
/// evenly picked ones; `None` for no values.
pub fn quantile(values: impl Iterator<Item = f32> + Clone, share: f32) -> Option<f32> {
    let count = values.clone().count();
    let stride = count.div_ceil(QUANTILE_COUNT_MAX).max(1);
    // The standard sorts have a panic for orders that contradict themselves.
    let mut heap: BinaryHeap<i32, Min, QUANTILE_COUNT_MAX> = BinaryHeap::new();
    for value in values.step_by(stride) {
        if heap.push(order_key(value.to_bits() as i32)).is_err() {
            break;
        }
    }
    let last = heap.len().checked_sub(1)?;
    let position = (share * last as f32 + 0.5) as usize;
    for _ in 0..position.min(last) {
        heap.pop();
    }
    heap.pop().map(|key| f32::from_bits(order_key(key) as u32))
}

/// A whole number for the bits of an `f32`, in the order of [`f32::total_cmp`]; undoes itself.
const fn order_key(bits: i32) -> i32 {
    bits ^ ((bits >> 31) as u32 >> 1) as i32
}
