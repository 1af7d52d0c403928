//! One pin's torques combined: friction, string moment and holding factor with their budget.
//!
//! The lines that every reading has, whatever read it, are added here: what friction is formed
//! from when a direction is missing, the wire in its bearing, the string's moment, the kind.
//!
//! Bearing friction. Going sharp the pin-side moment is at most M·e^(μθ), going flat at least
//! M·e^(−μθ), so the half sum reads F high by 0 to M·sinh(μθ), and the half difference is off by
//! where the wire stands in its bearing, within ±μθ·M; M·(cosh(μθ) − 1), under 1 % of M, is within
//! that. Where a lever recorded how the pin was turned, both biases are narrower (see
//! [`super::bearing`]).

use std::sync::Arc;

use pinhold_protocol::record::{Direction, Pin};

use super::bearing::{Bias, Path};
use super::{MeasurementProfile, note};
use crate::analysis::budget::{
    BudgetLine, Case, Effect, Form, Quantity, Reach, ReadingBudget, Shape, Size, SizeUnit, Support,
    Term,
};
use crate::analysis::input::{Estimate, PinReading, StringState, TorqueKind};
use crate::instrument::moment::{moment_at_cents, moment_at_pitch, moment_in_field};
use crate::instrument::{FieldPin, Instrument};

/// Significance at which a pin is called not holding: one-sided 5 % of a normal distribution.
const NOT_HOLDING_SIGMA: f64 = 1.645;
/// Probability that friction lies above the lower end of a limit's interval.
const LIMIT_PROBABILITY: f64 = 0.95;
/// Standard uncertainties of M₀ by which friction must be negative for a direction to be ruled out.
const IMPOSSIBLE_SIGMA: f64 = 2.0;

/// Half width of a bias that is all middle, N·m.
const NARROW_NM: f64 = 1e-6;

/// A pin and its string's moment at target pitch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Strung {
    pin: Pin,
    at_pitch: Estimate,
}

impl Strung {
    /// `diameter_um` overrides the field's when the reading tells it.
    pub(super) fn of(instrument: &Instrument, pin: Pin, diameter_um: Option<u32>) -> Strung {
        let count = instrument.string_count(pin.note).max(1);
        let at_pitch = match (instrument.find_pin(pin), diameter_um) {
            (Some(field), None) => moment_in_field(instrument, field),
            (field, given) => {
                let known = given.or(field.and_then(|field: &FieldPin| field.diameter_um));
                moment_at_pitch(pin, count, known)
            }
        };
        Strung { pin, at_pitch }
    }

    /// The moment while the pin was read, N·m: none without a string or when slack, else that at
    /// the pitch as found.
    pub(super) fn moment_now_nm(&self, state: StringState, cents: Option<f64>) -> f64 {
        match state {
            StringState::Unstrung | StringState::Slack => 0.0,
            StringState::AtPitch => moment_at_cents(self.at_pitch, cents.unwrap_or(0.0)).value,
        }
    }
}

/// A torque, or a friction, of which the direction is not told.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Given {
    /// Friction itself.
    Friction(f64),
    /// As a wrench reads, but nobody knows which way.
    EitherWay(f64),
}

/// How the pin was turned between rest and the running torques.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Turned {
    /// Not told: the wire may have slipped in its bearing all the way.
    Unknown,
    /// By these strokes.
    Along(Path),
}

/// Everything known of one pin's torques, ready to be combined. Torques in N·m.
#[derive(Clone, Debug)]
pub(super) struct Torques {
    pub(super) kind: TorqueKind,
    pub(super) state: StringState,
    pub(super) sharp: Option<f64>,
    pub(super) flat: Option<f64>,
    pub(super) given: Option<Given>,
    /// The torques are upper limits.
    pub(super) upper_limit: bool,
    pub(super) cents: Option<f64>,
    pub(super) turned: Turned,
    /// Standard uncertainty stated for each torque, N·m; 0 when none was.
    pub(super) stated_u_nm: f64,
    /// Lines of the tool and its strokes.
    pub(super) lines: Vec<BudgetLine>,
}

impl Torques {
    /// Adds a line.
    pub(super) fn line(
        &mut self,
        (term, support): (Term, Support),
        shape: Shape,
        (value, unit): (f64, SizeUnit),
        reach: Reach,
        effect: Effect,
    ) {
        let size = Size { value, unit };
        if value != 0.0 {
            self.lines.push(BudgetLine { term, support, shape, size, reach, effect });
        }
    }

