//! The next step of an adaptive survey: five to ten pins whose reading would tell most about the
//! verdict, or that it is settled.
//!
//! The verdict is settled when the chance that reading the rest would change the remedy is below
//! one minus the confidence asked for, and every zone that stands out has been measured through:
//! its own pins and its margins. Until then pins are chosen by the information they share with the
//! remedy over the drawn completions (`rest`), less a charge for the walk.
//!
//! Stopping and false alarms: zones are not looked for oftener because of stopping. The step reads
//! *more* wherever pins stand low, so a chance cluster is met by fresh pins before the survey may
//! stop; and the test of zones is run on what was read when it stops.
//!
//! Numbers without a source beside them are ours (DER).

use pinhold_protocol::record::Pin;

use super::design;
use super::hidden::{Seen, Window, windows};
use super::places::{distance_m, rows};
use super::rest::{Drawn, Rest};
use crate::analysis::input::{Condition, PinReading};
use crate::analysis::random::Random;
use crate::analysis::survey::Site;
use crate::analysis::verdict::RemedyKind;
use crate::analysis::{Assessment, AssessmentInput, Profile, assess};
use crate::instrument::Instrument;

/// Confidence at which a verdict is settled where none is chosen (ours).
pub const CONFIDENCE_DEFAULT: f64 = 0.9;
/// Pins of a step, where as many are left.
pub const STEP_PIN_COUNT_MIN: usize = 5;
/// Most pins of a step.
pub const STEP_PIN_COUNT_MAX: usize = 10;
/// Completions drawn for a step.
const DRAW_COUNT: usize = 240;
/// Pins of a row beyond the outermost loose one that make a zone's margin (ours).
const MARGIN_COUNT: usize = 3;
/// Part of the chance of change allowed that the draws may show; the rest is left to what they do
/// not model: the zone search's own luck and how the field would be fitted anew (ours).
const DRAWN_PART: f64 = 0.5;
/// What a metre of walking must bring, nats of information (ours: pins along a row are 13 mm
/// apart, the keyboard's length 1.2 m; across it a stretch must tell a twentieth of a nat more).
const WALK_NATS_PER_M: f64 = 0.01;
/// Pins of one stretch at most, so that a second place is seen in the same step.
const STRETCH_COUNT_MAX: usize = 7;
/// Every pin of a stretch, every second, every third.
const STRIDES: [usize; 3] = [1, 2, 3];
/// Low pins told apart in a set of pins: none, one, two, three or more.
const LOW_COUNT_MAX: usize = 3;
/// Worth of a pin in a stretch nobody has looked into, nats for each pin of distance to the
/// nearest one read in its row: decides only where the draws tell nothing.
const UNSEEN_NATS: f64 = 0.000_2;

/// What a step is asked for.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    /// The instrument.
    pub instrument: &'a Instrument,
    /// What was read so far.
    pub readings: &'a [PinReading],
    /// What is known beside torque.
    pub condition: &'a Condition,
    /// Thresholds.
    pub profile: &'a Profile,
    /// Confidence at which to stop, 0.5–0.999.
    pub confidence: f64,
    /// The pin the lever is at; the walk begins there.
    pub at: Option<Pin>,
    /// Pins passed over: never proposed again.
    pub passed_over: &'a [Pin],
    /// Seed of the draws.
    pub seed: u64,
}

/// Why pins are read next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// The first round is not through.
    FirstRound,
    /// A zone is to be measured through: how far it goes.
    MeasureThrough,
    /// They tell most about the verdict.
    Verdict,
    /// Nothing tells more than the next unseen stretch.
    Unseen,
}

impl Why {
    /// Word for JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Why::FirstRound => "first-round",
            Why::MeasureThrough => "measure-through",
            Why::Verdict => "verdict",
            Why::Unseen => "unseen",
        }
    }
}

