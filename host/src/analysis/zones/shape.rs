//! From a set of loose observations to a zone: merging, shape and words.
//!
//! Numbers without a source beside them are ours (DER).

use pinhold_protocol::record::Pin;

use super::super::PinResult;
use super::super::field::SoundField;
use super::super::stats::{mean, median, standard_deviation};
use super::super::survey::Survey;
use super::candidates::{EVEN_SPREAD_MAX, ROW_COUNT_MIN};
use super::place;
use super::search::{Candidate, CandidateKind};
use super::{Zone, ZoneShape};
use crate::instrument::InstrumentKind;
use crate::words::{Said, plank as say};

/// Share of loose pins in one row from which a set is a line (ours).
const LINE_SHARE_MIN: f64 = 0.7;
/// Loose pins from which a line needs to count as one.
const LINE_COUNT_MIN: usize = 3;
/// Share of loose pins at the flange from which a line is along it (ours).
const FLANGE_SHARE_MIN: f64 = 0.6;
/// Share of a row's read pins inside a zone from which it is the whole row (ours).
const WHOLE_ROW_SHARE_MIN: f64 = 0.85;
/// Share of tight pins inside up to which a low row is even (ours).
const EVEN_TIGHT_SHARE_MAX: f64 = 0.08;
/// Step, natural-log units, below which a whole row along the flange is a line along the flange:
/// drilling or pins cost a row a part of its friction, crushed fibre more than 45 % (ours).
const FLANGE_ROW_STEP: f64 = -0.6;
/// Share of the read pins from a zone's first to the end of the treble that are loose, from which
/// it is the high treble (ours).
const HIGH_TREBLE_SHARE_MIN: f64 = 0.65;
/// Notes that the high treble has at least and at most.
const HIGH_TREBLE_NOTES: std::ops::RangeInclusive<usize> = 4..=24;
/// Pins of one row that may lie between two parts of the same line.
const GAP_COUNT_MAX: usize = 6;

/// What every shape is judged against.
pub(super) struct Context<'a> {
    pub(super) survey: &'a Survey<'a>,
    pub(super) field: &'a SoundField,
    pub(super) pins: &'a [PinResult],
    pub(super) kind: InstrumentKind,
}

