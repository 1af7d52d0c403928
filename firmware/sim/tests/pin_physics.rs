//! The pin against closed forms: twist, locked-in twist, hysteresis, friction and moment.

use pinhold_sim::NM_PER_INLBF;
use pinhold_sim::friction::{GripParameters, Turn};
use pinhold_sim::pin::{Pin, PinParameters};
use pinhold_sim::torsion::rigidity_nm2;

const PERIOD_S: f64 = 0.001;

fn plain_pin(friction_nm: f64) -> PinParameters {
    PinParameters { friction_nm, grip: GripParameters::two_levels(1.0), ..PinParameters::default() }
}

/// Turns the tip until the foot has moved by `slip_rad`; the tip angle and torque of each step.
fn turn_until(pin: &mut Pin, from_rad: f64, turn: Turn, moment_nm: f64, slip_rad: f64) -> f64 {
    let foot_rad = pin.foot_rad();
    let mut tip_rad = from_rad;
    for _ in 0..200_000 {
        tip_rad += turn.sign() * 2e-6;
        pin.turn(tip_rad, moment_nm, PERIOD_S);
        if turn.sign() * (pin.foot_rad() - foot_rad) > slip_rad {
            return tip_rad;
        }
    }
    panic!("the foot never moved");
}

#[test]
fn head_twist_at_breakaway_is_the_derived_one() {
    // DER: 7.16 mm pin, G 79.3 GPa, 25 mm free and half of 30 mm embedded, T·L/(G·J).
    for (torque_inlbf, twist_deg) in [(50.0, 0.63), (100.0, 1.27), (150.0, 1.90), (200.0, 2.53)] {
        let parameters =
            PinParameters { diameter_m: 0.00716, ..plain_pin(torque_inlbf * NM_PER_INLBF) };
        let mut pin = Pin::untwisted(parameters, 0.0);
        let tip_rad = turn_until(&mut pin, 0.0, Turn::Sharp, 0.0, 0.0);
        let rounded = (tip_rad.to_degrees() * 100.0).round() / 100.0;
        assert_eq!(rounded, twist_deg, "at {torque_inlbf} in·lbf");
    }
}

#[test]
fn twist_locked_in_depends_on_the_last_direction_as_derived() {
    // DER: between a sharp and a flat stroke, Lₑ(F² − M²)/(2FGJ) at the same zero torque.
    let rigidity = rigidity_nm2(PinParameters::default().shear_modulus_pa, 0.007_163);
    for (friction_nm, moment_nm) in [(6.0, 3.0), (10.0, 3.0), (15.0, 3.0), (8.0, 0.0)] {
        let mut pin = Pin::untwisted(plain_pin(friction_nm), 0.0);
        let mut twist_rad = [0.0; 2];
        for (index, turn) in [Turn::Sharp, Turn::Flat].into_iter().enumerate() {
            let start_rad = pin.coil_rad();
            turn_until(&mut pin, start_rad, turn, moment_nm, 1e-3);
            pin.leave(moment_nm, PERIOD_S);
            twist_rad[index] = pin.coil_rad() - pin.foot_rad();
        }
        let (f, m) = (friction_nm, moment_nm);
        let expected_rad = 0.030 * (f * f - m * m) / (2.0 * f * rigidity);
        let got_rad = twist_rad[0] - twist_rad[1];
        // Ten elements stand for a continuum: within 2 %.
        let error = got_rad / expected_rad - 1.0;
        assert!(error.abs() < 0.02, "F {f} M {m}: {error:+.4} of {}", expected_rad.to_degrees());
    }
}

#[test]
fn knee_is_rounded_from_the_top_down() {
    // The ramp's local stiffness falls from the free part's to the whole pin's before the foot
    // moves: G·J over 25 mm at first, over 55 mm at last.
    let parameters = plain_pin(10.0);
    let rigidity = rigidity_nm2(parameters.shear_modulus_pa, parameters.diameter_m);
    let mut pin = Pin::untwisted(parameters, 0.0);
    let step_rad = 2e-6;
    let mut torques = vec![0.0];
    let mut tip_rad = 0.0;
    while pin.foot_rad() == 0.0 {
        tip_rad += step_rad;
        torques.push(pin.turn(tip_rad, 0.0, PERIOD_S));
    }
    let stiffness =
        |from: usize, to: usize| (torques[to] - torques[from]) / ((to - from) as f64 * step_rad);
    let count = torques.len() - 2;
    let first = stiffness(0, 100);
    let last = stiffness(count - 100, count);
    // The first element sits half a spacing down, the last half a spacing above the end.
    assert!((first / (rigidity / 0.0265) - 1.0).abs() < 1e-6, "{first}");
    assert!((last / (rigidity / 0.0535) - 1.0).abs() < 1e-6, "{last}");
}

