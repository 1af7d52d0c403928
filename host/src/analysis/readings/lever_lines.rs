//! What a lever's own budget holds: its calibration or class, its strokes, its angles.
//!
//! Nothing is counted twice. What was found between seatings on the bench contains scatter,
//! repeatability and angle of those readings already, and what was found between people contains
//! the place of their hands: only what is left beyond these counts as seating and person.
//! Estimates from few readings are drawn towards the lever's class, as if the class were worth
//! [`CLASS_WORTH`] readings (DER): two people alone say little of how people differ.
//!
//! Deliberately not here: what friction is formed of, the string and its bearing (`combine`).

use pinhold_protocol::record::{Direction, Reading, Stroke, reading_flags};

use super::MeasurementProfile;
use super::combine::Torques;
use crate::analysis::budget::{Effect, Reach, Shape, SizeUnit, Support, Term};
use crate::analysis::input::StringState;
use crate::calibration::terms::{Basis, LeverTerms};

/// Slip time over which torque scatter is taken as one independent value, ms (MEM).
const SCATTER_INDEPENDENT_MS: f64 = 100.0;
/// Degrees of freedom of a slip's scatter at least: it comes from many bins, neighbours alike.
const SCATTER_FREEDOM_MIN: f64 = 3.0;
/// Readings the class is worth beside a lever's own estimates.
const CLASS_WORTH: f64 = 3.0;
/// Temperature the class of an uncalibrated lever is stated for, °C.
const CLASS_TEMPERATURE_C: f64 = 20.0;

/// What the lever shows less what is there, at a torque in its own direction of motion.
pub(super) fn error_nm(terms: &LeverTerms, direction: Direction, torque_nm: f64) -> f64 {
    let [constant, linear, square] = terms.error_curve;
    match direction {
        Direction::Sharp => constant + torque_nm * (linear + square * torque_nm),
        // The lever's own sign is sharp positive: torque −τ, and the error turned back.
        Direction::Flat => -constant + torque_nm * (linear - square * torque_nm),
    }
}

/// Whether every term is a number a budget can use.
pub(super) fn is_sound(terms: &LeverTerms) -> bool {
    let sizes = [
        terms.scale_relative_u,
        terms.hysteresis_half_width_nm,
        terms.repeatability_u_nm,
        terms.zero_u_nm,
        terms.seating_relative_u,
        terms.person_relative_u,
        terms.cross_load_relative_half_width,
        terms.temperature_relative_per_k,
        terms.resolution_nm,
    ];
    let bounds = terms.temperature_c.map_or([0.0; 2], |(low, high)| [low, high]);
    sizes.iter().all(|size| size.is_finite() && *size >= 0.0)
        && terms.error_curve.iter().chain(bounds.iter()).all(|number| number.is_finite())
        && terms.error_covariance.iter().flatten().all(|number| number.is_finite())
}

/// Adds the lines of a lever to torques already taken from its record.
pub(super) fn add(
    torques: &mut Torques,
    reading: &Reading,
    terms: &LeverTerms,
    profile: &MeasurementProfile,
) {
    let support = match terms.basis {
        Basis::Class => Support::LeverClass,
        Basis::Calibration { number } => Support::Calibration { number },
    };
    Lines { sharp: torques.sharp, flat: torques.flat, torques, reading, terms, profile, support }
        .add();
}

/// Adds what a drift that was taken out is uncertain by: the same share of both torques.
pub(super) fn add_drift(torques: &mut Torques, relative_u: f64) {
    let of = |torque: Option<f64>| relative_u * torque.unwrap_or(0.0);
    let (sharp, flat) = (of(torques.sharp), of(torques.flat));
    let effect = Effect { sharp, flat, ..Effect::default() };
    let what = (Term::Drift, Support::Reading);
    let size = (relative_u, SizeUnit::Relative);
    torques.line(what, Shape::KNOWN, size, Reach::Common, effect);
}

/// One reading's lines in the making.
struct Lines<'a> {
    sharp: Option<f64>,
    flat: Option<f64>,
    torques: &'a mut Torques,
    reading: &'a Reading,
    terms: &'a LeverTerms,
    profile: &'a MeasurementProfile,
    support: Support,
}

