//! Loose pins nobody has read yet: every place they could be, and how likely each is.
//!
//! A Bayesian scan: windows along rows, along the flange, whole rows and patches each get a prior
//! weight (from the states of the plank as all evidence but the pattern leaves them) and the
//! likelihood ratio of the pins read inside. A window nobody looked into keeps its weight, one
//! with sound pins loses it, one with low pins gains it. What is left over is "nothing there".
//!
//! Deliberately not here: whether such a place counts as a zone; that is the scan's business, with
//! its stated rate of false alarms.
//!
//! Numbers without a source beside them are ours (DER).

use super::places::{along, flange_line, nearest, rows, rows_by_section};
use crate::analysis::Assessment;
use crate::analysis::random::Random;
use crate::analysis::scatter::{HIGH_SHARE, LOOSE_SD, LOOSE_SHIFT};
use crate::analysis::stats::normal_density;
use crate::analysis::survey::{FRICTION_FLOOR_NM, Site};
use crate::analysis::verdict::evidence::{EvidenceKind, weigh};
use crate::analysis::zones::ZoneShape;

/// Lengths of runs that are looked for, pins (ours: from the shortest that is a line to one that
/// takes most of a section's row).
const RUN_COUNTS: [usize; 6] = [5, 8, 12, 17, 24, 34];
/// Sizes of patches that are looked for, pins (ours).
const PATCH_COUNTS: [usize; 3] = [8, 14, 22];
/// Sizes of the high treble that are looked for, pins from the last note down (ours).
const HIGH_TREBLE_COUNTS: [usize; 3] = [12, 24, 36];
/// Shares of loosened pins inside, and how far they stand below the field, natural-log units: the
/// zones' own alternatives, coarser (ours).
const SHARES: [f64; 2] = [0.65, 0.93];
const SHIFTS: [f64; 3] = [-0.35, -0.7, -1.1];
/// Alternatives of one window.
pub(super) const ALTERNATIVE_COUNT: usize = SHARES.len() * SHIFTS.len();
/// Spread of loosened pins as a share of the shift.
const SHIFT_SPREAD: f64 = 0.3;
/// Least share of single holes assumed.
const HOLE_SHARE_MIN: f64 = 0.005;

/// What a window would be, were it loose.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Run,
    Flange,
    WholeRow,
    Patch,
    HighTreble,
}

impl Kind {
    const ALL: [Kind; 5] = [Kind::Run, Kind::Flange, Kind::WholeRow, Kind::Patch, Kind::HighTreble];

    /// The shape the zone search would call it.
    pub(super) const fn shape(self) -> ZoneShape {
        match self {
            Kind::Run => ZoneShape::RaggedLineInside,
            Kind::Flange => ZoneShape::AlongFlange,
            Kind::WholeRow => ZoneShape::WholeRow,
            Kind::Patch => ZoneShape::Patch,
            Kind::HighTreble => ZoneShape::HighTreble,
        }
    }
}

/// Pins that could be loose together.
#[derive(Clone, Debug)]
pub(super) struct Window {
    pub(super) kind: Kind,
    /// Indices of pins.
    pub(super) members: Vec<usize>,
    /// Share of its kind's prior weight.
    share: f64,
}

/// All windows of an instrument.
pub(super) fn windows(sites: &[Site]) -> Vec<Window> {
    let mut all = Vec::new();
    let flange = flange_line(sites);
    push_runs(&mut all, Kind::Flange, &flange);
    for row in rows(sites) {
        let inside: Vec<usize> = row.into_iter().filter(|i| !sites[*i].at_flange).collect();
        push_runs(&mut all, Kind::Run, &inside);
    }
    for row in rows_by_section(sites).into_iter().filter(|row| row.len() >= RUN_COUNTS[0]) {
        all.push(Window { kind: Kind::WholeRow, members: row, share: 1.0 });
    }
    for (centre, near) in nearest(sites, PATCH_COUNTS[2]).into_iter().enumerate() {
        // Every second centre is as good: patches of neighbours are nearly the same.
        if centre % 2 == 0 {
            for count in PATCH_COUNTS.into_iter().filter(|count| near.len() >= *count) {
                let members = near[..count].to_vec();
                all.push(Window { kind: Kind::Patch, members, share: 1.0 });
            }
        }
    }
    let treble = along((0..sites.len()).collect(), sites);
    for count in HIGH_TREBLE_COUNTS.into_iter().filter(|count| treble.len() >= 2 * count) {
        let members = treble[treble.len() - count..].to_vec();
        all.push(Window { kind: Kind::HighTreble, members, share: 1.0 });
    }
    share_out(&mut all);
    all
}

