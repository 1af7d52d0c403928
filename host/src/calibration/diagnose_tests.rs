//! Benches with one thing wrong each, on many levers: what is wrong is named; and honest benches,
//! in which nothing is. Judging seeds 600000 to 601999; limits were tuned on 0 to 999.

use pinhold_protocol::record::Direction;

use super::bench::{Bench, Leg, Setting};
use super::diagnose::{NOMINAL_SPAN_NM_PER_COUNT, diagnose};
use super::practice::{Model, PracticeLever};
use super::procedure::{Procedure, Setup, Step};
use super::suspicion::Suspicion;
use super::test_benches::{bench_of, honest, setup};
use super::{CalibrationError, Choices, evaluate};

/// First seed of the levers wrong things are done with, and how many of them.
const WRONG: (u64, u64) = (600_000, 40);
/// First seed of the honest benches, and how many.
const HONEST: (u64, u64) = (600_500, 1_200);
const CHOICES: Choices = Choices { number: 1, insist: false };

/// Points of a series by position, direction, leg and count of masses.
fn at(bench: &Bench, wanted: (usize, Direction, Leg, usize)) -> usize {
    let (wanted_position, wanted_direction, wanted_leg, count) = wanted;
    let here = bench.points.iter().position(|point| match &point.setting {
        Setting::Loaded { position, direction, leg, masses } => {
            *position == wanted_position
                && *direction == wanted_direction
                && *leg == wanted_leg
                && masses.len() == count
        }
        Setting::Free => false,
    });
    here.unwrap()
}

/// Does `spoil` to honest benches; each must be refused, and what is named first be `expected`.
fn told(name: &str, spoil: &dyn Fn(&mut Bench), expected: &dyn Fn(&Suspicion) -> bool) {
    for seed in WRONG.0..WRONG.0 + WRONG.1 {
        let (_, mut bench) = honest(seed);
        spoil(&mut bench);
        refused(name, seed, &bench, expected);
    }
}

fn refused(name: &str, seed: u64, bench: &Bench, expected: &dyn Fn(&Suspicion) -> bool) {
    match evaluate(bench, &CHOICES) {
        Err(CalibrationError::Suspect { found }) => {
            let sentence = found[0].to_string();
            assert!(expected(&found[0]), "{name}, seed {seed}: {sentence}");
        }
        other => panic!("{name}, seed {seed}: {:?}", other.map(|result| result.terms)),
    }
}

/// A bench of which the lever's side is changed, by model and by what really hangs at a step.
fn done(seed: u64, change: &dyn Fn(&mut Model), really: &dyn Fn(&mut Step)) -> Bench {
    let setup = setup();
    let mut model = Model::drawn(&setup, seed);
    change(&mut model);
    let mut lever = PracticeLever::new(model, seed);
    let mut procedure = Procedure::new(setup, 7, true).unwrap();
    let mut at_ms = 0;
    while let Some(mut step) = procedure.next() {
        really(&mut step);
        let settled = lever.settled(&step);
        procedure.take(&settled, at_ms);
        at_ms += 42_000;
    }
    procedure.bench()
}

#[test]
fn an_arm_in_the_wrong_unit_is_named() {
    for (position, factor, words) in [
        (0, 10.0, "centimetres instead of millimetres"),
        (1, 0.1, "millimetres instead of centimetres"),
        (1, 1.0 / 2.54, "centimetres instead of inches"),
        (0, 25.4, "inches instead of millimetres"),
    ] {
        let spoil = |bench: &mut Bench| bench.positions[position].arm_m.value *= factor;
        told("arm unit", &spoil, &|found| match found {
            Suspicion::ArmUnit { position: name, fits_m, mixed_up, .. } => {
                let true_m = [0.25, 0.3][position];
                name == ["grip", "end"][position]
                    && (fits_m / true_m - 1.0).abs() < 0.05
                    && *mixed_up == words
            }
            _ => false,
        });
    }
}

