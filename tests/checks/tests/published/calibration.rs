//! Fits, the way back from a reading, analysis of variance, summaries, a torque cell's terms.
//!
//! A little long: the published cases of one topic, one test each.

use pinhold::metrology::anova::one_way;
use pinhold::metrology::errors_in_both::{UncertainPoint, fit_distance_line};
use pinhold::metrology::inverse::{decision_limit, fieller_interval, place_of};
use pinhold::metrology::least_squares::{Fit, Observations, Scatter};
use pinhold::metrology::polynomial::{PolynomialFit, Powers, fit_polynomial};
use pinhold::metrology::summary::summarise;
use pinhold::metrology::transducer::{UpDownRun, transducer_terms};
use pinhold_checks::Case;

/// Digits a certified fit is reached to, whatever its file tolerates.
const CERTIFIED_DIGIT_COUNT: i32 = 9;

fn column(case: &Case, name: &str) -> Vec<f64> {
    case.rows().iter().map(|row| row.number(name)).collect()
}

/// A fit of equal weights to two columns of the case's table.
fn fitted(case: &Case, x: &str, y: &str, powers: Powers) -> PolynomialFit {
    let values = column(case, y);
    fit_polynomial(&column(case, x), Observations::equal(&values), powers).expect("fits")
}

fn line(case: &Case, x: &str, y: &str) -> PolynomialFit {
    fitted(case, x, y, Powers::UpTo(1))
}

/// Two-sided half width of an interval about a value with this standard uncertainty.
fn half_width(curve: &PolynomialFit, u: f64, level: f64) -> f64 {
    curve.coverage_factor(level).expect("a level") * u
}

/// Within the case's tolerance, and equal to the certified value in nine digits.
fn certified(case: &Case, got: f64, expected: &str) {
    case.check(got, expected, "/all");
    let want = case.number(expected);
    let limit = 0.5 * 10_f64.powi(1 - CERTIFIED_DIGIT_COUNT);
    assert!(((got - want) / want).abs() < limit, "{expected}: {got:e} is not {want:e}");
}

fn certified_coefficients(case: &Case, fit: &Fit, first_power: usize) {
    let errors = fit.standard_errors();
    for (index, coefficient) in fit.coefficients.iter().enumerate() {
        let power = index + first_power;
        certified(case, *coefficient, &format!("/expected/b{power}"));
        certified(case, errors[index], &format!("/expected/sd_b{power}"));
    }
    certified(case, fit.residual_sd, "/expected/residual_sd");
}

fn pontius(case: &Case) -> PolynomialFit {
    fitted(case, "load_x", "deflection_y", Powers::UpTo(2))
}

fn load_cell(case: &Case) {
    let fit = pontius(case).fit;
    certified_coefficients(case, &fit, 0);
    certified(case, fit.r_squared, "/expected/r_squared");
}

fn load_from_deflection(case: &Case) {
    let curve = pontius(case);
    let one_u = curve.mean_variance(1).sqrt();
    let place = place_of(&curve, case.number("/inputs/new_reading"), one_u).expect("in range");
    case.check(place.x, "/expected/load", "/load");
    case.check(place.u_curve, "/expected/u_from_curve_only", "/u_from_curve_only");
    case.check(place.u, "/expected/u_including_one_reading", "/u_including_one_reading");
}

fn ozone(case: &Case) {
    let fit = line(case, "x", "y").fit;
    certified_coefficients(case, &fit, 0);
    certified(case, fit.r_squared, "/expected/r_squared");
    certified(case, fit.residual_ss, "/expected/residual_ss");
    // With one slope, F of the regression is its t squared.
    let t = fit.coefficients[1] / fit.standard_errors()[1];
    certified(case, t * t, "/expected/f_statistic");
}

fn through_the_origin(case: &Case) {
    let fit = fitted(case, "x", "y", Powers::FirstOnly).fit;
    certified_coefficients(case, &fit, 1);
    certified(case, fit.r_squared, "/expected/r_squared_uncentred");
}

