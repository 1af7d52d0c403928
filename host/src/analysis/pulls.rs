//! Measured pulls against those expected: slack strings, and sections read under another's names.
//!
//! The measured moment M is compared with M₀ at the pitch as found, string by string within its
//! group (section and strings of the unison), and group by group. Only gross cases are told: pulls
//! of neighbouring strings differ by less than the error of M, so this is no check that the right
//! pin was turned (DER). Deliberately not here: friction.
//!
//! Invariant: without a reading taken both ways, running and at pitch, nothing is found.

use std::collections::BTreeMap;

use pinhold_protocol::record::Pin;

use super::band::finite;
use super::input::{PinReading, StringState, TorqueKind};
use super::stats::median;
use super::zones::place::section_name;
use crate::instrument::pitch::tension_ratio_at_cents;
use crate::instrument::{Instrument, pin_name};
use crate::words::{Fixed, Said, plank as say};

/// Below this share of what its group pulls a string is slack: three semitones flat or more leave
/// 0.71 (DER).
const SLACK_SHARE: f64 = 0.7;
/// And by at least this many standard uncertainties.
const SLACK_SIGMA: f64 = 3.0;
/// Strings of a group differ by this from its middle, relative (DER: half a gauge number and what
/// lengths add).
const WITHIN_GROUP_RELATIVE_U: f64 = 0.08;
/// Friction over measured pull of a pin that has let its string down: about 1 (DER), or a little
/// more where the wood has recovered.
const LET_DOWN_FACTOR: f64 = 1.25;
/// Readings from which a group has a middle of its own.
const GROUP_COUNT_MIN: usize = 5;
/// A group is told apart from the others beyond this ratio, either way.
const GROUP_RATIO: f64 = 1.4;
/// And beyond this many standard uncertainties of its assumed pulls.
const GROUP_SIGMA: f64 = 2.5;
/// Neighbouring pins in a row from which they are a stretch of pins, not single strings.
const RUN_COUNT_MIN: usize = 4;
/// All groups together are told beyond this ratio, either way.
const WHOLE_RATIO: f64 = 1.3;
/// Pulls this near, as a logarithm, are called alike.
const LIKE_LOG: f64 = 0.2;
/// Pins named in a sentence; the rest is counted.
const NAMED_COUNT_MAX: usize = 12;

/// A string that pulls far too little.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlackString {
    /// Its pin.
    pub pin: Pin,
    /// Measured pull over what it should be; `None` where lever or technician called it slack.
    pub share: Option<f64>,
}

/// Pins whose pulls are those of another group, or of nothing known.
#[derive(Clone, Debug, PartialEq)]
pub struct OddGroup {
    /// Where they stand, in words.
    pub place: Said,
    /// The pins.
    pub pins: Vec<Pin>,
    /// Measured pull over what it should be, in the middle.
    pub share: f64,
    /// The group whose pulls these would be, in words.
    pub like: Option<Said>,
}

/// What the pulls show.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pulls {
    /// Readings that could be compared.
    pub compared_count: usize,
    /// Slack strings, in order of pin.
    pub slack: Vec<SlackString>,
    /// Strings that pull as little because their pins let them down to what friction holds, in
    /// order of pin. They say nothing of names and data, and are not compared further.
    pub let_down: Vec<SlackString>,
    /// Groups or stretches of pins out of line.
    pub odd: Vec<OddGroup>,
    /// Measured pull over what it should be, over all groups, where that is out of line.
    pub whole_share: Option<f64>,
}

/// One string's comparison.
#[derive(Clone, Copy, Debug)]
struct Compared {
    pin: Pin,
    /// Measured over expected.
    share: f64,
    /// Standard uncertainty of `share` from the measurement.
    u: f64,
    /// Relative standard uncertainty of what was expected.
    expected_u: f64,
    expected_nm: f64,
}

/// Section and strings of the unison.
type Group = (u8, u8);

