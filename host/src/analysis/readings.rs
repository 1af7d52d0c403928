//! From what was stored (lever records, hand readings) to [`PinReading`]s with uncertainties.
//!
//! The budget, after JCGM 100: the tool's span error is common to all torques of one tool; its
//! zero error cancels in F and goes whole into M; single errors average. Bearing friction makes F
//! read high by 0 to εM, and a peak or an upper limit reads high by what they contain: such
//! one-sided errors are not corrected but carried whole, as a rectangular half width. Deliberately
//! not here: bands and verdicts.
//!
//! Invariant: with both directions, friction is exactly `(sharp + flat) / 2`.

mod hand;
mod lever;

use std::sync::Arc;

use pinhold_protocol::record::{Pin, Reading};

use super::input::{Estimate, PinReading, StringState, TorqueKind};
use crate::calibration::mark::LeverMark;
use crate::calibration::terms::LeverTerms;
use crate::import::hand::HandReading;
use crate::instrument::Instrument;
use crate::instrument::moment::{moment_at_cents, moment_on_pin};

/// What is assumed of the tools and the strings when nothing better is known.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeasurementProfile {
    /// Hand tool: standard uncertainty of its span, relative, common to all its readings.
    pub hand_span_relative_u: f64,
    /// Hand tool: standard uncertainty of one reading, relative.
    pub hand_single_relative_u: f64,
    /// Hand tool: least standard uncertainty of one reading, N·m.
    pub hand_single_least_u_nm: f64,
    /// Lever: standard uncertainty of its span, relative.
    pub lever_span_relative_u: f64,
    /// Lever: standard uncertainty of its zero, N·m.
    pub lever_zero_u_nm: f64,
    /// Largest bearing friction ε, share of the string's moment.
    pub bearing_friction_max: f64,
}

/// The hand-tool class as it is told to the user.
pub const HAND_TOOL_CLASS: &str =
    "hand tool, uncalibrated: standard uncertainty 6 % of the reading, at least 0.3 N·m";

impl Default for MeasurementProfile {
    /// Hand tool, uncalibrated: 6 % of a reading, of which 5 % is common, and at least 0.3 N·m
    /// (MEM). Lever: span 1 % at k = 2, zero 0.05 N·m (DER from its design). ε up to 0.08 (ONE).
    fn default() -> MeasurementProfile {
        MeasurementProfile {
            hand_span_relative_u: 0.05,
            hand_single_relative_u: 0.033,
            hand_single_least_u_nm: 0.3,
            lever_span_relative_u: 0.005,
            lever_zero_u_nm: 0.05,
            bearing_friction_max: 0.08,
        }
    }
}

/// Significance at which a pin is called not holding: one-sided 5 % of a normal distribution.
const NOT_HOLDING_SIGMA: f64 = 1.645;
/// A break stands at most this far above running torque before it is a fault of its own (DER).
const PEAK_OVER_RUNNING_MAX: f64 = 1.3;
/// Moment left on a slack string, share of M₀, standard uncertainty (MEM).
const SLACK_MOMENT_RELATIVE_U: f64 = 0.1;
/// Moment at a pitch nobody wrote down: 30 cents rectangular, 3.5 %/√3 (DER).
const UNKNOWN_PITCH_RELATIVE_U: f64 = 0.02;

/// A lever's reading, with what is known of the lever behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct LeverRead {
    /// What the lever said, under the pin it counts for.
    pub reading: Reading,
    /// Terms of its calibration, else of its class.
    pub terms: Arc<LeverTerms>,
    /// Why the lever is to be doubted.
    pub marks: Vec<LeverMark>,
}

impl LeverRead {
    /// A reading of a lever of which nothing is known but its class.
    pub fn of_class(reading: Reading) -> LeverRead {
        let terms = Arc::new(LeverTerms::class());
        LeverRead { reading, terms, marks: vec![LeverMark::Uncalibrated] }
    }
}

/// All pins of a survey that were read, in order of note, then string; the last usable reading of
/// a pin counts.
///
/// `pitch_cents` is the instrument's mean pitch as found, for pins without a pitch of their own.
pub fn pin_readings(
    instrument: &Instrument,
    lever: &[LeverRead],
    hand: &[HandReading],
    pitch_cents: Option<f64>,
    profile: &MeasurementProfile,
) -> Vec<PinReading> {
    let mut readings: Vec<PinReading> = Vec::new();
    for reading in hand {
        let pin = Strung::of(instrument, reading.pin, reading.pin_um);
        let cents = reading.cents().or(pitch_cents);
        keep(&mut readings, hand::read(reading, pin, cents, profile));
    }
    for reading in lever {
        let pin = Strung::of(instrument, reading.reading.pin, None);
        keep(&mut readings, lever::read(reading, pin, pitch_cents, profile));
    }
    readings.sort_by_key(|reading| reading.pin);
    readings
}

