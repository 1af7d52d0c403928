//! From weights, arms and attitude to the torque on the pin's axis, and the series it came in.
//!
//! load = m · g · L · a, sharp positive, with a = f_y / |f| the share of gravity across the handle.
//! f is the specific force the accelerometer shows at rest; dividing by its length takes the
//! sensor's scale out. Masses are taken as they are marked: the lift of the air is not corrected
//! but carried ([`AIR_RELATIVE_U`]). Deliberately not here: codes and fits.

use pinhold_protocol::record::Direction;

use super::bench::{Bench, BenchPoint, Gravity, GravitySource, Leg, Setting};
use crate::instrument::gravity::local_gravity;
use crate::metrology::Estimate;

/// Standard uncertainty of one axis of the accelerometer, units of standard gravity: a zero-g
/// level of 20 mg as rectangular half width (MEM, data sheets of common 6-axis sensors).
pub const ACCELEROMETER_U_G: f64 = 0.02 / 1.732_050_807_568_877_2;
/// Standard uncertainty of a weight's force from the lift of the air, relative: 1.2 kg/m³ of air
/// against 8000 kg/m³ of the weight (OIML R 111-1), the half width of a rectangle.
pub const AIR_RELATIVE_U: f64 = 1.5e-4 / 1.732_050_807_568_877_2;
/// How far local gravity lies from the normal one at its height, relative: 1 in 10 000 (DER, size
/// of gravity anomalies on land) as rectangular half width.
pub const ANOMALY_RELATIVE_U: f64 = 1e-4 / 1.732_050_807_568_877_2;

/// Gravity of a place, its anomaly unknown.
pub fn gravity_of_place(latitude_deg: f64, height_m: f64) -> Gravity {
    let value = local_gravity(latitude_deg, height_m);
    Gravity {
        value_m_s2: Estimate { value, u: ANOMALY_RELATIVE_U * value },
        source: GravitySource::Place { latitude_deg, height_m },
    }
}

/// What many points share, as it is taken to be.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Shared {
    /// Kilograms.
    pub(super) masses_kg: Vec<f64>,
    /// Metres.
    pub(super) arms_m: Vec<f64>,
    /// m/s².
    pub(super) gravity_m_s2: f64,
    /// Errors of the accelerometer's axes, units of standard gravity.
    pub(super) accelerometer_g: [f64; 3],
}

/// A group of shared inputs, as it is listed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Group {
    /// Dead weights.
    Masses,
    /// Arm lengths.
    Arms,
    /// Gravity.
    Gravity,
    /// Tilt by the accelerometer.
    Tilt,
}

impl Shared {
    /// As typed and read.
    pub(super) fn of(bench: &Bench) -> Shared {
        Shared {
            masses_kg: bench.masses.iter().map(|mass| mass.mass_kg.value).collect(),
            arms_m: bench.positions.iter().map(|position| position.arm_m.value).collect(),
            gravity_m_s2: bench.gravity.value_m_s2.value,
            accelerometer_g: [0.0; 3],
        }
    }

    /// Each input in turn moved by its standard uncertainty, the others as they are.
    pub(super) fn moved(bench: &Bench) -> Vec<(Group, Shared)> {
        let base = Shared::of(bench);
        let mut moved = Vec::new();
        let mut add = |group, change: &dyn Fn(&mut Shared)| {
            let mut one = base.clone();
            change(&mut one);
            moved.push((group, one));
        };
        for (at, mass) in bench.masses.iter().enumerate() {
            add(Group::Masses, &|shared| shared.masses_kg[at] += mass.mass_kg.u);
        }
        for (at, position) in bench.positions.iter().enumerate() {
            add(Group::Arms, &|shared| shared.arms_m[at] += position.arm_m.u);
        }
        add(Group::Gravity, &|shared| shared.gravity_m_s2 += bench.gravity.value_m_s2.u);
        for axis in 0..3 {
            add(Group::Tilt, &|shared| shared.accelerometer_g[axis] += ACCELEROMETER_U_G);
        }
        moved
    }