    /// Forms F, M, holding factor, their budget and flags.
    pub(super) fn combine(mut self, strung: Strung, profile: &MeasurementProfile) -> PinReading {
        let mut remarks = Vec::new();
        let cases = self.cases(&strung, &mut remarks);
        self.add_string_lines(&strung, profile);
        let formed = cases.first().map(|case| case.form);
        let off_nm = formed.map_or(0.0, |form| self.add_bearing_lines(form, &strung, profile));
        if let Some(form) = formed {
            let middle_nm: f64 = middle(&cases) - off_nm;
            self.add_kind_lines(form, middle_nm, profile, &mut remarks);
        }
        let is_limit = self.kind == TorqueKind::Limit && !self.upper_limit && formed.is_some();
        let comparable = self.state != StringState::Unstrung;
        if !comparable {
            note(&mut remarks, "no string: friction lacks its side load, never compare it");
        } else if self.state == StringState::Slack {
            note(&mut remarks, "slack string: friction lacks its side load and reads low");
        }
        let moment_nm = self.sharp.zip(self.flat).map(|(sharp, flat)| (sharp - flat) / 2.0);
        let not_holding = self.not_holding(&strung, profile);
        let (sharp_nm, flat_nm) = (self.sharp_estimate(), self.flat_estimate());
        let budget = formed.map(|_| ReadingBudget {
            friction_nm: middle(&cases) - off_nm,
            cases: cases
                .iter()
                .map(|case| Case { friction_nm: case.friction_nm - off_nm, ..*case })
                .collect(),
            lines: std::mem::take(&mut self.lines),
            moment_nm,
            moment_at_pitch_nm: strung.at_pitch.value,
        });
        let told = |quantity| budget.as_ref().and_then(|budget| budget.estimate(quantity));
        let within = |quantity: Quantity| {
            let budget = budget.as_ref()?;
            if is_limit && quantity != Quantity::Moment {
                // It holds at least that: nothing is said of how much more.
                return Some((budget.quantile(quantity, 1.0 - LIMIT_PROBABILITY)?, f64::INFINITY));
            }
            budget.interval(quantity)
        };
        PinReading {
            pin: strung.pin,
            kind: self.kind,
            state: self.state,
            sharp_nm,
            flat_nm,
            friction_nm: told(Quantity::Friction),
            moment_nm: told(Quantity::Moment),
            moment_at_pitch_nm: strung.at_pitch,
            holding_factor: told(Quantity::HoldingFactor).filter(|_| comparable),
            friction_is_lower_limit: is_limit,
            not_holding,
            cents_as_found: self.cents,
            remarks,
            marks: Vec::new(),
            friction_interval_nm: within(Quantity::Friction),
            moment_interval_nm: within(Quantity::Moment),
            holding_interval: within(Quantity::HoldingFactor).filter(|_| comparable),
            budget: budget.map(Arc::new),
        }
    }

    /// The ways friction may have come about; none when nothing yields one.
    fn cases(&self, strung: &Strung, remarks: &mut Vec<String>) -> Vec<Case> {
        let now_nm = strung.moment_now_nm(self.state, self.cents);
        let one = |form, friction_nm| vec![Case { weight: 1.0, form, friction_nm }];
        match (self.sharp, self.flat, self.given) {
            (Some(sharp), Some(flat), _) => one(Form::BOTH, (sharp + flat) / 2.0),
            (_, _, Some(Given::Friction(friction))) => one(Form::GIVEN, friction),
            (Some(sharp), None, _) => {
                note(remarks, "sharp only: friction is the reading less the string's moment");
                one(Form::SHARP, sharp - now_nm)
            }
            (None, Some(flat), _) => {
                note(remarks, "flat only: friction is the reading plus the string's moment");
                one(Form::FLAT, flat + now_nm)
            }
            (None, None, Some(Given::EitherWay(torque))) => {
                if self.state != StringState::AtPitch {
                    return one(Form::GIVEN, torque);
                }
                note(
                    remarks,
                    "direction not known: friction is the reading, or a string's moment less or \
                     more",
                );
                self.either_way(torque, now_nm, strung)
            }
            (None, None, None) => Vec::new(),
        }
    }

    /// Sharp, flat, or friction itself, alike likely; a direction that would make friction clearly
    /// negative is none.
    fn either_way(&self, torque_nm: f64, now_nm: f64, strung: &Strung) -> Vec<Case> {
        let least_nm = -IMPOSSIBLE_SIGMA * strung.at_pitch.u;
        let mut cases: Vec<Case> = [
            (Form::GIVEN_SHARP, torque_nm - now_nm),
            (Form::GIVEN, torque_nm),
            (Form::GIVEN_FLAT, torque_nm + now_nm),
        ]
        .into_iter()
        .filter(|(_, friction_nm)| *friction_nm >= least_nm)
        .map(|(form, friction_nm)| Case { weight: 1.0, form, friction_nm })
        .collect();
        let count = cases.len() as f64;
        cases.iter_mut().for_each(|case| case.weight = 1.0 / count);
        cases
    }