fn thermometer(case: &Case) {
    // The model counts from 20 °C.
    let x: Vec<f64> = column(case, "reading_t_degC").iter().map(|t| t - 20.0).collect();
    let values = column(case, "correction_b_degC");
    let curve = fit_polynomial(&x, Observations::equal(&values), Powers::UpTo(1)).expect("fits");
    let at = case.number("/inputs/predict_at_t") - 20.0;
    let (fit, errors) = (&curve.fit, curve.fit.standard_errors());
    let got = [
        ("y1", fit.coefficients[0]),
        ("u_y1", errors[0]),
        ("y2", fit.coefficients[1]),
        ("u_y2", errors[1]),
        ("r_y1_y2", fit.correlation(0, 1).expect("two coefficients")),
        ("s", fit.residual_sd),
        ("b_at_30", curve.value_at(at)),
        ("u_b_at_30", curve.value_u(at)),
    ];
    for (name, value) in got {
        case.check(value, &format!("/expected/published/{name}"), "/published");
        case.check(value, &format!("/expected/full_precision/{name}"), "/full_precision");
    }
    case.check(fit.dof(), "/expected/published/dof", "/published");
}

fn known_scatter(case: &Case) {
    let (values, u) = (column(case, "y"), column(case, "u_y"));
    let mut weights = Vec::new();
    let known = Observations::with_known_u(&values, &u, &mut weights).expect("above zero");
    let curve = fit_polynomial(&column(case, "x"), known, Powers::UpTo(1)).expect("fits");
    let (reading, reading_u) = (case.number("/inputs/new_y"), case.number("/inputs/u_new_y"));
    let place = place_of(&curve, reading, reading_u).expect("rises");
    let (fit, errors) = (&curve.fit, curve.fit.standard_errors());
    let got = [
        ("a", "a", fit.coefficients[0]),
        ("b", "b", fit.coefficients[1]),
        ("u_a", "u_a", errors[0]),
        ("u_b", "u_b", errors[1]),
        ("cov", "cov_ab", fit.covariance[0][1]),
        ("chi2", "chi_squared", fit.residual_ss),
        ("x", "x", place.x),
        ("u_x", "u_x", place.u),
    ];
    for (published, full, value) in got {
        case.check(value, &format!("/expected/published/{published}"), "/published");
        case.check(value, &format!("/expected/full_precision/{full}"), "/full_precision");
    }
}

fn both_uncertain(case: &Case) {
    let point = |row: &pinhold_checks::Row| UncertainPoint {
        x: row.number("x"),
        x_u: row.number("u_x"),
        y: row.number("y"),
        y_u: row.number("u_y"),
    };
    let points: Vec<UncertainPoint> = case.rows().iter().map(point).collect();
    let line = fit_distance_line(&points).expect("fits");
    let [a, b] = line.coefficients;
    let got = [
        ("a", a),
        ("b", b),
        ("u_a", line.covariance[0][0].sqrt()),
        ("u_b", line.covariance[1][1].sqrt()),
        ("cov_ab", line.covariance[0][1]),
        ("chi2", line.chi_squared),
    ];
    for (name, value) in got {
        let tolerance = format!("/published/{name}");
        case.check(value, &format!("/expected/published/{name}"), &tolerance);
    }
    for (name, value) in [("a", a), ("b", b), ("chi_squared", line.chi_squared)] {
        case.check(value, &format!("/expected/full_precision/{name}"), "/full_precision");
    }
}

fn modulus(case: &Case) {
    let curve = line(case, "temperature_degC", "young_modulus_kg_mm2");
    let fit = &curve.fit;
    // The places stand in the names of the expected values.
    let got = [
        ("b0", fit.coefficients[0]),
        ("b1", fit.coefficients[1]),
        ("var_b0", fit.covariance[0][0]),
        ("var_b1", fit.covariance[1][1]),
        ("residual_sd", fit.residual_sd),
        ("var_mean_at_x_1200", curve.value_u(1200.0).powi(2)),
        ("var_new_reading_at_x_750", curve.new_mean_u(750.0, 1).powi(2)),
    ];
    for (name, value) in got {
        case.check(value, &format!("/expected/{name}"), &format!("/{name}"));
    }
}

