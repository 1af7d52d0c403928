//! Drift of the lever over a survey, from pins read more than once.
//!
//! Model of the logarithm of a pin's friction at its k-th reading, at time t:
//! `its own level + relaxation (from the second reading on) + drift · t + error`.
//! The wood relaxes: a repeat within minutes runs lower (MEM), so the first reading of a check pin
//! stands apart and must not be taken for drift. How much it relaxes is not published; a few per
//! cent with as much uncertainty is our prior (DER). The error is pooled from the repeats and from
//! a class of repeatability, so that three lucky readings do not make a drift significant.
//!
//! A drift that is significant is taken out about the middle of the survey: gradients go, the level
//! stays. Its uncertainty is carried by every reading in proportion to its distance in time from
//! the middle: one common error, which the budget states as its own line.
//!
//! Deliberately not here: which pin is repeated when (`sampling`). A zero that drifts cancels in
//! friction and is not looked for here.
//!
//! Numbers without a source beside them are ours (DER).

use std::collections::BTreeMap;

use pinhold_protocol::record::{Outcome, Pin, Reading};

use crate::instrument::pin_name;
use crate::metrology::student::t_quantile;
use crate::words::{Fixed, Said, Signed, pages as say};

/// Relaxation from the first to later readings, natural-log units: lower (MEM); size ours.
const RELAXATION: (f64, f64) = (-0.03, 0.03);
/// Repeatability of one running friction, relative (ours, about a lever's class), and the degrees
/// of freedom it is worth.
const REPEATABILITY: (f64, f64) = (0.015, 4.0);
/// Two-sided significance from which a drift is taken out.
const SIGNIFICANCE: f64 = 0.05;
/// Readings of pins read more than once, from which a drift is told.
const READING_COUNT_MIN: usize = 3;
/// Least span between the first and last repeat, ms: within it all is one moment.
const SPAN_MS_MIN: f64 = 120_000.0;
/// Pause assumed where a lever's clock began anew, ms.
const RESTART_MS: f64 = 60_000.0;
/// Largest relative drift over a survey that is believed; beyond, something else happened.
const DRIFT_MAX: f64 = 0.5;
const MS_PER_HOUR: f64 = 3_600_000.0;

/// What pins read more than once say of the lever's drift.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// Relative drift of friction per hour, e.g. 0.02 reads 2 % higher an hour later.
    pub per_hour: f64,
    /// Its standard uncertainty.
    pub u_per_hour: f64,
    /// Degrees of freedom behind it.
    pub degrees_of_freedom: f64,
    /// How much lower repeats read than first readings, relative, negative when lower.
    pub relaxation: f64,
    /// Its standard uncertainty.
    pub u_relaxation: f64,
    /// It differs from none at 5 %, and is taken out of the readings.
    pub is_significant: bool,
    /// Length of the survey, hours.
    pub hours: f64,
    /// Pins read more than once.
    pub pins: Vec<Pin>,
    /// Their readings.
    pub reading_count: usize,
    /// Middle of the survey on the readings' own clock, ms.
    middle_ms: f64,
}

impl Drift {
    /// Factor a reading at this time is multiplied by, and the relative uncertainty it gains.
    pub(super) fn correction(&self, at_ms: f64) -> (f64, f64) {
        if !self.is_significant {
            return (1.0, 0.0);
        }
        let hours = (at_ms - self.middle_ms) / MS_PER_HOUR;
        (libm::exp(-self.per_hour * hours), self.u_per_hour * hours.abs())
    }

    /// Over the whole survey, relative.
    pub fn over_survey(&self) -> f64 {
        self.per_hour * self.hours
    }

