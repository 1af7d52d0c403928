//! Cautions, shown where they apply.

use super::super::input::PlankSight;
use super::{Findings, RemedyKind};
use crate::instrument::InstrumentKind;
use crate::words::{Word, remedies as say};

/// Cautions for a remedy on an instrument.
pub(super) fn cautions(findings: &Findings<'_>, remedy: RemedyKind) -> Vec<Word> {
    use RemedyKind::{Larger, Plank, RepairBlock, Restring, Treat};
    let mut list = vec![say::STORED_PULL, say::TOUCH_UP];
    if findings.condition.plank == Some(PlankSight::OffBack) {
        list.push(say::NEVER_RAISE);
    }
    if findings.condition.pitch_cents.is_some_and(|cents| cents <= -30.0) {
        list.push(say::FAR_BELOW_PITCH);
    }
    if matches!(remedy, Treat | Larger | Restring) {
        list.push(say::OLD_WIRE);
    }
    if matches!(remedy, Treat | Larger | Restring | RepairBlock) {
        match findings.instrument.kind {
            InstrumentKind::Grand => {
                list.push(say::SUPPORT_PLANK);
            }
            InstrumentKind::Upright => {
                list.push(say::FALLS_BACK);
            }
        }
    }
    if remedy == Treat {
        list.push(say::THIN_GLUE);
    }
    if matches!(remedy, RepairBlock | Plank) {
        list.push(say::OLD_DUST);
    }
    if remedy == Larger || remedy == Restring {
        list.push(say::TWO_SIZES);
    }
    list.push(say::OPINION);
    list
}
