//! The wire in its bearing: what the strokes leave in friction and moment.
//!
//! Behind the coil a short segment runs to the bearing. Turning the coil stretches it by its
//! stiffness, and the speaking length follows only when the tensions differ by more than the
//! bearing holds: M·e^(±μθ) about. So the pin-side moment lies somewhere in a loop ±εM about the
//! speaking length's, ε = sinh(μθ), and where in it depends on how it was left and on what the coil
//! does: the foot's slip, and before it the pin's own twist below the coil.
//!
//! A lever watched the coil, so the loop is walked: for a grid over what is not known (ε 3–13 %
//! ONE; where it was left, anywhere; the segment's stiffness 0.3–0.8 N·m per degree DER) the
//! pin-side moment at each running torque follows, and with it what the half sum and the half
//! difference, brought to one angle by the stiffness the lever used, are wrong by. Mean and scatter
//! over the grid are the budget's lines. The stiffness by which torques are brought to one angle is
//! part of the walk and needs no line of its own.
//!
//! A hand tool watched nothing: its half sum reads high by 0 to M·sinh(μθ), its half difference is
//! off by where the wire stands, within ±M·sinh(μθ); M·(cosh(μθ) − 1), under 1 % of M, is within
//! that.
//!
//! Friction is told uncorrected, unless a profile sets ε for an instrument.

use pinhold_protocol::record::{Direction, Reading, Stroke};
use pinhold_protocol::units::Stiffness;

use super::MeasurementProfile;
use super::combine::Torques;
use crate::analysis::budget::{Effect, Form, Reach, Shape, SizeUnit, Support, Term};
use crate::analysis::input::{StringState, TorqueKind};

/// Grid points over each of the three things not known.
const GRID_COUNT: usize = 5;
/// Share of a slip that its running torque is taken from: the first fifth is the break settling.
const RUNNING_SHARE: f64 = 0.8;
/// Points over that share that stand for its mean, from −½ to ½.
const SLIP_POINTS: [f64; 3] = [-1.0 / 3.0, 0.0, 1.0 / 3.0];
/// Ramp of a pin and lever of usual make, N·m per degree of head: 11.3 N·m twist a 7.16 mm pin by
/// 1.27 degrees (DER).
const RAMP_NM_PER_DEG: f64 = 8.9;
/// Angle to the found place from which the lever's own stiffness can be told, degrees.
const TOLD_FROM_DEG: f64 = 0.05;
/// Stiffness the lever uses at most, N·m per degree.
const USED_MAX_NM_PER_DEG: f64 = 1.2;

/// One stroke as the coil went.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Leg {
    /// −1 flat, 1 sharp.
    sign: f64,
    /// Foot angle of its running torque, degrees from where the pin was found.
    running_deg: Option<f64>,
    /// Foot rotation, degrees, positive.
    slip_deg: f64,
    /// Turn of the coil before the foot slips, degrees, positive the stroke's way.
    twist_deg: f64,
}

/// What the coil did from being found to the last running torque, and what the lever made of it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Course {
    legs: Vec<Leg>,
    /// Stiffness the lever brought its torques to one angle with, N·m per degree; `None` where it
    /// cannot be told.
    used_nm_per_deg: Option<f64>,
    /// Whether the torques were brought to the angle the pin was found at.
    matched: bool,
}

impl Course {
    /// From a record; `None` when no stroke ran.
    pub(super) fn of(reading: &Reading) -> Option<Course> {
        let ran = reading.strokes.iter().any(|stroke| stroke.running.is_some());
        ran.then(|| Course {
            legs: reading.strokes.iter().map(leg_of).collect(),
            used_nm_per_deg: used_stiffness(reading),
            matched: reading.sharp.is_some() || reading.flat.is_some(),
        })
    }
}

fn leg_of(stroke: &Stroke) -> Leg {
    let torque_nm = stroke.running.or(stroke.breakaway).unwrap_or(stroke.peak).newton_metres();
    let nm_per_rad = stroke.ramp_stiffness.map_or(0.0, Stiffness::newton_metres_per_radian);
    let measured = nm_per_rad.to_radians();
    let ramp = if measured > 0.0 { measured } else { RAMP_NM_PER_DEG };
    Leg {
        sign: sign_of(stroke.direction),
        running_deg: stroke.running.map(|_| stroke.running_angle.radians().to_degrees()),
        slip_deg: stroke.slip.radians().to_degrees().abs(),
        twist_deg: torque_nm / ramp,
    }
}

const fn sign_of(direction: Direction) -> f64 {
    match direction {
        Direction::Flat => -1.0,
        Direction::Sharp => 1.0,
    }
}

