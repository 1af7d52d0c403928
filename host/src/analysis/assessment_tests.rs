//! The whole analysis on small invented planks: each shape, each rule, and odd input.

use super::input::{Condition, Estimate, PinReading, PlankSight, TuneStability};
use super::test_planks::{grand, plank, reading};
use super::*;
use crate::calibration::mark::LeverMark;
use crate::instrument::{FieldPin, Instrument};

fn assess_plank(instrument: &Instrument, readings: &[PinReading], c: &Condition) -> Assessment {
    let input = AssessmentInput { instrument, readings, condition: c, seed: 1 };
    assess(&input, &Profile { bootstrap_count: 199, ..Profile::default() })
}

fn assess_fault(
    seed: u64,
    condition: &Condition,
    fault: impl FnMut(&FieldPin, f64, &mut random::Random) -> f64,
) -> Assessment {
    let (instrument, readings) = plank(seed, 10.5, 0.12, fault);
    assess_plank(&instrument, &readings, condition)
}

fn shapes(assessment: &Assessment) -> Vec<ZoneShape> {
    assessment.zones.iter().map(|zone| zone.shape).collect()
}

fn show(assessment: &Assessment) -> String {
    let verdict = &assessment.verdict;
    format!(
        "{:?} {:.2} {:?} {:?}\n{:?}\n{:?}",
        verdict.remedy,
        verdict.confidence,
        shapes(assessment),
        &verdict.states[..3],
        &verdict.alternatives[..4],
        verdict.reasons_for,
    )
}

#[test]
fn a_sound_plank_is_left_alone() {
    for seed in 0..10 {
        let assessment = assess_fault(seed, &Condition::default(), |_, sound, _| sound);
        assert_eq!(assessment.verdict.remedy, Remedy::Leave, "{}", show(&assessment));
    }
}

#[test]
fn a_ragged_line_inside_the_field_overrides_the_share() {
    for seed in 0..10 {
        let assessment = assess_fault(seed, &Condition::default(), |place, sound, _| {
            let note = place.pin.note;
            let loose = place.row == 1 && (31..=46).contains(&note) && note % 4 != 0;
            if loose { sound * 0.33 } else { sound }
        });
        assert!(
            shapes(&assessment).contains(&ZoneShape::RaggedLineInside),
            "{}",
            show(&assessment)
        );
        let verdict = &assessment.verdict;
        let kind = verdict.remedy.kind();
        assert!(
            matches!(kind, RemedyKind::Plank | RemedyKind::RepairBlock),
            "{}",
            show(&assessment)
        );
        assert!(!verdict.confirm_before_acting.is_empty());
        if kind == RemedyKind::Plank {
            assert!(verdict.confidence <= 0.7);
        }
        let zone = &assessment.zones[0];
        assert!(zone.pins.len() >= 10 && zone.tight_inside.len() >= 2, "{zone:?}");
        assert!(zone.place.contains("second row from the flange"), "{}", zone.place);
    }
}

#[test]
fn a_line_along_the_flange_is_no_split() {
    for seed in 0..10 {
        let assessment = assess_fault(seed, &Condition::default(), |place, sound, _| {
            let loose = place.row == 0 && (28..=42).contains(&place.pin.note);
            if loose { sound * 0.4 } else { sound }
        });
        assert_eq!(shapes(&assessment)[0], ZoneShape::AlongFlange, "{}", show(&assessment));
        let kind = assessment.verdict.remedy.kind();
        let right = [RemedyKind::Treat, RemedyKind::Larger, RemedyKind::Rebush];
        assert!(right.contains(&kind), "{}", show(&assessment));
    }
}

#[test]
fn a_row_evenly_low_is_a_whole_row() {
    for seed in 0..5 {
        let assessment = assess_fault(seed, &Condition::default(), |place, sound, _| {
            if place.section == 2 && place.row == 1 { sound * 0.55 } else { sound }
        });
        assert_eq!(shapes(&assessment)[0], ZoneShape::WholeRow, "{}", show(&assessment));
        assert_ne!(assessment.verdict.remedy, Remedy::Plank);
    }
}

#[test]
fn a_patch_with_stain_is_contamination() {
    for seed in 0..5 {
        let condition = Condition { contamination: Some(true), ..Condition::default() };
        let assessment = assess_fault(seed, &condition, |place, sound, _| {
            if (52..=60).contains(&place.pin.note) { sound * 0.4 } else { sound }
        });
        assert_eq!(shapes(&assessment)[0], ZoneShape::Patch, "{}", show(&assessment));
        assert_eq!(assessment.verdict.states[0].0, verdict::PlankState::Contaminated);
        let kind = assessment.verdict.remedy.kind();
        let right = [RemedyKind::RepairBlock, RemedyKind::Treat, RemedyKind::Larger];
        assert!(right.contains(&kind), "{}", show(&assessment));
    }
}

