//! Against closed forms, and against quadrature of closed forms where there is none.

use std::f64::consts::PI;

use super::*;
use crate::analysis::random::Random;
use crate::metrology::student::{t_cdf, t_quantile};

/// What the module promises.
const PROBABILITY_TOLERANCE: f64 = 1e-4;

fn density(t: f64, freedom: f64) -> f64 {
    let log = libm::lgamma(0.5 * (freedom + 1.0))
        - libm::lgamma(0.5 * freedom)
        - 0.5 * libm::log(freedom * PI)
        - 0.5 * (freedom + 1.0) * libm::log1p(t * t / freedom);
    libm::exp(log)
}

/// ∫ T from −∞, for more than one degree of freedom: z·T(z) + ν/(ν−1)·(1 + z²/ν)·f(z).
fn integral_of_cdf(z: f64, freedom: f64) -> f64 {
    z * t_cdf(z, freedom)
        + freedom / (freedom - 1.0) * (1.0 + z * z / freedom) * density(z, freedom)
}

/// Distribution function of u·t + rectangular, in closed form.
fn t_and_rectangular(x: f64, u: f64, freedom: f64, half_width: f64) -> f64 {
    let end = |side: f64| integral_of_cdf((x + side * half_width) / u, freedom);
    (end(1.0) - end(-1.0)) * u / (2.0 * half_width)
}

/// The same with further rectangular parts, by Simpson's rule.
fn with_more(x: f64, u: f64, freedom: f64, half_widths: &[f64]) -> f64 {
    let (first, rest) = half_widths.split_first().expect("one at least");
    if rest.is_empty() {
        return t_and_rectangular(x, u, freedom, *first);
    }
    let count = 200;
    let (last, inner) = rest.split_last().expect("not empty");
    let mut all = vec![*first];
    all.extend_from_slice(inner);
    let mut sum = 0.0;
    for index in 0..=count {
        let weight = match index {
            0 => 1.0,
            index if index == count => 1.0,
            index if index % 2 == 1 => 4.0,
            _ => 2.0,
        };
        let shift = last * (2.0 * f64::from(index) / f64::from(count) - 1.0);
        sum += weight * with_more(x - shift, u, freedom, &all);
    }
    sum / (3.0 * f64::from(count))
}

fn of(components: &[Component]) -> Distribution {
    Distribution::new(0.0, components).expect("a distribution")
}

fn student(u: f64, degrees_of_freedom: f64) -> Component {
    Component::Normal { u, degrees_of_freedom }
}

fn rectangular(half_width: f64) -> Component {
    Component::Rectangular { half_width }
}

#[test]
fn a_t_alone_is_students_t() {
    for freedom in [1.0, 1.5, 2.0, 3.0, 5.5, 10.0, 33.0, 200.0, 5e3, 9.9e4, 1e6, f64::INFINITY] {
        let distribution = of(&[student(0.7, freedom)]);
        for step in -60..=60 {
            let t = f64::from(step) * 0.35;
            let got = distribution.probability_below(0.7 * t);
            let error = (got - t_cdf(t, freedom)).abs();
            assert!(error < 1e-5, "{freedom} {t}: {error}");
        }
        for probability in [0.6, 0.9, 0.975, 0.995] {
            let got = distribution.quantile(probability) / 0.7;
            let expected = t_quantile(probability, freedom).expect("a quantile");
            assert!((got / expected - 1.0).abs() < 1e-3, "{freedom} {probability}: {got}");
        }
    }
}

#[test]
fn rectangular_parts_alone_have_their_closed_forms() {
    let one = of(&[rectangular(2.0)]);
    for step in -20..=20 {
        let x = f64::from(step) * 0.125;
        let expected = ((x + 2.0) / 4.0).clamp(0.0, 1.0);
        assert!((one.probability_below(x) - expected).abs() < PROBABILITY_TOLERANCE, "{x}");
    }
    assert!((one.interval(0.95).high - 1.9).abs() < 4e-4);
    // Two equal ones: 1 − (1 − x/w)²/2 above the middle.
    for two in [of(&[rectangular(1.0); 2]), of(&[Component::Triangular { half_width: 2.0 }])] {
        assert!((two.standard_uncertainty() - (2.0f64 / 3.0).sqrt()).abs() < 1e-12);
        for step in 0..=16 {
            let x = f64::from(step) * 0.125;
            let expected = 1.0 - 0.5 * (1.0 - x / 2.0) * (1.0 - x / 2.0);
            assert!((two.probability_below(x) - expected).abs() < 1e-6, "{x}");
        }
    }
}

#[test]
fn t_and_rectangular_in_any_proportion() {
    for freedom in [1.2, 2.0, 4.0, 9.3, 60.0, 4e3] {
        for u in [0.002, 0.01, 0.05, 0.3, 1.0, 4.0] {
            let distribution = of(&[student(u, freedom), rectangular(1.0)]);
            for step in 0..=80 {
                let x = f64::from(step) * 0.05 * (1.0 + u);
                let expected = t_and_rectangular(x, u, freedom, 1.0);
                let error = (distribution.probability_below(x) - expected).abs();
                assert!(error < PROBABILITY_TOLERANCE, "{freedom} {u} {x}: {error}");
            }
        }
    }
}

