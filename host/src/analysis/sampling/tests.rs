//! Steps on small invented planks. Seeds below 1000; nothing here judges how good the steps are:
//! that is done on invented pianos in the simulator's tests.

use pinhold_protocol::record::Pin;

use super::hidden::{Chances, Kind, Seen, windows};
use super::{Asked, STEP_PIN_COUNT_MAX, STEP_PIN_COUNT_MIN, Step, Why, propose, quick, start};
use crate::analysis::input::{Condition, PinReading};
use crate::analysis::test_planks::{pin, plank};
use crate::analysis::verdict::RemedyKind;
use crate::analysis::{Assessment, AssessmentInput, Profile, assess};
use crate::instrument::Instrument;

fn some(readings: &[PinReading], pins: &[Pin]) -> Vec<PinReading> {
    readings.iter().filter(|reading| pins.contains(&reading.pin)).cloned().collect()
}

fn step_of(instrument: &Instrument, readings: &[PinReading], confidence: f64) -> Step {
    step_without(instrument, readings, confidence, &[])
}

fn step_without(
    instrument: &Instrument,
    readings: &[PinReading],
    confidence: f64,
    passed_over: &[Pin],
) -> Step {
    propose(&Asked {
        instrument,
        readings,
        condition: &Condition::default(),
        profile: &Profile::default(),
        confidence,
        at: readings.last().map(|reading| reading.pin),
        passed_over,
        seed: 1,
    })
}

fn assessed(instrument: &Instrument, readings: &[PinReading]) -> Assessment {
    let condition = Condition::default();
    let input = AssessmentInput { instrument, readings, condition: &condition, seed: 1 };
    assess(&input, &Profile::default())
}

/// Runs to the end: pins read, and the remedy.
fn run(instrument: &Instrument, all: &[PinReading], confidence: f64) -> (usize, RemedyKind) {
    let mut pins = start(instrument).pins;
    for _ in 0..100 {
        match step_of(instrument, &some(all, &pins), confidence) {
            Step::Read(proposal) => {
                assert!(proposal.pins.len() <= STEP_PIN_COUNT_MAX, "{proposal:?}");
                let left = instrument.pins.len() - pins.len();
                assert!(
                    proposal.why == Why::MeasureThrough
                        || proposal.pins.len() >= STEP_PIN_COUNT_MIN.min(left),
                    "{proposal:?}"
                );
                assert!(!proposal.reason.is_empty() && !proposal.reason.contains('\n'));
                for pin in &proposal.pins {
                    assert!(!pins.contains(pin), "{pin:?} was read");
                    assert!(instrument.find_pin(*pin).is_some());
                }
                pins.extend(proposal.pins);
            }
            Step::Settled(settled) => {
                assert_eq!(settled.read_count, pins.len());
                assert_eq!(settled.read_count + settled.saved_count, settled.pin_count);
                return (pins.len(), settled.remedy);
            }
        }
    }
    panic!("no end");
}

#[test]
fn the_same_readings_give_the_same_step() {
    let (instrument, all) = plank(7, 8.0, 0.14, |_, sound, _| sound);
    let readings = some(&all, &quick(&instrument).pins);
    let step = step_of(&instrument, &readings, 0.9);
    assert_eq!(step, step_of(&instrument, &readings, 0.9));
}

#[test]
fn a_plank_that_is_low_everywhere_is_settled_at_once() {
    let (instrument, all) = plank(11, 4.0, 0.18, |_, sound, _| sound);
    let (count, remedy) = run(&instrument, &all, 0.9);
    assert!(count * 100 <= 40 * instrument.pins.len(), "{count}");
    assert_eq!(remedy, assessed(&instrument, &all).verdict.remedy.kind());
}

#[test]
fn a_run_half_seen_is_measured_through_with_its_margins() {
    let loose = |p: Pin| (40..=60).contains(&p.note) && p.note % 5 != 1;
    let (instrument, all) =
        plank(
            5,
            10.0,
            0.11,
            |place, sound, _| {
                if place.row == 1 && loose(place.pin) { 0.35 * sound } else { sound }
            },
        );
    let mut pins = start(&instrument).pins;
    let mut through = false;
    let settled = loop {
        match step_of(&instrument, &some(&all, &pins), 0.9) {
            Step::Read(proposal) => {
                through |= proposal.why == Why::MeasureThrough;
                pins.extend(proposal.pins);
            }
            Step::Settled(settled) => break settled,
        }
    };
    assert!(through);
    // Every loose pin and what stands beside the ends was read.
    for note in 38..=62 {
        assert!(pins.contains(&pin(note, 'C')), "note {note} was not read");
    }
    assert_eq!(settled.remedy, assessed(&instrument, &all).verdict.remedy.kind());
    assert!(!settled.what_it_would_take.is_empty());
}