    /// What was found, in a sentence.
    pub fn sentence(&self) -> Said {
        let pins: Vec<String> = self.pins.iter().take(3).map(|pin| pin_name(*pin)).collect();
        let pins = pins.join(", ");
        let pins = if self.pins.len() > 3 { say::and_others(pins) } else { Said::same(pins) };
        let relaxed = 100.0 * self.relaxation;
        let found = say::drift_found(
            self.reading_count,
            pins,
            Signed(100.0 * self.over_survey(), 1),
            Fixed(100.0 * self.u_per_hour * self.hours, 1),
            Fixed(self.hours, 1),
        );
        let repeats = say::drift_repeats(
            Fixed(relaxed.abs(), 1),
            Fixed(100.0 * self.u_relaxation, 1),
            if relaxed < 0.0 { say::LOWER } else { say::HIGHER },
        );
        let done = if self.is_significant { say::TAKEN_OUT } else { say::NOT_SIGNIFICANT };
        say::drift(found, done, repeats)
    }
}

/// When each reading was taken, ms from the first, on a clock that never goes back: readings as
/// they arrived. Where a lever's clock begins anew (switched off, another lever) a minute passed.
pub(super) fn clock_ms(readings: &[&Reading]) -> Vec<f64> {
    let mut times = Vec::with_capacity(readings.len());
    let (mut now, mut last) = (0.0, None::<u64>);
    for reading in readings {
        let at = reading.started.microseconds();
        now += match last {
            None => 0.0,
            Some(last) if at >= last => (at - last) as f64 / 1000.0,
            Some(_) => RESTART_MS,
        };
        last = Some(at);
        times.push(now);
    }
    times
}

/// One reading of a pin read more than once.
struct Repeat {
    pin: usize,
    log_friction: f64,
    is_later: bool,
    hours: f64,
}

/// The drift of a survey's lever readings, in the order they arrived; `None` where no pin was read
/// often enough over long enough, or with more than one calibration.
pub(super) fn estimate(readings: &[&Reading], times_ms: &[f64]) -> Option<Drift> {
    let usable: Vec<usize> =
        (0..readings.len()).filter(|i| friction(readings[*i]).is_some()).collect();
    let first = readings[*usable.first()?];
    // Another calibration is another scale, hence no drift.
    if usable.iter().any(|i| readings[*i].calibration != first.calibration) {
        return None;
    }
    let mut by_pin: BTreeMap<Pin, Vec<usize>> = BTreeMap::new();
    for i in &usable {
        by_pin.entry(readings[*i].pin).or_default().push(*i);
    }
    by_pin.retain(|_, of_pin| of_pin.len() > 1);
    let mut repeats = Vec::new();
    for (pin, of_pin) in by_pin.values().enumerate() {
        for (k, i) in of_pin.iter().enumerate() {
            repeats.push(Repeat {
                pin,
                log_friction: libm::log(friction(readings[*i])?),
                is_later: k > 0,
                hours: times_ms[*i] / MS_PER_HOUR,
            });
        }
    }
    let hours = || repeats.iter().map(|repeat| repeat.hours);
    let (low, high) = hours().fold((f64::MAX, f64::MIN), |(l, h), t| (l.min(t), h.max(t)));
    if repeats.len() < READING_COUNT_MIN || (high - low) * MS_PER_HOUR < SPAN_MS_MIN {
        return None;
    }
    let last_ms = times_ms.last().copied().unwrap_or(0.0);
    let (coefficients, freedom) = fit(&repeats, by_pin.len())?;
    let [(relaxation, u_relaxation), (per_hour, u_per_hour)] = coefficients;
    let limit = t_quantile(1.0 - SIGNIFICANCE / 2.0, freedom)?;
    let hours = last_ms / MS_PER_HOUR;
    let is_believed = (per_hour * hours).abs() < DRIFT_MAX;
    Some(Drift {
        per_hour,
        u_per_hour,
        degrees_of_freedom: freedom,
        relaxation,
        u_relaxation,
        is_significant: is_believed && per_hour.abs() > limit * u_per_hour,
        hours,
        pins: by_pin.keys().copied().collect(),
        reading_count: repeats.len(),
        middle_ms: 0.5 * last_ms,
    })
}

