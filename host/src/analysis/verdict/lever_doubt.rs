//! What levers in doubt do to a verdict: how sure it may be, what to confirm, what speaks against.
//!
//! Marks change no torque and no choice of remedy. A class's wide uncertainty is in the numbers
//! already, but nobody has shown that the lever is as good as its class; and what a lever that
//! failed its check is off by is in no number at all. Both bear on every pin alike, so no count of
//! pins makes up for them: hence a cap on the confidence, which is ours (no rule exists).
//!
//! Deliberately not here: when a reading is marked ([`crate::calibration::standing`]).

use super::super::PinResult;
use super::Findings;
use crate::calibration::mark::LeverMark;
use crate::words::{Said, Word, findings as say};

/// Why a confidence is a cap and not the chance itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ConfidenceCap {
    /// A new plank, and no parted plies were seen.
    PliesUnseen,
    /// Torques come from a lever in doubt.
    LeverInDoubt,
}

impl ConfidenceCap {
    /// The word in documents.
    pub const fn word(self) -> &'static str {
        match self {
            ConfidenceCap::PliesUnseen => "plies-unseen",
            ConfidenceCap::LeverInDoubt => "lever-in-doubt",
        }
    }
}

/// A mark that leaves open how far off the torques are.
const fn is_open(mark: LeverMark) -> bool {
    match mark {
        LeverMark::Uncalibrated | LeverMark::CalibrationUnknown { .. } | LeverMark::CheckFailed => {
            true
        }
        LeverMark::Overdue | LeverMark::OutOfTemperature | LeverMark::OutOfRange => false,
    }
}

fn marked(findings: &Findings<'_>, is: impl Fn(LeverMark) -> bool) -> (usize, usize) {
    let read = || findings.pins.iter().filter(|pin| pin.read);
    let has = |pin: &&PinResult| pin.marks.iter().any(|mark| is(*mark));
    (read().filter(has).count(), read().count())
}

/// Highest confidence these levers allow: 1 when none is in doubt, the profile's cap when every
/// reading is from one that is, by their share between.
pub(super) fn confidence_max(findings: &Findings<'_>) -> f64 {
    let (count, read_count) = marked(findings, is_open);
    if count == 0 {
        return 1.0;
    }
    let share = count as f64 / read_count as f64;
    1.0 - share * (1.0 - findings.profile.doubted_lever_confidence_cap.value)
}

fn counted(count: usize, read_count: usize) -> Said {
    if count == read_count { say::EVERY_TORQUE.said() } else { say::of_torques(count, read_count) }
}

/// What to confirm about the levers before acting, gravest first.
pub(super) fn confirm(findings: &Findings<'_>) -> Vec<Said> {
    let mut list = Vec::new();
    let mut when = |is: fn(LeverMark) -> bool, words: Word| {
        let (count, read_count) = marked(findings, is);
        if count > 0 {
            list.push(say::confirm_torques(words, counted(count, read_count)));
        }
    };
    when(|mark| mark == LeverMark::CheckFailed, say::LEVER_FAILED);
    when(|mark| mark == LeverMark::Uncalibrated, say::LEVER_UNCALIBRATED);
    when(|mark| matches!(mark, LeverMark::CalibrationUnknown { .. }), say::LEVER_UNKNOWN);
    when(|mark| mark == LeverMark::Overdue, say::LEVER_OVERDUE);
    when(|mark| mark == LeverMark::OutOfTemperature, say::LEVER_TEMPERATURE);
    when(|mark| mark == LeverMark::OutOfRange, say::LEVER_RANGE);
    list
}

/// What speaks against the verdict on the levers' account.
pub(super) fn against(findings: &Findings<'_>) -> Option<Said> {
    let (failed, read_count) = marked(findings, |mark| mark == LeverMark::CheckFailed);
    (failed > 0).then(|| say::failed_lever(counted(failed, read_count)))
}

/// What is most worth doing when most torques are of a lever that failed its check.
pub(super) fn next(findings: &Findings<'_>) -> Option<Said> {
    let (failed, read_count) = marked(findings, |mark| mark == LeverMark::CheckFailed);
    (2 * failed > read_count).then(|| say::LEVER_NEXT.said())
}