#[test]
fn scattered_bad_holes_are_treated() {
    for seed in 0..10 {
        let assessment = assess_fault(seed, &Condition::default(), |_, sound, random| {
            if random.uniform() < 0.07 { sound * 0.33 } else { sound }
        });
        assert!(shapes(&assessment).contains(&ZoneShape::Scattered), "{}", show(&assessment));
        let kind = assessment.verdict.remedy.kind();
        assert!(matches!(kind, RemedyKind::Treat | RemedyKind::Larger), "{}", show(&assessment));
    }
}

#[test]
fn a_dry_plank_is_low_everywhere() {
    for seed in 0..10 {
        let (instrument, readings) = plank(seed, 5.2, 0.2, |_, sound, _| sound);
        let assessment = assess_plank(&instrument, &readings, &Condition::default());
        assert!(shapes(&assessment).contains(&ZoneShape::Everywhere), "{}", show(&assessment));
        let kind = assessment.verdict.remedy.kind();
        assert!(matches!(kind, RemedyKind::Larger | RemedyKind::Restring), "{}", show(&assessment));
    }
}

#[test]
fn weak_in_a_dry_room_waits_for_humidity() {
    let condition = Condition { relative_humidity: Some(0.25), ..Condition::default() };
    let (instrument, readings) = plank(3, 6.9, 0.16, |_, sound, _| sound);
    let assessment = assess_plank(&instrument, &readings, &condition);
    assert_eq!(assessment.verdict.remedy, Remedy::Climate, "{}", show(&assessment));
}

#[test]
fn a_bass_on_large_pins_and_loose_again_has_no_room() {
    for seed in 0..5 {
        let (mut instrument, readings) =
            plank(
                seed,
                10.0,
                0.13,
                |place, sound, _| {
                    if place.section == 0 { sound * 0.45 } else { sound }
                },
            );
        for pin in instrument.pins.iter_mut().filter(|pin| pin.section == 0) {
            pin.diameter_um = Some(7_520);
        }
        let assessment = assess_plank(&instrument, &readings, &Condition::default());
        assert_eq!(shapes(&assessment)[0], ZoneShape::WholeSection, "{}", show(&assessment));
        let kind = assessment.verdict.remedy.kind();
        assert!(
            matches!(kind, RemedyKind::Plank | RemedyKind::RepairBlock),
            "{}",
            show(&assessment)
        );
    }
}

#[test]
fn good_torque_and_poor_tuning_look_elsewhere() {
    let condition = Condition { tune: Some(TuneStability::Unstable), ..Condition::default() };
    for seed in 0..10 {
        let assessment = assess_fault(seed, &condition, |_, sound, _| sound);
        assert_eq!(assessment.verdict.remedy, Remedy::Elsewhere, "{}", show(&assessment));
    }
}

#[test]
fn tight_and_flat_planks_are_left() {
    let (instrument, readings) = plank(1, 18.0, 0.09, |_, sound, _| sound);
    let tight = assess_plank(&instrument, &readings, &Condition::default());
    assert_eq!(tight.verdict.remedy, Remedy::Leave, "{}", show(&tight));
    let condition = Condition { pitch_cents: Some(-100.0), ..Condition::default() };
    let flat = assess_fault(2, &condition, |_, sound, _| sound);
    assert_eq!(flat.verdict.remedy, Remedy::Leave);
    assert!(flat.verdict.reasons_for.iter().any(|reason| reason.contains("100 cents flat")));
    // Tension goes with the square of frequency: 100 cents are 11 % of pull.
    assert!(flat.verdict.reasons_for.iter().any(|reason| reason.contains("11 % less")));
}

#[test]
fn parted_plies_lift_the_cap() {
    let ragged = |place: &FieldPin, sound: f64, _: &mut random::Random| {
        let loose = place.row == 1 && (31..=48).contains(&place.pin.note);
        if loose && !place.pin.note.is_multiple_of(5) { sound * 0.3 } else { sound }
    };
    let condition = Condition { plank: Some(PlankSight::PliesParted), ..Condition::default() };
    let seen = assess_fault(4, &condition, ragged);
    assert!(seen.verdict.confidence > 0.8, "{}", show(&seen));
    assert!(!seen.verdict.confidence_is_capped);
    let unseen = assess_fault(4, &Condition::default(), ragged);
    assert!(unseen.verdict.confidence <= 0.7 || unseen.verdict.remedy != Remedy::Plank);
}

