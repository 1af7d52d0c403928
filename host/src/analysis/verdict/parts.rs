//! The order form: pins by size and number, per zone or section.
//!
//! Deliberately not here: prices, and labels of any maker. Sizes are diameters in micrometres,
//! because labels collide between makers.

use pinhold_protocol::record::Pin;

use super::super::zones::{ZoneShape, place};
use super::{Findings, Remedy, next_size_um};
use crate::words::{Said, Word, remedies as say};

/// Spares in a hundred pins (ours).
const SPARE_SHARE: f64 = 0.05;
/// Smallest common pin for a new plank, µm: 1/0 to 2/0 or 6.9–7.0 mm leaves room (PRAC).
const NEW_PLANK_UM: u32 = 7_000;

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
pub(super) fn parts(findings: &Findings<'_>, remedy: Remedy) -> Vec<PartsLine> {
    let all: Vec<usize> = (0..findings.pins.len()).collect();
    match remedy {
        Remedy::Larger { .. } => by_section(findings, &larger_sites(findings), |from| {
            (from.and_then(|um| next_size_um(um, findings)), say::FIT_TRIAL)
        }),
        Remedy::Restring { .. } => by_section(findings, &all, |from| {
            let to = from.and_then(|um| next_size_um(um, findings));
            (to, say::WITH_NEW_WIRE)
        }),
        Remedy::Plank => by_section(findings, &all, |_| (Some(NEW_PLANK_UM), say::SMALLEST_SIZE)),
        Remedy::RepairBlock => by_section(findings, &larger_sites(findings), |from| {
            (from.map(|um| um.round() as u32), say::SAME_SIZE)
        }),
        Remedy::Treat => by_section(findings, &larger_sites(findings), |_| (None, say::AT_THE_PIN)),
        _ => Vec::new(),
    }
}

fn by_section(
    findings: &Findings<'_>,
    chosen: &[usize],
    size: impl Fn(Option<f64>) -> (Option<u32>, Word),
) -> Vec<PartsLine> {
    let sites: Vec<_> = findings.pins.iter().map(|pin| pin.site).collect();
    let present = place::sections(&sites);
    let mut lines = Vec::new();
    for section in &present {
        let here: Vec<usize> =
            chosen.iter().copied().filter(|i| sites[*i].section == *section).collect();
        // Sizes may be mixed within a section: one line for each.
        let mut sizes: Vec<Option<u32>> = here.iter().map(|i| sites[*i].diameter_um).collect();
        sizes.sort_unstable();
        sizes.dedup();
        for from_um in sizes {
            let pins: Vec<Pin> = here
                .iter()
                .filter(|i| sites[**i].diameter_um == from_um)
                .map(|i| sites[*i].pin)
                .collect();
            let (to_um, note) = size(from_um.map(f64::from));
            let words = place::section_phrase(&[*section], &present);
            lines.push(PartsLine {
                place: Said::joined(&[words, place::note_range(&pins)], ", "),
                section: *section,
                pin_count: pins.len(),
                spare_count: (pins.len() as f64 * SPARE_SHARE).ceil() as usize,
                pins,
                from_um,
                to_um,
                note,
            });
        }
    }
    lines
}