#[test]
fn more_confidence_never_reads_less() {
    let (instrument, all) =
        plank(
            21,
            9.0,
            0.13,
            |_, sound, random| {
                if random.uniform() < 0.03 { 0.4 * sound } else { sound }
            },
        );
    let counts: Vec<usize> =
        [0.6, 0.9, 0.98].into_iter().map(|c| run(&instrument, &all, c).0).collect();
    assert!(counts.windows(2).all(|pair| pair[0] <= pair[1]), "{counts:?}");
}

#[test]
fn pins_passed_over_are_not_asked_for_again() {
    let (instrument, all) = plank(3, 7.0, 0.15, |_, sound, _| sound);
    let pins = start(&instrument).pins;
    let readings = some(&all, &pins);
    let over: Vec<Pin> =
        instrument.pins.iter().map(|place| place.pin).filter(|p| !pins.contains(p)).collect();
    let Step::Settled(settled) = step_without(&instrument, &readings, 0.99, &over) else {
        panic!("nothing is left to read");
    };
    assert_eq!((settled.read_count, settled.saved_count), (pins.len(), 0));
    // With all but ten passed over only those ten come.
    let Step::Read(proposal) = step_without(&instrument, &readings[..20], 0.99, &over[10..]) else {
        panic!("ten pins are left");
    };
    assert!(proposal.pins.iter().all(|pin| !over[10..].contains(pin)));
}

#[test]
fn a_survey_of_nothing_and_of_nonsense_has_a_step() {
    let (mut instrument, mut all) = plank(3, 9.0, 0.1, |_, sound, _| sound);
    let Step::Read(first) = step_of(&instrument, &[], 0.9) else { panic!("nothing was read") };
    assert_eq!(first.why, Why::FirstRound);
    for reading in &mut all {
        reading.friction_nm = None;
        reading.holding_factor = None;
    }
    // Read, but nothing came of it: there is no field to draw from.
    assert!(matches!(step_of(&instrument, &all[..90], 0.9), Step::Read(_)));
    assert!(matches!(step_of(&instrument, &all, 0.9), Step::Settled(_)));
    for count in [0, 1, 3, 9] {
        instrument.pins.truncate(count);
        let readings = some(&all, &instrument.pins.iter().map(|p| p.pin).collect::<Vec<_>>());
        assert!(matches!(step_of(&instrument, &readings, 0.9), Step::Settled(_)), "{count}");
        instrument = plank(3, 9.0, 0.1, |_, sound, _| sound).0;
    }
}

#[test]
fn what_was_seen_moves_the_chances_and_what_was_not_keeps_them() {
    let low = |p: Pin| (44..=52).contains(&p.note);
    let (instrument, all) =
        plank(
            9,
            10.0,
            0.10,
            |place, sound, _| {
                if place.row == 1 && low(place.pin) { 0.4 * sound } else { sound }
            },
        );
    let chances = |pins: &[Pin]| {
        let assessment = assessed(&instrument, &some(&all, pins));
        let sites: Vec<_> = assessment.pins.iter().map(|p| p.site).collect();
        let windows = windows(&sites);
        let seen = Seen::new(&assessment);
        let chances = Chances::new(&assessment, &windows, &seen, false, |_| true);
        let sum = chances.hypotheses.iter().fold(chances.nothing, |sum, (_, p)| sum + p);
        assert!((sum - 1.0).abs() < 1e-6, "{sum}");
        let at = |note: u8| {
            chances
                .hypotheses
                .iter()
                .filter(|(h, _)| {
                    let window = &windows[h.window];
                    window.kind == Kind::Run
                        && window.members.iter().any(|i| assessment.pins[*i].pin == pin(note, 'C'))
                })
                .fold(0.0, |sum, (_, p)| sum + p)
        };
        (at(48), at(75))
    };
    // Every third pin of the other rows, nothing of this one.
    let beside: Vec<Pin> = instrument
        .pins
        .iter()
        .filter(|place| place.row != 1 && place.pin.note % 3 == 0)
        .map(|place| place.pin)
        .collect();
    let (unseen, other) = chances(&beside);
    let with = |notes: &[u8]| {
        let mut pins = beside.clone();
        pins.extend(notes.iter().map(|note| pin(*note, 'C')));
        pins
    };
    let (loose, _) = chances(&with(&[46, 48, 50]));
    let (_, sound) = chances(&with(&[73, 75, 77]));
    assert!(loose > 5.0 * unseen, "{loose} after {unseen}");
    assert!(sound < 0.7 * other, "{sound} after {other}");
}
