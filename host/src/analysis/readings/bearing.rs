//! What the wire's bearing does to a lever's running torques: the bias of F and of M.
//!
//! The wire behind the bearing is a spring; its excess over the speaking length's tension stays
//! within ±ε of it, and what the bearing does not hold passes on to the speaking length, the two
//! lengths in series (capstan friction, DER). So the excess at each running torque depends on where
//! it was left, and on how far the *coil* turned since. That is not how far the foot turned: from
//! rest to running the torque in the plank goes from −M to −F or +F and winds up the pin below the
//! coil, [`WIND_UP_DEG_PER_NM`] of it, a degree and more from flat to sharp.
//!
//! Of a string nobody knows ε, the segment's stiffness and where the last tuning left the wire.
//! Each stated class is gone through in even steps, the reading's own path is walked for all of
//! them, and mean and variance over these walks make a rectangle. What the lever did to match the
//! two torques is part of the walk, since it is known.
//!
//! Deliberately not here: hand readings, whose path nobody recorded; the lever's own errors.
//!
//! Invariant: the same bits on every machine; a fixed number of steps.

use pinhold_protocol::record::{Direction, Reading, Stroke};

use super::MeasurementProfile;
use crate::analysis::budget::Shape;
use crate::instrument::pitch::{A4_HZ_ISO16, frequency_hz};

/// Turn of the coil against the foot per torque in the plank, degrees per N·m: 8 mm from plank to
/// coil and half of 30 mm in it, 7.16 mm steel pin, G 79.3 GPa, L/(G·J) (DER), less what a grip
/// that lets go from the top down takes off.
const WIND_UP_DEG_PER_NM: f64 = 0.055;
/// Speed of waves on plain wire, m/s: 160 lbf on .039 in steel (MEM figures, DER).
const WAVE_SPEED_M_S: f64 = 340.0;
/// Longest and shortest speaking lengths, m (MEM).
const SPEAKING_M: (f64, f64) = (0.05, 1.35);
/// Stiffness of a metre of wire at the coil, N·m·m per degree: E·A·r² of 1 mm wire on a 7.16 mm
/// pin, E 205 GPa (DER).
const SPEAKING_NM_M_PER_DEG: f64 = 0.047;
/// Share of a slip that is still to come at the angle a running torque belongs to: it is the mean
/// from the first fifth on.
const SLIP_TO_COME: f64 = 0.4;
/// Steps through each class: bearing friction, state left, stiffness.
const STEPS: [usize; 3] = [5, 5, 4];
/// Strokes that ran, at most one each way.
const RUN_COUNT_MAX: usize = 2;

/// One stroke that ran.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Run {
    pub(super) direction: Direction,
    /// Angle the running torque belongs to, degrees from where the foot was found, sharp positive.
    pub(super) running_deg: f64,
    /// How far the foot slipped, degrees.
    pub(super) slip_deg: f64,
    /// What matching added to the running torque, N·m, in its own direction.
    pub(super) matched_nm: f64,
}

/// The strokes a reading was formed from, in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Path {
    runs: [Option<Run>; RUN_COUNT_MAX],
    note: u8,
}

/// A bias: anywhere within the half width about its middle alike, N·m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Bias {
    pub(super) middle_nm: f64,
    pub(super) half_width_nm: f64,
}

impl Bias {
    /// As a line's shape, its size being the half width.
    pub(super) fn shape(self) -> Shape {
        let is_wide = self.half_width_nm > 0.0;
        Shape::Biased { middle: if is_wide { self.middle_nm / self.half_width_nm } else { 0.0 } }
    }
}

/// Sums over walks.
#[derive(Clone, Copy, Default)]
struct Sums {
    count: f64,
    first: f64,
    second: f64,
}

impl Sums {
    fn add(&mut self, bias_nm: f64) {
        self.count += 1.0;
        self.first += bias_nm;
        self.second += bias_nm * bias_nm;
    }

    fn bias(self) -> Bias {
        let middle_nm = self.first / self.count;
        let variance = (self.second / self.count - middle_nm * middle_nm).max(0.0);
        Bias { middle_nm, half_width_nm: (3.0 * variance).sqrt() }
    }
}

/// One string in one bearing.
#[derive(Clone, Copy, Debug)]
struct Wire {
    friction: f64,
    segment_nm_per_deg: f64,
    speaking_nm_per_deg: f64,
    speaking_nm: f64,
    excess_nm: f64,
    coil_deg: f64,
}

