//! Expected costs, what an observation is worth, and when a trend reaches a limit.

use pinhold::analysis::decision::{Observation, Problem};
use pinhold::analysis::history::crossing::{Crossing, fit_line};
use pinhold::analysis::stats::normal_cdf;
use pinhold_checks::Case;

fn list(case: &Case, pointer: &str) -> Vec<f64> {
    (0..case.count(pointer)).map(|i| case.number(&format!("{pointer}/{i}"))).collect()
}

/// Gains are negative costs. Act, or do nothing.
fn test_first(case: &Case) {
    let gains = list(case, "/inputs/payoff_act");
    let act: Vec<f64> = gains.iter().map(|gain| -gain).collect();
    let nothing = vec![-case.number("/inputs/payoff_nothing"); act.len()];
    let problem = Problem::new(&list(case, "/inputs/prior"), vec![act, nothing]).expect("costs");
    case.check(-problem.expected_costs()[0], "/expected/emv_act", "");
    case.check(problem.perfect_information(), "/expected/evpi", "");
    let names = ["NS", "OS", "CS"];
    let likelihood =
        names.iter().map(|name| list(case, &format!("/inputs/likelihood/{name}"))).collect();
    let cost = case.number("/inputs/test_cost");
    let worth = problem.worth(&Observation { likelihood, cost }).expect("it fits");
    for (name, outcome) in names.iter().zip(&worth.outcomes) {
        case.check(outcome.chance, &format!("/expected/test_result_probability/{name}"), "");
        for (state, chance) in outcome.posterior.iter().enumerate() {
            case.check(*chance, &format!("/expected/posterior/{name}/{state}"), "");
        }
    }
    case.check(-worth.cost_after, "/expected/emv_with_test_gross", "");
    case.check(-worth.cost_after - cost, "/expected/emv_with_test_net", "");
    case.check(worth.gross, "/expected/value_of_sample_information", "");
    // Test, then act unless the sounding shows no structure.
    assert!(worth.net > 0.0);
    let actions: Vec<usize> = worth.outcomes.iter().map(|outcome| outcome.action).collect();
    assert_eq!(actions, [1, 0, 0]);
}

/// States: below the limit, not below. Actions: leave, fit a larger pin.
fn leave_or_repin(case: &Case) {
    for i in 0..case.count("/inputs/cases") {
        let number = |name: &str| case.number(&format!("/inputs/cases/{i}/{name}"));
        let check = |got: f64, name: &str| {
            case.check(got, &format!("/expected/results/{i}/{name}"), "");
        };
        let p_below = normal_cdf((number("limit") - number("torque")) / number("u"));
        check(p_below, "p_below");
        let (miss, needless) = (number("cost_miss"), number("cost_false_repin"));
        let costs = vec![vec![miss, 0.0], vec![0.0, needless]];
        let problem = Problem::new(&[p_below, 1.0 - p_below], costs).expect("costs");
        let expected = problem.expected_costs();
        check(expected[0], "cost_if_left");
        check(expected[1], "cost_if_repinned");
        let repin = case.truth(&format!("/expected/results/{i}/repin"));
        assert_eq!(problem.best().0 == 1, repin, "case {i}");
    }
}

/// A joint table is a prior of equal chances with its likelihoods scaled: the outcomes' chances and
/// posteriors are those of the table's rows.
fn joint_table(case: &Case) {
    let names = ["NS", "OS", "CS"];
    let joint: Vec<Vec<f64>> =
        names.iter().map(|name| list(case, &format!("/inputs/joint/{name}"))).collect();
    let states = joint[0].len();
    let prior: Vec<f64> =
        (0..states).map(|state| joint.iter().map(|row| row[state]).sum()).collect();
    let likelihood =
        joint.iter().map(|row| row.iter().zip(&prior).map(|(j, p)| j / p).collect()).collect();
    let problem = Problem::new(&prior, vec![vec![0.0; states]]).expect("chances");
    let worth = problem.worth(&Observation { likelihood, cost: 0.0 }).expect("it fits");
    for (name, outcome) in names.iter().zip(&worth.outcomes) {
        case.check(outcome.chance, &format!("/expected/marginal/{name}"), "");
        for (state, chance) in outcome.posterior.iter().enumerate() {
            case.check(*chance, &format!("/expected/posterior/{name}/{state}"), "");
        }
    }
}

fn year_of_a_limit(case: &Case) {
    let (years, torque) = (list(case, "/inputs/years"), list(case, "/inputs/torque"));
    let line = fit_line(&years, &torque, 0.0).expect("a line");
    case.check(line.slope, "/expected/slope", "");
    case.check(line.intercept, "/expected/intercept", "");
    case.check(line.residual_sd, "/expected/residual_sd", "");
    let limit = case.number("/inputs/limit");
    case.check(line.time_at(limit).expect("it falls"), "/expected/crossing_year", "");
    let Crossing::Between(low, own, high) = line.falls_to(limit, 5.0, 0.95).expect("a level")
    else {
        panic!("an interval")
    };
    case.check(own, "/expected/crossing_year", "");
    assert!(low < own && own < high);
}

cases! {
    "12_decision_survival":
    "DEC-P01" test_first_then_act, "`analysis::decision`", test_first;
    "DEC-P02" leave_or_fit_a_larger_pin, "`analysis::decision`, `analysis::stats`", leave_or_repin;
    "DEC-P06" year_a_trend_reaches_a_limit, "`analysis::history::crossing`", year_of_a_limit;
    "DEC-P07" posteriors_of_a_joint_table, "`analysis::decision`", joint_table;
}