/// Pins to read next.
#[derive(Clone, Debug, PartialEq)]
pub struct Proposal {
    /// Five to ten pins, fewer where fewer are left, in walking order.
    pub pins: Vec<Pin>,
    /// Why.
    pub why: Why,
    /// The same in a line of plain words.
    pub reason: String,
    /// Chance that reading the rest would change the remedy, 0–1; `None` in the first round.
    pub change_chance: Option<f64>,
    /// The remedy as it stands; `None` in the first round.
    pub remedy: Option<RemedyKind>,
}

/// The verdict will not be changed by the rest at the confidence asked for.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// The remedy.
    pub remedy: RemedyKind,
    /// Chance that reading the rest would change it, 0–1.
    pub change_chance: f64,
    /// Pins with a reading.
    pub read_count: usize,
    /// Pins the instrument has.
    pub pin_count: usize,
    /// Pins that were not read and need not be.
    pub saved_count: usize,
    /// What it would take to be surer: pins, where, or an observation beside torque.
    pub what_it_would_take: Vec<String>,
}

/// What to do next.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// Read these.
    Read(Proposal),
    /// Stop.
    Settled(Settled),
}

/// The next step. Never fails; the same input gives the same step.
pub fn propose(asked: &Asked<'_>) -> Step {
    if let Some(step) = first_round(asked) {
        return step;
    }
    let assessment = assess(
        &AssessmentInput {
            instrument: asked.instrument,
            readings: asked.readings,
            condition: asked.condition,
            seed: asked.seed,
        },
        asked.profile,
    );
    Next::new(asked, &assessment).step()
}

/// What is left of the round every adaptive survey begins with.
fn first_round(asked: &Asked<'_>) -> Option<Step> {
    let is_done =
        |pin: &Pin| asked.readings.iter().any(|r| r.pin == *pin) || asked.passed_over.contains(pin);
    let start = design::start(asked.instrument);
    let done = start.pins.iter().filter(|pin| is_done(pin)).count();
    // Pins read by another plan serve as well: as many as the round has are enough.
    let elsewhere = asked.readings.len() >= start.pins.len();
    let mut pins: Vec<Pin> = start.pins.iter().copied().filter(|pin| !is_done(pin)).collect();
    if pins.is_empty() || (elsewhere && 2 * done >= start.pins.len()) {
        return None;
    }
    pins.truncate(STEP_PIN_COUNT_MAX);
    let reason = format!("the first round, {}", start.sentence());
    let why = Why::FirstRound;
    Some(Step::Read(Proposal { pins, why, reason, change_chance: None, remedy: None }))
}

/// The survey as it stands, ready to be asked.
pub(super) struct Next<'a> {
    pub(super) asked: &'a Asked<'a>,
    pub(super) assessment: &'a Assessment,
    pub(super) sites: Vec<Site>,
    /// Rows over all sections, pins from bass to treble.
    pub(super) rows: Vec<Vec<usize>>,
    /// Pins that can still be read.
    pub(super) open: Vec<bool>,
    pub(super) windows: Vec<Window>,
    /// For each open pin how many places along its row the nearest read one is away.
    pub(super) gaps: Vec<f64>,
}

