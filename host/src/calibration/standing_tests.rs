//! Marks by date, temperature, torque and checks.

use pinhold_protocol::record::{Outcome, Pin, Reading, SampleCoverage, StringPosition};
use pinhold_protocol::units::{Angle, DeviceTime, Torque};

use super::check::Answer;
use super::check_tests::calibration;
use super::mark::LeverMark;
use super::standing::{CheckFact, LeverStanding, TEMPERATURE_MARGIN_K, Taken};
use super::terms::{Basis, LeverTerms};

const DUE_MS: i64 = 1_000_000;

/// Calibrations 3 and 4 between 18 and 24 °C, up to 24 N·m, due at [`DUE_MS`].
fn standing(checks: &[(i64, u32, bool)]) -> LeverStanding {
    let kept = [3, 4].map(|number| {
        let mut record = calibration();
        record.number = number;
        record.due_ms = DUE_MS;
        record.result.terms.basis = Basis::Calibration { number };
        record.result.terms.temperature_c = Some((18.0, 24.0));
        record.result.terms.range_nm = Some((2.0, 24.0));
        record
    });
    let checks = checks
        .iter()
        .map(|(made_ms, calibration, passed)| CheckFact {
            made_ms: *made_ms,
            calibration: *calibration,
            answer: if *passed { Answer::Pass } else { Answer::Fail },
        })
        .collect();
    LeverStanding::new(kept.to_vec(), checks)
}

fn taken(calibration: u32, at_ms: i64) -> Taken {
    let torque_max_nm = Some(9.0);
    Taken { calibration, at_ms: Some(at_ms), temperature_c: 20.0, torque_max_nm }
}

fn failed(checks: &[(i64, u32, bool)], at_ms: i64) -> bool {
    standing(checks).marks(&taken(3, at_ms)) == [LeverMark::CheckFailed]
}

#[test]
fn a_reading_with_nothing_against_it_has_no_mark() {
    assert_eq!(standing(&[]).marks(&taken(3, 5)), []);
    assert_eq!(standing(&[(4, 3, true), (6, 3, true)]).marks(&taken(3, 5)), []);
    assert_eq!(standing(&[]).terms(3).basis, Basis::Calibration { number: 3 });
}

#[test]
fn without_a_calibration_here_the_class_counts() {
    let unknown = [LeverMark::CalibrationUnknown { number: 9 }];
    assert_eq!(standing(&[]).marks(&taken(0, 5)), [LeverMark::Uncalibrated]);
    assert_eq!(standing(&[]).marks(&taken(9, 5)), unknown);
    for number in [0, 9] {
        assert_eq!(*standing(&[]).terms(number), LeverTerms::class());
    }
    // A lever never met.
    assert_eq!(LeverStanding::default().marks(&taken(0, 5)), [LeverMark::Uncalibrated]);
    assert_eq!(LeverStanding::default().marks(&taken(9, 5)), unknown);
}

#[test]
fn overdue_is_what_was_read_after_the_day() {
    assert_eq!(standing(&[]).marks(&taken(3, DUE_MS)), []);
    assert_eq!(standing(&[]).marks(&taken(3, DUE_MS + 1)), [LeverMark::Overdue]);
    let undated = Taken { at_ms: None, ..taken(3, 0) };
    assert_eq!(standing(&[]).marks(&undated), []);
}

#[test]
fn temperature_may_leave_the_bench_s_by_the_margin() {
    let at = |temperature_c| standing(&[]).marks(&Taken { temperature_c, ..taken(3, 5) });
    for fine in [18.0, 24.0, 18.0 - TEMPERATURE_MARGIN_K, 24.0 + TEMPERATURE_MARGIN_K] {
        assert_eq!(at(fine), [], "{fine} °C");
    }
    for out in [12.99, 29.01, -40.0, f64::NAN] {
        assert_eq!(at(out), [LeverMark::OutOfTemperature], "{out} °C");
    }
}

#[test]
fn torque_beyond_the_loads_is_marked() {
    let at = |torque_max_nm| standing(&[]).marks(&Taken { torque_max_nm, ..taken(3, 5) });
    assert_eq!(at(Some(24.0)), []);
    assert_eq!(at(None), []);
    assert_eq!(at(Some(24.01)), [LeverMark::OutOfRange]);
}

#[test]
fn a_failed_check_marks_what_was_read_since_the_last_pass() {
    let checks = [(10, 3, true), (20, 3, false)];
    assert!(!failed(&checks, 9), "a pass stands between");
    assert!(!failed(&checks, 10), "read at the pass");
    assert!(failed(&checks, 11));
    assert!(failed(&checks, 20));
    assert!(failed(&checks, 21), "and nothing passed since");
    assert!(failed(&[(20, 3, false)], 1), "no pass at all");
}

