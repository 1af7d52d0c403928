//! The wire in its bearing: what the strokes leave in friction and moment.
//!
//! Behind the coil a short segment runs to the bearing. Turning the coil stretches it by its
//! stiffness, and the speaking length follows only when the tensions differ by more than the
//! bearing holds, M·e^(±μθ); what it does not hold the two lengths share in series. So the pin-side
//! moment lies somewhere in a loop about the speaking length's, within ±εM, ε = sinh(μθ), and where
//! depends on how it was left and on how the coil turned.
//!
//! A lever watched the head. Its coil angle is the head's less torque over the slope of the early
//! ramp, and that slope holds some of the pin below the coil; only the part above it, head to coil,
//! is no turn of the coil. So the coil really stands τ·(1/slope − twist above it) further on.
//!
//! The loop is walked along the coil's own course for an even grid over what is not known: ε 3 to
//! 13 % (ONE), where in the loop the wire was left, the segment's stiffness 0.3 to 0.8 N·m per
//! degree (DER). With each, the pin-side moment at each running torque follows, and with it what
//! half sum and half difference, as the lever brought them to one angle, are wrong by. Mean,
//! scatter and tails over the grid are the budget's lines; the stiffness the lever used is part of
//! the walk and needs no line of its own.
//!
//! A hand tool watched nothing: its half sum reads high by 0 to M·sinh(μθ), its half difference is
//! off by where the wire stands, within ±M·sinh(μθ); M·(cosh(μθ) − 1), under 1 % of M, is within
//! that.
//!
//! Friction is told uncorrected, unless a profile sets ε for an instrument.
//!
//! A little long: one walk, read in one place.

use pinhold_protocol::record::{Direction, Reading, Stroke};
use pinhold_protocol::units::{Stiffness, Torque};

use super::MeasurementProfile;
use super::combine::Torques;
use crate::analysis::budget::{Effect, Form, Reach, Shape, SizeUnit, Support, Term};
use crate::analysis::input::{StringState, TorqueKind};
use crate::instrument::moment::PinString;
use crate::instrument::pitch::{A4_HZ_ISO16, frequency_hz};
use crate::instrument::strings::{
    STEEL_DENSITY_KG_M3, STEEL_MODULUS_PA, wave_speed_m_s, wire_area_m2,
};

/// Grid points over each of the three ranges not known.
const GRID_COUNT: usize = 7;
/// Share of a slip that its running torque is taken from: the first fifth is the break settling.
const RUNNING_SHARE: f64 = 0.8;
/// Points over that share that stand for its mean, from −½ to ½.
const SLIP_POINTS: [f64; 3] = [-1.0 / 3.0, 0.0, 1.0 / 3.0];
/// Twist from head to coil, degrees per N·m: 18.5 mm of a 7.16 mm steel pin, G 79.3 GPa (DER; 25 mm
/// free, the coil 5 to 8 mm over the wood MEM).
const ABOVE_COIL_DEG_PER_NM: f64 = 0.052;
/// Slope of an early ramp that was too short to tell, N·m per degree: what the lever takes then.
const RAMP_NM_PER_DEG: f64 = 10.8;
/// Excess of a rectangular distribution's fourth moment.
const RECTANGLE_EXCESS: f64 = -1.2;
/// Shortest and longest speaking length believed, m (MEM).
const SPEAKING_M: (f64, f64) = (0.05, 1.35);

/// One stroke as the foot went.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Leg {
    /// −1 flat, 1 sharp.
    sign: f64,
    /// Foot angle of its running torque, degrees from where the pin was found.
    running_deg: Option<f64>,
    /// Foot rotation, degrees, positive.
    slip_deg: f64,
    /// How much further its coil stood than the lever's coil angle, degrees, the stroke's way.
    twist_deg: f64,
    /// What the lever added to its running torque to bring it to the found angle, N·m.
    brought_nm: f64,
}

