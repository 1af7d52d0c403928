//! Reads one finished stroke: direction, breakaway, knee, running torque, slip and what spoiled it.
//!
//! Direction comes from the coil's movement, never from the torque's sign: a weak pin runs flat
//! while the hand holds it back. Slip is where the tangent stiffness has fallen below a quarter of
//! the ramp's while the head turns; a rounded knee alone (the embedded part lets go from the top
//! down) leaves about half the ramp's stiffness, so the two are told apart by a factor of two on
//! either side (DER).

use pinhold_protocol::record::{Direction, Knee, Stroke, stroke_flags};
use pinhold_protocol::units::{Angle, Stiffness, Torque};

use super::{
    NOMINAL_STIFFNESS_NM_PER_RAD, RAD_PER_DEG, SLIP_MS_GUARD, SLIP_MS_MIN, SLIP_RAD_GUARD,
    SLIP_RAD_MIN,
    mishap::{jump, spoilers},
};
use crate::math::{Line, quantile};
use crate::sample::{BIN_SAMPLE_COUNT, Bin};

/// Half width of the window tangents are taken over, bins.
pub(super) const TANGENT_HALF_BINS: usize = 3;
/// Slip is where the tangent falls below this share of the ramp's stiffness.
const SLIP_TANGENT_SHARE: f32 = 0.25;
/// Least head rate in slip, radians per second.
const SLIP_RATE_MIN: f32 = 0.2 * RAD_PER_DEG;
/// Share of a slip's rotation at either end that its time does not count.
const SLIP_END_SHARE: f32 = 0.05;
/// Runs of slip closer than this belong together: a pin that sticks and slips.
const STICK_S_MAX: f32 = 0.4;
/// Torque missing to the break from which on turning is slip, share of the break, …
const NEAR_SHARE: f32 = 0.1;
/// … and N·m at least: flat torque of a weak pin is next to nothing, and changes by as much as its
/// friction does.
const NEAR_NM: f32 = 0.2;
/// Torque missing to the break where the foot began to creep, N·m and share of the break, above
/// which there was no knee.
const CREEP_NM: f32 = 0.4;
/// See [`CREEP_NM`].
const CREEP_SHARE: f32 = 0.12;
/// Play of a tip on a pin's head, radians, at most.
const PLAY_RAD_MAX: f32 = 0.2 * RAD_PER_DEG;
/// The same for a worn tip, where torque tells it as well.
const WORN_PLAY_RAD_MAX: f32 = 0.3 * RAD_PER_DEG;
/// Torque from which losing half of it after a stick is unloading, N·m.
const UNLOADED_FROM_NM: f32 = 1.0;
/// Torque while it is crossed, share of the stroke's largest, at most.
const PLAY_TORQUE_SHARE: f32 = 0.15;
/// Slip against what was asked, and beyond that, radians, above which it went too far.
const TOO_FAR_RATIO: f32 = 1.6;
/// See [`TOO_FAR_RATIO`].
const TOO_FAR_RAD: f32 = 0.1 * RAD_PER_DEG;
/// Swing of torque over the slip, share of running torque, above which a pin is jumpy.
const JUMPY_SWING: f32 = 0.2;
/// Running torque the swing is compared with at least, N·m: on a weak pin the flat torque is near
/// zero while friction is not.
const SWING_SIZE_NM_MIN: f32 = 3.0;

/// What the finder knows beside the bins.
#[derive(Clone, Copy, Debug)]
pub struct Context {
    /// Torque and angle at the rest before the stroke.
    pub rest: Bin,
    /// Seconds per bin.
    pub bin_s: f32,
    /// Time at rest before, milliseconds.
    pub rest_before_ms: u32,
    /// Slip asked for, radians.
    pub slip_asked_rad: f32,
    /// Samples were missed or saturated.
    pub spoiled: bool,
}