impl Wire {
    fn turn_to(&mut self, coil_deg: f64) {
        let wanted_nm = self.excess_nm + self.segment_nm_per_deg * (coil_deg - self.coil_deg);
        self.coil_deg = coil_deg;
        let most_nm = self.friction * self.speaking_nm;
        self.excess_nm = wanted_nm.max(-most_nm).min(most_nm);
        let both = self.segment_nm_per_deg + self.speaking_nm_per_deg;
        let passed_nm = (wanted_nm - self.excess_nm) * self.speaking_nm_per_deg / both;
        self.speaking_nm = (self.speaking_nm + passed_nm).max(0.0);
    }

    fn moment_nm(&self) -> f64 {
        self.speaking_nm + self.excess_nm
    }
}

/// The middle of step `index` of `count` through a class.
fn step((low, high): (f64, f64), index: usize, count: usize) -> f64 {
    low + (high - low) * (index as f64 + 0.5) / count as f64
}

impl Path {
    /// Of a lever's reading; `None` when nothing ran.
    pub(super) fn of(reading: &Reading) -> Option<Path> {
        let first = |direction: Direction| {
            let strokes = reading.strokes.iter().enumerate();
            strokes.filter(|(_, s)| s.direction == direction).find(|(_, s)| s.running.is_some())
        };
        let mut found: Vec<(usize, &Stroke)> =
            [Direction::Flat, Direction::Sharp].into_iter().filter_map(first).collect();
        found.sort_by_key(|(place, _)| *place);
        let mut runs = [None; RUN_COUNT_MAX];
        for (run, (_, stroke)) in runs.iter_mut().zip(&found) {
            let matched = match stroke.direction {
                Direction::Sharp => reading.sharp,
                Direction::Flat => reading.flat,
            };
            let shift = matched.zip(stroke.running);
            *run = Some(Run {
                direction: stroke.direction,
                running_deg: stroke.running_angle.radians().to_degrees(),
                slip_deg: stroke.slip.radians().to_degrees(),
                matched_nm: shift.map_or(0.0, |(matched, running)| {
                    matched.newton_metres() - running.newton_metres()
                }),
            });
        }
        (!found.is_empty()).then_some(Path { runs, note: reading.pin.note })
    }

    /// Stiffness of the speaking length at the coil, N·m per degree.
    fn speaking_nm_per_deg(&self) -> f64 {
        let length_m = WAVE_SPEED_M_S / (2.0 * frequency_hz(self.note, A4_HZ_ISO16));
        SPEAKING_NM_M_PER_DEG / length_m.max(SPEAKING_M.0).min(SPEAKING_M.1)
    }

    /// The pin-side moment less what it was found at, for each run, N·m: in one wire.
    fn lifts_nm(&self, mut wire: Wire, moment_nm: f64, friction_nm: f64) -> [f64; RUN_COUNT_MAX] {
        let mut lifts_nm = [0.0; RUN_COUNT_MAX];
        for (lift_nm, run) in lifts_nm.iter_mut().zip(self.runs.iter().flatten()) {
            let sign = if run.direction == Direction::Sharp { 1.0 } else { -1.0 };
            let wound_deg = WIND_UP_DEG_PER_NM * (sign * friction_nm + moment_nm);
            wire.turn_to(run.running_deg + wound_deg);
            *lift_nm = wire.moment_nm() - moment_nm;
            let to_come_deg = SLIP_TO_COME * run.slip_deg;
            wire.turn_to(run.running_deg + sign * to_come_deg + wound_deg);
        }
        lifts_nm
    }