/// Compares the pulls of a survey; `pitch_cents` is the mean pitch as found, for pins without their
/// own.
pub fn compare(
    instrument: &Instrument,
    readings: &[PinReading],
    pitch_cents: Option<f64>,
) -> Pulls {
    let mut by_pin: BTreeMap<Pin, &PinReading> = BTreeMap::new();
    for reading in readings {
        by_pin.insert(reading.pin, reading);
    }
    let mut found = Pulls::default();
    let mut groups: BTreeMap<Group, Vec<Compared>> = BTreeMap::new();
    for field in &instrument.pins {
        let Some(reading) = by_pin.get(&field.pin) else { continue };
        if reading.state == StringState::Slack {
            found.slack.push(SlackString { pin: field.pin, share: None });
        }
        if let Some(compared) = compared(reading, pitch_cents) {
            found.compared_count += 1;
            if compared.share < SLACK_SHARE && holds_no_more(reading) {
                found.let_down.push(SlackString { pin: field.pin, share: Some(compared.share) });
                continue;
            }
            let group = (field.section, instrument.string_count(field.pin.note));
            groups.entry(group).or_default().push(compared);
        }
    }
    let middles = middles(&groups);
    let whole = median(&middles.values().copied().collect::<Vec<_>>());
    // Of two groups nobody knows which of them is out of line.
    let whole = whole.filter(|_| middles.len() >= 3);
    found.whole_share = whole.filter(|share| !(1.0 / WHOLE_RATIO..=WHOLE_RATIO).contains(share));
    for (group, strings) in &groups {
        let others = whole.unwrap_or(1.0);
        match middles.get(group) {
            Some(middle) if is_odd(*middle / others, strings) => {
                let pins = strings.iter().map(|string| string.pin).collect();
                found.odd.push(odd(instrument, *group, pins, strings, &groups, others));
            }
            middle => {
                let usual = middle.copied().unwrap_or(others);
                find_strings(instrument, (*group, usual), strings, &groups, &mut found);
            }
        }
    }
    found.slack.sort_by_key(|slack| slack.pin);
    found
}

/// The comparison a reading allows.
fn compared(reading: &PinReading, pitch_cents: Option<f64>) -> Option<Compared> {
    if reading.kind != TorqueKind::Running || reading.state != StringState::AtPitch {
        return None;
    }
    let measured = finite(reading.moment_nm)?;
    let at_pitch = finite(Some(reading.moment_at_pitch_nm)).filter(|moment| moment.value > 0.2)?;
    let cents = reading.cents_as_found.or(pitch_cents).filter(|cents| cents.is_finite());
    let expected_nm = at_pitch.value * tension_ratio_at_cents(cents.unwrap_or(0.0));
    (expected_nm > 0.0).then(|| Compared {
        pin: reading.pin,
        share: measured.value / expected_nm,
        u: measured.u / expected_nm,
        expected_u: at_pitch.u / at_pitch.value,
        expected_nm,
    })
}

/// Whether friction is about what the string pulls, so that the pin lets it down to just that.
fn holds_no_more(reading: &PinReading) -> bool {
    let (Some(friction), Some(pull)) = (finite(reading.friction_nm), finite(reading.moment_nm))
    else {
        return reading.not_holding;
    };
    let u = libm::hypot(friction.u, LET_DOWN_FACTOR * pull.u);
    reading.not_holding || friction.value < LET_DOWN_FACTOR * pull.value + u
}

/// The middle of each group that has one.
fn middles(groups: &BTreeMap<Group, Vec<Compared>>) -> BTreeMap<Group, f64> {
    let middle = |strings: &Vec<Compared>| {
        let shares: Vec<f64> = strings.iter().map(|string| string.share).collect();
        median(&shares).filter(|_| strings.len() >= GROUP_COUNT_MIN)
    };
    let known = groups.iter().filter_map(|(group, strings)| Some((*group, middle(strings)?)));
    known.filter(|(_, middle)| *middle > 0.0).collect()
}

/// Whether a group's pulls cannot be its own.
fn is_odd(ratio: f64, strings: &[Compared]) -> bool {
    let expected_u: Vec<f64> = strings.iter().map(|string| string.expected_u).collect();
    let measured_u: Vec<f64> = strings.iter().map(|string| string.u).collect();
    let u = libm::hypot(median(&expected_u).unwrap_or(0.0), median(&measured_u).unwrap_or(0.0));
    let off = libm::log(ratio).abs();
    off > libm::log(GROUP_RATIO) && off > GROUP_SIGMA * u
}

/// Single slack strings of a group, and stretches of pins out of line.
fn find_strings(
    instrument: &Instrument,
    (group, usual): (Group, f64),
    strings: &[Compared],
    groups: &BTreeMap<Group, Vec<Compared>>,
    found: &mut Pulls,
) {
    // Without a middle of its own a group is only as well known as its assumed pulls.
    let spread = |string: &Compared| {
        let of_group = strings.len() >= GROUP_COUNT_MIN;
        if of_group { WITHIN_GROUP_RELATIVE_U } else { string.expected_u }
    };
    let side = |string: &Compared| {
        let u = libm::hypot(string.u, spread(string) * usual);
        let off = string.share - usual;
        if string.share < SLACK_SHARE * usual && off < -SLACK_SIGMA * u {
            -1_i8
        } else if string.share > GROUP_RATIO * usual && off > SLACK_SIGMA * u {
            1
        } else {
            0
        }
    };
    for run in strings.chunk_by(|before, after| side(before) == side(after)) {
        match side(&run[0]) {
            0 => {}
            _ if run.len() >= RUN_COUNT_MIN => {
                let pins = run.iter().map(|string| string.pin).collect();
                found.odd.push(odd(instrument, group, pins, run, groups, usual));
            }
            // A single string that pulls too much is the reading's own affair.
            1 => {}
            _ => found.slack.extend(
                run.iter().map(|string| SlackString { pin: string.pin, share: Some(string.share) }),
            ),
        }
    }
}