/// A stroke as read, with what the reading needs beside the wire form.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Wire form.
    pub stroke: Stroke,
    /// Running torque in own direction, N·m; `None` when the slip was too short.
    pub running_nm: Option<f32>,
    /// Breakaway torque in own direction, N·m.
    pub breakaway_nm: Option<f32>,
    /// Coil angle the running torque belongs to, radians, sharp positive.
    pub running_coil_rad: f32,
    /// Slope of torque over coil angle in slip, own direction, N·m/rad.
    pub slope_nm_per_rad: f32,
    /// Standard deviation of that slope.
    pub slope_sd_nm_per_rad: f32,
    /// Torque missing to the break where the foot first turned freely, N·m: large when the pin
    /// creeps before it breaks, or has no knee at all.
    pub knee_deficit_nm: f32,
    /// Highest less lowest torque, N·m.
    pub torque_range_nm: f32,
    /// Most torque given up in one jump of the pin, N·m.
    pub jump_nm: f32,
    /// Slip that is further than asked, radians.
    pub too_far_rad: f32,
    /// Coil angle at rest before, radians.
    pub coil_before_rad: f32,
    /// Coil angle at the end, radians.
    pub coil_after_rad: f32,
    /// Least coil angle on the way, radians.
    pub coil_min_rad: f32,
    /// Greatest coil angle on the way, radians.
    pub coil_max_rad: f32,
}

impl Found {
    /// Whether all `flags` are set.
    pub fn has(&self, flags: u16) -> bool {
        self.stroke.flags & flags == flags
    }
}

/// Largest torque towards the side `movement` points to, N·m.
pub fn largest_towards(bins: &[Bin], movement: f32) -> f32 {
    let sign = if movement < 0.0 { -1.0 } else { 1.0 };
    // Compared here, in every bin of a stroke: `max` is a call of thirty instructions.
    bins.iter()
        .map(|bin| sign * bin.torque_nm)
        .fold(0.0, |peak: f32, torque_nm| if torque_nm > peak { torque_nm } else { peak })
}

/// Highest less lowest torque, N·m.
pub fn torque_range(bins: &[Bin]) -> f32 {
    let (low, high) = bins.iter().fold((f32::INFINITY, f32::NEG_INFINITY), |(low, high), bin| {
        (low.min(bin.torque_nm), high.max(bin.torque_nm))
    });
    high - low
}

/// A stretch of bins, end exclusive.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Stretch {
    pub(super) start: usize,
    pub(super) end: usize,
}

/// The stroke seen in its own direction: torque and angles multiplied by the direction's sign.
pub(super) struct View<'a> {
    bins: &'a [Bin],
    sign: f32,
    pub(super) stiffness: f32,
    pub(super) bin_s: f32,
}