#[test]
fn everything_in_the_wrong_unit_is_named() {
    let all_arms = |bench: &mut Bench| {
        bench.positions.iter_mut().for_each(|position| position.arm_m.value *= 10.0);
    };
    told("arms", &all_arms, &|found| {
        matches!(found, Suspicion::WholeScale { mixed_up: Some(words), .. }
            if words.contains("centimetres, but measured in millimetres"))
    });
    let pounds = |bench: &mut Bench| {
        bench.masses.iter_mut().for_each(|mass| mass.mass_kg.value /= 0.453_592_37);
    };
    told("pounds", &pounds, &|found| {
        matches!(found, Suspicion::WholeScale { mixed_up: Some(words), .. }
            if words.contains("pounds"))
    });
    let gravity = |bench: &mut Bench| bench.gravity.value_m_s2.value = 9.18;
    told("gravity", &gravity, &|found| matches!(found, Suspicion::GravityOdd { .. }));
}

#[test]
fn an_arm_of_the_wrong_length_is_told() {
    // 3 cm: beyond what any lever's dependence on the hand explains.
    let spoil = |bench: &mut Bench| bench.positions[1].arm_m.value = 0.33;
    told(
        "arm length",
        &spoil,
        &|found| matches!(found, Suspicion::ArmLength { fits_m, .. } if fits_m / 0.3 < 1.06),
    );
}

#[test]
fn a_mistyped_mass_is_named_with_what_would_fit() {
    for (mass, typed_kg, true_kg) in
        [(0, 1.1, 1.0), (1, 0.1, 1.0), (2, 2.2, 2.0), (3, 20.0, 2.0), (5, 1.95, 2.0)]
    {
        let spoil = |bench: &mut Bench| bench.masses[mass].mass_kg.value = typed_kg;
        told("mass", &spoil, &|found| match found {
            Suspicion::MassWrong { name, fits_kg, .. } => {
                name == ["A", "B", "C", "D", "E", "F"][mass]
                    && (fits_kg / true_kg - 1.0).abs() < 0.03
            }
            _ => false,
        });
    }
}

#[test]
fn swapped_masses_are_named() {
    let spoil = |bench: &mut Bench| {
        let values = [bench.masses[1].mass_kg, bench.masses[2].mass_kg];
        (bench.masses[1].mass_kg, bench.masses[2].mass_kg) = (values[1], values[0]);
    };
    told("swapped", &spoil, &|found| match found {
        Suspicion::MassesSwapped { first, second } => (&first[..], &second[..]) == ("B", "C"),
        _ => false,
    });
}

#[test]
fn weights_hung_out_of_order_are_told_at_their_point() {
    // C goes on before B, once, on one way up.
    let really = |step: &mut Step| {
        if let Setting::Loaded { position: 0, direction: Direction::Flat, leg: Leg::Up, masses } =
            &mut step.setting
            && masses[..] == [0, 1]
        {
            *masses = vec![0, 2];
        }
    };
    for seed in WRONG.0..WRONG.0 + WRONG.1 {
        let bench = done(seed, &|_| {}, &really);
        refused("hung out of order", seed, &bench, &|found| {
            matches!(found, Suspicion::OtherWeights { place, typed_nm, fits_nm, .. }
                if place.what == "grip, flat, A + B"
                    && (typed_nm + 4.9).abs() < 0.1 && (fits_nm + 7.35).abs() < 0.3)
        });
    }
    // The list itself says that the load falls on the way up.
    let listed = |bench: &mut Bench| {
        let first = at(bench, (1, Direction::Sharp, Leg::Up, 2));
        let settings =
            [bench.points[first].setting.clone(), bench.points[first + 1].setting.clone()];
        bench.points[first].setting = settings[1].clone();
        bench.points[first + 1].setting = settings[0].clone();
    };
    told("listed out of order", &listed, &|found| {
        matches!(found, Suspicion::OutOfOrder { rising: true, .. })
    });
}

#[test]
fn one_load_mistyped_is_told_with_the_load_that_would_fit() {
    let forgotten = |bench: &mut Bench| {
        let index = at(bench, (0, Direction::Sharp, Leg::Down, 4));
        if let Setting::Loaded { masses, .. } = &mut bench.points[index].setting {
            *masses = vec![0, 1, 2, 3, 4];
        }
    };
    told("one load", &forgotten, &|found| {
        matches!(found, Suspicion::OtherWeights { place, fits, .. }
            if place.what == "grip, sharp, A + B + C + D + E" && fits.matches('+').count() == 3)
    });
    let odd = |bench: &mut Bench| {
        let index = at(bench, (1, Direction::Flat, Leg::Up, 3));
        bench.points[index].mean_code -= 0.8 / NOMINAL_SPAN_NM_PER_COUNT;
    };
    told("odd load", &odd, &|found| {
        matches!(found, Suspicion::LoadWrong { place, typed_nm, fits_nm }
            if place.what == "end, flat, A + B + C" && (typed_nm - fits_nm - 0.8).abs() < 0.1)
    });
}

