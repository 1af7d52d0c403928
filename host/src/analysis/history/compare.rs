//! Two surveys of one instrument, pin by pin: what changed, and by how much at least.
//!
//! Like with like: a pin counts where both surveys read it in the same directions, as the same kind
//! of torque, with its string in the same state, and neither is only a limit. The shift is the
//! median of Walsh averages with its interval; what all readings of a survey share (a lever's span,
//! one person's hand) moves all pins together and is not lessened by their number: it enters the
//! interval once. With one lever and one calibration its span is the same error in both surveys and
//! falls out of the difference; so do the strings' bearings always.
//!
//! Deliberately not here: why it changed.

use std::collections::BTreeMap;

use pinhold_protocol::record::Pin;

use super::paired::{Shift, SignedRank, hodges_lehmann, signed_rank};
use crate::analysis::band::{Band, finite, judge};
use crate::analysis::budget::Term;
use crate::analysis::field::common::is_common;
use crate::analysis::input::{Estimate, PinReading};
use crate::analysis::profile::Profile;
use crate::analysis::spatial::many_tests::benjamini_hochberg;
use crate::analysis::stats::{median, normal_cdf, quantile};
use crate::metrology::student::coverage_factor;

/// Level of the intervals.
pub const LEVEL: f64 = 0.95;
/// Share of pins marked as changed that may be marked wrongly (false discovery rate).
pub const FALSE_SHARE: f64 = 0.05;
/// Least share of a reading's variance that is its own.
const OWN_SHARE_MIN: f64 = 0.0025;

/// How a pin changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// More friction than before.
    Tighter,
    /// Less.
    Looser,
    /// Not beyond what the readings are uncertain by.
    NotClear,
}

/// A pin read alike in both surveys.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// The pin.
    pub pin: Pin,
    /// Its section, 0 in the bass.
    pub section: u8,
    /// Friction before, N·m.
    pub before_nm: Estimate,
    /// Friction after, N·m.
    pub after_nm: Estimate,
    /// Change, N·m, with what both readings are uncertain by beside each other.
    pub change_nm: Estimate,
    /// Whether that is clear.
    pub change: Change,
}

/// Pins that were not compared, and why.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LeftOut {
    /// Read in one survey only.
    pub once: usize,
    /// Read in other directions, as another kind of torque, or with the string in another state.
    pub otherwise: usize,
    /// Without a friction, or with only a limit of it.
    pub limits: usize,
}

/// Pins that were compared, at one survey.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Level {
    /// Their number.
    pub count: usize,
    /// Median friction, N·m.
    pub median_nm: f64,
    /// Friction a tenth of them are below, N·m.
    pub lowest_decile_nm: f64,
    /// Doubtful or worse.
    pub doubtful_count: usize,
    /// Pins of the lowest section with a holding factor.
    pub bass_count: usize,
    /// Their median holding factor; 0 where there are none.
    pub bass_factor: f64,
    /// Holding factor a tenth of them are below; 0 where there are none.
    pub bass_lowest_factor: f64,
}

/// The pins of one section.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SectionChange {
    /// Section, 0 in the bass.
    pub section: u8,
    /// Pins compared.
    pub count: usize,
    /// Median friction before, N·m.
    pub before_nm: f64,
    /// After, N·m.
    pub after_nm: f64,
    /// Shift with its interval, N·m, common part included; `None` inside for too few pins.
    pub shift_nm: f64,
    /// See `shift_nm`.
    pub interval_nm: Option<(f64, f64)>,
}

/// What two surveys say beside each other.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Pins compared, in order.
    pub pairs: Vec<Pair>,
    /// The others.
    pub left_out: LeftOut,
    /// Whether one lever with one calibration took both.
    pub same_tool: bool,
    /// Signed ranks of the changes; `None` where no pin changed at all.
    pub test: Option<SignedRank>,
    /// Shift of friction with the interval from the pins alone, N·m; `None` without pairs.
    pub shift: Option<Shift>,
    /// Standard uncertainty common to all changes, N·m.
    pub common_u_nm: f64,
    /// Interval of the shift, common part included, N·m; `None` for too few pins.
    pub interval_nm: Option<(f64, f64)>,
    /// Pins compared, before.
    pub before: Level,
    /// After.
    pub after: Level,
    /// By section.
    pub sections: Vec<SectionChange>,
}

