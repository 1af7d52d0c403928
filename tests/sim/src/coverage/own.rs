//! The lever's own error after its calibration: what it shows, by the core's arithmetic and the
//! host's correction, against the torque on its cell.
//!
//! One loading each, from a zero just taken, at the bench's temperature, the hand anywhere between
//! the calibrated places. Deliberately not here: seating, people, a slanting hand, drift and other
//! temperatures, which belong to a reading.

use pinhold::calibration::record::CalibrationResult;
use pinhold_lever::calibration::Calibration;
use pinhold_sim::cell::Hold;
use pinhold_sim::rng::Random;
use pinhold_sim::sensors::Sensors;

use super::bench::on_the_lever;
use super::population::Day;
use crate::strokes::tally::Share;

/// Torques asked for, N·m, each way.
pub const OWN_TORQUES_NM: [f64; 7] = [3.0, 5.0, 8.0, 12.0, 16.0, 20.0, 25.0];
/// Samples in what the lever shows: a slip of half a second.
const SAMPLE_COUNT: u32 = 500;
/// Samples in a zero.
const ZERO_SAMPLE_COUNT: u32 = 500;

/// Errors at one torque over many levers.
#[derive(Clone, Debug, Default)]
pub struct OwnErrors {
    /// Errors within the expanded uncertainty claimed.
    pub inside: Share,
    /// Size of the error over the torque.
    pub relative: Vec<f64>,
    /// Expanded uncertainty over the torque.
    pub expanded_relative: Vec<f64>,
}

impl OwnErrors {
    /// Adds another's.
    pub fn merge(&mut self, other: OwnErrors) {
        self.inside.merge(other.inside);
        self.relative.extend(other.relative);
        self.expanded_relative.extend(other.expanded_relative);
    }

    /// The value that `share` of `values` do not exceed; 0 of none.
    pub fn quantile(values: &[f64], share: f64) -> f64 {
        let mut sorted = values.to_vec();
        sorted.sort_by(f64::total_cmp);
        let place = (share * sorted.len().saturating_sub(1) as f64).ceil() as usize;
        sorted.get(place).copied().unwrap_or(0.0)
    }
}

/// What the lever shows, N·m: codes through the core.
fn shown_nm(calibration: &Calibration, mean_code: f64, sample_count: u32) -> f64 {
    let code_sum = (mean_code * f64::from(sample_count)).round() as i64;
    f64::from(calibration.mean_torque_nm(code_sum, sample_count, 0))
}

/// Reads each torque once, both ways, and counts.
pub fn judge(day: &Day, result: &CalibrationResult, errors: &mut [OwnErrors]) {
    let lever = day.bench_lever;
    let root = Random::new(day.seed).fork("own error");
    let mut random = root.fork("hand");
    let mut sensors = Sensors::new(&lever, root.fork("sensors").bits());
    let mut calibration = on_the_lever(&result.constants);
    let zero = sensors.settle(&lever, 0.0, [1.0, 0.0, 0.0], ZERO_SAMPLE_COUNT);
    let code_sum = (zero.mean_code * f64::from(ZERO_SAMPLE_COUNT)).round() as i64;
    calibration.take_zero(code_sum, ZERO_SAMPLE_COUNT, 0);
    for (torque_nm, errors) in OWN_TORQUES_NM.into_iter().zip(errors) {
        for true_nm in [torque_nm, -torque_nm] {
            sensors.settle(&lever, 0.0, [1.0, 0.0, 0.0], SAMPLE_COUNT);
            let hold = Hold { arm_m: random.uniform(0.25, 0.30), ..Hold::reference() };
            sensors.take_hold(&lever, hold);
            let mean = sensors.settle(&lever, true_nm, [1.0, 0.0, 0.0], SAMPLE_COUNT);
            let shown_nm = shown_nm(&calibration, mean.mean_code, SAMPLE_COUNT);
            let [constant, slope, bend] = result.terms.error_curve;
            let corrected_nm = shown_nm - (constant + (slope + bend * shown_nm) * shown_nm);
            let error_nm = corrected_nm - true_nm;
            let expanded_nm = result.terms.expanded_u_nm(true_nm);
            errors.inside.add(error_nm.abs() <= expanded_nm);
            errors.relative.push(error_nm.abs() / torque_nm);
            errors.expanded_relative.push(expanded_nm / torque_nm);
        }
    }
}
