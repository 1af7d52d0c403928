//! A series at a time: directions, order, rising and falling, flattening, zeros.

use pinhold_protocol::record::Direction;

use super::{Loaded, Seen, median};
use crate::calibration::bench::{Leg, Setting};
use crate::calibration::loads::{self, Series};
use crate::calibration::suspicion::Suspicion;

/// Readings may go the wrong way by this much, N·m: noise, drift and hysteresis.
const WRONG_WAY_NM: f64 = 0.03;
/// The zero may move by this within a series, N·m (DER: drift, hysteresis and warming of a lever in
/// order stay below half of it).
const ZERO_MOVED_MAX_NM: f64 = 0.1;
/// A top load that falls short by this share may be a lever that stops rising.
const SHORT_SHARE_MIN: f64 = 0.03;
/// And by this much, N·m.
const SHORT_MIN_NM: f64 = 0.15;
/// What reads alike agrees within this share.
const LEVEL_TOLERANCE: f64 = 0.03;
/// Torques at which a lever stops rising agree within this share.
const CEILING_TOLERANCE: f64 = 0.02;

/// Handle to the other side than typed.
pub(super) fn directions(seen: &Seen<'_>, found: &mut Vec<Suspicion>) {
    for series in &seen.series {
        let across = series.points.iter().map(|at| seen.shared.across(&seen.bench.points[*at]));
        let Some(across) = median(across.collect()) else { continue };
        let typed = match series.direction {
            Direction::Sharp => 1.0,
            Direction::Flat => -1.0,
        };
        if across * typed < 0.0 {
            let place = seen.place(series.points[0]);
            found.push(Suspicion::DirectionSwapped { place });
        }
    }
}

fn leg_of(seen: &Seen<'_>, index: usize) -> Option<Leg> {
    match &seen.bench.points[index].setting {
        Setting::Loaded { leg, .. } => Some(*leg),
        Setting::Free => None,
    }
}

/// Whether a leg's loads rise or fall as it says, by what was typed.
pub(super) fn typed_order(seen: &Seen<'_>, found: &mut Vec<Suspicion>) {
    for series in &seen.series {
        for pair in seen.points(series).windows(2) {
            let [before, here] = [pair[0], pair[1]];
            let change_nm = here.load_nm.abs() - before.load_nm.abs();
            let tolerance_nm = 0.005 * here.load_nm.abs();
            let rising = leg_of(seen, here.index) == Some(Leg::Up);
            let wrong = if rising { change_nm < -tolerance_nm } else { change_nm > tolerance_nm };
            if wrong {
                let place = seen.place(here.index);
                found.push(Suspicion::OutOfOrder { place, rising });
            }
        }
    }
}

/// Readings that go the other way than the load.
pub(super) fn monotone(seen: &Seen<'_>, found: &mut Vec<Suspicion>) {
    for series in &seen.series {
        for pair in seen.points(series).windows(2) {
            let [before, here] = [pair[0], pair[1]];
            let load_nm = here.load_nm - before.load_nm;
            let shown_nm = here.shown_nm - before.shown_nm;
            if load_nm * shown_nm < 0.0
                && shown_nm.abs() > WRONG_WAY_NM
                && load_nm.abs() > WRONG_WAY_NM
            {
                found.push(Suspicion::NotMonotone {
                    place: seen.place(here.index),
                    load_nm: [before.load_nm, here.load_nm],
                    shown_nm: [before.shown_nm, here.shown_nm],
                });
            }
        }
    }
}

/// What a series' highest loads show against its lower half.
struct Top {
    first: usize,
    position: usize,
    arm_m: f64,
    load_nm: f64,
    shown_nm: f64,
    /// Whether all that falls short reads alike.
    level: bool,
}