impl View<'_> {
    pub(super) fn torque(&self, index: usize) -> f32 {
        self.bins.get(index).map_or(0.0, |bin| self.sign * bin.torque_nm)
    }

    pub(super) fn angle(&self, index: usize) -> f32 {
        self.bins.get(index).map_or(0.0, |bin| self.sign * bin.angle_rad)
    }

    fn coil(&self, index: usize) -> f32 {
        self.angle(index) - self.torque(index) / self.stiffness
    }

    /// Changes of torque and head angle across the tangent window, and its length in seconds.
    fn tangent(&self, index: usize) -> (f32, f32, f32) {
        let from = index.saturating_sub(TANGENT_HALF_BINS);
        let to = (index + TANGENT_HALF_BINS).min(self.bins.len().saturating_sub(1));
        let span_s = to.saturating_sub(from).max(1) as f32 * self.bin_s;
        (self.torque(to) - self.torque(from), self.angle(to) - self.angle(from), span_s)
    }

    fn slips(&self, index: usize) -> bool {
        let (torque, angle, span_s) = self.tangent(index);
        angle > SLIP_RATE_MIN * span_s && torque < SLIP_TANGENT_SHARE * self.stiffness * angle
    }

    /// The slip: runs in this direction, joined across sticks, the farthest-reaching kept.
    fn slip(&self) -> Option<Stretch> {
        let gap_max = (STICK_S_MAX / self.bin_s) as usize;
        let peak_nm = (0..self.bins.len()).fold(0.0, |peak: f32, i| peak.max(self.torque(i)));
        let mut best: Option<(f32, Stretch)> = None;
        let mut current: Option<Stretch> = None;
        for index in 0..self.bins.len() {
            if !self.slips(index) {
                continue;
            }
            current = match current {
                Some(run) if self.joins(run, index, gap_max) => {
                    Some(Stretch { start: run.start, end: index + 1 })
                }
                _ => Some(Stretch { start: index, end: index + 1 }),
            };
            if let Some(run) = current.filter(|run| !self.is_play(*run, peak_nm)) {
                let reach = self.coil(run.end - 1) - self.coil(run.start);
                if best.is_none_or(|(most, _)| reach > most) {
                    best = Some((reach, run));
                }
            }
        }
        best.filter(|(reach, _)| *reach > 0.0).map(|(_, run)| run)
    }

    /// Whether `run` is the tip crossing its play: a short way, at next to no torque against what
    /// the same pin stood.
    fn is_play(&self, run: Stretch, peak_nm: f32) -> bool {
        let most_nm = (run.start..run.end).fold(0.0, |most: f32, i| most.max(self.torque(i)));
        self.coil(run.end - 1) - self.coil(run.start) < WORN_PLAY_RAD_MAX
            && most_nm < PLAY_TORQUE_SHARE * peak_nm
    }

    /// Whether slip at `index` continues `run`: close in time, and not unloaded in between.
    fn joins(&self, run: Stretch, index: usize, gap_max: usize) -> bool {
        let gap = index.saturating_sub(run.end);
        let backwards = self.coil(index) < self.coil(run.end - 1) - 0.05 * RAD_PER_DEG;
        // A short free turn at a torque far below what follows is the tip crossing its play.
        let play = self.coil(run.end - 1) - self.coil(run.start) < PLAY_RAD_MAX
            && self.torque(index) > 0.0
            && self.torque(run.end - 1) < 0.6 * self.torque(index);
        // What turns when most of the torque is off again is not the pin.
        let unloaded = self.torque(run.end - 1) > UNLOADED_FROM_NM
            && self.torque(index) < 0.5 * self.torque(run.end - 1);
        gap <= gap_max && !backwards && !play && !unloaded
    }
}

/// Slope of the early loading ramp, N·m/rad, `None` when there is too little of it.
///
/// Taken between a tenth and just under half of the first peak, where the embedded part has hardly
/// begun to let go.
fn ramp_stiffness(bins: &[Bin], rest: Bin) -> Option<f32> {
    let excursion = |bin: &Bin| (bin.torque_nm - rest.torque_nm).abs();
    let peak = bins.iter().fold(0.0, |peak: f32, bin| peak.max(excursion(bin)));
    if peak < 1.5 {
        return None;
    }
    let start = bins.iter().position(|bin| excursion(bin) > 0.1 * peak)?;
    let length = bins.get(start..)?.iter().position(|bin| excursion(bin) > 0.45 * peak)?;
    // One bin either side: a quick ramp leaves few bins between the two marks.
    let ramp = bins.get(start.saturating_sub(1)..start + length + 1)?;
    let line = Line::fit(ramp.iter().map(|bin| (bin.angle_rad, bin.torque_nm)))?;
    (line.slope > 200.0 && line.slope < 1600.0).then_some(line.slope)
}