fn repeats_read_backwards(case: &Case) {
    let curve = line(case, "x", "y");
    let level = case.number("/inputs/confidence");
    for name in ["one_reading_15", "one_reading_90", "five_readings_90"] {
        let count = case.count(&format!("/inputs/readings/{name}"));
        let reading = |index| case.number(&format!("/inputs/readings/{name}/{index}"));
        let readings: Vec<f64> = (0..count).map(reading).collect();
        let mean = summarise(&readings).expect("readings").mean;
        let mean_u = curve.mean_variance(count as u32).sqrt();
        let place = place_of(&curve, mean, mean_u).expect("rises");
        let half = half_width(&curve, place.u, level);
        let expected = |what: &str| format!("/expected/{name}/{what}");
        case.check(place.x, &expected("x_published"), "/published");
        case.check(half, &expected("ci95_half_width_published"), "/published");
        case.check(place.x, &expected("x"), "/others");
        case.check(place.u, &expected("se_x"), "/others");
        case.check(half, &expected("ci95_half_width"), "/others");
    }
}

fn limit_of_decision(case: &Case) {
    let curve = line(case, "x", "y");
    let alpha = case.number("/inputs/alpha");
    let limit = decision_limit(&curve, alpha).expect("rises");
    let one_u = curve.mean_variance(1).sqrt();
    let place = place_of(&curve, case.number("/inputs/reading"), one_u).expect("rises");
    let half = half_width(&curve, place.u, 1.0 - alpha);
    case.check(limit, "/expected/published/decision_limit", "/published");
    case.check(limit, "/expected/published/decision_limit_4dp", "/published");
    case.check(half, "/expected/published/ci99_half_width_at_3500", "/published");
    case.check(limit, "/expected/full_precision/decision_limit", "/full_precision");
    case.check(place.x, "/expected/full_precision/x_at_3500", "/full_precision");
    let expected = "/expected/full_precision/ci99_half_width_at_3500";
    case.check(half, expected, "/full_precision");
}

fn fieller(case: &Case) {
    let curve = line(case, "true_temp", "reading");
    for name in ["y104", "y100"] {
        let input = |what: &str| case.number(&format!("/inputs/cases/{name}/{what}"));
        let (reading, level) = (input("reading"), input("level"));
        let (low, high) = fieller_interval(&curve, reading, 1, level).expect("bounded");
        let place = place_of(&curve, reading, 0.0).expect("rises");
        let got = [("x", place.x), ("interval/0", low), ("interval/1", high)];
        for (what, value) in got {
            let published = what.replace("interval", "interval_published");
            let published = published.replace('x', "x_published");
            case.check(value, &format!("/expected/{name}/{published}"), "/published");
            case.check(value, &format!("/expected/{name}/{what}"), "/others");
        }
    }
}

fn evaporation(case: &Case) {
    // The level stands in the names of the expected values.
    let curve = line(case, "air_velocity_cm_s", "evaporation_mm2_s");
    let (fit, errors) = (&curve.fit, curve.fit.standard_errors());
    let at = case.number("/inputs/at_x");
    let interval = |value: f64, u: f64| {
        let half = half_width(&curve, u, 0.95);
        [value - half, value + half]
    };
    let constant = interval(fit.coefficients[0], errors[0]);
    let mean = interval(curve.value_at(at), curve.value_u(at));
    let new = interval(curve.value_at(at), curve.new_mean_u(at, 1));
    let published = [
        ("b0", fit.coefficients[0]),
        ("b1", fit.coefficients[1]),
        ("ci95_b0/0", constant[0]),
        ("ci95_b0/1", constant[1]),
        ("mean_at_190_ci/0", mean[0]),
        ("mean_at_190_ci/1", mean[1]),
        ("prediction_at_190/0", new[0]),
        ("prediction_at_190/1", new[1]),
        ("t_slope", fit.coefficients[1] / errors[1]),
        ("sse", fit.residual_ss),
    ];
    for (name, value) in published {
        case.check(value, &format!("/expected/published/{name}"), "/published");
    }
    let full_precision = [
        ("b0", fit.coefficients[0]),
        ("b1", fit.coefficients[1]),
        ("s", fit.residual_sd),
        ("ci95_b0/0", constant[0]),
        ("ci95_b0/1", constant[1]),
        ("fit_at_190", curve.value_at(at)),
        ("ci95_mean/0", mean[0]),
        ("ci95_mean/1", mean[1]),
        ("pi95/0", new[0]),
        ("pi95/1", new[1]),
    ];
    for (name, value) in full_precision {
        case.check(value, &format!("/expected/full_precision/{name}"), "/full_precision");
    }
}

