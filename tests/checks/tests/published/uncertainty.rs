//! Propagation, degrees of freedom, coverage, decisions, risks, agreement.

use pinhold::metrology::agreement::agreement;
use pinhold::metrology::conformity::{Population, Tolerance, conformance_probability, global_risk};
use pinhold::metrology::coverage::{Component, Distribution};
use pinhold::metrology::propagation::{
    Input, Propagated, correlation_of, covariance_of_means, effective_degrees_of_freedom,
    propagate, root_sum_of_squares,
};
use pinhold::metrology::student::{coverage_factor, t_quantile};
use pinhold_checks::Case;

const FULL: &str = "/full_precision";

/// An input listed with its value, standard uncertainty and perhaps degrees of freedom.
fn listed(case: &Case, at: &str, freedom: f64) -> Input {
    let number = |name| case.number(&format!("{at}/{name}"));
    Input { value: number("value"), u: number("u"), degrees_of_freedom: freedom }
}

/// An input given as `name` and `u_name`.
fn named(case: &Case, name: &str, u_name: &str) -> Input {
    let number = |name| case.number(&format!("/inputs/{name}"));
    Input::known(number(name), number(u_name))
}

/// One result of independent inputs.
fn one(inputs: &[Input], sensitivities: Vec<f64>) -> Propagated {
    propagate(inputs, &[sensitivities], None).expect("propagates")
}

fn end_gauge(case: &Case) {
    let freedom = [18.0, 25.6, f64::INFINITY, f64::INFINITY, 50.0, 2.0];
    for (index, freedom) in freedom.iter().enumerate().filter(|(_, freedom)| freedom.is_finite()) {
        assert_eq!(case.number(&format!("/inputs/inputs/{index}/dof")), *freedom);
    }
    let inputs: Vec<Input> = (0..case.count("/inputs/inputs"))
        .map(|index| listed(case, &format!("/inputs/inputs/{index}"), freedom[index]))
        .collect();
    let [l_s, d, alpha_s, theta, d_alpha, d_theta] = [0, 1, 2, 3, 4, 5].map(|i| inputs[i].value);
    let length = l_s + d - l_s * (d_alpha * theta + alpha_s * d_theta);
    let sensitivities = vec![
        1.0 - (d_alpha * theta + alpha_s * d_theta),
        1.0,
        -l_s * d_theta,
        -l_s * d_alpha,
        -l_s * theta,
        -l_s * alpha_s,
    ];
    let got = one(&inputs, sensitivities);
    case.check(length, "/expected/full_precision/l", FULL);
    case.check(got.u[0], "/expected/full_precision/u_c", FULL);
    let freedom = got.degrees_of_freedom[0];
    case.check(freedom, "/expected/full_precision/nu_eff", FULL);
    for (index, contribution) in got.contributions[0].iter().enumerate() {
        let at = |which: &str| format!("/expected/{which}/{index}");
        case.check(contribution.abs(), &at("full_precision/contributions_nm"), FULL);
        // The published ones within 0.1 nm, as the case's rule in words says.
        let published = case.number(&at("published/contributions_nm"));
        assert!((contribution.abs() - published).abs() <= 0.1, "{contribution}");
    }
    let level = case.number("/inputs/coverage");
    let factor = coverage_factor(level, freedom.floor()).expect("a factor");
    case.check(factor, "/expected/full_precision/t99_16", FULL);
    // Rounded to whole nanometres, and the factor to two decimals, as the rule says.
    let published = |name: &str| case.number(&format!("/expected/published/{name}"));
    assert_eq!(length.round(), published("l"));
    assert_eq!(got.u[0].round(), published("u_c"));
    assert_eq!(freedom.floor(), published("nu_eff_truncated"));
    assert_eq!((factor * 100.0).round() / 100.0, published("t99_16"));
    let expanded = (factor * 100.0).round() / 100.0 * got.u[0].round();
    assert_eq!(expanded.round(), published("U99"));
}