/// A ragged plank whose readings carry a mark from this pin on.
fn marked(mark: Option<LeverMark>, from: usize, condition: &Condition) -> Assessment {
    let (instrument, mut readings) = plank(4, 10.5, 0.12, |place, sound, _| {
        let loose = place.row == 1 && (31..=48).contains(&place.pin.note);
        if loose && !place.pin.note.is_multiple_of(5) { sound * 0.3 } else { sound }
    });
    readings.iter_mut().skip(from).for_each(|reading| reading.marks.extend(mark));
    assess_plank(&instrument, &readings, condition)
}

#[test]
fn a_lever_in_doubt_caps_the_confidence_and_changes_no_choice() {
    use verdict::ConfidenceCap::LeverInDoubt;
    let parted = Condition { plank: Some(PlankSight::PliesParted), ..Condition::default() };
    let sound = marked(None, 0, &parted).verdict;
    assert!(sound.confidence > 0.8 && sound.confidence_cap.is_none());
    let open = [
        LeverMark::Uncalibrated,
        LeverMark::CalibrationUnknown { number: 3 },
        LeverMark::CheckFailed,
    ];
    for mark in open {
        let all = marked(Some(mark), 0, &parted).verdict;
        assert_eq!((all.remedy, &all.alternatives), (sound.remedy, &sound.alternatives));
        assert_eq!((all.confidence, all.confidence_cap), (0.7, Some(LeverInDoubt)), "{mark:?}");
        let first = &all.confirm_before_acting[0];
        assert!(first.starts_with("the lever, ") && first.ends_with("(every torque)"), "{first}");
        let failed = mark == LeverMark::CheckFailed;
        let against = all.reasons_against.iter().any(|reason| reason.contains("failed its check"));
        let next = all.next_observation.is_some_and(|next| next.starts_with("calibrate the lever"));
        assert_eq!((against, next), (failed, failed), "{mark:?}");
    }
    // A few readings of such a lever weigh by their share.
    let few = marked(Some(LeverMark::CheckFailed), 200, &parted).verdict;
    assert!(few.confidence > 0.8, "{}", few.confidence);
    assert!(few.confirm_before_acting[0].contains("27 of 227"), "{:?}", few.confirm_before_acting);
    // What is told but leaves the size of the error known caps nothing.
    for mark in [LeverMark::Overdue, LeverMark::OutOfTemperature, LeverMark::OutOfRange] {
        let told = marked(Some(mark), 0, &parted).verdict;
        assert_eq!((told.confidence, told.confidence_cap), (sound.confidence, None), "{mark:?}");
        assert_eq!(told.confirm_before_acting.len(), sound.confirm_before_acting.len() + 1);
    }
}

#[test]
fn a_sound_plank_read_with_a_failed_lever_is_left_with_words() {
    let (instrument, mut readings) = plank(1, 10.0, 0.12, |_, sound, _| sound);
    readings.iter_mut().for_each(|reading| reading.marks.push(LeverMark::CheckFailed));
    let verdict = assess_plank(&instrument, &readings, &Condition::default()).verdict;
    assert_eq!(verdict.remedy, Remedy::Leave);
    assert!(verdict.confidence <= 0.7 && verdict.confirm_before_acting.len() == 1);
}

#[test]
fn few_pins_leave_it_open_and_name_what_would_tell() {
    let (instrument, readings) = plank(1, 10.0, 0.12, |_, sound, _| sound);
    let mut kept = Vec::new();
    for count in [0, 1, 2, 5] {
        kept.clear();
        kept.extend(readings.iter().step_by(40).take(count).cloned());
        let assessment = assess_plank(&instrument, &kept, &Condition::default());
        assert_eq!(assessment.verdict.remedy, Remedy::Undecided, "{}", show(&assessment));
        let next = assessment.verdict.next_observation.as_deref().unwrap_or("");
        assert!(next.starts_with("read more pins"), "{next}");
    }
    // A third of the pins, well spread, is enough to leave a sound plank.
    kept.clear();
    kept.extend(readings.iter().step_by(3).cloned());
    let sampled = assess_plank(&instrument, &kept, &Condition::default());
    assert_eq!(sampled.verdict.remedy, Remedy::Leave, "{}", show(&sampled));
}