/// Mean pitch as found over the readings that carry one, cents; `None` when none does.
pub fn mean_pitch_cents(hand: &[HandReading]) -> Option<f64> {
    let cents: Vec<f64> = hand.iter().filter_map(HandReading::cents).collect();
    (!cents.is_empty()).then(|| cents.iter().sum::<f64>() / cents.len() as f64)
}

/// Puts a reading in the place of an earlier one of its pin, unless it says less.
fn keep(readings: &mut Vec<PinReading>, new: PinReading) {
    match readings.iter_mut().find(|old| old.pin == new.pin) {
        None => readings.push(new),
        Some(old) => {
            if new.friction_nm.is_some() || old.friction_nm.is_none() {
                *old = new;
            }
            note(&mut old.remarks, "read more than once: the last usable reading counts");
        }
    }
}

/// Adds a remark once.
fn note(remarks: &mut Vec<String>, remark: &str) {
    if !remarks.iter().any(|known| known == remark) {
        remarks.push(remark.to_string());
    }
}

/// A pin and its string's moment at target pitch.
#[derive(Clone, Copy, Debug)]
struct Strung {
    pin: Pin,
    at_pitch: Estimate,
}

impl Strung {
    /// `diameter_um` overrides the field's when the reading tells it.
    fn of(instrument: &Instrument, pin: Pin, diameter_um: Option<u32>) -> Strung {
        let at_pitch = moment_on_pin(instrument, pin, diameter_um);
        Strung { pin, at_pitch }
    }

    /// The moment while the pin was read: none without a string, about none when slack, else
    /// scaled to the pitch as found.
    fn moment_now(&self, state: StringState, cents: Option<f64>) -> Estimate {
        match (state, cents) {
            (StringState::Unstrung, _) => Estimate { value: 0.0, u: 0.0 },
            (StringState::Slack, _) => {
                Estimate { value: 0.0, u: SLACK_MOMENT_RELATIVE_U * self.at_pitch.value }
            }
            (StringState::AtPitch, Some(cents)) => moment_at_cents(self.at_pitch, cents),
            (StringState::AtPitch, None) => {
                let unknown = UNKNOWN_PITCH_RELATIVE_U * self.at_pitch.value;
                Estimate { value: self.at_pitch.value, u: root_sum([self.at_pitch.u, unknown]) }
            }
        }
    }
}

/// Standard uncertainties of one torque, by how they combine with those of the other direction.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Budget {
    /// Span, relative: common to both directions.
    span_relative: f64,
    /// Zero, N·m: opposite in the two directions, so it cancels in F.
    zero_nm: f64,
    /// Stated for the reading without saying how it combines, N·m: nothing averages, nothing
    /// cancels.
    stated_nm: f64,
    /// Its own, N·m: averages.
    single_nm: f64,
}

impl Budget {
    fn of_reading(&self, torque_nm: f64) -> Estimate {
        let span = self.span_relative * torque_nm;
        let u = root_sum([span, self.zero_nm, self.stated_nm, self.single_nm]);
        Estimate { value: torque_nm, u }
    }
}

/// A torque with its budget.
type Measured = (f64, Budget);

/// Everything known of one pin's torques, ready to be combined.
#[derive(Clone, Copy, Debug)]
struct Torques {
    kind: TorqueKind,
    state: StringState,
    sharp: Option<Measured>,
    flat: Option<Measured>,
    /// Friction, where it was given rather than formed.
    friction: Option<Measured>,
    /// The torques are upper limits.
    upper_limit: bool,
    cents: Option<f64>,
}

impl Torques {
    /// Forms F, M, holding factor and flags.
    fn combine(&self, strung: Strung, profile: &MeasurementProfile) -> PinReading {
        let now = strung.moment_now(self.state, self.cents);
        let at_pitch = strung.at_pitch;
        let mut remarks = Vec::new();
        let formed = self.form(now, at_pitch, profile, &mut remarks);
        let friction_is_lower_limit =
            self.kind == TorqueKind::Limit && !self.upper_limit && formed.is_some();
        let comparable = self.state != StringState::Unstrung;
        if !comparable {
            note(&mut remarks, "no string: friction lacks its side load, never compare it");
        } else if self.state == StringState::Slack {
            note(&mut remarks, "slack string: friction lacks its side load and reads low");
        }
        PinReading {
            pin: strung.pin,
            kind: self.kind,
            state: self.state,
            sharp_nm: self.sharp.map(|(value, budget)| budget.of_reading(value)),
            flat_nm: self.flat.map(|(value, budget)| budget.of_reading(value)),
            friction_nm: formed.map(|formed| formed.friction),
            moment_nm: self.moment(),
            moment_at_pitch_nm: at_pitch,
            holding_factor: formed.filter(|_| comparable).map(|formed| formed.holding_factor),
            friction_is_lower_limit,
            not_holding: self.not_holding(now),
            cents_as_found: self.cents,
            remarks,
            marks: Vec::new(),
        }
    }

