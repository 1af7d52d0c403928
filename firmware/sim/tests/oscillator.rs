//! The head's integrator and the grip's two levels against textbook friction oscillators.
//!
//! These check how accurate one millisecond is. They are not the closed forms' own tolerance,
//! which needs event detection that a sampled lever has no use for.

use pinhold_sim::friction::GripParameters;
use pinhold_sim::head::Head;
use pinhold_sim::pin::{Pin, PinParameters};

const PERIOD_S: f64 = 0.001;

/// A pin of given kinetic friction whose shaft has about `stiffness` N·m/rad in all.
fn stiff_pin(friction_nm: f64, ratio: f64, stiffness: f64) -> Pin {
    let base = PinParameters::default();
    let parameters = PinParameters {
        friction_nm,
        // G·J over 40 mm is 512 N·m/rad with steel.
        shear_modulus_pa: base.shear_modulus_pa * stiffness / 512.0,
        grip: GripParameters::two_levels(ratio),
        ..base
    };
    Pin::untwisted(parameters, 0.0)
}

#[test]
fn free_vibration_with_dry_friction_falls_by_four_f_over_k_per_cycle() {
    // Classical: m 1, k 100, F 2, from 0.5: turning points −0.46, 0.42, −0.38, ….
    let mut pin = stiff_pin(2.0, 1.0, 2e5);
    let mut head = Head {
        inertia_kg_m2: 1.0,
        grip_nm_per_rad: 100.0,
        damping_nm_s_per_rad: 0.0,
        angle_rad: 0.0,
        rate_rad_s: 0.0,
        hand_nm: 0.0,
    };
    // The hand jumps to −0.5, which is the same as starting 0.5 away from it.
    let place = -0.5;
    let mut turning_points = Vec::new();
    let mut last_rate = 0.0;
    for _ in 0..4000 {
        head.step(place, 0.0, 0.0, PERIOD_S, |angle| pin.turn(angle, 0.0, PERIOD_S));
        let far = (head.angle_rad - place).abs() > 0.03;
        if last_rate * head.rate_rad_s < 0.0 && far {
            turning_points.push(head.angle_rad - place);
        }
        last_rate = head.rate_rad_s;
    }
    let expected = [-0.46, 0.42, -0.38, 0.34, -0.30, 0.26, -0.22, 0.18];
    for (got, expected) in turning_points.iter().zip(expected) {
        assert!((got - expected).abs() < 2e-3, "{got} for {expected}");
    }
    assert!(turning_points.len() >= expected.len());
}

#[test]
fn two_level_stick_slip_has_the_textbook_period_and_swing() {
    // m 1, k 2, pulled at 0.1, static 1.5, kinetic 1.0: it lets go at 1.5 and stops at 0.5, stick
    // 5.0 s, slip 2.611 s, period 7.611 s (e.g. Rabinowicz).
    let mut pin = stiff_pin(1.0, 1.5, 2e4);
    let mut head = Head {
        inertia_kg_m2: 1.0,
        grip_nm_per_rad: 2.0,
        damping_nm_s_per_rad: 0.0,
        angle_rad: 0.0,
        rate_rad_s: 0.0,
        hand_nm: 0.0,
    };
    let mut breaks: Vec<(f64, f64)> = Vec::new();
    let mut stops: Vec<(f64, f64)> = Vec::new();
    let mut slipping = false;
    let mut slipped_at_s = 0.0;
    for step in 0..60_000 {
        let time_s = f64::from(step) * PERIOD_S;
        let foot_rad = pin.foot_rad();
        head.step(0.1 * time_s, 0.1, 0.0, PERIOD_S, |angle| pin.turn(angle, 0.0, PERIOD_S));
        let moved = pin.foot_rad() != foot_rad;
        if moved && !slipping {
            breaks.push((time_s, head.hand_nm));
        }
        if moved {
            slipped_at_s = time_s;
            slipping = true;
        } else if slipping && time_s - slipped_at_s > 0.05 {
            stops.push((slipped_at_s, head.hand_nm));
            slipping = false;
        }
    }
    // The first stick starts from rest, so it is left out.
    assert!(breaks.len() >= 7 && stops.len() >= 6, "{breaks:?}");
    for (start, stop) in breaks.iter().zip(&stops).skip(1).take(5) {
        assert!((start.1 - 1.5).abs() < 0.015, "lets go at {}", start.1);
        // 0.05 s later the pull has risen by 0.01.
        assert!((stop.1 - 0.51).abs() < 0.015, "stops at {}", stop.1);
        assert!(((stop.0 - start.0) / 2.611_259_254 - 1.0).abs() < 0.01);
    }
    let period_s = (breaks[6].0 - breaks[1].0) / 5.0;
    assert!((period_s / 7.611_259_254 - 1.0).abs() < 0.01, "period {period_s} s");
}