    /// The string's moment at target pitch and as found.
    fn add_string_lines(&mut self, strung: &Strung, profile: &MeasurementProfile) {
        use SizeUnit::Relative;
        let at_pitch = strung.at_pitch;
        let ratio = strung.moment_now_nm(self.state, self.cents) / at_pitch.value;
        let effect = Effect { at_pitch: at_pitch.u, now: at_pitch.u * ratio, ..Effect::default() };
        let size = (at_pitch.u / at_pitch.value, Relative);
        let what = (Term::StringMoment, Support::Strings);
        self.line(what, Shape::KNOWN, size, Reach::Formed, effect);
        match (self.state, self.cents) {
            (StringState::Slack, _) => {
                let graded = profile.slack_moment_relative_u;
                let now = graded.value * at_pitch.value;
                let what = (Term::StringMoment, Support::of(graded));
                let effect = Effect { now, ..Effect::default() };
                self.line(what, Shape::KNOWN, (graded.value, Relative), Reach::Formed, effect);
            }
            (StringState::AtPitch, None) => {
                let graded = profile.unknown_pitch_relative_half_width;
                let now = graded.value * at_pitch.value;
                let what = (Term::Pitch, Support::of(graded));
                let effect = Effect { now, ..Effect::default() };
                let size = (graded.value, Relative);
                self.line(what, Shape::Rectangular, size, Reach::Formed, effect);
            }
            _ => {}
        }
    }

    /// The wire in its bearing; returns what a profile takes off friction, N·m.
    fn add_bearing_lines(
        &mut self,
        form: Form,
        strung: &Strung,
        profile: &MeasurementProfile,
    ) -> f64 {
        use SizeUnit::Relative;
        let graded = profile.bearing_friction_max;
        let support = Support::of(graded);
        let measured = self.sharp.zip(self.flat).map(|(sharp, flat)| (sharp - flat) / 2.0);
        let now_nm = strung.moment_now_nm(self.state, self.cents);
        let strung_up = self.state != StringState::Unstrung;
        let moment_nm = if strung_up { measured.unwrap_or(now_nm).max(0.0) } else { 0.0 };
        if form == Form::GIVEN || moment_nm == 0.0 {
            return 0.0;
        }
        if let Turned::Along(path) = self.turned {
            return self.add_walked_lines(form, path, moment_nm, profile);
        }
        let most_nm = libm::sinh(graded.value) * moment_nm;
        if form == Form::BOTH {
            let found = (Term::BearingState, support);
            let effect = Effect { moment: graded.value * moment_nm, ..Effect::default() };
            let size = (graded.value, Relative);
            self.line(found, Shape::Triangular, size, Reach::Opposite, effect);
        }
        let bearing = (Term::Bearing, support);
        match profile.bearing_friction_set {
            None => {
                let effect = Effect { friction: most_nm, ..Effect::default() };
                let size = (most_nm / moment_nm, Relative);
                self.line(bearing, Shape::ReadsHigh, size, Reach::Formed, effect);
                0.0
            }
            Some(set) => {
                let effect = Effect { friction: set.u * moment_nm, ..Effect::default() };
                self.line(bearing, Shape::KNOWN, (set.u, Relative), Reach::Formed, effect);
                set.value * moment_nm
            }
        }
    }

    /// The same where the strokes are recorded: what all wires of the class would have done.
    fn add_walked_lines(
        &mut self,
        form: Form,
        path: Path,
        moment_nm: f64,
        profile: &MeasurementProfile,
    ) -> f64 {
        let both = self.sharp.zip(self.flat).map(|(sharp, flat)| (sharp + flat) / 2.0);
        let sharp_alone = self.sharp.map(|sharp| sharp - moment_nm);
        let alone = sharp_alone.or(self.flat.map(|flat| flat + moment_nm));
        let friction_nm = both.or(alone).unwrap_or(0.0).max(0.0);
        let uses = |direction: Direction| match direction {
            Direction::Sharp => form.sharp != 0.0,
            Direction::Flat => form.flat != 0.0,
        };
        let (of_friction, of_moment) = path.biases(moment_nm, friction_nm, uses, profile);
        let of = |friction: f64, moment: f64| Effect { friction, moment, ..Effect::default() };
        if form == Form::BOTH {
            self.add_bias(Term::BearingState, of_moment, |nm| of(0.0, nm), profile);
        }
        if profile.bearing_friction_set.is_none() {
            self.add_bias(Term::Bearing, of_friction, |nm| of(nm, 0.0), profile);
            return 0.0;
        }
        let spread = Bias { middle_nm: 0.0, ..of_friction };
        self.add_bias(Term::Bearing, spread, |nm| of(nm, 0.0), profile);
        of_friction.middle_nm
    }