#[test]
fn a_lever_that_stops_rising_is_told() {
    for seed in WRONG.0..WRONG.0 + WRONG.1 {
        for ceiling_nm in [14.0, 18.0, 23.0] {
            let bench = done(seed, &|model| model.ceiling_nm = ceiling_nm, &|_| {});
            refused("ceiling", seed, &bench, &|found| {
                matches!(found, Suspicion::Flattening { at_nm, .. }
                    if (at_nm / ceiling_nm - 1.0).abs() < 0.1)
            });
        }
        let bench = done(seed, &|model| model.zero_nm = 40.0, &|_| {});
        refused("converter", seed, &bench, &|found| matches!(found, Suspicion::Saturated { .. }));
    }
}

#[test]
fn readings_that_go_the_wrong_way_are_told() {
    let spoil = |bench: &mut Bench| {
        let first = at(bench, (0, Direction::Sharp, Leg::Up, 3));
        let codes = [bench.points[first].mean_code, bench.points[first + 2].mean_code];
        bench.points[first].mean_code = codes[1];
        bench.points[first + 2].mean_code = codes[0];
    };
    for seed in WRONG.0..WRONG.0 + WRONG.1 {
        let (_, mut bench) = honest(seed);
        spoil(&mut bench);
        let found = diagnose(&bench);
        let fell = found.iter().find(|one| matches!(one, Suspicion::NotMonotone { .. }));
        let sentence = fell.map(ToString::to_string).unwrap_or_default();
        // All four torques whole, with their unit.
        assert_eq!(sentence.matches(" N·m").count(), 4, "{found:?}");
        assert!(evaluate(&bench, &CHOICES).is_err());
    }
}

#[test]
fn directions_the_wrong_way_round_are_told() {
    let swapped = |bench: &mut Bench| {
        for point in &mut bench.points {
            if let Setting::Loaded { position: 1, direction, .. } = &mut point.setting {
                *direction = match direction {
                    Direction::Sharp => Direction::Flat,
                    Direction::Flat => Direction::Sharp,
                };
            }
        }
    };
    told("directions", &swapped, &|found| matches!(found, Suspicion::DirectionSwapped { .. }));
    let reversed = |bench: &mut Bench| {
        bench.points.iter_mut().for_each(|point| point.mean_code = -point.mean_code);
    };
    told("wires", &reversed, &|found| matches!(found, Suspicion::SignReversed));
}

#[test]
fn a_bench_that_is_not_still_level_or_even_is_told() {
    for seed in WRONG.0..WRONG.0 + WRONG.1 {
        let bench = done(seed, &|model| model.tilt_sd_deg = 25.0, &|_| {});
        refused(
            "tilt",
            seed,
            &bench,
            &|found| matches!(found, Suspicion::Tilted { tilt_deg, .. } if *tilt_deg > 5.0),
        );
        let bench = done(seed, &|model| model.temperature_c = (15.0, 35.0), &|_| {});
        refused("temperature", seed, &bench, &|found| {
            matches!(found, Suspicion::TemperatureMoved { .. })
        });
        let bench = done(seed, &|model| model.hanging = (0.15, 0.0), &|_| {});
        assert!(evaluate(&bench, &CHOICES).is_err(), "scatter, seed {seed}");
    }
    let swinging = |bench: &mut Bench| bench.points[9].code_sd = 20_000.0;
    told(
        "swing",
        &swinging,
        &|found| matches!(found, Suspicion::Swinging { place, .. } if place.number == 10),
    );
    let moved = |bench: &mut Bench| bench.points[9].force_g = [0.0, 1.3, 0.0];
    told("moved", &moved, &|found| matches!(found, Suspicion::NotStill { .. }));
    let drifting = |bench: &mut Bench| {
        let end = at(bench, (0, Direction::Sharp, Leg::Down, 0));
        for (index, point) in bench.points.iter_mut().enumerate().skip(2) {
            let share = (index.min(end) - 2) as f64 / (end - 2) as f64;
            point.mean_code += 0.4 * share / NOMINAL_SPAN_NM_PER_COUNT;
        }
    };
    told("drift", &drifting, &|found| match found {
        Suspicion::ZeroMoved { moved_nm, .. } => (moved_nm - 0.4).abs() < 0.08,
        _ => false,
    });
}

