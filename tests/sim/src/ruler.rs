//! The shortest good micro-stroke, drawn with a ruler at the slowest sampling a lever takes.
//!
//! Where a hundred thousand readings have to pass through the lever, each must cost little: no
//! physics, four milliseconds from sample to sample, no more rest than the lever asks for. What is
//! drawn is a pin of 6 N·m friction and 3 N·m string moment on a free part of 10.8 N·m per degree.
//! Deliberately not here: judgement of what the lever makes of it.

use pinhold_lever::RawSample;
use pinhold_lever::calibration::{NOMINAL_SPAN_NM_PER_COUNT, RATE_RADIANS_PER_SECOND_PER_COUNT};

/// Sample period, nanoseconds: the longest a lever takes.
pub const SAMPLE_PERIOD_NS: u32 = 4_000_000;
/// The same in seconds.
const SAMPLE_PERIOD_S: f64 = 4e-3;
/// Steps the lever rounds its samples to.
const CODE_STEP: i32 = 16;
const RATE_STEP: i16 = 4;
/// Samples in one of the lever's bins.
const BIN_SAMPLE_COUNT: usize = 10;
const STIFFNESS_NM_PER_DEG: f64 = 10.8;
const SHARP_NM: f64 = 9.0;
const FLAT_NM: f64 = -3.0;

/// Samples being drawn.
#[derive(Debug, Default)]
struct Drawing {
    samples: Vec<RawSample>,
    torque_nm: f64,
}

impl Drawing {
    fn sample(&mut self, torque_nm: f64, rate_deg_per_s: f64) {
        let count_per_deg_s = 1.0 / f64::from(RATE_RADIANS_PER_SECOND_PER_COUNT).to_degrees();
        // Codes that never change are those of a dead sensor. Every eleventh, so that bins of ten
        // differ; it drifts by two thousandths of a degree per second.
        let is_odd = self.samples.len().is_multiple_of(11);
        self.samples.push(RawSample {
            bridge_code: (torque_nm / f64::from(NOMINAL_SPAN_NM_PER_COUNT)) as i32
                + i32::from(is_odd) * CODE_STEP,
            rate_count: (rate_deg_per_s * count_per_deg_s) as i16 + i16::from(is_odd) * RATE_STEP,
        });
    }

    /// The head moves with this torque on it.
    fn hold(&mut self, bin_count: usize, rate_deg_per_s: f64) {
        for _ in 0..bin_count * BIN_SAMPLE_COUNT {
            self.sample(self.torque_nm, rate_deg_per_s);
        }
    }

    /// The torque goes to `torque_nm` while the foot stands.
    fn ramp(&mut self, bin_count: usize, torque_nm: f64) {
        let (from, count) = (self.torque_nm, bin_count * BIN_SAMPLE_COUNT);
        let rate = (torque_nm - from) / STIFFNESS_NM_PER_DEG / (count as f64 * SAMPLE_PERIOD_S);
        for index in 1..=count {
            self.sample(from + (torque_nm - from) * index as f64 / count as f64, rate);
        }
        self.torque_nm = torque_nm;
    }

    /// Loading, slip at a degree a second, easing off, rest.
    fn stroke(&mut self, torque_nm: f64, slip_bin_count: usize, rest_bin_count: usize) {
        self.ramp(4, torque_nm);
        self.hold(slip_bin_count, torque_nm.signum());
        self.ramp(6, 0.0);
        self.hold(rest_bin_count, 0.0);
    }
}

/// The lever held still in the air.
pub(crate) fn off_pin() -> Vec<RawSample> {
    let mut drawing = Drawing::default();
    drawing.hold(20, 0.0);
    drawing.samples
}

/// From the way through the air to rest behind the last stroke.
pub(crate) fn on_pin() -> Vec<RawSample> {
    let mut drawing = Drawing::default();
    drawing.hold(4, 20.0);
    drawing.hold(4, -20.0);
    // Over a second: what follows a spoiled stroke sooner is taken for part of it.
    drawing.hold(27, 0.0);
    drawing.stroke(FLAT_NM, 14, 11);
    drawing.stroke(SHARP_NM, 15, 11);
    drawing.stroke(FLAT_NM, 5, 17);
    drawing.samples
}
