//! The rest of the survey, drawn: what the unread pins might read, and what verdict a full survey
//! would then give.
//!
//! Each draw takes a place where loose pins may be hidden (`hidden`), the field's uncertainty, the
//! scatter of pins and single bad holes, fills in every unread pin and weighs the verdict on the
//! completed survey. The share of draws that end in another remedy is the chance that reading the
//! rest would change it.
//!
//! Deliberately not here: the zone search itself; it is taken to find what is there. What is drawn
//! stands in for it, so that a step stays quick.
//!
//! Numbers without a source beside them are ours (DER).

use std::collections::BTreeSet;

use pinhold_protocol::record::Pin;

use super::hidden::{Chances, Hypothesis, Seen, Window};
use crate::analysis::band::judge;
use crate::analysis::input::{Condition, Estimate, PinReading, StringState, TorqueKind};
use crate::analysis::random::Random;
use crate::analysis::scatter::{LOOSE_SD, LOOSE_SHIFT};
use crate::analysis::stats::median;
use crate::analysis::survey::FRICTION_FLOOR_NM;
use crate::analysis::verdict::{Findings, RemedyKind, remedy_kind};
use crate::analysis::zones::{Zone, ZoneShape};
use crate::analysis::{Assessment, FieldEstimate, PinResult, Profile, Statistics};
use crate::instrument::Instrument;
use crate::words::Said;

/// Residual below which a drawn pin is low, natural-log units (26 % under its place; ours).
pub(super) const LOW_RESIDUAL: f64 = -0.3;
/// p-value of a zone that a full survey would find: the bootstrap's usual least.
const FOUND_P_VALUE: f64 = 0.002;
/// Pins from which single bad holes are listed as scattered, as the zones do.
const SCATTERED_COUNT_MIN: usize = 3;
/// Relative uncertainty assumed of a reading where none tells (a lever's class, DER).
const RELATIVE_U: f64 = 0.03;

/// What every draw starts from.
pub(super) struct Rest<'a> {
    pub(super) instrument: &'a Instrument,
    pub(super) condition: &'a Condition,
    pub(super) profile: &'a Profile,
    pub(super) assessment: &'a Assessment,
    pub(super) windows: &'a [Window],
    pub(super) seen: &'a Seen,
    /// For each zone that stands out from its surroundings: how far it may go.
    pub(super) extents: Vec<(usize, Chances)>,
    /// What else may be there.
    pub(super) others: Chances,
    relative_u: f64,
}

/// One drawn completion.
pub(super) struct Drawn {
    /// Remedy of the completed survey.
    pub(super) remedy: RemedyKind,
    /// For each pin whether it was drawn low; false for read ones.
    pub(super) low: Vec<bool>,
}

