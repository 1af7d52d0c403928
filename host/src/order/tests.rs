//! Orders of planks whose fault is known.

use pinhold_protocol::record::Pin;

use super::*;
use crate::analysis::input::{Condition, Estimate, PlankSight};
use crate::analysis::test_planks::plank;
use crate::analysis::{AssessmentInput, Profile, assess};
use crate::condition::{Value, find};

fn record(answers: &[(&str, Option<u8>, &str)]) -> ConditionRecord {
    let mut record = ConditionRecord::default();
    for (name, section, text) in answers {
        let fact = find(name).expect(name);
        assert!(record.set(fact, *section, Value::parse(fact.kind, text).expect(text)), "{name}");
    }
    record
}

/// A plank whose second row is loose in one section, and what is seen of it.
fn ordered(
    condition: Condition,
    recorded: &ConditionRecord,
) -> (Instrument, Assessment, WorkOrder) {
    let (instrument, readings) = plank(1, 10.0, 0.12, |place, sound, _| {
        if place.section == 1 && place.row == 1 && place.pin.note % 5 > 0 { 3.0 } else { sound }
    });
    let input = AssessmentInput {
        instrument: &instrument,
        readings: &readings,
        condition: &condition,
        seed: 1,
    };
    let assessment = assess(&input, &Profile::default());
    let order = work_order(&instrument, &assessment, recorded, 0.05);
    (instrument, assessment, order)
}

fn parted() -> Condition {
    Condition {
        plank: Some(PlankSight::PliesParted),
        bushed_plate: Some(true),
        ..Condition::default()
    }
}

#[test]
fn a_new_plank_wants_every_pin_bushing_and_string() {
    let recorded = record(&[("plank.thickness", None, "28 mm"), ("pins.finish", None, "blued")]);
    let (instrument, assessment, order) = ordered(parted(), &recorded);
    assert_eq!(assessment.verdict.remedy.kind(), RemedyKind::Plank);
    let count = instrument.pins.len();
    assert_eq!(order.totals.iter().map(|total| total.pin_count).sum::<usize>(), count);
    // A spare or more for every twenty pins, rounded up in each place.
    for line in &order.pins {
        assert_eq!(line.spare_count, line.pin_count.div_ceil(20), "{line:?}");
    }
    assert_eq!(order.bushing_count, Some(count + count.div_ceil(20)));
    let strings = order.strings.expect("strings");
    assert!(strings.is_renewed);
    assert_eq!(strings.plain_count + strings.wound_count + strings.unknown_count, count);
    assert_eq!(order.drilling.len(), 1);
    assert_eq!(order.finish.as_deref(), Some("blued"));
    assert!(order.length_notes.iter().any(|note| note.contains("would come through")));
}

#[test]
fn lengths_are_those_of_each_section_and_make_totals_of_their_own() {
    let recorded = record(&[
        ("pins.length", Some(0), "62 mm"),
        ("pins.length", Some(1), "60 mm"),
        ("plank.thickness", None, "42 mm"),
    ]);
    let (_, _, order) = ordered(parted(), &recorded);
    let lengths: Vec<Option<u32>> = order.totals.iter().map(|total| total.length_um).collect();
    assert!(lengths.contains(&Some(62_000)) && lengths.contains(&Some(60_000)), "{lengths:?}");
    assert!(lengths.contains(&None), "{lengths:?}");
    assert!(order.length_notes.is_empty(), "{:?}", order.length_notes);
}

#[test]
fn nothing_is_ordered_for_a_sound_plank() {
    let (instrument, readings) = plank(3, 10.0, 0.10, |_, sound, _| sound);
    let condition = Condition::default();
    let input = AssessmentInput {
        instrument: &instrument,
        readings: &readings,
        condition: &condition,
        seed: 1,
    };
    let assessment = assess(&input, &Profile::default());
    let order = work_order(&instrument, &assessment, &ConditionRecord::default(), 0.05);
    assert!(order.pins.is_empty() && order.totals.is_empty() && order.drilling.is_empty());
    assert_eq!((order.bushing_count, order.strings.is_none()), (None, true));
    assert!(order.length_notes.is_empty() && !order.bushings_unknown);
    assert_eq!(order.steps.len(), 1);
}

#[test]
fn wire_is_summed_by_diameter_where_every_length_is_known() {
    let (mut instrument, _, _) = ordered(parted(), &ConditionRecord::default());
    let row =
        |note: u8, wire_m: f64, total_length_m: Option<f64>| crate::instrument::scale::StringRow {
            note,
            string: None,
            speaking_length_m: 0.4,
            u_speaking_length_m: None,
            wire_m,
            u_wire_m: None,
            winding: None,
            total_length_m,
        };
    instrument.strings.rows =
        vec![row(60, 0.001, Some(0.8)), row(61, 0.001, Some(0.75)), row(62, 0.000_95, None)];
    let pins: Vec<Pin> = instrument.pins.iter().map(|field| field.pin).collect();
    let touched: Vec<Pin> = pins.into_iter().filter(|pin| (60..=62).contains(&pin.note)).collect();
    let strings = strings(&instrument, RemedyKind::Plank, &touched).expect("strings");
    assert_eq!(strings.plain_count, 9);
    assert_eq!(strings.wire.len(), 2);
    assert_eq!(strings.wire[0], (0.000_95, 3, None));
    let (wire_m, count, total_m) = strings.wire[1];
    assert_eq!((wire_m, count), (0.001, 6));
    assert!((total_m.unwrap() - 3.0 * (0.8 + 0.75)).abs() < 1e-9);
}

#[test]
fn trial_pins_are_asked_for_until_some_are_fitted() {
    let texts = |condition: &Condition| {
        let job = work::Job { remedy: RemedyKind::Larger, condition, coil_gap_um: None };
        work::steps(&job).iter().map(|step| step.text.clone()).collect::<Vec<_>>()
    };
    let before = texts(&Condition::default());
    assert!(before[0].starts_with("Fit two or three trial pins"), "{before:?}");
    let fitted = |pin: &str| crate::analysis::gain::Trial {
        pin: crate::instrument::parse_pin(pin).unwrap(),
        from_um: 7_100,
        to_um: 7_250,
        reamed: false,
        before_nm: Estimate { value: 3.0, u: 0.1 },
        after_nm: Estimate { value: 6.0, u: 0.1 },
    };
    let trials = vec![fitted("40L"), fitted("44C")];
    let after = texts(&Condition { trials, ..Condition::default() });
    assert!(after[0].starts_with("2 trial pins are fitted and read"), "{after:?}");
    assert_eq!(after[1..], before[2..]);
}