impl Lines<'_> {
    fn add(&mut self) {
        self.add_scale();
        self.add_curve();
        self.add_hysteresis();
        self.add_temperature();
        self.add_zero();
        self.add_own();
        self.add_angles();
        self.add_hands();
    }

    /// The same share of both torques.
    fn of_both(&self, share: f64) -> Effect {
        let of = |torque: Option<f64>| share * torque.unwrap_or(0.0);
        Effect { sharp: of(self.sharp), flat: of(self.flat), ..Effect::default() }
    }

    /// The same torque on the lever, sharp positive.
    fn opposite(&self, torque_nm: f64) -> Effect {
        let sharp = self.sharp.map_or(0.0, |_| torque_nm);
        let flat = self.flat.map_or(0.0, |_| -torque_nm);
        Effect { sharp, flat, ..Effect::default() }
    }

    fn add_scale(&mut self) {
        let u = self.terms.scale_relative_u;
        let effect = self.of_both(u);
        let what = (Term::Scale, self.support);
        let size = (u, SizeUnit::Relative);
        match self.terms.basis {
            Basis::Calibration { .. } => {
                self.torques.line(what, Shape::KNOWN, size, Reach::Common, effect);
            }
            Basis::Class => {
                // A tolerance: bounds, not a normal distribution.
                let half_width = u * 3f64.sqrt();
                let effect = self.of_both(half_width);
                let size = (half_width, SizeUnit::Relative);
                self.torques.line(what, Shape::Rectangular, size, Reach::Common, effect);
            }
        }
    }

    /// The curve's coefficients correlate: their covariance is made into three independent lines.
    fn add_curve(&mut self) {
        let shape = Shape::Normal { degrees_of_freedom: freedom(self.terms.freedom.curve) };
        for column in independent(&self.terms.error_covariance) {
            let at = |torque: Option<f64>, direction: Direction| {
                let terms = LeverTerms { error_curve: column, ..self.terms.clone() };
                torque.map_or(0.0, |torque_nm| error_nm(&terms, direction, torque_nm))
            };
            let sharp = at(self.sharp, Direction::Sharp);
            let flat = at(self.flat, Direction::Flat);
            let size = (sharp.abs().max(flat.abs()), SizeUnit::NewtonMetre);
            let effect = Effect { sharp, flat, ..Effect::default() };
            let what = (Term::Curve, self.support);
            self.torques.line(what, shape, size, Reach::Common, effect);
        }
    }

    /// The loop grows with the load reached, and reads the same way in both directions.
    fn add_hysteresis(&mut self) {
        let half_width_nm = self.terms.hysteresis_half_width_nm;
        let size_of = |torque: Option<f64>| torque.map_or(0.0, f64::abs);
        let most_nm = size_of(self.sharp).max(size_of(self.flat));
        if most_nm == 0.0 {
            return;
        }
        let effect = self.of_both(half_width_nm / most_nm);
        let what = (Term::Hysteresis, self.support);
        let size = (half_width_nm, SizeUnit::NewtonMetre);
        self.torques.line(what, Shape::Rectangular, size, Reach::Common, effect);
    }

    fn add_temperature(&mut self) {
        let now_c = f64::from(self.reading.temperature_centi_celsius) / 100.0;
        let (low_c, high_c) =
            self.terms.temperature_c.unwrap_or((CLASS_TEMPERATURE_C, CLASS_TEMPERATURE_C));
        let away_k = (low_c - now_c).max(now_c - high_c).max(0.0);
        let share = self.terms.temperature_relative_per_k * away_k;
        let effect = self.of_both(share);
        let what = (Term::Temperature, self.support);
        let size = (share, SizeUnit::Relative);
        self.torques.line(what, Shape::Rectangular, size, Reach::Common, effect);
    }

    fn add_zero(&mut self) {
        use SizeUnit::NewtonMetre;
        let u_nm = self.terms.zero_u_nm;
        let effect = self.opposite(u_nm);
        let what = (Term::Zero, self.support);
        self.torques.line(what, Shape::KNOWN, (u_nm, NewtonMetre), Reach::Opposite, effect);
        if self.reading.flags & reading_flags::NOT_ZEROED != 0 {
            let graded = self.profile.not_zeroed_half_width_nm;
            let effect = self.opposite(graded.value);
            let size = (graded.value, NewtonMetre);
            let what = (Term::Zero, Support::of(graded));
            self.torques.line(what, Shape::Rectangular, size, Reach::Opposite, effect);
        }
        let graded = self.profile.own_weight_u_nm;
        let effect = self.opposite(graded.value);
        let what = (Term::OwnWeight, Support::of(graded));
        let size = (graded.value, NewtonMetre);
        self.torques.line(what, Shape::KNOWN, size, Reach::Opposite, effect);
    }

    /// What each stroke has for itself: scatter, repeatability, last digit.
    fn add_own(&mut self) {
        use SizeUnit::NewtonMetre;
        for direction in [Direction::Sharp, Direction::Flat] {
            if self.torque(direction).is_none() {
                continue;
            }
            let of = |nm: f64| only(direction, nm);
            if let Some((scatter_nm, degrees_of_freedom)) = self.scatter(direction) {
                let shape = Shape::Normal { degrees_of_freedom };
                let size = (scatter_nm, NewtonMetre);
                let what = (Term::Noise, Support::Reading);
                self.torques.line(what, shape, size, Reach::Own, of(scatter_nm));
            }
            let u_nm = self.terms.repeatability_u_nm;
            let degrees_of_freedom = freedom(self.terms.freedom.repeatability);
            let shape = Shape::Normal { degrees_of_freedom };
            let what = (Term::Repeatability, self.support);
            self.torques.line(what, shape, (u_nm, NewtonMetre), Reach::Own, of(u_nm));
            let half_nm = 0.5 * self.terms.resolution_nm;
            let what = (Term::Resolution, self.support);
            let size = (half_nm, NewtonMetre);
            self.torques.line(what, Shape::Rectangular, size, Reach::Own, of(half_nm));
        }
    }

    /// Torque times angle: the string's short segment. What brings torques to one angle is in the
    /// walk of `bearing`; here are the angle's own error, and torques that were not brought to one.
    fn add_angles(&mut self) {
        use SizeUnit::Degree;
        if self.torques.state == StringState::Unstrung {
            return;
        }
        let profile = self.profile;
        for direction in [Direction::Sharp, Direction::Flat] {
            if self.torque(direction).is_none() {
                continue;
            }
            let graded = profile.lever_angle_u_deg;
            let nm = graded.value * profile.segment_nm_per_deg();
            let what = (Term::FootAngle, Support::of(graded));
            let effect = only(direction, nm);
            self.torques.line(what, Shape::KNOWN, (graded.value, Degree), Reach::Own, effect);
            let matched = match direction {
                Direction::Sharp => self.reading.sharp,
                Direction::Flat => self.reading.flat,
            };
            if matched.is_none() {
                let graded = profile.break_angle_half_width_deg;
                let off_deg = self
                    .running(direction)
                    .map_or(graded.value, |s| s.running_angle.radians().to_degrees().abs());
                let stiffness = profile.segment_most_nm_per_deg;
                let effect = only(direction, off_deg * stiffness.value);
                let what = (Term::Segment, Support::of(stiffness));
                let size = (off_deg, Degree);
                self.torques.line(what, Shape::Rectangular, size, Reach::Own, effect);
            }
        }
    }

    /// Seating, person and the place of the hand.
    fn add_hands(&mut self) {
        use SizeUnit::Relative;
        let cross = self.terms.cross_load_relative_half_width;
        let effect = self.of_both(cross);
        let what = (Term::CrossLoad, self.support);
        self.torques.line(what, Shape::Rectangular, (cross, Relative), Reach::Common, effect);
        let class = LeverTerms::class();
        let terms = self.terms;
        let (seating, degrees_of_freedom) =
            pooled(terms.seating_relative_u, terms.freedom.seating, class.seating_relative_u);
        let seating = match terms.basis {
            Basis::Class => seating,
            Basis::Calibration { .. } => beyond(seating, self.own_relative_u()),
        };
        let effect = self.of_both(seating);
        let shape = Shape::Normal { degrees_of_freedom };
        let what = (Term::Seating, self.support);
        self.torques.line(what, shape, (seating, Relative), Reach::Common, effect);
        let (person, degrees_of_freedom) =
            pooled(terms.person_relative_u, terms.freedom.person, class.person_relative_u);
        let person = beyond(person, cross / 3f64.sqrt());
        let effect = self.of_both(person);
        let shape = Shape::Normal { degrees_of_freedom };
        let what = (Term::Person, self.support);
        self.torques.line(what, shape, (person, Relative), Reach::Common, effect);
    }

    /// What the strokes have for themselves, as a share of friction both ways; 0 one way.
    fn own_relative_u(&self) -> f64 {
        let Some((sharp, flat)) = self.sharp.zip(self.flat) else { return 0.0 };
        let friction_nm = 0.5 * (sharp + flat);
        if friction_nm <= 0.0 {
            return 0.0;
        }
        let squares =
            self.torques.lines.iter().filter(|line| line.reach == Reach::Own).map(|line| {
                let effect = 0.5 * (line.effect.sharp + line.effect.flat);
                let u = line.shape.relative_u() * effect / friction_nm;
                u * u
            });
        squares.sum::<f64>().sqrt()
    }

    fn torque(&self, direction: Direction) -> Option<f64> {
        match direction {
            Direction::Sharp => self.sharp,
            Direction::Flat => self.flat,
        }
    }

    /// The first stroke in a direction that ran.
    fn running(&self, direction: Direction) -> Option<&Stroke> {
        let strokes = self.reading.strokes.iter();
        strokes.filter(|stroke| stroke.direction == direction).find(|s| s.running.is_some())
    }

    /// Standard uncertainty of a direction's mean torque from its scatter, N·m, and its degrees of
    /// freedom; `None` when nothing ran.
    fn scatter(&self, direction: Direction) -> Option<(f64, f64)> {
        let strokes = self.reading.strokes.iter();
        strokes
            .filter(|stroke| stroke.direction == direction && stroke.running.is_some())
            .map(scatter_of_mean)
            .max_by(|a, b| a.0.total_cmp(&b.0))
    }
}