/// Whether the readings stop rising above a torque, rather than a mass being wrong: the shortfall
/// begins at one torque at all positions, not at one mass.
pub(super) fn flattening(seen: &Seen<'_>, found: &mut Vec<Suspicion>) -> bool {
    let tops: Vec<Top> = seen.series.iter().filter_map(|series| top(seen, series)).collect();
    if tops.is_empty() {
        return false;
    }
    let ceiling_nm = tops.iter().map(|top| top.shown_nm).sum::<f64>() / tops.len() as f64;
    let at_one_torque =
        tops.iter().all(|top| (top.shown_nm / ceiling_nm - 1.0).abs() < CEILING_TOLERANCE);
    // A wrong mass falls short wherever it hung; a ceiling only where the load went beyond it.
    let all_beyond_are_short = seen.series.iter().all(|series| {
        let points = seen.points(series);
        points.iter().all(|point| {
            point.load_nm.abs() < (1.0 + 2.0 * SHORT_SHARE_MIN) * ceiling_nm
                || point.shown_nm.abs() < (1.0 + SHORT_SHARE_MIN) * ceiling_nm
        })
    });
    let arms = tops.iter().map(|top| top.arm_m);
    let (low, high) =
        arms.fold((f64::INFINITY, 0.0_f64), |(low, high), arm| (low.min(arm), high.max(arm)));
    let some_position_spared =
        seen.series.iter().any(|series| tops.iter().all(|top| top.position != series.position));
    // A weight typed too heavy for the lever is the likelier mistake.
    let bearable = tops.iter().all(|top| top.load_nm <= super::LOAD_REFUSED_NM);
    let level = tops.iter().all(|top| top.level);
    let told_apart = high > low * (1.0 + 2.0 * CEILING_TOLERANCE) || some_position_spared;
    if !(at_one_torque && all_beyond_are_short && told_apart && bearable && level) {
        return false;
    }
    if let Some(first) = tops.iter().min_by_key(|top| top.first) {
        let place = seen.place(first.first);
        found.push(Suspicion::Flattening { at_nm: ceiling_nm, place });
    }
    true
}

/// The top of a series that falls short; `None` where it does not.
fn top(seen: &Seen<'_>, series: &Series) -> Option<Top> {
    let points = seen.points(series);
    let highest = points.iter().map(|point| point.load_nm.abs()).fold(0.0, f64::max);
    let lower = |point: &&Loaded| point.load_nm != 0.0 && point.load_nm.abs() <= 0.6 * highest;
    let slope = median(points.iter().filter(lower).map(|p| p.shown_nm / p.load_nm).collect())?;
    if slope <= 0.0 {
        return None;
    }
    let short_nm = |point: &Loaded| (point.load_nm - point.shown_nm / slope).abs();
    let is_short = |point: &&Loaded| {
        let load_nm = point.load_nm.abs();
        point.shown_nm.abs() / slope < load_nm
            && short_nm(point) > (SHORT_SHARE_MIN * load_nm).max(SHORT_MIN_NM)
    };
    let first = points.iter().find(is_short)?;
    let last = points.iter().max_by(|a, b| a.load_nm.abs().total_cmp(&b.load_nm.abs()))?;
    if !is_short(&last) {
        return None;
    }
    let shown_nm = last.shown_nm.abs();
    Some(Top {
        first: first.index,
        position: series.position,
        arm_m: seen.bench.positions[series.position].arm_m.value,
        load_nm: last.load_nm.abs(),
        shown_nm,
        level: points
            .iter()
            .filter(is_short)
            .all(|point| (point.shown_nm.abs() / shown_nm - 1.0).abs() < LEVEL_TOLERANCE),
    })
}

/// Zeros before and after each series.
pub(super) fn zeros(seen: &Seen<'_>, found: &mut Vec<Suspicion>) {
    for series in &seen.series {
        if let Some((_, last, moved_nm)) = zero_return_nm(seen, series)
            && moved_nm.abs() > ZERO_MOVED_MAX_NM
        {
            found.push(Suspicion::ZeroMoved { place: seen.place(last), moved_nm });
        }
    }
}

fn zero_return_nm(seen: &Seen<'_>, series: &Series) -> Option<(usize, usize, f64)> {
    let empty = |at: &&usize| loads::is_empty(&seen.bench.points[**at]);
    let first = *series.points.iter().find(empty)?;
    let last = *series.points.iter().rev().find(empty)?;
    let code = |at: usize| seen.bench.points[at].mean_code;
    let moved = (code(last) - code(first)) * super::NOMINAL_SPAN_NM_PER_COUNT;
    (last != first).then_some((first, last, moved))
}
