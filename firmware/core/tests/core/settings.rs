//! `settings.md`, executed; settings that are not as they should be; settings of later firmware.

use std::collections::BTreeMap;

use pinhold_lever::Lamp;
use pinhold_lever::calibration::Calibration;
use pinhold_lever::log::{RecordLog, SETTINGS_BYTES_MAX};
use pinhold_lever::plan::{PIN_BITS, Plan};
use pinhold_lever::settings::{SETTINGS_VERSION, Settings, SettingsError, decode, encode};
use pinhold_protocol::error::{CommandResult, Fault};
use pinhold_protocol::message::{FromHost, PLAN_PIN_COUNT_MAX, PlanPart};
use pinhold_protocol::units::Angle;

use crate::chip::Chip;
use crate::numbers::Numbers;
use crate::plan::{parts, pins, state, upload};
use crate::synthetic::{Bench, FlashBench, GO, Said, still};

const DOCUMENT: &str = include_str!("../../settings.md");

/// The document's fenced blocks of a kind, as `key: text` lines; an indented line goes on.
fn blocks(kind: &str) -> Vec<BTreeMap<String, String>> {
    let fence = format!("```{kind}\n");
    DOCUMENT
        .split(&fence)
        .skip(1)
        .map(|rest| {
            let block = rest.split("```").next().unwrap_or_default().replace("\n  ", " ");
            let pair = |line: &str| {
                line.split_once(": ").map(|(key, text)| (key.to_owned(), text.to_owned()))
            };
            block.lines().filter_map(pair).collect()
        })
        .collect()
}

fn bytes(hex: &str) -> Vec<u8> {
    hex.split_whitespace().map(|byte| u8::from_str_radix(byte, 16).expect("hex")).collect()
}

/// Settings as the document writes them.
fn written(settings: &Settings) -> String {
    let plan = &settings.plan;
    let pins: String =
        plan.pins().map(|pin| format!(" {}{}", pin.note, pin.string.letter())).collect();
    let plan = match plan.is_none() {
        true => "none".to_owned(),
        false => format!("{} {}{pins}", plan.name, plan.slip.microradians()),
    };
    format!("Settings {{ calibration: {:?}, plan: {plan} }}", settings.calibration)
}

fn encoded(settings: &Settings) -> Vec<u8> {
    let mut buffer = [0; SETTINGS_BYTES_MAX];
    let byte_count = encode(settings.calibration.as_ref(), &settings.plan, &mut buffer);
    buffer[..byte_count].to_vec()
}

#[test]
fn the_documents_examples_are_what_the_code_does() {
    let examples = blocks("example");
    assert_eq!(examples.len(), 3);
    for example in examples {
        let bytes = bytes(&example["hex"]);
        let settings = decode(&bytes).expect("as in the document");
        assert_eq!(written(&settings), example["value"]);
        assert_eq!(encoded(&settings), bytes);
    }
    let [limits] = &blocks("limits")[..] else { panic!("one block of limits") };
    let limits: Vec<(&str, usize)> = limits
        .iter()
        .map(|(name, text)| (name.as_str(), text.parse().expect("a number")))
        .collect();
    let wanted = [
        ("PIN_BITS", PIN_BITS),
        ("PLAN_PIN_COUNT_MAX", PLAN_PIN_COUNT_MAX),
        ("SETTINGS_BYTES_MAX", SETTINGS_BYTES_MAX),
        ("SETTINGS_VERSION", SETTINGS_VERSION.into()),
    ];
    assert_eq!(limits, wanted);
}

fn full() -> Settings {
    let mut plan = Plan::begun(u64::MAX, Angle::from_microradians(26_180));
    assert!(pins(256).into_iter().all(|pin| plan.push(pin)));
    Settings { calibration: Some(Calibration { number: 9, ..Calibration::NOMINAL }), plan }
}

#[test]
fn the_longest_settings_come_back() {
    let bytes = encoded(&full());
    assert_eq!(bytes.len(), 2 + 20 + 14 + 288);
    assert_eq!(decode(&bytes), Ok(full()));
}

#[test]
fn what_was_changed_is_refused_or_reads_as_what_it_then_says() {
    let bytes = encoded(&full());
    let (mut refused, mut other) = (0, 0);
    for index in 0..bytes.len() {
        assert!(decode(&bytes[..index]).is_err(), "cut at {index}");
        for bit in 0..8 {
            let mut changed = bytes.clone();
            changed[index] ^= 1 << bit;
            match decode(&changed) {
                Ok(settings) => {
                    assert_eq!(encoded(&settings), changed, "byte {index}, bit {bit}");
                    other += 1;
                }
                Err(_) => refused += 1,
            }
        }
    }
    assert!(refused > 1_500 && other > 100, "{refused} refused, {other} read as another");
    let mut longer = bytes.clone();
    longer.push(0);
    assert_eq!(decode(&longer), Err(SettingsError::Broken));
    assert_eq!(decode(&[2, 0, 1, 2]), Err(SettingsError::Newer));
    assert_eq!(decode(&[0, 0]), Err(SettingsError::Broken));
    assert_eq!(decode(&[]), Err(SettingsError::Broken));
    let mut numbers = Numbers(77);
    for _ in 0..20_000 {
        let mut junk: Vec<u8> = (0..numbers.below(400)).map(|_| numbers.next() as u8).collect();
        if let Some(version) = junk.first_mut() {
            *version = 1;
        }
        if let Ok(settings) = decode(&junk) {
            assert_eq!(encoded(&settings), junk);
        }
    }
}

