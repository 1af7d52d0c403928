//! The closed forms against sums over all possibilities, and numbers followed by hand.

use pinhold_protocol::record::StringPosition;

use super::law::{Belief, SIZE_COUNT};
use super::worth::expected_loss;
use super::*;
use crate::analysis::stats::normal_density;

const PROFILE_GAIN: (f64, f64) = (40.0, 25.0);

fn fitting(step_mm: f64) -> Fitting {
    Fitting { step_mm, friction_nm: FRICTION_MIDDLE_NM, reamed: false, elsewhere: false }
}

fn told(value: f64) -> Estimate {
    Estimate { value, u: 0.4 }
}

fn after(trials: &[(f64, f64)], no_grip_chance: f64) -> Gain {
    let before = Gain::before_trials(&Profile::default(), no_grip_chance);
    trials
        .iter()
        .fold(before, |gain, (step_mm, value)| gain.after(&fitting(*step_mm), told(*value)))
}

/// A treble place: N·m, µm.
fn place() -> Place {
    Place {
        friction_nm: Estimate { value: 4.0, u: 0.1 },
        moment_nm: Estimate { value: 2.7, u: 0.2 },
        from_um: 7_160.0,
        wire_um: 900.0,
        friction_wanted_nm: 7.0,
        factor_wanted: 1.5,
        sizes_um: vec![7_280, 7_400],
        reamed: false,
    }
}

#[test]
fn one_size_is_learned_as_by_hand() {
    // Beforehand 0 ± 1, observed 2 ± 1: half way, and half the variance. The density beforehand is
    // a normal's of variance 2 at 2.
    let mut sizes = [(0.0, 0.0); SIZE_COUNT];
    sizes[0] = (0.0, 1.0);
    let mut row = [0.0; SIZE_COUNT];
    row[0] = 1.0;
    let mut belief = Belief::independent(sizes);
    let density = libm::exp(belief.learn(&row, 2.0, 1.0));
    assert!((density - libm::exp(-1.0) / (4.0 * std::f64::consts::PI).sqrt()).abs() < 1e-12);
    let (mean, variance) = belief.sum(&row);
    assert!((mean - 1.0).abs() < 1e-12 && (variance - 0.5).abs() < 1e-12);
}

#[test]
fn before_any_trial_it_is_the_prior_s_own_sum() {
    let gain = after(&[], 0.0);
    let one = gain.of_the_median(&fitting(0.12));
    // Fresh 1 ± 1.5 and 40 ± 25 a millimetre over 0.12 mm: 5.8 ± √(1.5² + 3²).
    assert!((one.value - 5.8).abs() < 1e-9, "{one:?}");
    assert!((one.u - (1.5_f64 * 1.5 + 9.0).sqrt()).abs() < 1e-9, "{one:?}");
    let hole = gain.of_a_hole(&fitting(0.12));
    let scatter = SCATTERS_NM.iter().fold(0.0, |sum, (sd, chance)| sum + chance * sd * sd);
    assert!((hole.u * hole.u - one.u * one.u - scatter).abs() < 1e-9, "{hole:?}");
    assert_eq!((gain.trial_count(), gain.no_grip_chance()), (0, 0.0));
}

/// Mean gain of the median for a step and chance of no grip: a sum over fresh thread, slope, bend
/// and scatter on a lattice, five standard deviations each way.
fn by_lattice(trials: &[(f64, f64)], no_grip_chance: f64, step_mm: f64) -> (f64, f64) {
    const COUNT: i32 = 36;
    let at = |k: i32| 5.0 * f64::from(k) / f64::from(COUNT);
    let weight = |k: i32| normal_density(at(k), 0.0, 1.0) * 5.0 / f64::from(COUNT);
    let bend = |step_mm: f64| (step_mm / 0.12) * (step_mm / 0.12 - 1.0);
    let (mut grips, mut moment) = (0.0, 0.0);
    for (scatter_nm, share) in SCATTERS_NM {
        for (i, j, k) in (-COUNT..=COUNT)
            .flat_map(|i| (-COUNT..=COUNT).map(move |j| (i, j)))
            .flat_map(|(i, j)| (-COUNT..=COUNT).map(move |k| (i, j, k)))
        {
            let sum = |step_mm: f64| {
                FRESH_NM.0
                    + FRESH_NM.1 * at(i)
                    + (PROFILE_GAIN.0 + PROFILE_GAIN.1 * at(j)) * step_mm
                    + (BEND_NM.0 + BEND_NM.1 * at(k)) * bend(step_mm)
            };
            let mut chance = share * weight(i) * weight(j) * weight(k);
            for (step_mm, gain_nm) in trials {
                let variance = scatter_nm * scatter_nm + 0.16;
                chance *= normal_density(*gain_nm, sum(*step_mm), variance);
            }
            grips += chance;
            moment += chance * sum(step_mm);
        }
    }
    let (mut slack, mut slack_moment) = (0.0, 0.0);
    for k in -COUNT..=COUNT {
        let level = NO_GRIP_NM.0 + NO_GRIP_NM.1 * at(k);
        let variance = NO_GRIP_SCATTER_NM * NO_GRIP_SCATTER_NM + 0.16;
        let chance = trials.iter().fold(weight(k), |product, (_, gain_nm)| {
            product * normal_density(*gain_nm, level, variance)
        });
        slack += chance;
        slack_moment += chance * level;
    }
    let (p, q) = (no_grip_chance, 1.0 - no_grip_chance);
    let total = p * slack + q * grips;
    ((p * slack_moment + q * moment) / total, p * slack / total)
}