impl<'a> Next<'a> {
    fn new(asked: &'a Asked<'a>, assessment: &'a Assessment) -> Next<'a> {
        let sites: Vec<Site> = assessment.pins.iter().map(|pin| pin.site).collect();
        let passed = |pin: &Pin| asked.passed_over.contains(pin);
        let open: Vec<bool> = assessment.pins.iter().map(|p| !p.read && !passed(&p.pin)).collect();
        let (rows, windows) = (rows(&sites), windows(&sites));
        let mut gaps = vec![0.0; sites.len()];
        for row in &rows {
            let read: Vec<usize> = (0..row.len()).filter(|at| !open[row[*at]]).collect();
            for (at, i) in row.iter().enumerate() {
                let gap = read.iter().map(|r| r.abs_diff(at)).min().unwrap_or(row.len());
                gaps[*i] = gap as f64;
            }
        }
        Next { asked, assessment, sites, rows, open, windows, gaps }
    }

    fn step(&self) -> Step {
        let remedy = self.assessment.verdict.remedy.kind();
        if !self.open.contains(&true) {
            return Step::Settled(self.settled(remedy, 0.0, &[]));
        }
        let draws = self.draws();
        let changed = draws.iter().filter(|draw| draw.remedy != remedy).count();
        let change_chance = (changed as f64 + 0.5) / (draws.len() as f64 + 1.0);
        let through = self.not_measured_through();
        let confidence = self.asked.confidence.clamp(0.5, 0.999);
        let is_settled = change_chance < DRAWN_PART * (1.0 - confidence);
        if is_settled && through.is_empty() {
            return Step::Settled(self.settled(remedy, change_chance, &draws));
        }
        let (pins, why) = if through.is_empty() {
            self.most_telling(&draws)
        } else {
            (self.nearest_first(through), Why::MeasureThrough)
        };
        let reason = self.reason(&pins, why, remedy, change_chance);
        let pins = self.walk(pins).into_iter().map(|i| self.sites[i].pin).collect();
        let change_chance = Some(change_chance);
        Step::Read(Proposal { pins, why, reason, change_chance, remedy: Some(remedy) })
    }

    fn draws(&self) -> Vec<Drawn> {
        let seen = Seen::new(self.assessment);
        // Nothing could be fitted: nothing can be drawn.
        if self.assessment.field.points.len() != self.sites.len() {
            return Vec::new();
        }
        let rest = Rest::new(
            self.asked.instrument,
            self.asked.condition,
            self.asked.profile,
            self.assessment,
            &self.windows,
            &seen,
        );
        let mut pins = self.assessment.pins.clone();
        let mut random = Random::new(self.asked.seed ^ 0x5a4d_91c3_0d4e_77b1);
        (0..DRAW_COUNT).map(|_| rest.draw(&mut pins, &self.open, &mut random)).collect()
    }

    /// Open pins of zones that stand out and of their margins.
    fn not_measured_through(&self) -> Vec<usize> {
        let mut wanted = vec![false; self.sites.len()];
        for zone in self.assessment.zones.iter().filter(|zone| zone.p_value.is_some()) {
            let inside = |i: &usize| {
                let pin = self.sites[*i].pin;
                zone.pins.contains(&pin)
                    || zone.unread_inside.contains(&pin)
                    || zone.tight_inside.contains(&pin)
            };
            for row in &self.rows {
                let places: Vec<usize> = (0..row.len()).filter(|at| inside(&row[*at])).collect();
                let (Some(first), Some(last)) = (places.first(), places.last()) else { continue };
                let from = first.saturating_sub(MARGIN_COUNT);
                let to = (last + MARGIN_COUNT).min(row.len() - 1);
                row[from..=to].iter().for_each(|i| wanted[*i] = true);
            }
        }
        (0..wanted.len()).filter(|i| wanted[*i] && self.open[*i]).collect()
    }

    /// At most a step's pins, those first that are nearest to where the lever is.
    fn nearest_first(&self, mut pins: Vec<usize>) -> Vec<usize> {
        let at = self.at().unwrap_or(pins[0]);
        let from = |i: usize| distance_m(&self.sites[at], &self.sites[i]);
        pins.sort_by(|a, b| from(*a).total_cmp(&from(*b)).then(a.cmp(b)));
        pins.truncate(STEP_PIN_COUNT_MAX);
        pins
    }

    pub(super) fn at(&self) -> Option<usize> {
        let pin = self.asked.at?;
        self.sites.iter().position(|site| site.pin == pin)
    }

    /// Stretches of rows that tell most: a first, and more where it is short.
    fn most_telling(&self, draws: &[Drawn]) -> (Vec<usize>, Why) {
        let mut chosen: Vec<usize> = Vec::new();
        let mut at = self.at();
        while chosen.len() < STEP_PIN_COUNT_MIN {
            let room = (STEP_PIN_COUNT_MAX - chosen.len()).min(STRETCH_COUNT_MAX);
            let Some(stretch) = self.best_stretch(draws, &chosen, room, at) else { break };
            at = stretch.last().copied();
            chosen.extend(stretch);
        }
        let tells = information(draws, &chosen) > 0.0;
        (chosen, if tells { Why::Verdict } else { Why::Unseen })
    }

    /// The pins of one row that tell most beside those chosen already: every one of a stretch, or
    /// every second or third, whichever together share more information with the remedy.
    pub(super) fn best_stretch(
        &self,
        draws: &[Drawn],
        chosen: &[usize],
        count_max: usize,
        at: Option<usize>,
    ) -> Option<Vec<usize>> {
        let mut best: Option<(Vec<usize>, f64)> = None;
        for row in &self.rows {
            let free: Vec<usize> = (0..row.len())
                .filter(|place| self.open[row[*place]] && !chosen.contains(&row[*place]))
                .collect();
            for (first, stride) in free.iter().flat_map(|first| STRIDES.map(|s| (*first, s))) {
                let span = stride * 2 * count_max;
                let stretch: Vec<usize> = (first..row.len().min(first + span))
                    .step_by(stride)
                    .map(|place| row[place])
                    .filter(|i| self.open[*i] && !chosen.contains(i))
                    .take(count_max)
                    .collect();
                let all: Vec<usize> = chosen.iter().chain(&stretch).copied().collect();
                let unseen = stretch.iter().fold(0.0, |sum, i| sum + self.gaps[*i]);
                let walk = at.map_or(0.0, |at| {
                    WALK_NATS_PER_M * distance_m(&self.sites[at], &self.sites[stretch[0]])
                });
                let score = information(draws, &all) + UNSEEN_NATS * unseen - walk;
                if best.as_ref().is_none_or(|(_, most)| score > *most) {
                    best = Some((stretch, score));
                }
            }
        }
        best.map(|(stretch, _)| stretch)
    }

    /// The shortest end first: towards treble when the lever is on the bass side of them.
    fn walk(&self, pins: Vec<usize>) -> Vec<usize> {
        let mut order = super::places::along(pins, &self.sites);
        let ends = order.first().copied().zip(order.last().copied());
        if let (Some(at), Some((first, last))) = (self.at(), ends) {
            let here = &self.sites[at];
            if distance_m(here, &self.sites[last]) < distance_m(here, &self.sites[first]) {
                order.reverse();
            }
        }
        order
    }
}

/// Mutual information of how many of these pins are low and the remedy over the draws, nats, less
/// what chance alone would show (Miller, *Note on the bias of information estimates*, 1955).
fn information(draws: &[Drawn], pins: &[usize]) -> f64 {
    let count = draws.len() as f64;
    let mut remedies: Vec<(RemedyKind, [f64; LOW_COUNT_MAX + 1])> = Vec::new();
    let mut total = [0.0; LOW_COUNT_MAX + 1];
    for draw in draws {
        let low = pins.iter().filter(|pin| draw.low[**pin]).count().min(LOW_COUNT_MAX);
        total[low] += 1.0;
        match remedies.iter_mut().find(|(remedy, _)| *remedy == draw.remedy) {
            Some((_, counts)) => counts[low] += 1.0,
            None => {
                let mut counts = [0.0; LOW_COUNT_MAX + 1];
                counts[low] = 1.0;
                remedies.push((draw.remedy, counts));
            }
        }
    }
    let mut information = 0.0;
    for (_, counts) in &remedies {
        let row = counts.iter().fold(0.0, |sum, n| sum + n);
        for (joint, column) in counts.iter().zip(total).filter(|(joint, _)| **joint > 0.0) {
            information += joint / count * libm::log(joint * count / (row * column));
        }
    }
    let kinds = total.iter().filter(|n| **n > 0.0).count();
    let freedom = remedies.len().saturating_sub(1) * kinds.saturating_sub(1);
    (information - freedom as f64 / (2.0 * count.max(1.0))).max(0.0)
}