impl<'a> Rest<'a> {
    pub(super) fn new(
        instrument: &'a Instrument,
        condition: &'a Condition,
        profile: &'a Profile,
        assessment: &'a Assessment,
        windows: &'a [Window],
        seen: &'a Seen,
    ) -> Rest<'a> {
        let index_of = |pin: &Pin| assessment.pins.iter().position(|p| p.pin == *pin);
        let standing_out = |zone: &Zone| zone.p_value.is_some();
        let mut extents = Vec::new();
        let mut taken = BTreeSet::new();
        for (z, zone) in assessment.zones.iter().enumerate().filter(|(_, z)| standing_out(z)) {
            let loose: BTreeSet<usize> = zone.pins.iter().filter_map(index_of).collect();
            let overlaps = |window: &Window| {
                let inside = window.members.iter().filter(|i| loose.contains(i)).count();
                2 * inside >= loose.len()
            };
            extents.push((z, Chances::new(assessment, windows, seen, true, overlaps)));
            taken.extend(loose);
            taken.extend(zone.tight_inside.iter().filter_map(index_of));
        }
        let apart = |window: &Window| !window.members.iter().any(|i| taken.contains(i));
        let others = Chances::new(assessment, windows, seen, false, apart);
        let relative: Vec<f64> = assessment
            .pins
            .iter()
            .filter_map(|pin| {
                pin.friction_nm.filter(|f| f.value > FRICTION_FLOOR_NM).map(|f| f.u / f.value)
            })
            .collect();
        let relative_u = median(&relative).unwrap_or(RELATIVE_U).clamp(0.005, 0.3);
        Rest {
            instrument,
            condition,
            profile,
            assessment,
            windows,
            seen,
            extents,
            others,
            relative_u,
        }
    }

    /// Draws the unread pins, but for those passed over, and weighs the verdict. `pins` is scratch:
    /// a copy of the assessment's, whose unread pins are overwritten.
    pub(super) fn draw(&self, pins: &mut [PinResult], open: &[bool], random: &mut Random) -> Drawn {
        let count = pins.len();
        let found: Vec<(usize, Option<Hypothesis>)> =
            self.extents.iter().map(|(z, chances)| (*z, chances.draw(random))).collect();
        let other = self.others.draw(random);
        // The last one named wins; places overlap seldom.
        let mut fate: Vec<Option<Hypothesis>> = vec![None; count];
        for hypothesis in found.iter().filter_map(|(_, h)| *h).chain(other) {
            for member in &self.windows[hypothesis.window].members {
                fate[*member] = Some(hypothesis);
            }
        }
        let mut residuals: Vec<f64> =
            self.seen.residuals.iter().map(|r| r.unwrap_or(0.0)).collect();
        let mut low = vec![false; count];
        let mut section_error = [0.0; 256];
        for error in section_error.iter_mut().take(12) {
            *error = random.normal();
        }
        for i in (0..count).filter(|i| open[*i]) {
            residuals[i] = self.residual(fate[i], random);
            low[i] = residuals[i] < LOW_RESIDUAL;
            let sound = self.assessment.field.points[i].sound_nm;
            let relative = sound.u / sound.value.max(FRICTION_FLOOR_NM);
            let error = relative * section_error[usize::from(pins[i].site.section)];
            let noise = self.relative_u * random.normal();
            let friction = sound.value * libm::exp(residuals[i] + error + noise);
            fill(&mut pins[i], friction.max(0.2), self.relative_u, self.profile);
        }
        let zones = self.zones(pins, &residuals, &found, other);
        let remedy = self.remedy(pins, &zones);
        Drawn { remedy, low }
    }

    fn residual(&self, fate: Option<Hypothesis>, random: &mut Random) -> f64 {
        match fate {
            Some(hypothesis) if random.uniform() < hypothesis.share => {
                hypothesis.draw(self.seen.scatter, random)
            }
            _ if random.uniform() < self.seen.hole_share => {
                LOOSE_SHIFT + LOOSE_SD * random.normal()
            }
            _ => self.seen.scatter * random.normal(),
        }
    }

    /// The zones a full survey would show.
    fn zones(
        &self,
        pins: &[PinResult],
        residuals: &[f64],
        found: &[(usize, Option<Hypothesis>)],
        other: Option<Hypothesis>,
    ) -> Vec<Zone> {
        let mut zones: Vec<Zone> = Vec::new();
        let mut inside = vec![false; pins.len()];
        for (z, hypothesis) in found {
            let zone = &self.assessment.zones[*z];
            let Some(hypothesis) = hypothesis else {
                zones.push(zone.clone());
                continue;
            };
            let window = &self.windows[hypothesis.window];
            let known = (0..pins.len()).filter(|i| zone.pins.contains(&pins[*i].pin));
            let members: BTreeSet<usize> = known.chain(window.members.iter().copied()).collect();
            // A zone whose pins are all read keeps the shape that was found.
            let is_read = window.members.iter().all(|i| self.assessment.pins[*i].read);
            let shape = if is_read { zone.shape } else { window.kind.shape() };
            zones.push(zone_of(shape, &members, pins, residuals, &mut inside));
        }
        if let Some(hypothesis) = other {
            let window = &self.windows[hypothesis.window];
            let members: BTreeSet<usize> = window.members.iter().copied().collect();
            let lows = members.iter().filter(|i| residuals[**i] < LOW_RESIDUAL).count();
            // Too few of its pins came out low: the search would find nothing.
            if lows > SCATTERED_COUNT_MIN {
                let shape = window.kind.shape();
                zones.push(zone_of(shape, &members, pins, residuals, &mut inside));
            }
        }
        let levels = |zone: &&Zone| zone.p_value.is_none() && zone.shape != ZoneShape::Scattered;
        zones.extend(self.assessment.zones.iter().filter(levels).map(|zone| {
            let belongs = |pin: &&PinResult| {
                zone.shape == ZoneShape::Everywhere || zone.sections.contains(&pin.site.section)
            };
            let level = || pins.iter().filter(belongs);
            let doubtful_count = level().fold(0.0, |sum, p| sum + p.judgement.doubtful_chance);
            let loose = level().filter(|pin| pin.judgement.doubtful_chance > 0.5);
            Zone { doubtful_count, pins: loose.map(|pin| pin.pin).collect(), ..zone.clone() }
        }));
        let holes: BTreeSet<usize> = (0..pins.len())
            .filter(|i| {
                !inside[*i]
                    && residuals[*i] < LOW_RESIDUAL
                    && pins[*i].judgement.doubtful_chance > 0.5
            })
            .collect();
        let level = zones.iter().any(|zone| zone.shape == ZoneShape::Everywhere);
        if holes.len() >= SCATTERED_COUNT_MIN && !level {
            let mut zone = zone_of(ZoneShape::Scattered, &holes, pins, residuals, &mut inside);
            zone.p_value = None;
            zones.push(zone);
        }
        zones.sort_by(|a, b| b.doubtful_count.total_cmp(&a.doubtful_count));
        zones
    }

    fn remedy(&self, pins: &[PinResult], zones: &[Zone]) -> RemedyKind {
        let share = doubtful_share(pins);
        let frictions: Vec<f64> =
            pins.iter().filter_map(|pin| pin.friction_nm).map(|f| f.value).collect();
        let read_count = pins.iter().filter(|pin| pin.read).count();
        let base = &self.assessment.statistics;
        let statistics = Statistics {
            pin_count: pins.len(),
            read_count,
            used_count: frictions.len(),
            doubtful_share: share,
            friction_median_nm: median(&frictions),
            ..base.clone()
        };
        let field: &FieldEstimate = &self.assessment.field;
        remedy_kind(&Findings {
            instrument: self.instrument,
            pins,
            field,
            zones,
            statistics: &statistics,
            condition: self.condition,
            profile: self.profile,
        })
    }
}