/// Standard uncertainty of a slip's mean torque, N·m, and its degrees of freedom.
fn scatter_of_mean(stroke: &Stroke) -> (f64, f64) {
    let independent = (f64::from(stroke.slip_ms) / SCATTER_INDEPENDENT_MS).max(1.0);
    let u_nm = stroke.running_scatter.newton_metres().abs() / independent.sqrt();
    (u_nm, (independent - 1.0).max(SCATTER_FREEDOM_MIN))
}

fn only(direction: Direction, nm: f64) -> Effect {
    match direction {
        Direction::Sharp => Effect { sharp: nm, ..Effect::default() },
        Direction::Flat => Effect { flat: nm, ..Effect::default() },
    }
}

fn freedom(count: Option<u32>) -> f64 {
    count.map_or(f64::INFINITY, |count| f64::from(count.max(1)))
}

/// An estimate drawn towards its class, and its degrees of freedom.
fn pooled(u: f64, count: Option<u32>, class_u: f64) -> (f64, f64) {
    let Some(count) = count else { return (u, f64::INFINITY) };
    let count = f64::from(count);
    let worth = count + CLASS_WORTH;
    (((count * u * u + CLASS_WORTH * class_u * class_u) / worth).sqrt(), worth)
}

/// What is left of a standard uncertainty when a part is taken out of it.
fn beyond(whole: f64, part: f64) -> f64 {
    (whole * whole - part * part).max(0.0).sqrt()
}

