//! The order form: pins by size and number, per zone or section.
//!
//! Deliberately not here: prices, and labels of any maker. Sizes are diameters in micrometres,
//! because labels collide between makers.

use pinhold_protocol::record::Pin;

use super::super::zones::{ZoneShape, place};
use super::size::Sizing;
use super::{Findings, Remedy};
use crate::words::{Said, Word, remedies as say};

/// Spares in a hundred pins (ours).
const SPARE_SHARE: f64 = 0.05;
/// Smallest common pin for a new plank, µm: 1/0 to 2/0 or 6.9–7.0 mm leaves room (PRAC).
const NEW_PLANK_UM: u32 = 7_000;

/// Spares beside so many pins, at least this share of them, 0–1.
pub fn spares(pin_count: usize, share: f64) -> usize {
    // Counts are small and the share is at most 1: the cast is exact enough.
    (pin_count as f64 * share.clamp(0.0, 1.0)).ceil() as usize
}

/// One line of the parts list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PartsLine {
    /// Where.
    pub place: Said,
    /// The section.
    pub section: u8,
    /// Which pins.
    pub pins: Vec<Pin>,
    /// How many.
    pub pin_count: usize,
    /// Spares to order beside them.
    pub spare_count: usize,
    /// Diameter fitted now, micrometres, when known.
    pub from_um: Option<u32>,
    /// Diameter to order, micrometres; `None`: to be decided at the pin.
    pub to_um: Option<u32>,
    /// What to mind.
    pub note: Word,
}

/// Pins that larger ones would go to: sections that are low as a whole, loose and unread pins of
/// zones, and single loose pins.
pub(super) fn larger_sites(findings: &Findings<'_>) -> Vec<usize> {
    let whole = |section: u8| {
        findings.zones.iter().any(|zone| match zone.shape {
            ZoneShape::Everywhere => true,
            ZoneShape::WholeSection => zone.sections.contains(&section),
            _ => false,
        })
    };
    let in_zone = |pin: Pin| {
        findings.zones.iter().any(|zone| {
            let within = zone.p_value.is_some() || zone.shape == ZoneShape::Scattered;
            within && (zone.pins.contains(&pin) || zone.unread_inside.contains(&pin))
        })
    };
    (0..findings.pins.len())
        .filter(|i| {
            let pin = &findings.pins[*i];
            let loose = pin.read && pin.judgement.doubtful_chance > 0.5;
            whole(pin.site.section) || in_zone(pin.pin) || loose
        })
        .collect()
}

/// The parts list of a remedy; empty where none is needed.
pub(super) fn parts(
    findings: &Findings<'_>,
    remedy: Remedy,
    sizing: &Sizing<'_>,
) -> Vec<PartsLine> {
    let all: Vec<usize> = (0..findings.pins.len()).collect();
    match remedy {
        Remedy::Larger { .. } => by_section(findings, &larger_sites(findings), |group| {
            let to_um = sizing.at(&group.members, f64::from(group.from_um?))?.to_um();
            Some((to_um, trial_note(findings, to_um)))
        }),
        Remedy::Restring { .. } => by_section(findings, &all, |group| {
            let to_um = sizing.at(&group.members, f64::from(group.from_um?))?.to_um();
            Some((to_um, say::WITH_NEW_WIRE))
        }),
        Remedy::Plank => {
            by_section(findings, &all, |_| Some((Some(NEW_PLANK_UM), say::SMALLEST_SIZE)))
        }
        Remedy::RepairBlock => by_section(findings, &larger_sites(findings), |group| {
            Some((group.from_um, say::SAME_SIZE))
        }),
        Remedy::Treat => {
            by_section(findings, &larger_sites(findings), |_| Some((None, say::AT_THE_PIN)))
        }
        _ => Vec::new(),
    }
}

/// What to mind with a size, by what it rests on.
fn trial_note(findings: &Findings<'_>, to_um: Option<u32>) -> Word {
    match (findings.condition.trials.len(), to_um) {
        (0, _) => say::FIT_TRIAL,
        (_, Some(_)) => say::SIZE_BY_TRIALS,
        (_, None) => say::NO_SIZE_BY_TRIALS,
    }
}

/// Pins of one section and one size.
pub(super) struct Group {
    section: u8,
    /// Diameter fitted now, micrometres, when known.
    pub(super) from_um: Option<u32>,
    /// Indices of the pins.
    pub(super) members: Vec<usize>,
}

/// The chosen pins by section and, since sizes may be mixed within one, by size.
pub(super) fn groups(findings: &Findings<'_>, chosen: &[usize]) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for i in chosen {
        let site = &findings.pins[*i].site;
        let key = (site.section, site.diameter_um);
        match groups.iter_mut().find(|group| (group.section, group.from_um) == key) {
            Some(group) => group.members.push(*i),
            None => groups.push(Group { section: key.0, from_um: key.1, members: vec![*i] }),
        }
    }
    groups.sort_by_key(|group| (group.section, group.from_um));
    groups
}

/// A line for each group; where no size can be told, it is to be decided at the pin.
fn by_section(
    findings: &Findings<'_>,
    chosen: &[usize],
    size: impl Fn(&Group) -> Option<(Option<u32>, Word)>,
) -> Vec<PartsLine> {
    let sites: Vec<_> = findings.pins.iter().map(|pin| pin.site).collect();
    let present = place::sections(&sites);
    let line = |group: Group| {
        let pins: Vec<Pin> = group.members.iter().map(|i| sites[*i].pin).collect();
        let (to_um, note) = size(&group).unwrap_or((None, say::SIZE_UNTOLD));
        let words = place::section_phrase(&[group.section], &present);
        PartsLine {
            place: Said::joined(&[words, place::note_range(&pins)], ", "),
            section: group.section,
            pin_count: pins.len(),
            spare_count: spares(pins.len(), SPARE_SHARE),
            pins,
            from_um: group.from_um,
            to_um,
            note,
        }
    };
    groups(findings, chosen).into_iter().map(line).collect()
}
