//! One pin's torques combined: friction, string moment and holding factor with their budget.
//!
//! The lines that every reading has, whatever read it, are added here: what friction is formed
//! from when a direction is missing, the wire in its bearing, the string's moment, the kind.
//!
//! The wire in its bearing is in `bearing`.

use std::sync::Arc;

use pinhold_protocol::record::Pin;

use super::bearing::{self, Course, Wire};
use super::{MeasurementProfile, note};
use crate::analysis::budget::{
    BudgetLine, Case, Effect, Form, Quantity, Reach, ReadingBudget, Shape, Size, SizeUnit, Support,
    Term,
};
use crate::analysis::input::{Estimate, PinReading, StringState, TorqueKind};
use crate::instrument::Instrument;
use crate::instrument::moment::{
    ClassPart, PinString, class_parts, moment_at_cents, string_on_pin,
};
use crate::instrument::scale::StringSource;

/// Significance at which a pin is called not holding: one-sided 5 % of a normal distribution.
const NOT_HOLDING_SIGMA: f64 = 1.645;
/// Probability that friction lies above the lower end of a limit's interval.
const LIMIT_PROBABILITY: f64 = 0.95;
/// Standard uncertainties of M₀ by which friction must be negative for a direction to be ruled out.
const IMPOSSIBLE_SIGMA: f64 = 2.0;

/// A pin and its string's moment at target pitch.
#[derive(Clone, Debug)]
pub(super) struct Strung {
    pin: Pin,
    string: PinString,
    /// What its moment is uncertain by.
    parts: Vec<ClassPart>,
}

impl Strung {
    /// `diameter_um` overrides the field's when the reading tells it.
    pub(super) fn of(instrument: &Instrument, pin: Pin, diameter_um: Option<u32>) -> Strung {
        let string = string_on_pin(instrument, pin, diameter_um);
        let parts = match string.source {
            StringSource::Class => {
                let known = diameter_um.or_else(|| instrument.find_pin(pin)?.diameter_um);
                class_parts(pin, instrument.string_count(pin.note).max(1), known).to_vec()
            }
            StringSource::Data | StringSource::Neighbours { .. } => {
                let relative_u = string.moment_nm.u / string.moment_nm.value;
                vec![ClassPart { relative_u, rectangular: false }]
            }
        };
        Strung { pin, string, parts }
    }

    fn at_pitch(&self) -> Estimate {
        self.string.moment_nm
    }

    /// The moment while the pin was read, N·m: none without a string or when slack, else that at
    /// the pitch as found.
    pub(super) fn moment_now_nm(&self, state: StringState, cents: Option<f64>) -> f64 {
        match state {
            StringState::Unstrung | StringState::Slack => 0.0,
            StringState::AtPitch => moment_at_cents(self.at_pitch(), cents.unwrap_or(0.0)).value,
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
    /// What the coil did, where a lever watched it.
    pub(super) course: Option<Course>,
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
            let bias = Effect::default();
            self.lines.push(BudgetLine { term, support, shape, size, reach, effect, bias });
        }
    }

    /// Adds a line of what reads friction high by anything from nothing to `most_nm`.
    pub(super) fn reads_high(
        &mut self,
        what: (Term, Support),
        size: (f64, SizeUnit),
        most_nm: f64,
    ) {
        let half = Effect { friction: 0.5 * most_nm, ..Effect::default() };
        let before = self.lines.len();
        self.line(what, Shape::Rectangular, size, Reach::Common, half);
        self.lines[before..].iter_mut().for_each(|line| line.bias = half);
    }

    /// Forms F, M, holding factor, their budget and flags.
    pub(super) fn combine(mut self, strung: Strung, profile: &MeasurementProfile) -> PinReading {
        let mut remarks = Vec::new();
        let cases = self.cases(&strung, &mut remarks);
        self.add_string_lines(&strung, profile);
        let formed = cases.first().map(|case| case.form);
        let wire = self.wire(&strung);
        let off_nm = formed.map_or(0.0, |form| bearing::add(&mut self, form, &wire, profile));
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
            moment_at_pitch_nm: strung.at_pitch().value,
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
            moment_at_pitch_nm: strung.at_pitch(),
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

    /// The string and the pin as far as these torques tell.
    fn wire(&self, strung: &Strung) -> Wire {
        let now_nm = strung.moment_now_nm(self.state, self.cents);
        let measured = self.sharp.zip(self.flat).map(|(sharp, flat)| (sharp - flat) / 2.0);
        Wire {
            moment_nm: measured.unwrap_or(now_nm),
            speaking_nm_per_deg: bearing::speaking_nm_per_deg(strung.pin.note, &strung.string),
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
        let least_nm = -IMPOSSIBLE_SIGMA * strung.at_pitch().u;
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
        let at_pitch = strung.at_pitch();
        let ratio = strung.moment_now_nm(self.state, self.cents) / at_pitch.value;
        let what = (Term::StringMoment, Support::Strings(strung.string.source.word()));
        for part in &strung.parts {
            let u_nm = part.relative_u * at_pitch.value;
            let (shape, scale) = match part.rectangular {
                true => (Shape::Rectangular, 3f64.sqrt()),
                false => (Shape::KNOWN, 1.0),
            };
            let nm = scale * u_nm;
            let effect = Effect { at_pitch: nm, now: nm * ratio, ..Effect::default() };
            let size = (scale * part.relative_u, Relative);
            self.line(what, shape, size, Reach::Formed, effect);
        }
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
        self.reads_high((term, support), size, most_nm);
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
            strung.at_pitch().u * now_nm / strung.at_pitch().value,
            pitch * strung.at_pitch().value,
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
