//! The arithmetic of a budget against worked sums and against drawn errors.

use super::*;
use crate::analysis::random::Random;

fn line(term: Term, shape: Shape, effect: Effect) -> BudgetLine {
    BudgetLine {
        term,
        support: Support::LeverClass,
        shape,
        size: Size { value: 1.0, unit: SizeUnit::NewtonMetre },
        reach: Reach::Common,
        effect,
        bias: Effect::default(),
    }
}

/// Reads friction high by anything from nothing to `most_nm`.
fn reads_high(most_nm: f64) -> BudgetLine {
    let half = Effect { friction: 0.5 * most_nm, ..Effect::default() };
    BudgetLine { bias: half, ..line(Term::Bearing, Shape::Rectangular, half) }
}

fn on(sharp: f64, flat: f64) -> Effect {
    Effect { sharp, flat, ..Effect::default() }
}

/// A reading both ways, F = 8 and M = 3 N·m, M₀ = 3.2 ± 0.3 N·m.
fn both() -> ReadingBudget {
    let t = |degrees_of_freedom| Shape::Normal { degrees_of_freedom };
    ReadingBudget {
        lines: vec![
            line(Term::Scale, Shape::KNOWN, on(0.055, 0.025)),
            line(Term::Zero, Shape::KNOWN, on(0.2, -0.2)),
            line(Term::Noise, t(5.0), on(0.06, 0.0)),
            line(Term::Noise, t(5.0), on(0.0, 0.08)),
            line(Term::Hysteresis, Shape::Rectangular, on(0.12, 0.05)),
            reads_high(0.3),
            line(
                Term::StringMoment,
                Shape::KNOWN,
                Effect { at_pitch: 0.3, now: 0.3, ..Effect::default() },
            ),
        ],
        cases: vec![Case { weight: 1.0, form: Form::BOTH, friction_nm: 8.0 }],
        friction_nm: 8.0,
        moment_nm: Some(3.0),
        moment_at_pitch_nm: 3.2,
    }
}

/// The same from the sharp stroke alone.
fn sharp_only() -> ReadingBudget {
    let mut budget = both();
    budget.cases = vec![Case { weight: 1.0, form: Form::SHARP, friction_nm: 8.0 }];
    budget.moment_nm = None;
    budget
}

#[test]
fn the_sum_of_the_lines_is_the_combined_uncertainty() {
    let budget = both();
    let root_3 = 3.0_f64.sqrt();
    let root_sum = |parts: &[f64]| parts.iter().map(|u| u * u).sum::<f64>().sqrt();
    // Scale (0.055 + 0.025)/2; zero cancels; noise 0.06/2 and 0.08/2; hysteresis 0.085/√3.
    let friction = root_sum(&[0.04, 0.03, 0.04, 0.085 / root_3, 0.3 / root_3]);
    assert!((budget.estimate(Quantity::Friction).unwrap().u - friction).abs() < 1e-15);
    let moment = root_sum(&[0.015, 0.2, 0.03, 0.04, 0.035 / root_3]);
    assert!((budget.estimate(Quantity::Moment).unwrap().u - moment).abs() < 1e-15);
    let factor = root_sum(&[friction / 3.2, 8.0 / 3.2 * 0.3 / 3.2]);
    let told = budget.estimate(Quantity::HoldingFactor).unwrap();
    assert!((told.u - factor).abs() < 1e-12 && told.value == 2.5);
    // Welch–Satterthwaite: u⁴ / Σ uᵢ⁴/νᵢ.
    let fourth = |u: f64| u * u * u * u;
    let freedom = fourth(friction) / ((fourth(0.03) + fourth(0.04)) / 5.0);
    assert!((budget.degrees_of_freedom(Quantity::Friction) / freedom - 1.0).abs() < 1e-12);
}

