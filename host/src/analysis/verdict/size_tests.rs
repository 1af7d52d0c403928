//! Sizes per place on small invented planks, before and after trial pins.

use super::size::sizes_um;
use super::state::PlankState;
use super::{Remedy, RemedyKind};
use crate::analysis::gain::Trial;
use crate::analysis::input::{Condition, Estimate};
use crate::analysis::test_planks::{pin, plank};
use crate::analysis::{Assessment, AssessmentInput, Profile, assess};
use crate::words::Said;

fn trial(note: u8, letter: char, before: f64, after: f64) -> Trial {
    Trial {
        pin: pin(note, letter),
        from_um: 7_160,
        to_um: 7_280,
        reamed: false,
        before_nm: Estimate { value: before, u: 0.3 },
        after_nm: Estimate { value: after, u: 0.3 },
    }
}

/// Bass and high treble loose, the sections between sound.
fn two_weak_sections(trials: &[Trial]) -> Assessment {
    let (instrument, readings) = plank(3, 10.5, 0.12, |place, sound, _| match place.section {
        3 => sound * 0.42,
        0 => sound * 0.5,
        _ => sound,
    });
    let condition = Condition { trials: trials.to_vec(), ..Condition::default() };
    let input = AssessmentInput {
        instrument: &instrument,
        readings: &readings,
        condition: &condition,
        seed: 1,
    };
    assess(&input, &Profile::default())
}

fn chance(assessment: &Assessment, kind: RemedyKind) -> f64 {
    let alternatives = assessment.verdict.alternatives.iter();
    alternatives.filter(|one| one.remedy == kind).map(|one| one.chance).sum()
}

fn state(assessment: &Assessment, wanted: PlankState) -> f64 {
    let states = assessment.verdict.states.iter();
    states.filter(|(state, _)| *state == wanted).map(|(_, chance)| chance).sum()
}

#[test]
fn sizes_are_those_sold_and_never_beyond_the_largest() {
    let profile = Profile::default();
    for (from_um, largest_um, sizes) in [
        (7_163.0, 7_520.0, &[7_280, 7_400][..]),
        (7_391.0, 7_520.0, &[7_510]),
        (7_163.0, 7_260.0, &[7_260]),
        (7_300.0, 7_510.0, &[7_420, 7_510]),
        (7_500.0, 7_520.0, &[]),
        (7_600.0, 7_520.0, &[]),
    ] {
        assert_eq!(sizes_um(from_um, largest_um, &profile), sizes, "{from_um}");
    }
}

#[test]
fn each_place_has_a_size_of_its_own_and_trials_speak_for_theirs() {
    let trials = [
        trial(75, 'L', 4.3, 8.4),
        trial(77, 'C', 4.1, 8.0),
        trial(80, 'R', 4.6, 9.0),
        trial(60, 'C', 10.5, 15.0),
    ];
    let before = two_weak_sections(&[]);
    let after = two_weak_sections(&trials);
    let risk = |assessment: &Assessment, section: &str| {
        let sizes = &assessment.verdict.sizes;
        let place = sizes.iter().find(|place| place.name.contains(section)).expect("a place");
        (place.trial_counts, place.outlook.wrong_size_risk)
    };
    let (treble_counts, treble) = risk(&after, "treble");
    let (bass_counts, bass) = risk(&after, "bass");
    assert_eq!((treble_counts, bass_counts), ((3, 1), (0, 4)));
    assert!(treble < 0.5 * risk(&before, "treble").1, "{treble} {:?}", risk(&before, "treble"));
    // They stood elsewhere: the bass is told less of.
    assert!(treble < bass, "{treble} {bass}");
    let ordered: Vec<Option<u32>> = after.verdict.parts.iter().map(|line| line.to_um).collect();
    if let Remedy::Larger { .. } = after.verdict.remedy {
        assert!(ordered.contains(&Some(7_280)), "{ordered:?}");
    }
}

#[test]
fn trials_that_gain_nothing_speak_for_cracked_wood_and_against_larger_pins() {
    let nothing: Vec<Trial> = [(75, 'L'), (77, 'C'), (80, 'R'), (83, 'L')]
        .iter()
        .map(|(note, letter)| trial(*note, *letter, 4.3, 4.5))
        .collect();
    let much: Vec<Trial> = nothing
        .iter()
        .map(|of| Trial { after_nm: Estimate { value: 8.6, u: 0.3 }, ..*of })
        .collect();
    let (before, none, some) =
        (two_weak_sections(&[]), two_weak_sections(&nothing), two_weak_sections(&much));
    assert!(state(&none, PlankState::Split) > 2.0 * state(&before, PlankState::Split));
    assert!(state(&some, PlankState::Split) < state(&before, PlankState::Split));
    let larger =
        |of: &Assessment| chance(of, RemedyKind::Larger) + chance(of, RemedyKind::Restring);
    assert!(larger(&none) < 0.5 * larger(&before), "{} {}", larger(&none), larger(&before));
    assert!(larger(&some) >= larger(&before), "{} {}", larger(&some), larger(&before));
    // Torque, of trial pins too, never proves a split.
    let cap = Profile::default().plank_confidence_cap.value;
    assert!(none.verdict.remedy.kind() != RemedyKind::Plank || none.verdict.confidence <= cap);
}

#[test]
fn before_any_trial_the_advice_is_to_fit_some_and_the_gain_s_source_is_told() {
    let before = two_weak_sections(&[]);
    let told = |list: &[Said], words: &str| list.iter().any(|line| line.contains(words));
    if matches!(before.verdict.remedy, Remedy::Larger { .. } | Remedy::Restring { .. }) {
        assert!(told(&before.verdict.confirm_before_acting, "two or three trial pins"));
        assert!(told(&before.verdict.reasons_against, "rests on one documented case"));
    } else {
        panic!("{:?}", before.verdict.remedy);
    }
    let one = two_weak_sections(&[trial(75, 'L', 4.3, 8.4)]);
    assert!(told(&one.verdict.confirm_before_acting, "two or three trial pins"), "one is no trial");
    let two = two_weak_sections(&[trial(75, 'L', 4.3, 8.4), trial(80, 'C', 4.3, 8.2)]);
    assert!(!told(&two.verdict.confirm_before_acting, "two or three trial pins"));
    assert!(
        told(&two.verdict.reasons_for, "trial pins behind it: 2"),
        "{:?}",
        two.verdict.reasons_for
    );
}