#[test]
fn mild_oddities_are_remarks_and_insisting_makes_grave_ones_remarks() {
    let bench = done(600_003, &|model| model.temperature_c = (18.0, 29.0), &|_| {});
    let result = evaluate(&bench, &CHOICES).unwrap();
    assert!(result.remarks[0].starts_with("the lever's temperature went from 18"));
    let (_, mut bench) = honest(600_004);
    bench.masses[2].mass_kg.value = 2.1;
    assert!(evaluate(&bench, &CHOICES).is_err());
    let result = evaluate(&bench, &Choices { number: 1, insist: true }).unwrap();
    assert!(result.remarks[0].starts_with("the mass 'C' looks wrong"), "{:?}", result.remarks);
}

#[test]
fn what_is_missing_is_told() {
    let (_, bench) = honest(600_005);
    let with = |change: &dyn Fn(&mut Bench)| {
        let mut changed = bench.clone();
        change(&mut changed);
        evaluate(&changed, &CHOICES).unwrap_err()
    };
    let loaded = |count: usize| {
        move |point: &super::bench::BenchPoint| match &point.setting {
            Setting::Loaded { masses, .. } => masses.len() <= count,
            Setting::Free => true,
        }
    };
    let few = with(&|bench| bench.points.retain(loaded(2)));
    assert_eq!(
        few.to_string(),
        "too few loads at position 'grip' sharp: 2 different ones, and at least 3 are needed, \
         not counting the lever without load"
    );
    let one = with(&|bench| {
        bench.points.retain(|point| !matches!(point.setting, Setting::Loaded { position: 1, .. }));
    });
    assert_eq!(one, CalibrationError::Positions { count: 1 });
    let zero = with(&|bench| bench.points.retain(|point| !super::loads::is_empty(point)));
    assert_eq!(zero, CalibrationError::NoZero);
    let free = with(&|bench| bench.points.retain(|point| point.setting != Setting::Free));
    assert_eq!(free, CalibrationError::NoFree);
    let nan = with(&|bench| bench.points[5].mean_code = f64::NAN);
    assert_eq!(nan.to_string(), "a value of point 6 is no possible value");
    let arm = with(&|bench| bench.positions[0].arm_m.value = -0.25);
    assert_eq!(arm.to_string(), "the arm of 'grip' is no possible value");
    let mass = with(&|bench| drop(bench.masses.pop()));
    assert!(matches!(mass, CalibrationError::NoSuchPart { .. }));
    let many = with(&|bench| bench.masses.extend(bench.masses.clone()));
    assert_eq!(many, CalibrationError::TooManyMasses { count: 12 });
}

#[test]
fn an_honest_bench_raises_no_alarm() {
    let mut alarms = Vec::new();
    for seed in HONEST.0..HONEST.0 + HONEST.1 {
        let (_, bench) = honest(seed);
        let found = diagnose(&bench);
        let refused = evaluate(&bench, &CHOICES).err();
        if !found.is_empty() || refused.is_some() {
            alarms.push((seed, found, refused));
        }
    }
    println!("{} false alarms on {} honest benches", alarms.len(), HONEST.1);
    assert!(alarms.len() as u64 * 100 <= HONEST.1, "{alarms:#?}");
}

#[test]
fn three_light_masses_and_three_arms_do_too() {
    let mut setup: Setup = setup();
    setup.masses.truncate(3);
    setup.positions.push(super::bench::HandPosition {
        name: "far".to_owned(),
        arm_m: crate::metrology::Estimate { value: 0.35, u: 0.000_15 },
    });
    for seed in WRONG.0..WRONG.0 + WRONG.1 {
        let model = Model::drawn(&setup, seed);
        let mut bench = bench_of(&setup, model, seed);
        assert!(evaluate(&bench, &CHOICES).is_ok(), "{seed}: {:?}", diagnose(&bench));
        bench.positions[2].arm_m.value = 0.305;
        refused(
            "third arm",
            seed,
            &bench,
            &|found| matches!(found, Suspicion::ArmLength { position, .. } if position == "far"),
        );
    }
}