#[test]
fn rows_share_out_the_whole_variance() {
    for budget in [both(), sharp_only()] {
        let rows = rows(&budget);
        for (at, quantity) in table::QUANTITIES.into_iter().enumerate() {
            let told: f64 = rows.iter().map(|row| row.share[at]).sum();
            let expected = if budget.estimate(quantity).is_some() { 1.0 } else { 0.0 };
            assert!((told - expected).abs() < 1e-12, "{quantity:?} {told}");
        }
        assert!(rows.iter().all(|row| row.contribution.iter().all(|u| *u >= 0.0)));
    }
    let zero = rows(&both()).into_iter().find(|row| row.term == Term::Zero).unwrap();
    assert_eq!(zero.contribution[0], 0.0);
    assert!((zero.contribution[1] - 0.2).abs() < 1e-15);
}

/// An error of size 1, drawn.
fn draw(shape: Shape, random: &mut Random) -> f64 {
    match shape {
        Shape::Normal { .. } => random.normal(),
        Shape::Rectangular => 2.0 * random.uniform() - 1.0,
        Shape::Triangular => random.uniform() - random.uniform(),
    }
}

/// Truth drawn behind a budget: F, M and H.
fn truth(budget: &ReadingBudget, random: &mut Random) -> [f64; 3] {
    let mut at = random.uniform();
    let chosen = budget.cases.iter().find(|case| {
        at -= case.weight;
        at <= 0.0
    });
    let case = chosen.or(budget.cases.last()).unwrap();
    let (form, mut friction) = (case.form, case.friction_nm);
    let (mut moment, mut at_pitch) = (budget.moment_nm.unwrap_or(0.0), budget.moment_at_pitch_nm);
    for line in &budget.lines {
        let error = draw(line.shape, random);
        let e = line.effect;
        friction -= form.of_friction(line.bias);
        let (sharp, flat) = (error * e.sharp, error * e.flat);
        let (given, now) = (error * e.given, error * e.now);
        // Told = true + error, stroke by stroke, before anything is formed.
        friction -= form.sharp * sharp + form.flat * flat + form.given * given + form.now * now;
        friction -= error * e.friction;
        moment -= (sharp - flat) / 2.0 + error * e.moment;
        at_pitch -= error * e.at_pitch;
    }
    [friction, moment, friction / at_pitch]
}

fn either_way() -> ReadingBudget {
    let mut budget = sharp_only();
    let weight = 1.0 / 3.0;
    budget.lines = vec![
        line(Term::HandReading, Shape::KNOWN, Effect { given: 0.4, ..Effect::default() }),
        budget.lines[6],
    ];
    budget.cases = [(Form::GIVEN_SHARP, 4.8), (Form::GIVEN, 8.0), (Form::GIVEN_FLAT, 11.2)]
        .map(|(form, friction_nm)| Case { weight, form, friction_nm })
        .to_vec();
    budget
}

#[test]
fn drawn_errors_fall_into_the_intervals_as_often_as_told() {
    const COUNT: usize = 40_000;
    for (seed, mut budget) in [both(), sharp_only(), either_way()].into_iter().enumerate() {
        let mut random = Random::new(601_000 + seed as u64);
        for line in &mut budget.lines {
            // Uncertainties known for sure here; estimated ones have a test of their own.
            if let Shape::Normal { .. } = line.shape {
                line.shape = Shape::KNOWN;
            }
        }
        let mut inside = [0usize; 3];
        let mut below = [0usize; 3];
        let intervals = table::QUANTITIES.map(|quantity| budget.interval(quantity));
        for _ in 0..COUNT {
            let truth = truth(&budget, &mut random);
            for at in 0..3 {
                let Some((low, high)) = intervals[at] else { continue };
                inside[at] += usize::from(low <= truth[at] && truth[at] <= high);
                below[at] += usize::from(truth[at] < low);
            }
        }
        for at in 0..3 {
            if intervals[at].is_none() {
                assert_eq!(table::QUANTITIES[at], Quantity::Moment);
                continue;
            }
            // Four standard errors of 40 000 draws.
            let share = inside[at] as f64 / COUNT as f64;
            assert!((share - 0.95).abs() < 0.0044, "budget {seed}, quantity {at}: {share}");
            let share = below[at] as f64 / COUNT as f64;
            assert!((share - 0.025).abs() < 0.0032, "budget {seed}, quantity {at}: {share} below");
        }
    }
}