impl Comparison {
    /// Whether the shift is clear: its interval, common part included, is on one side of 0.
    pub fn shift_is_clear(&self) -> bool {
        self.interval_nm.is_some_and(|(low, high)| low > 0.0 || high < 0.0)
    }

    /// Pins that changed this way.
    pub fn count(&self, change: Change) -> usize {
        self.pairs.iter().filter(|pair| pair.change == change).count()
    }
}

/// Compares two surveys' readings; `section` says where a pin stands, `same_tool` whether one lever
/// with one calibration took all of both.
pub fn compare(
    before: &[PinReading],
    after: &[PinReading],
    section: impl Fn(Pin) -> u8,
    same_tool: bool,
    profile: &Profile,
) -> Comparison {
    let first: BTreeMap<Pin, &PinReading> =
        before.iter().map(|reading| (reading.pin, reading)).collect();
    let second: BTreeMap<Pin, &PinReading> =
        after.iter().map(|reading| (reading.pin, reading)).collect();
    let mut left_out = LeftOut::default();
    let mut matched: Vec<(&PinReading, &PinReading)> = Vec::new();
    for (pin, one) in &first {
        match second.get(pin) {
            None => left_out.once += 1,
            Some(other) if !is_alike(one, other) => left_out.otherwise += 1,
            Some(other) if !has_friction(one) || !has_friction(other) => left_out.limits += 1,
            Some(other) => matched.push((one, other)),
        }
    }
    left_out.once += second.keys().filter(|pin| !first.contains_key(pin)).count();
    let mut pairs: Vec<Pair> =
        matched.iter().filter_map(|(one, other)| pair(one, other, &section)).collect();
    mark(&mut pairs, &matched, same_tool);
    let changes: Vec<f64> = pairs.iter().map(|pair| pair.change_nm.value).collect();
    let common_u_nm = common_u(&matched, same_tool);
    let shift = hodges_lehmann(&changes, LEVEL).ok();
    let side = |of: fn(&(&PinReading, &PinReading)) -> PinReading| -> Level {
        level(&matched.iter().map(of).collect::<Vec<_>>(), &section, profile)
    };
    Comparison {
        left_out,
        same_tool,
        test: signed_rank(&changes).ok(),
        shift,
        common_u_nm,
        interval_nm: shift.and_then(|shift| widened(&shift, common_u_nm)),
        before: side(|(one, _)| (*one).clone()),
        after: side(|(_, other)| (*other).clone()),
        sections: sections(&pairs, common_u_nm),
        pairs,
    }
}

/// Same directions, same kind of torque, same state of the string.
pub fn is_alike(one: &PinReading, other: &PinReading) -> bool {
    one.kind == other.kind
        && one.state == other.state
        && one.sharp_nm.is_some() == other.sharp_nm.is_some()
        && one.flat_nm.is_some() == other.flat_nm.is_some()
}

/// Has a friction that is no limit.
pub fn has_friction(reading: &PinReading) -> bool {
    finite(reading.friction_nm).is_some() && !reading.friction_is_lower_limit
}

fn pair(one: &PinReading, other: &PinReading, section: impl Fn(Pin) -> u8) -> Option<Pair> {
    let (before, after) = (finite(one.friction_nm)?, finite(other.friction_nm)?);
    Some(Pair {
        pin: one.pin,
        section: section(one.pin),
        before_nm: before,
        after_nm: after,
        change_nm: Estimate {
            value: after.value - before.value,
            u: libm::hypot(before.u, after.u),
        },
        change: Change::NotClear,
    })
}

