//! The check pin: one ordinary pin read again and again, so that drift of the lever is not taken
//! for a gradient of the plank.
//!
//! It is read first, then after every twenty pins, and last (DER: the trade's "every 20 or so").
//! What its readings say is in `readings::drift`; the wood relaxes, so its first reading stands
//! apart there.
//!
//! Deliberately not here: lists a technician named pin by pin; those are read as given.

use pinhold_protocol::record::Pin;

use crate::analysis::survey::sites_of;
use crate::instrument::Instrument;

/// Pins between two readings of the check pin.
pub const CHECK_EVERY_COUNT: usize = 20;
/// Pins of a plan from which it has a check pin (ours: two readings say nothing of drift).
const PLAN_COUNT_MIN: usize = 12;
/// Pins since the last check from which another is worth its minute.
const LAST_CHECK_COUNT_MIN: usize = 5;

/// The pin to be read again and again: in the middle of the compass, in the row that is easiest to
/// reach (nearest the player, topmost on an upright), never the first of all. `None` on an
/// instrument too small to need one.
pub fn check_pin(instrument: &Instrument, passed_over: &[Pin]) -> Option<Pin> {
    let sites = sites_of(instrument);
    if sites.len() < PLAN_COUNT_MIN {
        return None;
    }
    let (low, high) =
        sites.iter().fold((f64::MAX, f64::MIN), |(l, h), site| (l.min(site.x_m), h.max(site.x_m)));
    let middle_m = 0.5 * (low + high);
    let reach = |section: u8| {
        sites.iter().filter(|s| s.section == section).map(|s| s.row).max().unwrap_or(0)
    };
    let fits = |index: &usize| {
        let site = &sites[*index];
        *index > 0 && site.row == reach(site.section) && !passed_over.contains(&site.pin)
    };
    let away = |index: usize| (sites[index].x_m - middle_m).abs();
    (0..sites.len())
        .filter(fits)
        .min_by(|a, b| away(*a).total_cmp(&away(*b)).then(a.cmp(b)))
        .map(|index| sites[index].pin)
}

/// A plan's pins with the check pin first, after every twenty, and last. A plan too short to
/// show a drift stays as it is.
pub fn with_checks(pins: &[Pin], check: Option<Pin>) -> Vec<Pin> {
    let Some(check) = check.filter(|_| pins.len() >= PLAN_COUNT_MIN) else { return pins.to_vec() };
    let mut woven = vec![check];
    append_with_checks(&mut woven, pins, check);
    close_with_check(&mut woven, check);
    woven
}

/// Appends pins to a plan that goes on, with the check pin wherever twenty were read without.
pub fn append_with_checks(plan: &mut Vec<Pin>, pins: &[Pin], check: Pin) {
    for pin in pins.iter().filter(|pin| **pin != check) {
        if since_check(plan, check) >= CHECK_EVERY_COUNT {
            plan.push(check);
        }
        plan.push(*pin);
    }
}

/// Appends the check pin at the end of a plan, unless it was read just now.
pub fn close_with_check(plan: &mut Vec<Pin>, check: Pin) {
    if since_check(plan, check) >= LAST_CHECK_COUNT_MIN {
        plan.push(check);
    }
}

fn since_check(plan: &[Pin], check: Pin) -> usize {
    plan.iter().rev().take_while(|pin| **pin != check).count()
}

#[cfg(test)]
mod tests {
    use super::super::super::test_planks::grand;
    use super::super::design::quick;
    use super::*;

    #[test]
    fn the_check_pin_is_in_the_middle_and_never_the_first() {
        let instrument = grand();
        let check = check_pin(&instrument, &[]).expect("227 pins");
        assert!((35..=58).contains(&check.note), "{check:?}");
        assert_ne!(check, instrument.pins[0].pin);
        let other = check_pin(&instrument, &[check]).expect("226 pins");
        assert_ne!(other, check);
        let mut small = grand();
        small.pins.truncate(8);
        assert_eq!(check_pin(&small, &[]), None);
    }

    #[test]
    fn it_is_read_first_every_twenty_and_last() {
        let instrument = grand();
        let design = quick(&instrument);
        let check = check_pin(&instrument, &[]);
        let woven = with_checks(&design.pins, check);
        let check = check.expect("a check pin");
        let at: Vec<usize> = (0..woven.len()).filter(|i| woven[*i] == check).collect();
        assert_eq!(at[0], 0);
        assert!(at.windows(2).all(|pair| pair[1] - pair[0] <= CHECK_EVERY_COUNT + 1), "{at:?}");
        assert!(woven.len() - 1 - at[at.len() - 1] < LAST_CHECK_COUNT_MIN, "{at:?}");
        // Every other pin of the design stands in it once.
        for pin in design.pins.iter().filter(|pin| **pin != check) {
            assert_eq!(woven.iter().filter(|other| *other == pin).count(), 1);
        }
    }

    #[test]
    fn a_plan_that_grows_keeps_its_checks() {
        let instrument = grand();
        let check = check_pin(&instrument, &[]).expect("a check pin");
        let pins: Vec<Pin> = instrument.pins.iter().map(|place| place.pin).collect();
        let mut plan = with_checks(&pins[..30], Some(check));
        for step in pins[30..110].chunks(8) {
            append_with_checks(&mut plan, step, check);
        }
        close_with_check(&mut plan, check);
        let longest = plan.split(|pin| *pin == check).map(<[Pin]>::len).max().unwrap_or(0);
        assert!(longest <= CHECK_EVERY_COUNT, "{longest}");
        assert_eq!(with_checks(&pins[..5], Some(check)), &pins[..5]);
    }
}
