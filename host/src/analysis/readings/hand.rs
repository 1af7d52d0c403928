//! Hand readings: what was typed, with the hand-tool class or the uncertainty stated.
//!
//! Deliberately not here: what every reading has, whatever read it (`combine`).

use super::combine::{Given, Strung, Torques};
use super::{MeasurementProfile, note};
use crate::analysis::budget::{Effect, Reach, Shape, SizeUnit, Support, Term};
use crate::analysis::input::{PinReading, StringState, TorqueKind};
use crate::import::hand::{HandReading, HandTorque, LimitSide};

/// One row as a pin's reading.
pub(super) fn read(
    reading: &HandReading,
    strung: Strung,
    cents: Option<f64>,
    profile: &MeasurementProfile,
) -> PinReading {
    let nm = |torque: &Option<HandTorque>| torque.as_ref().map(HandTorque::newton_metres);
    let mut torques = Torques {
        kind: reading.kind,
        state: reading.state,
        sharp: nm(&reading.sharp),
        flat: nm(&reading.flat),
        given: nm(&reading.friction)
            .map(Given::Friction)
            .or(nm(&reading.torque).map(Given::EitherWay)),
        upper_limit: reading.limit_side == Some(LimitSide::Upper),
        cents,
        course: None,
        stated_u_nm: reading.u.map_or(0.0, |u| u.newton_metres()),
        lines: Vec::new(),
    };
    add_lines(&mut torques, reading, profile);
    let mut pin = torques.combine(strung, profile);
    // The instrument's mean pitch stood in for the moment, not for what was found here.
    pin.cents_as_found = reading.cents();
    let driven = reading.flat.as_ref().is_some_and(|flat| flat.newton_metres() < 0.0);
    if driven && reading.state == StringState::AtPitch && reading.kind != TorqueKind::Limit {
        // The hand had to hold it back: its sign was seen, whatever the reading's uncertainty.
        pin.not_holding = true;
        note(&mut pin.remarks, "the string drove the pin flat");
    }
    if pin.state == StringState::AtPitch && pin.moment_nm.is_some_and(|m| m.value + 2.0 * m.u < 0.0)
    {
        note(
            &mut pin.remarks,
            "flat above sharp: columns swapped, a reverse-wound pin, or no string",
        );
    }
    if !reading.remark.is_empty() {
        pin.remarks.push(reading.remark.clone());
    }
    pin
}

/// The uncertainty stated, else the hand-tool class; last digits and angles on top.
fn add_lines(torques: &mut Torques, reading: &HandReading, profile: &MeasurementProfile) {
    use SizeUnit::{Degree, NewtonMetre, Relative};
    let given = Effect { given: 1.0, ..Effect::default() };
    // A friction given says nothing of angles.
    let torques_given = [
        (reading.sharp.as_ref(), Effect { sharp: 1.0, ..Effect::default() }, true),
        (reading.flat.as_ref(), Effect { flat: 1.0, ..Effect::default() }, true),
        (reading.friction.as_ref(), given, false),
        (reading.torque.as_ref(), given, true),
    ];
    match reading.u {
        Some(u) => {
            // Nobody said how it combines: nothing averages, nothing cancels.
            let what = (Term::Stated, Support::Reading);
            let (u_nm, size) = (u.newton_metres(), (u.newton_metres(), NewtonMetre));
            let friction = Effect { friction: u_nm, ..Effect::default() };
            torques.line(what, Shape::KNOWN, size, Reach::Common, friction);
            let moment = Effect { moment: u_nm, ..Effect::default() };
            torques.line(what, Shape::KNOWN, size, Reach::Opposite, moment);
        }
        None => {
            let graded = profile.hand_scale_relative_u;
            let mut effect = Effect::default();
            for (torque, unit, _) in torques_given {
                let torque_nm = torque.map_or(0.0, HandTorque::newton_metres);
                effect = plus(effect, unit, graded.value * torque_nm);
            }
            let what = (Term::Scale, Support::of(graded));
            torques.line(what, Shape::KNOWN, (graded.value, Relative), Reach::Common, effect);
        }
    }
    for (torque, unit, has_angle) in torques_given {
        let Some(torque) = torque else { continue };
        if reading.u.is_none() {
            let share_nm = profile.hand_single_relative_u.value * torque.newton_metres().abs();
            let least = profile.hand_single_least_u_nm;
            let (u_nm, graded) = if share_nm > least.value {
                (share_nm, profile.hand_single_relative_u)
            } else {
                (least.value, least)
            };
            let what = (Term::HandReading, Support::of(graded));
            let effect = plus(Effect::default(), unit, u_nm);
            torques.line(what, Shape::KNOWN, (u_nm, NewtonMetre), Reach::Own, effect);
        }
        let half_nm = 0.5 * torque.last_digit_nm();
        let what = (Term::Resolution, Support::Reading);
        let effect = plus(Effect::default(), unit, half_nm);
        torques.line(what, Shape::Rectangular, (half_nm, NewtonMetre), Reach::Own, effect);
        if reading.state == StringState::Unstrung || !has_angle {
            continue;
        }
        let graded = profile.hand_angle_half_width_deg;
        let what = (Term::FootAngle, Support::of(graded));
        let effect = plus(Effect::default(), unit, graded.value * profile.segment_nm_per_deg());
        torques.line(what, Shape::Rectangular, (graded.value, Degree), Reach::Own, effect);
    }
}