#[test]
fn a_later_pass_ends_the_doubt_and_clears_nothing() {
    let checks = [(10, 3, true), (20, 3, false), (30, 3, true)];
    assert!(failed(&checks, 15), "the failure came first");
    assert!(failed(&checks, 25), "between failure and pass");
    assert!(!failed(&checks, 31));
    // The order they are handed in does not matter.
    let mixed = [checks[2], checks[0], checks[1]];
    assert!(failed(&mixed, 15) && !failed(&mixed, 31));
}

#[test]
fn a_check_speaks_for_its_own_calibration_alone() {
    let checks = [(10, 4, false), (20, 4, false)];
    assert!(!failed(&checks, 15));
    assert_eq!(standing(&checks).marks(&taken(4, 15)), [LeverMark::CheckFailed]);
}

#[test]
fn a_check_that_could_not_tell_is_neither_pass_nor_failure() {
    let of = |answers: &[(i64, Answer)]| {
        let checks = answers
            .iter()
            .map(|(made_ms, answer)| CheckFact {
                made_ms: *made_ms,
                calibration: 3,
                answer: *answer,
            })
            .collect();
        let mut record = calibration();
        record.due_ms = DUE_MS;
        LeverStanding::new(vec![record], checks)
    };
    let marks = |answers: &[(i64, Answer)], at_ms| {
        of(answers).marks(&Taken { temperature_c: 21.0, ..taken(3, at_ms) })
    };
    assert_eq!(marks(&[(10, Answer::CannotTell)], 5), []);
    // It does not end a doubt either.
    let between = [(10, Answer::Fail), (20, Answer::CannotTell)];
    assert_eq!(marks(&between, 25), [LeverMark::CheckFailed]);
    let before = [(10, Answer::Pass), (20, Answer::CannotTell), (30, Answer::Fail)];
    assert_eq!(marks(&before, 15), [LeverMark::CheckFailed]);
}

#[test]
fn a_reading_of_unknown_date_is_in_doubt_with_any_failure() {
    let undated = Taken { at_ms: None, ..taken(3, 0) };
    assert_eq!(standing(&[(10, 3, true)]).marks(&undated), []);
    let checks = [(10, 3, true), (20, 3, false), (30, 3, true)];
    assert_eq!(standing(&checks).marks(&undated), [LeverMark::CheckFailed]);
}

#[test]
fn every_mark_that_holds_is_there_in_order() {
    let bad = Taken {
        calibration: 3,
        at_ms: Some(DUE_MS + 5),
        temperature_c: 40.0,
        torque_max_nm: Some(26.0),
    };
    let all = standing(&[(DUE_MS + 9, 3, false)]).marks(&bad);
    assert_eq!(
        all,
        [
            LeverMark::Overdue,
            LeverMark::OutOfTemperature,
            LeverMark::CheckFailed,
            LeverMark::OutOfRange
        ]
    );
    assert!(all.is_sorted());
    let now = standing(&[(10, 3, false)]).marks_now(3, DUE_MS + 1);
    assert_eq!(now, [LeverMark::Overdue, LeverMark::CheckFailed]);
}

#[test]
fn the_torque_that_counts_is_the_one_the_outcome_rests_on() {
    let nm = |value: f64| Torque::from_newton_metres(value).unwrap();
    let mut reading = Reading {
        survey: 1,
        pin: Pin { note: 40, string: StringPosition::Left },
        started: DeviceTime::from_microseconds(0),
        duration_ms: 1,
        outcome: Outcome::Measured,
        flags: 0,
        friction: None,
        string_moment: None,
        sharp: Some(nm(11.0)),
        flat: Some(nm(-12.5)),
        net_rotation: Angle::ZERO,
        excursion_flat: Angle::ZERO,
        excursion_sharp: Angle::ZERO,
        temperature_centi_celsius: 2150,
        attitude_milli_g: [0, 0, 1000],
        calibration: 3,
        samples: SampleCoverage::None,
        strokes: Default::default(),
    };
    let of = |reading: &Reading| Taken::of(reading, None);
    assert_eq!(of(&reading).torque_max_nm, Some(12.5));
    assert_eq!((of(&reading).temperature_c, of(&reading).calibration), (21.5, 3));
    reading.outcome = Outcome::Spoiled;
    assert_eq!(of(&reading).torque_max_nm, None);
    reading.outcome = Outcome::AboveLimit;
    assert_eq!(of(&reading).torque_max_nm, None, "no stroke, no peak");
}
