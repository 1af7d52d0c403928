//! Lever records: what the strokes said, with the lever's class and the scatter of each slip.

use pinhold_protocol::record::{Direction, Outcome, Reading, Stroke, reading_flags, stroke_flags};
use pinhold_protocol::units::Torque;

use super::{Budget, LeverRead, Measured, MeasurementProfile, Strung, Torques, note};
use crate::analysis::input::{PinReading, StringState, TorqueKind};

/// Slip time over which torque scatter is taken as one independent value, ms (MEM).
const SCATTER_INDEPENDENT_MS: f64 = 100.0;

/// One record as a pin's reading.
pub(super) fn read(
    read: &LeverRead,
    strung: Strung,
    cents: Option<f64>,
    profile: &MeasurementProfile,
) -> PinReading {
    let reading = &read.reading;
    let state = state_of(reading);
    let mut torques = Torques {
        kind: TorqueKind::Running,
        state,
        sharp: running(reading, Direction::Sharp, profile),
        flat: running(reading, Direction::Flat, profile),
        friction: None,
        upper_limit: false,
        cents,
    };
    match reading.outcome {
        Outcome::Measured => {}
        Outcome::FlatOnly => torques.sharp = None,
        Outcome::SharpOnly => torques.flat = None,
        Outcome::BreakawayOnly => take_first_break(&mut torques, reading, profile),
        Outcome::AboveLimit => take_limit(&mut torques, reading, strung, profile),
        Outcome::MovedOnSeating | Outcome::Spoiled => (torques.sharp, torques.flat) = (None, None),
    }
    let mut pin = torques.combine(strung, profile);
    pin.marks.clone_from(&read.marks);
    // Pitch was not found by the lever: it stands in the survey's condition.
    pin.cents_as_found = None;
    pin.not_holding |= reading.flags & reading_flags::NOT_HOLDING != 0;
    for remark in remarks_of(reading) {
        note(&mut pin.remarks, remark);
    }
    pin
}

fn state_of(reading: &Reading) -> StringState {
    if reading.flags & reading_flags::UNSTRUNG != 0 {
        StringState::Unstrung
    } else if reading.flags & reading_flags::SLACK != 0 {
        StringState::Slack
    } else {
        StringState::AtPitch
    }
}

/// Running torque of one direction at the matched foot angle, else of its last running stroke.
fn running(
    reading: &Reading,
    direction: Direction,
    profile: &MeasurementProfile,
) -> Option<Measured> {
    let strokes = || reading.strokes.iter().filter(move |stroke| stroke.direction == direction);
    let matched = match direction {
        Direction::Sharp => reading.sharp,
        Direction::Flat => reading.flat,
    };
    let last = strokes().rev().find_map(|stroke| stroke.running);
    let torque = matched.or(last)?;
    let scatter_nm = strokes()
        .filter(|stroke| stroke.running.is_some())
        .map(scatter_of_mean_nm)
        .fold(0.0, f64::max);
    Some((torque.newton_metres(), budget(scatter_nm, profile)))
}

/// Standard deviation of a slip's mean torque, N·m.
fn scatter_of_mean_nm(stroke: &Stroke) -> f64 {
    let independent = (f64::from(stroke.slip_ms) / SCATTER_INDEPENDENT_MS).max(1.0);
    stroke.running_scatter.newton_metres().abs() / independent.sqrt()
}

fn budget(scatter_nm: f64, profile: &MeasurementProfile) -> Budget {
    Budget {
        span_relative: profile.lever_span_relative_u,
        zero_nm: profile.lever_zero_u_nm,
        stated_nm: 0.0,
        single_nm: scatter_nm,
    }
}

/// Breakaway alone: the first break in its direction, never averaged with the second.
fn take_first_break(torques: &mut Torques, reading: &Reading, profile: &MeasurementProfile) {
    (torques.sharp, torques.flat) = (None, None);
    torques.kind = TorqueKind::Peak;
    let broke = |stroke: &&Stroke| stroke.breakaway.is_some();
    let first = |stroke: &&Stroke| stroke.flags & stroke_flags::FIRST_BREAK != 0;
    let strokes = || reading.strokes.iter();
    let chosen = strokes().filter(broke).find(first).or_else(|| strokes().find(broke));
    let Some((stroke, breakaway)) = chosen.and_then(|stroke| Some((stroke, stroke.breakaway?)))
    else {
        return;
    };
    let measured = Some((breakaway.newton_metres(), budget(0.0, profile)));
    match stroke.direction {
        Direction::Sharp => torques.sharp = measured,
        Direction::Flat => torques.flat = measured,
    }
}