/// Reads the stroke in `bins`; `None` when there are too few to say anything.
pub fn read(bins: &[Bin], context: &Context) -> Option<Found> {
    if bins.len() < 2 * TANGENT_HALF_BINS + 2 {
        return None;
    }
    let ramp = ramp_stiffness(bins, context.rest);
    let stiffness = ramp.unwrap_or(NOMINAL_STIFFNESS_NM_PER_RAD);
    let coil = |bin: &Bin| bin.angle_rad - bin.torque_nm / stiffness;
    let coil_before = coil(&context.rest);
    let coil_after = coil(bins.last()?);
    let view_of = |sign: f32| View { bins, sign, stiffness, bin_s: context.bin_s };
    let reach = |view: &View<'_>, slip: &Option<Stretch>| {
        slip.map_or(0.0, |s| view.coil(s.end - 1) - view.coil(s.start))
    };
    let (sharp, flat) = (view_of(1.0), view_of(-1.0));
    let (sharp_slip, flat_slip) = (sharp.slip(), flat.slip());
    let (sharp_reach, flat_reach) = (reach(&sharp, &sharp_slip), reach(&flat, &flat_slip));
    let moved = sharp_reach.max(flat_reach) > 0.03 * RAD_PER_DEG;
    let is_sharp = if moved {
        sharp_reach > flat_reach
    } else {
        largest_towards(bins, 1.0) > largest_towards(bins, -1.0)
    };
    let (view, slip) = if is_sharp { (sharp, sharp_slip) } else { (flat, flat_slip) };
    let (coil_min, coil_max) = bins.iter().fold((coil_before, coil_before), |(low, high), bin| {
        (low.min(coil(bin)), high.max(coil(bin)))
    });
    let slip = slip.filter(|_| moved);
    let mut found = Found {
        stroke: blank(is_sharp, context, bins.len()),
        running_nm: None,
        breakaway_nm: None,
        running_coil_rad: 0.0,
        slope_nm_per_rad: 0.0,
        slope_sd_nm_per_rad: f32::INFINITY,
        knee_deficit_nm: 0.0,
        torque_range_nm: torque_range(bins),
        jump_nm: 0.0,
        too_far_rad: TOO_FAR_RATIO * context.slip_asked_rad + TOO_FAR_RAD,
        coil_before_rad: coil_before,
        coil_after_rad: coil_after,
        coil_min_rad: coil_min,
        coil_max_rad: coil_max,
    };
    found.stroke.ramp_stiffness = ramp.and_then(Stiffness::from_newton_metres_per_radian_f32);
    let peak = (0..bins.len()).fold(f32::NEG_INFINITY, |peak, i| peak.max(view.torque(i)));
    found.stroke.peak = torque(peak);
    if let Some(slip) = slip {
        read_slip(&view, slip, context, &mut found);
        found.jump_nm = jump(&view, slip);
    }
    found.stroke.flags |= spoilers(&view, slip, context, bins);
    Some(found)
}

fn blank(is_sharp: bool, context: &Context, bin_count: usize) -> Stroke {
    let duration_s = bin_count as f32 * context.bin_s;
    let sample_count = bin_count as u32 * BIN_SAMPLE_COUNT;
    Stroke {
        direction: if is_sharp { Direction::Sharp } else { Direction::Flat },
        breakaway: None,
        running: None,
        running_scatter: Torque::ZERO,
        running_slope_micronewton_metres_per_radian: 0,
        running_angle: Angle::ZERO,
        ramp_stiffness: None,
        slip: Angle::ZERO,
        peak: Torque::ZERO,
        knee: Knee::Absent,
        stick_slip_permille: 0,
        rest_before_ms: context.rest_before_ms,
        duration_ms: (duration_s * 1000.0) as u32,
        slip_ms: 0,
        sample_count,
        flags: stroke_flags::SLIP_TOO_SHORT,
    }
}