/// An effect with so much of a unit effect added.
fn plus(effect: Effect, unit: Effect, nm: f64) -> Effect {
    Effect {
        sharp: effect.sharp + nm * unit.sharp,
        flat: effect.flat + nm * unit.flat,
        given: effect.given + nm * unit.given,
        ..effect
    }
}

#[cfg(test)]
mod tests {
    use super::super::pin_readings;
    use super::*;
    use crate::instrument::InstrumentKind;
    use crate::instrument::layout::modern_88;

    fn read_csv(text: &str) -> Vec<PinReading> {
        let rows = crate::import::parse(text.as_bytes()).unwrap();
        let hand: Vec<HandReading> = rows.into_iter().map(|row| row.reading).collect();
        let instrument = modern_88("test", InstrumentKind::Grand);
        pin_readings(&instrument, &[], &hand, None, &MeasurementProfile::default())
    }

    fn one(text: &str) -> PinReading {
        let mut readings = read_csv(text);
        assert_eq!(readings.len(), 1);
        readings.remove(0)
    }

    #[test]
    fn both_directions_give_half_sum_and_half_difference_to_the_bit() {
        for (sharp, flat) in [("9.3", "4.1"), ("10.07", "3.9"), ("0.1", "0.2"), ("7", "-0.7")] {
            let reading = one(&format!("note,string,sharp_nm,flat_nm\n49,C,{sharp},{flat}\n"));
            let (s, f): (f64, f64) = (sharp.parse().unwrap(), flat.parse().unwrap());
            assert_eq!(reading.friction_nm.unwrap().value.to_bits(), ((s + f) / 2.0).to_bits());
            assert_eq!(reading.moment_nm.unwrap().value.to_bits(), ((s - f) / 2.0).to_bits());
            let factor = reading.friction_nm.unwrap().value / reading.moment_at_pitch_nm.value;
            assert_eq!(reading.holding_factor.unwrap().value, factor);
        }
    }

    #[test]
    fn the_hand_tool_class_is_six_percent_and_at_least_a_third_of_a_newton_metre() {
        let reading = one("note,string,sharp_nm,flat_nm\n49,C,20.0,1.00\n");
        let (sharp, flat) = (reading.sharp_nm.unwrap(), reading.flat_nm.unwrap());
        assert!((sharp.u / sharp.value - 0.06).abs() < 0.001, "{}", sharp.u);
        assert!((0.3..0.31).contains(&flat.u), "{}", flat.u);
        assert!(super::super::HAND_TOOL_CLASS.contains("6 %"));
        // Common span does not average out: u(F) stays above 5 % of F.
        let friction = reading.friction_nm.unwrap();
        assert!(friction.u > 0.05 * friction.value);
    }