    /// Friction and holding factor by the best way the torques allow.
    fn form(
        &self,
        now: Estimate,
        at_pitch: Estimate,
        profile: &MeasurementProfile,
        remarks: &mut Vec<String>,
    ) -> Option<Formed> {
        // M enters a one-way friction with this factor, and so correlates with M₀ below.
        let (base, common_u, moment_factor) = match (self.sharp, self.flat, self.friction) {
            (Some((sharp, a)), Some((flat, b)), _) => {
                let friction = (sharp + flat) / 2.0;
                let single = root_sum([a.single_nm, b.single_nm]) / 2.0;
                let stated = (a.stated_nm + b.stated_nm) / 2.0;
                (friction, root_sum([a.span_relative * friction, single, stated]), 0.0)
            }
            (_, _, Some((friction, budget))) => (friction, budget.of_reading(friction).u, 0.0),
            (Some((sharp, budget)), None, None) => {
                note(remarks, "sharp only: friction is the reading less the string's moment");
                (sharp, budget.of_reading(sharp).u, -1.0)
            }
            (None, Some((flat, budget)), None) => {
                note(remarks, "flat only: friction is the reading plus the string's moment");
                (flat, budget.of_reading(flat).u, 1.0)
            }
            (None, None, None) => return None,
        };
        let value = base + moment_factor * now.value;
        let one_sided = self.one_sided_u(value, now, profile, remarks);
        let friction =
            Estimate { value, u: root_sum([common_u, moment_factor * now.u, one_sided]) };
        // H = base/M₀ + factor·(M now/M₀): the last ratio depends on pitch, not on tension.
        let ratio_u = pitch_ratio_u(now, at_pitch);
        let factor_u = root_sum([
            common_u / at_pitch.value,
            one_sided / at_pitch.value,
            base * at_pitch.u / (at_pitch.value * at_pitch.value),
            moment_factor * ratio_u,
        ]);
        let holding_factor = Estimate { value: value / at_pitch.value, u: factor_u };
        Some(Formed { friction, holding_factor })
    }

    /// Errors that can only make friction read high, carried whole: half width over √3.
    fn one_sided_u(
        &self,
        friction_nm: f64,
        now: Estimate,
        profile: &MeasurementProfile,
        remarks: &mut Vec<String>,
    ) -> f64 {
        let given = self.sharp.is_none() && self.flat.is_none();
        let moment_nm = self.moment().map_or(now.value, |moment| moment.value).max(0.0);
        let bearing_nm = if given { 0.0 } else { profile.bearing_friction_max * moment_nm };
        let kind_nm = match self.kind {
            TorqueKind::Running => 0.0,
            TorqueKind::Peak => {
                note(remarks, "peak: includes the break, running friction is 0 to 23 % lower");
                friction_nm.abs() * (1.0 - 1.0 / PEAK_OVER_RUNNING_MAX)
            }
            TorqueKind::Limit if self.upper_limit => {
                note(remarks, "upper limit: the pin moved at this torque");
                friction_nm.abs()
            }
            TorqueKind::Limit => {
                note(remarks, "lower limit: the pin did not move at this torque");
                0.0
            }
        };
        root_sum([bearing_nm, kind_nm]) / 3.0_f64.sqrt()
    }

    /// Measured moment: half difference of the two directions.
    fn moment(&self) -> Option<Estimate> {
        let ((sharp, a), (flat, b)) = (self.sharp?, self.flat?);
        let value = (sharp - flat) / 2.0;
        let single = root_sum([a.single_nm, b.single_nm]) / 2.0;
        let stated = (a.stated_nm + b.stated_nm) / 2.0;
        let zero = (a.zero_nm + b.zero_nm) / 2.0;
        Some(Estimate { value, u: root_sum([a.span_relative * value, single, stated, zero]) })
    }

    /// Whether the string moves the foot once it runs: flat running torque below zero, sharp
    /// below twice the string's moment, or a given friction below it, beyond doubt.
    fn not_holding(&self, now: Estimate) -> bool {
        if self.state != StringState::AtPitch || self.kind == TorqueKind::Limit {
            return false;
        }
        let below = |torque: Option<Measured>, moments: f64| {
            torque.is_some_and(|(value, budget)| {
                let u = root_sum([budget.of_reading(value).u, moments * now.u]);
                value - moments * now.value < -NOT_HOLDING_SIGMA * u
            })
        };
        let given = self.friction.filter(|_| self.sharp.is_none() && self.flat.is_none());
        below(self.flat, 0.0) || below(self.sharp, 2.0) || below(given, 1.0)
    }
}

/// What the torques give.
#[derive(Clone, Copy, Debug)]
struct Formed {
    friction: Estimate,
    holding_factor: Estimate,
}

/// Standard uncertainty of the moment now over M₀ beyond what both share.
fn pitch_ratio_u(now: Estimate, at_pitch: Estimate) -> f64 {
    let shared = now.value / at_pitch.value * at_pitch.u;
    (now.u * now.u - shared * shared).max(0.0).sqrt() / at_pitch.value
}

/// Root of the sum of squares.
fn root_sum<const N: usize>(parts: [f64; N]) -> f64 {
    parts.iter().map(|part| part * part).sum::<f64>().sqrt()
}
