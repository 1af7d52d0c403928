//! Against hand-worked sums and a seeded Monte Carlo; the published cases are elsewhere.

use super::*;
use crate::analysis::random::Random;

fn matrix(r: f64) -> Vec<Vec<f64>> {
    vec![vec![1.0, r], vec![r, 1.0]]
}

#[test]
fn correlation_makes_sums_worse_and_differences_better() {
    let inputs = [Input::known(5.0, 0.3), Input::known(4.0, 0.3)];
    let rows = [vec![0.5, 0.5], vec![0.5, -0.5]];
    // Fully common, as a zero error is to both directions: nothing of it in one, all in the other.
    let common = propagate(&inputs, &rows, Some(&matrix(1.0))).unwrap();
    assert!((common.u[0] - 0.3).abs() < 1e-12 && common.u[1] == 0.0);
    assert_eq!(common.correlation(0, 1), None);
    let opposed = propagate(&inputs, &rows, Some(&matrix(-1.0))).unwrap();
    assert!(opposed.u[0] == 0.0 && (opposed.u[1] - 0.3).abs() < 1e-12);
    let apart = propagate(&inputs, &rows, None).unwrap();
    assert!((apart.u[0] - 0.3 / 2f64.sqrt()).abs() < 1e-12);
    assert_eq!(apart.correlation(0, 1), Some(0.0));
}

#[test]
fn a_product_and_a_quotient_agree_with_drawn_ones() {
    let inputs = [Input::known(9.81, 0.02), Input::known(0.25, 0.001)];
    let r = 0.6;
    let models: [fn(&[f64]) -> f64; 2] = [|x| x[0] * x[1], |x| x[0] / x[1]];
    let rows: Vec<Vec<f64>> =
        models.iter().map(|model| sensitivities(&inputs, model).unwrap()).collect();
    assert!((rows[0][0] - 0.25).abs() < 1e-9 && (rows[1][0] - 4.0).abs() < 1e-9);
    let got = propagate(&inputs, &rows, Some(&matrix(r))).unwrap();
    let mut random = Random::new(11);
    let count = 40_000;
    let drawn: Vec<[f64; 2]> = (0..count)
        .map(|_| {
            let (one, other) = (random.normal(), random.normal());
            let mixed = r * one + (1.0 - r * r).sqrt() * other;
            let x = [inputs[0].value + inputs[0].u * one, inputs[1].value + inputs[1].u * mixed];
            [models[0](&x), models[1](&x)]
        })
        .collect();
    let mean = |i: usize| drawn.iter().map(|y| y[i]).sum::<f64>() / f64::from(count);
    let means = [mean(0), mean(1)];
    let covariance = |i: usize, j: usize| {
        drawn.iter().map(|y| (y[i] - means[i]) * (y[j] - means[j])).sum::<f64>() / f64::from(count)
    };
    // 40,000 draws: a standard deviation is known to 0.35 %, a correlation to 0.5 %.
    for i in 0..2 {
        assert!((covariance(i, i).sqrt() / got.u[i] - 1.0).abs() < 0.015, "{i}");
    }
    let drawn_r = covariance(0, 1) / (covariance(0, 0) * covariance(1, 1)).sqrt();
    assert!((drawn_r - got.correlation(0, 1).unwrap()).abs() < 0.02, "{drawn_r}");
}

#[test]
fn degrees_of_freedom_follow_the_part_that_matters() {
    let inputs = [
        Input { value: 0.0, u: 1.0, degrees_of_freedom: 4.0 },
        Input { value: 0.0, u: 1e-3, degrees_of_freedom: 2.0 },
    ];
    let got = propagate(&inputs, &[vec![1.0, 1.0]], None).unwrap();
    assert!((got.degrees_of_freedom[0] - 4.0).abs() < 1e-4);
    // JCGM 100, table G.2: 2.78 at four degrees of freedom and 95 %.
    assert!((got.expanded(0, 0.95).unwrap() - 2.776).abs() < 1e-3);
    assert_eq!((got.expanded(0, 1.0), got.expanded(1, 0.95)), (None, None));
    let known = propagate(&[Input::known(1.0, 0.5)], &[vec![2.0]], None).unwrap();
    assert_eq!(known.degrees_of_freedom[0], f64::INFINITY);
    assert!((known.expanded(0, 0.95).unwrap() - 1.959_964).abs() < 1e-6);
}

#[test]
fn means_of_observations_and_their_covariance_agree() {
    let (one, other) = ([1.0, 2.0, 3.0, 6.0], [2.0, 4.0, 6.0, 12.0]);
    let covariance = covariance_of_means(&[&one, &other]).unwrap();
    let input = Input::mean_of(&one).unwrap();
    assert!((covariance[0][0].sqrt() - input.u).abs() < 1e-12);
    assert!((correlation_of(&covariance)[0][1] - 1.0).abs() < 1e-12);
    assert_eq!((input.value, input.degrees_of_freedom), (3.0, 3.0));
    assert_eq!(Input::mean_of(&[1.0]), None);
    let certain = correlation_of(&covariance_of_means(&[&[1.0, 1.0], &[1.0, 2.0]]).unwrap());
    assert_eq!(certain, [[1.0, 0.0], [0.0, 1.0]]);
}

#[test]
fn what_does_not_fit_is_refused() {
    let inputs = [Input::known(1.0, 0.1), Input::known(1.0, 0.1)];
    let row = [vec![1.0, 1.0]];
    let refused = |inputs: &[Input], row: &[Vec<f64>], matrix: Option<&[Vec<f64>]>| {
        propagate(inputs, row, matrix).unwrap_err()
    };
    assert_eq!(
        refused(&inputs, &[vec![1.0]], None),
        PropagationError::Shape { found: 1, expected: 2 }
    );
    for bad in [1.1, f64::NAN] {
        assert_eq!(
            refused(&inputs, &row, Some(&matrix(bad))),
            PropagationError::Correlation { row: 0, column: 1 }
        );
    }
    let lopsided = [vec![1.0, 0.5], vec![0.4, 1.0]];
    assert!(matches!(
        refused(&inputs, &row, Some(&lopsided)),
        PropagationError::Correlation { .. }
    ));
    for bad in [Input::known(f64::NAN, 0.1), Input::known(1.0, -0.1), Input::known(1.0, f64::NAN)] {
        assert_eq!(refused(&[inputs[0], bad], &row, None), PropagationError::Input { index: 1 });
    }
    assert_eq!(
        sensitivities(&inputs, |x| libm::log(x[1] - 1.0)),
        Err(PropagationError::Model { index: 0 })
    );
    assert_eq!(
        covariance_of_means(&[&[1.0, 2.0], &[1.0]]),
        Err(PropagationError::Shape { found: 1, expected: 2 })
    );
}