impl Context<'_> {
    pub(super) fn zones_from(&self, mut found: Vec<Candidate>) -> Vec<Zone> {
        let mut index = 0;
        while index < found.len() {
            let partner = (index + 1..found.len()).find(|j| self.belong(&found[index], &found[*j]));
            match partner {
                Some(other) => {
                    let merged = merge(found[index].clone(), found.remove(other));
                    found[index] = merged;
                }
                None => index += 1,
            }
        }
        found.into_iter().map(|candidate| self.zone(&candidate)).collect()
    }

    fn site(&self, observation: usize) -> usize {
        self.survey.observations[observation].site
    }

    fn loose_sites(&self, candidate: &Candidate) -> Vec<usize> {
        let pairs = candidate.members.iter().zip(&candidate.loose_chance);
        pairs.filter(|(_, chance)| **chance > 0.5).map(|(i, _)| self.site(*i)).collect()
    }

    /// Two parts of one line with a few pins between, or two that overlap along the plank in
    /// neighbouring rows.
    fn belong(&self, a: &Candidate, b: &Candidate) -> bool {
        let sites = &self.survey.sites;
        let (a, b) = (self.loose_sites(a), self.loose_sites(b));
        let span = |of: &[usize]| {
            let xs = of.iter().map(|i| sites[*i].x_m);
            xs.fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(x), h.max(x)))
        };
        let rows = |of: &[usize]| {
            let rows = of.iter().map(|i| sites[*i].row);
            rows.fold((u8::MAX, u8::MIN), |(l, h), row| (l.min(row), h.max(row)))
        };
        if a.is_empty() || b.is_empty() {
            return false;
        }
        let ((a_low, a_high), (b_low, b_high)) = (span(&a), span(&b));
        let ((a_first, a_last), (b_first, b_last)) = (rows(&a), rows(&b));
        let same_row = a_first == a_last && b_first == b_last && a_first == b_first;
        if same_row {
            let (from, to) = (a_high.min(b_high), a_low.max(b_low));
            let between = sites
                .iter()
                .filter(|site| site.row == a_first && site.x_m > from && site.x_m < to)
                .count();
            return between <= GAP_COUNT_MAX;
        }
        let shared = a_high.min(b_high) - a_low.max(b_low);
        let shorter = (a_high - a_low).min(b_high - b_low);
        let rows_touch = a_first <= b_last.saturating_add(1) && b_first <= a_last.saturating_add(1);
        rows_touch && shared > 0.5 * shorter
    }

    fn zone(&self, candidate: &Candidate) -> Zone {
        let sites = &self.survey.sites;
        let mut loose = self.loose_sites(candidate);
        let mut members: Vec<usize> = candidate.members.iter().map(|i| self.site(*i)).collect();
        let shape = self.classify(candidate, &loose, &members);
        if shape == ZoneShape::WholeRow {
            (loose, members) = self.whole_row(&loose);
        }
        let tight: Vec<usize> =
            members.iter().copied().filter(|site| !loose.contains(site)).collect();
        let span = members.iter().map(|i| sites[*i].x_m);
        let (low, high) = span.fold((f64::MAX, f64::MIN), |(l, h), x| (l.min(x), h.max(x)));
        let rows: Vec<u8> = unique(loose.iter().map(|i| sites[*i].row));
        let unread = (0..sites.len()).filter(|i| {
            let site = &sites[*i];
            let inside = site.x_m >= low && site.x_m <= high && rows.contains(&site.row);
            inside && self.survey.readings[*i].is_none()
        });
        let unread: Vec<usize> = unread.collect();
        self.describe(shape, &loose, &tight, &unread, Some(candidate.p_value))
    }

    fn classify(&self, candidate: &Candidate, loose: &[usize], members: &[usize]) -> ZoneShape {
        let sites = &self.survey.sites;
        let rows = unique(loose.iter().map(|i| sites[*i].row));
        let in_row = |row: u8| loose.iter().filter(|i| sites[**i].row == row).count();
        let Some(main_row) = rows.iter().copied().max_by_key(|row| in_row(*row)) else {
            return ZoneShape::Patch;
        };
        let flange_count = loose.iter().filter(|i| sites[**i].at_flange).count();
        let at_flange = flange_count as f64 >= FLANGE_SHARE_MIN * loose.len() as f64;
        let whole_row = if at_flange && self.step(candidate) < FLANGE_ROW_STEP {
            ZoneShape::AlongFlange
        } else {
            ZoneShape::WholeRow
        };
        if candidate.kind == CandidateKind::Row {
            return whole_row;
        }
        if self.is_high_treble(loose) {
            return ZoneShape::HighTreble;
        }
        let line_share = in_row(main_row).max(flange_count) as f64 / loose.len() as f64;
        let sections = unique(loose.iter().map(|i| sites[*i].section));
        let row_count =
            sections.iter().map(|s| place::rows_of_section(sites, *s).len()).max().unwrap_or(1);
        // One row only: a run and a patch are the same, and no flange line can be told.
        if row_count < 2 || line_share < LINE_SHARE_MIN || loose.len() < LINE_COUNT_MIN {
            return ZoneShape::Patch;
        }
        if self.is_whole_row(candidate, main_row, &sections, members, loose) {
            return whole_row;
        }
        if at_flange { ZoneShape::AlongFlange } else { ZoneShape::RaggedLineInside }
    }

    fn is_whole_row(
        &self,
        candidate: &Candidate,
        row: u8,
        sections: &[u8],
        members: &[usize],
        loose: &[usize],
    ) -> bool {
        let sites = &self.survey.sites;
        let of_row = self.survey.observations.iter().filter(|o| {
            let site = &sites[o.site];
            site.row == row && sections.contains(&site.section)
        });
        let read_count = of_row.count();
        let inside = members.iter().filter(|i| sites[**i].row == row).count();
        let tight_share = 1.0 - loose.len() as f64 / members.len().max(1) as f64;
        let residuals: Vec<f64> =
            candidate.members.iter().map(|i| self.field.residuals[*i]).collect();
        let spread = standard_deviation(&residuals).unwrap_or(0.0);
        read_count >= ROW_COUNT_MIN
            && candidate.kind == CandidateKind::Run
            && inside as f64 >= WHOLE_ROW_SHARE_MIN * read_count as f64
            && tight_share <= EVEN_TIGHT_SHARE_MAX
            && spread <= EVEN_SPREAD_MAX * self.field.scatter.sd
    }

    /// Middle of a candidate's loose pins about the field, rows left in, natural-log units.
    fn step(&self, candidate: &Candidate) -> f64 {
        let pairs = candidate.members.iter().zip(&candidate.loose_chance);
        let loose = pairs.filter(|(_, chance)| **chance > 0.5);
        let steps: Vec<f64> = loose.map(|(i, _)| self.field.broad_residuals[*i]).collect();
        median(&steps).unwrap_or(0.0)
    }

    /// Loose pins over several rows from some note to the end of the treble.
    fn is_high_treble(&self, loose: &[usize]) -> bool {
        let sites = &self.survey.sites;
        let last = sites.iter().map(|site| site.pin.note).max();
        let from = loose.iter().map(|i| sites[*i].pin.note).min();
        let (Some(last), Some(from)) = (last, from) else { return false };
        let read = self.survey.observations.iter().filter(|o| sites[o.site].pin.note >= from);
        let inside = loose.len() as f64 >= HIGH_TREBLE_SHARE_MIN * read.count() as f64;
        let rows = unique(loose.iter().map(|i| sites[*i].row));
        let main_row =
            rows.iter().map(|row| loose.iter().filter(|i| sites[**i].row == *row).count()).max();
        let over_rows =
            main_row.is_some_and(|most| (most as f64) < LINE_SHARE_MIN * loose.len() as f64);
        inside && over_rows && HIGH_TREBLE_NOTES.contains(&usize::from(last - from + 1))
    }

    /// All read pins of the row that most of these stand in, in the sections they touch: those
    /// at least half as far down as the row's middle, and all.
    fn whole_row(&self, loose: &[usize]) -> (Vec<usize>, Vec<usize>) {
        let sites = &self.survey.sites;
        let sections = unique(loose.iter().map(|i| sites[*i].section));
        let in_row = |row: u8| loose.iter().filter(|i| sites[**i].row == row).count();
        let rows = unique(loose.iter().map(|i| sites[*i].row));
        let main = rows.iter().copied().max_by_key(|row| in_row(*row)).unwrap_or(0);
        let pairs = self.survey.observations.iter().zip(&self.field.broad_residuals);
        let inside: Vec<(usize, f64)> = pairs
            .map(|(o, step)| (o.site, *step))
            .filter(|(site, _)| {
                sites[*site].row == main && sections.contains(&sites[*site].section)
            })
            .collect();
        let steps: Vec<f64> = inside.iter().map(|(_, step)| *step).collect();
        let middle = median(&steps).unwrap_or(0.0);
        let low = inside.iter().filter(|(_, step)| *step < 0.5 * middle);
        (low.map(|(site, _)| *site).collect(), inside.iter().map(|(site, _)| *site).collect())
    }

    /// Fills a zone from sites.
    pub(super) fn describe(
        &self,
        shape: ZoneShape,
        loose: &[usize],
        tight: &[usize],
        unread: &[usize],
        p_value: Option<f64>,
    ) -> Zone {
        let sites = &self.survey.sites;
        let names = |of: &[usize]| {
            let mut pins: Vec<Pin> = of.iter().map(|i| sites[*i].pin).collect();
            pins.sort_unstable();
            pins
        };
        let pins = names(loose);
        let sections = unique(loose.iter().map(|i| sites[*i].section));
        let rows = unique(loose.iter().map(|i| sites[*i].row));
        let inside = || {
            let pairs = self.survey.observations.iter().enumerate();
            pairs.filter(|(_, o)| loose.contains(&o.site))
        };
        let logs: Vec<f64> = inside().map(|(_, o)| o.log_friction).collect();
        // The field may have followed a row evenly low: what stands round it is the other rows.
        let expected: Vec<f64> = inside()
            .map(|(i, o)| match shape {
                ZoneShape::WholeRow => o.log_friction - self.field.broad_residuals[i],
                _ => self.field.log_mean[o.site],
            })
            .collect();
        let steps: Vec<f64> = logs.iter().zip(&expected).map(|(log, round)| log - round).collect();
        let open = mean(&loose.iter().map(|i| self.field.log_sd[*i]).collect::<Vec<f64>>());
        let spread = standard_deviation(&steps).unwrap_or(self.field.scatter.sd);
        // A median has π/2 times the variance of a mean.
        let of_middle = 0.5 * std::f64::consts::PI * spread * spread / steps.len().max(1) as f64;
        let log_depth_u = (of_middle + open.map_or(0.0, |sd| sd * sd)).sqrt();
        let diameters: Vec<f64> =
            loose.iter().filter_map(|i| sites[*i].diameter_um).map(f64::from).collect();
        let read_inside = loose.iter().chain(tight);
        Zone {
            shape,
            place: self.words(shape, &pins, &sections, &rows),
            pins,
            tight_inside: names(tight),
            unread_inside: names(unread),
            sections,
            rows,
            friction_median_nm: libm::exp(median(&logs).unwrap_or(0.0)),
            surroundings_nm: libm::exp(median(&expected).unwrap_or(0.0)),
            p_value,
            loose_share: loose.len() as f64 / (loose.len() + tight.len()).max(1) as f64,
            doubtful_count: read_inside
                .fold(0.0, |sum, i| sum + self.pins[*i].judgement.doubtful_chance),
            diameter_um: mean(&diameters),
            log_depth_u,
            readings: Vec::new(),
        }
    }

    fn words(&self, shape: ZoneShape, pins: &[Pin], sections: &[u8], rows: &[u8]) -> Said {
        let sites = &self.survey.sites;
        let present = place::sections(sites);
        let section = place::section_phrase(sections, &present);
        let notes = place::note_range(pins);
        let row_count =
            sections.iter().map(|s| place::rows_of_section(sites, *s).len()).max().unwrap_or(1);
        let lines_flange = sections.iter().any(|section| place::lines_flange(sites, *section));
        let row_name = |row: u8| place::row_name(row, row_count, self.kind, lines_flange);
        match (shape, rows) {
            (ZoneShape::Everywhere, _) => say::WHOLE_PLANK.said(),
            (ZoneShape::WholeSection, _) => say::whole_section(section, notes),
            (ZoneShape::Scattered, _) => say::single_pins(section, notes),
            (ZoneShape::HighTreble, _) => say::last_notes(notes),
            (ZoneShape::AlongFlange, _) => say::along_flange(section, notes),
            (_, [row]) => say::in_row(section, row_name(*row), notes),
            (ZoneShape::Patch, _) => say::rows(section, rows.len(), notes),
            _ => {
                let in_row = |row: u8| {
                    sites.iter().filter(|s| s.row == row && pins.contains(&s.pin)).count()
                };
                let main = rows.iter().copied().max_by_key(|row| in_row(*row)).unwrap_or(0);
                say::in_row(section, row_name(main), notes)
            }
        }
    }
}

fn merge(mut a: Candidate, b: Candidate) -> Candidate {
    a.members.extend(b.members);
    a.loose_chance.extend(b.loose_chance);
    a.score += b.score;
    a.p_value = a.p_value.min(b.p_value);
    a
}

fn unique(values: impl Iterator<Item = u8>) -> Vec<u8> {
    let mut all: Vec<u8> = values.collect();
    all.sort_unstable();
    all.dedup();
    all
}