#[test]
fn trials_teach_what_a_lattice_over_all_possibilities_says() {
    let trials = [(0.12, 3.1), (0.12, 1.2), (0.24, 4.0)];
    for count in [0, 1, 3] {
        let (mean, no_grip) = by_lattice(&trials[..count], 0.3, 0.24);
        let gain = after(&trials[..count], 0.3);
        let got = gain.of_the_median(&fitting(0.24)).value;
        assert!((got - mean).abs() < 1e-4 * mean.abs(), "{count}: {got} {mean}");
        assert!((gain.no_grip_chance() - no_grip).abs() < 1e-4, "{count}: {no_grip}");
    }
}

#[test]
fn the_order_of_trials_does_not_matter() {
    let (one, other) =
        (after(&[(0.12, 1.0), (0.25, 9.0)], 0.2), after(&[(0.25, 9.0), (0.12, 1.0)], 0.2));
    let (a, b) = (one.of_a_hole(&fitting(0.12)), other.of_a_hole(&fitting(0.12)));
    assert!((a.value - b.value).abs() < 1e-9 && (a.u - b.u).abs() < 1e-9);
    assert!((one.no_grip_chance() - other.no_grip_chance()).abs() < 1e-12);
}

#[test]
fn pins_that_gain_nothing_tell_of_wood_that_does_not_grip() {
    let nothing = after(&[(0.12, 0.1), (0.24, -0.2)], 0.2);
    assert!(nothing.no_grip_chance() > 0.7, "{}", nothing.no_grip_chance());
    let hopeful = after(&[(0.12, 5.0), (0.24, 9.0)], 0.2);
    assert!(hopeful.no_grip_chance() < 1e-4, "{}", hopeful.no_grip_chance());
    let (none, some) = (Outlook::new(&nothing, &place()), Outlook::new(&hopeful, &place()));
    assert_eq!(none.advised, None);
    assert!(none.best.is_some(), "if one must be ordered all the same");
    assert_eq!(some.advised_size().map(|size| size.to_um), Some(7_280));
    let (grips, slack) = nothing.log_evidence().expect("both laws are possible");
    assert!(slack > grips + 1.0, "{slack} {grips}");
    assert_eq!(after(&[], 0.0).log_evidence(), None, "one law was ruled out");
}

#[test]
fn holes_elsewhere_tell_less() {
    let before = Gain::before_trials(&Profile::default(), 0.3);
    let trials = [(0.12, 5.5), (0.12, 6.0), (0.24, 10.0)];
    let taught = |elsewhere: bool| {
        trials.iter().fold(before.clone(), |gain, (step_mm, value)| {
            gain.after(&Fitting { elsewhere, ..fitting(*step_mm) }, told(*value))
        })
    };
    let (here, elsewhere) = (taught(false), taught(true));
    let spread = |gain: &Gain| gain.of_the_median(&fitting(0.12)).u;
    assert!(spread(&here) < spread(&elsewhere) && spread(&elsewhere) < spread(&before));
    assert!(here.no_grip_chance() < 0.01);
    // That ordinary holes grip hardly clears the bad ones: only wood that grips nowhere is out.
    assert!(elsewhere.no_grip_chance() > 0.2, "{}", elsewhere.no_grip_chance());
}

#[test]
fn what_is_no_trial_is_passed_over() {
    let before = after(&[], 0.1);
    for (step_mm, value, u) in [
        (f64::NAN, 1.0, 0.1),
        (0.0, 1.0, 0.1),
        (-0.1, 1.0, 0.1),
        (0.12, f64::INFINITY, 0.1),
        (0.12, f64::NAN, 0.1),
        (0.12, 1.0, f64::NAN),
        (0.12, 1e9, 0.1),
    ] {
        assert_eq!(before.after(&fitting(step_mm), Estimate { value, u }), before);
    }
}