/// From what the lever added to a running torque to bring it to the found angle.
fn used_stiffness(reading: &Reading) -> Option<f64> {
    [(Direction::Sharp, reading.sharp), (Direction::Flat, reading.flat)].into_iter().find_map(
        |(direction, matched)| {
            let mut strokes = reading.strokes.iter().filter(|s| s.direction == direction);
            let stroke = strokes.find(|stroke| stroke.running.is_some())?;
            let angle_deg = stroke.running_angle.radians().to_degrees();
            if angle_deg.abs() < TOLD_FROM_DEG {
                return None;
            }
            let added_nm = matched?.newton_metres() - stroke.running?.newton_metres();
            let used = -sign_of(direction) * added_nm / angle_deg;
            Some(used.clamp(0.0, USED_MAX_NM_PER_DEG))
        },
    )
}

/// One set of what is not known.
#[derive(Clone, Copy, Debug)]
struct Guess {
    /// Largest excess of the pin-side moment, N·m.
    most_nm: f64,
    /// Excess as found, N·m.
    found_nm: f64,
    /// Stiffness of the segment, N·m per degree.
    segment_nm_per_deg: f64,
    /// Share of the twist below the coil.
    twist_share: f64,
}

impl Course {
    /// What the first running torque of each direction is wrong by, N·m, sharp then flat, in its
    /// own direction, once it was brought to the found angle.
    fn errors(&self, guess: Guess, used_nm_per_deg: f64) -> [Option<f64>; 2] {
        let mut errors = [None, None];
        let (mut excess_nm, mut coil_deg, mut foot_deg) = (guess.found_nm, 0.0, 0.0);
        for leg in &self.legs {
            let ran_deg = RUNNING_SHARE * leg.slip_deg;
            let after_deg = leg.sign * (leg.slip_deg - 0.5 * ran_deg);
            let middle_deg = leg.running_deg.unwrap_or(foot_deg + after_deg);
            let twisted_deg = leg.sign * guess.twist_share * leg.twist_deg;
            let mut go = |to_deg: f64| {
                let stretched = excess_nm + guess.segment_nm_per_deg * (to_deg - coil_deg);
                excess_nm = stretched.clamp(-guess.most_nm, guess.most_nm);
                coil_deg = to_deg;
                excess_nm
            };
            let mut mean_nm = 0.0;
            for share in SLIP_POINTS {
                let at_deg = middle_deg + leg.sign * share * ran_deg;
                mean_nm += go(at_deg + twisted_deg) / SLIP_POINTS.len() as f64;
            }
            foot_deg = middle_deg + leg.sign * 0.5 * ran_deg;
            go(foot_deg + twisted_deg);
            let error = &mut errors[usize::from(leg.sign < 0.0)];
            if leg.running_deg.is_some() && error.is_none() {
                let brought_nm = if self.matched { -used_nm_per_deg * middle_deg } else { 0.0 };
                *error = Some(leg.sign * (mean_nm + brought_nm));
            }
        }
        errors
    }
}

/// What friction and moment are wrong by, over all guesses, N·m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Wrong {
    friction_mean: f64,
    friction_sd: f64,
    moment_mean: f64,
    moment_sd: f64,
    /// Between the two.
    correlation: f64,
}

/// Walks the loop for every guess.
fn walk(
    course: &Course,
    form: Form,
    moment_nm: f64,
    profile: &MeasurementProfile,
) -> Option<Wrong> {
    let (least, most) = match profile.bearing_friction_set {
        // A standard uncertainty as a rectangle's half width.
        Some(set) => (set.value - 3f64.sqrt() * set.u, set.value + 3f64.sqrt() * set.u),
        None => (profile.bearing_friction_min.value, profile.bearing_friction_max.value),
    };
    let segment = (profile.segment_least_nm_per_deg.value, profile.segment_most_nm_per_deg.value);
    let used = course.used_nm_per_deg.unwrap_or(profile.segment_nm_per_deg());
    let at = |(low, high): (f64, f64), place: usize| {
        low + (high - low) * (place as f64 + 0.5) / GRID_COUNT as f64
    };
    let mut pairs = Vec::with_capacity(GRID_COUNT * GRID_COUNT * GRID_COUNT);
    for friction in 0..GRID_COUNT {
        let most_nm = libm::sinh(at((least, most), friction).max(0.0)) * moment_nm;
        for left in 0..GRID_COUNT {
            for stiffness in 0..GRID_COUNT {
                let guess = Guess {
                    most_nm,
                    found_nm: most_nm * at((-1.0, 1.0), left),
                    segment_nm_per_deg: at(segment, stiffness),
                    twist_share: profile.twist_below_coil.value,
                };
                let [sharp, flat] = course.errors(guess, used);
                let friction_nm =
                    form.sharp * part(sharp, form.sharp)? + form.flat * part(flat, form.flat)?;
                let moment_nm = (sharp.unwrap_or(0.0) - flat.unwrap_or(0.0)) / 2.0;
                pairs.push((friction_nm, moment_nm));
            }
        }
    }
    Some(summary(&pairs))
}