#[test]
fn running_torques_give_friction_and_moment_exactly_without_bearing_friction() {
    // DER: turning sharp takes F + M, flat F − M.
    for (friction_nm, moment_nm) in [(9.5, 2.5), (9.3, 0.2), (3.8, 2.4), (2.0, 2.9), (12.0, 5.0)] {
        let mut pin = Pin::untwisted(plain_pin(friction_nm), 0.0);
        let mut running_nm = [0.0; 2];
        let mut tip_rad = 0.0;
        for (index, turn) in [Turn::Flat, Turn::Sharp].into_iter().enumerate() {
            tip_rad = turn_until(&mut pin, tip_rad, turn, moment_nm, 5e-3);
            running_nm[index] = turn.sign() * pin.turn(tip_rad, moment_nm, PERIOD_S);
        }
        let [flat_nm, sharp_nm] = running_nm;
        assert!(((sharp_nm + flat_nm) / 2.0 - friction_nm).abs() < 1e-9);
        assert!(((sharp_nm - flat_nm) / 2.0 - moment_nm).abs() < 1e-9);
    }
}

#[test]
fn rigid_pin_loses_four_friction_times_amplitude_per_cycle() {
    // Rate-independent limit: 4·F·A = 0.8 J for F 2 N·m and A 0.1 rad.
    let parameters = PinParameters { shear_modulus_pa: 1e30, ..plain_pin(2.0) };
    let mut pin = Pin::untwisted(parameters, 0.0);
    let steps = 1000;
    let mut tip_rad = 0.0;
    let mut work_j = 0.0;
    for (cycle, goal_rad) in [0.1, -0.1, 0.1].into_iter().enumerate() {
        let step_rad = (goal_rad - tip_rad) / f64::from(steps);
        for _ in 0..steps {
            tip_rad += step_rad;
            let torque_nm = pin.turn(tip_rad, 0.0, PERIOD_S);
            if cycle > 0 {
                work_j += torque_nm * step_rad;
            }
        }
    }
    assert!((work_j / 0.8 - 1.0).abs() < 1e-9, "{work_j} J");
}

#[test]
fn no_element_ever_carries_more_than_its_friction() {
    // Whatever the path, torque into the plank stays within the pin's limit.
    let mut pin = Pin::as_tuned(PinParameters::default(), 0.002, 3.0);
    let mut tip_rad = 0.0;
    for step in 0..40_000 {
        let phase = f64::from(step) * 0.001;
        let wanted_rad = 0.05 * libm::sin(phase) + 0.01 * libm::sin(7.3 * phase);
        tip_rad += (wanted_rad - tip_rad).clamp(-1e-4, 1e-4);
        let limit_nm = [pin.limit_nm(Turn::Flat), pin.limit_nm(Turn::Sharp)];
        let top_nm = pin.turn(tip_rad, 3.0, PERIOD_S) - 3.0;
        assert!(top_nm <= limit_nm[1] + 1e-9 && top_nm >= -limit_nm[0] - 1e-9);
    }
}

#[test]
fn play_is_crossed_without_torque() {
    let gap_rad = 0.1_f64.to_radians();
    let mut pin = Pin::as_tuned(PinParameters::default(), gap_rad, 3.0);
    let rest_rad = pin.tip_at_rest_rad();
    for share in [-0.45, -0.2, 0.0, 0.3, 0.45] {
        assert_eq!(pin.turn(rest_rad + share * gap_rad, 3.0, PERIOD_S), 0.0);
    }
    assert!(pin.turn(rest_rad + 0.6 * gap_rad, 3.0, PERIOD_S) > 0.0);
    assert!(pin.turn(rest_rad - 0.6 * gap_rad, 3.0, PERIOD_S) < 0.0);
}

#[test]
fn a_pin_that_cannot_hold_runs_flat_when_left() {
    let mut pin = Pin::untwisted(plain_pin(2.0), 0.0);
    let before_rad = pin.foot_rad();
    for _ in 0..10 {
        pin.leave(2.9, PERIOD_S);
    }
    assert!(pin.foot_rad() < before_rad);
    let mut holding = Pin::untwisted(plain_pin(4.0), 0.0);
    holding.leave(2.9, PERIOD_S);
    assert_eq!(holding.foot_rad(), 0.0);
}