/// Gives each change its own uncertainty, and marks those that are clear at [`FALSE_SHARE`].
fn mark(pairs: &mut [Pair], matched: &[(&PinReading, &PinReading)], same_tool: bool) {
    for (pair, (one, other)) in pairs.iter_mut().zip(matched) {
        let part = |reading: &PinReading, estimate: Estimate| {
            let all = shared_u(reading, is_common);
            let stays = shared_u(reading, |term| stays_in_difference(term, same_tool));
            let least = OWN_SHARE_MIN * estimate.u * estimate.u;
            (estimate.u * estimate.u - all * all).max(least) + stays * stays
        };
        let variance = part(one, pair.before_nm) + part(other, pair.after_nm);
        pair.change_nm.u = variance.sqrt();
    }
    let p_of = |pair: &Pair| {
        let change = pair.change_nm;
        if change.u > 0.0 { 2.0 * normal_cdf(-(change.value / change.u).abs()) } else { 1.0 }
    };
    let chances: Vec<f64> = pairs.iter().map(p_of).collect();
    for (pair, p) in pairs.iter_mut().zip(benjamini_hochberg(&chances)) {
        pair.change = match pair.change_nm.value {
            _ if p > FALSE_SHARE => Change::NotClear,
            value if value > 0.0 => Change::Tighter,
            _ => Change::Looser,
        };
    }
}

/// Whether an error common to a survey is another one in the next survey.
const fn stays_in_difference(term: Term, same_tool: bool) -> bool {
    match term {
        Term::Bearing => false,
        Term::Scale | Term::Curve | Term::Hysteresis => !same_tool,
        _ => is_common(term),
    }
}

/// Standard uncertainty of a reading's friction from these terms, N·m; 0 without a budget.
fn shared_u(reading: &PinReading, keep: impl Fn(Term) -> bool) -> f64 {
    let of = |budget: &crate::analysis::budget::ReadingBudget| {
        Some(budget.friction_u_of(|line| keep(line.term))).filter(|u| u.is_finite())
    };
    reading.budget.as_deref().and_then(of).unwrap_or(0.0)
}

/// Standard uncertainty of a survey's level that does not fall out of a difference, N·m: the
/// middle reading's.
pub fn common_level_u(readings: &[&PinReading], same_tool: bool) -> f64 {
    let all: Vec<f64> = readings
        .iter()
        .map(|reading| shared_u(reading, |term| stays_in_difference(term, same_tool)))
        .collect();
    median(&all).unwrap_or(0.0)
}

fn common_u(matched: &[(&PinReading, &PinReading)], same_tool: bool) -> f64 {
    let (one, other): (Vec<&PinReading>, Vec<&PinReading>) = matched.iter().copied().unzip();
    libm::hypot(common_level_u(&one, same_tool), common_level_u(&other, same_tool))
}

/// The shift's interval with the common part: half widths as roots of squares.
fn widened(shift: &Shift, common_u_nm: f64) -> Option<(f64, f64)> {
    let (low, high) = shift.interval?;
    let k = coverage_factor(LEVEL, f64::INFINITY)?;
    let far = |half: f64| libm::hypot(half, k * common_u_nm);
    Some((shift.shift - far(shift.shift - low), shift.shift + far(high - shift.shift)))
}

fn level(readings: &[PinReading], section: impl Fn(Pin) -> u8, profile: &Profile) -> Level {
    let frictions: Vec<f64> = readings
        .iter()
        .filter_map(|reading| finite(reading.friction_nm))
        .map(|f| f.value)
        .collect();
    let lowest = readings.iter().map(|reading| section(reading.pin)).min();
    let factors: Vec<f64> = readings
        .iter()
        .filter(|reading| Some(section(reading.pin)) == lowest)
        .filter_map(|reading| finite(reading.holding_factor))
        .map(|factor| factor.value)
        .collect();
    let is_doubtful = |reading: &&PinReading| {
        let band = judge(reading, profile).band;
        band >= Band::Doubtful && band != Band::CannotTell
    };
    let tenth = |values: &[f64]| quantile(values, 0.1).unwrap_or(0.0);
    Level {
        count: readings.len(),
        median_nm: median(&frictions).unwrap_or(0.0),
        lowest_decile_nm: tenth(&frictions),
        doubtful_count: readings.iter().filter(is_doubtful).count(),
        bass_count: factors.len(),
        bass_factor: median(&factors).unwrap_or(0.0),
        bass_lowest_factor: tenth(&factors),
    }
}