/// What the foot did from being found to the last running torque, and what the lever made of it.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Course {
    legs: Vec<Leg>,
}

impl Course {
    /// From a record; `None` when no stroke ran.
    pub(super) fn of(reading: &Reading) -> Option<Course> {
        let ran = reading.strokes.iter().any(|stroke| stroke.running.is_some());
        ran.then(|| Course {
            legs: reading.strokes.iter().map(|stroke| leg_of(stroke, reading)).collect(),
        })
    }
}

fn leg_of(stroke: &Stroke, reading: &Reading) -> Leg {
    let (sign, matched) = match stroke.direction {
        Direction::Flat => (-1.0, reading.flat),
        Direction::Sharp => (1.0, reading.sharp),
    };
    let brought =
        |(matched, running): (Torque, Torque)| matched.newton_metres() - running.newton_metres();
    let torque_nm = stroke.running.or(stroke.breakaway).unwrap_or(stroke.peak).newton_metres();
    let nm_per_rad = stroke.ramp_stiffness.map_or(0.0, Stiffness::newton_metres_per_radian);
    let ramp = if nm_per_rad > 0.0 { nm_per_rad.to_radians() } else { RAMP_NM_PER_DEG };
    Leg {
        sign,
        twist_deg: torque_nm * (1.0 / ramp - ABOVE_COIL_DEG_PER_NM).max(0.0),
        running_deg: stroke.running.map(|_| stroke.running_angle.radians().to_degrees()),
        slip_deg: stroke.slip.radians().to_degrees().abs(),
        brought_nm: matched.zip(stroke.running).map_or(0.0, brought),
    }
}

/// What is known of the string and the pin while it was turned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Wire {
    /// Moment of the speaking length, N·m.
    pub(super) moment_nm: f64,
    /// Stiffness of the speaking length at the coil, N·m per degree.
    pub(super) speaking_nm_per_deg: f64,
}

/// Stiffness of a string's speaking length at the coil, N·m per degree: E·A·r²/L.
pub(super) fn speaking_nm_per_deg(note: u8, string: &PinString) -> f64 {
    let area_m2 = wire_area_m2(string.wire_m);
    let pull_n = string.tension_n.value.max(0.0);
    // As plain wire; a wound string is shorter than that, and longer than the longest is none.
    let speed_m_s = wave_speed_m_s(pull_n, STEEL_DENSITY_KG_M3 * area_m2);
    let guess_m = speed_m_s / (2.0 * frequency_hz(note, A4_HZ_ISO16));
    let known_m = string.speaking_length_m.filter(|length_m| *length_m > 0.0);
    let length_m = known_m.unwrap_or(guess_m).max(SPEAKING_M.0).min(SPEAKING_M.1);
    let arm_m = if pull_n > 0.0 { string.moment_nm.value / pull_n } else { 0.0 };
    (STEEL_MODULUS_PA * area_m2 * arm_m * arm_m / length_m).to_radians()
}

/// One set of what is not known.
#[derive(Clone, Copy, Debug)]
struct Guess {
    /// Largest excess of the pin-side moment, share of the speaking length's.
    friction: f64,
    /// Where in the loop the wire was left, −1 to 1.
    left: f64,
    /// Stiffness of the segment, N·m per degree.
    segment_nm_per_deg: f64,
}

/// The wire as it goes.
struct Going {
    guess: Guess,
    speaking_nm_per_deg: f64,
    speaking_nm: f64,
    excess_nm: f64,
    coil_deg: f64,
}