    /// Bias of F and of M: what is told less what is true, with the string's moment and the
    /// friction about so, `uses` saying which directions F is formed from.
    pub(super) fn biases(
        &self,
        moment_nm: f64,
        friction_nm: f64,
        uses: impl Fn(Direction) -> bool,
        profile: &MeasurementProfile,
    ) -> (Bias, Bias) {
        let speaking_nm_per_deg = self.speaking_nm_per_deg();
        let frictions = profile.bearing_friction();
        let stiffnesses =
            (profile.segment_least_nm_per_deg.value, profile.segment_most_nm_per_deg.value);
        let (mut of_friction, mut of_moment) = (Sums::default(), Sums::default());
        for place in 0..STEPS.iter().product() {
            let friction = step(frictions, place % STEPS[0], STEPS[0]);
            let left = step((-1.0, 1.0), place / STEPS[0] % STEPS[1], STEPS[1]);
            let segment_nm_per_deg = step(stiffnesses, place / (STEPS[0] * STEPS[1]), STEPS[2]);
            let wire = Wire {
                friction,
                segment_nm_per_deg,
                speaking_nm_per_deg,
                speaking_nm: moment_nm,
                excess_nm: left * friction * moment_nm,
                coil_deg: 0.0,
            };
            let lifts_nm = self.lifts_nm(wire, moment_nm, friction_nm);
            let (mut sum_nm, mut difference_nm, mut count) = (0.0, 0.0, 0.0);
            for (lift_nm, run) in lifts_nm.into_iter().zip(self.runs.iter().flatten()) {
                if !uses(run.direction) {
                    continue;
                }
                // A torque in its own direction: sharp F + M, flat F − M.
                let sign = if run.direction == Direction::Sharp { 1.0 } else { -1.0 };
                sum_nm += sign * lift_nm + run.matched_nm;
                difference_nm += lift_nm + sign * run.matched_nm;
                count += 1.0;
            }
            if count > 0.0 {
                of_friction.add(sum_nm / count);
                of_moment.add(difference_nm / count);
            }
        }
        if of_friction.count == 0.0 {
            return (Bias::default(), Bias::default());
        }
        (of_friction.bias(), of_moment.bias())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(direction: Direction, running_deg: f64, slip_deg: f64) -> Run {
        Run { direction, running_deg, slip_deg, matched_nm: 0.0 }
    }

    fn micro_stroke() -> Path {
        let runs = [run(Direction::Flat, -0.4, 0.7), run(Direction::Sharp, -0.35, 0.6)];
        Path { runs: runs.map(Some), note: 49 }
    }

    fn profile(low: f64, high: f64) -> MeasurementProfile {
        let mut profile = MeasurementProfile::default();
        profile.bearing_friction_least.value = low;
        profile.bearing_friction_max.value = high;
        profile
    }

    #[test]
    fn a_loop_that_is_crossed_both_ways_lifts_friction_by_all_of_it_and_the_moment_by_none() {
        // 2εM = 0.12 N·m over 0.3 N·m/deg: crossed in 0.4 degrees, and the path is two long.
        let (friction, moment) = micro_stroke().biases(3.0, 12.0, |_| true, &profile(0.02, 0.02));
        assert!((friction.middle_nm - 0.06).abs() < 0.004, "{friction:?}");
        assert!(friction.half_width_nm < 0.01, "{friction:?}");
        assert!(moment.half_width_nm < 0.06 && moment.middle_nm.abs() < 0.06, "{moment:?}");
    }

    #[test]
    fn a_frictionless_bearing_does_nothing_to_friction() {
        let (friction, moment) = micro_stroke().biases(3.0, 12.0, |_| true, &profile(0.0, 0.0));
        // The wire as one: the sharp torque stands a twentieth of a degree and the wind-up higher.
        let series = 0.55 * 0.076 / 0.626;
        assert!(friction.middle_nm < series * (0.05 + 1.32) && friction.middle_nm > 0.0);
        assert!(moment.middle_nm.abs() < 0.1, "{moment:?}");
    }

    #[test]
    fn one_way_reads_high_either_way() {
        for direction in [Direction::Flat, Direction::Sharp] {
            let sign = if direction == Direction::Sharp { 1.0 } else { -1.0 };
            let path = Path { runs: [Some(run(direction, 0.4 * sign, 0.7)), None], note: 49 };
            let uses = |way| way == direction;
            let (friction, _) = path.biases(3.0, 12.0, uses, &profile(0.03, 0.13));
            assert!(friction.middle_nm > 0.1 && friction.middle_nm < 0.39, "{friction:?}");
            // Never more than the loop and what passes on to the speaking length.
            assert!(friction.middle_nm + friction.half_width_nm < 0.13 * 3.0 * 1.4);
        }
    }

    #[test]
    fn matching_is_part_of_the_bias() {
        let mut path = micro_stroke();
        let (before, moment_before) = path.biases(3.0, 8.0, |_| true, &profile(0.03, 0.13));
        for run in path.runs.iter_mut().flatten() {
            // As a stiffness of 0.5 N·m/deg would bring both back by 0.4 degrees.
            run.matched_nm = if run.direction == Direction::Sharp { 0.2 } else { -0.2 };
        }
        let (after, moment_after) = path.biases(3.0, 8.0, |_| true, &profile(0.03, 0.13));
        assert!((after.middle_nm - before.middle_nm).abs() < 1e-12);
        assert!((moment_after.middle_nm - moment_before.middle_nm - 0.2).abs() < 1e-12);
    }

    #[test]
    fn a_longer_reach_of_classes_widens_the_bias() {
        let narrow = micro_stroke().biases(3.0, 8.0, |_| true, &profile(0.06, 0.09)).0;
        let wide = micro_stroke().biases(3.0, 8.0, |_| true, &profile(0.03, 0.13)).0;
        assert!(wide.half_width_nm > narrow.half_width_nm && narrow.half_width_nm > 0.0);
    }
}