    #[test]
    fn a_stated_uncertainty_is_carried_whole_and_the_rest_on_top() {
        let reading = one("note,string,sharp_nm,flat_nm,u_nm,cents\n49,C,12.8,7.2,0.2,0\n");
        let root_sum = |parts: &[f64]| parts.iter().map(|u| u * u).sum::<f64>().sqrt();
        let (root_2, root_3) = (2.0_f64.sqrt(), 3.0_f64.sqrt());
        // Last digit 0.1 N·m; foot within 0.5° at 0.55 N·m per degree; M = 2.8 N·m.
        let (digit, angle) = (0.05 / root_3, 0.275 / root_3);
        assert!((reading.sharp_nm.unwrap().u - root_sum(&[0.2, digit])).abs() < 1e-12);
        // One-sided bearing, M·sinh(0.13) whole about the value told.
        let bearing = libm::sinh(0.13) * 2.8 / root_3;
        let friction = root_sum(&[0.2, digit / root_2, angle / root_2, bearing]);
        assert!((reading.friction_nm.unwrap().u - friction).abs() < 1e-12);
        let found = libm::sinh(0.13) * 2.8 / 6.0_f64.sqrt();
        let moment = root_sum(&[0.2, digit / root_2, angle / root_2, found]);
        assert!((reading.moment_nm.unwrap().u - moment).abs() < 1e-12);
        // Bearings only make it read high: the interval reaches further down than up.
        let (low, high) = reading.friction_interval_nm.unwrap();
        assert!(10.0 - low > high - 10.0 && low < 10.0 && high > 10.0, "{low} {high}");
    }

    #[test]
    fn a_bearing_friction_that_was_set_is_taken_off() {
        let rows = crate::import::parse(b"note,string,sharp_nm,flat_nm\n49,C,12.8,7.2\n").unwrap();
        let instrument = modern_88("test", InstrumentKind::Grand);
        let set = crate::metrology::Estimate { value: 0.06, u: 0.01 };
        let profile = MeasurementProfile { bearing_friction_set: Some(set), ..Default::default() };
        let pin = pin_readings(&instrument, &[], &[rows[0].reading.clone()], None, &profile);
        assert!((pin[0].friction_nm.unwrap().value - (10.0 - 0.06 * 2.8)).abs() < 1e-12);
        let (low, high) = pin[0].friction_interval_nm.unwrap();
        assert!((low + high - 2.0 * pin[0].friction_nm.unwrap().value).abs() < 1e-6);
    }

    #[test]
    fn one_way_readings_use_the_moment_and_say_so() {
        let sharp = one("note,string,sharp_nm\n49,C,12\n");
        let flat = one("note,string,flat_nm\n49,C,6\n");
        let moment = sharp.moment_at_pitch_nm;
        assert_eq!(sharp.friction_nm.unwrap().value, 12.0 - moment.value);
        assert_eq!(flat.friction_nm.unwrap().value, 6.0 + moment.value);
        for reading in [&sharp, &flat] {
            assert_eq!(reading.moment_nm, None);
            assert!(reading.friction_nm.unwrap().u > moment.u);
            assert!(reading.remarks[0].contains("string's moment"));
        }
        // A larger moment raises the flat-only friction with the divisor: F/M₀ hardly moves with
        // it, so the factor is better known than independent parts would make it.
        let (friction, factor) = (flat.friction_nm.unwrap(), flat.holding_factor.unwrap());
        let independent =
            factor.value * libm::hypot(friction.u / friction.value, moment.u / moment.value);
        assert!(factor.u < independent, "{} {independent}", factor.u);
    }

    #[test]
    fn a_flat_pitch_lowers_the_moment_taken_off() {
        let at_pitch = one("note,string,sharp_nm,cents\n49,C,12,0\n");
        let low = one("note,string,sharp_nm,cents\n49,C,12,-100\n");
        let gain = low.friction_nm.unwrap().value - at_pitch.friction_nm.unwrap().value;
        assert!((gain / at_pitch.moment_at_pitch_nm.value - 0.1091).abs() < 0.0005, "{gain}");
        assert_eq!(low.moment_at_pitch_nm, at_pitch.moment_at_pitch_nm);
    }