#[test]
fn a_larger_pin_raises_the_string_s_arm() {
    // 2.7 N·m on 7.16 mm pin and 0.9 mm wire: arms are half of 8.06 and of 8.30 mm.
    let place = place();
    assert!((place.moment_on_nm(7_400.0).value - 2.7 * 8.30 / 8.06).abs() < 1e-12);
    let bass = Place { moment_nm: Estimate { value: 5.0, u: 0.5 }, ..place.clone() };
    assert_eq!(place.target_nm(7_400.0), Estimate { value: 7.0, u: 0.0 });
    let wanted = bass.target_nm(7_400.0);
    assert!((wanted.value - 1.5 * 5.0 * 8.30 / 8.06).abs() < 1e-12 && wanted.u > 0.5);
    // So the holding factor gains less than friction does.
    let gain = after(&[(0.12, 3.0), (0.24, 6.0)], 0.05);
    let outlook = Outlook::new(&gain, &place);
    let two = outlook.sizes[1];
    let friction_gained = two.friction_nm.value / place.friction_nm.value;
    let factor_now = place.friction_nm.value / place.moment_nm.value;
    assert!(two.holding_factor.value / factor_now < friction_gained);
}

#[test]
fn losses_are_weighed_as_by_hand() {
    // The first size does with 0.5, either of two with 0.8: right sizes 0.5, 0.3, none 0.2.
    let losses = outlook::losses_of(&[0.5, 0.8], 1.0);
    // None: one would do. First: 0.3 too small, 0.2 for nothing. Second: 0.5 a step too large.
    for (got, by_hand) in losses.iter().zip([0.8, 0.5, 0.2 + 0.6 * 0.5]) {
        assert!((got - by_hand).abs() < 1e-12, "{losses:?}");
    }
}

#[test]
fn the_worth_of_one_trial_is_the_loss_summed_over_its_results() {
    let place = place();
    for trials in [&[][..], &[(0.12, 2.0)], &[(0.12, 0.3), (0.24, 1.0)]] {
        let gain = after(trials, 0.3);
        let trial = place.fitting(7_280.0);
        let (mut sum, mut whole) = (0.0, 0.0);
        for k in -600..=900 {
            let result_nm = f64::from(k) * 0.05;
            // Its density, from how well each law foretells it.
            let density = gain.weighted().fold(0.0, |sum, (chance, component)| {
                let (mean, variance) = component.belief.sum(&component.row(&trial));
                let noise = component.scatter_variance(&trial) + 0.25;
                sum + chance * normal_density(result_nm, mean, variance + noise)
            });
            let then = gain.after(&trial, Estimate { value: result_nm, u: 0.5 });
            sum += density * Outlook::new(&then, &place).loss;
            whole += density;
        }
        let got = expected_loss(&gain, &place, 7_280, 1);
        assert!((got - sum / whole).abs() < 2e-3, "{trials:?}: {got} {}", sum / whole);
    }
}

#[test]
fn trials_are_worth_it_before_any_and_not_for_ever() {
    let place = place();
    let first = more_trials(&after(&[], 0.15), &place).expect("sizes");
    assert!(first.count >= 1 && first.fall > 0.1, "{first:?}");
    let told: Vec<(f64, f64)> = (0..6).map(|i| (0.12, 5.0 + 0.3 * f64::from(i % 3))).collect();
    let last = more_trials(&after(&told, 0.15), &place).expect("sizes");
    assert_eq!(last.count, 0, "{last:?}");
    // More pins never tell less.
    let gain = after(&[(0.12, 2.5)], 0.15);
    let losses: Vec<f64> = (1..=6).map(|n| expected_loss(&gain, &place, 7_280, n)).collect();
    assert!(losses.windows(2).all(|pair| pair[1] <= pair[0] + 1e-3), "{losses:?}");
    assert!(losses[0] <= Outlook::new(&gain, &place).loss + 1e-3);
    let full = Place { sizes_um: Vec::new(), ..place };
    assert_eq!(more_trials(&gain, &full), None);
    let outlook = Outlook::new(&gain, &full);
    assert_eq!((outlook.advised, outlook.best, outlook.loss), (None, None, 0.0));
}

#[test]
fn the_documented_gain_is_within_what_is_thought_possible() {
    let before = after(&[], 0.0);
    // 60 to 110 in·lbf for 0.1 mm in a dense plank (ONE).
    let gain_nm = 50.0 * crate::units::NM_PER_INLBF;
    let one = before.of_the_median(&fitting(0.1));
    assert!((gain_nm - one.value).abs() < one.u, "{gain_nm} {one:?}");
}

#[test]
fn a_trial_s_gain_is_the_difference_of_two_readings() {
    let trial = Trial {
        pin: Pin { note: 40, string: StringPosition::Left },
        from_um: 7_160,
        to_um: 7_280,
        reamed: true,
        before_nm: Estimate { value: 4.0, u: 0.3 },
        after_nm: Estimate { value: 7.5, u: 0.4 },
    };
    let gain = trial.gain_nm();
    assert!((gain.value - 3.5).abs() < 1e-12 && (gain.u - 0.5).abs() < 1e-12);
    let made = trial.fitting(true);
    assert!((made.step_mm - 0.12).abs() < 1e-12 && made.reamed && made.elsewhere);
}