/// The pin did not move: the stroke whose peak says most about friction.
fn take_limit(
    torques: &mut Torques,
    reading: &Reading,
    strung: Strung,
    profile: &MeasurementProfile,
) {
    (torques.sharp, torques.flat) = (None, None);
    torques.kind = TorqueKind::Limit;
    let moment_nm = strung.moment_now(torques.state, torques.cents).value;
    let peak_of = |direction: Direction| -> Option<f64> {
        let peaks = reading.strokes.iter().filter(|stroke| stroke.direction == direction);
        peaks.map(|stroke| stroke.peak).max().map(Torque::newton_metres)
    };
    let (sharp, flat) = (peak_of(Direction::Sharp), peak_of(Direction::Flat));
    let measured = |torque_nm: f64| (torque_nm, budget(0.0, profile));
    let from_sharp = sharp.map_or(f64::NEG_INFINITY, |torque_nm| torque_nm - moment_nm);
    let from_flat = flat.map_or(f64::NEG_INFINITY, |torque_nm| torque_nm + moment_nm);
    if from_flat >= from_sharp {
        torques.flat = flat.map(measured);
    } else {
        torques.sharp = sharp.map(measured);
    }
}

/// The record's own words.
fn remarks_of(reading: &Reading) -> Vec<&'static str> {
    let mut remarks = Vec::new();
    match reading.outcome {
        Outcome::BreakawayOnly => remarks.push("breakaway only: the slip was too short"),
        Outcome::AboveLimit => remarks.push("dead tight: did not move"),
        Outcome::MovedOnSeating => remarks.push("moved on seating the lever"),
        Outcome::Spoiled => remarks.push("spoiled: repeat this pin"),
        Outcome::Measured | Outcome::FlatOnly | Outcome::SharpOnly => {}
    }
    for (flag, remark) in [
        (reading_flags::NOT_HOLDING, "the string drove the pin flat"),
        (reading_flags::JUMPY, "jumpy"),
        (reading_flags::HIGH_FIRST_BREAK, "high first break: aged, rusted or glued"),
        (reading_flags::MOVED_ON_SEATING, "moved on seating the lever"),
        (reading_flags::SPONGY, "spongy: no clear knee"),
        (reading_flags::HARD, "lever torque passed the alarm's level"),
        (reading_flags::TOO_FAR, "turned further than asked"),
        (reading_flags::RETUNE, "retune this string"),
        (reading_flags::NOT_ZEROED, "lever not zeroed: the string's moment is in doubt"),
    ] {
        if reading.flags & flag != 0 {
            remarks.push(remark);
        }
    }
    remarks
}

#[cfg(test)]
mod tests {
    use super::super::pin_readings;
    use super::*;
    use crate::instrument::InstrumentKind;
    use crate::instrument::layout::modern_88;
    use pinhold_protocol::record::{Knee, Pin, SampleCoverage, StringPosition};
    use pinhold_protocol::units::{Angle, DeviceTime};

    fn nm(value: f64) -> Torque {
        Torque::from_newton_metres(value).unwrap()
    }

    fn stroke(direction: Direction) -> Stroke {
        Stroke {
            direction,
            breakaway: None,
            running: None,
            running_scatter: nm(0.1),
            running_slope_micronewton_metres_per_radian: 0,
            running_angle: Angle::ZERO,
            ramp_stiffness: None,
            slip: Angle::ZERO,
            peak: Torque::ZERO,
            knee: Knee::Rounded,
            stick_slip_permille: 0,
            rest_before_ms: 1000,
            duration_ms: 2000,
            slip_ms: 400,
            sample_count: 500,
            flags: 0,
        }
    }

    fn reading(outcome: Outcome, strokes: &[Stroke]) -> Reading {
        let mut reading = Reading {
            survey: 1,
            pin: Pin { note: 49, string: StringPosition::Left },
            started: DeviceTime::from_microseconds(1),
            duration_ms: 5000,
            outcome,
            flags: 0,
            friction: None,
            string_moment: None,
            sharp: None,
            flat: None,
            net_rotation: Angle::ZERO,
            excursion_flat: Angle::ZERO,
            excursion_sharp: Angle::ZERO,
            temperature_centi_celsius: 2100,
            attitude_milli_g: [0, 0, 1000],
            calibration: 1,
            samples: SampleCoverage::None,
            strokes: Default::default(),
        };
        for stroke in strokes {
            reading.strokes.push(*stroke).unwrap();
        }
        reading
    }

    fn analysed(readings: &[Reading]) -> PinReading {
        let instrument = modern_88("test", InstrumentKind::Grand);
        let profile = MeasurementProfile::default();
        let reads: Vec<_> = readings.iter().cloned().map(LeverRead::of_class).collect();
        let mut pins = pin_readings(&instrument, &reads, &[], None, &profile);
        assert_eq!(pins.len(), 1);
        pins.remove(0)
    }