fn push_runs(all: &mut Vec<Window>, kind: Kind, line: &[usize]) {
    for count in RUN_COUNTS.into_iter().filter(|count| line.len() >= *count) {
        let starts = (line.len() - count).div_ceil((count / 5).max(1)) + 1;
        for start in 0..starts {
            let first = (start * (count / 5).max(1)).min(line.len() - count);
            let members = line[first..first + count].to_vec();
            // Every length is as likely, wherever it begins.
            all.push(Window { kind, members, share: 1.0 / starts as f64 });
        }
    }
}

/// Makes the shares of a kind add up to 1.
fn share_out(all: &mut [Window]) {
    for kind in Kind::ALL {
        let of_kind = all.iter().filter(|w| w.kind == kind);
        let sum = of_kind.fold(0.0, |sum, window| sum + window.share);
        for window in all.iter_mut().filter(|w| w.kind == kind) {
            window.share /= sum;
        }
    }
}

/// Chance of each kind of zone before the pins are looked at: what the states of the plank show,
/// the states weighed on everything but pattern, lineup, share and scatter.
fn kind_chances(assessment: &Assessment) -> [f64; 5] {
    use EvidenceKind::{Lineup, Pattern, Scatter, Share};
    let beside: Vec<_> = assessment
        .verdict
        .evidence
        .iter()
        .filter(|item| !matches!(item.kind, Pattern | Lineup | Share | Scatter))
        .cloned()
        .collect();
    let states = weigh(&beside);
    Kind::ALL.map(|kind| {
        crate::analysis::verdict::PlankState::ALL
            .iter()
            .zip(&states)
            .fold(0.0, |sum, (state, p)| sum + p * state.shape_chance(Some(kind.shape())))
    })
}

/// Read pins against the field.
#[derive(Clone, Debug)]
pub(super) struct Seen {
    /// Log friction less the field's, `None` for a pin without a friction.
    pub(super) residuals: Vec<Option<f64>>,
    /// `gains[alternative][pin]`: logarithm of the likelihood ratio; 0 where nothing was read.
    gains: Vec<Vec<f64>>,
    /// Scatter of ordinary pins about the field.
    pub(super) scatter: f64,
    /// Share of single loose holes.
    pub(super) hole_share: f64,
}

impl Seen {
    pub(super) fn new(assessment: &Assessment) -> Seen {
        let scatter = assessment.field.scatter.max(0.05);
        let hole_share = assessment.field.loose_share.clamp(HOLE_SHARE_MIN, 0.5);
        let ratio = |residual: f64, v: f64, shift: f64| {
            let s = scatter * scatter + v;
            let holes = LOOSE_SD * LOOSE_SD + v;
            let sound = (1.0 - hole_share - HIGH_SHARE) * normal_density(residual, 0.0, s)
                + hole_share * normal_density(residual, LOOSE_SHIFT, holes)
                + HIGH_SHARE * normal_density(residual, 0.5, 0.12 + v);
            let spread = SHIFT_SPREAD * shift;
            normal_density(residual, shift, s + spread * spread) / sound.max(1e-30)
        };
        let read: Vec<Option<(f64, f64)>> = assessment
            .pins
            .iter()
            .zip(&assessment.field.points)
            .map(|(pin, point)| {
                let friction = pin.friction_nm.filter(|_| pin.read)?;
                let value = friction.value.max(FRICTION_FLOOR_NM);
                let relative = (friction.u / value).min(1.0);
                let residual =
                    libm::log(value) - libm::log(point.sound_nm.value.max(FRICTION_FLOOR_NM));
                Some((residual, relative * relative))
            })
            .collect();
        let gains = alternatives()
            .map(|(share, shift)| {
                let gain = |(r, v): (f64, f64)| libm::log(1.0 - share + share * ratio(r, v, shift));
                read.iter().map(|pin| pin.map_or(0.0, gain)).collect()
            })
            .collect();
        let residuals = read.into_iter().map(|pin| pin.map(|(r, _)| r)).collect();
        Seen { residuals, gains, scatter, hole_share }
    }

