//! Press fits by Lamé, in the simulation: one of the laws that trial pins are judged against.

use pinhold_checks::Case;
use pinhold_sim::press_fit::{Body, contact_pressure, friction_torque};

/// A radius that may be written "infinite".
fn radius(case: &Case, pointer: &str) -> f64 {
    case.maybe_number(pointer).unwrap_or_else(|| {
        assert_eq!(case.text(pointer), "infinite");
        f64::INFINITY
    })
}

fn shrink_fit(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let body = |far| Body { far_radius: input(far), modulus: input("E_MPa"), poisson: input("nu") };
    let (inner, outer) = (body("inner/r_in"), body("outer/r_out"));
    let pressure =
        contact_pressure(inner, outer, input("inner/r_out"), input("radial_interference_mm"));
    case.check(pressure, "/expected/published/contact_pressure_MPa", "/published");
    case.check(pressure, "/expected/formula/contact_pressure_MPa", "/formula");
}

// The pressure is given, the interference asked: pressure goes with it in proportion. Of one
// material the two Poisson's ratios cancel.
fn interference_for_a_pressure(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let body = |far| Body { far_radius: input(far), modulus: input("E_MPa"), poisson: 0.3 };
    let per_mm = contact_pressure(body("r_in"), body("r_out"), input("r_interface"), 1.0);
    let interference_mm = input("pressure_MPa") / per_mm;
    case.check(interference_mm, "/expected/published_mm", "/published_mm");
    case.check(interference_mm, "/expected/radial_interference_mm", "/radial_interference_mm");
}

fn shaft_in_a_hub(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    // One material: its Poisson's ratio cancels.
    let body = |far_radius| Body { far_radius, modulus: input("E_MPa"), poisson: 0.3 };
    let radius_mm = input("d_mm") / 2.0;
    let interference_mm = input("diametral_interference_mm") / 2.0;
    let outer = body(input("D_mm") / 2.0);
    let pressure_mpa = contact_pressure(body(0.0), outer, radius_mm, interference_mm);
    let torque_nmm = friction_torque(pressure_mpa, radius_mm, input("length_mm"), input("mu"));
    for form in ["published", "formula"] {
        let expected = |name| format!("/expected/{form}/{name}");
        case.check(pressure_mpa, &expected("p_MPa"), &format!("/{form}"));
        case.check(torque_nmm / 1000.0, &expected("torque_Nm"), &format!("/{form}"));
    }
}

/// Pressure, MPa, and torque, N·m, of a pin in a block, the block's numbers under a pointer.
fn pin_in_block(case: &Case, at: &str, pin_mm: f64, interference_mm: f64) -> (f64, f64) {
    let input = |name| case.number(&format!("{at}/{name}"));
    let pin = Body { far_radius: 0.0, modulus: input("E_pin_MPa"), poisson: input("nu_pin") };
    let block = Body {
        far_radius: radius(case, &format!("{at}/outer_radius_mm")),
        modulus: input("E_block_MPa"),
        poisson: input("nu_block"),
    };
    let pressure_mpa = contact_pressure(pin, block, pin_mm, interference_mm);
    let length_mm = case.number("/inputs/length_mm");
    let torque = friction_torque(pressure_mpa, pin_mm, length_mm, case.number("/inputs/mu"));
    (pressure_mpa, torque / 1000.0)
}

fn pins_in_blocks(case: &Case) {
    for index in 0..case.count("/inputs/cases") {
        let at = format!("/inputs/cases/{index}");
        let pin_mm = case.number(&format!("{at}/pin_radius_mm"));
        let interference_mm = case.number(&format!("{at}/radial_interference_mm"));
        let (pressure_mpa, torque_nm) = pin_in_block(case, &at, pin_mm, interference_mm);
        case.check(pressure_mpa, &format!("/expected/pressure_MPa/{index}"), "");
        case.check(torque_nm, &format!("/expected/torque_Nm/{index}"), "");
    }
}

fn larger_pin_in_the_same_hole(case: &Case) {
    let hole_mm = case.number("/inputs/hole_radius_mm");
    let of = |name| {
        let pin_mm = case.number(&format!("/inputs/{name}"));
        pin_in_block(case, "/inputs", pin_mm, pin_mm - hole_mm)
    };
    let (old, new) = (of("pin_radius_old_mm"), of("pin_radius_new_mm"));
    case.check(old.0, "/expected/p_old_MPa", "");
    case.check(new.0, "/expected/p_new_MPa", "");
    case.check(old.1, "/expected/T_old_Nm", "");
    case.check(new.1, "/expected/T_new_Nm", "");
    case.check(new.1 / old.1, "/expected/ratio", "");
}

cases! {
    "06_pressfit_torsion":
    "MEC-P01" shrink_fit_of_cylinders,
        "`pinhold_sim::press_fit::contact_pressure` (hoop stress is not ours)", shrink_fit;
    "MEC-P03" interference_that_gives_a_pressure, "`pinhold_sim::press_fit::contact_pressure`",
        interference_for_a_pressure;
    "MEC-P04" shaft_pressed_into_a_hub,
        "`pinhold_sim::press_fit`: `contact_pressure`, `friction_torque` (hoop stress is not ours)",
        shaft_in_a_hub;
    "MEC-P05" steel_pin_in_a_soft_block,
        "`pinhold_sim::press_fit`: `contact_pressure`, `friction_torque`", pins_in_blocks;
    "MEC-P12" a_larger_pin_in_the_same_hole,
        "`pinhold_sim::press_fit`: `contact_pressure`, `friction_torque`",
        larger_pin_in_the_same_hole;
    "MEC-P13" steel_pin_in_other_blocks,
        "`pinhold_sim::press_fit`: `contact_pressure`, `friction_torque`", pins_in_blocks;
}