#[test]
fn estimated_scatter_covers_as_told() {
    const COUNT: usize = 6_000;
    const FREEDOM: usize = 5;
    let mut random = Random::new(602_000);
    let mut inside = 0;
    for _ in 0..COUNT {
        let mut budget = both();
        let mut friction = budget.friction_nm;
        for line in &mut budget.lines {
            friction -= Form::BOTH.of_friction(line.bias);
            let c = Form::BOTH.of_friction(line.effect);
            friction -= c * draw(line.shape, &mut random);
            if line.term == Term::Noise {
                // The budget knows only the scatter that was seen.
                let square: f64 = (0..FREEDOM).map(|_| random.normal()).map(|z| z * z).sum();
                let seen = (square / FREEDOM as f64).sqrt();
                line.effect = on(line.effect.sharp * seen, line.effect.flat * seen);
            }
        }
        let (low, high) = budget.interval(Quantity::Friction).unwrap();
        inside += usize::from(low <= friction && friction <= high);
    }
    // Four standard errors of 6000 draws.
    let share = inside as f64 / COUNT as f64;
    assert!((share - 0.95).abs() < 0.0113, "{share}");
}

#[test]
fn chances_agree_with_quantiles() {
    for budget in [both(), sharp_only(), either_way()] {
        for quantity in table::QUANTITIES {
            for probability in [0.025, 0.3, 0.9] {
                let Some(limit) = budget.quantile(quantity, probability) else {
                    assert_eq!(quantity, Quantity::Moment);
                    continue;
                };
                let back = budget.probability_below(quantity, limit).unwrap();
                assert!((back - probability).abs() < 2e-4, "{quantity:?} {probability} {back}");
            }
        }
    }
}

#[test]
fn one_unknown_moment_in_friction_and_divisor_is_one_error() {
    // F = sharp − M₀ and H = F/M₀ = sharp/M₀ − 1: with nothing else in doubt, exactly so.
    let mut budget = sharp_only();
    budget.lines = vec![budget.lines[6]];
    let (low, high) = budget.interval(Quantity::HoldingFactor).unwrap();
    let z = 1.959_963_984_540_054;
    assert!((low - (11.2 / (3.2 + z * 0.3) - 1.0)).abs() < 2e-4, "{low}");
    assert!((high - (11.2 / (3.2 - z * 0.3) - 1.0)).abs() < 2e-4, "{high}");
}

#[test]
fn what_is_in_doubt_never_narrows_an_interval() {
    let mut random = Random::new(17);
    let width = |budget: &ReadingBudget, quantity| {
        budget.interval(quantity).map_or(0.0, |(low, high)| high - low)
    };
    for _ in 0..60 {
        let mut budget = both();
        let at = (random.next_u64() % budget.lines.len() as u64) as usize;
        let before = table::QUANTITIES.map(|quantity| width(&budget, quantity));
        let factor = 1.0 + 2.0 * random.uniform();
        budget.lines[at].bias.friction *= factor;
        let e = &mut budget.lines[at].effect;
        for number in [&mut e.sharp, &mut e.flat, &mut e.friction, &mut e.now, &mut e.at_pitch] {
            *number *= factor;
        }
        for (quantity, before) in table::QUANTITIES.into_iter().zip(before) {
            if budget.lines[at].is_one_sided() && quantity == Quantity::HoldingFactor {
                // A larger bias moves the factor down, and M₀ then weighs less in it.
                continue;
            }
            let after = width(&budget, quantity);
            assert!(after >= before * (1.0 - 1e-4), "line {at} {quantity:?}: {before} {after}");
        }
    }
}

#[test]
fn a_divisor_that_may_be_nothing_gives_no_interval_and_no_panic() {
    let mut budget = both();
    budget.lines[6].effect.at_pitch = 30.0;
    let _ = budget.interval(Quantity::HoldingFactor);
    budget.moment_at_pitch_nm = 0.0;
    assert_eq!(budget.interval(Quantity::HoldingFactor), None);
    assert_eq!(budget.estimate(Quantity::HoldingFactor), None);
    budget.lines[0].effect.sharp = f64::NAN;
    assert_eq!(budget.interval(Quantity::Friction), None);
    assert_eq!(budget.estimate(Quantity::Friction), None);
}
