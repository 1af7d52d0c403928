//! The way through a bench: its steps, going back, leaving out, taking up again, doubts.

use super::*;
use crate::calibration::practice::{Model, PracticeLever};
use crate::calibration::test_benches::setup;

fn begun() -> Procedure {
    Procedure::new(setup(), 7, true).unwrap()
}

#[test]
fn the_plan_goes_up_and_down_both_ways_at_each_arm() {
    let procedure = begun();
    let steps = procedure.steps();
    // Own weight 2 + 2; six masses up (7 with none) and down (6): 13, four times; the last mass is
    // left out at the longer arm (29.4 N·m): 11, twice.
    assert_eq!(steps.len(), 4 + 2 * 13 + 2 * 11);
    assert!(steps.iter().all(|step| step.load_nm <= LOAD_MAX_NM * 1.02));
    let highest = steps.iter().map(|step| step.load_nm).fold(0.0, f64::max);
    assert!(highest > 24.0, "{highest}");
    let sentences: Vec<String> =
        steps[2..5].iter().map(|step| procedure.sentence(step, TorqueUnit::NewtonMetre)).collect();
    assert!(sentences[0].contains("three times; then leave it without load"), "{sentences:?}");
    assert_eq!(sentences[1], "'grip', sharp: put on, gently, until there hang A (2.45 N·m)");
    assert_eq!(sentences[2], "'grip', sharp: put on, gently, until there hang A + B (4.90 N·m)");
}

#[test]
fn impossible_setups_are_told() {
    let with = |change: &dyn Fn(&mut Setup)| {
        let mut setup = setup();
        change(&mut setup);
        Procedure::new(setup, 7, true).unwrap_err()
    };
    assert_eq!(with(&|s| s.masses.truncate(2)), PlanError::Masses { count: 2 });
    assert_eq!(with(&|s| s.positions.truncate(1)), PlanError::Arms { count: 1 });
    let heavy = with(&|s| s.positions[0].arm_m.value = 2.5);
    assert!(heavy.to_string().contains("must not be loaded beyond 25 N·m"), "{heavy}");
    let light = with(&|s| s.positions[1].arm_m.value = 0.025);
    assert!(matches!(light, PlanError::TooLight { .. }), "{light}");
}

#[test]
fn a_step_can_be_taken_again_and_left_out() {
    let mut procedure = begun();
    let mut lever = PracticeLever::new(Model::drawn(&setup(), 3), 3);
    assert!(!procedure.redo());
    for at in 0..5 {
        let step = procedure.next().unwrap();
        assert_eq!(procedure.position(), at);
        procedure.take(&lever.settled(&step), at as i64);
    }
    assert!(procedure.redo());
    assert_eq!((procedure.position(), procedure.taken_count()), (4, 4));
    procedure.skip();
    assert_eq!((procedure.position(), procedure.taken_count()), (5, 4));
    assert!(procedure.redo());
    assert_eq!(procedure.position(), 4);
    lever.finish(&mut procedure, 0);
    assert_eq!(procedure.next(), None);
    assert_eq!(procedure.taken_count(), procedure.steps().len());
    procedure.skip();
    assert_eq!(procedure.check(), Ok(()));
}

#[test]
fn a_series_can_be_taken_again_as_a_whole() {
    let mut procedure = begun();
    let mut lever = PracticeLever::new(Model::drawn(&setup(), 6), 6);
    lever.finish(&mut procedure, 0);
    let all = procedure.taken_count();
    assert_eq!(procedure.step_of(20), Some(20));
    assert_eq!(procedure.reopen(20), 13);
    assert_eq!((procedure.position(), procedure.taken_count()), (15, all - 13));
    lever.finish(&mut procedure, 0);
    assert_eq!((procedure.taken_count(), procedure.check()), (all, Ok(())));
    assert!(crate::calibration::evaluate(&procedure.bench(), &Default::default()).is_ok());
    assert_eq!(procedure.reopen(0), 1);
    assert_eq!(procedure.position(), 0);
    assert_eq!(procedure.reopen(999), 0);
}

#[test]
fn what_was_written_down_goes_on_where_it_stood() {
    let mut procedure = begun();
    let mut lever = PracticeLever::new(Model::drawn(&setup(), 4), 4);
    for _ in 0..9 {
        let step = procedure.next().unwrap();
        procedure.take(&lever.settled(&step), 0);
    }
    let text = serde_json::to_string(&procedure).unwrap();
    let back: Procedure = serde_json::from_str(&text).unwrap();
    assert_eq!(back.check(), Ok(()));
    assert_eq!(back, procedure);
    assert_eq!(back.next(), procedure.next());
    // Whatever else is in the file is told, not trusted.
    for (from, to) in [
        ("progress\"", "regress\""),
        ("\"version\":1", "\"version\":2"),
        ("\"step\":3", "\"step\":300"),
        ("\"step\":4", "\"step\":3"),
        ("\"skipped\":[]", "\"skipped\":[999]"),
    ] {
        assert!(text.contains(from), "{from}");
        let changed: Procedure = serde_json::from_str(&text.replacen(from, to, 1)).unwrap();
        assert!(matches!(changed.check(), Err(PlanError::NotThis { .. })), "{to}");
    }
}

#[test]
fn a_wrong_reading_is_doubted_as_it_comes_in() {
    let mut procedure = begun();
    let mut lever = PracticeLever::new(Model::drawn(&setup(), 5), 5);
    for at in 0..8 {
        let step = procedure.next().unwrap();
        let settled = lever.settled(&step);
        assert_eq!(procedure.look(&settled), [], "step {at}");
        procedure.take(&settled, at);
    }
    let step = procedure.next().unwrap();
    let good = lever.settled(&step);
    let mut other = step.clone();
    if let Setting::Loaded { masses, .. } = &mut other.setting {
        masses.pop();
    }
    let doubts = procedure.look(&lever.settled(&other));
    assert!(matches!(doubts[..], [Doubt::NotAsHung(..)]), "{doubts:?}");
    let turned = Settled { force_g: [0.0, -1.0, 0.0], ..good };
    assert!(procedure.look(&turned).contains(&Doubt::WrongSide));
    let tilted = Settled { force_g: [0.3, 0.95, 0.0], ..good };
    assert!(matches!(procedure.look(&tilted)[..], [Doubt::Tilted(_)]));
    let moved = Settled { force_g: [0.0, 0.7, 0.0], ..good };
    assert!(procedure.look(&moved).contains(&Doubt::NotStill));
}