/// Columns of the covariance's Cholesky factor: independent, and together of that covariance. A
/// direction without variance gives a column of zeros.
fn independent(covariance: &[[f64; 3]; 3]) -> [[f64; 3]; 3] {
    let mut columns = [[0.0; 3]; 3];
    for at in 0..3 {
        let mut rest = [0.0; 3];
        for (row, rest) in rest.iter_mut().enumerate() {
            let taken: f64 = columns[..at].iter().map(|column| column[row] * column[at]).sum();
            *rest = covariance[row][at] - taken;
        }
        if rest[at] > f64::EPSILON * covariance[at][at].abs() {
            let root = rest[at].sqrt();
            for row in at..3 {
                columns[at][row] = rest[row] / root;
            }
        }
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn independent_columns_give_the_covariance_back() {
        let covariance = [[4e-4, -3e-5, 1e-6], [-3e-5, 9e-6, -4e-7], [1e-6, -4e-7, 3e-8]];
        let columns = independent(&covariance);
        for (row, expected) in covariance.iter().enumerate() {
            for (at, expected) in expected.iter().enumerate() {
                let sum: f64 = columns.iter().map(|column| column[row] * column[at]).sum();
                assert!((sum - expected).abs() < 1e-15, "{row} {at}: {sum} {expected}");
            }
        }
        assert_eq!(independent(&[[0.0; 3]; 3]), [[0.0; 3]; 3]);
        let line_only = [[0.0, 0.0, 0.0], [0.0, 4.0, 0.0], [0.0, 0.0, 0.0]];
        assert_eq!(independent(&line_only)[1], [0.0, 2.0, 0.0]);
    }

    #[test]
    fn few_readings_are_drawn_towards_the_class() {
        assert_eq!(pooled(0.02, None, 0.01), (0.02, f64::INFINITY));
        let (u, worth) = pooled(0.0, Some(1), 0.01);
        assert!((u - 0.01 * (0.75_f64).sqrt()).abs() < 1e-15 && worth == 4.0);
        let (many, _) = pooled(0.004, Some(400), 0.01);
        assert!((many - 0.004).abs() < 1e-4);
    }

    #[test]
    fn the_error_of_a_flat_torque_is_that_of_the_lever_turned_round() {
        let terms = LeverTerms { error_curve: [0.03, 0.01, 0.002], ..LeverTerms::class() };
        let on_lever = |x: f64| 0.03 + 0.01 * x + 0.002 * x * x;
        assert!((error_nm(&terms, Direction::Sharp, 9.0) - on_lever(9.0)).abs() < 1e-15);
        assert!((error_nm(&terms, Direction::Flat, 4.0) + on_lever(-4.0)).abs() < 1e-15);
    }
}
