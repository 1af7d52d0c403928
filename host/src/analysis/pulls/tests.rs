//! Slack strings and misnamed sections on invented planks. Tuning seeds 0 to 39, judging seeds
//! 120000 to 120199.

use super::super::input::Estimate;
use super::super::random::Random;
use super::super::test_planks::{grand, moment_nm, pin, reading};
use super::*;

/// A whole survey of the invented grand: pulls about the assumed ones, as instruments, strings and
/// levers differ. Assumed pulls carry the uncertainty of their classes.
fn survey(seed: u64) -> (Instrument, Vec<PinReading>) {
    let instrument = grand();
    let mut random = Random::new(seed);
    let between = libm::exp(0.063 * random.normal());
    let registers: Vec<f64> = (0..8).map(|_| libm::exp(0.06 * random.normal())).collect();
    let readings = instrument
        .pins
        .iter()
        .map(|field| {
            let assumed_nm = moment_nm(field.pin.note);
            let register = registers[usize::from(field.section)];
            let own = libm::exp(0.03 * random.normal());
            let noise_nm = 0.12 * random.normal();
            let true_nm = assumed_nm * between * register * own;
            let mut entry = reading(field.pin.note, field.pin.string.letter(), 9.0, assumed_nm);
            entry.moment_nm = Some(Estimate { value: true_nm + noise_nm, u: 0.12 });
            entry.moment_at_pitch_nm = Estimate { value: assumed_nm, u: 0.12 * assumed_nm };
            entry
        })
        .collect();
    (instrument, readings)
}

fn scale(readings: &mut [PinReading], which: impl Fn(Pin) -> bool, factor: f64) {
    for entry in readings.iter_mut().filter(|entry| which(entry.pin)) {
        let moment = entry.moment_nm.as_mut().expect("read both ways");
        moment.value *= factor;
    }
}

#[test]
fn sound_surveys_are_quiet() {
    let mut noisy = 0;
    for seed in 120_000..120_100 {
        let (instrument, readings) = survey(seed);
        let found = compare(&instrument, &readings, None);
        assert_eq!(found.compared_count, 227);
        noisy += usize::from(!found.is_quiet());
    }
    // 22,700 strings and 400 groups: one alarm in a hundred surveys is what the limits allow.
    assert!(noisy <= 1, "{noisy} of 100 sound surveys raise an alarm");
}

#[test]
fn a_string_at_half_its_pull_is_slack_and_one_a_semitone_flat_is_not() {
    let (mut slack, mut flat) = (0, 0);
    for seed in 120_100..120_200 {
        let (instrument, mut readings) = survey(seed);
        scale(&mut readings, |p| p == pin(52, 'C'), 0.5);
        // 100 cents flat leave 0.891.
        scale(&mut readings, |p| p == pin(60, 'L'), 0.891);
        let found = compare(&instrument, &readings, None);
        let pins: Vec<Pin> = found.slack.iter().map(|slack| slack.pin).collect();
        slack += usize::from(pins.contains(&pin(52, 'C')));
        flat += usize::from(pins.contains(&pin(60, 'L')));
    }
    assert!(slack >= 95, "{slack} of 100 slack strings found");
    assert_eq!(flat, 0, "strings a semitone flat called slack");
}

#[test]
fn a_bass_read_on_plain_strings_is_a_section_out_of_line() {
    let (instrument, mut readings) = survey(1);
    scale(&mut readings, |p| p.note <= 10, 2.3 / 5.0);
    let found = compare(&instrument, &readings, None);
    assert_eq!(found.odd.len(), 1, "{found:?}");
    let odd = &found.odd[0];
    assert_eq!((odd.pins.len(), &*odd.place), (10, "bass section, single strings"));
    assert!(odd.like.as_deref().is_some_and(|like| like.contains("three strings")), "{odd:?}");
    assert_eq!(found.slack, [], "a section out of line is not ten slack strings");
    let told = Said::joined(&found.sentences(), "\n");
    assert!(told.contains("10 pins, A0 C to F#1 C") && told.contains("other pins"), "{told}");
    assert!(told.ends_with(&*crate::words::plank::PULL_LIMITS));
}

#[test]
fn a_stretch_of_pins_under_wrong_names_is_told_as_one() {
    let (instrument, mut readings) = survey(2);
    scale(&mut readings, |p| (30..=33).contains(&p.note), 2.1);
    let found = compare(&instrument, &readings, None);
    assert_eq!(found.odd.iter().map(|odd| odd.pins.len()).collect::<Vec<_>>(), [12]);
    assert_eq!(found.slack, []);
}

#[test]
fn an_instrument_far_from_pitch_is_told_once() {
    let (instrument, mut readings) = survey(3);
    scale(&mut readings, |_| true, 0.6);
    let found = compare(&instrument, &readings, None);
    assert!(found.whole_share.is_some_and(|share| (0.5..0.7).contains(&share)));
    assert_eq!((found.odd.len(), found.slack.len()), (0, 0), "{found:?}");
    // 880 cents flat leave 0.362 of the pull: with the pitch told, nothing is wrong.
    let (instrument, mut readings) = survey(3);
    scale(&mut readings, |_| true, tension_ratio_at_cents(-880.0));
    assert!(compare(&instrument, &readings, Some(-880.0)).is_quiet());
}

#[test]
fn strings_that_loose_pins_let_down_are_no_wrong_section() {
    let (instrument, mut readings) = survey(5);
    scale(&mut readings, |p| p.note <= 10, 0.55);
    for entry in readings.iter_mut().filter(|entry| entry.pin.note <= 10) {
        let pull = entry.moment_nm.unwrap();
        entry.friction_nm = Some(Estimate { value: 1.05 * pull.value, u: 0.1 });
    }
    let found = compare(&instrument, &readings, None);
    assert_eq!((found.odd.len(), found.slack.len(), found.let_down.len()), (0, 0, 10));
    let told = Said::joined(&found.sentences(), "\n");
    assert!(told.contains("let down to about what their pins hold"), "{told}");
    let remark = found.remark(pin(1, 'C')).unwrap();
    assert!(remark.starts_with("string let down: pulls 0."), "{remark}");
}

#[test]
fn what_cannot_be_compared_says_nothing() {
    let (instrument, mut readings) = survey(4);
    for entry in &mut readings {
        entry.moment_nm = None;
    }
    readings[0].state = StringState::Slack;
    readings[1].kind = TorqueKind::Peak;
    readings[2].moment_nm = Some(Estimate { value: f64::NAN, u: 1.0 });
    let found = compare(&instrument, &readings, None);
    assert_eq!((found.compared_count, found.odd.len()), (0, 0));
    assert_eq!(found.slack, [SlackString { pin: pin(1, 'C'), share: None }]);
    assert!(compare(&instrument, &[], None).sentences().is_empty());
}