/// Fills in what the slip says.
fn read_slip(view: &View<'_>, slip: Stretch, context: &Context, found: &mut Found) {
    let crept_nm = view.torque(slip.start);
    let (breakaway, slip) = breakaway(view, slip);
    found.knee_deficit_nm = breakaway - crept_nm;
    let slip_rad = view.coil(slip.end - 1) - view.coil(slip.start);
    let lasted_ms = slip_time_s(view, slip) * 1000.0;
    let slip_ms = (slip.end - slip.start) as f32 * context.bin_s * 1000.0;
    found.stroke.slip = angle(slip_rad);
    found.stroke.slip_ms = slip_ms as u32;
    found.breakaway_nm = Some(breakaway);
    found.stroke.breakaway = Some(torque(breakaway));
    if slip_rad > found.too_far_rad {
        found.stroke.flags |= stroke_flags::TOO_FAR;
    }
    // The first fifth is the break settling; the last two bins the hand easing off.
    let settled = slip.start + (slip.end - slip.start) / 5;
    let points = (settled..slip.end.saturating_sub(2)).map(|i| (view.coil(i), view.torque(i)));
    let Some(line) = Line::fit_robust(points.clone(), 2.5) else { return };
    let residuals = points.map(|(x, y)| y - line.at(x));
    let swing = match (quantile(residuals.clone(), 0.95), quantile(residuals, 0.05)) {
        (Some(high), Some(low)) => high - low,
        _ => 0.0,
    };
    let size = line.mean_y.abs().max(SWING_SIZE_NM_MIN);
    found.stroke.stick_slip_permille = (swing / size * 1000.0).min(65_535.0) as u16;
    if swing > JUMPY_SWING * size {
        found.stroke.flags |= stroke_flags::JUMPY;
    }
    found.stroke.knee = knee(found.knee_deficit_nm, breakaway, line.mean_y);
    if line.mean_y < -0.1 {
        found.stroke.flags |= stroke_flags::DRIVEN_BY_STRING;
    }
    if slip_rad < SLIP_RAD_MIN + SLIP_RAD_GUARD
        || slip_ms < SLIP_MS_MIN
        || lasted_ms < SLIP_MS_MIN + SLIP_MS_GUARD
    {
        return;
    }
    found.stroke.flags &= !stroke_flags::SLIP_TOO_SHORT;
    found.running_nm = Some(line.mean_y);
    found.running_coil_rad = view.sign * line.mean_x;
    found.slope_nm_per_rad = line.slope;
    found.slope_sd_nm_per_rad = line.scatter / libm::sqrtf(line.sum_xx.max(1e-12));
    found.stroke.running = Some(torque(line.mean_y));
    found.stroke.running_scatter = torque(line.scatter);
    found.stroke.running_angle = angle(found.running_coil_rad);
    found.stroke.running_slope_micronewton_metres_per_radian =
        torque(line.slope).micronewton_metres();
}

/// Time the slip took, seconds: that of its middle nine tenths, over nine tenths. Tangents blur a
/// slip's ends, and a hand that creeps into it or out of it adds time without adding turning.
fn slip_time_s(view: &View<'_>, slip: Stretch) -> f32 {
    let (from_rad, to_rad) = (view.coil(slip.start), view.coil(slip.end - 1));
    let at = |share: f32| from_rad + share * (to_rad - from_rad);
    let inside = (slip.start..slip.end)
        .filter(|&i| view.coil(i) > at(SLIP_END_SHARE) && view.coil(i) < at(1.0 - SLIP_END_SHARE));
    (inside.count() + 1) as f32 * view.bin_s / (1.0 - 2.0 * SLIP_END_SHARE)
}

/// Torque at the first break, and the slip counted from there.
///
/// The break is the highest torque shortly before and in the first third of the slip. Where the
/// head turns freely before that, the tip is crossing its play or a weak pin has yet to be pushed:
/// the slip begins near the break.
fn breakaway(view: &View<'_>, slip: Stretch) -> (f32, Stretch) {
    let from = slip.start.saturating_sub(2 * TANGENT_HALF_BINS);
    let to = slip.start + ((slip.end - slip.start) / 3).max(TANGENT_HALF_BINS + 2);
    let to = to.min(slip.end);
    let break_nm = (from..to).fold(f32::NEG_INFINITY, |peak, i| peak.max(view.torque(i)));
    let near_nm = break_nm - (NEAR_SHARE * break_nm.abs()).max(NEAR_NM);
    let start = (slip.start..to).find(|&i| view.torque(i) >= near_nm).unwrap_or(slip.start);
    (break_nm, Stretch { start, end: slip.end })
}

/// Shape of the knee: whether the foot crept well before the break, or torque falls behind it.
fn knee(deficit_nm: f32, breakaway: f32, running: f32) -> Knee {
    if deficit_nm > CREEP_NM.max(CREEP_SHARE * breakaway.abs()) {
        Knee::Absent
    } else if breakaway - running > 0.06 * breakaway.abs() {
        Knee::Crisp
    } else {
        Knee::Rounded
    }
}

fn torque(value_nm: f32) -> Torque {
    Torque::from_newton_metres_f32(value_nm).unwrap_or_default()
}

fn angle(value_rad: f32) -> Angle {
    Angle::from_radians_f32(value_rad).unwrap_or_default()
}