fn impedance(case: &Case) {
    let rows = case.rows();
    let series = ["V_volt", "I_mA", "phi_rad"]
        .map(|name| rows.iter().map(|row| row.number(name)).collect::<Vec<f64>>());
    // Milliamperes to amperes scales without changing a correlation.
    let amperes: Vec<f64> = series[1].iter().map(|ma| ma / 1000.0).collect();
    let series = [&series[0][..], &amperes[..], &series[2][..]];
    let inputs = series.map(|values| Input::mean_of(values).expect("observations"));
    let correlation = correlation_of(&covariance_of_means(&series).expect("one length"));
    for (index, input) in inputs.iter().enumerate() {
        let at = |name: &str| format!("/expected/full_precision/{name}/{index}");
        case.check(input.value, &at("means"), FULL);
        case.check(input.u, &at("u_means"), FULL);
    }
    for (name, entry) in
        [("r_VI", correlation[0][1]), ("r_Vphi", correlation[0][2]), ("r_Iphi", correlation[1][2])]
    {
        case.check(entry, &format!("/expected/full_precision/{name}"), FULL);
    }
    let [v, i, phi] = inputs.map(|input| input.value);
    let (z, cosine, sine) = (v / i, phi.cos(), phi.sin());
    let rows = [
        vec![cosine / i, -z * cosine / i, -z * sine],
        vec![sine / i, -z * sine / i, z * cosine],
        vec![1.0 / i, -z / i, 0.0],
    ];
    let got = propagate(&inputs, &rows, Some(&correlation)).expect("propagates");
    for (index, (name, value)) in
        [("R", z * cosine), ("X", z * sine), ("Z", z)].into_iter().enumerate()
    {
        case.check(value, &format!("/expected/full_precision/{name}"), FULL);
        case.check(got.u[index], &format!("/expected/full_precision/u/{index}"), FULL);
        case.check(value, &format!("/expected/published/{name}"), "/published");
        case.check(got.u[index], &format!("/expected/published/u_{name}"), "/published");
    }
    for (full, published, (one, other)) in
        [("r_RX", "r_R_X", (0, 1)), ("r_RZ", "r_R_Z", (0, 2)), ("r_XZ", "r_X_Z", (1, 2))]
    {
        let r = got.correlation(one, other).expect("uncertain results");
        case.check(r, &format!("/expected/full_precision/{full}"), FULL);
        case.check(r, &format!("/expected/published/{published}"), "/published");
    }
}

fn coverage_factors(case: &Case) {
    let rows = case.rows();
    for index in 0..case.count("/inputs/coverage_percent") {
        let percent = case.number(&format!("/inputs/coverage_percent/{index}"));
        for row in &rows {
            let got = coverage_factor(percent / 100.0, row.number("dof")).expect("a factor");
            case.tolerance("").check_printed(got, row.text(&format!("t_p{percent}")));
        }
    }
}

fn degrees_of_freedom(case: &Case) {
    let effective = |which: &str| {
        let list = |name: &str| -> Vec<f64> {
            let at = format!("/inputs/{which}/{name}");
            (0..case.count(&at)).map(|index| case.number(&format!("{at}/{index}"))).collect()
        };
        let contributions = list("contributions");
        let u = root_sum_of_squares(contributions.iter().copied());
        effective_degrees_of_freedom(u, contributions.into_iter().zip(list("dof")))
    };
    for which in ["a", "b"] {
        case.check(effective(which), &format!("/expected/{which}/nu_eff"), "");
    }
    let a = effective("a");
    assert_eq!((a * 10.0).round() / 10.0, case.number("/expected/a/nu_eff_published"));
    assert_eq!(a.floor(), case.number("/expected/a/nu_used_after_truncation"));
}

fn four_inputs(case: &Case) {
    let rectangular = Component::Rectangular { half_width: 3f64.sqrt() };
    for (part, shape) in [(Component::normal(1.0), "gaussian"), (rectangular, "rectangular")] {
        let sum = Distribution::new(0.0, &[part; 4]).expect("a distribution");
        assert!((sum.standard_uncertainty() - case.number("/expected/u_y")).abs() < 1e-12);
        let high = sum.interval(0.95).high;
        case.check(high, &format!("/expected/{shape}_half_width"), "/published");
        case.check(high, &format!("/expected/{shape}_exact"), "/exact");
    }
}