#[test]
fn several_parts_against_quadrature() {
    let mut random = Random::new(3);
    for _ in 0..20 {
        let freedom = 1.2 + 20.0 * random.uniform();
        let u = 0.02 + random.uniform();
        let half_widths =
            [0.05 + random.uniform(), 0.05 + 2.0 * random.uniform(), random.uniform() * 0.3];
        let parts: Vec<Component> = std::iter::once(student(u, freedom))
            .chain(half_widths.iter().copied().map(rectangular))
            .collect();
        let distribution = of(&parts);
        let x = 4.0 * random.uniform();
        let expected = with_more(x, u, freedom, &half_widths);
        let error = (distribution.probability_below(x) - expected).abs();
        assert!(error < PROBABILITY_TOLERANCE, "{u} {freedom} {half_widths:?} {x}: {error}");
        let high = distribution.interval(0.95).high;
        let held = 2.0 * with_more(high, u, freedom, &half_widths) - 1.0;
        assert!((held - 0.95).abs() < PROBABILITY_TOLERANCE, "{half_widths:?}: {held}");
    }
}

#[test]
fn a_one_sided_part_moves_the_interval() {
    let parts = [Component::OneSided { signed_width: -0.4 }, Component::normal(0.1)];
    let distribution = Distribution::new(10.0, &parts).expect("a distribution");
    assert!((distribution.centre() - 9.8).abs() < 1e-12);
    let interval = distribution.interval(0.95);
    let middle = 0.5 * (interval.low + interval.high);
    assert!((middle - 9.8).abs() < 1e-12 && interval.contains(10.0) && !interval.contains(9.4));
    for (end, probability) in [(interval.low, 0.025), (interval.high, 0.975)] {
        let got = distribution.probability_below(end);
        assert!((got - probability).abs() < 1e-9, "{got}");
        // The closed form about its own middle.
        let exact = t_and_rectangular(end - 9.8, 0.1, 1e7, 0.2);
        assert!((exact - probability).abs() < PROBABILITY_TOLERANCE, "{exact}");
    }
}

#[test]
fn welch_and_satterthwaite_join_normal_parts() {
    // JCGM 100, G.4: four equal ones of ten degrees each have forty.
    let four = of(&[student(1.0, 10.0); 4]);
    assert!((four.degrees_of_freedom() - 40.0).abs() < 1e-9);
    assert!((four.standard_uncertainty() - 2.0).abs() < 1e-12);
    let with_known = of(&[student(1.0, 10.0), rectangular(3f64.sqrt())]);
    assert!((with_known.degrees_of_freedom() - 40.0).abs() < 1e-9);
    assert_eq!(of(&[rectangular(1.0)]).degrees_of_freedom(), f64::INFINITY);
}

#[test]
fn what_is_certain_is_a_step() {
    for parts in [&[][..], &[Component::normal(0.0), rectangular(0.0)][..]] {
        let certain = Distribution::new(5.0, parts).expect("a distribution");
        assert_eq!(certain.interval(0.95), Interval { low: 5.0, high: 5.0 });
        assert_eq!(certain.probability_below(5.1), 1.0);
        assert_eq!(certain.probability_below(4.9), 0.0);
    }
}

#[test]
fn scaling_a_part_is_scaling_the_interval() {
    let parts = [student(0.3, 4.0), rectangular(0.8), Component::OneSided { signed_width: 0.5 }];
    let scaled = parts.map(|part| part.scaled(-2.5));
    let (plain, scaled) = (of(&parts).interval(0.95), of(&scaled).interval(0.95));
    assert!((scaled.low + 2.5 * plain.high).abs() < 1e-9);
    assert!((scaled.high + 2.5 * plain.low).abs() < 1e-9);
}

#[test]
fn what_is_no_part_is_refused() {
    let bad = [
        Component::normal(-0.1),
        Component::normal(f64::NAN),
        student(0.1, 0.5),
        student(0.1, f64::NAN),
        rectangular(-1.0),
        rectangular(f64::INFINITY),
        Component::OneSided { signed_width: f64::NAN },
        Component::Triangular { half_width: -1.0 },
    ];
    for part in bad {
        let got = Distribution::new(1.0, &[Component::normal(0.1), part]);
        assert_eq!(got, Err(CoverageError::Component { index: 1 }), "{part:?}");
    }
    assert_eq!(Distribution::new(f64::NAN, &[]), Err(CoverageError::Value));
}

#[test]
fn any_mixture_is_a_distribution() {
    // Sizes over nine decades: never NaN, never falling, ends where they belong.
    let mut random = Random::new(8);
    for _ in 0..300 {
        let size = |random: &mut Random| libm::pow(10.0, 9.0 * random.uniform() - 6.0);
        let freedom = 1.0 + size(&mut random);
        let mut parts = vec![student(size(&mut random), freedom)];
        for _ in 0..(4.0 * random.uniform()) as usize {
            parts.push(rectangular(size(&mut random)));
        }
        let distribution = of(&parts);
        let u = distribution.standard_uncertainty();
        let mut before = 0.0;
        for step in -40..=40 {
            let p = distribution.probability_below(0.2 * f64::from(step) * u);
            assert!((0.0..=1.0).contains(&p) && p >= before - PROBABILITY_TOLERANCE, "{parts:?}");
            before = p;
        }
        let interval = distribution.interval(0.95);
        let held = distribution.probability_between(interval.low, interval.high);
        assert!((held - 0.95).abs() < 1e-8, "{parts:?} {held}");
    }
}