/// Friction of a whole reading, N·m: the mean of both directions, in which a zero cancels.
fn friction(reading: &Reading) -> Option<f64> {
    if reading.outcome != Outcome::Measured {
        return None;
    }
    let (sharp, flat) = (reading.sharp?, reading.flat?);
    let friction = 0.5 * (sharp.newton_metres() + flat.newton_metres());
    (friction > 0.2).then_some(friction)
}

/// Relaxation and drift with their standard uncertainties, and the degrees of freedom: least
/// squares with each pin's own level taken out, the relaxation held by its prior.
fn fit(repeats: &[Repeat], pin_count: usize) -> Option<([(f64, f64); 2], f64)> {
    let mut sums = vec![[0.0; 4]; pin_count];
    for repeat in repeats {
        let later = f64::from(u8::from(repeat.is_later));
        let row = [1.0, later, repeat.hours, repeat.log_friction];
        for (sum, value) in sums[repeat.pin].iter_mut().zip(row) {
            *sum += value;
        }
    }
    // Normal equations of the centred rows: relaxation, drift, value.
    let (mut rr, mut rd, mut dd, mut ry, mut dy, mut yy) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for repeat in repeats {
        let [count, later, hours, value] = sums[repeat.pin];
        let r = f64::from(u8::from(repeat.is_later)) - later / count;
        let d = repeat.hours - hours / count;
        let y = repeat.log_friction - value / count;
        rr += r * r;
        rd += r * d;
        dd += d * d;
        ry += r * y;
        dy += d * y;
        yy += y * y;
    }
    let (class, class_freedom) = REPEATABILITY;
    let (centre, spread) = RELAXATION;
    let mut variance = class * class;
    let mut solved = None;
    // The prior's weight goes with the error's size: a few rounds settle it.
    for _ in 0..6 {
        let weight = variance / (spread * spread);
        let (a, b, c) = (rr + weight, rd, dd);
        let determinant = a * c - b * b;
        if determinant <= 1e-12 * a * c || determinant <= 0.0 {
            return None;
        }
        let (u, v) = (ry + weight * centre, dy);
        let relaxation = (c * u - b * v) / determinant;
        let drift = (a * v - b * u) / determinant;
        let left = (yy - 2.0 * (relaxation * ry + drift * dy)
            + relaxation * relaxation * rr
            + 2.0 * relaxation * drift * rd
            + drift * drift * dd)
            .max(0.0);
        // The relaxation is mostly its prior's: one parameter and the levels are spent.
        let freedom = repeats.len() as f64 - pin_count as f64 - 1.0;
        let total = freedom.max(0.0) + class_freedom;
        variance = (left + class_freedom * class * class) / total;
        let of = |inverse: f64| (variance * inverse / determinant).sqrt();
        solved = Some(([(relaxation, of(c)), (drift, of(a))], total));
    }
    solved.filter(|(pairs, _)| pairs.iter().all(|(value, u)| value.is_finite() && u.is_finite()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::random::Random;
    use pinhold_protocol::record::{SampleCoverage, StringPosition};
    use pinhold_protocol::units::{Angle, DeviceTime, Torque};

    /// A reading `minutes` after the start with this friction and a string moment of 3 N·m.
    fn reading(note: u8, minutes: f64, friction_nm: f64) -> Reading {
        let nm = |value: f64| Torque::from_newton_metres(value);
        Reading {
            survey: 1,
            pin: Pin { note, string: StringPosition::Left },
            started: DeviceTime::from_microseconds((minutes * 60e6) as u64),
            duration_ms: 5000,
            outcome: Outcome::Measured,
            flags: 0,
            friction: nm(friction_nm),
            string_moment: nm(3.0),
            sharp: nm(friction_nm + 3.0),
            flat: nm(friction_nm - 3.0),
            net_rotation: Angle::ZERO,
            excursion_flat: Angle::ZERO,
            excursion_sharp: Angle::ZERO,
            temperature_centi_celsius: 2100,
            attitude_milli_g: [0, 0, 1000],
            calibration: 1,
            samples: SampleCoverage::None,
            strokes: Default::default(),
        }
    }

    fn drift_of(readings: &[Reading]) -> Option<Drift> {
        let all: Vec<&Reading> = readings.iter().collect();
        estimate(&all, &clock_ms(&all))
    }

    /// A check pin every ten minutes for an hour; `drift` per hour, repeats lower by `relaxed`.
    fn check_pin(drift: f64, relaxed: f64, seed: u64) -> Vec<Reading> {
        let mut random = Random::new(seed);
        (0..7)
            .map(|k| {
                let minutes = 10.0 * f64::from(k);
                let later = if k > 0 { 1.0 - relaxed } else { 1.0 };
                let error = 1.0 + 0.012 * random.normal();
                reading(40, minutes, 9.0 * later * (1.0 + drift * minutes / 60.0) * error)
            })
            .collect()
    }

    #[test]
    fn a_drift_is_found_with_its_size() {
        let mut within = 0;
        for seed in 0..200 {
            let drift = drift_of(&check_pin(0.08, 0.03, seed)).expect("seven readings");
            within += usize::from((drift.per_hour - 0.077).abs() < 2.2 * drift.u_per_hour);
        }
        // 95 % intervals with a class in the error; 200 trials at 0.9 stay above 170.
        assert!(within > 170, "{within} of 200");
    }

    #[test]
    fn wood_that_relaxes_is_no_drift() {
        let found = |drift: f64| {
            (0..200)
                .filter(|seed| {
                    drift_of(&check_pin(drift, 0.04, *seed)).is_some_and(|d| d.is_significant)
                })
                .count()
        };
        // At 5 % at most 10 are expected; more than 22 has a chance below one in a thousand.
        assert!(found(0.0) <= 22, "{}", found(0.0));
        // A tenth over the hour, eight errors large, is found nearly always.
        assert!(found(0.10) >= 190, "{}", found(0.10));
    }

    #[test]
    fn the_correction_takes_the_gradient_and_leaves_the_level() {
        let drift = drift_of(&check_pin(0.10, 0.0, 3)).expect("seven readings");
        assert!(drift.is_significant);
        let (first, middle, last) =
            (drift.correction(0.0), drift.correction(1_800_000.0), drift.correction(3_600_000.0));
        assert!(first.0 > 1.0 && last.0 < 1.0 && (middle.0 - 1.0).abs() < 1e-12);
        assert!((first.0 * last.0 - 1.0).abs() < 1e-12);
        assert!(first.1 > 0.0 && middle.1 == 0.0);
        assert!(drift.sentence().contains("taken out of every reading"), "{}", drift.sentence());
    }

    #[test]
    fn too_little_says_nothing() {
        assert_eq!(drift_of(&[]), None);
        assert_eq!(drift_of(&[reading(40, 0.0, 9.0), reading(40, 30.0, 8.0)]), None);
        // All within two minutes.
        let close: Vec<Reading> = (0..5).map(|k| reading(40, 0.3 * f64::from(k), 9.0)).collect();
        assert_eq!(drift_of(&close), None);
        // Another calibration in between is another scale.
        let mut changed = check_pin(0.1, 0.0, 1);
        changed[6].calibration = 2;
        assert_eq!(drift_of(&changed), None);
    }

    #[test]
    fn a_clock_that_begins_anew_does_not_go_back() {
        let readings = [reading(1, 50.0, 9.0), reading(2, 51.0, 9.0), reading(3, 0.5, 9.0)];
        let all: Vec<&Reading> = readings.iter().collect();
        assert_eq!(clock_ms(&all), [0.0, 60_000.0, 120_000.0]);
    }
}