/// A group or stretch out of line, with the group it reads like.
fn odd(
    instrument: &Instrument,
    group: Group,
    pins: Vec<Pin>,
    strings: &[Compared],
    groups: &BTreeMap<Group, Vec<Compared>>,
    usual: f64,
) -> OddGroup {
    let middle = |strings: &[Compared], value: fn(&Compared) -> f64| {
        median(&strings.iter().map(value).collect::<Vec<_>>()).unwrap_or(1.0)
    };
    let share = middle(strings, |string| string.share);
    let measured_nm = middle(strings, |string| string.share * string.expected_nm) / usual;
    let distance = |others: &[Compared]| {
        let expected_nm = middle(others, |string| string.expected_nm);
        libm::log(measured_nm.max(0.01) / expected_nm).abs()
    };
    let like = groups
        .iter()
        .filter(|(other, _)| **other != group)
        .map(|(other, strings)| (distance(strings), other))
        .filter(|(distance, _)| *distance < LIKE_LOG)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, other)| words(instrument, *other));
    OddGroup { place: words(instrument, group), pins, share, like }
}

/// A group in words.
fn words(instrument: &Instrument, (section, unison): Group) -> Said {
    let mut present: Vec<u8> = instrument.pins.iter().map(|field| field.section).collect();
    present.sort_unstable();
    present.dedup();
    let strings = match unison {
        1 => say::SINGLES,
        2 => say::PAIRS,
        3 => say::TRIPLES,
        _ => say::FOURS,
    };
    let section = say::one_section(say::section(&section_name(section, &present)));
    Said::joined(&[section, strings.said()], ", ")
}

impl Pulls {
    /// Whether nothing stands out.
    pub fn is_quiet(&self) -> bool {
        let strings = self.slack.is_empty() && self.let_down.is_empty();
        strings && self.odd.is_empty() && self.whole_share.is_none()
    }

    /// What stands out, a sentence each, and what it does not say; empty when nothing does.
    pub fn sentences(&self) -> Vec<Said> {
        let mut sentences = Vec::new();
        if let Some(share) = self.whole_share {
            sentences.push(say::pull_of_all(Fixed(share, 2)));
        }
        for group in &self.odd {
            let like = match &group.like {
                Some(like) => say::like_another(like),
                None => say::AS_NONE_OF_ITS_KIND.said(),
            };
            let share = Fixed(group.share, 2);
            sentences.push(say::pull_of_group(&group.place, named(&group.pins), share, like));
        }
        if !self.slack.is_empty() {
            sentences.push(say::slack_strings(list_words(&self.slack)));
        }
        if !self.let_down.is_empty() {
            sentences.push(say::let_down_strings(list_words(&self.let_down)));
        }
        if !sentences.is_empty() {
            sentences.push(say::PULL_LIMITS.said());
        }
        sentences
    }

    /// The words a slack string's pin is remarked with; `None` for others.
    pub fn remark(&self, pin: Pin) -> Option<String> {
        let share_in = |strings: &[SlackString]| {
            strings.iter().find(|string| string.pin == pin)?.share.map(|share| share.max(0.0))
        };
        let slack = share_in(&self.slack).map(|share| ("slack string", share));
        let let_down = || share_in(&self.let_down).map(|share| ("string let down", share));
        let (what, share) = slack.or_else(let_down)?;
        Some(format!("{what}: pulls {share:.2} of what it should"))
    }
}

/// Strings by name, the list capped.
fn list_words(strings: &[SlackString]) -> Said {
    let pins: Vec<Said> = strings.iter().take(NAMED_COUNT_MAX).map(slack_words).collect();
    let named = Said::joined(&pins, ", ");
    match strings.len().saturating_sub(NAMED_COUNT_MAX) {
        0 => named,
        more => say::and_more(named, more),
    }
}

fn slack_words(slack: &SlackString) -> Said {
    match slack.share {
        Some(share) => say::pin_at_share(pin_name(slack.pin), Fixed(share.max(0.0), 2)),
        None => Said::same(pin_name(slack.pin)),
    }
}

/// "12 pins, A0 C to G1 R".
fn named(pins: &[Pin]) -> Said {
    match (pins.first(), pins.last()) {
        (Some(first), Some(last)) => {
            say::pins_from_to(pins.len(), pin_name(*first), pin_name(*last))
        }
        _ => say::NO_PINS.said(),
    }
}

#[cfg(test)]
mod tests;
