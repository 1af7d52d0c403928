//! Cautions, shown where they apply.

use super::super::input::PlankSight;
use super::{Findings, RemedyKind};
use crate::instrument::InstrumentKind;

/// Cautions for a remedy on an instrument.
pub(super) fn cautions(findings: &Findings<'_>, remedy: RemedyKind) -> Vec<&'static str> {
    use RemedyKind::{Larger, Plank, RepairBlock, Restring, Treat};
    let mut list = vec![
        "The strings store 15 to 20 tonnes of pull and a breaking wire whips: protect the eyes, \
         keep the face out of the plane of the strings.",
        "The pins that were measured have moved a little and want a touch-up tuning.",
    ];
    if findings.condition.plank == Some(PlankSight::OffBack) {
        list.push(
            "A plank parted from its seat, or a cracked plate: never raise the pitch, slacken \
             evenly, and get a rebuilder.",
        );
    }
    if findings.condition.pitch_cents.is_some_and(|cents| cents <= -30.0) {
        list.push(
            "The piano is far below pitch: raise it in steps, flat by a little first, with the \
             owner's written consent to string breakage.",
        );
    }
    if matches!(remedy, Treat | Larger | Restring) {
        list.push(
            "Old wire: turn flat first, watch for rust at coil and bearing, and have the owner's \
             written consent to string breakage.",
        );
    }
    if matches!(remedy, Treat | Larger | Restring | RepairBlock) {
        match findings.instrument.kind {
            InstrumentKind::Grand => {
                list.push("Support the plank and the keybed before any pin is driven.");
            }
            InstrumentKind::Upright => {
                list.push("An upright can fall backwards: nobody behind it, two to tilt it.");
            }
        }
    }
    if remedy == Treat {
        list.push(
            "Thin glue is irreversible: action out, keys covered, air, gloves and goggles; it may \
             spit at the first turn and heats cotton. Read its data sheet. It fails on oily wood.",
        );
    }
    if matches!(remedy, RepairBlock | Plank) {
        list.push("Old dust may hold lead, mould, droppings or moth poison: mask and vacuum.");
    }
    if remedy == Larger || remedy == Restring {
        list.push("Two sizes at once can split a dry plank: decide after driving a few.");
    }
    list.push(
        "This is an opinion on condition, no structural certificate: a qualified practitioner \
         decides.",
    );
    list
}
