//! Lever records: what the strokes said, with the lever's class and the scatter of each slip.

use pinhold_protocol::record::{Direction, Outcome, Reading, Stroke, reading_flags, stroke_flags};
use pinhold_protocol::units::Torque;

use super::bearing::Course;
use super::combine::{Strung, Torques};
use super::lever_lines::{self, error_nm, is_sound};
use super::{LeverRead, MeasurementProfile, note};
use crate::analysis::input::{PinReading, StringState, TorqueKind};
use crate::calibration::terms::LeverTerms;

/// One record as a pin's reading. `drift` is the factor that takes the lever's drift out, and the
/// relative uncertainty that leaves.
pub(super) fn read(
    read: &LeverRead,
    strung: Strung,
    cents: Option<f64>,
    drift: (f64, f64),
    profile: &MeasurementProfile,
) -> PinReading {
    let reading = &read.reading;
    // A kept calibration is a file somebody may have changed.
    let class = LeverTerms::class();
    let terms = if is_sound(&read.terms) { &*read.terms } else { &class };
    let mut torques = Torques {
        kind: TorqueKind::Running,
        state: state_of(reading),
        sharp: running(reading, Direction::Sharp),
        flat: running(reading, Direction::Flat),
        given: None,
        upper_limit: false,
        cents,
        course: Course::of(reading),
        stated_u_nm: 0.0,
        lines: Vec::new(),
    };
    match reading.outcome {
        Outcome::Measured => {}
        Outcome::FlatOnly => torques.sharp = None,
        Outcome::SharpOnly => torques.flat = None,
        Outcome::BreakawayOnly => take_first_break(&mut torques, reading),
        Outcome::AboveLimit => take_limit(&mut torques, reading, &strung),
        Outcome::MovedOnSeating | Outcome::Spoiled => (torques.sharp, torques.flat) = (None, None),
    }
    let right = |direction, shown_nm: f64| shown_nm - error_nm(terms, direction, shown_nm);
    torques.sharp = torques.sharp.map(|shown_nm| drift.0 * right(Direction::Sharp, shown_nm));
    torques.flat = torques.flat.map(|shown_nm| drift.0 * right(Direction::Flat, shown_nm));
    lever_lines::add(&mut torques, reading, terms, profile);
    lever_lines::add_drift(&mut torques, drift.1);
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
fn running(reading: &Reading, direction: Direction) -> Option<f64> {
    let strokes = reading.strokes.iter().filter(|stroke| stroke.direction == direction);
    let matched = match direction {
        Direction::Sharp => reading.sharp,
        Direction::Flat => reading.flat,
    };
    let last = strokes.rev().find_map(|stroke| stroke.running);
    Some(matched.or(last)?.newton_metres())
}

/// Breakaway alone: the first break in its direction, never averaged with the second.
fn take_first_break(torques: &mut Torques, reading: &Reading) {
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
    let measured = Some(breakaway.newton_metres());
    match stroke.direction {
        Direction::Sharp => torques.sharp = measured,
        Direction::Flat => torques.flat = measured,
    }
}

/// The pin did not move: the stroke whose peak says most about friction.
fn take_limit(torques: &mut Torques, reading: &Reading, strung: &Strung) {
    (torques.sharp, torques.flat) = (None, None);
    torques.kind = TorqueKind::Limit;
    let moment_nm = strung.moment_now_nm(torques.state, torques.cents);
    let peak_of = |direction: Direction| -> Option<f64> {
        let peaks = reading.strokes.iter().filter(|stroke| stroke.direction == direction);
        peaks.map(|stroke| stroke.peak).max().map(Torque::newton_metres)
    };
    let (sharp, flat) = (peak_of(Direction::Sharp), peak_of(Direction::Flat));
    let from_sharp = sharp.map_or(f64::NEG_INFINITY, |torque_nm| torque_nm - moment_nm);
    let from_flat = flat.map_or(f64::NEG_INFINITY, |torque_nm| torque_nm + moment_nm);
    if from_flat >= from_sharp {
        torques.flat = flat;
    } else {
        torques.sharp = sharp;
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
    use crate::analysis::budget::{Quantity, Shape, Support, Term};
    use crate::calibration::terms::Basis;
    use crate::instrument::InstrumentKind;
    use crate::instrument::layout::modern_88;
    use pinhold_protocol::record::{Knee, Pin, SampleCoverage, StringPosition};
    use pinhold_protocol::units::{Angle, DeviceTime};
    use std::sync::Arc;

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
        let reads: Vec<_> = readings.iter().cloned().map(LeverRead::of_class).collect();
        pin_of(&reads)
    }

    fn with_terms(reading: Reading, terms: LeverTerms) -> PinReading {
        pin_of(&[LeverRead { reading, terms: Arc::new(terms), marks: Vec::new() }])
    }

    fn pin_of(reads: &[LeverRead]) -> PinReading {
        let instrument = modern_88("test", InstrumentKind::Grand);
        let profile = MeasurementProfile::default();
        let mut pins = pin_readings(&instrument, reads, &[], None, &profile);
        assert_eq!(pins.len(), 1);
        pins.remove(0)
    }

    fn degrees(deg: f64) -> Angle {
        Angle::from_radians(deg.to_radians()).unwrap()
    }

    fn measured(sharp_nm: f64, flat_nm: f64) -> Reading {
        let mut both = reading(Outcome::Measured, &[]);
        (both.sharp, both.flat) = (Some(nm(sharp_nm)), Some(nm(flat_nm)));
        both
    }

    fn root_sum(parts: &[f64]) -> f64 {
        parts.iter().map(|u| u * u).sum::<f64>().sqrt()
    }

    #[test]
    fn the_lines_of_a_class_lever_worked_by_hand() {
        let pin = analysed(&[measured(12.9, 7.1)]);
        let (friction, moment) = (pin.friction_nm.unwrap(), pin.moment_nm.unwrap());
        assert_eq!(friction.value.to_bits(), ((12.9_f64 + 7.1) / 2.0).to_bits());
        // F = 10 N·m, M = 2.9 N·m, the class of an uncalibrated lever, 1 K from 20 °C.
        let (root_2, root_3) = (2.0_f64.sqrt(), 3.0_f64.sqrt());
        let relative = [0.05 / root_3, 0.02 / root_3, 0.000_2 / root_3, 0.01];
        let hysteresis = 0.03 / 12.9 / root_3;
        let own = [0.02 / root_2, 0.000_5 / root_3 / root_2, 0.04 * 0.55 / root_2];
        let of = |share_of_nm: f64, more: &[f64]| {
            let mut parts: Vec<f64> = relative.iter().map(|share| share * share_of_nm).collect();
            parts.push(hysteresis * share_of_nm);
            parts.extend(own);
            parts.extend(more);
            root_sum(&parts)
        };
        // The zero cancels in F and goes whole into M; bearings read F high, M either way.
        let expected = of(10.0, &[libm::sinh(0.13) * moment.value / root_3]);
        assert!((friction.u - expected).abs() < 1e-12, "{} {expected}", friction.u);
        let expected = of(2.9, &[0.05, 0.012, libm::sinh(0.13) * moment.value / 6.0_f64.sqrt()]);
        assert!((moment.u - expected).abs() < 1e-12, "{} {expected}", moment.u);
    }

    #[test]
    fn scatter_averages_over_the_slip() {
        let mut running_stroke = stroke(Direction::Flat);
        running_stroke.running = Some(nm(7.0));
        let pin = analysed(&[reading(Outcome::FlatOnly, &[running_stroke])]);
        // 0.1 N·m over four independent spans.
        let budget = pin.budget.unwrap();
        let noise: Vec<_> = budget.lines.iter().filter(|l| l.term == Term::Noise).collect();
        assert_eq!(noise.len(), 1);
        assert!((noise[0].effect.flat - 0.05).abs() < 1e-12 && noise[0].effect.sharp == 0.0);
        assert_eq!(noise[0].shape, Shape::Normal { degrees_of_freedom: 3.0 });
        assert_eq!(pin.friction_nm.unwrap().value, 7.0 + pin.moment_at_pitch_nm.value);
    }

    #[test]
    fn a_calibration_takes_its_error_off_and_names_itself() {
        let mut terms = LeverTerms::class();
        terms.basis = Basis::Calibration { number: 7 };
        terms.error_curve = [0.0, 0.01, 0.0];
        terms.error_covariance = [[1e-4, 0.0, 0.0], [0.0, 1e-6, 0.0], [0.0, 0.0, 0.0]];
        let pin = with_terms(measured(12.9, 7.1), terms.clone());
        assert!((pin.friction_nm.unwrap().value - 9.9).abs() < 1e-12);
        let budget = pin.budget.unwrap();
        let mut curve = budget.lines.iter().filter(|line| line.term == Term::Curve);
        // e₀ is a zero to both strokes and cancels in F; e₁ is a scale and does not.
        let (zero, scale) = (curve.next().unwrap(), curve.next().unwrap());
        assert_eq!(budget.contribution(zero, Quantity::Friction), 0.0);
        assert!((budget.contribution(zero, Quantity::Moment) - 0.01).abs() < 1e-15);
        assert!((budget.contribution(scale, Quantity::Friction) - 0.0099).abs() < 1e-12);
        assert_eq!(scale.support, Support::Calibration { number: 7 });
        // A record somebody broke is not believed: the class stands in.
        terms.error_covariance[1][1] = f64::NAN;
        let broken = with_terms(measured(12.9, 7.1), terms);
        assert_eq!(broken.friction_nm, analysed(&[measured(12.9, 7.1)]).friction_nm);
    }

    #[test]
    fn a_watched_stroke_lowers_the_interval_and_not_the_value() {
        let mut flat = stroke(Direction::Flat);
        (flat.running, flat.running_angle, flat.slip) =
            (Some(nm(7.0)), degrees(-0.3), degrees(0.5));
        let mut sharp = stroke(Direction::Sharp);
        (sharp.running, sharp.running_angle, sharp.slip) =
            (Some(nm(13.0)), degrees(-0.25), degrees(0.5));
        let mut both = measured(12.9, 7.1);
        for stroke in [flat, sharp] {
            both.strokes.push(stroke).unwrap();
        }
        let (watched, blind) = (analysed(&[both]), analysed(&[measured(12.9, 7.1)]));
        assert_eq!(watched.friction_nm.unwrap().value, 10.0);
        let width = |pin: &PinReading| pin.friction_interval_nm.map(|(low, high)| high - low);
        assert!(width(&watched) < width(&blind), "{watched:?}");
        let (low, high) = watched.friction_interval_nm.unwrap();
        assert!((low + high) / 2.0 < 10.0, "{low} {high}");
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