impl Going {
    /// Turns the coil; returns the pin-side moment, N·m.
    fn turn_to(&mut self, coil_deg: f64) -> f64 {
        let segment = self.guess.segment_nm_per_deg;
        let wanted_nm = self.excess_nm + segment * (coil_deg - self.coil_deg);
        self.coil_deg = coil_deg;
        let most_nm = self.guess.friction * self.speaking_nm;
        self.excess_nm = wanted_nm.max(-most_nm).min(most_nm);
        // What the bearing does not hold, the two lengths share in series.
        let speaking = self.speaking_nm_per_deg;
        let passed_nm = (wanted_nm - self.excess_nm) * speaking / (segment + speaking);
        self.speaking_nm = (self.speaking_nm + passed_nm).max(0.0);
        self.speaking_nm + self.excess_nm
    }
}

impl Course {
    /// What the first running torque of each direction is wrong by, N·m, sharp then flat, in its
    /// own direction, as the lever brought it to the found angle.
    fn errors(&self, wire: &Wire, guess: Guess) -> [Option<f64>; 2] {
        let mut going = Going {
            guess,
            speaking_nm_per_deg: wire.speaking_nm_per_deg,
            speaking_nm: wire.moment_nm,
            excess_nm: guess.left * guess.friction * wire.moment_nm,
            coil_deg: 0.0,
        };
        let mut errors = [None, None];
        let mut foot_deg = 0.0;
        for leg in &self.legs {
            let ran_deg = RUNNING_SHARE * leg.slip_deg;
            let after_deg = leg.sign * (leg.slip_deg - 0.5 * ran_deg);
            let middle_deg = leg.running_deg.unwrap_or(foot_deg + after_deg);
            let mut mean_nm = 0.0;
            for share in SLIP_POINTS {
                let at_deg = middle_deg + leg.sign * share * ran_deg;
                let moment_nm = going.turn_to(at_deg + leg.sign * leg.twist_deg);
                mean_nm += (moment_nm - wire.moment_nm) / SLIP_POINTS.len() as f64;
            }
            foot_deg = middle_deg + leg.sign * 0.5 * ran_deg;
            going.turn_to(foot_deg + leg.sign * leg.twist_deg);
            let error = &mut errors[usize::from(leg.sign < 0.0)];
            if leg.running_deg.is_some() && error.is_none() {
                *error = Some(leg.sign * mean_nm + leg.brought_nm);
            }
        }
        errors
    }
}

/// What friction and moment are wrong by, over all guesses, N·m.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Wrong {
    friction: Spread,
    moment: Spread,
    /// Between the two.
    correlation: f64,
}

/// Mean, scatter and tails of one of them.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Spread {
    mean_nm: f64,
    sd_nm: f64,
    /// Share of the variance that is rectangular, the rest normal: by the fourth moment.
    rectangular: f64,
}

impl Spread {
    fn of(values: impl Iterator<Item = f64> + Clone) -> Spread {
        let count = values.clone().count().max(1) as f64;
        let mean_nm = values.clone().sum::<f64>() / count;
        let (mut second, mut fourth) = (0.0, 0.0);
        for value in values {
            let square = (value - mean_nm) * (value - mean_nm);
            second += square / count;
            fourth += square * square / count;
        }
        let excess = if second > 0.0 { fourth / (second * second) - 3.0 } else { 0.0 };
        // A rectangle's excess is −1.2; of a sum each part's counts by its share squared.
        let rectangular = (excess / RECTANGLE_EXCESS).max(0.0).sqrt().min(1.0);
        Spread { mean_nm, sd_nm: second.sqrt(), rectangular }
    }

    /// The sizes of a rectangular line, its half width, and of a normal one, both of unit scatter.
    fn shapes(self) -> [(Shape, f64); 2] {
        [
            (Shape::Rectangular, (3.0 * self.rectangular).sqrt()),
            (Shape::KNOWN, (1.0 - self.rectangular).sqrt()),
        ]
    }
}

