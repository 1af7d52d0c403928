//! Elastic twist of the pin, in the simulation, and the wire's friction over its bearing.

use pinhold::instrument::strings::bearing_tension_ratio;
use pinhold_checks::Case;
use pinhold_sim::torsion::{rigidity_nm2, twist_rad};

// Any consistent set of units will do: inches and pounds here.
fn solid_bar(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let rigidity = rigidity_nm2(input("G_psi"), input("d_in"));
    let twist_deg = twist_rad(input("T_lbf_in"), input("L_in"), rigidity).to_degrees();
    case.check(twist_deg, "/expected/published/twist_deg", "/published");
    case.check(twist_deg, "/expected/formula/twist_deg", "/formula");
    let stiffness = rigidity / input("L_in");
    case.check(stiffness, "/expected/formula/stiffness_lbf_in_per_rad", "/formula");
}

fn two_segments(case: &Case) {
    let rigidity = rigidity_nm2(case.number("/inputs/G_Pa"), case.number("/inputs/d_m"));
    let twist: f64 = (0..case.count("/inputs/segments"))
        .map(|index| {
            let input = |name| case.number(&format!("/inputs/segments/{index}/{name}"));
            twist_rad(input("T_Nm"), input("L_m"), rigidity)
        })
        .sum();
    case.check(twist, "/expected/published/twist_BD_rad", "/published");
    case.check(twist, "/expected/formula/twist_BD_rad", "/formula");
}

fn driven_shaft(case: &Case) {
    let input = |name| case.number(&format!("/inputs/{name}"));
    let rigidity = rigidity_nm2(input("G_Pa"), input("d_m"));
    let rate_rad_s = core::f64::consts::TAU * input("rev_per_s");
    let twist = twist_rad(input("P_AB_W") / rate_rad_s, input("L_AB_m"), rigidity)
        + twist_rad(input("P_BC_W") / rate_rad_s, input("L_BC_m"), rigidity);
    case.check(twist.to_degrees(), "/expected/published/twist_deg", "/published");
    case.check(twist.to_degrees(), "/expected/formula/twist_deg", "/formula");
}

fn free_part_of_a_pin(case: &Case) {
    for index in 0..case.count("/inputs/cases") {
        let input = |name| case.number(&format!("/inputs/cases/{index}/{name}"));
        let rigidity = rigidity_nm2(case.number("/inputs/G_Pa"), input("d_m"));
        let stiffness = rigidity / input("free_length_m");
        case.check(stiffness, &format!("/expected/stiffness_Nm_per_rad/{index}"), "");
        let torque_nm = case.number("/inputs/torque_Nm");
        let twist = twist_rad(torque_nm, input("free_length_m"), rigidity);
        case.check(twist.to_degrees(), &format!("/expected/windup_deg/{index}"), "");
    }
}

fn bearing_friction(case: &Case) {
    for coefficient in 0..case.count("/inputs/mu") {
        for wrap in 0..case.count("/inputs/wrap_deg") {
            let mu = case.number(&format!("/inputs/mu/{coefficient}"));
            let wrap_deg = case.number(&format!("/inputs/wrap_deg/{wrap}"));
            let got = bearing_tension_ratio(mu, wrap_deg.to_radians());
            case.check(got, &format!("/expected/ratio/{coefficient}/{wrap}"), "");
        }
    }
}

cases! {
    "06_pressfit_torsion":
    "MEC-P06" solid_bar_in_torsion,
        "`pinhold_sim::torsion`: `rigidity_nm2`, `twist_rad` (shear stress is not ours)",
        solid_bar;
    "MEC-P07" shaft_of_two_segments,
        "`pinhold_sim::torsion`: `rigidity_nm2`, `twist_rad` (shear stress is not ours)",
        two_segments;
    "MEC-P08" shaft_with_two_takeoffs, "`pinhold_sim::torsion`: `rigidity_nm2`, `twist_rad`",
        driven_shaft;
    "MEC-P09" wind_up_of_a_pin, "`pinhold_sim::torsion`: `rigidity_nm2`, `twist_rad`",
        free_part_of_a_pin;
    "MEC-P11" capstan_relation, "`instrument::strings::bearing_tension_ratio`", bearing_friction;
}