fn sections(pairs: &[Pair], common_u_nm: f64) -> Vec<SectionChange> {
    let mut by: BTreeMap<u8, Vec<&Pair>> = BTreeMap::new();
    for pair in pairs {
        by.entry(pair.section).or_default().push(pair);
    }
    by.into_iter()
        .filter_map(|(section, pairs)| {
            let all = |of: fn(&Pair) -> f64| -> Vec<f64> { pairs.iter().map(|p| of(p)).collect() };
            let shift = hodges_lehmann(&all(|pair| pair.change_nm.value), LEVEL).ok()?;
            Some(SectionChange {
                section,
                count: pairs.len(),
                before_nm: median(&all(|pair| pair.before_nm.value))?,
                after_nm: median(&all(|pair| pair.after_nm.value))?,
                shift_nm: shift.shift,
                interval_nm: widened(&shift, common_u_nm),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use pinhold_protocol::record::StringPosition;

    use super::*;
    use crate::analysis::input::StringState;

    fn reading(note: u8, friction: f64) -> PinReading {
        let pin = Pin { note, string: StringPosition::Left };
        let mut reading = PinReading::without_torques(pin, Estimate { value: 3.0, u: 0.2 });
        reading.friction_nm = Some(Estimate { value: friction, u: 0.3 });
        reading.sharp_nm = reading.friction_nm;
        reading.flat_nm = reading.friction_nm;
        reading.holding_factor = Some(Estimate { value: friction / 3.0, u: 0.1 });
        reading
    }

    fn survey(shift: f64) -> Vec<PinReading> {
        let wobble = |note: u8| f64::from(note * 7 % 5) * 0.05;
        (1..=20).map(|note| reading(note, 6.0 + shift + wobble(note))).collect()
    }

    fn compared(before: &[PinReading], after: &[PinReading]) -> Comparison {
        compare(before, after, |pin| u8::from(pin.note > 10), true, &Profile::default())
    }

    #[test]
    fn a_clear_gain_is_told_with_its_interval() {
        let got = compared(&survey(0.0), &survey(3.0));
        assert_eq!((got.pairs.len(), got.left_out), (20, LeftOut::default()));
        assert!((got.shift.unwrap().shift - 3.0).abs() < 1e-9);
        assert!(got.shift_is_clear() && got.test.unwrap().p < 1e-4);
        assert_eq!(got.count(Change::Tighter), 20);
        assert_eq!((got.before.bass_count, got.sections.len()), (10, 2));
        assert!(got.after.lowest_decile_nm > got.before.lowest_decile_nm + 2.9);
    }

    #[test]
    fn the_same_survey_twice_has_not_changed() {
        let got = compared(&survey(0.0), &survey(0.0));
        assert!(!got.shift_is_clear() && got.test.is_none());
        assert_eq!(got.count(Change::NotClear), 20);
    }

    #[test]
    fn only_like_is_compared_with_like() {
        let before = survey(0.0);
        let mut after = survey(1.0);
        after[0].flat_nm = None;
        after[1].state = StringState::Slack;
        after[2].friction_is_lower_limit = true;
        after[3].friction_nm = None;
        after.remove(4);
        after.push(reading(50, 7.0));
        let got = compared(&before, &after);
        assert_eq!(got.left_out, LeftOut { once: 2, otherwise: 2, limits: 2 });
        assert_eq!(got.pairs.len(), 15);
    }

    #[test]
    fn nothing_to_compare_is_no_fault() {
        let got = compared(&[], &survey(0.0));
        assert!(got.pairs.is_empty() && got.shift.is_none() && !got.shift_is_clear());
        let few = compared(&survey(0.0)[..3], &survey(2.0)[..3]);
        assert_eq!((few.interval_nm, few.pairs.len()), (None, 3));
    }
}