/// An error that is needed; none that is not counts as nothing.
fn part(error: Option<f64>, share: f64) -> Option<f64> {
    if share == 0.0 { Some(0.0) } else { error }
}

fn summary(pairs: &[(f64, f64)]) -> Wrong {
    let count = pairs.len().max(1) as f64;
    let mean = |of: fn(&(f64, f64)) -> f64| pairs.iter().map(of).sum::<f64>() / count;
    let (friction_mean, moment_mean) = (mean(|pair| pair.0), mean(|pair| pair.1));
    let (mut friction2, mut moment2, mut both) = (0.0, 0.0, 0.0);
    for (friction, moment) in pairs {
        let (f, m) = (friction - friction_mean, moment - moment_mean);
        friction2 += f * f / count;
        moment2 += m * m / count;
        both += f * m / count;
    }
    let scale = (friction2 * moment2).sqrt();
    let correlation = if scale > 0.0 { (both / scale).clamp(-1.0, 1.0) } else { 0.0 };
    let (friction_sd, moment_sd) = (friction2.sqrt(), moment2.sqrt());
    Wrong { friction_mean, friction_sd, moment_mean, moment_sd, correlation }
}

/// Adds the lines of the wire in its bearing; returns what is taken off friction, N·m.
pub(super) fn add(
    torques: &mut Torques,
    form: Form,
    now_nm: f64,
    profile: &MeasurementProfile,
) -> f64 {
    if form == Form::GIVEN || torques.state == StringState::Unstrung {
        return 0.0;
    }
    let measured = torques.sharp.zip(torques.flat).map(|(sharp, flat)| (sharp - flat) / 2.0);
    let moment_nm = measured.unwrap_or(now_nm).max(0.0);
    if moment_nm == 0.0 {
        return 0.0;
    }
    let course = torques.course.clone().filter(|_| torques.kind == TorqueKind::Running);
    match course.and_then(|course| walk(&course, form, moment_nm, profile)) {
        Some(wrong) => add_walked(torques, form, wrong, moment_nm, profile),
        None => add_unwatched(torques, form, moment_nm, profile),
    }
}

fn add_walked(
    torques: &mut Torques,
    form: Form,
    wrong: Wrong,
    moment_nm: f64,
    profile: &MeasurementProfile,
) -> f64 {
    let support = Support::of(profile.bearing_friction_max);
    let root_3 = 3f64.sqrt();
    let both = form == Form::BOTH;
    let shared = if both { root_3 * wrong.moment_sd * wrong.correlation } else { 0.0 };
    let friction = root_3 * wrong.friction_sd;
    let effect = Effect { friction, moment: shared, ..Effect::default() };
    let what = (Term::Bearing, support);
    let size = (friction / moment_nm, SizeUnit::Relative);
    let before = torques.lines.len();
    torques.line(what, Shape::Rectangular, size, Reach::Formed, effect);
    let off_nm = profile.bearing_friction_set.map_or(0.0, |_| wrong.friction_mean);
    for line in &mut torques.lines[before..] {
        line.bias.friction = wrong.friction_mean - off_nm;
        line.bias.moment = if both { wrong.moment_mean } else { 0.0 };
    }
    if both {
        let rest = (1.0 - wrong.correlation * wrong.correlation).sqrt();
        let moment = root_3 * wrong.moment_sd * rest;
        let effect = Effect { moment, ..Effect::default() };
        let what = (Term::BearingState, support);
        let size = (moment / moment_nm, SizeUnit::Relative);
        torques.line(what, Shape::Rectangular, size, Reach::Formed, effect);
    }
    off_nm
}

fn add_unwatched(
    torques: &mut Torques,
    form: Form,
    moment_nm: f64,
    profile: &MeasurementProfile,
) -> f64 {
    use SizeUnit::Relative;
    let graded = profile.bearing_friction_max;
    let support = Support::of(graded);
    let whole_nm = libm::sinh(graded.value) * moment_nm;
    if form == Form::BOTH {
        let effect = Effect { moment: whole_nm, ..Effect::default() };
        let what = (Term::BearingState, support);
        torques.line(what, Shape::Triangular, (graded.value, Relative), Reach::Formed, effect);
    }
    let what = (Term::Bearing, support);
    let Some(set) = profile.bearing_friction_set else {
        torques.reads_high(what, (graded.value, Relative), whole_nm);
        return 0.0;
    };
    let effect = Effect { friction: set.u * moment_nm, ..Effect::default() };
    torques.line(what, Shape::KNOWN, (set.u, Relative), Reach::Formed, effect);
    set.value * moment_nm
}