fn conformance(case: &Case) {
    let number = |name: &str| case.number(&format!("/inputs/{name}"));
    let measured =
        Distribution::new(number("y"), &[Component::normal(number("u"))]).expect("a distribution");
    let (low, high) = (number("T_L"), number("T_U"));
    let within = conformance_probability(&measured, Tolerance::between(low, high));
    case.check(within, "/expected/p_conform", "");
    case.check(measured.probability_below(low), "/expected/p_below_T_L", "");
    case.check(1.0 - measured.probability_below(high), "/expected/p_above_T_U", "");
}

fn risks(case: &Case) {
    let number = |name: &str| case.number(&format!("/inputs/{name}"));
    let both = |limit: f64| Tolerance::between(-limit, limit);
    let population = Population { mean: 0.0, sd: number("process_sd"), u: number("test_sd") };
    let got = global_risk(population, both(number("tolerance")), both(number("acceptance")));
    for (name, value) in [("false_accept", got.false_accept), ("false_reject", got.false_reject)] {
        case.check(value, &format!("/expected/published/{name}"), "/published");
        case.check(value, &format!("/expected/full_precision/{name}"), FULL);
    }
}

fn shaft_power(case: &Case) {
    let inputs = [("R", "u_R"), ("F_N", "u_F"), ("L_m", "u_L"), ("t_s", "u_t")]
        .map(|(x, u)| named(case, x, u));
    let [turns, force, arm, time] = inputs.map(|input| input.value);
    let power = 2.0 * std::f64::consts::PI * turns * force * arm / time;
    let got = one(&inputs, vec![power / turns, power / force, power / arm, -power / time]);
    case.check(power, "/expected/power_W", "");
    case.check(got.u[0], "/expected/rss_uncertainty", "");
    let worst = got.contributions[0].iter().map(|part| part.abs()).sum();
    case.check(worst, "/expected/absolute_error", "");
}

fn weight_on_an_arm(case: &Case) {
    let number = |name: &str| case.number(&format!("/inputs/{name}"));
    let mut inputs = [("m_kg", "u_m"), ("L_m", "u_L"), ("g", "u_g"), ("angle_deg", "u_angle_deg")]
        .map(|(x, u)| named(case, x, u));
    inputs[3] = Input::known(inputs[3].value.to_radians(), inputs[3].u.to_radians());
    let [mass, arm, gravity, angle] = inputs.map(|input| input.value);
    let buoyant = 1.0 - number("rho_air") / number("rho_mass");
    let torque = mass * gravity * buoyant * arm * angle.cos();
    let row = vec![torque / mass, torque / arm, torque / gravity, -torque * angle.tan()];
    let got = one(&inputs, row);
    case.check(torque, "/expected/torque_Nm", "");
    case.check(got.u[0], "/expected/u_Nm", "");
    for (index, contribution) in got.contributions[0].iter().enumerate() {
        case.check(contribution.abs(), &format!("/expected/contributions_Nm/{index}"), "");
    }
}

fn two_methods(case: &Case) {
    let pairs: Vec<(f64, f64)> =
        case.rows().iter().map(|row| (row.number("method_a"), row.number("method_b"))).collect();
    let got = agreement(&pairs).expect("pairs");
    let (two, quantile) = (got.limits(2.0), got.limits(1.96));
    for (value, name) in [
        (got.bias, "bias"),
        (got.difference_sd, "sd"),
        (two.0, "limits_2sd/0"),
        (two.1, "limits_2sd/1"),
        (quantile.0, "limits_1.96sd/0"),
        (quantile.1, "limits_1.96sd/1"),
    ] {
        case.check(value, &format!("/expected/full_precision/{name}"), FULL);
    }
    for (value, name) in
        [(got.bias, "bias"), (got.difference_sd, "sd"), (two.0, "limits/0"), (two.1, "limits/1")]
    {
        case.check(value, &format!("/expected/published/{name}"), "/published");
    }
}

