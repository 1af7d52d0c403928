//! The course of a whole reading in bounded memory, for the record of its trace.
//!
//! From the tenth of a second before the first stroke on, bins are averaged; when there is no room
//! for another point, neighbours are averaged in pairs. Deliberately not here: the bins a stroke is
//! read from ([`crate::stroke::trace`]).

use heapless::{Deque, Vec};
use pinhold_protocol::content::{TRACE_POINT_COUNT_MAX, Trace, TracePoint};
use pinhold_protocol::units::{Angle, Torque};

use crate::sample::Bin;
use crate::stroke::finder::REST_BIN_COUNT;

/// Micronewton-metres of the unit points are held in.
const TORQUE_UNIT: i32 = 2_000;
/// Microradians of the unit points are held in.
const ANGLE_UNIT: i32 = 20;
/// Largest magnitude of a trace's point, steps.
const STEP_COUNT_MAX: u16 = 127;

/// Torque and angle in those units.
#[derive(Clone, Copy, Debug, Default)]
struct Point {
    torque: i16,
    angle: i16,
}

/// The course so far.
#[derive(Clone, Debug, Default)]
pub struct Course {
    points: Vec<Point, TRACE_POINT_COUNT_MAX>,
    /// Bins in each point: a power of two; 0 before the first.
    merge: u32,
    partial: Bin,
    partial_count: u32,
    /// The last bins while nothing has begun.
    lead: Deque<Bin, REST_BIN_COUNT>,
}

impl Course {
    /// Nothing has begun; this bin may be the last before it does.
    pub fn wait(&mut self, bin: Bin) {
        if self.merge != 0 {
            self.points.clear();
            self.merge = 0;
        }
        if self.lead.is_full() {
            self.lead.pop_front();
        }
        // Room was just made.
        let _ = self.lead.push_back(bin);
    }

    /// A bin of the reading.
    pub fn push(&mut self, bin: Bin) {
        if self.merge == 0 {
            self.merge = 1;
            self.partial = Bin::default();
            self.partial_count = 0;
            // At most as many as it holds.
            for _ in 0..REST_BIN_COUNT {
                let Some(earlier) = self.lead.pop_front() else { break };
                self.add(earlier);
            }
        }
        self.add(bin);
    }

    fn add(&mut self, bin: Bin) {
        self.partial.torque_nm += bin.torque_nm;
        self.partial.angle_rad += bin.angle_rad;
        self.partial_count += 1;
        if self.partial_count < self.merge {
            return;
        }
        if self.points.is_full() {
            self.halve();
            return;
        }
        let count = self.partial_count.max(1) as f32;
        // Never full, see above. Casts end at the unit's range: 65 N·m, 37 degrees.
        let _ = self.points.push(Point {
            torque: libm::roundf(self.partial.torque_nm / count * 1e6 / TORQUE_UNIT as f32) as i16,
            angle: libm::roundf(self.partial.angle_rad / count * 1e6 / ANGLE_UNIT as f32) as i16,
        });
        self.partial = Bin::default();
        self.partial_count = 0;
    }

    /// Averages neighbours; what was gathered last is now the first half of a point.
    fn halve(&mut self) {
        let half = self.points.len() / 2;
        for index in 0..half {
            let pair = (self.points.get(2 * index), self.points.get(2 * index + 1));
            let (Some(first), Some(second)) = pair else { break };
            let merged = Point {
                torque: mean(first.torque, second.torque, index),
                angle: mean(first.angle, second.angle, index),
            };
            if let Some(point) = self.points.get_mut(index) {
                *point = merged;
            }
        }
        self.points.truncate(half);
        self.merge = self.merge.saturating_mul(2);
    }

    /// The trace of the reading with this number, its bins `bin_ms` long.
    pub fn trace(&self, reading: u32, bin_ms: f32) -> Trace {
        let torque_step = step(self.points.iter().map(|point| point.torque));
        let angle_step = step(self.points.iter().map(|point| point.angle));
        let steps = |value: i16, step: u16| libm::roundf(f32::from(value) / f32::from(step)) as i8;
        let mut points = Vec::new();
        for point in &self.points {
            // Same capacity on both sides.
            let _ = points.push(TracePoint {
                torque: steps(point.torque, torque_step),
                angle: steps(point.angle, angle_step),
            });
        }
        Trace {
            reading,
            interval_ms: libm::roundf(self.merge as f32 * bin_ms) as u32,
            torque_step: Torque::from_micronewton_metres(i32::from(torque_step) * TORQUE_UNIT),
            angle_step: Angle::from_microradians(i32::from(angle_step) * ANGLE_UNIT),
            points,
        }
    }
}

/// Mean of two, rounded up and down in turn so that many do not drift.
fn mean(first: i16, second: i16, index: usize) -> i16 {
    let up = i32::from(index % 2 == 1);
    ((i32::from(first) + i32::from(second) + up) >> 1) as i16
}

/// The smallest step, in units, of which [`STEP_COUNT_MAX`] reach the largest value.
fn step(values: impl Iterator<Item = i16>) -> u16 {
    let largest = values.map(i16::unsigned_abs).max().unwrap_or(0);
    largest.div_ceil(STEP_COUNT_MAX).max(1)
}