    /// A bias as its two lines; its middle goes with the rectangular one.
    fn add_bias(
        &mut self,
        term: Term,
        bias: Bias,
        effect: impl Fn(f64) -> Effect,
        profile: &MeasurementProfile,
    ) {
        let what = (term, Support::of(profile.bearing_friction_max));
        let size = |nm: f64| (nm, SizeUnit::NewtonMetre);
        // A line has a size to count its middle in, however narrow it is.
        let half_nm = bias.half_width_nm.max(NARROW_NM);
        let shape = Shape::Biased { middle: bias.middle_nm / half_nm };
        self.line(what, shape, size(half_nm), Reach::Formed, effect(half_nm));
        let normal_nm = bias.normal_u_nm;
        self.line(what, Shape::KNOWN, size(normal_nm), Reach::Formed, effect(normal_nm));
    }

    /// What a peak and a limit contain beyond running friction.
    fn add_kind_lines(
        &mut self,
        form: Form,
        friction_nm: f64,
        profile: &MeasurementProfile,
        remarks: &mut Vec<String>,
    ) {
        let graded = profile.peak_over_running_max;
        let (term, share) = match self.kind {
            TorqueKind::Running => return,
            TorqueKind::Peak => {
                note(remarks, "peak: includes the break, running friction is 0 to 23 % lower");
                (Term::Peak, 1.0 - 1.0 / graded.value)
            }
            TorqueKind::Limit if self.upper_limit => {
                note(remarks, "upper limit: the pin moved at this torque");
                (Term::Limit, 1.0)
            }
            TorqueKind::Limit => {
                note(remarks, "lower limit: the pin did not move at this torque");
                return;
            }
        };
        let support = match term {
            Term::Peak => Support::of(graded),
            _ => Support::Reading,
        };
        let most_nm = friction_nm.abs() * share;
        let size = (share, SizeUnit::Relative);
        let effect = Effect { friction: most_nm, ..Effect::default() };
        self.line((term, support), Shape::ReadsHigh, size, Reach::Common, effect);
        if form == Form::BOTH {
            // One direction may hold more of it than the other.
            let effect = Effect { moment: 0.5 * most_nm, ..Effect::default() };
            self.line((term, support), Shape::Rectangular, size, Reach::Own, effect);
        }
    }

    fn sharp_estimate(&self) -> Option<Estimate> {
        Some(Estimate { value: self.sharp?, u: self.torque_u(|effect| effect.sharp) })
    }

    fn flat_estimate(&self) -> Option<Estimate> {
        Some(Estimate { value: self.flat?, u: self.torque_u(|effect| effect.flat) })
    }

    /// Standard uncertainty of one torque as read, N·m.
    fn torque_u(&self, effect_of: fn(&Effect) -> f64) -> f64 {
        let squares = self.lines.iter().filter(|line| line.term.is_of_tool()).map(|line| {
            let u = line.shape.relative_u() * effect_of(&line.effect);
            u * u
        });
        squares.fold(self.stated_u_nm * self.stated_u_nm, |sum, square| sum + square).sqrt()
    }

    /// Whether the string moves the foot once it runs: flat running torque below zero, sharp
    /// below twice the string's moment, or a given friction below it, beyond doubt.
    fn not_holding(&self, strung: &Strung, profile: &MeasurementProfile) -> bool {
        if self.state != StringState::AtPitch || self.kind == TorqueKind::Limit {
            return false;
        }
        let now_nm = strung.moment_now_nm(self.state, self.cents);
        let pitch = match self.cents {
            Some(_) => 0.0,
            None => profile.unknown_pitch_relative_half_width.value / 3f64.sqrt(),
        };
        let now_u_nm = libm::hypot(
            strung.at_pitch.u * now_nm / strung.at_pitch.value,
            pitch * strung.at_pitch.value,
        );
        let below = |torque: Option<Estimate>, moments: f64| {
            torque.is_some_and(|torque| {
                let u = libm::hypot(torque.u, moments * now_u_nm);
                torque.value - moments * now_nm < -NOT_HOLDING_SIGMA * u
            })
        };
        let given = match (self.sharp, self.flat, self.given) {
            (None, None, Some(Given::Friction(value))) => {
                Some(Estimate { value, u: self.torque_u(|effect| effect.given) })
            }
            _ => None,
        };
        below(self.flat_estimate(), 0.0) || below(self.sharp_estimate(), 2.0) || below(given, 1.0)
    }
}

/// Mean of the cases, N·m.
fn middle(cases: &[Case]) -> f64 {
    match cases {
        [case] => case.friction_nm,
        _ => cases.iter().map(|case| case.weight * case.friction_nm).sum(),
    }
}