/// Walks the loop for every guess.
fn walk(course: &Course, form: Form, wire: &Wire, profile: &MeasurementProfile) -> Option<Wrong> {
    let (least, most) = match profile.bearing_friction_set {
        // A standard uncertainty as a rectangle's half width.
        Some(set) => (set.value - 3f64.sqrt() * set.u, set.value + 3f64.sqrt() * set.u),
        None => (profile.bearing_friction_min.value, profile.bearing_friction_max.value),
    };
    let segment = (profile.segment_least_nm_per_deg.value, profile.segment_most_nm_per_deg.value);
    let at = |(low, high): (f64, f64), place: usize| {
        low + (high - low) * (place as f64 + 0.5) / GRID_COUNT as f64
    };
    let mut pairs = Vec::with_capacity(GRID_COUNT * GRID_COUNT * GRID_COUNT);
    for place in 0..GRID_COUNT * GRID_COUNT * GRID_COUNT {
        let guess = Guess {
            friction: libm::sinh(at((least, most), place % GRID_COUNT).max(0.0)),
            left: at((-1.0, 1.0), place / GRID_COUNT % GRID_COUNT),
            segment_nm_per_deg: at(segment, place / GRID_COUNT / GRID_COUNT),
        };
        let [sharp, flat] = course.errors(wire, guess);
        let friction_nm =
            form.sharp * part(sharp, form.sharp)? + form.flat * part(flat, form.flat)?;
        let moment_nm = (sharp.unwrap_or(0.0) - flat.unwrap_or(0.0)) / 2.0;
        pairs.push((friction_nm, moment_nm));
    }
    Some(summary(&pairs))
}

/// An error that is needed; none that is not counts as nothing.
fn part(error: Option<f64>, share: f64) -> Option<f64> {
    if share == 0.0 { Some(0.0) } else { error }
}

fn summary(pairs: &[(f64, f64)]) -> Wrong {
    let friction = Spread::of(pairs.iter().map(|pair| pair.0));
    let moment = Spread::of(pairs.iter().map(|pair| pair.1));
    let count = pairs.len().max(1) as f64;
    let both: f64 =
        pairs.iter().map(|(f, m)| (f - friction.mean_nm) * (m - moment.mean_nm) / count).sum();
    let scale = friction.sd_nm * moment.sd_nm;
    let correlation = if scale > 0.0 { (both / scale).clamp(-1.0, 1.0) } else { 0.0 };
    Wrong { friction, moment, correlation }
}

