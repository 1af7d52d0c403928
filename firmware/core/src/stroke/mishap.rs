//! What makes a stroke unfit to report, or shows a pin that jumps: the tip off the head, a hand's
//! jerk, a pin's own leap, each told by what torque and head angle do together.
//!
//! Deliberately not here: what becomes of such a stroke (the reading's).

use pinhold_protocol::record::stroke_flags;

use super::analysis::{Context, Stretch, TANGENT_HALF_BINS, View};
use super::{RAD_PER_DEG, TORQUE_WARN_NM};
use crate::sample::Bin;

/// A tip that comes off the head takes no longer than this to lose its torque, bins: the freed
/// lever swings against the hand at some tens of hertz (DER).
const OFF_BIN_COUNT: usize = 3;
/// Torque before it comes off, N·m, at least: less is a lever lifted, not slipped.
const OFF_TORQUE_NM_MIN: f32 = 1.25;
/// Share of that torque left when it is off, at most.
const OFF_LEFT_SHARE: f32 = 0.25;
/// Torque on a freed lever once it has swung out, N·m, at most in any bin, …
const OFF_SWING_NM: f32 = 0.35;
/// … or this share of what it was loaded with, …
const OFF_SWING_SHARE: f32 = 0.05;
/// … and in the mean: it hangs in the hand, its weight taken off; a pin that jumped stands.
const OFF_MEAN_NM: f32 = 0.1;
/// Bins over which that is looked at.
const OFF_FREE_BIN_COUNT: usize = 6;
/// Movement the coil seems to make when the tip comes off, in twists of the torque lost: one for
/// the twist that the head does not give back, and more for the hand springing on. A pin that is
/// eased off gives its twist back, give or take what is not known of its stiffness.
const OFF_TWISTS_MIN: f32 = 0.6;
/// Twists by which the head has plainly gone on.
const OFF_FORWARD_TWISTS: f32 = 0.1;
/// Torque lost against what was lost in as much time before, from which on it was sudden.
const OFF_SUDDEN_RATIO: f32 = 2.0;
/// Speed no guided hand reaches while a pin slips, radians per second: 0.3 degrees would be over
/// in 40 ms.
const JERK_RATE: f32 = 7.0 * RAD_PER_DEG;
/// Bins over which it is taken.
const JERK_BIN_COUNT: usize = 3;
/// Bins looked back on for the jump that may explain it.
const JERK_LOOK_BACK_BINS: usize = 6;
/// Least stiffness of hand and lever together, N·m per radian (assumed): a pin that jumps lets the
/// head run ahead of the hand by the torque lost over this, or less.
const HAND_STIFFNESS_MIN: f32 = 5.0 / RAD_PER_DEG;
/// Head rate that is none of the hand's while the torque falls, radians per second.
const JUMP_RATE: f32 = 4.0 * RAD_PER_DEG;

/// Flags for what makes a stroke unfit or remarkable, whatever it says.
pub(super) fn spoilers(
    view: &View<'_>,
    slip: Option<Stretch>,
    context: &Context,
    bins: &[Bin],
) -> u16 {
    let mut flags = 0;
    if context.spoiled {
        flags |= stroke_flags::SAMPLES_SPOILED;
    }
    let peak = bins.iter().fold(0.0, |peak: f32, bin| peak.max(bin.torque_nm.abs()));
    if peak > TORQUE_WARN_NM {
        flags |= stroke_flags::HARD;
    }
    if slipped_off(bins, view.stiffness) {
        flags |= stroke_flags::LEVER_SLIPPED;
    }
    if slip.is_some_and(|slip| jerked(view, slip)) {
        flags |= stroke_flags::JERK;
    }
    flags
}

/// Whether the tip came off the head under load: the torque is gone at once and stays away, and
/// the head did not go back for it as an unloading pin's does, but on, or it was not being
/// unloaded before. (A head too stiff to twist does not go back either, but it is let go of
/// evenly.)
fn slipped_off(bins: &[Bin], stiffness: f32) -> bool {
    bins.windows(2 * OFF_BIN_COUNT + 1 + OFF_FREE_BIN_COUNT).any(|window| {
        let (Some(earlier), Some(before), Some(after)) =
            (window.first(), window.get(OFF_BIN_COUNT), window.get(2 * OFF_BIN_COUNT))
        else {
            return false;
        };
        let sign = if before.torque_nm < 0.0 { -1.0 } else { 1.0 };
        let loaded_nm = sign * before.torque_nm;
        // Past zero counts too: a lever that slips off swings.
        let left_nm = sign * after.torque_nm;
        let lost_nm = loaded_nm - left_nm;
        let twist_rad = lost_nm / stiffness;
        let turned_rad = sign * (after.angle_rad - before.angle_rad);
        let suddenly = lost_nm > OFF_SUDDEN_RATIO * (sign * earlier.torque_nm - loaded_nm);
        let free = window.iter().skip(2 * OFF_BIN_COUNT + 1).map(|bin| bin.torque_nm);
        let swing_nm = free.clone().fold(0.0, |most: f32, nm| most.max(nm.abs()));
        let mean_nm = free.sum::<f32>() / OFF_FREE_BIN_COUNT as f32;
        loaded_nm > OFF_TORQUE_NM_MIN
            && left_nm < OFF_LEFT_SHARE * loaded_nm
            && turned_rad + twist_rad > OFF_TWISTS_MIN * twist_rad
            && (suddenly || turned_rad > OFF_FORWARD_TWISTS * twist_rad)
            && swing_nm < OFF_SWING_NM.max(OFF_SWING_SHARE * loaded_nm)
            && mean_nm.abs() < OFF_MEAN_NM
    })
}

/// Most torque given up while the head ran on by itself, N·m; 0 where it never did.
pub(super) fn jump(view: &View<'_>, slip: Stretch) -> f32 {
    let mut most_nm = 0.0f32;
    let mut lost_nm = 0.0f32;
    for from in slip.start.saturating_sub(TANGENT_HALF_BINS)..slip.end.saturating_sub(1) {
        let rate = (view.angle(from + 1) - view.angle(from)) / view.bin_s;
        let step_nm = view.torque(from) - view.torque(from + 1);
        lost_nm = if rate > JUMP_RATE && step_nm > 0.0 { lost_nm + step_nm } else { 0.0 };
        most_nm = most_nm.max(lost_nm);
    }
    most_nm
}

/// A hand's jerk. The head of a pin that jumps turns as fast, but by giving up the torque the hand
/// had wound up; what is left of its way when that is taken off is the hand's own. The hand's
/// damping holds the torque up while the head slows, so the whole of a jump is looked back on.
fn jerked(view: &View<'_>, slip: Stretch) -> bool {
    let own_rad_min = JERK_RATE * JERK_BIN_COUNT as f32 * view.bin_s;
    (slip.start + JERK_BIN_COUNT..slip.end).any(|to| {
        let first = to.saturating_sub(JERK_LOOK_BACK_BINS);
        (first..=to - JERK_BIN_COUNT).all(|from| {
            let unwound_rad = (view.torque(from) - view.torque(to)).max(0.0) / HAND_STIFFNESS_MIN;
            view.angle(to) - view.angle(from) - unwound_rad > own_rad_min
        })
    })
}
