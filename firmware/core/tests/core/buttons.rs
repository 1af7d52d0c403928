//! Levels of two buttons turned into presses.

use pinhold_lever::Buttons;
use pinhold_lever::buttons::{ButtonWatch, Press};
use pinhold_protocol::units::DeviceTime;

use crate::synthetic::{BACK, BOTH, GO, NONE};

/// Presses that come of levels, each standing for so many milliseconds; looked at every `every_ms`.
fn presses(levels: &[(Buttons, u64)], every_ms: u64) -> Vec<Press> {
    let mut watch = ButtonWatch::default();
    let mut found = Vec::new();
    let mut now_ms = 0;
    watch.set(DeviceTime::from_microseconds(0), NONE);
    for (level, duration_ms) in levels.iter().chain([&(NONE, 200)]) {
        for at_ms in now_ms..now_ms + duration_ms {
            let now = DeviceTime::from_microseconds(at_ms * 1_000);
            // Told on each change only, as a board with interrupts would.
            if at_ms == now_ms {
                watch.set(now, *level);
            }
            if at_ms.is_multiple_of(every_ms) {
                found.extend(watch.press(now));
            }
        }
        now_ms += duration_ms;
    }
    assert!(watch.is_idle(), "{levels:?}");
    found
}

fn check(levels: &[(Buttons, u64)], wanted: &[Press]) {
    for every_ms in [1, 7, 10] {
        assert_eq!(presses(levels, every_ms), wanted, "{levels:?} every {every_ms} ms");
    }
}

#[test]
fn short_and_long() {
    check(&[(GO, 100)], &[Press::Go]);
    check(&[(BACK, 100)], &[Press::Back]);
    check(&[(GO, 780)], &[Press::Go]);
    check(&[(GO, 820)], &[Press::GoLong]);
    check(&[(BACK, 5_000)], &[Press::BackLong]);
    check(&[(GO, 100), (NONE, 60), (GO, 100)], &[Press::Go, Press::Go]);
}

#[test]
fn bounces_are_one_press() {
    let mut levels = Vec::new();
    for _ in 0..6 {
        levels.extend([(GO, 2), (NONE, 1)]);
    }
    levels.push((GO, 150));
    for _ in 0..6 {
        levels.extend([(NONE, 1), (GO, 2)]);
    }
    check(&levels, &[Press::Go]);
    check(&[(GO, 10)], &[]);
    check(&[(GO, 400), (NONE, 5), (GO, 450)], &[Press::GoLong]);
}

#[test]
fn both_are_a_press_of_their_own() {
    check(&[(BOTH, 900)], &[Press::BothLong]);
    check(&[(GO, 300), (BOTH, 900), (BACK, 300)], &[Press::BothLong]);
    check(&[(GO, 300), (BOTH, 200), (GO, 900)], &[]);
    check(&[(BOTH, 300)], &[]);
    // The long press of one was taken; the other added to it is nothing.
    check(&[(GO, 900), (BOTH, 900)], &[Press::GoLong]);
    check(&[(GO, 300), (BACK, 900)], &[]);
}

#[test]
fn a_button_stuck_at_power_up_is_not_pressed() {
    let mut watch = ButtonWatch::default();
    let at = |ms: u64| DeviceTime::from_microseconds(ms * 1_000);
    watch.set_at_power_up(at(0), GO);
    assert_eq!((0..3_000).find_map(|ms| watch.press(at(ms))), None);
    watch.set(at(3_000), NONE);
    assert_eq!((3_000..3_100).find_map(|ms| watch.press(at(ms))), None);
    watch.set(at(3_100), GO);
    assert_eq!((3_100..3_200).find_map(|ms| watch.press(at(ms))), None);
    watch.set(at(3_200), NONE);
    assert_eq!((3_200..3_300).find_map(|ms| watch.press(at(ms))), Some(Press::Go));
}
