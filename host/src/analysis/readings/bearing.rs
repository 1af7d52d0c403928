//! What the wire's bearing does to a lever's running torques: the bias of F and of M.
//!
//! The wire behind the bearing is a spring; its excess over the speaking length's tension stays
//! within ±ε of it, and what the bearing does not hold passes on to the speaking length, the two
//! lengths in series (capstan friction, DER). So the excess at each running torque depends on where
//! it was left, and on how far the *coil* turned since. The lever takes its own torque's twist off
//! its angle by the stiffness of the loading ramp, which holds the pin down to where the plank has
//! not let go: what it calls the coil stands below it. The wire sits higher, and is wound by the
//! torque with what lies between: half a degree and more from flat to sharp.
//!
//! Of a string nobody knows ε, the segment's stiffness and where the last tuning left the wire.
//! Each stated class is gone through in even steps, the reading's own path is walked for all of
//! them, and the moments of all these walks make a bias with a spread. What the lever did to match the
//! two torques is part of the walk, since it is known.
//!
//! Deliberately not here: hand readings, whose path nobody recorded; the lever's own errors.
//!
//! Invariant: the same bits on every machine; a fixed number of steps.

use pinhold_protocol::record::{Direction, Reading, Stroke};

use super::MeasurementProfile;
use crate::instrument::pitch::{A4_HZ_ISO16, frequency_hz};

/// Turn of the tip against the coil per torque, degrees per N·m: 17 mm of 7.16 mm steel pin, of
/// 25 mm above the plank with the coil 8 mm above it, G 79.3 GPa, L/(G·J) (DER).
const ABOVE_COIL_DEG_PER_NM: f64 = 0.0475;
/// Turn of the tip per torque while a stroke loads, where it did not tell, degrees per N·m: the
/// core's nominal 620 N·m/rad (DER).
const RAMP_DEG_PER_NM: f64 = 180.0 / (core::f64::consts::PI * 620.0);
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
const STEPS: [usize; 3] = [8, 8, 6];
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
    /// How far the lever's torque winds up the pin between the foot's angle and the coil, degrees
    /// per N·m.
    pub(super) wind_up_deg_per_nm: f64,
    /// What matching added to the running torque, N·m, in its own direction.
    pub(super) matched_nm: f64,
}

/// The strokes a reading was formed from, in time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Path {
    runs: [Option<Run>; RUN_COUNT_MAX],
    note: u8,
}

/// A bias, N·m: about its middle a rectangular part and a normal one, independent, that together
/// have the variance and the fourth moment of the walks.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Bias {
    pub(super) middle_nm: f64,
    pub(super) half_width_nm: f64,
    pub(super) normal_u_nm: f64,
}

impl Bias {
    /// Standard deviation, N·m.
    #[cfg(test)]
    fn sd_nm(self) -> f64 {
        libm::hypot(self.half_width_nm / 3f64.sqrt(), self.normal_u_nm)
    }
}

/// Excess kurtosis of a rectangle.
const RECTANGLE_EXCESS: f64 = -1.2;

/// What a number of walks come to.
fn bias_of(walks_nm: &[f64]) -> Bias {
    let count = walks_nm.len().max(1) as f64;
    let middle_nm = walks_nm.iter().sum::<f64>() / count;
    let (mut second, mut fourth) = (0.0, 0.0);
    for walk_nm in walks_nm {
        let square = (walk_nm - middle_nm) * (walk_nm - middle_nm);
        second += square / count;
        fourth += square * square / count;
    }
    if second <= 0.0 {
        return Bias { middle_nm, ..Bias::default() };
    }
    // Of independent parts the fourth cumulants add: that of the rectangle is all there is.
    let excess = (fourth / (second * second) - 3.0).max(RECTANGLE_EXCESS).min(0.0);
    let share = (excess / RECTANGLE_EXCESS).sqrt();
    Bias {
        middle_nm,
        half_width_nm: (3.0 * share * second).sqrt(),
        normal_u_nm: ((1.0 - share) * second).max(0.0).sqrt(),
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

/// How far a stroke's torque winds up the pin between the angle told and the coil.
fn wind_up_deg_per_nm(stroke: &Stroke) -> f64 {
    let ramp_deg_per_nm = stroke.ramp_stiffness.map_or(RAMP_DEG_PER_NM, |stiffness| {
        1.0_f64.to_degrees() / stiffness.newton_metres_per_radian()
    });
    (ramp_deg_per_nm - ABOVE_COIL_DEG_PER_NM).max(0.0)
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
                wind_up_deg_per_nm: wind_up_deg_per_nm(stroke),
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
            let wound_deg = run.wind_up_deg_per_nm * (sign * friction_nm + moment_nm);
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
        let walk_count = STEPS.iter().product();
        let mut of_friction = Vec::with_capacity(walk_count);
        let mut of_moment = Vec::with_capacity(walk_count);
        for place in 0..walk_count {
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
                of_friction.push(sum_nm / count);
                of_moment.push(difference_nm / count);
            }
        }
        (bias_of(&of_friction), bias_of(&of_moment))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn run(direction: Direction, running_deg: f64, slip_deg: f64) -> Run {
        Run { direction, running_deg, slip_deg, wind_up_deg_per_nm: 0.045, matched_nm: 0.0 }
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
        assert!(friction.sd_nm() < 0.01, "{friction:?}");
        assert!(moment.sd_nm() < 0.04 && moment.middle_nm.abs() < 0.06, "{moment:?}");
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
            assert!(friction.middle_nm + 2.0 * friction.sd_nm() < 0.13 * 3.0 * 1.4);
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
        assert!(wide.sd_nm() > narrow.sd_nm() && narrow.sd_nm() > 0.0);
    }
}
