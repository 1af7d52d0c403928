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

use pinhold_protocol::record::Pin;

use super::design;
use super::hidden::{Seen, Window, windows};
use super::places::{distance_m, rows};
use super::rest::{Drawn, Rest};
use crate::analysis::input::{Condition, PinReading};
use crate::analysis::random::Random;
use crate::analysis::survey::Site;
use crate::analysis::verdict::RemedyKind;
use crate::analysis::zones::{Zone, place};
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
const MARGIN_COUNT: usize = 2;
/// What a metre of walking must bring, nats of information (ours: pins along a row are 13 mm
/// apart, the keyboard's length 1.2 m; across it a stretch must tell a twentieth of a nat more).
const WALK_NATS_PER_M: f64 = 0.01;
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
struct Next<'a> {
    asked: &'a Asked<'a>,
    assessment: &'a Assessment,
    sites: Vec<Site>,
    /// Rows over all sections, pins from bass to treble.
    rows: Vec<Vec<usize>>,
    /// Pins that can still be read.
    open: Vec<bool>,
    windows: Vec<Window>,
}

impl<'a> Next<'a> {
    fn new(asked: &'a Asked<'a>, assessment: &'a Assessment) -> Next<'a> {
        let sites: Vec<Site> = assessment.pins.iter().map(|pin| pin.site).collect();
        let passed = |pin: &Pin| asked.passed_over.contains(pin);
        let open = assessment.pins.iter().map(|p| !p.read && !passed(&p.pin)).collect();
        let (rows, windows) = (rows(&sites), windows(&sites));
        Next { asked, assessment, sites, rows, open, windows }
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
        let is_settled = change_chance < 1.0 - confidence;
        let worth = self.worth(&draws);
        if is_settled && through.is_empty() {
            return Step::Settled(self.settled(remedy, change_chance, &worth));
        }
        let (pins, why) = if through.is_empty() {
            self.most_telling(&worth)
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
        if self.assessment.field.points.is_empty() {
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

    fn at(&self) -> Option<usize> {
        let pin = self.asked.at?;
        self.sites.iter().position(|site| site.pin == pin)
    }

    /// Information each open pin shares with the remedy, nats, plus a little for what is unseen.
    fn worth(&self, draws: &[Drawn]) -> Vec<f64> {
        let mut worth = vec![0.0; self.sites.len()];
        for row in &self.rows {
            let read: Vec<usize> = (0..row.len()).filter(|at| !self.open[row[*at]]).collect();
            for (at, i) in row.iter().enumerate().filter(|(_, i)| self.open[**i]) {
                let gap = read.iter().map(|r| r.abs_diff(at)).min().unwrap_or(row.len());
                worth[*i] = information(draws, *i) + UNSEEN_NATS * gap as f64;
            }
        }
        worth
    }

    /// The stretch of a row that tells most, and a second one where the first is short.
    fn most_telling(&self, worth: &[f64]) -> (Vec<usize>, Why) {
        let mut free = self.open.clone();
        let mut chosen: Vec<usize> = Vec::new();
        let mut told = 0.0;
        let mut at = self.at();
        while chosen.len() < STEP_PIN_COUNT_MIN {
            let room = STEP_PIN_COUNT_MAX - chosen.len();
            let Some((stretch, sum)) = self.best_stretch(worth, &free, room.min(7), at) else {
                break;
            };
            told += sum;
            stretch.iter().for_each(|i| free[*i] = false);
            at = stretch.last().copied();
            chosen.extend(stretch);
        }
        let unseen = told < 3.0 * UNSEEN_NATS * 10.0 * chosen.len() as f64;
        (chosen, if unseen { Why::Unseen } else { Why::Verdict })
    }

    fn best_stretch(
        &self,
        worth: &[f64],
        free: &[bool],
        count_max: usize,
        at: Option<usize>,
    ) -> Option<(Vec<usize>, f64)> {
        let mut best: Option<(Vec<usize>, f64, f64)> = None;
        for row in &self.rows {
            for from in 0..row.len() {
                // Over at most as many places again: the pins of a stretch stand near each other.
                let places = &row[from..row.len().min(from + 2 * count_max)];
                let stretch: Vec<usize> =
                    places.iter().copied().filter(|i| free[*i]).take(count_max).collect();
                let Some(first) = stretch.first().filter(|first| **first == row[from]) else {
                    continue;
                };
                let sum = stretch.iter().fold(0.0, |sum, i| sum + worth[*i]);
                let walk = at.map_or(0.0, |at| {
                    WALK_NATS_PER_M * distance_m(&self.sites[at], &self.sites[*first])
                });
                if best.as_ref().is_none_or(|(_, _, score)| sum - walk > *score) {
                    best = Some((stretch, sum, sum - walk));
                }
            }
        }
        best.map(|(stretch, sum, _)| (stretch, sum))
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

    fn reason(&self, pins: &[usize], why: Why, remedy: RemedyKind, chance: f64) -> String {
        let place = self.place_of(pins);
        let change = format!("{:.0} % that the rest changes '{}'", 100.0 * chance, remedy.word());
        match why {
            Why::FirstRound => place,
            Why::MeasureThrough => {
                let zone = self.zone_near(pins);
                let what = zone.map_or("the loose pins", |zone| match zone.pins.len() {
                    0..=5 => "the few loose pins",
                    _ => "the loose pins",
                });
                format!("how far {what} there go: {place}")
            }
            Why::Verdict => format!("{place}: they tell most about the verdict ({change})"),
            Why::Unseen => format!("{place}: nobody has looked there yet ({change})"),
        }
    }

    fn zone_near(&self, pins: &[usize]) -> Option<&Zone> {
        let rows: Vec<u8> = pins.iter().map(|i| self.sites[*i].row).collect();
        let standing = self.assessment.zones.iter().filter(|zone| zone.p_value.is_some());
        standing.into_iter().find(|zone| zone.rows.iter().any(|row| rows.contains(row)))
    }

    /// Where pins stand, in a technician's words.
    fn place_of(&self, pins: &[usize]) -> String {
        let named: Vec<Pin> = pins.iter().map(|i| self.sites[*i].pin).collect();
        let mut sections: Vec<u8> = pins.iter().map(|i| self.sites[*i].section).collect();
        sections.sort_unstable();
        sections.dedup();
        let mut rows: Vec<u8> = pins.iter().map(|i| self.sites[*i].row).collect();
        rows.sort_unstable();
        rows.dedup();
        let present = place::sections(&self.sites);
        let kind = self.asked.instrument.kind;
        let row = match rows.as_slice() {
            [row] => {
                let lined = sections.iter().any(|s| place::lines_flange(&self.sites, *s));
                format!(", {}", place::row_name(*row, self.rows.len(), kind, lined))
            }
            _ => String::new(),
        };
        let phrase = place::section_phrase(&sections, &present);
        format!("{} of the {phrase}{row}", place::note_range(&named))
    }

    fn settled(&self, remedy: RemedyKind, change_chance: f64, worth: &[f64]) -> Settled {
        let read_count = self.assessment.pins.iter().filter(|pin| pin.read).count();
        let saved_count = self.open.iter().filter(|open| **open).count();
        let mut takes = Vec::new();
        if saved_count > 0
            && let Some((stretch, _)) =
                self.best_stretch(worth, &self.open, STEP_PIN_COUNT_MAX, self.at())
        {
            takes.push(format!(
                "by torque: {} more pins, {}, would tell most",
                stretch.len(),
                self.place_of(&stretch)
            ));
        }
        if let Some(observation) = &self.assessment.verdict.next_observation {
            takes.push(format!("beside torque: {observation}"));
        }
        Settled {
            remedy,
            change_chance,
            read_count,
            pin_count: self.sites.len(),
            saved_count,
            what_it_would_take: takes,
        }
    }
}

/// Mutual information of a pin's being low and the remedy over the draws, nats, less what chance
/// alone would show (Miller, *Note on the bias of information estimates*, 1955).
fn information(draws: &[Drawn], pin: usize) -> f64 {
    let count = draws.len() as f64;
    let mut remedies: Vec<(RemedyKind, [f64; 2])> = Vec::new();
    let mut total = [0.0; 2];
    for draw in draws {
        let low = usize::from(draw.low[pin]);
        total[low] += 1.0;
        match remedies.iter_mut().find(|(remedy, _)| *remedy == draw.remedy) {
            Some((_, counts)) => counts[low] += 1.0,
            None => {
                let mut counts = [0.0; 2];
                counts[low] = 1.0;
                remedies.push((draw.remedy, counts));
            }
        }
    }
    if total[0] == 0.0 || total[1] == 0.0 || remedies.len() < 2 {
        return 0.0;
    }
    let mut information = 0.0;
    for (_, counts) in &remedies {
        let row = counts[0] + counts[1];
        for (joint, column) in counts.iter().zip(total).filter(|(joint, _)| **joint > 0.0) {
            information += joint / count * libm::log(joint * count / (row * column));
        }
    }
    let bias = (remedies.len() - 1) as f64 / (2.0 * count);
    (information - bias).max(0.0)
}