#[test]
fn odd_input_gives_finite_answers() {
    let instrument = grand();
    let mut empty = instrument.clone();
    empty.pins.clear();
    let mut heap = instrument.clone();
    for pin in &mut heap.pins {
        (pin.x_m, pin.y_m, pin.section, pin.row) = (f64::NAN, f64::INFINITY, 255, 255);
    }
    let same: Vec<PinReading> = instrument
        .pins
        .iter()
        .map(|place| reading(place.pin.note, place.pin.string.letter(), 9.0, 2.5))
        .collect();
    let mut wild = same.clone();
    for (i, pin) in wild.iter_mut().enumerate() {
        let value = [f64::NAN, f64::INFINITY, -5.0, 0.0, 1e300, 1e-300][i % 6];
        pin.friction_nm = Some(Estimate { value, u: if i % 7 == 0 { f64::NAN } else { 0.0 } });
        pin.moment_at_pitch_nm = Estimate { value: -value, u: value };
        pin.cents_as_found = Some(value);
    }
    let condition = Condition {
        relative_humidity: Some(f64::NAN),
        pitch_cents: Some(f64::NEG_INFINITY),
        largest_pin_um: Some(0),
        ..Condition::default()
    };
    for place in [&instrument, &empty, &heap] {
        for readings in [&same[..], &wild[..], &same[..1], &[]] {
            let assessment = assess_plank(place, readings, &condition);
            let verdict = &assessment.verdict;
            assert!((0.0..=1.0).contains(&verdict.confidence));
            assert!(verdict.states.iter().all(|(_, p)| p.is_finite()));
            for point in &assessment.field.points {
                assert!(point.sound_nm.value.is_finite() && point.expected_nm.u.is_finite());
                assert!((0.0..=1.0).contains(&point.doubtful_chance), "{point:?}");
            }
        }
    }
}

#[test]
fn the_same_seed_gives_the_same_assessment() {
    let run = || {
        assess_fault(6, &Condition::default(), |place, sound, _| {
            if place.row == 2 && place.pin.note > 75 { sound * 0.4 } else { sound }
        })
    };
    assert_eq!(run(), run());
}

#[test]
fn unread_pins_get_the_field_and_their_zone() {
    let (instrument, readings) = plank(8, 10.0, 0.1, |place, sound, _| {
        let loose = place.row == 1 && (50..=69).contains(&place.pin.note);
        if loose { sound * 0.35 } else { sound }
    });
    let sampled: Vec<PinReading> = readings.iter().step_by(2).cloned().collect();
    let assessment = assess_plank(&instrument, &sampled, &Condition::default());
    assert_eq!(assessment.pins.len(), assessment.field.points.len());
    let chance = |note: u8, row: u8| {
        let of = assessment.pins.iter().zip(&assessment.field.points);
        let mut unread = of.filter(|(p, _)| !p.read && p.pin.note == note && p.site.row == row);
        unread.next().map(|(_, point)| point.doubtful_chance)
    };
    let inside: Vec<f64> = (52..=66).filter_map(|note| chance(note, 1)).collect();
    let outside: Vec<f64> = (52..=66).filter_map(|note| chance(note, 2)).collect();
    assert!(inside.len() > 4 && inside.iter().all(|p| *p > 0.5), "{inside:?}");
    assert!(outside.len() > 4 && outside.iter().all(|p| *p < 0.2), "{outside:?}");
}

#[test]
fn a_ragged_line_in_a_dry_plank_is_still_seen() {
    for seed in 0..5 {
        let (instrument, readings) = plank(seed, 6.4, 0.14, |place, sound, _| {
            let note = place.pin.note;
            let loose = place.row == 1 && (31..=48).contains(&note) && note % 4 != 0;
            if loose { sound * 0.35 } else { sound }
        });
        let assessment = assess_plank(&instrument, &readings, &Condition::default());
        let found = shapes(&assessment);
        assert!(found.contains(&ZoneShape::RaggedLineInside), "{}", show(&assessment));
        let kind = assessment.verdict.remedy.kind();
        assert!(
            matches!(kind, RemedyKind::Plank | RemedyKind::RepairBlock),
            "{}",
            show(&assessment)
        );
    }
}

#[test]
fn a_weak_section_on_first_pins_gets_larger_ones_there() {
    for seed in 0..5 {
        let assessment = assess_fault(seed, &Condition::default(), |place, sound, _| {
            if place.section == 3 { sound * 0.45 } else { sound }
        });
        assert_eq!(shapes(&assessment)[0], ZoneShape::WholeSection, "{}", show(&assessment));
        let Remedy::Larger { pin_count, to_um: Some(to_um), .. } = assessment.verdict.remedy else {
            panic!("{}", show(&assessment));
        };
        assert!((50..=70).contains(&pin_count) && to_um > 7_160, "{pin_count} {to_um}");
        let ordered: usize = assessment.verdict.parts.iter().map(|line| line.pin_count).sum();
        assert_eq!(ordered, pin_count);
    }
}

#[test]
fn a_restrung_section_that_holds_is_no_fault() {
    for seed in 0..5 {
        let assessment = assess_fault(seed, &Condition::default(), |place, sound, _| {
            if place.section == 1 { sound * 1.5 } else { sound }
        });
        assert_eq!(assessment.verdict.remedy, Remedy::Leave, "{}", show(&assessment));
        assert!(assessment.zones.is_empty(), "{}", show(&assessment));
    }
}