    /// Logarithm of the likelihood ratio of a window under each alternative.
    fn ratios(&self, window: &Window) -> [f64; ALTERNATIVE_COUNT] {
        let mut ratios = [0.0; ALTERNATIVE_COUNT];
        for (ratio, gains) in ratios.iter_mut().zip(&self.gains) {
            *ratio = window.members.iter().fold(0.0, |sum, i| sum + gains[*i]);
        }
        ratios
    }
}

/// Share of loosened pins and shift of every alternative.
pub(super) fn alternatives() -> impl Iterator<Item = (f64, f64)> {
    SHARES.into_iter().flat_map(|share| SHIFTS.into_iter().map(move |shift| (share, shift)))
}

/// A window under one alternative.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Hypothesis {
    /// Index of the window.
    pub(super) window: usize,
    /// Share of its pins that are loosened.
    pub(super) share: f64,
    /// How far they stand below the field, natural-log units, negative.
    pub(super) shift: f64,
}

impl Hypothesis {
    /// A loosened pin's residual.
    pub(super) fn draw(&self, scatter: f64, random: &mut Random) -> f64 {
        let spread = SHIFT_SPREAD * self.shift;
        self.shift + (scatter * scatter + spread * spread).sqrt() * random.normal()
    }
}

/// Hypotheses with their chances, and the chance that none is true.
#[derive(Clone, Debug)]
pub(super) struct Chances {
    pub(super) hypotheses: Vec<(Hypothesis, f64)>,
    pub(super) nothing: f64,
}

impl Chances {
    /// Of the windows that `fits` lets through. With `sure` one of them is true.
    pub(super) fn new(
        assessment: &Assessment,
        windows: &[Window],
        seen: &Seen,
        sure: bool,
        fits: impl Fn(&Window) -> bool,
    ) -> Chances {
        let kinds = kind_chances(assessment);
        let mut logs: Vec<(Hypothesis, f64)> = Vec::new();
        for (index, window) in windows.iter().enumerate().filter(|(_, window)| fits(window)) {
            let prior = kinds[window.kind as usize] * window.share / ALTERNATIVE_COUNT as f64;
            let ratios = seen.ratios(window);
            for ((share, shift), ratio) in alternatives().zip(ratios) {
                let hypothesis = Hypothesis { window: index, share, shift };
                logs.push((hypothesis, libm::log(prior.max(1e-12)) + ratio));
            }
        }
        let none = (1.0 - kinds.iter().sum::<f64>()).max(0.02);
        let log_none = if sure { f64::NEG_INFINITY } else { libm::log(none) };
        let top = logs.iter().map(|(_, log)| *log).fold(log_none, f64::max);
        if !top.is_finite() {
            return Chances { hypotheses: Vec::new(), nothing: 1.0 };
        }
        let mut sum = libm::exp(log_none - top);
        for (_, log) in &mut logs {
            *log = libm::exp(*log - top);
            sum += *log;
        }
        logs.retain(|(_, weight)| *weight > 1e-9 * sum);
        let hypotheses = logs.into_iter().map(|(h, weight)| (h, weight / sum)).collect();
        Chances { hypotheses, nothing: libm::exp(log_none - top) / sum }
    }

    /// One drawn by its chance.
    pub(super) fn draw(&self, random: &mut Random) -> Option<Hypothesis> {
        let mut left = random.uniform() - self.nothing;
        if left < 0.0 {
            return None;
        }
        for (hypothesis, chance) in &self.hypotheses {
            left -= chance;
            if left < 0.0 {
                return Some(*hypothesis);
            }
        }
        self.hypotheses.last().map(|(hypothesis, _)| *hypothesis)
    }
}