fn hard_summaries(case: &Case) {
    let list = |pointer: &str| -> Vec<f64> {
        let at = |index| case.number(&format!("{pointer}/{index}"));
        (0..case.count(pointer)).map(at).collect()
    };
    // The input's name says how often the pair is repeated.
    let pair = list("/inputs/NumAcc2/then_repeat_500_times");
    let second = [vec![case.number("/inputs/NumAcc2/first")], pair.repeat(500)].concat();
    for (name, readings) in [("NumAcc1", list("/inputs/NumAcc1/values")), ("NumAcc2", second)] {
        let summary = summarise(&readings).expect("readings");
        let got =
            [("mean", summary.mean), ("sd", summary.sd), ("autocorr1", summary.autocorrelation)];
        for (what, value) in got {
            case.check(value, &format!("/expected/{name}/{what}"), &format!("/{what}"));
        }
    }
}

fn resistances(case: &Case) {
    let group_count = case.number("/inputs/groups") as usize;
    let mut groups = vec![Vec::new(); group_count];
    for row in case.rows() {
        groups[row.number("group") as usize - 1].push(row.number("value"));
    }
    let count: usize = groups.iter().map(Vec::len).sum();
    assert_eq!(count as f64, case.number("/inputs/n"));
    let result = one_way(&groups).expect("groups");
    case.check(result.between_ss, "/expected/ss_between", "");
    case.check(result.within_ss, "/expected/ss_within", "");
    case.check(result.test.f, "/expected/F", "");
    case.check(result.r_squared, "/expected/r_squared", "");
    case.check(result.within_sd(), "/expected/residual_sd", "");
}

fn up_and_down(case: &Case) {
    let list = |name: &str| -> Vec<f64> {
        let pointer = format!("/inputs/{name}");
        let at = |index| case.number(&format!("{pointer}/{index}"));
        (0..case.count(&pointer)).map(at).collect()
    };
    let (loads, up, down) = (list("torque_Nm"), list("up_mV_per_V"), list("down_mV_per_V"));
    let run = UpDownRun { loads: &loads, up: &up, down: &down };
    let terms = transducer_terms(run).expect("a run");
    let got = [
        ("nonlinearity_terminal_percent_FS", 100.0 * terms.terminal_nonlinearity),
        ("hysteresis_percent_FS", 100.0 * terms.hysteresis),
        ("zero_return_percent_FS", 100.0 * terms.zero_return),
        ("best_fit/slope", terms.best_line[1]),
        ("best_fit/intercept", terms.best_line[0]),
        ("best_fit/max_residual", terms.best_line_residual),
    ];
    for (name, value) in got {
        case.check(value, &format!("/expected/{name}"), "");
    }
}

fn hard_polynomial(case: &Case) {
    let fit = fitted(case, "x", "y", Powers::UpTo(5)).fit;
    assert_eq!(fit.coefficients.len(), case.count("/expected/b"));
    for (index, error) in fit.standard_errors().into_iter().enumerate() {
        case.check(fit.coefficients[index], &format!("/expected/b/{index}"), "/b");
        case.check(error, &format!("/expected/sd_b/{index}"), "/sd_b");
    }
    case.check(fit.residual_sd, "/expected/residual_sd", "/residual_sd");
    case.check(fit.r_squared, "/expected/r_squared", "/residual_sd");
}

/// Rounds to this many decimals, as the case's title says its weights were.
fn to_decimals(value: f64, count: usize) -> f64 {
    format!("{value:.count$}").parse().expect("a number")
}