/// Share doubtful or worse of a survey without gaps, with the bands' own uncertainty.
fn doubtful_share(pins: &[PinResult]) -> Estimate {
    let count = pins.len().max(1) as f64;
    let (mut sum, mut variance) = (0.0, 0.0);
    for pin in pins {
        let p = pin.judgement.doubtful_chance;
        sum += p;
        variance += p * (1.0 - p);
    }
    Estimate { value: sum / count, u: variance.sqrt() / count }
}

/// Makes an unread pin one that was read with this friction.
fn fill(pin: &mut PinResult, friction_nm: f64, relative_u: f64, profile: &Profile) {
    let moment = pin.moment_at_pitch_nm;
    let friction = Estimate { value: friction_nm, u: relative_u * friction_nm };
    let factor = friction_nm / moment.value;
    let relative = (relative_u * relative_u + square(moment.u / moment.value)).sqrt();
    let holding = Estimate { value: factor, u: factor * relative };
    pin.read = true;
    pin.kind = Some(TorqueKind::Running);
    pin.state = Some(StringState::AtPitch);
    pin.friction_nm = Some(friction);
    pin.holding_factor = Some(holding);
    pin.judgement = judge(
        &PinReading {
            friction_nm: Some(friction),
            holding_factor: Some(holding),
            not_holding: friction_nm < moment.value,
            ..PinReading::without_torques(pin.pin, moment)
        },
        profile,
    );
}

fn square(x: f64) -> f64 {
    x * x
}

/// A zone of these pins, with what the verdict asks of one.
fn zone_of(
    shape: ZoneShape,
    members: &BTreeSet<usize>,
    pins: &[PinResult],
    residuals: &[f64],
    inside: &mut [bool],
) -> Zone {
    let (loose, tight): (Vec<usize>, Vec<usize>) =
        members.iter().partition(|i| residuals[**i] < LOW_RESIDUAL);
    for i in &loose {
        inside[*i] = true;
    }
    let frictions: Vec<f64> =
        loose.iter().filter_map(|i| pins[*i].friction_nm).map(|f| f.value).collect();
    let sound: Vec<f64> = loose
        .iter()
        .filter_map(|i| Some(pins[*i].friction_nm?.value * libm::exp(-residuals[*i])))
        .collect();
    let mut sections: Vec<u8> = loose.iter().map(|i| pins[*i].site.section).collect();
    sections.dedup();
    let mut rows: Vec<u8> = loose.iter().map(|i| pins[*i].site.row).collect();
    rows.sort_unstable();
    rows.dedup();
    Zone {
        shape,
        pins: loose.iter().map(|i| pins[*i].pin).collect(),
        tight_inside: tight.iter().map(|i| pins[*i].pin).collect(),
        unread_inside: Vec::new(),
        place: Said::default(),
        sections,
        rows,
        friction_median_nm: median(&frictions).unwrap_or(0.0),
        surroundings_nm: median(&sound).unwrap_or(0.0),
        p_value: Some(FOUND_P_VALUE),
        loose_share: loose.len() as f64 / members.len().max(1) as f64,
        doubtful_count: loose.iter().fold(0.0, |sum, i| sum + pins[*i].judgement.doubtful_chance),
        diameter_um: None,
        log_depth_u: 0.0,
        readings: Vec::new(),
    }
}