    /// Share of gravity across the handle, −1 to 1, sharp positive.
    pub(super) fn across(&self, point: &BenchPoint) -> f64 {
        let force: [f64; 3] =
            std::array::from_fn(|axis| point.force_g[axis] - self.accelerometer_g[axis]);
        let length = force.iter().map(|part| part * part).sum::<f64>().sqrt();
        if length > 0.0 { force[1] / length } else { 0.0 }
    }

    /// Mass that hangs at a point, kg.
    pub(super) fn hung_kg(&self, masses: &[usize]) -> f64 {
        masses.iter().map(|at| self.masses_kg[*at]).sum()
    }

    /// Torque one kilogram gives at a point, N·m, sharp positive.
    pub(super) fn torque_nm_per_kg(&self, point: &BenchPoint) -> f64 {
        match &point.setting {
            Setting::Loaded { position, .. } => {
                self.gravity_m_s2 * self.arms_m[*position] * self.across(point)
            }
            Setting::Free => 0.0,
        }
    }

    /// Load at a point, N·m, sharp positive.
    pub(super) fn load_nm(&self, point: &BenchPoint) -> f64 {
        match &point.setting {
            Setting::Loaded { masses, .. } if masses.is_empty() => 0.0,
            Setting::Loaded { masses, .. } => self.hung_kg(masses) * self.torque_nm_per_kg(point),
            Setting::Free => 0.0,
        }
    }
}

/// Points taken one after another at one position in one direction.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Series {
    /// Index into the bench's positions.
    pub(super) position: usize,
    /// Way the load turns the lever.
    pub(super) direction: Direction,
    /// Indices into the bench's points, in the order they were taken.
    pub(super) points: Vec<usize>,
}

/// The bench's series: a new one begins with another position or direction, and where a load rises
/// from nothing after one that fell.
pub(super) fn series_of(bench: &Bench) -> Vec<Series> {
    let mut all: Vec<Series> = Vec::new();
    let mut fallen = false;
    for (index, point) in bench.points.iter().enumerate() {
        let Setting::Loaded { position, direction, leg, masses } = &point.setting else {
            continue;
        };
        let again = fallen && *leg == Leg::Up && masses.is_empty();
        fallen = *leg == Leg::Down;
        match all.last_mut() {
            Some(last) if last.position == *position && last.direction == *direction && !again => {
                last.points.push(index);
            }
            _ => {
                all.push(Series { position: *position, direction: *direction, points: vec![index] })
            }
        }
    }
    all
}

/// What hangs at a loaded point; `None` off the square.
pub(super) fn hung(point: &BenchPoint) -> Option<&[usize]> {
    match &point.setting {
        Setting::Loaded { masses, .. } => Some(masses),
        Setting::Free => None,
    }
}

/// Whether the point is on the square without load.
pub(super) fn is_empty(point: &BenchPoint) -> bool {
    hung(point).is_some_and(<[usize]>::is_empty)
}

/// Code without load at the time of a point: from the points without load of its series, between
/// two of them in proportion to time; of the whole bench where the series has none.
pub(super) fn zero_code_at(bench: &Bench, series: &Series, index: usize) -> f64 {
    let empty = |at: &usize| is_empty(&bench.points[*at]);
    let own: Vec<usize> = series.points.iter().copied().filter(empty).collect();
    if own.is_empty() {
        let every = (0..bench.points.len()).filter(empty);
        let codes: Vec<f64> = every.map(|at| bench.points[at].mean_code).collect();
        return codes.iter().sum::<f64>() / codes.len().max(1) as f64;
    }
    let time = |at: usize| bench.points[at].at_ms as f64;
    let before = own.iter().rev().find(|at| **at <= index).or(own.first());
    let after = own.iter().find(|at| **at >= index).or(own.last());
    let (Some(before), Some(after)) = (before, after) else { return 0.0 };
    let (from, to) = (bench.points[*before].mean_code, bench.points[*after].mean_code);
    let span_ms = time(*after) - time(*before);
    if span_ms <= 0.0 {
        return (from + to) / 2.0;
    }
    from + (to - from) * ((time(index) - time(*before)) / span_ms).clamp(0.0, 1.0)
}