fn weighted_backwards(case: &Case) {
    let mut levels: Vec<(f64, Vec<f64>)> = Vec::new();
    for row in case.rows() {
        let (x, y) = (row.number("x"), row.number("y"));
        match levels.iter_mut().find(|level| level.0 == x) {
            Some(level) => level.1.push(y),
            None => levels.push((x, vec![y])),
        }
    }
    let x: Vec<f64> = levels.iter().map(|level| level.0).collect();
    let summaries = levels.iter().map(|level| summarise(&level.1).expect("readings"));
    let (means, weights): (Vec<f64>, Vec<f64>) = summaries
        .map(|summary| {
            let sd = to_decimals(summary.sd, 2);
            (summary.mean, to_decimals(1.0 / (sd * sd), 3))
        })
        .unzip();
    let observations =
        Observations { values: &means, weights: Some(&weights), scatter: Scatter::FromResiduals };
    let curve = fit_polynomial(&x, observations, Powers::UpTo(1)).expect("fits");
    for name in ["y15", "y90"] {
        let input = |what: &str| case.number(&format!("/inputs/readings/{name}/{what}"));
        let reading_u = (curve.mean_variance(1) / input("weight")).sqrt();
        let place = place_of(&curve, input("y"), reading_u).expect("rises");
        let half = half_width(&curve, place.u, case.number("/inputs/confidence"));
        let expected = |what: &str| format!("/expected/{name}/{what}");
        case.check(place.x, &expected("x_published"), "/published");
        case.check(half, &expected("ci95_published"), "/published");
        case.check(place.x, &expected("x"), "/others");
        case.check(place.u, &expected("se_x"), "/others");
        case.check(half, &expected("ci95"), "/others");
    }
}

fn cadmium(case: &Case) {
    let curve = line(case, "concentration", "absorbance");
    let count = case.count("/inputs/readings");
    let reading = |index| case.number(&format!("/inputs/readings/{index}"));
    let readings: Vec<f64> = (0..count).map(reading).collect();
    let mean = summarise(&readings).expect("readings").mean;
    let place = place_of(&curve, mean, curve.mean_variance(count as u32).sqrt()).expect("rises");
    case.check(place.x, "/expected/published/x", "/published");
    case.check(place.u, "/expected/published/u_x", "/published");
    let got = [
        ("b0", curve.fit.coefficients[0]),
        ("b1", curve.fit.coefficients[1]),
        ("x", place.x),
        ("u_x", place.u),
    ];
    for (name, value) in got {
        case.check(value, &format!("/expected/full_precision/{name}"), "/full_precision");
    }
}

cases! {
    "01_calibration":
    "CAL-P01" load_cell_quadratic, "`metrology::polynomial::fit_polynomial`", load_cell;
    "CAL-P02" load_cell_backwards, "`metrology::inverse::place_of`", load_from_deflection;
    "CAL-P03" straight_line, "`metrology::polynomial::fit_polynomial`", ozone;
    "CAL-P04" line_through_the_origin, "`metrology::polynomial::fit_polynomial`",
        through_the_origin;
    "CAL-P05" thermometer_line, "`metrology::polynomial`: fit, value and uncertainty", thermometer;
    "CAL-P06" line_of_known_scatter, "`metrology::polynomial`, `metrology::inverse::place_of`",
        known_scatter;
    "CAL-P07" line_uncertain_both_ways, "`metrology::errors_in_both::fit_distance_line`",
        both_uncertain;
    "CAL-P08" line_worked_by_hand, "`metrology::polynomial`: fit, value and uncertainty", modulus;
    "CAL-P09" repeats_backwards,
        "`metrology::inverse::place_of`, `metrology::student::coverage_factor`",
        repeats_read_backwards;
    "CAL-P10" decision, "`metrology::inverse`: `decision_limit`, `place_of`", limit_of_decision;
    "CAL-P11" fiellers_interval, "`metrology::inverse::fieller_interval`", fieller;
    "CAL-P12" confidence_and_prediction,
        "`metrology::polynomial`: fit, value and uncertainty", evaporation;
    "CAL-P13" summaries_on_an_offset, "`metrology::summary::summarise`", hard_summaries;
    "CAL-P14" one_way_analysis, "`metrology::anova::one_way`", resistances;
    "CAL-P16" terms_of_a_torque_cell, "`metrology::transducer::transducer_terms`", up_and_down;
    "CAL-P18" fifth_degree, "`metrology::polynomial::fit_polynomial`", hard_polynomial;
    "CAL-P19" weighted_line_backwards,
        "`metrology::polynomial`, `metrology::inverse::place_of`", weighted_backwards;
    "CAL-P20" triplicates_backwards, "`metrology::inverse::place_of`", cadmium;
}