/// Adds the lines of the wire in its bearing; returns what is taken off friction, N·m.
pub(super) fn add(
    torques: &mut Torques,
    form: Form,
    wire: &Wire,
    profile: &MeasurementProfile,
) -> f64 {
    let moment_nm = wire.moment_nm;
    if form == Form::GIVEN || torques.state == StringState::Unstrung || moment_nm <= 0.0 {
        return 0.0;
    }
    let course = torques.course.as_ref().filter(|_| torques.kind == TorqueKind::Running);
    match course.and_then(|course| walk(course, form, wire, profile)) {
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
    let both = form == Form::BOTH;
    let off_nm = profile.bearing_friction_set.map_or(0.0, |_| wrong.friction.mean_nm);
    let (shared, rest) = (wrong.correlation, (1.0 - wrong.correlation * wrong.correlation).sqrt());
    let bias = Effect {
        friction: wrong.friction.mean_nm - off_nm,
        moment: if both { wrong.moment.mean_nm } else { 0.0 },
        ..Effect::default()
    };
    let before = torques.lines.len();
    for (shape, size) in wrong.friction.shapes() {
        let friction = size * wrong.friction.sd_nm;
        let moment = if both { size * wrong.moment.sd_nm * shared } else { 0.0 };
        let effect = Effect { friction, moment, ..Effect::default() };
        let size = (friction / moment_nm, SizeUnit::Relative);
        torques.line((Term::Bearing, support), shape, size, Reach::Formed, effect);
    }
    if let Some(line) = torques.lines.get_mut(before) {
        line.bias = bias;
    }
    for (shape, size) in wrong.moment.shapes().into_iter().filter(|_| both) {
        let moment = size * wrong.moment.sd_nm * rest;
        let effect = Effect { moment, ..Effect::default() };
        let size = (moment / moment_nm, SizeUnit::Relative);
        torques.line((Term::BearingState, support), shape, size, Reach::Formed, effect);
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

#[cfg(test)]
mod tests {
    use super::*;

    fn leg(sign: f64, running_deg: f64, slip_deg: f64) -> Leg {
        Leg { sign, running_deg: Some(running_deg), slip_deg, twist_deg: 0.0, brought_nm: 0.0 }
    }

    fn guess(friction: f64) -> Guess {
        Guess { friction, left: 0.0, segment_nm_per_deg: 0.5 }
    }

    const WIRE: Wire = Wire { moment_nm: 3.0, speaking_nm_per_deg: 0.0 };

    #[test]
    fn a_loop_worked_by_hand() {
        let course = Course { legs: vec![leg(-1.0, -0.25, 0.5), leg(1.0, -0.25, 0.5)] };
        let [sharp, flat] = course.errors(&WIRE, guess(0.05)).map(Option::unwrap);
        // Within ±0.15 N·m, 0.5 N·m per degree. Flat at −0.117, −0.25 and −0.383 degrees.
        let points = 0.4 / 3.0;
        let expected = -(0.5 * (-0.25 + points) + 0.5 * -0.25 - 0.15) / 3.0;
        assert!((flat - expected).abs() < 1e-12, "{flat} {expected}");
        // Turned at −0.45 with all the bearing holds; sharp from there.
        let expected = (3.0 * -0.15 + 0.5 * (3.0 * 0.2)) / 3.0;
        assert!((sharp - expected).abs() < 1e-12, "{sharp} {expected}");
    }

    #[test]
    fn a_loop_crossed_both_ways_lifts_friction_by_all_of_it_and_the_moment_by_none() {
        let course = Course { legs: vec![leg(-1.0, -2.0, 2.0), leg(1.0, 0.0, 2.0)] };
        for left in [-0.9, 0.0, 0.7] {
            let errors = course.errors(&WIRE, Guess { left, ..guess(0.05) });
            for error in errors {
                assert!((error.unwrap() - 0.15).abs() < 1e-12, "{errors:?}");
            }
        }
    }

    #[test]
    fn one_way_reads_high_either_way_where_the_wire_slips() {
        for sign in [-1.0, 1.0] {
            let course = Course { legs: vec![leg(sign, 2.0 * sign, 2.0)] };
            let errors = course.errors(&WIRE, guess(0.1));
            let told: Vec<f64> = errors.into_iter().flatten().collect();
            assert_eq!(told.len(), 1);
            assert!((told[0] - 0.3).abs() < 1e-12);
        }
    }

    #[test]
    fn what_the_lever_added_is_part_of_the_error() {
        let mut course = Course { legs: vec![leg(-1.0, -0.1, 0.1), leg(1.0, -0.1, 0.1)] };
        let before = course.errors(&WIRE, guess(0.5));
        course.legs[1].brought_nm = 0.07;
        let after = course.errors(&WIRE, guess(0.5));
        assert!((after[0].unwrap() - before[0].unwrap() - 0.07).abs() < 1e-12);
        assert_eq!(after[1], before[1]);
    }

    #[test]
    fn shapes_keep_the_variance_and_take_the_tails() {
        let flat = Spread::of((0..1000).map(|place| f64::from(place) / 999.0));
        assert!(flat.rectangular > 0.99, "{flat:?}");
        let heap = Spread::of([-2.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 2.0].into_iter());
        assert_eq!(heap.rectangular, 0.0);
        for spread in [flat, heap] {
            let squares = spread.shapes().map(|(shape, size)| shape.relative_u() * size);
            let variance: f64 = squares.iter().map(|u| u * u).sum();
            assert!((variance - 1.0).abs() < 1e-12, "{variance}");
        }
    }
}