fn false_accepts(case: &Case) {
    for row in case.rows() {
        let within = row.number("in_tolerance_probability");
        let sd = 1.0 / t_quantile(0.5 * (1.0 + within), f64::INFINITY).expect("a quantile");
        let tolerance = Tolerance::between(-1.0, 1.0);
        let population = Population { mean: 0.0, sd, u: sd / 4.0 };
        let got = global_risk(population, tolerance, tolerance);
        let limit = case.tolerance("");
        limit.check_printed(100.0 * got.false_accept, row.text("PFA_percent"));
        let conditional = 100.0 * got.false_among_accepted();
        limit.check_printed(conditional, row.text("conditional_PFA_percent"));
    }
}

fn expansion(case: &Case) {
    let inputs = [("L0", "u_L0"), ("L1", "u_L1"), ("T0", "u_T0"), ("T1", "u_T1")]
        .map(|(x, u)| named(case, x, u));
    let [l_0, l_1, t_0, t_1] = inputs.map(|input| input.value);
    let rise = t_1 - t_0;
    let value = (l_1 - l_0) / (l_0 * rise);
    let row = vec![-l_1 / (l_0 * l_0 * rise), 1.0 / (l_0 * rise), value / rise, -value / rise];
    let got = one(&inputs, row);
    for (number, name) in [(value, "value"), (got.u[0], "u")] {
        case.check(number, &format!("/expected/published/{name}"), "/published");
        case.check(number, &format!("/expected/full_precision/{name}"), FULL);
    }
}

fn viscosity(case: &Case) {
    let inputs = ["mu_c", "t_m", "rho_m", "rho_c", "t_c", "rho_b"]
        .map(|name| listed(case, &format!("/inputs/inputs/{name}"), f64::INFINITY));
    let [mu_c, t_m, rho_m, rho_c, t_c, rho_b] = inputs.map(|input| input.value);
    let value = mu_c * t_m * (rho_b - rho_m) / (t_c * (rho_b - rho_c));
    let row = vec![
        value / mu_c,
        value / t_m,
        -value / (rho_b - rho_m),
        value / (rho_b - rho_c),
        -value / t_c,
        value / (rho_b - rho_m) - value / (rho_b - rho_c),
    ];
    let got = one(&inputs, row);
    case.check(value, "/expected/published/value", "/published_value");
    case.check(value, "/expected/full_precision/value", FULL);
    case.check(got.u[0], "/expected/full_precision/u_first_order", FULL);
}

cases! {
    "02_uncertainty":
    "UNC-P01" end_gauge_budget,
        "`metrology::propagation`, `student::coverage_factor` (first order)", end_gauge;
    "UNC-P02" correlated_inputs, "`metrology::propagation`", impedance;
    "UNC-P03" student_coverage_factors, "`metrology::student::coverage_factor`", coverage_factors;
    "UNC-P04" welch_satterthwaite,
        "`metrology::propagation::effective_degrees_of_freedom`", degrees_of_freedom;
    "UNC-P05" four_unit_inputs, "`metrology::coverage::Distribution`", four_inputs;
    "UNC-P06" conformance_of_one_value,
        "`metrology::conformity::conformance_probability`", conformance;
    "UNC-P08" risks_of_a_population, "`metrology::conformity::global_risk`", risks;
    "UNC-P09" power_of_a_shaft, "`metrology::propagation`", shaft_power;
    "UNC-P10" torque_of_a_weight, "`metrology::propagation`", weight_on_an_arm;
    "UNC-P13" agreement_of_two_methods, "`metrology::agreement`", two_methods;
    "UNC-P14" false_accepts_by_prior, "`metrology::conformity::global_risk`", false_accepts;
    "UNC-P15" expansion_coefficient, "`metrology::propagation`", expansion;
    "UNC-P16" falling_ball,
        "`metrology::propagation` (first order: no Monte Carlo of ours)", viscosity;
}