/// A lever that finds these bytes as its settings.
fn powered_with(bytes: &[u8]) -> FlashBench {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    assert!(bench.lever.log_mut().store_settings(bytes));
    bench.again()
}

fn faults(bench: &mut FlashBench) -> u32 {
    bench.send(FromHost::AskHealth(()));
    let said = bench.hear();
    match said.last() {
        Some(Said::Health(health)) => health.faults,
        other => panic!("{other:?}"),
    }
}

fn kept(bench: &mut FlashBench) -> Vec<u8> {
    let mut buffer = [0; SETTINGS_BYTES_MAX];
    let byte_count = bench.lever.log_mut().settings(&mut buffer).expect("settings");
    buffer[..byte_count].to_vec()
}

#[test]
fn settings_of_later_firmware_are_left_alone() {
    let later = [2, 1, 2, 3];
    let mut bench = powered_with(&later);
    assert_eq!(faults(&mut bench), Fault::FlashNewer.bit());
    assert_eq!(state(&mut bench), Default::default());
    assert_eq!(upload(&mut bench, 1, &pins(4)), CommandResult::NotFit);
    let off = PlanPart { pin_count: 0, pins: [None; 32], ..parts(1, &pins(1))[0] };
    assert_eq!(bench.ask(FromHost::PlanPart(off)), CommandResult::NotFit);
    let calibration = Calibration { number: 1, ..Calibration::NOMINAL };
    assert_eq!(bench.lever.keep_calibration(&calibration), CommandResult::NotFit);
    assert_eq!(kept(&mut bench), later);
    bench.play(&still(100));
    bench.tap(GO);
    let shown = (bench.signals.lamp, bench.signals.pin);
    assert_eq!(shown, (Lamp::Fault(Fault::FlashNewer), None), "its calibration is not known");
}

#[test]
fn broken_settings_give_way_only_when_told() {
    let broken = [1, 2, 9, 9];
    let mut bench = powered_with(&broken);
    assert_eq!(faults(&mut bench), Fault::FlashFailing.bit());
    assert_eq!(upload(&mut bench, 1, &pins(4)), CommandResult::NotFit);
    assert_eq!(kept(&mut bench), broken);
    let off = PlanPart { pin_count: 0, pins: [None; 32], ..parts(1, &pins(1))[0] };
    assert_eq!(bench.ask(FromHost::PlanPart(off)), CommandResult::Done);
    assert_eq!(upload(&mut bench, 1, &pins(4)), CommandResult::Done);
    let mut bench = bench.again();
    assert_eq!((faults(&mut bench), state(&mut bench).plan), (0, 1));
}

#[test]
fn a_calibration_and_a_plan_are_kept_beside_each_other() {
    let mut bench: FlashBench = Bench::powered(Chip::new(8));
    let calibration = Calibration {
        number: 12,
        zero_code_q8: -4_000,
        span_nm_per_count: 7.1e-6,
        weight_moment_nm: 0.6,
    };
    for impossible in [
        Calibration { span_nm_per_count: f32::NAN, ..calibration },
        Calibration { span_nm_per_count: 0.0, ..calibration },
        Calibration { weight_moment_nm: -1.0, ..calibration },
        Calibration { zero_code_q8: i64::MAX, ..calibration },
    ] {
        let refused = bench.lever.keep_calibration(&impossible);
        assert_eq!(refused, CommandResult::OutOfRange, "{impossible:?}");
    }
    assert_eq!(bench.lever.keep_calibration(&calibration), CommandResult::Done);
    assert_eq!(upload(&mut bench, 5, &pins(40)), CommandResult::Done);
    // A zero taken since is not part of it.
    bench.play(&still(100));
    bench.tap(GO);
    bench.play(&still(600));
    assert_eq!(bench.ask(FromHost::StopSurvey(())), CommandResult::Done);
    assert_eq!(upload(&mut bench, 6, &pins(41)), CommandResult::Done);
    let mut bench = bench.again();
    let settings = decode(&kept(&mut bench)).expect("sound");
    assert_eq!(settings.calibration, Some(calibration));
    assert_eq!((settings.plan.name, state(&mut bench).pin_count), (6, 41));
    let other = Calibration { number: 99, ..Calibration::NOMINAL };
    bench.lever = bench.lever.with_calibration(other);
    bench.start(1, false);
    bench.choose(40);
    bench.turn(5.0, 2.0);
    let log = bench.log();
    let [pinhold_protocol::content::Content::Reading(reading)] = &log[..] else {
        panic!("{log:?}")
    };
    assert_eq!(reading.calibration, 12, "what is kept goes before the board's");
}