    #[test]
    fn kinds_get_the_width_they_deserve() {
        let text = "note,string,kind,sharp_nm,flat_nm\n";
        let running = one(&format!("{text}49,C,running,13,7\n"));
        let peak = one(&format!("{text}49,C,peak,13,7\n"));
        let lower = one(&format!("{text}49,C,limit,,>9\n"));
        let upper = one(&format!("{text}49,C,limit,<13,\n"));
        assert_eq!(running.friction_nm.unwrap().value, peak.friction_nm.unwrap().value);
        assert!(peak.friction_nm.unwrap().u > running.friction_nm.unwrap().u + 0.5);
        assert!(lower.friction_is_lower_limit && !upper.friction_is_lower_limit);
        let friction = upper.friction_nm.unwrap();
        assert!(friction.u > friction.value / 3.0_f64.sqrt());
        assert!(!running.friction_is_lower_limit && !peak.friction_is_lower_limit);
    }

    #[test]
    fn states_of_the_string_change_what_is_formed() {
        let text = "note,string,state,sharp_nm\n";
        let slack = one(&format!("{text}49,C,slack,8\n"));
        let unstrung = one(&format!("{text}49,C,unstrung,8\n"));
        assert_eq!(slack.friction_nm.unwrap().value, 8.0);
        assert_eq!(unstrung.friction_nm.unwrap().value, 8.0);
        assert!(slack.holding_factor.is_some() && unstrung.holding_factor.is_none());
        assert!(unstrung.remarks.iter().any(|remark| remark.contains("never compare")));
    }

    #[test]
    fn pins_the_string_moves_are_not_holding() {
        let not_holding =
            |rest: &str| one(&format!("note,string,sharp_nm,flat_nm\n{rest}\n")).not_holding;
        assert!(not_holding("49,C,5.5,-0.2"), "a negative flat is an observation");
        assert!(not_holding("49,C,2.5,"), "below the string's moment is impossible for a holder");
        assert!(!not_holding("49,C,9,3.2"));
        assert!(!not_holding("49,C,5.6,"), "just under 2M: cannot tell");
        assert!(one("note,string,friction_nm\n49,C,1.0\n").not_holding);
        assert!(!one("note,string,friction_nm\n49,C,5.0\n").not_holding);
        let limit = one("note,string,kind,sharp_nm\n49,C,limit,2\n");
        assert!(!limit.not_holding, "a limit from below proves nothing");
    }

    #[test]
    fn a_torque_without_direction_may_be_any_of_three_frictions() {
        let reading = one("note,string,torque_inlb\n49,C,80.0\n");
        let (friction, moment) = (reading.friction_nm.unwrap(), reading.moment_at_pitch_nm);
        let told = 80.0 * crate::units::NM_PER_INLBF;
        assert!((friction.value - told).abs() < 1e-12);
        // Sharp, friction itself and flat alike likely: a scatter of √(2/3)·M among them.
        assert!(friction.u > (2.0_f64 / 3.0).sqrt() * moment.value);
        let (low, high) = reading.friction_interval_nm.unwrap();
        assert!(low < told - moment.value && high > told + moment.value, "{low} {high}");
        assert!(reading.remarks.iter().any(|remark| remark.starts_with("direction not known")));
        assert_eq!(reading.moment_nm, None);
        // Under the string's moment it cannot have been sharp: no friction is negative.
        let small = one("note,string,torque_nm\n49,C,1.0\n").friction_nm.unwrap();
        assert!((small.value - (1.0 + moment.value / 2.0)).abs() < 1e-12, "{small:?}");
        // Without a string there is nothing to mistake.
        let bare = one("note,string,state,torque_nm\n49,C,unstrung,9.0\n");
        assert!(bare.friction_nm.unwrap().u < 0.6);
    }

    #[test]
    fn friction_alone_is_taken_as_given() {
        let reading = one("note,string,friction_inlb\n49,C,80\n");
        let friction = reading.friction_nm.unwrap();
        assert_eq!(friction.value, 80.0 * crate::units::NM_PER_INLBF);
        assert!((friction.u / friction.value - 0.06).abs() < 0.001);
        assert_eq!((reading.sharp_nm, reading.moment_nm), (None, None));
    }
}