    fn measured(sharp_nm: f64, flat_nm: f64) -> Reading {
        let mut both = reading(Outcome::Measured, &[]);
        (both.sharp, both.flat) = (Some(nm(sharp_nm)), Some(nm(flat_nm)));
        both
    }

    #[test]
    fn a_zero_error_goes_into_the_moment_only() {
        let pin = analysed(&[measured(12.9, 7.1)]);
        let (friction, moment) = (pin.friction_nm.unwrap(), pin.moment_nm.unwrap());
        assert_eq!(friction.value.to_bits(), ((12.9_f64 + 7.1) / 2.0).to_bits());
        // Span 0.5 % of F and bearings 0.08·2.9/√3 in F; span of M and the whole zero in M.
        let bearing: f64 = 0.08 * moment.value / 3.0_f64.sqrt();
        assert!((friction.u - libm::hypot(0.05, bearing)).abs() < 1e-9);
        let span = 0.005 * moment.value;
        assert!((moment.u - libm::hypot(0.05, span)).abs() < 1e-12);
    }

    #[test]
    fn scatter_averages_over_the_slip() {
        let mut running_stroke = stroke(Direction::Flat);
        running_stroke.running = Some(nm(7.0));
        let pin = analysed(&[reading(Outcome::FlatOnly, &[running_stroke])]);
        // 0.1 N·m over four independent spans.
        let parts: [f64; 3] = [0.005 * 7.0, 0.05, 0.05];
        let expected = parts.iter().map(|part| part * part).sum::<f64>().sqrt();
        assert!((pin.flat_nm.unwrap().u - expected).abs() < 1e-12);
        assert_eq!(pin.friction_nm.unwrap().value, 7.0 + pin.moment_at_pitch_nm.value);
    }

    #[test]
    fn a_breakaway_is_the_first_and_counts_as_a_peak() {
        let mut flat = stroke(Direction::Flat);
        (flat.breakaway, flat.flags) = (Some(nm(8.0)), stroke_flags::FIRST_BREAK);
        let mut sharp = stroke(Direction::Sharp);
        sharp.breakaway = Some(nm(13.0));
        let pin = analysed(&[reading(Outcome::BreakawayOnly, &[flat, sharp])]);
        assert_eq!(pin.kind, TorqueKind::Peak);
        assert_eq!((pin.flat_nm.unwrap().value, pin.sharp_nm), (8.0, None));
        assert_eq!(pin.friction_nm.unwrap().value, 8.0 + pin.moment_at_pitch_nm.value);
    }

    #[test]
    fn a_pin_that_did_not_move_is_a_lower_limit_from_its_best_stroke() {
        let mut flat = stroke(Direction::Flat);
        flat.peak = nm(22.0);
        let mut sharp = stroke(Direction::Sharp);
        sharp.peak = nm(24.0);
        let pin = analysed(&[reading(Outcome::AboveLimit, &[flat, sharp])]);
        assert!(pin.friction_is_lower_limit);
        assert_eq!(pin.friction_nm.unwrap().value, 22.0 + pin.moment_at_pitch_nm.value);
    }

    #[test]
    fn odd_results_keep_their_words_and_invent_no_friction() {
        for (outcome, word) in [
            (Outcome::Spoiled, "spoiled"),
            (Outcome::MovedOnSeating, "moved on seating"),
            (Outcome::AboveLimit, "dead tight"),
            (Outcome::BreakawayOnly, "breakaway"),
        ] {
            let pin = analysed(&[reading(outcome, &[])]);
            assert_eq!(pin.friction_nm, None, "{outcome:?}");
            assert!(!pin.friction_is_lower_limit);
            assert!(pin.remarks.iter().any(|remark| remark.contains(word)), "{outcome:?}");
        }
    }

    #[test]
    fn a_driven_pin_is_not_holding() {
        let driven = measured(5.0, -0.6);
        assert!(analysed(&[driven]).not_holding, "flat clearly below zero");
        let mut flagged = measured(6.2, 0.4);
        flagged.flags = reading_flags::NOT_HOLDING;
        assert!(analysed(&[flagged]).not_holding, "the lever said so");
        assert!(!analysed(&[measured(9.0, 3.2)]).not_holding);
    }

    #[test]
    fn the_last_usable_reading_of_a_pin_counts() {
        let spoiled = reading(Outcome::Spoiled, &[]);
        let pin = analysed(&[measured(12.0, 6.0), measured(11.0, 5.0), spoiled]);
        assert_eq!(pin.friction_nm.unwrap().value, 8.0);
        assert!(pin.remarks.iter().any(|remark| remark.starts_with("read more than once")));
    }
}
